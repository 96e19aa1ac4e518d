"""Guesses at the reason if most answers of a port differ: a number is shifted by one, or unit or limits are others."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from .case import Answer, Case

__all__ = ["hint"]

_HEADING = "halfbit vectors heading prints the limits and the numbers of the answers"

#: Numbers of a line, and what it means if they are one too low or too high in most cases.
_SHIFTS = {
    (0, -1): "the numbers of durations are one too low: the first duration of a case is number 1",
    (0, 1): "the numbers of durations are one too high: the first duration of a case is number 1",
    (1, -1): f"the numbers of the answers are one too low: {_HEADING}",
    (1, 1): f"the numbers of the answers are one too high: {_HEADING}",
    (2, -1): "the numbers of one-bits before packets are one too low",
    (2, 1): "the numbers of one-bits before packets are one too high: the start bit is not one of them",
}


def hint(cases: Sequence[Case], answered: Sequence[Sequence[str]], differ: int) -> str:
    """A guess at the reason, in words; ``""`` if there is no guess.

    :param answered: the port's lines for each case.
    :param differ: how many cases differ.
    """
    pairs = [(case.answers, lines) for case, lines in zip(cases, answered) if case.answers]
    for (place, offset), words in _SHIFTS.items():
        if 2 * sum(_is_shifted(answers, lines, place, offset) for answers, lines in pairs) > len(pairs):
            return words
    if 4 * differ < 3 * len(cases):
        return ""
    return f"perhaps the durations are in another unit (--ticks-per-us), or the limits differ: {_HEADING}"


def _is_shifted(answers: Sequence[Answer], lines: Sequence[str], place: int, offset: int) -> bool:
    """True if one number of each line differs by an offset, in one line at least, and there is no other difference."""
    shifted = False
    for answer, line in zip_longest(answers, lines):
        if answer is None or line is None:
            return False
        right = [answer.at, answer.answer, *([answer.preamble] if answer.data else [])]
        if place < len(right):
            right[place] += offset
            shifted = True
        words = [*map(str, right), *([answer.data.hex()] if answer.data else [])]
        got = line.lower().split()
        if place == 1:  # a packet with another number may have been printed without its bytes
            words, got = words[:2], got[:2]
        if got != words:
            return False
    return shifted
