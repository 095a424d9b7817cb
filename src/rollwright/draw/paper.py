"""Paper: its sizes and margins, the box that proves a print's scale, and what a printed page is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum

from rollwright.draw.drawing import (
    Anchor,
    Layer,
    Line,
    Mark,
    Pen,
    Point,
    Polyline,
    Text,
)
from rollwright.draw.extent import Box, bounds
from rollwright.draw.ink import layer_of
from rollwright.draw.printer import Factors

__all__ = [
    "INCH",
    "MARGIN",
    "SCALE_BAR",
    "SCALE_BOX",
    "SCALE_SIZE",
    "Page",
    "Paper",
    "is_scale_box",
    "scale_box",
]

INCH = 25.4
"""One inch [mm], exactly (international yard and pound agreement of 1959, 24 FR 5348)."""

MARGIN = 10.0
"""What is left free along each edge, as no printer prints to the very edge [mm]."""

SCALE_BOX = (100.0, 50.0)
"""The scale box, across and up [mm]."""

SCALE_BAR = 4.0 * INCH
"""The scale bar for a rule in inches [mm]."""

SCALE_SIZE = (SCALE_BAR, 61.0)
"""How much room the scale box, its bar and its words take, across and up [mm]."""


class Paper(Enum):
    """A size of paper, upright: ISO 216 A4, or 8.5 by 11 inches."""

    A4 = "A4"
    LETTER = "Letter"

    @property
    def width(self) -> float:
        """How wide it is when upright [mm]."""
        return 210.0 if self is Paper.A4 else 8.5 * INCH

    @property
    def height(self) -> float:
        """How tall it is when upright [mm]."""
        return 297.0 if self is Paper.A4 else 11.0 * INCH


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One sheet of paper with what is printed on it, in millimetres from the paper's lower left corner.

    Attributes:
        paper: its size.
        marks: the drawing, moved to its place; what lies outside the window is not printed.
        window: where the drawing shows; None shows it everywhere inside the margins.
        frame: what belongs to the page and is never cut off: crosses, page number, scale box.
        sideways: whether the paper lies on its long edge.
    """

    paper: Paper
    marks: tuple[Mark, ...]
    window: Box | None = None
    frame: tuple[Mark, ...] = ()
    sideways: bool = False

    @property
    def width(self) -> float:
        """How wide the page is as it lies [mm]."""
        return self.paper.height if self.sideways else self.paper.width

    @property
    def height(self) -> float:
        """How tall the page is as it lies [mm]."""
        return self.paper.width if self.sideways else self.paper.height

    @property
    def room(self) -> Box:
        """What lies inside the margins."""
        return Box(left=MARGIN, bottom=MARGIN, right=self.width - MARGIN, top=self.height - MARGIN)


def scale_box(*, at: Point, factors: Factors | None = None) -> tuple[Mark, ...]:
    """Return the box and the bar by which a print is proved to be true, with words that say how.

    Args:
        at: the lower left corner of the room it takes, `SCALE_SIZE` [mm].
        factors: those with which the sheet is printed, to be told beside it; None: not told. They stretch the
            box like everything else, so it measures true when they are right.

    Returns:
        Its marks, all on the layer `SCALE`: a box 100 mm across and 50 mm up, a bar of 4 in under it.
    """
    x, y = at
    wide, high = SCALE_BOX
    floor = y + SCALE_SIZE[1] - high
    corners = ((x, floor), (x + wide, floor), (x + wide, floor + high), (x, floor + high))

    def words(right: float, up: float, text: str, *, strong: bool = False, turn: float = 0.0) -> Text:
        return Text(
            at=(x + right, y + up),
            text=text,
            height=3.2,
            anchor=Anchor.MIDDLE if turn else Anchor.START,
            turn=turn,
            strong=strong,
            pen=Pen.SCALE,
            layer=Layer.SCALE,
        )

    tell = [
        "Measure this box before you trust the sheet:",
        "100 mm across and 50 mm up, from line to line.",
        "The bar below it is 4 in long.",
        "If it is off, print again at 100 % (actual size),",
        "with fit to page and shrink to fit turned off.",
        "Still off? Put your printer right with what you measured:",
        "rollwright draw ... --printer ACROSS UP",
    ]
    if factors is not None and factors != Factors():
        tell.append(f"Printed with the factors {factors.x:.4f} across, {factors.y:.4f} up.")
    top = SCALE_SIZE[1] - 5.5
    return (
        Polyline(points=corners, closed=True, pen=Pen.SCALE),
        Line(start=(x, y + 2.0), end=(x + SCALE_BAR, y + 2.0), pen=Pen.SCALE),
        *(Line(start=(x + right, y), end=(x + right, y + 4.0), pen=Pen.SCALE) for right in (0.0, SCALE_BAR)),
        words(2.0, 4.5, "4 in (101.6 mm)"),
        words(5.0, SCALE_SIZE[1] - high / 2.0, "50 mm", turn=math.pi / 2.0),
        *(words(9.0, top - 5.0 * number, text, strong=number == 0) for number, text in enumerate(tell)),
        replace(words(0.0, 0.0, "100 mm"), at=(x + wide / 2.0, floor + 2.0), anchor=Anchor.MIDDLE),
    )


def is_scale_box(mark: Mark) -> bool:
    """Return whether a mark is the scale box, by its layer and size.

    Args:
        mark: what is drawn.

    Returns:
        True for the rectangle itself, not for its words.
    """
    if not isinstance(mark, Polyline) or layer_of(mark) is not Layer.SCALE:
        return False
    box = bounds(mark)
    return math.isclose(box.width, SCALE_BOX[0]) and math.isclose(box.height, SCALE_BOX[1])
