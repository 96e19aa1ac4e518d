"""Text captures."""

from __future__ import annotations

import io
import itertools
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.capture.lines import lines_of
from halfbit.capture import open_capture
from halfbit.capture.numbers import numbers_in
from halfbit.error import CaptureError, HalfbitError

from .support_capture import Pieces, error_of, times_of


def test_durations_as_said_by_the_caller() -> None:
    assert times_of(b"58\n58\n100\n", holds="durations") == [0, 58_000, 116_000, 216_000]


def test_times_as_said_by_the_caller() -> None:
    assert times_of(b"1000\n1058\n1116\n", holds="times") == [0, 58_000, 116_000]


@pytest.mark.parametrize(
    ("heading", "times"),
    [
        (b"# halfbit: durations", [0, 58_000, 158_000]),
        (b"# halfbit: durations us", [0, 58_000, 158_000]),
        (b"#halfbit:durations ns", [0, 58, 158]),
        (b"  # halfbit: durations ms", [0, 58_000_000, 158_000_000]),
        (b"# halfbit: durations ticks=2000000", [0, 29_000, 79_000]),
        (b"# halfbit: durations ticks=2e6", [0, 29_000, 79_000]),
        (b"# halfbit: times s", [0, 42_000_000_000]),
        (b"# a comment before\n\n# halfbit: times us wrap=128\n# and after\n", [0, 42_000]),
    ],
)
def test_heading(heading: bytes, times: list[int]) -> None:
    assert times_of(heading + b"\n58\n100\n") == times


def test_wrapped_counter() -> None:
    # 250, 300 and 520 counts of a counter of 256, at half a microsecond each.
    assert times_of(b"# halfbit: times ticks=2000000 wrap=256\n250\n44\n8\n") == [0, 25_000, 135_000]


def test_caller_goes_before_heading() -> None:
    data = b"# halfbit: durations us\n58\n100\n"
    assert times_of(data, unit="ns") == [0, 58, 158]
    assert times_of(data, holds="times", unit="ns") == [0, 42]


def test_comments_blank_lines_spaces_and_line_ends() -> None:
    data = b"\xef\xbb\xbf58 # the first\r\n\r\n  \t\r\n# only a comment, caf\xe9\r\n\t58.5  \r\n+100\r\n1e2\r\n"
    assert times_of(data, holds="durations") == [0, 58_000, 116_500, 216_500, 316_500]


def test_large_integers_among_fractions_stay_exact() -> None:
    start = (1 << 60) + 1
    assert times_of(b"%d\n%d\n" % (start, start + 58), holds="times", unit="ns") == [0, 58]
    assert numbers_in(["0.5", str(start)], str) == [0.5, start]


def test_file_can_be_gone_through_again(tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(b"# halfbit: durations us\n58\n58\n")
    edges = open_capture(path)
    assert list(edges) == list(edges)
    assert len(list(edges)) == 3


def test_stream_can_be_gone_through_once() -> None:
    edges = open_capture(io.BytesIO(b"58\n58\n"), holds="durations")
    assert len(list(edges)) == 3
    with pytest.raises(HalfbitError, match="only once"):
        list(edges)


def test_block_comes_with_the_read_that_completes_its_lines() -> None:
    pieces = Pieces([b"# halfbit: durations us\n", b"58\n5", b"8\n10", b"0\n"])
    blocks = open_capture(cast(BinaryIO, pieces), format="text")._rows()
    taken = [(list(durations), pieces.reads) for durations, _ in itertools.islice(blocks, 3)]
    # The head takes two reads. After that, a block comes out before the next read.
    assert taken == [([58], 2), ([58], 3), ([100], 4)]


@given(
    st.lists(st.integers(0, 10**12) | st.decimals(0, 10**6, places=3), min_size=1, max_size=60),
    st.lists(st.integers(1, 9), min_size=1, max_size=5),
    st.sampled_from(["\n", "\r\n", " # x\n", "\n\n"]),
)
def test_same_as_exact_arithmetic_however_it_is_cut(values: list[object], sizes: list[int], end: str) -> None:
    # Checked against fractions.Fraction of the standard library, which rounds nothing.
    data = "".join(f"{value}{end}" for value in values).encode()
    totals = itertools.accumulate((Fraction(str(value)) for value in values), initial=Fraction(0))
    expected = [total * 1000 for total in totals]
    stream = Pieces.of(data, itertools.cycle(sizes))
    times = [edge.time for edge in open_capture(stream, format="text", holds="durations", unit="us")]
    assert len(times) == len(expected)
    assert all(abs(time - exact) <= 1 for time, exact in zip(times, expected))
    assert times_of(data, holds="durations") == times


def test_neither_caller_nor_heading_says_what_the_numbers_are() -> None:
    error = error_of(b"58\n58\n")
    assert "holds=durations" in str(error)
    assert "'# halfbit: durations us'" in str(error)


# What is wrong, the line, and words of the message.
WRONG = [
    (b"58\nx\n58\n", 2, "'x' is not a number"),
    (b"58\n5 8\n", 2, "'5 8' is not a number"),
    (b"58\n58,5\n", 2, "'58,5' is not a number"),
    (b"58\n1_000\n", 2, "'1_000' is not a number"),
    (b"58\n0x3a\n", 2, "'0x3a' is not a number"),
    (b"# halfbit: durations\n\n58 # fine\n\n# here:\nx\n", 6, "'x' is not a number"),
    (b"58\n" + b"9" * 5000 + b"\n", 2, "is too large"),
    (b"58\n1e300\n", 2, "is too large"),
    (b"58\n9223372036854775808\n", 2, "is too large"),
    (b"58\nnan\n", 2, "'nan' is not a finite number"),
    (b"58\n-inf\n", 2, "'-inf' is not a finite number"),
    (b"58.5\n\ninfinity\n", 3, "'infinity' is not a finite number"),
    (b"58\n\n-1\n", 3, "duration -1 is negative"),
    (b"58.5\n-0.5\n", 2, "duration -0.5 is negative"),
    (b"58\n\x00\x01\n", 2, "byte 0x00 is no text"),
    (b"\x7fELF\x02\x01\n", 1, "byte 0x7f"),
    (b"58\n\xe4\n", 2, "byte 0xe4 is not UTF-8"),
    (b"58\n\xd9\xa1\xd9\xa2\n", 2, "is not a number"),  # digits, of another script
    (b"58\n5\r8\n", 2, "is not a number"),
    (b"58\n# halfbit: durations us\n58\n", 2, "a heading after values"),
    (b"58\n" + b"5" * 70_000, 2, "without a line end"),
]


@pytest.mark.parametrize(("data", "line", "words"), WRONG)
def test_wrong_line(data: bytes, line: int, words: str) -> None:
    error = error_of(data, holds="durations")
    assert words in error.problem
    assert error.place == f"line {line}"
    assert error.file == "the stream"


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("size", [1, 3, 1000])
def test_utf_16_is_taken_with_its_byte_order_mark(encoding: str, size: int) -> None:
    data = "\ufeff# halfbit: durations us\n58\n100\n".encode(encoding)
    chunks = (data[at : at + size] for at in range(0, len(data), size))
    lines = b"\n".join(each.text for each in lines_of(chunks))
    assert lines == b"# halfbit: durations us\n58\n100"


def test_wrong_line_far_into_the_capture() -> None:
    lines = [b"58\n"] * 100_000
    lines[77_776] = b"5B\n"
    lines[12] = b"# a comment\n"
    assert error_of(b"".join(lines), holds="durations").place == "line 77777"


def test_what_stands_before_a_wrong_line_comes_out() -> None:
    taken: list[int] = []
    with pytest.raises(CaptureError, match="line 4"):
        for durations, _ in open_capture(io.BytesIO(b"1\n2\n# c\nx\n3\n"), holds="durations")._rows():
            taken += durations
    assert taken == [1, 2]


@pytest.mark.parametrize("data", [b"58\n57\n", b"58.5\n57.5\n", b"# c\n58\n57 # c\n"])
def test_time_going_backwards(data: bytes) -> None:
    error = error_of(data, holds="times")
    assert "time goes backwards" in error.problem
    assert "wrap" in error.problem
    assert error.place == f"line {data.count(10)}"


def test_time_outside_the_counter() -> None:
    error = error_of(b"# halfbit: times wrap=256\n255\n256\n")
    assert error.place == "line 3"
    assert "counter of 256" in error.problem


@pytest.mark.parametrize(
    ("heading", "line", "words"),
    [
        (b"# halfbit: seconds", 1, "'durations' or 'times'"),
        (b"# halfbit:", 1, "'durations' or 'times'"),
        (b"\n# halfbit: durations bits", 2, "unit: 'bits'"),
        (b"# halfbit: durations ticks=many", 1, "ticks=many"),
        (b"# halfbit: durations ticks=0", 1, "above 0"),
        (b"# halfbit: times wrap=1.5", 1, "wrap=1.5"),
        (b"# halfbit: times wrap=1", 1, "2 counts or more"),
        (b"# halfbit: times us ns", 1, "unit is given twice"),
        (b"# halfbit: times rate=5", 1, "'rate=5'"),
        (b"# halfbit: times\n# halfbit: times", 2, "a second heading"),
    ],
)
def test_wrong_heading(heading: bytes, line: int, words: str) -> None:
    error = error_of(heading + b"\n58\n58\n")
    assert words in error.problem
    assert error.place == f"line {line}"


def test_durations_do_not_wrap() -> None:
    assert "wrap" in str(error_of(b"# halfbit: durations wrap=256\n58\n"))


@pytest.mark.parametrize(("data", "words"), [(b"", "is empty"), (b"# c\n\n", "holds no values")])
def test_nothing_in_it(data: bytes, words: str) -> None:
    assert words in str(error_of(data, holds="durations"))


def test_last_line_without_line_end_is_left_out_with_a_remark_or_refused() -> None:
    edges = open_capture(io.BytesIO(b"58\n100\n58"), holds="durations")
    assert [edge.time for edge in edges] == [0, 58_000, 158_000]
    (remark,) = edges.remarks
    assert remark.startswith("line 3 was left out: the file ends inside the line: after '58'")
    error = error_of(b"58\n58", holds="durations", last_line="refuse")
    assert error.place == "line 2" and "after '58' there is no line end" in error.problem


def test_last_line_without_line_end_is_taken_if_the_caller_says_so() -> None:
    assert times_of(b"58\n58", holds="durations", last_line="take") == [0, 58_000, 116_000]
    assert times_of(b"58", holds="durations", last_line="take") == [0, 58_000]
    assert error_of(b"58\nx", holds="durations", last_line="take").place == "line 2"


def test_units_that_differ_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_text("58 us\n0.058 ms\n")
    with pytest.raises(CaptureError, match=r"line 2: '0.058 ms' has another unit than line 1"):
        open_capture(path, holds="durations")
