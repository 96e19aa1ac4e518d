"""The most memory a process takes that decodes a signal of some length, each in a process of its own."""

from __future__ import annotations

import itertools
import subprocess
import sys
from array import array

import attrs

__all__ = ["WAYS", "Peak", "peak"]

WAYS = ("bulk", "live")


@attrs.frozen
class Peak:
    """What came of one process."""

    way: str
    half_bits: int
    #: KiB that decoding took beyond what the process had when it began.
    growth_kib: int


def peak(way: str, half_bits: int) -> Peak:
    """Decode so many half-bits in a new process: in bulk pieces, or from an iterator."""
    command = [sys.executable, "-m", "tests.benchmarks.memory", way, str(half_bits)]
    result = subprocess.run(command, capture_output=True, text=True, check=True)
    return Peak(way, half_bits, int(result.stdout))


def _child(way: str, half_bits: int) -> int:
    import resource

    from halfbit.edge import edges_from_durations
    from halfbit.stream import StreamDecoder, decode

    from .frame import signal

    piece = array("L", signal(10_000))
    StreamDecoder().feed_many(edges_from_durations(piece))  # what is built at first use is there now
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    if way == "bulk":
        decoder = StreamDecoder()
        for _ in range(half_bits // len(piece)):
            decoder.feed_many(edges_from_durations(piece))
        decoder.finish()
    else:
        source = itertools.islice(itertools.cycle(piece), half_bits)
        for _ in decode(edges_from_durations(source)):
            pass
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return (after - before) // (1024 if sys.platform == "darwin" else 1)


if __name__ == "__main__":
    print(_child(sys.argv[1], int(sys.argv[2])))
