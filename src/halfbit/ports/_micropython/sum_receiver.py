"""The decision by sum, for a board that sees level changes late: a polled loop, or an isolator slow in one direction.

Keep core.py, core_sum.py and core_sum_lengths.py (unchanged copies of halfbit's files) in the same folder. After
construction it allocates no memory. Now and then ``feed`` learns the lengths of the station's bits: at the start, and
if no packet has come for long. That takes as long as some thousand half-bits, so feed it from a queue. Each half-bit
costs three times as much as by halves: see "Changes that are seen late" in halfbit's documentation for which boards
keep up.
"""

from array import array

import core
import core_sum
import core_sum_lengths


def receiver(late, ticks=1, us=1, kept=core_sum.BLOCK):
    """The core's receiver by sum, with the limits of halfbit_sum.h.

    ``late`` is the longest time from a level change until the board sees it, minus the shortest, in us, up to 42: the
    period of the loop, or how much the isolator delays one direction more. The durations are of a timer with ``ticks``
    ticks in ``us`` us. ``kept`` is the number of durations kept: 240, or twice, three or four times as many.
    """
    late = late * ticks // us
    zero_max = 10000 * ticks // us + late
    learner = core_sum_lengths.Learner(
        array("H" if zero_max < 65535 else "I", bytes(kept * (2 if zero_max < 65535 else 4))),
        (52 * ticks + us - 1) // us - late // 2,
        77 * ticks // us,
        late,
        16 * us // ticks,
    )
    first, second = [core.Packets(core_sum.NEVER, 10, 3, 15) for _ in range(2)]
    return core_sum.Sums(first, second, learner, zero_max)
