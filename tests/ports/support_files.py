"""Where the ports' sources are; loads a module from its file, for those made for MicroPython."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import halfbit.ports

__all__ = ["PORTS", "load"]

PORTS = Path(halfbit.ports.__file__).parent


def load(path: Path) -> Any:
    """The module in a file, run anew."""
    spec = importlib.util.spec_from_file_location(f"port_{path.stem}", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # attrs looks classes' modules up
    spec.loader.exec_module(module)
    return module
