"""Loads an example's module from its file: examples are no package."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

__all__ = ["PORTS", "load"]

PORTS = Path(__file__).parents[2] / "examples" / "ports"


def load(path: Path) -> Any:
    """The module in a file, run anew."""
    spec = importlib.util.spec_from_file_location(f"example_{path.stem}", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # attrs looks classes' modules up
    spec.loader.exec_module(module)
    return module
