"""A survey of a capture whose changes are exact, but some are missing."""

from __future__ import annotations

import random
from itertools import islice

from halfbit.survey import survey
from halfbit import edges_from_durations
from tests.trial.observer import Observer
from tests.trial.station import Station
from tests.trial.traffic import layout_packets

US = 1000


def test_the_latency_comes_from_packets_that_have_all_their_changes() -> None:
    """The best trial here is a sequence with 3 us too much latency, and a fit to its packets alone says the same.

    Packets that simple limits read show that the changes are exact.
    """
    rng = random.Random(1)
    station = Station(one=(59.7, 56.9), zero=(117, 95), preamble=(14, 20))
    capture = Observer(missed=0.01).capture(station.signal(islice(layout_packets(rng), 152), rng), rng)
    found = survey(edges_from_durations(capture.durations, "ns"), thorough=False)
    assert found.limits.latency_max < US
