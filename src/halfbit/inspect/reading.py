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
from ..capture.options import NUMBERED
from ..decision import receiver_for
from ..edge import Edges, ReplayedEdges, edges_from_durations
from ..error import AmbiguousError, CaptureError
from ..event import Packet
from ..limits import RECEIVE, US, Limits
from ..survey import Survey, survey
from ..unit import Scale, Unit
from .losses import Durations, events_of

__all__ = ["Reading", "read_capture"]

TRIED = 6000  #: Number of durations used to choose between guesses, and between limits.
TRIABLE = ("holds", "time_column", "level_column", "signal", "channel", "unit")  #: Found by trying if not given.
MOST = 100  #: Most values of a parameter that are tried.
RUN = 20  #: Number of durations in a run.
PULSES = (range(40 * US, 85 * US), range(95 * US, 145 * US))  #: Possible mean of the shortest run, ns: halves or ones.
TIMED = range(54 * US, 62 * US)  #: The same for a timer with a guessed rate: half of a one-bit (S-9.1 A, table 1).
#: Common rates of timers and samplers, kHz (common practice, no source).
MHZ = 1, 2, 4, 5, 8, 10, 12, 16, 20, 24, 25, 32, 40, 48, 50, 64, 72, 80, 96, 100, 120, 125, 133, 150, 200, 250, 400, 500
RATES = (100, 192, 200, 250, 500, *(1000 * rate for rate in MHZ))
#: To keep losses visible, the standard's limits stay if they read this share of the packets, or lose at most FEW.
ENOUGH, FEW = 0.99, 2
LIVE = 3_000_000_000  #: Time of a live signal that is used to choose limits, ns, unless a packet comes sooner.
FEWEST = 64  #: Number of numbers in a live text used to tell durations from times.


@attrs.frozen
class Reading:
    """A capture, and how to read it."""

    edges: Edges
    limits: Limits
    words: str  #: How it is read, in words.
    capture: CaptureEdges  #: The edges of the file, before any filter.


@attrs.frozen
class _Guess:
    said: dict[str, Any]  #: The guessed parameters of :func:`open_capture`.
    edges: CaptureEdges


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
    guess = _live_guess(source, options) if source.live else _chosen([*_guesses(source, options, {})], source)
    edges = _filtered(guess.edges, minimum or 0)
    reading = Reading(edges, limits or RECEIVE, _words(guess), guess.edges)
    if limits is not None:
        return reading
    if source.live:
        return _ahead(reading, minimum)
    return _fitting(reading, survey(ReplayedEdges(_until_error(edges), source.name), thorough=False), minimum)


def _guesses(source: Source, options: dict[str, Any], said: dict[str, Any]) -> Iterator[_Guess]:
    """The possible ways to open a file, with all values for parameters that it does not give."""
    try:
        edges = open_capture(source, **options, **said)
    except AmbiguousError as error:
        values = error.choices or (("us",) if error.parameter == "unit" else ())
        if error.parameter not in TRIABLE or error.parameter in options or len(values) > MOST:
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


def _filtered(edges: Edges, minimum: int) -> Edges:
    return filtered(edges, minimum, "ns") if minimum else edges


def _until_error(edges: Edges) -> Iterator[tuple[Sequence[int], int]]:
    """The rows up to the first error. Decoding raises it again."""
    try:
        yield from edges._rows()
    except CaptureError:
        return


def _first(edges: Edges, count: int = TRIED) -> list[int]:
    """The first durations, ns, up to an error."""
    return list(islice((duration * scale for row, scale in _until_error(edges) for duration in row), count))


def _units(durations: Sequence[int]) -> list[Unit]:
    """Units with which durations can be a signal.

    :param durations: ns if the counts are us, that is, a thousand times the counts.
    """
    totals = list(accumulate(durations, initial=0))
    means = list(map(sub, totals[RUN:], totals))
    pulse = Fraction(min(means, default=0), RUN * US)  # counts
    units = ("us", "ns", "ms", "s")
    named = [unit for unit in units if any(round(pulse * Scale.of(unit).numerator) in pulses for pulses in PULSES)]
    rates = [1000 * rate for rate in RATES if rate != 1000 and int(pulse * US * US / rate) in TIMED]  # 1000: us
    return [*named, *rates] or ["us"]


def _chosen(guesses: list[_Guess], source: Source) -> _Guess:
    """The guess that gives packets.

    :raises AmbiguousError: if no guess does, or if several do and their packets differ.
    :raises CaptureError: if no guess gives any duration, because of an error.
    """
    if len(guesses) == 1:
        return guesses[0]
    trials = [(guess, _packets(guess)) for guess in guesses]
    most = max(len(packets) for _, packets in trials)
    fitting = [(guess, packets) for guess, packets in trials if packets and len(packets) >= most / 10]
    if not fitting:
        if not any(_first(guess.edges, count=1) for guess in guesses):
            for guess in guesses:
                list(guess.edges)  # raises the error that comes before the first duration
        problem = f"no way to read it gives packets; say what it holds: {_ways(guesses)}{_likely(guesses)}"
        raise AmbiguousError(problem, "holds").within(source.name)
    best, best_packets = fitting[0]
    differing = [guess for guess, packets in fitting if packets != best_packets]
    if differing:
        ways = _ways([best, *differing])
        problem = f"can be read in {1 + len(differing)} ways that give packets; say which: {ways}"
        raise AmbiguousError(problem, "holds").within(source.name)
    return best


def _likely(guesses: Sequence[_Guess]) -> str:
    """What numbers are likely to be, in words: times only go up, durations go up and down. Empty if it is not clear."""
    numbers = next((_first(guess.edges) for guess in guesses if guess.said.get("holds") == "durations"), [])
    falls = sum(late < early for early, late in pairwise(numbers))
    if len(numbers) >= RUN and all(late > early for early, late in pairwise(numbers)):
        return ". Its numbers only go up, so they are likely times: say holds=times"
    if falls > len(numbers) // 10:  # a counter starts over less often
        return ". Its numbers go up and down, so they are likely durations: say holds=durations"
    return ""


def _packets(guess: _Guess) -> list[bytes]:
    """The bytes of the first packets, with the limits that fit them best."""
    edges = edges_from_durations(_first(guess.edges), "ns")
    found = survey(edges, thorough=False)
    events = events_of(_filtered(edges, found.filter), found.limits, Durations())
    return [event.data for event in events if isinstance(event, Packet)]


def _ways(guesses: Sequence[_Guess]) -> str:
    """The guesses in words, by the parameters in which they differ."""
    first = guesses[0].said
    keys = {key for guess in guesses for key in {**first, **guess.said} if guess.said.get(key) != first.get(key)}
    return " or ".join(
        " ".join(f"{key}={unit_text(value)}" for key, value in guess.said.items() if key in keys) for guess in guesses
    )


def _fitting(reading: Reading, found: Survey, minimum: int | None) -> Reading:
    """The reading with the limits from a survey, or with the standard's limits if these are nearly as good."""
    edges, words = reading.edges, reading.words
    limits, noise = found.limits, found.filter if minimum is None else 0
    if not found.verdict.finding.readable:
        more = f"; {NUMBERED}" if words.startswith("times and volts") else ""
        return attrs.evolve(reading, words=f"{words}; {found.verdict.reason}{more}")
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
    elif fit is not None:
        jitter = f"ones of {fit.one / US:.1f} us"
        if fit.late >= US:
            jitter += f" with up to {fit.late / US:.0f} us of jitter"
        late = f", polled loop of about {fit.late / US:.0f} us" if fit.late > 10 * US else f", {jitter}"
    wider = "" if limits.one_max == RECEIVE.one_max else " in wider windows"
    decided = {"halves": f"halves{wider}", "sum": "sums"}.get(limits.decision, limits.decision + "s")
    if limits.recover and limits.decision != "sequence":
        decided += ", lost packets by sequences"
    return f"{late}, decided by {decided}"


def _words(guess: _Guess) -> str:
    words, unit = guess.edges.words, guess.edges.unit
    if unit is None:
        words += " in us (nothing says so)"
    elif words != "value changes":
        words += f" {'in' if isinstance(unit, str) else 'at'} {unit_text(unit)}"
    for key in ("signal", "channel", "level_column"):
        if key in guess.said and " of " not in guess.edges.words:
            words += f" of {key.replace('_', ' ')} {guess.said[key]}"
    return words


def unit_text(value: Any) -> str:
    """A unit or another parameter's value as a user writes it, for example ``2MHz``."""
    if isinstance(value, (int, Fraction)) and value >= 1000:
        factor, name = (1_000_000, "MHz") if value >= 1_000_000 else (1000, "kHz")
        return f"{float(value / factor):g}{name}"
    return str(value)


def _live_guess(source: Source, options: dict[str, Any]) -> _Guess:
    """How to open a stream. Only the meaning of its numbers is guessed."""
    try:
        return _Guess({}, open_capture(source, **options))
    except AmbiguousError as error:
        if error.parameter != "holds":
            raise
        said: dict[str, Any] = {"holds": _meaning(source, options, error)}
        return _Guess(said, open_capture(source, **options, **said))


def _meaning(source: Source, options: dict[str, Any], error: AmbiguousError) -> str:
    """The meaning of a stream's numbers, from the first ones: times if they always rise, else durations.

    :raises AmbiguousError: the given error, if there are too few numbers.
    """
    data = b""
    for chunk in source.look():
        data += chunk
        if data.count(b"\n") >= FEWEST or len(data) > 1 << 16:
            break
    options = {**options, "holds": "durations", "unit": "us"}
    numbers = _first(open_capture(io.BytesIO(data), **options), FEWEST)
    if len(numbers) < 2:
        raise error
    return "times" if all(late > early for early, late in pairwise(numbers)) else "durations"


def _ahead(reading: Reading, minimum: int | None) -> Reading:
    """The reading of a live capture, from its first seconds, or up to the first packet by the standard's limits."""
    rows = reading.edges._rows()
    receiver = receiver_for(RECEIVE)
    taken: list[tuple[Sequence[int], int]] = []
    reading = attrs.evolve(reading, edges=ReplayedEdges(chain(taken, rows), "a live capture"))
    for row, scale in rows:
        taken.append((row, scale))
        events = receiver.feed_many(row, scale)
        if events and isinstance(events[0], Packet):
            return attrs.evolve(reading, words=reading.words + ", within what a decoder must accept")
        if receiver.now >= LIVE:
            break
    return _fitting(reading, survey(ReplayedEdges(iter(taken), ""), thorough=False), minimum)
