"""The motion from side to side: staging, play, touches, the steer curve, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rollwright.car import Station, parse_car
from rollwright.errors import OutOfRange
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity
from rollwright.run.lateral import course_of, follow, hold
from rollwright.run.lateral_car import sideways_of, steered, wheel_loads
from rollwright.run.lateral_fast import marcher
from rollwright.run.lateral_lane import Roughness, wander
from rollwright.run.lateral_march import march
from rollwright.run.lateral_result import LONG_OFF
from rollwright.run.lateral_steer import drift_at, steer_curve, trade_steer
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from tests.unit.run_bench import straight

LARK = parse_car(file_text("lark.toml"))
HALL = parse_track(file_text("track-tannery.toml"))
COURSE = course_of(LARK, HALL)
CAR = sideways_of(LARK)
SMOOTH = Roughness(waves=0.0)
ROUGH = Roughness(waves=0.5e-3, seed=3)
FRONT_LEFT, FRONT_RIGHT = 2, 3


def test_the_compiled_motion_is_the_plain_one() -> None:
    assert marcher() is not march
    plain, fast = (follow(COURSE, CAR, roughness=ROUGH, plain=plain) for plain in (True, False))
    assert np.array_equal(plain.places, fast.places)
    assert np.array_equal(plain.pressed, fast.pressed)
    assert np.array_equal(plain.outs, fast.outs)


def test_without_the_compiler_the_plain_functions_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "numba", None)
    marcher.cache_clear()
    try:
        assert marcher() is march
    finally:
        monkeypatch.undo()
        marcher.cache_clear()


def test_the_course_lasts_as_long_as_the_run() -> None:
    assert COURSE.time[-1] == pytest.approx(COURSE.run.finish_time, rel=1e-12)
    assert COURSE.rear + COURSE.front == pytest.approx(
        wheel_loads(CAR, COURSE.rear, COURSE.front).sum(axis=0), rel=1e-12
    )


def test_gaps_at_the_start_are_those_of_the_stance() -> None:
    held = follow(COURSE, CAR, roughness=SMOOTH)
    at_rest = stance(LARK)
    for number, station in enumerate(Station):
        assert held.gaps[number, 0] == pytest.approx(at_rest.stations[station].rail_gap, abs=1e-12)


def test_the_steered_wheel_goes_to_the_rail_and_stays_there_on_a_smooth_lane() -> None:
    held = follow(COURSE, CAR, roughness=SMOOTH)
    assert held.holds
    assert held.first is not None
    assert held.first < 0.3
    assert held.longest is None
    assert held.on_rail == 1.0
    assert held.strays == ()


def test_a_wheel_that_heads_away_takes_the_car_to_the_other_side() -> None:
    held = follow(COURSE, steered(CAR, math.radians(1.0)), roughness=SMOOTH)
    assert not held.holds
    assert {touch.station for touch in held.strays} == {Station.FRONT_RIGHT}
    assert held.first is None


def test_play_is_a_dead_band() -> None:
    # The raised wheel yields until its hub meets the axle's head; only then does the rail hold the body.
    held = follow(COURSE, steered(CAR, math.radians(1.0)), roughness=SMOOTH)
    first = int(np.argmax(held.gaps[FRONT_RIGHT] < 1e-6))
    assert held.outs[FRONT_RIGHT, 0] == pytest.approx(0.3e-3)
    assert held.outs[FRONT_RIGHT, first] == pytest.approx(0.3e-3, abs=1e-4)
    pressed = int(np.argmax(held.pressed[FRONT_RIGHT] > 0.0))
    assert pressed > first
    assert held.outs[FRONT_RIGHT, pressed + 1] == pytest.approx(0.6e-3, abs=2e-5)


def test_a_car_staged_close_pushes_its_dominant_wheel_out() -> None:
    held = follow(COURSE, CAR, roughness=SMOOTH, start_offset=-1.0e-3)
    assert held.outs[FRONT_LEFT, 0] == pytest.approx(1.0e-3 - stance(LARK).rail_offset, abs=1e-6)  # type: ignore[operator]  # it reaches the rail
    assert held.gaps[FRONT_LEFT, 0] == pytest.approx(0.0, abs=1e-12)


def test_a_tilted_lane_takes_a_car_that_does_not_steer_to_its_low_side() -> None:
    plain = steered(CAR, 0.0)
    at = int(np.searchsorted(COURSE.distance, 1.5))
    to_right, level, to_left = (
        follow(COURSE, plain, roughness=Roughness(waves=0.0, tilt=tilt)).places[0, at]
        for tilt in (0.02, 0.0, -0.02)
    )
    # It goes askew by the tilt over the treads' stiffness, which is 100 for each radian (statics).
    assert to_right - level == pytest.approx(-0.02 / 100.0 * 1.5, rel=0.15)
    assert to_left - level == pytest.approx(0.02 / 100.0 * 1.5, rel=0.15)


def test_a_rougher_lane_is_left_for_longer() -> None:
    times = [
        np.mean(
            [follow(COURSE, CAR, roughness=Roughness(waves=waves, seed=seed)).on_rail for seed in range(12)]
        )
        for waves in (0.05e-3, 0.2e-3, 0.6e-3)
    ]
    assert times[0] > times[1] > times[2]


def test_rails_with_joints_step_where_the_joints_are() -> None:
    lane = Roughness(waves=0.0, joints=1e-3, every=1.0, over=0.01, seed=5)
    at = np.linspace(0.0, 6.0, 6001)
    found = wander(lane, at, length=6.0)
    moves = np.abs(np.diff(found)) > 1e-9
    assert 50 <= moves.sum() <= 75
    assert np.all(np.diff(np.flatnonzero(moves))[np.diff(np.flatnonzero(moves)) > 1] > 900)


def test_what_touches_is_told() -> None:
    held = follow(COURSE, CAR, roughness=ROUGH)
    assert held.touches == tuple(sorted(held.touches, key=lambda touch: touch.time))
    mine = [touch for touch in held.touches if touch.station is Station.FRONT_LEFT]
    whole = sum(touch.impulse for touch in mine)
    assert whole == pytest.approx(float(held.pressed[FRONT_LEFT] @ COURSE.steps), rel=1e-6)
    assert sum(touch.lost for touch in held.touches) == pytest.approx(float(held.lost.sum()), rel=1e-9)


def test_losing_the_rail_for_long_is_not_holding_it() -> None:
    held = follow(COURSE, steered(CAR, -math.radians(0.05)), roughness=Roughness(seed=2))
    assert held.longest is not None
    assert held.longest.lasts > LONG_OFF
    assert not held.holds


def test_a_stalled_car_is_followed_as_far_as_it_comes() -> None:
    slow = straight(angle=math.radians(3.0), finish=2.0)
    heavy = replace(slow, losses={"bearing_friction": Quantity(value=1.2)})
    with pytest.raises(OutOfRange, match="hardly leaves the gate"):
        hold(LARK, heavy, roughness=SMOOTH)


@pytest.mark.parametrize(
    ("named", "words"),
    [
        ({"start_offset": 5e-3}, "stands a wheel on the rail"),
        ({"start_heading": 0.05}, "does not go over the rail"),
        ({"start_heading": 0.2}, "too far from straight"),
        ({"restitution": 1.2}, "restitution of 1.2 is none"),
        ({"step": 0.5}, "step of 0.5 m"),
    ],
)
def test_what_cannot_be_is_refused(named: dict[str, float], words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        hold(LARK, HALL, roughness=SMOOTH, **named)  # type: ignore[arg-type]  # one name at a time


@pytest.mark.parametrize(
    "named", [{"waves": -1.0}, {"joints": -1.0}, {"every": 0.0}, {"tilt": 1.0}, {"seed": -1}]
)
def test_no_lane_is_like_that(named: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        Roughness(**named)  # type: ignore[arg-type]  # one name at a time


def test_turning_the_wheel_to_where_it_heads_changes_nothing() -> None:
    same = steered(CAR, float(CAR.steer[FRONT_LEFT]))
    assert same.insets == pytest.approx(CAR.insets, abs=1e-12)
    assert drift_at(CAR, float(CAR.steer[FRONT_LEFT])) == pytest.approx(stance(LARK).drift.lateral, rel=1e-12)


def test_the_trades_steer_is_that_of_its_board() -> None:
    # Common practice, no source: 3 1/2 to 4 in of drift over 48 in, with a wheelbase of 4 3/8 in; small-angle
    # form y = x^2 tan(delta) / 2 L (Rajamani, ch. 2) is within a hundredth.
    for angle, drift in zip(trade_steer(), (3.5, 4.0), strict=True):
        assert 48.0**2 * math.tan(angle) / (2.0 * 4.375) == pytest.approx(drift, rel=0.01)


def test_the_steer_curve_finds_the_least_steer_that_holds_as_well_as_any() -> None:
    coarse = course_of(LARK, HALL, step=2e-3)
    angles = [math.radians(angle) for angle in (0.02, 0.1, 0.2, 1.0)]
    curve = steer_curve(coarse, CAR, roughness=Roughness(waves=0.1e-3), seeds=8, angles=angles)
    assert [point.askew for point in curve.points] == angles
    shares = [point.share for point in curve.points]
    costs = [point.cost for point in curve.points]
    assert shares[0] < 0.5 < shares[-1]
    assert costs == sorted(costs)
    assert curve.best is not None
    assert curve.best.least.askew == next(
        point.askew for point in curve.points if point.share >= max(shares) - 0.1
    )
    assert curve.best.most.cost <= curve.best.least.cost + 5e-3
    assert curve.here.askew == pytest.approx(abs(float(CAR.steer[FRONT_LEFT])), rel=1e-9)
    assert curve.here.cost == pytest.approx(
        sum(COURSE.run.budget[name] for name in ("rail", "scrub")), rel=0.1
    )


def test_half_the_grip_stiffness_asks_for_twice_the_steer() -> None:
    # Below the limit of friction a tread's force is stiffness times steer, and the rail's goes with it.
    soft = replace(COURSE, losses=replace(COURSE.losses, creep_stiffness=Quantity(value=50.0)))
    forces = [
        follow(course, steered(CAR, -math.radians(angle)), roughness=SMOOTH).steady_force
        for course, angle in ((COURSE, 0.08), (soft, 0.16))
    ]
    assert forces[0] == pytest.approx(forces[1], rel=0.01)


def test_no_lanes_are_refused() -> None:
    with pytest.raises(OutOfRange, match="0 lanes"):
        steer_curve(COURSE, CAR, roughness=SMOOTH, seeds=0)
