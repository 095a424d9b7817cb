"""Drift held against a general rigid-body simulator that knows nothing of steer, camber or curvature.

MuJoCo (Todorov, Erez, Tassa 2012, "MuJoCo: a physics engine for model-based control", IROS) rolls a car on
three wheels down a board from rest, under gravity and Coulomb friction with softened contacts. Only the
places, axes and radii of the three touching rims go in; the path comes out. The contacts yield a little
sideways in every step, so the simulated drift is short by an amount proportional to the time step.
"""

from __future__ import annotations

import copy
import math
from typing import TYPE_CHECKING, Any

import mujoco
import numpy as np
import pytest
import tomlkit

from rollwright.car import parse_car
from rollwright.geometry import stance

from . import oracle

if TYPE_CHECKING:
    from collections.abc import Sequence

GRAVITY = 9.80665
SLOPE = math.radians(2.0)
FRICTION = 0.5
STEP = 1e-4
# Half thickness of the ellipsoid that stands for a wheel's touching rim [m]: thin enough that its lowest
# point is the rim's (to a micrometre along the axle at five degrees of camber), and it touches at one point.
HALF_THICKNESS = 5e-4
# The same set-up against the closed form of one steered wheel beside the centre line was 1e-4 short of it at
# half this step with softer contacts.
TOLERANCE = 1e-4
# Taking the first order out by a second run must leave a small part of that.
TOLERANCE_EXTRAPOLATED = 1e-5


def _numbers(values: Sequence[float] | np.ndarray) -> str:
    return " ".join(repr(float(value)) for value in values)


def _wheel(disc: oracle.Disc, *, rise: float, mass: float = 2.7e-3, inertia: float = 3.5e-7) -> str:
    centre = disc.touching_rim() - [0.0, 0.0, rise]
    size = _numbers([disc.radius, disc.radius, HALF_THICKNESS])
    across = 0.6 * inertia
    return (
        f'<body pos="{_numbers(centre)}" zaxis="{_numbers(disc.axis)}"><joint type="hinge" axis="0 0 1"/>'
        f'<inertial pos="0 0 0" mass="{mass}" diaginertia="{across} {across} {inertia}"/>'
        f'<geom type="ellipsoid" size="{size}" friction="{FRICTION} 0 0" condim="3"/></body>'
    )


def _model(at_rest: oracle.Rest, *, step: float) -> Any:
    """Return the car on its three standing wheels, board level and gravity tilted instead."""
    place = at_rest.place(at_rest.centre_of_mass)
    rise = float(place[2])
    wheels = "".join(_wheel(at_rest.discs[name], rise=rise) for name in at_rest.carrying)
    pull = _numbers([GRAVITY * math.sin(SLOPE), 0.0, -GRAVITY * math.cos(SLOPE)])
    return mujoco.MjModel.from_xml_string(
        f"""<mujoco><compiler angle="radian"/>
        <option timestep="{step}" gravity="{pull}" integrator="implicitfast" cone="elliptic" solver="Newton"
                tolerance="1e-12"/>
        <default><geom solref="{2.0 * step} 1" solimp="0.99 0.99 0.001"/></default>
        <worldbody><geom type="plane" size="0 0 1" friction="{FRICTION} 0 0" condim="3"/>
        <body pos="0 0 {rise!r}"><freejoint/>
        <inertial pos="{place[0]} {place[1]} 0" mass="0.13" diaginertia="2e-5 2.5e-4 2.6e-4"/>
        {wheels}</body></worldbody></mujoco>"""
    )


def _simulated_drift(car: dict[str, Any], *, step: float = STEP) -> float:
    """Return the sideways travel of the centre-line point at the front hole line over the board [m]."""
    at_rest = oracle.rest(car)
    model = _model(at_rest, step=step)
    data = mujoco.MjData(model)
    board = float(car["board"]["length"]) / 1000.0
    nose = float(at_rest.place(np.array([car["body"]["wheelbase"] / 1000.0, 0.0, 0.0]))[0])
    position = data.qpos

    def watched() -> tuple[float, float]:
        _, _, _, w, x, y, z = position[:7]
        return (
            float(position[0] + nose * (1.0 - 2.0 * (y * y + z * z)) - nose),
            float(position[1] + nose * 2.0 * (x * y + w * z)),
        )

    before = after = watched()
    while after[0] < board:
        before = after
        mujoco.mj_step(model, data)
        after = watched()
    # The car still stands on all three wheels: it has turned about the vertical only, and has not sunk in.
    assert np.abs(position[4:6]).max() < 1e-5
    assert abs(float(position[2]) - float(model.qpos0[2])) < 1e-6
    share = (board - before[0]) / (after[0] - before[0])
    return before[1] + share * (after[1] - before[1])


def _with_rear_heading(car: dict[str, Any], heading: float) -> dict[str, Any]:
    """Return the car with its rear wheels, as they stand, on one common axis that heads as wanted [rad].

    Only then can both roll without slipping, which is what the closed form supposes.
    """
    turned = copy.deepcopy(car)
    places = turned["stations"]
    for _ in range(5):
        found = oracle.rest(turned).discs
        left, right = found["rear_left"], found["rear_right"]
        # Outer end forward turns a left wheel to the right and a right wheel to the left.
        places["rear_left"]["sweep"] += math.degrees(oracle.steer(left) - heading)
        places["rear_right"]["sweep"] -= math.degrees(oracle.steer(right) - heading)
        ahead, aside, _ = left.lowest() - right.lowest()
        places["rear_left"]["offset"] -= 1000.0 * (ahead + aside * math.tan(heading))
    return turned


def _car(*, dominant: str, bend: float, clock: float, cant: float = 2.5) -> dict[str, Any]:
    car = oracle.plain_car()
    raised = "front_right" if dominant == "front_left" else "front_left"
    side = 1 if dominant == "front_left" else -1
    car["setup"]["dominant"] = dominant
    car["body"]["centre_of_mass"][1] = side * 2.0
    car["axles"][dominant].update(bend=bend, bend_at=0.8)
    car["stations"][dominant].update(clock=clock, hole_height=8.6, washer=0.4)
    car["stations"][raised]["hole_height"] = 11.0
    for rear in ("rear_left", "rear_right"):
        car["stations"][rear]["cant"] = cant
    return car


def _our_drift(car: dict[str, Any]) -> float:
    found: dict[str, Any] = stance(parse_car(tomlkit.dumps(car))).as_json()
    drift = found["drift"]["lateral"]
    assert isinstance(drift, float)
    return drift


CARS: dict[str, tuple[dict[str, Any], float]] = {
    "left wheel steered right": (_car(dominant="front_left", bend=2.5, clock=20.0), 0.0),
    "left wheel steered left": (_car(dominant="front_left", bend=3.5, clock=-25.0), 0.15),
    "left wheel bent up": (_car(dominant="front_left", bend=2.0, clock=150.0), -0.1),
    "right wheel steered left": (_car(dominant="front_right", bend=3.0, clock=18.0, cant=3.5), -0.2),
    "right wheel steered right": (_car(dominant="front_right", bend=1.5, clock=-60.0), 0.1),
}


@pytest.mark.parametrize("name", CARS)
def test_a_simulated_car_drifts_as_far(name: str) -> None:
    car, rear_heading = CARS[name]
    car = _with_rear_heading(car, math.radians(rear_heading))
    expected = _our_drift(car)
    once = _simulated_drift(car, step=STEP)
    assert once == pytest.approx(expected, rel=TOLERANCE)
    twice = _simulated_drift(car, step=2.0 * STEP)
    assert 2.0 * once - twice == pytest.approx(expected, rel=TOLERANCE_EXTRAPOLATED)


def test_the_slip_in_the_contacts_is_of_first_order_in_the_step() -> None:
    car, rear_heading = CARS["left wheel steered right"]
    car = _with_rear_heading(car, math.radians(rear_heading))
    expected = _our_drift(car)
    short = [abs(_simulated_drift(car, step=part * STEP) - expected) for part in (4.0, 2.0, 1.0)]
    assert short[0] / short[1] == pytest.approx(2.0, rel=0.05)
    assert short[1] / short[2] == pytest.approx(2.0, rel=0.05)


def test_rear_wheels_that_disagree_move_the_drift_by_no_more_than_half_their_difference() -> None:
    # Pitch turns cant into toe, so both rear wheels cannot roll without slip. The mean steer then stands for
    # a compromise; under Coulomb friction the lighter one slides and the car follows the other.
    car = _car(dominant="front_left", bend=2.5, clock=20.0)
    discs = oracle.rest(car).discs
    follow_left, follow_right = (
        _our_drift(_with_rear_heading(car, oracle.steer(discs[name]))) for name in ("rear_left", "rear_right")
    )
    half = abs(follow_left - follow_right) / 2.0
    simulated = _simulated_drift(car)
    assert half > 50.0 * TOLERANCE * abs(simulated)
    assert abs(simulated - _our_drift(car)) < half + TOLERANCE * abs(simulated)
    # With the dominant wheel on the left, the right rear wheel carries more.
    assert abs(simulated - follow_right) < abs(simulated - _our_drift(car))
