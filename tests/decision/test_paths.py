"""Readings followed side by side: which are kept, and what is known of those that are not."""

from __future__ import annotations

import pytest

from halfbit import Limits
from halfbit.decision.costs import BEAM, MOST, RIVAL, RIVAL_ONE_EDGE, SURELY
from halfbit.decision.lengths import Lengths
from halfbit.decision.paths import Found, Reading, Trail, and_assumed, and_dropped, and_found, to_follow, widened
from halfbit.decision.reader import MARGIN, MARGIN_ONE_EDGE, SequenceReader
from halfbit.decision.steps import RUN, Steps, before, within

US = 1000


def reading(cost: float, trail: Trail) -> Reading:
    return cost, RUN, 2, 0, 0, trail


def test_readings_followed() -> None:
    def followed(*costs: float, rival: float = RIVAL) -> int:
        return to_follow([reading(cost, Trail(0)) for cost in costs], rival)

    assert followed(0.0, 1.0, SURELY) == 3
    assert followed(0.0, 1.0, SURELY + 1) == 2
    assert followed(*[0.0] * BEAM, *[RIVAL + 1] * 5) == BEAM
    assert followed(*[0.0] * BEAM, *[RIVAL - 1] * 5, RIVAL + 1) == BEAM + 5
    assert followed(*[0.0] * BEAM, RIVAL + 0.5, rival=RIVAL_ONE_EDGE) == BEAM + 1
    assert followed(*[0.0] * (MOST + 1)) == MOST


def test_a_dropped_reading_counts_against_each_reading_by_its_own_cost() -> None:
    """With one edge, a packet was given whose reading had cost as much as one that had been dropped.

    Only how much more the dropped one cost than the best reading counted, but the best one came to nothing.
    """
    best, other = (and_dropped(reading(cost, Trail(0)), 5.5) for cost in (0.0, 5.0))
    assert (best[5].dropped, other[5].dropped) == (5.5, 0.5)
    # The least counts, until the packet is decided.
    assert and_dropped(best, 9.0)[5].dropped == 5.5
    assert and_dropped(best, 3.0)[5].dropped == 3.0
    found = Found(b"\xff\x00\xff", 14, 0, 6000 * US, 0, 1.0, 1.0)
    trail = and_found(and_assumed(other[5], 1), found.end, found)
    assert (trail.found, trail.dropped, trail.run_start) == ((found,), 0.5, found.end)


def test_only_in_a_run_the_last_change_may_have_happened_otherwise() -> None:
    in_run, in_packet = ((0.0, place, 20, 10, 20, Trail(0)) for place in (RUN, before(1)))
    assert widened(in_run, 5, 15) == (0.0, RUN, 20, 5, 20, Trail(0))
    assert widened(in_run, 12, 25) == (0.0, RUN, 20, 10, 25, Trail(0))
    assert widened(in_packet, 5, 25) == in_packet


@pytest.mark.parametrize(("stretched", "least"), [(0.3, MARGIN_ONE_EDGE), (0.0, MARGIN)])
def test_how_near_a_dropped_reading_may_be(stretched: float, least: float) -> None:
    """Nothing excuses it: whether it would have come to the right error detection byte is not known."""
    lengths = Lengths(58 * US, 100 * US, 100 * US, 0, stretched)
    for dropped, clear in ((least - 0.1, False), (least + 0.1, True)):
        reader = SequenceReader(Limits.for_one_edge(), lengths, 1 * US)
        found = Found(b"\xff\x00\xff", 14, 0, 0, 0, 1.0, 1.0)
        reader._readings = [reading(1.0, and_dropped(reading(1.0, Trail(0, found=(found,))), 1.0 + dropped)[5])]
        reader._decide()
        assert [packet.margin > 0 for packet in reader.found] == [clear]
        assert reader._readings[0][5] == Trail(0)  # the packet is decided, so what was dropped before counts no more


def test_zeros_in_a_duration_of_one_edge() -> None:
    """Between bits, it holds both halves of one zero; within bits, halves of two. Either of two may be stretched."""
    steps = Steps(2, Lengths(58 * US, 100 * US, 100 * US), 0)
    between = {step.least // US: step.zeros for step in steps[before(1)]}
    assert between == {116: 0, 200: 1}
    one, zero = ({step.least // US: step.zeros for step in steps[within(1, kind)]} for kind in (1, 0))
    assert (one, zero) == ({116: 0, 158: 1}, {158: 1, 200: 2})
