"""The motion from side to side against closed forms of vehicle dynamics, sliding and bouncing.

The linear single-track car is that of R. Rajamani, Vehicle Dynamics and Control, ch. 2 (equations from
memory); sliding and bouncing are those of any dynamics text (J. L. Meriam, L. G. Kraige, Dynamics).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import mujoco
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import expm

from rollwright.car import parse_car
from rollwright.run.lateral import course_of, follow
from rollwright.run.lateral_car import sideways_of
from rollwright.run.lateral_fast import marcher
from rollwright.run.lateral_lane import Roughness
from rollwright.run.losses import losses_of
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text

Array = NDArray[Any]
G = 9.80665
MASS, INERTIA = 0.14, 3.6e-4
REAR, FRONT = -0.045, 0.08
BASE = FRONT - REAR
SMOOTH = Roughness(waves=0.0, joints=0.0)
LARK = parse_car(file_text("lark.toml"))
HALL = parse_track(file_text("track-tannery.toml"))


@dataclass(frozen=True)
class Marched:
    time: Array
    places: Array
    pressed: Array
    treads: Array
    lost: Array


def _march(
    *,
    lasts: float,
    step: float,
    speed: float,
    loads: tuple[float, float, float, float],
    steer: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    stiffness: float = 0.0,
    grip: float = 1e9,
    restitution: float = 0.0,
    start: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    room: tuple[float, float, float, float] = (1e3, 1e3, 1e3, 1e3),
    arms: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0),
    sideways: float = 0.0,
) -> Marched:
    """Follow a plain car without play; `room` is how far each wheel is from the rail, `arms` per radian."""
    count = round(lasts / step)
    wheels = np.zeros((6, 4))
    wheels[0] = REAR, REAR, FRONT, FRONT
    wheels[1] = 1.0, -1.0, 1.0, -1.0
    wheels[2] = steer
    yaws = np.linspace(-0.5, 0.5, 3)
    insets = np.array(room)[:, None] + np.array(arms)[:, None] * yaws
    steps = np.full(count, step)
    found = {name: np.zeros((4, count + 1)) for name in ("places", "outs", "gaps")}
    found |= {name: np.zeros((4, count)) for name in ("pressed", "treads", "lost")}
    marcher()(
        steps,
        np.full(count, speed),
        np.tile(np.array(loads)[:, None], (1, count)),
        np.zeros((4, count + 1)),
        np.full(count, sideways),
        wheels,
        np.array([MASS, INERTIA, stiffness, grip, restitution, 0.5]),
        insets,
        np.array(start),
        *found.values(),
    )
    return Marched(
        time=np.concatenate(([0.0], steps.cumsum())),
        places=found["places"],
        pressed=found["pressed"],
        treads=found["treads"],
        lost=found["lost"],
    )


@pytest.mark.parametrize("speed", [1.0, 4.0])
@pytest.mark.parametrize("front_load", [0.2, 0.5, 0.9])
def test_a_steered_car_turns_as_a_single_track_car_does(speed: float, front_load: float) -> None:
    # Rajamani, ch. 2: r = v delta / (L + K v^2), K = m / L (l_r / C_f - l_f / C_r), with loads that are not
    # those of its weight, so that it is neither neutral nor what the step's scheme might favour.
    rear_load, stiffness, steer = 0.9, 30.0, 0.004
    c_f, c_r = stiffness * front_load, stiffness * rear_load
    gradient = MASS / BASE * (-REAR / c_f - FRONT / c_r)
    expected = speed * steer / (BASE + gradient * speed**2)
    found = _march(
        lasts=2.0,
        step=2e-4,
        speed=speed,
        loads=(0.5 * rear_load, 0.5 * rear_load, front_load, 0.0),
        steer=(0.0, 0.0, steer, 0.0),
        stiffness=stiffness,
    )
    assert BASE + gradient * speed**2 > 0.0
    assert found.places[3, -1] == pytest.approx(expected, rel=1e-6)


def test_a_disturbed_car_comes_to_rest_as_the_linear_equations_say_and_the_error_is_of_first_order() -> None:
    speed, stiffness = 3.0, 40.0
    c_f, c_r = stiffness * 0.45, stiffness * 0.95
    # Rajamani, ch. 2, with y' = v_y + v psi: states v_y and r.
    matrix = np.array(
        [
            [-(c_f + c_r) / (MASS * speed), -speed - (c_f * FRONT + c_r * REAR) / (MASS * speed)],
            [
                -(c_f * FRONT + c_r * REAR) / (INERTIA * speed),
                -(c_f * FRONT**2 + c_r * REAR**2) / (INERTIA * speed),
            ],
        ]
    )
    began, lasts = np.array([0.03, 0.5]), 0.02
    expected = expm(matrix * lasts) @ began
    errors = []
    for step in (2e-4, 1e-4, 5e-5):
        found = _march(
            lasts=lasts,
            step=step,
            speed=speed,
            loads=(0.475, 0.475, 0.45, 0.0),
            stiffness=stiffness,
            start=(0.0, 0.0, float(began[0]), float(began[1])),
        )
        _, yaw, u, r = found.places[:, -1]
        errors.append(float(np.abs(np.array([u - speed * yaw, r]) - expected).max()))
    assert errors[-1] < 0.01 * np.abs(began).max()
    assert errors[0] / errors[1] == pytest.approx(2.0, rel=0.1)
    assert errors[1] / errors[2] == pytest.approx(2.0, rel=0.1)


def test_a_car_that_slides_sideways_is_slowed_by_friction_alone() -> None:
    # Loads balance about the centre of mass, so that it does not turn: u = u0 - mu g t, u0^2 / (2 mu g) far.
    weight, grip, began = MASS * G, 0.3, 0.2
    front, rear = weight * -REAR / BASE, weight * FRONT / BASE
    found = _march(
        lasts=0.1,
        step=1e-4,
        speed=2.0,
        loads=(0.5 * rear, 0.5 * rear, 0.5 * front, 0.5 * front),
        stiffness=1e6,
        grip=grip,
        start=(0.0, 0.0, began, 0.0),
    )
    moves = found.time < began / (grip * G) - 2e-4
    assert found.places[2][moves] == pytest.approx(began - grip * G * found.time[moves], abs=1e-9)
    assert found.places[0, -1] == pytest.approx(began**2 / (2.0 * grip * G), rel=2e-3)
    assert found.places[2, -1] == pytest.approx(0.0, abs=1e-6)
    assert np.abs(found.places[1]).max() < 1e-9


@pytest.mark.parametrize("restitution", [0.0, 0.3, 0.8, 1.0])
def test_each_knock_leaves_the_square_of_the_restitution_of_the_energy(restitution: float) -> None:
    began = 0.1
    found = _march(
        lasts=0.5,
        step=1e-4,
        speed=2.0,
        loads=(0.0, 0.0, 0.0, 0.0),
        restitution=restitution,
        start=(0.0, 0.0, began, 0.0),
        room=(1.0, 1.0, 3e-3, 3e-3),
    )
    knocks = int((found.lost.sum(axis=0) > 0.0).sum()) if restitution < 1.0 else 0
    energy = 0.5 * MASS * found.places[2] ** 2
    if restitution < 1.0:
        assert knocks >= 1
        left = energy[0] * restitution ** (2 * knocks)
        assert energy[-1] == pytest.approx(left, rel=1e-9, abs=1e-18)
        assert found.lost.sum() == pytest.approx(energy[0] - energy[-1], rel=1e-9)
    else:
        assert energy == pytest.approx(energy[0], rel=1e-12)
        assert len(np.flatnonzero(np.diff(np.sign(found.places[2])))) > 5


def test_a_car_pushed_at_the_rail_bounces_ever_lower() -> None:
    # One side only, pushed with a steady acceleration: each flight rises e^2 as far as the one before.
    push, height, restitution = 2.0, 2e-3, 0.6
    found = _march(
        lasts=0.3,
        step=2e-5,
        speed=2.0,
        loads=(0.0, 0.0, 0.0, 0.0),
        restitution=restitution,
        room=(1.0, 1.0, height, 1.0),
        sideways=-push,
    )
    gap = found.places[0] + height
    peaks = [k for k in range(1, len(gap) - 1) if gap[k - 1] < gap[k] >= gap[k + 1]]
    rises = [height, *(float(gap[k]) for k in peaks[:3])]
    for before, after in pairwise(rises):
        assert after / before == pytest.approx(restitution**2, rel=0.02)
    assert found.places[2, -1] == pytest.approx(0.0, abs=1e-9)
    assert found.pressed[2, -1] == pytest.approx(MASS * push, rel=1e-9)


def test_a_knock_beside_the_centre_of_mass_turns_the_car_as_a_rigid_body() -> None:
    # Impulse (1 + e) v / (1/m + a^2/I) (Meriam and Kraige, ch. 6).
    began, restitution, arm = 0.1, 0.5, 0.09
    found = _march(
        lasts=5e-3,
        step=1e-4,
        speed=2.0,
        loads=(0.0, 0.0, 0.0, 0.0),
        restitution=restitution,
        start=(0.0, 0.0, -began, 0.0),
        room=(1.0, 1.0, 1e-4, 1.0),
        arms=(0.0, 0.0, arm, 0.0),
    )
    impulse = (1.0 + restitution) * began / (1.0 / MASS + arm**2 / INERTIA)
    assert found.places[2, -1] == pytest.approx(-began + impulse / MASS, rel=1e-9)
    assert found.places[3, -1] == pytest.approx(arm * impulse / INERTIA, rel=1e-9)
    assert found.pressed.sum() * 1e-4 == pytest.approx(impulse, rel=1e-9)
    assert found.lost.sum() == pytest.approx(
        0.5 * (1.0 - restitution**2) * began**2 / (1.0 / MASS + arm**2 / INERTIA), rel=1e-9
    )


def test_the_rail_takes_the_treads_force_at_its_own_lever() -> None:
    # Moments about the rear pair: the rail touches `a` ahead of the tread, so R (L + a) = F L (statics).
    car = LARK
    course = course_of(car, HALL)
    held = follow(course, sideways_of(car), roughness=SMOOTH)
    stance = held.sideways.at_rest
    near = stance.stations[car.dominant].rail_contact
    assert near is not None
    length = stance.drift.length
    expected = held.straight_force * length / (length + near.ahead)
    assert held.steady_force == pytest.approx(expected, rel=0.005)
    # The straight run leaves that lever out: the difference between the two models.
    assert held.straight_force == pytest.approx(held.steady_force, rel=0.06)
    assert held.straight_force > held.steady_force


def test_the_straight_runs_rail_and_scrub_are_reckoned_as_the_run_reckons_them() -> None:
    # The work of both losses that the run itself found, against the force that this model compares itself to.
    course = course_of(LARK, HALL)
    sideways = sideways_of(LARK)
    from rollwright.run.lateral_car import straight_rail, wheel_loads  # noqa: PLC0415 - this test's own

    loads = wheel_loads(sideways, course.rear, course.front)
    force, scrub, slip = straight_rail(sideways, loads, losses=course.losses)
    stride = np.diff(course.distance)
    assert course.losses.rail_friction.value * slip * float(force @ stride) == pytest.approx(
        course.run.energy["rail"], rel=2e-3
    )
    assert float(scrub @ stride) == pytest.approx(course.run.energy["scrub"], rel=2e-3)


def test_the_milliseconds_of_a_little_more_friction_are_those_of_the_run() -> None:
    # What a joule costs, against the run itself with a rail that rubs a hundredth more.
    course = course_of(LARK, HALL)
    held = follow(course, sideways_of(LARK), roughness=SMOOTH)
    base = losses_of(HALL.losses)
    rubs = replace(base, rail_friction=replace(base.rail_friction, value=1.01 * base.rail_friction.value))
    later = course_of(LARK, HALL, losses=rubs).run.finish_time
    assert later is not None
    assert course.run.finish_time is not None
    assert 0.01 * held.cost.straight_rail == pytest.approx(later - course.run.finish_time, rel=0.02)


RADIUS, STEERED, GRIP, SPEED, GAP, BALL = 0.015, -0.012, 0.3, 2.0, 1e-3, 0.09
# The rail yields a little and springs back as little as can be: seconds, and the share of critical damping.
RAIL = "0.002 1"


def _engine(step: float) -> tuple[Array, Array, Array]:
    """Return times, y of the centre of mass, and the rail's force, of a three-wheeled car in MuJoCo.

    The centre of mass lies on the floor, so that no load moves from wheel to wheel; a ball without friction
    stands for the rim that meets the rail.
    """
    places = ((REAR, 0.028, 0.0), (REAR, -0.028, 0.0), (FRONT, 0.0, STEERED))
    wheels = "".join(
        f'<body pos="{x} {y} 0" euler="0 0 {turn}"><joint type="hinge" axis="0 1 0"/>'
        '<inertial pos="0 0 0" mass="1e-4" diaginertia="1e-8 1e-8 1e-8"/>'
        f'<geom type="ellipsoid" size="{RADIUS} {RADIUS} 0.0005" zaxis="0 1 0" friction="{GRIP} 0 0" '
        'condim="3" contype="1" conaffinity="1"/></body>'
        for x, y, turn in places
    )
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><compiler angle="radian"/>
        <option timestep="{step}" gravity="0 0 -{G}" integrator="implicitfast" cone="elliptic"
          solver="Newton" tolerance="1e-12"/>
        <default><geom solref="{2 * step} 1" solimp="0.99 0.99 0.001"/></default>
        <worldbody><geom type="plane" size="0 0 1" friction="{GRIP} 0 0" condim="3" contype="1"
          conaffinity="1"/>
        <geom name="rail" type="box" solref="{RAIL}" size="5 0.01 0.01" pos="4 {-0.012 - GAP} {RADIUS}"
          condim="1" friction="0 0 0" contype="2" conaffinity="2"/>
        <body pos="0 0 {RADIUS}"><freejoint/>
        <inertial pos="0 0 {-RADIUS}" mass="{MASS - 3e-4}" diaginertia="2e-4 2e-4 {INERTIA}"/>
        <geom name="rim" type="sphere" solref="{RAIL}" size="0.002" pos="{BALL} 0 0" mass="0" condim="1"
          friction="0 0 0" contype="2" conaffinity="2"/>{wheels}</body></worldbody></mujoco>"""
    )
    data = mujoco.MjData(model)
    data.qvel[0] = SPEED
    data.qvel[6:9] = SPEED / RADIUS
    rim = mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_GEOM, "rim")
    times, sideways, forces = [], [], []
    push = np.zeros(6)
    while data.time < 0.6:
        mujoco.mj_step(model, data)
        force = 0.0
        for number in range(data.ncon):
            if rim in data.contact[number].geom:
                mujoco.mj_contactForce(model, data, number, push)
                force += push[0]
        times.append(data.time)
        sideways.append(data.qpos[1])
        forces.append(force)
    return np.array(times), np.array(sideways), np.array(forces)


def test_a_rigid_body_engine_goes_to_the_rail_alike_and_leans_as_hard() -> None:
    times, y, force = _engine(1e-4)
    weight = MASS * G
    front, rear = weight * -REAR / BASE, weight * FRONT / BASE
    ours = _march(
        lasts=0.6,
        step=1e-4,
        speed=SPEED,
        loads=(0.5 * rear, 0.5 * rear, front, 0.0),
        steer=(0.0, 0.0, STEERED, 0.0),
        stiffness=3e3,
        grip=GRIP,
        room=(1.0, 1.0, GAP, 1.0),
        arms=(0.0, 0.0, BALL, 0.0),
    )
    # To the rail and along it, within a hundredth of the way that is gone sideways.
    assert np.interp(times, ours.time, ours.places[0]) == pytest.approx(y, abs=0.02 * GAP)
    touches = times[np.argmax(force > 0.0)]
    ours_touches = ours.time[np.argmax(ours.pressed[2] > 0.0)]
    assert ours_touches == pytest.approx(touches, abs=2e-3)
    assert ours.pressed[2, -1] == pytest.approx(float(force[-2000:].mean()), rel=0.01)
    # And both are what statics says: mu N L / (L + a).
    assert ours.pressed[2, -1] == pytest.approx(GRIP * front * BASE / (BALL - REAR), rel=1e-3)


def test_a_car_bounces_without_a_tread_where_the_speed_has_no_say() -> None:
    slow, fast = (
        _march(
            lasts=0.05,
            step=1e-4,
            speed=speed,
            loads=(0.0, 0.0, 0.0, 0.0),
            restitution=0.4,
            start=(0.0, 0.0, -0.1, 0.3),
            room=(1e-3, 1e-3, 1e-3, 1e-3),
            arms=(-0.045, 0.045, 0.09, -0.09),
        )
        for speed in (0.1, 5.0)
    )
    assert np.array_equal(slow.places, fast.places)
    assert math.isfinite(float(slow.places.sum()))
