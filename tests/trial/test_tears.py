"""Captures with tears by sequence that were read wrong once: no packet beside a torn one is lost, none is made up."""

import random
from itertools import islice

import pytest

from .library import read
from .observer import Loop, Observer
from .score import score
from .station import Station
from .tears import Tear, _rounds, torn, unseen_ends
from .traffic import layout_packets


@pytest.mark.parametrize(
    ("tear", "number", "every", "loop", "seed"),
    [
        pytest.param(Tear.LOST, 72, 3, 38, 210005, id="readings dropped in the torn packet were rivals of the next"),
        pytest.param(Tear.SHRUNK, 88, 3, 38, 210005, id="a run read with a wrong lateness replaced the right one"),
        pytest.param(Tear.SHRUNK, 78, 5, 30, 540001, id="a packet with a late change replaced the right one"),
        pytest.param(Tear.SHRUNK, 70, 5, 30, 540001, id="the run after a refused packet kept its wrong lateness"),
        pytest.param(Tear.SHRUNK, 82, 5, 30, 540001, id="a preamble was read with the lateness of before the tear"),
        pytest.param(Tear.SHRUNK, 227, 1, 0, 570001, id="a stretched zero with a spike in it was a torn one"),
        pytest.param(Tear.SHRUNK, 25, 5, 20, 540001, id="a stretched zero beside three errors was a torn one"),
        pytest.param(Tear.ADDED, 9, 3, 38, 210005, id="a one was learned 0.6 us too short"),
        pytest.param(Tear.STRETCHED, 115, 3, 38, 210005, id="a stretched half was read as three"),
    ],
)
def test_packets_beside_tears(tear: Tear, number: int, every: int, loop: float, seed: int) -> None:
    station, observer = Station(), Observer(loop=Loop(period=loop) if loop else None)
    rng = random.Random(f"tears {seed}")
    signal = station.signal(islice(layout_packets(rng), 202), rng)
    (tears,) = islice(_rounds(signal, tear, every), number, number + 1)
    chance = random.Random(f"tears {seed} {tear.value} {number}")
    made = torn(signal, tears, station, chance)
    capture = observer.capture(made.signal, chance)
    found = score(capture.packets, read(capture.durations, "sequence", observer).packets)
    assert set(found.lost) <= made.touched | unseen_ends(capture, observer)
    assert not found.false
