"""Runs the RP2040 board's program in npm's rp2040js, a general emulator of the chip, with a signal at its pin.

It takes node, and rp2040js of one version in a folder that NODE_PATH names:
``npm install --prefix FOLDER rp2040js@1.4.1`` and ``NODE_PATH=FOLDER/node_modules``. Without them the tests are skipped
and say so.
"""

from __future__ import annotations

import functools
import json
import os
import shutil
import subprocess
import tempfile
from array import array
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import attrs
import pytest

from .support_build import ARM_GCC, ARM_GCC_CHIP, C, STRICT, ZIG, build
from .support_chip import segments, symbols

__all__ = [
    "BOARD",
    "BYTES",
    "CLOCK",
    "FIRST",
    "LAST",
    "SECTOR",
    "Cut",
    "Ran",
    "cvs_in",
    "image",
    "missing",
    "needed",
    "program",
    "run",
    "store_of",
    "with_check",
]

HERE = Path(__file__).parent
BOARD = C / "boards"
EMULATOR = "1.4.1"
CLOCK = 125_000_000
SECTOR = 4096
FLASH = 0x1000_0000
RECORDS = SECTOR // 4
FIRST, LAST = 0x400, 0x800
#: Bytes that are kept: CV 1 to 256, and a table of 64 indexed CVs.
BYTES = 256 + 4 * 64


@functools.cache
def missing() -> str:
    """What is not there, in words; empty if all is."""
    if shutil.which("node") is None:
        return f"no node (Debian: nodejs npm) to run npm's rp2040js {EMULATOR}"
    for folder in os.environ.get("NODE_PATH", "").split(os.pathsep):
        package = Path(folder, "rp2040js", "package.json")
        if folder and package.exists() and json.loads(package.read_text())["version"] == EMULATOR:
            return ""
    how = f"npm install --prefix FOLDER rp2040js@{EMULATOR}, and NODE_PATH=FOLDER/node_modules"
    return f"no rp2040js {EMULATOR} ({how})"


needed = pytest.mark.skipif(bool(missing()), reason=f"RP2040 board left out: {missing()}")


def program(*settings: str, gcc: bool = False) -> Path:
    """The board's program, linked, as its head says to compile it; or by Debian's gcc for Arm."""
    names = ("halfbit", "decoder", "multi_function", "instruction_size", "motor", "cv_log")
    own = [BOARD / name for name in ("rp2040.c", "rp2040_chip.c", "rp2040_boot.S")]
    sources = (*own, *(C / f"{name}.c" for name in names))
    target = ARM_GCC_CHIP if gcc else ("-target", "thumb-freestanding-eabi", "-mcpu=cortex_m0plus", "-g", "-ffreestanding")
    flags = (
        *STRICT, *target, "-Os",
        "-DHALFBIT_TICKS_PER_US=2", "-DHALFBIT_TOLERANCE=1", *settings, "-T", str(BOARD / "rp2040.ld"), "-Wl,-e,boot",
    )  # fmt: skip
    needs = (BOARD / "rp2040_chip.h", BOARD / "rp2040.ld")
    compiler, libraries = (ARM_GCC, ("-lgcc",)) if gcc else (ZIG, ())
    return build(compiler, flags, sources, suffix=".elf", needs=needs, after=libraries)


def image(linked: Path) -> bytes:
    """What is written to the flash memory, from its start."""
    made = bytearray()
    for _, stored, content in segments(linked.read_bytes()):
        if content:
            made += b"\xff" * (stored - FLASH - len(made)) + content
    return bytes(made)


def with_check(content: int) -> int:
    """A record of the log: 24 bits, and above them the number of zeros among them."""
    return content | (24 - content.bit_count()) << 24


def store_of(cvs: Mapping[int, int], generation: int = 1, sector: int = 0, fill: int = 0) -> bytes:
    """The two sectors as cv_log.h describes them. The bytes of the table of indexed CVs count as CVs behind them.

    :param fill: records behind them that repeat CV 1.
    """
    numbers = [cv for cv in sorted(cvs) if cvs[cv]]  # what is not stored is 0
    records = [with_check(generation)]
    for cv in numbers:
        ends = (FIRST if cv == numbers[0] else 0) | (LAST if cv == numbers[-1] else 0)
        records.append(with_check(cv - 1 | ends | cvs[cv] << 16))
    records += [with_check(FIRST | LAST | cvs[1] << 16)] * fill
    made = array("I", records).tobytes().ljust(SECTOR, b"\xff")
    empty = b"\xff" * SECTOR
    return made + empty if sector == 0 else empty + made


def cvs_in(store: bytes) -> dict[int, int]:
    """CVs as they are read from the two sectors, after cv_log.h; written apart from the C."""
    sectors = [array("I", store[:SECTOR]), array("I", store[SECTOR:])]
    good = [sector for sector in sectors if sector[0] == with_check(sector[0] & 0xFFFFFF) and sector[0] & 0xFFFFFF]
    cvs = dict.fromkeys(range(1, BYTES + 1), 0) if good else {}
    waiting: dict[int, int] | None = None
    for record in max(good, key=lambda sector: sector[0] & 0xFFFFFF)[1:] if good else ():
        if record == 0xFFFF_FFFF:
            continue
        if record != with_check(record & 0xFFFFFF):
            waiting = None
            continue
        if record & FIRST:
            waiting = {}
        if waiting is not None:
            waiting[1 + (record & 0x3FF)] = record >> 16 & 255
            if record & LAST:
                cvs |= waiting
                waiting = None
    return cvs


@attrs.frozen
class Cut:
    """Power fails in the write or erase of a number, after a share of its bits."""

    at: int
    share: float
    seed: int = 1


@attrs.frozen
class Ran:
    """What the chip did."""

    #: ns, what, value.
    events: list[tuple[int, str, int]]
    store: bytes
    memory: bytes
    names: dict[str, tuple[int, int]]
    #: Emulated and passed, seconds; cycles in which the processor did not sleep.
    seconds: float
    took: float
    cycles: int
    #: Writes and erases of the flash memory.
    operations: int
    cut: bool

    def of(self, name: str) -> list[tuple[int, int]]:
        """Changes of one output, which is 0 at first: ns and value."""
        changes = [(ns, value) for ns, what, value in self.events if what == name]
        return [now for now, (_, old) in zip(changes, [(0, 0), *changes]) if now[1] != old]

    def values(self, name: str) -> list[int]:
        """The values of the same."""
        return [value for _, value in self.of(name)]

    def variable(self, name: str, index: int = 0) -> int:
        """A variable of the program at the end, of 32 bits, or an element of one."""
        at = self.names[name][0] - self.names["clear_start"][0] + 4 * index
        return int.from_bytes(self.memory[at : at + 4], "little")

    @property
    def pulses(self) -> list[float]:
        """Lengths of the acknowledgements, ms."""
        pulse = self.of("pulse")
        return [(down - up) / 1e6 for (up, _), (down, _) in zip(pulse[::2], pulse[1::2])]


def run(
    pieces: Iterable[Sequence[int]],
    store: bytes | None = None,
    *,
    pauses: Sequence[tuple[int, int]] = (),
    cut: Cut | None = None,
    after: int = 60_000_000,
    settings: Sequence[str] = (),
    gcc: bool = False,
) -> Ran:
    """Run the chip from power on.

    :param pieces: durations between changes of its pin, ns.
    :param store: the flash memory's two last sectors; erased if not given.
    :param pauses: when the main loop stands still and how long, ns; interrupts go on.
    :param after: how long it runs after the last change, ns.
    :param settings: flags more for the compiler.
    :param gcc: True if Debian's gcc for Arm compiles the program.
    """
    linked = program(*settings, gcc=gcc)
    names = symbols(linked.read_bytes())
    ram = [names["clear_start"][0], names["clear_end"][0] - names["clear_start"][0]]
    with tempfile.TemporaryDirectory() as directory:
        at = Path(directory)
        files = {name: str(at / name) for name in ("image", "store", "signal")}
        (at / "image").write_bytes(image(linked))
        if store is not None:
            (at / "store").write_bytes(store)
        with (at / "signal").open("wb") as file:
            for piece in pieces:
                array("I", piece).tofile(file)
        failing = attrs.asdict(cut) if cut else None
        job = {**files, "pauses": list(pauses), "cut": failing, "after": after, "memory": ram}
        (at / "job").write_text(json.dumps(job))
        done = subprocess.run(["node", str(HERE / "rp2040_board.cjs"), str(at / "job")], capture_output=True, text=True)
        assert done.returncode == 0, done.stderr[-2000:]
        *lines, last = done.stdout.splitlines()
        seen = json.loads(last)
        assert not seen["complaints"], seen["complaints"]
        events = [(int(word[0]), word[1], int(word[2])) for word in map(str.split, lines)]
        return Ran(
            events, (at / "store").read_bytes(), bytes.fromhex(seen["memory"]), names,
            seen["nanos"] / 1e9, seen["took"], seen["cycles"], seen["operations"], seen["cut"],
        )  # fmt: skip
