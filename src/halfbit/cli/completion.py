"""Writes a script that completes commands and options in a shell. How to
install it for bash stands below.

  halfbit completion bash > ~/.local/share/bash-completion/completions/halfbit
"""

from __future__ import annotations

import argparse

from ..error import HalfbitError


def add_options(parser: argparse.ArgumentParser, everything: bool) -> None:
    """Add the command's options."""
    parser.add_argument("shell", choices=["bash", "zsh"])


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
