"""A Sphinx extension: parts of pages made from the code. The command line comes from its parsers.

    .. command:: decode
"""

from __future__ import annotations

import argparse
import inspect
from collections.abc import Iterator

from docutils import nodes
from sphinx.application import Sphinx
from sphinx.util.docutils import SphinxDirective

from halfbit.cli.main import parser

__all__ = ["command_page", "commands", "setup"]


def commands() -> dict[str, argparse.ArgumentParser]:
    """Each command's parser by its words: ``"decode"``, ``"vectors check"``."""
    return dict(_below(parser(), ""))


def _below(top: argparse.ArgumentParser, words: str) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    for action in top._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, below in action.choices.items():
                yield f"{words} {name}".strip(), below
                yield from _below(below, f"{words} {name}".strip())


def command_page(words: str) -> str:
    """A command's part of the reference, as reStructuredText."""
    one = commands()[words]
    lines = [f".. program:: halfbit {words}", "", ".. code-block:: text", ""]
    usage = one.format_usage().removeprefix("usage: ")
    lines += [f"   {line}".rstrip() for line in usage.splitlines()] + [""]
    lines += [_plain(one.description or ""), ""]
    for group in one._action_groups:
        actions = [action for action in group._group_actions if not isinstance(action, argparse._SubParsersAction)]
        shown = [action for action in actions if action.help is not argparse.SUPPRESS]
        if not shown:
            continue
        if group.title not in ("positional arguments", "options"):
            lines += [f"**{(group.title or '').capitalize()}**" + (f": {_plain(group.description)}." if group.description else ""), ""]
        for action in shown:
            lines += _option(one, action)
    if one.epilog:
        lines += [".. code-block:: text", "", *(f"   {line}".rstrip() for line in one.epilog.splitlines()), ""]
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


class CommandDirective(SphinxDirective):
    """``.. command:: decode``: usage, options and notes, from the parser."""

    required_arguments = 1
    final_argument_whitespace = True

    def run(self) -> list[nodes.Node]:
        return self.parse_text_to_nodes(command_page(self.arguments[0]))


def setup(app: Sphinx) -> dict[str, bool]:
    """Sphinx's way in."""
    app.add_directive("command", CommandDirective)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
