"""The C decoder on top of the port: its tables are the registry's, and it does what the standards bid."""

from __future__ import annotations

import ctypes
import random
from collections.abc import Iterator

import attrs
import pytest

from halfbit.instruction import STANDARD, Instruction, Reserved, Unknown
from halfbit.simulate.signal import with_error_byte
from halfbit.vectors import cases

from . import make_tables
from .support_build import C, STRICT, ZIG, build

CHANGED, ACKNOWLEDGE, WRITTEN = 1, 2, 4
NONE = 255
BROADCAST, SHORT, LONG, SERVICE = range(4)
TABLES = make_tables.tables()


class Vehicle(ctypes.Structure):
    """struct halfbit_vehicle."""

    _fields_ = [
        ("cvs", ctypes.POINTER(ctypes.c_uint8)),
        ("functions", ctypes.c_uint32),
        *((name, ctypes.c_uint8) for name in ("forward", "step", "steps", "emergency", "service")),
        *((name, ctypes.c_uint8) for name in ("after_reset", "held_off", "page")),
        ("before", ctypes.c_uint8 * 15),
        ("before_length", ctypes.c_uint8),
        ("since", ctypes.c_uint32),
    ]


@pytest.fixture(scope="module")
def port() -> ctypes.CDLL:
    flags = (*STRICT, "-O1", "-shared", "-fPIC", "-fsanitize=undefined", "-fsanitize-trap=undefined")
    return ctypes.CDLL(str(build(ZIG, flags, (C / "vehicle.c",), suffix=".so")))


@attrs.define
class Engine:
    """A vehicle at short address 3 with CVs of its own, and a clock in ms."""

    port: ctypes.CDLL
    cvs: ctypes.Array[ctypes.c_uint8] = attrs.field(factory=lambda: (ctypes.c_uint8 * 256)())
    vehicle: Vehicle = attrs.field(factory=Vehicle)
    now: int = 2**32 - 100  # the counter wraps on the way

    def __attrs_post_init__(self) -> None:
        self.cvs[0], self.cvs[28] = 3, 0x02
        self.port.halfbit_vehicle_init(ctypes.byref(self.vehicle), self.cvs)

    def take(self, *body: int, after: int = 8) -> int:
        """A packet, its error byte added."""
        data = with_error_byte(bytes(body))
        self.now = (self.now + after) % 2**32
        result: int = self.port.halfbit_vehicle_take(
            ctypes.byref(self.vehicle), data, len(data), ctypes.c_uint32(self.now)
        )
        return result & 0xFF

    @property
    def speed(self) -> tuple[bool, int, int]:
        v = self.vehicle
        return bool(v.forward), v.step, v.steps


@pytest.fixture
def engine(port: ctypes.CDLL) -> Engine:
    return Engine(port)


@pytest.mark.parametrize("language", make_tables.FILES)
def test_the_tables_are_the_registrys(language: str) -> None:
    made = {"c": make_tables.in_c, "micropython": make_tables.in_micropython}[language](TABLES)
    assert make_tables.FILES[language].read_text() == made, "run python -m tests.ports.make_tables"


def walked(port: ctypes.CDLL, body: bytes, place: int, number: int) -> Iterator[tuple[int, bytes]]:
    """The port's instructions: which row, and the bytes."""
    once = 0
    while body:
        taken = ctypes.c_uint8()
        row = port.halfbit_instruction(body, len(body), place, number, once, ctypes.byref(taken)) & 0xFF
        if row == NONE:
            yield NONE, body
            return
        once |= port.halfbit_once(row) & 1
        yield row, body[: taken.value]
        body = body[taken.value :]


def offsets() -> dict[str, int]:
    found, at = {}, 0
    for name, numbers in TABLES.fields.items():
        found[name] = at
        at += len(numbers)
    return found


OFFSETS = offsets()


def same(port: ctypes.CDLL, body: bytes, place: int, number: int, expected: tuple[Instruction, ...]) -> int:
    """Compare the port's reading with halfbit's; give how many fields were compared."""
    rows = list(walked(port, body, place, number))
    if not body:
        return 0
    assert len(rows) == len(expected), (body.hex(), rows, expected)
    fields = 0
    for (row, part), instruction in zip(rows, expected):
        if isinstance(instruction, Unknown):
            assert row == NONE and part == instruction.data, (body.hex(), rows)
            continue
        entry = TABLES.rows[row].entry
        assert entry.builds is type(instruction), (body.hex(), entry, instruction)
        if isinstance(instruction, Reserved):
            continue
        for name in entry.layouts:
            field = OFFSETS[f"{TABLES.rows[row].name}_{name.upper()}"]
            value = port.halfbit_field(part, field) & 0xFFFF
            assert value == int(getattr(instruction, name)), (body.hex(), entry, name)
            fields += 1
    return fields


def test_reading_as_the_registry_does(port: ctypes.CDLL) -> None:
    """All first two bytes behind each kind of address, with any bytes after them."""
    rng = random.Random(5)
    fields = 0
    for first in range(256):
        for second in range(256):
            body = bytes((first, second)) + rng.randbytes(rng.choice((0, 0, 1, 2, 3, 5)))
            number = rng.choice((1, 3, 55, 111, 112, 127))
            for place, address in ((BROADCAST, b"\0"), (SHORT, bytes((number,))), (LONG, b"\xc4\x57")):
                read = STANDARD.decode(with_error_byte(address + body))
                fields += same(port, body, place, number, read)
            if 0x70 <= first < 0x80:
                body = body[:3]
                read = STANDARD.decode_service(with_error_byte(body))
                fields += same(port, body, SERVICE, 0, read)
    assert fields > 100_000


def test_speeds(engine: Engine) -> None:
    """37 74 43: address 55, forward, step 6 of 28 (worked value of S-9.2); the rest S-9.2 B and S-9.2.1 C."""
    engine.cvs[0] = 55
    assert engine.take(0x37, 0x74) == CHANGED and engine.speed == (True, 6, 28)
    assert engine.take(0x37, 0x74) == 0  # nothing new
    assert engine.take(0x37, 0b01000010) == CHANGED and engine.speed == (False, 1, 28)
    assert engine.take(0x37, 0b01110010) == CHANGED and engine.speed == (True, 2, 28)
    assert engine.take(0x37, 0b01111111) == CHANGED and engine.speed == (True, 28, 28)
    assert engine.take(0x37, 0b01100001) == CHANGED and engine.speed == (True, 0, 28)
    assert engine.vehicle.emergency == 1
    assert engine.take(0x37, 0x3F, 0x82) == CHANGED and engine.speed == (True, 1, 126)
    assert engine.take(0x37, 0x3F, 0x7F) == CHANGED and engine.speed == (False, 126, 126)
    assert engine.take(0x38, 0x3F, 0x82) == 0 and engine.speed == (False, 126, 126)
    assert engine.take(0, 0x61) == CHANGED and engine.speed[1] == 0 and engine.vehicle.emergency == 1
    engine.cvs[28] = 0  # 14 steps, and bit 4 is FL (S-9.2.2, CV 29)
    assert engine.take(0x37, 0b01111111) == CHANGED and engine.speed == (True, 14, 14)
    assert engine.vehicle.functions == 1


def test_functions(engine: Engine) -> None:
    """S-9.2.1 C; three instructions behind one address, S-9.2.1 C."""
    assert engine.take(3, 0x91) == CHANGED and engine.vehicle.functions == 0b00011
    assert engine.take(3, 0xB8, 0xA1, 0xDE, 0x81) == CHANGED
    assert engine.vehicle.functions == 0b11 | 1 << 8 | 1 << 9 | 1 << 13 | 1 << 20
    assert engine.take(3, 0xDF, 0x80) == CHANGED and engine.vehicle.functions >> 28 == 1
    assert engine.take(0, 0) == CHANGED and engine.vehicle.functions == 0


def test_long_address_and_consist(engine: Engine) -> None:
    """1111 is bytes 196 87 (CV 17 and 18, S-9.2.2); in a consist its speeds alone count (CV 19)."""
    engine.cvs[16], engine.cvs[17], engine.cvs[28] = 196, 87, 0x22
    assert engine.take(3, 0x64) == 0
    assert engine.take(196, 87, 0x64) == CHANGED
    assert engine.take(196, 87, 0x12, 0x64) == WRITTEN and engine.cvs[18] == 100
    assert engine.take(196, 87, 0x68) == 0
    assert engine.take(100, 0x68) == CHANGED and engine.speed == (True, 13, 28)
    assert engine.take(196, 87, 0x90) == CHANGED and engine.vehicle.functions == 1
    assert engine.take(196, 87, 0x12, 0) == WRITTEN and engine.take(196, 87, 0x62) == CHANGED


def test_cv_writes_in_operations_mode_need_two_in_a_row(engine: Engine) -> None:
    """S-9.2.1 C, write byte: any other packet to it in between, broadcast included, undoes the first."""
    write = (3, 0xEC, 4, 9)  # CV 5 := 9
    assert engine.take(*write) == 0
    assert engine.take(7, 0x64) == 0  # to another: does not matter
    assert engine.take(*write) == ACKNOWLEDGE | WRITTEN and engine.cvs[4] == 9
    write = (3, 0xEC, 4, 8)
    for between in ((3, 0x90), (0, 0)):
        assert engine.take(*write) == 0
        engine.take(*between)
        assert engine.take(*write) == 0
        engine.take(*between)
        assert engine.cvs[4] == 9


def into_service(engine: Engine) -> None:
    for _ in range(3):
        engine.take(0, 0)


def test_service_mode_direct(engine: Engine) -> None:
    """S-9.2.3 E: entered by resets, executed on the second identical packet."""
    assert engine.take(0x7C, 28, 6) == 0 == engine.take(0x7C, 28, 6)  # not entered: address 124
    into_service(engine)
    assert engine.take(0x7C, 28, 6) == 0
    assert engine.take(0x7C, 28, 6) == ACKNOWLEDGE | WRITTEN and engine.cvs[28] == 6
    for value, answer in ((6, ACKNOWLEDGE), (7, 0)):
        assert engine.take(0x74, 28, value) == 0 and engine.take(0x74, 28, value) == answer
    for bits, answer in ((0b11101001, ACKNOWLEDGE), (0b11100001, 0), (0b11101000, 0), (0b11100000, ACKNOWLEDGE)):
        assert engine.take(0x78, 28, bits) == 0 and engine.take(0x78, 28, bits) == answer
    assert engine.take(0x78, 28, 0b11111000) == 0
    assert engine.take(0x78, 28, 0b11111000) == ACKNOWLEDGE | WRITTEN and engine.cvs[28] == 7
    assert engine.take(0x7F, 255, 6) == 0 == engine.take(0x7F, 255, 6)  # CV 1024: there is none


def test_service_mode_registers_and_pages(engine: Engine) -> None:
    """S-9.2.3 E: register 1 is CV 1, 5 is CV 29, 6 the page; CV 65 is page 17, register 1."""
    into_service(engine)
    assert [engine.take(0x78, 9) for _ in range(2)] == [0, ACKNOWLEDGE | WRITTEN] and engine.cvs[0] == 9
    assert [engine.take(0x74, 2) for _ in range(2)] == [0, ACKNOWLEDGE]
    assert [engine.take(0x7D, 17) for _ in range(2)] == [0, ACKNOWLEDGE]
    assert [engine.take(0x78, 200) for _ in range(2)] == [0, ACKNOWLEDGE | WRITTEN] and engine.cvs[64] == 200
    assert [engine.take(0x7E, 5) for _ in range(2)] == [0, ACKNOWLEDGE | WRITTEN] and engine.cvs[6] == 5
    assert [engine.take(0x7D, 1) for _ in range(2)] == [0, ACKNOWLEDGE]
    assert [engine.take(0x70, 9) for _ in range(2)] == [0, ACKNOWLEDGE]


def test_service_mode_is_left(engine: Engine) -> None:
    """S-9.2.3 E: by another packet, or after 20 ms; then packets in its form mean nothing until another came."""
    into_service(engine)
    engine.take(0x7C, 28, 6)
    assert engine.take(3, 0x64) == CHANGED
    engine.cvs[0] = 0x7C
    assert engine.take(0x7C, 0x68) == CHANGED  # after that other packet it is an address again
    into_service(engine)
    engine.take(0x7C, 28, 6)
    assert engine.take(0x7C, 28, 6, after=20) == 0 and engine.vehicle.service == 0
    assert engine.take(0x7C, 0x6A) == 0  # held off
    assert engine.take(5, 0x64) == 0 and engine.take(0x7C, 0x6A) == CHANGED
    into_service(engine)
    assert engine.take(0x7C, 28, 6, after=19) == 0 and engine.vehicle.service == 1


def test_every_packet_of_the_vectors_is_taken(engine: Engine) -> None:
    """And leaves the CVs outside of the vehicle's memory alone."""
    taken = 0
    for case in cases():
        for event in case.events:
            if "packet" in event:
                engine.take(*bytes.fromhex(event["packet"])[:-1])
                taken += 1
    assert taken > 500
