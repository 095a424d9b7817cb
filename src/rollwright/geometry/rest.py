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

from rollwright.errors import CarCannotRest
from rollwright.geometry.axle import WheelPose
from rollwright.geometry.vector import Vector, cross, dot, unit

__all__ = ["Plane", "Tread", "contact_point", "rest_on"]

_STEPS = 12
_SETTLED = 1e-15
_UPRIGHT = 1e-12
_FLAT = 1e-12
_ON_EDGE = 1e-9


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


def contact_point(tread: Tread, *, up: Vector) -> Vector:
    """Return the lowest point of a wheel for a given upward direction, in the body frame.

    Args:
        tread: the wheel.
        up: unit vector pointing up from the ground.

    Returns:
        The lowest point of the lower of the two rim circles [m]. A wheel that stands exactly upright
        touches along its whole width, and the middle of it is returned.
    """
    u = tread.pose.axis
    tilt = dot(u, up)
    along = -math.copysign(tread.half, tilt) if abs(tilt) > _UPRIGHT else 0.0
    down = tread.radius / math.sqrt(1.0 - tilt * tilt)
    c = tread.pose.centre
    return (
        c[0] + u[0] * (along + down * tilt) - up[0] * down,
        c[1] + u[1] * (along + down * tilt) - up[1] * down,
        c[2] + u[2] * (along + down * tilt) - up[2] * down,
    )


def _no_plane() -> CarCannotRest:
    return CarCannotRest(
        "three of its wheels stand in one line, so they hold no plane",
        mend="check body.wheelbase and the stations' offsets",
        key="body.wheelbase",
    )


def _through(a: Vector, b: Vector, c: Vector) -> Vector:
    across = cross(
        (b[0] - a[0], b[1] - a[1], b[2] - a[2]),
        (c[0] - a[0], c[1] - a[1], c[2] - a[2]),
    )
    size = math.sqrt(dot(across, across))
    # A plane that stands on edge is no ground either.
    if abs(across[2]) <= _ON_EDGE * size:
        raise _no_plane()
    normal = unit(across)
    return normal if normal[2] > 0.0 else (-normal[0], -normal[1], -normal[2])


def rest_on(treads: Sequence[Tread]) -> Plane:
    """Return the plane on which three wheels stand.

    Args:
        treads: the three wheels, in the body frame.

    Returns:
        The plane that touches all three from below: their lowest points lie in it to rounding error.
        There is just one as long as no straight line passes through all three wheels.

    Raises:
        CarCannotRest: the wheels stand in one line, or one reaches across the line between the other two
            and would rock from rim to rim.
    """
    up: Vector = (0.0, 0.0, 1.0)
    for _ in range(_STEPS):
        a, b, c = (contact_point(tread, up=up) for tread in treads)
        new = _through(a, b, c)
        change = abs(new[0] - up[0]) + abs(new[1] - up[1])
        up = new
        if change < _SETTLED:
            break
    points = [contact_point(tread, up=up) for tread in treads]
    plane = Plane(up=up, lift=-dot(up, points[0]))
    # The points are judged, not the last change: a wheel that is upright to rounding may go on changing
    # rims for ever, and it does not matter which of them is said to touch.
    if any(abs(plane.height(point)) > _FLAT for point in points):
        raise _no_plane()
    return plane
