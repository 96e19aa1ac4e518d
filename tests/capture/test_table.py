"""Captures as tables of fields."""

from __future__ import annotations

import csv
import io
import itertools
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit.capture import open_capture
from halfbit.capture.columns import unit_in
from halfbit.cli.main import main
from halfbit.edge import Edge
from halfbit.error import CaptureError, HalfbitError

from .support_capture import Pieces, error_of, times_of


def table(text: str, **options: Any) -> list[int]:
    return times_of(text.encode(), format="csv", **options)


def wrong(text: str | bytes, **options: Any) -> CaptureError:
    return error_of(text.encode() if isinstance(text, str) else text, format="csv", **options)


def test_rows_that_repeat_a_level_are_no_changes() -> None:
    text = "time,level\n0,0\n10,1\n20,1\n68,0\n100,0\n168,1\n"
    assert table(text) == [0, 58_000, 158_000]
    edges = list(open_capture(io.BytesIO(text.encode()), format="csv"))
    assert edges == [Edge(0, 1), Edge(58_000, 0), Edge(158_000, 1)]


def test_first_level_high() -> None:
    edges = list(open_capture(io.BytesIO(b"time,level\n0,1\n10,0\n68,1\n"), format="csv"))
    assert edges == [Edge(0, 0), Edge(58_000, 1)]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", " ", "|"])
@pytest.mark.parametrize("names", [True, False])
@pytest.mark.parametrize("said", [True, False])
def test_delimiters(delimiter: str, names: bool, said: bool) -> None:
    rows = [["time", "level"]] * names + [["0", "0"], ["10.5", "1"], ["68.5", "0"]]
    text = "".join(delimiter.join(row) + "\r\n" for row in rows)
    assert table(text, delimiter=delimiter if said else None) == [0, 58_000]


@pytest.mark.parametrize("delimiter", [";", "\t", " ", "|"])
def test_decimal_comma(delimiter: str) -> None:
    rows = [["t", "level"], ["0,0", "0"], ["0,0105", "1"], ["0,0685", "0"]]
    text = "".join(delimiter.join(row) + "\n" for row in rows)
    assert table(text, unit="ms") == [0, 58_000]
    assert table(text.partition("\n")[2], unit="ms") == [0, 58_000]


def test_decimal_comma_with_commas_between_is_one_field_more() -> None:
    assert "fields is 3" in wrong("time,level\n0,0\n10,1\n68,5,0\n").problem


def test_spaces_around_fields_and_quotes() -> None:
    assert table('"time", "level"\n 0 , 0 \n"10", 1\n 68 ,"0"\n') == [0, 58_000]
    assert table("0   0\n10  1\n68  0\n") == [0, 58_000]


@pytest.mark.parametrize(
    ("low", "high"), [("0", "1"), ("0.0", "1.0"), ("low", "HIGH"), ("False", "True")]
)
def test_levels(low: str, high: str) -> None:
    assert table(f"time,level\n0,{low}\n10,{high}\n68,{low}\n") == [0, 58_000]


def test_columns_by_name_and_number() -> None:
    text = "level a,time,level b\n0,0,1\n1,10,1\n0,20,0\n1,68,1\n"
    assert table(text, level_column="level a") == [0, 10_000, 58_000]
    assert table(text, level_column="LEVEL B") == [0, 48_000]
    assert table(text, level_column=1) == [0, 10_000, 58_000]
    assert table(text, time_column=2, level_column=3) == [0, 48_000]
    # Channels may be called by numbers: a number given as text is a name.
    text = "time,0,1\n0,1,0\n10,1,1\n20,0,0\n68,1,0\n"
    assert table(text, level_column="1") == [0, 10_000]
    assert table(text, level_column=2) == [0, 48_000]


def test_only_times_each_a_change() -> None:
    assert table("time\n10\n68\n168\n") == [0, 58_000, 158_000]
    assert table("10\n68\n", holds="times") == [0, 58_000]


def test_durations() -> None:
    assert table("duration\n58\n100\n") == [0, 58_000, 158_000]
    assert table("count,duration\n1,58\n2,100\n") == [0, 58_000, 158_000]
    assert table("58\n100\n", holds="durations") == [0, 58_000, 158_000]
    assert table("58;7\n100;9\n", holds="durations", time_column=1) == [0, 58_000, 158_000]
    assert table("time,duration\n0,58\n58,100\n", holds="durations") == [0, 58_000, 158_000]


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("time", None),
        ("time [s]", "s"),
        ("Time[s]", "s"),
        ("time (ms)", "ms"),
        ("time_us", "us"),
        ("time / µs", "us"),
        ("time [μs]", "us"),
        ("t ns", "ns"),
        ("times", None),
        ("timestamps", None),
    ],
)
def test_unit_in_a_columns_name(name: str, unit: str | None) -> None:
    assert unit_in(name) == unit
    factor = {"ns": 1, "us": 1_000, "ms": 1_000_000, "s": 1_000_000_000}[unit or "us"]
    assert table(f"{name},level\n0,0\n1,1\n3,0\n") == [0, 2 * factor]
    assert table(f"{name},level\n0,0\n1,1\n3,0\n", unit="ns") == [0, 2]


def test_heading_comments_and_blank_lines() -> None:
    text = "# halfbit: times ticks=2000000 wrap=256\n\n# c\ntime,level\n# c\n250,0\n\n# c, d\n255,1\n57,0\n\n"
    assert table(text) == [0, 29_000]
    assert wrong("0,0\n1,1\n# halfbit: times us\n2,0\n").place == "line 3"


@pytest.mark.parametrize("comment", ["# bench 2, left", '# the "long, lead', '# lead, "red', "# a, b, c"])
def test_a_comment_between_rows_may_hold_commas_and_quotes(comment: str) -> None:
    """One with as many fields as a row was once read as a row, and refused."""
    assert table(f"time,level\n0,0\n58,1\n{comment}\n116,0\n") == [0, 58_000]


def test_counter_that_starts_over_between_two_changes() -> None:
    text = "time,level\n0,0\n200,1\n100,1\n250,1\n100,0\n"
    # 156 counts to the first look, 150 to the next, 106 to the change.
    assert table(text, wrap=256) == [0, 412_000]


def test_level_that_never_changes() -> None:
    assert table("time,level\n0,0\n10,0\n") == []


def test_other_columns_may_hold_any_text() -> None:
    assert table("time,level,note\n0,0,café_1\n10,1,\n68,0,#3\n", level_column="level") == [0, 58_000]


def test_live_rows_come_with_the_read_that_completes_them() -> None:
    pieces = [b"time,level\n0,0\n10", b",1\n20,1\n", b"68,0\n100,1\n"]
    stream = Pieces.of(b"".join(pieces), map(len, pieces))
    blocks = open_capture(stream, format="csv")._rows()
    # The first change alone has no duration, hence the empty block that came in time.
    assert [list(durations) for durations, _ in itertools.islice(blocks, 2)] == [[], [58, 32]]


@given(
    st.lists(st.tuples(st.integers(0, 5000), st.sampled_from("01")), min_size=1, max_size=40),
    st.lists(st.integers(1, 9), min_size=1, max_size=5),
    st.sampled_from([",", ";", "\t", "|"]),
    st.booleans(),
)
def test_same_as_a_plain_reading_however_it_is_cut(
    rows: list[tuple[int, str]], sizes: list[int], delimiter: str, names: bool
) -> None:
    # Written and read back by csv of the standard library, with fractions.Fraction for the times.
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter)
    if names:
        writer.writerow(["time", "level"])
    times = itertools.accumulate(time for time, _ in rows)
    writer.writerows([f"{time / 10:.1f}", level] for time, (_, level) in zip(times, rows))
    text = out.getvalue()
    plain = list(csv.reader(io.StringIO(text), delimiter=delimiter))[names:]
    changes = [
        Fraction(row[0]) for before, row in zip(plain, plain[1:]) if before[1] != row[1]
    ]
    stream = Pieces.of(text.encode(), itertools.cycle(sizes))
    edges = list(open_capture(stream, format="csv"))
    assert [edge.time for edge in edges] == [(change - changes[0]) * 1000 for change in changes]
    assert [edge.level for edge in edges[:1]] == [1 - int(plain[0][1])] * bool(changes)
    assert table(text) == [edge.time for edge in edges]


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("time,level\n0,0\nx,1\n", 3, "'x' is not a number"),
        ("time,level\n0,0\n,1\n", 3, "'' is not a number"),
        ("time,level\n0,0\nnan,1\n", 3, "'nan' is not a finite number"),
        ("time,level\n0,0\n1e999,1\n", 3, "too large"),
        ("time,level\n0,0\n1_0,1\n", 3, "'1_0' is not a number"),
        ("time,level\n0,0\n10,2\n", 3, "level '2' is neither 0 nor 1"),
        ("time,level\n0,up\n10,1\n", 2, "level 'up' is neither 0 nor 1"),
        ("time,level\n0,0\n10\n", 3, "number of fields is 1, in the first row it is 2"),
        ("time,level\n\n0,0\n# c\n10,1,1\n", 5, "number of fields is 3"),
        ('time,level\n0,0\n10,"1\n20,0\n', 3, "a quote"),
        ("time,level\n0,0\n10,1\n\n5,1\n", 5, "time goes backwards"),
        ("time\n0\n10\n5\n", 4, "time goes backwards"),
        ("duration\n0\n10\n-5\n", 4, "duration -5 is negative"),
        ("time,level\n0,0\n10,\0\n", 3, "byte 0x00 is no text"),
        (b"time,level\n0,0\n10,\xe4\n", 3, "byte 0xe4 is not UTF-8"),
        (b"\xb5s,level\n0,0\n", 1, "byte 0xb5 is not UTF-8"),
        ("5x,0\n10,1\n", 1, "'5x' is not a number"),
        ("time,level,more\n0,0\n", 1, "3 column names over 2 fields"),
        ("58\n100\n", 1, "nothing says what the numbers are"),
    ],
)
def test_wrong_row(text: str | bytes, line: int, words: str) -> None:
    error = wrong(text)
    assert words in error.problem
    assert error.place == f"line {line}"
    assert error.file == "the stream"


def test_wrong_row_far_into_the_capture() -> None:
    rows = [f"{10 * n},{n % 2}\n" for n in range(50_000)]
    rows[100] += "\n# c\n"
    rows[44_444] = "444440;0\n"
    assert wrong("".join(rows)).place == "line 44447"


def test_what_stands_before_a_wrong_row_comes_out() -> None:
    taken: list[int] = []
    with pytest.raises(CaptureError, match="line 5"):
        stream = io.BytesIO(b"time,level\n0,0\n10,1\n68,0\nx,1\n")
        for durations, _ in open_capture(stream, format="csv")._rows():
            taken += durations
    assert taken == [58]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"time_column": "clock"}, "no column 'clock'; there are 1 'time', 2 'a', 3 'b'"),
        ({"level_column": "c"}, "no column 'c'; there are 1 'time', 2 'a', 3 'b'"),
        ({"level_column": 4}, "no column 4; there are 3 (1 'time', 2 'a', 3 'b')"),
        ({}, "say which column has the level with level_column=COLUMN (1 'time', 2 'a', 3 'b')"),
        ({"level_column": 2, "holds": "durations"}, "durations have none"),
        ({"holds": "durations", "wrap": 256}, "durations do not start over"),
    ],
)
def test_columns_that_are_not_there(options: dict[str, Any], words: str) -> None:
    assert words in str(wrong("time,a,b\n0,0,1\n10,1,0\n", **options))


def test_columns_without_names() -> None:
    assert "no names, only numbers 1 to 2" in str(wrong("0,0\n10,1\n", time_column="time"))
    assert "level_column=COLUMN (1 to 3)" in str(wrong("0,0,1\n10,1,0\n"))
    assert "several columns" in str(wrong("time,time,a\n0,0,1\n10,1,0\n", time_column="time", level_column=3))
    assert "time_column=COLUMN (1 'time', 2 'timestamp'" in str(wrong("time,timestamp\n0,0\n10,1\n"))


@pytest.mark.parametrize(
    ("text", "words"), [("", "is empty"), ("# c\n", "holds no values"), ("time,level\n", "holds no values")]
)
def test_nothing_in_it(text: str, words: str) -> None:
    assert words in str(wrong(text))


@pytest.mark.parametrize(
    "options",
    [{"delimiter": ""}, {"delimiter": ", "}, {"delimiter": '"'}, {"time_column": 0}, {"level_column": True}, {"unit": "h"}],
)
def test_misuse(options: dict[str, Any], tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text("time,level\n0,0\n10,1\n")
    (name,) = options
    with pytest.raises(HalfbitError, match=name):
        open_capture(path, **options)


def test_of_many_columns_a_message_lists_some(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    wide = tmp_path / "wide.csv"
    wide.write_text(",".join(f"c{number}" for number in range(3000)) + "\n" + (",".join(["1"] * 3000) + "\n") * 3)
    assert main(["decode", str(wide)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "say which column has the level" in line and "20 'c19' and 2980 more" in line and "c20" not in line
