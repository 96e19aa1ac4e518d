"""Diagnosis of losses: the cause is named right, and no wrong packet is proposed."""

from __future__ import annotations

from collections import Counter

import pytest

from halfbit.event import Fault, FaultKind
from halfbit.inspect.diagnosis import Cause, Diagnosis, diagnose
from halfbit.limits import RECEIVE

from .losses import MAKERS, found, losses

CAUSES = [*MAKERS, Cause.SHORT_PREAMBLE]
COUNT = 200


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
def test_cause_is_named_and_the_packet_is_what_was_sent(cause: Cause) -> None:
    named: Counter[Cause] = Counter()
    proposed = 0
    for loss in losses(cause, COUNT, seed=1):
        (first, *_) = diagnoses = found(loss)
        named[first.cause] += 1
        assert {each.packet for each in diagnoses} <= {None, loss.packet}
        proposed += first.packet == loss.packet
        if first.cause is cause:
            assert abs(first.at - loss.at) < 6_000_000  # within the packet
    assert named[cause] >= 0.95 * COUNT, named
    assert proposed >= 0.95 * COUNT


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
def test_no_packet_is_proposed_without_one_nearby(cause: Cause) -> None:
    for loss in losses(cause, COUNT // 4, seed=2, repeated=False):
        assert [each.packet for each in found(loss) if each.packet is not None] == []


def test_words() -> None:
    fault = Fault(FaultKind.UNPAIRED_ZERO, 238_000_000, 244_000_000, 240_377_000, 116_000)
    found_ = Diagnosis(fault, Cause.MISSED_CHANGE, 240_377_000, bytes.fromhex("2C705C"), 9_000_000, 9_400_000)
    assert str(found_) == (
        "a change was missed near 240.377 ms: with it, this is 2C 70 5C, as sent 9 ms before and 9 ms after"
    )
    assert found_.brief(80) == "a change was missed: 2C 70 5C as 9 ms before and 9 ms after"
    assert [len(found_.brief(room)) <= room for room in range(20, 90)] == [True] * 70
    several = Diagnosis(fault, Cause.SEVERAL, 240_377_000, several=(Cause.SPIKE, Cause.ADDED_CHANGE))
    assert str(several) == "several causes fit near 240.377 ms: a spike, or a change too many"
    assert "no single cause fits" in str(diagnose(fault, [], 0, RECEIVE))
