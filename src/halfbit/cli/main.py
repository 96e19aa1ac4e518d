"""The command line: builds the parser from the commands' modules, and turns what happens into a status.

A command is a module with ``add_parser(subparsers)``, which adds its parser and gives it back, and
``run(args)``, which gives the exit status. Status: 0 all is well, 1 there was nothing to be found, 2 the
input cannot be read, the output not written, or the use was wrong; ended by a signal as a shell says it, 128 and its number.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from typing import Any, Protocol

from . import audit as cli_audit, decode as cli_decode, follow as cli_follow, inspect as cli_inspect
from . import registry as cli_registry, survey as cli_survey, traffic as cli_traffic
from ..error import HalfbitError
from . import vectors as cli_vectors

__all__ = ["COMMANDS", "main"]

INTERRUPTED = 130  # 128 + SIGINT
CLOSED = 141  # 128 + SIGPIPE


class Command(Protocol):
    """What a command's module has."""

    def add_parser(self, subparsers: Any) -> argparse.ArgumentParser: ...

    def run(self, args: argparse.Namespace) -> int: ...


#: The commands, in the order in which help lists them. A new one is a module here.
COMMANDS: tuple[Command, ...] = (
    cli_decode,
    cli_survey,
    cli_inspect,
    cli_traffic,
    cli_follow,
    cli_audit,
    cli_registry,
    cli_vectors,
)


def parser() -> argparse.ArgumentParser:
    """The parser of the whole command line."""
    top = argparse.ArgumentParser(
        prog="halfbit",
        description="Decodes the digital track signal of model railways.",
        allow_abbrev=False,
    )
    subparsers = top.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.add_parser(subparsers).set_defaults(run=command.run)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line, and give the exit status.

    :param arguments: the words after the program's name; those of this process if left out.
    """
    args = parser().parse_args(arguments)
    try:
        status: int = args.run(args)
        sys.stdout.flush()
        return status
    except HalfbitError as error:
        return _failed(str(error))
    except BrokenPipeError:
        _give_up_output()
        return CLOSED
    except KeyboardInterrupt:
        _give_up_output()
        return INTERRUPTED
    except OSError as error:  # of the output: readers make errors of their own of those of the input
        _give_up_output()
        return _failed(f"the output cannot be written: {error.strerror or error}")


def _failed(problem: str) -> int:
    try:
        sys.stdout.flush()  # what could be decoded stands before the error
    except OSError:
        _give_up_output()
    print(f"halfbit: error: {problem}", file=sys.stderr)
    return 2


def _give_up_output() -> None:
    """Nobody reads on, or shall: let the interpreter's last flush go nowhere instead of failing."""
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
