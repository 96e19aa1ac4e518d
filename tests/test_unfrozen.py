"""Objects made past the frozen classes' own way are what theirs are."""

from __future__ import annotations

import attrs
import pytest

from halfbit.event import Packet, UnfrozenPacket
from halfbit.unfrozen import unfrozen


def _made() -> Packet:
    new = UnfrozenPacket()
    new.data, new.preamble, new.start, new.end, new.recovered = b"\x03\x3f\x3c", 14, 5, 9, ""
    new.__class__ = Packet
    packet: Packet = new
    return packet


def test_equal_to_one_made_in_the_common_way() -> None:
    packet = Packet(b"\x03\x3f\x3c", 14, 5, 9)
    assert _made() == packet
    assert hash(_made()) == hash(packet)
    assert type(_made()) is Packet
    assert repr(_made()) == repr(packet)
    assert attrs.evolve(_made(), end=10) == attrs.evolve(packet, end=10)


def test_frozen_from_then_on() -> None:
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        _made().data = b""  # type: ignore[misc]


def test_another_layout_is_refused() -> None:
    @attrs.frozen(slots=True, weakref_slot=False)
    class Point:
        x: int

    other = unfrozen(Point)()
    other.x = 1
    with pytest.raises(TypeError, match="layout"):
        other.__class__ = Packet
