"""What a full registry costs: decoding with all rows against decoding with a first set of them.

    python tests/benchmarks/registry_cost.py

Prints the ratio of the two times for packets that the first set knows. Both registries decode the same
packets in turns within one process; the ratio is the median over many pairs, so that what else the
machine does falls on both. Nothing is remembered between packets: this is the cost of decoding itself.
"""

from __future__ import annotations

import random
import statistics
import time

from halfbit.instruction import STANDARD, Entry, Registry
from halfbit.simulate.signal import with_error_byte

#: The classes of the first set.
FIRST_SET = frozenset(
    (
        "DigitalDecoderReset",
        "Idle",
        "BroadcastStop",
        "SpeedAndDirection",
        "SpeedControl128",
        "FunctionGroupOne",
        "FunctionGroupTwo",
        "CvVerifyByte",
        "CvWriteByte",
        "CvBitManipulation",
        "DirectVerifyByte",
        "DirectWriteByte",
        "DirectBitManipulation",
    )
)

PAIRS = 61
PACKETS = 400


def in_first_set(entry: Entry) -> bool:
    """Reset, idle, stop, speed, function groups to F28, CV access in its long form, direct mode."""
    if entry.builds.__name__ == "FunctionExpansion":
        return entry.constants["first"] in (13, 21)
    # Accessory CV access builds the same classes but is no part of the first set.
    accessory = any("accessory" in kind.kind for kind in entry.addresses)
    return entry.builds.__name__ in FIRST_SET and not accessory


def first_set() -> Registry:
    """A registry of these rows alone."""
    return Registry(entry for entry in STANDARD.entries() if in_first_set(entry))


def packets(small: Registry) -> list[bytes]:
    """Packets to multi-function decoders that the first set knows, the same on each run."""
    source = random.Random(0)
    heads = ("00", "03", "37", "6F", "C4 57", "E7 0F")
    found: list[bytes] = []
    while len(found) < PACKETS:
        head = bytes.fromhex(source.choice(heads))
        data = with_error_byte(head + source.randbytes(source.randint(1, 3)))
        if not any(one.name in ("Unknown", "Reserved") for one in small.decode(data)):
            found.append(data)
    return found


def seconds(registry: Registry, row: list[bytes]) -> float:
    """How long the registry takes for all of them: time of this process, not what others took."""
    decode = registry.decode
    start = time.process_time()
    for data in row:
        decode(data)
    return time.process_time() - start


def main() -> None:
    """Print the ratio, and the time for one packet."""
    small = first_set()
    row = packets(small)
    for data in row:
        assert small.decode(data) == STANDARD.decode(data), data.hex()
    ratios, full = [], []
    order = random.Random(1)  # by turns at random, so that no rhythm of the machine favours one
    for _ in range(PAIRS):
        if order.random() < 0.5:
            large, little = seconds(STANDARD, row), seconds(small, row)
        else:
            little, large = seconds(small, row), seconds(STANDARD, row)
        ratios.append(large / little)
        full.append(large / len(row))
    print(f"rows: {len(STANDARD.entries())} in full, {len(small.entries())} in the first set")
    print(f"full registry / first set: {statistics.median(ratios):.3f} (median of {PAIRS} pairs)")
    print(f"full registry: {1e6 * statistics.median(full):.2f} us for a packet")


if __name__ == "__main__":
    main()
