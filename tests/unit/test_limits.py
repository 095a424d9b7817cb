"""What bench moves cannot do, and what would have to change instead."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
import pytest

from rollwright.car import Car, Station
from rollwright.geometry.stance import stance
from rollwright.scenario.simulate import SimulatedCar
from rollwright.setup.estimate import Estimate, estimate
from rollwright.setup.knobs import AdjustableCar, Setting
from rollwright.setup.limits import within_limits
from rollwright.setup.outcome import MoveKind
from rollwright.setup.plan_moves import Plan, plan_moves
from rollwright.setup.readings import Reading, ReadingKind

from .cars import (
    DEG,
    MM,
    PERFECT,
    aimed,
    changed,
    heron,
    known_but_for,
    lark,
    mirrored,
    reading,
    three_readings,
)

RL, RR, FL, FR = Station
ALMOST_EXACT = {"rear_left.diameter": 1e-7}


def sure(car: Car) -> Car:
    """Return the car with next to nothing unknown about it."""
    return known_but_for(car, ALMOST_EXACT)


def plan_for(car: Car, readings: Sequence[Reading] = ()) -> tuple[Estimate, Plan]:
    found = estimate(car, readings)
    return found, plan_moves(found, hand=PERFECT)


def kinds(plan: Plan) -> list[MoveKind]:
    return [move.kind for move in plan.moves]


def landed(found: Estimate, plan: Plan) -> list[float]:
    start = SimulatedCar(car=found.car, values=found.values)
    gates: list[float] = start.after(plan.moves, np.random.default_rng(0), hand=PERFECT).gates().tolist()
    return gates


def number(text: str, unit: str) -> float:
    (found,) = re.findall(rf"(\d+\.?\d*) ?{unit}", text)
    return float(found)


# Level from above and below.


def test_a_front_that_is_too_high_for_any_bend_is_shimmed_at_the_rear() -> None:
    found, plan = plan_for(sure(changed(lark(), {"front_left.hole_height": 8.4 * MM})))
    assert kinds(plan)[:2] == [MoveKind.SHIM, MoveKind.SHIM]
    assert [move.station for move in plan.moves[:2]] == [RL, RR]
    assert plan.moves[0].by == plan.moves[1].by > 0.0
    (cannot,) = plan.cannot
    assert cannot.gate == "level"
    assert "bent the other way" in cannot.reason
    assert "shim the rear axles" in cannot.change
    # The same figure in words, and it is the right one: with it the car lands.
    assert number(cannot.change, "mm") == pytest.approx(plan.moves[0].by / MM, abs=0.006)
    level, drift, rail = landed(found, plan)
    assert level == pytest.approx(0.0, abs=0.03 * MM)
    assert drift == pytest.approx(-0.07, abs=3.0 * MM)
    assert rail == pytest.approx(0.0, abs=0.012 * MM)


def test_a_front_that_is_too_low_for_the_largest_bend_is_shimmed_at_the_front() -> None:
    car = changed(lark(), {"front_left.hole_height": 12.0 * MM, "front_right.hole_height": 13.2 * MM})
    found, plan = plan_for(sure(car))
    first = plan.moves[0]
    assert (first.kind, first.station) == (MoveKind.SHIM, FL)
    assert first.by > 0.5 * MM
    (cannot,) = plan.cannot
    assert "more than the 12.00° a pin takes" in cannot.reason
    assert "shim the front axle" in cannot.change
    bend = next(move for move in plan.moves if move.kind is MoveKind.BEND)
    assert bend.to <= 12.03 * DEG
    assert landed(found, plan)[0] == pytest.approx(0.0, abs=0.05 * MM)


def test_what_bending_leaves_of_level_is_not_named_where_it_is_small() -> None:
    # Just a little past no bend down: within a third of the tolerance nobody need shim.
    found, plan = plan_for(sure(changed(lark(), {"front_left.hole_height": 9.08 * MM})))
    assert plan.cannot == ()
    assert MoveKind.SHIM not in kinds(plan)
    assert abs(landed(found, plan)[0]) <= 0.15 * MM


# A class without bent axles.


def test_a_straight_axle_is_levelled_by_shims_and_centred_but_never_bent_or_turned() -> None:
    for level in (-0.5, 0.5):
        found, plan = plan_for(heron(), three_readings(level * MM, -0.07, 1.04 * MM))
        assert set(kinds(plan)) == {MoveKind.SHIM, MoveKind.RELIEF}
        assert plan.moves[0].station is (RL if level > 0.0 else FL)
        assert landed(found, plan)[0] == pytest.approx(0.0, abs=0.01 * MM)
        assert plan.cannot == ()


@pytest.mark.parametrize("drift", [-0.099, -0.045])
def test_a_straight_axle_that_steers_wrongly_is_told_the_sweep_that_its_hole_would_need(drift: float) -> None:
    found, plan = plan_for(heron(), three_readings(0.0, drift, 0.1 * MM))
    (cannot,) = plan.cannot
    assert cannot.gate == "steer"
    assert "allows no bent axle" in cannot.reason
    wanted, now = (float(part) for part in re.findall(r"(-?\d+\.\d+)°", cannot.change.replace("−", "-")))
    assert now == pytest.approx(found.dimension("front_left.sweep").value / DEG, abs=0.006)
    # More sweep steers the left wheel more to the right. Drilled so, the car drifts as it should.
    assert (wanted > now) == (drift > -0.07)
    drilled = changed(found.car, {"front_left.sweep": wanted * DEG})
    assert stance(drilled, seats=found.seats).drift.lateral == pytest.approx(-0.07, abs=1.0 * MM)


def test_a_pin_that_is_not_quite_straight_is_not_straightened_in_silence() -> None:
    # A class rule leaves the pin alone, so whatever crookedness was found stays in the reckoning.
    found, plan = plan_for(
        heron(),
        [
            *three_readings(0.5 * MM, -0.07, 1.04 * MM),
            reading(ReadingKind.SIZE, 0.4 * DEG, 0.01 * DEG, dimension="front_left.bend"),
        ],
    )
    assert found.dimension("front_left.bend").value == pytest.approx(0.4 * DEG, rel=0.01)
    assert not {MoveKind.BEND, MoveKind.TURN} & set(kinds(plan))
    assert landed(found, plan) == pytest.approx(plan.outcome.means.tolist(), abs=1e-8)


# Wood.


def test_who_is_asked_for_shims_is_told_why_bending_would_not_do() -> None:
    _, plan = plan_for(
        changed(lark(), {"front_left.hole_height": 8.6 * MM}), three_readings(0.75 * MM, -0.086, 0.8 * MM)
    )
    assert kinds(plan)[0] is MoveKind.SHIM
    assert plan.outcome.probabilities[0] > 0.95
    (cannot,) = plan.cannot
    assert cannot.gate == "level"
    assert "bent the other way" in cannot.reason


def test_a_body_that_is_to_be_drilled_anew_keeps_its_wood() -> None:
    _, plan = plan_for(heron(), three_readings(0.5 * MM, -0.12, 1.04 * MM))
    assert {each.gate for each in plan.cannot} == {"steer"}
    assert MoveKind.RELIEF not in kinds(plan)
    assert any("Leave the wood" in note for note in plan.notes)


def test_a_relief_that_would_leave_too_little_wood_is_refused() -> None:
    readings = three_readings(0.0, -0.07, 31.8 * MM)
    found, plan = plan_for(changed(lark(), {"body.width": 110.0 * MM}), readings)
    assert plan.moves == ()
    (cannot,) = plan.cannot
    assert cannot.gate == "centre"
    assert "too little of a 110.0 mm body" in cannot.reason
    assert "narrower" in cannot.change
    assert float(found.gates[2]) > 27.5 * MM


def test_a_relief_of_a_quarter_of_the_width_is_the_most() -> None:
    found = estimate(lark())
    bench = AdjustableCar(car=found.car, seats=found.seats, values=found.values)
    most = 0.25 * 48.06 * MM
    assert within_limits(bench, Setting(down=0.0, forward=0.0, trim=-most + 1e-6)) is None
    assert within_limits(bench, Setting(down=0.0, forward=0.0, trim=-most - 1e-6)) is not None
    assert within_limits(bench, Setting(down=0.0, forward=0.0, trim=+most)) is None


# Targets.


@pytest.mark.parametrize(("wanted", "gate"), [({"drift": -0.6}, "steer")])
def test_the_gate_that_is_out_of_reach_is_named(wanted: dict[str, float], gate: str) -> None:
    _, plan = plan_for(aimed(lark(), **wanted), three_readings(0.0, -0.07, 0.05 * MM))
    assert [each.gate for each in plan.cannot] == [gate]


@pytest.mark.parametrize("car", [lark(), heron()], ids=["bent", "straight"])
def test_what_cannot_be_done_is_mirrored_with_the_car(car: Car) -> None:
    high = changed(car, {"front_left.hole_height": 8.2 * MM})
    _, left = plan_for(high)
    _, right = plan_for(mirrored(high))
    assert len(left.cannot) == len(right.cannot)
    for one, other in zip(left.cannot, right.cannot, strict=True):
        assert other.reason == one.reason
        assert other.change.replace("right", "left") == one.change


def test_every_limit_says_what_stands_in_the_way_and_what_would_help() -> None:
    cars = [
        changed(lark(), {"front_left.hole_height": 8.0 * MM}),
        changed(lark(), {"front_left.hole_height": 12.5 * MM, "front_right.hole_height": 14.0 * MM}),
        changed(lark(), {"body.width": 110.0 * MM}),
        changed(lark(), {"front_right.hole_height": 8.0 * MM}),
        changed(heron(), {"front_left.sweep": 3.0 * DEG}),
    ]
    for car in cars:
        _, plan = plan_for(sure(car))
        assert plan.cannot
        for each in plan.cannot:
            assert each.gate in {"level", "steer", "centre"}
            assert each.reason
            assert each.change
            assert "nan" not in each.reason + each.change
            assert not each.reason.endswith(".")


def test_a_setting_turned_and_bent_keeps_the_other_of_the_two() -> None:
    setting = Setting(down=0.03, forward=0.01)
    assert setting.turned_to(0.5).bend == pytest.approx(setting.bend)
    assert setting.turned_to(0.5).angle == pytest.approx(0.5)
    assert setting.bent_to(0.1).angle == pytest.approx(setting.angle)
    assert setting.bent_to(0.1).bend == pytest.approx(0.1)
    assert Setting(down=0.0, forward=0.0, clock=0.7).angle == 0.7
    assert math.isclose(setting.bent_to(0.0).angle, setting.angle)
