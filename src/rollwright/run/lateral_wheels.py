"""One wheel beside the rail: how far off it is, what it passes on to the body, how it slides in its play.

Plain functions of numbers, which `lateral_fast` compiles.
"""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

__all__ = [
    "AHEAD",
    "GRIP",
    "INERTIA",
    "MASS",
    "PLAY",
    "QUIET",
    "RESTITUTION",
    "SEAT",
    "SIDE",
    "SLOPE",
    "STEER",
    "STIFFNESS",
    "TOUCHING",
    "TURN_STEP",
    "bind",
    "held_between",
    "inside_by",
    "look_up",
    "slid",
]

Array = NDArray[Any]

TOUCHING = 1e-7
"""A wheel nearer to the rail than this touches it [m]."""

QUIET = 1e-3
"""Slower knocks do not bounce: they would only chatter [m/s]."""

MASS, INERTIA, STIFFNESS, GRIP, RESTITUTION, TURN_STEP = range(6)
"""Places in the array of the car's figures."""
AHEAD, SIDE, STEER, SLOPE, PLAY, SEAT = range(6)
"""Rows of the array of its wheels."""


def look_up(insets: Array, wheel: int, yaw: float, turn_step: float) -> tuple[float, float]:
    """Return how far a wheel's innermost point is from the rail, and how yaw changes that.

    Args:
        insets: for each wheel at yaws of `turn_step` apart, none in the middle [m], (4, odd).
        wheel: which.
        yaw: of the body [rad], positive left.
        turn_step: [rad].

    Returns:
        The distance with the centre of mass over the rail's middle [m] and its derivative [m/rad]; on a node
        the mean of both sides. Left and right are treated alike to the last bit.
    """
    middle = (insets.shape[1] - 1) // 2
    size = abs(yaw) / turn_step
    way = -1 if yaw < 0.0 else 1
    cell = min(int(size), middle - 1)
    at = middle + way * cell
    part = size - cell
    near, far = insets[wheel, at], insets[wheel, at + way]
    slope = way * (far - near) / turn_step
    if part == 0.0 and cell > 0:
        before = insets[wheel, at - way]
        slope = 0.5 * (slope + way * (near - before) / turn_step)
    elif part == 0.0:
        slope = 0.5 * (insets[wheel, middle + 1] - insets[wheel, middle - 1]) / turn_step
    return near + part * (far - near), slope


def held_between(
    wheels: Array,
    wheel: int,
    gap: float,
    out: float,
    figures: Array,
    load: float,
    slip: float,
    limits: Array,
) -> float:
    """Write down what sideways force a wheel can pass to the body, and return how hard the rail holds it.

    A wheel is light and slides on its turning pin at a touch. Between its stops it passes on only what its
    load does on the sloping pin; the tread's own force is then that, or the rail takes the rest.

    Args:
        wheels: the car's wheels.
        wheel: which.
        gap: from its innermost point to the rail [m].
        out: how far out in its play it is [m].
        figures: of the car.
        load: on the wheel [N].
        slip: of the wheel if the rail holds it [rad].
        limits: least and greatest force, positive outward [N], (2, 4); written.

    Returns:
        How hard the rail pushes a wheel back that the tread leans on it [N]; negative where none leans.
    """
    grip = figures[GRIP] * load
    play = wheels[PLAY, wheel]
    push = load * wheels[SLOPE, wheel]
    passed = min(grip, max(-grip, -push))
    leant = min(grip, max(-grip, wheels[SIDE, wheel] * figures[STIFFNESS] * load * slip))
    low, high = -grip, grip
    pinned = -1.0
    at_body, at_head = out <= TOUCHING, out >= play - TOUCHING
    if gap <= TOUCHING and play > TOUCHING and leant + push <= 0.0:
        pinned = -leant - push
        if at_body:
            high = leant
        else:
            low, high = passed, passed
    elif play > TOUCHING:
        if at_head:
            low = passed
        elif at_body:
            high = passed
        else:
            low, high = passed, passed
    limits[0, wheel], limits[1, wheel] = low, high
    return pinned


def slid(
    wheels: Array,
    wheel: int,
    figures: Array,
    load: float,
    force: float,
    h: float,
    v: float,
    state: Array,
) -> float:
    """Return how far a wheel slides out on its pin in a step [m]; negative, in; 0 where its stop holds it.

    Args:
        wheels: the car's wheels.
        wheel: which.
        figures: of the car.
        load: on the wheel [N].
        force: of its tread sideways [N], positive left.
        h: step [s].
        v: speed down the track [m/s].
        state: at the step's end.

    Returns:
        It slides where its tread does no more than its load's push asks for; it then rolls where it heads,
        but for the slip that makes that force.
    """
    side, slope = wheels[SIDE, wheel], wheels[SLOPE, wheel]
    if wheels[PLAY, wheel] <= TOUCHING or abs(slope) >= figures[GRIP]:
        return 0.0
    if abs(force + side * load * slope) > 1e-12 * load:
        return 0.0
    heading = wheels[STEER, wheel] + state[1] + side * slope / figures[STIFFNESS]
    return float(side * h * (v * heading - (state[2] + wheels[AHEAD, wheel] * state[3])))


def bind(
    base: Array, outs: Array, pins: Array, fast: Array, h: float, wheels: Array, figures: Array, bounds: Array
) -> bool:
    """Write down the least speed away from the rail of each wheel in a step.

    Args:
        base: from each wheel to the rail, were it at the body's end of its play [m].
        outs: how far out in its play each is [m].
        pins: what `held_between` returned of each [N].
        fast: how fast each goes away from the rail at the step's beginning [m/s].
        h: step [s].
        wheels: the car's wheels.
        figures: of the car.
        bounds: speed softly [m/s], most impulse of that [N s], and speed hard [m/s], (3, 4); written.

    Returns:
        Whether a wheel knocks on the rail and bounces.
    """
    knocks = False
    for wheel in range(4):
        soft = pins[wheel] >= 0.0 and outs[wheel] <= TOUCHING
        bounds[0, wheel] = -max(base[wheel] + outs[wheel], 0.0) / h
        bounds[1, wheel] = h * pins[wheel] if soft else 0.0
        room = base[wheel] + wheels[PLAY, wheel]
        bounds[2, wheel] = -max(room, 0.0) / h
        # A knock within this step throws the body back.
        if fast[wheel] < -QUIET and room + h * fast[wheel] < 0.0:
            bounds[2, wheel] = max(bounds[2, wheel], -figures[RESTITUTION] * fast[wheel])
            knocks = knocks or bounds[2, wheel] > 0.0
    return bool(knocks)


def inside_by(insets: Array, wheels: Array, rail: Array, place: float, yaw: float, turn_step: float) -> float:
    """Return how far a car has to go sideways so that no wheel at its head is inside the rail.

    Args:
        insets: see `look_up`.
        wheels: the car's wheels.
        rail: where the rail's middle is beside each wheel [m].
        place: of the centre of mass [m].
        yaw: of the body [rad].
        turn_step: of the insets [rad].

    Returns:
        [m], positive left: what the curve of a rim leaves over when speeds alone are kept in bounds.
    """
    most, way = 0.0, 0.0
    for wheel in range(4):
        away, _ = look_up(insets, wheel, yaw, turn_step)
        room = wheels[SIDE, wheel] * (place - rail[wheel]) + away - wheels[SEAT, wheel] + wheels[PLAY, wheel]
        if room < -most:
            most, way = -room, -wheels[SIDE, wheel] * room
    return way
