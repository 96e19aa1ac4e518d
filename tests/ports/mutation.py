"""The C ports with one small mistake after the other: ``python -m tests.ports.mutation halves`` or ``sum``.

Every constant, comparison, sign, name and assignment of the receiver by halves (halfbit.c and each limit of halfbit.h)
and of the receiver by sum (halfbit_sum.c, halfbit_sum_lengths.c and their limits) is spoiled by itself. A mutant that
the compiler accepts is fed the vectors. If it passes them, it is fed a million half-bits besides. One that differs on
the million and passes the vectors is a wrong port that ``halfbit vectors check`` calls right: there must not be any. One that
differs nowhere must stand in the port's EXPLAINED with the reason.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import attrs

from halfbit.vectors import cases

from .mutation_halves import HALVES
from .mutation_rules import Mutant, Port, code, mutants, packed
from .mutation_sum import SUM
from .support_build import C, ZIG, system_compiler

__all__ = ["PORTS", "Verdict", "tried", "vectors"]

HARNESS = Path(__file__).with_name("feed_cases.c")
PORTS = {port.name: port for port in (HALVES, SUM)}
COMPILER = (system_compiler(),) if system_compiler() else ZIG
#: Longest time for the vectors and for the signals, s. A mutant that takes longer counts as one that hangs.
PATIENCE = {"vectors": 10, "signals": 60}


@attrs.frozen
class Verdict:
    """What became of a mutant."""

    mutant: Mutant
    #: The compiler, or an assertion in the source, refuses it.
    refused: bool = False
    #: Its answers differ, or it crashes or hangs: on the vectors; if not, on the million half-bits.
    on_vectors: bool = False
    on_signals: bool = False

    @property
    def survives(self) -> bool:
        """No difference was seen."""
        return not (self.refused or self.on_vectors or self.on_signals)


def vectors(limits: str) -> bytes:
    """The shipped cases of a set, for the harness."""
    return packed([case.durations for case in cases(limits)])


def _compile(port: Port, limits: str, *words: str | Path) -> bool:
    command = [*COMPILER, "-std=c99", "-O1", "-w", *port.flags, *port.sets[limits], *map(str, words)]
    return subprocess.run(command, capture_output=True).returncode == 0


def _objects(port: Port, directory: Path) -> None:
    """Compile each source by itself: those that a mistake leaves alone are not compiled again."""
    for limits in port.sets:
        for source in (*(directory / name for name in port.sources), HARNESS):
            done = _compile(port, limits, f"-I{directory}", "-c", source, "-o", directory / f"{limits}_{source.stem}.o")
            assert done, source


def _programs(port: Port, directory: Path, changed: str, whole: Path) -> list[Path] | None:
    """A program for each set of limits, from sources of which one file is changed; nothing if they do not compile.

    :param whole: the folder with the objects of the sources as they are.
    """
    programs = []
    for limits in port.sets:
        files = []
        for source in (*(directory / name for name in port.sources), HARNESS):
            again = changed in (source.name, "") or changed.endswith(".h")
            files.append(source if again else whole / f"{limits}_{source.stem}.o")
        programs.append(directory / limits)
        if not _compile(port, limits, f"-I{directory}", *files, "-o", programs[-1]):
            return None
    return programs


def _answers(programs: Sequence[Path], inputs: Path, kind: str) -> bytes:
    """What the programs make of the vectors of their limits, or of the signals."""
    output = b""
    for program in programs:
        file = inputs / (f"vectors_{program.name}" if kind == "vectors" else kind)
        try:
            done = subprocess.run([program, file], capture_output=True, timeout=PATIENCE[kind])
            output += done.stdout if done.returncode == 0 else b"crashed"
        except subprocess.TimeoutExpired:
            output += b"hangs"
    return output


def tried(port: Port, chosen: Sequence[Mutant], length: int = 1_000_000, jobs: int | None = None) -> Iterator[Verdict]:
    """Compile each mutant and feed it the vectors and ``length`` half-bits."""
    texts = {name: (C / name).read_text() for name in {*port.sources, *port.headers}}
    lines = {name: code(text) for name, text in texts.items()}
    with tempfile.TemporaryDirectory() as directory:
        inputs = Path(directory)
        for limits in port.sets:
            (inputs / f"vectors_{limits}").write_bytes(vectors(limits))
        (inputs / "signals").write_bytes(port.signals(length))
        for name, text in texts.items():
            (inputs / name).write_text(text)
        _objects(port, inputs)
        programs = _programs(port, inputs, "", inputs)
        assert programs is not None
        expected = {kind: _answers(programs, inputs, kind) for kind in PATIENCE}

        def judged(mutant: Mutant) -> Verdict:
            with tempfile.TemporaryDirectory() as own:
                for name in texts:
                    changed = list(lines[name])
                    if name == mutant.file:
                        assert changed[mutant.line - 1] == mutant.before
                        changed[mutant.line - 1] = mutant.after
                    (Path(own) / name).write_text("\n".join(changed))
                programs = _programs(port, Path(own), mutant.file, inputs)
                if programs is None:
                    return Verdict(mutant, refused=True)
                if _answers(programs, inputs, "vectors") != expected["vectors"]:
                    return Verdict(mutant, on_vectors=True)
                return Verdict(mutant, on_signals=_answers(programs, inputs, "signals") != expected["signals"])

        with ThreadPoolExecutor(jobs or os.cpu_count()) as pool:
            yield from pool.map(judged, chosen)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("port", choices=PORTS)
    parser.add_argument("--sample", type=int, help="that many of the mutants, by chance")
    parser.add_argument("--like", default="", help="only mutants whose line in the output has this pattern")
    parser.add_argument("--length", type=int, default=1_000_000, help="half-bits that a mutant is fed (default: %(default)s)")
    parser.add_argument("--jobs", type=int, help="mutants at once (default: as many as there are processors)")
    return parser.parse_args()


def main() -> int:
    """Try all; print those that pass wrongly, and survivors with the reason. Status 1 if there are any without."""
    args = _arguments()
    port = PORTS[args.port]
    chosen = [mutant for mutant in mutants(port) if re.search(args.like, str(mutant))]
    if args.sample:
        chosen = random.Random(1).sample(chosen, args.sample)
    counts = dict.fromkeys(("refused", "found", "wrong", "differs nowhere", "not explained"), 0)
    for verdict in tried(port, chosen, args.length, args.jobs):
        counts["refused"] += verdict.refused
        counts["found"] += verdict.on_vectors
        if verdict.on_signals:
            counts["wrong"] += 1
            print(f"passes the vectors and is wrong: {verdict.mutant}", flush=True)
        elif verdict.survives:
            reason = port.reason(verdict.mutant)
            counts["differs nowhere"] += 1
            counts["not explained"] += not reason
            print(f"differs nowhere: {verdict.mutant}\n    {reason or 'NOT EXPLAINED'}", flush=True)
    print(f"{len(chosen)} mutants: {counts['refused']} refused by the compiler, {counts['found']} found by the vectors, "
          f"{counts['wrong']} wrong and not found, {counts['differs nowhere']} that differ nowhere, "
          f"{counts['not explained']} of them not explained")  # fmt: skip
    return 1 if counts["wrong"] or counts["not explained"] else 0


if __name__ == "__main__":
    sys.exit(main())
