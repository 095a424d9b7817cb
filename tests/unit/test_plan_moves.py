"""The next moves: they land, they leave alone what is good, they never ask for what a hand cannot do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from rollwright.car import Car, Seat, Station
from rollwright.car.dimensions import dimension_names
from rollwright.geometry.many import dimension_values
from rollwright.geometry.stance import stance
from rollwright.scenario.simulate import SimulatedCar
from rollwright.setup.estimate import Estimate, estimate
from rollwright.setup.hand import Hand
from rollwright.setup.knobs import AdjustableCar
from rollwright.setup.outcome import MoveKind, outcome_of
from rollwright.setup.plan_moves import Plan, after_moves, moved_dimensions, plan_moves
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
    value_of,
    wanted_of,
)

FL, FR = Station.FRONT_LEFT, Station.FRONT_RIGHT
ORDER = [MoveKind.SHIM, MoveKind.BEND, MoveKind.TURN, MoveKind.WASHER, MoveKind.RELIEF]
ODD_CARS = {
    "lark": lark(),
    "low": changed(lark(), {"front_left.hole_height": 10.3 * MM, "front_left.clock": -35.0 * DEG}),
    "narrow": changed(lark(), {"body.width": 45.6 * MM}),
    "washers in": changed(lark(), {"front_left.washer": 0.5 * MM}),
    "straight pin": changed(lark(), {"front_left.bend": 0.0, "front_left.clock": 0.0}),
    "pin turned up": changed(lark(), {"front_left.bend": 1.0 * DEG, "front_left.clock": 140.0 * DEG}),
    "bend in the wood": changed(lark(), {"front_left.bend_at": -1.5 * MM}),
    "nose high wanted": aimed(lark(), level=0.4 * MM, drift=-0.05, rail=0.1 * MM),
    "steered left": aimed(lark(), drift=0.04),
    "drilled askew": changed(lark(), {"front_left.cant": 1.5 * DEG, "front_left.sweep": -1.0 * DEG}),
}


def plan_for(
    car: Car, readings: Sequence[Reading] = (), *, hand: Hand | None = None
) -> tuple[Estimate, Plan]:
    found = estimate(car, readings)
    return found, plan_moves(found, hand=hand)


def kinds(plan: Plan) -> list[MoveKind]:
    return [move.kind for move in plan.moves]


def made(found: Estimate, plan: Plan) -> SimulatedCar:
    """Return the car as estimated after the moves, made by a hand that never misses."""
    start = SimulatedCar(car=found.car, values=found.values)
    return start.after(plan.moves, np.random.default_rng(0), hand=PERFECT)


def well_known(car: Car) -> Car:
    """Return the car as one who has measured it well would describe it."""
    station = car.dominant.value
    return known_but_for(
        car,
        {
            f"{station}.hole_height": 0.02 * MM,
            f"{station}.hub_projection": 0.03 * MM,
            f"{station}.clock": 1.0 * DEG,
        },
    )


def strict(car: Car) -> Car:
    """Return the car with tolerances so narrow that nothing is good enough as it is."""
    old = car.targets
    return replace(
        car,
        targets=replace(
            old,
            height_difference=replace(old.height_difference, tolerance=1e-6),
            drift=replace(old.drift, tolerance=1e-5),
            rail_offset=replace(old.rail_offset, tolerance=1e-6),
        ),
    )


# Solve, then go forward.


@pytest.mark.parametrize("flip", [False, True], ids=["left", "right"])
@pytest.mark.parametrize("name", ODD_CARS)
def test_on_a_well_known_car_the_moves_land_on_target(name: str, *, flip: bool) -> None:
    car = strict(mirrored(ODD_CARS[name]) if flip else ODD_CARS[name])
    # Known to a tenth of a micrometre, so that nothing but the rounding of the moves is left.
    found = estimate(known_but_for(car, {f"{car.dominant.value}.hole_height": 1e-7}))
    plan = plan_moves(found, hand=PERFECT)
    after = made(found, plan)
    level, drift, rail = after.gates() - wanted_of(car)[0]
    slopes = slopes_at(found, after.values)
    # Half a step of each grid: 0.05 degrees of bend, 0.5 degrees of turn; the turn makes up for the bend.
    half_bend, half_turn = 0.025 * DEG, 0.25 * DEG
    assert abs(drift) <= abs(slopes["clock"][1]) * half_turn * 1.2 + 0.05 * MM
    reach = abs(slopes["clock"][1] * half_turn) + abs(slopes["bend"][1] * half_bend)
    by_turn = abs(slopes["clock"][0] / slopes["clock"][1]) * reach
    assert abs(level) <= (abs(slopes["bend"][0]) * half_bend + by_turn) * 1.2 + 1e-6
    # Washers are rounded to the nearest hundredth, wood down to it.
    assert -0.006 * MM <= rail <= 0.012 * MM


def slopes_at(found: Estimate, values: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
    """Return by how much the gates move for a change of bend and clock, by differences of the stance."""
    slopes = {}
    for name in ("bend", "clock"):
        column = dimension_names().index(f"{found.car.dominant.value}.{name}")
        ends = []
        for sign in (1.0, -1.0):
            there = values.copy()
            there[column] += sign * 1e-4
            ends.append(SimulatedCar(car=found.car, values=there).gates())
        slopes[name] = (ends[0] - ends[1]) / 2e-4
    return slopes


@pytest.mark.parametrize("name", ODD_CARS)
def test_the_moves_lead_where_the_plan_says_they_do(name: str) -> None:
    found, plan = plan_for(well_known(ODD_CARS[name]))
    after = made(found, plan)
    columns = [index for index, each in enumerate(dimension_names()) if not each.endswith("clock")]
    assert after.values[columns] == pytest.approx(plan.values[columns], abs=1e-9)
    turn = dimension_names().index("front_left.clock")
    assert math.remainder(after.values[turn] - plan.values[turn], 2.0 * math.pi) == pytest.approx(
        0.0, abs=1e-7
    )
    assert after.gates() == pytest.approx(plan.outcome.means, abs=1e-7)


@pytest.mark.parametrize("name", ODD_CARS)
def test_each_moves_expectation_is_that_of_the_car_with_the_moves_so_far(name: str) -> None:
    found, plan = plan_for(well_known(ODD_CARS[name]))
    assert plan.moves
    start = SimulatedCar(car=found.car, values=found.values)
    rng = np.random.default_rng(0)
    for count, move in enumerate(plan.moves, start=1):
        if move.kind is MoveKind.SHIM:
            # The two rear shims are one move at two places.
            continue
        shown = start.after(plan.moves[:count], rng, hand=PERFECT).gates()
        assert shown == pytest.approx(move.after.means, abs=1e-7)
    assert plan.moves[-1].after.means == pytest.approx(plan.outcome.means)


@pytest.mark.parametrize("name", ODD_CARS)
def test_the_moves_come_in_the_order_in_which_a_hand_makes_them(name: str) -> None:
    _, plan = plan_for(well_known(ODD_CARS[name]))
    places = [ORDER.index(kind) for kind in kinds(plan)]
    assert places == sorted(places)
    by_gate = {MoveKind.SHIM: 0, MoveKind.BEND: 0, MoveKind.TURN: 1, MoveKind.WASHER: 2, MoveKind.RELIEF: 2}
    assert all(move.gate == by_gate[move.kind] for move in plan.moves)


@pytest.mark.parametrize("name", ODD_CARS)
def test_no_move_is_smaller_than_what_a_hand_can_do(name: str) -> None:
    hand = Hand()
    _, plan = plan_for(well_known(ODD_CARS[name]), hand=hand)
    assert plan.moves
    for move in plan.moves:
        assert abs(move.by) >= getattr(hand, move.kind.value)


def test_bend_and_turn_are_asked_for_in_steps_that_can_be_read_off() -> None:
    _, plan = plan_for(lark(), three_readings(-0.21 * MM, -0.11, 0.91 * MM))
    bend, turn, relief = plan.moves
    assert (bend.by / (0.05 * DEG)) == pytest.approx(round(bend.by / (0.05 * DEG)), abs=1e-9)
    assert (turn.by / (0.5 * DEG)) == pytest.approx(round(turn.by / (0.5 * DEG)), abs=1e-9)
    assert (relief.by / 1e-5) == pytest.approx(round(relief.by / 1e-5), abs=1e-6)


def test_a_hand_of_no_error_is_never_asked_to_do_nothing() -> None:
    # Within half a step of every grid the rounded move is none, and none is what must be said.
    for level in np.linspace(-0.03, 0.03, 7):
        high = float(stance(lark()).height_difference) + level * MM
        car = strict(aimed(lark(), level=high, drift=-0.0865))
        _, plan = plan_for(known_but_for(car, {"front_left.hole_height": 1e-7}), hand=PERFECT)
        assert all(abs(move.by) > 1e-9 for move in plan.moves)


# What is left alone.


def test_a_car_that_is_inside_is_left_alone() -> None:
    found, plan = plan_for(lark(), three_readings(0.0, -0.07, 0.03 * MM, sharpness=4.0))
    assert plan.moves == ()
    assert plan.cannot == ()
    assert plan.notes == ()
    assert min(plan.outcome.probabilities) >= 0.95
    assert plan.values == pytest.approx(found.values, rel=0.0, abs=0.0)
    assert after_moves(found, plan)[0] == pytest.approx(found.values, rel=0.0, abs=0.0)


def test_an_error_that_the_gauges_cannot_tell_moves_nothing_and_says_so() -> None:
    # Every target lies two thirds of an uncertainty away, and its tolerance is a third of one.
    coarse = three_readings(0.0, -0.07, 0.6 * MM, sharpness=0.3)
    first = estimate(lark(), coarse)
    spread = np.sqrt(np.diag(first.gate_covariance))
    level, drift, rail = (first.gates - 0.67 * spread).tolist()
    car = aimed(lark(), level=level, drift=drift, rail=rail)
    each = (car.targets.height_difference, car.targets.drift, car.targets.rail_offset)
    narrow = [replace(one, tolerance=float(size) / 3.0) for one, size in zip(each, spread, strict=True)]
    car = replace(
        car,
        targets=replace(car.targets, height_difference=narrow[0], drift=narrow[1], rail_offset=narrow[2]),
    )
    found, plan = plan_for(car, coarse)
    assert min(plan.outcome.probabilities) < 0.95
    assert plan.moves == ()
    assert plan.notes
    assert "move nothing" in plan.notes[0]
    assert after_moves(found, plan)[0] == pytest.approx(found.values, rel=0.0, abs=0.0)


def test_an_error_within_the_hands_reach_moves_nothing_and_says_so() -> None:
    clumsy = Hand(bend=3.0 * DEG, turn=40.0 * DEG, relief=2.0 * MM, washer=2.0 * MM, shim=2.0 * MM)
    readings = three_readings(0.2 * MM, -0.09, 0.5 * MM)
    _, plan = plan_for(lark(), readings, hand=clumsy)
    assert plan.moves == ()
    assert plan.notes
    # The same car in an ordinary hand is worth moving.
    assert plan_for(lark(), readings)[1].moves


def test_a_gate_that_is_inside_is_not_spoiled_for_another() -> None:
    # Level and steer are good and only the rail is off: no bend and no turn.
    _, plan = plan_for(lark(), three_readings(0.0, -0.07, 0.9 * MM))
    assert kinds(plan) == [MoveKind.RELIEF]


# Trim.


def test_a_wheel_that_stands_off_is_sanded_short_of_the_mark() -> None:
    found, plan = plan_for(lark(), three_readings(0.0, -0.07, 0.9 * MM))
    (relief,) = plan.moves
    left, spread = float(plan.outcome.means[2]), float(plan.outcome.deviations[2])
    # The chance of passing the mark is the normal distribution's one-sided 5 %, at 1.645 deviations.
    assert 1.645 * spread - 1e-7 <= left <= 1.645 * spread + 0.011 * MM
    assert relief.to == pytest.approx(found.dimension("front_left.relief").value + relief.by)
    assert 0.6 * MM < relief.by < 0.9 * MM


def test_a_wheel_that_holds_the_lines_apart_gets_washers_all_the_way() -> None:
    car = changed(lark(), {"body.width": 46.2 * MM})
    found, plan = plan_for(car, three_readings(0.0, -0.07, -0.4 * MM))
    (washer,) = plan.moves
    assert washer.kind is MoveKind.WASHER
    assert washer.by > 0.0
    # Washers come off again, so there is no stopping short.
    assert float(plan.outcome.means[2]) == pytest.approx(0.0, abs=0.006 * MM)
    assert washer.to == pytest.approx(found.dimension("front_left.washer").value + washer.by)


def test_washers_come_out_before_any_wood_is_removed() -> None:
    car = changed(lark(), {"front_left.washer": 0.5 * MM})
    found, plan = plan_for(car, three_readings(0.0, -0.07, 1.0 * MM))
    assert kinds(plan) == [MoveKind.WASHER, MoveKind.RELIEF]
    washer, relief = plan.moves
    assert washer.by == pytest.approx(-found.dimension("front_left.washer").value)
    assert washer.to == 0.0
    assert 0.2 * MM < relief.by < 0.5 * MM


def test_washers_alone_do_where_there_are_enough_of_them() -> None:
    car = changed(lark(), {"front_left.washer": 1.2 * MM})
    _, plan = plan_for(car, three_readings(0.0, -0.07, 0.9 * MM))
    (washer,) = plan.moves
    assert washer.kind is MoveKind.WASHER
    assert float(plan.outcome.means[2]) == pytest.approx(0.0, abs=0.006 * MM)


def test_a_trace_of_washers_too_thin_to_take_out_is_left_in_and_reckoned_with() -> None:
    car = changed(lark(), {"front_left.washer": 0.02 * MM})
    found, plan = plan_for(
        known_but_for(car, {"body.width": 0.2 * MM}), [reading(ReadingKind.RAIL_OFFSET, 0.9 * MM)]
    )
    assert MoveKind.WASHER not in kinds(plan)
    after = made(found, plan)
    column = dimension_names().index("front_left.washer")
    assert after.values[column] == plan.values[column] == pytest.approx(0.02 * MM)
    assert after.gates() == pytest.approx(plan.outcome.means, abs=1e-8)


def test_where_sanding_could_overshoot_as_easily_as_land_the_wood_is_left() -> None:
    level, drift, _ = three_readings(0.0, -0.07, 0.0)
    car = changed(lark(), {"body.width": 46.9 * MM})
    found, plan = plan_for(car, [level, drift, reading(ReadingKind.RAIL_OFFSET, 0.15 * MM, 0.12 * MM)])
    assert float(found.gates[2]) > 0.1 * MM
    assert plan.outcome.probabilities[2] < 0.95
    assert plan.moves == ()
    assert any("leave the wood" in note for note in plan.notes)


def test_a_rail_far_off_is_not_trimmed_before_level_and_steer_are_known() -> None:
    wide = changed(lark(), {"body.width": 60.0 * MM})
    _, plan = plan_for(wide)
    assert plan.moves == ()
    assert "read them first" in plan.notes[0]
    assert kinds(plan_for(wide, three_readings(0.0, -0.07, 6.8 * MM))[1]) == [MoveKind.RELIEF]


def test_washers_that_are_all_taken_out_leave_nothing_unknown_behind() -> None:
    car = changed(lark(), {"front_left.washer": 0.5 * MM})
    found, plan = plan_for(car, three_readings(0.0, -0.07, 1.0 * MM))
    mean, root = after_moves(found, plan)
    column = dimension_names().index("front_left.washer")
    assert mean[column] == 0.0
    assert not root[column].any()
    # The next round starts from there, and the hand's other errors are still in it.
    _, root = after_moves(found, plan)
    assert root.shape[1] == found.root.shape[1] + 1
    # Some of them out is another matter: what is left is as uncertain as before, and the hand may miss.
    thick = changed(lark(), {"front_left.washer": 1.2 * MM})
    judged, partly = plan_for(thick, three_readings(0.0, -0.07, 0.9 * MM))
    left = moved_dimensions(judged, partly)["front_left.washer"].uncertainty
    assert left == pytest.approx(math.hypot(judged.dimension("front_left.washer").uncertainty, Hand().washer))


# The dominant wheel in the air.


def test_nothing_is_sanded_while_the_dominant_wheel_hangs_in_the_air() -> None:
    lifted = changed(lark(), {"front_right.hole_height": 8.0 * MM})
    assert FL not in stance(lifted).carrying
    _, plan = plan_for(lifted)
    assert plan.moves == ()
    (cannot,) = plan.cannot
    assert "front right wheel carries" in cannot.reason
    assert "front right hole higher" in cannot.change


def test_a_bend_that_brings_the_dominant_wheel_down_is_found_from_the_air() -> None:
    lifted = changed(
        lark(),
        {
            "front_right.hole_height": 9.3 * MM,
            "front_left.bend": 0.5 * DEG,
            "front_left.hole_height": 9.6 * MM,
        },
    )
    assert FL not in stance(lifted).carrying
    found, plan = plan_for(lifted)
    assert kinds(plan)[0] is MoveKind.BEND
    after = SimulatedCar(car=found.car, values=plan.values)
    assert abs(after.gates()[0]) < 0.15 * MM


# Seats that the moves change.


def test_moves_that_make_the_wheel_run_elsewhere_in_its_play_are_solved_for_it() -> None:
    # The pin points up, so the wheel runs at the head; turned down it will run at the body.
    turned = changed(lark(), {"front_left.clock": 175.0 * DEG, "front_left.play": 0.8 * MM})
    car = known_but_for(turned, {})
    found, plan = plan_for(car)
    assert found.seats[FL] is Seat.HEAD
    after = made(found, plan)
    assert after.seats()[FL] is Seat.BODY
    assert after.gates() == pytest.approx(plan.outcome.means, abs=1e-7)
    assert plan.outcome.means[:2] == pytest.approx(wanted_of(car)[0][:2], abs=2.0 * MM)


# Mirror.


@pytest.mark.parametrize("name", ODD_CARS)
def test_a_mirrored_car_gets_mirrored_moves(name: str) -> None:
    car = ODD_CARS[name]
    readings = three_readings(-0.1 * MM, -0.09, 0.7 * MM)
    flipped = (readings[0], reading(ReadingKind.DRIFT, 0.09, 2.5 * MM), readings[2])
    _, left = plan_for(car, readings)
    _, right = plan_for(mirrored(car), flipped)
    assert kinds(left) == kinds(right)
    for one, other in zip(left.moves, right.moves, strict=True):
        if one.kind is not MoveKind.SHIM:
            assert (one.station, other.station) == (FL, FR)
        assert other.by == pytest.approx(one.by, abs=1e-9)
    assert right.outcome.means == pytest.approx(left.outcome.means * np.array([1.0, -1.0, 1.0]), abs=1e-8)
    assert right.outcome.probabilities == pytest.approx(left.outcome.probabilities, abs=1e-6)


# After the moves.


def test_what_is_known_after_the_moves_adds_the_hands_errors() -> None:
    hand = Hand(bend=0.2 * DEG, turn=2.0 * DEG, relief=0.1 * MM)
    found, plan = plan_for(lark(), three_readings(-0.21 * MM, -0.11, 0.91 * MM), hand=hand)
    assert kinds(plan) == [MoveKind.BEND, MoveKind.TURN, MoveKind.RELIEF]
    mean, root = after_moves(found, plan, hand=hand)
    assert mean == pytest.approx(plan.values)
    spread = np.sqrt(np.sum(root**2, axis=1))
    for name, error in (("bend", hand.bend), ("clock", hand.turn), ("relief", hand.relief)):
        column = dimension_names().index(f"front_left.{name}")
        assert spread[column] == pytest.approx(math.hypot(float(found.deviations[column]), error))
    others = [
        index
        for index, name in enumerate(dimension_names())
        if name not in {"front_left.bend", "front_left.clock", "front_left.relief"}
    ]
    assert spread[others] == pytest.approx(found.deviations[others])
    told = moved_dimensions(found, plan, hand=hand)
    assert set(told) == {"front_left.bend", "front_left.clock", "front_left.relief"}
    assert told["front_left.relief"].uncertainty == pytest.approx(
        float(spread[dimension_names().index("front_left.relief")])
    )


def test_only_what_was_moved_is_said_to_be_changed() -> None:
    found, plan = plan_for(lark(), three_readings(0.0, -0.07, 0.9 * MM))
    assert set(moved_dimensions(found, plan)) == {"front_left.relief"}


def test_shims_change_both_rear_holes_by_as_much() -> None:
    found, plan = plan_for(heron(), three_readings(0.5 * MM, -0.07, 1.04 * MM))
    told = moved_dimensions(found, plan)
    assert {"rear_left.hole_height", "rear_right.hole_height"} <= set(told)
    for station in ("rear_left", "rear_right"):
        before = found.dimension(f"{station}.hole_height").value
        assert told[f"{station}.hole_height"].value == pytest.approx(before - plan.moves[0].by)


# Chances.


def test_the_chances_are_those_of_a_normal_spread_and_their_joint_is_no_better_than_the_worst() -> None:
    found, plan = plan_for(lark(), three_readings(-0.21 * MM, -0.11, 0.91 * MM))
    outcome = plan.outcome
    wanted, tolerance = wanted_of(lark())
    rng = np.random.default_rng(4)
    draws = rng.multivariate_normal(outcome.means, outcome.covariance, size=40_000, method="eigh")
    inside = np.abs(draws - wanted) <= tolerance
    assert outcome.probabilities == pytest.approx(inside.mean(axis=0), abs=4.0 * 0.5 / 200.0)
    assert outcome.joint == pytest.approx(float(inside.all(axis=1).mean()), abs=0.03)
    assert outcome.joint <= min(outcome.probabilities) + 0.01
    assert np.all(np.linalg.eigvalsh(outcome.covariance / np.outer(tolerance, tolerance)) > -1e-12)
    assert found.values.shape == plan.values.shape


def test_a_weaker_gauge_never_leads_to_a_surer_result() -> None:
    last = np.zeros(3)
    for sharpness in (8.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.1):
        found = estimate(lark(), three_readings(-0.08 * MM, -0.085, 0.8 * MM, sharpness=sharpness))
        spread = np.sqrt(np.diag(found.gate_covariance))
        assert np.all(spread >= last * (1.0 - 1e-3)), sharpness
        last = spread


def test_a_clumsier_hand_never_leads_to_a_surer_result() -> None:
    found = estimate(lark(), three_readings(-0.21 * MM, -0.11, 0.91 * MM))
    bench = AdjustableCar(car=found.car, seats=found.seats, values=found.values)
    setting = bench.present().bent_to(3.8 * DEG).turned_to(8.0 * DEG)
    moved = frozenset({MoveKind.BEND, MoveKind.TURN, MoveKind.RELIEF})
    last = np.zeros(3)
    for factor in (0.1, 0.5, 1.0, 3.0):
        hand = Hand(bend=factor * 0.1 * DEG, turn=factor * DEG, relief=factor * 0.05 * MM)
        outcome = outcome_of(bench, setting, root=found.root, hand=hand, moved=moved)
        assert outcome is not None
        assert np.all(outcome.deviations > last)
        last = outcome.deviations


# Odd cars.


def test_targets_out_of_reach_are_said_to_be_so() -> None:
    _, plan = plan_for(aimed(lark(), drift=-0.6), three_readings(0.0, -0.07, 0.1 * MM))
    assert [each.gate for each in plan.cannot] == ["steer"]


def test_an_unbent_pin_is_bent_and_turned() -> None:
    car = known_but_for(changed(lark(), {"front_left.bend": 0.0}), {"front_left.hole_height": 1e-6})
    found, plan = plan_for(car)
    assert kinds(plan)[:1] == [MoveKind.BEND]
    assert plan.moves[0].to == pytest.approx(plan.moves[0].by)
    assert made(found, plan).gates()[:2] == pytest.approx([0.0, -0.07], abs=2.0 * MM)


def test_the_estimates_own_values_are_not_changed_by_planning() -> None:
    found = estimate(lark(), three_readings(-0.21 * MM, -0.11, 0.91 * MM))
    before = found.values.copy()
    plan_moves(found)
    assert found.values == pytest.approx(before, rel=0.0, abs=0.0)
    assert dimension_values(found.car) == pytest.approx(before, rel=0.0, abs=0.0)
    assert value_of(lark(), "front_left.bend") == pytest.approx(2.6 * DEG)
