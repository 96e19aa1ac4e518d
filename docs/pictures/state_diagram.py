"""The states of the core's layer 4, drawn from its table and from what the core does with it."""

from __future__ import annotations

from collections.abc import Callable

from halfbit import core

from .svg import Drawing

__all__ = ["Move", "moves", "states"]

STATES = ("LOST", "IDLE", "BYTE", "SEPARATOR")
INPUTS = ("ONE", "RUN", "ZERO", "START", "SLIP", "FAULT")
STEPS = ("STAY", "FIND", "OPEN", "SHIFT", "NEXT", "CLOSE", "FAIL", "EARLY")
ANSWERS = ("SYNC", "START", "PACKET", "SHORT_PREAMBLE", "FEW_BYTES", "MANY_BYTES", "ERROR_BYTE")

#: From which state, to which, by which step, with which answer ("" for MORE, "the fault" for one from below).
Move = tuple[str, str, str, str]


def _machine(state: int, ones: int, room: int, length: int, check: int) -> core.Packets:
    """The core's layer 4 in some condition."""
    machine = core.Packets(6, 10, 3, 6)
    machine.state, machine.ones, machine.room, machine.length, machine.check = state, ones, room, length, check
    return machine


def moves() -> set[Move]:
    """What the core does in each state with each bit: the steps that lead to a state or answer something."""
    answers = {getattr(core, name): name for name in ANSWERS}
    found: set[Move] = set()
    for state in STATES:
        for bit in (core.ONE, core.ZERO, core.UNPAIRED_ONE, core.GAP):
            for ones in (0, 20):
                for room, length, check in ((8, 0, 0), (1, 1, 0), (8, 2, 0), (8, 3, 0), (8, 3, 1), (8, 6, 0)):
                    condition = getattr(core, state), ones, room, length, check
                    counted = _machine(*condition).count(bit, 58, 58)
                    number = core.STEPS[len(INPUTS) * condition[0] + counted]
                    step = next(name for name in STEPS if getattr(core, name) == number)
                    machine = _machine(*condition)
                    answer = machine.feed(bit, 58, 58)
                    words = "" if answer == core.MORE else answers.get(answer, "the fault")
                    if step != "STAY":
                        found.add((state, STATES[machine.state], step, words))
    return found


def _inputs(state: str, step: str) -> str:
    """The inputs on which a state takes a step, from the core's table."""
    row = core.STEPS[len(INPUTS) * getattr(core, state) :][: len(INPUTS)]
    return ", ".join(name for name, number in zip(INPUTS, row) if number == getattr(core, step))


CENTRE = 385.0
HALF = 66.0
TOP = {"LOST": 24.0, "IDLE": 158.0, "BYTE": 292.0, "SEPARATOR": 452.0}
HEIGHT = 48.0


def states() -> Drawing:
    """The states with an arrow for each way between them, and beside it on what input and with what answer."""
    drawing = Drawing(770, 520)
    ways: dict[tuple[str, str], dict[str, list[str]]] = {}
    for before, after, step, answer in sorted(moves()):
        if (before, after) == ("LOST", "LOST"):
            continue  # a further fault changes nothing
        answers = ways.setdefault((before, after), {}).setdefault(f"{_inputs(before, step)}: {step}", [])
        answers += [answer] if answer else []
    for way, steps in ways.items():
        _LAYOUT[way](drawing, steps)
    for state, top in TOP.items():
        drawing.box(CENTRE - HALF, top, 2 * HALF, HEIGHT, "plain", 10)
        drawing.text(CENTRE, top + 29, state, 14, "middle", bold=True)
    return drawing


#: On what input which step is taken, and the answers it can give.
Steps = dict[str, list[str]]


def _lines(steps: Steps) -> list[tuple[str, bool]]:
    """The words at an arrow, line by line; and for each True if it names an answer."""
    lines = []
    for words, answers in steps.items():
        lines.append((words, False))
        if answers:
            lines.append(("answers " + " or ".join(answers), True))
    return lines


def _stack(drawing: Drawing, x: float, y: float, steps: Steps, anchor: str) -> None:
    for number, (line, faint) in enumerate(_lines(steps)):
        drawing.text(x, y + 16 * number, line, 12, anchor, faint=faint)


def _between(drawing: Drawing, before: str, after: str, side: int, steps: Steps) -> None:
    """An arrow between two neighbours, with its words to the left (side -1) or right (1) of it."""
    x = CENTRE + 26 * side
    down = TOP[after] > TOP[before]
    start = TOP[before] + (HEIGHT if down else 0)
    end = TOP[after] + (0 if down else HEIGHT)
    drawing.line((x, start), (x, end), arrow=True)
    y = (start + end) / 2 + 4 - 8 * (len(_lines(steps)) - 1)
    _stack(drawing, x + 10 * side, y, steps, "start" if side > 0 else "end")


def _lane(drawing: Drawing, before: str, after: str, x: float, enter: float, steps: Steps) -> None:
    """An arrow that leaves a state sideways, goes along a lane and enters another one from there."""
    side = 1 if x > CENTRE else -1
    edge = CENTRE + side * HALF
    start, end = TOP[before] + HEIGHT / 2, TOP[after] + enter
    drawing.line((edge, start), (x, start), (x, end), (edge, end), arrow=True)
    y = start - 8 - 16 * (len(_lines(steps)) - 1)
    _stack(drawing, x - side * 8, y, steps, "end" if side > 0 else "start")


def _loop(drawing: Drawing, steps: Steps) -> None:
    """Bits of a byte but for the last."""
    x, y = CENTRE + HALF, TOP["BYTE"]
    drawing.path(f"M{x:.0f},{y + 12:.0f} C{x + 44:.0f},{y:.0f} {x + 44:.0f},{y + 48:.0f} {x:.0f},{y + 36:.0f}", arrow=True)
    drawing.text(x + 42, y + 20, "SHIFT, on any bit,", 12)
    drawing.text(x + 42, y + 36, "seven times", 12)


def _eighth(drawing: Drawing, steps: Steps) -> None:
    """The last bit of a byte."""
    _between(drawing, "BYTE", "SEPARATOR", -1, {})
    drawing.text(CENTRE - 36, TOP["BYTE"] + HEIGHT + 24, "SHIFT, on the eighth bit", 12, "end")


_LAYOUT: dict[tuple[str, str], Callable[[Drawing, Steps], None]] = {
    ("LOST", "IDLE"): lambda d, t: _between(d, "LOST", "IDLE", -1, t),
    ("IDLE", "LOST"): lambda d, t: _between(d, "IDLE", "LOST", 1, t),
    ("IDLE", "BYTE"): lambda d, t: _between(d, "IDLE", "BYTE", 1, t),
    ("BYTE", "BYTE"): _loop,
    ("BYTE", "SEPARATOR"): _eighth,
    ("SEPARATOR", "BYTE"): lambda d, t: _between(d, "SEPARATOR", "BYTE", 1, t),
    ("BYTE", "LOST"): lambda d, t: _lane(d, "BYTE", "LOST", 110, 34, t),
    ("SEPARATOR", "LOST"): lambda d, t: _lane(d, "SEPARATOR", "LOST", 22, 14, t),
    ("SEPARATOR", "IDLE"): lambda d, t: _lane(d, "SEPARATOR", "IDLE", 745, 24, t),
}
