"""How three wheels hold a body on a flat plane: the tripod, solved exactly.

A wheel is a cylinder. Its height above the plane as a function of the body's attitude is the least
value of a linear function over the cylinder, and the slope of that function is the contact point
itself. So the plane through the three present contact points is one exact Newton step, and the
iteration squares its error each time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rollwright.geometry.axle import WheelPose
from rollwright.geometry.vector import Vector, cross, dot, unit

__all__ = ["Plane", "Tread", "contact_point", "rest_on"]

_STEPS = 12
_SETTLED = 1e-15
_SWEEPS = 25
_UPRIGHT = 1e-12


@dataclass(frozen=True, slots=True)
class Tread:
    """A wheel as the plane meets it: its `pose`, `radius` [m] and half its tread's width `half` [m]."""

    pose: WheelPose
    radius: float
    half: float


@dataclass(frozen=True, slots=True)
class Plane:
    """The ground seen from the body: unit vector `up` and `lift` of the body's origin above it [m]."""

    up: Vector
    lift: float

    def height(self, point: Vector) -> float:
        """Return the height of a point of the body above the ground [m]."""
        return dot(self.up, point) + self.lift


def contact_point(tread: Tread, *, up: Vector, along: float | None = None) -> Vector:
    """Return the lowest point of a wheel for a given upward direction, in the body frame.

    Args:
        tread: the wheel.
        up: unit vector pointing up from the ground.
        along: how far outward of the tread's mid-plane the contact lies [m]; None for the lower of the
            two rim circles. A wheel that stands exactly upright touches along its whole width, and the
            middle of it is returned.

    Returns:
        The point [m].
    """
    u = tread.pose.axis
    tilt = dot(u, up)
    if along is None:
        along = -math.copysign(tread.half, tilt) if abs(tilt) > _UPRIGHT else 0.0
    down = tread.radius / math.sqrt(1.0 - tilt * tilt)
    c = tread.pose.centre
    return (
        c[0] + u[0] * (along + down * tilt) - up[0] * down,
        c[1] + u[1] * (along + down * tilt) - up[1] * down,
        c[2] + u[2] * (along + down * tilt) - up[2] * down,
    )


def _through(a: Vector, b: Vector, c: Vector) -> Vector:
    normal = unit(
        cross(
            (b[0] - a[0], b[1] - a[1], b[2] - a[2]),
            (c[0] - a[0], c[1] - a[1], c[2] - a[2]),
        )
    )
    return normal if normal[2] > 0.0 else (-normal[0], -normal[1], -normal[2])


def _iterate(treads: Sequence[Tread], along: Sequence[float | None], up: Vector) -> tuple[Vector, bool]:
    for _ in range(_STEPS):
        a, b, c = (
            contact_point(tread, up=up, along=place) for tread, place in zip(treads, along, strict=True)
        )
        new = _through(a, b, c)
        change = abs(new[0] - up[0]) + abs(new[1] - up[1])
        up = new
        if change < _SETTLED:
            return up, True
    return up, change < 1e-13


def rest_on(treads: Sequence[Tread]) -> Plane:
    """Return the plane on which three wheels stand.

    Args:
        treads: the three wheels, in the body frame.

    Returns:
        The plane that touches all three from below: their lowest points lie in it to rounding error.
        A wheel that neither leans out nor in once the car has settled touches along its width; its
        contact is then where the other two wheels' heights demand it.
    """
    along: list[float | None] = [None, None, None]
    up, settled = _iterate(treads, along, (0.0, 0.0, 1.0))
    if not settled:
        up = _settle_flat(treads, along, up)
    a = contact_point(treads[0], up=up, along=along[0])
    return Plane(up=up, lift=-dot(up, a))


def _settle_flat(treads: Sequence[Tread], along: list[float | None], up: Vector) -> Vector:
    """Settle a tripod in which a wheel would rock from rim to rim: it stands flat, its contact between them.

    For each wheel in turn the place of contact is sought for which the wheel stands exactly upright;
    where one rim carries after all, the other place is not needed.
    """
    for _ in range(_SWEEPS):
        for index, tread in enumerate(treads):
            up = _settle_one(treads, along, index, up)
            tilt = dot(tread.pose.axis, up)
            if along[index] is not None and abs(tilt) > 1e-13:
                along[index] = None
        new, settled = _iterate(treads, along, up)
        if settled:
            return new
        up = new
    return up


def _settle_one(treads: Sequence[Tread], along: list[float | None], index: int, up: Vector) -> Vector:
    tread = treads[index]
    axis = tread.pose.axis

    def tilt_at(place: float) -> float:
        along[index] = place
        found, _ = _iterate(treads, along, up)
        return dot(axis, found)

    # Contact on the inner rim asks for an outer end that stands up, and the other way round; where
    # both rims contradict themselves, the wheel stands flat somewhere between.
    low, high = -tread.half, tread.half
    if tilt_at(low) >= 0.0 or tilt_at(high) <= 0.0:
        along[index] = None
        return _iterate(treads, along, up)[0]
    for _ in range(60):
        middle = 0.5 * (low + high)
        if tilt_at(middle) < 0.0:
            low = middle
        else:
            high = middle
    along[index] = 0.5 * (low + high)
    return _iterate(treads, along, up)[0]
