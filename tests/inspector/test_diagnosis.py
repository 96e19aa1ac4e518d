"""Diagnosis of losses: the cause is named right, and no wrong packet is proposed.

``python -m tests.inspector.test_diagnosis 200`` prints the figures for 200 losses of each cause in each kind of
capture.
"""

from __future__ import annotations

import sys
from collections import Counter

import attrs
import pytest

from halfbit.event import Fault, FaultKind, Packet, Recovery
from halfbit.inspect.cause import CAUSE_OF, Cause, Diagnosis
from halfbit.inspect.diagnosis import diagnose
from halfbit.inspect.losses import Diagnoser, Durations
from halfbit.inspect.text import explained
from halfbit.limits import RECEIVE, US

from .losses import CAPTURES, CAUSES, HALVES, RECOVERED, SUMS, Capture, Loss, found, losses, noticed

#: Losses of each cause: by single halves, and where reading takes longer.
COUNT, FEW = 24, 6
#: Recovery does not tell these apart.
ALIKE = {Cause.SPIKE: Cause.ADDED_CHANGE, Cause.EARLY_CHANGE: Cause.LATE_CHANGE, Cause.TWO_MISSED: Cause.MISSED_CHANGE}


@attrs.define
class Figures:
    """What was said about the losses of one cause."""

    named: Counter[str] = attrs.Factory(Counter)
    right: int = 0
    proposed: int = 0
    wrong: int = 0

    def add(self, loss: Loss) -> None:
        """Count a loss: by its diagnosis, or by how its packet was recovered."""
        events = noticed(loss)
        diagnoses = [each for each in found(loss) if each.fault in events]
        self.wrong += sum(not _sent(each.packet, each.fault, loss) for each in diagnoses if each.packet is not None)
        if diagnoses:
            (first, *_) = diagnoses
            self.named[first.cause.name] += 1
            self.right += loss.cause in (first.cause, *first.several) and abs(first.at - loss.at) < 8_000_000
            self.proposed += loss.packet in (first.packet, first.perhaps)
            return
        packet = next(each for each in events if isinstance(each, Packet))
        assert packet.recovered is not None
        cause = CAUSE_OF[packet.recovered]
        self.named[f"read in spite of {cause.name}"] += 1
        self.right += cause in (loss.cause, ALIKE.get(loss.cause))
        self.proposed += packet.data == loss.packet
        self.wrong += packet.data not in {data for _, data in loss.sent}  # it may be the one after


def _sent(packet: bytes, fault: Fault, loss: Loss) -> bool:
    """True if a packet was sent within a lost stretch. The loss may shift the times by less than 2 ms."""
    return any(
        data == packet and fault.start - 4_000_000 < start < fault.end + 2_000_000 for start, data in loss.sent
    )


def figures(cause: Cause, count: int, capture: Capture, *, repeated: bool) -> Figures:
    """The figures for some losses of a cause."""
    result = Figures()
    for loss in losses(cause, count, 1 + (not repeated), repeated, capture):
        result.add(loss)
    return result


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
def test_cause_is_named_and_the_packet_is_what_was_sent(cause: Cause) -> None:
    result = figures(cause, COUNT, HALVES, repeated=True)
    assert result.right >= 0.95 * COUNT, result
    assert result.proposed >= 0.95 * COUNT, result
    assert not result.wrong


@pytest.mark.parametrize("capture", [SUMS, RECOVERED], ids=lambda capture: capture.name)
@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
def test_cause_is_named_by_sums_too(cause: Cause, capture: Capture) -> None:
    result = figures(cause, FEW, capture, repeated=True)
    assert result.right >= FEW - 1 and not result.wrong, result


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: cause.name)
def test_no_packet_is_proposed_without_one_nearby(cause: Cause) -> None:
    result = figures(cause, COUNT, HALVES, repeated=False)
    assert (result.proposed, result.wrong) == (0, 0), result


def test_a_long_silence_may_be_one_stretched_half_if_no_packet_nearby_says_otherwise() -> None:
    result = figures(Cause.STRETCHED_HALF, COUNT, HALVES, repeated=False)
    assert result.named["NO_CONTACT"] > COUNT // 3
    assert result.right == COUNT - result.named["NOT_FOUND"], result


def test_a_loss_is_diagnosed_from_what_came_before_it_if_it_is_live() -> None:
    (loss,) = losses(Cause.MISSED_CHANGE, 1, 3)
    durations = Durations()
    diagnoser: Diagnoser[Fault | Packet] = Diagnoser(loss.limits, durations, wait=False)
    durations.add(loss.durations, 1)
    (fault,) = (each for each in noticed(loss) if isinstance(each, Fault))
    start = loss.at - 3_000_000
    before = Packet(loss.packet, 14, max(start - 20_000_000, 0), start)
    first, (_, diagnosis) = diagnoser.through([before, fault])
    assert first == (before, None)
    assert diagnosis is not None and (diagnosis.cause, diagnosis.packet) == (loss.cause, loss.packet)
    assert diagnosis.before is not None and diagnosis.after is None


def test_durations_are_kept_for_losses_that_wait() -> None:
    durations = Durations(100)
    for _ in range(10):
        durations.add([58 * US] * 60, 1)
    found_, start, first = durations.between(450 * 58 * US, 452 * 58 * US)
    assert (found_, start, first) == ([58 * US] * 2, 450 * 58 * US, 450)
    assert durations.between(0, 58 * US)[0] == []
    assert (durations.count, durations.now) == (600, 600 * 58 * US)


def test_every_way_of_recovery_has_a_cause_or_is_no_error() -> None:
    assert {*Recovery} - CAUSE_OF.keys() == {Recovery.TIMES, Recovery.CUTOUT}
    assert all(cause.advice for cause in Cause)


def test_words() -> None:
    fault = Fault(FaultKind.UNPAIRED_ZERO, 238_000_000, 244_000_000, 240_377_000, 116_000)
    packet = bytes.fromhex("2C705C")
    found_ = Diagnosis(fault, Cause.MISSED_CHANGE, 240_377_000, packet, 9_000_000, 9_400_000)
    assert str(found_) == (
        "a change was missed near 240.377 ms: with it, this is 2C 70 5C, as sent 9 ms before and 9 ms after"
    )
    assert found_.brief(80) == "a change was missed: 2C 70 5C as 9 ms before and 9 ms after"
    assert [len(found_.brief(room)) <= room for room in range(20, 90)] == [True] * 70
    several = Diagnosis(fault, Cause.SEVERAL, 240_377_000, several=(Cause.SPIKE, Cause.ADDED_CHANGE))
    assert str(several) == "several causes fit near 240.377 ms: a spike, or a change too many"
    perhaps = Diagnosis(fault, Cause.FLIPPED_BIT, 240_377_000, before=9_000_000, perhaps=packet)
    assert str(perhaps) == "one bit was read wrong near 240.377 ms: perhaps 2C 70 5C, as sent 9 ms before"
    assert perhaps.brief(80) == "one bit was read wrong: 2C 70 5C? as 9 ms before"
    assert perhaps.as_dict()["perhaps"] == "2C705C" and perhaps.as_dict()["data"] is None
    assert "no single cause fits" in str(diagnose(fault, [], 0, RECEIVE))


@pytest.mark.parametrize("cause", [Cause.NO_CONTACT, Cause.STRETCHED_HALF])
def test_a_capture_by_a_loop_may_have_stood_still_and_not_lost_contact(cause: Cause) -> None:
    (loss,) = losses(cause, 1, 1, True, SUMS)
    (text,) = [explained(each, SUMS.limits)[-1] for each in found(loss) if each.cause is cause]
    assert text == (
        "what to do: bad contact: clean wheels, track and pick-up, check plugs; or a loop that was busy"
    )


@pytest.mark.parametrize("cause", Cause)
def test_a_loss_that_is_shown_does_not_send_its_reader_to_where_it_is_shown(cause: Cause) -> None:
    fault = Fault(FaultKind.UNPAIRED_ZERO, 238_000_000, 244_000_000, 240_377_000, 116_000)
    several = (Cause.SPIKE, Cause.EARLY_CHANGE) if cause is Cause.SEVERAL else ()
    text = explained(Diagnosis(fault, cause, fault.at, several=several), RECEIVE)[-1]
    assert text.startswith("what to do: ") and "halfbit inspect" not in text
    for each in several:
        assert each.advice in text


def _print(count: int) -> None:
    for capture in CAPTURES:
        for repeated in (True, False):
            print(f"{capture.name}, {'repeated' if repeated else 'not repeated nearby'}:", flush=True)
            for cause in CAUSES:
                each = figures(cause, count, capture, repeated=repeated)
                named = ", ".join(f"{number} {name}" for name, number in each.named.most_common())
                print(
                    f"  {cause.name:15} of {each.named.total()}: {each.right} right, "
                    f"{each.proposed} proposed, {each.wrong} wrong ({named})",
                    flush=True,
                )


if __name__ == "__main__":
    _print(int(sys.argv[1]))
