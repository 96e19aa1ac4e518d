"""The page of the docs that the trial's figures make: ``python -m tests.trial --page JSON``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from .library import AUTO
from .margins import MarginResult
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
halfbit still reads, and how often it gives a packet that was never sent. The second number matters more. Stations
repeat their packets, so a lost packet is soon followed by the same one. A false packet may move an engine.

The captures are simulated, by code that shares nothing with the library. The stations keep to the standard: halves of
ones of 55 to 61 us, of zeros of 95 to 120 us, the two halves of a bit alike or not (S-9.1 A, table 1). The traffic is
that of an invented layout, and each board has the faults in its row's name. ``python -m tests.trial`` makes such
figures.

How to read the tables
----------------------

=============  =======================================================================================================
column         meaning
=============  =======================================================================================================
**auto**       share of the packets read with ``--limits auto``, which knows only the capture
**best**       share read with the best setting, for somebody who knows the board. *receive*: the standard's windows;
               *fitted*: windows that fit the durations; *period*: ``Limits.for_sampling_period``; *one edge*:
               ``Limits.for_one_edge``; *sum* and *sequence*: these decisions (:doc:`reference/limits`)
**false**      number of false packets, which were not sent at that time: with auto / with the best setting
**at most**    upper bound for auto's rate of false packets (95 %). With {sent} packets a row it cannot be lower
**possible**   share that a slow search read, which knew the rates of the faults; all packets if the capture loses
               no change. Empty: not measured
**verdict**    see below
=============  =======================================================================================================

- **good**: at least 99 of 100 packets;
- **usable**: at least 80 of 100. The station's repeats replace the rest;
- **losses**: fewer than 80 of 100. A command that is sent only a few times can be lost;
- **not safe**: more than one false packet in 10,000, by auto or by the best setting. Do not act on these packets.
"""

_GROUPS = {
    "Inputs that note each change": """\
A timer input, an interrupt, a logic analyser. This is the best kind of input: its times are exact. Three things can go
wrong. Two changes come too close together for an interrupt, and one is missed. A slow signal crosses the threshold more
than once, and a change is noted twice. Behind a slow optocoupler one direction of change comes later than the other. A
faster optocoupler, or an input with hysteresis, helps more than any setting.""",
    "Loops": """\
A program that looks at the level once a turn. The longest time from one look to the next decides. Up to 42 us, the
length of a whole bit shows whether it is a one or a zero. Above 42 us, only a whole stretch of bits does. A turn that
takes longer now and then (garbage collection, a network stack, a printed line) does more harm than a slow loop,
because two changes within one turn leave no trace. Move such work out of the loop, note changes by interrupt or by
timer, or look from a second core.

Many long turns cost packets: a fifth of the time of the loop of 5 us with one turn in 100 of 120 us is in long turns.
In a longer run of 6000 packets there, ``auto`` gave no packet that was never sent (``--seed 584001``). Still, act on no
single packet of such a loop: wait until it comes again.

A loop whose turns are longer than half of a one, 58 us, cannot be read. The level can change twice within one turn, and
then it is as before: both changes are lost, and nothing in the capture shows it. A decision by sequence can then give
packets that were never sent. So ``auto`` does not use it where a survey can tell that the loop is so slow. It reads by
the standard's limits only, and gives hardly a packet. ``halfbit survey`` says "turns of the loop are longer than half
of a one", "the loop or timer is too coarse" or "no packet could be read"; in a program the finding is
``Finding.COARSE`` or ``Finding.NOTHING`` (:doc:`reference/survey`). No setting helps. Near 58 us a survey cannot always
tell which side a loop is on. What it reads in the row of loops of 60 to 70 us is from loops near 60 us: trust no packet
there. The board must look more often:

- look at least every 42 us, better every 10: take all else out of the loop, or write it in C;
- or let an interrupt or a timer note each change (:doc:`howto/pio`).""",
    "One edge": """\
An input that notes only rising changes, or only falling ones. If these changes are at the bits' starts, each duration
is a bit. If they are in the middle of the bits, each duration is the last half of one bit and the first half of the
next. Then a stretched zero hides the bits beside it. How the two wires are connected decides: swap them if few packets
are read. The search behind the column *possible* knew no repeats. The library gives weight to packets that came before
(:doc:`explanation/one_edge`).""",
}

_LONG = """\
Loops up to 42 us, in long runs
-------------------------------

False packets are rare, so they show only in long runs. Here the loop's period is given, and the decision is by sum
(``Limits.for_sampling_period``).

{table}

Zeros that are stretched are the hardest here. If the loop is slow and zeros are short, a wrong length of zeros may be
learned, and packets are lost until it is right (:doc:`explanation/sums`).
"""

_MARGINS = """\
What the margins cost
---------------------

A packet is given only if it fits better than every other reading, by a margin (:doc:`explanation/sequences`). With
a smaller margin more packets are given, and more of them were never sent. These are the rows above, read with other
margins than the library's own, which are in bold. *sum*: uniform loops up to 42 us, without recovery, strain;
*sequence*: all other rows with both edges, nepers; *one edge*: nepers.

{table}

The library's margins are larger than the smallest with which no false packet came here, because your signals are
not these. That costs little: a packet is lost mostly because changes are missing, not because two readings fit.
With one edge it costs more, since there a stretched zero can stand for other bits. A larger margin loses packets,
and there is no false packet here that it could prevent. The sum loses and gives the same packets with all these
margins: in the wrong phase the strain is far above them. There they matter only after noise, or if another station
begins.
"""

_TAIL = """\
.. warning::

   Put an optocoupler between track and board, share no ground between a PC and the track, put a fuse and a current
   limit into each line, and never work on mains. Nothing on this page is for ride-on railways, nor for anything on
   which somebody's safety depends. Local codes, and what qualified people say, come first."""


def verdict(ways: Iterable[Result]) -> str:
    """The verdict on auto and the best way, in a word."""
    found = list(ways)
    if any(result.false > FALSE_MOST * result.sent for result in found):
        return "not safe"
    share = max(result.share for result in found)
    return "good" if share >= 0.99 else "usable" if share >= 0.8 else "losses"


def page(
    found: Iterable[Result], margins: Sequence[MarginResult] = (), long_runs: Sequence[Result] = ()
) -> str:
    """The whole page. Rows that auto did not read are left out."""
    rows = [(row, ways) for row, ways in by_row(found) if AUTO in ways]
    sent = sorted({ways[AUTO].sent for _, ways in rows})
    counts = f"{sent[0]}" if len(sent) == 1 else f"{sent[0]} to {sent[-1]}"
    parts = [_HEAD.format(sent=counts)]
    for group, words in _GROUPS.items():
        mine = [(row, ways) for row, ways in rows if group_of(row) == group]
        if mine:
            parts.append(f"{group}\n{'-' * len(group)}\n\n{words}\n\n" + "\n".join(_table(mine)) + "\n")
    if long_runs:
        parts.append(_LONG.format(table="\n".join(_long_table(long_runs))))
    if margins:
        parts.append(_MARGINS.format(table="\n".join(_margin_table(margins))))
    return "\n".join((*parts, _TAIL))


def _table(rows: Iterable[tuple[Row, dict[str, Result]]]) -> Iterator[str]:
    yield ".. list-table::\n   :header-rows: 1\n   :widths: 34 10 20 8 10 9 9\n"
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


def _long_table(runs: Iterable[Result]) -> Iterator[str]:
    yield ".. list-table::\n   :header-rows: 1\n   :widths: 50 12 12 10 16\n"
    yield from _cells("capture", "sent", "right", "false", "at most")
    for run in runs:
        yield from _cells(run.row, f"{run.sent}", f"{run.share:.2%}", f"{run.false}", f"1 in {1 / run.false_bound:.0f}")


def _margin_table(margins: Iterable[MarginResult]) -> Iterator[str]:
    yield ".. list-table::\n   :header-rows: 1\n"
    yield from _cells("way", "margin", "sent", "right", "false")
    for found in margins:
        margin = f"**{found.margin:g}**" if found.default else f"{found.margin:g}"
        yield from _cells(found.way, margin, f"{found.sent}", f"{found.share:.2%}", f"{found.false}")


def _cells(*cells: str) -> Iterator[str]:
    for index, cell in enumerate(cells):
        yield f"   {'  ' if index else '* '}- {cell}".rstrip()
