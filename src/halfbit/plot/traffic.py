"""Draws the traffic on the track with matplotlib: time against address."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import attrs

from ..decoder import Change, Either, Item, Speed, TrackState, Value
from ..event import Fault
from ..instruction import (
    AccessoryAddress, Address, ExtendedAccessoryAddress, Instruction, LongAddress, NoAddress, ShortAddress,
)  # fmt: skip
from ..instruction.machine import Event
from .figure import BLUE, GREY, ORANGE, RED, figure_of, save

__all__ = ["TrafficPlot"]

MOST_TICKS = 4000  #: Most refreshes kept per address; of more, each second one, so that memory is constant.
MOST_ROWS = 60  #: Most addresses in one drawing.

_SHOWN = (ShortAddress, LongAddress, AccessoryAddress, ExtendedAccessoryAddress, NoAddress)



@attrs.define
class _Line:
    """The data drawn for one address."""

    ticks: list[int] = attrs.Factory(list)
    every: int = 1
    count: int = 0
    losses: list[int] = attrs.Factory(list)
    speed: list[tuple[int, float]] = attrs.Factory(list)  # times, ns, and heights, -1 to 1
    functions: dict[str, list[tuple[int, bool]]] = attrs.Factory(dict)  # when each was switched on or off, ns
    words: list[tuple[int, str]] = attrs.Factory(list)

    def tick(self, time: int) -> None:
        self.count += 1
        if self.count % self.every == 0:
            self.ticks.append(time)
        if len(self.ticks) > MOST_TICKS:
            self.ticks = self.ticks[::2]
            self.every *= 2

    def switch(self, name: str, time: int, on: bool) -> None:
        switched = self.functions.setdefault(name, [])
        if not switched or switched[-1][1] != on:
            switched.append((time, on))


class TrafficPlot:
    """Collects the events and changes of a :class:`TrackState` and draws them at the end.

    :param start: start of the drawing, ns.
    """

    def __init__(self, start: int = 0) -> None:
        self._start = start
        self._lines: dict[Address, _Line] = {}
        self._lost: list[int] = []
        self._packet: object = None

    def add(self, event: Event, changes: Sequence[Change], track: TrackState) -> None:
        """Take an event and its changes."""
        if isinstance(event, Fault):
            address = track.looks_like(event)
            if event.start >= self._start:
                (self._lost if address is None else self._line(address).losses).append(event.start)
        elif isinstance(event, Instruction) and event.packet is not None and event.packet is not self._packet:
            self._packet = event.packet
            if event.packet.end >= self._start and isinstance(event.address, _SHOWN):
                self._line(event.address).tick(event.packet.end)
        for change in changes:
            if change.address is not None and isinstance(change.address, _SHOWN):
                self._change(self._line(change.address), change, track)

    def save(self, path: str, track: TrackState, only: Sequence[Address] | None, *, title: str = "") -> None:
        """Draw to a file.

        :param only: the addresses to draw; ``None`` for all.
        :raises HalfbitError: if the file cannot be written.
        """
        shown = sorted(address for address in self._lines if only is None or address in only)
        rest = len(shown) - MOST_ROWS
        shown = shown[:MOST_ROWS]
        height = 1.2 + 0.75 * max(len(shown), 1)
        figure, (axes,) = figure_of((14.0, height), [1.0])
        start, end = max(self._start, track.start or 0), max(track.end, 1)
        for place, address in enumerate(shown):
            self._draw(axes, self._lines[address], -place, start, end)
        for time in self._lost:
            axes.axvline(time / 1e6, color=RED, linewidth=0.8, alpha=0.6)
        axes.set_yticks([-place for place in range(len(shown))], [str(address) for address in shown])
        axes.set_ylim(-len(shown) + 0.4, 0.6)
        axes.set_xlim(start / 1e6, end / 1e6 * 1.001)
        axes.set_xlabel("time, ms")
        note = (
            "ticks: packets; blue: speed, above the line forward, below it reverse, full height the top step; "
            "orange: functions and outputs that are on; red: losses, across all if they look like no address"
        )
        axes.set_title(note + (f"; {rest} addresses more" if rest > 0 else ""), fontsize=8, loc="left")
        save(figure, path, title)

    def _line(self, address: Address) -> _Line:
        if isinstance(address, AccessoryAddress):
            address = AccessoryAddress(address.board, address.pair)
        return self._lines.setdefault(address, _Line())

    def _change(self, line: _Line, change: Change, track: TrackState) -> None:
        time, after = change.time, change.after
        if change.item in (Item.SPEED, Item.DIRECTION):
            assert change.address is not None  # it is one that is shown
            row = track.seen[change.address]
            if line.speed and line.speed[-1][0] == time:
                line.speed.pop()
            line.speed.append((time, _height(row.speed) * (-1 if row.forward is False else 1)))
        elif change.item is Item.FUNCTION:
            if isinstance(after, Either):  # drawn if it is on with either number of speed steps
                after = after.with_28 is True or after.with_14 is True
            line.switch(f"F{change.number}" if change.number else "FL", time, after is True)
        elif change.item is Item.OUTPUT:
            line.switch(f"output {change.number}", time, after is True)
        elif change.item in (Item.ASPECT, Item.CV, Item.REGISTER, Item.CONSIST):
            line.words.append((time, str(change)))

    def _draw(self, axes: Any, line: _Line, middle: float, start: int, end: int) -> None:
        ms = 1e6
        axes.axhline(middle, color="#dddddd", linewidth=0.8, zorder=0)
        axes.vlines([time / ms for time in line.ticks], middle - 0.05, middle + 0.05, color=GREY, linewidth=0.6)
        axes.vlines([time / ms for time in line.losses], middle - 0.4, middle + 0.4, color=RED, linewidth=1.4)
        if line.speed:
            times = [max(time, start) / ms for time, _ in line.speed] + [end / ms]
            heights = [middle + 0.38 * height for _, height in line.speed]
            axes.step(times, [*heights, heights[-1]], where="post", color=BLUE, linewidth=1.6)
        names = sorted(line.functions, key=lambda name: (len(name), name))
        for index, name in enumerate(names):
            low = middle - 0.45 + 0.9 * index / max(len(names), 6)
            for (time, on), (last, _) in pairwise([*line.functions[name], (end, False)]):
                first = max(time, start)
                if on and last > first:
                    extent = (first / ms, (last - first) / ms)
                    axes.broken_barh([extent], (low, 0.09), color=ORANGE, alpha=0.55, linewidth=0)
                    axes.text(first / ms, low + 0.04, f" {name}", fontsize=6, va="center")
        for time, words in line.words:
            if time >= start:
                axes.annotate(words, (time / ms, middle), xytext=(2, 9), textcoords="offset points", fontsize=7)
                axes.plot([time / ms], [middle], marker="o", markersize=3, color="black")


def _height(speed: Value) -> float:
    if isinstance(speed, Either):
        speed = speed.with_28 if isinstance(speed.with_28, Speed) else None
    return speed.step / speed.steps if isinstance(speed, Speed) and speed.step else 0.0
