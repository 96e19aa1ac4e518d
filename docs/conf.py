"""Sphinx's settings for the documentation of halfbit."""

from __future__ import annotations

import builtins
import re
import sys
from pathlib import Path

from docutils import nodes
from sphinx.addnodes import pending_xref
from sphinx.application import Sphinx
from sphinx.environment import BuildEnvironment

DOCS = Path(__file__).resolve().parent
sys.path[:0] = [str(DOCS.parent / "src"), str(DOCS)]

from halfbit.instruction import listing, render  # noqa: E402

project = "halfbit"
author = "the halfbit contributors"
copyright = f"2026, {author}"
html_title = "halfbit"

extensions = ["sphinx.ext.autodoc", "sphinx.ext.doctest", "sphinx_copybutton", "pictures", "made"]
exclude_patterns = ["_build"]
smartquotes = False  # options keep their two hyphens
html_theme = "furo"
html_static_path = ["_static"]
html_css_files = ["pictures.css"]
html_copy_source = False
html_show_sphinx = False
#: The copy button leaves out prompts and what commands print.
copybutton_prompt_text = r"\$ |>>> |\.\.\. "
copybutton_prompt_is_regexp = True

autodoc_member_order = "bysource"
autodoc_inherit_docstrings = False
autodoc_preserve_defaults = True
python_maximum_signature_line_length = 88

# What these pages do not describe: other packages, modules as such, and what is private.
nitpick_ignore_regex = [
    (r"py:mod", r"halfbit(\.\w+)+"),
    (r"py:data", r"[A-Z_]+"),
    (r"py:class", r"(list|dict)\[.*JsonValue\]"),
    (r"py:class", r".*\._\w+|halfbit\.capture\.heading\.\w+|halfbit\.batch\.Batch"),
    (r"py:class", r"halfbit\.edge\.RawEdges"),
    # Of the portable core, which imports nothing: names in its annotations lead nowhere.
    (r"py:class", r"Packets|Boundaries|Learner|halfbit\.core_sum_lengths\.\w+"),
    (r"py:(class|obj)", r"halfbit\.machine\.(In|Out)(_contra|_co)"),
    (r"py:.*", r"(abc|attr|attrs|collections|enum|fractions|io|json|os|pathlib|random|types|typing)\..*"),
    (r"py:.*", "|".join(name for name in dir(builtins) if name[0] != "_")),
]


_MODULES = (
    "halfbit",
    "halfbit.instruction",
    "halfbit.instruction.address",
    "halfbit.instruction.registry",
    "halfbit.instruction.field",
    "halfbit.decoder",
    "halfbit.decoder.effect",
    "halfbit.decoder.cv",
    "halfbit.decoder.base",
    "halfbit.limits",
    "halfbit.stream",
    "halfbit.survey",
    "halfbit.inspect",
    "halfbit.vectors",
    "halfbit.capture",
    "halfbit.capture.format",
    "halfbit.capture.options",
    "halfbit.capture.source",
    "halfbit.unit",
)


def resolve(
    app: Sphinx, env: BuildEnvironment, node: pending_xref, contnode: nodes.TextElement
) -> nodes.reference | None:
    """Find what is named by the module it is defined in, where these pages name it as the public API does."""
    if node.get("refdomain") != "py":
        return None
    domain = env.domains.python_domain
    for name in _public_names(str(node["reftarget"])):
        if name in domain.objects:
            found = domain.resolve_xref(env, str(node["refdoc"]), app.builder, "obj", name, node, contnode)
            return found if isinstance(found, nodes.reference) else None
    return None


def _public_names(target: str) -> list[str]:
    """The names under which these pages may have it."""
    parts = target.split(".")
    tails = [".".join(parts[index:]) for index in range(len(parts))]
    return [f"{module}.{tail}" for module in _MODULES for tail in tails]


def signature(
    app: Sphinx, what: str, name: str, thing: object, options: object, arguments: str | None, returns: str | None
) -> tuple[str | None, str | None]:
    """Write dots for a default of attrs' making, whose source text says nothing."""
    return arguments and re.sub(r"attr_dict\['\w+'\]\.default", "...", arguments), returns


def setup(app: Sphinx) -> None:
    """Make the generated pages, and the references work."""
    (DOCS / "registry.csv").write_text(render(listing(), "csv"), encoding="utf-8", newline="\n")
    app.connect("autodoc-process-signature", signature)
    app.connect("missing-reference", resolve)
