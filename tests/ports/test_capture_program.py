"""The capture program of docs/howto/pio.rst, in MicroPython itself: from the waveform at the pin to packets in halfbit.

The program for the programmable I/O runs in PyPI's rp2040-pio-emulator. DMA and time are simulated, as in
test_micropython_board.py; the file that the capture program writes is read by the library.
"""

from __future__ import annotations

import re
import textwrap
from array import array
from pathlib import Path

from halfbit import Instruction, decode, open_capture
from halfbit.simulate.signal import with_error_byte

from .support_build import ROOT
from .support_micropython import FILES, run
from .support_pio import Timer
from .support_railway import packets
from .test_micropython_ring import MODULES

#: How many half-bits the program takes.
COUNT = 20_000

#: A DMA that goes on while the program works: between two looks a turn of the loop has passed, and more for each
#: half-bit that was read in it, in ticks of half a us. At look number STOP the program stands still for 300 ms.
DMA = """
import uctypes
from array import array
with open("counts", "rb") as file:
    signal = array("H", file.read())
class DMA:
    def pack_ctrl(self, **fields): return fields
    def config(self, read, write, count, ctrl, trigger):
        assert trigger and read.on and write % 8192 == 0 and ctrl["ring_size"] == 13 and ctrl["treq_sel"] == 4
        self.words, self.of = uctypes.bytearray_at(write, 8192), count
        self.made = self.time = self.looks = self.waits = 0
    @property
    def count(self):
        left = self.of - self.made
        self.looks += 1
        self.time += 60 + 90 * self.waits + (600000 if self.looks == STOP else 0)
        self.waits = 0
        while self.made < len(signal) and self.time >= signal[self.made]:
            self.time -= signal[self.made]
            at, word = 2 * self.made & 8191, 32770 - signal[self.made]
            self.words[at], self.words[at + 1] = word & 255, word >> 8
            self.made += 1
            self.waits += 1
        return left
rp2.DMA = DMA
"""
#: What the file system has then.
SHOW = """
import os
if "capture.txt" in os.listdir():
    print(open("capture.txt").read())
"""


def program() -> str:
    """The program, as the page has it."""
    page = (ROOT / "docs" / "howto" / "pio.rst").read_text()
    (block,) = re.findall(r"\.\. code-block:: python\n\n((?:   .*\n|\n)+)", page)
    return textwrap.dedent(block)


SENT = [(3, 0x3F, 0x80 | code) for code in range(2, 128)] + [(9, 0x3F, 0x80 | code) for code in range(2, 128)]
SIGNAL = packets(*SENT)


def captured(stop: int) -> str:
    """What the program prints, and the file that it writes."""
    assert len(SIGNAL) > COUNT
    counts = Timer(SIGNAL).quick()
    script = f"STOP = {stop}\n" + MODULES + DMA + program() + SHOW
    return run(script, {**FILES, "counts": array("H", counts).tobytes()}).output


def test_a_capture_from_pin_to_packets(tmp_path: Path) -> None:
    file = tmp_path / "capture.txt"
    waiting, _, written = captured(stop=0).partition("\n")
    assert waiting == "waiting for level changes at GPIO 16"
    file.write_text(written)
    heading, *lines = written.split("\n")
    assert heading == "# halfbit: durations ticks=2000000" and len([line for line in lines if line]) == COUNT
    decoded = [event.packet for event in decode(open_capture(str(file))) if isinstance(event, Instruction)]
    found = [packet.data for packet in decoded if packet is not None]
    sent = [with_error_byte(bytes(body)) for body in SENT]
    assert len(found) > 180 and found == sent[: len(found)]


def test_a_loss_is_said_and_nothing_is_written() -> None:
    """The program stands still for 300 ms: more half-bits come than the ring has places."""
    assert captured(stop=3_000).endswith("16\nhalf-bits were lost, the loop was too slow: nothing is written\n")
