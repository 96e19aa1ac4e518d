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
from importlib import import_module

from ..error import HalfbitError

__all__ = ["COMMANDS", "main"]

INTERRUPTED = 130  # 128 + SIGINT
CLOSED = 141  # 128 + SIGPIPE


#: The commands, in the order in which help lists them, with the line it has for each. A new one is a module here. A
#: module is loaded when its command is chosen, so that help comes at once.
COMMANDS = {
    "decode": "packets, instructions and faults of a capture",
    "survey": "what a capture looks like, and which limits read it best",
    "inspect": "a stretch of a capture at all layers, to see why a packet was lost",
    "traffic": "who is on the track, and what changes",
    "follow": "what a decoder with an address and CVs would have done",
    "audit": "how the station that sent a capture keeps to the standards",
    "registry": "the instructions that are known, with their sources",
    "vectors": "signals with what a decoder must make of them; runs a port against them",
}


def parser(chosen: str) -> argparse.ArgumentParser:
    """The parser of the whole command line; of the commands other than ``chosen`` it knows the name and the line."""
    top = argparse.ArgumentParser(
        prog="halfbit",
        description="Decodes the digital track signal of model railways.",
        allow_abbrev=False,
    )
    subparsers = top.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for name, line in COMMANDS.items():
        if name == chosen:
            command = import_module(f".{name}", __package__)
            command.add_parser(subparsers).set_defaults(run=command.run)
        else:
            subparsers.add_parser(name, help=line)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line, and give the exit status.

    :param arguments: the words after the program's name; those of this process if left out.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    # The options of halfbit itself take no values, so the first word that is none is the command.
    chosen = next((word for word in words if not word.startswith("-")), "")
    args = parser(chosen).parse_args(words)
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
