"""Sphinx's settings for the documentation of halfbit."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "src"))

project = "halfbit"
author = "the halfbit contributors"
copyright = f"2026, {author}"
html_title = "halfbit"

extensions = ["sphinx.ext.autodoc"]
exclude_patterns = ["_build"]
default_role = "code"
html_theme = "alabaster"
html_theme_options = {"page_width": "62em", "description": "The track signal, half-bit by half-bit"}

autodoc_member_order = "bysource"
autodoc_typehints = "description"
autodoc_typehints_description_target = "documented_params"
