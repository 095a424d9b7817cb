"""The car from side to side: whether it holds the rail at the speed that the run gives it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Car
from rollwright.errors import OutOfRange
from rollwright.quantity import Quantity
from rollwright.run.inputs import GRAVITY
from rollwright.run.lateral_car import MOST_YAW, Sideways, sideways_of, straight_rail, wheel_loads, yaws
from rollwright.run.lateral_fast import marcher
from rollwright.run.lateral_lane import Roughness, wander
from rollwright.run.lateral_march import march
from rollwright.run.lateral_result import Cost, Held, told
from rollwright.run.losses import Losses, losses_of
from rollwright.run.motion import FEW
from rollwright.run.once import run
from rollwright.run.result import Run
from rollwright.run.track import Track, places

__all__ = ["RESTITUTION", "STEP", "Course", "course_of", "follow", "hold"]

Array = NDArray[Any]

RESTITUTION = Quantity(value=0.5, uncertainty=0.15, label="restitution")
"""Speed off the rail over speed onto it, of a plastic wheel (judgement; 0 sticks, 1 loses nothing)."""

STEP = 0.5e-3
"""How far the car goes in a step [m]."""

_NODES = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What the run gives the motion from side to side, on steps of equal length.

    Attributes:
        run: the straight run.
        track: the track, on its lane.
        losses: the coefficients.
        distance: of the rear contact from where it started [m], (n + 1,).
        time: since the start [s], likewise.
        steps: how long each step lasts [s], (n,).
        speeds: during each [m/s].
        rear: load on the rear axle [N].
        front: load on the front axle [N].
        square: gravity square to the surface [m/s2].
        worth: time to the finish that a joule lost there costs [s/J]; zeros where the car stalls.
    """

    run: Run
    track: Track
    losses: Losses
    distance: Array
    time: Array
    steps: Array
    speeds: Array
    rear: Array
    front: Array
    square: Array
    worth: Array


def course_of(
    car: Car,
    track: Track,
    *,
    losses: Losses | None = None,
    lane: str = "",
    gravity: Quantity = GRAVITY,
    push: float = 0.0,
    step: float = STEP,
) -> Course:
    """Return what the run gives the motion from side to side.

    Args:
        car: the car.
        track: the track.
        losses: coefficients; left out, the track's own and the shipped defaults.
        lane: name of a lane; left out, the track as it is.
        gravity: acceleration of free fall [m/s2].
        push: speed at the start [m/s].
        step: how far the car goes in a step [m].

    Returns:
        The course. Between the run's own points the square of the speed goes evenly with the way. A joule
        lost at a place costs `1 / (M v^3)` seconds for each metre from there to the finish, M being the mass
        that moves, to first order; the air gives some of it back.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
        MissingReference: there is no such lane.
        OutOfRange: gravity, push or step is not a possible one, or the car does not move.
    """
    if not 1e-5 <= step <= 0.01:
        raise OutOfRange(
            f"a step of {step:g} m is none to reckon with", mend="give 0.00001 to 0.01", key="step"
        )
    # Loads jump where the surface begins to bend: many nodes put the run's own points close to there.
    nodes = _NODES if len(track.pieces) <= FEW else None
    straight = run(
        car, track, losses=losses, lane=lane, gravity=gravity, push=push, prices=False, nodes=nodes
    )
    on_lane = track.on_lane(lane) if lane else track
    trace = straight.trace
    whole = float(trace.distance[-1])
    if not whole > 10.0 * step:
        raise OutOfRange("the car hardly leaves the gate", mend="check the track's ramp and losses")
    count = math.ceil(whole / step)
    distance = np.linspace(0.0, whole, count + 1)
    speed = np.sqrt(np.interp(distance, trace.distance, trace.speed**2))
    mean = 0.5 * (speed[:-1] + speed[1:])
    middle = 0.5 * (distance[:-1] + distance[1:])
    # The run tells the centre of mass's speed; in a bend the contacts go a little slower. Times are kept.
    reckoned = np.concatenate(([0.0], (np.diff(distance) / mean).cumsum()))
    passed = np.interp(trace.distance, distance, reckoned)
    steps = np.diff(np.interp(reckoned, passed, trace.time))
    mean = np.diff(distance) / steps
    worth = np.zeros(count)
    if straight.finish_time is not None:
        moving = 2.0 * straight.energy["kinetic"] / speed[-1] ** 2
        stride = np.diff(distance)
        # A car made slower meets less air: what is left of a joule lost falls off with the way.
        drag = straight.energy["air"] / float(mean**2 @ stride)
        left = np.exp(-2.0 * drag / moving * middle)
        slower = stride * left / (moving * mean**3)
        worth = (np.cumsum(slower[::-1])[::-1] - 0.5 * slower) / left
    return Course(
        run=straight,
        track=on_lane,
        losses=losses_of(on_lane.losses) if losses is None else losses,
        distance=distance,
        time=np.concatenate(([0.0], steps.cumsum())),
        steps=steps,
        speeds=mean,
        rear=np.interp(middle, trace.distance, trace.rear_load),
        front=np.interp(middle, trace.distance, trace.front_load),
        square=gravity.value * np.cos(places(on_lane, middle).angle),
        worth=worth,
    )


def hold(
    car: Car,
    track: Track,
    *,
    losses: Losses | None = None,
    lane: str = "",
    gravity: Quantity = GRAVITY,
    push: float = 0.0,
    roughness: Roughness | None = None,
    start_offset: float | None = None,
    start_heading: float = 0.0,
    restitution: float = RESTITUTION.value,
    step: float = STEP,
) -> Held:
    """Return how a car moves from side to side down a lane, and whether it holds the rail.

    Args:
        car: the car.
        track: the track.
        losses: coefficients; left out, the track's own and the shipped defaults.
        lane: name of a lane; left out, the track as it is.
        gravity: acceleration of free fall [m/s2].
        push: speed at the start [m/s].
        roughness: how rough the lane is; left out, as rough as `Roughness()`.
        start_offset: how far left of the rail's middle the body's centre line is staged, at the centre of
            mass [m]; positive left, negative right. Left out, as near the middle as the rail lets it.
        start_heading: heading of the staged body [rad]; positive, nose to the left; negative, to the right.
        restitution: speed off the rail over speed onto it, 0 to 1.
        step: how far the car goes in a step [m].

    Returns:
        The motion. Angles are small: the lane's own direction is that of x throughout.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
        MissingReference: there is no such lane.
        OutOfRange: a figure is not a possible one, or the car cannot be staged so.
    """
    course = course_of(car, track, losses=losses, lane=lane, gravity=gravity, push=push, step=step)
    return follow(
        course,
        sideways_of(car),
        roughness=Roughness() if roughness is None else roughness,
        start_offset=start_offset,
        start_heading=start_heading,
        restitution=restitution,
    )


def follow(
    course: Course,
    sideways: Sideways,
    *,
    roughness: Roughness,
    start_offset: float | None = None,
    start_heading: float = 0.0,
    restitution: float = RESTITUTION.value,
    plain: bool = False,
) -> Held:
    """Return how a car moves from side to side on a course that is known.

    Args:
        course: what the run gives.
        sideways: what is to be known of the car.
        roughness: how rough the lane is.
        start_offset: see `hold` [m].
        start_heading: see `hold` [rad].
        restitution: see `hold`.
        plain: whether to use the plain functions where compiled ones could be had; they give the same.

    Returns:
        The motion.

    Raises:
        OutOfRange: a figure is not a possible one, or the car cannot be staged so.
    """
    if not 0.0 <= restitution <= 1.0:
        raise OutOfRange(f"a restitution of {restitution:g} is none", mend="give 0 to 1", key="restitution")
    if not abs(start_heading) < MOST_YAW:
        raise OutOfRange(
            f"a heading of {math.degrees(start_heading):.1f} deg is too far from straight",
            mend=f"give less than {math.degrees(MOST_YAW):.1f} deg either way",
            key="start_heading",
        )
    count = len(course.steps)
    loads = wheel_loads(sideways, course.rear, course.front)
    ahead_of_gate = sideways.centre[0] + sideways.ahead - sideways.nose
    rail = wander(roughness, course.distance + ahead_of_gate[:, None], length=course.track.finish + 0.5)
    wheels = sideways.wheels()
    figures = np.array(
        [
            sideways.mass,
            sideways.inertia,
            course.losses.creep_stiffness.value,
            course.losses.tread_friction.value,
            restitution,
            sideways.turn_step,
        ]
    )
    place, out = _staged(sideways, rail[:, 0], start_offset, start_heading)
    places_, outs, gaps = np.empty((4, count + 1)), np.empty((4, count + 1)), np.empty((4, count + 1))
    pressed, treads, lost = np.empty((4, count)), np.empty((4, count)), np.empty((4, count))
    outs[:, 0] = out
    (march if plain else marcher())(
        course.steps,
        course.speeds,
        loads,
        rail,
        -course.square * math.sin(roughness.tilt),
        wheels,
        figures,
        sideways.insets,
        np.array([place, start_heading, 0.0, 0.0]),
        places_,
        outs,
        gaps,
        pressed,
        treads,
        lost,
    )
    return told(
        run=course.run,
        sideways=sideways,
        roughness=roughness,
        restitution=restitution,
        start=(place - sideways.centre[1], start_heading),
        distance=course.distance,
        time=course.time,
        places=places_,
        outs=outs,
        gaps=gaps,
        rail=rail,
        pressed=pressed,
        treads=treads,
        lost=lost,
        cost=_cost(course, sideways, loads, places_, pressed, treads, lost),
        straight_force=straight_rail(sideways, loads, losses=course.losses)[0],
    )


def _staged(sideways: Sideways, rail: Array, offset: float | None, heading: float) -> tuple[float, Array]:
    """Return where the centre of mass begins and how far out each wheel is; a wheel may be pushed out."""
    nodes = yaws(sideways)
    away = np.array([np.interp(heading, nodes, row) for row in sideways.insets])
    side = sideways.wheels()[1]
    room = away + sideways.play - sideways.seat
    low = float((rail - room)[side > 0].max())
    high = float((rail + room)[side < 0].min())
    middle = sideways.centre[1]
    if low > high:
        raise OutOfRange(
            f"a car that heads {math.degrees(heading):.1f} deg off straight does not go over the rail",
            mend="stage it straighter",
            key="start_heading",
        )
    # Wheels that need not move do not.
    snug = away
    ease = (float((rail - snug)[side > 0].max()), float((rail + snug)[side < 0].min()))
    if offset is None:
        least, most = ease if ease[0] <= ease[1] else (low, high)
        place = min(most, max(least, middle))
    else:
        place = middle + offset
        if not low <= place <= high:
            raise OutOfRange(
                f"a start {1e3 * offset:.2f} mm left of the middle stands a wheel on the rail",
                mend=f"give {1e3 * (low - middle):.2f} to {1e3 * (high - middle):.2f} mm, left positive",
                key="start_offset",
            )
    base = side * (place - rail) + away - sideways.seat
    return place, np.clip(np.maximum(sideways.seat, -base), 0.0, sideways.play)


def _cost(
    course: Course,
    sideways: Sideways,
    loads: Array,
    places_: Array,
    pressed: Array,
    treads: Array,
    lost: Array,
) -> Cost:
    """Return the milliseconds of rail, scrub and knocks beside those that the straight run reckons."""
    yaw = places_[1, 1:]
    stride = np.diff(course.distance)
    over = (places_[2, 1:] + sideways.ahead[:, None] * places_[3, 1:]) / course.speeds
    # A tread's force times its slip: what heading and sideways speed together make of it.
    slip = sideways.steer[:, None] + places_[1, 1:] - over
    scrub = np.maximum(treads * slip, 0.0).sum(axis=0)
    nodes = yaws(sideways)
    rim = np.stack([np.interp(yaw, nodes, row) for row in sideways.rim_slip])
    rail = course.losses.rail_friction.value * (rim * pressed).sum(axis=0)
    force, straight_scrub, straight_slip = straight_rail(sideways, loads, losses=course.losses)
    straight_rub = course.losses.rail_friction.value * straight_slip * force
    if "rail" in course.losses.off:
        rail, straight_rub = np.zeros_like(rail), np.zeros_like(straight_rub)
    if "scrub" in course.losses.off:
        scrub, straight_scrub = np.zeros_like(scrub), np.zeros_like(straight_scrub)
    by = course.worth * stride
    return Cost(
        rail=float(rail @ by),
        scrub=float(scrub @ by),
        knocks=float(lost.sum(axis=0) @ course.worth),
        straight_rail=float(straight_rub @ by),
        straight_scrub=float(straight_scrub @ by),
        budget_rail=course.run.budget.get("rail", 0.0),
        budget_scrub=course.run.budget.get("scrub", 0.0),
    )
