"""A plan rounded to what can be set: on its steps, on target, clear, and no finer than it needs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rollwright.car import Car, Station
from rollwright.car.dimensions import dimension_kind, dimension_of
from rollwright.geometry.stance import stance
from rollwright.judge.class_file import parse_class
from rollwright.judge.class_rules import ClassRules
from rollwright.quantity import Source
from rollwright.scenario.club import CLASS_FILES, file_text
from rollwright.setup.plan import Preference, Wish, plan
from rollwright.setup.plan_rounding import Rounded, rounded
from rollwright.units import Kind, System

from .cars import DEG, MM, aimed, club_car, heron, lark, mirrored

OPEN, STRAIGHT, PLAIN = (parse_class(file_text(name)) for name in CLASS_FILES)
THOU = 25.4e-6


def off_step(value: float, step: float) -> float:
    """Return how far a value is from a multiple of a step, as a part of it."""
    return abs(value / step - round(value / step))


def missed(car: Car, found: Rounded) -> list[float]:
    """Return by what part of its tolerance the rounded car, stood anew, misses each target."""
    at, wanted = stance(found.car), car.targets
    assert at.drift.lateral is not None
    assert at.rail_offset is not None
    return [
        abs(at.height_difference - wanted.height_difference.value) / wanted.height_difference.tolerance,
        abs(at.drift.lateral - wanted.drift.value) / wanted.drift.tolerance,
        abs(at.rail_offset - wanted.rail_offset.value) / wanted.rail_offset.tolerance,
    ]


@pytest.mark.parametrize("rules", [None, OPEN, STRAIGHT, PLAIN], ids=lambda rules: rules and rules.name)
@pytest.mark.parametrize("system", System)
@pytest.mark.parametrize("name", ["lark", "heron", "bittern"])
def test_a_rounded_demo_car_misses_no_target_by_a_tenth_of_its_tolerance(
    name: str, system: System, rules: ClassRules | None
) -> None:
    car = club_car(name)
    found = rounded(plan(car, rules=rules), rules=rules, system=system)
    assert max(missed(car, found)) < 0.1
    assert missed(car, found) == pytest.approx(list(found.shares), abs=1e-6)
    assert max(found.costs) > 0.0


@pytest.mark.parametrize(("system", "length"), [(System.METRIC, 0.01 * MM), (System.INCH, 0.5 * THOU)])
def test_what_the_plan_changes_lies_on_a_step_and_what_it_keeps_stays(system: System, length: float) -> None:
    exact = plan(lark())
    found = rounded(exact, system=system)
    for size in exact.sizes:
        value = found.value(size.name)
        if abs(size.value - size.was) < 1e-9:
            assert value == size.value
            continue
        step = length if dimension_kind(size.name) is Kind.LENGTH else 0.1 * DEG
        assert off_step(value, step) < 1e-6, size.name
        assert found.steps[size.name] == pytest.approx(step)
        assert dimension_of(found.car, size.name).source is Source.NOMINAL


def test_the_turn_makes_up_for_a_bend_rounded_by_itself() -> None:
    exact = plan(lark())
    found = rounded(exact)
    bend = found.value("front_left.bend") - dimension_of(exact.car, "front_left.bend").value
    # Alone, that much more bend would cost a good part of what rounding may cost in all.
    assert abs(bend * found.slopes["front_left.bend"][1]) > 0.05 * lark().targets.drift.tolerance
    assert found.shares[1] < 0.02


def test_a_straight_hole_is_told_to_a_hundredth_of_a_degree() -> None:
    found = rounded(plan(heron()))
    assert found.steps["front_left.sweep"] == pytest.approx(0.01 * DEG)
    assert found.steps["front_left.cant"] == pytest.approx(0.1 * DEG)


def test_slopes_are_those_of_the_stance() -> None:
    exact = plan(lark())
    found = rounded(exact)
    # A metre of relief brings the wheel a metre nearer; forward sweep steers a left wheel to the right.
    assert found.slopes["front_left.relief"][2] == pytest.approx(-1.0, abs=1e-3)
    assert found.slopes["front_left.sweep"][1] < 0.0
    assert found.slopes["rear_left.hole_height"][0] > 0.0 > found.slopes["front_left.hole_height"][0]


def test_tighter_targets_are_rounded_more_finely() -> None:
    car = aimed(lark(), level=0.0, drift=-0.07)
    tight = car.targets.height_difference
    for tolerance in (0.15 * MM, 0.02 * MM):
        wanted = type(tight)(value=0.0, tolerance=tolerance)
        targets = type(car.targets)(
            height_difference=wanted, drift=car.targets.drift, rail_offset=car.targets.rail_offset
        )
        one = type(car)(**{name: getattr(car, name) for name in car.__slots__} | {"targets": targets})
        found = rounded(plan(one))
        assert max(found.shares) < 0.1
        assert found.steps["rear_left.hole_height"] == pytest.approx(
            0.01 * MM if tolerance > 0.1 * MM else 0.001 * MM
        )


@pytest.mark.parametrize("system", System)
def test_a_clearance_that_is_just_kept_stays_kept(system: System) -> None:
    for ground in np.linspace(6.95, 7.05, 11) * MM:
        found = rounded(plan(lark(), wish=Wish(ground_clearance=float(ground))), system=system)
        assert found.figures.ground_clearance >= ground
        assert max(found.shares) < 0.1
    kept = rounded(plan(club_car("bittern"), rules=PLAIN), rules=PLAIN, system=system)
    assert kept.figures.ground_clearance >= 6.8 * MM


def test_no_more_bend_than_allowed_comes_of_rounding() -> None:
    wish = Wish(most_bend=2.96 * DEG, preference=Preference.LEAST_RELIEF)
    exact = plan(lark(), wish=wish)
    found = rounded(exact)
    assert dimension_of(exact.car, "front_left.bend").value == pytest.approx(2.96 * DEG)
    assert found.value("front_left.bend") == pytest.approx(2.9 * DEG)
    assert found.shares[1] < 0.1


def test_a_blocked_plan_is_rounded_about_what_it_reaches() -> None:
    exact = plan(aimed(lark(), drift=-0.3), wish=Wish(most_bend=1.0 * DEG))
    found = rounded(exact)
    assert found.figures.drift == pytest.approx(exact.figures.drift, abs=1e-3)
    assert max(found.shares) < 0.1


def test_both_rear_holes_stay_alike_and_a_mirrored_car_mirrors() -> None:
    wish = Wish(ride_height=7.013 * MM)
    right, left = rounded(plan(lark(), wish=wish)), rounded(plan(mirrored(lark()), wish=wish))
    assert right.value("rear_left.hole_height") == right.value("rear_right.hole_height")
    for name in ("hole_height", "bend", "relief"):
        assert right.value(f"front_left.{name}") == pytest.approx(left.value(f"front_right.{name}"))
    assert math.isclose(right.value("front_left.clock"), left.value("front_right.clock"))
    assert {each.station for each in right.bushings} == set(Station)
