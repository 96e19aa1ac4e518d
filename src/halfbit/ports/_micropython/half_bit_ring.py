"""A ring of half-bits that the RP2040's DMA fills from half_bit_timer.py, without the processor.

So the main loop may stop for 0.23 s, e.g. for a garbage collection or a write to flash memory, and no half-bit is
lost: 4096 half-bits of 58 us fit. After a longer stop the oldest ones are overwritten. This does not go unseen: look()
and whole() compare numbers that do not wrap. rp2.DMA and its use are from memory of MicroPython's documentation.
"""

from array import array

import rp2
from half_bit_timer import overflowed
from uctypes import addressof

SIZE = 4096  # half-bits; a power of two
COUNT = 1 << 29  # half-bits until the DMA must be started again, after eight hours; a larger number would be allocated


class HalfBitRing:
    """``machine``: the running state machine with ``number`` from half_bit_timer.start()."""

    def __init__(self, machine, number=0):
        self.machine = machine
        self.number = number
        self.words = array("H", bytes(4 * SIZE))  # twice the size: the DMA's ring starts at a multiple of it
        place = addressof(self.words)
        self.first = -place % (2 * SIZE) // 2  # index of the ring's first word
        self.place = place + 2 * self.first
        self.dma = rp2.DMA()
        self.control = self.dma.pack_ctrl(
            size=1,  # 16 bits
            inc_read=False,
            inc_write=True,
            ring_sel=True,  # the write address wraps
            ring_size=13,  # at 2**13 bytes: two for each half-bit
            treq_sel=4 + (number & 3) + 8 * (number >> 2),  # paced by the FIFO (RP2040 datasheet, from memory)
        )
        self.lost = 0  # number of lost half-bits
        self.most = 0  # most half-bits that waited
        self.start()  # what came before is no loss: nothing was read yet

    def start(self):
        """Start the DMA from the ring's first word. True if the FIFO's eight places were not enough until then.

        The FIFO keeps the oldest counts and drops newer ones. So the gap is after what waits now: that is skipped.
        """
        self.taken = 0  # half-bits that were read; the caller counts it up
        self.begun = 0  # ``taken`` at the last look()
        self.dma.config(read=self.machine, write=self.place, count=COUNT, ctrl=self.control, trigger=True)
        if not overflowed(self.number):
            return False
        self.taken = self.begun = COUNT - self.dma.count
        return True

    def look(self):
        """Number of half-bits that wait; -1 after a loss, feed the receiver a 0 then. Allocates no memory."""
        made = COUNT - self.dma.count
        waiting = made - self.taken
        if waiting > SIZE:
            return self.lose(made)
        if waiting > self.most:
            self.most = waiting
        if made == COUNT and not waiting:
            if self.start():
                self.lost += self.taken + 1  # at least one was dropped
                return -1
        self.begun = self.taken
        return waiting

    def whole(self):
        """True if no half-bit was overwritten before it was read, since the last look(); else it is a loss."""
        made = COUNT - self.dma.count
        if made - self.begun > SIZE:
            self.lose(made)
            return False
        return True

    def lose(self, made):
        """Skip all that waits."""
        self.lost += made - self.taken
        self.taken = self.begun = made
        return -1
