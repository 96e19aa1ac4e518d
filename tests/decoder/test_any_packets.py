"""Whatever the packets are: nothing is raised, and each packet is counted."""

from __future__ import annotations

import json

from hypothesis import example, given, strategies as st

from halfbit import Fault, FaultKind, Packet, instructions
from halfbit.decoder import AccessoryDecoder, Item, MultiFunctionDecoder, TrackState
from halfbit.simulate.signal import with_error_byte

from .support_track import MS

#: Few addresses and few instructions, so that packets come again; and any bytes.
NEARBY = st.builds(
    lambda address, body: address + body,
    st.sampled_from([b"\x03", b"\x0a", b"\x00", b"\xc0\x03", b"\x81", b"\xbf", b"\x7c", b"\xff"]),
    st.sampled_from(
        [b"\x74", b"\x64", b"\x90", b"\x80", b"\x3f\x90", b"\x00", b"\x01", b"\x13\x0a", b"\x12\x00", b"\x9f"]
        + [
            b"\xec\x02\x07",
            b"\x74\xec\x02\x07",
            b"\xec\x1c\x02",
            b"\xf2\x05",
            b"\xf8",
            b"\xf0",
            b"\xde\x01",
            b"\xc0\x85\x00",
        ]
        + [
            b"\x02\x07",
            b"\x71\x05",
            b"\xf8\xec\x02\x02",
            b"\xf5\x10\x00",
            b"\xf4\xc0\x05",
            b"\x3c\x90\x11",
            b"\x3e\x05",
        ]
    ),
)
BODIES = st.lists(st.one_of(NEARBY, NEARBY, NEARBY, st.binary(min_size=1, max_size=7), st.just(b"")), max_size=40)


def sent(bodies: list[bytes]) -> list[Packet | Fault]:
    """Packets with times; an empty body is a loss."""
    return [
        (
            Packet(with_error_byte(body), 14, 8 * MS * index, 8 * MS * (index + 1))
            if body
            else Fault(FaultKind.UNEQUAL, 8 * MS * index, 8 * MS * (index + 1), 8 * MS * index, 0, b"\x03")
        )
        for index, body in enumerate(bodies)
    ]


@given(BODIES)
@example([b"\x03\xf5\x10\x00", b"\x00\x01", b"\x03\xf5\x10\x00"])  # a hard reset makes CV 31 and 32 unknown again
def test_the_track_takes_any_packet(bodies: list[bytes]) -> None:
    state = TrackState()
    changes = [change for event in instructions(sent(bodies)) for change in state.feed(event)]
    changes += state.finish()
    assert [change for change in changes if change.item is not Item.CV and change.before == change.after != None] == []
    assert json.loads(json.dumps(state.as_dict())) == state.as_dict()
    assert state.finish() == ()
    assert sum(row.packets for row in state.seen.values()) == sum(map(bool, bodies))


@given(BODIES)
def test_decoders_take_any_packet(bodies: list[bytes]) -> None:
    for decoder in (MultiFunctionDecoder({11: 1}), AccessoryDecoder({3: 1})):
        for event in sent(bodies):
            for effect in decoder.feed(event):
                assert str(effect)
