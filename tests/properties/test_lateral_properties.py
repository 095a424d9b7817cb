"""What must hold of any car beside any rail: energy at knocks, the mirror, and wheels that stay out of it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from rollwright.car import parse_car
from rollwright.run import lateral
from rollwright.run.lateral import course_of, follow
from rollwright.run.lateral_car import MOST_YAW, sideways_of, steered
from rollwright.run.lateral_lane import Roughness, wander
from rollwright.run.lateral_march import march
from rollwright.run.lateral_result import Held
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from tests.unit.run_bench import mirrored

Array = NDArray[Any]
LARK = parse_car(file_text("lark.toml"))
HALL = parse_track(file_text("track-tannery.toml"))
COURSE = course_of(LARK, HALL, step=2e-3)
CAR = sideways_of(LARK)
TWIN = mirrored(LARK)
TWIN_COURSE = course_of(TWIN, HALL, step=2e-3)
TWIN_CAR = sideways_of(TWIN)

SPEEDS = st.floats(-0.5, 0.5)
# A car wedged between both faces without any room is no car on a rail.
GAPS = st.lists(st.floats(1e-5, 2e-4), min_size=4, max_size=4)
ARMS = st.lists(st.floats(-0.1, 0.1), min_size=4, max_size=4)


@settings(deadline=None, max_examples=200)
@given(u=SPEEDS, r=st.floats(-5.0, 5.0), gaps=GAPS, arms=ARMS, restitution=st.floats(0.0, 1.0))
def test_energy_never_grows_at_a_knock(
    u: float, r: float, gaps: list[float], arms: list[float], restitution: float
) -> None:
    # No treads, so that only knocks, of up to four wheels at once, change the speeds.
    mass, inertia, count = 0.14, 3.6e-4, 60
    wheels = np.zeros((6, 4))
    wheels[1] = 1.0, -1.0, 1.0, -1.0
    insets = np.array(gaps)[:, None] + np.array(arms)[:, None] * np.linspace(-2.0, 2.0, 3)
    places, outs, far = np.zeros((4, count + 1)), np.zeros((4, count + 1)), np.zeros((4, count + 1))
    pressed, treads, lost = np.zeros((4, count)), np.zeros((4, count)), np.zeros((4, count))
    march(
        np.full(count, 1e-4),
        np.full(count, 3.0),
        np.zeros((4, count)),
        np.zeros((4, count + 1)),
        np.zeros(count),
        wheels,
        np.array([mass, inertia, 0.0, 1.0, restitution, 2.0]),
        insets,
        np.array([0.0, 0.0, u, r]),
        places,
        outs,
        far,
        pressed,
        treads,
        lost,
    )
    energy = 0.5 * (mass * places[2] ** 2 + inertia * places[3] ** 2)
    assert np.all(np.diff(energy) <= 1e-9 * energy[0] + 1e-18)
    assert np.all(pressed >= 0.0)
    # Wheels wedged between both faces are found by turns that close in on the answer slowly.
    assert far.min() > -1e-5


def _held(waves: float, seed: int, offset: float, heading: float, steer: float) -> Held:
    return follow(
        COURSE,
        steered(CAR, steer),
        roughness=Roughness(waves=waves, seed=seed),
        start_offset=offset,
        start_heading=heading,
    )


CASES = {
    "waves": st.floats(0.0, 6e-4),
    "seed": st.integers(0, 10_000),
    "offset": st.floats(-6e-4, 8e-4),
    "heading": st.floats(-0.004, 0.004),
    "steer": st.floats(-0.04, 0.02),
}


@settings(deadline=None, max_examples=60)
@given(**CASES)
def test_the_rail_keeps_every_wheel_out_and_every_wheel_stays_on_its_pin(
    waves: float, seed: int, offset: float, heading: float, steer: float
) -> None:
    held = _held(waves, seed, offset, heading, steer)
    assert held.gaps.min() > -1e-6
    assert np.all(held.outs >= 0.0)
    assert np.all(held.outs <= CAR.play[:, None])
    assert np.all(held.pressed >= 0.0)
    assert held.lost.min() >= -1e-12
    grip = COURSE.losses.tread_friction.value
    loads = np.abs(held.treads).max(axis=1)
    assert np.all(loads <= grip * 1.0001 * max(COURSE.rear.max(), COURSE.front.max()))
    assert held.cost.scrub >= 0.0
    assert held.cost.rail >= 0.0
    assert all(touch.approach >= 0.0 and touch.impulse >= 0.0 for touch in held.touches)
    assert np.abs(held.places[1]).max() < MOST_YAW


@settings(deadline=None, max_examples=40)
@given(
    waves=st.floats(0.0, 6e-4),
    seed=st.integers(0, 10_000),
    offset=st.floats(-6e-4, 8e-4),
    heading=st.floats(-0.004, 0.004),
    tilt=st.floats(-0.02, 0.02),
)
def test_the_mirrored_car_on_the_mirrored_lane_does_the_mirrored_thing(
    waves: float, seed: int, offset: float, heading: float, tilt: float
) -> None:
    lane = Roughness(waves=waves, seed=seed, tilt=tilt)
    one = follow(COURSE, CAR, roughness=lane, start_offset=offset, start_heading=heading)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lateral, "wander", lambda *given, **named: -wander(*given, **named))
        other = follow(
            TWIN_COURSE,
            TWIN_CAR,
            roughness=replace(lane, tilt=-tilt),
            start_offset=-offset,
            start_heading=-heading,
        )
    # Bounces multiply what rounding began in the stance of either car.
    assert other.places == pytest.approx(-one.places, abs=1e-7)
    assert other.gaps[[1, 0, 3, 2]] == pytest.approx(one.gaps, abs=1e-7)
    assert other.holds == one.holds
    assert other.cost.more == pytest.approx(one.cost.more, abs=1e-6)


@settings(deadline=None, max_examples=20)
@given(seed=st.integers(0, 1000), waves=st.floats(1e-5, 1e-3))
def test_a_lane_is_as_rough_as_it_is_said_to_be(seed: int, waves: float) -> None:
    at = np.linspace(0.0, 200.0, 40_001)
    found = wander(Roughness(waves=waves, joints=0.0, seed=seed), at, length=8.0)
    assert float(np.sqrt(np.mean(found**2))) == pytest.approx(waves, rel=0.05)
    again = wander(Roughness(waves=waves, joints=0.0, seed=seed), at, length=8.0)
    assert np.array_equal(found, again)
    assert math.isclose(float(np.abs(found).max() / waves), 3.0, abs_tol=2.0)
