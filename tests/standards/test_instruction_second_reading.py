"""The registry against a second reading of the standards, made apart from it: every field of every instruction.

``python -m tests.standards.test_instruction_second_reading [COUNT [SEED]]`` compares COUNT random packets (1,000,000 if
left out) of 4 to 9 bytes, after all of 2 and 3 bytes.

Where the text is open the two may differ. Each difference that is accepted stands in ``_agreed``, with the reason.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterable, Iterator
from itertools import product

import pytest

from halfbit.instruction import (
    STANDARD,
    Ambiguous,
    CvAccess,
    DecoderKind,
    FactoryReset,
    Instruction,
    PagePreset,
    RegisterAccess,
    Unknown,
    UnresolvedAddress,
)
from halfbit.simulate.signal import with_error_byte
from tests.standards import second_reading, worked_packets
from tests.standards.second_reading_form import form_of
from tests.standards.second_reading_tables import Reading

PACKET_MAX = 255


def theirs(data: bytes) -> list[Reading]:
    """The second reading, without the reasons it gives."""
    readings = second_reading.read(data, packet_max=PACKET_MAX)
    for reading in readings:
        reading.pop("reason", None)
    return readings


def ours(data: bytes) -> list[Reading]:
    """The registry's reading in the same form: a second one of the whole packet as ``also`` of the first instruction."""
    read = STANDARD.decode(data)
    assert read
    assert STANDARD.encode_packet(read) == data
    if isinstance(read[0], Ambiguous):
        first, second = read[0].readings
        forms = [form_of(one) for one in first]
        (forms[0]["also"],) = (form_of(one) for one in second)
        return forms
    return [_form(one) for one in read]


def _form(one: Instruction) -> Reading:
    if isinstance(one.address, UnresolvedAddress):
        assert isinstance(one, Unknown)
        assert one.raw is not None
        return {"kind": "unknown", "bytes": one.raw.hex()}
    return form_of(one)


def _agreed(reading: Reading, mine: Reading) -> None:
    """Take out of both what the text leaves open, each for its reason."""
    kind = reading["kind"]
    if kind == "unknown" and "address" not in mine:
        # Accessory packets of no known form: which of the forms' addresses stands in them is not known either.
        del reading["address"]
    if kind == "basic_accessory" and reading["address"] == ("accessory_broadcast",):
        # No board, and so no linear number.
        for name in ("board", "linear_from_board_0", "linear_from_board_1"):
            reading.pop(name)
    if kind == "broadcast_stop":
        # It stops, however many steps there are: nothing of 14 steps, nor of FL, is offered.
        for name in ("c", "speed_14", "fl_14"):
            reading.pop(name)


def assert_same(data: bytes) -> None:
    """Both readings agree in number, order and every field."""
    expected, found = theirs(data), ours(data)
    assert len(expected) == len(found), (data.hex(" "), expected, found)
    for reading, mine in zip(expected, found):
        _agreed(reading, mine)
        assert reading == mine, data.hex(" ")


def random_packets(count: int, seed: int) -> Iterator[bytes]:
    """Packets of 4 to 9 bytes. Half of them start with bytes that mean something, so that long ones are seen too."""
    rng = random.Random(seed)
    heads = [bytes((head,)) for head in (0, 3, 0x6F, 0x70, 0x81, 0xBF)] + [b"\xc4\x57"]
    firsts = [
        0x3F,
        0x3E,
        0x3D,
        0x3C,
        0x0F,
        0x12,
        0x90,
        0xB1,
        0xC0,
        0xC1,
        0xC2,
        0xD8,
        0xDD,
        0xE4,
        0xE8,
        0xEC,
        0xE0,
        0xF2,
        0xF4,
        0xF9,
    ]
    for _ in range(count):
        length = rng.randint(3, 8)
        body = rng.randbytes(length)
        if rng.random() < 0.5:
            head = rng.choice(heads) + bytes((rng.choice(firsts),))
            body = (head + body)[:length]
        yield with_error_byte(body)


def compare(packets: Iterable[bytes]) -> int:
    """How many packets were compared."""
    count = 0
    for data in packets:
        assert_same(data)
        count += 1
    return count


def test_every_packet_of_three_bytes() -> None:
    assert compare(with_error_byte(bytes(pair)) for pair in product(range(256), repeat=2)) == 65536


def test_packets_of_two_bytes_hold_no_instruction() -> None:
    """An address alone. To which the packet goes is read all the same; the second reading does not try."""
    for first in range(256):
        data = with_error_byte(bytes((first,)))
        (read,) = STANDARD.decode(data)
        assert read.raw == b""
        assert STANDARD.encode(read) == data
        assert second_reading.read(data)[0]["kind"] == "unknown"


def test_seeded_packets_of_four_to_nine_bytes() -> None:
    assert compare(random_packets(20_000, seed=14)) == 20_000


WORKED = [(text, [fields], source) for text, fields, source in worked_packets.WORKED] + worked_packets.SEVERAL


@pytest.mark.parametrize(("text", "expected", "source"), WORKED, ids=[text.replace(" ", "") for text, _, _ in WORKED])
def test_worked_packets(text: str, expected: list[Reading], source: str) -> None:
    """Both readings against packets worked by hand from the standards' text."""
    data = bytes.fromhex(text)
    assert_same(data)
    read = theirs(data)
    assert len(read) == len(expected), source
    for fields, reading in zip(expected, read):
        assert _within(fields, reading), source


def _within(fields: Reading, reading: Reading) -> bool:
    """Whether the fields are among the reading's; those of another reading inside it likewise."""
    for name, value in fields.items():
        other = reading[name]
        if isinstance(value, dict) and isinstance(other, dict) and name == "also":
            if not _within(value, other):
                return False
        elif other != value:
            return False
    return True


def service_forms(data: bytes) -> list[Reading]:
    """What the registry reads in service mode, as the alternatives that the second reading gives."""
    (read,) = STANDARD.decode_service(data)
    assert STANDARD.encode(read) == data
    base: Reading = {"address": ("service",), "bytes": data[:-1].hex()}
    if isinstance(read, Unknown):
        return [{"kind": "unknown", **base}]
    if isinstance(read, RegisterAccess):
        return _register_forms(read, base)
    if isinstance(read, PagePreset):
        return [{"kind": "service_page_preset", **base, "page": read.new_page}]
    if isinstance(read, FactoryReset):
        return [{"kind": "service_factory_reset", **base}]
    assert isinstance(read, CvAccess)
    act = "write" if read.writes else "verify"
    form = {"kind": "service_direct", **base, "cv": read.cv}
    if read.position is None:
        return [{**form, "operation": f"{act}_byte", "value": read.value}]
    return [{**form, "operation": f"{act}_bit", "bit_value": int(read.value or 0), "bit": read.position}]


def _register_forms(read: RegisterAccess, base: Reading) -> list[Reading]:
    operation = "write_byte" if read.writes else "verify_byte"
    targets: dict[DecoderKind | None, object] = {one.decoder: ("cv", one.cv) for one in read.targets}
    if read.register == 6:
        targets[DecoderKind.MULTI_FUNCTION] = ("page_register",)
    common = {**base, "operation": operation}
    forms: list[Reading] = [
        {"kind": "service_register", **common, "decoder": kind.value.replace("-", "_"), "register": read.register,
         "target": targets.get(kind), "value": read.value}
        for kind in DecoderKind
    ]  # fmt: skip
    if read.register == 6:
        forms.append({"kind": "service_page_register", **common, "page": read.value})
    elif read.register <= 4:
        paged = {"register": read.register, "data_register": read.register - 1, "value": read.value}
        forms.append({"kind": "service_paged", **common, **paged})
    if read.address_only:
        forms.append({"kind": "service_address_only", **common, "cv": read.register, "value": read.value})
    return forms


@pytest.mark.parametrize("first", range(0x70, 0x80))
def test_every_packet_of_service_mode(first: int) -> None:
    """S-9.2.3 E. Of direct mode's data bytes a choice: the bounds, and all forms of bit manipulation if it is that."""
    manipulates = first & 0b1100 == 0b1000
    data_bytes = (0, 1, 0x1F, 0x7F, 0x80, 0xDF, *(range(0xE0, 0x100) if manipulates else (0xE0, 0xE8, 0xF7, 0xFF)))
    for second in range(256):
        for rest in (b"", *(bytes((third,)) for third in data_bytes)):
            data = with_error_byte(bytes((first, second)) + rest)
            expected = second_reading.read_service(data)
            for reading in expected:
                reading.pop("reason", None)
            if data[:2] in (b"\x7d\x01", b"\x7f\x08") and not rest:
                # The packet has a name of its own, and only that is given: it is what the sender means.
                expected = expected[-1:]
            found = service_forms(data)
            assert sorted(map(_key, found)) == sorted(map(_key, expected)), data.hex(" ")


def _key(reading: Reading) -> str:
    return repr(sorted(reading.items()))


@pytest.mark.parametrize(("page", "register", "cv", "source"), worked_packets.PAGES)
def test_pages(page: int, register: int, cv: int, source: str) -> None:
    assert second_reading.paged_cv(page, register) == cv, source


if __name__ == "__main__":
    counted = compare(with_error_byte(bytes(pair)) for pair in product(range(256), repeat=2))
    number, chosen = (int(word) for word in [*sys.argv[1:], "1000000", "14"][:2])
    counted += compare(random_packets(number, chosen))
    print(f"{counted} packets: both readings agree in every field, and all come back to the same bytes")
