"""A Sphinx extension: parts of pages made from the code.

    .. commands::

A section for each command of the command line, from its parser.

    .. api:: halfbit.instruction
       :from: speed function

Every public name of a package that the named modules in it define.
"""

from __future__ import annotations

import argparse
import ast
import inspect
import re
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, ClassVar

from docutils import nodes
from docutils.parsers.rst import directives
from sphinx.application import Sphinx
from sphinx.util.docutils import SphinxDirective

from halfbit.cli.main import parser
from halfbit.decoder import ACCESSORY, MULTI_FUNCTION, RULES, CvRow

__all__ = ["api_part", "command_part", "commands", "cv_part", "setup", "sources"]


def commands() -> dict[str, argparse.ArgumentParser]:
    """Each command's parser by its words: ``"decode"``, ``"vectors check"``."""
    return dict(_below(parser(everything=True), ""))


def _below(top: argparse.ArgumentParser, words: str) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    for action in top._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, below in action.choices.items():
                yield f"{words} {name}".strip(), below
                yield from _below(below, f"{words} {name}".strip())


def command_part(words: str) -> str:
    """A command's part of the reference, as reStructuredText."""
    one = commands()[words]
    one.prog = f"halfbit {words}"
    lines = [f".. program:: halfbit {words}", "", ".. code-block:: text", ""]
    usage = inspect.cleandoc(" " * 7 + one.format_usage().removeprefix("usage: "))
    lines += [f"   {line}".rstrip() for line in usage.splitlines()] + [""]
    lines += [_plain(one.description or ""), ""]
    for group in one._action_groups:
        shown = [
            action
            for action in group._group_actions
            if not isinstance(action, (argparse._SubParsersAction, argparse._HelpAction))
            and action.help is not argparse.SUPPRESS
        ]
        if not shown:
            continue
        if group.title not in ("positional arguments", "options"):
            lines += [f"**{(group.title or '').capitalize()}**" + (f": {_plain(group.description).rstrip('.')}." if group.description else ""), ""]
        for action in shown:
            lines += _option(one, action)
    for part in (one.epilog or "").split("\n\n"):
        if part.startswith("  "):
            lines += [".. code-block:: text", "", *(f"   {line}" for line in part.splitlines()), ""]
        else:
            lines += [_plain(part), ""]
    return "\n".join(lines)


def _option(one: argparse.ArgumentParser, action: argparse.Action) -> list[str]:
    """One option or argument, with its values and what it does."""
    values = action.metavar if isinstance(action.metavar, str) else action.dest.upper()
    if action.choices is not None and not action.metavar:
        values = "{" + ",".join(map(str, action.choices)) + "}"
    takes = action.nargs != 0
    if action.option_strings:
        head = ", ".join(text + (f" {values}" if takes else "") for text in action.option_strings)
    else:
        head = values
    help_ = one._get_formatter()._expand_help(action) if action.help else ""
    return [f".. option:: {head}", "", f"   {_plain(help_)}", ""]


def _plain(text: str) -> str:
    """Text with nothing that reStructuredText would take for markup."""
    return inspect.cleandoc(text).replace("\\", "\\\\").replace("*", "\\*").replace("`", "\\`").replace("|", "\\|").replace("_ ", "\\_ ")


class CommandsDirective(SphinxDirective):
    """``.. commands::``: a section for each command with usage, options and notes, from its parser."""

    def run(self) -> list[nodes.Node]:
        text = ""
        for words, one in commands().items():
            if any(isinstance(action, argparse._SubParsersAction) for action in one._actions):
                continue  # each command below it has its section
            text += f"halfbit {words}\n{'-' * (8 + len(words))}\n\n{command_part(words)}\n\n"
        return self.parse_text_to_nodes(text, allow_section_headings=True)


def api_part(package: str, modules: list[str]) -> str:
    """The public names of a package that some of its modules define, as autodoc directives."""
    public = sorted(import_module(package).__all__)
    lines = []
    for module in modules:
        path = f"{package}.{module}" if module != "." else package
        defined = import_module(path)
        for name in public:
            if module != "." and name not in _defined(path):
                continue
            value = getattr(defined, name)
            if inspect.isclass(value):
                lines += [f".. autoclass:: {package}.{name}", "   :members:", "   :undoc-members:"]
                lines += ["   :show-inheritance:"] if value.__bases__ != (object,) else []
                lines.append("")
            elif inspect.isroutine(value):
                lines += [f".. autofunction:: {package}.{name}", ""]
            else:
                lines += [f".. autodata:: {path}.{name}", "   :no-value:", ""]
    return "\n".join(lines)


@cache
def _defined(module: str) -> set[str]:
    """The names that a module gives to its own classes, functions and values."""
    names: set[str] = set()
    for node in ast.parse(inspect.getsource(import_module(module))).body:
        if isinstance(node, (ast.ClassDef, ast.FunctionDef)):
            names.add(node.name)
        elif isinstance(node, (ast.Assign, ast.AnnAssign)):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names.update(target.id for target in targets if isinstance(target, ast.Name))
    return names


class ApiDirective(SphinxDirective):
    """``.. api:: package``: the public names of some of its modules; ``.`` stands for the package itself."""

    required_arguments = 1
    option_spec: ClassVar[dict[str, Callable[[str], Any]] | None] = {"from": directives.unchanged_required}

    def run(self) -> list[nodes.Node]:
        return self.parse_text_to_nodes(api_part(self.arguments[0], self.options.get("from", ".").split()))


def cv_part(rows: tuple[CvRow, ...]) -> str:
    """A table of CVs."""
    lines = [".. list-table::", "   :header-rows: 1", "   :widths: 12 38 12 14 24", ""]
    lines += _row("CV", "name", "default", "values", "source")
    for row in rows:
        numbers = f"{row.first}" if row.first == row.last else f"{row.first} to {row.last}"
        values = "read only" if row.read_only else f"{row.least} to {row.most}"
        lines += _row(numbers, row.name, str(row.default), values, row.source)
    return "\n".join(lines)


def _row(first: str, *others: str) -> list[str]:
    return [f"   * - {first}", *(f"     - {_plain(text)}" for text in others)]


class CvsDirective(SphinxDirective):
    """``.. cvs:: MULTI_FUNCTION``: the table of a model's CVs."""

    required_arguments = 1

    def run(self) -> list[nodes.Node]:
        rows = {"MULTI_FUNCTION": MULTI_FUNCTION, "ACCESSORY": ACCESSORY}[self.arguments[0]]
        return self.parse_text_to_nodes(cv_part(rows))


class RulesDirective(SphinxDirective):
    """``.. rules::``: the table of the rules that an audit holds a station against."""

    def run(self) -> list[nodes.Node]:
        lines = [".. list-table::", "   :header-rows: 1", "   :widths: 50 25 25", "", *_row("rule", "bounds", "source")]
        for rule in RULES:
            lines += _row(_plain(rule.words), rule.bounds, rule.source)
        return self.parse_text_to_nodes("\n".join(lines))


TESTS = Path(__file__).parent.parent / "tests"
_SOURCE = re.compile(r"\b(S-9\.\d(?:\.\d)*|RCN-\d{3}|IEEE \d+)(?![\d.]*\d)")


def sources() -> dict[str, list[str]]:
    """Each document that the tests name, and the test files that do."""
    found: dict[str, list[str]] = {}
    for path in sorted(TESTS.rglob("*.py")):
        for source in sorted(set(_SOURCE.findall(path.read_text("utf-8")))):
            found.setdefault(source, []).append(path.relative_to(TESTS).as_posix())
    return dict(sorted(found.items()))


class SourcesDirective(SphinxDirective):
    """``.. sources::``: a table of the documents that the tests name."""

    def run(self) -> list[nodes.Node]:
        lines = [".. list-table::", "   :header-rows: 1", "   :widths: 15 85", ""]
        lines += _row("document", "test files that name it, by folder of tests/")
        for source, files in sources().items():
            folders = Counter(name.rpartition("/")[0] or "tests" for name in files)
            lines += _row(source, ", ".join(f"{folder}: {count}" for folder, count in sorted(folders.items())))
        return self.parse_text_to_nodes("\n".join(lines))


def setup(app: Sphinx) -> dict[str, bool]:
    """Sphinx's way in."""
    app.add_directive("commands", CommandsDirective)
    app.add_directive("api", ApiDirective)
    app.add_directive("sources", SourcesDirective)
    app.add_directive("cvs", CvsDirective)
    app.add_directive("rules", RulesDirective)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
