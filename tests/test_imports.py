"""Imports go one way: the order of the layers holds, and no import goes in a circle."""

from __future__ import annotations

import ast
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import halfbit

ROOT = Path(halfbit.__file__).parent

#: From the bottom up. A module may import from its own row and from the rows above it here.
ORDER = (
    ("core", "core_sum", "core_sum_lengths", "error", "unit"),
    ("limits", "event", "batch"),
    ("edge", "edge_samples", "machine", "ledger", "half_bit", "bit", "packet"),
    ("receiver",),
    ("decision", "instruction", "simulate"),
    ("stream",),
    ("capture", "survey", "decoder", "vectors"),
    ("inspect",),
    ("plot", "cli", "ports"),
    ("__init__", "__main__"),
)
RANK = {name: rank for rank, row in enumerate(ORDER) for name in row}


def _name(path: Path) -> str:
    parts = ("halfbit", *path.relative_to(ROOT).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {_name(path): path for path in sorted(ROOT.rglob("*.py"))}


def _imports(module: str) -> set[str]:
    """The modules of halfbit that a module imports, inside functions too."""
    path = MODULES[module]
    package = module.split(".") if path.name == "__init__.py" else module.split(".")[:-1]
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            origin = ".".join([*base, *filter(None, [node.module])])
            for alias in node.names:
                inner = f"{origin}.{alias.name}"
                found.add(inner if inner in MODULES else origin)
    return {name for name in found if name in MODULES and name != module}


def _rank(module: str) -> int:
    parts = module.split(".")
    return RANK[parts[1] if len(parts) > 1 else "__init__"]


@pytest.mark.parametrize("module", MODULES)
def test_a_module_imports_only_from_its_row_and_below(module: str) -> None:
    wrong = [other for other in _imports(module) if _rank(other) > _rank(module)]
    assert wrong == []


def test_no_circle() -> None:
    graph = {module: _imports(module) for module in MODULES}
    order = list(TopologicalSorter(graph).static_order())  # raises CycleError with the circle
    assert order.index("halfbit.core") < order.index("halfbit.stream") < order.index("halfbit")


def test_the_core_imports_nothing() -> None:
    tree = ast.parse((ROOT / "core.py").read_text())
    assert not [node for node in ast.walk(tree) if isinstance(node, (ast.Import, ast.ImportFrom))]
