"""What stands in the way of a plan is named, with by how much and the mend."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from rollwright.car import Seat, Station
from rollwright.errors import OutOfRange
from rollwright.geometry.stance import stance
from rollwright.judge.class_rules import ClassRules, Limit, Rule
from rollwright.setup.plan import Wish, plan
from rollwright.units import System

from .cars import DEG, MM, aimed, changed, flat_car, heron, lark, mirrored, value_of
from .plan_bench import (
    EXACT,
    PLAIN,
    STRAIGHT,
    blocked,
    front,
    names,
    off_target,
)


def test_a_class_that_forbids_bends_says_so_and_is_planned_straight() -> None:
    found = plan(lark(), wish=Wish(bent_axles=True), rules=STRAIGHT)
    one = blocked(found, "bent_axles")
    assert one.rule is Rule.BENT_AXLES
    assert STRAIGHT.name in one.why
    assert not found.bent
    assert front(found, "bend") == 0.0
    assert off_target(lark(), found) < EXACT


@pytest.mark.parametrize("bent", [True, False], ids=["bent", "straight"])
def test_a_drift_beyond_the_most_bend_is_named_with_what_it_needs(*, bent: bool) -> None:
    car = aimed(lark(), drift=-0.3)
    wish = Wish(most_bend=1.0 * DEG, bent_axles=bent)
    found = plan(car, wish=wish)
    one = blocked(found, "drift")
    assert ("bent" if bent else "drilled askew") in one.why
    assert "1.00°" in one.why
    assert found.figures.drift is not None
    # The nearest: as far as the bend goes, level and rail on target all the same.
    assert -0.3 < found.figures.drift < -0.07
    assert one.by == pytest.approx(0.3 + found.figures.drift)
    assert found.figures.height_difference == pytest.approx(0.0, abs=EXACT)
    assert found.figures.rail_offset == pytest.approx(0.0, abs=EXACT)
    # A little more than what it says it needs is enough.
    needs = float(one.mend.rpartition("allow ")[2].removesuffix("°"))
    assert "drift" not in names(plan(car, wish=replace(wish, most_bend=(needs + 0.02) * DEG)))
    assert "drift" in names(plan(car, wish=replace(wish, most_bend=(needs - 0.02) * DEG)))


def test_a_drift_that_no_bend_gives_is_said_to_be_so() -> None:
    found = plan(aimed(lark(), drift=-5.0))
    assert "no angle" in blocked(found, "drift").why


@pytest.mark.parametrize(("ride", "says"), [(5.0, "the rail"), (6.5, "Tannery Lane plain-body class")])
def test_a_ride_height_gives_way_to_what_lies_below(ride: float, says: str) -> None:
    rules = PLAIN if ride > 6.0 else None
    found = plan(heron(), wish=Wish(ride_height=ride * MM), rules=rules)
    one = blocked(found, "ride_height")
    least = 6.8 if rules else 5.5
    assert says in one.why
    assert one.by == pytest.approx((least - ride) * MM, abs=EXACT)
    assert found.figures.ground_clearance == pytest.approx(least * MM, abs=EXACT)
    assert f"{least:.2f} mm" in one.mend
    assert off_target(heron(), found) < EXACT


def test_a_nose_low_car_clears_the_ground_at_its_nose() -> None:
    car = aimed(heron(), level=-0.5 * MM, drift=-0.07)
    found = plan(car, wish=Wish(ground_clearance=7.5 * MM))
    at = stance(found.car)
    nose = at.rear - 0.5 * MM * (175.0 - 24.0) / 118.0
    assert found.blocked == ()
    assert nose == pytest.approx(7.5 * MM, abs=1e-8)
    assert next(size.why for size in found.sizes if size.name == "rear_left.hole_height").startswith("lifts")


def test_wheels_too_small_for_the_clearance_say_how_much_larger() -> None:
    car = changed(heron(), {f"{station.value}.diameter": 15.0 * MM for station in Station})
    found = plan(car, wish=Wish(rail_clearance=1.0 * MM))
    one = blocked(found, "rail_clearance")
    assert "too small" in one.why
    larger = changed(
        heron(), {f"{station.value}.diameter": 15.0 * MM + 2.0 * one.by + 0.02 * MM for station in Station}
    )
    assert names(plan(larger, wish=Wish(rail_clearance=1.0 * MM))) == []
    # What wood there is below the holes is kept.
    lowest = min(value_of(found.car, f"{each.value}.hole_height") for each in Station)
    assert lowest - 1.19 * MM == pytest.approx(1.0 * MM, abs=1e-6)


def test_a_ride_height_that_leaves_no_wood_below_the_holes_is_named() -> None:
    found = plan(lark(), wish=Wish(ride_height=15.0 * MM))
    one = blocked(found, "ride_height")
    assert "wood below a hole" in one.why
    assert found.figures.ride_height == pytest.approx(15.0 * MM - one.by, abs=EXACT)
    assert off_target(lark(), found) < EXACT


@pytest.mark.parametrize(("wished", "given", "says"), [(-1.0, 0.3, "touches"), (9.0, 4.5, "rail")])
def test_a_raise_that_cannot_be_is_named(wished: float, given: float, says: str) -> None:
    found = plan(lark(), wish=Wish(raise_height=wished * MM))
    one = blocked(found, "raise_height")
    assert says in one.why
    assert one.by == pytest.approx(abs(wished - given) * MM)
    assert found.figures.raise_height == pytest.approx(given * MM, abs=EXACT)


def test_more_wood_than_may_go_is_named_with_the_body_that_would_do() -> None:
    wide = changed(lark(), {"body.width": 54.0 * MM})
    wish = Wish(most_relief=1.0 * MM)
    found = plan(wide, wish=wish)
    one = blocked(found, "rail_offset")
    assert "wood" in one.why
    assert front(found, "relief") == 1.0 * MM
    assert found.figures.rail_offset == pytest.approx(one.by, abs=EXACT)
    assert found.figures.drift == pytest.approx(-0.07, abs=EXACT)
    enough = changed(lark(), {"body.width": 54.0 * MM - 2.0 * one.by - 0.02 * MM})
    assert names(plan(enough, wish=wish)) == []


def test_more_washers_than_may_be_are_named() -> None:
    narrow = changed(lark(), {"body.width": 40.0 * MM})
    found = plan(narrow, wish=Wish(most_washer=0.5 * MM))
    one = blocked(found, "rail_offset")
    assert "washers" in one.why
    assert front(found, "washer") == 0.5 * MM
    assert found.figures.rail_offset == pytest.approx(-one.by, abs=EXACT)


def test_a_narrow_body_is_filled_with_washers() -> None:
    found = plan(changed(lark(), {"body.width": 45.0 * MM}))
    assert found.blocked == ()
    assert front(found, "washer") > 0.0
    assert front(found, "relief") == 0.0


@pytest.mark.parametrize(
    ("rule", "limit", "by"),
    [
        (Rule.WHEELBASE, Limit(most=120.0 * MM), 4.2),
        (Rule.WHEELBASE, Limit(least=126.0 * MM), 1.8),
        (Rule.LENGTH, Limit(most=180.0 * MM), 6.0),
        (Rule.WHEEL_DIAMETER, Limit(most=32.0 * MM), 0.1),
    ],
)
def test_a_rule_that_the_parts_break_is_named_with_how_far(rule: Rule, limit: Limit, by: float) -> None:
    found = plan(lark(), rules=ClassRules(name="narrow class", rules={rule: limit}))
    one = blocked(found, rule.value)
    assert one.rule is rule
    assert one.by == pytest.approx(by * MM)
    assert "narrow class" in one.why


def test_the_width_rule_is_held_against_the_wheels_pushed_out() -> None:
    # Level square axles: half of the body, play, hub and tread on either side.
    car = changed(aimed(flat_car(), drift=0.0), {f"{station.value}.play": 0.6 * MM for station in Station})
    rules = ClassRules(name="narrow class", rules={Rule.WIDTH: Limit(most=70.0 * MM)})
    found = plan(car, rules=rules)
    width = 50.0 + 2.0 * (0.6 + 2.0 + 8.0)
    assert found.figures.wheel_width == pytest.approx(width * MM, abs=EXACT)
    assert blocked(found, "width").by == pytest.approx((width - 70.0) * MM, abs=EXACT)


def test_a_pin_too_thick_for_its_wheel_is_named() -> None:
    found = plan(changed(lark(), {"rear_left.bore": 2.3 * MM}))
    one = blocked(found, "bore")
    assert one.by == pytest.approx(0.08 * MM)
    assert "rear left" in one.why


@pytest.mark.parametrize("flip", [False, True], ids=["as it is", "mirrored"])
def test_mass_that_three_wheels_do_not_hold_is_named_with_where_to_move_it(*, flip: bool) -> None:
    body = lark().body
    x, y, z = body.centre_of_mass
    away = replace(body, centre_of_mass=(replace(x, value=75.0 * MM), replace(y, value=-10.0 * MM), z))
    car = replace(lark(), body=away, weights={})
    car = mirrored(car) if flip else car
    found = plan(car)
    one = blocked(found, "balance")
    assert "raised wheel" in one.why
    assert ("back and right" if flip else "back and left") in one.mend
    # The rest is planned as if the mass were well.
    assert found.figures.drift == pytest.approx(car.targets.drift.value, abs=EXACT)


def test_mass_behind_the_rear_wheels_lifts_the_nose() -> None:
    body = lark().body
    x, y, z = body.centre_of_mass
    car = replace(lark(), body=replace(body, centre_of_mass=(replace(x, value=-30.0 * MM), y, z)))
    one = blocked(plan(car), "balance")
    assert "behind the rear wheels" in one.why
    assert "forward" in one.mend


def test_a_wheel_that_runs_at_neither_end_of_its_play_is_named_and_its_seat_mends_it() -> None:
    # Toed in as far as its hole is canted, the rear right wheel is pushed back from either end of its play.
    car = changed(lark(), {"rear_right.sweep": 2.5 * DEG + 3e-4})
    found = plan(car)
    assert "either end of its play" in blocked(found, "height_difference").why
    assert blocked(found, "height_difference").by < 0.01 * MM
    corner = replace(car.corners[Station.REAR_RIGHT], seat=Seat.HEAD)
    seated = replace(car, corners={**car.corners, Station.REAR_RIGHT: corner})
    mended = plan(seated)
    assert mended.blocked == ()
    assert off_target(seated, mended) < EXACT


def test_obstacles_are_told_in_the_units_that_are_asked_for() -> None:
    found = plan(lark(), wish=Wish(raise_height=9.0 * MM), system=System.INCH)
    assert " mm" not in blocked(found, "raise_height").why


@pytest.mark.parametrize(
    "wish",
    [
        {"drift": math.nan},
        {"ride_height": math.inf},
        {"most_bend": -0.1},
        {"most_washer": -1e-3},
        {"rear_cant": 1.0},
        {"block": -0.01},
    ],
    ids=lambda wish: next(iter(wish)),
)
def test_a_wish_that_is_no_possible_one_is_refused(wish: dict[str, float]) -> None:
    with pytest.raises(OutOfRange, match=next(iter(wish)).replace("_", " ")):
        Wish(**wish)  # type: ignore[arg-type]  # keys are those of the class
