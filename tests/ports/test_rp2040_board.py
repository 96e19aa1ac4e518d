"""The whole decoder on an emulated RP2040: from the waveform at its pin to motor, lamps, CVs and acknowledgement.

``python -m tests.ports.test_rp2040_board 600`` runs ten minutes of track (600 s); the test here runs a few seconds.
"""

from __future__ import annotations

import random
import subprocess
import sys
from collections.abc import Iterable, Iterator, Sequence
from itertools import accumulate
from pathlib import Path
from typing import Any

import attrs
import pytest
from crccheck.crc import Crc32Mpeg2  # type: ignore[import-untyped]

from halfbit import core
from halfbit.decoder import Acknowledgement, MultiFunctionDecoder
from halfbit.event import Packet
from halfbit.ports import write
from halfbit.receiver import HalvesReceiver
from halfbit.simulate.signal import Timing

from .support_chip import sections, symbols
from .support_motion import ModelMotion, motion
from .support_pio import timer_module
from .support_railway import IDLE, LIMITS, packets
from .support_rp2040 import BOARD, BYTES, CLOCK, Cut, Ran, cvs_in, image, needed, program, run, store_of

MS = 1_000_000
#: The chip's program has started: its clocks run and its CVs are read.
START = 20
#: CV 1 to 256 after the first start, and the table of indexed CVs behind them; version and maker are the program's.
MADE = {cv: 0 for cv in range(1, BYTES + 1)} | {1: 3, 7: 1, 8: 13, 17: 192, 29: 2, 31: 16}
STORE = store_of(MADE)
CVS = {cv: MADE[cv] for cv in range(1, 257)}
#: Records that are not 0, and the room behind them in a sector.
WRITTEN = sum(value > 0 for value in MADE.values())
ROOM = 1_023 - WRITTEN


def started(*bodies: tuple[int, ...], preamble: int = 20) -> list[int]:
    """Idle packets until the program has started, and then these."""
    return packets(*[IDLE] * 8) + packets(*bodies, preamble=preamble)


def faults(ran: Ran) -> int:
    """How many zeros were fed in the place of lost half-bits.

    ``started()`` begins with two counts that are short: what passed before the program; signals here have no others.
    """
    return ran.variable("counts", core.SHORT) - 2


# ---- what needs no emulator


def test_it_fits() -> None:
    """What docs/porting.rst says: less than 9 KiB of flash memory, 18 KiB of RAM."""
    sizes = sections(program().read_bytes())
    assert set(sizes) == {".boot", ".image", ".ring", ".bss"}
    assert 6_000 < sizes[".boot"] + sizes[".image"] < 9_216
    assert sizes[".ring"] == 8_192 and sizes[".image"] + sizes[".ring"] + sizes[".bss"] < 18_432


def test_the_boot_stage_has_its_check() -> None:
    """The boot ROM starts nothing else. By another library; which check it is: from memory of the datasheet."""
    boot = image(program())[:256]
    assert Crc32Mpeg2.calc(boot[:252]) == int.from_bytes(boot[252:], "little")


def test_it_times_with_the_program_that_micropython_uses() -> None:
    module = timer_module()
    words, _ = module.half_bit_timer
    linked = program()
    at, size = symbols(linked.read_bytes())["HALF_BIT_TIMER"]
    held = image(linked)[at - 0x2000_0000 + 256 :][:size]
    assert [int.from_bytes(held[i : i + 2], "little") for i in range(0, size, 2)] == words
    assert f"#define CHIP_TOP (0x{module.COUNT:X}u + {module.AHEAD}u)" in (BOARD / "rp2040_chip.h").read_text()


def test_it_is_built_from_the_written_sources_as_their_head_says(tmp_path: Path) -> None:
    write(tmp_path)
    board = tmp_path / "c" / "boards"
    head = (board / "rp2040.c").read_text().split("*/")[0].replace("\n *     ", " ")
    commands = [line[3:].split() for line in head.splitlines() if line.startswith(" * python -m ziglang")]
    assert len(commands) == 2
    for words in commands:
        subprocess.run([sys.executable, *words[1:]], cwd=board, check=True)
    assert (board / "decoder.bin").read_bytes() == image(program())


# ---- on the emulated chip


@needed
def test_the_first_start_writes_the_makers_cvs() -> None:
    ran = run([packets(*[IDLE] * 40)])
    assert cvs_in(ran.store) == MADE and ran.store == STORE
    again = run([packets(*[IDLE] * 10)], ran.store)
    assert again.operations == 0 and again.store == ran.store


@needed
def test_speed_lamps_and_functions() -> None:
    """37 74 43 is step 6 of 28, forward, for address 55 (worked value of S-9.2); here for address 3."""
    ran = run([started((3, 0x74), (3, 0x91), IDLE, (3, 0x54), (3, 0x82), (3, 0x61))], STORE)
    assert ran.values("motor") == [255 * 5 // 27, 0]
    assert ran.values("direction") == [1, 0, 1]
    assert ran.values("f1") == [1, 0]
    assert ran.values("f2") == [1]
    assert ran.values("front") == [1, 0]  # until it runs in reverse
    assert ran.values("rear") == [1, 0]
    assert ran.variable("lost") == 0 and ran.store == STORE


@needed
def test_momentum_from_pin_to_pwm() -> None:
    """S-9.2.2, CV 3: 2 at 28 steps is 0.064 s a step; CV 4 = 1 is half of that. To reverse, it stops first."""
    idle = packets(*[IDLE] * 40)  # a third of a second
    # Step 3 forward, step 1 in reverse, emergency stop.
    signal = [*started((3, 0x63)), *idle, *packets((3, 0x42)), *idle, *packets((3, 0x41), IDLE)]
    ran = run([signal], store_of(MADE | {2: 10, 3: 2, 4: 1}))
    motor = ran.of("motor")
    assert [value for _, value in motor] == [10, 19, 28, 19, 10, 0, 10, 0]  # 10 + 245 * (step - 1) / 27
    ms = [(now - before) / MS for (before, _), (now, _) in zip(motor, motor[1:])]
    assert all(abs(ms[at] - length) <= 1 for at, length in ((0, 64), (1, 64), (3, 32), (4, 32), (5, 64))), ms
    assert abs(ran.of("direction")[-1][0] - motor[5][0]) <= MS


@needed
def test_levels_from_off_to_full() -> None:
    """128 steps: 126 steps, of which the last is the full level; its pin then has no change at all."""
    ran = run([started(*[(3, 0x3F, 0x80 | code) for code in (2, 64, 127, 0)])], STORE)
    assert ran.values("motor") == [round(255 * 62 / 125), 255, 0]


@needed
@pytest.mark.parametrize(
    "stop", [(3, 0x61), (3, 0x3F, 0x81), (0, 0x71), (0, 0)], ids=["28", "128", "broadcast", "reset"]
)
def test_an_emergency_stop_is_at_once(stop: tuple[int, ...]) -> None:
    """Emergency stop in 28 and 128 steps, broadcast stop with S = 1, and reset (S-9.2 B, S-9.2.1 C)."""
    signal = started((3, 0x7F), IDLE, stop)
    ran = run([signal, packets(IDLE)], STORE)
    (_, full), (when, zero) = ran.of("motor")
    assert (full, zero) == (255, 0)
    assert 0 < when - sum(signal) < 2.5 * MS


SESSION_WRITE = (0x7C, 2, 77)  # CV 3


def session() -> list[int]:
    """Direct mode (S-9.2.3 E): a verify that fails, a write, recovery, a verify that succeeds."""
    reset = (0, 0)
    bodies = [*[reset] * 23, *[(0x74, 2, 76)] * 5, *[reset] * 5, *[SESSION_WRITE] * 11]
    return packets(*bodies, *[reset] * 20, *[(0x74, 2, 77)] * 5, preamble=20)


@needed
@pytest.mark.parametrize("pause", [0, 50 * MS], ids=["", "a pause in it"])
def test_a_programming_session_writes_cvs_and_pulses_for_6_ms(pause: int) -> None:
    """The pulse lasts 6 ms, give or take 1 (S-9.2.3). A pause of the main loop delays it, and does no other harm."""
    ran = run([session()], STORE, pauses=[(sum(session()) // 2, pause)] if pause else [])
    assert len(ran.pulses) == 2 and all(5.9 <= length <= 6.6 for length in ran.pulses), ran.pulses
    assert cvs_in(ran.store) == MADE | {3: 77}
    assert ran.variable("lost") == 0


@needed
@pytest.mark.parametrize(("silence", "pulses"), [(8, 1), (30, 0)])
@pytest.mark.parametrize("pause", [0, 90 * MS], ids=["", "a pause around it"])
def test_service_mode_ends_by_the_time_on_the_track(silence: int, pulses: int, pause: int) -> None:
    """20 ms without its packets end it (S-9.2.3 E): then the second identical packet does nothing. So it must be if the
    main loop sees all of that later and at once."""
    signal = started(*[(0, 0)] * 8, SESSION_WRITE)
    until = sum(signal) - 20 * MS
    signal += [silence * MS, *packets(SESSION_WRITE)]
    ran = run([signal], STORE, pauses=[(until, pause)] if pause else [], after=100 * MS)
    assert len(ran.pulses) == pulses and (cvs_in(ran.store) == MADE) == (pulses == 0)
    assert ran.variable("lost") == 0


@needed
def test_a_pause_of_50_ms_loses_nothing_at_the_densest_signal() -> None:
    """All halves at the shortest a decoder must accept, 52 and 90 us (S-9.1 A, table 1); a pause in every 120 ms."""
    timing = Timing(52_000, 52_000, 90_000, 90_000)
    bodies = [(3, 0x3F, 0x80 | code) for code in range(2, 128)]
    signal = started() + packets(*bodies, preamble=14, timing=timing)
    pauses = [(at * MS, 50 * MS) for at in range(START + 40, sum(signal) // MS, 120)]
    ran = run([signal], STORE, pauses=pauses)
    assert len(pauses) >= 5
    assert ran.variable("lost") == 0 and faults(ran) == 0
    assert ran.variable("counts", core.PACKET) == 126 + 8
    assert ran.values("motor")[-1] == 255


@needed
def test_a_pause_that_is_too_long_is_a_fault_and_no_wrong_packet() -> None:
    """After 300 ms the ring has been written over. What waits is left out, and what follows is right again."""
    codes = [*range(2, 60), *[100] * 10]
    signal = started(*[(3, 0x3F, 0x80 | code) for code in codes])
    ran = run([signal], STORE, pauses=[(150 * MS, 300 * MS)])
    sent = [round(255 * (code - 2) / 125) for code in codes]
    seen = ran.values("motor")
    assert 1_500 < ran.variable("lost") and faults(ran) == 1
    assert is_within(seen, sent) and len(seen) < len(set(sent)) and seen[-1] == sent[-1]


@needed
def test_the_dmas_counter_ends_and_begins_again() -> None:
    """Here after 4096 half-bits, and with a pause at an end: then the hardware drops half-bits, and says so."""
    bodies = [(3, 0x3F, 0x80 | code) for code in range(2, 128)]
    settings = ("-DCHIP_COUNTS=4096u",)
    signal = started(*bodies)
    assert len(signal) > 3 * 4096
    ran = run([signal], STORE, settings=settings)
    assert ran.variable("lost") == 0 and faults(ran) == 0 and ran.variable("counts", core.PACKET) == 126 + 8
    end = list(accumulate(signal))[2 * 4096]
    ran = run([signal], STORE, settings=settings, pauses=[(end - 20 * MS, 50 * MS)])
    assert faults(ran) == 1 and 0 < ran.variable("lost") < 2_000
    seen = ran.values("motor")
    assert is_within(seen, [round(255 * step / 125) for step in range(126)]) and seen[-1] == 255


@needed
@pytest.mark.parametrize("fill", [0, ROOM], ids=["append", "into the other sector"])
def test_power_that_fails_while_a_cv_is_written(fill: int) -> None:
    """After a share of the bits of a write or erase: after the next start the CV has its old value or its new one."""
    begin = store_of(MADE, fill=fill)
    signal = started(*[(3, 0xEC, 2, 77)] * 2, *[IDLE] * (20 if fill else 1))  # CV 3, in operations mode
    whole = run([signal], begin)
    assert cvs_in(whole.store) == MADE | {3: 77}
    assert whole.operations == (1 if fill == 0 else 2 + WRITTEN + 1)
    seen = set()
    for at, share in [(0, 0.5), (4, 0.7), (WRITTEN + 2, 1.0)] if fill else [(0, 0.5), (0, 1.0)]:
        torn = run([signal], begin, cut=Cut(at, share, seed=1 + at))
        assert torn.cut
        after = run([packets(*[IDLE] * 4)], torn.store)
        assert cvs_in(after.store) in (MADE, MADE | {3: 77})
        loaded = after.memory[after.names["cvs"][0] - after.names["clear_start"][0] :][:BYTES]
        assert dict(enumerate(loaded, 1)) == cvs_in(torn.store)
        seen.add(loaded[2])
    assert seen == {0, 77}


@needed
def test_an_indexed_cv_over_power_on() -> None:
    """S-9.2.2, CV 31 and 32: CV 260 on page 17, 5 is another one than on page 17, 6. It is verified after a start."""
    values = ((31, 17), (32, 5), (260, 99))
    write = [body for cv, value in values for body in [(3, 0xEC | cv - 1 >> 8, cv - 1 & 255, value)] * 2]
    first = run([started(*write, IDLE)], STORE)
    kept = cvs_in(first.store)
    assert [kept[cv] for cv in (31, 32)] == [17, 5] and [kept[cv] for cv in range(257, 262)] == [17, 5, 3, 99, 0]
    resets = [(0, 0)] * 4
    for page, pulses in ((5, 1), (6, 0)):
        session = [*resets, *[(0x7C, 31, page)] * 5, *resets, *[(0x75, 3, 99)] * 5, *resets]
        again = run([started(*session)], first.store)
        assert len(again.pulses) == 1 + pulses  # the write of CV 32, and the verify


# ---- seconds, minutes or hours of track

PINS = ("direction", "front", "rear", "f1", "f2")


def is_within(some: Sequence[int], all_of_them: Sequence[int]) -> bool:
    """True if ``some`` are among the others, in the same order."""
    rest = iter(all_of_them)
    return all(one in rest for one in some)


def track(seconds: float, seed: int) -> Iterator[list[int]]:
    """Track of an invented railway, in pieces: speeds, functions, others' packets, CV writes, damage, service mode."""
    rng = random.Random(seed)
    time = 0
    yield packets(*[IDLE] * 8)
    while time < seconds * 1e9:
        cv, value = rng.choice((2, 5, 6, 9, 10)), rng.randrange(256)  # no momentum: what comes is seen at once
        body = rng.choice((
            IDLE, (3, 0x3F, rng.randrange(256)), (3, 0x40 | rng.randrange(64)), (3, 0x80 | rng.randrange(32)),
            (3, 0x61), (9, 0x3F, rng.randrange(256)), (0, 0), (3, 0xEC, cv - 1, value), (3, 0x12, rng.choice((0, 9))),
        ))  # fmt: skip
        piece = packets(*[body] * rng.choice((1, 1, 2, 3)), preamble=rng.choice((14, 16, 20)))
        if rng.random() < 0.01:
            writes = [(0x7C, cv - 1, value)] * rng.choice((5, 11))
            verifies = [(0x74, cv - 1, value)] * 5
            piece = packets(*[(0, 0)] * 23, *writes, *[(0, 0)] * 9, *verifies, *[(0, 0)] * 3, preamble=20)
            piece += packets(IDLE, IDLE)
        piece = [d + rng.randint(-1_000, 1_000) for d in piece]
        if rng.random() < 0.2:
            piece[rng.randrange(len(piece))] = rng.choice((20_000, 77_000, 130_000, 12_000_000))
        if rng.random() < 0.01:
            piece.append(50_000_000)
        yield piece
        time += sum(piece)
    yield packets(*[IDLE] * 4)


def stops(seconds: float, seed: int) -> list[tuple[int, int]]:
    """Pauses of the main loop, 50 ms each, now and then."""
    rng = random.Random(seed)
    times = accumulate(rng.randrange(500, 4_000) for _ in range(int(seconds)))
    return [(at * MS, 50 * MS) for at in times if at < seconds * 1_000]


@attrs.define
class Judge:
    """The Python model on the same signal through the library, a tick off at the windows; what its outputs do."""

    model: MultiFunctionDecoder = attrs.field(factory=lambda: MultiFunctionDecoder(CVS, defaults={29: 2}))
    half_bits: int = 0
    pulses: int = 0
    packets: int = 0
    _motion: Any = attrs.field(factory=lambda: motion.Motion())
    shown: dict[str, list[int]] = attrs.field(factory=lambda: {name: [0] for name in ("motor", *PINS)})

    def follow(self, pieces: Iterable[list[int]]) -> Iterator[list[int]]:
        """Take pieces, and give them on."""
        receiver = HalvesReceiver(LIMITS)
        for piece in pieces:
            self.half_bits += len(piece)
            for event in receiver.feed_many(piece, 1):
                if isinstance(event, Packet):
                    self._take(event)
            yield piece

    def _take(self, packet: Packet) -> None:
        model = self.model
        self.packets += 1
        self.pulses += sum(isinstance(effect, Acknowledgement) for effect in model.feed(packet))
        lit, forward = model.function(0), model.forward
        now: dict[str, int] = {"front": lit and forward, "rear": lit and not forward}
        now |= {"f1": model.function(1), "f2": model.function(2)}
        now["motor"] = self._motion.tick(ModelMotion(model), packet.end // MS)
        now["direction"] = self._motion.forward
        for name, value in now.items():
            if self.shown[name][-1] != value:
                self.shown[name].append(int(value))


def compare(seconds: float, seed: int, gcc: bool = False) -> str:
    """Run chip and model on a track; returns a line with the counts.

    :raises AssertionError: if they differ, or the chip lost half-bits.
    """
    judge = Judge()
    pauses = stops(seconds, seed)
    ran = run(judge.follow(track(seconds, seed)), STORE, pauses=pauses, after=200 * MS, gcc=gcc)
    assert ran.variable("lost") == 0
    assert ran.variable("counts", core.PACKET) == judge.packets
    assert ran.values("f1") == judge.shown["f1"][1:] and ran.values("f2") == judge.shown["f2"][1:]
    # Of what comes at once after a pause, these show the last.
    for name in ("motor", "direction", "front", "rear"):
        seen, expected = [0, *ran.values(name)], judge.shown[name]
        assert is_within(seen, expected) and seen[-1] == expected[-1] and len(seen) > 0.9 * len(expected) - 2, name
    levels = ran.values("motor")
    assert len(ran.pulses) == judge.pulses and all(5.9 <= length <= 6.6 for length in ran.pulses)
    assert cvs_in(ran.store) == MADE | {cv: judge.model.cvs[cv] for cv in range(1, 257)}
    return (
        f"{ran.seconds:.0f} s of track, {judge.half_bits} half-bits in {len(pauses)} pauses of 50 ms and between them, "
        f"no half-bit lost; {judge.packets} packets, {len(levels)} changes of the motor, {len(ran.pulses)} pulses, "
        f"{ran.operations} writes and erases: all as the model's. The processor was awake "
        f"{100 * ran.cycles / CLOCK / ran.seconds:.1f} % of the time; the emulator took {ran.took:.0f} s"
    )


@needed
def test_some_seconds_of_track() -> None:
    assert "no half-bit lost" in compare(4, 5)


def main() -> None:
    """Run the track for the seconds given on the command line."""
    print(compare(float(sys.argv[1]), 1))


if __name__ == "__main__":
    main()
