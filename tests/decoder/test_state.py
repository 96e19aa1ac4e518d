"""Snapshots, saved decoders, vetoes, wrong arguments."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings, strategies as st

from halfbit import Fault, FaultKind, HalfbitError, Packet, decode, open_capture
from halfbit.decoder import (
    AccessoryDecoder,
    AccessoryState,
    CvRefused,
    CvWritten,
    FunctionChanged,
    ModeChanged,
    MultiFunctionDecoder,
    MultiFunctionState,
    OutputChanged,
    PacketTimeOut,
)
from halfbit.instruction import Context, ShortAddress, SpeedAndDirection
from halfbit.simulate.signal import with_error_byte

from .support_track import MS, packets

BODIES = st.sampled_from(
    ["03 74", "03 9F", "03 EC 02 07", "0A 74", "03 13 0A", "00 00", "7C 02 07", "7D 11", "03 C0 01 01"]
    + ["FF 00", "03 3D 01 09", "81 F8", "81 EC 05 02", "81 F8 EC 02 02", "81 71 05", "C0 00 3F 90"]
    + ["03 EC 10 C9", "03 EC 11 07"]
)


@settings(max_examples=60, deadline=None)
@given(st.lists(BODIES, max_size=30), st.integers(0, 30), st.booleans())
def test_a_saved_decoder_goes_on_as_if_nothing_had_happened(bodies: list[str], cut: int, accessory: bool) -> None:
    sent = packets(*bodies)
    first = AccessoryDecoder({3: 1}) if accessory else MultiFunctionDecoder({11: 1, 31: 16})
    for packet in sent[:cut]:
        first.feed(packet)
    saved = json.loads(json.dumps(first.state().as_dict()))
    if isinstance(first, AccessoryDecoder):
        second: AccessoryDecoder | MultiFunctionDecoder = AccessoryDecoder()
        state = AccessoryState.from_dict(saved)
        assert state == first.state()
        assert isinstance(second, AccessoryDecoder)
        second.restore(state)
    else:
        second = MultiFunctionDecoder()
        second.restore(MultiFunctionState.from_dict(saved))
    assert second.state() == first.state()
    for packet in sent[cut:]:
        assert first.feed(packet) == second.feed(packet)
    end = 8 * MS * len(sent) + 2_000 * MS
    assert first.tick(end) == second.tick(end)
    assert first.state() == second.state()


def test_what_decode_gives_can_be_fed() -> None:
    decoder = MultiFunctionDecoder({1: 7, 29: 2})
    effects = [
        effect
        for event in decode(open_capture("examples/captures/shunting_turn.txt"))
        for effect in decoder.feed(event)
    ]
    # "rings the bell and sets off" is one packet with two instructions (examples/captures/scenario.txt)
    assert FunctionChanged(1, True) in effects
    assert decoder.cvs[19] == 11


def test_a_veto_with_its_reason() -> None:
    asked = []

    def veto(number: int, old: int, new: int) -> str | None:
        asked.append((number, old, new))
        return "not above 20" if number == 3 and new > 20 else None

    decoder = MultiFunctionDecoder(veto=veto)
    effects = [
        effect for packet in packets(*["03 EC 02 15"] * 2, *["03 EC 02 14"] * 2) for effect in decoder.feed(packet)
    ]
    assert effects[0] == CvRefused(3, 21, "not above 20")
    assert effects[1] == CvWritten(3, 0, 20)
    assert asked == [(3, 0, 21), (3, 0, 20)]


def test_what_time_alone_does_is_on_time() -> None:
    """S-9.2.2, CV 11; S-9.2.3: 20 ms; S-9.2.2 table 3, CV 3. The units of CV 11 and CV 3 are assumptions."""
    decoder = MultiFunctionDecoder({11: 2, 29: 2})
    decoder.feed(packets("03 74")[0])
    assert decoder.due == 2_008 * MS
    assert decoder.tick(2_008 * MS - 1) == ()
    assert PacketTimeOut() in decoder.tick(2_008 * MS)
    assert decoder.due is None
    decoder = MultiFunctionDecoder()
    for packet in packets("00 00", "7C 02 07"):
        decoder.feed(packet)
    assert decoder.due == 36 * MS
    assert decoder.tick(36 * MS) == (ModeChanged(Context.LEFT),)
    accessory = AccessoryDecoder({3: 5})
    accessory.feed(packets("81 F8")[0])
    assert accessory.due == 58 * MS
    assert accessory.tick(58 * MS) == (OutputChanged(0, False),)


def test_the_lamps_follow_the_direction() -> None:
    """S-9.2.2, CV 29 bit 0: direction-dependent functions too."""
    for cv29, forward in ((2, True), (3, False)):
        decoder = MultiFunctionDecoder({29: cv29})
        for packet in packets("03 74", "03 90"):
            decoder.feed(packet)
        state = decoder.state()
        assert 0 in state.vehicle.functions and state.forward is forward


def test_indexed_cvs_lie_on_pages() -> None:
    """S-9.2.2, CV 31 and 32: 256 CVs a page."""
    decoder = MultiFunctionDecoder()
    write = ["03 ED 00 07"] * 2  # CV 257
    for packet in packets(*write, *["03 EC 1F 01"] * 2, *["03 ED 00 09"] * 2, *["03 EC 1F 00"] * 2):
        decoder.feed(packet)
    assert decoder.cvs[257] == 7
    assert decoder.state().cvs.indexed == {(16, 0, 257): 7, (16, 1, 257): 9}


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: MultiFunctionDecoder({0: 1}), "CV 0 does not exist"),
        (lambda: MultiFunctionDecoder({1: 256}), "give a value from 0 to 255"),
        (lambda: MultiFunctionDecoder({31: 3, 257: 1}), "CV 257 is indexed"),
        (lambda: MultiFunctionDecoder(timeout_unit=0), "timeout_unit"),
        (lambda: AccessoryDecoder(on_time_unit=-1), "on_time_unit"),
        (lambda: MultiFunctionDecoder().feed(SpeedAndDirection(ShortAddress(3), True, 4)), "has no packet"),
        (lambda: MultiFunctionDecoder().feed(3), "is no packet"),  # type: ignore[arg-type]
        (lambda: MultiFunctionState.from_dict({"schema": 1}), "give what as_dict"),
        (lambda: AccessoryState.from_dict(MultiFunctionDecoder().state().as_dict()), "give what as_dict"),
        (lambda: MultiFunctionDecoder().binary_state(0), "give 1 to 32767"),
    ],
)
def test_wrong_arguments_are_refused(make: object, words: str) -> None:
    assert callable(make)
    with pytest.raises(HalfbitError, match=words):
        make()


def test_time_does_not_run_back() -> None:
    decoder = MultiFunctionDecoder()
    decoder.feed(Fault(FaultKind.ERROR_BYTE, 0, 5, 0))
    with pytest.raises(HalfbitError, match="in order of time"):
        decoder.tick(4)


def test_a_packet_with_a_wrong_error_byte_is_none() -> None:
    decoder = MultiFunctionDecoder({29: 2})
    data = bytearray(with_error_byte(bytes.fromhex("03 74")))
    data[-1] ^= 1
    assert decoder.feed(Packet(bytes(data), 14, 0, 8 * MS)) == ()
