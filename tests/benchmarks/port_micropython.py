"""What the core costs on MicroPython: ``python -m tests.benchmarks.port_micropython``.

Work is counted in turns of an empty loop, ``for i in range(n): pass``, on the same interpreter, from a deterministic count of the
machine's instructions. How long a turn takes on a board, measure there. From costs and turn comes the longest
burst that waits: half-bits that come while earlier ones are still being decoded.
"""

from __future__ import annotations

import functools
import random
from array import array
from collections.abc import Sequence

import attrs

from halfbit import core
from halfbit.simulate.signal import packet_durations, with_error_byte

from ..ports.support_build import core_receiver, ticks
from ..ports.support_micropython import CORE, FILES, run
from ..ports.support_torn import torn_signal
from . import port_sum_cost

__all__ = ["Costs", "burst", "costs", "shuttle"]

#: The whole loop of main.py. The count of the DMA is a stand-in here; its cost is taken off, and that of a call of a
#: built-in function, which it is on a board, put in its place. First a half-bit at a time comes, then all at once.
SCRIPT = """
import gc; gc.disable()
import sys
from array import array
import host
call = host.call
class Module: pass
rp2, machine, time = Module(), Module(), Module()
class Pio: JOIN_RX, SHIFT_LEFT, OUT_LOW = 2, 0, 0
class StateMachine:
    def __init__(self, number, program, freq, set_base): pass
    def active(self, on): pass
class Pin:
    IN, OUT = 0, 1
    def __init__(self, number, mode=0): pass
    def value(self, level): pass
class PWM:
    def __init__(self, pin, freq, duty_u16): pass
    def duty_u16(self, duty): pass
class DMA:
    singly = True
    def pack_ctrl(self, **fields): pass
    def config(self, read, write, count, ctrl, trigger): self.made, self.looks = 0, 0
    @property
    def count(self):
        if self.singly:
            if self.looks & 1 == 0:  # look(), not whole()
                call("", "")
                self.made += 1
            self.looks += 1
        return COUNT - self.made
rp2.PIO, rp2.DMA, rp2.StateMachine = Pio, DMA, StateMachine
rp2.asm_pio = lambda **settings: lambda program: "program"
machine.Pin, machine.PWM, machine.mem32 = Pin, PWM, {0x50200008: 0}
time.ticks_ms = lambda: 0
sys.modules["rp2"], sys.modules["machine"], sys.modules["time"] = rp2, machine, time
import half_bit_ring, half_bit_timer, main, vehicle
from cvs import Cvs
from half_bit_ring import COUNT
with open("durations", "rb") as file:
    durations = array("I", file.read())
cvs = Cvs()
cvs.values[0] = 7
cvs.changed = False
ring = half_bit_ring.HalfBitRing(None)
assert len(durations) <= half_bit_ring.SIZE
for i in range(len(durations)):
    ring.words[ring.first + i] = half_bit_timer.TOP - durations[i]

def empty(n):
    for i in range(n):
        pass

def built_in(n):
    x = ()
    for i in range(n):
        len(x)

def stand_ins():
    dma = ring.dma
    for i in range(34):
        dma.count

def stand_ins_at_once(n):
    dma = ring.dma
    for i in range(n):
        dma.count

def begin():
    ring.start()
    return vehicle.receiver(), main.Engine(cvs)

call("", "")
empty(1000)
call("", "")
empty(11000)
call("", "")
built_in(1000)
call("", "")
built_in(11000)
call("", "")
stand_ins()
decoder, engine = begin()
main.run(ring, decoder, engine, len(durations))
call("", "")
decoder, engine = begin()
ring.dma.singly = False
call("", "")
stand_ins_at_once(1000)
call("", "")
stand_ins_at_once(11000)
ring.dma.made = len(durations)
call("", "")
main.run(ring, decoder, engine, TURNS)
call("", "")
assert ring.taken == len(durations)
"""


#: The receiver by sum alone.
SUM_SCRIPT = """
import gc; gc.disable()
from array import array
import host
import sum_receiver
with open("durations", "rb") as file:
    words = array("I", file.read())
call = host.call
receiver = sum_receiver.receiver(40)

def empty(n):
    for i in range(n):
        pass

def go():
    feed = receiver.feed
    for i in range(len(words)):
        feed(words[i])
        call("", "")

call("", "")
empty(1000)
call("", "")
empty(11000)
call("", "")
go()
"""
#: A half-bit of more turns than this has learned.
LEARNED = 5_000


@attrs.frozen
class Costs:
    """In turns of an empty loop: a number for each half-bit, with all that the loop does until it asks for the next."""

    turns: tuple[float, ...]
    #: What the loop costs by itself, and so what a half-bit costs less when others wait too. On average.
    loop: float

    @property
    def average(self) -> float:
        """For a half-bit that comes by itself."""
        return sum(self.turns) / len(self.turns)

    @property
    def worst(self) -> float:
        """The same, at the most."""
        return max(self.turns)

    @property
    def behind(self) -> tuple[float, ...]:
        """For each half-bit, when others wait."""
        return tuple(turn - self.loop for turn in self.turns)


def shuttle(packets: int = 12) -> list[int]:
    """What the only train of a small layout gets: speeds and functions for address 7, idle between; us."""
    rng = random.Random(2)
    durations: list[int] = []
    for index in range(packets):
        body = (bytes((7, 0x3F, rng.randrange(256))), bytes((255, 0)), bytes((7, 0x80 | rng.randrange(32))))[index % 3]
        durations += [d // 1000 for d in packet_durations(with_error_byte(body))]
    return durations


@functools.cache
def _costs(durations: tuple[int, ...]) -> Costs:
    batches = batches_of(durations)
    script = SCRIPT.replace("TURNS", str(batches))
    marks = run(script, {**FILES, "durations": array("I", durations).tobytes()}).marks
    turn = (marks[1] - marks[0]) / 10_000
    built_in = (marks[3] - marks[2]) / 10_000 - turn
    base = min(marks[5:21])  # two stand-ins with a loop around them
    singly = tuple((mark - base + 2 * built_in) / turn + 2 for mark in marks[22 : 22 + len(durations)])
    one = (marks[-2] - marks[-3]) / 10_000 - turn
    together = (marks[-1] - 2 * batches * (one - built_in)) / turn
    return Costs(singly, (sum(singly) - together) / len(durations))


def batches_of(durations: Sequence[int], batch: int = 32) -> int:
    """Turns of main.py's loop for half-bits that all wait: a turn ends with a batch, or with a packet."""
    receiver = core_receiver(ticks())
    turns = taken = 0
    for duration in durations:
        taken += 1
        if receiver.feed(duration) == core.PACKET or taken == batch:
            turns += 1
            taken = 0
    return turns + (taken > 0)


def costs(durations: Sequence[int]) -> Costs:
    """Measure main.py's loop on the interpreter, with all that it does for a packet."""
    measured = _costs(tuple(durations))
    assert len(measured.turns) == len(durations)
    return measured


def sum_costs() -> tuple[float, float, float]:
    """The receiver by sum: turns for a half-bit on average and at worst, without learning; and for learning."""
    durations = port_sum_cost.clean()
    files = {**FILES, **{path.name: path for path in CORE.parent.glob("core_sum*.py")}}
    marks = run(SUM_SCRIPT, {**files, "durations": array("I", durations).tobytes()}).marks
    turn = (marks[1] - marks[0]) / 10_000
    turns = [mark / turn for mark in marks[2:]]
    short = [cost for cost in turns[port_sum_cost.START :] if cost < LEARNED]
    return sum(short) / len(short), max(cost for cost in turns if cost < LEARNED), max(turns)


def burst(durations: Sequence[int], measured: Costs, turn_us: float) -> tuple[int, int]:
    """How many half-bits wait at most, and at the end, if a turn takes ``turn_us``."""
    time = free = 0.0
    starts: list[float] = []
    most = 0
    done = 0
    for duration, cost in zip(durations, measured.behind):
        time += duration
        free = max(free, time) + cost * turn_us
        starts.append(free)
        while done < len(starts) and starts[done] <= time:
            done += 1
        most = max(most, len(starts) - done)
    return most, len(starts) - done


def kinds(durations: Sequence[int], measured: Costs) -> dict[str, float]:
    """The worst cost of each kind of answer."""
    receiver = core_receiver(ticks())
    worst: dict[str, float] = {}
    for duration, cost in zip(durations, measured.turns):
        answer = receiver.feed(duration)
        name = {core.MORE: "MORE", core.PACKET: "PACKET", core.START: "START", core.SYNC: "SYNC"}.get(answer, "a fault")
        worst[name] = max(worst.get(name, 0.0), cost)
    return worst


def report() -> str:
    """The table."""
    clean, torn = shuttle(), list(torn_signal(3, 3_000))
    both = {"clean": costs(clean), "torn": costs(torn)}
    lines = [f"{'turns of an empty loop':<40}{'average':>8}{'worst':>8}"]
    for name, one in both.items():
        lines.append(f"{f'one half-bit, {name} signal':<40}{one.average:>8.1f}{one.worst:>8.1f}")
        lines.append(f"{'  when others wait':<40}{sum(one.behind) / len(one.behind):>8.1f}{max(one.behind):>8.1f}")
    lines += [f"{f'  with the answer {name}':<48}{worst:>8.1f}" for name, worst in kinds(clean, both["clean"]).items()]
    average, worst, learning = sum_costs()
    lines += [f"{'one half-bit by sum, seen late':<40}{average:>8.1f}{worst:>8.1f}", f"{'  when it learns':<48}{learning:>8.0f}"]
    lines += [
        "",
        f"Keeps up where a turn takes less than {sum(clean) / sum(both['clean'].behind):.2f} us.",
        f"Half-bits that wait, of {len(clean)} without a pause:",
        f"{'a turn, us':>12}{'at most':>10}{'at the end':>12}",
    ]
    for turn in (0.5, 1.0, 1.25, 1.5, 2.0, 4.0):
        most, left = burst(clean, both["clean"], turn)
        lines.append(f"{turn:>12.2f}{most:>10}{left:>12}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(report(), end="")
