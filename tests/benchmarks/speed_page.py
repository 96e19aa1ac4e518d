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

#: How many times slower than the machine measured a small computer is taken to run Python. An estimate, from memory.
SMALL = 20

_HEAD = """\
.. This page is made by ``python -m tests.benchmarks.speed --page docs/performance_*.json``: change nothing here.

Performance
===========

A track sends a half-bit every {track:.0f} us, on average. The tables say how fast halfbit decodes in comparison.
Captures that come as a list, an array or a file are decoded whole; a live signal is decoded change by change.
However a signal comes, the events are the same.

*Plain loops* compares the time with that of a plain loop over the same durations,
``for d in durations: if 52 <= d <= 64: n += 1``. This ratio hardly depends on the machine. Rows that do not say "to
instructions" give packets, faults and cutouts.

*Small computer* is for a single-board computer that runs Python {small} times slower than the machine measured. It is
the share of one processor core that a live track takes there; above 100 % the computer does not keep up. The factor of
{small} is an estimate. To find it for your computer, run the benchmark there. Its first line is the time of the plain
loop::

    pip install -e .[test]
    python -m tests.benchmarks.speed
"""


def page(all_figures: Sequence[dict[str, Any]]) -> str:
    """The whole page, a part for each version of Python measured."""
    head = _HEAD.format(track=all_figures[0]["track_ns"] / 1000, small=SMALL)
    return head + "".join(_part(figures) for figures in all_figures)


def write_page(all_figures: Sequence[dict[str, Any]]) -> None:
    """Put the figures where the documentation is."""
    PAGE.write_text(page(all_figures), encoding="utf-8")


def _part(figures: dict[str, Any]) -> str:
    title = f"CPython {figures['python']}"
    loop, track = figures["loop_ns"], figures["track_ns"]
    lines = ["", title, "-" * len(title), ""]
    lines += [f"Measured on {figures['processor']}, where the plain loop takes {loop:.0f} ns for a half-bit.", ""]
    lines += [".. list-table::", "   :header-rows: 1", ""]
    rows = [["", "plain loops", "times faster than a track", "small computer"]]
    for name, ratio in figures["rows"].items():
        share = ratio * loop / track
        rows.append([name, f"{ratio:.1f}", f"{1 / share:.0f}", f"{100 * SMALL * share:.1f} %"])
    for cells in rows:
        lines += [("   * - " if not index else "     - ") + cell for index, cell in enumerate(cells)]
    most = max(figures["memory"].values())
    names = ", ".join(figures["memory"])
    lines += ["", f"Memory does not grow with the signal. {figures['memory_half_bits']} half-bits of each ({names})",
              f"took {most} KiB more than the first 10000.", ""]
    return "\n".join(lines)
