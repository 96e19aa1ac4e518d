"""The standards' registry: instructions to multi-function decoders, to accessory decoders and in service mode."""

from __future__ import annotations

from functools import cached_property
from typing import Any

from .entry import Entry
from .registry import Registry


class _Standard(Registry):
    """A registry whose rows are made on first use. This keeps ``import halfbit`` fast."""

    def __init__(self) -> None:
        pass

    def __reduce__(self) -> Any:
        return "STANDARD"  # so that a copy is the same object

    def entries(self) -> tuple[Entry, ...]:
        """All rows, in order."""
        return self._rows

    @cached_property
    def _rows(self) -> tuple[Entry, ...]:
        from .rows import ACCESSORY, MULTI_FUNCTION, SERVICE

        return (*MULTI_FUNCTION, *ACCESSORY, *SERVICE)


#: Every instruction of S-9.2, S-9.2.1, S-9.2.3 and, from memory, later documents.
STANDARD: Registry = _Standard()
