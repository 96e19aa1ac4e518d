"""How mutants of a C port are made. See mutation.py."""

from __future__ import annotations

import re
from array import array
from collections.abc import Callable, Iterator, Mapping, Sequence

import attrs

from .support_build import C

__all__ = ["Mutant", "Port", "code", "mutants", "packed"]

COMPARISONS = {"<": ("<=", ">"), "<=": ("<", ">="), ">": (">=", "<"), ">=": (">", "<="), "==": ("!=",), "!=": ("==",)}
TOKEN = re.compile(
    r"(?P<number>\b\d+(?=u?\b))|(?P<shift><<|>>)|(?P<comparison><=|>=|==|!=|(?<![<\-])[<>](?![<>]))|(?P<logic>&&|\|\|)"
    r"|(?P<sign>(?<=\s)[+\-](?=\s))|(?P<name>\b[A-Za-z][A-Za-z_]+\b)|(?P<step>\+\+|--)"
)


@attrs.frozen
class Port:
    """Sources that are spoiled, and what their mutants are tried with."""

    name: str
    #: Files that are changed; those that are compiled, and those that are included.
    changed: tuple[str, ...]
    sources: tuple[str, ...]
    headers: tuple[str, ...]
    #: Flags of the compiler.
    flags: tuple[str, ...]
    #: Sets of vectors, each with the compiler's flags that set its limits.
    sets: Mapping[str, tuple[str, ...]]
    #: Names that stand for one another in a mistake.
    families: tuple[tuple[str, ...], ...]
    #: A pattern for lines that are left out by themselves.
    statements: str
    #: True for lines that are not rules.
    skipped: Callable[[str, str], bool]
    #: Half-bits for the harness, as many as it is asked for.
    signals: Callable[[int], bytes]
    #: Mutants that differ nowhere: a pattern for how they are printed, and why they are no mistake, or are found elsewhere.
    explained: tuple[tuple[str, str], ...]

    def reason(self, mutant: Mutant) -> str:
        """Why a mutant that survives is no mistake; empty if nothing says so."""
        return next((reason for pattern, reason in self.explained if re.search(pattern, str(mutant))), "")


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


def packed(signals: Sequence[Sequence[int]]) -> bytes:
    """Signals for the harness."""
    return b"".join(array("I", [len(signal), *signal]).tobytes() for signal in signals)


def code(text: str) -> list[str]:
    """Lines with comments blanked."""
    blanked = re.sub(r"/\*.*?\*/", lambda found: re.sub(r"[^\n]", " ", found[0]), text, flags=re.DOTALL)
    return blanked.split("\n")


def _others(kind: str | None, token: str, families: tuple[tuple[str, ...], ...]) -> Iterator[str]:
    if kind == "number":
        yield str(int(token) + 1)
        if int(token) > 0:
            yield str(int(token) - 1)
    elif kind == "comparison":
        yield from COMPARISONS[token]
    elif kind == "logic":
        yield "||" if token == "&&" else "&&"
    elif kind in ("sign", "step", "shift"):
        yield {"+": "-", "-": "+", "++": "--", "--": "++", "<<": ">>", ">>": "<<"}[token]
    elif kind == "name":
        for family in families:
            if token in family:
                yield from (name for name in family if name != token)


def mutants(port: Port) -> list[Mutant]:
    """All of them, in the order of the source."""
    found = []
    for file in port.changed:
        for number, line in enumerate(code((C / file).read_text()), 1):
            if port.skipped(file, line):
                continue
            for token in TOKEN.finditer(line):
                for other in _others(token.lastgroup, token[0], port.families):
                    found.append(Mutant(file, number, line, line[: token.start()] + other + line[token.end() :]))
            if file.endswith(".c") and re.fullmatch(port.statements, line):
                found.append(Mutant(file, number, line, ""))
    return found
