"""Pass, fail, or cannot tell."""

from __future__ import annotations

import math

import pytest

from rollwright.errors import OutOfRange
from rollwright.judge.verdict import CONFIDENCE, State, acceptance_limits, conformity, judge

INF, NAN = math.inf, math.nan


@pytest.mark.parametrize(
    ("value", "state"),
    [
        (0.0, State.PASS),
        (0.10, State.UNCLEAR),
        (0.15, State.UNCLEAR),
        (0.20, State.UNCLEAR),
        (0.3, State.FAIL),
    ],
)
def test_a_value_passes_well_inside_fails_well_outside_and_is_unclear_between(
    value: float, state: State
) -> None:
    verdict = judge(value=value, uncertainty=0.05, low=-0.15, high=0.15)
    assert verdict.state is state
    assert (verdict.value, verdict.uncertainty, verdict.low, verdict.high) == (value, 0.05, -0.15, 0.15)


@pytest.mark.parametrize(("low", "high"), [(-INF, 1.0), (1.0, INF)])
def test_a_value_on_a_single_limit_is_a_toss_up(low: float, high: float) -> None:
    assert conformity(value=1.0, uncertainty=0.3, low=low, high=high) == 0.5


def test_without_limits_everything_conforms() -> None:
    assert conformity(value=5.0, uncertainty=2.0) == 1.0


def test_a_poor_reading_of_a_good_value_cannot_tell() -> None:
    assert judge(value=0.0, uncertainty=1.0, low=-0.15, high=0.15).state is State.UNCLEAR


def test_a_reading_so_poor_that_conformity_is_unlikely_wherever_it_lies_says_fail() -> None:
    # A tolerance a hundredth of the uncertainty wide holds the true value with hardly any chance.
    verdict = judge(value=0.0, uncertainty=1.0, low=-0.005, high=0.005)
    assert verdict.state is State.FAIL
    assert verdict.probability < 0.05


@pytest.mark.parametrize(
    ("value", "probability", "state"),
    [(1.0, 1.0, State.PASS), (1.5, 1.0, State.PASS), (1.5 + 1e-12, 0.0, State.FAIL)],
)
def test_without_uncertainty_limits_are_sharp_and_belong_to_the_tolerance(
    value: float, probability: float, state: State
) -> None:
    verdict = judge(value=value, uncertainty=0.0, low=0.5, high=1.5)
    assert (verdict.probability, verdict.state) == (probability, state)


@pytest.mark.parametrize(("confidence", "state"), [(0.6, State.PASS), (0.95, State.UNCLEAR)])
def test_less_confidence_is_more_easily_met(confidence: float, state: State) -> None:
    assert judge(value=1.3, uncertainty=0.3, high=1.5, confidence=confidence).state is state


@pytest.mark.parametrize("deviations", [3.0, 8.0, 20.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_slight_chances_are_not_lost_to_rounding(deviations: float, side: float) -> None:
    # The leading terms of the tail's asymptotic series, Abramowitz and Stegun 26.2.12, bracket it.
    density = math.exp(-0.5 * deviations**2) / math.sqrt(2.0 * math.pi)
    upper = density / deviations
    lower = upper * (1.0 - deviations**-2)
    low, high = (-INF, 0.0) if side > 0.0 else (0.0, INF)
    chance = conformity(value=side * deviations, uncertainty=1.0, low=low, high=high)
    assert lower < chance < upper


def test_acceptance_limits_are_the_tolerance_less_the_guard_bands() -> None:
    low, high = acceptance_limits(uncertainty=0.1, low=-1.0, high=2.0)
    assert low + 1.0 == pytest.approx(2.0 - high)
    assert 0.1 * 1.64 < 2.0 - high < 0.1 * 1.65


def test_acceptance_limits_of_a_one_sided_tolerance_stay_open() -> None:
    assert acceptance_limits(uncertainty=0.1, high=2.0)[0] == -INF
    assert acceptance_limits(uncertainty=0.1, low=-1.0)[1] == INF


def test_acceptance_limits_cross_where_nothing_can_pass() -> None:
    low, high = acceptance_limits(uncertainty=1.0, low=-0.1, high=0.1)
    assert low > high


@pytest.mark.parametrize("uncertainty", [-0.1, NAN, INF])
def test_an_impossible_uncertainty_is_refused(uncertainty: float) -> None:
    with pytest.raises(OutOfRange, match="uncertainty"):
        conformity(value=0.0, uncertainty=uncertainty, high=1.0)
    with pytest.raises(OutOfRange, match="uncertainty"):
        judge(value=0.0, uncertainty=uncertainty, high=1.0)
    with pytest.raises(OutOfRange, match="uncertainty"):
        acceptance_limits(uncertainty=uncertainty, high=1.0)


@pytest.mark.parametrize("value", [NAN, INF, -INF])
def test_a_value_that_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(OutOfRange, match="cannot be judged"):
        judge(value=value, uncertainty=0.1, high=1.0)


@pytest.mark.parametrize(("low", "high"), [(1.0, 0.0), (NAN, 1.0), (0.0, NAN)])
def test_crossed_limits_are_refused(low: float, high: float) -> None:
    with pytest.raises(OutOfRange, match="crossed"):
        conformity(value=0.5, uncertainty=0.1, low=low, high=high)


@pytest.mark.parametrize("confidence", [0.5, 1.0, 0.0, -1.0, 95.0, NAN])
def test_a_confidence_that_could_say_pass_and_fail_at_once_is_refused(confidence: float) -> None:
    with pytest.raises(OutOfRange, match="confidence"):
        judge(value=0.0, uncertainty=0.1, high=1.0, confidence=confidence)


def test_the_usual_confidence_is_that_of_the_standard() -> None:
    assert CONFIDENCE == 0.95
