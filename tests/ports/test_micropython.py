"""The core, unmodified, on a real MicroPython interpreter, and the decoder around it."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from itertools import islice

import pytest

from halfbit import core
from halfbit.simulate.signal import packet_durations, with_error_byte
from halfbit.vectors import cases

from ..benchmarks import port_micropython
from .support_build import CReceiver, core_receiver, library, ticks
from .support_files import PORTS
from .support_micropython import CORE, EXAMPLES, run
from .support_torn import torn_signal

FILES = {path.name: path for path in (*EXAMPLES.glob("*.py"), CORE)}

#: Feeds durations from a file in blocks; each answer goes out as a byte. Nothing is collected meanwhile.
FEED = """
import gc, sys; gc.disable()
from array import array
import core, vehicle
receiver = vehicle.receiver()
block, answers = array("I", bytes(16384)), bytearray(4096)
def go(n):
    feed = receiver.feed
    for i in range(n):
        answers[i] = feed(block[i])
with open("durations", "rb") as file:
    while True:
        n = file.readinto(block) // 4
        if not n:
            break
        go(n)
        sys.stdout.buffer.write(memoryview(answers)[:n])
packets = receiver.packets
sys.stdout.buffer.write(b"|" + "{} {}".format(packets.preamble, packets.length).encode())
"""


def on_micropython(durations: Sequence[int]) -> tuple[bytes, str]:
    """Its answers, and the receiver's preamble and length after them."""
    output = run(FEED, {**FILES, "durations": array("I", durations).tobytes()}).output
    answers, _, rest = output.rpartition("|")
    return answers.encode("latin-1"), rest


@pytest.mark.parametrize("seed", [100, 101, 102, 103])
def test_a_million_half_bits_python_c_and_micropython(seed: int) -> None:
    """A quarter of 10**6 random torn half-bits for each seed: every answer of all three the same."""
    durations = list(torn_signal(seed, 250_000))
    model, port = core_receiver(ticks()), CReceiver(library())
    expected = bytes(map(model.feed, durations))
    assert bytes(map(port.feed, durations)) == expected
    answers, rest = on_micropython(durations)
    assert len(answers) == len(expected) == 250_000
    if answers != expected:
        at = next(i for i, (a, b) in enumerate(zip(answers, expected)) if a != b)
        raise AssertionError(f"duration {at}: {answers[at]} instead of {expected[at]}")
    assert rest == f"{model.packets.preamble} {model.packets.length}"
    assert expected.count(core.PACKET) > 500


def test_all_vectors() -> None:
    """Each case behind a silence that ends what was before it, which the core answers in the same way."""
    durations: list[int] = []
    for case in cases():
        durations += [1_000_000, *case.durations]
    model = core_receiver(ticks())
    answers, _ = on_micropython(durations)
    assert answers == bytes(map(model.feed, durations))
    assert answers.count(core.PACKET) > 700


VEHICLE = """
import gc, micropython; gc.disable()
from array import array
import vehicle
from half_bit_queue import HalfBitQueue
with open("durations", "rb") as file:
    durations = array("H", file.read())
queue, receiver, engine = HalfBitQueue(64), vehicle.receiver(), vehicle.Vehicle({arguments})
def go():
    for i in range(len(durations)):
        queue.put(durations[i])
        if i % 7 == 6:
            vehicle.drain(queue, receiver, engine, 100)
    vehicle.drain(queue, receiver, engine, 100)
micropython.heap_lock()
go()
micropython.heap_unlock()
print(engine.step, engine.steps, engine.forward, engine.emergency, engine.functions, engine.packets, queue.lost, queue.most)
"""


def vehicle(bodies: Sequence[tuple[int, ...]], arguments: str = "7") -> str:
    """What a vehicle has come to after packets; the heap is locked, so that any allocation is an error."""
    durations: list[int] = []
    for body in bodies:
        durations += [d // 1000 for d in packet_durations(with_error_byte(bytes(body)))]
    script = VEHICLE.format(arguments=arguments)
    return run(script, {**FILES, "durations": array("H", durations).tobytes()}).output.strip()


def test_a_vehicle_heeds_its_own_address_and_allocates_nothing() -> None:
    """S-9.2 B and S-9.2.1 C; the first packet has 14 one-bits before it like all."""
    assert vehicle([(7, 0x3F, 0x90), (8, 0x3F, 0x85)]) == "15 126 True False 0 1 0 7"
    assert vehicle([(7, 0x3F, 0x10)]) == "15 126 False False 0 1 0 7"
    assert vehicle([(7, 0x74)]) == "6 28 True False 0 1 0 7"
    assert vehicle([(7, 0x7F), (7, 0x61)]) == "0 28 True True 0 2 0 7"
    assert vehicle([(7, 0x74)], "7, steps=14") == "3 14 True False 1 1 0 7"
    assert vehicle([(7, 0x91, 0xB8, 0xA1, 0xDE, 0x81, 0xDF, 0x80)]) == "0 28 True False {} 1 0 7".format(
        0b11 | 1 << 8 | 1 << 9 | 1 << 13 | 1 << 20 | 1 << 28
    )
    assert vehicle([(7, 0x74), (0, 0x61), (255, 0)]) == "0 28 True True 0 2 0 7"
    assert vehicle([(7, 0x9F), (7, 0x74), (0, 0)]) == "0 28 True False 0 3 0 7"


def test_a_vehicle_with_a_long_address() -> None:
    """1111 is bytes 196 87 (CV 17 and 18, S-9.2.2)."""
    assert vehicle([(196, 87, 0x74), (87, 0x68), (196, 88, 0x68)], "1111, True") == "6 28 True False 0 1 0 7"


def test_heap_lock_would_show_an_allocation() -> None:
    script = "import micropython\nx = 10\nmicropython.heap_lock()\ntry:\n    y = [x, x]\nexcept MemoryError:\n    print('caught')\n"
    assert run(script).output == "caught\n"


def test_a_full_queue_drops_and_counts() -> None:
    script = """
from half_bit_queue import HalfBitQueue
queue = HalfBitQueue(4)
for duration in (58, 70000, 100, 1, 2):
    queue.put(duration)
print([queue.get() for _ in range(4)], queue.lost, queue.most)
queue.put(5); print(queue.get(), queue.get())
"""
    assert run(script, FILES).output == "[58, 65535, 100, -1] 2 3\n5 -1\n"


def test_polled_capture() -> None:
    """With a clock that goes on by 9 us for each look: each duration is off by one look at most, nothing is allocated."""
    script = """
import gc, micropython; gc.disable()
from array import array
import polled_capture
lengths = array("H", (40, 58, 58, 100, 100, 58, 58, 9000, 116))
class Board:
    now = 0
    edge = 40
    at = 0
    high = 0
def level():
    Board.now += 9
    while Board.now >= Board.edge and Board.at < 8:
        Board.at += 1
        Board.edge += lengths[Board.at]
        Board.high ^= 1
    return Board.high
polled_capture.ticks_us = lambda: Board.now
polled_capture.ticks_diff = lambda new, old: new - old
out = array("H", bytes(14))
micropython.heap_lock()
polled_capture.capture(level, out)
micropython.heap_unlock()
print(list(out))
"""
    seen = run(script, FILES).output
    measured = [int(word) for word in seen.strip("[]\n").split(", ")]
    assert len(measured) == 7
    assert all(abs(a - b) <= 9 for a, b in zip(measured, (58, 58, 100, 100, 58, 58, 9000)))


def test_the_board_program_on_stand_ins() -> None:
    """examples/ports/rp2040/main.py, with a state machine whose FIFO is filled from a list."""
    durations = [d // 500 for d in packet_durations(with_error_byte(bytes((7, 0x3F, 0x90))), 16)]
    script = """
import gc, sys; gc.disable()
from array import array
class Module: pass
rp2, machine = Module(), Module()
with open("durations", "rb") as file:
    counts = array("H", file.read())
class Pio: JOIN_RX, SHIFT_LEFT = 2, 0
class StateMachine:
    def __init__(self, number, program, freq, in_base, jmp_pin):
        print("machine", number, program, freq)
        self.at = 0
    def active(self, on): pass
    def rx_fifo(self): return min(8, len(counts) - self.at)
    def get(self):
        self.at += 1
        return 32770 - counts[self.at - 1]
class Pin:
    IN = 0
    def __init__(self, number, mode): pass
rp2.PIO, rp2.StateMachine = Pio, StateMachine
rp2.asm_pio = lambda **settings: lambda program: "program"
machine.Pin = Pin
machine.mem32 = {0x50200008: 1}
sys.modules["rp2"], sys.modules["machine"] = rp2, machine
import main
main.main(400)
"""
    files = {**FILES, **{path.name: path for path in (PORTS / "micropython").glob("*.py")}}
    output = run(script, {**files, "durations": array("H", durations).tobytes()}).output
    assert output.startswith("machine 0 program 4000000\n")
    assert "step 15 of 126 forward 0b0\n" in output
    assert "half-bits dropped, 1 times\n" in output


def test_what_a_half_bit_costs() -> None:
    """In turns of an empty loop; the same on every machine, and the same again."""
    clean = port_micropython.shuttle()
    measured = port_micropython.costs(clean)
    port_micropython._costs.cache_clear()
    again = port_micropython.costs(clean)
    assert again.turns == measured.turns
    assert 10 < measured.average < 60
    assert measured.worst < 300
    torn = list(islice(torn_signal(3, 3_000), 3_000))
    assert port_micropython.costs(torn).worst < 300
    # What the documentation says of the queue.
    assert port_micropython.burst(clean, measured, 1.0)[0] <= 8
    assert port_micropython.burst(clean, measured, 2.0)[0] > 200
    assert port_micropython.burst(clean, measured, 0.001) == (1, 1)
