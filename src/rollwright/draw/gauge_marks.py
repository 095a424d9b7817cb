"""Small marks that the gauges share, and where a hole passes a plane beside the body."""

from __future__ import annotations

import math

from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Anchor, Line, Mark, Pen, Point, Polyline, Text, Tone

__all__ = ["box", "cross", "hole_at", "nameplate", "pointing", "span", "tube"]

_WIDE = 0.66
"""Width of a bold letter over the size of its type, on average, in a wide sans serif [1]."""
_SIDE = 0.35
"""Half the opening of an arrow's head over its length [1]."""


def box(low: Point, high: Point, *, pen: Pen | None = Pen.OUTLINE, tone: Tone | None = None) -> Polyline:
    """Return a rectangle from its lower left and upper right corners [mm]."""
    return Polyline(points=(low, (high[0], low[1]), high, (low[0], high[1])), closed=True, pen=pen, tone=tone)


def cross(at: Point, *, arm: float, pen: Pen = Pen.SCORE) -> tuple[Mark, ...]:
    """Return a cross whose arms have a length [mm] and whose middle marks a point."""
    x, y = at
    return (
        Line(start=(x - arm, y), end=(x + arm, y), pen=pen),
        Line(start=(x, y - arm), end=(x, y + arm), pen=pen),
    )


def pointing(start: Point, end: Point, *, head: float = 2.0, pen: Pen = Pen.DIMENSION) -> tuple[Mark, ...]:
    """Return an arrow from one point to another, with a filled head of a length [mm] at its end."""
    turn = math.atan2(end[1] - start[1], end[0] - start[0])
    back, side = (math.cos(turn) * head, math.sin(turn) * head), _SIDE * head
    across = (-math.sin(turn) * side, math.cos(turn) * side)
    root = (end[0] - back[0], end[1] - back[1])
    barbs = ((root[0] + across[0], root[1] + across[1]), (root[0] - across[0], root[1] - across[1]))
    return (
        Line(start=start, end=end, pen=pen),
        Polyline(points=(end, *barbs), closed=True, pen=None, tone=Tone.INK),
    )


def span(
    start: Point, end: Point, text: str, *, beside: Point, anchor: Anchor = Anchor.MIDDLE, height: float = 2.8
) -> tuple[Mark, ...]:
    """Return a dimension line with an arrow at both ends and its number.

    Args:
        start: one end [mm].
        end: the other [mm].
        text: what it measures.
        beside: where the number stands, from the line's middle [mm].
        anchor: which end of the number stands there.
        height: size of the type [mm].

    Returns:
        Its marks.
    """
    head = min(2.0, math.dist(start, end) / 3.0)
    middle = (0.5 * (start[0] + end[0]), 0.5 * (start[1] + end[1]))
    return (
        *pointing(middle, start, head=head),
        *pointing(middle, end, head=head),
        Text(
            at=(middle[0] + beside[0], middle[1] + beside[1]),
            text=text,
            height=height,
            anchor=anchor,
            pen=Pen.DIMENSION,
        ),
    )


def nameplate(
    car: Car,
    what: str,
    purpose: str,
    *,
    at: Point,
    anchor: Anchor = Anchor.START,
    height: float = 3.5,
    room: float = 120.0,
) -> tuple[Mark, ...]:
    """Return two lines that say which car a piece is for, what it is, and what it is for.

    Args:
        car: the car.
        what: the aid's name.
        purpose: what it is for, in a few words.
        at: where the first line's anchor lies [mm].
        anchor: which end of the lines lies there.
        height: size of the first line's type [mm]; the second is smaller.
        room: how long the first line may be [mm]; a longer name of the car is cut short.

    Returns:
        Both lines.
    """
    most = max(3, int(room / (_WIDE * height)) - len(what) - 3)
    name = car.name if len(car.name) <= most else car.name[: most - 1].rstrip() + "…"
    below = (at[0], at[1] - 1.3 * height)
    return (
        Text(at=at, text=f"{name} · {what}", height=height, anchor=anchor, strong=True),
        Text(at=below, text=purpose, height=0.8 * height, anchor=anchor),
    )


def hole_at(car: Car, station: Station, *, beyond: float) -> tuple[float, float]:
    """Return where the axis of a drilled hole passes a plane beside the body.

    A positive `beyond` is a plane outside the face in which the wheel runs, a negative one inside the wood.
    With the outer end up the axis passes higher the further out, with the outer end down lower.

    Args:
        car: the car.
        station: which hole.
        beyond: distance of the plane outboard of the side face as it is after relief [m].

    Returns:
        How far forward of the rear hole line, and how far above the underside [m]: the point `f + t a` of the
        hole's axis `a` at which its distance from the centre line has grown by `beyond`, that is `beyond
        tan(sweep)` further forward and `beyond tan(cant) / cos(sweep)` higher. Exact.
    """
    corner = car.corners[station]
    ahead = car.body.wheelbase.value if station.is_front else 0.0
    sweep = corner.sweep.value
    return (
        ahead + corner.offset.value + beyond * math.tan(sweep),
        corner.hole_height.value + beyond * math.tan(corner.cant.value) / math.cos(sweep),
    )


def tube(inner: Point, outer: Point, *, diameters: tuple[float, float], pen: Pen) -> tuple[Mark, ...]:
    """Return a tube seen from its side between two faces: both walls, the bore's, and its centre line."""
    run = (outer[0] - inner[0], outer[1] - inner[1])
    size = math.hypot(*run)
    along = (run[0] / size, run[1] / size)
    # Both faces stand square to the sheet's long or short side; the walls reach exactly to them.
    level = abs(along[0]) > abs(along[1])
    marks: list[Mark] = []
    for diameter in diameters:
        aside = 0.5 * diameter / abs(along[0] if level else along[1])
        off = (0.0, aside) if level else (aside, 0.0)
        marks += [
            Line(
                start=(inner[0] + sign * off[0], inner[1] + sign * off[1]),
                end=(outer[0] + sign * off[0], outer[1] + sign * off[1]),
                pen=pen,
            )
            for sign in (-1.0, 1.0)
        ]
    past = (4.0 * along[0], 4.0 * along[1])
    marks.append(
        Line(
            start=(inner[0] - past[0], inner[1] - past[1]),
            end=(outer[0] + past[0], outer[1] + past[1]),
            pen=Pen.CENTRE,
        )
    )
    return tuple(marks)
