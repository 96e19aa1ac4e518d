"""``python -m halfbit``, and the command ``halfbit``."""

from __future__ import annotations

import sys

__all__ = ["start"]


def start() -> int:
    """Run the command line, and give the exit status.

    The rest is imported here, so that Ctrl-C while it is being loaded ends the command without a traceback.
    """
    try:
        from .cli.main import main

        return main()
    except KeyboardInterrupt:
        return 130  # 128 + SIGINT


if __name__ == "__main__":
    sys.exit(start())
