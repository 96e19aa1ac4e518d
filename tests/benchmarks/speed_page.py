"""The page about speed, made of the benchmark's figures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

__all__ = ["FIGURES", "PAGE", "page", "write_page"]

DOCS = Path(__file__).resolve().parents[2] / "docs"
#: The checked-in figures, and the page made of them.
FIGURES = (DOCS / "performance_3_11.json", DOCS / "performance_3_13.json")
PAGE = DOCS / "performance.rst"

_HEAD = """\
.. This page is made by ``python -m tests.benchmarks.speed --page docs/performance_*.json``: change nothing here.

Performance
===========

Ratios are to the plainest loop over the same durations, ``for d in durations: if 52 <= d <= 64: n += 1``,
run in turn with the work in the same process; the middle one of the pairs counts. Time is processor time. The machine's
speed changes by half from one minute to the next: of runs in a row the first one is shown before and after which the plain loop was quick.
The signals are invented: packets of three bytes behind preambles of 14 one-bits.

To measure on another machine::

    pip install -e .[test,bench]
    python -m tests.benchmarks.speed > figures.json

Three ways lead through the same rules, and tests prove that they give the same events. *Bulk* is
:func:`halfbit.decode` and :meth:`halfbit.StreamDecoder.feed_many` on an :class:`halfbit.Edges`. Change by change is
:meth:`halfbit.StreamDecoder.feed` (*edge by edge*) and :meth:`halfbit.StreamDecoder.feed_duration` (*duration by duration*).
*Layer by layer* makes an object of every half-bit and bit. Rows that do not say
"to instructions" end with packets and faults. The row "nothing decoded" is the least that edge by edge can take: a call
for each edge, whose time, less the one before, is compared with a constant. Durations spare that subtraction. To instructions random packets are the harder case: a track repeats its
packets, and how one reads is remembered. Jitter of 5 us makes halves of a bit differ by more than receivers must take:
what stands around those goes through the core in bulk too, and one by one, one half-bit after the other.
"""


def page(all_figures: Sequence[dict[str, Any]]) -> str:
    """The whole page, a part for each version of Python measured."""
    return _HEAD + "".join(_part(figures) for figures in all_figures)


def write_page(all_figures: Sequence[dict[str, Any]]) -> None:
    """Put the figures where the documentation is."""
    PAGE.write_text(page(all_figures), encoding="utf-8")


def _part(figures: dict[str, Any]) -> str:
    title = f"CPython {figures['python']}"
    where = f"{figures['processor']}, {figures['processors']} processors shared with other work"
    ways = figures["ways"]
    signals = list(ways)
    lines = ["", title, "-" * len(title), "", f"Measured on {where}; {figures['half_bits']} half-bits, {figures['rounds']} pairs.", ""]
    lines += _table(
        ["", *signals],
        [[row, *(f"{ways[signal][row]:.2f}" for signal in signals)] for row in ways[signals[0]]],
    )
    lines += ["", "One packet in bulk beside one message of other fields' parsers, and beside the C port called once for all:", ""]
    lines += _table(
        ["", "us each"],
        [[name, each if isinstance(each, str) else f"{each:.2f}"] for name, each in figures["others"].items()],
    )
    lengths = figures["lengths"]
    lines += ["", f"Time for a half-bit, in bulk, of {lengths['short']} and of {lengths['long']} half-bits:", ""]
    lines += _table(
        ["", "ns, short", "ns, long"],
        [[name, f"{each['ns_short']:.1f}", f"{each['ns_long']:.1f}"] for name, each in lengths["rows"].items()],
    )
    file = figures["file"]
    lines += ["", f"From a text file of {file['half_bits']} durations to the last instruction: {file['ratio']:.1f} times what it takes",
              "to read its numbers into an array with the standard library.", ""]
    return "\n".join(lines)


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    lines = [".. list-table::", "   :header-rows: 1", ""]
    for cells in (head, *rows):
        lines += [("   * - " if not index else "     - ") + cell for index, cell in enumerate(cells)]
    return lines
