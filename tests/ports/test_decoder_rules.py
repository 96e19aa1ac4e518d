"""Rules that an earlier C decoder broke, one by one, with the values of the standards. The model must agree at each step."""

from __future__ import annotations

import attrs
import pytest

from halfbit.simulate.signal import with_error_byte

from .support_decoder import Pair, Port

RESET = "00 00"


@attrs.frozen
class Rule:
    """Packets to a C decoder, and what it must be then."""

    name: str
    cvs: dict[int, int]
    packets: tuple[str, ...]
    forward: bool = True
    step: int = 0
    functions: frozenset[int] = frozenset()
    #: CVs that have changed.
    changed: dict[int, int] = attrs.field(factory=dict)
    pulses: int = 0
    answers: int = 0


def on(*numbers: int) -> frozenset[int]:
    """Functions."""
    return frozenset(numbers)


RULES = (
    Rule("CV 19 bit 7 turns the direction (S-9.2.2)", {19: 0x89}, ("09 74",), forward=False, step=6),
    Rule("in a consist, speed to the own address is ignored (S-9.2.1 C)", {19: 9}, ("03 74",)),
    Rule("CV 21: F1 and F3 obey the consist (S-9.2.2)", {19: 9, 21: 0b101}, ("09 8F", "09 BF"), functions=on(1, 3)),
    Rule("CV 22: FL obeys forward, F10 (S-9.2.2)", {19: 9, 22: 0b1001}, ("09 9F", "09 AF"), functions=on(0, 10)),
    Rule("CV 22: FL does not obey in reverse", {19: 9, 22: 0b1}, ("09 54", "09 90"), forward=False, step=6),
    Rule("the own address switches what the consist does not", {19: 9}, ("03 91", "03 B1"), functions=on(0, 1, 5)),
    Rule("no long form to the consist (S-9.2.1 C)", {19: 9}, ("09 EC 02 07",) * 2),
    Rule("the long form to broadcast is one for each decoder", {}, ("00 EC 02 07",) * 2, changed={3: 7}, answers=1),
    Rule("CV 7 and 8 are read-only, in operations", {}, (*("03 EC 06 07",) * 2, *("03 EC 07 08",) * 2)),
    Rule("CV 7 and 8 are read-only, in service mode", {}, (RESET, *("7C 06 07",) * 2, RESET, *("7C 07 09",) * 2)),
    Rule("no pulse in operations (S-9.2.1 E)", {}, (*("03 EC 02 07",) * 2, "03 E4 02 07"), changed={3: 7}, answers=2),
    Rule("a pulse in service mode (S-9.2.3)", {}, (RESET, *("7C 02 07",) * 2, "74 02 07"), changed={3: 7}, pulses=1),
    Rule("the page does not outlive service mode (common practice, no source)", {},
         (RESET, *("7D 11",) * 2, "FF 00", RESET, *("7A 05",) * 2), changed={3: 5}, pulses=2),
    Rule("hard reset (S-9.2.1 C)", {19: 9, 29: 0x22, 31: 20, 32: 5, 18: 7}, ("C0 07 91", "C0 07 01"),
         changed={19: 0, 29: 2, 31: 16, 32: 0}),
    Rule("extended addressing (S-9.2.1 C)", {18: 7}, ("03 0B", "03 74", "C0 07 68"), step=13, changed={29: 0x22}),
    Rule("00111100 (RCN-212, from memory)", {}, ("03 3C 8A 03",), step=9, functions=on(0, 1)),
    Rule("short form of CV access (S-9.2.1 C)", {}, ("03 F2 85", "03 F3 06"), changed={23: 0x85, 24: 6}, answers=2),
    Rule("F29 up (RCN-212, from memory)", {}, ("03 D8 81", "03 DC 80"), functions=on(29, 36, 68)),
    Rule("CV 1 clears CV 19 and CV 29 bit 5 (S-9.2.2)", {19: 9, 29: 0x22}, (RESET, *("7C 00 0C",) * 2),
         changed={1: 12, 19: 0, 29: 2}, pulses=1),
)  # fmt: skip


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_a_rule(rule: Rule) -> None:
    pair = Pair(False, rule.cvs)
    before = pair.port.cvs()
    done = []
    for packet in rule.packets:
        pair.step(bytes.fromhex(packet), 8)
        done += [name for name, *_ in pair.port.shown()[2]]
    state, functions, _ = pair.port.shown()
    assert (state[5], state[2], functions) == (rule.forward, rule.step, rule.functions)
    assert {cv + 1: new for cv, (old, new) in enumerate(zip(before, pair.port.cvs())) if new != old} == rule.changed
    assert (done.count("K"), done.count("A")) == (rule.pulses, rule.answers)


def test_an_indexed_cv_for_which_there_is_no_room_is_refused() -> None:
    """The program here keeps 512 of them. A write that is not kept is not acknowledged (S-9.2.3), and does nothing."""
    port = Port(False)
    port.set(31, 16)
    ms = 0

    def written(page: int, cv: int, value: int) -> bool:
        nonlocal ms
        port.set(32, page)
        write = bytes((0x7C | cv - 1 >> 8, cv - 1 & 255, value))
        for body in (bytes(2), write, write):
            ms += 8
            port.take(with_error_byte(body), ms)
        return "K" in [name for name, *_ in port.shown()[2]]

    assert all(written(page, cv, 7) for page in (0, 1) for cv in range(257, 513))
    assert not written(2, 257, 7) and (16, 2, 257) not in port.pages() and len(port.pages()) == 512
    assert written(1, 300, 8) and port.pages()[16, 1, 300] == 8
