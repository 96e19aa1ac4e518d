"""Vectors: signals with what every layer must make of them, for ports in any language.

Each case stands for one rule of the standards or of decoding. The files are shipped with the package; their
format is described in the documentation, and ``halfbit vectors check`` runs a port against them.
"""

from __future__ import annotations

from .case import VERSION, Answer, Case
from .check import Difference, Report, check, fed
from .reader import SETS, cases
from .serial_line import check_serial

__all__ = ["SETS", "VERSION", "Answer", "Case", "Difference", "Report", "cases", "check", "check_serial", "fed"]
