"""Which point of a wheel comes nearest to the guide rail, and when none does."""

from __future__ import annotations

import math

import pytest

from rollwright.geometry.rail import Nearest, innermost
from rollwright.geometry.vector import Vector, unit

DEG = math.pi / 180.0
RADIUS, HALF, RAIL = 0.016, 0.004, 0.006
LEFT, RIGHT = 1, -1
# Where along the rim a rail's top cuts an upright wheel: Pythagoras.
REACH = math.sqrt(RADIUS**2 - (RADIUS - RAIL) ** 2)


def _nearest(
    *,
    axis: Vector,
    side: int = LEFT,
    centre: Vector = (0.0, 0.03, RADIUS),
    low: float = 0.0,
    high: float = RAIL,
) -> Nearest | None:
    return innermost(
        centre=(centre[0], side * centre[1], centre[2]),
        axis=unit((axis[0], side * axis[1], axis[2])),
        radius=RADIUS,
        half=HALF,
        side=side,
        low=low,
        high=high,
    )


def _found(near: Nearest | None) -> Nearest:
    assert near is not None
    return near


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_an_upright_true_wheel_is_as_near_everywhere(side: int) -> None:
    near = _found(_nearest(axis=(0.0, 1.0, 0.0), side=side))
    assert near.inset == pytest.approx(0.03 - HALF, abs=1e-15)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_top_that_leans_outward_puts_the_contact_at_the_bottom(side: int) -> None:
    lean = 3 * DEG
    # The wheel is set so that its inner rim just reaches the ground.
    height = RADIUS * math.cos(lean) - HALF * math.sin(lean)
    near = _found(
        _nearest(axis=(0.0, math.cos(lean), -math.sin(lean)), centre=(0.0, 0.03, height), side=side)
    )
    assert near.height == pytest.approx(0.0, abs=1e-12)
    assert near.ahead == pytest.approx(0.0, abs=1e-9)
    inset = 0.03 - HALF * math.cos(lean) - RADIUS * math.sin(lean)
    assert near.inset == pytest.approx(inset, abs=1e-12)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_top_that_leans_inward_puts_the_contact_at_the_rails_top_edge(side: int) -> None:
    lean = 3 * DEG
    near = _found(_nearest(axis=(0.0, math.cos(lean), math.sin(lean)), side=side))
    assert near.height == pytest.approx(RAIL, abs=1e-15)
    # The rim leans in by the tangent of the lean for every bit of height; its centre's height is known.
    above = RAIL - (RADIUS - HALF * math.sin(lean))
    inset = 0.03 - HALF * math.cos(lean) - above * math.tan(lean)
    assert near.inset == pytest.approx(inset, abs=1e-12)


@pytest.mark.parametrize(
    ("toe", "sign"), [(2.0, 1.0), (-2.0, -1.0)], ids=["toe-in is ahead", "toe-out is behind"]
)
@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_toe_puts_the_contact_at_the_rails_full_height(side: int, toe: float, sign: float) -> None:
    angle = toe * DEG
    # Toe-in: the wheel heads toward the centre line, its axle's outer end lies forward.
    near = _found(_nearest(axis=(math.sin(angle), math.cos(angle), 0.0), side=side))
    assert near.height == pytest.approx(RAIL, abs=1e-15)
    assert near.ahead == pytest.approx(sign * REACH * math.cos(angle), abs=1e-12)
    assert near.inset == pytest.approx(
        0.03 - HALF * math.cos(angle) - REACH * math.sin(abs(angle)), abs=1e-12
    )


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_camber_and_toe_together_put_it_between(side: int) -> None:
    # Lean and toe of one size: steepest descent along the rim is at 45 degrees, below the rail's top
    # when that is higher than where 45 degrees reaches.
    angle = 1 * DEG
    axis = (math.sin(angle), math.cos(angle), -math.sin(angle))
    near = _found(_nearest(axis=axis, side=side, high=0.012))
    assert near.height == pytest.approx(RADIUS * (1.0 - math.cos(45 * DEG)), abs=2e-4)
    assert near.ahead == pytest.approx(RADIUS * math.sin(45 * DEG), abs=2e-4)
    lower = _found(_nearest(axis=axis, side=side, high=0.002))
    assert lower.height == pytest.approx(0.002, abs=1e-15)
    assert lower.inset > near.inset


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_wheel_above_the_rail_has_no_nearest_point(side: int) -> None:
    assert _nearest(axis=(0.0, 1.0, 0.0), centre=(0.0, 0.03, RADIUS + RAIL + 1e-9), side=side) is None
    assert _nearest(axis=(0.0, 1.0, 0.0), centre=(0.0, 0.03, RADIUS + RAIL - 1e-9), side=side) is not None


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_band_above_the_wheels_top_has_no_nearest_point(side: int) -> None:
    assert _nearest(axis=(0.0, 1.0, 0.0), low=0.033, high=0.04, side=side) is None


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_band_as_high_as_the_axle_reaches_the_widest_part_of_a_toed_wheel(side: int) -> None:
    angle = 2 * DEG
    near = _found(_nearest(axis=(math.sin(angle), math.cos(angle), 0.0), side=side, high=0.05))
    assert near.height == pytest.approx(RADIUS, abs=1e-15)
    assert near.inset == pytest.approx(0.03 - HALF * math.cos(angle) - RADIUS * math.sin(angle), abs=1e-15)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_wheel_partly_below_the_band_is_cut_at_the_bands_lower_edge(side: int) -> None:
    lean = 3 * DEG
    axis = (0.0, math.cos(lean), -math.sin(lean))
    near = _found(_nearest(axis=axis, side=side, low=0.004, high=0.01))
    assert near.height == pytest.approx(0.004, abs=1e-15)
