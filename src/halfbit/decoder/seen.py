"""The known state of one address on the track, and the changes of it."""

from __future__ import annotations

import enum
from collections import Counter
from collections.abc import Mapping
from typing import Any, Union

import attrs

from ..instruction import Address, Context, Instruction
from .effect import Speed

_BITS = 6  # gaps are counted by their top 6 bits, so to 3 %


class Item(enum.Enum):
    """The kinds of change."""

    SPEED = "speed"  #: The requested speed.
    #: The direction bit of the packet; True is forward. CV 29 and CV 19 of the decoder can still reverse it.
    DIRECTION = "direction"
    FUNCTION = "function"  #: A function; number 0 is FL (the headlight).
    CONSIST = "consist"  #: Membership of a consist.
    OUTPUT = "output"  #: Output 0 or 1 of a pair of an accessory decoder.
    ASPECT = "aspect"  #: The aspect of a signal.
    CV = "CV"  #: A CV was written.
    REGISTER = "register"  #: A register was written: the page register, or a register whose CV the packets do not show.
    BINARY_STATE = "binary state"  #: A binary state, by its number.
    ANALOG = "analog output"  #: An analog output, by its number.
    RESTRICTION = "speed restriction"  #: The highest speed allowed.
    RESET = "reset"  #: A reset or a hard reset.
    MODE = "mode"  #: Operations or service mode, for the whole track.


@attrs.frozen(slots=True)
class Either:
    """A value that depends on bit 1 of the decoder's CV 29, which is not known from the packets."""

    with_28: object  #: The value with 28 steps; ``None`` if there is no value then.
    with_14: object  #: The value with 14 steps; ``None`` if there is no value then.

    def __str__(self) -> str:
        if isinstance(self.with_28, Speed):
            return f"{self.with_28} or {self.with_14}"
        ways = ((self.with_28, 28), (self.with_14, 14))
        return ", ".join(f"{_words(value)} if {steps} steps" for value, steps in ways if value is not None)


@attrs.frozen(slots=True)
class Consist:
    """Membership of a consist (CV 19)."""

    address: int
    reversed: bool = False  #: True if the vehicle runs reversed in the consist.

    def __str__(self) -> str:
        return f"{self.address}{' reversed' if self.reversed else ''}"


@attrs.frozen(slots=True)
class CvBit:
    """One bit of a CV whose other bits are not known."""

    position: int
    value: bool

    def __str__(self) -> str:
        return f"bit {self.position} = {int(self.value)}"


#: The value of an item before or after a change; ``None`` if not known.
Value = Union[None, bool, int, str, Speed, Either, Consist, CvBit]


@attrs.frozen(slots=True)
class Change:
    """Something changed, according to the packets."""

    time: int  #: The end of the packet that made the change, ns.
    address: Address | None  #: The address; ``None`` for the whole track.
    item: Item
    number: int | None  #: The number of the function, output or CV; ``None`` if there is only one.
    before: Value
    after: Value
    #: False for a CV write that was not repeated: decoders do not act on it (S-9.2.1 C, S-9.2.3). Even if True, a
    #: decoder may have refused the write, for example because it is locked. Packets do not show this.
    effective: bool = True

    def __str__(self) -> str:
        if self.item is Item.DIRECTION:
            return "forward" if self.after else "reverse"
        if self.item is Item.FUNCTION:
            return f"{f'F{self.number}' if self.number else 'FL'} {_words(self.after)}"
        name = self.item.value if self.number is None else f"{self.item.value} {self.number}"
        if isinstance(self.after, bool):
            return f"{name} {_words(self.after)}"
        if self.item in (Item.CV, Item.REGISTER):
            known = f" (was {self.before})" if self.before is not None and self.before != self.after else ""
            words = f"{name} := {self.after}{known}" if isinstance(self.after, int) else f"{name} {self.after}"
            return words if self.effective else f"{words}, sent once: no effect"
        if self.item is Item.RESTRICTION:
            return "speed not restricted" if self.after is None else f"speed restricted to code {self.after}"
        if self.item in (Item.RESET, Item.SPEED):
            return str(self.after)
        if self.item is Item.CONSIST:
            return f"consist {self.after}" if self.after is not None else "leaves its consist"
        return f"{name}: {_words(self.after)}"

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. ``time`` is in ns."""
        fields = {field.name: _json(getattr(self, field.name)) for field in attrs.fields(Change)}
        return {**fields, "words": str(self)}


@attrs.define(slots=True, eq=False)
class Seen:
    """The known state of one address. Only read its attributes; :class:`halfbit.decoder.TrackState` sets them."""

    address: Address
    packets: int = 0
    time: int = 0  #: Total time of these packets on the track, preambles included, ns.
    first: int = 0  #: End of the first packet, ns.
    last: int = 0  #: End of the last packet, ns.
    longest: int = 0  #: The longest time from the end of one packet to the end of the next, ns.
    longest_at: int = 0  #: When it began, ns.
    losses: int = 0  #: Number of faults whose first bytes are this address.
    #: Counts of the gaps between packets, by the middle of their class, ns; see ``refresh``.
    gaps: Counter[int] = attrs.Factory(Counter)
    speed: Speed | Either | None = None
    forward: bool | None = None  #: The last direction bit.
    functions: dict[int, bool] = attrs.Factory(dict)  #: Functions from F1 up that were sent: number to state.
    #: The state of FL if the decoder has 28 steps, and if it has 14.
    fl: list[bool | None] = attrs.Factory(lambda: [None, None])
    consist: Consist | None = None
    outputs: dict[int, bool] = attrs.Factory(dict)
    aspect: int | None = None
    binary: dict[int, bool] = attrs.Factory(dict)
    analog: dict[int, int] = attrs.Factory(dict)
    restriction: int | None = None
    #: The known CVs: given by the caller, or written on this track. Number to value.
    cvs: dict[int, int] = attrs.Factory(dict)
    #: A CV write that waits for its repeat: bytes, instruction and time, ns.
    pending: tuple[bytes, Instruction, int] | None = None

    def heard(self, start: int, end: int) -> None:
        """Note a packet, by its start and end, ns."""
        if self.packets:
            gap = end - self.last
            if gap > self.longest:
                self.longest, self.longest_at = gap, self.last
            low = max(gap.bit_length() - _BITS, 0)
            self.gaps[(gap >> low << low) + (1 << low >> 1)] += 1
        else:
            self.first = end
        self.packets += 1
        self.time += end - start
        self.last = end

    @property
    def refresh(self) -> int | None:
        """The median time from one packet to the next, in ns, exact to 3 %; ``None`` with fewer than two packets.

        Gaps are counted in classes, 32 classes per doubling, so that memory does not grow.
        """
        return quantile(self.gaps, 0.5)

    @property
    def steps(self) -> int | None:
        """14 or 28 if CV 29 is known."""
        cv29 = self.cvs.get(29)
        return None if cv29 is None else 28 if cv29 & 0b10 else 14

    @property
    def lamp(self) -> Value:
        """The state of FL; :class:`Either` if CV 29 is not known and the two readings differ."""
        with_28, with_14 = self.fl
        either = with_28 if with_28 is with_14 else Either(with_28, with_14)
        return {28: with_28, 14: with_14, None: either}[self.steps]

    def as_dict(self) -> dict[str, Any]:
        """The values for JSON. Times are in ns."""
        plain = ("packets", "time", "first", "last", "refresh", "longest", "longest_at", "losses", "speed", "forward")
        return {
            **{name: _json(getattr(self, name)) for name in ("address", *plain)},
            "fl": _json(self.lamp),
            "functions": {f"F{number}": on for number, on in sorted(self.functions.items())},
            "consist": _json(self.consist), "outputs": _numbered(self.outputs), "aspect": self.aspect,
            "binary_states": _numbered(self.binary), "analog": _numbered(self.analog),
            "restriction": self.restriction, "cvs": _numbered(self.cvs),
        }  # fmt: skip


def _numbered(values: Mapping[int, int]) -> dict[str, int]:
    return {str(number): value for number, value in sorted(values.items())}


class Changes:
    """Sets the state of addresses, and collects the changes."""

    def __init__(self) -> None:
        self.now = 0  #: The end of the packet that is read, ns.
        self._found: list[Change] = []

    def set(self, row: Seen, item: Item, name: str, value: Value) -> None:
        """Set an attribute of a row, and note the change if there is one."""
        before = getattr(row, name)
        if before != value:
            self.note(row, item, None, before, value)
            setattr(row, name, value)

    def put(self, row: Seen, item: Item, states: dict[int, Any], number: int, value: Value) -> None:
        """Set one of a row's numbered states, and note the change if there is one."""
        before = states.get(number)
        if before != value:
            self.note(row, item, number, before, value)
            states[number] = value

    def note(
        self, row: Seen, item: Item, number: int | None, before: Value, after: Value, *,
        time: int | None = None, effective: bool = True,
    ) -> None:  # fmt: skip
        """Note a change. The parameters are the fields of :class:`Change`; ``time`` is now if not given."""
        at = self.now if time is None else time
        self._found.append(Change(at, row.address, item, number, before, after, effective))

    def note_mode(self, before: Context, after: Context) -> None:
        """Note a change of the whole track's mode."""
        self._found.append(Change(self.now, None, Item.MODE, None, before.value, after.value))

    def take(self) -> tuple[Change, ...]:
        """The changes since the last call."""
        found, self._found = tuple(self._found), []
        return found


def quantile(counts: Counter[int], part: float) -> int | None:
    """The lowest value that this part (0 to 1) of all values is not above; ``None`` without values."""
    left = part * counts.total()
    for value in sorted(counts):
        left -= counts[value]
        if left <= 0:
            return value
    return None


def _words(value: object) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    return "not known" if value is None else str(value)


def _json(value: object) -> Any:
    if isinstance(value, Address):
        return value.as_dict()
    if isinstance(value, Item):
        return value.value
    return attrs.asdict(value) if isinstance(value, (Speed, Consist, CvBit, Either)) else value
