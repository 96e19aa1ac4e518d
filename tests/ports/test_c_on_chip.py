"""The C port on a Cortex-M0+: that it fits, and that it is fast enough."""

from __future__ import annotations

import pytest

from ..benchmarks import port_cost
from .support_chip import Chip

#: What the port must keep to, -Os.
CODE, STATE, AVERAGE, WORST = 420, 32, 32, 60


@pytest.fixture(scope="module")
def chip() -> Chip:
    return Chip("-Os")


def test_it_fits(chip: Chip) -> None:
    assert 100 < chip.code <= CODE
    assert 16 < chip.state <= STATE


def test_a_clean_signal(chip: Chip) -> None:
    cost = port_cost.clean(chip)
    assert cost.feeds > 5_000
    assert 10 < cost.average <= AVERAGE
    assert cost.worst <= WORST


def test_idle_packets(chip: Chip) -> None:
    assert port_cost.idle(chip).average <= AVERAGE


def test_the_worst_of_torn_signals(chip: Chip) -> None:
    cost = port_cost.torn(chip)
    assert cost.worst <= WORST
    assert cost.stack <= 32


def test_faster_code_gives_the_same_answers() -> None:
    assert port_cost.torn(Chip("-O2"), 10_000).worst <= WORST
