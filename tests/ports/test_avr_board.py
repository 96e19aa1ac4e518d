"""The whole decoder on an emulated ATmega328P: from the waveform at its pin to motor, lamps, EEPROM and acknowledgement.

``python -m tests.ports.test_avr_board 600`` runs so many seconds of track; here it is a few.
"""

from __future__ import annotations

import functools
import os
import random
import subprocess
import sys
import tempfile
from array import array
from collections.abc import Sequence
from pathlib import Path

import attrs

from halfbit.decoder import Acknowledgement, MultiFunctionDecoder
from halfbit.limits import Limits
from halfbit.receiver import HalvesReceiver
from halfbit.event import Packet
from halfbit.simulate.signal import packet_durations, with_error_byte

from . import support_avr
from .support_build import C, build

pytestmark = support_avr.needed
CLOCK = 16_000_000
FIRST = {1: 3, 7: 1, 8: 13, 17: 192, 29: 2, 31: 16}


@attrs.frozen
class Ran:
    """What the chip did."""

    #: Cycle, what, value.
    events: list[tuple[int, str, int]]
    eeprom: bytes
    memory: bytes
    names: dict[str, int]

    def of(self, name: str) -> list[tuple[int, int]]:
        """Changes of one output, which is 0 at first: cycle and value."""
        changes = [(cycle, value) for cycle, what, value in self.events if what == name]
        return [now for now, (_, old) in zip(changes, [(0, 0), *changes]) if now[1] != old]

    def variable(self, name: str, size: int = 2) -> int:
        """A variable of the program at the end."""
        at = self.names[name] - 0x800100
        return int.from_bytes(self.memory[at : at + size], "little")


def program() -> Path:
    """The board's program, as its head says to compile it."""
    sources = [C / f"{name}.c" for name in ("halfbit", "decoder", "multi_function", "instruction_size", "motor")]
    flags = ("-std=c99", "-Wall", "-Wextra", "-Werror", "-Os", "-DHALFBIT_TICKS_PER_US=2", "-DHALFBIT_TOLERANCE=1")
    return build(support_avr.AVR, flags, (C / "boards" / "atmega328p.c", *sources), suffix=".elf")


def run(durations: Sequence[int], eeprom: bytes | None = None) -> Ran:
    """Run the chip on durations, ns."""
    cycles = array("I", [round(one * CLOCK / 1e9) for one in durations])
    with tempfile.TemporaryDirectory() as directory:
        signal, memory = Path(directory) / "signal", Path(directory) / "eeprom"
        signal.write_bytes(cycles.tobytes())
        if eeprom is not None:
            memory.write_bytes(eeprom)
        command = [support_avr.emulator("avr_board.c"), program(), signal, memory]
        done = subprocess.run(command, capture_output=True, text=True, env={**os.environ, "LC_ALL": "C"})
        assert done.returncode == 0, done.stderr[-2000:]
        words = [line.split() for line in done.stdout.splitlines()]
        events = [(int(word[0]), word[1], int(word[2])) for word in words if len(word) == 3]
        return Ran(events, memory.read_bytes(), bytes.fromhex(done.stderr[-4096:]), support_avr.symbols(program()))


def packets(*bodies: tuple[int, ...], preamble: int = 16) -> list[int]:
    """Durations of packets, ns."""
    return [d for body in bodies for d in packet_durations(with_error_byte(bytes(body)), preamble)]


IDLE = (255, 0)
#: The chip sets its EEPROM up at the first start: 3.4 ms for each of 256 bytes.
START = packets(*[IDLE] * 150)


@functools.cache
def made() -> bytes:
    """The EEPROM after the first start."""
    return run(START).eeprom


def model_of(durations: Sequence[int], cvs: dict[int, int]) -> tuple[MultiFunctionDecoder, int]:
    """The Python model on the same signal through the library, a tick off at the windows; and its pulses."""
    limits = Limits(one_min=51_500, one_max=64_500, one_difference=7_000, zero_min=89_500, zero_max=10_000_500)
    receiver = HalvesReceiver(limits)
    model = MultiFunctionDecoder(cvs, defaults={29: 2})
    pulses = 0
    for event in [*receiver.feed_many(list(durations), 1), *receiver.finish()]:
        if isinstance(event, Packet):
            pulses += sum(isinstance(effect, Acknowledgement) for effect in model.feed(event))
    return model, pulses


def test_it_fits() -> None:
    """What docs/porting.rst says: 8 KiB of flash, and half of the 2 KiB of RAM, the stack not counted."""
    text, data, bss = map(int, subprocess.check_output(["avr-size", str(program())], text=True).splitlines()[1].split()[:3])
    assert 7_000 < text + data < 9_000 and 500 < data + bss < 1_024


def test_the_first_start_writes_the_makers_cvs() -> None:
    eeprom = made()
    assert {cv: eeprom[cv - 1] for cv in range(1, 257) if eeprom[cv - 1]} == FIRST
    assert eeprom[260] == 0xA5


def test_speed_lamps_and_functions() -> None:
    """37 74 43 is step 6 of 28, forward, for address 55 (worked value of S-9.2); here for address 3."""
    eeprom = made()
    ran = run(packets(IDLE, (3, 0x74), (3, 0x91), IDLE, (3, 0x54), (3, 0x80), (3, 0x61), preamble=20), eeprom)
    assert [value for _, value in ran.of("motor")] == [255 * 5 // 27, 0]
    assert [value for _, value in ran.of("direction")] == [1, 0, 1]
    assert [value for _, value in ran.of("f1")] == [1, 0]
    assert [value for _, value in ran.of("front")] == [1, 0]  # until it runs in reverse
    assert [value for _, value in ran.of("rear")] == [1, 0]
    assert ran.variable("lost") == 0 and ran.eeprom[:256] == eeprom[:256]


def test_a_programming_session_writes_cvs_and_pulses_for_6_ms() -> None:
    """Direct mode (S-9.2.3 E): resets, verifies, writes, recovery; the pulse lasts 6 ms, give or take 1."""
    session = packets(*[(0, 0)] * 20, preamble=20)
    write = (0x7C, 2, 77)  # CV 3
    session += packets(*[(0, 0)] * 3, *[(0x74, 2, 76)] * 5, *[(0, 0)] * 5, *[write] * 5, *[write] * 6, preamble=20)
    session += packets(*[(0, 0)] * 20, *[(0x74, 2, 77)] * 5, preamble=20)
    eeprom = made()
    ran = run(session, eeprom)
    pulse = ran.of("pulse")
    assert [value for _, value in pulse] == [1, 0, 1, 0]
    for (up, _), (down, _) in zip(pulse[::2], pulse[1::2]):
        assert 5.0 <= (down - up) / CLOCK * 1000 <= 7.0
        assert (down - up) / CLOCK * 1000 >= 5.9
    assert ran.eeprom[2] == 77 and [a for a, b in enumerate(zip(ran.eeprom[:256], eeprom)) if b[0] != b[1]] == [2]
    assert ran.variable("lost") == 0


def test_power_that_fails_while_a_cv_is_written() -> None:
    """In each of the six bytes that a CV takes: after the next start it has its old value or its new one, and all else is whole."""
    eeprom = made()
    written = [(256, 2), (257, 0), (258, 77), (259, 0x5A), (2, 77), (259, 0xFF)]  # as the program writes them
    seen = []
    for stage, (at, _) in enumerate(written):
        torn = bytearray(eeprom)
        for place, value in written[:stage]:
            torn[place] = value
        torn[at] = 0xEE if at != 259 else 0x5F  # cut off in the middle: no value that was meant
        after = run(packets(*[IDLE] * 4), bytes(torn)).eeprom
        assert after[:2] == eeprom[:2] and after[3:256] == eeprom[3:256]
        assert after[259] != 0x5A
        seen.append(after[2])
    assert seen == [0, 0, 0, 0, 77, 77]


def track(seconds: float, seed: int) -> list[int]:
    """Track of an invented railway: speeds, functions, others' packets, CV writes, damage, pauses of 50 ms."""
    rng = random.Random(seed)
    durations: list[int] = []
    time = 0
    while time < seconds * 1e9:
        body = rng.choice((IDLE, (3, 0x3F, rng.randrange(256)), (3, 0x40 | rng.randrange(64)), (3, 0x80 | rng.randrange(32)),
                           (9, 0x3F, rng.randrange(256)), (0, 0), (3, 0xEC, 2, rng.randrange(256)), (3, 0x12, rng.choice((0, 9)))))  # fmt: skip
        piece = packets(*[body] * rng.choice((1, 1, 2, 3)), preamble=rng.choice((14, 16, 20)))
        piece = [d + rng.randint(-1_000, 1_000) for d in piece]
        if rng.random() < 0.2:
            at = rng.randrange(len(piece))
            piece[at] = rng.choice((20_000, 77_000, 130_000, 12_000_000))
        if rng.random() < 0.02:
            piece.append(50_000_000)
        durations += piece
        time += sum(piece)
    return durations


def compare(durations: Sequence[int]) -> str:
    """Chip and model on a track; what came of it in words.

    :raises AssertionError: if they differ at the end, or the chip lost half-bits.
    """
    eeprom = made()
    quiet = packets(*[IDLE] * 4)
    ran = run([*quiet, *durations, *quiet], eeprom)
    model, pulses = model_of([*quiet, *durations, *quiet], {cv: eeprom[cv - 1] for cv in range(1, 257) if cv not in (17,)})
    assert ran.variable("lost") == 0
    assert {cv for cv in range(1, 257) if ran.eeprom[cv - 1] != model.cvs[cv]} == set()
    level = [value for _, value in ran.of("motor")]
    assert (level[-1] if level else 0) == model.drive_level
    pin = [value for _, value in ran.of("direction")]
    assert (pin[-1] if pin else 0) == int(model.forward) or not level
    assert len([value for _, value in ran.of("f1")]) > 0 and ran.of("f1")[-1][1] == int(model.function(1))
    return f"{sum(durations) / 1e9:.0f} s of track, {len(durations)} half-bits, none lost; {len(level)} changes of the motor, {pulses} pulses"


def test_some_seconds_of_track() -> None:
    assert "none lost" in compare(track(3, 5))


def main() -> None:
    """So many seconds of track."""
    print(compare(track(float(sys.argv[1]), 1)))


if __name__ == "__main__":
    main()
