"""Who is on the track: the example captures against the scenario, and each rule by itself."""

from __future__ import annotations

import pytest

from halfbit import Fault, FaultKind, Packet, auto_limits, decode, instructions, open_capture
from halfbit.decoder import EMERGENCY_STOP, STOP, Change, Consist, CvBit, Either, Item, Speed, TrackState
from halfbit.instruction import (
    AccessoryAddress,
    Address,
    Broadcast,
    ExtendedAccessoryAddress,
    LongAddress,
    NoAddress,
    ShortAddress,
)

from .support_track import MS, packets

PEPPER, THIMBLE, THIMBLE_LATER, TOGETHER = ShortAddress(7), ShortAddress(44), ShortAddress(12), ShortAddress(11)
MADRIGAL, TURNOUT, SIGNAL = LongAddress(2604), AccessoryAddress(9, 2), ExtendedAccessoryAddress(37)

#: What the scenario says of the steps: Pepper 28, Madrigal 126, Thimble 14; the consist is run with 28.
CVS: dict[Address, dict[int, int]] = {PEPPER: {29: 2}, MADRIGAL: {29: 34}, THIMBLE: {29: 0}, TOGETHER: {29: 2}}

#: Worked out by hand from examples/captures/scenario.txt: ms of the scenario's line, and what becomes otherwise.
SHUNTING_TURN: list[tuple[float, Address | None, Item, int | None, object]] = [
    (0.0, PEPPER, Item.FUNCTION, 0, True),
    (35.882, THIMBLE, Item.SPEED, None, STOP),
    (35.882, THIMBLE, Item.DIRECTION, None, True),
    (35.882, THIMBLE, Item.FUNCTION, 0, True),
    (75.074, TURNOUT, Item.OUTPUT, 1, True),
    (100.530, TURNOUT, Item.OUTPUT, 1, False),
    (125.986, SIGNAL, Item.ASPECT, None, 5),
    (154.370, PEPPER, Item.SPEED, None, Speed(6, 28)),
    (154.370, PEPPER, Item.DIRECTION, None, True),
    (154.370, PEPPER, Item.FUNCTION, 1, True),
    (197.954, PEPPER, Item.FUNCTION, 1, False),
    (224.082, PEPPER, Item.SPEED, None, Speed(11, 28)),
    (263.274, MADRIGAL, Item.FUNCTION, 5, True),
    (263.274, MADRIGAL, Item.FUNCTION, 8, True),
    (305.850, MADRIGAL, Item.SPEED, None, Speed(30, 126)),
    (305.850, MADRIGAL, Item.DIRECTION, None, False),
    (358.846, PEPPER, Item.SPEED, None, STOP),
    (401.758, PEPPER, Item.SPEED, None, Speed(2, 28)),
    (401.758, PEPPER, Item.DIRECTION, None, False),
    (444.670, PEPPER, Item.SPEED, None, STOP),
    (444.670, MADRIGAL, Item.SPEED, None, STOP),
    (632.280, PEPPER, Item.CONSIST, None, Consist(11)),
    (669.956, MADRIGAL, Item.CONSIST, None, Consist(11, True)),
    (701.604, TOGETHER, Item.SPEED, None, Speed(4, 28)),
    (701.604, TOGETHER, Item.DIRECTION, None, True),
    (748.618, MADRIGAL, Item.CV, 3, 20),
    (784.034, SIGNAL, Item.ASPECT, None, 0),
    (814.218, TOGETHER, Item.SPEED, None, STOP),
]
#: Thimble, now with address 12, is not in CVS: with 28 steps her packet is step 1 too.
PROGRAMMING_TRACK: list[tuple[float, Address | None, Item, int | None, object]] = [
    (159.562, None, Item.MODE, None, "service"),
    (226.386, NoAddress(), Item.CV, 1, 12),
    (344.138, NoAddress(), Item.REGISTER, 6, 8),
    (427.846, NoAddress(), Item.CV, 29, 4),
    (512.394, None, Item.MODE, None, "operations"),
    (560.618, THIMBLE_LATER, Item.SPEED, None, Either(Speed(1, 28), Speed(1, 14))),
    (560.618, THIMBLE_LATER, Item.DIRECTION, None, True),
]
#: A packet changes something at its end; the torn one among a step's packets may be the first.
LATEST = 35 * MS


@pytest.mark.parametrize(
    ("file", "expected"),
    [
        ("shunting_turn.txt", SHUNTING_TURN),
        ("shunting_turn.csv", SHUNTING_TURN),
        ("shunting_turn_polled.txt", SHUNTING_TURN),
        ("programming_track.txt", PROGRAMMING_TRACK),
    ],
)
def test_the_example_captures(
    file: str, expected: list[tuple[float, Address | None, Item, int | None, object]]
) -> None:
    edges = open_capture(f"examples/captures/{file}")
    track = TrackState(CVS)
    changes = [change for event in decode(edges, auto_limits(edges)) for change in track.feed(event)]
    changes += track.finish()
    assert [(change.address, change.item, change.number, change.after) for change in changes] == [
        one[1:] for one in expected
    ]
    for change, (ms, *_) in zip(changes, expected):
        assert 0 <= change.time - round(ms * 1000) * 1000 <= LATEST, str(change)


def changes_of(track: TrackState, *bodies: str, start: int = 0, gap: int = 8 * MS) -> list[Change]:
    """What packets change."""
    return [change for event in instructions(packets(*bodies, gap=gap, start=start)) for change in track.feed(event)]


def words(track: TrackState, *bodies: str) -> list[str]:
    return [f"{change.address}: {change}" for change in changes_of(track, *bodies)] + [
        f"{change.address}: {change}" for change in track.finish()
    ]


def test_what_cv_29_decides_is_given_both_ways() -> None:
    """S-9.2, speed and direction: 28 steps or 14; S-9.2.1 C: FL in function group one or not."""
    track = TrackState()
    speed, direction, light = changes_of(track, "03 74")
    assert speed.after == Either(Speed(6, 28), Speed(3, 14))
    assert direction.after is True
    assert light.after == Either(None, True)
    (light,) = changes_of(track, "03 90", start=8 * MS)
    assert light.after is True  # now said either way


@pytest.mark.parametrize(("cv29", "speed"), [(2, Speed(6, 28)), (0, Speed(3, 14))])
def test_with_cv_29_there_is_one_way(cv29: int, speed: Speed) -> None:
    assert changes_of(TrackState({ShortAddress(3): {29: cv29}}), "03 74")[0].after == speed


def test_cv_29_is_learned_from_a_write() -> None:
    track = TrackState()
    changes = changes_of(track, *["03 EC 1C 02"] * 2, "03 74")
    assert [change.after for change in changes] == [2, Speed(6, 28), True]


def test_a_write_is_one_act_however_often_it_is_sent() -> None:
    """S-9.2.1 C, write byte: it acts with the second identical packet."""
    track = TrackState({ShortAddress(3): {3: 5}})
    (change,) = changes_of(track, *["03 EC 02 14"] * 6)
    assert (change.before, change.after, change.effective, change.time) == (5, 20, True, 16 * MS)
    (again,) = changes_of(track, "03 90", *["03 EC 02 14"] * 2, start=48 * MS)[-1:]
    assert (again.before, again.after) == (20, 20)


@pytest.mark.parametrize("between", ["03 90", "00 41"])
def test_a_write_that_is_undone(between: str) -> None:
    """S-9.2.1 C: any other packet to the decoder, broadcast included, undoes the first."""
    changes = [c for c in changes_of(TrackState(), "03 EC 02 14", between, "03 EC 02 14") if c.item is Item.CV]
    assert [(change.effective, change.time) for change in changes] == [(False, 8 * MS)]


def test_a_write_at_the_end_that_was_never_repeated() -> None:
    assert words(TrackState(), "03 EC 02 14", "04 90")[-1] == "short 3: CV 3 := 20, sent once: no effect"


def test_a_write_in_a_packet_with_others() -> None:
    """S-9.2.1 C: more than one instruction may follow an address."""
    track = TrackState({ShortAddress(3): {29: 2}})
    found = words(track, *["03 74 EC 02 14"] * 3, "03 61", *["03 74 EC 02 14"] * 2)
    assert found.count("short 3: CV 3 := 20") == 2


def test_a_bit_of_a_cv_that_is_not_known() -> None:
    (change,) = changes_of(TrackState(), *["03 E8 1C F9"] * 2)
    assert change.after == CvBit(1, True)
    (change,) = changes_of(TrackState({ShortAddress(3): {29: 4}}), *["03 E8 1C F9"] * 2)
    assert change.after == 6


def test_the_short_form_acts_at_once() -> None:
    """S-9.2.1 C, CV access, short form: one packet."""
    changes = changes_of(TrackState(), *["03 F2 07"] * 3)
    assert [(change.number, change.after) for change in changes] == [(23, 7)]


def test_broadcast_stop_is_for_all() -> None:
    """S-9.2 B."""
    track = TrackState({ShortAddress(3): {29: 2}})
    found = changes_of(track, "03 74", "C0 80 3F 90", "81 F8", "00 71")[-2:]
    assert [(change.address, change.after) for change in found] == [
        (ShortAddress(3), EMERGENCY_STOP),
        (LongAddress(128), EMERGENCY_STOP),
    ]
    assert changes_of(track, "03 74", start=32 * MS)[0].after == Speed(6, 28)


def test_accessory_broadcasts_are_for_all() -> None:
    """S-9.2.1 D: one output of each basic decoder, all extended ones."""
    track = TrackState()
    changes_of(track, "81 F8", "82 F8", "81 71 05")
    found = changes_of(track, "BF 80", "BF 07 00", "BF 82", start=24 * MS)
    assert [f"{change.address}: {change}" for change in found] == [
        "accessory 1 pair 0: output 0 off",
        "accessory 2 pair 0: output 0 off",
        "extended accessory 4: aspect: 0",
    ]


def test_a_reset_is_for_all() -> None:
    """S-9.2 B: digital decoder reset."""
    track = TrackState({ShortAddress(3): {29: 2}})
    assert words(track, "03 74", "03 9F", "00 00")[-6:] == [
        f"short 3: {one}" for one in ("stop", "F1 off", "F2 off", "F3 off", "F4 off", "FL off")
    ]


def test_consists() -> None:
    """S-9.2.1 C, consist control; S-9.2.2, CV 19; CV 1 clears it (S-9.2.3 E)."""
    track = TrackState()
    changes_of(track, "03 13 0A", "04 12 0A")
    assert track.members(10) == [ShortAddress(3), ShortAddress(4)]
    assert words(track, *["03 EC 12 00"] * 2, *["04 EC 00 05"] * 2) == [
        "short 3: CV 19 := 0 (was 138)",
        "short 3: leaves its consist",
        "short 4: CV 1 := 5",
        "short 4: leaves its consist",
    ]


def test_functions_states_and_outputs() -> None:
    """S-9.2.1 C and D."""
    found = words(
        TrackState(),
        "03 DE 81",
        "03 DE 01",
        "03 DD 85",
        "03 C0 80 01",
        "03 3D 01 09",
        "03 3E 05",
        "81 FB",
        "81 71 05",
        "03 01",
    )
    assert found == [
        "short 3: F13 on",
        "short 3: F20 on",
        "short 3: F20 off",
        "short 3: binary state 5 on",
        "short 3: binary state 128 on",
        "short 3: analog output 1: 9",
        "short 3: speed restricted to code 5",
        "accessory 1 pair 1: output 1 on",
        "extended accessory 4: aspect: 5",
        "short 3: F13 off",
        "short 3: speed not restricted",
    ]


def test_times_and_losses() -> None:
    track = TrackState()
    changes_of(track, "03 74", "03 74", "FF 00", "03 74")
    row = track.seen[ShortAddress(3)]
    assert (row.packets, row.first, row.last, row.longest, row.longest_at) == (3, 8 * MS, 32 * MS, 16 * MS, 16 * MS)
    assert row.refresh is not None and abs(row.refresh - 8 * MS) < 0.03 * 8 * MS
    for data in (b"\x03\x74", b"\x05", b"", b"\x03"):
        track.feed(Fault(FaultKind.UNEQUAL, 32 * MS, 40 * MS, 33 * MS, 0, data))
    assert (row.losses, track.losses) == (2, 2)
    assert track.idle(ShortAddress(3)) == 8 * MS
    assert track.idle(ShortAddress(9)) is None
    assert track.share(ShortAddress(3)) == 24 / 40
    assert track.share(Broadcast()) == 0


@pytest.mark.parametrize("gap", [1, 31, 32, 33, 1_000, 7_777_777, 30 * MS, 5_000 * MS])
def test_the_median_is_right_to_3_percent(gap: int) -> None:
    track = TrackState()
    for event in instructions([Packet(bytes.fromhex("037477"), 14, n * gap, n * gap + gap) for n in range(9)]):
        track.feed(event)
    refresh = track.seen[ShortAddress(3)].refresh
    assert refresh is not None and abs(refresh - gap) <= 0.03 * gap


def test_service_mode_is_forgotten_when_it_ends() -> None:
    """Another vehicle may stand there the next time: its old values are not known."""
    session = ["00 00", *["7C 02 14"] * 2, "FF 00"]
    found = words(TrackState(), *session, *session)
    assert found.count("no address: CV 3 := 20") == 2
