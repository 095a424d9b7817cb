"""Straight pins: no bend is made up for them, and sanding does not overshoot where a seat is in doubt.

Simulated cars with seeds; bounds are exact binomial ones at 0.1 %.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from rollwright.car import Car, parse_car
from rollwright.scenario.club import file_text
from rollwright.scenario.simulate import SimulatedCar, draw_car
from rollwright.setup.estimate import estimate
from rollwright.setup.hand import Hand
from rollwright.setup.outcome import MoveKind
from rollwright.setup.plan_moves import plan_moves

CARS = 150
HAND = Hand()


def straight(cant: float, sweep: float) -> Car:
    """Heron without its class rule: a straight pin that may be bent, in a hole of one's choice."""
    text = file_text("heron.toml").replace("bent_axles = false", "bent_axles = true")
    text = text.replace("sweep = 0.9 ", f"sweep = {sweep} ").replace("cant = -1 ", f"cant = {cant} ")
    return parse_car(text)


def drawn(car: Car) -> list[tuple[SimulatedCar, np.random.Generator]]:
    rngs = [np.random.default_rng((77, number)) for number in range(CARS)]
    return [(draw_car(car, rng), rng) for rng in rngs]


def test_a_straight_pin_is_turned_from_where_it_is() -> None:
    car = straight(-1.0, 0.2)
    promised, landed = np.zeros(3), np.zeros(3)
    for true, rng in drawn(car):
        plan = plan_moves(estimate(car, true.read(rng)), hand=HAND)
        assert all(abs(move.by) < np.radians(100.0) for move in plan.moves if move.kind is MoveKind.TURN)
        promised += plan.outcome.probabilities
        landed += true.after(plan.moves, rng, hand=HAND).inside()
    for chance, count in zip(promised / CARS, landed, strict=True):
        assert count >= binom.ppf(0.001, CARS, min(1.0, chance))


@pytest.mark.parametrize(("cant", "sweep"), [(0.0, 0.0), (0.3, 0.2), (-1.0, 0.9)])
def test_sanding_overshoots_one_time_in_twenty_at_most_whatever_the_seat(cant: float, sweep: float) -> None:
    car = straight(cant, sweep)
    sanded, overshot = 0, 0
    for true, rng in drawn(car):
        plan = plan_moves(estimate(car, true.read(rng)), hand=HAND)
        if MoveKind.RELIEF in {move.kind for move in plan.moves}:
            sanded += 1
            overshot += true.after(plan.moves, rng, hand=HAND).gates()[2] < car.targets.rail_offset.value
    assert sanded > CARS / 2
    assert overshot <= binom.ppf(0.999, max(sanded, 1), 0.05)
