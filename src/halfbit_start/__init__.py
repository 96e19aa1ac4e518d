"""Starts the command line. Apart from halfbit, so that Ctrl-C while that is being loaded ends it without a traceback."""

from __future__ import annotations

__all__ = ["main"]


def main() -> int:
    """Run the command line, and give the exit status."""
    try:
        from halfbit.cli.main import main as run

        return run()
    except KeyboardInterrupt:
        return 130  # 128 + SIGINT
