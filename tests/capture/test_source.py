"""Where captures come from, and which format they are taken for."""

from __future__ import annotations

import io
import os
import threading
import wave
from pathlib import Path
from typing import Any

import attrs
import pytest

from halfbit.capture import FORMATS, Options, open_capture
from halfbit.error import CaptureError, HalfbitError

TEXT = b"# halfbit: durations us\n58\n100\n"
TABLE = b"time,level\n0,0\n10,1\n68,0\n168,1\n"
DUMP = b"""$timescale 1 us $end
$var wire 1 ! rail $end
$enddefinitions $end
#0 0! #10 1! #68 0! #168 1!
"""
TIMES = [0, 58_000, 158_000]


def recording() -> bytes:
    """The same as 8-bit samples, one a us."""
    data = io.BytesIO()
    with wave.open(data, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(1)
        file.setframerate(1_000_000)
        file.writeframes(b"\x30" * 70 + b"\xd0" * 58 + b"\x30" * 100 + b"\xd0" * 70)
    return data.getvalue()


def times(location: Any, **options: Any) -> list[int]:
    return [edge.time for edge in open_capture(location, **options)]


@pytest.mark.parametrize("format", FORMATS, ids=lambda format: format.name)
def test_format_by_ending(format: Any, tmp_path: Path) -> None:
    data = {"text": TEXT, "csv": TABLE, "vcd": DUMP, "wav": recording()}
    assert format.name in data or not format.endings
    for ending in format.endings:
        path = tmp_path / f"capture{ending.upper()}"
        path.write_bytes(data[format.name])
        assert times(path) == TIMES
        assert times(str(path)) == TIMES
        assert times(path, format=format.name) == TIMES


def test_format_said_against_the_ending(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_bytes(TEXT)
    assert times(path, format="text") == TIMES


def test_ending_that_tells_nothing(tmp_path: Path) -> None:
    path = tmp_path / "capture.dat"
    path.write_bytes(TEXT)
    assert times(path) == TIMES
    path.write_bytes(TABLE)
    assert times(path) == TIMES
    path.write_bytes(DUMP)
    assert times(path) == TIMES
    path.write_bytes(recording())
    assert times(path) == TIMES


def test_stream_is_text_unless_its_name_tells(tmp_path: Path) -> None:
    assert times(io.BytesIO(TEXT)) == TIMES
    path = tmp_path / "capture.csv"
    path.write_bytes(TABLE)
    with open(path, "rb") as file:
        assert times(file) == TIMES


def test_unknown_format() -> None:
    with pytest.raises(HalfbitError, match="'xls' is not one of text, csv"):
        open_capture(io.BytesIO(TEXT), format="xls")


@pytest.mark.parametrize("format", FORMATS, ids=lambda format: format.name)
def test_option_that_means_nothing_to_the_format(format: Any) -> None:
    values = {
        "holds": "times",
        "unit": "us",
        "wrap": 256,
        "time_column": 1,
        "level_column": 1,
        "delimiter": ";",
        "decimal": "comma",
        "last_line": "take",
        "signal": "rail",
        "channel": 1,
        "other_rail": 2,
        "threshold": 0.0,
        "hysteresis": 0.1,
    }
    assert set(format.options) <= set(values)
    for name, value in values.items():
        options = Options(**{name: value})  # type: ignore[arg-type]
        if name in format.options:
            options.refuse_all_but(format.options, format.name)
        else:
            with pytest.raises(HalfbitError, match=f"{name}: means nothing in the format"):
                options.refuse_all_but(format.options, format.name)


@pytest.mark.parametrize(
    "options", [{"holds": "levels"}, {"last_line": "drop"}, {"decimal": ","}, {"unit": 0}, {"unit": "minutes"}, {"wrap": 1}]
)
def test_wrong_arguments(options: dict[str, Any]) -> None:
    (name,) = options
    with pytest.raises(HalfbitError, match=name):
        open_capture(io.BytesIO(b"58\n"), **{"holds": "times", **options})


def test_every_option_is_an_argument() -> None:
    arguments = open_capture.__annotations__
    assert {field.name for field in attrs.fields(Options)} == set(arguments) - {"location", "format", "return"}


def test_named_pipe_is_opened_once(tmp_path: Path) -> None:
    path = tmp_path / "board"
    os.mkfifo(path)
    writer = threading.Thread(target=lambda: path.write_bytes(TEXT))
    writer.start()
    try:
        assert times(path) == TIMES
    finally:
        writer.join()


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match=r"gone\.txt: cannot be read: No such file"):
        open_capture(tmp_path / "gone.txt")


def test_directory(tmp_path: Path) -> None:
    with pytest.raises(CaptureError, match="cannot be read: Is a directory"):
        open_capture(tmp_path)


def test_path_that_is_none() -> None:
    with pytest.raises(CaptureError, match="cannot be read"):
        open_capture("a\0b.txt")
    with pytest.raises(HalfbitError, match="neither a path nor a stream"):
        open_capture(17)  # type: ignore[arg-type]


def test_file_that_goes_away(tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(TEXT)
    edges = open_capture(path)
    path.unlink()
    with pytest.raises(CaptureError, match="No such file"):
        list(edges)


def test_stream_of_text_instead_of_bytes() -> None:
    with pytest.raises(HalfbitError, match="gives str: open it for bytes"):
        open_capture(io.StringIO("58\n"), holds="durations")  # type: ignore[arg-type]


def test_closed_stream() -> None:
    stream = io.BytesIO(TEXT)
    stream.close()
    with pytest.raises(CaptureError, match="cannot be read"):
        open_capture(stream)


def test_stream_that_fails() -> None:
    class Unplugged(io.RawIOBase):
        name = "board"

        def read(self, size: int = -1) -> bytes:
            raise OSError(5, "Input/output error")

    with pytest.raises(CaptureError, match="board: cannot be read: Input/output error"):
        open_capture(Unplugged())  # type: ignore[arg-type]


def test_errors_in_the_midst_name_the_file(tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(TEXT + b"-1\n")
    for go_through in (list, lambda edges: list(edges._rows())):
        with pytest.raises(CaptureError) as caught:
            go_through(open_capture(path))
        assert str(caught.value) == f"{path}: line 4: duration -1 is negative"
