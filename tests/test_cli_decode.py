"""``halfbit decode``: the table, the summary, the status, and the options."""

from __future__ import annotations

from pathlib import Path

import pytest
from vcd.reader import tokenize

from halfbit.cli.main import main

from .support_cli import durations_of, packet, problems, run, text_of

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
    return status, out.splitlines(), problems(errors)


def rows(lines: list[str]) -> list[list[str]]:
    """The table's rows, in words, without titles and summary."""
    return [line.split() for line in lines[1 : lines.index("")]]


def test_worked_value_of_the_standard(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP]))
    status, lines, errors = decoded(capsys, capture, "--bytes")
    assert (status, errors) == (0, "")
    assert lines[0].split() == ["time", "ms", "address", "bytes", "instruction"]
    row = lines[1]
    assert row.split()[:6] == ["0.000", "short", "55", "37", "74", "43"]
    assert "forward" in row and "step 6 of 28" in row


def test_columns_stand_below_their_titles(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP, IDLE, packet("03 3F 85")]))
    _, lines, _ = decoded(capsys, capture)
    table = lines[: lines.index("")]
    for title in ("address", "instruction"):
        at = table[0].index(title)
        assert all(row[at - 1] == " " != row[at] for row in table)


def test_one_line_for_each_change(capture: Path, capsys: Captured) -> None:
    slower = packet("37 73")  # address 55, forward, step 4 of 28 (S-9.2 B)
    capture.write_bytes(text_of([STEP, IDLE] * 5 + [slower, IDLE] * 3 + [STEP]))
    _, lines, _ = decoded(capsys, capture)
    shown = rows(lines)
    assert [row[1] for row in shown] == ["short", "idle", "short", "short"]
    assert ["step 6 of 28" in " ".join(row) for row in shown] == [True, False, False, True]
    assert lines[lines.index("") + 1].startswith("again    13 more instructions say nothing new")
    step, idle = (sum(durations_of([data])) for data in (STEP, IDLE))
    # In us, and the table has ms. Steps 4 and 6 have as many one-bits, error byte included, so they last as long.
    assert shown[2][0] == f"{5 * (step + idle) / 1000:.3f}"


def test_function_groups_in_turn_are_known_each(capture: Path, capsys: Captured) -> None:
    # Function group two says F5 to F8, or F9 to F12 (S-9.2.1 C): one does not hide the other.
    capture.write_bytes(text_of([packet("37 B1"), packet("37 A2")] * 4))
    _, lines, _ = decoded(capsys, capture)
    assert len(rows(lines)) == 2


def test_every_packet_on_a_line_of_its_own(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([IDLE] * 5 + [STEP] * 2))
    _, lines, _ = decoded(capsys, capture, "--every")
    assert [row[1] for row in rows(lines)] == ["idle"] * 5 + ["short"] * 2


def test_filters(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP, IDLE, packet("38 74"), packet("83 F9"), STEP]))
    step = sum(durations_of([STEP])) / 1000
    assert [row[1] for row in rows(decoded(capsys, capture, "--address", "55")[1])] == ["short"]
    assert [row[2] for row in rows(decoded(capsys, capture, "--address", "short 56", "--address", "55")[1])] == [
        "55",
        "56",
    ]
    assert [
        row[1] for row in rows(decoded(capsys, capture, "--from", f"{step + 0.1}ms", "--to", f"{step + 0.2}")[1])
    ] == ["idle"]
    assert decoded(capsys, capture, "--lost")[1][0] == ""


def test_a_loss_has_its_place_and_its_cause(capture: Path, capsys: Captured) -> None:
    halves = durations_of([STEP] * 3)
    size = len(halves) // 3
    halves[size + 40] = 77  # between a one's 64 us and a zero's 90 us (S-9.1 A, table 1)
    capture.write_text("\n".join(map(str, halves)) + "\n")
    status, lines, _ = decoded(capsys, capture)
    assert status == 0
    (lost,) = [line for line in lines if "LOST" in line]
    at = sum(halves[: size + 40])
    assert lost.startswith(f"{at / 1000:11.3f}  LOST 5.8 ms ")
    assert "a half-bit was" in lost
    assert "this is 37 74 43, as sent 6 ms before and 6 ms after" in lost
    assert "lost     1 stretch, 5.8" in "\n".join(lines)
    assert "         began with: 1 gap; 1 half-bits and bits wrong in all" in lines


def test_bytes_of_a_torn_packet_are_shown(capture: Path, capsys: Captured) -> None:
    wrong = bytes([0x37, 0x74, 0x44])
    capture.write_bytes(text_of([STEP, wrong, STEP, STEP]))
    _, lines, _ = decoded(capsys, capture, "--bytes")
    (fault,) = [line for line in lines if "LOST" in line]
    assert "37 74 44" in fault
    assert "error detection byte is wrong in the bits 00000111" in fault


def test_several_instructions_of_a_packet_stand_below_each_other(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([TWO, TWO]))
    _, lines, _ = decoded(capsys, capture)
    first, second = lines[1], lines[2]
    assert first.split()[:3] == ["0.000", "short", "55"] and "group one" in first
    assert second.index("function group two") == first.index("function group one")
    assert lines[3] == ""


def test_service_mode_and_which_packet_acts_are_said(capture: Path, capsys: Captured) -> None:
    # Enters service mode behind a reset; only the second identical packet acts (S-9.2.3 E).
    capture.write_bytes(text_of([RESET] * 3 + [WRITE] * 4))
    _, lines, _ = decoded(capsys, capture)
    reset, first, repeat = lines[1:4]
    assert "reset" in reset
    assert "; first" in first and "service mode" in first and "CV 1" in first
    assert "repeat" in repeat
    assert lines[4] == ""


def test_both_readings_of_what_no_context_tells(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([WRITE]))
    _, lines, _ = decoded(capsys, capture)
    assert "CV 1" in lines[1] and "124" in lines[1]  # 7C is short address 124, too
    _, lines, _ = decoded(capsys, capture, "--context", "operations")
    assert "CV 1" not in lines[1] and lines[1].split()[1:3] == ["short", "124"]
    _, lines, _ = decoded(capsys, capture, "--context", "service")
    assert "CV 1" in lines[1] and "124" not in lines[1]


def test_cv29_leaves_one_reading(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP]))
    texts = [decoded(capsys, capture, *said)[1][1] for said in ([], ["--cv29", "0x02"], ["--cv29", 0])]
    assert ["28" in text.split() for text in texts] == [True, True, False]
    assert ["14" in text.split() for text in texts] == [True, False, True]


def test_cutouts_are_shown_and_counted(capture: Path, capsys: Captured) -> None:
    # As one rail shows it (S-9.3.2, RCN-217, from memory): 29 us, then 430 us in place of four one-bits.
    halves = durations_of([STEP]) + [29, 430] + durations_of([STEP, STEP])
    capture.write_text("\n".join(map(str, halves)) + "\n")
    _, lines, _ = decoded(capsys, capture, "--holds", "durations")
    assert any("cutout of" in line for line in lines)
    assert "lost     0 stretches, 0.000 ms" in lines
    assert any(line.startswith("cutouts  1, ") for line in lines)


def test_summary(capture: Path, capsys: Captured) -> None:
    capture.write_bytes(text_of([STEP, IDLE, STEP]))
    _, lines, _ = decoded(capsys, capture)
    packets = sum(durations_of([STEP, IDLE, STEP]))
    whole = packets + 8 * 58  # four one-bits stand behind
    assert lines[lines.index("") + 2 :] == [
        f"length   {whole / 1000:.3f} ms, {len(durations_of([STEP, IDLE, STEP])) + 8} half-bits",
        "packets  3, 2 of them distinct",
        f"decoded  {packets / whole:.2%} of the time is in packets",
        "lost     0 stretches, 0.000 ms",
    ]


def test_standard_input() -> None:
    finished = run("decode", "-", stdin=text_of([STEP]))
    assert finished.returncode == 0
    assert b"short 55" in finished.stdout


def test_nothing_decoded(capture: Path, capsys: Captured) -> None:
    capture.write_text("# halfbit: durations us\n" + "70\n" * 100)
    status, lines, errors = decoded(capsys, capture)
    assert status == 1
    assert "packets  0, 0 of them distinct" in lines
    assert f"{capture}: no packets: halfbit survey says" in errors


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
    assert "short 55" in lines[1]


def test_timer_that_starts_over(tmp_path: Path, capsys: Captured) -> None:
    path = tmp_path / "capture.log"
    time, lines = 65_000, []
    for half in [0, *durations_of([STEP, STEP])]:
        time += half
        lines.append(str(time % 65_536))
    path.write_text("\n".join(lines) + "\n")
    status, table, _ = decoded(capsys, path, "--holds", "times", "--unit", "us", "--wrap", 65_536)
    assert status == 0
    assert table[1].split()[:3] == ["0.000", "short", "55"]


def test_help_has_ten_options_and_help_all_the_rest(capsys: Captured) -> None:
    texts = []
    for words in (["decode", "--help"], ["decode", "--help-all"]):
        with pytest.raises(SystemExit) as left:
            main(words)
        assert left.value.code == 0
        texts.append(capsys.readouterr().out)
    short, full = texts
    options = [line.split()[0] for line in short.splitlines() if line.startswith("  --")]
    assert len(options) <= 10 + 1  # and --help-all
    assert "Exit status: 0" in short and "Exit status: 0" in full
    assert max(map(len, full.splitlines())) <= 150
    for words_ in ("# halfbit: durations us", "Ctrl-C", "--zero-total-max", "--other-rail", "--vcd"):
        assert words_ in full and words_ not in short


def test_rows_beside_the_signal_for_a_viewer(capture: Path, tmp_path: Path, capsys: Captured) -> None:
    # Read back by pyvcd's own tokens.
    capture.write_bytes(text_of([STEP, IDLE]))
    path = tmp_path / "out.vcd"
    assert main(["decode", str(capture), "--vcd", str(path)]) == 0
    values: dict[str, list[object]] = {}
    names = {}
    with open(path, "rb") as file:
        for token in tokenize(file):
            if token.kind.name == "VAR":
                names[token.var.id_code] = token.var.reference
            elif token.kind.name in ("CHANGE_STRING", "CHANGE_SCALAR"):
                change = token.string_change if token.kind.name == "CHANGE_STRING" else token.scalar_change
                values.setdefault(names[change.id_code], []).append(change.value)
    assert [value for value in values["packet"] if value in ("37", "74", "43", "FF", "00")] == [
        "37",
        "74",
        "43",
        "FF",
        "00",
        "FF",
    ]
    # A row turns over with each bit: 14 one-bits, nine for each byte, and the end bit (S-9.2 A), for each of two packets.
    assert len(values["bit_start"]) == 2 * (14 + 3 * 9 + 1)
    assert sum(str(value).startswith("short") for value in values["meaning"]) == 1
    # And by ourselves.
    assert main(["decode", str(path), "--signal", "signal"]) == 0
    assert "packets  2, 2 of them distinct" in capsys.readouterr().out


def test_vcd_to_standard_output_comes_without_the_table(capture: Path, capsys: Captured, tmp_path: Path) -> None:
    capture.write_bytes(text_of([STEP, IDLE]))
    assert main(["decode", str(capture), "--vcd", str(tmp_path / "out.vcd")]) == 0
    assert "packets  2" in capsys.readouterr().out
    assert main(["decode", str(capture), "--vcd", "-"]) == 0
    written, out = (tmp_path / "out.vcd").read_text().splitlines(), capsys.readouterr().out.splitlines()
    assert [line for line in out if "$date" not in line] == [line for line in written if "$date" not in line]
