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
queue.put(5); print(queue.get(), queue.get(), queue.get())
"""
    assert run(script, FILES).output == "[58, 65535, 100, -1] 2 3\n0 5 -1\n"


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


#: The board's modules as stand-ins: counts come from a file, up to eight at a time. The heap is locked while the loop runs.
#: Once, before count number {lost}, the hardware says that it has dropped some.
BOARD = """
import gc, micropython, sys; gc.disable()
from array import array
class Module: pass
rp2, machine = Module(), Module()
with open("durations", "rb") as file:
    counts = array("H", file.read())
class Pio: JOIN_RX, SHIFT_LEFT = 2, 0
class StateMachine:
    def __init__(self, number, program, freq, in_base, jmp_pin):
        self.at, self.held = 0, -1
    def active(self, on): pass
    locked = False
    def rx_fifo(self):
        if not StateMachine.locked:
            StateMachine.locked = True  # the loop has begun
            {lock}
        left = len(counts) - self.at
        if self.at == {lost} and not StateMachine.torn:
            StateMachine.torn = True
            flags.flag = 1
            self.held = 8
        if self.held >= 0:  # full for once: nothing comes in until it is empty
            self.held -= 1
            return self.held + 1
        return left if left < 8 else 8
    torn = False
    def get(self):
        self.at += 1
        return 32770 - counts[self.at - 1]
class Pin:
    IN, OUT = 0, 1
    def __init__(self, number, mode=0): self.level = 0
    def value(self, level): self.level = level
class PWM:
    def __init__(self, pin, freq, duty_u16): self.duty = 0
    def duty_u16(self, duty): self.duty = duty
rp2.PIO, rp2.StateMachine = Pio, StateMachine
rp2.asm_pio = lambda **settings: lambda program: "program"
machine.Pin, machine.PWM = Pin, PWM
class Flags:
    def __init__(self): self.written = self.flag = 0
    def __getitem__(self, at): return self.flag
    def __setitem__(self, at, bit): self.flag = 0; self.written += 1
machine.mem32 = flags = Flags()
sys.modules["rp2"], sys.modules["machine"] = rp2, machine
import main, half_bit_timer
from vehicle import Vehicle, receiver
timer = half_bit_timer.start(16)
decoder, engine, outputs, losses = receiver(2, tolerance=1), Vehicle(7), main.Outputs(), main.Losses()
main.run(timer, decoder, engine, outputs, losses, {turns})
micropython.heap_unlock()
print(engine.step, engine.packets, outputs.motor.duty, outputs.direction.level, outputs.front.level, outputs.rear.level)
print(losses.count, timer.at, flags.written)
"""


def on_board(durations: Sequence[int], lost: int = -1, turns: int = 20_000) -> list[str]:
    """What main.py's loop does with counts of half a us."""
    script = BOARD.format(lock="micropython.heap_lock()", lost=lost, turns=turns)
    return run(script, {**FILES, "durations": array("H", durations).tobytes()}).output.splitlines()


def counts(*bodies: tuple[int, ...]) -> list[int]:
    """Packets in half us."""
    return [d // 500 for body in bodies for d in packet_durations(with_error_byte(bytes(body)), 16)]


def test_the_board_program_allocates_nothing() -> None:
    """Speed step 15 of 126, FL on, then the same again and packets to others, with the heap locked all the time."""
    durations = counts((7, 0x3F, 0x90), (7, 0x90), *[(7, 0x3F, 0x90), (9, 0x3F, 0x85), (255, 0)] * 8)
    done, lost = on_board(durations)
    assert done == f"15 10 {65535 * 15 // 126} True True False"
    assert lost == f"0 {len(durations)} 0"


def test_a_lost_count_is_a_fault() -> None:
    """The FIFO overflows in the middle of a packet, and what waits there is dropped: eight half-bits.

    They are chosen so that what is left would be a packet, 07 3F 90 A8, if nothing said that something is missing.
    """
    whole = counts((7, 0x3F, 0x90))
    begin = 2 * (16 + 1 + 9)  # behind the first byte and its separator
    torn = [*whole[:begin], *[116] * 8, *whole[begin:], *counts((7, 0x9F))]
    assert on_board(torn[:begin] + torn[begin + 8 :])[0].startswith("15 2 ")
    output = on_board(torn, begin)
    assert output[0].startswith("0 1 ")  # the second packet alone
    assert output[1].split()[0] == "1" and output[1].split()[2] == "1"


def test_a_duration_lost_in_the_queue_comes_out_as_a_fault() -> None:
    script = """
from half_bit_queue import HalfBitQueue
queue = HalfBitQueue(4)
for duration in (58, 59, 60, 61, 62):
    queue.put(duration)
out = [queue.get(), queue.get()]
queue.put(63)
out += [queue.get() for _ in range(4)]
print(out, queue.lost)
"""
    assert run(script, FILES).output == "[58, 59, 60, 0, 63, -1] 2\n"


@pytest.mark.parametrize(("ticks_", "us", "tolerance", "any_difference"), [(5, 2, 0, False), (7, 3, 1, False), (2, 1, 1, True)])
def test_windows_of_other_timers(ticks_: int, us: int, tolerance: int, any_difference: bool) -> None:
    """The same limits as the C port's and the library's."""
    script = f"import vehicle\nr = vehicle.receiver({ticks_}, {us}, {tolerance}, {any_difference})\nh = r.half_bits\n"
    script += "print(h.one_min, h.one_max, r.bits.one_difference, h.zero_min, h.zero_max, r.bits.zero_total_max)"
    values = ticks(per_us=ticks_, us=us, tolerance=tolerance)
    if any_difference:
        values["ONE_DIFFERENCE"] = values["ONE_MAX"]
    names = ("ONE_MIN", "ONE_MAX", "ONE_DIFFERENCE", "ZERO_MIN", "ZERO_MAX", "ZERO_TOTAL_MAX")
    assert run(script, FILES).output.split() == [str(values[name]) for name in names]


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
