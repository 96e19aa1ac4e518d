"""The invented railway's captures are what its scenes say, and every example runs and says what it should."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

if sys.platform != "win32":
    import termios

import pytest

import make_captures
import railway
from halfbit import (
    Address,
    Cutout,
    Fault,
    FaultKind,
    Instruction,
    Limits,
    Packet,
    Repetition,
    decode,
    open_capture,
)
from halfbit.instruction import CvWriteByte, Idle
from halfbit.instruction import Event

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
CAPTURES = EXAMPLES / "captures"

# The examples, and lines of what each says, in their order.
SAYS = {
    "annotations.py": [
        "    58 to   4269  losses        the capture starts or ends inside a packet",
        "  4269 to  10761  packets       FF 00 FF",
        " 10761 to  10878  bits          1",
        " 10761 to  17293  packets       07 90 97",
        " 10761 to  17293  instructions  short 7: function group one: FL on or no FL, F1 off, F2 off, F3 off, F4 off",
    ],
    "batch.py": [
        "programming_track.txt: 83 packets, 1 losses of 6.2 ms, decided by halves",
        "shunting_turn_polled.txt: 113 packets, 4 losses of 23.0 ms, decided by sum",
    ],
    "decode_capture.py": [
        "    0.000 ms  lost until 4.269 ms: the capture starts or ends inside a packet",
        "  154.369 ms  07 74 91 E2         short 7: speed and direction: forward, step 6 of 28 steps, "
        "or step 3 of 14 steps with FL on",
        "  154.369 ms  07 74 91 E2         short 7: function group one: FL on or no FL, F1 on, F2 off, F3 off, F4 off",
        "  237.147 ms  lost until 243.563 ms: unpaired half of a zero-bit, 116 us; a level change was probably missed",
    ],
    "in_asyncio.py": [
        "shunting_turn.txt: 115 instructions, 5 losses",
        "programming_track.txt: 83 instructions, 1 losses",
    ],
    "look_closely.py": [
        "240.319 ms: unpaired half of a zero-bit, 116 us; a level change was probably missed",
        "  lost: 237.147 to 243.563 ms; bytes complete: none",
        "  1:58+59  [UNPAIRED_ZERO 116]  1:57+59  0:99+100",
        "719.548 ms: unpaired half of a one-bit, 57 us; a level change was probably missed",
    ],
    "make_signal.py": [
        "sent      37 74 43",
        "sent      CA 2C 3F 9F 95 D3",
        "received  37 74 43 - short 55 - speed and direction: forward, step 6 of 28 steps, or step 3 of 14 steps with FL on",
        "lost      unpaired half of a one-bit, 57.035 us; a level change was probably missed",
        "received  CA 2C 3F 80 59 - long 2604 - 128 speed step control: forward, stop of 126 steps",
    ],
    "own_decoder.py": [
        "   17.293 ms  front lamp on",
        "  162.366 ms  motor forward at 53 of 255 (step 6 of 28)",
        "  162.366 ms  bell on",
        "  204.487 ms  bell off",
        "  230.614 ms  motor forward at 87 of 255 (step 11 of 28)",
        "  408.291 ms  motor reverse at 27 of 255 (step 2 of 28)",
        "  707.968 ms  motor forward at 40 of 255 (step 4 of 28)",
    ],
    "plot_addresses.py": ["traffic.svg: 8 addresses, 5 losses"],
    "polled_loop.py": [
        "by halves       0 packets    1 faults, decision by halves",
        "by sums       113 packets    4 faults, decision by sum",
        "as surveyed   113 packets    4 faults, decision by sum",
    ],
    "programming_session.py": [
        "direct mode verify byte: CV 8 = 13?",
        "write register 1 (CV 29) := 4",
        "CV 1 = 12",
        "CV 29 = 4",
    ],
    "track_time.py": [
        "short 7                             38  31.3%        41.276 ms",
        "accessory 9 pair 2 output 1          4   2.9%         6.531 ms",
    ],
    "watch_live.py": [
        "extended accessory 37: extended accessory: aspect 5",
        "  (half-bit of 19 us is too short)",
        "long 2604: CV write byte: CV 3 := 20",
    ],
}
#: What examples share, or make captures with; and what another test runs.
OTHERS = {"ending.py", "live_serial.py", "make_captures.py", "own_instructions.py", "railway.py"}
#: What makes the captures: no examples.
MAKERS = {"ending.py", "make_captures.py", "railway.py"}


def test_the_captures_are_those_the_scenes_make() -> None:
    made = make_captures.files()
    assert {path.name for path in CAPTURES.iterdir()} == set(made)
    for name, text in made.items():
        assert (CAPTURES / name).read_text("ascii") == text, f"{name}: run examples/make_captures.py"


@pytest.mark.parametrize("path", sorted(CAPTURES.iterdir()), ids=lambda path: path.name)
def test_a_capture_is_small_and_marked_invented(path: Path) -> None:
    assert path.stat().st_size < 200_000
    assert "Invented" in path.read_text("ascii").partition("halfbit:")[0]


def packets_of(events: Sequence[Event]) -> list[tuple[Packet, list[Instruction]]]:
    """The packets, each with its instructions."""
    found: list[tuple[Packet, list[Instruction]]] = []
    for event in events:
        if isinstance(event, Instruction):
            assert event.packet is not None
            if found and found[-1][0] is event.packet:
                found[-1][1].append(event)
            else:
                found.append((event.packet, [event]))
    return found


def script(record: make_captures.Record) -> list[tuple[Instruction, ...]]:
    """What should be read: all that was sent, the first packet aside, in which the recorder was switched on."""
    return [sent.instructions for sent in record.sent[1:] if sent.harm is None]


@pytest.mark.parametrize(
    ("capture", "scene", "count"),
    [("shunting_turn.txt", railway.SHUNTING_TURN, 112), ("programming_track.txt", railway.PROGRAMMING_TRACK, 83)],
)
def test_each_packet_of_a_scene_is_read(capture: str, scene: Sequence[railway.Step], count: int) -> None:
    record = make_captures.record(scene)
    events = list(decode(open_capture(CAPTURES / capture)))
    read = packets_of(events)
    assert [tuple(instructions) for _, instructions in read] == script(record)
    assert len(read) == count
    whole = [(sent, start) for sent, start in zip(record.sent, record.starts) if sent.harm is None][1:]
    before: Packet | None = None
    for (packet, _), (sent, start) in zip(read, whole):
        assert packet.data == make_captures.data_of(sent)
        if before is not None and before.end == packet.start:
            assert packet.preamble == sent.preamble + 1  # the end bit before counts (S-9.2 A)
            assert abs(packet.start - start) <= 2_000  # the rail's jitter and the recorder's clock
        else:  # the last one-bits of a torn packet are taken for preamble, which nothing can tell
            assert packet.preamble > sent.preamble and packet.start <= start + 2_000
        before = packet


def test_each_torn_packet_of_the_shunting_turn_is_one_fault() -> None:
    record = make_captures.record(railway.SHUNTING_TURN)
    faults = [event for event in decode(open_capture(CAPTURES / "shunting_turn.txt")) if isinstance(event, Fault)]
    torn = [(sent.harm, start) for sent, start in zip(record.sent, record.starts) if sent.harm is not None]
    assert [fault.kind for fault in faults] == [
        FaultKind.CUT,
        FaultKind.UNPAIRED_ZERO,
        FaultKind.SHORT,
        FaultKind.UNPAIRED_ZERO,
        FaultKind.UNPAIRED_ONE,
    ]
    assert [harm for harm, _ in torn] == [
        railway.Harm.LOST_CHANGE,
        railway.Harm.SPIKE,
        railway.Harm.NO_CONTACT,
        railway.Harm.FLIPPED,
    ]
    for fault, (_, start) in zip(faults[1:], torn):
        assert abs(fault.start - start) <= 2_000


def test_the_table_holds_the_same() -> None:
    events = list(decode(open_capture(CAPTURES / "shunting_turn.csv")))
    read = [tuple(instructions) for _, instructions in packets_of(events)]
    expected = script(make_captures.record(railway.SHUNTING_TURN))
    assert len(read) == 112
    assert read == expected[: len(read)]


def test_the_polled_capture_reads_by_sums() -> None:
    limits = Limits.for_sampling_period(36)
    read = packets_of(list(decode(open_capture(CAPTURES / "shunting_turn_polled.txt"), limits)))
    record = make_captures.record(railway.SHUNTING_TURN)
    expected = script(record)
    # The loop is too slow to see the spark, so the packet it tore for others is whole here.
    spared = [sent for sent in record.sent[1:] if sent.harm in (None, railway.Harm.SPIKE)]
    assert len(expected) == 112 and len(read) == 113
    assert [packet.data for packet, _ in read] == [make_captures.data_of(sent) for sent in spared]


def test_the_write_acts_with_its_second_packet() -> None:
    events = decode(open_capture(CAPTURES / "shunting_turn.txt"))
    repetitions = [event.repetition for event in events if isinstance(event, CvWriteByte)]
    assert repetitions == [Repetition.FIRST, Repetition.REPEAT]


def test_the_station_leaves_each_decoder_its_5_ms() -> None:
    # S-9.2 C: 5 ms from a packet's end bit to the start bit of the next for the same decoder.
    read = packets_of(list(decode(open_capture(CAPTURES / "shunting_turn.txt"))))
    ends: dict[Address, int] = {}
    for packet, (instruction, *_) in read:
        start_bit = packet.start + (packet.preamble - 1) * 114_000  # each at least 2 * 57 us here
        if instruction.address in ends and not isinstance(instruction, Idle):
            assert start_bit - ends[instruction.address] >= 5_000_000
        ends[instruction.address] = packet.end
    assert len(ends) == 8


@pytest.mark.parametrize("example", sorted(SAYS))
def test_an_example_runs_and_says_what_it_should(example: str, tmp_path: Path) -> None:
    stdin = (CAPTURES / "shunting_turn.txt").read_text("ascii") if example == "watch_live.py" else ""
    done = subprocess.run(
        [sys.executable, "-W", "error", ROOT / "tests" / "start_remembered.py", EXAMPLES / example],
        cwd=tmp_path,
        input=stdin,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    lines = iter(done.stdout.splitlines())
    for expected in SAYS[example]:
        assert expected in lines, f"{expected!r} is not in, or not in this place of\n{done.stdout}"


def test_an_example_whose_reader_goes_away_ends_without_a_traceback() -> None:
    command = f"{sys.executable} {EXAMPLES / 'decode_capture.py'} | head -1"
    done = subprocess.run(
        ["bash", "-c", command], capture_output=True, text=True, timeout=120, env={**os.environ, "PYTHONPATH": str(ROOT / "src")}
    )
    assert (len(done.stdout.splitlines()), done.stderr) == (1, "")


def test_all_examples_are_run() -> None:
    assert {path.name for path in EXAMPLES.glob("*.py")} - OTHERS == set(SAYS)
    assert len(SAYS) == 12


@pytest.mark.parametrize("example", sorted({*SAYS, *OTHERS} - MAKERS))
def test_an_example_is_short_and_says_first_what_it_shows(example: str) -> None:
    lines = (EXAMPLES / example).read_text("utf-8").splitlines()
    assert len(lines) < 80
    assert lines[0].startswith('"""') and lines[0].rstrip('"').endswith((".", ":"))


@pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals")
def test_the_serial_port_is_decoded_as_it_comes() -> None:
    lines = (CAPTURES / "programming_track.txt").read_text("ascii").splitlines()
    numbers = [line for line in lines if line[0] != "#"]
    board, port = os.openpty()
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-u", EXAMPLES / "live_serial.py", os.ttyname(port)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )
    with process:
        assert process.stdout is not None and process.stderr is not None
        while termios.tcgetattr(port)[3] & termios.ECHO:  # until the program has opened it
            time.sleep(0.02)
        time.sleep(0.1)
        os.write(board, "".join(f"{number}\r\n" for number in numbers[:320]).encode())
        assert process.stdout.readline() == "lost: the capture starts or ends inside a packet\n"
        assert process.stdout.readline() == "broadcast: digital decoder reset\n"
        os.write(board, b"no number\n")
        assert "not a duration: b'no number" in process.stderr.readline()
        os.close(port)
        os.close(board)  # the board is unplugged
        rest = process.stdout.read()
    assert process.returncode == 0
    # A line that is no number may stand for a duration: what is read around it is no packet.
    assert rest.splitlines()[-1] == "lost: half-bit of 0 us is too short"


def test_an_example_of_a_live_signal_does_not_wait() -> None:
    # The lines of the capture up to the first packet's end, and the pipe stays open.
    numbers = [line for line in (CAPTURES / "programming_track.txt").read_text("ascii").splitlines() if line[0] != "#"]
    process = subprocess.Popen(
        [sys.executable, "-u", EXAMPLES / "watch_live.py"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )
    with process:
        assert process.stdin is not None and process.stdout is not None
        for number in numbers[:320]:
            process.stdin.write(number + "\n")
        process.stdin.flush()
        assert process.stdout.readline() == "  (the capture starts or ends inside a packet)\n"
        assert process.stdout.readline() == "broadcast: digital decoder reset\n"
        process.stdin.close()
        assert process.stdout.readline() == "  (the capture starts or ends inside a packet)\n"
    assert process.returncode == 0


def test_no_capture_holds_a_cutout() -> None:
    for capture in ("shunting_turn.txt", "programming_track.txt"):
        assert not any(isinstance(event, Cutout) for event in decode(open_capture(CAPTURES / capture)))
