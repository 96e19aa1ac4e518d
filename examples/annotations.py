"""Embed halfbit in another analyser: boxes for bits, packets and instructions, each with its first and last sample.

An analyser that shows a waveform wants boxes under it: from which sample to which, on which row, with what text.
It hands out samples as they come. Here they are a microsecond each.
"""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from halfbit import Bit, BitMachine, EdgeMachine, Event, HalfBitMachine, Instruction, Packet, StreamDecoder

CAPTURE = Path(__file__).parent / "captures" / "shunting_turn.txt"
NS = 1000  # in a sample


class Box(NamedTuple):
    """A box under the waveform."""

    start: int
    end: int
    row: str
    text: str


class Annotator:
    """Samples in, boxes out."""

    def __init__(self) -> None:
        self._edges, self._half_bits, self._bits = EdgeMachine("us"), HalfBitMachine(), BitMachine()
        self._decoder = StreamDecoder()
        self._sample = 0
        self._first: int | None = None  # the sample of the first change, from which halfbit counts
        self._packet: Packet | None = None

    def feed(self, level: int) -> Iterator[Box]:
        """Take the next sample's level, 0 or 1."""
        for edge in self._edges.feed(self._sample, level):
            self._first = self._sample if self._first is None else self._first
            for half_bit in self._half_bits.feed(edge):
                for bit in self._bits.feed(half_bit):
                    if isinstance(bit, Bit):
                        yield self._box(bit.start, bit.start + bit.first + bit.last, "bits", str(bit.value))
            yield from self._boxes(self._decoder.feed(edge))
        self._sample += 1

    def finish(self) -> Iterator[Box]:
        """The capture is over."""
        yield from self._boxes(self._decoder.finish())

    def _boxes(self, events: tuple[Event, ...]) -> Iterator[Box]:
        for event in events:
            if not isinstance(event, Instruction):
                yield self._box(event.start, event.end, "losses", str(event))
            elif event.packet is not None:  # a packet may hold several instructions
                if event.packet is not self._packet:
                    self._packet = event.packet
                    yield self._box(event.packet.start, event.packet.end, "packets", str(event.packet))
                yield self._box(event.packet.start, event.packet.end, "instructions", f"{event.address}: {event}")

    def _box(self, start: int, end: int, row: str, text: str) -> Box:
        return Box((self._first or 0) + start // NS, (self._first or 0) + end // NS, row, text)


if __name__ == "__main__":
    annotator, level = Annotator(), 0
    for line in Path(sys.argv[1] if len(sys.argv) > 1 else CAPTURE).read_text("ascii").splitlines():
        if not line.startswith("#"):
            for _ in range(int(line)):  # a capture of durations, as the samples an analyser would have
                for box in annotator.feed(level):
                    print(f"{box.start:6} to {box.end:6}  {box.row:12}  {box.text}")
            level = 1 - level
    for box in annotator.finish():
        print(f"{box.start:6} to {box.end:6}  {box.row:12}  {box.text}")
