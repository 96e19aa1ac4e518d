"""Value change dumps with volts, and with both rails."""

from __future__ import annotations

import io
import random
from collections.abc import Sequence
from typing import Any

import pytest
from vcd.writer import VCDWriter

from halfbit.capture import open_capture
from halfbit.error import HalfbitError

from .support_capture import error_of, times_of
from .support_signal import changes_of, packets_in, some_packets
from .support_vcd import dump, edges_of, names, wire

PACKETS, DURATIONS = some_packets(6)


def real(values: Sequence[tuple[int, float]], other: Sequence[float] = ()) -> bytes:
    def fill(writer: VCDWriter) -> None:
        variable = writer.register_var("probe", "volts", "real", init=0.0)
        second = writer.register_var("probe", "return", "real", init=0.0) if other else None
        for index, (time, value) in enumerate(values):
            writer.change(variable, time, value)
            if second is not None:
                writer.change(second, time, other[index])

    return dump(fill, "1 us")


def test_real_values() -> None:
    rng = random.Random(1)
    values = [
        (time // 1000, (16.0 if index % 2 else 2.0) + rng.uniform(-1, 1))
        for index, time in enumerate(changes_of(DURATIONS, 300_000))
    ]
    data = real(values)
    edges = open_capture(io.BytesIO(data), format="vcd")
    assert packets_in(edges)[:-1] == PACKETS
    assert edges.remarks[0].startswith("signal probe.volts; threshold 9.")
    assert times_of(data, format="vcd", threshold=9, hysteresis=2)[:3] == [0, 58_000, 116_000]


def test_real_values_hold_and_have_hysteresis() -> None:
    values = [(10, 1.9), (20, 2.6), (30, 1.6), (40, 2.4), (50, 1.4), (60, 9.0), (70, 1.5)]
    # The level is 1 from 2.5, and 0 below 1.5: changes at 20, 50 and 60, where the values come.
    assert times_of(real(values), format="vcd", threshold=2, hysteresis=1) == [0, 30_000, 40_000]


def test_both_rails() -> None:
    def fill(writer: VCDWriter) -> None:
        rails = [writer.register_var("track", name, "wire", size=1, init=0) for name in "ab"]
        for index, time in enumerate(changes_of(DURATIONS, 300_000)):
            writer.change(rails[0], time, 1 - index % 2)
            writer.change(rails[1], time + 300, index % 2)  # a little later than the other

    data = dump(fill)
    first = edges_of(data, signal="a", other_rail="b")
    assert packets_in(first)[:-1] == PACKETS
    second = edges_of(data, signal="b", other_rail="a")
    assert [(edge.time, 1 - edge.level) for edge in second] == [(edge.time, edge.level) for edge in first]


def test_both_rails_shorted_keep_the_level() -> None:
    data = b"$timescale 1 us $end\n$var wire 1 ! a $end\n$var wire 1 % b $end\n$enddefinitions $end\n" + (
        b"#0 1! 0% #10 0! 1% #20 1! #30 0! 0% #35 1! 1% #40 x% #50 1! 0% #60 0! 1% #70\n"
    )
    # At 20 both are 1, at 30 both 0, at 35 both 1: no moment between the two words of a time counts.
    assert times_of(data, format="vcd", signal="a", other_rail="b") == [0, 40_000, 50_000]


def test_real_rails() -> None:
    values = [(time // 1000, 20.0 if index % 2 else 6.0) for index, time in enumerate(changes_of(DURATIONS, 300_000))]
    data = real(values, [26.0 - value for _, value in values])
    edges = open_capture(io.BytesIO(data), format="vcd", signal="volts", other_rail="return")
    assert packets_in(edges)[:-1] == PACKETS
    assert edges.remarks[0].startswith("signal probe.volts less probe.return; threshold 0, hysteresis 7 ")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"signal": "track.left.rail", "other_rail": "left.rail"}, "signal and other_rail are the same signal"),
        ({"signal": "left.rail", "other_rail": "current"}, "one is real, the other is not"),
        ({"signal": "left.rail", "other_rail": "rail"}, "other_rail: 'rail' is not the only one"),
    ],
)
def test_wrong_rails(options: dict[str, Any], words: str) -> None:
    assert words in error_of(dump(names), format="vcd", **options).problem


def test_threshold_of_a_signal_without_volts() -> None:
    with pytest.raises(HalfbitError, match="threshold and hysteresis: mean nothing"):
        edges_of(wire([10]), threshold=1.0)
