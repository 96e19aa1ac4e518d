"""The benchmark of speed runs, its page is made of the checked-in figures, and these keep what is promised."""

from __future__ import annotations

import json
from typing import Any

import pytest

from halfbit.receiver import Receiver

from .speed import from_file, lengths, others, ways
from .speed_page import FIGURES, PAGE, page
from .speed_signals import HOSTILE, clean, torn


def _figures() -> list[dict[str, Any]]:
    return [json.loads(path.read_text(encoding="utf-8")) for path in FIGURES]


def test_the_page_is_made_of_the_figures() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(_figures())


@pytest.mark.parametrize("figures", _figures(), ids=lambda figures: str(figures["python"]))
def test_the_figures_keep_what_is_promised(figures: dict[str, Any]) -> None:
    """A packet costs less than other parsers' messages, ten times the C port at most; long signals are as quick as short ones.

    And each way costs so many plain loops at most.
    """
    for name in ("ideal, random packets", "jitter of 2 us, random packets", "jitter of 2 us, 60 packets in turn"):
        row = figures["ways"][name]
        assert row["bulk, array"] <= 0.7
        assert row["bulk, list"] <= 0.9
        assert row["bulk, pieces of 64"] <= 1.4
        assert row["bulk, pieces of 64 of an array"] <= 1.4
        assert row["duration by duration"] <= 2.4
        assert row["layer by layer"] <= 20
    assert row["bulk to instructions, array"] - row["bulk, array"] <= 1
    torn_row = figures["ways"]["the same, 1 % torn"]
    assert torn_row["bulk, array"] <= 1.3
    assert torn_row["bulk, list"] <= 1.5
    assert torn_row["layer by layer"] <= 20
    us = {name: each for name, each in figures["others"].items() if not isinstance(each, str)}
    packet = us.pop("halfbit, to packets")
    port = us.pop("C port")
    del us["halfbit, to instructions"]
    assert packet < min(us.values())
    assert packet < 10 * port
    for row in figures["lengths"]["rows"].values():
        assert row["ns_long"] < 1.2 * row["ns_short"]
    assert figures["file"]["ratio"] < 3


def test_every_row_is_measured() -> None:
    """On short signals: the figures mean nothing, but all work runs, and the signals are what they say."""
    assert len(ways(2000, 1)) == 5
    assert set(lengths(2000, 4000, 1)) == {*HOSTILE, "clean"}
    assert from_file(2000)["half_bits"] == 2016
    assert others(2000, 1)["halfbit, to packets"]
    receiver = Receiver()
    assert len(receiver.feed_many(clean(8400, 2), 1000)) == 100
    assert len(torn(clean(100_000))) != 100_000
