"""Compiles the C port: for this machine and for a small chip, with PyPI's ziglang wheel or the system's compiler.

What has been built once from the same sources with the same flags is kept in the temporary directory, so that
only the first run on a machine waits for the compiler.
"""

from __future__ import annotations

import ctypes
import functools
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from halfbit import core
from halfbit.limits import RECEIVE, Limits

from .support_files import PORTS

__all__ = [
    "ARM_GCC",
    "ARM_GCC_CHIP",
    "C",
    "CHIP",
    "SOURCES",
    "STRICT",
    "RATIOS",
    "ROOT",
    "ZIG",
    "CReceiver",
    "build",
    "core_receiver",
    "defines",
    "kept",
    "library",
    "library_of",
    "system_compiler",
    "ticks",
    "timer",
]

ROOT = Path(__file__).parents[2]
C = PORTS / "c"
SOURCES = (C / "halfbit.c",)

ZIG = (sys.executable, "-m", "ziglang", "cc")
STRICT = ("-std=c99", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-pedantic")
#: For the smallest chip the port is meant for: an Arm Cortex-M0+, as in the RP2040.
CHIP = (
    "-target", "thumb-freestanding-eabi", "-mcpu=cortex_m0plus", "-ffreestanding", "-nostdlib",
    "-fno-unwind-tables", "-fno-asynchronous-unwind-tables", "-g",
)  # fmt: skip

#: Debian's gcc for Arm without an operating system (gcc-arm-none-eabi), for the same chip.
ARM_GCC = ("arm-none-eabi-gcc",)
ARM_GCC_CHIP = ("-mcpu=cortex-m0plus", "-mthumb", "-ffreestanding", "-nostdlib", "-g")


def system_compiler() -> str | None:
    """The system's own C compiler, if there is one."""
    return shutil.which("cc")


def kept() -> Path:
    """Where what was built is kept: this user's own directory."""
    user = os.getuid() if hasattr(os, "getuid") else os.environ.get("USERNAME", "")
    path = Path(tempfile.gettempdir()) / f"halfbit-build-{user}"
    path.mkdir(mode=0o700, exist_ok=True)
    return path


def build(
    compiler: Sequence[str],
    flags: Sequence[str],
    sources: Sequence[Path] = SOURCES,
    suffix: str = "",
    include: Path = C,
    after: Sequence[str] = (),
    needs: Sequence[Path] = (),
) -> Path:
    """Compile and link, and give the file made.

    :param after: flags that stand behind the sources: libraries.
    :param needs: other files that the sources and flags name.
    :raises AssertionError: with the compiler's words, where it does not accept the sources.
    """
    content = [path.read_bytes().hex() for path in (*sources, *needs, *sorted(include.glob("*.h")))]
    key = hashlib.sha256("\0".join((*compiler, *flags, *after, *content)).encode()).hexdigest()[:24]
    result = kept() / f"{key}{suffix}"
    if result.exists():
        return result
    with tempfile.TemporaryDirectory(dir=kept()) as scratch:
        made = Path(scratch) / f"made{suffix}"
        command = (*compiler, *flags, f"-I{include}", *map(str, sources), "-o", str(made), *after)
        environment = {
            **os.environ,
            "ZIG_GLOBAL_CACHE_DIR": str(kept() / "zig"),
            "ZIG_LOCAL_CACHE_DIR": str(kept() / "zig"),
        }
        done = subprocess.run(command, capture_output=True, text=True, env=environment)
        assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}{done.stderr}"
        made.replace(result)  # at once, so that another process never sees half a file
    return result


#: Timers the ports are tried with, as (ticks, us): 1, 2, 2.5, 4, 8 and 16 ticks a us.
RATIOS = ((1, 1), (2, 1), (5, 2), (4, 1), (8, 1), (16, 1))


def ticks(limits: Limits = RECEIVE, per_us: int = 1, us: int = 1, tolerance: int = 0) -> dict[str, int]:
    """Limits in a port's ticks, by the port's names: the first and last whole tick inside each.

    :param per_us: ticks in ``us`` microseconds.
    :param tolerance: ticks by which the windows are wider.
    """
    difference = limits.one_max if limits.one_difference is None else limits.one_difference
    total = 2 * limits.zero_max if limits.zero_total_max is None else limits.zero_total_max
    times = {
        "ONE_MIN": limits.one_min,
        "ONE_MAX": limits.one_max,
        "ONE_DIFFERENCE": difference,
        "ZERO_MIN": limits.zero_min,
        "ZERO_MAX": limits.zero_max,
        "ZERO_TOTAL_MAX": total,
    }
    counts = {
        "PREAMBLE_MIN": limits.preamble_min,
        "PACKET_MIN": limits.packet_min,
        "PACKET_MAX": limits.packet_max,
    }
    scaled = {}
    for name, time in times.items():
        if name.endswith("_MIN"):
            scaled[name] = -(-time * per_us // (1000 * us)) - tolerance
        else:
            scaled[name] = time * per_us // (1000 * us) + tolerance
    scaled["ONE_DIFFERENCE"] += tolerance
    if limits.zero_total_max is None:
        scaled["ZERO_TOTAL_MAX"] = 2 * scaled["ZERO_MAX"]
    return scaled | counts


def timer(per_us: int, us: int = 1, tolerance: int = 0) -> tuple[str, ...]:
    """The compiler's flags for a timer, from which the port works its limits out itself."""
    settings = {"TIMER_TICKS": per_us, "TIMER_US": us, "TOLERANCE": tolerance}
    return tuple(f"-DHALFBIT_{name}={value}" for name, value in settings.items())


def defines(values: Mapping[str, int]) -> tuple[str, ...]:
    """The compiler's flags that set limits."""
    return tuple(f"-DHALFBIT_{name}={value}u" for name, value in values.items())


def core_receiver(values: Mapping[str, int]) -> core.Receiver:
    """The core with the same limits, in the same ticks."""
    v = values
    return core.Receiver(
        core.HalfBits(v["ONE_MIN"], v["ONE_MAX"], v["ZERO_MIN"], v["ZERO_MAX"]),
        core.Bits(v["ONE_DIFFERENCE"], v["ZERO_TOTAL_MAX"]),
        core.Packets(v["ONE_DIFFERENCE"], v["PREAMBLE_MIN"], v["PACKET_MIN"], v["PACKET_MAX"]),
    )


def library(values: Mapping[str, int] | None = None) -> ctypes.CDLL:
    """The port as a library of this machine, compiled by zig; without limits, with its own."""
    return _library(defines(values or {}))


def library_of(settings: tuple[str, ...]) -> tuple[Callable[[int, int], int], int]:
    """The port's feed and a receiver of its own, for compiler flags that set limits."""
    loaded = _library(settings)
    memory = ctypes.create_string_buffer(b"\xee" * 512)
    _KEPT.append(memory)
    loaded.halfbit_receiver_init(ctypes.addressof(memory))
    return loaded.halfbit_receiver_feed, ctypes.addressof(memory)


_KEPT: list[Any] = []  # memory that C looks at


@functools.cache
def _library(limits: tuple[str, ...]) -> ctypes.CDLL:
    loaded = ctypes.CDLL(str(build(ZIG, (*STRICT, "-O2", "-shared", "-fPIC", *limits), suffix=".so")))
    loaded.halfbit_receiver_feed.argtypes = [ctypes.c_void_p, ctypes.c_uint32]
    loaded.halfbit_receiver_feed.restype = ctypes.c_uint8
    loaded.halfbit_receiver_init.argtypes = [ctypes.c_void_p]
    loaded.halfbit_receiver_init.restype = None
    return loaded


class CReceiver:
    """The port's receiver, in memory filled with rubbish, between guards that must stay as they are."""

    GUARD = b"\xa5" * 16

    def __init__(self, loaded: ctypes.CDLL, packet_max: int = 15) -> None:
        length = packet_max + 1
        #: Its size: what is behind the bytes stands at an even place, and ends at one.
        self.size = length + length % 2 + 2 + 5 + 1
        self._length_at = packet_max
        self._preamble_at = length + length % 2 + 2 + 4
        self._memory = ctypes.create_string_buffer(self.GUARD + b"\xee" * self.size + self.GUARD)
        self._at = ctypes.addressof(self._memory) + len(self.GUARD)
        self._feed = loaded.halfbit_receiver_feed
        loaded.halfbit_receiver_init(self._at)

    def feed(self, duration: int) -> int:
        """The port's answer to a duration."""
        answer: int = self._feed(self._at, duration)
        return answer

    @property
    def state(self) -> bytes:
        """Its memory."""
        return self._memory.raw[len(self.GUARD) : len(self.GUARD) + self.size]

    @property
    def data(self) -> bytes:
        """The bytes that are complete."""
        state = self.state
        return state[: state[self._length_at]]

    @property
    def preamble(self) -> int:
        """The one-bits before the last start bit."""
        return self.state[self._preamble_at]

    @property
    def unharmed(self) -> bool:
        """Whether it has kept to its own memory."""
        raw = self._memory.raw
        return raw.startswith(self.GUARD) and raw[len(self.GUARD) + self.size :].startswith(self.GUARD)
