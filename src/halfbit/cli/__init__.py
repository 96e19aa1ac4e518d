"""The command line. One module a command; ``main`` runs them."""

from __future__ import annotations

from .main import main

__all__ = ["main"]
