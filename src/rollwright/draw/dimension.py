"""Dimensions as a shop drawing has them: witness lines, a line with arrows, and the number clear of it.

The rules are those of ISO 129-1: the number stands above a level line and reads from below; where the
arrows have no room between the witness lines they point inward from outside.
"""

from __future__ import annotations

import math
from typing import Literal

from rollwright.draw.drawing import Anchor, Arc, Line, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.labels import text_width

__all__ = ["angle_between", "arrow", "leader", "level", "upright", "written"]

ARROW = 1.8
_SLIM = 0.38
_GAP = 0.7
_PAST = 1.0
_CLEAR = 0.9
_CAPITAL = 0.7
_TAIL = 2.2


def arrow(tip: Point, *, heading: float, tone: Tone = Tone.INK) -> Polyline:
    """Return an arrow's head.

    Args:
        tip: where it points to [mm].
        heading: which way it points, counter-clockwise from x [rad].
        tone: what it is filled with.

    Returns:
        A slim filled triangle, 1.8 mm long.
    """
    c, s = math.cos(heading), math.sin(heading)
    back = (tip[0] - ARROW * c, tip[1] - ARROW * s)
    return Polyline(
        points=(
            tip,
            (back[0] - _SLIM * s, back[1] + _SLIM * c),
            (back[0] + _SLIM * s, back[1] - _SLIM * c),
        ),
        closed=True,
        pen=None,
        tone=tone,
    )


def written(
    text: str, at: Point, *, size: float, anchor: Anchor = Anchor.MIDDLE, strong: bool = False
) -> Text:
    """Return a text whose capitals stand half above and half below a point.

    Args:
        text: the words.
        at: the end of the text that the anchor names, at half the height of its capitals [mm].
        size: the height of the type [mm].
        anchor: which end lies there.
        strong: whether it is bold.

    Returns:
        The text.
    """
    return Text(
        at=(at[0], at[1] - 0.5 * _CAPITAL * size), text=text, height=size, anchor=anchor, strong=strong
    )


def _witness(start: Point, end: Point) -> tuple[Mark, ...]:
    """Return the line from just beside what is measured to just past the dimension line."""
    length = math.dist(start, end)
    if length < 1e-9:
        return ()
    x, y = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    gap = min(_GAP, 0.3 * length)
    return (
        Line(
            start=(start[0] + gap * x, start[1] + gap * y),
            end=(end[0] + _PAST * x, end[1] + _PAST * y),
            pen=Pen.DIMENSION,
        ),
    )


def _arrowed(start: Point, end: Point) -> tuple[Mark, ...]:
    """Return the dimension line itself, its arrows inside where they have room and outside where not."""
    length = math.dist(start, end)
    heading = math.atan2(end[1] - start[1], end[0] - start[0])
    c, s = math.cos(heading), math.sin(heading)
    inside = length >= 3.0 * ARROW
    out = 0.0 if inside else ARROW + _TAIL
    return (
        Line(
            start=(start[0] - out * c, start[1] - out * s),
            end=(end[0] + out * c, end[1] + out * s),
            pen=Pen.DIMENSION,
        ),
        arrow(start, heading=heading + math.pi if inside else heading),
        arrow(end, heading=heading if inside else heading + math.pi),
    )


def level(
    left: Point, right: Point, *, y: float, text: str, size: float, outward: Literal[-1, 1] = 1
) -> tuple[Mark, ...]:
    """Return a dimension along x.

    Args:
        left: one of the two points measured between [mm].
        right: the other, to the right of it [mm].
        y: height of the dimension line [mm].
        text: the number.
        size: the height of the type [mm].
        outward: where the number goes if it has no room between: 1 to the right, -1 to the left.

    Returns:
        Witness lines, line, arrows, and the number above the line or beside its end.
    """
    low, high = sorted((left, right))
    start, end = (low[0], y), (high[0], y)
    marks = (*_witness(low, start), *_witness(high, end), *_arrowed(start, end))
    span = end[0] - start[0]
    if text_width(text, size) + 1.0 <= span:
        return (
            *marks,
            written(text, ((start[0] + end[0]) / 2.0, y + 0.5 * _CAPITAL * size + _CLEAR), size=size),
        )
    out = _CLEAR + (0.0 if span >= 3.0 * ARROW else ARROW + _TAIL)
    side = end[0] + out if outward > 0 else start[0] - out
    return (*marks, written(text, (side, y), size=size, anchor=Anchor.START if outward > 0 else Anchor.END))


def upright(
    low: Point,
    high: Point,
    *,
    x: float,
    text: str,
    size: float,
    beside: Literal[-1, 1] = 1,
    strong: bool = False,
) -> tuple[Mark, ...]:
    """Return a dimension along y; its number stays level.

    Args:
        low: one of the two points measured between [mm].
        high: the other, above it [mm].
        x: where the dimension line stands [mm].
        text: the number.
        size: the height of the type [mm].
        beside: on which side of the line the number stands: 1 right, -1 left.
        strong: whether the number is bold.

    Returns:
        Witness lines, line, arrows and number.
    """
    under, over = sorted((low, high), key=lambda point: point[1])
    start, end = (x, under[1]), (x, over[1])
    return (
        *_witness(under, start),
        *_witness(over, end),
        *_arrowed(start, end),
        written(
            text,
            (x + beside * _CLEAR, (start[1] + end[1]) / 2.0),
            size=size,
            anchor=Anchor.START if beside > 0 else Anchor.END,
            strong=strong,
        ),
    )


def angle_between(corner: Point, *, radius: float, start: float, end: float) -> tuple[Mark, ...]:
    """Return the arc of an angle's dimension; its number is written where there is room.

    Args:
        corner: where the two lines meet [mm].
        radius: of the arc [mm].
        start: direction of the line that is measured from [rad].
        end: direction of the one that is measured [rad].

    Returns:
        The arc with an arrow at the line that is measured; nothing where the two are one.
    """
    turn = end - start
    if abs(turn) * radius < 0.05:
        return ()
    low, high = sorted((start, end))
    tip = (corner[0] + radius * math.cos(end), corner[1] + radius * math.sin(end))
    arc = Arc(centre=corner, radius=radius, start=low, end=high, pen=Pen.DIMENSION)
    if abs(turn) * radius < 1.2 * ARROW:
        return (arc,)
    # The head lies along the chord under it, so that it does not stand off a tight arc.
    heading = end + math.copysign(math.pi / 2.0 - ARROW / (2.0 * radius), turn)
    return (arc, arrow(tip, heading=heading))


def leader(tip: Point, *corners: Point) -> tuple[Mark, ...]:
    """Return a leader: a thin line with an arrow where it points.

    Args:
        tip: what it points at [mm].
        *corners: where it goes from there, at least one point; the last is where the words begin [mm].

    Returns:
        The line and its arrow.
    """
    first = corners[0]
    return (
        Polyline(points=(tip, *corners), pen=Pen.DIMENSION),
        arrow(tip, heading=math.atan2(tip[1] - first[1], tip[0] - first[0])),
    )
