"""The C decoder equals the Python model: state, CVs and acts after every one of random steps.

``python -m tests.ports.test_decoder`` runs 10**5 steps for each kind of decoder; here it is a part of them.
"""

from __future__ import annotations

import random
from itertools import islice

import pytest

from .support_decoder import Pair, steps

CVS: dict[bool, tuple[dict[int, int], ...]] = {
    False: (
        {},
        {29: 0},
        {29: 34, 17: 196, 18: 87},
        {19: 9, 21: 0b10100101, 22: 0b00101101},
        {19: 137, 29: 3, 22: 3},
        {11: 1, 29: 18, 66: 100, 95: 200, **{67 + n: 9 * n for n in range(28)}},
        {2: 30, 5: 200, 6: 90, 3: 20, 4: 10, 23: 5, 24: 133},
        {15: 1, 16: 2},
        {31: 0},
        {31: 17, 32: 5},
        {1: 0},
    ),
    True: ({}, {29: 0xA0}, {29: 0xC0, 3: 2}, {1: 65, 9: 1, 3: 3, 4: 1, 6: 200}, {29: 0xE0}, {29: 0}),
}


def random_steps(accessory: bool, count: int, seed: int) -> dict[str, int]:
    """Steps of a kind of decoder, begun afresh with other CVs now and then; gives how often each effect came."""
    rng = random.Random(seed)
    seen: dict[str, int] = {}
    while count > 0:
        pair = Pair(accessory, dict(rng.choice(CVS[accessory])))
        for body, after, spoiled in islice(steps(rng, accessory), min(count, 250)):
            pair.step(body, after, spoiled=spoiled)
        count -= 250
        for name, times in pair.seen.items():
            seen[name] = seen.get(name, 0) + times
    return seen


@pytest.mark.parametrize("seed", range(4))
def test_a_vehicle_does_as_the_model(seed: int) -> None:
    seen = random_steps(False, 2_500, seed)
    assert {"Acknowledgement", "Answer", "SpeedChanged", "CvWritten", "FunctionChanged", "ModeChanged"} <= set(seen)
    assert seen["indexed"] >= 10


@pytest.mark.parametrize("seed", range(2))
def test_an_accessory_decoder_does_as_the_model(seed: int) -> None:
    seen = random_steps(True, 2_500, seed)
    assert {"OutputChanged", "AspectChanged", "Answer", "Acknowledgement"} <= set(seen)


def main() -> None:
    """10**5 steps of each kind."""
    for accessory in (False, True):
        seen = random_steps(accessory, 100_000, 1_000)
        print("accessory" if accessory else "multi-function", "decoder: 100,000 steps equal;", dict(sorted(seen.items())))


if __name__ == "__main__":
    main()
