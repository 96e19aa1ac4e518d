"""The tables of docs/porting.rst, made from the core itself: ``python docs/port_figures.py`` writes them anew.

Layer 4's table comes from ``core.STEPS``; layer 3's from feeding ``core.Bits`` every pair of half-bits.
"""

from __future__ import annotations

from pathlib import Path

from halfbit import core

__all__ = ["STATES", "STEPS", "pairs", "steps", "write"]

DOCS = Path(__file__).parent

STATES = ("LOST", "IDLE", "BYTE", "SEPARATOR")
INPUTS = ("ONE", "RUN", "ZERO", "START", "SLIP", "FAULT")
STEPS = ("STAY", "FIND", "OPEN", "SHIFT", "NEXT", "CLOSE", "FAIL", "EARLY")

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


def write() -> None:
    """Write the files beside the pages."""
    for name, make in FILES.items():
        (DOCS / name).write_text(make(), encoding="utf-8", newline="\n")


FILES = {"port_steps.csv": steps, "port_pairs.csv": pairs}

if __name__ == "__main__":
    write()
