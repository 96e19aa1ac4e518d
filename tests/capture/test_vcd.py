"""Value change dumps, written by pyvcd."""

from __future__ import annotations

import builtins
import io
import random
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize
from vcd.writer import VCDWriter

from halfbit.capture import open_capture
from halfbit.cli.main import main
from halfbit.edge import Edge
from halfbit.error import CaptureError, HalfbitError

from .support_capture import Pieces, error_of, times_of
from .support_signal import changes_of, packets_in, some_packets
from .support_vcd import dump, edges_of, names, wire

PACKETS, DURATIONS = some_packets(6)


def test_packets() -> None:
    data = wire(changes_of(DURATIONS, 300_000))
    assert packets_in(edges_of(data))[:-1] == PACKETS
    edges = open_capture(io.BytesIO(data), format="vcd")
    assert packets_in(edges)[:-1] == PACKETS
    assert edges.remarks == ("signal track.left.rail",)


@pytest.mark.parametrize(
    ("timescale", "ticks"),
    [("1 s", 1), ("100 ms", 10), ("1 us", 10**6), ("10 us", 10**5), ("100 ns", 10**7), ("10 ps", 10**11), ("1 fs", 10**15)],
)
def test_time_scales_are_exact(timescale: str, ticks: int) -> None:
    rng = random.Random(timescale)
    changes = [0]
    for _ in range(40):
        changes.append(changes[-1] + rng.randint(1, 10**9))
    times = times_of(wire([change + 7 for change in changes], timescale), format="vcd")
    exact = [Fraction(change, ticks) * 10**9 for change in changes]  # fractions.Fraction rounds nothing
    assert all(abs(time - there) <= Fraction(1, 2) for time, there in zip(times, exact))


def test_unit_of_the_caller_goes_before_the_time_scale() -> None:
    assert times_of(wire([10, 68, 168], "1 ns"), format="vcd", unit="us") == [0, 58_000, 158_000]


def test_no_time_scale() -> None:
    data = wire([10, 68, 168]).replace(b"$timescale 1 ns $end\n", b"")
    assert "declares no time scale: say which with unit=us" in error_of(data, format="vcd").problem
    assert times_of(data, format="vcd", unit="us") == [0, 58_000, 158_000]


def test_first_value_is_no_change() -> None:
    assert edges_of(wire([5, 63], first=1)) == [Edge(0, 0)]  # 1 at 5 is no change either
    assert edges_of(wire([5, 63], first="x")) == [Edge(0, 0)]
    assert edges_of(wire([5, 63], first=0)) == [Edge(0, 1), Edge(58, 0)]


@pytest.mark.parametrize("name", ["track.right.rail", "right.rail"])
def test_signal_by_name_with_scopes(name: str) -> None:
    edges = edges_of(dump(names), signal=name)
    assert len(edges) == 4


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("rail", "'rail' is not the only one of that name: give more of its scopes ("),
        ("left", "there is no signal 'left'; there are "),
        ("ight.rail", "there is no signal 'ight.rail'; there are "),
        ("station.rails", "there is no signal 'station.rails'; there are "),
        ("state", "'station.state' has 4 bits: give one, from station.state[3] to station.state[0]"),
        ("state[4]", "there is no signal 'state[4]'; there are "),
        (None, "has several signals; say which with signal=NAME ("),
    ],
)
def test_signal_unknown_or_ambiguous(name: str | None, words: str) -> None:
    error = error_of(dump(names), format="vcd", signal=name)
    assert words in error.problem
    if "there are" in words or "say more" in words:
        for there in ("station.current", "station.rail", "station.state[3:0]", "track.left.rail", "track.right.rail"):
            assert there in error.problem


def test_long_lists_of_signals_are_cut() -> None:
    def many(writer: VCDWriter) -> None:
        for number in range(300):
            writer.register_var("board", f"pin{number}", "wire", size=1, init=0)

    error = error_of(dump(many), format="vcd", signal="rail")
    assert "and 280 more" in error.problem
    assert len(error.problem) < 600


def test_two_names_of_the_same_signal_are_not_ambiguous() -> None:
    data = wire([10, 68, 168], "1 us").replace(
        b"$enddefinitions", b"$scope module copy $end $var wire 1 ! rail $end $upscope $end\n$enddefinitions"
    )
    assert times_of(data, format="vcd", signal="rail") == [0, 58_000, 158_000]
    assert times_of(data, format="vcd") == [0, 58_000, 158_000]


@pytest.mark.parametrize("size", [2, 8, 33])
@pytest.mark.parametrize("bit", [0, 1])
def test_bit_of_a_vector(size: int, bit: int) -> None:
    rng = random.Random(size)

    def fill(writer: VCDWriter) -> None:
        bus = writer.register_var("board", "port", "reg", size=size, init=0)
        level = 0
        for index, time in enumerate(changes_of(DURATIONS, 100_000)):
            level = 1 - level
            value = rng.getrandbits(size) & ~(1 << bit) | level << bit
            writer.change(bus, time, value)

    data = dump(fill)
    assert packets_in(edges_of(data, signal=f"port[{bit}]"))[:-1] == PACKETS
    assert len(edges_of(data, signal=f"board.port[{size - 1}]")) != len(DURATIONS) + 1 or bit == size - 1


@pytest.mark.parametrize(("declared", "place"), [("[7:0]", 2), ("[0:7]", 5), ("[9:2]", 0), ("[-1:6]", 4)])
def test_bits_are_numbered_as_declared(declared: str, place: int) -> None:
    data = (
        f"$timescale 1 us $end\n$var wire 8 ! port {declared} $end\n$enddefinitions $end\n"
        f"#0\nb0 !\n#10\nb{1 << place:b} !\n#68\nb11000000 !\n#100\nbx !\n#168\nb{1 << place:08b} !\n"
    ).encode()
    assert times_of(data, format="vcd", signal="port[2]") == [0, 58_000, 158_000]


def test_vector_written_short_goes_on_with_zeros_or_with_its_first_state() -> None:
    # IEEE 1364, value change dump: 0 and 1 go on with 0, x with x, z with z.
    data = b"$timescale 1 us $end\n$var wire 4 ! port $end\n$enddefinitions $end\n#0 b1000 ! #10 b1 ! #20 b1111 ! #30 bx1 ! #40 bz ! #50 b0 !\n"
    assert times_of(data, format="vcd", signal="port[3]") == [0, 10_000, 40_000]
    edges = open_capture(io.BytesIO(data), format="vcd", signal="port[3]")
    list(edges)
    assert edges.remarks[1] == "2 values x or z: the level was taken to stay"


def test_unknown_values_leave_the_level_and_are_counted() -> None:
    def fill(writer: VCDWriter) -> None:
        rail = writer.register_var("track", "rail", "wire", size=1, init="x")
        other = writer.register_var("track", "other", "wire", size=1, init="x")
        for time, value in ((5, "z"), (10, 0), (20, 1), (30, "x"), (40, 1), (50, "z"), (78, 0), (80, "x")):
            writer.change(rail, time, value)
            writer.change(other, time, "x")

    data = dump(fill, "1 us")
    for _ in range(2):
        edges = open_capture(io.BytesIO(data), format="vcd", signal="rail")
        assert list(edges) == [Edge(0, 1), Edge(58_000, 0)]
        assert edges.remarks == ("signal track.rail", "3 values x or z: the level was taken to stay")


def test_dump_switched_off_and_on(tmp_path: Path) -> None:
    text = io.StringIO()
    with VCDWriter(text, timescale="1 us", date="") as writer:
        rail = writer.register_var("track", "rail", "wire", size=1, init=0)
        writer.change(rail, 10, 1)
        writer.dump_off(20)
        writer.dump_on(60)
        writer.change(rail, 68, 0)
    path = tmp_path / "track.vcd"
    path.write_text(text.getvalue())
    edges = open_capture(path)
    for _ in range(2):  # a file can be read again
        assert list(edges) == [Edge(0, 1), Edge(58_000, 0)]
        assert edges.remarks[1] == "1 values x or z: the level was taken to stay"


@given(
    st.lists(
        st.tuples(st.integers(0, 3), st.sampled_from(["0!", "1!", "x!", "Z!", "0%", "1%", "b10 &", "bx1 &", "r1.5 '", "$comment 1! #9 $end"])),
        min_size=1,
        max_size=80,
    ),
    st.lists(st.integers(1, 60), min_size=1, max_size=4),
)
def test_same_as_pyvcd_tokens_however_the_bytes_come_in(steps: list[tuple[int, str]], sizes: list[int]) -> None:
    head = b"$timescale 1 us $end $var wire 1 ! a $end $var wire 1 % b $end $var wire 2 & bus $end $var real 64 ' r $end $enddefinitions $end\n"
    time, lines = 0, ["#0"]
    for step, change in steps:
        if step:
            time += step
            lines.append(f"#{time}")
        lines.append(change)
    data = head + "\n".join(lines).encode() + b"\n"
    # Checked against the changes as pyvcd reads them: the last value of each time counts.
    values: dict[str, dict[int, int]] = {"!": {}, "&": {}}
    now = 0
    for token in tokenize(io.BytesIO(data)):
        if token.kind is TokenKind.CHANGE_TIME:
            now = token.time_change
        elif token.kind is TokenKind.CHANGE_SCALAR and token.scalar_change.id_code == "!":
            if token.scalar_change.value in "01":
                values["!"][now] = int(token.scalar_change.value)
        elif token.kind is TokenKind.CHANGE_VECTOR:
            value = token.vector_change.value
            values["&"][now] = (value if isinstance(value, int) else 1) & 1
    for name, code in (("a", "!"), ("bus[0]", "&")):
        looks = sorted(values[code].items())
        changes = [(at, new) for (_, old), (at, new) in zip(looks, looks[1:]) if old != new]
        expected = [Edge(1000 * (at - changes[0][0]), new) for at, new in changes]
        assert edges_of(data, signal=name) == expected
        pieces = Pieces.of(data, sizes * len(data))
        assert list(open_capture(pieces, format="vcd", signal=name)) == expected
    assert times_of(data, format="vcd", signal="a") == [edge.time for edge in edges_of(data, signal="a")]


HEAD = "$timescale 1 us $end\n$var wire 1 ! rail $end\n$var wire 4 % bus $end\n$var real 64 & volts $end\n$enddefinitions $end\n"


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("", "", "ends before $enddefinitions: empty, cut short, or no VCD file"),
        ("58\n58\n", "line 1", "is no VCD file, or a damaged one"),
        ("$timescale 1 us $end\n$var wire 1 ! rail $end\n", "", "ends before $enddefinitions"),
        ("$timescale 1 hour $end\n$enddefinitions $end\n", "line 1", "Invalid $timescale unit"),
        ("$date\n$end\n$upscope $end\n$enddefinitions $end\n", "line 3", "$upscope outside any scope"),
        ("$timescale 1 us $end\n$enddefinitions $end\n#0\n", "", "declares no signals"),
        (HEAD + "#0\n0!\n1?\n", "line 8", "'1?' is no value change of a declared signal"),
        (HEAD + "#0\n0!\n#1 1! #x\n", "line 8", "'#x' is no time"),
        (HEAD + "#5\n0!\n#4\n1!\n", "line 8", "time goes backwards, from 5 to 4"),
        (HEAD + "#0\nb012 %\n", "line 7", "'b012' is no value of a vector"),
        (HEAD + "#0\nb01 ?\n", "line 7", "'?' stands for no declared signal"),
        (HEAD + "#0\nrx &\n", "line 7", "'rx' is no real value"),
        (HEAD + "#0\nrnan &\n", "line 7", "'rnan' is not a finite number"),
        (HEAD + "#0\n$dumpmore\n", "line 7", "'$dumpmore' is no value change"),
        (HEAD + "#0\n0!\n\x00\x01\n", "line 8", "byte 0x00 is no text"),
    ],
)
def test_wrong(text: str, place: str, words: str) -> None:
    error = error_of(text.encode(), format="vcd", signal="rail")
    assert words in error.problem
    assert error.place == place


def test_what_stands_before_a_wrong_word_comes_out() -> None:
    taken: list[Edge] = []
    with pytest.raises(CaptureError, match="line 9"):
        for edge in open_capture(io.BytesIO(f"{HEAD}#0 0!\n#10 1!\n#68 0!\n#70 q\n".encode()), format="vcd", signal="rail"):
            taken.append(edge)
    assert [edge.time for edge in taken] == [0, 58_000]


def test_last_line_is_taken_if_the_caller_says_so() -> None:
    data = f"{HEAD}#0 0!\n#10 1!\n#68 0!".encode()
    assert times_of(data, format="vcd", signal="rail", last_line="take") == [0, 58_000]


def test_package_is_not_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name == "vcd" or name.startswith("vcd.")]:
        monkeypatch.delitem(sys.modules, name)
    import_as_ever = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name.partition(".")[0] == "vcd":
            raise ImportError(name)
        return import_as_ever(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(HalfbitError, match=r"pyvcd, which is not installed: pip install 'halfbit\[vcd\]'"):
        edges_of(wire([10]))


def test_change_comes_out_with_the_next_time() -> None:
    pieces = Pieces([HEAD.encode(), b"#0 0!\n", b"#10 1!\n#68 0!\n", b"#168 1!\n", b"#200\n"])
    blocks = open_capture(pieces, format="vcd", signal="rail")._rows()  # type: ignore[arg-type]
    taken = []
    for durations, scale in blocks:
        taken.append(([duration * scale for duration in durations], pieces.reads))
    assert [some for some in taken if some[0]] == [([58_000], 4), ([100_000], 5)]


def test_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "track.vcd"
    path.write_bytes(wire(changes_of(DURATIONS, 300_000)))
    assert main(["decode", str(path), "--signal", "rail"]) == 0
    out = capsys.readouterr().out
    assert "packets  7" in out
    assert "capture  signal track.left.rail\n" in out
    assert main(["decode", str(path), "--signal", "wheel"]) == 2
    assert f"{path}: --signal: there is no signal 'wheel'; there are track.left.rail" in capsys.readouterr().err


def test_command_line_with_a_name_of_several_signals(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It was tried with each of them beside the name given, and ended with a traceback."""
    path = tmp_path / "track.vcd"
    path.write_bytes(dump(names))
    assert main(["decode", str(path), "--signal", "rail"]) == 2
    assert "--signal: 'rail' is not the only one of that name: give more of its scopes" in capsys.readouterr().err
