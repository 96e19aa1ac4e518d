"""The site builds without a warning, has a place for every public name, and every link in it leads somewhere."""

from __future__ import annotations

import csv
import importlib
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from sphinx.util.inventory import InventoryFile

from halfbit.cli.main import main
from halfbit.instruction import STANDARD

DOCS = Path(__file__).parent.parent.parent / "docs"
#: Packages whose public names the reference must have.
PUBLIC = (
    "halfbit",
    "halfbit.capture",
    "halfbit.decoder",
    "halfbit.inspect",
    "halfbit.instruction",
    "halfbit.instruction.build",
    "halfbit.ports",
    "halfbit.simulate.distort",
    "halfbit.simulate.signal",
    "halfbit.survey",
    "halfbit.unit",
    "halfbit.vectors",
)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The built site."""
    out = tmp_path_factory.mktemp("site")
    # Half of the time went into the names of objects in the contents beside each page. Sphinx makes those links.
    quicker = ("-D", "toc_object_entries=0")
    options = ("-q", "-W", "--keep-going", "-n", "-E", "-b", "html", *quicker)
    # Python's search for garbage took a quarter of the rest, and every page's tree stays to the end anyway.
    start = "import gc, sys; gc.disable(); from sphinx.cmd.build import main; sys.exit(main(sys.argv[1:]))"
    command: list[str | Path] = [sys.executable, "-c", start, *options, DOCS, out]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, env={**os.environ, "COLUMNS": "100"})
    assert done.returncode == 0, done.stderr
    return out


class _Page(HTMLParser):
    """What a page links to and what can be linked to in it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.places: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if value and name in ("href", "src"):
                self.links.append(value)
            elif value and name == "id":
                self.places.add(value)


def test_every_link_leads_somewhere(site: Path) -> None:
    pages = {path: _Page(path.read_text("utf-8")) for path in site.rglob("*.html")}
    assert len(pages) > 60
    wrong = []
    for path, page in pages.items():
        for link in page.links:
            parts = urlsplit(link)
            if parts.scheme or parts.netloc:
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            if target.is_dir():
                target /= "index.html"
            if not target.exists():
                wrong.append(f"{path.relative_to(site)}: {link}")
            elif parts.fragment and target in pages and unquote(parts.fragment) not in pages[target].places:
                wrong.append(f"{path.relative_to(site)}: {link}")
    assert wrong == []


def test_every_public_name_has_its_place(site: Path) -> None:
    with open(site / "objects.inv", "rb") as file:
        inventory = InventoryFile.load(file, "", lambda base, path: path)
    known = {name.rpartition(".")[2] for kind, names in inventory.items() if kind.startswith("py:") for name in names}
    for package in PUBLIC:
        public = importlib.import_module(package).__all__
        assert public
        assert [name for name in public if name not in known] == [], package


def test_every_row_of_the_registry_is_in_its_table(site: Path) -> None:
    page = (site / "registry.html").read_text("utf-8")
    with open(DOCS / "registry.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == [entry.name for entry in STANDARD.entries()]
    assert all(row["pattern"].split(" and ")[0] in page for row in rows)


def test_every_option_of_every_command_is_on_its_page(site: Path) -> None:
    from made import commands

    page = (site / "reference" / "command_line.html").read_text("utf-8")
    assert {"decode", "survey", "vectors check"} <= set(commands())
    for words, one in commands().items():
        for action in one._actions:
            for option in action.option_strings:
                if option not in ("-h", "--help", "--help-all"):
                    assert f'id="cmdoption-halfbit-{words.replace(" ", "-")}-{option.lstrip("-")}"' in page, (words, option)


def test_every_command_the_pages_name_is_there(capsys: pytest.CaptureFixture[str]) -> None:
    pages = [*DOCS.rglob("*.rst"), DOCS.parent / "README.md", DOCS.parent / "DEVELOPERS.md"]
    named = {
        command for page in pages for command in re.findall(r"(?:`|\$ |/)halfbit ([a-z]+)", page.read_text("utf-8"))
    }
    assert {"decode", "survey", "inspect", "registry", "vectors", "audit", "follow"} <= named
    for command in named:
        with pytest.raises(SystemExit) as ended:
            main([command, "--help"])
        assert ended.value.code == 0, command
        assert capsys.readouterr().out.startswith(f"usage: halfbit {command}")


#: Imports of names from a module of ours, on one line or in parentheses.
IMPORT = re.compile(r"from (halfbit[\w.]*) import (?:\(([^)]*)\)|([^\n(]*))")
#: Modules that are named as such.
WHOLE_MODULES = {("halfbit", "core"), ("halfbit.instruction", "build")}


def test_the_pages_and_the_examples_import_public_names_only() -> None:
    files = [*DOCS.rglob("*.rst"), *(DOCS.parent / "examples").glob("*.py"), DOCS.parent / "README.md"]
    found = [
        (module, name.split(" as ")[0].strip(), file.name)
        for file in files
        for module, several, one in IMPORT.findall(file.read_text("utf-8"))
        for name in (several or one.partition("#")[0]).split(",")
        if name.strip()
    ]
    assert len(found) > 100
    wrong = [
        (module, name, file)
        for module, name, file in found
        if (module, name) not in WHOLE_MODULES
        and (module not in PUBLIC or name not in importlib.import_module(module).__all__)
    ]
    assert wrong == []


def test_the_first_page_has_a_way_to_each_kind(site: Path) -> None:
    index = (site / "index.html").read_text("utf-8")
    for kind in ("tutorial", "howto", "reference", "explanation"):
        assert index.count(f'href="{kind}/index.html"') >= 2  # in the text and in the side bar
        assert len(list((DOCS / kind).glob("*.rst"))) > 5
