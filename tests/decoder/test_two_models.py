"""Our decoders beside a second model, written apart: the same packets, the same states and effects."""

from __future__ import annotations

import pytest

from .compare import AccessoryPair, MultiFunctionPair, sound
from .two_models import MS, AccessoryModels, run

MULTI_FUNCTION_RULES = 60
ACCESSORY_RULES = 24


def _send(pair: MultiFunctionPair | AccessoryPair, *packets: str, gap: int = 8 * MS) -> None:
    for packet in packets:
        pair.packet(sound(*bytes.fromhex(packet)), gap)


def _write(pair: MultiFunctionPair, cv: int, value: int, address: str = "03") -> None:
    _send(pair, *[f"{address} {0xEC | cv - 1 >> 8:02X} {cv - 1 & 255:02X} {value:02X}"] * 3)


def _service(pair: MultiFunctionPair | AccessoryPair, *packets: str) -> None:
    for packet in packets:
        _send(pair, "00 00", packet, packet, packet)
    _send(pair, "FF 00")


def _tour_in_operations(pair: MultiFunctionPair) -> None:
    _send(pair, "03 70", "03 60", "03 90", "03 9F", "03 B1", "03 A2", "03 DE 81", "03 DF 01", "03 D8 01", "03 61")
    _write(pair, 29, 0b10)
    _send(pair, "03 74", "03 3F 8A", "03 3E 0A", "03 3E 8A", "03 3D 01 05", "03 C0 80 01", "03 DD 85", "03 0A", "00 61")
    _send(pair, "03 90", "03 80", "0A 60", "E8 01", "03 E4 07 00", "03 E8 1C E9", "03 E8 00 F8", "03 E8 00 F8")
    for cv, value in ((3, 20), (29, 3), (1, 128), (7, 1), (31, 5), (31, 17), (257, 9), (29, 2)):
        _write(pair, cv, value)
        _send(pair, "03 78", "03 58")
    _send(pair, "03 EC 02 05", "03 90", "03 EC 02 05", "03 EC 02 05", "03 EC 02 05")
    _send(pair, "00 00", "03 74", "03 01", "03 74")


def _tour_in_a_consist(pair: MultiFunctionPair) -> None:
    _write(pair, 21, 0b101)
    _write(pair, 22, 0b110)
    _send(pair, "03 13 0A", "03 74", "0A 62", "0A 64", "03 93", "0A 9F", "0A 80", "0A 9A", "0A BF", "0A AF", "03 B1")
    _send(pair, *["0A EC 02 07"] * 2, "0A F2 85", "0A DE FF", "00 41", "03 12 00")
    _write(pair, 17, 5)
    _write(pair, 17, 200)
    _write(pair, 18, 3)
    _send(pair, "03 12 0A", "03 0B", "03 74", "C8 03 74")
    _write(pair, 1, 4, "C8 03")
    _send(pair, "04 74", "03 74")
    _write(pair, 1, 3, "04")


def _tour_in_service_mode(pair: MultiFunctionPair) -> None:
    _service(
        pair, "7C 02 14", "74 02 14", "74 02 15", "78 02 F8", "78 02 E8", "78 02 E0", "7D 11", "78 07", "70 07", "7D 01"
    )
    _service(pair, "7C 06 05", "7C 07 08", "75 11", "75 01")
    _send(pair, "00 00", "7C 02 14", gap=MS)
    pair.tick(20 * MS)
    _send(pair, "7C 02 14", "7C 02 14", "03 74")
    _send(pair, "00 00", "7C 02 14", "03 70")
    _service(pair, "7F 08")


def _tour_of_speed(pair: MultiFunctionPair) -> None:
    for cv, value in ((11, 1), (29, 0b10010), (67, 40), (94, 250), (66, 100), (95, 90)):
        _write(pair, cv, value)
    _send(pair, "03 62", "03 7F", "03 52", "03 61")
    _send(pair, "03 74")
    pair.tick(1000 * MS)
    _send(pair, "03 74")
    pair.torn(1500 * MS)
    _write(pair, 15, 2)
    _write(pair, 3, 1)
    _write(pair, 15, 1)
    _write(pair, 15, 0)
    _write(pair, 1, 0)
    _send(pair, "03 74", "00 61")


def test_every_rule_of_multi_function_decoders_is_met() -> None:
    pair = MultiFunctionPair({29: 0})
    for tour in (_tour_in_operations, _tour_in_a_consist, _tour_in_service_mode, _tour_of_speed):
        tour(pair)
    assert {name for name, times in pair.seen.items() if not times} == set()
    assert len(pair.seen) == MULTI_FUNCTION_RULES


def test_every_rule_of_accessory_decoders_is_met() -> None:
    total = None
    for cv29 in range(0b10000000, 0b11111111, 0b00100000):
        pair = AccessoryPair({29: cv29, 3: 2})
        _send(
            pair, "81 F8", "81 F9", "81 F0", "BF 88", "81 FB", "81 71 05", "BF 07 00", "81 71 02", "82 F8", "82 71 02"
        )
        pair.tick(10 * MS)
        pair.tick(50 * MS)
        for head in ("81 F0", "81 F8", "81 71"):
            _send(
                pair,
                *[f"{head} EC 08 00"] * 3,
                f"{head} E4 1C 00",
                *[f"{head} E8 02 F8"] * 2,
                *[f"{head} EC 06 01"] * 2,
            )
        _send(pair, *["81 7C 02 02"] * 3)
        _service(pair, "7C 00 01", "76 00 01", "74 00 01", "78 03", "70 01", "78 01", "7D 02", "7F 08")
        total = pair.seen if total is None else total + pair.seen
    assert total is not None
    assert {name for name in AccessoryModels.seen if not total[name]} == set()
    assert {name for name, times in total.items() if not times} == set()
    assert len(total) == ACCESSORY_RULES


def test_no_difference_in_random_packets() -> None:
    """A small part; ``python -m tests.decoder.two_models 100000`` runs as many as anyone likes."""
    run(400)


def test_a_difference_would_be_found() -> None:
    pair = MultiFunctionPair({29: 2})
    pair.ours.cvs.write(1, 5)
    with pytest.raises(AssertionError, match="ours"):
        _send(pair, "03 74")
