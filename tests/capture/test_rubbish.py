"""Whatever bytes a file holds, reading it ends well or with an error of ours, the same whole and in pieces."""

from __future__ import annotations

import io
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.capture import open_capture
from halfbit.error import HalfbitError

from .support_capture import Pieces
from .support_sound_card import recorded

VCD = (
    b"$date today $end\n$timescale 1 us $end\n$scope module track $end\n$var wire 1 ! a $end\n$var wire 4 % bus [3:0] $end\n"
    b"$var real 64 & volts $end\n$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n0!\nb0 %\nr0 &\n$end\n"
    b"#10\n1!\n#68\n0!\nb101 %\n#70\nr12.5 &\n$comment words $end\n#168\n1!\nr0.5 &\n#200\n0!\n"
)
VOLTS = b"time [us],volts,other\n" + b"".join(b"%d,%d,0.%d\n" % (20 * i, 5 * (i // 3 % 2), i % 7) for i in range(60))
WAV = recorded([[0.5 * math.copysign(1, math.sin(i / 4)) for i in range(300)]], 192_000)
LEVELS = b"0001110000\r\n1111 0\n" * 5

CASES: dict[str, tuple[bytes, str, dict[str, Any]]] = {
    "vcd": (VCD, "vcd", {"signal": "a"}),
    "vcd bit": (VCD, "vcd", {"signal": "bus[2]"}),
    "vcd real": (VCD, "vcd", {"signal": "volts"}),
    "vcd rails": (VCD, "vcd", {"signal": "a", "other_rail": "bus[0]"}),
    "volts": (VOLTS, "volts", {"level_column": 2}),
    "volts, rails": (VOLTS, "volts", {"level_column": 2, "other_rail": 3}),
    "wav": (WAV, "wav", {}),
    "levels": (LEVELS, "levels", {"unit": "us"}),
}


def outcome(data: Any, format: str, options: dict[str, Any]) -> tuple[list[int], str]:
    times: list[int] = []
    try:
        for edge in open_capture(data, format=format, **options):
            times.append(edge.time)
    except HalfbitError as error:
        return times, str(error)
    assert times == sorted(times)
    return times, ""


@pytest.mark.parametrize("name", CASES)
@given(data=st.data())
def test_damaged_files(name: str, data: st.DataObject) -> None:
    sound, format, options = CASES[name]
    damaged = bytearray(sound)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(damaged)))
        gone = data.draw(st.integers(0, 5))
        damaged[at : at + gone] = data.draw(st.one_of(st.binary(max_size=4), st.sampled_from([b"\n", b" ", b"#", b"$end ", b"9" * 40, b"nan", b"-1"])))
    whole = outcome(io.BytesIO(damaged), format, options)
    sizes = data.draw(st.lists(st.integers(1, 50), min_size=1, max_size=3))
    assert outcome(Pieces.of(bytes(damaged), sizes * len(damaged)), format, options) == whole


@pytest.mark.parametrize("name", CASES)
@given(rubbish=st.binary(max_size=200))
def test_rubbish(name: str, rubbish: bytes) -> None:
    _, format, options = CASES[name]
    outcome(io.BytesIO(rubbish), format, options)


def test_control_character_in_a_column_not_asked_for_is_refused_however_rows_come_in() -> None:
    # Found by the damaged files: read at once it was not noticed, row by row it was.
    data = b"time,volts,other\n0,0,1\n20,5,\x011\n40,0,1\n"
    options = {"level_column": 2, "threshold": 2, "hysteresis": 1}
    whole = outcome(io.BytesIO(data), "volts", options)
    assert whole == outcome(Pieces.of(data, [1] * 99), "volts", options) == ([], "the stream: line 3: byte 0x01 is no text: not a text file?")


@pytest.mark.parametrize("name", CASES)
def test_these_files_are_sound(name: str) -> None:
    sound, format, options = CASES[name]
    times, error = outcome(io.BytesIO(sound), format, options)
    assert error == ""
    assert len(times) >= (0 if name == "vcd rails" else 1)
