"""Keeps stretches of a capture, in constant memory, to try limits on them."""

from __future__ import annotations

import random
from collections.abc import Sequence

__all__ = ["LENGTH", "NUMBER", "Stretches"]

#: Number of durations in a stretch: about 40 packets.
LENGTH = 4096
#: Number of stretches kept.
NUMBER = 8


class Stretches:
    """Splits a capture into stretches and keeps a random sample of them, each with the same probability.

    So the sample represents the whole capture, even if only some parts have a bad signal. Neighbouring
    stretches are joined. The random seed is fixed, so the same capture always gives the same stretches.
    """

    def __init__(self) -> None:
        self._rng = random.Random(0)
        self._kept: list[tuple[int, list[int]]] = []
        self._open: list[int] = []
        self._number = 0

    def add(self, durations: Sequence[int], scale: int = 1) -> None:
        """Add durations of the capture, in counts of ``scale`` ns."""
        at = 0
        while at < len(durations):
            room = LENGTH - len(self._open)
            piece = durations[at : at + room]
            self._open += [duration * scale for duration in piece]
            at += room
            if len(self._open) == LENGTH:
                self._close()

    def _close(self) -> None:
        stretch, self._open = self._open, []
        place = self._number
        self._number += 1
        if place < NUMBER:
            self._kept.append((place, stretch))
            return
        chosen = self._rng.randrange(self._number)
        if chosen < NUMBER:
            self._kept[chosen] = (place, stretch)

    def kept(self) -> list[list[int]]:
        """The stretches in order, ns; also the unfinished last one if there is room for it."""
        kept = sorted(self._kept)
        if self._open and (len(kept) < NUMBER):
            kept.append((self._number, self._open))
        joined: list[list[int]] = []
        before = None
        for place, stretch in kept:
            if joined and before is not None and place == before + 1:
                joined[-1] += stretch
            else:
                joined.append(list(stretch))
            before = place
        return joined
