"""What the README says is so: its code runs, its output is real, and its commands are the two that are promised."""

from __future__ import annotations

import contextlib
import io
import re
import sys
from pathlib import Path

import mypy.api
import pytest

from halfbit.cli.main import main

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

ROOT = Path(__file__).parent.parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
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


#: Every command of halfbit that the README shows or speaks of.
COMMANDS = re.findall(r"^\.venv/bin/halfbit (.+)$|`halfbit ([^`]+)`", README, re.MULTILINE)


@pytest.mark.parametrize("words", ["".join(found) for found in COMMANDS])
def test_the_commands_it_shows_run(
    words: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    assert main(words.replace("FILE", "examples/captures/shunting_turn.txt").split()) == 0
    assert len(capsys.readouterr().out.splitlines()) > 10


def test_it_shows_the_commands_that_one_begins_with() -> None:
    shown = {"".join(found).split()[0] for found in COMMANDS}
    assert {"survey", "decode", "inspect", "traffic", "audit"} <= shown


def test_it_is_short_and_begins_with_the_job() -> None:
    assert len(README.splitlines()) < 100
    first = README.split("\n\n")[1]
    assert "halfbit" not in first and "decoder" in first and "board" in first


def test_every_command_stands_for_itself() -> None:
    commands = [command.strip() for command in blocks("sh")]
    alone = [command for command in commands if "\n" not in command]
    assert len(commands) == 4 and len(alone) == 3  # the two of the set-up, and how the site is built
    for command in alone:
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert alone[0].endswith(".venv/bin/halfbit decode examples/captures/shunting_turn.txt")
    assert alone[1].endswith(".venv/bin/pytest")


def test_ci_runs_the_test_command_of_the_readme() -> None:
    assert blocks("sh")[1].strip() in (ROOT / ".ci" / "run").read_text("utf-8")


@pytest.mark.parametrize("name", re.findall(r"\]\(([\w./-]+)\)|`((?:[\w./-]+\.md)|(?:docs|examples)/|LICENSE)`", README))
def test_what_it_points_to_is_there(name: tuple[str, ...]) -> None:
    assert (ROOT / "".join(name)).exists()


def test_it_can_be_cited_with_the_version_there_is() -> None:
    assert f"the halfbit contributors, 2026, version {PROJECT['project']['version']}" in README
