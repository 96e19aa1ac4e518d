"""``halfbit decode``: the table, the summary, the status, and the options."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfbit.cli.main import main

from .support_cli import durations_of, packet, run, text_of

STEP = packet("37 74")  # address 55, forward, step 6 of 28: 37 74 43 (S-9.2 B)
IDLE = packet("FF 00")  # FF 00 FF (S-9.2 B)
RESET = packet("00 00")  # 00 00 00 (S-9.2 B)
WRITE = packet("7C 00 05")  # direct mode, write byte, CV 1 (S-9.2.3 E)
TWO = packet("37 90 B0")  # function group one and two behind one address (S-9.2.1)

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    return tmp_path / "capture.txt"


def decoded(capsys: Captured, *arguments: object) -> tuple[int, list[str], str]:
    status = main(["decode", *map(str, arguments)])
    out, errors = capsys.readouterr()
    return status, out.splitlines(), errors


def rows(lines: list[str]) -> list[list[str]]:
    """The table's rows, in words, without titles and summary."""
    return [line.split() for line in lines[1 : lines.index("")]]


def test_worked_value_of_the_standard(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP]))
    status, lines, errors = decoded(capsys, capture)
    assert (status, errors) == (0, "")
    assert lines[0].split() == ["time", "ms", "count", "address", "bytes", "instruction"]
    row = lines[1]
    assert row.split()[:7] == ["0.000", "1", "short", "55", "37", "74", "43"]
    assert "forward" in row and "step 6 of 28" in row


def test_columns_stand_below_their_titles(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP, IDLE, packet("83 F9")]))
    _, lines, _ = decoded(capsys, capture)
    table = lines[: lines.index("")]
    for title in ("address", "bytes", "instruction"):
        at = table[0].index(title)
        assert all(row[at - 1] == " " != row[at] for row in table)


def test_runs_are_folded_into_a_line_with_a_count(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([IDLE] * 5 + [STEP] * 2 + [IDLE]))
    _, lines, _ = decoded(capsys, capture)
    found = [(row[1], row[2]) for row in rows(lines)]
    assert found == [("5", "idle"), ("2", "short"), ("1", "idle")]
    idle, step = (sum(durations_of([data])) for data in (IDLE, STEP))
    # In us, and the table has ms.
    assert [row[0] for row in rows(lines)] == [
        f"{time / 1000:.3f}" for time in (0, 5 * idle, 5 * idle + 2 * step)
    ]


def test_every_packet_on_a_line_of_its_own(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([IDLE] * 5 + [STEP] * 2))
    _, lines, _ = decoded(capsys, capture, "--every")
    assert [(row[1], row[2]) for row in rows(lines)] == [("1", "idle")] * 5 + [("1", "short")] * 2


def test_a_fault_ends_a_run(capture: Path, capsys: Captured) -> None:
    halves = durations_of([STEP] * 3)
    size = len(halves) // 3
    halves[size + 40] = 77  # between a one's 64 us and a zero's 90 us (S-9.1 A, table 1)
    capture.write_text("\n".join(map(str, halves)) + "\n")
    status, lines, _ = decoded(capsys, capture, "--holds", "durations")
    assert status == 0
    assert [row[1] for row in rows(lines)] == ["1", "FAULT", "1"]
    (fault,) = [line for line in lines if "FAULT" in line]
    at = sum(halves[: size + 40])
    assert f"FAULT at {at / 1000:.3f}: half-bit of 77 us" in fault
    assert "ms lost" in fault
    assert lines[-2].startswith("faults   1, ")
    assert lines[-1].split() == ["1", "gap"]


def test_bytes_of_a_torn_packet_are_shown(capture: Path, capsys: Captured) -> None:
    wrong = bytes([0x37, 0x74, 0x44])
    capture.write_bytes(text_of([STEP, wrong, STEP, STEP]))
    _, lines, _ = decoded(capsys, capture)
    (fault,) = [line for line in lines if "FAULT" in line]
    assert "37 74 44" in fault
    assert "error detection byte is wrong in the bits 00000111" in fault


def test_several_instructions_of_a_packet_stand_below_each_other(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([TWO, TWO]))
    _, lines, _ = decoded(capsys, capture)
    first, second = lines[1], lines[2]
    assert first.split()[:4] == ["0.000", "2", "short", "55"]
    assert "37 90 B0 17" in first and "group one" in first
    assert second.index("function group two") == first.index("function group one")
    assert lines[3] == ""


def test_service_mode_and_which_packet_acts_are_said(capture: Path, capsys: Captured) -> None:
    # Enters service mode behind a reset; only the second identical packet acts (S-9.2.3 E).
    capture.write_bytes(text_of([RESET] * 3 + [WRITE] * 4))
    _, lines, _ = decoded(capsys, capture)
    reset, first, repeat = lines[1:4]
    assert reset.split()[1] == "3"
    assert first.split()[1] == "1" and "first sight" in first and "service mode" in first and "CV 1" in first
    assert repeat.split()[1] == "3" and "repeat" in repeat


def test_both_readings_of_what_no_context_tells(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([WRITE]))
    _, lines, _ = decoded(capsys, capture)
    assert "CV 1" in lines[1] and "124" in lines[1]  # 7C is short address 124, too
    _, lines, _ = decoded(capsys, capture, "--context", "operations")
    assert "CV 1" not in lines[1] and lines[1].split()[2:4] == ["short", "124"]
    _, lines, _ = decoded(capsys, capture, "--context", "service")
    assert "CV 1" in lines[1] and "124" not in lines[1]


def test_cv29_leaves_one_reading(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP]))
    texts = [decoded(capsys, capture, *said)[1][1] for said in ([], ["--cv29", 2], ["--cv29", 0])]
    assert ["28" in text.split() for text in texts] == [True, True, False]
    assert ["14" in text.split() for text in texts] == [True, False, True]


def test_cutouts_are_shown_and_counted(capture: Path, capsys: Captured) -> None:
    # As one rail shows it (S-9.3.2, RCN-217, from memory): 29 us, then 430 us in place of four one-bits.
    halves = durations_of([STEP]) + [29, 430] + durations_of([STEP, STEP])
    capture.write_text("\n".join(map(str, halves)) + "\n")
    _, lines, _ = decoded(capsys, capture, "--holds", "durations")
    assert any("cutout of" in line for line in lines)
    assert "faults   0, 0.000 ms lost" in lines
    assert any(line.startswith("cutouts  1, ") for line in lines)


def test_summary(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP, IDLE, STEP]))
    _, lines, _ = decoded(capsys, capture)
    packets = sum(durations_of([STEP, IDLE, STEP]))
    whole = packets + 8 * 58  # four one-bits stand behind
    assert lines[lines.index("") + 1 :] == [
        f"length   {whole / 1000:.3f} ms, {len(durations_of([STEP, IDLE, STEP])) + 8} half-bits",
        "packets  3, 2 of them distinct",
        f"decoded  {packets / whole:.2%} of the time is in packets",
        "faults   0, 0.000 ms lost",
    ]


def test_standard_input() -> None:
    finished = run("decode", "-", stdin=text_of([STEP]))
    assert finished.returncode == 0
    assert b"37 74 43" in finished.stdout


def test_nothing_decoded(capture: Path, capsys: Captured) -> None:
    capture.write_text("# halfbit: durations us\n" + "70\n" * 100)
    status, lines, errors = decoded(capsys, capture)
    assert status == 1
    assert "packets  0, 0 of them distinct" in lines
    assert f"{capture}: no packets: the faults say" in errors


@pytest.mark.parametrize("unit", ["ns", "ms"])
def test_wrong_unit_is_suspected(unit: str, capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP]))
    status, _, errors = decoded(capsys, capture, "--unit", unit)
    assert status == 1
    assert "is the unit right (--unit)?" in errors


def test_level_that_never_changes(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "capture.csv"
    path.write_text("time,level\n0,0\n10,0\n")
    status, lines, errors = decoded(capsys, path)
    assert status == 1
    assert "the level never changes twice" in errors
    assert "length   0.000 ms, 0 half-bits" in lines


def test_options_of_a_table(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "capture.dat"
    time, rows = 0, ["when|rail b|rail a"]
    for index, half in enumerate(durations_of([STEP]) + [58]):
        rows.append(f"{time},0|0|{index % 2}")
        time += half * 2  # two ticks to the us
    path.write_text("\n".join(rows))
    said = ["--format", "csv", "--delimiter", "pipe", "--time-column", "when", "--level-column", 3]
    status, lines, _ = decoded(capsys, path, *said, "--unit", "2e6", "--last-line", "take")
    assert status == 0
    assert "37 74 43" in lines[1]


def test_timer_that_starts_over(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "capture.log"
    time, lines = 65_000, []
    for half in [0, *durations_of([STEP, STEP])]:
        time += half
        lines.append(str(time % 65_536))
    path.write_text("\n".join(lines) + "\n")
    status, table, _ = decoded(capsys, path, "--holds", "times", "--unit", "us", "--wrap", 65_536)
    assert status == 0
    assert table[1].split()[:2] == ["0.000", "2"]


def test_help_tells_the_status_and_the_heading(capsys: Captured) -> None:
    with pytest.raises(SystemExit) as left:
        main(["decode", "--help"])
    assert left.value.code == 0
    out, _ = capsys.readouterr()
    for words in ("Exit status: 0", "# halfbit: durations us", "summary", "Ctrl-C"):
        assert words in out
