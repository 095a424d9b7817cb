"""The centring block: under the body behind, the rail's stand-in in front."""

from __future__ import annotations

import math
from collections.abc import Callable

from rollwright.car.model import Car, Seat, Station
from rollwright.draw.drawing import Anchor, Drawing, Line, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.gauge_marks import box, nameplate, pointing, span
from rollwright.draw.gauge_words import AT_THE_CUTTER, MM, THE_MANUAL, assumed_note, length_text, system_of
from rollwright.geometry.tripod import pose_at
from rollwright.units import System

__all__ = ["centring_block"]

_LEFT = 24.0
_MARGIN = 8.0
_PAST = 8.0
"""How far the front part goes on past the wheel [mm]."""
_FREE = 3.0
"""How far the hanging wheels stay off the bench [mm]."""
_USUAL = 12.0
"""Thickness that a reading on the block is taken to have where nothing else is said [mm]."""


def centring_block(car: Car, *, units: str = "mm") -> Drawing:
    """Return the centring block of a car, from above and from the side.

    Behind it is as wide as the body, so that body and block are flush there; in front as wide as the rail.
    Drawn from above, front to the right, the car's left at the top.

    Args:
        car: the car.
        units: what numbers are written in, `mm` or `in`.

    Returns:
        The drawing, at true scale. The block is 12 mm thick, or thicker where the hanging wheels would
        otherwise come within 3 mm of the bench.

    Raises:
        OutOfRange: the units are not known.
    """
    system = system_of(units)
    body, half_rail = car.body, 0.5 * car.rail.width.value * MM
    half = 0.5 * body.width.value * MM
    wheelbase, tail = body.wheelbase.value * MM, -body.rear_overhang.value * MM
    front = wheelbase + 0.5 * car.wheel_at(car.dominant).diameter.value * MM + _PAST
    thick = _thickness(car)
    outermost = max(_wheel(car, station)[1][1] for station in (Station.REAR_LEFT, Station.FRONT_LEFT))
    side_view = _MARGIN + 8.0
    middle = side_view + thick + 12.0 + max(outermost, half, half_rail)

    def at(x: float, y: float) -> Point:
        return (_LEFT - tail + x, middle + y)

    step = 0.5 * wheelbase
    outline = (
        at(tail, -half),
        at(step, -half),
        at(step, -half_rail),
        at(front, -half_rail),
        at(front, half_rail),
        at(step, half_rail),
        at(step, half),
        at(tail, half),
    )
    marks: tuple[Mark, ...] = (
        *(_from_above(car, station, at(0.0, 0.0)) for station in Station),
        Polyline(points=outline, closed=True, pen=Pen.CUT_OUTER, tone=Tone.PAPER),
        Line(start=at(tail, 0.0), end=at(front, 0.0), pen=Pen.SCORE),
        *(Line(start=at(x, -half_rail), end=at(x, half_rail), pen=Pen.SCORE) for x in (0.0, wheelbase)),
        *_words(car, at, tail=tail, front=front, half=half, half_rail=half_rail, system=system),
        *_from_the_side(at(tail, 0.0)[0], at(front, 0.0)[0], side_view, thick, system=system),
    )
    return Drawing(
        name="centring-block",
        title=f"Centring block for {car.name}",
        width=at(front, 0.0)[0] + _LEFT,
        height=middle + max(outermost, half, half_rail) + 2.0 * _MARGIN,
        marks=marks,
        notes=_notes(car, thick, system),
        cautions=(AT_THE_CUTTER, THE_MANUAL),
    )


def _thickness(car: Car) -> float:
    """Return how thick the block has to be for the wheels to hang clear of the bench [mm]."""
    poses = {station: pose_at(car, station, seat=Seat.MIDDLE, hangs=True) for station in Station}
    lowest = min(poses[station].centre[2] - 0.5 * car.wheel_at(station).diameter.value for station in Station)
    return max(_USUAL, math.ceil(_FREE - lowest * MM))


def _wheel(car: Car, station: Station) -> tuple[Point, Point]:
    """Return two corners of a wheel seen from above: forward of the rear hole line, and left [mm]."""
    pose, wheel = pose_at(car, station, seat=Seat.BODY, hangs=True), car.wheel_at(station)
    x, y = pose.centre[0] * MM, pose.centre[1] * MM
    radius, half = 0.5 * wheel.diameter.value * MM, 0.5 * wheel.tread_width.value * MM
    return (x - radius, y - half), (x + radius, y + half)


def _from_above(car: Car, station: Station, origin: Point) -> Mark:
    low, high = _wheel(car, station)
    return box(
        (origin[0] + low[0], origin[1] + low[1]),
        (origin[0] + high[0], origin[1] + high[1]),
        pen=Pen.HAIR,
        tone=Tone.WHEEL,
    )


def _words(
    car: Car,
    at: Callable[[float, float], Point],
    *,
    tail: float,
    front: float,
    half: float,
    half_rail: float,
    system: System,
) -> tuple[Mark, ...]:
    wheelbase = car.body.wheelbase.value * MM
    middle = 0.5 * wheelbase
    low, high = _wheel(car, car.dominant)
    return (
        *nameplate(
            car,
            "centring block",
            "Shows how far the dominant wheel stands off the rail",
            at=at(3.0, 9.0),
            room=wheelbase - 6.0,
        ),
        *pointing(at(middle - 24.0, -8.0), at(middle + 4.0, -8.0), head=4.0, pen=Pen.OUTLINE),
        Text(at=at(middle + 7.0, -9.5), text="FRONT", height=4.5, strong=True),
        Text(at=at(2.0, -half + 2.0), text="flush with the body", height=2.5),
        Text(at=at(wheelbase - 2.0, half_rail - 4.0), text="as the rail", height=2.5, anchor=Anchor.END),
        Text(
            at=at(0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]) - 1.0),
            text=car.dominant.words,
            height=2.8,
            anchor=Anchor.MIDDLE,
        ),
        *span(
            at(tail - 5.0, -half),
            at(tail - 5.0, half),
            length_text(2.0 * half / MM, system=system),
            beside=(-1.5, -1.0),
            anchor=Anchor.END,
        ),
        *span(
            at(front + 5.0, -half_rail),
            at(front + 5.0, half_rail),
            length_text(2.0 * half_rail / MM, system=system),
            beside=(1.5, -1.0),
            anchor=Anchor.START,
        ),
    )


def _from_the_side(
    left: float, right: float, low: float, thick: float, *, system: System
) -> tuple[Mark, ...]:
    return (
        box((left, low), (right, low + thick)),
        Text(
            at=(0.5 * (left + right), low + 0.5 * thick - 1.0),
            text="from the side: the underside lies on top, the wheels hang",
            height=2.8,
            anchor=Anchor.MIDDLE,
        ),
        *span(
            (right + 5.0, low),
            (right + 5.0, low + thick),
            length_text(thick / MM, system=system),
            beside=(1.5, -1.0),
            anchor=Anchor.START,
        ),
    )


def _notes(car: Car, thick: float, system: System) -> tuple[str, ...]:
    names = ("body.width", "body.wheelbase", "rail.width", f"{car.dominant.value}.diameter")
    return (
        (
            f"Make it {length_text(thick / MM, system=system)} thick, and measure both widths with a "
            "caliper: what it shows is no better than they are."
        ),
        (
            "Lay the body on it with the tail flush behind and both sides flush at the rear, then look at "
            "the dominant wheel in front: it touches, stands off, or pushes the body over."
        ),
        (
            "The wheels hang, your hand sets the play, and the block is taller than a rail, so it does not "
            "show the rail offset itself. Log it as a block_offset, with a thickness of "
            f"{length_text(thick / MM, system=system)}, and it is carried over."
        ),
        "The scored lines are the centre line and the two hole lines.",
        *assumed_note(car, names, also=("body.rear_overhang", "setup.dominant")),
    )
