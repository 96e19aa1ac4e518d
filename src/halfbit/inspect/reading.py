"""Finds out how to read a capture by trying: meaning and unit of its numbers, the channel of the track, the limits.

A guess is used only if it gives packets and no other guess does. Packets have a right error detection byte, which
does not happen often by chance. If two guesses give different packets, the error names both.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import accumulate, chain, islice, pairwise
from operator import sub
from typing import Any

import attrs

from ..capture import CaptureEdges, Location, Source, open_capture, source_of
from ..capture.filter import filtered
from ..decision import receiver_for
from ..edge import Edge, Edges, ReplayedEdges, edges_from_durations
from ..error import AmbiguousError, CaptureError
from ..event import Packet
from ..limits import RECEIVE, US, Limits
from ..survey import Survey, survey
from ..unit import Scale, Unit

__all__ = ["Reading", "read_capture"]

#: Number of durations used to choose between guesses, and between limits.
TRIED = 6000
#: Parameters whose values can be found by trying.
TRIABLE = ("holds", "time_column", "level_column", "signal", "channel", "unit")
#: Number of durations in a run; and the possible mean of the shortest run, ns: one-halves or whole ones.
RUN = 20
PULSES = (range(40 * US, 85 * US), range(95 * US, 145 * US))
#: The same for a timer with a guessed rate: half of a one-bit as a station sends it (S-9.1 A, table 1), with some
#: tolerance.
TIMED = range(54 * US, 62 * US)
#: Common rates of timers and samplers, kHz (common practice, no source).
RATES = (100, 192, 200, 250, 500, *(1000 * rate for rate in (1, 2, 4, 5, 8, 10, 12, 16, 20, 24, 25, 32, 40, 48, 50, 64, 72, 80, 96,
         100, 120, 125, 133, 150, 200, 250, 400, 500)))  # fmt: skip
#: The standard's limits are kept if they read this share of the best limits' packets, or lose at most FEW packets. So
#: losses stay visible.
ENOUGH, FEW = 0.99, 2
#: Time of a live signal that is used to choose limits, ns, unless a packet comes sooner.
LIVE = 3_000_000_000
#: Number of numbers in a live text used to tell durations from times.
FEWEST = 64


@attrs.frozen
class Reading:
    """A capture, and how to read it."""

    edges: Edges
    limits: Limits
    #: How it is read, in words.
    words: str
    #: The edges of the file, before any filter.
    capture: CaptureEdges


@attrs.frozen
class _Guess:
    #: The guessed parameters of :func:`open_capture`.
    said: dict[str, Any]
    edges: CaptureEdges


@attrs.frozen
class _Trial:
    guess: _Guess
    limits: Limits
    packets: list[bytes]


def read_capture(
    location: Location, *, limits: Limits | None = None, minimum: int | None = None, **options: Any
) -> Reading:
    """Open a capture and find out how to read it.

    :param location: as :func:`halfbit.open_capture` takes it.
    :param limits: the limits to use; ``None`` to find those that fit.
    :param minimum: of the noise filter, ns; 0 for no filter; ``None`` to use one if it is needed.
    :param options: of :func:`halfbit.open_capture`. Options that are given are not guessed.
    :raises AmbiguousError: if several guesses fit; the message names them. Also if no guess gives packets.
    :raises CaptureError: as :func:`halfbit.open_capture`.
    """
    source = source_of(location)
    options = {name: value for name, value in options.items() if value is not None}
    if source.live:
        return _read_live(source, limits, minimum, options)
    guess = _chosen([*_guesses(source, options)], source)
    edges: Edges = guess.edges
    words = _words(guess.edges, guess.said)
    if minimum:
        edges = filtered(edges, minimum, "ns")
    if limits is not None:
        return Reading(edges, limits, words, guess.edges)
    found = survey(_Readable(edges), thorough=False)
    return _fitting(Reading(edges, RECEIVE, words, guess.edges), found, minimum)


def _guesses(source: Source, options: dict[str, Any], said: dict[str, Any] | None = None) -> Iterator[_Guess]:
    """The possible ways to open a file, with all values for parameters that it does not give."""
    said = said or {}
    try:
        edges = open_capture(source, **options, **said)
    except AmbiguousError as error:
        if error.parameter not in TRIABLE:
            raise
        values = error.choices or (("us",) if error.parameter == "unit" else ())
        if not values:
            raise
        found = [guess for value in values for guess in _opened(source, options, {**said, error.parameter: value})]
        if not found:
            raise
        yield from found
        return
    if edges.unit is not None and "unit" not in said:
        yield _Guess(said, edges)
        return
    for unit in _units(_first(edges)):
        more = {**said, "unit": unit}
        yield _Guess(more, open_capture(source, **options, **more))


def _opened(source: Source, options: dict[str, Any], said: dict[str, Any]) -> list[_Guess]:
    try:
        return list(_guesses(source, options, said))
    except AmbiguousError:
        raise
    except CaptureError:
        return []


def _first(edges: Edges, count: int = TRIED) -> list[int]:
    """The first durations, ns, up to an error."""
    durations: list[int] = []
    try:
        for row, scale in edges._rows():
            durations += [duration * scale for duration in islice(row, count - len(durations))]
            if len(durations) >= count:
                break
    except CaptureError:
        pass
    return durations


def _units(durations: Sequence[int]) -> list[Unit]:
    """Units with which durations can be a signal.

    :param durations: ns if the counts are us, that is, a thousand times the counts.
    """
    totals = list(accumulate(durations, initial=0))
    means = list(map(sub, totals[RUN:], totals))
    pulse = Fraction(min(means, default=0), RUN * US)  # counts
    named = [
        unit
        for unit in ("us", "ns", "ms", "s")
        if any(round(pulse * Scale.of(unit).numerator) in pulses for pulses in PULSES)
    ]
    rates: list[Unit] = [
        1000 * rate for rate in RATES if int(pulse * US * US / rate) in TIMED and rate not in (1, 1000, 1_000_000)
    ]
    return [*named, *rates] or ["us"]


def _chosen(guesses: list[_Guess], source: Source) -> _Guess:
    """The guess that gives packets.

    :raises AmbiguousError: if no guess does, or if several do and their packets differ.
    """
    if len(guesses) == 1:
        return guesses[0]
    trials = [_trial(guess) for guess in guesses]
    most = max(len(trial.packets) for trial in trials)
    fitting = [trial for trial in trials if trial.packets and len(trial.packets) >= most / 10]
    if not fitting:
        _raise_if_unreadable(guesses)
        raise AmbiguousError(f"no way to read it gives packets; say what it holds: {_ways(guesses)}", "holds").within(
            source.name
        )
    best, *others = fitting
    differing = [trial for trial in others if trial.packets != best.packets]
    if differing:
        ways = _ways([trial.guess for trial in (best, *differing)])
        raise AmbiguousError(
            f"can be read in {1 + len(differing)} ways that give packets; say which: {ways}", "holds"
        ).within(source.name)
    return best.guess


def _raise_if_unreadable(guesses: Sequence[_Guess]) -> None:
    """Raise the first guess's error if no guess gives any duration.

    :raises CaptureError: that error.
    """
    errors: list[CaptureError] = []
    for guess in guesses:
        try:
            if any(row for row, _ in guess.edges._rows()):
                return
        except CaptureError as error:
            errors.append(error)
    if errors:
        raise errors[0]


def _ways(guesses: Sequence[_Guess]) -> str:
    keys = {
        key
        for guess in guesses
        for key, value in guess.said.items()
        if any(other.said.get(key) != value for other in guesses)
    }
    return " or ".join(
        " ".join(f"{key}={unit_text(value)}" for key, value in guess.said.items() if key in keys) for guess in guesses
    )


def _trial(guess: _Guess) -> _Trial:
    durations = _first(guess.edges)
    found = survey(edges_from_durations(durations, "ns"), thorough=False)
    return _Trial(guess, found.limits, _packets(durations, found.limits, found.filter))


def _packets(durations: Sequence[int], limits: Limits, minimum: int = 0) -> list[bytes]:
    edges = edges_from_durations(durations, "ns")
    receiver = receiver_for(limits)
    events = [
        event
        for row, scale in (filtered(edges, minimum, "ns") if minimum else edges)._rows()
        for event in receiver.feed_many(row, scale)
    ]
    return [event.data for event in (*events, *receiver.finish()) if isinstance(event, Packet)]


def _fitting(reading: Reading, found: Survey, minimum: int | None) -> Reading:
    """The reading with the limits from a survey, or with the standard's limits if these are nearly as good."""
    edges, words = reading.edges, reading.words
    limits, noise = found.limits, found.filter if minimum is None else 0
    if not found.verdict.finding.readable:
        return attrs.evolve(reading, words=f"{words}; {found.verdict.reason}")
    best = found.trials[0].packets
    plain = max(trial.packets for trial in found.trials if trial.limits == RECEIVE and not trial.filter)
    if plain and plain >= min(best * ENOUGH, best - FEW):
        limits, noise = RECEIVE, 0
    if noise:
        edges = filtered(edges, noise, "ns")
        words += f", noise shorter than {noise / US:g} us filtered"
    return attrs.evolve(reading, edges=edges, limits=limits, words=words + _limits_in_words(limits, found))


def _limits_in_words(limits: Limits, found: Survey) -> str:
    if limits == RECEIVE:
        return ", within what a decoder must accept"
    fit = found.fit
    late = ""
    if limits.one_edge:
        late = ", one edge of each bit"
    elif fit is not None and fit.late > 10 * US:
        late = f", polled loop of about {fit.late / US:.0f} us"
    elif fit is not None:
        late = f", ones of {fit.one / US:.1f} us with up to {fit.late / US:.0f} us of jitter"
    wider = "" if limits.one_max == RECEIVE.one_max else " in wider windows"
    decided = {"halves": f"halves{wider}", "sum": "sums"}.get(limits.decision, limits.decision + "s")
    if limits.recover and limits.decision != "sequence":
        decided += ", lost packets by sequences"
    return f"{late}, decided by {decided}"


def _words(edges: CaptureEdges, said: dict[str, Any]) -> str:
    unit = "us (nothing says so)" if edges.unit is None else unit_text(edges.unit)
    words = (
        edges.words
        if edges.words == "value changes"
        else f"{edges.words} in {unit}"
        if isinstance(edges.unit, str) or edges.unit is None
        else f"{edges.words} at {unit}"
    )
    for key in ("signal", "channel", "level_column"):
        if key in said and " of " not in edges.words:
            words += f" of {key.replace('_', ' ')} {said[key]}"
    return words


def unit_text(value: Any) -> str:
    """A unit or another parameter's value as a user writes it, for example ``2MHz``."""
    if isinstance(value, (int, Fraction)) and value >= 1000:
        for factor, name in ((1_000_000, "MHz"), (1000, "kHz")):
            if value >= factor:
                return f"{float(value / factor):g}{name}"
    return str(value)


def _read_live(source: Source, limits: Limits | None, minimum: int | None, options: dict[str, Any]) -> Reading:
    said: dict[str, Any] = {}
    try:
        edges = open_capture(source, **options)
    except AmbiguousError as error:
        if error.parameter != "holds":
            raise
        said = _numbers_of(source, options, error)
        edges = open_capture(source, **options, **said)
    words = _words(edges, said)
    measured: Edges = filtered(edges, minimum, "ns") if minimum else edges
    if limits is not None:
        return Reading(measured, limits, words, edges)
    rows = measured._rows()
    taken, soon = _ahead(rows)
    again = ReplayedEdges(chain(taken, rows), "a live capture")
    if soon:
        return Reading(again, RECEIVE, words + ", within what a decoder must accept", edges)
    durations = [duration * scale for row, scale in taken for duration in row]
    found = survey(edges_from_durations(durations, "ns"), thorough=False)
    return _fitting(Reading(again, RECEIVE, words, edges), found, minimum)


def _numbers_of(source: Source, options: dict[str, Any], error: AmbiguousError) -> dict[str, Any]:
    """The meaning of a stream's numbers, from the first ones: times if they always rise, else durations."""
    data = b""
    for chunk in source.look():
        data += chunk
        if data.count(b"\n") >= FEWEST or len(data) > 1 << 16:
            break
    durations = _first(open_capture(io.BytesIO(data), **{**options, "holds": "durations", "unit": "us"}), FEWEST)
    if len(durations) < 2:
        raise error
    rising = all(late > early for early, late in pairwise(durations))
    return {"holds": "times" if rising else "durations"}


def _ahead(rows: Iterator[tuple[Sequence[int], int]]) -> tuple[list[tuple[Sequence[int], int]], bool]:
    """Rows up to the first packet by the standard's limits, or of some seconds; and True if a packet came."""
    receiver = receiver_for(RECEIVE)
    taken: list[tuple[Sequence[int], int]] = []
    for row, scale in rows:
        taken.append((row, scale))
        events = receiver.feed_many(row, scale)
        if events and isinstance(events[0], Packet):
            return taken, True
        if receiver.now >= LIVE:
            break
    return taken, False


class _Readable(Edges):
    """Edges up to the first error. The error is raised again during decoding."""

    def __init__(self, edges: Edges) -> None:
        self._edges = edges

    def __iter__(self) -> Iterator[Edge]:
        return iter(self._edges)

    def _rows(self) -> Iterator[tuple[Sequence[int], int]]:
        try:
            yield from self._edges._rows()
        except CaptureError:
            return
