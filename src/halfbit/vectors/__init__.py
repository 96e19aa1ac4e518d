"""Test vectors: signals with the correct output of every layer, for ports in any language.

Each case tests one rule of the standards or of decoding. The files are part of the package. The documentation
describes their format. ``halfbit vectors check`` runs a port against them.
"""

from __future__ import annotations

from .case import SETS, VERSION, Answer, Case, cases, heading
from .check import Difference, Report, check, fed
from .serial_line import check_serial

__all__ = [
    "SETS", "VERSION", "Answer", "Case", "Difference", "Report", "cases", "check", "check_serial", "fed", "heading"
]  # fmt: skip
