"""Where a wheel is and which way its axle points, at angles whose answers need no calculator."""

from __future__ import annotations

import math

import pytest

from rollwright.geometry.axle import WheelPose, hole_axis, shank_axis, wheel_pose

DEG = math.pi / 180.0
HALF = math.sqrt(0.5)
LEFT, RIGHT = 1, -1
EXACT = 1e-15


def _pose(
    *,
    side: int = LEFT,
    cant: float = 0.0,
    sweep: float = 0.0,
    bend: float = 0.0,
    clock: float = 0.0,
    bend_at: float = 0.0,
    hub: float = 0.001,
    reach: float = 0.005,
    slack: float = 0.0,
    hangs: bool = False,
) -> WheelPose:
    return wheel_pose(
        side=side,
        hole=(0.1, side * 0.02, 0.009),
        cant=cant,
        sweep=sweep,
        bend=bend,
        clock=clock,
        bend_at=bend_at,
        hub=hub,
        reach=reach,
        slack=slack,
        hangs=hangs,
    )


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_true_hole_points_straight_out(side: int) -> None:
    assert hole_axis(side=side, cant=0.0, sweep=0.0) == (0.0, side, 0.0)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_positive_cant_lifts_the_outer_end_on_both_sides(side: int) -> None:
    assert hole_axis(side=side, cant=45 * DEG, sweep=0.0) == pytest.approx(
        (0.0, side * HALF, HALF), abs=EXACT
    )


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_positive_sweep_carries_the_outer_end_forward_on_both_sides(side: int) -> None:
    assert hole_axis(side=side, cant=0.0, sweep=45 * DEG) == pytest.approx(
        (HALF, side * HALF, 0.0), abs=EXACT
    )


def test_sweep_is_measured_in_plan_and_cant_from_the_level() -> None:
    x, y, z = hole_axis(side=LEFT, cant=20 * DEG, sweep=30 * DEG)
    assert math.atan2(x, y) == pytest.approx(30 * DEG, abs=EXACT)
    assert math.asin(z) == pytest.approx(20 * DEG, abs=EXACT)


def test_without_a_bend_the_clock_has_no_say() -> None:
    turned = shank_axis(side=LEFT, cant=0.03, sweep=0.02, bend=0.0, clock=1.0)
    assert turned == hole_axis(side=LEFT, cant=0.03, sweep=0.02)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
@pytest.mark.parametrize(
    ("clock", "forward", "up"),
    [(0.0, 0.0, -HALF), (90.0, HALF, 0.0), (180.0, 0.0, HALF), (-90.0, -HALF, 0.0)],
)
def test_the_clock_counts_from_down_over_forward(side: int, clock: float, forward: float, up: float) -> None:
    found = shank_axis(side=side, cant=0.0, sweep=0.0, bend=45 * DEG, clock=clock * DEG)
    assert found == pytest.approx((forward, side * HALF, up), abs=EXACT)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_bend_straight_down_undoes_the_same_cant(side: int) -> None:
    found = shank_axis(side=side, cant=3 * DEG, sweep=7 * DEG, bend=3 * DEG, clock=0.0)
    assert found == pytest.approx(hole_axis(side=side, cant=0.0, sweep=7 * DEG), abs=EXACT)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_bend_straight_up_adds_to_the_cant(side: int) -> None:
    found = shank_axis(side=side, cant=3 * DEG, sweep=7 * DEG, bend=2 * DEG, clock=math.pi)
    assert found == pytest.approx(hole_axis(side=side, cant=5 * DEG, sweep=7 * DEG), abs=EXACT)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_bend_forward_in_a_level_hole_adds_to_the_sweep(side: int) -> None:
    found = shank_axis(side=side, cant=0.0, sweep=4 * DEG, bend=2 * DEG, clock=90 * DEG)
    assert found == pytest.approx(hole_axis(side=side, cant=0.0, sweep=6 * DEG), abs=EXACT)


def test_the_bend_is_the_angle_between_the_two_straight_parts() -> None:
    hole = hole_axis(side=RIGHT, cant=0.1, sweep=-0.2)
    shank = shank_axis(side=RIGHT, cant=0.1, sweep=-0.2, bend=0.3, clock=2.0)
    assert math.acos(sum(a * b for a, b in zip(hole, shank, strict=True))) == pytest.approx(0.3)
    assert sum(part**2 for part in shank) == pytest.approx(1.0, abs=EXACT)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_on_a_true_pin_the_centre_lies_straight_out_of_the_hole(side: int) -> None:
    pose = _pose(side=side, hub=0.001, reach=0.005)
    assert pose.centre == pytest.approx((0.1, side * 0.026, 0.009), abs=EXACT)
    assert pose.axis == (0.0, side, 0.0)


def test_a_carrying_wheel_sits_high_by_half_the_slack_and_a_hanging_one_low() -> None:
    slack = 0.0002
    carrying, hanging = _pose(slack=slack), _pose(slack=slack, hangs=True)
    assert carrying.centre == pytest.approx((0.1, 0.026, 0.0091), abs=EXACT)
    assert hanging.centre == pytest.approx((0.1, 0.026, 0.0089), abs=EXACT)


@pytest.mark.parametrize("hangs", [False, True])
def test_the_slack_is_taken_square_to_the_pin(*, hangs: bool) -> None:
    # Outer end up by 30 degrees: square to the pin and nearest to up is 30 degrees inward of up.
    slack = 0.002
    up = -1.0 if hangs else 1.0
    tight = _pose(cant=30 * DEG)
    loose = _pose(cant=30 * DEG, slack=slack, hangs=hangs)
    moved = [b - a for a, b in zip(tight.centre, loose.centre, strict=True)]
    assert moved == pytest.approx(
        [0.0, -up * 0.001 * math.sin(30 * DEG), up * 0.001 * math.cos(30 * DEG)], abs=EXACT
    )


def test_a_bend_further_out_swings_only_what_lies_beyond_it() -> None:
    # 6 mm in all: 2 mm along the level hole, then 4 mm that fall by half of themselves.
    pose = _pose(bend=30 * DEG, bend_at=0.002, hub=0.001, reach=0.005)
    assert pose.centre == pytest.approx(
        (0.1, 0.02 + 0.002 + 0.004 * math.cos(30 * DEG), 0.009 - 0.004 * 0.5), abs=EXACT
    )


def test_a_bend_at_the_wheel_turns_the_wheel_and_leaves_its_centre() -> None:
    bent, straight = _pose(bend=5 * DEG, bend_at=0.006), _pose()
    assert bent.centre == pytest.approx(straight.centre, abs=EXACT)
    assert bent.axis[2] == pytest.approx(-math.sin(5 * DEG), abs=EXACT)


def test_washers_and_play_move_the_wheel_along_the_pin() -> None:
    near, far = _pose(cant=30 * DEG, hub=0.0), _pose(cant=30 * DEG, hub=0.002)
    moved = [b - a for a, b in zip(near.centre, far.centre, strict=True)]
    assert moved == pytest.approx([0.0, 0.002 * math.cos(30 * DEG), 0.001], abs=EXACT)
