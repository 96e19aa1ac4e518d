"""How much memory a signal without end takes: ``growth`` in a process of its own."""

from __future__ import annotations

import subprocess
import sys
from array import array

__all__ = ["SIGNALS", "growth"]

SIGNALS = ("clean", "ones without end", "random durations")
PIECE = 10_000


def growth(signal: str, half_bits: int) -> int:
    """KiB that a process takes for that many half-bits, beyond the most it took for the first ten thousand.

    They are decoded in pieces, one duration at a time, and from an iterator.
    """
    command = [sys.executable, "-m", "tests.benchmarks.memory", signal, str(half_bits)]
    return int(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def _child(signal: str, half_bits: int) -> int:
    import resource

    from .speed_signals import HOSTILE, track

    piece = array("L", {"clean": track, **HOSTILE}[signal](PIECE))
    _decode(piece, 1)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    _decode(piece, half_bits // PIECE)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return (after - before) // (1024 if sys.platform == "darwin" else 1)


def _decode(piece: array[int], times: int) -> None:
    """The piece again and again, each event dropped at once."""
    from halfbit.edge import edges_from_durations
    from halfbit.stream import StreamDecoder, decode

    for _ in decode(edges_from_durations(duration for _ in range(times) for duration in piece)):
        pass
    in_pieces, singly = StreamDecoder(), StreamDecoder()
    for _ in range(times):
        in_pieces.feed_many(edges_from_durations(piece))
        for duration in piece:
            singly.feed_duration(1000 * duration)
    in_pieces.finish()
    singly.finish()


if __name__ == "__main__":
    print(_child(sys.argv[1], int(sys.argv[2])))
