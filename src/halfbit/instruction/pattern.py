"""Bit patterns as the standards write them, and the places of a field's bits in a pattern.

Example: ``"00111111 DSSSSSSS"``. 0 and 1 are fixed bits. A letter is a field, most significant bit first. The same
letter in a later byte continues the field. All results are plain integers, so that tables for other languages can be
made from them.
"""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from ..error import HalfbitError
from .field import accepted, instance, tuple_of


@attrs.frozen(slots=True)
class Run:
    """Neighbouring bits of one byte that belong to one field.

    Their value in the field is ``(byte >> shift & (1 << width) - 1) << position``.
    """

    byte: int  #: Index of the byte in the pattern, from 0.
    shift: int  #: Number of bits below the run in its byte.
    width: int  #: Number of bits.
    position: int  #: Number of bits below the run in its field.


@attrs.frozen(slots=True)
class Letters:
    """How to make a value from letters of a pattern: ``value = (bits ^ xor) + add``.

    Both steps are reversible, so each value has exactly one bit pattern.

    :raises HalfbitError: if a part has the wrong type.
    """

    #: The letters, most significant first: ``"HL"`` puts H above L.
    letters: str = instance(str, "letters of a pattern")
    #: The runs that it uses, most significant first. A run is given by its index among the runs of these letters, in
    #: the order of the pattern. Empty: all runs, in that order.
    order: tuple[int, ...] = accepted(tuple_of(lambda one: type(one) is int), "a tuple of integers", default=())
    low: int = instance(int, "an integer", default=0)  #: Number of bits left out at the low end of these runs.
    width: int = instance(int, "an integer", default=0)  #: Number of bits taken above those; 0: all.
    xor: int = instance(int, "an integer", default=0)  #: A mask: ones for the bits that are sent inverted.
    #: Difference between the value and the number sent, e.g. 1 for CV numbers.
    add: int = instance(int, "an integer", default=0)


@attrs.frozen(slots=True)
class FieldLayout:
    """The places of one value's bits: ``value = (bits ^ xor) + add``."""

    runs: tuple[Run, ...]
    xor: int
    add: int

    @property
    def width(self) -> int:
        """Number of bits of the field."""
        return sum(run.width for run in self.runs)

    @property
    def low(self) -> int:
        """The lowest value."""
        return self.add

    @property
    def high(self) -> int:
        """The highest value."""
        return self.add + (1 << self.width) - 1

    def take(self, data: bytes, at: int = 0) -> int:
        """Read the value from ``data``. The pattern starts at byte ``at``."""
        bits = 0
        for run in self.runs:
            bits |= (data[at + run.byte] >> run.shift & (1 << run.width) - 1) << run.position
        return (bits ^ self.xor) + self.add

    def put(self, value: int, data: bytearray) -> None:
        """Write a value, ``low`` to ``high``, into ``data``. Its bits in ``data`` must be 0 before."""
        bits = (value - self.add) ^ self.xor
        for run in self.runs:
            data[run.byte] |= (bits >> run.position & (1 << run.width) - 1) << run.shift


@attrs.frozen(slots=True)
class Pattern:
    """A parsed pattern."""

    text: str
    masks: bytes  #: For each byte, a mask with ones for the fixed bits.
    values: bytes  #: For each byte, the values of the fixed bits; other bits are 0.
    #: For each letter, its runs in the order written. ``position`` is counted in this order.
    letters: dict[str, tuple[Run, ...]] = attrs.field(eq=False)

    @classmethod
    def parse(cls, text: str) -> Pattern:
        """Parse a pattern.

        :raises HalfbitError: if it is not made of groups of eight characters, each 0, 1 or a letter A to Z,
            with single spaces between the groups.
        """
        if not isinstance(text, str):
            raise HalfbitError(f'pattern: {text!r} is no text: give e.g. "00111111 DSSSSSSS"')
        masks, values = bytearray(), bytearray()
        bits: dict[str, list[tuple[int, int]]] = {}
        for index, group in enumerate(text.split(" ")):
            if len(group) != 8 or not all(c in "01" or "A" <= c <= "Z" for c in group):
                raise HalfbitError(f"pattern {text!r}: {group!r} is not eight of 0, 1 and letters A to Z")
            masks.append(int("".join("1" if c in "01" else "0" for c in group), 2))
            values.append(int("".join("1" if c == "1" else "0" for c in group), 2))
            for place, letter in zip(range(7, -1, -1), group):
                if letter not in "01":
                    bits.setdefault(letter, []).append((index, place))
        return cls(text, bytes(masks), bytes(values), {letter: _runs(places) for letter, places in bits.items()})

    def __len__(self) -> int:
        return len(self.masks)

    def bytes_at(self, at: int) -> tuple[int, ...]:
        """The values that the byte at index ``at`` may have."""
        mask, value = self.masks[at], self.values[at]
        return tuple(byte for byte in range(256) if (byte ^ value) & mask == 0)

    def field(self, wanted: Letters) -> FieldLayout:
        """The places of a value's bits.

        :raises HalfbitError: if a letter is not in the pattern, the order has a run that does not exist or
            has a run twice, or there are too few bits.
        """
        if not isinstance(wanted, Letters):
            raise HalfbitError(f'{wanted!r} is not Letters: give e.g. Letters("V", add=1)')
        missing = [letter for letter in wanted.letters if letter not in self.letters]
        if missing or not wanted.letters:
            raise HalfbitError(f"pattern {self.text!r} has no field {''.join(missing)!r}")
        runs = [run for letter in wanted.letters for run in self.letters[letter]]
        order = wanted.order or tuple(range(len(runs)))
        if len(set(order)) < len(order) or not set(order) <= set(range(len(runs))):
            raise HalfbitError(f"pattern {self.text!r}: {order} does not name runs of {wanted.letters}, each once")
        chosen = [runs[index] for index in order]
        bits = [(run.byte, run.shift + above) for run in chosen for above in range(run.width - 1, -1, -1)]
        end = len(bits) - wanted.low
        if wanted.low < 0 or not 0 < (wanted.width or 1) <= end:
            problem = f"{wanted.letters} has no bits {wanted.low} and up, {wanted.width}"
            raise HalfbitError(f"pattern {self.text!r}: {problem}")
        return FieldLayout(_runs(bits[end - wanted.width if wanted.width else 0 : end]), wanted.xor, wanted.add)

    def agrees(self, other: Pattern) -> bool:
        """True if some bytes match both patterns, compared up to the end of the shorter one."""
        both = zip(self.values, other.values, self.masks, other.masks)
        return all((mine ^ theirs) & a & b == 0 for mine, theirs, a, b in both)

    def narrows(self, other: Pattern) -> bool:
        """True if it has the same length as ``other``, all of its fixed bits, and more."""
        more = self.masks != other.masks and all(a & b == b for a, b in zip(self.masks, other.masks))
        return len(self) == len(other) and more and self.agrees(other)


def _runs(bits: Sequence[tuple[int, int]]) -> tuple[Run, ...]:
    """The runs of a field's bits. Each bit is a byte and a place in it; the most significant comes first."""
    runs: list[Run] = []
    for position, (byte, place) in zip(range(len(bits) - 1, -1, -1), bits):
        last = runs[-1] if runs else None
        if last is not None and (last.byte, last.shift) == (byte, place + 1):
            runs[-1] = Run(byte, place, last.width + 1, position)
        else:
            runs.append(Run(byte, place, 1, position))
    return tuple(runs)
