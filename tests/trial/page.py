"""The page of the docs that the trial's figures make: ``python -m tests.trial --page JSON``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from .library import AUTO
from .report import FALSE_MOST, best, by_row
from .rows import Row, group_of
from .run import Result

__all__ = ["PAGE", "page"]

PAGE = Path(__file__).resolve().parents[2] / "docs" / "hard_captures.rst"

_HEAD = """\
Hard captures, and what to expect of them
=========================================

.. Made by ``python -m tests.trial --page``: change nothing here.

Your board may look at the track only now and then, miss a change, or note one twice. This page says how many packets
can still be read then, and, what matters more, how often a packet is given that was never sent. Stations repeat what
they send, so a lost packet is soon made good. A false one is not.

The captures are simulated, by code that shares nothing with the library: sound stations of all sorts (halves of ones
of 55 to 61 us, of zeros of 95 to 120 us, the two halves of a bit alike or not, S-9.1 A, table 1), an invented layout
at work, and boards with the faults named. ``python -m tests.trial`` makes the same figures again.

How to read the tables
----------------------

*auto* is what ``--limits auto`` reads: it knows nothing but the capture. *Best* is the best of the settings that
somebody who knows the board can choose: *receive* has the standard's windows, *fitted* windows where the durations
are, *period* is ``Limits.for_sampling_period``, *one edge* ``Limits.for_one_edge``, *sum* and *sequence* are these
decisions. *False* are packets given that were not sent at that time, of auto and of the best setting; *at most* is
how high auto's rate of them can be, for all that {sent} packets can tell (95 %). *Possible* is the yardstick: what a
slow search got in a trial that knew the faults' rates beforehand, or all packets if the capture loses nothing. It is
empty if nobody has measured it. *Verdict*:

- **good**: at least 99 of 100 packets;
- **usable**: at least 80 of 100. A station's repeats make up for the rest;
- **losses**: fewer than that. Short events can go unnoticed;
- **not safe**: more than one false packet in 10,000, by auto or by the best setting. Do not act on what is read.
"""

_GROUPS = {
    "Inputs that note each change": """\
A timer input, an interrupt, a logic analyser. This is the kind of board to have: times are exact, whatever the
station sends. What goes wrong is that changes are missed when two come too close together for an interrupt, noted
twice because a slow signal crosses the threshold more than once, or that one direction of change comes later than the
other behind a slow optocoupler. A faster optocoupler or an input with hysteresis helps more than any setting.""",
    "Loops": """\
A program that looks at the level once a turn. What counts is the longest time from one look to the next. Up to 42 us
the two halves of each bit, taken together, can be told apart; beyond, only whole stretches can. A turn that now and
then takes longer (memory being tidied up, a network stack, a line printed) does more harm than a slow loop, because
two changes within one turn leave no trace. Take such work out of the loop, note changes by interrupt or by timer, or
look from a second core.""",
    "One edge": """\
An input that notes only rising changes, or only falling ones. If these are the ones at the bits' starts, each
duration is a bit. If they are the ones within the bits, each duration is the last half of one bit and the first of
the next, and stretched zeros hide what stands beside them. Which of the two you have depends on how the two wires are
connected: swap them if little is read.""",
}

_TAIL = """\
.. warning::

   Put an optocoupler between track and board, share no ground between a PC and the track, put a fuse and a current
   limit into each line, and never work on mains. Nothing on this page is for ride-on railways, nor for anything on
   which somebody's safety depends. Local codes, and what qualified people say, come first."""


def verdict(ways: Iterable[Result]) -> str:
    """What auto and the best way come to, in a word."""
    found = list(ways)
    if any(result.false > FALSE_MOST * result.sent for result in found):
        return "not safe"
    share = max(result.share for result in found)
    return "good" if share >= 0.99 else "usable" if share >= 0.8 else "losses"


def page(found: Iterable[Result]) -> str:
    """The whole page. Rows that auto did not read are left out."""
    rows = [(row, ways) for row, ways in by_row(found) if AUTO in ways]
    sent = sorted({ways[AUTO].sent for _, ways in rows})
    counts = f"{sent[0]}" if len(sent) == 1 else f"{sent[0]} to {sent[-1]}"
    parts = [_HEAD.format(sent=counts)]
    for group, words in _GROUPS.items():
        mine = [(row, ways) for row, ways in rows if group_of(row) == group]
        if mine:
            parts.append(f"{group}\n{'-' * len(group)}\n\n{words}\n\n" + "\n".join(_table(mine)) + "\n")
    return "\n".join((*parts, _TAIL))


def _table(rows: Iterable[tuple[Row, dict[str, Result]]]) -> Iterator[str]:
    yield ".. list-table::\n   :header-rows: 1\n   :widths: 36 9 19 9 9 9 9\n"
    yield from _cells("capture", "auto", "best", "false", "at most", "possible", "verdict")
    for row, ways in rows:
        auto, others = ways[AUTO], [result for way, result in ways.items() if way != AUTO]
        top = best(others) if others else auto
        yield from _cells(
            row.name,
            f"{auto.share:.1%}",
            f"{top.share:.1%} ({top.way})",
            f"{auto.false} / {top.false}",
            f"1 in {1 / auto.false_bound:.0f}",
            "" if row.possible is None else f"{row.possible:.0%}",
            verdict((auto, top)),
        )


def _cells(*cells: str) -> Iterator[str]:
    for index, cell in enumerate(cells):
        yield f"   {'  ' if index else '* '}- {cell}".rstrip()
