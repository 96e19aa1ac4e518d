"""The C port with one small mistake after the other: ``python -m tests.ports.mutation``.

Every constant, comparison, sign, name and assignment of halfbit.c, and every limit of halfbit.h, is spoiled by itself. A
mutant that the compiler accepts is fed the vectors, and a million half-bits besides. One that differs on the million and
passes the vectors is a wrong port that ``halfbit vectors check`` calls right: there must be none. One that differs
nowhere must stand in EXPLAINED with the reason.
"""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
import tempfile
from array import array
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import attrs

from halfbit.vectors import SETS, cases

from .support_build import C, ZIG, defines, system_compiler, ticks
from .support_torn import ones_signal, torn_signal

__all__ = ["EXPLAINED", "Mutant", "Verdict", "explained", "mutants", "signals", "tried", "vectors"]

HERE = Path(__file__).parent
FILES = ("halfbit.c", "halfbit.h", "halfbit_rom.h")

#: Names that stand for one another in a mistake.
FAMILIES = (
    ("ONE_MIN", "ONE_MAX", "ZERO_MIN", "ZERO_MAX"),
    ("HELD_ONE", "HELD_ONE_LOWEST", "HELD_ZERO"),
    ("LOST", "IDLE", "BYTE", "SEPARATOR"),
    ("IN_ONE", "IN_RUN", "IN_ZERO", "IN_START", "IN_SLIP", "IN_FAULT"),
    ("STAY", "FIND", "OPEN", "SHIFT", "NEXT", "CLOSE", "FAIL", "EARLY"),
    ("PREAMBLE_MIN", "PACKET_MIN", "PACKET_MAX"),
    ("HALFBIT_MORE", "HALFBIT_ONE", "HALFBIT_ZERO", "HALFBIT_PACKET", "HALFBIT_SYNC", "HALFBIT_START", "HALFBIT_SHORT",
     "HALFBIT_GAP", "HALFBIT_LONG", "HALFBIT_UNPAIRED_ONE", "HALFBIT_UNPAIRED_ZERO", "HALFBIT_UNEQUAL",
     "HALFBIT_SHORT_PREAMBLE", "HALFBIT_FEW_BYTES", "HALFBIT_MANY_BYTES", "HALFBIT_ERROR_BYTE"),
)  # fmt: skip
COMPARISONS = {"<": ("<=", ">"), "<=": ("<", ">="), ">": (">=", "<"), ">=": (">", "<="), "==": ("!=",), "!=": ("==",)}
TOKEN = re.compile(
    r"(?P<number>\b\d+(?=u?\b))|(?P<comparison><=|>=|==|!=|(?<![<\-])[<>](?![<>]))|(?P<logic>&&|\|\|)"
    r"|(?P<sign>(?<=\s)[+\-](?=\s))|(?P<name>\b[A-Z][A-Z_]+\b)|(?P<step>\+\+)"
)

#: Mutants that differ nowhere: a pattern for how they are printed, and why they are no mistake, or are found elsewhere.
EXPLAINED: tuple[tuple[str, str], ...] = (
    (r"define OFTEN", "a hint to the compiler changes no answer"),
    (r"define ASSERT", "the assertion compiles either way; test_targets.py has limits that it must refuse"),
    (r"STEPS\[2[35]\]|STEPS\[24\] .*STEPS\[25\]", "a longer table; a shorter one loses an input that the compiler keeps in place"),
    (r"SEPARATOR = 18|BYTE = 12", "names of rows"),
    (r"STAY,   FIND,  STAY,  STAY,  STAY, FAIL,  ->  STAY,   FIND,  STAY,  (?!STAY)", "LOST and IN_START cannot come: IN_RUN comes first"),
    (r"SHIFT,  SHIFT, SHIFT, SHIFT, FAIL, FAIL,  ->  SHIFT,  ", "IN_RUN and IN_START cannot come inside a packet: nine ones end it"),
    (r"CLOSE,  CLOSE, NEXT,  NEXT,  FAIL, FAIL,  ->  CLOSE,  ", "IN_RUN and IN_START cannot come inside a packet: nine ones end it"),
    (r"define DIFFERENCE .* <= WIDTH", "the two are equal there"),
    (r"define TOTAL_LIMITED .*->.*(<= 2u|< 3u|2u \* ONE|2u \* ZERO_MIN|> 2u|< 1u)",
     "whether the first half of a zero is remembered: more than need be costs time, and too little only another limit shows"),
    (r"define NONE 0u  ->  #define NONE 1u", "any number below the lowest shelf will do"),
    (r"define HELD_(ONE|ZERO) ", "a shelf may be higher than need be"),
    (r"r->length = 0; ", "read only after a fault that comes before any packet: test_c_same_answers.py"),
    (r"r->preamble = \(uint8_t\)ones;  ->  $", "after SHORT_PREAMBLE, which the check does not print: test_c_same_answers.py"),
    (r"\|\| waiting - HELD_ZERO \+ duration > ZERO_TOTAL_MAX", "with a limit for the whole zero the first part is always true"),
    (r"input = IN_FAULT;  ->  input = IN_(ONE|RUN|ZERO|START|SLIP)", "see test_c_same_answers.py, variant with zeros limited"),
    (r"TOTAL_LIMITED \? duration : 1u", "any number on the shelf will do"),
    (r"bit = duration <=? ?ONE_M(IN|AX) \? .*->.* bit = duration (<= ONE_MIN|< ONE_MAX) ", "durations of the window do not come here"),
    (r"bit = duration .*->.*duration (<= ZERO_MIN|< ZERO_MAX) ", "durations of the window do not come here"),
    (r"HALFBIT_TO_US\(6\) - \(HALFBIT_TOLERANCE\)", "the tolerance is 0 here; test_targets.py has others"),
    (r"define HALFBIT_ZERO_TOTAL_MAX \(3u", "no more than no limit"),
)


@attrs.frozen
class Mutant:
    """One mistake."""

    file: str
    line: int
    #: The line as it is, and as it becomes.
    before: str
    after: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.before.strip()}  ->  {self.after.strip()}"


@attrs.frozen
class Verdict:
    """What became of a mutant."""

    mutant: Mutant
    #: The compiler, or an assertion in the source, refuses it.
    refused: bool = False
    #: Its answers differ, or it crashes or hangs: on the vectors, on the million half-bits.
    on_vectors: bool = False
    on_signals: bool = False

    @property
    def passes_wrongly(self) -> bool:
        """A wrong port that the vectors call right."""
        return self.on_signals and not self.on_vectors

    @property
    def survives(self) -> bool:
        """No difference was seen."""
        return not (self.refused or self.on_vectors or self.on_signals)


def _code(text: str) -> list[str]:
    """Lines with comments blanked."""
    blanked = re.sub(r"/\*.*?\*/", lambda found: re.sub(r"[^\n]", " ", found[0]), text, flags=re.DOTALL)
    return blanked.split("\n")


def _others(kind: str | None, token: str) -> Iterator[str]:
    if kind == "number":
        yield str(int(token) + 1)
        if int(token) > 0:
            yield str(int(token) - 1)
    elif kind == "comparison":
        yield from COMPARISONS[token]
    elif kind == "logic":
        yield "||" if token == "&&" else "&&"
    elif kind == "sign":
        yield "-" if token == "+" else "+"
    elif kind == "step":
        yield "--"
    elif kind == "name":
        for family in FAMILIES:
            if token in family:
                yield from (name for name in family if name != token)


def mutants() -> list[Mutant]:
    """All of them, in the order of the source."""
    found = []
    for file in FILES[:2]:
        for number, line in enumerate(_code((C / file).read_text()), 1):
            if skipped(file, line):
                continue
            for token in TOKEN.finditer(line):
                for other in _others(token.lastgroup, token[0]):
                    found.append(Mutant(file, number, line, line[: token.start()] + other + line[token.end() :]))
            if file == "halfbit.c" and re.fullmatch(r"\s+r->.*(=|\+\+).*;\s*", line):
                found.append(Mutant(file, number, line, ""))
    return found


def skipped(file: str, line: str) -> bool:
    """Lines that are not the port's rules: what the preprocessor asks, checks of limits, numbers of answers."""
    start = line.strip()
    if file == "halfbit.h":
        return not start.startswith("#define HALFBIT_") or "ANY_DIFFERENCE" in line
    return start.startswith(("#if", "#el", "#en", "#err", "#include", "ASSERT", "&&", "enum", "typedef")) or "WIDE(" in line


def _packed(signals: Sequence[Sequence[int]]) -> bytes:
    return b"".join(array("I", [len(signal), *signal]).tobytes() for signal in signals)


def vectors(limits: str) -> bytes:
    """The shipped cases of a set, for the harness."""
    return _packed([case.durations for case in cases(limits)])


def signals(length: int = 1_000_000, seed: int = 1) -> bytes:
    """Half-bits of every kind, for the harness."""
    half = length // 2
    pieces = [list(torn_signal(seed, half)), list(ones_signal(seed, length - half))]
    return _packed([piece[at : at + 5_000] for piece in pieces for at in range(0, len(piece), 5_000)])


COMPILER = (system_compiler(),) if system_compiler() else ZIG


def _ran(directory: Path, inputs: Path) -> tuple[bytes, bytes] | None:
    """Compile the sources in a directory for either set of limits and feed all; nothing if they do not compile.

    Gives what came of the vectors of both, and of the signals.
    """
    outputs = {"vectors": b"", "signals": b""}
    for limits in ("receive", "transmit"):
        program = directory / limits
        settings = () if limits == "receive" else defines(ticks(SETS[limits]))
        command = [*COMPILER, "-std=c99", "-O1", "-w", *settings, f"-I{directory}", str(directory / "halfbit.c"),
                   str(HERE / "feed_cases.c"), "-o", str(program)]  # fmt: skip
        if subprocess.run(command, capture_output=True).returncode:
            return None
        for name, file in (("vectors", f"vectors_{limits}"), ("signals", "signals")):
            try:
                done = subprocess.run([program, inputs / file], capture_output=True, timeout=30)
                outputs[name] += done.stdout if done.returncode == 0 else b"crashed"
            except subprocess.TimeoutExpired:
                outputs[name] += b"hangs"
    return outputs["vectors"], outputs["signals"]


def tried(chosen: Sequence[Mutant], length: int = 1_000_000) -> Iterator[Verdict]:
    """Compile each mutant and feed it the vectors and ``length`` half-bits."""
    texts = {name: (C / name).read_text() for name in FILES}
    lines = {name: _code(text) for name, text in texts.items()}
    with tempfile.TemporaryDirectory() as directory:
        inputs = Path(directory)
        for limits in ("receive", "transmit"):
            (inputs / f"vectors_{limits}").write_bytes(vectors(limits))
        (inputs / "signals").write_bytes(signals(length))
        for name, text in texts.items():
            (inputs / name).write_text(text)
        expected = _ran(inputs, inputs)
        assert expected is not None

        def judged(mutant: Mutant) -> Verdict:
            with tempfile.TemporaryDirectory() as own:
                for name in FILES:
                    changed = list(lines[name])
                    if name == mutant.file:
                        assert changed[mutant.line - 1] == mutant.before
                        changed[mutant.line - 1] = mutant.after
                    (Path(own) / name).write_text("\n".join(changed))
                got = _ran(Path(own), inputs)
            if got is None:
                return Verdict(mutant, refused=True)
            return Verdict(mutant, False, got[0] != expected[0], got[1] != expected[1])

        with ThreadPoolExecutor(os.cpu_count()) as pool:
            yield from pool.map(judged, chosen)


def explained(mutant: Mutant) -> str:
    """Why a mutant that survives is no mistake; empty if nothing says so."""
    return next((reason for pattern, reason in EXPLAINED if re.search(pattern, str(mutant))), "")


def main() -> int:
    """Try all; print those that pass wrongly, and survivors with the reason. Status 1 if there are any without."""
    chosen = mutants()
    if "--sample" in sys.argv:
        chosen = random.Random(1).sample(chosen, int(sys.argv[-1]))
    verdicts = list(tried(chosen))
    wrong = [verdict for verdict in verdicts if verdict.passes_wrongly]
    survivors = [verdict for verdict in verdicts if verdict.survives]
    bare = [verdict for verdict in survivors if not explained(verdict.mutant)]
    for verdict in wrong:
        print(f"passes the vectors and is wrong: {verdict.mutant}")
    for verdict in survivors:
        print(f"differs nowhere: {verdict.mutant}\n    {explained(verdict.mutant) or 'NOT EXPLAINED'}")
    refused = sum(verdict.refused for verdict in verdicts)
    found = sum(verdict.on_vectors for verdict in verdicts)
    print(f"{len(verdicts)} mutants: {refused} refused by the compiler, {found} found by the vectors, "
          f"{len(wrong)} wrong and not found, {len(survivors)} that differ nowhere, {len(bare)} of them not explained")  # fmt: skip
    return 1 if wrong or bare else 0


if __name__ == "__main__":
    sys.exit(main())
