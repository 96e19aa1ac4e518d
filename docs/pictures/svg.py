"""A drawing as SVG text: lines, boxes and words, the same bytes for the same input.

Ink is the colour of the text around it, so a drawing is readable on a light page and on a dark one.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

__all__ = ["Box", "Drawing", "text_width"]

#: Width of a letter of size 1; a little more than most have, so that what fits here fits on a page.
LETTER = 0.58

#: Left, top, right, bottom.
Box = tuple[float, float, float, float]

_STYLE = """\
.halfbit-picture{font-family:system-ui,sans-serif;color:inherit}
.halfbit-picture text{fill:currentColor}
.halfbit-picture .ink{stroke:currentColor;fill:none;stroke-width:1.4}
.halfbit-picture .faint{stroke:currentColor;fill:none;stroke-width:1;opacity:.35}
.halfbit-picture .speed{stroke:#2f80ed;fill:none;stroke-width:2}
.halfbit-picture .solid{fill:currentColor;stroke:none}
.halfbit-picture .plain{stroke:currentColor;fill:#8883;stroke-width:1}
.halfbit-picture .one{stroke:#2f80ed;fill:#2f80ed44;stroke-width:1}
.halfbit-picture .zero{stroke:#d98200;fill:#d9820044;stroke-width:1}
.halfbit-picture .bad{stroke:#e0316b;fill:#e0316b55;stroke-width:1.4}
.halfbit-picture .mark{stroke:#e0316b;fill:none;stroke-width:1.6}
.halfbit-picture .dashed-mark{stroke-dasharray:6 4}
"""

#: For a drawing by itself, in a file: nothing around it gives the ink's colour.
_ALONE = "svg{color:#24292f}@media(prefers-color-scheme:dark){svg{color:#d8dee4}}\n"


def text_width(text: str, size: float) -> float:
    """How wide a text is at most."""
    return len(text) * size * LETTER


class Drawing:
    """A drawing of some width and height, in points."""

    def __init__(self, width: float, height: float) -> None:
        self.width = width
        self.height = height
        #: Where words are, and where lines pass: a test looks at which of them meet.
        self.words: list[tuple[str, Box]] = []
        self._parts: list[str] = []

    def line(self, *points: tuple[float, float], kind: str = "ink", arrow: bool = False) -> None:
        """A line through some points."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        end = ' marker-end="url(#halfbit-arrow)"' if arrow else ""
        self._parts.append(f'<polyline class="{kind}" points="{path}"{end}/>')

    def path(self, data: str, kind: str = "ink", arrow: bool = False) -> None:
        """A path in SVG's own words."""
        end = ' marker-end="url(#halfbit-arrow)"' if arrow else ""
        self._parts.append(f'<path class="{kind}" d="{data}"{end}/>')

    def box(self, x: float, y: float, width: float, height: float, kind: str = "plain", round_: float = 0) -> None:
        """A box."""
        corner = f' rx="{_n(round_)}"' if round_ else ""
        self._parts.append(
            f'<rect class="{kind}" x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}"{corner}/>'
        )

    def circle(self, x: float, y: float, radius: float, kind: str = "plain") -> None:
        """A circle."""
        self._parts.append(f'<circle class="{kind}" cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"/>')

    def text(
        self, x: float, y: float, text: str, size: float = 13, anchor: str = "start", bold: bool = False, faint: bool = False
    ) -> None:
        """Words whose base line starts, has its middle or ends at a point: ``anchor`` start, middle or end."""
        wide = text_width(text, size)
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        self.words.append((text, (left, y - 0.8 * size, left + wide, y + 0.25 * size)))
        more = (' font-weight="600"' if bold else "") + (' opacity=".75"' if faint else "")
        self._parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" text-anchor="{anchor}"{more}>{escape(text)}</text>'
        )

    def render(self, alt: str, alone: bool = False) -> str:
        """The SVG.

        :param alt: says in words what the drawing shows.
        :param alone: for a file of its own.
        """
        style = (_ALONE if alone else "") + _STYLE
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="halfbit-picture" role="img" '
            f'aria-label="{escape(alt, {chr(34): "&quot;"})}" viewBox="0 0 {_n(self.width)} {_n(self.height)}" '
            f'width="{_n(self.width)}" height="{_n(self.height)}">'
        )
        arrow = (
            '<defs><marker id="halfbit-arrow" markerWidth="9" markerHeight="8" refX="8" refY="4" orient="auto">'
            '<path class="solid" d="M0,0 L9,4 L0,8 z"/></marker></defs>'
        )
        return "\n".join([head, f"<style>{style}</style>", arrow, *self._parts, "</svg>"]) + "\n"


def _n(number: float) -> str:
    """A number with one decimal at most, so that the bytes do not depend on the machine."""
    return f"{number:.1f}".removesuffix(".0")
