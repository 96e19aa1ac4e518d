"""What is promised about the package: its one dependency, its oldest Python, its types, its command.

The wheel itself is built and tried by ``.ci/run``.
"""

from __future__ import annotations

import ast
import importlib
import importlib.metadata
import os
import re
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path
from typing import Any

import pytest
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

ROOT = Path(__file__).parent.parent
SOURCES = ROOT / "src" / "halfbit"
PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))

# Modules of the standard library, and of what halfbit may need at run time.
_IMPORTED = """
import sys
before = set(sys.modules)
import halfbit, halfbit.cli, halfbit.simulate.signal, halfbit.simulate.distort
roots = {name.partition(".")[0] for name in set(sys.modules) - before}
print(*sorted(roots - set(sys.stdlib_module_names) - {"halfbit"}))
"""


def test_attrs_is_all_it_needs() -> None:
    assert [dependency.partition(">")[0] for dependency in PROJECT["project"]["dependencies"]] == ["attrs"]
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", _IMPORTED],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": str(SOURCES.parent)},
    )
    assert set(done.stdout.split()) <= {"attr", "attrs"}


def _needed(*extras: str) -> set[str]:
    """The packages that the project and some of its extras name."""
    named: set[str] = set()
    for requirement in PROJECT["project"]["dependencies"]:
        named.add(_name(requirement))
    for extra in extras:
        for requirement in PROJECT["project"]["optional-dependencies"][extra]:
            inner = re.fullmatch(r"halfbit\[(.*)\]", requirement)
            named |= _needed(*inner[1].split(",")) if inner else {_name(requirement)}
    return named


def _name(requirement: str) -> str:
    found = re.match(r"[\w.-]+", requirement)
    assert found is not None, requirement
    return _normal(found[0])


def _normal(name: str) -> str:
    """A package's name as an index compares it."""
    return name.lower().replace("_", "-")


def _imports(path: Path) -> set[str]:
    """The packages a file imports."""
    roots: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            roots |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            roots.add(node.module.partition(".")[0])
    return roots


@pytest.mark.parametrize("place", ["tests", "docs"])
def test_the_test_extra_has_all_that_the_tests_import(place: str) -> None:
    files = [path for path in (ROOT / place).rglob("*.py") if "benchmarks" not in path.parts]
    assert files
    own = {"halfbit", "tests", "tomli", "made", "pictures", *(path.stem for path in (ROOT / "examples").rglob("*.py"))}
    foreign = set().union(*map(_imports, files)) - own - set(sys.stdlib_module_names)
    providers = importlib.metadata.packages_distributions()
    needed = _needed("test")
    lacking = {root for root in foreign if not set(map(_normal, providers.get(root, []))) & needed}
    assert lacking - {"docutils"} == set()  # which comes with sphinx


def _oldest() -> tuple[int, int]:
    major, minor = PROJECT["project"]["requires-python"].removeprefix(">=").split(".")
    return int(major), int(minor)


@pytest.mark.parametrize("path", sorted(SOURCES.rglob("*.py")), ids=lambda path: str(path.relative_to(SOURCES)))
def test_a_module_is_written_in_the_oldest_python_promised(path: Path) -> None:
    assert _oldest() == (3, 10)
    ast.parse(path.read_text("utf-8"), feature_version=_oldest())


def test_no_module_is_long() -> None:
    lengths = {path.name: len(path.read_text("utf-8").splitlines()) for path in SOURCES.rglob("*.py")}
    assert {name: length for name, length in lengths.items() if length > 400} == {}


def test_no_function_is_long() -> None:
    lengths = {
        f"{path.relative_to(SOURCES)}: {node.name}": (node.end_lineno or 0) - node.lineno + 1
        for path in SOURCES.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef))
    }
    assert len(lengths) > 1000
    assert {name: length for name, length in lengths.items() if length > 60} == {}


def test_the_pythons_named_are_those_promised() -> None:
    named = [word.rpartition(" ")[2] for word in PROJECT["project"]["classifiers"] if ":: Python :: 3." in word]
    assert named == ["3.10", "3.11", "3.12", "3.13"]


def test_the_citation_names_this_version() -> None:
    lines = (ROOT / "docs" / "CITATION.cff").read_text("utf-8").splitlines()
    assert {f"version: {PROJECT['project']['version']}", f"license: {PROJECT['project']['license']}"} <= set(lines)
    assert f"  - name: {PROJECT['project']['authors'][0]['name']}" in lines


def test_it_says_that_it_is_typed() -> None:
    assert (SOURCES / "py.typed").read_bytes() == b""
    assert "Typing :: Typed" in PROJECT["project"]["classifiers"]


def test_every_directory_of_modules_is_a_package() -> None:
    directories = {path.parent for path in SOURCES.rglob("*.py")}
    assert len(directories) >= 4
    without = [directory for directory in directories if not (directory / "__init__.py").exists()]
    assert without == [SOURCES / "ports" / "_micropython"]  # programs for boards, no modules of the package


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, set[str]]:
    """The names in the wheel and in the source distribution, as built from here."""
    out = str(tmp_path_factory.mktemp("dist"))
    (wheel,) = WheelBuilder(str(ROOT)).build(directory=out)
    (source,) = SdistBuilder(str(ROOT)).build(directory=out)
    with tarfile.open(source) as packed:
        names = {name.partition("/")[2] for name in packed.getnames()}
    return {"wheel": set(zipfile.ZipFile(wheel).namelist()), "source": names}


def test_the_whole_package_and_nothing_else_goes_into_the_wheel(built: dict[str, set[str]]) -> None:
    files = {path.relative_to(SOURCES.parent).as_posix() for path in SOURCES.rglob("*") if path.is_file()}
    files = {name for name in files if "__pycache__" not in name}
    assert {name for name in built["wheel"] if ".dist-info/" not in name} == files


def test_the_source_distribution_has_all_that_is_checked_in(built: dict[str, set[str]]) -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("this is no checkout")
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    checked_in = {name for name in done.stdout.splitlines() if (ROOT / name).exists()}
    assert len(checked_in) > 300
    assert checked_in - built["source"] == set()
    assert {"tests/test_packaging.py", "docs/conf.py", "docs/index.rst", "examples/railway.py"} <= built["source"]


def test_the_command_is_there() -> None:
    module, _, name = PROJECT["project"]["scripts"]["halfbit"].partition(":")
    assert callable(getattr(importlib.import_module(module), name))


def test_the_extras_are_those_the_documentation_names() -> None:
    assert set(PROJECT["project"]["optional-dependencies"]) == {"test", "docs", "vcd", "plot", "completion", "serial"}
