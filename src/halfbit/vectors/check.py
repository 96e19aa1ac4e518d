"""Runs a port against the vectors.

The port is a program that reads durations, one decimal number per line, and prints answers. An empty line ends a
case: the port then resets itself and prints an empty line. For each answer other than MORE it prints one line: the
number of durations of this case so far, then the number of the answer. For a packet, the number of one-bits before it
and its bytes in hexadecimal follow::

    20 4
    29 5
    101 3 14 033FAA96
"""

from __future__ import annotations

import os
import signal
import subprocess
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from itertools import zip_longest

import attrs

from .. import core
from ..error import HalfbitError
from ..event import FaultKind
from .case import Answer, Case
from .hint import hint

_MOST = 64 << 20  #: Most bytes that a port may print for all cases: many times the size of the correct answers.

_NAMES: dict[int, str] = {core.SYNC: "SYNC", core.START: "START", **{int(kind): kind.name for kind in FaultKind}}


@attrs.frozen(slots=True)
class Difference:
    """A case for which a port gives other answers."""

    case: Case
    text: str  #: The first difference, in words.
    packets: bool = True  #: False if only answers between packets, or counts of one-bits, differ.


@attrs.frozen(slots=True)
class Report:
    """The result of a run: all cases, and the differences."""

    cases: tuple[Case, ...]
    differences: tuple[Difference, ...]
    hint: str = ""  #: A guess at the reason if most cases differ, in words; ``""`` if there is no guess.

    @property
    def rules(self) -> dict[str, tuple[int, int]]:
        """Rule to (number of cases, number of cases that differ), in the order of the cases."""
        differ = Counter(difference.case.rule for difference in self.differences)
        return {rule: (count, differ[rule]) for rule, count in Counter(case.rule for case in self.cases).items()}

    @property
    def shortest(self) -> Difference | None:
        """The difference in the case with the fewest durations; ``None`` if there is no difference."""
        return min(self.differences, key=lambda difference: len(difference.case.durations), default=None)

    @property
    def all_differ(self) -> bool:
        """True if every case with answers differs. The broken rules then say little about the cause."""
        differ = {difference.case.id for difference in self.differences}
        return bool(differ) and all(case.id in differ for case in self.cases if case.answers)

    @property
    def broken(self) -> dict[str, Difference]:
        """Broken rules only: rule to its first difference.

        Rules with wrong packets come first, because they say more about the cause.
        """
        first: dict[str, Difference] = {}
        for difference in sorted(self.differences, key=lambda difference: not difference.packets):
            first.setdefault(difference.case.rule, difference)
        return first


def fed(cases: Sequence[Case], ticks_per_us: int = 1) -> str:
    """The input for a port: durations in its ticks, one per line, with an empty line after each case.

    :raises HalfbitError: if ``ticks_per_us`` is less than 1.
    """
    if ticks_per_us < 1:
        raise HalfbitError(f"ticks_per_us: {ticks_per_us!r} is not a number from 1 up")
    return "".join("".join(f"{duration * ticks_per_us}\n" for duration in case.durations) + "\n" for case in cases)


def check(
    command: Sequence[str], cases: Sequence[Case], *, ticks_per_us: int = 1, packets_only: bool = False,
    timeout: float = 60,
) -> Report:  # fmt: skip
    """Run a port on cases and compare its answers.

    :param command: the program and its arguments.
    :param ticks_per_us: ticks of the port per microsecond.
    :param packets_only: True compares only packets and ignores all other answers.
    :param timeout: the longest time for all cases, s.
    :raises HalfbitError: if the port cannot be run, does not end in time or prints too much; if ``ticks_per_us`` is
        less than 1.
    """
    output, status = _run(command, fed(cases, ticks_per_us).encode(), timeout, cases)
    ended = f"the program ended with status {status} before it" if status else "the program ended before it"
    return compared(cases, _split(output), ended, packets_only=packets_only)


def compared(
    cases: Sequence[Case], answered: Sequence[Sequence[str]], ended: str, *, packets_only: bool = False
) -> Report:
    """Compare the output of a port with the correct answers.

    :param answered: its lines for each case, in order. The last case may be incomplete.
    :param ended: the reason why there are no answers to the cases after those, in words.
    :param packets_only: True compares only packets and ignores all other answers.
    """
    differences = []
    for index, case in enumerate(cases):
        if index < len(answered):
            text, packets = _compare(case, answered[index], packets_only)
        else:
            packets = bool(_packets(case.answers))
            text = f"no answer to this case: {ended}"
        if text:
            differences.append(Difference(case, text, packets))
    if cases and len(answered) > len(cases):
        differences.append(Difference(cases[-1], "the program prints more after the last case"))
    report = Report(tuple(cases), tuple(differences))
    return attrs.evolve(report, hint=hint(cases, answered, len(differences))) if differences else report


def _run(command: Sequence[str], text: bytes, timeout: float, cases: Sequence[Case]) -> tuple[str, int]:
    """Run a port with an input text and return its output and exit status.

    Input and output are files, so that neither side can block the other. A port that runs for too long is ended,
    together with all processes that it started.

    :raises HalfbitError: if it cannot be run, does not end in time, or prints too much.
    """
    with tempfile.TemporaryFile() as given, tempfile.TemporaryFile() as printed:
        given.write(text)
        given.seek(0)
        try:
            port = subprocess.Popen(list(command), stdin=given, stdout=printed, start_new_session=True)
        except OSError as error:
            raise HalfbitError(f"{command[0]}: cannot be run: {error.strerror or error}") from None
        deadline = time.monotonic() + timeout
        wrong = ""
        try:
            while not wrong:
                try:
                    port.wait(0.05)
                    break
                except subprocess.TimeoutExpired:
                    if time.monotonic() > deadline:
                        wrong = f"has not ended within {timeout:g} s and was stopped"
                    elif os.fstat(printed.fileno()).st_size > _MOST:
                        wrong = f"prints without end and was stopped after {_MOST >> 20} MiB"
        finally:
            _stop(port)
        printed.seek(0)
        output = printed.read(_MOST).decode("utf-8", "replace")
    if wrong:
        done = sum(not line.strip() for line in output.splitlines())
        at = f", the next is {cases[done].id}" if done < len(cases) else ""
        raise HalfbitError(f"{command[0]}: {wrong}; it has printed answers to {done} of {len(cases)} cases{at}")
    return output, port.returncode


def _stop(port: subprocess.Popen[bytes]) -> None:
    """End a program and the processes that it started, if it still runs."""
    if port.poll() is None:
        if hasattr(os, "killpg"):
            os.killpg(port.pid, signal.SIGKILL)
        else:
            port.kill()
        port.wait()


def _split(output: str) -> list[list[str]]:
    """The lines of each case. Lines after the last empty line belong to an incomplete case."""
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
    """The first difference in words, ``""`` if there is no difference; and True if packets differ."""
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
    """The first difference in words; ``""`` if there is no difference."""
    for pair in zip_longest(expected, got):
        if pair[0] != pair[1]:
            at = min(answer.at for answer in pair if answer is not None)
            right, given = (_words(answer) if answer and answer.at == at else "nothing" for answer in pair)
            return f"after duration {at}: {given} instead of {right}"
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
    return _NAMES.get(answer.answer, f"answer {answer.answer}")
