"""The standards' registry: what comes to multi-function decoders, accessory decoders and in service mode."""

from __future__ import annotations

from .accessory_rows import ACCESSORY
from .multi_function_rows import MULTI_FUNCTION
from .registry import Registry
from .service_rows import SERVICE

__all__ = ["STANDARD"]

#: Every instruction of S-9.2, S-9.2.1, S-9.2.3 and, from memory, later documents.
STANDARD = Registry((*MULTI_FUNCTION, *ACCESSORY, *SERVICE))
