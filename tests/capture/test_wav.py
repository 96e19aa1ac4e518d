"""Recordings of a sound card."""

from __future__ import annotations

import io
import math
import random
import re
import struct
from pathlib import Path
from typing import Any

import attrs
import pytest

from halfbit.capture import open_capture
from halfbit.cli.main import main
from halfbit.simulate.distort import stretched
from halfbit.error import HalfbitError
from halfbit.limits import RECEIVE, US, Limits
from halfbit.edge import Edge

from .support_capture import Pieces, error_of
from .support_signal import changes_of, share, some_packets
from .support_sound_card import heard, recorded

PACKETS, DURATIONS = some_packets(30)

#: One-bits whose halves may differ as they like: at the coarsest rate a half is 2.5 samples.
ANY_DIFFERENCE = attrs.evolve(RECEIVE, one_difference=None)


def edges_of(data: bytes, **options: Any) -> list[Edge]:
    return list(open_capture(io.BytesIO(data), format="wav", **options))


def square(rate: int = 192_000, count: int = 400, half: int = 20) -> list[float]:
    """A square wave; ``half`` samples between two changes."""
    return [0.5 if index // half % 2 else -0.5 for index in range(count)]


@pytest.mark.parametrize(
    ("rate", "limits", "least"),
    [
        (44_100, ANY_DIFFERENCE, 1.0),
        (44_100, RECEIVE, 0.85),
        (48_000, RECEIVE, 0.97),
        (48_000, ANY_DIFFERENCE, 1.0),
        (96_000, RECEIVE, 1.0),
        (192_000, RECEIVE, 1.0),
    ],
)
@pytest.mark.parametrize("stretching", [0, 2_000], ids=["plain", "stretched"])
def test_sound_card(rate: int, limits: Limits, least: float, stretching: int) -> None:
    # docs/captures.rst says what each rate can do; these are its figures. Zeros stretched up to 2 ms a half
    # push both levels of an input behind a capacitor to and fro (S-9.1 A allows stretching).
    durations = stretched(DURATIONS, 0.1, stretching * US, random.Random(4)) if stretching else DURATIONS
    data = recorded([heard(changes_of(durations, 20_000_000), rate, random.Random(rate), corner=20)], rate)
    assert share(PACKETS, edges_of(data), limits) >= least


def test_changes_are_finer_than_samples() -> None:
    data = recorded([heard(changes_of(DURATIONS, 20_000_000), 96_000, random.Random(1))], 96_000)
    edges = edges_of(data)
    assert len(edges) == len(DURATIONS) + 1
    off = sorted(abs(later.time - edge.time - duration) for edge, later, duration in zip(edges, edges[1:], DURATIONS))
    assert off[-1] < 2_500  # ns; a sample is 10417
    assert off[len(off) // 2] < 600


@pytest.mark.parametrize("corner", [5, 20])
def test_long_stretched_zeros_push_the_levels_far(corner: int) -> None:
    # Halves of up to 9 ms (S-9.1 A: up to 9900 us): a level falls to a third before it changes.
    durations = stretched(DURATIONS, 0.03, 9_000 * US, random.Random(4))
    samples = heard(changes_of(durations, 20_000_000), 96_000, random.Random(1), corner=corner)
    assert max(samples) > 0.4  # the signal's own level is 0.3
    # The signal sets in here, and the levels take a while to come to lie about zero: not the first packet.
    assert share(PACKETS[1:], edges_of(recorded([samples], 96_000))) == 1


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_widths(width: int) -> None:
    samples = heard(changes_of(DURATIONS, 20_000_000), 96_000, random.Random(1))
    data = recorded([samples], 96_000, width)
    assert share(PACKETS, edges_of(data)) == 1
    (remark,) = open_capture(io.BytesIO(data), format="wav").remarks
    assert remark.startswith("96000 samples a second, full scale is 1; threshold 0, hysteresis 0.07")


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_samples_of_each_width_are_read_exactly(width: int) -> None:
    # Crossings of straight lines, whose places are known: from -0.25 to 0.75 in one sample, and back.
    row = [-0.25] * 9 + [0.75] * 20 + [-0.25] * 20 + [0.75] * 9
    edges = edges_of(recorded([row], 1000, width), threshold=0.25, hysteresis=0.5)
    assert [edge.time for edge in edges] == [0, 20_000_000, 40_000_000]


def test_input_without_a_capacitor_may_be_off_zero() -> None:
    samples = heard(changes_of(DURATIONS, 20_000_000), 96_000, random.Random(1), corner=0, level=0.2, offset=0.5)
    data = recorded([samples], 96_000)
    assert share(PACKETS, edges_of(data)) == 1
    (remark,) = open_capture(io.BytesIO(data), format="wav").remarks
    assert re.search(r"threshold 0\.(50|49)\d*, hysteresis 0\.(050|049)\d* ", remark)


def test_channels() -> None:
    rng = random.Random(1)
    signal = heard(changes_of(DURATIONS, 20_000_000), 96_000, rng)
    hum = [0.4 * math.sin(index / 300) for index in range(len(signal))]
    data = recorded([hum, signal], 96_000)
    assert share(PACKETS, edges_of(data, channel=2)) == 1
    error = error_of(data, format="wav")
    assert "has 2 channels; say which with channel=N, and other_rail=N if they are the two rails" in error.problem
    both = recorded([[a / 2 + b for a, b in zip(signal, hum)], [b - a / 2 for a, b in zip(signal, hum)]], 96_000)
    assert "no two levels stand out" in error_of(both, format="wav", channel=1).problem
    edges = edges_of(both, channel=1, other_rail=2)
    assert share(PACKETS, edges) == 1
    assert [edge.level for edge in edges_of(both, channel=2, other_rail=1)] == [1 - edge.level for edge in edges]


def test_same_however_the_bytes_come_in() -> None:
    data = recorded([heard(changes_of(DURATIONS[:600], 20_000_000), 48_000, random.Random(1))], 48_000)
    whole = edges_of(data)
    for sizes in ([1], [1000, 3], [44, 4096]):
        assert list(open_capture(Pieces.of(data, sizes * len(data)), format="wav")) == whole
    times = [0]
    for durations, scale in open_capture(io.BytesIO(data), format="wav")._rows():
        for duration in durations:
            times.append(times[-1] + duration * scale)
    assert times == [edge.time for edge in whole]


def test_recorder_that_does_not_know_how_much_there_will_be() -> None:
    data = bytearray(recorded([heard(changes_of(DURATIONS, 20_000_000), 96_000, random.Random(1))], 96_000))
    data[4:8] = b"\xff" * 4  # length of all
    data[40:44] = b"\xff" * 4  # length of the samples
    assert share(PACKETS, edges_of(bytes(data))) == 1


def test_cut_short() -> None:
    data = recorded([square()], 192_000)
    error = error_of(data[:-101], format="wav")
    assert error.problem == "is cut short: its head says 400 samples"
    assert error.place == "sample 349"
    taken = []
    edges = open_capture(io.BytesIO(data[:-101]), format="wav")
    with pytest.raises(Exception, match="cut short"):
        for edge in edges:
            taken.append(edge)
    assert len(taken) == 16  # all but the change nearest to the end


def extensible(data: bytes, tag: int) -> bytes:
    """The same file with a head that says what its samples are in another way."""
    channels, rate = 1, 192_000
    form = struct.pack("<HHIIHHHHIH", 0xFFFE, channels, rate, rate * 2, 2, 16, 22, 16, 4, tag) + bytes(14)
    return data[:12] + b"fmt " + struct.pack("<I", len(form)) + form + data[36:]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "ends within its head"),
        (recorded([square()], 192_000)[:30], "ends within its head"),
        (b"RIFX" + recorded([square()], 192_000)[4:], "is no WAV file"),
        (b"58\n58\n58\n58\n", "is no WAV file"),
        (b"# halfbit: durations us\n" + b"58\n" * 40, "is no WAV file"),
        (recorded([[]], 192_000), "holds no samples"),
        (recorded([[0.25] * 500], 192_000), "no two levels stand out among the first 500 values"),
        (recorded([square()], 192_000)[:20] + b"\x03" + recorded([square()], 192_000)[21:], "has samples of 16 bits; 32, 64 can be read"),
        (recorded([square()], 192_000)[:24] + bytes(4) + recorded([square()], 192_000)[28:], "with 0 samples a second"),
    ],
    ids=["empty", "head", "RIFX", "text", "other text", "no samples", "constant", "float", "rate"],
)
def test_wrong(data: bytes, words: str) -> None:
    assert words in error_of(data, format="wav").problem


def test_the_longer_head() -> None:
    sound = recorded([square()], 192_000)
    assert [edge.time for edge in edges_of(extensible(sound, 1))] == [edge.time for edge in edges_of(sound)]
    assert "has packed samples (form 2)" in error_of(extensible(sound, 2), format="wav").problem


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"channel": 3}, "channel: there is no channel 3; there are 2"),
        ({"channel": 1, "other_rail": 9}, "other_rail: there is no channel 9; there are 2"),
        ({"channel": 1, "other_rail": 1}, "channel and other_rail are the same"),
    ],
)
def test_wrong_channels(options: dict[str, Any], words: str) -> None:
    assert words in error_of(recorded([square(), square()], 192_000), format="wav", **options).problem


@pytest.mark.parametrize("options", [{"channel": 0}, {"other_rail": "left"}, {"unit": "us"}, {"channel": True}])
def test_wrong_option(options: dict[str, Any]) -> None:
    (name,) = options
    with pytest.raises(HalfbitError, match=name):
        open_capture(io.BytesIO(recorded([square(), square()], 192_000)), format="wav", **options)


def test_other_rail_alone_names_the_one_that_is_left() -> None:
    data = recorded([square(), [-value for value in square()]], 192_000)
    assert len(edges_of(data, other_rail=2)) == 19


def test_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "track.wav"
    path.write_bytes(recorded([heard(changes_of(DURATIONS, 20_000_000), 96_000, random.Random(1))], 96_000))
    assert main(["decode", str(path)]) == 0
    out = capsys.readouterr().out
    assert "packets  31" in out
    assert "capture  96000 samples a second, full scale is 1; threshold 0" in out
    path.write_bytes(b"RIFF")
    assert main(["decode", str(path)]) == 2
    assert f"{path}: ends within its head" in capsys.readouterr().err
