"""How a car runs along the rail: by hand, by a step-by-step roll down the lane, and by a rigid-body engine.

The step-by-step roll knows the wheels' places from the second computation only. A rear axle is pushed on
along its own heading and the front is kept on the rail by trial; no yaw, tail or arm is put in.
"""

from __future__ import annotations

import copy
import math
from typing import Any

import mujoco
import numpy as np
import pytest
import tomlkit
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from rollwright.car import Car, Station, parse_car
from rollwright.geometry import stance
from rollwright.geometry.many import dimension_values
from rollwright.setup.estimate import seats_at
from rollwright.setup.predict import Rolled, rolled

from . import oracle

MM = 1e-3
NANOMETRE = 1e-9
RL, RR, FL, FR = range(4)
STATIONS = tuple(station.value for station in Station)
HALF_RAIL, HUB, AHEAD, BASE = 22.0 * MM, 27.0 * MM, 12.0 * MM, 120.0 * MM
"""Of the square car [m]: the inner edges stand 27 mm from the centre line; a wheel of radius 15 leaves a rail
6 high at 12 ahead of its lowest point, for 9, 12 and 15 are the sides of a right triangle."""


def rolled_of(car: Car) -> Rolled:
    values = dimension_values(car)
    return rolled(car, values[None, :], seats=seats_at(car, values))


def square_car(**stations: float) -> Car:
    """Return a car with level and square axles, hubs against the body, but for the sweeps given [deg]."""
    car = oracle.plain_car()
    car["body"].update(width=50.0, wheelbase=120.0, centre_of_mass=[40.0, 2.0, 10.0])
    car["wheels"]["disc"].update(diameter=30.0, tread_width=8.0, hub_projection=2.0)
    car["rail"].update(width=44.0, height=6.0)
    for name, place in car["stations"].items():
        place.update(seat="body", sweep=stations.get(name, 0.0))
    car["stations"]["front_right"]["hole_height"] = 12.0
    return parse_car(tomlkit.dumps(car))


def test_a_square_car_runs_square_and_over_by_what_its_wheel_stands_off() -> None:
    found = rolled_of(square_car())
    assert found.tail[0] == pytest.approx(-5.0 * MM, abs=NANOMETRE)
    assert found.gap[:, 0] == pytest.approx([0.0, 10.0 * MM, 0.0, 10.0 * MM], abs=NANOMETRE)


@pytest.mark.parametrize("sweep", [0.2, 0.5, 1.0])
def test_one_rear_wheel_that_heads_left_takes_the_tail_left_by_half_its_angle(sweep: float) -> None:
    # The right rear hole's outer end forward: that wheel heads left by all of it, the pair by half.
    found = rolled_of(square_car(rear_right=sweep))
    angle, half = math.radians(sweep), math.radians(sweep / 2.0)
    # The nose is turned to the right, so the left front wheel meets the rail at its leading edge.
    tail = HALF_RAIL - HUB * math.cos(half) + (BASE + AHEAD) * math.sin(half)
    assert tail > -5.0 * MM
    assert found.tail[0] == pytest.approx(tail, abs=NANOMETRE)
    left = HUB * math.cos(half) - AHEAD * math.sin(half) + tail - HALF_RAIL
    # Its inner rim's leading edge, the hub 2 mm out along an axis swept by the whole angle.
    x = 2.0 * MM * math.sin(angle) + AHEAD * math.cos(angle)
    y = -25.0 * MM - 2.0 * MM * math.cos(angle) + AHEAD * math.sin(angle)
    right = -(math.cos(half) * y - math.sin(half) * x + tail) - HALF_RAIL
    assert found.gap[RL, 0] == pytest.approx(left, abs=NANOMETRE)
    assert found.gap[RR, 0] == pytest.approx(right, abs=NANOMETRE)
    assert found.gap[FL, 0] == pytest.approx(0.0, abs=NANOMETRE)


def test_one_rear_wheel_that_heads_right_takes_the_tail_right_about_the_trailing_edge() -> None:
    found = rolled_of(square_car(rear_left=0.8))
    half = math.radians(0.4)
    tail = HALF_RAIL - HUB * math.cos(half) - (BASE - AHEAD) * math.sin(half)
    assert tail < -5.0 * MM
    assert found.tail[0] == pytest.approx(tail, abs=NANOMETRE)


def test_rear_wheels_that_toe_in_alike_leave_the_body_square() -> None:
    found = rolled_of(square_car(rear_left=0.6, rear_right=0.6))
    assert found.tail[0] == pytest.approx(-5.0 * MM, abs=NANOMETRE)


# The same by pushing a car down a lane, step by step.


def turned(disc: oracle.Disc, yaw: float) -> oracle.Disc:
    return disc.moved(Rotation.from_rotvec([0.0, 0.0, yaw]), 0.0)


def inner_edge(disc: oracle.Disc, *, height: float) -> float:
    """Return how far from the body's centre line a wheel's inner rim comes below a height, by walking it."""
    down = disc.lowest() - disc.touching_rim()
    across = np.cross(disc.axis, down)
    centre = disc.rim(-1)

    def walk(angles: NDArray[np.float64]) -> tuple[float, float]:
        points = centre + np.outer(np.cos(angles), down) + np.outer(np.sin(angles), across)
        # Where the rim cuts the height the walk ends a hair above it.
        out = np.where(points[:, 2] <= height + 1e-13, disc.side * points[:, 1], np.inf)
        best = int(np.argmin(out))
        return float(angles[best]), float(out[best])

    around = np.linspace(-math.pi, math.pi, 4001)
    near, _ = walk(around)
    step = float(around[1] - around[0])
    _, least = walk(np.linspace(near - step, near + step, 4001))
    return least


def rolled_down_a_lane(car: dict[str, Any], *, yaw: float) -> tuple[float, float, list[float]]:
    """Push a car down a lane along its rear heading, its front kept on the rail.

    Returns:
        The yaw in the end, how far left of the rail's middle the body's origin is, and each wheel's gap [m].
    """
    at_rest = oracle.rest(car)
    discs = at_rest.discs
    half, height = car["rail"]["width"] * MM / 2.0, car["rail"]["height"] * MM
    dominant = discs[car["setup"]["dominant"]]
    left, right = discs["rear_left"], discs["rear_right"]
    heading = (oracle.steer(left) + oracle.steer(right)) / 2.0
    rear = np.array([(left.lowest()[0] + right.lowest()[0]) / 2.0, 0.0])

    def sideways(yaw: float) -> float:
        """Return where the body's origin must be for the dominant wheel to touch the rail."""
        return float(dominant.side * (half - inner_edge(turned(dominant, yaw), height=height)))

    def rear_at(yaw: float) -> float:
        return sideways(yaw) + math.sin(yaw) * float(rear[0])

    step = 0.1 * (dominant.lowest()[0] - rear[0])
    for _ in range(220):
        # The rear pair rolls where it points; then the body turns until its wheel is on the rail again.
        there = rear_at(yaw) + step * math.sin(yaw + heading)
        yaw = brentq(lambda angle, there=there: rear_at(angle) - there, yaw - 0.05, yaw + 0.05, xtol=1e-14)
    over = sideways(yaw)
    gaps = [
        inner_edge(turned(discs[name], yaw), height=height) + discs[name].side * over - half
        for name in STATIONS
    ]
    return yaw, over, gaps


def some_car(seed: int) -> dict[str, Any]:
    rng = np.random.default_rng((seed, 77))
    car = oracle.plain_car()
    dominant = "front_left" if seed % 2 == 0 else "front_right"
    raised = "front_right" if dominant == "front_left" else "front_left"
    car["setup"]["dominant"] = dominant
    car["body"]["centre_of_mass"][1] = 2.0 if dominant == "front_left" else -2.0
    car["axles"][dominant].update(bend=rng.uniform(1.0, 4.0), bend_at=0.8)
    car["stations"][dominant].update(clock=rng.uniform(-60.0, 60.0), hole_height=8.8)
    car["stations"][raised]["hole_height"] = 11.0
    for name in ("rear_left", "rear_right"):
        car["stations"][name].update(cant=rng.uniform(1.0, 4.0), sweep=rng.normal(0.0, 0.6))
    return car


@pytest.mark.parametrize("seed", range(6))
def test_a_car_pushed_down_a_lane_ends_up_with_that_tail_and_those_gaps(seed: int) -> None:
    car = some_car(seed)
    found = rolled_of(parse_car(tomlkit.dumps(car)))
    ends = [rolled_down_a_lane(car, yaw=yaw) for yaw in (-0.02, 0.03)]
    for _, tail, gaps in ends:
        assert found.tail[0] == pytest.approx(tail, abs=2.0 * NANOMETRE)
        assert found.gap[:, 0] == pytest.approx(gaps, abs=2.0 * NANOMETRE)
    # However it was set down, it ends up in the same attitude, and its rear pair points down the lane.
    assert ends[0][0] == pytest.approx(ends[1][0], abs=1e-8)


def test_the_tail_grows_with_the_car() -> None:
    car = some_car(0)
    large = copy.deepcopy(car)
    for table in (*large["wheels"].values(), *large["axles"].values(), *large["stations"].values()):
        _grow(table, ("diameter", "tread_width", "hub_projection", "bore", "shank", "bend_at"))
        _grow(table, ("hole_height", "relief", "washer", "play", "offset"))
    _grow(large["body"], ("length", "width", "wheelbase", "rear_overhang"))
    _grow(large["rail"], ("width", "height"))
    large["body"]["centre_of_mass"] = [1.25 * each for each in large["body"]["centre_of_mass"]]
    large["weights"]["slug"]["position"] = [1.25 * each for each in large["weights"]["slug"]["position"]]
    one, other = (rolled_of(parse_car(tomlkit.dumps(each))) for each in (car, large))
    assert other.tail[0] == pytest.approx(1.25 * one.tail[0], abs=NANOMETRE)
    assert other.gap[:, 0] == pytest.approx(1.25 * one.gap[:, 0], abs=NANOMETRE)


def _grow(table: dict[str, Any], keys: tuple[str, ...]) -> None:
    for key in keys:
        if key in table:
            table[key] = 1.25 * table[key]


# The same in MuJoCo (Todorov, Erez, Tassa 2012, "MuJoCo: a physics engine for model-based control", IROS),
# which knows gravity, Coulomb friction, three touching rims, one whole wheel and a smooth rail.

GRAVITY, SLOPE, STEP, RUN = 9.80665, math.radians(2.0), 1e-4, 2.0
FRICTION, SOFT = 0.1, 1e-3
"""Contacts ten steps soft [s] and a modest friction, so that the wheel leans on the rail without chatter."""
THIN = 5e-4
"""Half thickness of the ellipsoid that stands for a rim [m]."""


def written(numbers: Any) -> str:
    return " ".join(repr(float(number)) for number in numbers)


def simulated_tail(car: dict[str, Any], *, start: float) -> float:
    """Let a car run down a sloped lane and return its mean tail offset over the last quarter metre [m]."""
    at_rest = oracle.rest(car)
    place = at_rest.place(at_rest.centre_of_mass)
    rise, half, height = float(place[2]), car["rail"]["width"] * MM / 2.0, car["rail"]["height"] * MM
    wheels = ""
    for name in at_rest.carrying:
        disc = at_rest.discs[name]
        rim = disc.touching_rim() - [0.0, 0.0, rise]
        size = written([disc.radius, disc.radius, THIN])
        # The whole wheel meets the rail; it is a cylinder about its own third axis.
        middle = float((disc.centre - disc.touching_rim()) @ disc.axis)
        on_rail = (
            f'<geom type="cylinder" size="{written([disc.radius, disc.width / 2.0])}" pos="0 0 {middle!r}" '
            'contype="2" conaffinity="2" condim="1" mass="0"/>'
        )
        wheels += (
            f'<body pos="{written(rim)}" zaxis="{written(disc.axis)}"><joint type="hinge" axis="0 0 1"/>'
            '<inertial pos="0 0 0" mass="2.7e-3" diaginertia="2.1e-7 2.1e-7 3.5e-7"/>'
            f'<geom type="ellipsoid" size="{size}" friction="{FRICTION} 0 0" condim="3"/>'
            f"{on_rail if name == car['setup']['dominant'] else ''}</body>"
        )
    pull = written([GRAVITY * math.sin(SLOPE), 0.0, -GRAVITY * math.cos(SLOPE)])
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><compiler angle="radian"/>
        <option timestep="{STEP}" gravity="{pull}" integrator="implicitfast" cone="elliptic" solver="Newton"
                tolerance="1e-12" ccd_tolerance="1e-9" ccd_iterations="200"/>
        <default><geom solref="{SOFT} 1" solimp="0.99 0.99 0.001"/></default>
        <worldbody><geom type="plane" size="0 0 1" friction="{FRICTION} 0 0" condim="3"/>
        <geom type="box" size="5 {half!r} {height / 2.0!r}" pos="0 0 {height / 2.0!r}" contype="2"
              conaffinity="2" condim="1"/>
        <body pos="0 {start!r} {rise!r}"><freejoint/>
        <inertial pos="{place[0]} {place[1]} 0" mass="0.13" diaginertia="2e-5 2.5e-4 2.6e-4"/>
        {wheels}</body></worldbody></mujoco>"""
    )
    data = mujoco.MjData(model)
    seen = []
    while data.qpos[0] < RUN:
        mujoco.mj_step(model, data)
        if data.qpos[0] > RUN - 0.25:
            seen.append(float(data.qpos[1]))
    return float(np.mean(seen))


def car_to_simulate(*, dominant: str, heading: float) -> dict[str, Any]:
    """Return a car whose rear wheels, as they stand, share one axis that heads as given [rad].

    Only then do both roll without slip; where they do not, the one that carries less slides.
    """
    car = oracle.plain_car()
    side = 1 if dominant == "front_left" else -1
    car["setup"]["dominant"] = dominant
    car["body"]["centre_of_mass"][1] = side * 2.0
    car["axles"][dominant].update(bend=2.5, bend_at=0.8)
    car["stations"][dominant].update(clock=30.0, hole_height=8.6)
    car["stations"]["front_right" if side == 1 else "front_left"]["hole_height"] = 11.0
    rear = {name: car["stations"][name] for name in ("rear_left", "rear_right")}
    for place in rear.values():
        place["cant"] = 2.5
    for _ in range(5):
        discs = oracle.rest(car).discs
        for name, place in rear.items():
            # Outer end forward turns a left wheel to the right and a right wheel to the left.
            place["sweep"] += discs[name].side * math.degrees(oracle.steer(discs[name]) - heading)
        ahead, aside, _ = discs["rear_left"].lowest() - discs["rear_right"].lowest()
        rear["rear_left"]["offset"] -= (ahead + aside * math.tan(heading)) / MM
    return car


@pytest.mark.parametrize("dominant", ["front_left", "front_right"])
@pytest.mark.parametrize("heading", [0.3, -0.4])
def test_a_simulated_car_runs_with_that_tail(dominant: str, heading: float) -> None:
    car = car_to_simulate(dominant=dominant, heading=math.radians(heading))
    ours = parse_car(tomlkit.dumps(car))
    offset = stance(ours).rail_offset
    assert offset is not None
    # It starts square, a twentieth of a millimetre off the rail.
    square = -ours.dominant.side * offset
    tail = simulated_tail(car, start=square - ours.dominant.side * 0.05 * MM)
    # Half a degree over the whole base is a millimetre; the contacts yield by less than a micrometre.
    assert abs(tail - square) > 0.5 * MM
    assert (tail - square) * heading > 0.0
    assert rolled_of(ours).tail[0] == pytest.approx(tail, abs=1e-6)
