"""A Sphinx extension: pictures that the build makes from the library.

    .. picture:: five_layers
       :alt: What the picture shows, in words.

       The caption.

``python -m pictures`` in this directory writes those that pages outside the site show.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from docutils import nodes
from docutils.parsers.rst import directives
from sphinx.application import Sphinx
from sphinx.errors import ExtensionError
from sphinx.util.docutils import SphinxDirective

from .histograms import histogram
from .signals import FAULTS, fault, five_layers, one_and_zero
from .state_diagram import states
from .svg import Drawing
from .traffic_plot import traffic
from .wiring_sketch import wiring

__all__ = ["PICTURES", "setup"]


def _fault(name: str) -> Callable[[], Drawing]:
    return lambda: fault(name)


#: Each picture by its name.
PICTURES: dict[str, Callable[[], Drawing]] = {
    "one_and_zero": one_and_zero,
    "five_layers": five_layers,
    "states": states,
    "histogram": lambda: histogram("shunting_turn.txt"),
    "histogram_polled": lambda: histogram("shunting_turn_polled.txt"),
    "traffic": traffic,
    "wiring": wiring,
    **{f"fault_{name.lower()}": _fault(name) for name in FAULTS},
}


class PictureDirective(SphinxDirective):
    """``.. picture:: name``: the picture, in the page itself so that it takes the page's colours."""

    required_arguments = 1
    has_content = True
    option_spec: ClassVar[dict[str, Callable[[str], Any]] | None] = {"alt": directives.unchanged_required}

    def run(self) -> list[nodes.Node]:
        name = self.arguments[0]
        if name not in PICTURES:
            raise self.error(f"no picture {name!r}; there are {', '.join(PICTURES)}")
        if not self.options.get("alt"):
            raise self.error(f"picture {name}: say in words what it shows (:alt:)")
        svg = PICTURES[name]().render(self.options["alt"].replace("\n", " "))
        figure = nodes.figure("", classes=["picture"])
        figure += nodes.raw("", f'<div class="picture-frame" tabindex="0">{svg}</div>', format="html")
        if self.content:
            (caption,) = self.parse_content_to_nodes()
            if not isinstance(caption, nodes.paragraph):
                raise ExtensionError(f"picture {name}: the caption must be one paragraph")
            figure += nodes.caption(caption.rawsource, "", *caption.children)
        return [figure]


def setup(app: Sphinx) -> dict[str, bool]:
    """Sphinx's way in."""
    app.add_directive("picture", PictureDirective)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
