"""How fast halfbit is, beside a plain loop: ``python -m tests.benchmarks.speed``.

Writes JSON. Every ratio is the middle one of pairs run in turn in this process: the work, and
``for d in durations: if 52 <= d <= 64: n += 1`` over a list of the same durations. Both are timed
by the processor time they take, so that other work on the machine counts less.
``--page`` puts the figures of files so written into ``docs/performance.rst``.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import sys
import tempfile
import time
from array import array
from collections import deque
from collections.abc import Callable, Generator, Iterable, Sequence
from pathlib import Path
from typing import Any

from halfbit.bit import bits
from halfbit.capture import open_capture
from halfbit.edge import Edge, edges_from_durations
from halfbit.half_bit import half_bits
from halfbit.limits import RECEIVE
from halfbit.packet import packets
from halfbit.push import pushed
from halfbit.push_durations import pushed_durations
from halfbit.receiver import Receiver
from halfbit.stream import StreamDecoder, decode

from .frame import plain_loop
from .speed_others import PARSERS, c_port, parser
from .speed_signals import HOSTILE, clean, torn

Figures = dict[str, object]
Work = Callable[[], object]

#: How many durations the bulk rows hand over at once, as an edge source does.
BLOCK = 1 << 14
SCALE = 1000  # us to ns


def _all(values: Iterable[object]) -> None:
    deque(values, maxlen=0)


def seconds(work: Work) -> float:
    """What a piece of work takes."""
    start = time.process_time()
    work()
    return time.process_time() - start


def ratio(work: Work, durations: list[int], rounds: int) -> float:
    """How many times as long as the plain loop, in the middle."""
    loop = plain_loop(durations)
    found = []
    for _ in range(rounds):
        before, taken, after = seconds(loop), seconds(work), seconds(loop)
        found.append(2 * taken / (before + after))
    return round(statistics.median(found), 3)


def bulk(counts: list[int] | array[int], size: int = BLOCK) -> Work:
    """To packets and faults, in pieces, which are made beforehand."""
    view = memoryview(counts) if isinstance(counts, array) else counts
    pieces = [view[start : start + size] for start in range(0, len(view), size)]

    def work() -> None:
        receiver = Receiver()
        feed_many = receiver.feed_many
        for piece in pieces:
            feed_many(piece, SCALE)
        receiver.finish()

    return work


def instructions(counts: list[int] | array[int]) -> Work:
    """To instructions, in bulk."""
    return lambda: _all(decode(edges_from_durations(counts)))


def edges_of(durations: list[int]) -> list[Edge]:
    """The edges of some durations, made beforehand."""
    return list(edges_from_durations(durations))


def singly_to_packets(pushed: Callable[..., Generator[Any, Any, None]], changes: Sequence[object]) -> Work:
    """One change at a time, to packets and faults."""

    def work() -> None:
        generator = pushed(Receiver(), RECEIVE, lambda event: (event,), [], lambda: None, lambda untold: None)
        next(generator)
        feed = generator.send
        for change in changes:
            feed(change)

    return work


def nothing_decoded(edges: list[Edge]) -> Work:
    """What one edge at a time takes before anything is decoded: a call, a time, a difference, a comparison."""

    def take() -> Generator[None, Edge, None]:
        before = 0
        while True:
            time = (yield).time
            if time - before < 0:
                raise ValueError(time)
            before = time

    def work() -> None:
        generator = take()
        next(generator)
        feed = generator.send
        for edge in edges[1:]:
            feed(edge)

    return work


def singly(method: str, changes: Sequence[object]) -> Work:
    """One change at a time, to instructions, by a method of the decoder: it is a faster one from the second call on."""

    def work() -> None:
        decoder = StreamDecoder()
        for change in changes[:2]:
            getattr(decoder, method)(change)
        feed = getattr(decoder, method)
        for change in changes[2:]:
            feed(change)
        decoder.finish()

    return work


def layered(durations: list[int]) -> Work:
    """Through the iterators of all layers, to packets and faults."""
    return lambda: _all(packets(bits(half_bits(edges_from_durations(durations)))))


def ways(half_bits_each: int, rounds: int) -> Figures:
    """The ways through the layers, each on signals of several kinds."""
    jittered = clean(half_bits_each, 2)
    repeated = clean(half_bits_each, 2, repeated=True)
    signals = {
        "ideal, random packets": clean(half_bits_each),
        "jitter of 2 us, random packets": jittered,
        "jitter of 2 us, 60 packets in turn": repeated,
        "the same, 1 % torn": torn(repeated),
        "jitter of 5 us, 60 packets in turn": clean(half_bits_each, 5, repeated=True),
    }
    figures: Figures = {}
    for name, durations in signals.items():
        numbers = array("H", durations)
        edges = edges_of(durations)
        halves = [duration * SCALE for duration in durations]
        rows = {
            "bulk, array": bulk(numbers),
            "bulk, list": bulk(durations),
            "bulk, pieces of 64": bulk(durations, 64),
            "bulk, pieces of 64 of an array": bulk(numbers, 64),
            "bulk to instructions, array": instructions(numbers),
            "nothing decoded, edge by edge": nothing_decoded(edges),
            "edge by edge": singly_to_packets(pushed, edges),
            "edge by edge to instructions": singly("feed", edges),
            "duration by duration": singly_to_packets(pushed_durations, halves),
            "duration by duration to instructions": singly("feed_duration", halves),
            "layer by layer": layered(durations),
        }
        figures[name] = {row: ratio(work, durations, rounds) for row, work in rows.items()}
        print(name, figures[name], file=sys.stderr)
    return figures


def _all_signals() -> dict[str, Callable[[int], list[int]]]:
    return {**HOSTILE, "clean": lambda half_bits: clean(half_bits, 2, repeated=True)}


def lengths(short: int, long: int, rounds: int) -> Figures:
    """Time for a half-bit, ns, of short signals, and of as many of them in a row as make a long one."""
    figures: Figures = {}
    for name, make in _all_signals().items():
        few = array("H", make(short))
        many = few * (long // len(few))
        pairs = [(seconds(bulk(few)) / len(few), seconds(bulk(many)) / len(many)) for _ in range(rounds)]
        quick, slow = (statistics.median(column) for column in zip(*pairs))
        figures[name] = {"ns_short": round(quick * 1e9, 1), "ns_long": round(slow * 1e9, 1)}
        print(name, figures[name], file=sys.stderr)
    return figures


def from_file(half_bits_each: int) -> Figures:
    """From a text file to the last instruction, beside reading its numbers with the standard library."""
    part = clean(min(half_bits_each, 100_000), 2, repeated=True)
    repeats = half_bits_each // len(part) or 1
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "durations.txt")
        with path.open("w", encoding="ascii") as file:
            file.write("# halfbit: durations us\n")
            file.writelines(["\n".join(map(str, part)) + "\n"] * repeats)

        def read() -> None:
            with path.open(encoding="ascii") as file:
                file.readline()
                array("L", map(int, file))

        def whole() -> None:
            _all(decode(open_capture(path)))

        before, taken, after = seconds(read), seconds(whole), seconds(read)
    return {"half_bits": repeats * len(part), "ratio": round(2 * taken / (before + after), 2)}


def others(half_bits_each: int, rounds: int) -> Figures:
    """A packet in bulk beside a message of other fields' parsers, and the C port; us each."""
    durations = array("H", clean(half_bits_each, 2, repeated=True))
    sent = len(durations) // 84  # half-bits of a packet of three bytes behind 14 one-bits

    def each(work: Work, count: int) -> float:
        return round(statistics.median(seconds(work) for _ in range(rounds)) / count * 1e6, 3)

    figures: Figures = {
        "halfbit, to packets": each(bulk(durations), sent),
        "halfbit, to instructions": each(instructions(durations), sent),
    }
    messages = 2000
    for name in PARSERS:
        work = parser(name, messages)
        figures[name] = "not installed" if work is None else each(work, messages)
    port = c_port(durations)
    if isinstance(port, str):
        figures["C port"] = port
    else:
        assert port() == sent
        figures["C port"] = each(port, sent)
    print(figures, file=sys.stderr)
    return figures


def measured(options: argparse.Namespace) -> Figures:
    """All figures."""
    return {
        "python": platform.python_version(),
        "processor": platform.machine(),
        "processors": os.cpu_count(),
        "half_bits": options.half_bits,
        "rounds": options.rounds,
        "ways": ways(options.half_bits, options.rounds),
        "others": others(options.half_bits, options.rounds),
        "lengths": {"short": options.short, "long": options.long, "rows": lengths(options.short, options.long, 3)},
        "file": from_file(options.file),
    }


def main(arguments: list[str] | None = None) -> int:
    from .speed_page import write_page

    parser_ = argparse.ArgumentParser(prog="python -m tests.benchmarks.speed", description=__doc__)
    parser_.add_argument("--half-bits", type=int, default=100_000, help="of each signal")
    parser_.add_argument("--rounds", type=int, default=9, help="pairs of each ratio")
    parser_.add_argument("--short", type=int, default=100_000, help="length of the short signals")
    parser_.add_argument("--long", type=int, default=10_000_000, help="length of the long signals")
    parser_.add_argument("--file", type=int, default=10_000_000, help="half-bits in the text file")
    parser_.add_argument("--page", nargs="+", metavar="FIGURES", help="do not measure: write the page from these files")
    options = parser_.parse_args(arguments)
    if options.page:
        write_page([json.loads(Path(name).read_text(encoding="utf-8")) for name in options.page])
    else:
        print(json.dumps(measured(options), indent=1))
    return 0


if __name__ == "__main__":
    sys.exit(main())
