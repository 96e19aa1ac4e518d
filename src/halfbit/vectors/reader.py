"""Reads the vectors of the package."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

import attrs

from ..error import HalfbitError
from ..limits import RECEIVE, TRANSMIT, Limits
from .case import VERSION, Case

__all__ = ["SETS", "cases", "heading"]

#: The limits for the decision by sum: a board that sees a change up to 40 us late.
SUM = attrs.evolve(Limits.for_sampling_period(40), recover=False)

#: The sets of cases, each with the limits for decoding it.
SETS: dict[str, Limits] = {"receive": RECEIVE, "transmit": TRANSMIT, "sum": SUM}


def cases(limits: str = "receive") -> tuple[Case, ...]:
    """The cases of a set, in the order of the file.

    :param limits: ``"receive"`` for the limits of decoders; ``"transmit"`` for the limits of stations;
        ``"sum"`` for the decision by sum.
    :raises HalfbitError: for another set, or a file of another version.
    """
    first, *lines = _lines(limits)
    version = json.loads(first)["version"]
    if version != VERSION:
        raise HalfbitError(f"vectors: version {version} is not {VERSION}")
    return tuple(Case.from_json(line) for line in lines)


def heading(limits: str = "receive") -> dict[str, Any]:
    """The heading of a set: its version, its limits in us and counts, and the numbers of the answers by name.

    :param limits: as for :func:`cases`.
    :raises HalfbitError: for another set.
    """
    found: dict[str, Any] = json.loads(_lines(limits)[0])
    return found


def _lines(limits: str) -> list[str]:
    if limits not in SETS:
        raise HalfbitError(f"limits: {limits!r} is none of {', '.join(SETS)}")
    return files("halfbit.vectors").joinpath("data", f"{limits}.jsonl").read_text("ascii").splitlines()
