"""``halfbit vectors``: what is said of ports that are right, wrong, silent or broken."""

from __future__ import annotations

import json
import shlex
import sys
import time
from pathlib import Path

import pytest

from halfbit import HalfbitError, core
from halfbit.cli import main
from halfbit.vectors import cases, check, fed, heading
from halfbit.vectors.check import compared

HEADING = "halfbit vectors heading prints the limits and the numbers of the answers"

#: A port in Python, as the documentation's protocol asks for it. {change} spoils an answer.
PORT = """
import sys
from halfbit.limits import RECEIVE
receiver, taken = RECEIVE.receiver_core(), 0
for line in sys.stdin:
    if line == "\\n":
        receiver, taken = RECEIVE.receiver_core(), 0
        print()
        continue
    answer = receiver.feed(1000 * int(line) // {ticks})
    taken += 1
    {change}
    if answer == 3:
        packets = receiver.packets
        print(taken, 3, packets.preamble, packets.data[: packets.length].hex())
    elif answer:
        print(taken, answer)
"""

SOME = cases()[:60]


def port(tmp_path: Path, change: str = "pass", ticks: int = 1) -> list[str]:
    path = tmp_path / "port.py"
    path.write_text(PORT.format(change=change, ticks=ticks))
    return [sys.executable, str(path)]


def run(*words: str) -> int:
    return main(["vectors", *words])


def test_a_port_that_is_right(tmp_path: Path) -> None:
    report = check(port(tmp_path), cases())
    assert report.differences == () and report.broken == {}
    assert sum(count for count, _ in report.rules.values()) == len(cases())


def test_another_tick(tmp_path: Path) -> None:
    assert check(port(tmp_path, ticks=4), SOME, ticks_per_us=4).differences == ()
    assert check(port(tmp_path, ticks=4), SOME).differences != ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("answer = 5 if answer == 4 else answer", "after duration {at}: START instead of SYNC"),
        ("answer = 0 if answer == 4 else answer", "after duration {at}: nothing instead of SYNC"),
        ("answer = 4 if taken == 2 else answer", "after duration 2: SYNC instead of nothing"),
        ("answer = 99 if answer == 4 else answer", "after duration {at}: answer 99 instead of SYNC"),
        ("print('ready')", "cannot be read: 'ready'"),
        ("print(3, 3)", "cannot be read: '3 3'"),
        ("1 / 0", "no answer to this case: the program ended with status 1 before it"),
        ("sys.exit() if taken > 3 else 0", "no answer to this case: the program ended before it"),
    ],
)
def test_the_first_difference_in_words(tmp_path: Path, change: str, words: str) -> None:
    report = check(port(tmp_path, change), SOME)
    first = report.differences[0]
    at = next(answer.at for answer in first.case.answers if answer.answer == 4)
    assert first.text == words.format(at=at)
    assert report.broken["half-bit windows"] in report.differences


def test_packets_with_another_preamble_or_other_bytes(tmp_path: Path) -> None:
    for change in ("receiver.packets.preamble ^= 1", "receiver.packets.data[0] ^= 1"):
        text = check(port(tmp_path, change), SOME[:1]).differences[0].text
        assert "PACKET 0" in text and "instead of PACKET 03 3F AA 96 after 30 one-bits" in text


def test_more_at_the_end_than_there_are_cases(tmp_path: Path) -> None:
    command_line = port(tmp_path, "pass")
    path = Path(command_line[1])
    path.write_text(path.read_text() + "print(1, 4)\n")
    assert check(command_line, SOME).differences[-1].text == "the program prints more after the last case"


def test_packets_only(tmp_path: Path) -> None:
    only_packets = port(tmp_path, "answer = answer if answer == 3 else 0")
    assert check(only_packets, SOME).differences != ()
    assert check(only_packets, SOME, packets_only=True).differences == ()


def test_rules_that_cost_packets_come_first(tmp_path: Path) -> None:
    """All cases differ in SYNC; one rule's in a packet too."""
    change = "answer = 0 if answer == 4 or receiver.packets.data[:3] == bytes((0, 0xFF, 0xFF)) else answer"
    report = check(port(tmp_path, change), cases())
    assert list(report.broken)[0] == "bytes"
    assert [difference.packets for difference in report.broken.values()].count(True) == 1


def test_ports_that_cannot_be_run(tmp_path: Path) -> None:
    with pytest.raises(HalfbitError, match="cannot be run"):
        check([str(tmp_path / "nothing")], SOME)
    with pytest.raises(HalfbitError, match="has not ended within 0.2 s and was stopped; it has printed answers to 0 of 60"):
        check([sys.executable, "-c", "import time; time.sleep(30)"], SOME, timeout=0.2)
    with pytest.raises(HalfbitError, match="ticks_per_us: 0"):
        check(port(tmp_path), SOME, ticks_per_us=0)
    with pytest.raises(HalfbitError, match="ticks_per_us: 0"):
        fed(SOME, 0)


def test_a_port_that_hangs_in_a_case_is_stopped(tmp_path: Path) -> None:
    """Also if what hangs was started by the command, and holds its output open."""
    hanging = port(tmp_path, "answer == 4 and len(sys.argv) > 1 and __import__('time').sleep(600)\n    sys.stdout.flush()")
    start = time.monotonic()
    with pytest.raises(HalfbitError, match=f"answers to 0 of 60 cases, the next is {SOME[0].id}"):
        check(["/bin/sh", "-c", shlex.join([*hanging, "hang"]) + "; true"], SOME, timeout=1)
    assert time.monotonic() - start < 20


def test_a_port_that_prints_without_end_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.modules["halfbit.vectors.check"], "_MOST", 1 << 20)
    with pytest.raises(HalfbitError, match="prints without end and was stopped after 1 MiB"):
        check([sys.executable, "-c", "while True: print('1 4' * 1000)"], SOME)


def test_if_every_case_differs_the_shortest_is_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = port(tmp_path, "answer += answer > 0")
    assert run("check", shlex.join(wrong)) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("every case differs: look at the answers' form and numbers first.")
    shortest = min((case for case in cases() if case.answers), key=lambda case: len(case.durations))
    assert lines[1] == f"    {shortest.id}: {shortest.text}"
    assert lines[2].endswith("the durations, us: " + " ".join(map(str, shortest.durations)))
    assert lines[3] == "the numbers of the answers are one too high: " + HEADING
    assert lines[4].endswith(f" 0 of {len({case.rule for case in cases()})} rules kept") and len(lines) == 5


def test_the_command_says_which_rules_are_broken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = port(tmp_path, "answer = 0 if answer == 13 else answer")  # UNEQUAL
    assert run("check", shlex.join(wrong)) == 1
    out = capsys.readouterr().out
    assert out.startswith("halves of a one-bit: ")
    assert "ones-52-59: a data bit's halves last 52 and 59 us: they differ by more than 6 us\n" in out
    assert "nothing instead of UNEQUAL" in out
    assert "half-bit windows" not in out
    assert run("check", "--rule", "bytes", shlex.join(wrong)) == 0
    assert capsys.readouterr().out == "15 cases, 0 differ; 1 of 1 rules kept\n"


def test_the_other_actions(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("list", "--limits", "transmit") == 0
    assert "  stretched zeros\n" in capsys.readouterr().out
    assert run("show", "two-packets") == 0
    assert capsys.readouterr().out.startswith('{"id":"two-packets","rule":"bytes"')
    assert run("show", "no such case") == 2
    assert "there is no case 'no such case' for the limits receive" in capsys.readouterr().err
    assert run("feed", "--rule", "bytes") == 0
    assert capsys.readouterr().out == fed([case for case in cases() if case.rule == "bytes"])
    assert run("feed", "--rule", "no such rule") == 2
    assert "there is no rule 'no such rule'" in capsys.readouterr().err
    assert run("heading", "--limits", "transmit") == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed == heading("transmit") and printed["answers"]["PACKET"] == core.PACKET and printed["one_min"] == 55


@pytest.mark.parametrize(
    ("place", "offset", "words"),
    [
        (0, -1, "the numbers of durations are one too low: the first duration of a case is number 1"),
        (0, 1, "the numbers of durations are one too high: "),
        (1, -1, "the numbers of the answers are one too low: halfbit vectors heading prints "),
        (1, 1, "the numbers of the answers are one too high: halfbit vectors heading prints "),
        (2, -1, "the numbers of one-bits before packets are one too low"),
        (2, 1, "the numbers of one-bits before packets are one too high: the start bit "),
    ],
)
@pytest.mark.parametrize("limits", ["receive", "sum"])
def test_a_number_that_is_shifted(place: int, offset: int, words: str, limits: str) -> None:
    """In each answer that has it. In some cases there is another difference too."""
    chosen = cases(limits)[:60]
    answered = []
    for case in chosen:
        lines = []
        for answer in case.answers:
            numbers = [answer.at, answer.answer, *([answer.preamble] if answer.data else [])]
            if place < len(numbers):
                numbers[place] += offset
            lines.append(" ".join([*map(str, numbers), answer.data.hex()]).strip())
        answered.append(lines)
    assert compared(chosen, answered, "").hint.startswith(words)
    assert compared(chosen, [lines[:-1] for lines in answered[:20]] + answered[20:], "").hint.startswith(words)
    assert not compared(chosen, [lines[:-1] for lines in answered[:40]] + answered[40:], "").hint.startswith(words)


def test_most_cases_differ(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The port takes ticks of 4 to the us, and gets us; or gives no answer at all."""
    for change, ticks in (("pass", 4), ("answer = 0", 1)):
        assert run("check", "--rule", "bytes", shlex.join(port(tmp_path, change, ticks))) == 1
        assert "perhaps the durations are in another unit (--ticks-per-us)," in capsys.readouterr().out
    assert check(port(tmp_path, "answer = 0 if answer == 13 else answer"), cases()).hint == ""
    assert check(port(tmp_path), SOME).hint == ""


def test_one_wrong_case_of_a_rule_says_nothing_of_the_unit() -> None:
    """With ``--rule``, that rule is all there is, so it is broken by one case."""
    chosen = [case for case in cases() if case.rule == "bytes"]
    right = [[f"{each.at} {each.answer} {each.preamble} {each.data.hex()}" if each.data else f"{each.at} {each.answer}"
              for each in case.answers] for case in chosen]  # fmt: skip
    assert compared(chosen, right, "").differences == ()
    report = compared(chosen, [right[0][:-1], *right[1:]], "")
    assert (len(report.differences), report.hint) == (1, "")
