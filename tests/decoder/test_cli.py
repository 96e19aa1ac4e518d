"""The commands traffic, follow and audit."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from halfbit.cli import audit as cli_audit, follow as cli_follow, traffic as cli_traffic
from halfbit.cli.main import main

from ..support_cli import Process, durations_of, packet, text_of

SHUNTING = "examples/captures/shunting_turn.txt"
PROGRAMMING = "examples/captures/programming_track.txt"


def said(capsys: pytest.CaptureFixture[str], *arguments: str, status: int = 0) -> list[str]:
    """The lines that a command prints."""
    assert main(arguments) == status
    return capsys.readouterr().out.splitlines()


def objects(capsys: pytest.CaptureFixture[str], *arguments: str, status: int = 0) -> list[dict[str, Any]]:
    return [json.loads(line) for line in said(capsys, *arguments, "--json", status=status)]


@pytest.fixture
def wide(monkeypatch: pytest.MonkeyPatch) -> Any:
    def set_width(width: int | None) -> None:
        for module in (cli_traffic, cli_follow, cli_audit):
            monkeypatch.setattr(module, "terminal_width", lambda: width)

    return set_width


def test_traffic_has_a_row_for_each_address_and_then_the_changes(capsys: pytest.CaptureFixture[str]) -> None:
    lines = said(capsys, "traffic", SHUNTING)
    assert lines[0].split() == ["address", "packets", "every", "ms", "longest", "share", "losses", "last", "state"]
    pepper = next(line for line in lines if line.startswith("short 7 "))
    assert "stop, reverse, FL on, in consist 11" in pepper
    assert "     777.670  long 2604                     CV 3 := 20" in lines
    assert "     162.366  short 7                       step 6 of 28 or step 3 of 14, forward, FL on, F1 on" in lines
    assert "8 addresses in 868.730 ms; 4 losses cannot be assigned to an address" in lines


def test_traffic_of_some_addresses_and_times(capsys: pytest.CaptureFixture[str]) -> None:
    options = ("--address", "2604", "--address", "extended accessory 37", "--from", "300", "--to", "700.5")
    found = objects(capsys, "traffic", SHUNTING, *options)
    *changes, last = found
    assert {change["event"] for change in changes} == {"change"}
    assert [change["words"] for change in changes] == ["step 30 of 126", "reverse", "stop", "consist 11 reversed"]
    assert all(300e6 <= change["time"] <= 700.5e6 for change in changes)
    assert last["event"] == "traffic"
    assert [row["address"] for row in last["addresses"]] == [
        {"kind": "extended accessory", "number": 37},
        {"kind": "long", "number": 2604},
    ]
    assert last["length"] <= 700_500_000


def test_cv_29_leaves_one_way_to_read_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert any("step 6 of 28, forward" in line for line in said(capsys, "traffic", SHUNTING, "--cv29", "2"))


def test_traffic_of_service_mode(capsys: pytest.CaptureFixture[str]) -> None:
    lines = said(capsys, "traffic", PROGRAMMING)
    for words in ("mode: service", "CV 1 := 12", "register 6 := 8", "CV 29 := 4", "mode: operations"):
        assert sum(line.endswith(words) for line in lines) == 1


def test_traffic_comes_live() -> None:
    halves = b"".join(b"%d\n" % duration for duration in durations_of([packet("03 3F 8A")]))
    with Process(["traffic", "-", "--holds", "durations"]) as process:
        process.write(halves)
        assert (process.line() or "").split() == ["time", "ms", "address", "change"]
        assert (process.line() or "").split()[1:] == "short 3 step 9 of 126, forward".split()
        process.write(halves)  # nothing changes, so nothing is said
        process.taken()
        assert process.line(seconds=0.2) is None
        status, out, _ = process.end()
    assert status == 0
    assert "1 addresses in" in out


@pytest.mark.parametrize("ending", ["png", "svg"])
def test_traffic_is_drawn(capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str) -> None:
    drawn = tmp_path / f"traffic.{ending}"
    said(capsys, "traffic", SHUNTING, "--plot", str(drawn))
    if ending == "png":
        assert drawn.read_bytes().startswith(b"\x89PNG")
        return
    text = drawn.read_text()
    for words in ("short 7", "accessory 9 pair 2", "aspect: 5", "consist 11 reversed", "CV 3 := 20"):
        assert words in text


def test_follow_says_what_a_decoder_does(capsys: pytest.CaptureFixture[str]) -> None:
    lines = said(capsys, "follow", SHUNTING, "--address", "2604", "--cv", "3=5")
    words = [line.split(maxsplit=1)[1] for line in lines[1:] if line.strip() and line.strip()[0].isdigit()]
    assert words == [
        "F5 on",
        "F8 on",
        "speed: step 30 of 126, rising 35.6 ms a step",
        "direction: reverse",
        "speed: stop",
        "direction: forward",
        "CV 19: 0 -> 139",
        "direction: reverse",
        "CV 19: 139 -> 139",
        "speed: step 4 of 28, rising 160.0 ms a step",
        "CV 3: 5 -> 20",
        "answer: CV 3 = 20",
        "speed: stop",
    ]
    assert "  functions on: F5 F8" in lines


def test_follow_in_service_mode(capsys: pytest.CaptureFixture[str]) -> None:
    found = objects(capsys, "follow", PROGRAMMING, "--address", "44", "--cv", "8=13", "--cv", "29=0")
    kinds = [one["effect"]["kind"] for one in found if one["event"] == "effect"]
    assert kinds.count("Acknowledgement") == 4  # verify, write, page, write
    assert found[-1]["event"] == "state"
    cvs = dict(map(tuple, found[-1]["state"]["cvs"]))
    assert (cvs[1], cvs[29]) == (12, 4)


def test_follow_is_on_time_with_what_no_packet_causes(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    capture = tmp_path / "capture.txt"
    ones = [packet("FF 00")] * 1 + [packet("81 F8")] + [packet("FF 00")] * 20
    capture.write_bytes(text_of(ones))
    found = objects(capsys, "follow", str(capture), "--address", "accessory 1", "--cv", "3=5")
    on, off = [one["time"] for one in found if one["event"] == "effect"]
    assert off - on == 50_000_000  # CV 3 = 5; the unit of 10 ms is an assumption


@pytest.mark.parametrize(
    ("address", "words"),
    [("accessory 9", "output 5 on"), ("extended accessory 37", "signal 0: aspect 5"), ("7", "CV 19: 0 -> 11")],
)
def test_follow_each_kind(capsys: pytest.CaptureFixture[str], address: str, words: str) -> None:
    assert any(line.endswith(words) for line in said(capsys, "follow", SHUNTING, "--address", address))


def test_follow_nobody(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["follow", SHUNTING, "--address", "accessory 3"]) == 1
    assert "nothing for accessory 3" in capsys.readouterr().err


def test_audit(capsys: pytest.CaptureFixture[str]) -> None:
    lines = said(capsys, "audit", PROGRAMMING)
    assert lines[0] == "83 packets, 1 losses; the capture scatters bits by 3 us, which is allowed for"
    assert any(line.startswith("kept") and "preamble in service mode: at least 20 bits" in line for line in lines)
    (found,) = objects(capsys, "audit", PROGRAMMING)
    assert found["sound"] is True
    assert {rule["verdict"] for rule in found["rules"]} == {"kept", "this capture cannot tell"}


def test_audit_of_a_bad_station(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """S-9.2 C: 5 ms between two packets to one decoder."""
    capture = tmp_path / "capture.txt"
    capture.write_bytes(text_of([packet("FF 00"), packet("03 74"), packet("03 74"), packet("FF 00")]))
    lines = said(capsys, "audit", str(capture), status=1)
    assert next(line for line in lines if line.startswith("BROKEN")).endswith(
        "from a packet end bit to the next start bit to the same decoder: at least 5 ms (S-9.2 C)"
    )


@pytest.mark.parametrize("width", [72, 80, 100, 120, 160])
@pytest.mark.parametrize(
    "arguments",
    [("traffic", SHUNTING), ("follow", SHUNTING, "--address", "7"), ("audit", PROGRAMMING)],
    ids=lambda arguments: str(arguments[0]),
)
def test_lines_fit_the_width(
    capsys: pytest.CaptureFixture[str], wide: Any, arguments: tuple[str, ...], width: int
) -> None:
    wide(width)
    lines = said(capsys, *arguments)
    assert max(map(len, lines)) <= width
    wide(None)
    whole = "".join("".join(said(capsys, *arguments)).split())
    if width >= 110:
        assert sorted(whole) == sorted("".join("".join(lines).split()))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("traffic", SHUNTING, "--address", "nobody"), "is no address"),
        (("traffic", SHUNTING, "--from", "soon"), "is not a time"),
        (("follow", SHUNTING, "--address", "7", "--cv", "29"), "is no CV and value"),
        (("follow", SHUNTING, "--address", "7", "--cv", "1025=3"), "is no CV and value"),
        (("follow", SHUNTING), "--address"),
        (("traffic", SHUNTING, "--plot", "drawing.xyz"), "must end in"),
    ],
)
def test_wrong_use_is_refused(capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str) -> None:
    with pytest.raises(SystemExit) as error:
        main(arguments)
    assert error.value.code == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("follow", SHUNTING, "--address", "broadcast"), "is not the address of one decoder"),
        (("traffic", "no such file"), "No such file"),
        (("audit", "no such file"), "No such file"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_line(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    assert main(arguments) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert words in line


@pytest.mark.parametrize("command", [("traffic",), ("follow", "--address", "3"), ("audit",)])
def test_no_packets(capsys: pytest.CaptureFixture[str], tmp_path: Path, command: tuple[str, ...]) -> None:
    capture = tmp_path / "capture.txt"
    capture.write_text("# halfbit: durations us\n" + "58\n" * 100)
    assert main([command[0], str(capture), *command[1:]]) == 1
    assert "halfbit: " in capsys.readouterr().err
