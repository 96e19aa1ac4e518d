"""Writes the pictures that pages outside the site show: ``python -m pictures`` in ``docs/``."""

from __future__ import annotations

from pathlib import Path

from .signals import five_layers

__all__ = ["FILES", "write"]

ALT = (
    "A packet at five layers, one under another: the level of a rail over time, its half-bits, "
    "its bits, its preamble, start bit and three bytes, and the instruction they are."
)
#: Each file beside the site's pages, and its content.
FILES = {"five_layers.svg": five_layers().render(ALT, alone=True)}


def write() -> None:
    """Write the files."""
    for name, text in FILES.items():
        (Path(__file__).parent.parent / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write()
