"""The site builds without a warning, and has a place for every public name."""

from __future__ import annotations

import csv
import re
import subprocess
import sys
from pathlib import Path

import pytest

import halfbit
import halfbit.instruction
from halfbit.cli.main import main
from halfbit.instruction import STANDARD

DOCS = Path(__file__).parent.parent.parent / "docs"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The built site."""
    out = tmp_path_factory.mktemp("site")
    command: list[str | Path] = [sys.executable, "-m", "sphinx", "-q", "-W", "--keep-going", "-n", "-E", "-b", "html", DOCS, out]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    return out


def test_every_public_name_has_its_place(site: Path) -> None:
    page = (site / "api.html").read_text("utf-8")
    public = [*halfbit.__all__, *halfbit.instruction.__all__]
    assert len(public) > 100
    assert [name for name in public if f".{name}\"" not in page] == []


def test_every_row_of_the_registry_is_in_its_table(site: Path) -> None:
    page = (site / "registry.html").read_text("utf-8")
    with open(DOCS / "registry.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == [entry.name for entry in STANDARD.entries()]
    assert all(row["pattern"].split(" and ")[0] in page for row in rows)


def test_every_command_the_pages_name_is_there(capsys: pytest.CaptureFixture[str]) -> None:
    pages = [*DOCS.glob("*.rst"), DOCS.parent / "README.md", DOCS.parent / "DEVELOPERS.md"]
    named = {
        command for page in pages for command in re.findall(r"(?:`|\$ |/)halfbit ([a-z]+)", page.read_text("utf-8"))
    }
    assert {"decode", "survey", "inspect", "registry", "vectors"} <= named
    for command in named:
        with pytest.raises(SystemExit) as ended:
            main([command, "--help"])
        assert ended.value.code == 0, command
        assert capsys.readouterr().out.startswith(f"usage: halfbit {command}")


def test_there_is_a_page_for_each_layer_and_none_is_hidden(site: Path) -> None:
    index = (site / "index.html").read_text("utf-8")
    pages = {page.stem for page in DOCS.glob("*.rst")} - {"index"}
    assert {"edges", "half_bits", "bits", "packets", "instructions", "why", "not_done", "api", "changelog"} <= pages
    for page in pages:
        assert f'href="{page}.html"' in index
