"""``python -m halfbit.ports FOLDER``: writes the C and MicroPython sources to a folder."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from ..error import HalfbitError
from . import write


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the files and list them. Returns the exit status: 0, or 2 on an error."""
    text = "Write halfbit's sources for small boards, in C and for MicroPython, to a folder."
    parser = argparse.ArgumentParser(prog="python -m halfbit.ports", description=text, allow_abbrev=False)
    parser.add_argument("folder", help="where to; made if it is not there")
    try:
        for path in write(parser.parse_args(arguments).folder):
            print(path)
    except HalfbitError as error:
        print(f"{parser.prog}: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
