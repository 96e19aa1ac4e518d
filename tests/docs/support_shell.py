"""Pages run as a reader would: files are made as their captions say, shell commands run, and what they print is compared."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path

import attrs

__all__ = ["DOCS", "ROOT", "Command", "File", "differs", "matches", "pages", "run", "steps"]

ROOT = Path(__file__).parent.parent.parent
DOCS = ROOT / "docs"


@attrs.frozen
class File:
    """A file the page has the reader make."""

    name: str
    text: str


@attrs.frozen
class Command:
    """A command the page has the reader give, and what it says is printed."""

    words: str
    printed: list[str]


_BLOCK = re.compile(
    r"^(?P<indent> *)\.\. code-block:: (?P<language>console|python)\n"
    r"(?P<options>(?:(?P=indent)   :.*\n)*)\n"
    r"(?P<body>(?:(?P=indent)   .*\n|\s*\n)*)",
    re.MULTILINE,
)


def steps(page: str) -> Iterator[File | Command]:
    """What a page has its reader do, in order: console blocks, and Python blocks with a caption."""
    for block in _BLOCK.finditer(page):
        body = textwrap.dedent(block["body"]).strip("\n")
        if block["language"] == "console":
            for part in re.split(r"^\$ ", body, flags=re.MULTILINE)[1:]:
                words, _, printed = part.partition("\n")
                yield Command(words, printed.strip("\n").splitlines() if printed.strip() else [])
        elif caption := re.search(r":caption: (\S+)", block["options"]):
            yield File(caption[1], body + "\n")


def pages() -> list[Path]:
    """The pages with something to run."""
    return [page for page in sorted(DOCS.rglob("*.rst")) if any(True for _ in steps(page.read_text("utf-8")))]


def run(words: str, folder: Path, stdin: str = "") -> tuple[list[str], int]:
    """Run a command in a shell; the lines it prints, errors included, and its status."""
    beside = Path(sys.executable).parent
    path = os.pathsep.join((str(folder / "bin"), str(beside), os.environ["PATH"]))
    _program(folder, "halfbit", f"{ROOT / 'tests' / 'start_remembered.py'} {beside / 'halfbit'}")
    if shutil.which("cc") is None:
        _program(folder, "cc", "-m ziglang cc")
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", words],
        cwd=folder,
        env={**os.environ, "PATH": path, "PYTHONPATH": str(ROOT / "src"), "LC_ALL": "C.UTF-8"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        input=stdin,
        text=True,
        timeout=120,
    )
    return [line.rstrip() for line in done.stdout.splitlines()], done.returncode


def _program(folder: Path, name: str, words: str) -> None:
    """A command that starts this Python with some words before its own."""
    program = folder / "bin" / name
    program.parent.mkdir(exist_ok=True)
    program.write_text(f'#!/bin/sh\nexec {sys.executable} {words} "$@"\n', "utf-8")
    program.chmod(0o755)


def matches(shown: list[str], printed: list[str]) -> bool:
    """True if what is shown was printed: a line ``...`` stands for any lines, ``...`` in a line for any text."""
    return differs(shown, printed) is None


def differs(shown: list[str], printed: list[str]) -> str | None:
    """The first shown line that was not printed in its place; ``None`` if all were."""
    at = 0
    loose = False
    for line in shown:
        line = line.rstrip()
        if line == "...":
            loose = True
            continue
        pattern = re.compile(".*".join(map(re.escape, line.split("..."))))
        end = len(printed) if loose else min(at + 1, len(printed))
        place = next((index for index in range(at, end) if pattern.fullmatch(printed[index])), None)
        if place is None:
            return line
        at, loose = place + 1, False
    return None if loose or at == len(printed) else f"(and then nothing, but there is {printed[at]!r})"
