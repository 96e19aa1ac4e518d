"""Reads the vectors of the package."""

from __future__ import annotations

import json
from importlib.resources import files

import attrs

from ..error import HalfbitError
from ..limits import RECEIVE, TRANSMIT, Limits
from .case import VERSION, Case

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
    if limits not in SETS:
        raise HalfbitError(f"limits: {limits!r} is none of {', '.join(SETS)}")
    text = files("halfbit.vectors").joinpath("data", f"{limits}.jsonl").read_text("ascii")
    heading, *lines = text.splitlines()
    version = json.loads(heading)["version"]
    if version != VERSION:
        raise HalfbitError(f"vectors: version {version} is not {VERSION}")
    return tuple(Case.from_json(line) for line in lines)
