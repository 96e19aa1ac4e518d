"""``halfbit manual``: writes a manual page made from the help."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Any

__all__ = ["add_parser", "run"]


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "manual",
        help="the manual page, made from the help",
        description="Writes the manual page. To install it: halfbit manual > ~/.local/share/man/man1/halfbit.1",
        allow_abbrev=False,
    )
    return parser


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
                if command.epilog:
                    yield f".PP\n.nf\n{_plain(command.epilog.rstrip())}\n.fi"


def _options(command: argparse.ArgumentParser) -> Iterator[str]:
    for action in command._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, inner in action.choices.items():
                yield f".TP\n.B {_plain(name)}\n{_plain(inner.description or '')}"
            continue
        name = ", ".join(action.option_strings) or str(action.metavar or action.dest)
        if action.option_strings and action.nargs != 0:
            name += " " + str(
                action.metavar or ("|".join(map(str, action.choices)) if action.choices else action.dest.upper())
            )
        yield f".TP\n.B {_plain(name)}\n{_plain(action.help or '')}"


def _plain(text: str) -> str:
    """Escape text so that nothing in it is a command of the page's language (roff)."""
    lines = text.replace("\\", "\\e").replace("-", "\\-").split("\n")
    return "\n".join("\\&" + line if line.startswith((".", "'")) else line for line in lines)
