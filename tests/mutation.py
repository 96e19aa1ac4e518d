"""How much the tests notice: ``python -m tests.mutation [MODULE...]`` changes the code, one place at a time.

Each change is a mutant: a bound moved, a constant off by one, an operator exchanged, a statement left out, a condition
turned round, nothing returned. The tests that concern the module run against it until one fails: the mutant is
killed. Killed too is one that cannot be imported, or that takes more than three times as long as the unchanged module
(a loop without end); how many took too long is printed. One that survives is listed in ``mutation_survivors.txt`` with
the reason why no test can or need kill it, or the command fails. The figures go into DEVELOPERS.md.

Neither mutmut nor cosmic-ray fits. mutmut adds names and imports to a module, but the core's tests allow no imports in
the core. cosmic-ray changes the files of the checkout, and starts Python for each mutant.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.util
import os
import re
import shutil
import resource
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import attrs
import hypothesis.strategies  # noqa: F401  # imported once, not by each child
import pytest

__all__ = ["LEAST_KILLED", "MODULES", "OPTIONS", "Mutant", "listed", "main", "mutants", "source"]

ROOT = Path(__file__).resolve().parents[1]
SURVIVORS = Path(__file__).with_name("mutation_survivors.txt")
PAGE = ROOT / "DEVELOPERS.md"
LEAST_KILLED = 0.95
#: Processor time, s, that the tests of a module never take.
LONGEST = 600

OPTIONS = (
    *("-o", "addopts=", "-q", "-x", "--tb=no", "--assert=plain", "--hypothesis-profile=mutants"),
    *("-p", "no:xdist", "-p", "no:cov", "-p", "no:cacheprovider", "-p", "no:unraisableexception"),
)
_LAYERS = ("test_packet.py", "test_half_bit.py", "test_bit.py")
_STANDARDS = ("standards/test_s_9_1.py", "standards/test_s_9_2.py", "properties/test_account.py")
_GAPS = ("test_gaps.py", "test_cutout.py")
_PROPERTIES = ("properties/test_long.py", "properties/test_round_trip.py")
_RECEIVER = ("receiver", *_STANDARDS, "test_stream.py", *_PROPERTIES)
#: The modules, and the tests that concern each, those that find most first. ``properties/test_torn.py`` is left out: it
#: takes as long as all others, and each survivor takes all.
MODULES: dict[str, tuple[str, ...]] = {
    "core": ("test_core.py", *_LAYERS, "test_ledger.py", "receiver/test_receiver.py", *_STANDARDS),
    "ledger": ("test_ledger.py", *_LAYERS, *_GAPS, *_RECEIVER, "vectors/test_cases.py"),
    "receiver/receiver": ("receiver/test_receiver.py", "test_ledger.py", "receiver/test_flawless.py", *_RECEIVER),
    "receiver/flawless": ("receiver/test_flawless.py", *_RECEIVER),
}


@attrs.frozen
class Mutant:
    """One change of a module."""

    line: int
    #: What is changed, the same wherever it stands in the file: the function, the code before and after.
    change: str
    code: str


_OPERATORS: dict[type[ast.AST], tuple[type[ast.AST], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Add,),
    ast.FloorDiv: (ast.Mult,),
    ast.LShift: (ast.RShift,),
    ast.BitAnd: (ast.BitOr,),
    ast.BitOr: (ast.BitAnd,),
    ast.BitXor: (ast.BitOr,),
}


def _changed(node: ast.AST) -> Iterator[ast.AST]:
    """Every other form of a node."""

    def with_(name: str, value: object) -> ast.AST:
        changed = copy.copy(node)
        setattr(changed, name, value)
        return changed

    if isinstance(node, (ast.BinOp, ast.BoolOp, ast.AugAssign)):
        yield from (with_("op", other()) for other in _OPERATORS.get(type(node.op), ()))
    elif isinstance(node, ast.Compare):
        for index, operator in enumerate(node.ops):
            for other in _OPERATORS[type(operator)]:
                yield with_("ops", [*node.ops[:index], other(), *node.ops[index + 1 :]])
    elif isinstance(node, ast.Constant):
        if isinstance(node.value, bool):
            yield with_("value", not node.value)
        elif isinstance(node.value, int):
            yield from (with_("value", node.value + step) for step in (1, -1))
    elif isinstance(node, ast.UnaryOp):
        yield node.operand
    if isinstance(node, (ast.If, ast.IfExp, ast.While)) and not isinstance(node.test, (ast.Compare, ast.UnaryOp)):
        yield with_("test", ast.UnaryOp(ast.Not(), node.test))
    if isinstance(node, ast.Return) and node.value is not None and ast.unparse(node.value) not in ("None", "False"):
        yield with_("value", None)  # None in place of False is as untrue, and the types tell of it
    if isinstance(node, (ast.Assign, ast.AugAssign, ast.Break)) or _is_call(node):
        yield ast.Pass()


def _is_call(node: ast.AST) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, (ast.Call, ast.Yield))


def _shown(node: ast.AST) -> str:
    """A node in one line: of a statement with a body only its head."""
    return ast.unparse(node).splitlines()[0]


def mutants(text: str) -> Iterator[Mutant]:
    """Every mutant of a module's source."""
    tree = ast.parse(text)
    yield from _mutants(tree, tree, "")


def _mutants(tree: ast.Module, parent: ast.AST, place: str) -> Iterator[Mutant]:
    for name, value in ast.iter_fields(parent):
        if name in ("annotation", "returns"):
            continue
        for index, node in enumerate(value if isinstance(value, list) else [value]):
            if not isinstance(node, ast.AST):
                continue
            if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
                continue  # held to its names by another test
            for changed in _changed(node):
                into = value if isinstance(value, list) else [value]
                into[index] = changed
                setattr(parent, name, into if isinstance(value, list) else changed)
                code = ast.unparse(ast.fix_missing_locations(tree))
                into[index] = node
                setattr(parent, name, value)
                line = getattr(node, "lineno", 0)
                yield Mutant(line, f"{place or 'module'}: {_shown(node)} -> {_shown(changed)}", code)
            inner = f"{place}.{node.name}".strip(".") if isinstance(node, (ast.ClassDef, ast.FunctionDef)) else place
            yield from _mutants(tree, node, inner)


def source(module: str) -> Path:
    """The file of a module."""
    return ROOT / "src" / "halfbit" / f"{module}.py"


def listed() -> dict[str, list[tuple[str, str]]]:
    """The survivors that are known, by module: the change, and why nothing notices it. Each survivor has its own."""
    found: dict[str, list[tuple[str, str]]] = {module: [] for module in MODULES}
    module = ""
    for line in SURVIVORS.read_text(encoding="utf-8").splitlines():
        if line.startswith("["):
            module = line.strip("[]")
        elif line.startswith("    "):
            change, reason = found[module].pop()
            found[module].append((change, f"{reason} {line.strip()}".strip()))
        elif line and not line.startswith("#"):
            found[module].append((line, ""))
    return found


def _tested(code: str, module: str, copy_: Path, limit: float) -> tuple[int, float]:
    """How the tests of a module end with this code in its place, 0 if none fails; the processor time they took, s.

    :param limit: the processor time after which they count as failed, s. A mutant may go on without end.
    """
    target = copy_ / "halfbit" / f"{module}.py"
    target.write_text(code, encoding="utf-8")
    # Its size and second may be those of the mutant before, so Python would take that one's bytecode.
    Path(importlib.util.cache_from_source(str(target))).unlink(missing_ok=True)
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        status = 1
        try:
            status = _child(module, copy_, int(limit))
        finally:
            os._exit(status)  # whatever came: the parent goes on, not its copy
    _, status, usage = os.wait4(child, 0)
    return status, usage.ru_utime + usage.ru_stime


def _child(module: str, copy_: Path, limit: int) -> int:
    resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
    resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    sys.path.insert(0, str(copy_))
    os.chdir(ROOT)
    tests = [str(ROOT / "tests" / name) for name in MODULES[module]]
    return next((1 for test in tests if pytest.main([*OPTIONS, test])), 0)


def _run(module: str, copy_: Path) -> tuple[str, bool]:
    """The figures of a module, and whether they are good enough."""
    text = source(module).read_text(encoding="utf-8")
    # Written out from the syntax tree, as each mutant is: if lost comments alone failed a test, all would be killed.
    failed, took = _tested(ast.unparse(ast.parse(text)), module, copy_, LONGEST)
    if failed:
        sys.exit(f"the tests of {module} fail without any change")
    killed = endless = survived = unlisted = 0
    known = listed()[module]
    limit = 10 + 3 * took
    for mutant in mutants(text):
        status, _ = _tested(mutant.code, module, copy_, limit)
        if status:
            killed += 1
            endless += os.WIFSIGNALED(status)
            continue
        survived += 1
        entry = next((entry for entry in known if entry[0] == mutant.change), None)
        if entry is None:
            unlisted += 1
        else:
            known.remove(entry)
        print(f"src/halfbit/{module}.py:{mutant.line}: {mutant.change}", flush=True)
        print(f"    {entry[1] if entry else 'NOT LISTED'}", flush=True)
    for change, _ in known:
        print(f"listed, but killed or gone: {change}")
    total = killed + survived
    print(f"{module}: {killed} of {total} killed, {endless} of them took longer than {limit:.0f} s", flush=True)
    figures = f"| `{module}.py` | {total} | {killed} | {100 * killed / total:.1f} % |"
    return figures, killed >= LEAST_KILLED * total and not unlisted and not known


def _write(rows: Sequence[str]) -> None:
    """Put the figures of modules where DEVELOPERS.md has them."""
    text = PAGE.read_text(encoding="utf-8")
    for row in rows:
        name = re.escape(row.split(" | ")[0])
        text = re.sub(rf"^{name} .*$", row, text, flags=re.MULTILINE)
    PAGE.write_text(text, encoding="utf-8")


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("module", nargs="*", metavar="MODULE", help=f"of {', '.join(MODULES)}; all if left out")
    chosen = parser.parse_args(arguments).module or list(MODULES)
    if unknown := set(chosen) - MODULES.keys():
        parser.error(f"{', '.join(sorted(unknown))}: not one of {', '.join(MODULES)}")
    os.environ["CI"] = "true"
    with tempfile.TemporaryDirectory() as folder:
        sys.pycache_prefix = folder
        copy_ = Path(folder, "src")
        shutil.copytree(ROOT / "src", copy_, ignore=shutil.ignore_patterns("__pycache__"))
        results = []
        for module in chosen:
            results.append(_run(module, copy_))
            target = copy_ / "halfbit" / f"{module}.py"
            target.write_text(source(module).read_text(encoding="utf-8"), encoding="utf-8")
    _write([figures for figures, _ in results])
    return 0 if all(good for _, good in results) else 1


if __name__ == "__main__":
    sys.exit(main())
