"""Writes the manual page. How to install it stands below.

  halfbit manual > ~/.local/share/man/man1/halfbit.1
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""


def run(args: argparse.Namespace) -> int:
    """Write the manual page and return the exit status."""
    from .main import parser

    print("\n".join(_page(parser(everything=True))))
    return 0


def _page(parser: argparse.ArgumentParser) -> Iterator[str]:
    yield '.TH HALFBIT 1 "" halfbit "User commands"'
    yield f".SH NAME\nhalfbit \\- {_plain(parser.description or '').split('. ')[0].lower()}"
    yield ".SH SYNOPSIS\n.B halfbit\nCOMMAND [options]"
    yield f".SH DESCRIPTION\n{_plain(parser.description or '')}"
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, command in action.choices.items():
                yield f".SH {name.upper()}\n{_plain(command.description or '')}"
                yield from _options(command)
                for part in (command.epilog or "").split("\n\n"):
                    yield f".PP\n.nf\n{_plain(part)}\n.fi" if part.startswith("  ") else f".PP\n{_plain(part)}"


def _options(command: argparse.ArgumentParser) -> Iterator[str]:
    formatter = command._get_formatter()
    for action in command._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, inner in action.choices.items():
                yield f".TP\n.B {_plain(name)}\n{_plain(inner.description or '')}"
            continue
        name = ", ".join(action.option_strings) or str(action.metavar or action.dest)
        if action.option_strings and action.nargs != 0:
            name += f" {action.metavar or '|'.join(map(str, action.choices or ())) or action.dest.upper()}"
        yield f".TP\n.B {_plain(name)}\n{_plain(formatter._expand_help(action) if action.help else '')}"


def _plain(text: str) -> str:
    """Escape text so that nothing in it is a command of the page's language (roff)."""
    lines = text.replace("\\", "\\e").replace("-", "\\-").split("\n")
    return "\n".join("\\&" + line if line.startswith((".", "'")) else line for line in lines)
