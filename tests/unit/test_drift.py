"""Drift on the tuning board: straight, circling, crabbing, and cars that never get to its end."""

from __future__ import annotations

import math

import pytest

from rollwright.errors import DriftUndefined
from rollwright.geometry.drift import curvature, drift_over, lateral_at

DEG = math.pi / 180.0
WHEELBASE, BOARD = 0.125, 1.0


def test_wheels_that_all_head_straight_run_straight() -> None:
    assert curvature(dominant_steer=0.0, rear_steer=0.0, length=WHEELBASE, contact_y=0.03) == 0.0


def test_wheels_that_all_head_the_same_way_crab_and_do_not_turn() -> None:
    assert curvature(dominant_steer=0.02, rear_steer=0.02, length=WHEELBASE, contact_y=0.03) == 0.0


@pytest.mark.parametrize("left", [1, -1])
def test_all_axle_lines_meet_in_the_centre_of_the_turn(left: int) -> None:
    # Front wheel on the centre line at 45 degrees: the centre lies one wheelbase to the side.
    found = curvature(dominant_steer=left * 45 * DEG, rear_steer=0.0, length=0.2, contact_y=0.0)
    assert found == pytest.approx(left * 5.0)


@pytest.mark.parametrize(("aside", "radius"), [(0.05, 0.25), (-0.05, 0.15)])
def test_a_wheel_beside_the_centre_line_circles_closer_in_or_farther_out(aside: float, radius: float) -> None:
    # Steered left: a wheel on the left, the inner side, stands 0.2 m from the centre itself.
    found = curvature(dominant_steer=45 * DEG, rear_steer=0.0, length=0.2, contact_y=aside)
    assert 1.0 / found == pytest.approx(radius)


def test_rear_wheels_that_head_right_turn_the_car_left() -> None:
    assert curvature(dominant_steer=0.0, rear_steer=-0.01, length=0.2, contact_y=0.03) == pytest.approx(
        math.tan(0.01) / 0.2
    )


def test_an_axle_that_points_at_the_rear_axles_middle_is_refused() -> None:
    with pytest.raises(DriftUndefined, match="cannot roll"):
        curvature(dominant_steer=0.0, rear_steer=0.0, length=0.0, contact_y=0.03)


def test_a_straight_car_does_not_drift() -> None:
    assert drift_over(curvature=0.0, rear_steer=0.0, wheelbase=WHEELBASE, board=BOARD) == 0.0


@pytest.mark.parametrize("left", [1, -1])
def test_a_crabbing_car_drifts_by_the_tangent(left: int) -> None:
    found = drift_over(curvature=0.0, rear_steer=left * 2 * DEG, wheelbase=WHEELBASE, board=BOARD)
    assert found == pytest.approx(left * math.tan(2 * DEG), abs=1e-15)


@pytest.mark.parametrize("left", [1, -1])
@pytest.mark.parametrize("radius", [1.5, 6.0, 500.0])
def test_a_circling_point_keeps_to_its_circle(left: int, radius: float) -> None:
    # The watched point starts one wheelbase ahead of the rear point, so its own circle is wider, and it
    # has a little way already behind it: both ends of its chord lie on that circle.
    found = drift_over(curvature=left / radius, rear_steer=0.0, wheelbase=WHEELBASE, board=BOARD)
    wide = math.hypot(radius, WHEELBASE)
    start = math.sqrt(wide**2 - WHEELBASE**2)
    end = math.sqrt(wide**2 - (WHEELBASE + BOARD) ** 2)
    assert found == pytest.approx(left * (start - end), rel=1e-9)


def test_over_a_short_board_crab_and_turn_add_up() -> None:
    turn = drift_over(curvature=1e-4, rear_steer=0.0, wheelbase=WHEELBASE, board=BOARD)
    crab = drift_over(curvature=0.0, rear_steer=1e-4, wheelbase=WHEELBASE, board=BOARD)
    both = drift_over(curvature=1e-4, rear_steer=1e-4, wheelbase=WHEELBASE, board=BOARD)
    assert both == pytest.approx(turn + crab, abs=1e-7)
    # A circle's sagitta and the swing of the nose, both in the first order of the curvature.
    assert turn == pytest.approx(1e-4 * (0.5 * BOARD**2 + WHEELBASE * BOARD), rel=1e-6)


@pytest.mark.parametrize("left", [1, -1])
def test_a_car_that_turns_back_before_the_end_has_no_drift(left: int) -> None:
    with pytest.raises(DriftUndefined, match=r"radius 0\.80 m") as caught:
        drift_over(curvature=left / 0.8, rear_steer=0.0, wheelbase=WHEELBASE, board=BOARD)
    assert caught.value.key == "board.length"


def test_a_car_that_just_makes_it_has_one() -> None:
    # Its nose's circle is 1.204 m wide and it goes 1.125 m forward on it.
    found = drift_over(curvature=1.0 / 1.2, rear_steer=0.0, wheelbase=WHEELBASE, board=BOARD)
    wide = math.hypot(1.2, WHEELBASE)
    assert found == pytest.approx(1.2 - math.sqrt(wide**2 - 1.125**2), rel=1e-9)


def test_nothing_has_moved_at_the_start() -> None:
    assert lateral_at(curvature=0.3, rear_steer=0.01, wheelbase=WHEELBASE, run=0.0) == (0.0, 0.0)


def test_a_quarter_circle_carries_the_rear_point_by_its_radius_both_ways() -> None:
    forward, sideways = lateral_at(curvature=0.5, rear_steer=0.0, wheelbase=0.0, run=math.pi)
    assert (forward, sideways) == pytest.approx((2.0, 2.0))


def test_the_nose_swings_round_the_rear_point() -> None:
    forward, sideways = lateral_at(curvature=0.5, rear_steer=0.0, wheelbase=WHEELBASE, run=math.pi)
    assert (forward, sideways) == pytest.approx((2.0 - WHEELBASE, 2.0 + WHEELBASE))


def test_the_series_for_slight_turns_joins_the_closed_form() -> None:
    below = lateral_at(curvature=0.99999e-4, rear_steer=0.01, wheelbase=WHEELBASE, run=1.0)
    above = lateral_at(curvature=1.00001e-4, rear_steer=0.01, wheelbase=WHEELBASE, run=1.0)
    # The slope of the sideways travel with curvature is (1/2 + wheelbase); the step is 2e-9.
    assert above[1] - below[1] == pytest.approx(2e-9 * (0.5 + WHEELBASE), abs=1e-13)
    assert above[0] == pytest.approx(below[0], abs=1e-10)
