"""Runs the C port on a small chip's own instruction set, instruction by instruction, in PyPI's unicorn."""

from __future__ import annotations

import struct
from array import array
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import attrs
import unicorn
from unicorn import arm_const, riscv_const

from halfbit import core

from .support_build import ARM_GCC, ARM_GCC_CHIP, SOURCES, STRICT, ZIG, build, core_receiver, ticks

__all__ = [
    "CORTEX_M0", "CORTEX_M0_GCC", "RV32", "RECEIVER", "Chip", "Core", "Cost", "Program", "measure", "sections", "segments",
    "symbols",
]  # fmt: skip

STATE, STACK, END = 0x8_0000, 0x9_0000, 0xF_0000
INPUT, OUTPUT, BLOCK = 0x10_0000, 0x80_0000, 1 << 20
FEED_ALL = Path(__file__).with_name("feed_all.c")
RUBBISH = b"\xee" * 256


@attrs.define
class Cost:
    """What some signal cost: instructions for one half-bit, in all and at worst."""

    feeds: int = 0
    instructions: int = 0
    worst: int = 0
    #: What the core answered where it was worst.
    worst_at: str = ""
    #: The same for each kind of feed: how many, instructions in all, at worst.
    kinds: dict[str, tuple[int, int, int]] = attrs.field(factory=dict)
    #: Bytes of stack at the deepest.
    stack: int = 0
    #: Cycles in all and at worst, where they are counted.
    cycles: int = 0
    worst_cycles: int = 0

    @property
    def average(self) -> float:
        """Instructions for one half-bit."""
        return self.instructions / self.feeds


def _cycles(code: int) -> tuple[int, int]:
    """Cycles of an instruction of a Cortex-M0+ by its first 16 bits: if it goes straight on, and if it jumps.

    From the processor's technical reference manual (from memory), memory without wait states.
    """
    top = code >> 12
    if 5 <= top <= 9 or code >> 11 == 0b01001:
        return 2, 2  # a load or a store
    if code >> 9 == 0b1011010:
        return 1 + (code & 0x1FF).bit_count(), 0
    if code >> 9 == 0b1011110:
        return 1 + (code & 0xFF).bit_count(), 3 + (code & 0x1FF).bit_count()
    if top == 0b1100:
        return 1 + (code & 0xFF).bit_count(), 0
    return 1, 3 if code >> 11 == 0b11110 else 2


def _headers(image: bytes) -> list[tuple[int, ...]]:
    """A linked program's sections (ELF, 32 bits, little end first)."""
    (start,) = struct.unpack_from("<I", image, 32)
    (total,) = struct.unpack_from("<H", image, 48)
    return [struct.unpack_from("<10I", image, start + 40 * index) for index in range(total)]


def _text(image: bytes, start: int) -> str:
    return image[start : image.index(b"\0", start)].decode()


def sections(image: bytes) -> dict[str, int]:
    """The sections of a linked program that take room on the chip: name to bytes."""
    headers = _headers(image)
    (names,) = struct.unpack_from("<H", image, 50)
    return {_text(image, headers[names][4] + header[0]): header[5] for header in headers if header[2] & 2}


def segments(image: bytes) -> Iterator[tuple[int, int, bytes]]:
    """What of a linked program is loaded: the address where it runs, the one where it is stored, and the bytes."""
    (programs,) = struct.unpack_from("<I", image, 28)
    (count,) = struct.unpack_from("<H", image, 44)
    for index in range(count):
        kind, offset, address, stored, size = struct.unpack_from("<5I", image, programs + 32 * index)
        if kind == 1:
            yield address, stored, image[offset : offset + size]


def symbols(image: bytes) -> dict[str, tuple[int, int]]:
    """Every symbol of a linked program: address and bytes."""
    headers = _headers(image)
    found = {}
    for _, kind, _, _, offset, size, link, *_ in headers:
        if kind == 2:
            for at in range(offset, offset + size, 16):
                symbol, value, length = struct.unpack_from("<III", image, at)
                found[_text(image, headers[link][4] + symbol)] = value, length
    return found


@attrs.frozen
class Core:
    """A processor core: how to compile for it, and the names the emulator has for it."""

    name: str
    target: tuple[str, ...]
    machine: tuple[int, int]
    #: Registers: stack, return address, the first four arguments; the first is also what a function gives.
    stack: int
    back: int
    arguments: tuple[int, int, int, int]
    #: Added to an address to be jumped to.
    mark: int
    compiler: tuple[str, ...] = ZIG
    libraries: tuple[str, ...] = ()

    def length(self, low: int) -> int:
        """Bytes of an instruction, from the lower eight bits (RISC-V) or the upper ones (Arm) of its first half."""
        if self.mark:
            return 4 if low >> 3 >= 0b11101 else 2
        return 4 if low & 3 == 3 else 2

    def lowers_stack(self, code: int) -> bool:
        """True if an instruction of compiled C may lower the stack pointer, by its first 16 bits (from memory).

        RISC-V: all that may write register 2. Arm: a push, a sum with a constant, or with register 13 as destination.
        """
        if not self.mark:
            return code >> 7 & 31 == 2
        to_13 = code >> 10 == 0b010001 and (code >> 4 & 8 | code & 7) == 13
        return code >> 9 == 0b1011010 or code >> 8 == 0b10110000 or to_13


@attrs.frozen
class Program:
    """What runs on a chip: its sources, and the names of its functions."""

    sources: tuple[Path, ...]
    init: str
    feed: str
    #: Feeds many durations, and the file that has it.
    feed_all: str
    many: Path


RECEIVER = Program(SOURCES, "halfbit_receiver_init", "halfbit_receiver_feed", "feed_all", FEED_ALL)

_u: Any = unicorn  # it has no types
_FREE = ("-ffreestanding", "-nostdlib", "-fno-unwind-tables", "-fno-asynchronous-unwind-tables", "-g")
CORTEX_M0 = Core(
    "Cortex-M0+", ("-target", "thumb-freestanding-eabi", "-mcpu=cortex_m0plus", *_FREE),
    (_u.UC_ARCH_ARM, _u.UC_MODE_THUMB | _u.UC_MODE_MCLASS), arm_const.UC_ARM_REG_SP, arm_const.UC_ARM_REG_LR,
    (arm_const.UC_ARM_REG_R0, arm_const.UC_ARM_REG_R1, arm_const.UC_ARM_REG_R2, arm_const.UC_ARM_REG_R3), 1,
)  # fmt: skip
CORTEX_M0_GCC = attrs.evolve(CORTEX_M0, compiler=ARM_GCC, target=ARM_GCC_CHIP, libraries=("-lgcc",))
#: With the multiplication and the short instructions that most small chips of this kind have.
RV32 = Core(
    "RV32IMC", ("-target", "riscv32-freestanding-none", "-mcpu=generic_rv32+m+c", *_FREE),
    (_u.UC_ARCH_RISCV, _u.UC_MODE_RISCV32), riscv_const.UC_RISCV_REG_SP, riscv_const.UC_RISCV_REG_RA,
    (riscv_const.UC_RISCV_REG_A0, riscv_const.UC_RISCV_REG_A1, riscv_const.UC_RISCV_REG_A2, riscv_const.UC_RISCV_REG_A3), 0,
)  # fmt: skip


class Chip:
    """A small chip with the port in its memory.

    :param optimise: the compiler's flag.
    :param singly: counts each instruction as it runs, instead of those of each stretch without a branch
        when it is entered: slower, and the same.
    :param core: what it is.
    :param settings: flags that set limits.
    :param program: what it runs.
    """

    def __init__(
        self, optimise: str = "-Os", *, singly: bool = False, core: Core = CORTEX_M0, settings: tuple[str, ...] = (),
        counted: bool = True, program: Program = RECEIVER,
    ) -> None:  # fmt: skip
        entry = program.feed if counted else program.feed_all
        flags = (*STRICT, *core.target, optimise, f"-Wl,-e,{entry}", "-Wl,--build-id=none", *settings)
        sources = program.sources if counted else (*program.sources, program.many)
        image = build(core.compiler, flags, sources, suffix=".elf", after=core.libraries).read_bytes()
        self.core = core
        self.program = program
        self._unicorn = _u.Uc(*core.machine)
        self._unicorn.mem_map(0, 1 << 24)
        sizes = sections(image)
        #: Bytes of code and constants.
        self.code = sizes[".text"] + sizes[".rodata"]
        self._symbols = symbols(image)
        for address, _, content in segments(image):
            self._unicorn.mem_write(address, content)
        self._count = 0
        #: Cycles of the last call, for a Cortex-M0+.
        self.cycles = 0
        #: Of the instruction before: where the next one stands, its cycles if that comes next, and if not.
        self._last = (0, 0, 0)
        self._deepest = STACK
        self._lowered = False  # the stretch before may have lowered the stack pointer
        self._stretches: dict[tuple[int, int], tuple[int, int, tuple[int, int, int], bool]] = {}
        if counted and singly:
            self._unicorn.hook_add(_u.UC_HOOK_CODE, self._step)
        elif counted:
            self._unicorn.hook_add(_u.UC_HOOK_BLOCK, self._enter)
        self._unicorn.mem_write(STATE, RUBBISH)
        self.call(self.program.init)

    def _step(self, _: Any, address: int, size: int, *__: Any) -> None:
        self._count += 1
        if self.core.mark:
            self.cycles += self._last[1] if address == self._last[0] else self._last[2]
            code = int.from_bytes(self._unicorn.mem_read(address, 2), "little")
            self._last = (address + size, *_cycles(code))
        self._deepest = min(self._deepest, self._unicorn.reg_read(self.core.stack))

    def _enter(self, _: Any, address: int, size: int, *__: Any) -> None:
        stretch = self._stretches.get((address, size))
        if stretch is None:
            stretch = self._stretches[address, size] = self._stretch(address, size)
        count, cycles, last, lowers = stretch
        self._count += count
        self.cycles += cycles + (self._last[1] if address == self._last[0] else self._last[2])
        self._last = last
        if self._lowered:  # reading it takes as long as all the rest
            self._deepest = min(self._deepest, self._unicorn.reg_read(self.core.stack))
        self._lowered = lowers

    def _stretch(self, address: int, size: int) -> tuple[int, int, tuple[int, int, int], bool]:
        """A stretch without a branch: its instructions, of 16 bits or 32; the cycles of all but the last; the last's;
        and True if it may lower the stack pointer.
        """
        code = bytes(self._unicorn.mem_read(address, size))
        count = at = cycles = 0
        straight = jump = 0
        lowers = False
        while at < size:
            cycles += straight
            first = int.from_bytes(code[at : at + 2], "little")
            lowers = lowers or self.core.lowers_stack(first)
            if self.core.mark:
                straight, jump = _cycles(first)
            at += self.core.length(code[at + 1 if self.core.mark else at])
            count += 1
        return count, cycles, (address + size, straight, jump), lowers

    def call(self, name: str, *arguments: int) -> tuple[int, int]:
        """Run a function on the state: what it gives, and how many instructions it took."""
        chip = self._unicorn
        chip.reg_write(self.core.stack, STACK)
        chip.reg_write(self.core.back, END | self.core.mark)
        for register, value in zip(self.core.arguments, (STATE, *arguments)):
            chip.reg_write(register, value)
        self._count = self.cycles = 0
        self._last = (0, 0, 0)
        self._lowered = False
        chip.emu_start(self._symbols[name][0] | self.core.mark, END)
        self.cycles += self._last[2]  # the return
        return chip.reg_read(self.core.arguments[0]), self._count

    def feed_all(self, durations: Sequence[int]) -> bytes:
        """The answers to many durations, by a loop on the chip itself; for a chip that is not ``counted``."""
        answers = b""
        for at in range(0, len(durations), BLOCK):
            block = array("I", durations[at : at + BLOCK])
            self._unicorn.mem_write(INPUT, block.tobytes())
            self.call(self.program.feed_all, INPUT, OUTPUT, len(block))
            answers += bytes(self._unicorn.mem_read(OUTPUT, len(block)))
        return answers

    def feed(self, duration: int) -> tuple[int, int]:
        """One feed: the answer, and the instructions it took."""
        return self.call(self.program.feed, duration)

    @property
    def state(self) -> int:
        """Bytes the port remembers: as far as anything was written, to a whole number of words."""
        self.call(self.program.init)
        memory = bytes(self._unicorn.mem_read(STATE, len(RUBBISH)))
        return (len(memory.rstrip(RUBBISH[:1])) + 3) // 4 * 4

    @property
    def stack(self) -> int:
        """Bytes of stack at the deepest so far."""
        return STACK - self._deepest

    def data(self, length: int) -> bytes:
        """The first bytes of the state: those of the packet."""
        return bytes(self._unicorn.mem_read(STATE, length))


def _kind(model: core.Receiver, answer: int) -> str:
    """What a feed was, in words."""
    if answer >= core.SHORT:
        return "a fault"
    if model.bit == core.MORE:
        return "first half of a bit"
    if answer == core.PACKET:
        return "end of a packet"
    if answer in (core.START, core.SYNC):
        return "preamble found, or start bit"
    return "last half, in a packet" if model.packets.state >= core.BYTE else "last half, between packets"


def measure(chip: Chip, durations: Iterable[int], cost: Cost | None = None) -> Cost:
    """Feed a signal to chip and core; their answers must be the same.

    :param cost: goes on from here.
    """
    cost = cost or Cost()
    chip.call(chip.program.init)
    model = core_receiver(ticks())
    for duration in durations:
        expected = model.feed(duration)
        answer, count = chip.feed(duration)
        assert answer == expected, f"{duration}: {answer} instead of {expected}"
        if expected == core.PACKET:
            length = model.packets.length
            assert chip.data(length) == bytes(model.packets.data[:length])
        kind = _kind(model, expected)
        feeds, instructions, worst = cost.kinds.get(kind, (0, 0, 0))
        cost.kinds[kind] = feeds + 1, instructions + count, max(worst, count)
        cost.feeds += 1
        cost.cycles += chip.cycles
        cost.worst_cycles = max(cost.worst_cycles, chip.cycles)
        cost.instructions += count
        if count > cost.worst:
            cost.worst, cost.worst_at = count, f"bit {model.bit}, answer {expected}"
    cost.stack = chip.stack
    return cost
