"""Twenty-four captures of one invented track, each written from one sentence about how captures may look.

They were written before the readers that take them, from the sentences alone, and use nothing of halfbit: the signal
is made here from the bit times of S-9.1 A (table 1) and the packets of S-9.2 A. Locomotives, speeds and headings are
invented. No instrument's export is imitated.
"""

from __future__ import annotations

import gzip
import random
import struct
from collections.abc import Callable, Sequence
from itertools import accumulate
from typing import NamedTuple

#: The packets of one round, without their error bytes: two locomotives and an idle packet.
ROUND = (bytes((3, 0x3F, 0x9A)), bytes((0xC4, 0x57, 0x3F, 0x85)), bytes((0xFF, 0x00)), bytes((3, 0x90)))


class Described(NamedTuple):
    """A capture and what it stands for."""

    name: str
    #: The file's name: only its ending may matter.
    file: str
    content: bytes
    #: The sentence it was written from.
    sentence: str
    #: Empty if it must be read without options; else options, each of which must stand in the refusal and makes it read.
    options: tuple[tuple[str, ...], ...] = ()


def packets(rounds: int) -> list[bytes]:
    """The packets as sent, each with its error byte: the exclusive or of the others (S-9.2 A)."""
    sent = []
    for data in ROUND * rounds:
        check = 0
        for byte in data:
            check ^= byte
        sent.append(data + bytes((check,)))
    return sent


def halves(rounds: int, one: int = 58, zero: int = 100) -> list[int]:
    """Half-bits in us: 16 ones, then 0 and eight bits for each byte, then a one (S-9.2 A)."""
    bits = []
    for data in packets(rounds):
        bits += [1] * 16
        for byte in data:
            bits += [0, *(byte >> place & 1 for place in range(7, -1, -1))]
        bits.append(1)
    bits += [1] * 4
    return [one if bit else zero for bit in bits for _ in (0, 1)]


def _times(rounds: int) -> list[int]:
    return list(accumulate(halves(rounds), initial=0))


def _lines(values: Sequence[object], end: str = "\n") -> str:
    return "".join(f"{value}{end}" for value in values)


def _polled(rounds: int, step: float = 38.0) -> list[float]:
    """The times, us, at which a loop of about 38 us sees the changes."""
    chance = random.Random(38)
    now, seen = 0.0, []
    changes = _times(rounds)
    index = 0
    while index < len(changes):
        now += step + chance.uniform(-1.5, 1.5)
        met = index
        while index < len(changes) and changes[index] <= now:
            index += 1
        if index - met == 1:
            seen.append(now)
    return seen


def _samples(rounds: int, rate: int) -> list[int]:
    """1 and -1, ``rate`` samples a second."""
    samples: list[int] = []
    level, passed = 1, 0
    for duration in halves(rounds):
        passed += duration
        samples += [level] * (round(passed * rate / 1_000_000) - len(samples))
        level = -level
    return samples


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data


def _wav_float() -> bytes:
    rate = 192_000
    data = b"".join(struct.pack("<f", 0.6 * value) for value in _samples(6, rate))
    head = struct.pack("<HHIIHH", 3, 1, rate, rate * 4, 4, 32)
    return _chunk(b"RIFF", b"WAVE" + _chunk(b"fmt ", head) + _chunk(b"data", data))


def _wav_extensible() -> bytes:
    rate = 192_000
    data = b"".join(struct.pack("<h", 20_000 * value) for value in _samples(6, rate))
    guid = struct.pack("<H", 1) + bytes.fromhex("000000001000800000aa00389b71")
    head = struct.pack("<HHIIHH", 0xFFFE, 1, rate, rate * 2, 2, 16) + struct.pack("<HHI", 22, 16, 4) + guid
    return _chunk(b"RIFF", b"WAVE" + _chunk(b"fmt ", head) + _chunk(b"data", data))


def _wav_rf64() -> bytes:
    rate = 192_000
    samples = _samples(6, rate)
    data = b"".join(struct.pack("<h", 20_000 * value) for value in samples)
    head = struct.pack("<HHIIHH", 1, 1, rate, rate * 2, 2, 16)
    sizes = struct.pack("<QQQI", 4 + 36 + 24 + 8 + len(data), len(data), len(samples), 0)
    return b"RF64\xff\xff\xff\xffWAVE" + _chunk(b"ds64", sizes) + _chunk(b"fmt ", head) + b"data\xff\xff\xff\xff" + data


def _vcd(head: bytes = b"", extra: bool = False) -> bytes:
    lines = ["$timescale 1 us $end", "$scope module bench $end", "$var wire 1 ! track $end"]
    if extra:
        lines.append('$var wire 1 " button $end')
    lines += ["$upscope $end", "$enddefinitions $end", "#0", "1!"]
    if extra:
        lines.append('0"')
    level = 1
    for number, time in enumerate(_times(6)[1:]):
        level = 1 - level
        lines += [f"#{time}", f"{level}!"]
        if extra and number % 400 == 399:
            lines.append(f'{number // 400 % 2}"')
    return head + _lines(lines).encode()


def _two_channels() -> str:
    """Time, a slow button, and the track; a row for each change of either."""
    rows = ["instant (us),button,rail"]
    for number, time in enumerate(_times(6)):
        rows.append(f"{time},{number // 300 % 2},{number % 2}")
    return _lines(rows)


def _volts() -> str:
    rows = ["t [ms];rail [V]"]
    level, time = 1, 0
    for duration in halves(5):
        for tick in range(duration // 2):
            rows.append(f"{(time + 2 * tick) / 1000:.3f};{14.2 * level:.1f}")
        time += duration
        level = -level
    return _lines(rows)


def _counted(values: Sequence[int]) -> list[str]:
    return [f"{value:,}" for value in values]


def described() -> list[Described]:
    """All of them."""
    times, durations = _times(6), halves(6)
    late = [7_000_000 + time for time in times]
    made: list[tuple[str, str, Callable[[], str | bytes], str, tuple[tuple[str, ...], ...]]] = [
        ("durations", "a.txt", lambda: _lines(durations), "durations in microseconds, a number a line", ()),
        ("times", "b.txt", lambda: _lines(late), "times in microseconds, a number a line", ()),
        (
            "polled",
            "c.txt",
            lambda: _lines([f"{time / 1e6:.6f}" for time in _polled(40)]),
            "times in seconds, seen by a polled loop of about 38 us",
            (),
        ),
        (
            "heading",
            "d.csv",
            lambda: (
                "Branch line, upper yard\nrecorded on the bench\nnine volts\n\ntime_ms,level\n"
                + _lines([f"{time / 1000:.3f},{number % 2}" for number, time in enumerate(times)])
            ),
            "heading lines above the table",
            (),
        ),
        (
            "heading_numbers",
            "e.txt",
            lambda: "Shuttle at the depot\nwidths of the pulses\n" + _lines(durations),
            "heading lines above the numbers",
            (),
        ),
        ("comments", "f.txt", lambda: "; pulse widths\n; bench 2\n" + _lines(durations), "; comments", ()),
        (
            "units_row",
            "g.csv",
            lambda: (
                "moment,rail\ns,\n" + _lines([f"{time / 1e6:.6f},{number % 2}" for number, time in enumerate(times)])
            ),
            "a second heading row with units",
            (),
        ),
        (
            "trailing_comma",
            "h.csv",
            lambda: "time_us,level,\n" + _lines([f"{time},{number % 2}," for number, time in enumerate(times)]),
            "a trailing comma",
            (),
        ),
        (
            "trailing_alone",
            "i.csv",
            lambda: _lines([f"{each}," for each in durations]),
            "a trailing comma after a number",
            (),
        ),
        (
            "with_unit",
            "j.txt",
            lambda: _lines([f"{each:.1f} us" for each in durations]),
            "numbers with their unit (12.3 us)",
            (),
        ),
        (
            "several",
            "k.txt",
            lambda: _lines([" ".join(map(str, durations[at : at + 16])) for at in range(0, len(durations), 16)]),
            "several numbers a line",
            (),
        ),
        (
            "several_commas",
            "l.txt",
            lambda: _lines([", ".join(map(str, durations[at : at + 12])) for at in range(0, len(durations), 12)]),
            "several numbers a line, with commas between",
            (),
        ),
        ("cr", "m.txt", lambda: _lines(durations, "\r"), "CR line ends", ()),
        ("vcd_bom", "n.vcd", lambda: _vcd(b"\xef\xbb\xbf"), "BOM in VCD", ()),
        ("no_line_end", "o.txt", lambda: _lines(durations)[:-1], "a last line without line end", ()),
        (
            "gz",
            "p.csv.gz",
            lambda: gzip.compress(_lines(["time_us,level", *(f"{t},{n % 2}" for n, t in enumerate(times))]).encode()),
            ".gz of any of them",
            (),
        ),
        ("gz_vcd", "q.vcd.gz", lambda: gzip.compress(_vcd()), ".gz of a VCD", ()),
        ("wav_float", "r.wav", _wav_float, "float WAV", ()),
        ("wav_extensible", "s.wav", _wav_extensible, "extensible WAV", ()),
        ("wav_rf64", "t.wav", _wav_rf64, "RF64 WAV", ()),
        ("two_channels", "u.csv", _two_channels, "which channel is the track", ()),
        ("vcd_two", "v.vcd", lambda: _vcd(extra=True), "which channel is the track, in a VCD", ()),
        ("volts", "w.csv", _volts, "a table of volts", ()),
        (
            "decimal_comma",
            "x.csv",
            lambda: (
                "time [ms];level\n"
                + _lines(
                    [f"{time / 1000:.3f}".replace(".", ",") + f";{number % 2}" for number, time in enumerate(times)]
                )
            ),
            "decimal commas",
            (),
        ),
        (
            "two_megahertz",
            "y.txt",
            lambda: _lines([2 * each for each in durations]),
            "durations in ticks of 2 MHz: whole bits in us look the same",
            (("--unit", "2MHz"),),
        ),
        (
            "thousands",
            "z.txt",
            lambda: _lines(_counted([10_000 + time for time in times])),
            "thousands separators are not decimal commas",
            (),
        ),
        (
            "thousands_ambiguous",
            "aa.txt",
            lambda: _lines(_counted([100_000 + time for time in times])),
            "thousands separators where a decimal comma fits too",
            (),
        ),
        (
            "levels",
            "bb.txt",
            lambda: _lines([(value + 1) // 2 for value in _samples(6, 250_000)]),
            "levels at a rate that nothing names",
            (("--unit", "250kHz"),),
        ),
    ]
    result = []
    for name, file, make, sentence, options in made:
        content = make()
        data = content.encode() if isinstance(content, str) else content
        result.append(Described(name, file, data, sentence, options))
    return result
