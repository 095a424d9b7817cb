"""From hole and pin to wheel: where a wheel's centre is and which way its axis points.

Body frame (ISO 8855 axes): x forward, y left, z up, origin on the centre line in the plane of the
underside at the rear hole line. `docs/frame-and-signs.md` draws every angle used here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.geometry.vector import Vector

__all__ = ["WheelPose", "hole_axis", "shank_axis", "wheel_pose"]


@dataclass(frozen=True, slots=True)
class WheelPose:
    """Where a wheel is: `centre` of its tread [m] and outward unit vector `axis` along its shank."""

    centre: Vector
    axis: Vector


def hole_axis(*, side: int, cant: float, sweep: float) -> Vector:
    """Return the outward unit vector along a drilled hole, in the body frame.

    Positive cant: the outer end stands up; negative: it hangs down. Positive sweep: the outer end lies
    forward; negative: backward.

    Args:
        side: +1 for a hole on the left side, -1 on the right.
        cant: hole out of level [rad].
        sweep: hole out of square to the centre line [rad].

    Returns:
        `(sin(sweep) cos(cant), s cos(sweep) cos(cant), sin(cant))`; exact for any angles.
    """
    level = math.cos(cant)
    return (math.sin(sweep) * level, side * math.cos(sweep) * level, math.sin(cant))


def shank_axis(*, side: int, cant: float, sweep: float, bend: float, clock: float) -> Vector:
    """Return the outward unit vector along the part of the pin past its bend, in the body frame.

    Clock 0 carries the outer end straight down (the wheel's top leans outward); a positive clock
    carries it forward (the left wheel steers right, the right wheel left), a negative one backward.

    Args:
        side: +1 for a hole on the left side, -1 on the right.
        cant: hole out of level [rad].
        sweep: hole out of square to the centre line [rad].
        bend: angle between the two straight parts of the pin [rad], not negative.
        clock: rotation of the bend about the hole's axis [rad].

    Returns:
        `a cos(bend) + (down cos(clock) + forward sin(clock)) sin(bend)`, with `a` the hole's axis, `down`
        perpendicular to it in its vertical plane and `forward` perpendicular to both. Exact.
    """
    a = hole_axis(side=side, cant=cant, sweep=sweep)
    if bend == 0.0:
        return a
    down = (math.sin(sweep) * math.sin(cant), side * math.cos(sweep) * math.sin(cant), -math.cos(cant))
    forward = (math.cos(sweep), -side * math.sin(sweep), 0.0)
    along = math.cos(bend)
    toward_down = math.sin(bend) * math.cos(clock)
    toward_forward = math.sin(bend) * math.sin(clock)
    return (
        a[0] * along + down[0] * toward_down + forward[0] * toward_forward,
        a[1] * along + down[1] * toward_down + forward[1] * toward_forward,
        a[2] * along + down[2] * toward_down + forward[2] * toward_forward,
    )


def wheel_pose(
    *,
    side: int,
    hole: Vector,
    cant: float,
    sweep: float,
    bend: float,
    clock: float,
    bend_at: float,
    hub: float,
    reach: float,
    slack: float,
    hangs: bool = False,
) -> WheelPose:
    """Return where a wheel's centre is and which way its axis points, in the body frame.

    Args:
        side: +1 for a station on the left, -1 on the right.
        hole: centre of the hole at the side face [m].
        cant: hole out of level [rad], positive outer end up, negative down.
        sweep: hole out of square [rad], positive outer end forward, negative backward.
        bend: angle of the pin's bend [rad].
        clock: rotation of the bend [rad], 0 down, positive forward, negative backward.
        bend_at: distance of the bend outboard of the side face [m].
        hub: side face to the hub's inner end, along the shank: washers and seat [m].
        reach: hub's inner end to the tread's mid-plane [m].
        slack: bore less shank diameter [m].
        hangs: False for a wheel that carries (the shank bears on the bottom of the bore, so the wheel
            sits half the slack high); True for a car held up by its body, whose wheels hang low by it.

    Returns:
        The wheel's pose. The wheel is taken square to the shank.
    """
    a = hole_axis(side=side, cant=cant, sweep=sweep)
    u = shank_axis(side=side, cant=cant, sweep=sweep, bend=bend, clock=clock)
    past = hub + reach - bend_at
    # Unit vector perpendicular to u and nearest to straight up, times half the slack.
    flat = math.sqrt(u[0] * u[0] + u[1] * u[1])
    rise = (-0.5 if hangs else 0.5) * slack / flat
    return WheelPose(
        centre=(
            hole[0] + a[0] * bend_at + u[0] * past - u[2] * u[0] * rise,
            hole[1] + a[1] * bend_at + u[1] * past - u[2] * u[1] * rise,
            hole[2] + a[2] * bend_at + u[2] * past + flat * flat * rise,
        ),
        axis=u,
    )
