"""The checks of layer 1: the steps between raw times, and durations."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import sub
from typing import Any

from .batch import LARGEST, Batch
from .error import CaptureError
from .unit import Number

__all__ = ["check_durations", "check_length", "steps_between"]


def check_length(total: Number, place: str) -> None:
    """:raises CaptureError: if a capture lasts longer than any can."""
    if total > LARGEST:
        raise CaptureError("the capture lasts too long for its times to be counted", place)


def check_durations(values: Sequence[Number], batch: Batch) -> None:
    """:raises CaptureError: if a duration is negative."""
    if values and min(values) < 0:
        index = next(i for i, value in enumerate(values) if value < 0)
        raise CaptureError(f"duration {values[index]!r} is negative", batch.place(index))


def steps_between(
    times: Sequence[Number | None], wrap: int | None, place: Callable[[int], str]
) -> list[Number]:
    """The step from each time to the next.

    :param times: the last time of the row before, or ``None`` at the start of a capture (the first step is 0 then);
        and the times.
    :param place: gives the place of ``times[1 + i]``.
    :raises CaptureError: if a step goes backwards without ``wrap``, or a time is outside the counter's range.
    """
    before, *after = times
    chained: list[Any] = [after[0] if before is None and after else before, *after]
    try:
        steps = list(map(sub, chained[1:], chained))
    except OverflowError:  # a whole number that no float reaches, beside a float
        raise CaptureError("times are too large", place(0)) from None
    if wrap is not None:
        for index, time in enumerate(chained[1:]):
            if not 0 <= time < wrap:
                raise CaptureError(f"time {time!r} is outside a counter of {wrap} counts", place(index))
        return [step + wrap if step < 0 else step for step in steps]
    if steps and min(steps) < 0:
        index = next(i for i, step in enumerate(steps) if step < 0)
        raise CaptureError(
            f"time goes backwards, from {chained[index]!r} to {chained[index + 1]!r} "
            "(if the counter starts over, say after how many counts with wrap=N)",
            place(index),
        )
    return steps
