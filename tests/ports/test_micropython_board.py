"""The complete decoder for the RP2040 in MicroPython: from the waveform at its pin to motor, lamps, CVs and pulses.

The program for the programmable I/O runs in PyPI's rp2040-pio-emulator. All else is main.py in MicroPython itself, around
simulated hardware: a DMA that fills the ring while time passes, pins, PWM, a file system. Each turn of the loop takes time,
and now and then the loop stands still, as in a garbage collection.

``python -m tests.ports.test_micropython_board 600`` runs ten minutes of track (600 s); the tests run a few seconds.
"""

from __future__ import annotations

import sys
from array import array
from binascii import unhexlify
from collections.abc import Iterator, Sequence
from itertools import chain

import attrs
from halfbit import core
from halfbit.decoder import Acknowledgement, MultiFunctionDecoder
from halfbit.event import Packet

from .support_build import core_receiver, ticks
from .support_micropython import FILES, run
from .support_pio import Timer
from .support_railway import IDLE, packets, track
from .test_micropython_ring import MODULES
from .test_micropython_vehicle import SHOW, expected

MS = 1_000_000
TICKS_PER_MS = 2_000
#: Ticks of half a us: a turn of the loop, and more for each half-bit in it. About what an RP2040 needs (an assumption).
TURN, HALF_BIT = 30, 90
START = 1_000  # ms. When the counter wraps, once in twelve days, one sum needs memory.
MAKERS = {7: 1, 8: 13}
#: Seconds of track in one run of the emulator.
PART = 600

#: Simulated time, and a DMA that goes on with it. Time is in ticks of half a us. The heap is locked while the loop runs, but for the saving of CVs.
HARDWARE = """
import gc, micropython, uctypes; gc.disable()
from array import array
from binascii import crc32, hexlify
class Sim:
    def __init__(self):
        self.ms = START
        self.part = self.passed = self.seen = self.at = self.size = self.pauses = self.due = self.after = 0
        self.done = self.lock = False
        self.ring = None
    def step(self, ticks):
        pause_every, pause_ticks = PAUSE
        self.passed += ticks
        if self.passed >= pause_every:
            self.passed = 0
            self.pauses += 1
            ticks += pause_ticks
        self.wait(ticks)
    def wait(self, ticks):
        self.part += ticks
        self.ms = (self.ms + self.part // 2000) & 0x3FFFFFFF
        self.part %= 2000
        self.due -= ticks
        while self.due <= 0 and not self.done:
            if self.size:
                dma.put(block[self.at])
                self.at += 1
            if self.at >= self.size:
                self.size = signal.readinto(block) // 2
                self.at = 0
            if self.size:
                self.due += block[self.at]
            else:
                self.done = True
sim = Sim()
signal = open("counts", "rb")
block = array("H", bytes(8192))
class DMA:
    def __init__(self): self.left = 0
    def pack_ctrl(self, **fields): return fields
    def config(self, read, write, count, ctrl, trigger):
        assert trigger and read.on and write % (1 << ctrl["ring_size"]) == 0 and ctrl["size"] == 1
        assert ctrl["inc_write"] and ctrl["ring_sel"] and not ctrl["inc_read"] and ctrl["treq_sel"] == 4
        self.bytes = uctypes.bytearray_at(write, 1 << ctrl["ring_size"])
        self.mask, self.at, self.left, self.starts = (1 << ctrl["ring_size"]) - 1, 0, count, 1
        sim.dma = self
    def put(self, ticks):
        word = 32770 - ticks
        self.bytes[self.at] = word & 255
        self.bytes[self.at + 1] = word >> 8
        self.at = (self.at + 2) & self.mask
        self.left -= 1
    @property
    def count(self):
        ring = sim.ring
        if ring:
            if sim.lock:  # the loop has begun
                sim.lock = False
                micropython.heap_lock()
            sim.step(TURN + HALF_BIT * (ring.taken - sim.seen))
            sim.seen = ring.taken
            sim.after += sim.done and COUNT - self.left == ring.taken
            if used > 8000 or sim.after > 9:
                micropython.heap_unlock()
                flush()
                if sim.after > 9:
                    raise StopIteration
                micropython.heap_lock()
        return self.left
rp2.DMA = DMA
time.ticks_ms = lambda: sim.ms
log, used = bytearray(16384), 0
def note(kind, data, length, ms):
    global used
    log[used] = kind
    for i in range(4):
        log[used + 1 + i] = ms >> 8 * (3 - i) & 255
    for i in range(length):
        log[used + 5 + i] = data[i]
    used += 5 + length
def flush():
    global used
    print(hexlify(memoryview(log)[:used]).decode())
    used = 0
import main, half_bit_timer, half_bit_ring
from half_bit_ring import COUNT
from cvs import Cvs
from vehicle import Vehicle, receiver
class Saved(Cvs):
    def save(self):
        micropython.heap_unlock()
        Cvs.save(self)
        micropython.heap_lock()
        self.saves += 1
        sim.wait(100000)
class Logged(main.Engine):
    log = bytearray()
    def take(self, data, length, now):
        note(length, data, length, now)
        Vehicle.take(self, data, length, now)
cvs = Saved()
cvs.saves = 0
assert not cvs.load()
Cvs.save(cvs)
ring = half_bit_ring.HalfBitRing(half_bit_timer.start(16))
dma = ring.dma
decoder, engine = receiver(half_bit_timer.TICKS_PER_US, tolerance=1), Logged(cvs)
sim.ring = ring
sim.lock = True
try:
    main.run(ring, decoder, engine)
except StopIteration:
    pass
for i in range(60):
    sim.wait(10000)
    engine.show(sim.ms)
    if cvs.changed:
        engine.save(sim.ms)
again = Cvs()
assert again.load() and again.values == cvs.values
print("end")
show(engine, engine.motor.duty // 257)
print(ring.lost, ring.most, sim.pauses, cvs.saves, sim.ms)
print(engine.motor.duty, engine.direction_pin.level, engine.front.level, engine.rear.level, *[pin.level for pin in engine.pins])
"""


@attrs.frozen
class Ran:
    """What the program did."""

    #: Packets that it obeyed: ms, bytes.
    taken: list[tuple[int, bytes]]
    pulses: list[int]
    state: str
    lost: int
    most: int
    pauses: int
    saves: int
    ms: int
    pins: tuple[int, ...]


def counts_of(pieces: Iterator[list[int]], seconds: float = 60) -> Iterator[int]:
    """What the programmable I/O makes of a track, ticks; begun afresh every ``seconds``."""
    for piece in pieces:
        chunk = list(piece)
        time = sum(chunk)
        while time < seconds * 1e9:
            more = next(pieces, None)
            if more is None:
                break
            chunk += more
            time += sum(more)
        yield from Timer(chunk).quick()


def board(counts: Sequence[int], pause_ms: int, every_ms: int = 400) -> Ran:
    """Run main.py's loop on counts. Every ``every_ms`` it stops for ``pause_ms``."""
    script = f"START, TURN, HALF_BIT = {START}, {TURN}, {HALF_BIT}\nPAUSE = {every_ms * TICKS_PER_MS}, {pause_ms * TICKS_PER_MS}\n"
    output = run(script + SHOW + MODULES + HARDWARE, {**FILES, "counts": array("H", counts).tobytes()}).output
    log, _, end = output.partition("end\n")
    state, numbers, pins = end.splitlines()
    taken, pulses = [], []
    for line in log.split():
        record = unhexlify(line)
        while record:
            length = 0 if record[0] == 0xFF else record[0]
            ms = (int.from_bytes(record[1:5], "big") - START) % 2**30
            if length:
                taken.append((ms, record[5 : 5 + length]))
            else:
                pulses.append(ms)
            record = record[5 + length :]
    lost, most, pauses, saves, ms = map(int, numbers.split())
    return Ran(taken, pulses, state, lost, most, pauses, saves, (ms - START) % 2**30, tuple(map(int, pins.split())))


def sent(counts: Sequence[int]) -> list[tuple[int, bytes]]:
    """What the core on this machine reads in the counts: ms and bytes."""
    receiver = core_receiver(ticks(per_us=2, tolerance=1))
    found = []
    time = 0
    for count in counts:
        time += count
        if receiver.feed(count) == core.PACKET:
            found.append((time // TICKS_PER_MS, bytes(receiver.packets.data[: receiver.packets.length])))
    return found


def judge(ran: Ran) -> MultiFunctionDecoder:
    """The model, given the packets that the board obeyed: it must come to the same state, with the same pulses."""
    model = MultiFunctionDecoder(MAKERS, defaults={29: 2})
    pulses = []
    for ms, data in ran.taken:
        for effect in model.feed(Packet(data, end=ms * MS)):
            if isinstance(effect, Acknowledgement):
                pulses.append(ms)
    model.tick(ran.ms * MS)
    assert ran.state.split()[:-1] == expected(model, (), 0).split()[:-1]
    assert len(ran.pulses) == len(pulses)
    forward, lamp = int(model.forward), int(model.function(0))
    assert ran.pins[1:4] == (forward, lamp & forward, lamp & ~forward)
    assert ran.pins[4:] == tuple(int(model.function(number)) for number in range(1, 5))
    assert ran.pins[0] == 257 * model.drive_level
    return model


def compare(seconds: float, seed: int) -> str:
    """Pauses of 50 ms lose nothing: the board obeys what was sent, when it was sent. Returns a line with the counts.

    :raises AssertionError: if it does not.
    """
    counts = list(counts_of(chain(track(seconds, seed), [packets(*[IDLE] * 100)])))
    ran = board(counts, 50)
    there = sent(counts)
    assert ran.lost == 0 and [data for _, data in ran.taken] == [data for _, data in there]
    late = [one - other for (one, _), (other, _) in zip(ran.taken, there)]
    # If the loop stops during a long level, up to 16 ms of it are not known. Then some packets get an earlier time.
    assert min(late) >= -17 and max(late) <= 3, (min(late), max(late))
    assert sum(one < -1 for one in late) <= len(late) // 50
    judge(ran)
    return (
        f"{seconds:.0f} s of track, {len(counts)} half-bits, {ran.pauses} pauses of 50 ms, at most {ran.most} waited,"
        f" no half-bit lost; {len(there)} packets, {len(ran.pulses)} pulses, {ran.saves} times CVs saved"
    )


def faulted(seconds: float, seed: int) -> str:
    """Pauses of 500 ms lose half-bits. They are counted, and only what was sent is obeyed. Returns the counts, a line.

    :raises AssertionError: if something is obeyed that was not sent.
    """
    counts = list(counts_of(chain(track(seconds, seed), [packets(*[IDLE] * 100)])))
    ran = board(counts, 500, 1_500)
    there = iter(data for _, data in sent(counts))
    assert all(data in there for _, data in ran.taken)  # in the order in which they were sent
    assert ran.lost > 500 * ran.pauses > 0
    judge(ran)
    return f"{ran.pauses} pauses of 500 ms, {ran.lost} half-bits lost, {len(ran.taken)} packets obeyed, all of them sent"


def test_pauses_of_50_ms_lose_nothing() -> None:
    assert "no half-bit lost" in compare(6, 5)


def test_after_a_loss_only_what_was_sent_is_obeyed() -> None:
    assert "all of them sent" in faulted(4, 6)


def main() -> None:
    """Run the track for the seconds given on the command line, in parts: the simulated hardware keeps all it has seen."""
    seconds, seed = float(sys.argv[1]), 1
    while seconds > 0:
        print(compare(min(seconds, PART), seed), flush=True)
        seconds, seed = seconds - PART, seed + 1
    print(faulted(min(float(sys.argv[1]), PART), seed))


if __name__ == "__main__":
    main()
