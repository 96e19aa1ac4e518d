"""Configuration variables: a table of the rules of S-9.2.2, one row per CV, and a store that follows them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Union

import attrs

from ..error import HalfbitError
from .effect import CvHeld, CvRefused, CvWritten

#: A function that can refuse a write by a packet. It takes CV number, old value and new value. It returns the reason
#: to refuse, or ``None`` to allow. It is not called for writes that follow from another write (CV 19 and 29 after
#: CV 1), nor for a factory reset.
Veto = Callable[[int, int, int], Union[str, None]]

CvEffect = Union[CvWritten, CvHeld, CvRefused]  #: What a write to a CV does.

LAST = 1024
INDEXED = range(257, 513)  # pages of 256 CVs, selected by CV 31 and 32 (S-9.2.2)
_PAGES_FROM = 16  # lower values of CV 31 are reserved (S-9.2.2)


@attrs.frozen(slots=True)
class CvRow:
    """The rules for one CV, or for a range of CVs: ``first`` to ``last``, values ``least`` to ``most``."""

    first: int
    last: int
    name: str
    source: str
    default: int = 0
    least: int = 0
    most: int = 255
    read_only: bool = False


def _row(numbers: int | tuple[int, int], name: str, source: str = "S-9.2.2", **rules: int) -> CvRow:
    first, last = (numbers, numbers) if isinstance(numbers, int) else numbers
    return CvRow(first, last, name, source, **rules)  # type: ignore[arg-type]


#: Multi-function decoders. The standard gives only one default, CV 1 = 3. All other CVs start at 0, or at their lowest
#: allowed value. CV 33 to 46: by default each function has its own output, but the bits depend on the maker.
MULTI_FUNCTION = (
    _row(1, "primary address", "S-9.2.2; 0: no digital mode", default=3, most=127),
    _row(2, "start drive level"),
    _row(3, "acceleration"),
    _row(4, "deceleration"),
    _row(5, "high drive level"),
    _row(6, "mid drive level"),
    _row(7, "version", "S-9.2.2; that it is read-only: from memory", read_only=True),
    _row(8, "manufacturer", read_only=True),
    _row(9, "PWM period"),
    _row(10, "back-EMF cut-off step"),
    _row(11, "packet time-out"),
    _row(12, "power source conversion"),
    _row((13, 14), "functions under another power source"),
    _row((15, 16), "decoder lock"),
    _row(17, "extended address, high byte", default=192, least=192, most=231),
    _row(18, "extended address, low byte"),
    _row(19, "consist address and direction"),
    _row((21, 22), "functions that obey the consist address"),
    _row(23, "acceleration adjustment"),
    _row(24, "deceleration adjustment"),
    _row(25, "mid-range step or preset table"),
    _row(27, "automatic stopping"),
    _row(28, "bi-directional communication"),
    _row(29, "configuration"),
    _row(30, "error information"),
    _row(31, "index, high byte", default=16, least=16),
    _row(32, "index, low byte"),
    _row((33, 46), "outputs of FL(f), FL(r), F1 to F12"),
    _row(65, "kick start"),
    _row(66, "forward trim"),
    _row((67, 94), "speed table"),
    _row(95, "reverse trim"),
    _row((105, 106), "the owner's"),
    _row((INDEXED.start, INDEXED.stop - 1), "indexed CVs"),
    _row((892, 895), "dynamic values"),
)

#: Accessory decoders (table 3). CV 29 starts as accessory decoder with decoder addressing; this is an assumption.
ACCESSORY = (
    _row(1, "address, low part", "S-9.2.2 table 3", default=1),
    _row(2, "auxiliary activation", "S-9.2.2 table 3"),
    _row((3, 6), "times on", "S-9.2.2 table 3"),
    _row(7, "version", "S-9.2.2 table 3; that it is read-only: from memory", read_only=True),
    _row(8, "manufacturer", "S-9.2.2 table 3", read_only=True),
    _row(9, "address, high part", "S-9.2.2 table 3"),
    _row(28, "bi-directional communication", "S-9.2.2 table 3"),
    _row(29, "configuration", "S-9.2.2 table 3", default=0b10000000),
)

#: CVs of accessory decoders that also have an older number: 512 higher (S-9.2.2 table 3).
OLDER = frozenset((*range(1, 10), 28, 29))


@attrs.frozen(slots=True)
class CvState:
    """The contents of a store. Frozen; only its dictionaries can change, but they are copies."""

    values: dict[int, int]  #: CVs that are not indexed: number to value. CVs with value 0 are left out.
    indexed: dict[tuple[int, int, int], int]  #: Indexed CVs: (CV 31, CV 32, number) to value.
    held: int | None  #: A value for CV 17 that waits for a write to CV 18; ``None`` if no value waits.


class CvStore:
    """The CVs of one decoder.

    The standards leave these points open. This store does the following: all 1024 CVs exist, and read 0 until written.
    The lock (CV 15 and 16) protects every CV except 15 from every change by a packet, also by consist control and hard
    reset. CV 17 keeps its value until CV 18 is written. A reset does not drop a waiting write to CV 17. CVs 257 to 512
    do not exist while CV 31 is below 16.

    :param rows: the rules.
    :param values: CVs that differ from the defaults: CV number to value. The bounds of the rows are not checked.
    :param defaults: the maker's defaults that differ from the rows.
    :param veto: see :data:`Veto`.
    :param accessory: True for an accessory decoder: older numbers from 513 work; no index, no lock, no pair of CV 17
        and 18.
    :raises HalfbitError: for a number outside 1 to 1024 or a value outside 0 to 255.
    """

    def __init__(
        self, rows: tuple[CvRow, ...] = MULTI_FUNCTION, values: Mapping[int, int] | None = None, *,
        defaults: Mapping[int, int] | None = None, veto: Veto | None = None, accessory: bool = False,
    ) -> None:  # fmt: skip
        self._veto = veto
        self._accessory = accessory
        self._rows = {number: row for row in rows for number in range(row.first, row.last + 1)}
        self._defaults = {number: row.default for number, row in self._rows.items() if row.default}
        self._defaults.update(self._checked(defaults or {}))
        self._values: dict[int, int] = {}
        self._indexed: dict[tuple[int, int, int], int] = {}
        self._held: int | None = None
        self._fill({**self._defaults, **self._checked(values or {})})

    def __getitem__(self, number: int) -> int:
        """The value of a CV; 0 if it does not exist."""
        return self.get(number) or 0

    def get(self, number: int) -> int | None:
        """The value of a CV; ``None`` if it does not exist."""
        values, key = self._place(number)
        return None if values is None else values.get(key, 0)

    @property
    def locked(self) -> bool:
        """True if only CV 15 can be written (S-9.2.2, CV 15 and 16)."""
        return not self._accessory and self[15] != self[16]

    def base(self, number: int) -> int:
        """The value that a bit write starts from: the CV's value, or the waiting value of CV 17."""
        return self._held if number == 17 and self._held is not None else self[number]

    def write(self, number: int, value: int) -> list[CvEffect]:
        """Write a CV like a packet does. The effects start with the write of the CV, or of CV 17 that waited for CV 18.

        If the last effect is ``CvRefused``, nothing was written.
        """
        number = self._own(number)
        reason = self._reason(number, value)
        if reason is not None:
            return [CvRefused(number, value, reason)]
        if number == 17 and not self._accessory:
            self._held = value
            return [CvHeld(17, value)]
        effects: list[CvEffect] = []
        if number == 18 and self._held is not None:
            held, self._held = self._held, None
            effects.append(self._put(17, held))
        effects.append(self._put(number, value))
        if number == 1 and not self._accessory:  # S-9.2.3 E, address-only mode; S-9.2.2, CV 1
            if self[29] & 0b00100000:
                effects.append(self._put(29, self[29] & ~0b00100000))
            if self[19]:
                effects.append(self._put(19, 0))
        return effects

    def hard_reset(self) -> list[CvEffect]:
        """Set CV 29, 31 and 32 to their defaults and CV 19 to 0 (S-9.2.1 C). Refused if locked."""
        if self.locked:
            return [CvRefused(29, self._defaults.get(29, 0), _LOCKED)]
        return [self._put(number, 0 if number == 19 else self._defaults.get(number, 0)) for number in (29, 31, 32, 19)]

    def factory_reset(self) -> bool:
        """Set all CVs except 7 and 8 to their defaults. Returns False, and changes nothing, if locked."""
        if self.locked:
            return False
        kept = {number: self[number] for number in (7, 8)}
        self._values, self._indexed, self._held = {}, {}, None
        self._fill({**self._defaults, **kept})
        return True

    def state(self) -> CvState:
        """A copy of the contents."""
        values = {number: value for number, value in sorted(self._values.items()) if value}
        return CvState(values, dict(self._indexed), self._held)

    def restore(self, state: CvState) -> None:
        """Replace the contents by those of a snapshot. It may be from another store."""
        self._values, self._indexed, self._held = dict(state.values), dict(state.indexed), state.held

    def _reason(self, number: int, value: int) -> str | None:
        """The reason to refuse a write; ``None`` if it is allowed."""
        old = self.get(number)
        if old is None:
            return "there is no such CV while CV 31 is below 16"
        row = self._rows.get(number)
        if row is not None and row.read_only:
            return "it is read-only"
        if number != 15 and self.locked:
            return _LOCKED
        if row is not None and not row.least <= value <= row.most:
            return f"it takes {row.least} to {row.most}"
        return None if self._veto is None else self._veto(number, old, value)

    def _checked(self, values: Mapping[int, int]) -> dict[int, int]:
        return {self._own(number): byte(number, value) for number, value in values.items()}

    def _fill(self, values: Mapping[int, int]) -> None:
        for number, value in sorted(values.items()):  # the index, CV 31 and 32, before indexed CVs
            place, key = self._place(number)
            if place is None:
                raise HalfbitError(f"CV {number} is indexed: give CV 31 a value from {_PAGES_FROM} up too")
            place[key] = value

    def _put(self, number: int, value: int) -> CvWritten:
        old = self[number]
        self._fill({number: value})
        return CvWritten(number, old, value)

    def _own(self, number: int) -> int:
        """The number under which a CV is stored."""
        return number - 512 if self._accessory and number - 512 in OLDER else number

    def _place(self, number: int) -> tuple[dict[Any, int] | None, Any]:
        """The dictionary that holds a CV and its key there; no dictionary if the CV does not exist."""
        number = self._own(number)
        if self._accessory or number not in INDEXED:
            return (self._values if 1 <= number <= LAST else None), number
        high, low = self._values.get(31, 0), self._values.get(32, 0)
        return (None if high < _PAGES_FROM else self._indexed), (high, low, number)


_LOCKED = "the decoder is locked: CV 15 differs from CV 16"


def byte(number: int, value: int) -> int:
    """Check a CV number and value, and return the value.

    :raises HalfbitError: for a number outside 1 to 1024 or a value outside 0 to 255.
    """
    if type(number) is not int or not 1 <= number <= LAST:
        raise HalfbitError(f"CV {number!r} does not exist: give a number from 1 to {LAST}")
    if type(value) is not int or not 0 <= value <= 255:
        raise HalfbitError(f"CV {number} = {value!r}: give a value from 0 to 255")
    return value
