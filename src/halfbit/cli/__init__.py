"""The command line. There is one module for each command; ``main`` runs them."""

from __future__ import annotations

from .main import main

__all__ = ["main"]
