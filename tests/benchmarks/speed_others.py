"""Yardsticks: one message through incremental parsers of other fields, and one packet through the C port."""

from __future__ import annotations

import ctypes
import importlib
import shutil
import subprocess
import tempfile
from array import array
from collections.abc import Callable
from pathlib import Path

__all__ = ["PARSERS", "c_port", "parser"]

PORT = Path(__file__).resolve().parents[2] / "examples" / "ports" / "c"

_LOOP = """
#include "halfbit.h"
long packets(const uint16_t *durations, long count) {
    struct halfbit_receiver receiver;
    long found = 0;
    halfbit_receiver_init(&receiver);
    for (long i = 0; i < count; i++) found += halfbit_receiver_feed(&receiver, durations[i]) == HALFBIT_PACKET;
    return found;
}
"""


def parser(name: str, messages: int) -> Callable[[], None] | None:
    """Work that takes so many messages through a parser; None where it is not installed."""
    try:
        work = PARSERS[name](importlib.import_module(name))
    except ImportError:
        return None
    return lambda: work(messages)


def _mido(mido: object) -> Callable[[int], None]:
    """A note, three bytes."""

    def work(messages: int) -> None:
        machine = mido.Parser()  # type: ignore[attr-defined]
        for _ in range(messages):
            machine.feed(b"\x90\x40\x40")
            assert machine.get_message() is not None

    return work


def _h11(h11: object) -> Callable[[int], None]:
    """A request with one header line."""

    def work(messages: int) -> None:
        for _ in range(messages):
            machine = h11.Connection(h11.SERVER)  # type: ignore[attr-defined]
            machine.receive_data(b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
            assert machine.next_event().method == b"GET"

    return work


def _pyais(pyais: object) -> Callable[[int], None]:
    """A position report."""
    line = b"!AIVDM,1,1,,B,15M67FC000G?ufbE`FepT@3n00Sa,0*5C"

    def work(messages: int) -> None:
        for _ in range(messages):
            assert pyais.decode(line).msg_type == 1  # type: ignore[attr-defined]

    return work


def _construct(construct: object) -> Callable[[int], None]:
    """Three bytes as a structure of three fields."""
    form = construct.Struct(  # type: ignore[attr-defined]
        **{name: construct.Int8ub for name in ("address", "instruction", "error")}  # type: ignore[attr-defined]
    )

    def work(messages: int) -> None:
        for _ in range(messages):
            assert form.parse(b"\x37\x74\x43").address == 0x37

    return work


def _bitstring(bitstring: object) -> Callable[[int], None]:
    """Three bytes as three unsigned fields."""

    def work(messages: int) -> None:
        for _ in range(messages):
            packet = bitstring.Bits(b"\x37\x74\x43")  # type: ignore[attr-defined]
            assert packet.unpack("u8, u8, u8")[0] == 0x37

    return work


PARSERS: dict[str, Callable[[object], Callable[[int], None]]] = {
    "mido": _mido,
    "h11": _h11,
    "pyais": _pyais,
    "construct": _construct,
    "bitstring": _bitstring,
}


def c_port(durations: array[int]) -> Callable[[], int] | str:
    """The C port over the durations, us, in one call; or why there is none here."""
    compiler = shutil.which("cc")
    if compiler is None:
        return "no C compiler here"
    if not (PORT / "halfbit.c").is_file():
        return "no C port here"
    with tempfile.TemporaryDirectory() as folder:
        source, library = Path(folder, "loop.c"), Path(folder, "loop.so")
        source.write_text(_LOOP, encoding="ascii")
        command = [compiler, "-O2", "-shared", "-fPIC", f"-I{PORT}", "-o", str(library)]
        subprocess.run([*command, str(source), str(PORT / "halfbit.c")], check=True)
        loop = ctypes.CDLL(str(library)).packets
    loop.restype = ctypes.c_long
    pointer, count = durations.buffer_info()

    def work() -> int:
        assert durations.buffer_info()[0] == pointer  # keeps the array alive, too
        found: int = loop(ctypes.c_void_p(pointer), ctypes.c_long(count))
        return found

    return work
