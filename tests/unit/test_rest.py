"""Three wheels on a plane: answers that a level and a ruler would give, and the cases that have none."""

from __future__ import annotations

import math

import pytest

from rollwright.errors import CarCannotRest
from rollwright.geometry.axle import WheelPose
from rollwright.geometry.rest import Plane, Tread, contact_point, rest_on
from rollwright.geometry.vector import Vector, dot, unit

DEG = math.pi / 180.0
UP = (0.0, 0.0, 1.0)
RADIUS, HALF = 0.016, 0.004
FLAT = 1e-12


def _tread(
    x: float, y: float, z: float, *, axis: Vector | None = None, radius: float = RADIUS, half: float = HALF
) -> Tread:
    outward = (0.0, math.copysign(1.0, y), 0.0) if axis is None else unit(axis)
    return Tread(WheelPose((x, y, z), outward), radius, half)


def _square(*, front: float = RADIUS) -> list[Tread]:
    return [
        _tread(0.0, 0.032, RADIUS),
        _tread(0.0, -0.032, RADIUS),
        _tread(0.12, 0.032, front),
    ]


def _heights(plane: Plane, treads: list[Tread]) -> list[float]:
    return [plane.height(contact_point(tread, up=plane.up)) for tread in treads]


def test_an_upright_wheel_touches_under_the_middle_of_its_tread() -> None:
    assert contact_point(_tread(0.1, 0.03, 0.02), up=UP) == pytest.approx((0.1, 0.03, 0.004))


@pytest.mark.parametrize(
    ("outer_end", "outward"),
    [(1.0, -1.0), (-1.0, 1.0)],
    ids=["outer end up touches inside", "outer end down touches outside"],
)
def test_a_leaning_wheel_touches_with_its_lower_rim(outer_end: float, outward: float) -> None:
    lean = 30 * DEG
    tread = _tread(0.1, 0.03, 0.02, axis=(0.0, math.cos(lean), outer_end * math.sin(lean)))
    across = outward * HALF * math.cos(lean) + outer_end * RADIUS * math.sin(lean)
    down = HALF * math.sin(lean) + RADIUS * math.cos(lean)
    assert contact_point(tread, up=UP) == pytest.approx((0.1, 0.03 + across, 0.02 - down))


def test_equal_wheels_at_equal_heights_stand_level() -> None:
    plane = rest_on(_square())
    assert plane.up == pytest.approx(UP, abs=1e-15)
    assert plane.lift == pytest.approx(0.0, abs=1e-15)


def test_a_low_front_wheel_lifts_the_nose_about_the_rear_wheels() -> None:
    # Seen from the side: two equal circles whose centres lie 120 mm apart along and 9 mm apart up.
    plane = rest_on(_square(front=RADIUS - 0.009))
    assert math.asin(plane.up[0]) == pytest.approx(math.atan2(0.009, 0.12), abs=1e-14)
    assert plane.up[1] == pytest.approx(0.0, abs=1e-15)


def test_a_rear_wheel_that_leans_makes_the_body_roll_toward_it() -> None:
    # Outer end up on the left rear: its inner rim is lower than an upright wheel's tread by the half
    # width times the lean, less what the leaning circle loses.
    lean = 2 * DEG
    treads = _square()
    treads[0] = _tread(0.0, 0.032, RADIUS, axis=(0.0, math.cos(lean), math.sin(lean)))
    drop = HALF * math.sin(lean) + RADIUS * math.cos(lean) - RADIUS
    plane = rest_on(treads)
    assert drop > 0.0
    assert plane.up[1] > 0.0, "the left side is propped up"
    assert max(map(abs, _heights(plane, treads))) < FLAT


def test_steep_and_unequal_wheels_still_touch_exactly() -> None:
    treads = [
        _tread(0.002, 0.03, 0.02, axis=(0.2, 1.0, 0.3), radius=0.02),
        _tread(-0.003, -0.034, 0.012, axis=(-0.1, -1.0, -0.2), radius=0.013, half=0.009),
        _tread(0.11, 0.031, 0.019, axis=(0.3, 1.0, -0.25), half=0.002),
    ]
    plane = rest_on(treads)
    assert max(map(abs, _heights(plane, treads))) < FLAT
    assert sum(part**2 for part in plane.up) == pytest.approx(1.0, abs=1e-15)


def _turned_upright(treads: list[Tread], leans: tuple[float, float, float]) -> list[Tread]:
    """Return the wheels turned until each stands upright on the ground, but for the leans given."""
    for _ in range(8):
        up = rest_on(treads).up
        treads = [_leaning(tread, up, 0.0) for tread in treads]
    return [_leaning(tread, up, lean) for tread, lean in zip(treads, leans, strict=True)]


def _leaning(tread: Tread, up: Vector, lean: float) -> Tread:
    tilt = dot(tread.pose.axis, up) - lean
    x, y, z = (part - tilt * along for part, along in zip(tread.pose.axis, up, strict=True))
    return Tread(WheelPose(tread.pose.centre, unit((x, y, z))), tread.radius, tread.half)


@pytest.mark.parametrize("front", [0.0, 1e-16, -1e-14, 1e-13, 0.99e-12, -1.01e-12, 1e-11, -1e-9, 1e-6])
@pytest.mark.parametrize("left", [0.0, 1e-12, -1e-12, 1e-11])
@pytest.mark.parametrize("right", [0.0, 1.01e-12, -0.99e-12])
def test_wheels_at_the_edge_between_their_rims_still_stand_in_the_plane(
    front: float, left: float, right: float
) -> None:
    # Each wheel hands the load from rim to rim as the body moves by less than rounding, so that the rim
    # which is found to touch may change for ever. The plane must not.
    treads = [
        _tread(0.0, 0.032, RADIUS - 0.0004, axis=(0.01, 1.0, 0.0)),
        _tread(0.0, -0.032, RADIUS + 0.0004, axis=(-0.02, -1.0, 0.0)),
        _tread(0.12, 0.032, RADIUS - 0.003, axis=(0.03, 1.0, 0.0)),
    ]
    treads = _turned_upright(treads, (left, right, front))
    plane = rest_on(treads)
    assert max(map(abs, _heights(plane, treads))) < FLAT
    assert dot(treads[2].pose.axis, plane.up) == pytest.approx(front, abs=2e-12, rel=2e-3)
    assert plane.up[0] > 0.02, "the low front hole still lifts the nose"


def test_three_wheels_in_one_line_hold_no_plane() -> None:
    treads = [_tread(0.0, 0.032, RADIUS), _tread(0.0, -0.032, RADIUS), _tread(0.0, 0.06, RADIUS)]
    with pytest.raises(CarCannotRest, match="in one line"):
        rest_on(treads)


def test_a_plane_on_edge_is_not_a_place_to_rest() -> None:
    treads = [_tread(0.0, 0.032, RADIUS), _tread(0.0, -0.032, RADIUS), _tread(0.0, 0.06, 0.03)]
    with pytest.raises(CarCannotRest, match="in one line"):
        rest_on(treads)


def test_a_wheel_that_reaches_across_the_line_of_the_others_is_refused() -> None:
    # The third wheel stands between the other two, is broader than they are far apart, and lower: the
    # body would rock from its one rim to the other and never stand on all three.
    treads = [
        _tread(0.0, 0.03, RADIUS),
        _tread(0.12, -0.03, RADIUS),
        _tread(0.06, 0.001, RADIUS - 0.001, half=0.02),
    ]
    with pytest.raises(CarCannotRest, match="in one line"):
        rest_on(treads)
