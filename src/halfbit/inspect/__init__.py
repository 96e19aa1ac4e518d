"""Finds out how to read a capture, shows a stretch of it at all five layers, and finds out why packets were lost."""

from __future__ import annotations

from .cause import Cause, Diagnosis
from .losses import diagnosed_events
from .reading import Reading, read_capture
from .strips import Mark, Strip, strips

__all__ = ["Cause", "Diagnosis", "Mark", "Reading", "Strip", "diagnosed_events", "read_capture", "strips"]
