"""The portable core: its table entry by entry, every answer, and that nothing can upset it."""

from __future__ import annotations

import ast
import inspect
import tracemalloc
from collections.abc import Callable
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from halfbit import core
from halfbit.limits import RECEIVE, Limits
from halfbit.simulate.signal import bit_durations, packet_bits, packet_durations, with_error_byte

US = 1000
STATES = {"LOST": core.LOST, "IDLE": core.IDLE, "BYTE": core.BYTE, "SEPARATOR": core.SEPARATOR}

#: What each bit is to the packet, and what the counts must be for it to be that:
#: (bit, first, last, ones before, other count before, last half before).
INPUTS: dict[str, tuple[int, int, int, int, int, int]] = {
    "ONE": (core.ONE, 58, 58, 3, 0, 0),
    "RUN": (core.ONE, 58, 58, 9, 0, 0),
    "RUN in the other pairing": (core.ONE, 58, 58, 3, 9, 58),
    "RUN in spite of unequal halves": (core.UNEQUAL, 58, 52, 3, 9, 58),
    "ZERO": (core.ZERO, 100, 100, 9, 0, 58),
    "START": (core.ZERO, 100, 100, 10, 0, 58),
    "SLIP": (core.UNPAIRED_ONE, 58, 0, 5, 5, 58),
    "FAULT": (core.GAP, 0, 77, 9, 9, 58),
    "FAULT, unequal": (core.UNEQUAL, 58, 52, 9, 8, 58),
    "FAULT, lone zero": (core.UNPAIRED_ZERO, 100, 0, 9, 9, 58),
}

#: What must come of each state and input by S-9.2 A: the next state and the answer. ``None`` for an
#: answer that is the fault itself. BYTE and SEPARATOR stand for a packet in the middle of its second byte.
EXPECTED: dict[str, dict[str, tuple[int, int | None]]] = {
    "LOST": {
        "ONE": (core.LOST, core.MORE),
        "RUN": (core.IDLE, core.SYNC),
        "RUN in the other pairing": (core.IDLE, core.SYNC),
        "RUN in spite of unequal halves": (core.IDLE, core.SYNC),
        "ZERO": (core.LOST, core.MORE),
        "START": (core.LOST, core.MORE),
        "SLIP": (core.LOST, core.MORE),
        "FAULT": (core.LOST, None),
        "FAULT, unequal": (core.LOST, None),
        "FAULT, lone zero": (core.LOST, None),
    },
    "IDLE": {
        "ONE": (core.IDLE, core.MORE),
        "RUN": (core.IDLE, core.MORE),
        "RUN in the other pairing": (core.IDLE, core.MORE),
        "RUN in spite of unequal halves": (core.IDLE, core.MORE),
        "ZERO": (core.LOST, core.SHORT_PREAMBLE),
        "START": (core.BYTE, core.START),
        "SLIP": (core.IDLE, core.MORE),
        "FAULT": (core.LOST, None),
        "FAULT, unequal": (core.LOST, None),
        "FAULT, lone zero": (core.LOST, None),
    },
    "BYTE": {
        "ONE": (core.BYTE, core.MORE),
        "RUN": (core.BYTE, core.MORE),
        "RUN in the other pairing": (core.BYTE, core.MORE),
        "RUN in spite of unequal halves": (core.LOST, None),
        "ZERO": (core.BYTE, core.MORE),
        "START": (core.BYTE, core.MORE),
        "SLIP": (core.LOST, None),
        "FAULT": (core.LOST, None),
        "FAULT, unequal": (core.LOST, None),
        "FAULT, lone zero": (core.LOST, None),
    },
    "SEPARATOR": {
        "ONE": (core.LOST, core.FEW_BYTES),
        "RUN": (core.LOST, core.FEW_BYTES),
        "RUN in the other pairing": (core.LOST, core.FEW_BYTES),
        "RUN in spite of unequal halves": (core.LOST, None),
        "ZERO": (core.BYTE, core.MORE),
        "START": (core.BYTE, core.MORE),
        "SLIP": (core.LOST, None),
        "FAULT": (core.LOST, None),
        "FAULT, unequal": (core.LOST, None),
        "FAULT, lone zero": (core.LOST, None),
    },
}


def machine_in(state: str) -> core.Packets:
    """A layer 4 machine (counting us, so that the numbers are small) in a state."""
    machine = core.Packets(6, 10, 3, 15)
    machine.state = STATES[state]
    if state in ("BYTE", "SEPARATOR"):
        machine.length = 1
        machine.check = machine.data[0] = 0x37
        machine.room = 5 if state == "BYTE" else 0
    return machine


@pytest.mark.parametrize(("state", "name"), [*product(STATES, INPUTS)])
def test_each_input_in_each_state(state: str, name: str) -> None:
    machine = machine_in(state)
    bit, first, last, machine.ones, machine.shifted_ones, machine.previous_half = INPUTS[name]
    answer = machine.feed(bit, first, last)
    next_state, expected = EXPECTED[state][name]
    assert answer == (bit if expected is None else expected)
    assert machine.state == next_state


@pytest.mark.parametrize(("state", "value"), [*product(range(4), range(6))])
def test_the_table_is_total_and_the_inputs_are_those(state: int, value: int) -> None:
    """The 24 entries are all there is. count() gives each of the six inputs, but no IN_RUN inside a packet."""
    assert core.STEPS[6 * state + value] <= core.EARLY
    assert len(core.STEPS) == len(STATES) * 6
    machine = machine_in(list(STATES)[state])
    meant = set()
    for bit, first, last, ones, shifted_ones, before in INPUTS.values():
        machine.ones, machine.shifted_ones, machine.previous_half = ones, shifted_ones, before
        meant.add(machine.count(bit, first, last))
    assert meant == set(range(6)) - ({core.IN_RUN} if state >= core.BYTE else set())


def test_bytes_are_shifted_in_from_the_most_significant_bit() -> None:
    machine = machine_in("BYTE")
    machine.value, machine.room = 0, 8
    for bit in (1, 0, 1, 0, 0, 1, 1, 0):
        assert machine.feed(core.ONE if bit else core.ZERO, 58, 58) == core.MORE
    assert machine.state == core.SEPARATOR
    assert (machine.data[1], machine.length, machine.check) == (0b10100110, 2, 0x37 ^ 0b10100110)


def receive(durations: list[int], limits: Limits = RECEIVE) -> list[int]:
    machine = limits.receiver_core()
    return [machine.feed(duration) for duration in durations]


ONES = bit_durations([1] * 12)
IDLE = packet_durations(with_error_byte(bytes([255, 0])), preamble=12)
INSIDE = ONES + bit_durations([0, 1, 0, 1])

#: For each answer of layer 4 a signal in us whose last half-bit gives it.
SIGNALS: dict[str, list[int]] = {
    "MORE": ONES[:2],
    "SYNC": bit_durations([1] * 10),
    "START": [*ONES, 100_000, 100_000],
    "PACKET": IDLE,
    "SHORT": [*INSIDE, 51_999],
    "GAP": [*INSIDE, 77_000],
    "LONG": [*INSIDE, 10_000_001],
    "UNPAIRED_ONE": [*INSIDE, 58_000, 100_000],
    "UNPAIRED_ZERO": [*INSIDE, 100_000, 58_000],
    "UNEQUAL": [*INSIDE, 52_000, 59_000],
    "ZERO_TOO_LONG": [*INSIDE, 9_900_000, 9_900_000],
    "SHORT_PREAMBLE": IDLE + bit_durations([1] * 8 + [0]),
    "FEW_BYTES": packet_durations(bytes([7, 7])),
    "MANY_BYTES": bit_durations(packet_bits(bytes(15))[:-1] + [0]),
    "ERROR_BYTE": packet_durations(bytes([3, 2, 2])),
}


@pytest.mark.parametrize("name", SIGNALS)
def test_each_answer_is_given_by_a_signal(name: str) -> None:
    limits = Limits(zero_total_max=12_000 * US)
    assert receive(SIGNALS[name], limits)[-1] == getattr(core, name)


def test_no_other_answers_exist() -> None:
    """ONE and ZERO are answers of layers 2 and 3 alone; no machine answers CUT or UNCLEAR."""
    answers = {
        name
        for name, value in vars(core).items()
        if isinstance(value, int) and name.isupper() and not name.startswith("IN_")
    }
    answers -= {*STATES, "STAY", "FIND", "OPEN", "SHIFT", "NEXT", "CLOSE", "FAIL", "EARLY"}
    answers -= {"COUNT_MAX"}
    assert answers == {*SIGNALS, "ONE", "ZERO", "CUT", "UNCLEAR"}
    numbers = [getattr(core, name) for name in answers]
    assert len(set(numbers)) == len(numbers)
    assert all(getattr(core, name) >= core.SHORT for name in answers if name in _FAULTS)
    assert all(getattr(core, name) < core.SHORT for name in answers if name not in _FAULTS)


def test_the_numbers_are_those_that_ports_and_vectors_have() -> None:
    """Users rely on them: `DEVELOPERS.md`, "What users rely on". A port's numbers are these too."""
    assert [core.MORE, core.ONE, core.ZERO, core.PACKET, core.SYNC, core.START] == [0, 1, 2, 3, 4, 5]
    assert [core.SHORT, core.GAP, core.LONG] == [8, 9, 10]
    assert [core.UNPAIRED_ONE, core.UNPAIRED_ZERO, core.UNEQUAL, core.ZERO_TOO_LONG] == [11, 12, 13, 14]
    assert [core.SHORT_PREAMBLE, core.FEW_BYTES, core.MANY_BYTES, core.ERROR_BYTE] == [15, 16, 17, 18]
    assert [core.CUT, core.UNCLEAR] == [19, 20]


_FAULTS = {
    *("SHORT", "GAP", "LONG", "UNPAIRED_ONE", "UNPAIRED_ZERO", "UNEQUAL", "ZERO_TOO_LONG"),
    *("SHORT_PREAMBLE", "FEW_BYTES", "MANY_BYTES", "ERROR_BYTE", "CUT", "UNCLEAR"),
}


@pytest.mark.parametrize(
    ("duration", "kind"),
    [
        *((value, core.SHORT) for value in (-(2**70), -1, 0, 1, 51_999)),
        *((value, core.ONE) for value in (52_000, 58_000, 64_000)),
        *((value, core.GAP) for value in (64_001, 77_000, 89_999)),
        *((value, core.ZERO) for value in (90_000, 100_000, 10_000_000)),
        *((value, core.LONG) for value in (10_000_001, 2**31, 2**70)),
    ],
)
def test_layer_2_to_the_nanosecond(duration: int, kind: int) -> None:
    assert RECEIVE.half_bits_core().feed(duration) == kind


@pytest.mark.parametrize("held", [core.MORE, core.ONE, core.ZERO])
@pytest.mark.parametrize(
    "half", [core.ONE, core.ZERO, core.SHORT, core.GAP, core.LONG], ids=lambda half: f"half{half}"
)
def test_layer_3_each_half_after_each(held: int, half: int) -> None:
    machine = core.Bits(6, 20_000)
    if held:
        assert machine.feed(held, 58) == core.MORE
    answer = machine.feed(half, 60)
    waited = 58 if held else 0
    assert (machine.first, machine.last) == (waited, 60)
    if half >= core.SHORT:
        assert (answer, machine.held, machine.waiting) == (half, core.MORE, 0)
    elif held == half:
        assert (answer, machine.held, machine.waiting) == (half, core.MORE, 0)
    else:
        lone = {core.MORE: core.MORE, core.ONE: core.UNPAIRED_ONE, core.ZERO: core.UNPAIRED_ZERO}[held]
        assert (answer, machine.held, machine.waiting) == (lone, half, 60)


def test_counts_stop_where_a_byte_does() -> None:
    """A port keeps them in a byte: among one-bits without end they stay at 255."""
    machine = RECEIVE.receiver_core()
    for duration in bit_durations([1] * 1000):
        machine.feed(duration)
    assert (machine.packets.ones, machine.packets.shifted_ones) == (255, 255)
    answers = [machine.feed(duration) for duration in packet_durations(bytes(3), preamble=0)]
    assert answers[-1] == core.PACKET
    assert machine.packets.preamble == core.COUNT_MAX


#: Any integer at all, those near the bounds more often.
anything = st.one_of(
    st.integers(),
    st.integers(0, 120_000),
    st.sampled_from((0, -1, 2**31, 2**32 - 1, 2**63, -(2**63), 10**40)),
    st.sampled_from((52_000, 58_000, 64_000, 90_000, 100_000)),
)


def bounded(machine: core.Packets, limits: Limits) -> bool:
    return bool(
        0 <= machine.state <= core.SEPARATOR
        and 0 <= machine.ones <= core.COUNT_MAX
        and 0 <= machine.shifted_ones <= core.COUNT_MAX
        and 0 <= machine.preamble <= core.COUNT_MAX
        and 0 <= machine.length <= limits.packet_max == len(machine.data)
        and 0 <= machine.value <= 255
        and 0 <= machine.check <= 255
        and 0 <= machine.room <= 8
    )


@given(st.lists(anything, max_size=400), st.booleans())
def test_no_integer_upsets_the_receiver(durations: list[int], inside: bool) -> None:
    """Nothing raises, answers are the known ones, counts stay in a byte, no attribute appears."""
    machine = RECEIVE.receiver_core()
    parts = (machine, machine.half_bits, machine.bits, machine.packets)
    before = [set(vars(part)) for part in parts]
    for duration in (INSIDE if inside else []) + durations:
        answer = machine.feed(duration)
        assert answer in _ANSWERS
        assert bounded(machine.packets, RECEIVE)
        assert machine.bits.held in (core.MORE, core.ONE, core.ZERO)
        # A half that waits was in a window, and so is no larger than the largest.
        assert 0 <= machine.bits.waiting <= RECEIVE.zero_max
    assert [set(vars(part)) for part in parts] == before


_ANSWERS = {getattr(core, name) for name in SIGNALS}


@given(st.lists(st.tuples(anything, anything, anything), max_size=200))
def test_no_integers_upset_a_layer_alone(fed: list[tuple[int, int, int]]) -> None:
    """Layers 3 and 4 fed with what no layer below would say."""
    bits, packets = RECEIVE.bits_core(), RECEIVE.packets_core()
    for kind, first, last in fed:
        for value in (kind, kind % 24):
            assert isinstance(bits.feed(value, first), int)
            assert isinstance(packets.feed(value, first, last), int)
            assert bounded(packets, RECEIVE)


def test_nothing_is_allocated_after_construction() -> None:
    durations = (IDLE + SIGNALS["FEW_BYTES"] + [77_000] + SIGNALS["MANY_BYTES"]) * 40
    machine = RECEIVE.receiver_core()
    for duration in durations:
        machine.feed(duration)
    tracemalloc.start()
    try:
        before = tracemalloc.take_snapshot()
        for duration in durations:
            machine.feed(duration)
        after = tracemalloc.take_snapshot()
    finally:
        tracemalloc.stop()
    only_core = [tracemalloc.Filter(True, core.__file__)]
    grown = after.filter_traces(only_core).compare_to(before.filter_traces(only_core), "filename")
    # What counts above 256 are objects of Python's; a port has none. A few may be held at a time.
    assert sum(difference.size_diff for difference in grown) < 512


def _loops_and_imports(tree: ast.AST) -> list[str]:
    unwanted = (ast.For, ast.While, ast.Import, ast.ImportFrom, ast.ListComp, ast.Raise, ast.Assert)
    return [type(node).__name__ for node in ast.walk(tree) if isinstance(node, unwanted)]


def test_the_core_has_no_loop_and_imports_nothing() -> None:
    """So the work of a feed is bounded whatever comes, and it runs where there is no library."""
    assert _loops_and_imports(ast.parse(inspect.getsource(core))) == []


#: The faults that leave a preamble's count to start anew, and what a torn packet says of itself.
BROKEN: dict[str, Callable[[list[int]], list[int]]] = {
    "nothing": lambda tail: tail,
    "a spike": lambda tail: [700, *tail],
    "a lone half of a one": lambda tail: [58_000, *tail],
    "a lone half of a zero": lambda tail: [100_000, *tail],
}


@pytest.mark.parametrize("broken", BROKEN)
def test_a_preamble_is_found_whatever_stood_before(broken: str) -> None:
    answers = receive([*INSIDE, *BROKEN[broken](packet_durations(bytes(3), preamble=10))])
    assert answers[-1] == core.PACKET
    assert answers.count(core.PACKET) == 1


#: What may stand before one-bits so that its last half must not be paired with their first half.
UNPAIRABLE: dict[str, list[int]] = {
    "nothing": [],
    "a start bit": [100_000, 100_000],
    "a one and a zero": [58_000, 58_000, 100_000, 100_000],
    "a spike": [58_000, 58_000, 700],
    "a half of a zero": [58_000, 58_000, 100_000],
}


@pytest.mark.parametrize("before", UNPAIRABLE)
def test_without_a_limit_on_the_difference_only_halves_of_ones_make_a_one(before: str) -> None:
    """19 halves are nine one-bits, one too few for a preamble (S-9.2 A). Their halves may differ as they like."""
    ends = packet_durations(bytes(3), preamble=0)
    limits = Limits(one_difference=None)
    answers = [receive([*UNPAIRABLE[before], *[58_000] * halves, *ends], limits) for halves in (19, 20, 21)]
    assert [some.count(core.PACKET) for some in answers] == [0, 1, 1]


def test_without_a_limit_on_the_difference_a_dropped_half_is_in_no_other_bit() -> None:
    """Layer 4 alone: ten one-bits after an unpaired half are nine in the other pairing."""
    machine = Limits(one_difference=None).packets_core()
    for bit in (core.ONE, core.UNPAIRED_ONE, *[core.ONE] * 10):
        machine.feed(bit, 58_000, 58_000)
    assert (machine.ones, machine.shifted_ones) == (11, 9)


@pytest.mark.parametrize(("halves", "packets"), [(16, 1), (17, 1), (18, 2), (19, 2)])
def test_of_a_packet_the_end_bit_alone_counts_for_the_next_preamble(halves: int, packets: int) -> None:
    """S-9.2 A: ten one-bits, of which the end bit may be one. An odd half pairs with the end bit's last half."""
    answers = receive([*IDLE, *[58_000] * halves, *packet_durations(bytes(3), preamble=0)])
    assert answers.count(core.PACKET) == packets


@pytest.mark.parametrize("first, last, ones", [(58, 64, 7), (64, 58, 7), (58, 65, 0), (65, 58, 0)])
def test_ones_in_the_other_pairing_may_differ_as_much_as_in_this(first: int, last: int, ones: int) -> None:
    """S-9.1 A, table 1: by 6 us. The ones before count if they do not differ more."""
    machine = RECEIVE.packets_core()
    for halves in [(58, 58)] * 4 + [(first, last)] * 4:
        machine.feed(core.ONE, halves[0] * 1000, halves[1] * 1000)
    assert machine.shifted_ones == ones


@pytest.mark.parametrize(("halves", "answer"), [(17, core.MORE), (19, core.SYNC)])
def test_a_preamble_may_be_complete_with_the_half_that_a_zero_leaves(halves: int, answer: int) -> None:
    """Ten one-bits (S-9.2 A) from 59 us on, which does not pair with the 52 us before (S-9.1 A, table 1)."""
    assert receive([52_000, 59_000, *[58_000] * halves, 100_000])[-1] == answer


def test_a_one_that_is_unequal_begins_the_count_anew() -> None:
    """In both pairings: 60 us fits neither 53 nor 52 us (S-9.1 A, table 1). Nine ones are no preamble (S-9.2 A)."""
    answers = receive([*[58_000] * 9, 52_000, 60_000, 53_000, *[58_000] * 18, *packet_durations(bytes(3), preamble=0)])
    assert core.SYNC not in answers and core.PACKET not in answers


def test_a_fault_before_the_first_packet_comes_with_no_bytes() -> None:
    machine = RECEIVE.packets_core()
    assert machine.feed(core.GAP, 0, 77_000) == core.GAP
    assert machine.data[: machine.length] == b""
