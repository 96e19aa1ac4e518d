"""Who is spoken to when, and how fast each is to run: drawn from the state of the track."""

from __future__ import annotations

from halfbit import Fault, Instruction, decode, open_capture
from halfbit.decoder import Either, Item, Speed, TrackState
from halfbit.instruction import IdleAddress

from .histograms import CAPTURES
from .svg import Drawing

__all__ = ["traffic"]

LEFT, RIGHT = 178.0, 820.0
ROW = 42.0
MS = 1_000_000


def traffic() -> Drawing:
    """The shunting turn: a row for each address, a tick for each packet, speed as a line, losses as bands."""
    events = list(decode(open_capture(CAPTURES / "shunting_turn.txt")))
    ticks: dict[str, list[int]] = {}
    losses = [(event.start, event.end) for event in events if isinstance(event, Fault)]
    track = TrackState()
    speeds: dict[str, list[tuple[int, float]]] = {}
    for event in events:
        changes = track.feed(event)
        if isinstance(event, Instruction) and event.packet is not None and not isinstance(event.address, IdleAddress):
            ticks.setdefault(str(event.address), []).append(event.packet.end)
        for change in changes:
            if change.item is Item.SPEED:
                speeds.setdefault(str(change.address), []).append((change.time, _share(change.after)))
    end = track.length
    drawing = Drawing(RIGHT + 20, ROW * len(ticks) + 74)

    def at(time: int) -> float:
        return LEFT + (RIGHT - LEFT) * time / end

    bottom = ROW * len(ticks) + 14
    for start, stop in losses:
        drawing.box(at(start), 8, max(at(stop) - at(start), 2), bottom - 8, "bad")
    for row, (address, times) in enumerate(sorted(ticks.items(), key=lambda item: item[1][0])):
        base = ROW * row + ROW
        drawing.text(4, base, address.replace("accessory", "acc.").replace(" output 1", ""), 12)
        drawing.line((LEFT, base), (RIGHT, base), kind="faint")
        for time in times:
            drawing.line((at(time), base), (at(time), base - 7))
        points: list[tuple[float, float]] = []  # from where the first speed was sent: nothing is known before
        for time, share in speeds.get(address, []):
            points += [(at(time), points[-1][1])] if points else []
            points.append((at(time), base - 10 - 20 * share))
        if points:
            drawing.line(*points, (RIGHT, points[-1][1]), kind="speed")
    for time in range(0, end, 100 * MS):
        drawing.line((at(time), bottom), (at(time), bottom + 5))
        drawing.text(at(time), bottom + 20, f"{time // MS}", 12, "middle")
    drawing.text((LEFT + RIGHT) / 2, bottom + 44, "time, ms", 13, "middle", faint=True)
    return drawing


def _share(value: object) -> float:
    """A speed as a share of the fastest, 0 to 1."""
    if isinstance(value, Either):
        value = value.with_28
    return value.step / value.steps if isinstance(value, Speed) and value.steps else 0.0
