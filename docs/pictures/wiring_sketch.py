"""A sketch of how a board sees the track: through an optocoupler, with nothing in common."""

from __future__ import annotations

from .svg import Drawing

__all__ = ["wiring"]


def _resistor(drawing: Drawing, x: float, y: float, label: str) -> None:
    drawing.box(x, y - 8, 52, 16, "plain", 2)
    drawing.text(x + 26, y - 14, label, 12, "middle")


def _led(drawing: Drawing, x: float, y: float, down: bool) -> None:
    """A diode on a line downwards at ``x``, from ``y`` to ``y + 24``."""
    tip, back = (y + 22, y + 2) if down else (y + 2, y + 22)
    drawing.path(f"M{x - 11:.0f},{back:.0f} L{x + 11:.0f},{back:.0f} L{x:.0f},{tip:.0f} Z", "plain")
    drawing.line((x - 11, tip), (x + 11, tip))


def wiring() -> Drawing:
    """The rails at the left, the optocoupler in the middle, the board at the right."""
    drawing = Drawing(800, 384)
    for y, name in ((96.0, "rail"), (226.0, "rail")):
        drawing.box(16, y - 5, 70, 10, "plain", 2)
        drawing.text(16, y - 14, name, 13)
    drawing.line((86, 96), (116, 96))
    drawing.box(116, 87, 50, 18, "plain", 9)
    drawing.text(141, 78, "fuse", 12, "middle")
    drawing.line((166, 96), (196, 96))
    _resistor(drawing, 196, 96, "resistor")
    drawing.line((248, 96), (330, 96), (330, 116))
    drawing.line((86, 226), (116, 226))
    drawing.box(116, 217, 50, 18, "plain", 9)
    drawing.text(141, 208, "fuse", 12, "middle")
    drawing.line((166, 226), (330, 226), (330, 206))
    # A diode, outside the optocoupler.
    drawing.line((272, 96), (272, 226))
    _led(drawing, 272, 149, False)
    for y, word in ((156.0, "second"), (172.0, "diode")):
        drawing.text(254, y, word, 12, "end")
    # The optocoupler: a light-emitting diode, and a switch that sees its light.
    drawing.box(296, 62, 208, 198, "faint", 6)
    drawing.text(298, 54, "optocoupler", 13, bold=True)
    drawing.line((330, 116), (330, 206))
    _led(drawing, 330, 149, True)
    drawing.text(346, 178, "lamp", 12)
    for y in (146.0, 160.0):
        drawing.line((380, y), (422, y), arrow=True)
    drawing.box(438, 130, 46, 62, "plain", 4)
    drawing.text(461, 166, "switch", 11, "middle")
    drawing.line((461, 130), (461, 96), (560, 96))
    drawing.line((461, 192), (461, 226), (640, 226))
    # The board.
    drawing.box(640, 40, 144, 220, "plain", 8)
    drawing.text(712, 30, "board", 13, "middle", bold=True)
    drawing.text(652, 66, "3.3 V", 12)
    drawing.text(652, 101, "input pin", 12)
    drawing.text(652, 231, "ground", 12)
    drawing.line((560, 96), (640, 96))
    drawing.line((560, 96), (560, 88))
    drawing.box(552, 66, 16, 22, "plain", 2)
    drawing.line((560, 66), (560, 61), (640, 61))
    drawing.text(576, 83, "pull-up", 12)
    drawing.circle(560, 96, 3, "solid")
    # Nothing crosses here but light.
    drawing.path("M406,24 L406,336", "mark dashed-mark")
    drawing.text(396, 354, "track side", 13, "end", bold=True)
    drawing.text(416, 354, "board side", 13, bold=True)
    drawing.text(406, 374, "No wire and no common ground crosses this line: only light does.", 12, "middle")
    return drawing
