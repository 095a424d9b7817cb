"""When to stop: good enough, another round, or a body that will not come good."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from rollwright.setup.advice import GATES, Advice, advise
from rollwright.setup.hand import Hand
from rollwright.setup.limits import Cannot
from rollwright.setup.stop import Stop, stopping
from tests.unit.cars import MM, aimed, lark, three_readings, wanted_of

OUT = three_readings(-0.21 * MM, -0.11, 0.91 * MM)
"""Readings of a Lark that wants bend, turn and sanding."""
IN = three_readings(0.0, -0.07, 0.0, sharpness=2.0)
WANTED, TOLERANCES = wanted_of(lark())
WALL = (Cannot(gate="centre", reason="too little wood is left", change="take a wider body"),)


def with_chance(
    joint: float,
    *,
    each: tuple[float, float, float] = (0.9, 0.9, 0.9),
    held: tuple[float, float, float] = (0.97, 0.97, 0.97),
    off: float = 0.0,
    cannot: tuple[Cannot, ...] = (),
) -> Advice:
    """Return advice on a next round.

    Args:
        joint: chance that it leaves all inside.
        each: chance of each by itself.
        held: the same of a round that aims at the middle; it sets the deviations.
        off: how far from its target the round leaves the rail offset [tolerances].
        cannot: targets that no move reaches.
    """
    advice = advise(lark(), OUT)
    # Of a normal distribution the share p lies within T where its deviation is T / Phi^-1((1 + p) / 2).
    deviations = TOLERANCES / norm.ppf(0.5 * (1.0 + np.array(held)))
    outcome = replace(
        advice.plan.outcome,
        joint=joint,
        probabilities=each,
        means=WANTED + off * TOLERANCES * np.array([0.0, 0.0, 1.0]),
        covariance=np.diag(deviations**2),
    )
    return replace(
        advice,
        plan=replace(advice.plan, outcome=outcome, cannot=cannot),
        read=dict.fromkeys(GATES, True),
    )


def test_a_car_whose_gates_are_passed_is_good_enough_and_left_alone() -> None:
    advice = advise(lark(), IN)
    found = stopping(advice, passed=True)
    assert found.stop is Stop.GOOD_ENOUGH
    assert found.rounds == 0.0
    # Three independent things: 0.95 each would be 0.86 together.
    assert found.chance == pytest.approx(math.prod(one.probability for one in advice.verdicts.values()))


@pytest.mark.parametrize("joint", [0.0, 0.5, 1.0])
def test_what_is_passed_is_good_enough_whatever_a_next_round_would_bring(joint: float) -> None:
    assert stopping(with_chance(joint, cannot=WALL), passed=True).stop is Stop.GOOD_ENOUGH


def test_a_round_that_hardly_ever_fails_is_worth_it() -> None:
    found = stopping(with_chance(0.96), passed=False)
    assert found.stop is Stop.GO_ON
    assert found.reason == "One more round should do it."
    assert found.chance == 0.96


@pytest.mark.parametrize("joint", [0.25, 0.5, 0.8, 0.96])
def test_rounds_are_one_over_the_chance_of_each(joint: float) -> None:
    # The mean of the geometric distribution: sum over n of n p (1 - p)^(n - 1).
    counts = np.arange(1, 4000)
    mean = float(np.sum(counts * joint * (1.0 - joint) ** (counts - 1)))
    found = stopping(with_chance(joint), passed=False)
    assert found.stop is Stop.GO_ON
    assert found.rounds == pytest.approx(mean, rel=1e-9)


def test_rounds_are_said_where_it_takes_some() -> None:
    assert stopping(with_chance(0.26), passed=False).reason == "It takes about 4 such rounds."
    assert stopping(with_chance(0.8), passed=False).reason == "It is worth it."


def test_a_bench_at_which_nothing_was_read_is_told_to_read() -> None:
    found = stopping(advise(lark()), passed=False)
    assert found.stop is Stop.GO_ON
    assert found.reason == "Level and steer and centre must be read before more can be said."
    one = with_chance(0.5)
    stale = stopping(replace(one, read={**one.read, "steer": False}), passed=False)
    assert stale.reason.startswith("Steer must be read")


@pytest.mark.parametrize(
    ("held", "weakest"),
    [((0.12, 0.9, 0.97), "level"), ((0.9, 0.15, 0.97), "steer"), ((1.0, 1.0, 0.1), "centre")],
)
def test_few_rounds_name_what_the_bench_cannot_hold(held: tuple[float, float, float], weakest: str) -> None:
    found = stopping(with_chance(0.1, held=held), passed=False)
    assert found.stop is Stop.GO_ON
    assert f"Few rounds will do it: {weakest} is wider open" in found.reason
    assert found.chance == pytest.approx(math.prod(held))
    assert found.rounds == pytest.approx(1.0 / math.prod(held))


@pytest.mark.parametrize(("p", "stop"), [(0.049, Stop.WILL_NOT_COME_GOOD), (0.051, Stop.GO_ON)])
def test_five_in_a_hundred_is_the_least_that_is_worth_it(p: float, stop: Stop) -> None:
    found = stopping(with_chance(p, held=(1.0 - 1e-12, p, 1.0 - 1e-12)), passed=False)
    assert found.stop is stop
    assert "steer is" in found.reason


@pytest.mark.parametrize(
    ("hand", "said"),
    [
        (Hand(bend=0.2, turn=1.5, relief=1.0 * MM), "a steadier hand has to come first"),
        (Hand(bend=0.02, turn=0.3, relief=0.5 * MM), "steer is the worst"),
        (Hand(bend=0.01, turn=0.1, relief=0.2 * MM), "Few rounds will do it: steer"),
    ],
    ids=["too clumsy to move", "hopeless", "unlikely"],
)
def test_a_hand_that_misses_by_far_more_than_the_tolerance_is_told_so(hand: Hand, said: str) -> None:
    found = stopping(advise(lark(), OUT, hand=hand), passed=False)
    assert said in found.reason
    assert found.chance < 0.2
    assert found.rounds > 5.0


def test_a_round_that_leaves_the_wood_for_later_is_no_reason_to_give_up() -> None:
    # Sanding waits until level and steer are in: the rail offset stays where it is.
    found = stopping(with_chance(0.0, each=(0.9, 0.9, 0.0), off=4.0), passed=False)
    assert found.stop is Stop.GO_ON
    assert found.reason.startswith("This round brings only a part in")
    # One such round, and then those that bring the rest.
    assert found.rounds == pytest.approx(1.0 + 0.97**-3)


def test_a_first_evening_of_the_demo_car_is_worth_going_on() -> None:
    found = stopping(advise(lark(), OUT), passed=False)
    assert found.stop is Stop.GO_ON
    assert 1.0 <= found.rounds < 5.0


def test_a_target_that_no_move_reaches_ends_it_with_the_reason_and_the_mend() -> None:
    advice = advise(aimed(lark(), drift=-0.9), OUT)
    assert advice.missed == ("steer",)
    found = stopping(advice, passed=False)
    assert found.stop is Stop.WILL_NOT_COME_GOOD
    assert found.rounds == math.inf
    first = next(each for each in advice.plan.cannot if each.gate in advice.missed)
    assert found.reason == (
        f"{first.gate.capitalize()} cannot be met: {first.reason}. To change that: {first.change}."
    )


def test_a_body_is_not_given_up_before_it_was_read() -> None:
    gone = with_chance(0.01, each=(0.9, 0.9, 0.01), cannot=WALL)
    assert stopping(gone, passed=False).stop is Stop.WILL_NOT_COME_GOOD
    found = stopping(replace(gone, read={**gone.read, "centre": False}), passed=False)
    assert found.stop is Stop.GO_ON
    assert found.reason.startswith("Centre must be read")


def test_what_one_move_cannot_do_and_another_does_is_no_end() -> None:
    # The reason stands in the plan, and the target is met all the same.
    assert stopping(with_chance(0.7, cannot=WALL), passed=False).stop is Stop.GO_ON
