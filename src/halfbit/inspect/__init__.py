"""Shows a stretch of a capture at all five layers, and finds out why packets were lost."""

from __future__ import annotations

from .cause import Cause, Diagnosis
from .losses import diagnosed_events
from .strips import Mark, Strip, strips

__all__ = ["Cause", "Diagnosis", "Mark", "Strip", "diagnosed_events", "strips"]
