"""The command line: builds the parser from the commands' modules, and turns what happens into a status.

A command is a module with ``add_parser(subparsers, everything)``, which adds its parser and gives it back, and
``run(args)``, which gives the exit status. Status: 0 all is well, 1 there was nothing to be found, 2 the
input cannot be read, the output not written, or the use was wrong; ended by a signal as a shell says it, 128 and its number.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any, NoReturn, Protocol, cast

from ..error import HalfbitError
from .options import as_options

__all__ = ["COMMANDS", "main", "parser"]

INTERRUPTED = 130  # 128 + SIGINT
CLOSED = 141  # 128 + SIGPIPE

#: The commands' modules, in the order in which help lists them. A new one is a name here.
COMMANDS = (
    "decode",
    "survey",
    "inspect",
    "traffic",
    "follow",
    "audit",
    "clip",
    "compare",
    "report",
    "registry",
    "vectors",
    "completion",
    "manual",
)


class Command(Protocol):
    """What a command's module has."""

    def add_parser(self, subparsers: Any, everything: bool) -> argparse.ArgumentParser: ...

    def run(self, args: argparse.Namespace) -> int: ...


class Parser(argparse.ArgumentParser):
    """A parser whose errors are one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"halfbit: error: {message}  ({self.prog} --help)\n")


def parser(everything: bool = False, names: Sequence[str] = COMMANDS) -> argparse.ArgumentParser:
    """The parser of the whole command line, or of some commands: a command alone starts faster.

    :param everything: whether help shows all options, not only those that matter most.
    """
    top = Parser(
        prog="halfbit",
        description="Decodes the digital track signal of model railways. Begin with: halfbit decode FILE",
        allow_abbrev=False,
    )
    subparsers = top.add_subparsers(title="commands", required=True, metavar="COMMAND", dest="command")
    for name in names:
        command = cast(Command, import_module(f"halfbit.cli.{name}"))
        added = command.add_parser(subparsers, everything)
        added.add_argument("--help-all", action="help", help="show this help with all options")
        added.set_defaults(run=command.run)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line, and give the exit status.

    :param arguments: the words after the program's name; those of this process if left out.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    prog = "halfbit"
    try:
        names = words[:1] if words[:1] and words[0] in COMMANDS else COMMANDS
        args = parser("--help-all" in words, names).parse_args(words)
        prog = f"halfbit {args.command}"
        status: int = args.run(args)
        sys.stdout.flush()
        return status
    except HalfbitError as error:
        return _failed(as_options(str(error)), prog)
    except BrokenPipeError:
        _give_up_output()
        return CLOSED
    except KeyboardInterrupt:
        _give_up_output()
        return INTERRUPTED
    except AttributeError:
        if sys.stdout is None:
            return _failed("standard output is closed", prog)
        raise
    except OSError as error:  # of the output: readers make errors of their own of those of the input
        _give_up_output()
        return _failed(f"the output cannot be written: {error.strerror or error}", prog)


def _failed(problem: str, prog: str) -> int:
    try:
        if sys.stdout is not None:
            sys.stdout.flush()  # what could be decoded stands before the error
    except OSError:
        _give_up_output()
    if sys.stderr is not None:
        print(f"halfbit: error: {problem}  ({prog} --help)", file=sys.stderr)
    return 2


def _give_up_output() -> None:
    """Nobody reads on, or shall: let the interpreter's last flush go nowhere instead of failing."""
    if sys.stdout is None:
        return
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
