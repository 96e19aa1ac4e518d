"""The command line: builds the parser from the modules of the commands, and returns the exit status.

A command is a module with ``add_options(parser, everything)`` and ``run(args)``, which returns the exit status. The
module's docstring is the help text: the first paragraph stands above the options, the last one (exit status) below
them, and the others come with ``--help-all``. Lines that begin with two spaces are not wrapped.

Exit status: 0 success; 1 nothing was found; 2 the input cannot be read, the output cannot be written, or the command
line is wrong; 128 plus the signal's number if ended by a signal, as in a shell.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Collection, Sequence
from importlib import import_module
from typing import Any, NoReturn

from ..error import HalfbitError

__all__ = ["COMMANDS", "main", "parser"]

INTERRUPTED = 130  # 128 + SIGINT
CLOSED = 141  # 128 + SIGPIPE

#: The commands with their help lines, in the order of the help. To add a command, add a module and a line here.
#: A module is loaded only when its command is used, so that help is fast.
COMMANDS = {
    "decode": "packets, instructions and losses of a capture",
    "survey": "what a capture looks like, and the limits that read it best",
    "inspect": "a stretch at all layers, to see why a packet was lost",
    "traffic": "the addresses on the track, and what changes",
    "follow": "what a decoder with an address and CVs would have done",
    "audit": "how well the station keeps to the standards",
    "clip": "a stretch of a capture as a small text capture",
    "compare": "two captures of the same track: what only one has",
    "report": "one HTML file: survey, traffic, losses, audit",
    "registry": "the known instructions, with their sources",
    "vectors": "test signals with the correct output, to check a port",
    "completion": "a script for completing options in a shell",
    "manual": "the manual page",
}


class Parser(argparse.ArgumentParser):
    """A parser that reports errors in one line."""

    def error(self, message: str) -> NoReturn:
        """Print the message in one line and exit with status 2."""
        self.exit(2, f"halfbit: error: {message}  ({self.prog} --help)\n")


class Formatter(argparse.HelpFormatter):
    """Wraps text paragraph by paragraph to the terminal's width; indented paragraphs stay as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        wrapped = super()._fill_text
        parts = text.split("\n\n")
        return "\n\n".join(part if part.startswith("  ") else wrapped(part, width, indent) for part in parts)


class _Version(argparse.Action):
    """Prints the version. It is imported only then, to save time."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any) -> NoReturn:
        from importlib.metadata import version

        print(f"halfbit {version('halfbit')}")
        parser.exit()


def parser(everything: bool = False, names: Collection[str] = tuple(COMMANDS)) -> argparse.ArgumentParser:
    """The parser of the whole command line.

    :param everything: True to show all options in the help, not only the most important ones.
    :param names: the commands to load with their options. Other commands have only a name and a help line.
    """
    text = "Decodes the digital track signal of model railways. Begin with:\n\n  halfbit decode FILE"
    top = Parser(prog="halfbit", description=text, formatter_class=Formatter, allow_abbrev=False)
    top.add_argument("--version", action=_Version, nargs=0, help="show the version and exit")
    subparsers = top.add_subparsers(title="commands", required=True, metavar="COMMAND", dest="command")
    for name, line in COMMANDS.items():
        command = subparsers.add_parser(name, help=line, formatter_class=Formatter, allow_abbrev=False)
        if name in names:
            module = import_module(f"halfbit.cli.{name}")
            module.add_options(command, everything)
            command.description, *notes = (module.__doc__ or line).strip().split("\n\n")
            command.epilog = "\n\n".join(notes if everything else notes[-1:])
            command.add_argument("--help-all", action="help", help="show this help with all options")
            command.set_defaults(run=module.run)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit status.

    :param arguments: the words after the program's name; ``None`` for those of this process.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    prog = "halfbit"
    if sys.stdout is None:
        return _failed("standard output is closed", prog)
    try:
        # No option of halfbit itself takes a value, so the first word that is not an option is the command.
        names = [word for word in words if not word.startswith("-")][:1]
        args = parser("--help-all" in words, names).parse_args(words)
        prog = f"halfbit {args.command}"
        status: int = args.run(args)
        sys.stdout.flush()
        return status
    except HalfbitError as error:
        from .options import as_options

        return _failed(as_options(str(error)), prog)
    except BrokenPipeError:
        _give_up_output()
        return CLOSED
    except KeyboardInterrupt:
        _give_up_output()
        return INTERRUPTED
    except OSError as error:  # from the output; errors of the input are CaptureErrors
        _give_up_output()
        return _failed(f"the output cannot be written: {error.strerror or error}", prog)


def _failed(problem: str, prog: str) -> int:
    try:
        if sys.stdout is not None:
            sys.stdout.flush()  # print the decoded part before the error
    except OSError:
        _give_up_output()
    if sys.stderr is not None:
        print(f"halfbit: error: {problem}  ({prog} --help)", file=sys.stderr)
    return 2


def _give_up_output() -> None:
    """Redirect standard output to the null device, so that the interpreter's last flush does not fail."""
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
