"""``halfbit completion``: writes a script for completing commands and options in a shell."""

from __future__ import annotations

import argparse
from typing import Any

from ..error import HalfbitError

__all__ = ["add_parser", "run"]


def add_parser(subparsers: Any, everything: bool) -> argparse.ArgumentParser:
    """Add the command's parser."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "completion",
        help="a script with which a shell completes commands and options",
        description="Writes a script for a shell. For bash: halfbit completion bash > ~/.local/share/bash-completion/completions/halfbit",
        allow_abbrev=False,
    )
    parser.add_argument("shell", choices=["bash", "zsh"])
    return parser


def run(args: argparse.Namespace) -> int:
    """Write the script and return the exit status.

    :raises HalfbitError: if the package shtab is not installed.
    """
    from .main import parser

    try:
        import shtab
    except ImportError:
        raise HalfbitError("completion takes the package shtab: pip install 'halfbit[completion]'") from None
    print(shtab.complete(parser(everything=True), args.shell))
    return 0
