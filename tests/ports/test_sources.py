"""``python -m halfbit.ports``: the sources written to a folder are all that is needed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from halfbit import HalfbitError
from halfbit.ports import sources, write
from halfbit.ports.__main__ import main
from halfbit.vectors import cases, check

from .support_build import ROOT, STRICT, ZIG, build
from .support_micropython import run


def test_every_source_is_there() -> None:
    names = set(sources())
    below = ROOT / "src" / "halfbit" / "ports"
    files = {str(path.relative_to(below)) for path in below.rglob("*") if path.suffix in (".c", ".h", ".py", ".S", ".ld")}
    expected = {name.removeprefix("_") for name in files if "/" in name}
    assert names == expected | {f"micropython/{name}.py" for name in ("core", "core_sum", "core_sum_lengths")}


def test_a_port_built_from_the_folder_alone(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-m", "halfbit.ports", str(tmp_path / "here")], capture_output=True, text=True)
    assert done.returncode == 0 and len(done.stdout.splitlines()) == len(sources())
    c = tmp_path / "here" / "c"
    program = build(ZIG, (*STRICT, "-O1"), (c / "answers.c", c / "halfbit.c"), include=c)
    assert check([str(program)], cases()[:50]).differences == ()
    files = {path.name: path for path in (tmp_path / "here" / "micropython").glob("*.py")}
    assert run("import vehicle\nprint(vehicle.receiver().feed(77))", files).output == "9\n"
    sums = build(ZIG, (*STRICT, "-O1"), (c / "sum_answers.c", *c.glob("halfbit*.c")), include=c)
    assert check([str(sums)], cases("sum")[:20]).differences == ()
    assert run("import sum_receiver\nprint(sum_receiver.receiver(30).feed(77))", files).output == "0\n"


def test_nothing_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path)
    write(tmp_path)  # the same again is no harm
    (tmp_path / "c" / "halfbit.c").write_text("mine")
    with pytest.raises(HalfbitError, match=r"halfbit.c is there already and differs; give another folder"):
        write(tmp_path)
    assert (tmp_path / "c" / "halfbit.c").read_text() == "mine"
    assert main([str(tmp_path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert main(["/dev/null/x"]) == 2
