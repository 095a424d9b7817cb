"""A car's wheels as they are drawn: in their true stance, or with angles and small gaps larger than life.

A drawn wheel is still a solid cylinder in space, so that its views from above and from in front are
projections of one and the same thing. With both factors at 1 it is where the stance says.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Point
from rollwright.draw.fit import checked_exaggeration, visible_factor
from rollwright.errors import OutOfRange
from rollwright.geometry import Stance, camber_of, steer_of
from rollwright.geometry.axle import hole_axis
from rollwright.geometry.rail import Nearest, innermost
from rollwright.geometry.rest import Plane
from rollwright.geometry.tripod import attitude
from rollwright.geometry.vector import Vector, rotate

__all__ = [
    "HEAD",
    "Factors",
    "Projection",
    "WheelDrawn",
    "angle_factor",
    "body_thickness",
    "drawn_rail",
    "drawn_wheel",
    "gap_factor",
    "hull",
    "in_track_frame",
    "leaning",
    "strip",
]

Projection = Callable[[Vector], Point]
"""From a point of the track frame [m] to one of the sheet [mm]."""

_STEEPEST = math.radians(60.0)
_POINTS = 48
_GAP_FACTORS = (5.0, 2.0, 1.0)
_LEAST_RAIL = 0.6
_OVER_HOLE = 0.009

HEAD = 0.0008
"""How thick an axle's head is drawn [m]; no file says it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Factors:
    """How much larger than life something is drawn: `camber`, `steer`, and small `gaps`."""

    camber: float = 1.0
    steer: float = 1.0
    gaps: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WheelDrawn:
    """One wheel as it is drawn, in the track frame.

    Attributes:
        side: +1 left, -1 right.
        centre: of the tread [m].
        axis: outward unit vector along the pin past its bend.
        hole: outward unit vector along the hole.
        radius: of the tread [m].
        half: half the tread's width [m].
        hub: how far the hub stands in from the tread [m].
        washer: thickness of the washers as drawn [m].
        inner: play between washers and hub as drawn [m].
        outer: play between the wheel's outer side and the axle's head as drawn [m].
        bend_at: distance of the bend outboard of the side face [m].
        shank: diameter of the pin [m].
        drop: how far the pin's axis lies below the wheel's, across it [m]; negative, above, where it hangs.
    """

    side: int
    centre: Vector
    axis: Vector
    hole: Vector
    radius: float
    half: float
    hub: float
    washer: float
    inner: float
    outer: float
    bend_at: float
    shank: float
    drop: float

    @property
    def face(self) -> float:
        """Where the side face is, along the pin from the tread's mid-plane outward [m]; negative."""
        return -(self.half + self.hub + self.inner + self.washer)

    def on_pin(self, distance: float) -> Vector:
        """Return a point of the pin's axis so far outward of the tread's mid-plane [m]."""
        c, u = self.centre, self.axis
        flat = math.hypot(u[0], u[1])
        down = (u[2] * u[0] / flat, u[2] * u[1] / flat, -flat)
        return (
            c[0] + u[0] * distance + down[0] * self.drop,
            c[1] + u[1] * distance + down[1] * self.drop,
            c[2] + u[2] * distance + down[2] * self.drop,
        )

    def inside(self, depth: float) -> tuple[Vector, Vector]:
        """Return the bend and the end of the pin so deep in the body, along the hole [m]."""
        bend = self.on_pin(self.face + self.bend_at)
        run = depth + self.bend_at
        return bend, (
            bend[0] - self.hole[0] * run,
            bend[1] - self.hole[1] * run,
            bend[2] - self.hole[2] * run,
        )

    def rim(self, distance: float, radius: float | None = None) -> tuple[Vector, ...]:
        """Return points of a circle about the wheel's axis, so far outward of the tread's mid-plane [m]."""
        r = self.radius if radius is None else radius
        c, u = self.centre, self.axis
        flat = math.hypot(u[0], u[1])
        level = (u[1] / flat, -u[0] / flat, 0.0)
        down = (u[2] * u[0] / flat, u[2] * u[1] / flat, -flat)
        middle = tuple(c[i] + u[i] * distance for i in range(3))
        points = []
        for number in range(_POINTS):
            angle = 2.0 * math.pi * number / _POINTS
            x, y, z = (
                middle[i] + r * (down[i] * math.cos(angle) + level[i] * math.sin(angle)) for i in range(3)
            )
            points.append((x, y, z))
        return tuple(points)

    def outline(self, project: Projection) -> tuple[Point, ...]:
        """Return the outline of the wheel on the sheet: that of both its rims and all between [mm]."""
        return hull([project(point) for point in (*self.rim(-self.half), *self.rim(self.half))])

    def nearest(self, rail_height: float) -> Nearest | None:
        """Return the point of its inner rim that comes nearest to a rail of this height [m], as drawn."""
        return innermost(
            centre=self.centre,
            axis=self.axis,
            radius=self.radius,
            half=self.half,
            side=self.side,
            low=0.0,
            high=rail_height,
        )


def hull(points: Sequence[Point]) -> tuple[Point, ...]:
    """Return the convex outline of points, counter-clockwise (A. M. Andrew's monotone chain, 1979).

    Args:
        points: at least one.

    Returns:
        Its corners.
    """

    def chain(ordered: Sequence[Point]) -> list[Point]:
        kept: list[Point] = []
        for x, y in ordered:
            while len(kept) > 1:
                (ax, ay), (bx, by) = kept[-2:]
                if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 1e-9:
                    break
                kept.pop()
            kept.append((x, y))
        return kept[:-1]

    ordered = sorted(set(points))
    if len(ordered) < 3:
        return tuple(ordered)
    return (*chain(ordered), *chain(ordered[::-1]))


def strip(start: Point, end: Point, *, thick: float) -> tuple[Point, ...]:
    """Return the corners of a bar from one point to another.

    Args:
        start: the middle of one end [mm].
        end: the middle of the other [mm].
        thick: how thick it is [mm].

    Returns:
        Its four corners [mm].
    """
    (ax, ay), (bx, by) = start, end
    part = 0.5 * thick / max(1e-9, math.dist(start, end))
    nx, ny = -(by - ay) * part, (bx - ax) * part
    return ((ax + nx, ay + ny), (bx + nx, by + ny), (bx - nx, by - ny), (ax - nx, ay - ny))


def body_thickness(car: Car) -> float:
    """Return how thick the body is drawn, which no file says; every view that draws it says so.

    Args:
        car: the car.

    Returns:
        Twice the highest hole's height, or 9 mm over it if that is more [m].
    """
    highest = max(corner.hole_height.value for corner in car.corners.values())
    return max(2.0 * highest, highest + _OVER_HOLE)


def in_track_frame(found: Stance, point: Vector) -> Vector:
    """Return where a point of the body is when the car stands.

    Args:
        found: the stance.
        point: body frame [m].

    Returns:
        The same point in the track frame [m].
    """
    x, y, z = rotate(attitude(_plane(found)), point)
    return (x, y, z + found.rear)


def _plane(found: Stance) -> Plane:
    level = math.cos(found.pitch)
    up = (math.sin(found.pitch), level * math.sin(found.roll), level * math.cos(found.roll))
    return Plane(up=up, lift=found.rear)


def leaning(*, side: int, camber: float, steer: float) -> Vector:
    """Return the outward axis of a wheel of given camber (top outward positive) and steer (left positive).

    Args:
        side: +1 left, -1 right.
        camber: [rad].
        steer: [rad].

    Returns:
        The unit vector whose `camber_of` and `steer_of` these are.
    """
    flat = math.cos(camber)
    return (-side * math.sin(steer) * flat, side * math.cos(steer) * flat, -math.sin(camber))


def angle_factor(asked: float | None, largest: float, *, most: float) -> float:
    """Return the factor that angles are drawn by.

    Args:
        asked: the factor that was asked for; None lets the drawing choose.
        largest: the largest of the angles [rad].
        most: how large a chosen factor may make it [rad].

    Returns:
        The factor.

    Raises:
        OutOfRange: the factor asked for is no factor, or would turn the largest angle past 60 degrees.
    """
    if asked is None:
        return float(visible_factor(largest, most=most))
    factor = checked_exaggeration(asked)
    if factor > 1.0 and factor * abs(largest) > _STEEPEST:
        raise OutOfRange(
            f"{factor:g} times its true size, an angle of {math.degrees(abs(largest)):.1f}° cannot be drawn",
            mend=f"give a factor of at most {max(1.0, _STEEPEST / abs(largest)):.3g}",
        )
    return factor


def drawn_wheel(car: Car, found: Stance, station: Station, factors: Factors) -> WheelDrawn:
    """Return a wheel as it is drawn.

    Args:
        car: the car.
        found: its stance.
        station: which wheel.
        factors: how much larger than life.

    Returns:
        The wheel: leaning and steering by its true angles times the factors about its centre, moved out by
        what washers and play gain and in by what the relief gains, and set down again at its true
        clearance, a raised one hanging in its bore.
    """
    corner, wheel, axle, at = (
        car.corners[station],
        car.wheel_at(station),
        car.axle_at(station),
        found.stations[station],
    )
    side, gaps = station.side, factors.gaps
    drilled = rotate(
        attitude(_plane(found)),
        hole_axis(side=side, cant=corner.cant.value, sweep=corner.sweep.value),
    )
    axis, hole = (
        leaning(side=side, camber=factors.camber * camber, steer=factors.steer * steer)
        for camber, steer in (
            (at.camber, at.steer),
            (camber_of(drilled), steer_of(drilled, side=side)),
        )
    )
    radius, half = wheel.diameter.value / 2.0, wheel.tread_width.value / 2.0
    share = at.seat.seat.share_of_play
    washer, play = corner.washer.value, corner.play.value
    out = (gaps - 1.0) * (washer + share * play - corner.relief.value)
    return WheelDrawn(
        side=side,
        centre=(
            at.centre[0],
            at.centre[1] + side * out,
            at.hanging_clearance + radius * math.hypot(axis[0], axis[1]) + half * abs(axis[2]),
        ),
        axis=axis,
        hole=hole,
        radius=radius,
        half=half,
        hub=wheel.hub_projection.value,
        washer=gaps * washer,
        inner=gaps * share * play,
        outer=gaps * (1.0 - share) * play,
        bend_at=axle.bend_at.value,
        shank=axle.shank.value,
        drop=math.copysign(
            (wheel.bore.value - axle.shank.value) / 2.0, at.hanging_clearance - at.clearance + 1e-12
        ),
    )


def drawn_rail(car: Car, found: Stance, dominant: WheelDrawn, gaps: float) -> float:
    """Return half the rail's width as it is drawn under the dominant wheel.

    Args:
        car: the car.
        found: its stance.
        dominant: the dominant wheel as it is drawn.
        gaps: how much larger than life its gap to the rail is drawn.

    Returns:
        What leaves the drawn wheel standing off the drawn rail by the rail offset times the factor [m]; half
        the true width where the wheel is above the rail.
    """
    near = dominant.nearest(car.rail.height.value)
    if near is None or found.rail_offset is None:
        return car.rail.width.value / 2.0
    return near.inset - gaps * found.rail_offset


def gap_factor(
    car: Car,
    found: Stance,
    *,
    asked: float | None,
    factors: Factors,
    stations: Sequence[Station],
    most: float,
) -> float:
    """Return the factor that small gaps are drawn by.

    Args:
        car: the car.
        found: its stance.
        asked: the exaggeration that was asked for; a true drawing keeps its gaps true as well.
        factors: how much larger than life angles are drawn.
        stations: whose gaps are drawn.
        most: how wide a gap may become [m].

    Returns:
        5, 2 or 1: the largest that keeps every gap within `most` and the drawn rail recognisable.
    """
    if asked == 1.0:
        return 1.0
    gaps = [0.0 if found.rail_offset is None else abs(found.rail_offset)]
    for station in stations:
        corner = car.corners[station]
        gaps += [corner.washer.value, corner.play.value, corner.relief.value]
    true = car.rail.width.value / 2.0
    for factor in _GAP_FACTORS:
        wheel = drawn_wheel(
            car,
            found,
            car.dominant,
            Factors(camber=factors.camber, steer=factors.steer, gaps=factor),
        )
        half = drawn_rail(car, found, wheel, factor)
        if factor * max(gaps) <= most and _LEAST_RAIL * true <= half <= true / _LEAST_RAIL:
            return factor
    return 1.0
