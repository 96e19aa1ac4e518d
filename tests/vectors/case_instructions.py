"""Cases about instructions: one for each entry of the registry, and the sequences of service mode."""

from __future__ import annotations

import re
from collections.abc import Iterator

from halfbit.instruction import STANDARD, Entry, Place
from halfbit.instruction.pattern import Pattern
from halfbit.simulate.signal import with_error_byte
from tests.vectors.case_spec import CaseSpec, packet

__all__ = ["instruction_cases"]

#: The bytes before a pattern that follows an address: broadcast; short 3; long 1111, bytes 196 87
#: (worked by CV 17 and CV 18, S-9.2.2).
_ADDRESSES = {Place.BROADCAST: b"\x00", Place.SHORT: b"\x03", Place.LONG: bytes((196, 87))}

RESET = with_error_byte(bytes(2))

#: Free bits are filled from these, until a filling gives bytes that mean this entry.
_FILLINGS = (0xAAAA_AAAA, 0x5555_5555, 0xCCCC_CCCC, 0x1248_1248, 0x0000_0000, 0xFFFF_FFFF, 0x8421_8421, 0x0101_0101)


def instruction_cases() -> tuple[CaseSpec, ...]:
    """All of them."""
    return (*_entries(), *_together(), *_service())


def _filled(pattern: Pattern, filling: int) -> bytes:
    """The pattern's bytes with its free bits filled, from the least significant up."""
    body = bytearray(pattern.values)
    for index in range(len(pattern) - 1, -1, -1):
        for place in range(8):
            if not pattern.masks[index] >> place & 1:
                body[index] |= (filling & 1) << place
                filling >>= 1
    return bytes(body)


def _bodies(entry: Entry, place: Place) -> Iterator[bytes]:
    for filling in _FILLINGS:
        body = _ADDRESSES.get(place, b"") + _filled(entry.parsed, filling)
        if entry.tail:
            # As few bytes as it takes, but no packet has fewer than three (S-9.2 A).
            body += bytes(range(0x31, 0x31 + max(entry.tail.low, 2 - len(body))))
        yield body


def _entries() -> list[CaseSpec]:
    specs: dict[str, CaseSpec] = {}
    for entry in STANDARD.entries():
        for place in entry.places:
            words = "-".join(re.findall("[a-z0-9]+", entry.name.lower()))
            stem = name = f"{words}-{place.name.lower()}"
            number = 1
            while name in specs:  # several patterns of one name
                number += 1
                name = f"{stem}-{number}"
            specs[name] = _for_entry(entry, place, name)
    return list(specs.values())


def _for_entry(entry: Entry, place: Place, name: str) -> CaseSpec:
    service = place is Place.SERVICE
    for body in _bodies(entry, place):
        data = with_error_byte(body)
        if len(data) > 15:
            continue
        read = STANDARD.decode_service(data) if service else STANDARD.decode(data)
        if len(read) == 1 and type(read[0]) is entry.builds:
            break
    else:
        raise AssertionError(f"no filling gives {entry} in the place {place.value!r}")
    text = f"{entry.name}, {entry.text}, {place.value}"
    durations = packet(data, 16)
    gives: tuple[bytes | str, ...] = (data,)
    if service:  # S-9.2.3 E: resets, then the packet twice
        durations = packet(RESET, 20) * 3 + packet(data, 20) * 2
        gives = (RESET,) * 3 + (data,) * 2
    rule = f"instruction: {entry.name}"
    return CaseSpec(name, rule, entry.source, text, durations, gives)


def _together() -> list[CaseSpec]:
    """More than one instruction behind an address (S-9.2.1 C)."""
    data = with_error_byte(bytes((3, 0x3F, 0xAA, 0x91, 0xB0)))
    text = "speed, F1 with FL, and F5 to F8 behind one address"
    unknown = with_error_byte(bytes((3, 0x91, 0xEC)))
    return [
        CaseSpec("together-three", "instructions together", "S-9.2.1 C", text, packet(data), (data,)),
        CaseSpec("together-unknown", "instructions together", "S-9.2.1 C", "F1 with FL, then the first byte of a longer instruction",
              packet(unknown), (unknown,)),
    ]  # fmt: skip


def _service() -> list[CaseSpec]:
    """Packets that mean one thing in service mode and another to a vehicle (S-9.2.3 E)."""
    rule, source = "service mode", "S-9.2.3 E"
    write = with_error_byte(bytes((0x7C, 0x02, 0x05)))
    speed = with_error_byte(bytes((0x03, 0x68)))
    vehicle = with_error_byte(bytes((0x70, 0x3F, 0x83)))
    page = with_error_byte(bytes((0x7D, 0x10)))
    paged = with_error_byte(bytes((0x78, 0x2A)))
    enter = packet(RESET, 20) * 3
    specs = [
        ("service-write", "three resets, then the same write to CV 3 five times",
         enter + packet(write, 20) * 5, (RESET,) * 3 + (write,) * 5),
        ("service-left", "a packet to a vehicle ends service mode; the next packet in its form is no service mode packet",
         enter + packet(write, 20) + packet(speed) * 2 + packet(vehicle),
         (RESET,) * 3 + (write, speed, speed, vehicle)),
        ("service-paged", "the page register is set to 16, then register 1 written: CV 61",
         enter + packet(page, 20) * 5 + packet(RESET, 20) * 6 + packet(paged, 20) * 5,
         (RESET,) * 3 + (page,) * 5 + (RESET,) * 6 + (paged,) * 5),
        ("service-or-vehicle", "the capture starts with a packet that could be either",
         packet(vehicle) * 2, (vehicle, vehicle)),
        ("vehicle-112", "a packet to a vehicle first, then one to short address 112",
         packet(speed) + packet(vehicle), (speed, vehicle)),
    ]  # fmt: skip
    return [CaseSpec(id, rule, source, text, durations, gives) for id, text, durations, gives in specs]
