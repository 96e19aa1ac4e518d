"""The declarations at the head of a VCD file (IEEE 1364), and the signal chosen among them.

Read with the package pyvcd, which the extra ``vcd`` installs.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any

import attrs

from ..error import AmbiguousError, CaptureError, HalfbitError
from ..unit import Unit
from .lines import BOM, listed

__all__ = ["Head", "Variable", "choose", "read_head"]

LONGEST = 1 << 26  #: Most bytes of declarations that are read; more than any simulation needs.

_END = re.compile(rb"\$enddefinitions\s+\$end(?=\s)")
_INDEXED = re.compile(r"(.+)\[(-?\d+)\]")

_POWERS = {"s": 0, "ms": -3, "us": -6, "ns": -9, "ps": -12, "fs": -15}  #: Units in seconds, as powers of ten.


@attrs.frozen
class Variable:
    """A declared variable, or one bit of it."""

    name: str  #: Its scopes and its name, joined by dots.
    code: bytes  #: The code that stands for it in the value changes.
    size: int  #: Number of bits.
    real: bool
    bits: tuple[int, int] | None  #: The numbers of its first and last bit, as declared; ``None`` for a single bit.
    bit: int | None = None  #: The selected bit, counted from the last; ``None`` for a single bit or a real value.

    @property
    def shown(self) -> str:
        """The name as shown in a list of signals."""
        return self.name if self.bits is None else f"{self.name}[{self.bits[0]}:{self.bits[1]}]"


@attrs.frozen
class Head:
    """The declarations of a file."""

    unit: Unit | None  #: Ticks per second; ``None`` if the file does not say.
    variables: tuple[Variable, ...]
    bytes: int  #: Number of bytes before the value changes.
    lines: int  #: Number of lines before them.


def read_head(chunks: Iterable[bytes]) -> Head:
    """Read up to the end of the declarations.

    :raises CaptureError: if the declarations are incomplete or invalid.
    :raises HalfbitError: if the package pyvcd is not installed.
    """
    try:
        from vcd.reader import VCDParseError, tokenize
    except ImportError:
        problem = "reading VCD files takes the package pyvcd, which is not installed"
        raise HalfbitError(f"{problem}: pip install 'halfbit[vcd]'") from None
    text = bytearray()
    end = None
    for chunk in chunks:
        seen = max(len(text) - 40, 0)
        text += chunk
        end = _END.search(text, seen)
        if end is not None or len(text) > LONGEST:
            break
    head = bytes(text[: end.end()] if end else text)
    if head.startswith(BOM):
        head = b"   " + head[len(BOM) :]
    scopes: list[str] = []
    variables: list[Variable] = []
    unit: Unit | None = None
    finished = False
    try:
        for token in tokenize(io.BytesIO(head + b"\n")):
            kind = token.kind.name
            if kind == "SCOPE":
                scopes.append(token.scope.ident)
            elif kind == "UPSCOPE":
                if not scopes:
                    raise CaptureError("$upscope outside any scope", f"line {token.span.start.line}")
                scopes.pop()
            elif kind == "VAR":
                variables.append(_variable(scopes, token.var))
            elif kind == "TIMESCALE":
                unit = _unit(token.timescale)
            elif kind == "ENDDEFINITIONS":
                finished = True
    except CaptureError:
        raise
    except (VCDParseError, ValueError, LookupError, RuntimeError) as error:  # all of these, on bytes that are no VCD
        at = getattr(error, "loc", None)
        problem = str(error).partition(": ")[2] or str(error) or "ends within a declaration"
        place = f"line {at.line}" if at else ""
        raise CaptureError(f"is no VCD file, or a damaged one: {problem}", place) from None
    if not finished:
        raise CaptureError("ends before $enddefinitions: empty, cut short, or no VCD file")
    return Head(unit, tuple(variables), len(head), head.count(b"\n"))


def choose(variables: Sequence[Variable], name: str | None, option: str = "signal") -> Variable:
    """Find a variable, or one bit of it, by name.

    :param name: with or without its scopes; ``None`` for the only variable.
    :param option: the parameter that gave the name, for errors.
    :raises CaptureError: if no variable has that name, or several do. The message lists them.
    """
    there = listed(sorted({variable.shown for variable in variables}))
    if name is None:
        found = list(variables)
        problem = f"has several signals; say which with {option}=NAME ({there})"
    else:
        found = list(_matching(variables, name.strip()))
        problem = f"{option}: {name!r} is not the only one of that name: give more of its scopes ({there})"
    # Several names may stand for the same variable.
    if len({(variable.code, variable.bit) for variable in found}) > 1:
        raise AmbiguousError(problem, option, tuple(variable.name for variable in found if variable.size == 1))
    if not found:
        problem = f"{option}: there is no signal {name!r}; there are {there}" if there else "declares no signals"
        raise CaptureError(problem)
    (chosen, *_) = found
    if chosen.size != 1 and chosen.bit is None and not chosen.real:
        first, last = (f"{chosen.name}[{bit}]" for bit in chosen.bits or (chosen.size - 1, 0))
        raise CaptureError(f"{option}: {chosen.name!r} has {chosen.size} bits: give one, from {first} to {last}")
    return chosen


def _matching(variables: Sequence[Variable], name: str) -> Iterator[Variable]:
    indexed = _INDEXED.fullmatch(name)
    for variable in variables:
        if _is(variable.name, name) or _is(variable.shown, name):
            yield variable
        elif indexed and variable.bits is not None and _is(variable.name, indexed[1]):
            (first, last), number = variable.bits, int(indexed[2])
            if min(first, last) <= number <= max(first, last):
                yield attrs.evolve(variable, bit=abs(number - last))


def _is(full: str, name: str) -> bool:
    return full == name or full.endswith("." + name)


def _variable(scopes: Sequence[str], var: Any) -> Variable:
    real = var.type_.value in ("real", "realtime", "shortreal", "real_parameter")
    name = ".".join((*filter(None, scopes), var.reference))
    bits: tuple[int, int] | None = None
    if isinstance(var.bit_index, int):
        name += f"[{var.bit_index}]"
    elif var.size > 1 and not real:
        bits = var.bit_index or (var.size - 1, 0)
    return Variable(name, var.id_code.encode(), var.size, real, bits)


def _unit(timescale: Any) -> Unit:
    power = _POWERS.get(timescale.unit.value)
    magnitude = int(getattr(timescale.magnitude, "value", timescale.magnitude))  # an enum, before pyvcd 0.5
    if power is None or magnitude < 1:
        raise CaptureError(f"time scale {magnitude} {timescale.unit.value} is not one that a capture can have")
    return 1 / (magnitude * Fraction(10) ** power)
