"""How near a wheel comes to the guide rail, and where it touches."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.geometry.vector import Vector, unit

__all__ = ["Nearest", "innermost"]


@dataclass(frozen=True, slots=True)
class Nearest:
    """The point of a wheel's inner rim that comes nearest to the rail.

    Attributes:
        inset: its distance from the car's centre line [m].
        height: its height above the ground [m].
        ahead: how far it lies ahead of the wheel's lowest point [m]; negative: behind.
    """

    inset: float
    height: float
    ahead: float


def innermost(
    *, centre: Vector, axis: Vector, radius: float, half: float, side: int, low: float, high: float
) -> Nearest | None:
    """Return the innermost point of a wheel's inner rim circle within a band of heights.

    The point may be at the bottom (a wheel whose top leans outward: camber rules) or well ahead of or
    behind it, at the rail's full height (toe rules); all candidates are compared.

    Args:
        centre: of the tread, in a frame with z up from the plane in question [m].
        axis: outward unit vector along the shank, same frame.
        radius: of the tread [m].
        half: half the tread's width [m].
        side: +1 for a wheel on the left, -1 on the right.
        low: lower edge of the band [m]; 0 for a rail on the track.
        high: upper edge of the band [m]; the rail's height.

    Returns:
        The nearest point, or None when no point of the rim is inside the band (a wheel raised above it).
        On the circle `p(t) = c - half u + r (d cos t + h sin t)`, d the steepest way down in the wheel's
        plane and h level, height depends on cos t alone and |y| is least at its stationary point or at
        the band's edges.
    """
    flat = math.sqrt(axis[0] * axis[0] + axis[1] * axis[1])
    down = (axis[2] * axis[0] / flat, axis[2] * axis[1] / flat, -flat)
    level = unit((axis[1], -axis[0], 0.0))
    if level[0] < 0.0:
        level = (-level[0], -level[1], 0.0)
    y0, z0 = centre[1] - half * axis[1], centre[2] - half * axis[2]
    swing = radius * flat
    # z = z0 - swing cos t, so the band of heights is a band of cosines.
    most = (z0 - low) / swing
    least = (z0 - high) / swing
    if least > 1.0 or most < -1.0:
        return None
    nearest_bottom = math.acos(min(1.0, most))
    farthest = math.acos(max(-1.0, least))
    candidates = [nearest_bottom, -nearest_bottom, farthest, -farthest]
    turn = math.atan2(-side * level[1], -side * down[1])
    if nearest_bottom <= abs(turn) <= farthest:
        candidates.append(turn)
    best: Nearest | None = None
    for angle in candidates:
        cosine, sine = math.cos(angle), math.sin(angle)
        inset = side * (y0 + radius * (down[1] * cosine + level[1] * sine))
        if best is None or inset < best.inset:
            best = Nearest(
                inset=inset,
                height=z0 + radius * down[2] * cosine,
                ahead=radius * (down[0] * (cosine - 1.0) + level[0] * sine),
            )
    return best
