"""Shows a stretch of a capture at all five layers."""

from __future__ import annotations

from .strips import Mark, Strip, strips

__all__ = ["Mark", "Strip", "strips"]
