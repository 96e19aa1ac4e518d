"""What the README says is so: its code runs, its output is real, and its commands are the two that are promised."""

from __future__ import annotations

import contextlib
import io
import re
from pathlib import Path

import mypy.api
import pytest

from halfbit.cli.main import main

ROOT = Path(__file__).parent.parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def blocks(language: str) -> list[str]:
    """The code blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)


def test_the_library_in_ten_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    (code,) = blocks("python")
    assert len([line for line in code.splitlines() if line]) <= 10
    monkeypatch.chdir(ROOT)
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(compile(code, "README.md", "exec"), {})
    assert said.getvalue() == blocks("text")[0]


def test_the_code_is_typed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (code,) = blocks("python")
    monkeypatch.setenv("MYPYPATH", str(ROOT / "src"))
    out, errors, status = mypy.api.run(["--strict", "--config-file=", f"--cache-dir={tmp_path}", "-c", code])
    assert status == 0, out + errors


def test_the_command_line_shows_this(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    command, *shown = blocks("text")[1].splitlines()
    words = command.split()
    assert words[:2] == ["$", ".venv/bin/halfbit"]
    monkeypatch.chdir(ROOT)
    assert main(words[2:]) == 0
    lines = iter(capsys.readouterr().out.splitlines())
    assert shown.count("...") == 1 and len(shown) > 10
    for expected in shown:
        if expected != "...":
            assert expected in lines, f"{expected!r} is not, or not in this place, what is written"


@pytest.mark.parametrize("words", [words for words in re.findall(r"`halfbit ([^`]+)`", README) if "COMMAND" not in words])
def test_the_commands_it_speaks_of_run(
    words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.chdir(ROOT)
    capture = "examples/captures/shunting_turn.txt"
    words = words.replace("FILE", capture).replace("A B", f"{capture} {capture}").replace("report.html", str(tmp_path / "report.html"))
    assert main(words.split()) == 0
    written = len(capsys.readouterr().out.splitlines())
    assert written > (0 if words.startswith("compare") else 10) or (tmp_path / "report.html").exists()


def test_every_command_stands_for_itself() -> None:
    commands = [command.strip() for command in blocks("sh")]
    assert len(commands) == 3  # the two of the set-up, and how the site is built
    for command in commands:
        assert "\n" not in command
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert commands[0].endswith(".venv/bin/halfbit decode examples/captures/shunting_turn.txt")
    assert commands[1].endswith(".venv/bin/pytest")


def test_ci_runs_the_test_command_of_the_readme() -> None:
    assert blocks("sh")[1].strip() in (ROOT / ".ci" / "run").read_text("utf-8")


@pytest.mark.parametrize("name", re.findall(r"`([\w./-]+\.(?:md|txt))`|`((?:docs|examples)/)`|`(LICENSE)`", README))
def test_what_it_points_to_is_there(name: tuple[str, ...]) -> None:
    assert (ROOT / "".join(name)).exists()
