"""The run held against a general rigid-body engine that knows nothing of effective mass or quadratures.

MuJoCo (E. Todorov, T. Erez, Y. Tassa, MuJoCo: a physics engine for model-based control, IROS 2012) rolls a
body with three hinged wheels under gravity and Coulomb friction with softened contacts. Its semi-implicit
Euler steps bring the car to a line half a step early, so half a step is added to its times.
"""

from __future__ import annotations

import math
from typing import Any

import mujoco
import numpy as np
import pytest

from rollwright.run.chassis import PARAMETERS, chassis, frame_of
from rollwright.run.inputs import GRAVITY as STANDARD
from rollwright.run.inputs import inputs_of
from rollwright.run.once import run
from rollwright.run.track import Track
from tests.unit.run_bench import GRAVITY, INERTIA, MASS, RADIUS, SHANK, laid_out, only, plain_car, straight

SLOPE = math.radians(15.0)
DISTANCE = 4.0
WHEEL_MASS = 2.6e-3
WHEEL_INERTIA = INERTIA * 4.0 / 3.0
FACETS = 1500
WHEELS = ((0.0, 0.028), (0.0, -0.028), (1.0, 0.028))
"""Of the rear pair and the front wheel: how far along the wheelbase, and how far to the left [m]."""


def _parameters(track: Track) -> dict[str, float]:
    car, losses = plain_car(), only()
    inputs = inputs_of(car, track, losses=losses, gravity=STANDARD)
    rows, _ = chassis(frame_of(car, inputs.names, losses=losses), inputs.values[None])
    return dict(zip(PARAMETERS, rows[0].tolist(), strict=True))


def _car(at: dict[str, float], *, friction: float = 0.0) -> str:
    """Return the car about its rear axle's centre; the raised wheel, which nothing spins, is body."""
    base = at["ahead"]
    rest = MASS - 3.0 * WHEEL_MASS
    x = (MASS * at["mass_x"] - WHEEL_MASS * base) / rest
    z = MASS * (at["mass_z"] - RADIUS) / rest
    about = at["pitch_inertia"]
    for mass, px, pz in ((rest, x, z), *((WHEEL_MASS, share * base, 0.0) for share, _ in WHEELS)):
        about -= mass * ((px - at["mass_x"]) ** 2 + (pz - at["mass_z"] + RADIUS) ** 2)
    wheels = "".join(
        f'<body pos="{share * base!r} {y} 0"><joint type="hinge" axis="0 1 0" frictionloss="{friction!r}"/>'
        f'<inertial pos="0 0 0" mass="{WHEEL_MASS}" '
        f'diaginertia="{0.6 * WHEEL_INERTIA!r} {WHEEL_INERTIA!r} {0.6 * WHEEL_INERTIA!r}"/>'
        f'<geom type="sphere" size="{RADIUS}" friction="0.5 0 0" condim="3"/></body>'
        for share, y in WHEELS
    )
    # The pitch inertia counts; the others only have to be possible ones. The roll is held by the rear pair.
    return (
        f'<freejoint/><inertial pos="{x!r} 0 {z!r}" mass="{rest!r}" '
        f'diaginertia="{0.4 * about!r} {about!r} {about!r}"/>{wheels}'
    )


def _model(body: str, grounds: str, *, start: str, pull: str, step: float) -> Any:
    return mujoco.MjModel.from_xml_string(
        f"""<mujoco><compiler angle="radian"/>
        <option timestep="{step}" gravity="{pull}" integrator="implicitfast" cone="elliptic" solver="Newton"
                tolerance="1e-12"/>
        <default><geom solref="{2.0 * step} 1" solimp="0.99 0.99 0.001"/></default>
        <worldbody>{grounds}<body {start}>{body}</body></worldbody></mujoco>"""
    )


def _ground(x: float, z: float, angle: float) -> str:
    return (
        f'<geom type="plane" size="0 0 1" pos="{x!r} 0 {z!r}" '
        f'zaxis="{math.sin(angle)!r} 0 {math.cos(angle)!r}" friction="0.5 0 0" condim="3"/>'
    )


def _time_to(model: Any, line: float, *, step: float, drag: float = 0.0) -> tuple[float, float]:
    """Return when the body's origin reaches a level distance, half a step added, and its speed there."""
    data = mujoco.MjData(model)
    x, t = float(data.qpos[0]), 0.0
    while data.qpos[0] < line:
        x, t = float(data.qpos[0]), float(data.time)
        if drag:
            data.xfrc_applied[1, :3] = -drag * np.linalg.norm(data.qvel[:3]) * data.qvel[:3]
        mujoco.mj_step(model, data)
        assert data.time < 20.0
    share = (line - x) / (float(data.qpos[0]) - x)
    return t + share * step + 0.5 * step, float(np.linalg.norm(data.qvel[:3]))


def _on_an_incline(*, step: float, friction: float = 0.0, drag: float = 0.0) -> float:
    """Return the time down an incline; the plane stays level and gravity is tilted."""
    at = _parameters(straight(angle=SLOPE, finish=DISTANCE))
    pull = f"{GRAVITY * math.sin(SLOPE)!r} 0 {-GRAVITY * math.cos(SLOPE)!r}"
    model = _model(
        _car(at, friction=friction),
        _ground(0.0, 0.0, 0.0),
        start=f'pos="0 0 {RADIUS}"',
        pull=pull,
        step=step,
    )
    return _time_to(model, DISTANCE, step=step, drag=drag)[0]


CASES: dict[str, tuple[dict[str, float], float]] = {
    # What acts in the run, and the tolerance that the engine was found to keep against the closed forms.
    "wheels that roll": ({}, 1e-6),
    "bearing friction": ({"bearing_friction": 0.15}, 1e-5),
    "drag": ({"drag_area": 0.002}, 2e-6),
}


@pytest.mark.parametrize("name", CASES)
def test_a_simulated_car_takes_as_long_down_an_incline(name: str) -> None:
    given, tolerance = CASES[name]
    # The load's share of each wheel does not matter: the moments of all bearings add up.
    friction = given.get("bearing_friction", 0.0) * MASS * GRAVITY * math.cos(SLOPE) * SHANK / 2.0 / 3.0
    simulated = _on_an_incline(step=2e-4, friction=friction, drag=0.6 * given.get("drag_area", 0.0))
    found = run(plain_car(), straight(angle=SLOPE, finish=DISTANCE), losses=only(**given), prices=False)
    assert found.finish_time is not None
    error = found.finish_time / simulated - 1.0
    print(  # noqa: T201 - the figures are wanted beside the verdict
        f"{name}: {found.finish_time:.7f} s, simulated {simulated:.7f} s, relative error {error:.2e}"
    )
    assert abs(error) < tolerance


def _down_the_ramp(track: Track, *, step: float, friction: float = 0.0) -> tuple[float, float]:
    """Return time and speed at the finish of a track whose arc is many tangent planes.

    Above a hollow surface the free space is convex, so that endless tangent planes bound it.
    """
    at = _parameters(track)
    arc = track.pieces[1]
    places = [track.at(arc.start + arc.length * (k + 0.5) / FACETS) for k in range(FACETS)]
    grounds = "".join(_ground(p.x, p.z, p.angle) for p in (track.at(0.0), *places, track.at(track.finish)))
    rear = track.at(-at["nose_x"])
    x, z = rear.x + RADIUS * math.sin(rear.angle), rear.z + RADIUS * math.cos(rear.angle)
    model = _model(
        _car(at, friction=friction),
        grounds,
        start=f'pos="{x!r} 0 {z!r}" euler="0 {rear.angle!r} 0"',
        pull=f"0 0 {-GRAVITY!r}",
        step=step,
    )
    return _time_to(model, track.at(track.finish).x - at["nose_x"], step=step)


SHORT = {"ramp_angle": math.radians(23.0), "ramp_length": 1.2, "arc_radius": 1.1, "flat_length": 1.2}


def test_a_simulated_car_takes_as_long_down_a_ramp_through_an_arc_and_along_the_flat() -> None:
    track = laid_out(SHORT)
    found = run(plain_car(), track, losses=only(), prices=False)
    assert found.finish_time is not None
    assert found.finish_speed is not None
    # Soft contacts brake a little through the arc, in proportion to the step; two steps take that out.
    coarse, fine = (_down_the_ramp(track, step=step) for step in (1e-3, 5e-4))
    simulated, speed = (2.0 * after - before for before, after in zip(coarse, fine, strict=True))
    error = found.finish_time / simulated - 1.0
    faster = found.finish_speed / speed - 1.0
    print(  # noqa: T201 - the figures are wanted beside the verdict
        f"ramp, arc, flat: {found.finish_time:.6f} s, simulated {coarse[0]:.6f} and {fine[0]:.6f} s, "
        f"extrapolated {simulated:.6f} s, relative error {error:.2e}; of the speed {faster:.2e}"
    )
    assert abs(error) < 5e-6
    assert abs(faster) < 2e-5


def test_the_engines_lag_through_the_arc_is_of_first_order_in_its_step() -> None:
    track = laid_out(SHORT)
    found = run(plain_car(), track, losses=only(), prices=False)
    assert found.finish_time is not None
    late = [_down_the_ramp(track, step=step)[0] - found.finish_time for step in (2e-3, 1e-3, 5e-4)]
    assert late[0] / late[1] == pytest.approx(2.0, rel=0.05)
    assert late[1] / late[2] == pytest.approx(2.0, rel=0.05)
