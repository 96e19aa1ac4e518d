"""The vehicle's decoder on MicroPython equals the Python model: state, CVs and acts after every one of random steps.

``python -m tests.ports.test_micropython_vehicle`` runs 10**5 steps; here it is 10**4.
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from itertools import islice
from zlib import crc32

from halfbit.decoder import Acknowledgement, AnalogSet, Answer, BinaryStateSet, MultiFunctionDecoder
from halfbit.event import Packet
from halfbit.simulate.signal import with_error_byte

from .support_decoder import CONFIGURATION, MODES, MS, steps
from .support_micropython import FILES, run
from .support_motion import ModelMotion, motion
from .test_decoder import CVS

START = 2**30 - 100_000  # the counter wraps on the way
CASE = 250

#: Prints a vehicle's state on a line.
SHOW = """
def show(v, level):
    on = 0
    for i in range(69):
        on |= v.functions[i] << i
    pages = 0
    for key, value in v.cvs.pages.items():
        if value:
            pages += (key << 8 | value) % 1000003
    print(v.mode, v.page, v.step, v.steps, int(v.emergency), v.forward(), v.restriction, on, crc32(v.cvs.values), pages, level, v.log.decode())
    Logged.log = bytearray()
"""

#: Steps from a file: ms since the last step (two bytes), length, bytes. Length 254: CVs, 255: only time passes.
SCRIPT = """
import gc
from binascii import crc32
from cvs import Cvs
from motion import Motion
from vehicle import Vehicle
class Logged(Vehicle):
    log = bytearray()
    def acknowledge(self): self.log.extend(b"K")
    def answer(self, cv, value): self.log.extend(b"A%d=%d " % (cv, value))
    def binary(self, number, on, long): self.log.extend(b"B%d=%d,%d " % (number, on, long))
    def analog(self, output, value): self.log.extend(b"N%d=%d " % (output, value))
with open("steps", "rb") as file:
    now = 0
    while True:
        head = file.read(3)
        if not head:
            break
        now = (now + (head[0] | head[1] << 8)) & 0x3FFFFFFF
        if head[2] == 254:
            now = START
            v = Logged(Cvs(0, 0), now)
            m = Motion()
            m.since = now
            for at in range(file.read(1)[0]):
                cv, value = file.read(2)
                v.cvs.values[cv - 1] = value
            continue
        if head[2] == 255:
            v.tick(now)
        else:
            v.take(file.read(head[2]), head[2], now)
        show(v, m.tick(v, now))
"""


def expected(model: MultiFunctionDecoder, effects: Sequence[object], level: int) -> str:
    """The line that the script prints for the model's state."""
    state = model.state()
    log = ""
    for effect in effects:
        if isinstance(effect, Acknowledgement):
            log += "K"
        elif isinstance(effect, Answer):
            log += f"A{effect.cv}={effect.value} "
        elif isinstance(effect, BinaryStateSet):
            log += f"B{effect.number}={effect.on:d},{effect.long:d} "
        elif isinstance(effect, AnalogSet):
            log += f"N{effect.output}={effect.value} "
    values = bytearray(1024)
    for cv, value in state.cvs.values.items():
        values[cv - 1] = value
    pages = sum(
        (key[0] << 24 | key[1] << 16 | key[2] - 257 << 8 | value) % 1000003 for key, value in state.cvs.indexed.items() if value
    )
    speed, restriction = model.speed, state.vehicle.restriction
    numbers = (
        MODES.index(model.mode), state.page, speed.step, speed.steps, int(speed.emergency), int(model.forward),
        -1 if restriction is None else restriction, sum(1 << n for n in state.vehicle.functions), crc32(values), pages, level,
    )  # fmt: skip
    return " ".join(map(str, numbers)) + " " + log


def case(rng: random.Random, values: Mapping[int, int], count: int) -> tuple[bytes, list[str]]:
    """Random steps for the script, and the lines it must print."""
    model = MultiFunctionDecoder({29: CONFIGURATION, **values}, defaults={29: CONFIGURATION})
    moves = bytearray(b"\0\0\xfe" + bytes((len(values), *(byte for one in values.items() for byte in one))))
    lines = []
    ms = 0
    moving = motion.Motion()
    for body, after, spoiled in islice(steps(rng, False), count):
        ms += after
        moves += after.to_bytes(2, "little")
        if body is None or spoiled:  # the receiver gives no packet with a wrong error byte
            moves.append(255)
            effects = model.tick(ms * MS)
        else:
            data = with_error_byte(body)
            moves += bytes((len(data),)) + data
            effects = model.feed(Packet(data, end=ms * MS))
        lines.append(expected(model, effects, moving.tick(ModelMotion(model), ms)))
    return bytes(moves), lines


def random_steps(count: int, seed: int) -> list[str]:
    """Steps of a vehicle, begun afresh with other CVs now and then: what both showed.

    :raises AssertionError: where they differ.
    """
    rng = random.Random(seed)
    cases = [case(rng, rng.choice(CVS[False]), CASE) for _ in range(count // CASE)]
    lines = [line for _, part in cases for line in part]
    shown = run(f"START = {START}\n{SHOW}{SCRIPT}", {**FILES, "steps": b"".join(moves for moves, _ in cases)}).output.splitlines()
    for at, (one, other) in enumerate(zip(shown, lines)):
        assert one.rstrip() == other.rstrip(), f"step {at} of case {at // CASE}: {lines[at - 1]}"
    assert len(shown) == len(lines) == count
    return shown


def test_a_vehicle_does_as_the_model() -> None:
    shown = random_steps(6_000, 5)
    words = [line.split() for line in shown]
    assert {line[0] for line in words} == {"0", "1", "2"}  # in and out of service mode
    assert sum("K" in line for line in shown) > 50 and sum("A257" in line for line in shown) > 10
    assert len({line[9] for line in words}) > 20 and len({line[10] for line in words}) > 50  # pages, levels


def main() -> None:
    """10**5 steps."""
    random_steps(100_000, 7)
    print("100,000 steps equal")


if __name__ == "__main__":
    main()
