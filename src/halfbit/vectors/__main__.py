"""Writes the vectors' files anew."""

from __future__ import annotations

from pathlib import Path

from .make import STORIES, text

if __name__ == "__main__":
    for name in STORIES:
        path = Path(__file__).with_name("data") / f"{name}.jsonl"
        path.write_text(text(name), "ascii")
        print(f"{path.name}: {len(STORIES[name])} cases, {path.stat().st_size} bytes")
