"""Layers 2 to 4 in one: durations to packets, faults and cutouts, with no object made in between."""

from __future__ import annotations

from .receiver import HalvesReceiver

__all__ = ["HalvesReceiver"]
