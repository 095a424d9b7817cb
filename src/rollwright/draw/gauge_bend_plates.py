"""The two plates of a bend gauge."""

from __future__ import annotations

import math

from rollwright.car.model import Car
from rollwright.draw.drawing import Anchor, Line, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.gauge_marks import box, hole_at, nameplate, pointing
from rollwright.draw.gauge_words import MM, angle_text, length_text
from rollwright.units import System

__all__ = ["DAYLIGHT", "DEEP", "PAST", "STRAIGHT_PART", "for_the_bench", "for_the_car"]

STRAIGHT_PART = 60.0
"""Length of the plates' straight edge [mm]."""
PAST = 12.0
"""How far the sloping edge goes on past the working distance [mm]."""
DEEP = 24.0
DAYLIGHT = 1.0
"""How far below the pin the sloping edge for the car lies [mm]."""
_CLEAR = 1.0
"""How far off the side face the plate for the car keeps [mm]."""


def _rise(corner: Point, *, slope: float, reach: float, system: System, lift: float) -> tuple[Mark, ...]:
    """Return level line, rise at the working distance, and their numbers, above a sloping edge."""
    x, y = corner
    end, drop = x + reach, reach * math.tan(slope)
    return (
        Line(start=(x - 12.0, y), end=(end + 8.0, y), pen=Pen.DIMENSION),
        Line(start=(end, y + lift + 1.5), end=(end, y - drop - 3.0), pen=Pen.DIMENSION),
        Line(start=(x, y + lift + 1.5), end=(x, y - 3.0), pen=Pen.DIMENSION),
        *pointing((0.5 * (x + end), y + lift), (x, y + lift)),
        *pointing((0.5 * (x + end), y + lift), (end, y + lift)),
        Text(
            at=(0.5 * (x + end), y + lift + 1.0),
            text=length_text(reach / MM, system=system),
            height=2.8,
            anchor=Anchor.MIDDLE,
        ),
        Text(
            at=(end + 1.5, y + 1.2),
            text=f"rise {length_text(drop / MM, system=system)}",
            height=2.8,
        ),
    )


def for_the_bench(car: Car, bend: float, reach: float, *, at: Point, system: System) -> tuple[Mark, ...]:
    """Return the plate for the pin out of the body; `at` is the corner of its edge, where the bend lies."""
    x, y = at
    end = x + reach + PAST
    down = (end - x) * math.tan(bend)
    edge = ((x - STRAIGHT_PART, y), at, (end, y - down))
    return (
        Polyline(
            points=(*edge, (end, y - DEEP), (x - STRAIGHT_PART, y - DEEP)), closed=True, pen=Pen.CUT_OUTER
        ),
        Line(start=at, end=(x, y - 4.0), pen=Pen.SCORE),
        *_rise(at, slope=bend, reach=reach, system=system, lift=5.0),
        Text(at=(x - 2.0, y - 5.0), text="bend here", height=2.5, anchor=Anchor.END),
        *nameplate(
            car,
            "bend gauge, pin in the hand",
            f"Bend {angle_text(bend)}: no daylight under the pin",
            at=(x - STRAIGHT_PART + 3.0, y - 12.0),
            room=STRAIGHT_PART + reach + PAST - 6.0,
        ),
        Text(
            at=(x - STRAIGHT_PART + 3.0, y - 21.0),
            text="straight part at the left, the other swung down",
            height=2.8,
        ),
    )


def for_the_car(car: Car, slope: float, reach: float, *, at: Point, system: System) -> tuple[Mark, ...]:
    """Return the plate for the pin in the body; `at` is where the underside meets the side face."""
    x, y = at
    axle = car.axle_at(car.dominant)
    start = axle.bend_at.value * MM
    high = hole_at(car, car.dominant, beyond=axle.bend_at.value)[1] * MM
    radius = 0.5 * axle.shank.value * MM / math.cos(slope)

    def pin(distance: float, *, above: float) -> Point:
        return (x + distance, y + high + above - (distance - start) * math.tan(slope))

    first, last, below = max(start, _CLEAR), start + reach + PAST, -radius - DAYLIGHT
    bottom = min(y, pin(last, above=below)[1]) - DEEP
    mark = pin(start + reach, above=below)
    run = length_text(reach / MM * math.tan(slope), system=system)
    text = x - STRAIGHT_PART + 3.0
    return (
        box((x - STRAIGHT_PART, y), (x, y + high + 6.0), pen=Pen.HAIR, tone=Tone.WOOD),
        Text(at=(text, y - 4.0), text="this edge against the underside", height=2.5),
        Text(at=(text, y + high + 2.0), text="body, seen from its end", height=2.5),
        Polyline(
            points=(
                pin(first, above=-radius),
                pin(last, above=-radius),
                pin(last, above=radius),
                pin(first, above=radius),
            ),
            closed=True,
            pen=Pen.HAIR,
            tone=Tone.WHEEL,
        ),
        Line(start=pin(first, above=0.0), end=pin(last + 4.0, above=0.0), pen=Pen.CENTRE),
        Polyline(
            points=(
                (x - STRAIGHT_PART, y),
                (x + first, y),
                pin(first, above=below),
                pin(last, above=below),
                (x + last, bottom),
                (x - STRAIGHT_PART, bottom),
            ),
            closed=True,
            pen=Pen.CUT_OUTER,
        ),
        Line(start=mark, end=(mark[0], mark[1] - 4.0), pen=Pen.SCORE),
        Text(
            at=(mark[0] - 1.0, mark[1] - 4.5),
            text=f"at {length_text(reach / MM, system=system)}",
            height=2.5,
            anchor=Anchor.END,
        ),
        *nameplate(
            car,
            "bend gauge, pin in the car",
            f"Slope {angle_text(slope)}: even daylight under the pin",
            at=(text, y - 10.0),
            room=STRAIGHT_PART + reach + PAST - 6.0,
        ),
        Text(
            at=(text, y - 19.0),
            text=f"{car.dominant.words}; at the mark it has run down {run}",
            height=2.8,
        ),
    )
