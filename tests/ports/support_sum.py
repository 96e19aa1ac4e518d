"""The decision by sum in the ports' tests: its C, the library's core in a port's ticks, and signals seen late."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Iterable, Sequence
from pathlib import Path

import attrs

from halfbit import core, core_sum, core_sum_lengths

from .support_build import C, SOURCES, STRICT, ZIG, build
from .support_chip import Program
from .support_late import late_signal

__all__ = [
    "LATE", "SUM_SOURCES", "CSum", "core_sums", "late_signal", "mark_of", "marks", "numbers_of", "rounded", "sum_timer"
]  # fmt: skip

SUM_SOURCES = (*SOURCES, C / "halfbit_sum.c", C / "halfbit_sum_lengths.c")
NUMBERS = Path(__file__).with_name("sum_numbers.c")
#: HALFBIT_SUM_LATE as it comes, us.
LATE = 40


def core_sums(
    per_us: int = 1, us: int = 1, *, late: int = LATE, recent: int = core_sum.BLOCK, packet_max: int = 15
) -> core_sum.Sums:
    """The core with the limits of halfbit_sum.h, for a timer with ``per_us`` ticks in ``us`` us.

    :param late: us.
    """

    def low(time: int) -> int:
        return -(-time * per_us // us)

    def high(time: int) -> int:
        return time * per_us // us

    scale = 16 * us // per_us
    most = high(late)
    learner = core_sum_lengths.Learner(
        [0] * recent, low(52) - most // 2, high(77), most, scale
    )
    first, second = (core.Packets(core_sum.NEVER, 10, 3, packet_max) for _ in range(2))
    return core_sum.Sums(first, second, learner, high(10_000) + most)


def sum_timer(per_us: int = 1, us: int = 1, *, late: int = LATE, recent: int = core_sum.BLOCK) -> tuple[str, ...]:
    """The compiler's flags for the same."""
    settings = {"TIMER_TICKS": per_us, "TIMER_US": us, "SUM_RECENT": recent}
    flags = [f"-DHALFBIT_{name}={value}" for name, value in settings.items()]
    return (*flags, f"-DHALFBIT_SUM_LATE=HALFBIT_TO_US({late})")


def mark_of(data: bytes, preamble: int) -> int:
    """A packet as a number from 64 to 127."""
    return (sum((at + 1) * byte for at, byte in enumerate(data)) + preamble) & 63 | 64


def marks(machine: core_sum.Sums, durations: Iterable[int]) -> bytes:
    """The core's answers: 0, or a packet's mark."""
    feed = machine.feed
    return bytes(
        mark_of(bytes(machine.data[: machine.length]), machine.preamble) if feed(duration) else 0
        for duration in durations
    )


def numbers_of(machine: core_sum.Sums) -> list[int]:
    """What the core remembers, as sum_numbers.c has it."""
    lengths = machine.lengths
    one, zero = lengths.one, lengths.zero
    numbers = [
        machine.due, machine.known, machine.behind, machine.at, machine.count, machine.blocks, machine.patience,
        machine.balance,
    ]  # fmt: skip
    if machine.known:
        numbers += [one.value, one.rest, one.seen, one.gain, zero.value, zero.rest, zero.seen, zero.gain]
        numbers += [lengths.shorter, lengths.stretching]
    for lane in machine.lanes:
        bounds = lane.boundaries
        numbers += [bounds.low, bounds.high, bounds.strain, lane.own, lane.others, lane.past, lane.proof]
        numbers += [bounds.teaches, lane.held]
    return [int(number) for number in numbers]


@functools.cache
def _library(settings: tuple[str, ...]) -> ctypes.CDLL:
    flags = (*STRICT, "-O2", "-shared", "-fPIC", *settings)
    loaded = ctypes.CDLL(str(build(ZIG, flags, (*SUM_SOURCES, NUMBERS), suffix=".so")))
    pointer = ctypes.c_void_p
    loaded.sum_size.restype = ctypes.c_uint32
    loaded.halfbit_sum_init.argtypes = [pointer]
    loaded.halfbit_sum_feed.argtypes = [pointer, ctypes.c_uint32]
    loaded.halfbit_sum_feed.restype = ctypes.c_uint8
    loaded.sum_numbers.argtypes = [pointer, pointer]
    loaded.sum_numbers.restype = ctypes.c_uint32
    loaded.sum_packet.argtypes = [pointer, pointer]
    loaded.sum_packet.restype = ctypes.c_uint8
    return loaded


class CSum:
    """The port's receiver by sum, in memory filled with rubbish, between guards that must stay as they are."""

    GUARD = b"\xa5" * 16

    def __init__(self, settings: tuple[str, ...] = ()) -> None:
        self._library = _library(settings)
        self.size: int = self._library.sum_size()
        self._memory = ctypes.create_string_buffer(self.GUARD + b"\xee" * self.size + self.GUARD)
        self._at = ctypes.addressof(self._memory) + len(self.GUARD)
        self._numbers = (ctypes.c_int32 * 64)()
        self._packet = ctypes.create_string_buffer(256)
        self._library.halfbit_sum_init(self._at)

    def feed(self, duration: int) -> int:
        """The port's answer to a duration."""
        answer: int = self._library.halfbit_sum_feed(self._at, duration)
        return answer

    @property
    def packet(self) -> tuple[int, bytes]:
        """The preamble and the bytes of the packet that was given."""
        length = self._library.sum_packet(self._at, self._packet)
        return self._packet.raw[0], self._packet.raw[1 : length + 1]

    @property
    def numbers(self) -> list[int]:
        """What it remembers."""
        return list(self._numbers[: self._library.sum_numbers(self._at, self._numbers)])

    @property
    def unharmed(self) -> bool:
        """True if it has kept to its own memory."""
        raw = self._memory.raw
        return raw.startswith(self.GUARD) and raw[len(self.GUARD) + self.size :].startswith(self.GUARD)


def rounded(durations: Sequence[int], per_us: int, us: int) -> list[int]:
    """Durations of us in a port's ticks, with some fractions of a us."""
    most, part = 2**32 - 1, -(-per_us // us)
    return [min(duration * per_us // us + at * 7 % part, most) for at, duration in enumerate(durations)]


HERE = Path(__file__).parent
#: On emulated chips. With ``feed`` as a board calls it, or with marks for packets.
SUM = Program(SUM_SOURCES, "halfbit_sum_init", "halfbit_sum_feed", "sum_feed_all", HERE / "sum_feed_all.c")
MARKED = attrs.evolve(SUM, sources=(*SUM_SOURCES, HERE / "sum_feed_all.c"), feed="sum_feed_mark")
