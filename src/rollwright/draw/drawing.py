"""A drawing as data: marks in millimetres on a flat sheet, before any file format is thought of.

Drawings are the one place inside the package where lengths are millimetres, not metres: what is drawn is
read with a steel rule, and the files that are written from it carry millimetres too. x runs to the right and
y up, both from the lower left corner. Angles are radians, counter-clockwise from x.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum
from typing import TypeAlias

__all__ = [
    "Anchor",
    "Arc",
    "Circle",
    "Drawing",
    "Layer",
    "Line",
    "Mark",
    "Pen",
    "Point",
    "Polyline",
    "Text",
    "Tone",
    "moved",
    "points_of",
]

Point: TypeAlias = tuple[float, float]
"""Where something lies: x to the right and y up [mm]."""


class Layer(Enum):
    """What a machine or a reader does with a mark; the values are the layers' names in a DXF file."""

    CUT_OUTER = "CUT-OUTER"
    CUT_INNER = "CUT-INNER"
    SCORE = "SCORE"
    TEXT = "TEXT"
    SCALE = "SCALE"


class Pen(Enum):
    """How a line is drawn: its meaning, from which each writer takes width, dash and colour."""

    CUT_OUTER = "cut_outer"
    """The outline that is cut last."""

    CUT_INNER = "cut_inner"
    """A hole or slot that is cut before the outline."""

    SCORE = "score"
    """A line scratched into the piece, or pencilled: a centre line, a graduation."""

    SCALE = "scale"
    """The box and bar that prove the print's scale."""

    OUTLINE = "outline"
    """A visible edge."""

    HAIR = "hair"
    """The thinnest line: a grid, a ground line."""

    HIDDEN = "hidden"
    """An edge behind something, dashed."""

    CENTRE = "centre"
    """A centre line, chain-dotted."""

    DIMENSION = "dimension"
    """A dimension line, its arrows and its witness lines."""

    NEXT = "next"
    """The one strong colour: the next move, and nothing else."""


class Tone(Enum):
    """What an area is filled with: its meaning, from which each writer takes a colour or grey."""

    PAPER = "paper"
    WOOD = "wood"
    WHEEL = "wheel"
    RAIL = "rail"
    BAND = "band"
    """A target band, or the span in which something passes."""

    DOUBT = "doubt"
    """How far a thing is not known: its uncertainty."""

    INK = "ink"
    NEXT = "next"


class Anchor(Enum):
    """Which end of a text lies at its point."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line.

    Attributes:
        start: one end [mm].
        end: the other [mm].
        pen: how it is drawn.
    """

    start: Point
    end: Point
    pen: Pen = Pen.OUTLINE


@dataclass(frozen=True, slots=True, kw_only=True)
class Polyline:
    """Straight lines from point to point.

    Attributes:
        points: the corners in order, at least two [mm].
        closed: whether the last is joined to the first.
        pen: how its line is drawn; None draws no line.
        tone: what it is filled with; None leaves it open.
    """

    points: tuple[Point, ...]
    closed: bool = False
    pen: Pen | None = Pen.OUTLINE
    tone: Tone | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A circle.

    Attributes:
        centre: its centre [mm].
        radius: its radius [mm].
        pen: how its line is drawn; None draws no line.
        tone: what it is filled with; None leaves it open.
    """

    centre: Point
    radius: float
    pen: Pen | None = Pen.OUTLINE
    tone: Tone | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """A part of a circle, counter-clockwise from start to end.

    Attributes:
        centre: the circle's centre [mm].
        radius: its radius [mm].
        start: where the arc begins, counter-clockwise from x [rad].
        end: where it ends, more than `start` and at most a full turn on [rad].
        pen: how it is drawn.
    """

    centre: Point
    radius: float
    start: float
    end: float
    pen: Pen = Pen.OUTLINE


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A line of words.

    Attributes:
        at: where its baseline's anchor lies [mm].
        text: the words, one line.
        height: the size of the type [mm]; capital letters are about 0.7 of it.
        anchor: which end of it lies at the point.
        turn: how far it is turned, counter-clockwise [rad].
        strong: whether it is set bold.
        pen: the colour it takes; `NEXT` for the next move, `HAIR` for what is said softly.
        layer: `SCALE` for the words of the scale box, else `TEXT`.
    """

    at: Point
    text: str
    height: float = 3.5
    anchor: Anchor = Anchor.START
    turn: float = 0.0
    strong: bool = False
    pen: Pen = Pen.OUTLINE
    layer: Layer = Layer.TEXT


Mark: TypeAlias = Line | Polyline | Circle | Arc | Text
"""Anything drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Marks on a flat sheet.

    Attributes:
        name: a short name in lower case with hyphens, such as `bend-gauge`; files are named after it.
        title: one line that says what it is and of which car.
        width: how wide the sheet is [mm].
        height: how tall it is [mm].
        marks: what is drawn, the first below the later ones.
        notes: what the reader has to know, one sentence each; a sheet prints them beside the drawing.
        cautions: the usual cautions for the work it leads to, one sentence each.
    """

    name: str
    title: str
    width: float
    height: float
    marks: tuple[Mark, ...]
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


def moved(mark: Mark, *, right: float = 0.0, up: float = 0.0) -> Mark:
    """Return a mark moved on the sheet.

    Args:
        mark: what is drawn.
        right: how far to the right; to the left if negative [mm].
        up: how far up; down if negative [mm].

    Returns:
        The same mark at its new place.
    """

    def shifted(point: Point) -> Point:
        return (point[0] + right, point[1] + up)

    match mark:
        case Line():
            return replace(mark, start=shifted(mark.start), end=shifted(mark.end))
        case Polyline():
            return replace(mark, points=tuple(map(shifted, mark.points)))
        case Circle() | Arc():
            return replace(mark, centre=shifted(mark.centre))
        case Text():
            return replace(mark, at=shifted(mark.at))


def points_of(arc: Arc, *, step: float = math.radians(2.0)) -> tuple[Point, ...]:
    """Return points along an arc, for what can only join points by straight lines.

    Args:
        arc: the arc.
        step: the most that the direction turns between two points [rad].

    Returns:
        Points from the arc's start to its end [mm].
    """
    count = max(1, math.ceil((arc.end - arc.start) / step))
    angles = (arc.start + (arc.end - arc.start) * number / count for number in range(count + 1))
    return tuple(
        (arc.centre[0] + arc.radius * math.cos(angle), arc.centre[1] + arc.radius * math.sin(angle))
        for angle in angles
    )
