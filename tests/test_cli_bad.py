"""Input that cannot be read, and wrong use: status 2 and a message that says what and where."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable
from pathlib import Path

import pytest

from halfbit.cli.main import main

from .support_cli import packet, problems, run, text_of

STEP = packet("37 74")  # address 55, forward, step 6 of 28 (S-9.2 B)


def rows(numbers: Iterable[int]) -> bytes:
    """A text with a number a line."""
    return b"".join(b"%d\n" % number for number in numbers)


INDEXED = b"".join(b"%d %d\n" % (index, 31 + index * 19 % 41 + index * 29 % 43) for index in range(200))
NUMBERED = "if lines hold an index and a duration, say --format csv --time-column 2 --holds durations"

# File name, contents, options, and parts of the message.
BAD: list[tuple[str, bytes, list[str], list[str]]] = [
    ("empty.txt", b"", [], ["empty.txt: is empty"]),
    ("empty.csv", b"", [], ["empty.csv: is empty"]),
    ("comments.txt", b"# nothing here\n", [], ["holds no values"]),
    ("word.txt", b"# halfbit: durations us\n58\nfifty\n", [], ["word.txt: line 3: 'fifty' is not a number"]),
    ("negative.txt", b"58\n-58\n", ["--holds", "durations"], ["line 2: duration -58 is negative"]),
    ("nan.txt", b"58\nnan\n", ["--holds", "durations"], ["line 2: 'nan' is not a finite number"]),
    ("inf.txt", b"58\n116\ninf\n", ["--holds", "times"], ["line 3: 'inf' is not a finite number"]),
    ("back.txt", b"58\n116\n115\n", ["--holds", "times"], ["line 3: time goes backwards, from 116 to 115", "wrap"]),
    ("cut.txt", b"58\n5", ["--holds", "durations", "--last-line", "refuse"], ["line 2: the file ends inside the line", "--last-line take"]),
    ("rubbish.txt", bytes(range(256)), ["--holds", "durations"], ["line 1: byte 0x", "not a text file?"]),
    ("latin.txt", b"58\n5\xb5\n", ["--holds", "durations"], ["line 2: byte 0xb5 is not UTF-8 text"]),
    ("unsaid.txt", b"58\n58\n", [], ["no way to read it gives packets", "--holds durations or --holds times"]),
    ("rising.txt", rows(range(0, 90_000, 1_021)), [], ["they are likely times: say --holds times  ("]),
    ("jumping.txt", rows([900, 300, 700] * 30), [], ["they are likely durations: say --holds durations  ("]),
    ("index.txt", INDEXED, [], ["no two levels", NUMBERED]),
    ("index.txt", INDEXED, ["--holds", "durations"], ["--holds: means nothing in the format 'volts' (", NUMBERED]),
    ("index.csv", INDEXED, ["--format", "csv", "--delimiter", "space"], ["level '31' is neither 0 nor 1", NUMBERED]),
    ("heading.txt", b"# halfbit: pulses\n58\n", [], ["line 1", "'durations' or 'times'"]),
    ("column.csv", b"time,level\n0,0\n", ["--time-column", "clock"], ["no column 'clock'", "1 'time', 2 'level'"]),
    ("column.csv", b"time,level\n0,0\n", ["--level-column", "3"], ["no column 3", "there are 2"]),
    ("level.csv", b"time,level\n0,0\n1,7\n", ["--format", "csv"], ["line 3: level '7' is neither 0 nor 1"]),
    ("back.csv", b"time,level\n5,0\n4,1\n", [], ["line 3: time goes backwards, from 5 to 4"]),
    ("capture.xyz", b"words alone\n", [], ["line 1: 'words alone' is not a number"]),
    ("capture.txt", b"58\n", ["--channel", "1"], ["--channel: means nothing in the format 'text'"]),
    ("capture.txt", b"58\n", ["--holds", "times", "--wrap", "1"], ["wrap: 1 is not"]),
    ("capture.txt", b"58\n", ["--holds", "durations", "--wrap", "256"], ["durations do not start over"]),
    ("capture.txt", b"58\n", ["--holds", "durations", "--cv29", "256"], ["cv29: 256"]),
    ("capture.csv", b"0,0\n", ["--delimiter", "xy"], ["--delimiter: 'xy' is not a single character"]),
    ("capture.csv", b"0,0\n", ["--level-column", "0"], ["--level-column: 0 is not the name of a column"]),
]


@pytest.mark.parametrize(
    ("name", "data", "options", "words"), BAD, ids=[f"{row[0]} {' '.join(row[2])}" for row in BAD]
)
def test_bad_input(
    name: str,
    data: bytes,
    options: list[str],
    words: list[str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    options = [f"{options[i]}={options[i + 1]}" for i in range(0, len(options), 2)]
    assert main(["decode", str(path), *options]) == 2
    _, errors = capsys.readouterr()
    errors = problems(errors)
    assert errors.startswith("halfbit: error: ")
    assert errors.count("\n") == 1
    assert errors.endswith("  (halfbit decode --help)\n")
    for part in words:
        assert part in errors


def test_an_index_and_a_duration_are_read_as_the_error_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "index.txt"
    lines = [line for line in text_of([STEP] * 3).decode().splitlines() if not line.startswith("#")]
    path.write_text("".join(f"{index} {line}\n" for index, line in enumerate(lines)))
    assert main(["decode", str(path)]) == 1
    words = "if lines hold an index and a duration, say "
    said = next(line for line in capsys.readouterr().err.splitlines() if words in line).partition(words)[2]
    assert main(["decode", str(path), *said.split()]) == 0
    assert "short 55" in " ".join(capsys.readouterr().out.split())


def test_missing_file_and_directory(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["decode", str(tmp_path / "gone.txt")]) == 2
    assert "gone.txt: cannot be read: No such file" in capsys.readouterr().err
    assert main(["decode", str(tmp_path)]) == 2
    assert "cannot be read: Is a directory" in capsys.readouterr().err


def test_what_stands_before_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of([STEP] * 3) + b"x\n")
    assert main(["decode", str(path)]) == 2
    out, errors = capsys.readouterr()
    assert out.splitlines()[1].split()[1:3] == ["short", "55"]
    assert "packets" not in out  # no summary: it would be of a part
    assert f"line {len(text_of([STEP] * 3).splitlines()) + 1}: 'x' is not a number" in errors


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "COMMAND"),
        (["tell"], "invalid choice"),
        (["decode"], "FILE"),
        (["decode", "a.txt", "--unit", "hours"], "'hours' is not ns, us, ms or s"),
        (["decode", "a.txt", "--unit", "0"], "'0' is not ns, us"),
        (["decode", "a.txt", "--format", "xls"], "invalid choice: 'xls'"),
        (["decode", "a.txt", "--holds", "levels"], "invalid choice: 'levels'"),
        (["decode", "a.txt", "--context", "workshop"], "invalid choice"),
        (["decode", "a.txt", "--wrap", "x"], "'x' is not a whole number"),
        (["decode", "a.txt", "--dec", "sum"], "unrecognized arguments"),  # no guessing of options
    ],
)
def test_wrong_use(arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code == 2
    assert words in capsys.readouterr().err


def test_no_traceback_from_a_process_of_its_own(tmp_path: Path) -> None:
    finished = run("decode", str(tmp_path / "gone.txt"))
    assert finished.returncode == 2
    assert finished.stdout == b""
    assert finished.stderr.decode().splitlines() == [f"halfbit: error: {tmp_path}/gone.txt: cannot be read: No such file or directory  (halfbit decode --help)"]


def test_output_that_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of([STEP]))
    with open(tmp_path / "output", "w") as output:

        def full(text: str) -> int:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        monkeypatch.setattr(output, "write", full, raising=False)
        monkeypatch.setattr("sys.stdout", output)
        assert main(["decode", str(path)]) == 2
    assert f"the output cannot be written: {os.strerror(errno.ENOSPC)}" in capsys.readouterr().err
