"""``halfbit survey`` and ``--limits auto``; from a pipe as a process."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import attrs
import pytest

from halfbit import edges_from_durations
from halfbit.survey import survey
from halfbit.survey.text import lines
from tests.benchmarks.simulated import CAPTURES, sent
from tests.support_cli import here, problems, run as process

PACKETS = 40


def run(*arguments: str, stdin: bytes | None = None) -> subprocess.CompletedProcess[bytes]:
    """Run the command line, with something to read from a pipe as a process."""
    return here(*arguments) if stdin is None else process(*arguments, stdin=stdin)


def capture_of(name: str, folder: Path) -> str:
    path = folder / "capture.txt"
    path.write_bytes(text_of(CAPTURES[name].durations(sent(PACKETS))))
    return str(path)


def text_of(durations: list[int]) -> bytes:
    return b"# halfbit: durations ns\n" + b"".join(b"%d\n" % duration for duration in durations)


@pytest.fixture(scope="module")
def polled(tmp_path_factory: pytest.TempPathFactory) -> str:
    return capture_of("loop of 30 to 40 us", tmp_path_factory.mktemp("polled"))


def test_text_says_all_there_is_to_say(polled: str) -> None:
    done = run("survey", polled)
    text = done.stdout.decode()
    assert done.returncode == 0 and problems(done.stderr.decode()) == ""
    lines = text.splitlines()
    durations = CAPTURES["loop of 30 to 40 us"].durations(sent(PACKETS))
    assert lines[0] == f"{len(durations)} durations, {sum(durations) / 1e9:.3f} s"
    for part in ("halves of ones 52 to 64 us, of zeros 90 to 10000 us", "half of a one", "preambles", "best first"):
        assert part in text
    verdict = " ".join(text[text.index("=> ") :].split())
    assert "single halves cannot be told apart, sums of both halves of a bit can." in verdict
    assert verdict.endswith("Use --limits auto (it decides by sum).")
    assert all(len(line) <= 100 for line in lines)
    # The bars: each row's share and its bar agree, and the shares are all there is.
    rows = [line for line in lines if "#" in line or line.rstrip().endswith("|")]
    shares = [float(row.split("%")[0].split()[-1]) for row in rows]
    bars = [row.count("#") for row in rows]
    assert sum(shares) == pytest.approx(100, abs=1.5)
    assert bars.index(max(bars)) == shares.index(max(shares))
    for share, bar in zip(shares, bars):
        assert bar == pytest.approx(share / max(shares) * max(bars), abs=1.5)


def test_json_has_these_keys(polled: str) -> None:
    found = json.loads(run("survey", "--json", polled).stdout)
    assert list(found) == [
        "half_bits", "length", "bins", "longer", "shares", "tick", "fit", "preambles",
        "trials", "limits", "filter", "factor", "finding", "reason", "advice",
    ]  # fmt: skip
    assert list(found["shares"]) == ["below", "ones", "between", "zeros", "above"]
    assert list(found["fit"]) == [
        "one", "zero", "late", "late_median", "latency_rare", "difference", "stretched", "packets",
    ]  # fmt: skip
    assert list(found["trials"][0]) == ["name", "packets", "faults", "share", "filter", "limits"]
    assert found["finding"] == "polled"
    assert found["limits"] == found["trials"][0]["limits"]
    assert found["limits"]["decision"] == "sum"
    assert sum(number for _, number in found["bins"]) + found["longer"] == found["half_bits"]


@pytest.mark.parametrize("name", ["clean", "loop of 30 to 40 us", "falling edges only"])
def test_decode_finds_its_limits_by_itself(name: str, tmp_path: Path) -> None:
    """From a file and from a pipe alike; what was found stands on standard error."""
    path = capture_of(name, tmp_path)
    from_file = run("decode", "--limits", "auto", "--json", path)
    piped = run("decode", "--limits", "auto", "--json", "-", stdin=Path(path).read_bytes())
    assert from_file.returncode == piped.returncode == 0
    assert from_file.stdout.splitlines()[:-1] == piped.stdout.splitlines()[:-1]
    events = [json.loads(line) for line in from_file.stdout.splitlines()]
    rows = run("decode", "--csv", path).stdout.decode().splitlines()[1:]
    bytes_of = [row.split(",")[5].replace(" ", "").lower() for row in rows if ",instruction," in row]
    assert bytes_of == [data.hex() for data in sent(PACKETS).packets]
    assert events[-1]["half_bits"] == len(CAPTURES[name].durations(sent(PACKETS)))
    assert from_file.stderr.startswith(b"halfbit: ")
    assert piped.stderr.startswith(b"halfbit: standard input: ")


def test_figures_of_the_signal_read_as_sentences() -> None:
    found = survey(edges_from_durations(CAPTURES["clean"].durations(sent(PACKETS)), "ns"))
    assert found.fit is not None
    fit = attrs.evolve(found.fit, zero=100_000, stretched=0.043, difference=6_000)
    text = [*lines(attrs.evolve(found, fit=fit, preambles={14: 30, 16: 69}), 100)]
    assert "  half of a zero   100.00 us; 4.3% of zero-bits are stretched" in text
    assert "  halves of a one  differ by 6 us" in text
    assert "  preambles        14 (30%), 16 (70%) one-bits, the end bit before counted" in text
    text = [*lines(attrs.evolve(found, preambles={14: 99, 20: 1}), 100)]
    assert "  preambles        14 (99%) and other numbers of one-bits, the end bit before counted" in text


def test_a_live_survey_takes_no_more_than_it_was_told(polled: str) -> None:
    done = run("survey", "--json", "--seconds", "0.1", "-", stdin=Path(polled).read_bytes())
    found = json.loads(done.stdout)
    assert 0.1e9 <= found["length"]
    assert found["finding"] == "polled"


def test_noise_is_told_with_the_filter_that_helps(tmp_path: Path) -> None:
    path = capture_of("noise", tmp_path)
    done = run("survey", "--json", path)
    found = json.loads(done.stdout)
    assert (done.returncode, found["finding"], found["filter"]) == (0, "noise", 5000)
    warned = run("decode", "--limits", "auto", path)
    assert b"noise shorter than 5 us filtered" in warned.stderr
    helped = run("decode", "--limits", "auto", "--filter", "5", "--json", path)
    assert b"--filter" not in helped.stderr
    assert json.loads(helped.stdout.splitlines()[-1])["packets"] == PACKETS


def test_nothing_found_is_status_1(tmp_path: Path) -> None:
    path = tmp_path / "capture.txt"
    path.write_bytes(text_of([500_000] * 2_000))
    done = run("survey", str(path))
    assert done.returncode == 1
    assert b"No packet could be read" in done.stdout
    path.write_bytes(text_of([duration // 1000 for duration in sent(PACKETS).durations]))
    done = run("survey", str(path))
    assert done.returncode == 1
    assert b"milliseconds read as microseconds" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["survey", "no such file.txt"], "No such file"),
        (["survey", "--seconds", "0", "-"], "seconds"),
        (["survey", "--seconds", "soon", "-"], "invalid float"),
        (["survey", "--plot", "picture.bmp", "capture.txt"], ".svg, .png, .pdf"),
        (["decode", "--limits", "best", "capture.txt"], "auto"),
    ],
)
def test_wrong_use_is_status_2(arguments: list[str], words: str) -> None:
    done = run(*arguments, stdin=text_of([58_000] * 200) if "0" in arguments else None)
    assert done.returncode == 2
    assert words in done.stderr.decode()


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_a_plot_is_written(ending: str, polled: str, tmp_path: Path) -> None:
    path = tmp_path / f"picture.{ending}"
    assert run("survey", "--plot", str(path), polled).returncode == 0
    heads = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}
    first = path.read_bytes()
    assert first.startswith(heads[ending])
    assert len(first) > 5_000
    if ending == "svg":
        run("survey", "--plot", str(path), polled)
        assert path.read_bytes() == first  # the same input, the same picture
        assert first.count(b"duration between level changes, us") == 1


def test_a_plot_that_cannot_be_written_is_status_2(polled: str, tmp_path: Path) -> None:
    done = run("survey", "--plot", str(tmp_path / "none" / "picture.svg"), polled)
    assert done.returncode == 2
    assert b"cannot be written" in done.stderr
