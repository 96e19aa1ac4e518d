"""Cases for the decision by sum: what a loop of 40 us sees, or a slow isolator. The limits are for_sampling_period(40).

Nothing may rest on nominal lengths (S-9.1 A, table 1: a station's ones of 55 to 61 us, zeros from 95 us, whose halves
may differ), so what is sent must come from every sound station.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence

from halfbit.simulate.signal import with_error_byte
from tests.vectors.case_spec import ANYTHING, A, B, CaseSpec

__all__ = ["sum_cases"]

#: S-9.2 B. Half a bit later the idle packet reads as 7F 00 7F, a reset to address 127.
IDLE, RESET = bytes.fromhex("FF00FF"), bytes(3)
LONG = with_error_byte(bytes((0xC4, 0x57, 0x3F, 0x90)))
STATION = "S-9.1 A, table 1 (station's column)"

#: Halves of ones and of zeros, us.
STATIONS = (
    (58, (100, 100)), (55, (95, 95)), (61, (95, 95)), (55, (120, 120)), (61, (120, 120)), (58, (106, 106)),
    (58, (95, 120)), (57, (116, 98)),
)  # fmt: skip

#: What follows a packet that is torn.
AFTER = (A, IDLE, B, LONG)

Halves = list[int]


def sent(
    packets: Sequence[bytes], one: int = 58, zero: tuple[int, int] = (100, 100), *, preamble: int = 14,
    stretched: int = 0, more: tuple[int, int] = (300, 0),
) -> Halves:  # fmt: skip
    """Packets as halves, us.

    :param stretched: every such zero is stretched by ``more`` us; 0 for none.
    """
    halves: Halves = []
    zeros = 0
    for packet in packets:
        for bit in "1" * preamble + "".join(f"0{byte:08b}" for byte in packet) + "1":
            if bit == "1":
                halves += (one, one)
                continue
            zeros += 1
            long = stretched and zeros % stretched == 0
            halves += (zero[0] + more[0], zero[1] + more[1]) if long else zero
    return halves


def seen(halves: Sequence[int], period: int, seed: int) -> Halves:
    """The durations of a loop that sees each change up to ``period`` us late."""
    rng = random.Random(seed)
    time = before = 0
    out = []
    for half in (*halves, 58):
        now = time + int(rng.random() * (period + 1))
        out.append(now - before)
        before = now
        time += half
    return out[1:]


#: One preamble more ends the last packet.
END = sent([], 58) + [58] * 30


def _stations() -> Iterator[CaseSpec]:
    packets = (A, IDLE, B, LONG, RESET, IDLE, A)
    for index, (one, zero) in enumerate(STATIONS):
        for period in (0, 20, 40) if zero[0] == zero[1] else (20, 40):
            gives: tuple[bytes | str, ...] = packets
            if (one, zero, period) == (58, (100, 100), 40):
                gives = (*packets[:5], "UNCLEAR", packets[6])  # its lengths are not exact yet
            yield CaseSpec(
                f"sum-station-{one}-{zero[0]}-{zero[1]}-loop-{period}", "lengths are learned", STATION,
                f"ones of {one} us, zeros of {zero[0]} + {zero[1]} us, seen up to {period} us late",
                seen(sent(packets, one, zero) + [one] * 28, period, index), gives,
            )  # fmt: skip
    yield CaseSpec(
        "sum-unclear", "the phase is proved", "S-9.1 A, table 1",
        "zeros of 95 + 120 us without any lateness: a lateness of 40 us could explain either phase",
        sent(packets, 58, (95, 120)) + [58] * 28, ("UNCLEAR",),
    )  # fmt: skip
    for name, packet in (("idle", IDLE), ("reset", RESET), ("ones", with_error_byte(b"\xff\xff"))):
        packets = (packet,) * 7
        for lead in (0, 1):
            for period in (0, 30):
                yield CaseSpec(
                    f"sum-{name}-lead-{lead}-loop-{period}", "the phase is proved", "S-9.2 A",
                    f"the same packet again and again; {lead} halves before it; up to {period} us late",
                    [58] * lead + seen(sent(packets) + END, period, 5), packets,
                )  # fmt: skip


def _stretched() -> Iterator[CaseSpec]:
    packets = (A, IDLE, B, LONG, RESET, A, B, IDLE, A)
    for every in (1, 2, 10):
        for more in ((300, 0), (0, 300), (200, 200), (60, 60), (9000, 5000)):
            if every == 1 and more == (60, 60):
                continue  # a station whose zeros last 160 us: that is not a stretched 100
            for period in (0, 30):
                yield CaseSpec(
                    f"sum-stretched-{every}-{more[0]}-{more[1]}-loop-{period}", "stretched zeros", "S-9.1 A, table 1",
                    f"one zero in {every} is longer by {more[0]} + {more[1]} us; seen up to {period} us late",
                    seen(sent(packets, stretched=every, more=more) + END, period, every), (ANYTHING, A, B, IDLE, A),
                )  # fmt: skip


def _torn() -> Iterator[CaseSpec]:
    before, after = (A, IDLE, B, A), (B, A, IDLE, LONG)
    tears: tuple[tuple[str, int, Callable[[Halves], Halves]], ...] = (
        ("lost", 51, lambda halves: [halves[0] + halves[1]]),
        ("added", 51, lambda halves: [halves[0] // 2, halves[0] - halves[0] // 2, halves[1]]),
        ("spike", 51, lambda halves: [halves[0] // 2, 2, halves[0] - halves[0] // 2 - 2, halves[1]]),
        ("late", 51, lambda halves: [halves[0] + 50, halves[1] - 50]),
        ("short", 51, lambda halves: [halves[0] - 50, halves[1]]),
        ("lost-in-preamble", 10, lambda halves: [halves[0] + halves[1]]),
        ("count-0", 51, lambda halves: [halves[0], 0, halves[1]]),
        ("cutout", 2, lambda halves: [halves[0], 440, halves[1]]),
        ("silence", 2, lambda halves: [halves[0], 60_000, halves[1]]),
    )
    for name, at, new in tears:
        torn = sent((LONG,))
        torn[at : at + 2] = new(torn[at : at + 2])
        for period in (0, 25):
            whole = seen(sent(before), period, 1) + torn + seen(sent(after) + END, period, 2)
            # Exact times that could be 40 us late may fit both phases, once the phase is swapped. Then all is lost.
            unsure = name in ("lost", "lost-in-preamble", "late") and not period
            yield CaseSpec(
                f"sum-torn-{name}-loop-{period}", "a tear swaps the phase", "common practice, no source",
                f"in the fifth packet: {name}", whole, (*before, ANYTHING, *(() if unsure else after[1:])),
            )  # fmt: skip


def _bounds() -> Iterator[CaseSpec]:
    for half, good in ((10_040, True), (10_041, False)):
        for last in (0, 1):
            torn = sent((B,))
            torn[2 * 14 + last] = half
            fifth: bytes | str = B if good else "LONG"
            gives: tuple[bytes | str, ...] = (A, IDLE, A, IDLE, fifth, *AFTER)
            yield CaseSpec(
                f"sum-half-{half}-{last}", "longest half", "S-9.1 A, table 1",
                f"a start bit with a half of {half} us", sent((A, IDLE, A, IDLE)) + torn + sent(AFTER) + END, gives,
            )  # fmt: skip
    for whole in (63, 64, 80):
        torn = sent((B,))
        torn[2 * 14 + 2 * 10 : 2 * 14 + 2 * 10 + 2] = [whole // 2, whole - whole // 2]
        yield CaseSpec(
            f"sum-bit-of-{whole}", "shortest bit", "S-9.1 A, table 1",
            f"a bit that lasts {whole} us", sent((A, IDLE, A, IDLE)) + torn + sent(AFTER) + END,
            (A, IDLE, A, IDLE, ANYTHING, *AFTER[1:]),
        )  # fmt: skip
    for off in (-48, *range(-36, 50, 6), -22, -20, 20, 22, 40, 41, 43, 44):
        for place in (30, 34, 60):  # zeros, and ones of B = 09 91 98. From -42 us on either phase explains exact times.
            torn = sent((B,))
            torn[place] += off
            yield CaseSpec(
                f"sum-bit-{place}-off-{off}", "strain", "common practice, no source",
                f"a bit of the fifth packet lasts {off} us more", sent((A, IDLE, A, IDLE)) + torn + sent(AFTER) + END,
                (A, IDLE, A, IDLE, ANYTHING, *(() if (place, off) == (60, -48) else AFTER[1:])),
            )  # fmt: skip
    for count in (9, 10, 12, 300):
        yield CaseSpec(
            f"sum-preamble-{count}", "preamble length", "S-9.2 A", f"{count} one-bits before a packet",
            sent((A, IDLE, A, IDLE)) + sent((B,), preamble=count) + sent((A,), preamble=count) + END,
            (A, IDLE, A, IDLE, B, A),  # with the end bit before there are ten
        )  # fmt: skip
    for length in (2, 3, 15, 16):
        packet = with_error_byte(bytes(range(1, length)))
        gives = (A, IDLE, A, IDLE, packet if 2 < length < 16 else ANYTHING, A)
        yield CaseSpec(
            f"sum-length-{length}", "packet lengths", "S-9.2 A, S-9.2.1", f"a packet of {length} bytes",
            seen(sent((A, IDLE, A, IDLE, packet, A, LONG)) + END, 25, 1), (*gives, LONG),
        )  # fmt: skip
    wrong = bytes((3, 0x3F, 0xAB))
    yield CaseSpec(
        "sum-error-byte", "error detection byte", "S-9.2 A", "an error detection byte that is wrong",
        seen(sent((A, IDLE, A, IDLE, wrong + b"\0", A, LONG)) + END, 25, 1), (A, IDLE, A, IDLE, ANYTHING, A, LONG),
    )  # fmt: skip


def _learning() -> Iterator[CaseSpec]:
    rng = random.Random(8)
    noise = [int(5 + rng.random() * 245) for _ in range(700)]
    packets = (A, IDLE, B, LONG) * 5
    yield CaseSpec(
        # Lengths learned from noise once gave 7F 00 7F here, by strain that noise had left.
        "sum-noise-first", "lengths are learned", STATION, "700 durations of noise, then a station",
        noise + seen(sent(packets, 56, (112, 112)) + END, 20, 1), (ANYTHING, *packets[1:]),
    )  # fmt: skip
    yield CaseSpec(
        "sum-noise-alone", "lengths are learned", STATION, "2,000 durations of noise",
        [int(5 + rng.random() * 245) for _ in range(2000)], (ANYTHING,),
    )  # fmt: skip
    yield CaseSpec(
        "sum-one-bits-first", "lengths are learned", STATION, "1,000 one-halves, then a station",
        [61] * 1000 + sent(packets[:8], 61, (110, 110)) + END, (ANYTHING, *packets[4:8]),
    )  # fmt: skip
    # Longer bits are learned slowly: for a while every other packet is not clear, and is lost.
    for first, last, tail in (
        ((55, (95, 95)), (61, (120, 120)), (A, ANYTHING)),
        ((61, (120, 120)), (55, (95, 95)), packets[-4:]),
    ):
        yield CaseSpec(
            f"sum-from-{first[0]}-to-{last[0]}", "lengths are learned again", STATION,
            "another station: its bits are longer or shorter",
            seen(sent(packets[:8], *first) + sent(packets * 3, *last) + END, 10, 1), (ANYTHING, *tail),
        )  # fmt: skip
    slow = []
    for index in range(24):
        slow += sent((packets[index % 4],), 55 + index // 4, (95 + index, 95 + index))
    yield CaseSpec(
        "sum-drift", "lengths are corrected", STATION, "a station whose bits get longer",
        seen(slow + END, 10, 3), (ANYTHING, *packets[:4]),
    )  # fmt: skip


def _long() -> Iterator[CaseSpec]:
    packets = (A, IDLE, B, LONG)
    slow: Halves = []
    slower: Halves = []
    for index in range(72):
        slow += sent((packets[index % 4],), 55 + index // 12, (95 + index // 4, 95 + index // 3))
    yield CaseSpec(
        "sum-slow-drift", "lengths are corrected", STATION, "bits get longer, over a thousand bits of each kind",
        seen(slow + END, 35, 4), (ANYTHING, *packets),
    )  # fmt: skip
    for index in range(110):
        slower += sent((packets[index % 4],), 55 + index * 6 // 110, (95 + index * 25 // 110, 95 + index * 25 // 110))
    yield CaseSpec(
        "sum-slower-drift", "lengths are corrected", STATION, "bits get longer, over 110 packets",
        seen(slower + END, 38, 0), (ANYTHING, A, IDLE),
    )  # fmt: skip
    rng = random.Random(9)
    noise = [int(5 + rng.random() * 245) for _ in range(8_000)]
    yield CaseSpec(
        "sum-long-noise", "lengths are learned again", STATION, "8,000 durations of noise, then a station",
        noise + seen(sent(packets * 12, 61, (120, 120)) + END, 20, 1), (ANYTHING, *packets),
    )  # fmt: skip


def _patience() -> Iterator[CaseSpec]:
    """Lengths are learned again after 4 blocks of 240 durations without a packet, then after 8, 16, 16 and so on."""
    packets = (A, IDLE, B, LONG)
    for blocks, more in ((2, 4), (6, 8), (14, 17), (30, 18)):
        rng = random.Random(blocks)
        noise = [int(5 + rng.random() * 245) for _ in range(240 * blocks)]
        other = seen(sent(packets * 12, 55, (95, 95)), 10, 1)[: 240 * more + 100]
        yield CaseSpec(
            f"sum-noise-{blocks}-blocks", "lengths are learned again", STATION,
            f"a station, {240 * blocks} durations of noise, then another station until its lengths are learned",
            seen(sent(packets[:3], 61, (124, 124)), 10, 1) + noise + other, (*packets[:3], ANYTHING, A, ANYTHING),
        )  # fmt: skip


def _held() -> Iterator[CaseSpec]:
    for ones, given in ((300, True), (458, True), (459, False), (600, False)):
        for lead in (0, 1):
            words = "is given with the next one" if given else "is lost: it was held for more than 500 bits"
            held = [58] * lead + sent((A,), 58, (97, 118))
            yield CaseSpec(
                f"sum-held-{ones}-lead-{lead}", "a packet is held", "common practice, no source",
                f"the phase of the first packet is not clear; {ones} one-bits, and it {words}",
                held + [58] * (2 * ones) + sent((B, A)) + END, (*((A,) if given else ("UNCLEAR",)), B, ANYTHING),
            )  # fmt: skip


def sum_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    return (*_stations(), *_stretched(), *_torn(), *_bounds(), *_learning(), *_long(), *_patience(), *_held())
