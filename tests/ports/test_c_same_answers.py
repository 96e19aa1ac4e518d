"""The C port against halfbit.core: every answer to every feed, and every byte, the same."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from halfbit import core
from halfbit.limits import RECEIVE, TRANSMIT, Limits

from ..support_strategies import signals
from .support_build import C, CReceiver, core_receiver, library, ticks
from .support_torn import ODD, torn_signal

#: Limits that differ in each part, at each of some timers.
VARIANTS: dict[str, dict[str, int]] = {
    "receive, 1 us": ticks(RECEIVE),
    "receive, 0.25 us": ticks(RECEIVE, 4),
    "transmit, 1 us": ticks(TRANSMIT),
    "preamble of 12, 8 MHz / 16": ticks(Limits(preamble_min=12), 2),
    "no difference": ticks(Limits(one_difference=0)),
    "any difference": ticks(Limits(one_difference=None)),
    "zeros limited, short packets": ticks(
        Limits(zero_total_max=12_000_000, packet_min=1, packet_max=4)
    ),
    "longest preamble": ticks(Limits(preamble_min=255)),
}


def compare(durations: Iterable[int], values: Mapping[str, int]) -> int:
    """Feed both; give the number of packets."""
    port = CReceiver(library(values if values != ticks() else None), values["PACKET_MAX"])
    model = core_receiver(values)
    packets = 0
    for index, duration in enumerate(durations):
        expected = model.feed(duration)
        answer = port.feed(duration)
        assert answer == expected, f"duration {index}, {duration}: {answer} instead of {expected}"
        if expected in (core.PACKET, core.SHORT_PREAMBLE):
            assert port.preamble == model.packets.preamble, f"duration {index}"
        if expected == core.PACKET or expected >= core.SHORT and model.packets.length:
            length = model.packets.length
            assert port.data == bytes(model.packets.data[:length]), f"duration {index}"
            packets += expected == core.PACKET
    assert port.unharmed
    return packets


@given(signals())
def test_signals(durations: list[int]) -> None:
    compare([min(duration // 1000, 2**32 - 1) for duration in durations], ticks())


@given(st.lists(st.one_of(st.sampled_from(ODD), st.integers(0, 2**32 - 1), st.integers(50, 110))))
@example([0])
@example([2**32 - 1])
def test_arbitrary_durations(durations: list[int]) -> None:
    compare(durations, ticks())


@settings(max_examples=25)
@given(
    st.sampled_from(sorted(VARIANTS)),
    st.lists(st.sampled_from((52, 55, 58, 61, 64)), min_size=60, max_size=300),
    st.lists(st.integers(0, 2**16), max_size=30),
)
def test_long_runs_of_ones(variant: str, ones: list[int], others: list[int]) -> None:
    """Counts stop at 255 either way; a phase that was off, or slips, changes which count holds."""
    per_us = VARIANTS[variant]["ONE_MIN"] // ticks(TRANSMIT if "transmit" in variant else RECEIVE)["ONE_MIN"]
    durations = [per_us * d for d in (*ones, *[58] * 500, 100, *ones, 100, 100, *others, *ones)]
    compare(durations, VARIANTS[variant])


@pytest.mark.parametrize("variant", VARIANTS)
def test_torn_signals(variant: str) -> None:
    """60,000 half-bits from sound to rubbish for each set of limits; packets are among them."""
    values = VARIANTS[variant]
    scale = values["ZERO_MAX"] // (9_900 if "transmit" in variant else 10_000)
    signal = (min(scale * duration, 2**32 - 1) for duration in torn_signal(len(variant), 60_000))
    packets = compare(signal, values)
    assert packets >= (1 if variant == "longest preamble" else 10)


def test_bounds_of_each_window() -> None:
    """S-9.1 A, table 1: every duration from 0 to 10,100 us alone, and as either half of a bit."""
    for before in ([], [58], [100], [58] * 20, [58] * 20 + [100] * 2):
        compare((d for length in range(130) for d in (*before, length)), ticks())
    compare((d for length in range(9_900, 10_100) for d in (100, length)), ticks())


def test_every_pair_of_ones_halves() -> None:
    """S-9.1 A, table 1: halves that differ by 6 us are a one-bit, by 7 us not."""
    pairs = [(first, last) for first in range(50, 68) for last in range(50, 68)]
    compare((half for pair in pairs for half in (*[100] * 2, *[58] * 24, *pair)), ticks())


def test_huge_durations_are_not_taken_modulo() -> None:
    """A duration kept in 16 bits must not come back as a half-bit: 65536 + 58 is LONG."""
    for turns in (1, 2, 3, 65535):
        for duration in range(45, 110):
            compare([*[58] * 30, 65536 * turns + duration, *[58] * 30], ticks())


def test_names_and_numbers_are_the_cores() -> None:
    header = (C / "halfbit.h").read_text()
    answers = dict(re.findall(r"^    HALFBIT_([A-Z_]+) = (\d+)", header, re.MULTILINE))
    assert len(answers) == 17
    for name, number in answers.items():
        assert getattr(core, name) == int(number), name


def test_the_table_is_the_cores() -> None:
    source = (C / "halfbit.c").read_text()
    rows = re.search(r"STEPS\[24\] HALFBIT_ROM = \{(.*?)\};", source, re.DOTALL)
    assert rows is not None
    names = re.findall(r"\b[A-Z]+\b", re.sub(r"/\*.*?\*/", "", rows[1]))
    assert [getattr(core, name) for name in names] == list(core.STEPS)
