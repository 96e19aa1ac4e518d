"""What is decoded, as a table to read."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from itertools import zip_longest

from ..capture.filter import Removed
from ..event import Cutout, Fault
from ..instruction import Context, Instruction
from ..event import Packet
from .summary import Summary
from ..instruction import Event

__all__ = ["Table"]

# What is as long as it likes comes last.
_TITLES = ("time ms", "count", "address", "bytes", "instruction")
_WIDTHS = (12, 6, 28, 17, 40)
# On a narrow terminal width is taken from these columns in turn, down to so much.
_SPARE = (2, 3, 4, 0, 1)
_NARROWEST = (10, 5, 11, 11, 15)  # 60 columns in all; below that lines break
_GAP = "  "


def milliseconds(nanoseconds: int) -> str:
    """A time in ms, to the ns' thousand, exactly."""
    return f"{nanoseconds // 1_000_000}.{nanoseconds // 1000 % 1000:03d}"


class Table:
    """Takes events, writes lines.

    The same packet several times in a row becomes one line with a count. Of a live signal a packet's
    line is written as soon as the packet is complete, and how often it was repeated follows on another line.

    :param write: takes a line.
    :param fold: whether repeats are folded.
    :param live: whether lines must not wait for what may come.
    :param width: columns of the terminal; ``None`` where there is none and lines may be as long as they need.
    """

    def __init__(
        self, write: Callable[[str], None], *, fold: bool = True, live: bool = False, width: int | None = None
    ) -> None:
        self._write = write
        self._fold = fold
        self._live = live
        self._widths = None if width is None else _fitted(width)
        self._titled = False
        self._packet: Packet | None = None  # of the instructions being gathered
        self._texts: list[tuple[str, str]] = []  # address and words of each
        self._run: tuple[Packet, list[tuple[str, str]]] | None = None  # the first of a run
        self._last: Packet | None = None  # the run's last
        self._count = 0

    def event(self, event: Event) -> None:
        """Take the next event."""
        if isinstance(event, Instruction):
            if event.packet is not self._packet:
                self._gathered()
                self._packet = event.packet
            self._texts.append((str(event.address), words(event)))
            return
        self.pause()
        self._end_run()
        self._row(milliseconds(event.start), "", "", _hex(event), _lost(event))

    def pause(self) -> None:
        """No event is left; all of a packet's instructions are there."""
        self._gathered()

    def end(self, summary: Summary | None) -> None:
        """No event will come. Without a summary, because the input could not be read on."""
        self._gathered()
        self._end_run()
        if summary is not None:
            for line in summary_lines(summary):
                self._write(line)

    def _gathered(self) -> None:
        packet, texts = self._packet, self._texts
        if packet is None:
            return
        self._packet, self._texts = None, []
        if self._fold and self._run is not None and self._run[0].data == packet.data and self._run[1] == texts:
            self._count += 1
            self._last = packet
            return
        self._end_run()
        self._run, self._last, self._count = (packet, texts), packet, 1
        if self._live or not self._fold:
            self._packet_rows(packet, texts, 1)

    def _end_run(self) -> None:
        """Another packet has come, or a fault: the run before is over."""
        if self._run is None or self._last is None:
            return
        packet, texts = self._run
        self._run = None
        if not self._live:
            if self._fold:
                self._packet_rows(packet, texts, self._count)
        elif self._count > 1:
            address, _ = texts[0]
            self._row(milliseconds(self._last.start), f"+{self._count - 1}", address, "", "repeated, lastly here")

    def _packet_rows(self, packet: Packet, texts: Sequence[tuple[str, str]], count: int) -> None:
        address, first = texts[0]
        self._row(milliseconds(packet.start), str(count), address, str(packet), first)
        for _, text in texts[1:]:
            self._row("", "", "", "", text)

    def _row(self, *cells: str) -> None:
        if not self._titled:
            self._titled = True
            self._row(*_TITLES)
        if self._widths is None:
            self._write(_line(cells, _WIDTHS))
            return
        columns = (
            textwrap.wrap(cell, width) or [""] for cell, width in zip(cells, self._widths)
        )
        for parts in zip_longest(*columns, fillvalue=""):
            self._write(_line(parts, self._widths))


def words(instruction: Instruction) -> str:
    """An instruction in words, with what was known beside the packet's bytes."""
    notes = [str(instruction)]
    if instruction.context is Context.SERVICE:
        notes.append("service mode")
    if instruction.repetition is not None:
        notes.append(instruction.repetition.value)
    if instruction.too_soon_after_reset:
        notes.append("too soon after a reset")
    return "; ".join(notes)


def summary_lines(summary: Summary) -> list[str]:
    """A summary to read."""
    lines = [
        "",
        f"length   {milliseconds(summary.length)} ms, {summary.half_bits} half-bits",
        f"packets  {summary.packets}, {summary.distinct_packets} of them distinct",
        f"decoded  {summary.share_decoded:.2%} of the time is in packets",
    ]
    if summary.cutouts:
        lines.append(f"cutouts  {summary.cutouts}, {milliseconds(summary.cutout_time)} ms")
    lines.append(f"faults   {sum(summary.faults.values())}, {milliseconds(summary.fault_time)} ms lost")
    lines += [f"{count:>10} {kind.name.lower().replace('_', ' ')}" for kind, count in summary.faults.items()]
    lines += [f"capture  {remark}" for remark in summary.remarks]
    if summary.removed is not None:
        lines.append(f"filter   {_removed(summary.removed)}")
    return lines


def _removed(removed: Removed) -> str:
    if removed.first is None or removed.last is None:
        return "nothing to take out"
    return (
        f"{removed.changes} level changes taken out: at {removed.crossings} crossings, and of {removed.spikes} spikes; "
        f"from {milliseconds(removed.first)} to {milliseconds(removed.last)} ms, up to {removed.longest / 1000:g} us at a time"
    )


def _lost(event: Fault | Cutout) -> str:
    if isinstance(event, Cutout):
        return str(event)
    more = f", {event.count} wrong in it" if event.count > 1 else ""
    lost = milliseconds(event.end - event.start)
    return f"FAULT at {milliseconds(event.at)}: {event}; {lost} ms lost{more}"


def _hex(event: Fault | Cutout) -> str:
    return event.data.hex(" ").upper() if isinstance(event, Fault) else ""


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    placed = [
        cell.rjust(width) if column < 2 else cell.ljust(width)
        for column, (cell, width) in enumerate(zip(cells, widths))
    ]
    return _GAP.join(placed).rstrip()


def _fitted(width: int) -> list[int]:
    """The columns' widths within a terminal's: the last one takes what is over."""
    widths = list(_WIDTHS)
    spare = width - sum(widths) - len(_GAP) * (len(widths) - 1)
    if spare > 0:
        widths[-1] += spare
    for column in _SPARE:
        taken = min(max(-spare, 0), widths[column] - _NARROWEST[column])
        widths[column] -= taken
        spare += taken
    return widths
