"""Value change dumps for the tests, written by pyvcd."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import Any

from vcd.writer import VCDWriter

from halfbit.capture import open_capture
from halfbit.edge import Edge


def dump(fill: Callable[[VCDWriter], None], timescale: str = "1 ns") -> bytes:
    """A dump as pyvcd writes it."""
    text = io.StringIO()
    with VCDWriter(text, timescale=timescale, date="2001-01-01", version="invented") as writer:
        fill(writer)
    return text.getvalue().encode()


def wire(changes: Sequence[int], timescale: str = "1 ns", first: Any = 0, scope: str = "track.left", name: str = "rail") -> bytes:
    """One scalar that changes at some times."""

    def fill(writer: VCDWriter) -> None:
        variable = writer.register_var(scope, name, "wire", size=1, init=first)
        for index, time in enumerate(changes):
            writer.change(variable, time, 1 - index % 2)

    return dump(fill, timescale)


def edges_of(data: bytes, **options: Any) -> list[Edge]:
    return list(open_capture(io.BytesIO(data), format="vcd", **options))


def names(writer: VCDWriter) -> None:
    variables = [writer.register_var(scope, "rail", "wire", size=1, init=0) for scope in ("track.left", "track.right", "station")]
    writer.register_var("station", "current", "real", init=0.0)
    writer.register_var("station", "state", "reg", size=4, init=0)
    for step in range(12):
        writer.change(variables[step % 3], 100 * step + 100, step // 3 % 2 == 0)
