"""What a log teaches about a hand: shrinkage, slips, and moves that only later readings tell of."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rollwright.bench.events import Bend, ReadingTaken, Sand, Turn
from rollwright.bench.fold import fold
from rollwright.car.dimensions import dimension_names
from rollwright.car.file import parse_car
from rollwright.car.model import Station
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.hand import Factor, Hand
from rollwright.setup.learnt import HABIT, Achieved, learnt
from rollwright.setup.reading_keys import ReadingKind
from tests.unit.fold_bench import DEG, MM, folded, log, read

FRONT = Station.FRONT_LEFT


def bend(asked: float, done: float, uncertainty: float = 0.05) -> Achieved:
    return Achieved(entry=1, kind="bend", asked=asked * DEG, done=done * DEG, uncertainty=uncertainty * DEG)


def test_nothing_learnt_is_a_hand_that_lands_on_what_was_asked() -> None:
    hand = learnt(Hand(), [])
    assert hand.factor("bend") == Factor()
    assert hand.asked_for("bend", 0.02) == 0.02
    assert hand.spread("bend", 0.02) == hand.bend


def test_one_small_move_hardly_counts_and_many_large_ones_do() -> None:
    one = learnt(Hand(), [bend(0.2, 0.24)]).factor("bend").value
    many = learnt(Hand(), [bend(2.0, 2.4)] * 8).factor("bend")
    assert 1.0 < one < 1.02
    assert many.value == pytest.approx(1.2, abs=0.01)
    assert many.moves == 8
    assert many.uncertainty < 0.03 < HABIT


def test_the_factor_is_the_mean_of_two_normal_beliefs() -> None:
    # Worked by hand: belief 1 with 0.15; evidence 1.5 / 1.25 = 1.2 with sqrt(0.1^2 + 0.1^2) / 1.25 = 0.1131.
    found = learnt(Hand(), [bend(1.25, 1.5, 0.1)]).factor("bend")
    weights = 1.0 / 0.15**2, 1.0 / (math.hypot(0.1, 0.1) / 1.25) ** 2
    assert found.value == pytest.approx((weights[0] + 1.2 * weights[1]) / sum(weights), rel=1e-12)
    assert found.uncertainty == pytest.approx(sum(weights) ** -0.5, rel=1e-12)


@pytest.mark.parametrize("done", [-1.5, 0.3, 5.0])
def test_a_slip_is_no_habit(done: float) -> None:
    assert learnt(Hand(), [bend(1.5, done)]).factor("bend") == Factor()
    beside = learnt(Hand(), [bend(1.5, done), bend(1.5, 1.8)])
    assert beside.factor("bend") == learnt(Hand(), [bend(1.5, 1.8)]).factor("bend")


def test_one_kind_of_move_says_nothing_of_another_and_the_order_does_not_matter() -> None:
    turn = Achieved(entry=2, kind="turn", asked=5.0 * DEG, done=6.0 * DEG, uncertainty=0.5 * DEG)
    found = learnt(Hand(), [bend(1.0, 1.3), turn, bend(2.0, 2.2)])
    assert found.factor("bend") == learnt(Hand(), [bend(1.0, 1.3), bend(2.0, 2.2)]).factor("bend")
    assert found.factor("turn") == learnt(Hand(), [turn]).factor("turn")
    other = learnt(Hand(), [bend(2.0, 2.2), turn, bend(1.0, 1.3)]).factor("bend")
    assert other.value == pytest.approx(found.factor("bend").value, rel=1e-12)
    # To straighten is a move like any other.
    assert learnt(Hand(), [bend(-1.0, -1.3)]).factor("bend") == learnt(Hand(), [bend(1.0, 1.3)]).factor(
        "bend"
    )


def test_a_hand_that_goes_too_far_is_asked_for_less_and_is_less_sure_the_more_is_asked() -> None:
    hand = replace(Hand(), factors={"bend": Factor(value=1.2, uncertainty=0.05, moves=4)})
    assert hand.asked_for("bend", 1.2) == pytest.approx(1.0)
    assert hand.spread("bend", 4.0 * DEG) == pytest.approx(math.hypot(0.1, 0.2) * DEG)


def test_measured_moves_teach_by_themselves() -> None:
    found = folded(*[Bend(station=FRONT, asked=1.0 * DEG, done=1.2 * DEG, uncertainty=0.02 * DEG)] * 3)
    assert found.hand.factor("bend").moves == 3
    assert 1.1 < found.hand.factor("bend").value < 1.2
    assert found.hand.factor("turn") == Factor()


def shown(bend_by: float, relief_by: float = 0.0) -> tuple[ReadingTaken, ...]:
    """Return sharp readings of Lark as its file describes it but for a bend and some wood."""
    car = parse_car(file_text("lark.toml"))
    axle, corner = car.axle_at(FRONT), car.corners[FRONT]
    axle = replace(axle, bend=replace(axle.bend, value=axle.bend.value + bend_by))
    corner = replace(corner, relief=replace(corner.relief, value=corner.relief.value + relief_by))
    car = replace(car, axles={**car.axles, corner.axle: axle}, corners={**car.corners, FRONT: corner})
    found = stance(car)
    assert found.drift.lateral is not None
    assert found.rail_offset is not None
    return (
        read(ReadingKind.HEIGHT_DIFFERENCE, found.height_difference, 0.005 * MM),
        read(ReadingKind.DRIFT, found.drift.lateral, 0.5 * MM),
        read(ReadingKind.RAIL_OFFSET, found.rail_offset, 0.005 * MM),
    )


def test_a_bend_that_went_too_far_shows_in_what_is_read_afterwards() -> None:
    # A bend of one degree was asked and came out a fifth larger; nobody measured it.
    found = folded(*shown(0.0), Bend(station=FRONT, asked=1.0 * DEG), *shown(1.2 * DEG))
    (move,) = [move for move in found.achieved if move.kind == "bend"]
    assert move.entry == 5
    assert move.done == pytest.approx(1.2 * DEG, abs=3.0 * move.uncertainty)
    assert move.done > 1.1 * DEG
    assert 1.02 < found.hand.factor("bend").value < 1.2


def test_wood_that_went_too_deep_shows_as_well_and_a_bend_on_the_mark_is_no_habit() -> None:
    found = folded(
        *shown(0.0),
        Bend(station=FRONT, asked=1.0 * DEG),
        *shown(1.0 * DEG),
        Sand(station=FRONT, asked=0.4 * MM),
        *shown(1.0 * DEG, 0.52 * MM),
    )
    assert found.hand.factor("bend").value == pytest.approx(1.0, abs=0.03)
    assert found.hand.factor("relief").value > 1.1


def test_what_was_learnt_is_used_in_the_next_move() -> None:
    before = folded(*shown(0.0), Bend(station=FRONT, asked=1.0 * DEG), *shown(1.2 * DEG))
    after = folded(
        *shown(0.0),
        Bend(station=FRONT, asked=1.0 * DEG),
        *shown(1.2 * DEG),
        Bend(station=FRONT, asked=1.0 * DEG),
    )
    assert before.estimate is not None
    index = dimension_names().index("front_left.bend")
    grown = float(after.known.prior.mean[index] - before.estimate.values[index])
    assert grown == pytest.approx(before.hand.factor("bend").value * DEG, rel=1e-6)
    assert grown > 1.02 * DEG


def test_other_cars_teach_the_hand_too() -> None:
    habits = [bend(1.0, 1.25)] * 5
    found = fold(log(Turn(station=FRONT, asked=5.0 * DEG)), habits=habits)
    assert found.hand.factor("bend").value > 1.15
    assert found.achieved == ()


@pytest.mark.parametrize("seed", range(3))
def test_the_factor_is_covered_by_its_uncertainty(seed: int) -> None:
    rng = np.random.default_rng(seed)
    inside = 0
    for _ in range(400):
        factor = rng.normal(1.0, HABIT)
        moves = [
            bend(asked, factor * asked + rng.normal(0.0, math.hypot(0.1, 0.05)))
            for asked in rng.uniform(0.8, 3.0, size=4)
        ]
        found = learnt(Hand(), moves).factor("bend")
        inside += abs(found.value - factor) <= 1.96 * found.uncertainty
    # 95 % of 400: 380, standard deviation 4.4.
    assert 362 <= inside <= 396
