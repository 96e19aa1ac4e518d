"""Somebody's port run against the vectors.

The port is a program that reads durations, a decimal number to a line, and answers on its output. An empty
line ends a case: the port starts afresh and prints an empty line. For each answer other than MORE it prints
how many durations of the case it has taken and the answer's number, and for a packet also the
one-bits before it and its bytes in hexadecimal::

    20 4
    29 5
    101 3 14 033FAA96
"""

from __future__ import annotations

import subprocess
from collections.abc import Sequence

import attrs

from .. import core
from ..error import HalfbitError
from ..event import FaultKind
from .case import Answer, Case

__all__ = ["Difference", "Report", "check", "fed"]

_NAMES = {core.PACKET: "PACKET", core.SYNC: "SYNC", core.START: "START"}


@attrs.frozen(slots=True)
class Difference:
    """A case that a port answers otherwise."""

    case: Case
    #: The first difference, in words.
    text: str
    #: Whether other packets come, not only other answers between them or counts of one-bits.
    packets: bool = True


@attrs.frozen(slots=True)
class Report:
    """What a run came to."""

    cases: tuple[Case, ...]
    differences: tuple[Difference, ...]

    @property
    def rules(self) -> dict[str, tuple[int, int]]:
        """Rule to how many cases it has, and how many of them differ; in the order of the cases."""
        counts = {case.rule: [0, 0] for case in self.cases}
        for case in self.cases:
            counts[case.rule][0] += 1
        for difference in self.differences:
            counts[difference.case.rule][1] += 1
        return {rule: (cases, differ) for rule, (cases, differ) in counts.items()}

    @property
    def broken(self) -> dict[str, Difference]:
        """Rule to its first difference, for the rules that have one.

        Rules that cost packets come first: where all do not, those say more about what is wrong.
        """
        first: dict[str, Difference] = {}
        for difference in sorted(self.differences, key=lambda difference: not difference.packets):
            first.setdefault(difference.case.rule, difference)
        return first


def fed(cases: Sequence[Case], ticks_per_us: int = 1) -> str:
    """What a port is given to read: the durations, in its ticks, an empty line after each case."""
    return "".join(
        "".join(f"{duration * ticks_per_us}\n" for duration in case.durations) + "\n"
        for case in cases
    )


def check(
    command: Sequence[str],
    cases: Sequence[Case],
    *,
    ticks_per_us: int = 1,
    packets_only: bool = False,
    timeout: float = 60,
) -> Report:
    """Run a port over cases and compare.

    :param command: the program and its arguments.
    :param ticks_per_us: how many of the port's ticks make a microsecond.
    :param packets_only: leaves all answers but packets out of the comparison.
    :param timeout: how long the port may take for all, s.
    :raises HalfbitError: where it cannot be run, does not end, or takes fewer ticks than 1.
    """
    if ticks_per_us < 1:
        raise HalfbitError(f"ticks_per_us: {ticks_per_us!r} is not a number from 1 up")
    try:
        done = subprocess.run(
            list(command), input=fed(cases, ticks_per_us).encode(), stdout=subprocess.PIPE, timeout=timeout
        )
    except OSError as error:
        raise HalfbitError(f"{command[0]}: cannot be run: {error.strerror or error}") from None
    except subprocess.TimeoutExpired:
        raise HalfbitError(f"{command[0]}: has not ended within {timeout:g} s") from None
    answered = _split(done.stdout.decode("utf-8", "replace"))
    differences = []
    for index, case in enumerate(cases):
        if index < len(answered):
            text, packets = _compare(case, answered[index], packets_only)
        else:
            packets = bool(_packets(case.answers))
            ended = f"ended with status {done.returncode}" if done.returncode else "ended"
            text = f"no answer to this case: the program {ended} before it"
        if text:
            differences.append(Difference(case, text, packets))
    if len(answered) > len(cases):
        differences.append(Difference(cases[-1], "the program prints more after the last case"))
    return Report(tuple(cases), tuple(differences))


def _split(output: str) -> list[list[str]]:
    """Lines by case. Lines after the last empty line belong to a case that was not ended."""
    cases: list[list[str]] = []
    lines: list[str] = []
    for line in output.splitlines():
        if line.strip():
            lines.append(line)
        else:
            cases.append(lines)
            lines = []
    return [*cases, lines] if lines else cases


def _packets(answers: Sequence[Answer]) -> list[Answer]:
    return [answer for answer in answers if answer.answer == core.PACKET]


def _compare(case: Case, lines: Sequence[str], packets_only: bool) -> tuple[str, bool]:
    """The first difference in words, nothing where there is none; and whether packets differ."""
    got: list[Answer] = []
    for line in lines:
        answer = _parse(line)
        if answer is None:
            return f"cannot be read: {line[:60]!r}", True
        got.append(answer)
    packets = _packets(case.answers), _packets(got)
    differ = [p.data for p in packets[0]] != [p.data for p in packets[1]]
    if packets_only:
        return _first(*packets), differ
    return _first(case.answers, got), differ


def _first(expected: Sequence[Answer], got: Sequence[Answer]) -> str:
    """The first difference in words; nothing where there is none."""
    for one, other in zip(expected, got):
        if one != other:
            if one.at == other.at:
                return f"after duration {one.at}: {_words(other)} instead of {_words(one)}"
            if one.at < other.at:
                return f"after duration {one.at}: nothing instead of {_words(one)}"
            return f"after duration {other.at}: {_words(other)} instead of nothing"
    if len(got) < len(expected):
        missing = expected[len(got)]
        return f"after duration {missing.at}: nothing instead of {_words(missing)}"
    if len(got) > len(expected):
        extra = got[len(expected)]
        return f"after duration {extra.at}: {_words(extra)} instead of nothing"
    return ""


def _parse(line: str) -> Answer | None:
    parts = line.split()
    try:
        if len(parts) == 2 and int(parts[1]) != core.PACKET:
            return Answer(int(parts[0]), int(parts[1]))
        if len(parts) == 4 and int(parts[1]) == core.PACKET:
            return Answer(int(parts[0]), core.PACKET, int(parts[2]), bytes.fromhex(parts[3]))
    except ValueError:
        pass
    return None


def _words(answer: Answer) -> str:
    if answer.answer == core.PACKET:
        return f"PACKET {answer.data.hex(' ').upper()} after {answer.preamble} one-bits"
    if answer.answer in _NAMES:
        return _NAMES[answer.answer]
    if answer.answer in FaultKind.__members__.values():
        return FaultKind(answer.answer).name
    return f"answer {answer.answer}"
