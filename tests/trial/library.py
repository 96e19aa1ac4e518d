"""The only door to the library under trial. When its names change, change them here.

A *way* is a name for how a capture is read: ``auto`` (what the survey finds), ``receive``, ``fitted``, ``period``,
``sum``, ``sequence``, ``one edge``. What a user knows of the board (the loop's period) goes into the limits. What
the station sends does not.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest import mock

import attrs

from halfbit import RECEIVE, Edges, Limits, decode, edges_from_durations, filtered
from halfbit import core_sum
from halfbit.decision import guess, reader, sequence, tiles
from halfbit.error import HalfbitError
from halfbit.survey import survey

from .observer import BOTH, Observer

__all__ = ["AUTO", "WAYS", "Given", "Reading", "margin_by_default", "read", "with_margin"]

AUTO = "auto"
WAYS = (AUTO, "receive", "fitted", "period", "sum", "sequence", "one edge")


@attrs.frozen
class Given:
    """What was given for a capture."""

    #: Bytes, start and end in ns, in order.
    packets: list[tuple[bytes, int, int]]
    #: How packets were recovered, by their ends, in a word.
    recovered: dict[int, str]
    #: Processor time for decoding, and for the survey before, s.
    seconds: float
    survey_seconds: float
    #: The limits, and what the survey said, in a few words.
    note: str


@attrs.frozen
class Reading:
    """Limits, and a filter before them (ns; 0 for none)."""

    limits: Limits
    filter: int = 0
    note: str = ""


def read(
    durations: Sequence[int], way: str, observer: Observer, changes: Mapping[str, Any] | None = None
) -> Given:
    """Decode durations in a way.

    :param durations: ns.
    :param changes: fields of the limits to set otherwise, for a trial of them.
    """
    began = time.process_time()
    reading = _reading(durations, way, observer)
    limits = attrs.evolve(reading.limits, **changes) if changes else reading.limits
    surveyed = time.process_time()
    packets: list[tuple[bytes, int, int]] = []
    recovered: dict[int, str] = {}
    for event in decode(_edges(durations, reading.filter), limits):
        packet = getattr(event, "packet", None)
        if packet is None:
            continue
        # A packet may hold several instructions.
        given = packet.data, packet.start, packet.end
        if not packets or packets[-1] != given:
            packets.append(given)
            if packet.recovered is not None:
                recovered[packet.end] = packet.recovered.value
    return Given(packets, recovered, time.process_time() - surveyed, surveyed - began, reading.note)


#: Where the margin of a way stands in the library: modules and names.
_MARGINS: dict[str, tuple[tuple[Any, str], ...]] = {
    "sum": ((core_sum, "CLEAR"),),
    "sequence": (*((module, "MARGIN") for module in (reader, guess, sequence, tiles)), (reader, "MARGIN_TURNS")),
    "one edge": ((reader, "MARGIN_ONE_EDGE"), *((module, "MARGIN") for module in (guess, sequence, tiles, reader))),
}


def margin_by_default(way: str) -> float:
    """The library's own margin of a way."""
    module, name = _MARGINS[way][0]
    return float(getattr(module, name))


@contextmanager
def with_margin(way: str, margin: float | None) -> Iterator[None]:
    """Decode with another margin than the library's own; None: with that.

    With one edge, the margin of captures without many stretched zeros is smaller by as much as the library has it. By
    sequence, that of loops with long turns is larger by as much.
    """
    with ExitStack() as changes:
        if margin is not None:
            own = margin_by_default(way)
            for module, name in _MARGINS[way]:
                less = own - getattr(module, name)
                changes.enter_context(mock.patch.object(module, name, max(margin - less, 0)))
        yield


def _edges(durations: Sequence[int], minimum: int) -> Edges:
    edges = edges_from_durations(durations, "ns")
    return filtered(edges, minimum, "ns") if minimum else edges


def _reading(durations: Sequence[int], way: str, observer: Observer) -> Reading:
    loop = observer.loop
    # What somebody who knows the board would say of it: how late it may be, the worst case of its jitter included.
    late = max(2 * 3 * observer.jitter, observer.tick, observer.one_way_late, 2.0)
    period = max(loop.period if loop else late, observer.tick)
    rare = loop.long if loop and loop.one_in else 0.0
    if way == AUTO:
        found = survey(edges_from_durations(durations, "ns"), thorough=False)
        return Reading(found.limits, found.filter, _note(found.limits, found.filter, str(found.verdict.finding.value)))
    if way == "receive":
        return Reading(RECEIVE)
    if way == "fitted":
        try:
            return Reading(Limits.fitted(durations))
        except HalfbitError:
            return Reading(RECEIVE, note="cannot be fitted")
    if way == "one edge":
        return Reading(Limits.for_one_edge(jitter=late / 2))
    if way == "period":
        return Reading(Limits.for_sampling_period(period, rare=rare))
    if way == "sum":
        return Reading(Limits.for_sampling_period(min(max(period, 12.1), 42.0)))
    if way == "sequence":
        limits = Limits.for_sampling_period(min(max(period, 42.1), 80.0), rare=rare)
        return Reading(attrs.evolve(limits, latency_max=round(period * 1000), one_edge=observer.edges != BOTH))
    raise ValueError(f"no such way: {way!r}; there are {', '.join(WAYS)}")


def _note(limits: Limits, minimum: int, finding: str) -> str:
    words = [finding, "by", limits.decision]
    if limits.decision != "halves":
        words.append(f"late {limits.latency_max / 1000:g}")
    if limits.latency_rare:
        words.append(f"rare {limits.latency_rare / 1000:g}")
    if limits.one_edge:
        words.append("one edge")
    if minimum:
        words.append(f"filter {minimum / 1000:g}")
    return " ".join(words)
