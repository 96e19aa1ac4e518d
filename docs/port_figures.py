"""The figures of docs/porting.rst, made from the core itself: ``python docs/port_figures.py`` writes them anew.

The diagram of layer 4 and its table come from ``core.STEPS``; the table of layer 3 from feeding ``core.Bits``
every pair of half-bits.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from halfbit import core

__all__ = ["STATES", "STEPS", "TARGETS", "diagram", "pairs", "steps", "write"]

DOCS = Path(__file__).parent

STATES = ("LOST", "IDLE", "BYTE", "SEPARATOR")
INPUTS = ("ONE", "RUN", "ZERO", "START", "SLIP", "FAULT")
STEPS = ("STAY", "FIND", "OPEN", "SHIFT", "NEXT", "CLOSE", "FAIL", "EARLY")

#: Each step: the states it can lead to, each with the answer there. STAY leads nowhere.
TARGETS: dict[str, tuple[tuple[str, str], ...]] = {
    "FIND": (("IDLE", "SYNC"),),
    "OPEN": (("BYTE", "START"),),
    "SHIFT": (("BYTE", "MORE"), ("SEPARATOR", "MORE")),
    "NEXT": (("BYTE", "MORE"), ("LOST", "MANY_BYTES")),
    "CLOSE": (("IDLE", "PACKET"), ("LOST", "FEW_BYTES"), ("LOST", "ERROR_BYTE")),
    "FAIL": (("LOST", "the fault"),),
    "EARLY": (("LOST", "SHORT_PREAMBLE"),),
}


def step(state: str, entry: str) -> str:
    """The name of the step for a state and an input, from the core's table."""
    number = core.STEPS[len(INPUTS) * getattr(core, state) + getattr(core, f"IN_{entry}")]
    return next(name for name in STEPS if getattr(core, name) == number)


def steps() -> str:
    """Layer 4's table as CSV: states down, inputs across."""
    lines = [",".join(("state", *INPUTS))]
    lines += [",".join((state, *(step(state, entry) for entry in INPUTS))) for state in STATES]
    return "\n".join(lines) + "\n"


def pairs() -> str:
    """Layer 3's table as CSV: what is held down, the next half-bit across; the answer, and what is held after it."""
    kinds = {"ONE": (core.ONE, 58), "ZERO": (core.ZERO, 100), "a fault": (core.GAP, 77)}
    held = {core.MORE: "nothing", core.ONE: "a one's half", core.ZERO: "a zero's half"}
    answers = {core.MORE: "MORE", core.ONE: "ONE", core.ZERO: "ZERO", core.GAP: "the fault",
               core.UNPAIRED_ONE: "UNPAIRED_ONE", core.UNPAIRED_ZERO: "UNPAIRED_ZERO"}  # fmt: skip
    lines = [",".join(("held", *kinds))]
    for before in (None, "ONE", "ZERO"):
        row = []
        for kind in kinds:
            machine = core.Bits(6, 20_000)
            if before is not None:
                machine.feed(*kinds[before])
            name = held[machine.held]
            answer = machine.feed(*kinds[kind])
            row.append(f"{answers[answer]}; then {held[machine.held]}")
        lines.append(",".join((name, *row)))
    return "\n".join(lines) + "\n"


def _moves() -> dict[tuple[str, str], list[str]]:
    """From and to which state, and on what: the words at the arrow."""
    words: dict[tuple[str, str], list[str]] = {}
    for state in STATES:
        for entry in INPUTS:
            name = step(state, entry)
            for target, answer in TARGETS.get(name, ()):
                text = f"{name}: {answer}"
                known = words.setdefault((state, target), [])
                if text not in known:
                    known.append(text)
    return words


PLACES = {"LOST": (110, 300), "IDLE": (420, 60), "BYTE": (730, 300), "SEPARATOR": (420, 540)}
RADIUS = 50


def diagram() -> str:
    """Layer 4's states as an SVG: an arrow for each way from one to another, with its steps and answers."""
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 840 620" font-family="sans-serif" font-size="13">',
        '<defs><marker id="end" markerWidth="9" markerHeight="8" refX="8" refY="4" orient="auto">'
        '<path d="M0,0 L9,4 L0,8 z"/></marker></defs>',
        '<rect width="840" height="620" fill="white"/>',
    ]
    for (start, target), words in _moves().items():
        parts += _arrow(start, target, words)
    for state, (x, y) in PLACES.items():
        parts.append(f'<circle cx="{x}" cy="{y}" r="{RADIUS}" fill="#eef" stroke="black"/>')
        parts.append(f'<text x="{x}" y="{y + 5}" text-anchor="middle" font-weight="bold">{state}</text>')
    return "\n".join([*parts, "</svg>"]) + "\n"


def _arrow(start: str, target: str, words: Iterable[str]) -> list[str]:
    (x1, y1), (x2, y2) = PLACES[start], PLACES[target]
    if start == target:
        out = 1 if x1 >= 420 else -1
        path = f"M{x1 + out * 30},{y1 - 35} C{x1 + out * 90},{y1 - 110} {x1 - out * 90},{y1 - 110} {x1 - out * 30},{y1 - 35}"
        middle = x1 + 0.0, y1 - 100.0
    else:
        length = math.hypot(x2 - x1, y2 - y1)
        ux, uy = (x2 - x1) / length, (y2 - y1) / length
        bend = 34.0  # to the right of the way, so that there and back do not cover one another
        mx, my = (x1 + x2) / 2 - uy * bend * 2, (y1 + y2) / 2 + ux * bend * 2
        sx, sy = x1 + ux * RADIUS - uy * 12, y1 + uy * RADIUS + ux * 12
        ex, ey = x2 - ux * RADIUS - uy * 12, y2 - uy * RADIUS + ux * 12
        path = f"M{sx:.0f},{sy:.0f} Q{mx:.0f},{my:.0f} {ex:.0f},{ey:.0f}"
        middle = (x1 + x2) / 2 - uy * bend * 1.3, (y1 + y2) / 2 + ux * bend * 1.3
    lines = [f'<path d="{path}" fill="none" stroke="black" marker-end="url(#end)"/>']
    for index, text in enumerate(words):
        place = f'x="{middle[0]:.0f}" y="{middle[1] + 15 * index:.0f}" text-anchor="middle"'
        lines.append(f'<text {place} fill="white" stroke="white" stroke-width="5">{text}</text>')
        lines.append(f"<text {place}>{text}</text>")
    return lines


def write() -> None:
    """Write the files beside the pages."""
    for name, make in FILES.items():
        (DOCS / name).write_text(make(), encoding="utf-8", newline="\n")


FILES = {"port_states.svg": diagram, "port_steps.csv": steps, "port_pairs.csv": pairs}

if __name__ == "__main__":
    write()
