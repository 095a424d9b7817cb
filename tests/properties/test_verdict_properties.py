"""Laws that a probability of conformity and its verdict keep for every value and uncertainty."""

from __future__ import annotations

import math

from hypothesis import assume, given
from hypothesis import strategies as st

from rollwright.judge.verdict import State, acceptance_limits, conformity, judge

VALUES = st.floats(-10.0, 10.0)
SPREADS = st.floats(1e-3, 10.0)
STEPS = st.floats(0.0, 5.0)
CONFIDENCES = st.floats(0.51, 0.9999)
ROUNDING = 1e-15


@st.composite
def limits(draw: st.DrawFn) -> tuple[float, float]:
    low = draw(VALUES | st.just(-math.inf))
    high = draw(VALUES | st.just(math.inf))
    assume(low < high)
    return low, high


@given(VALUES, SPREADS, limits())
def test_a_mirrored_scale_gives_the_same_probability(
    value: float, spread: float, bounds: tuple[float, float]
) -> None:
    low, high = bounds
    there = conformity(value=value, uncertainty=spread, low=low, high=high)
    back = conformity(value=-value, uncertainty=spread, low=-high, high=-low)
    assert abs(there - back) <= ROUNDING
    assert 0.0 <= there <= 1.0


@given(VALUES, SPREADS, limits(), STEPS)
def test_a_wider_tolerance_is_never_harder_to_meet(
    value: float, spread: float, bounds: tuple[float, float], more: float
) -> None:
    low, high = bounds
    narrow = conformity(value=value, uncertainty=spread, low=low, high=high)
    assert conformity(value=value, uncertainty=spread, low=low, high=high + more) >= narrow - ROUNDING
    assert conformity(value=value, uncertainty=spread, low=low - more, high=high) >= narrow - ROUNDING


@given(SPREADS, VALUES, STEPS, STEPS, STEPS)
def test_a_value_farther_from_the_middle_is_never_likelier_to_conform(
    spread: float, middle: float, half: float, near: float, further: float
) -> None:
    low, high = middle - half, middle + half
    close = conformity(value=middle + near, uncertainty=spread, low=low, high=high)
    far = conformity(value=middle + near + further, uncertainty=spread, low=low, high=high)
    assert far <= close + 2e-15


@given(VALUES, SPREADS, st.floats(1e-9, 10.0))
def test_inside_and_outside_of_one_limit_add_up_to_one(value: float, spread: float, limit: float) -> None:
    inside = conformity(value=value, uncertainty=spread, high=limit)
    outside = conformity(value=value, uncertainty=spread, low=limit)
    assert abs(inside + outside - 1.0) <= ROUNDING


@given(SPREADS, VALUES, st.floats(-6.0, 6.0), CONFIDENCES)
def test_the_acceptance_limit_of_a_one_sided_tolerance_is_where_the_verdict_turns(
    spread: float, limit: float, beyond: float, confidence: float
) -> None:
    _, accept = acceptance_limits(uncertainty=spread, high=limit, confidence=confidence)
    assume(abs(beyond) > 1e-9)
    state = judge(value=accept + beyond, uncertainty=spread, high=limit, confidence=confidence).state
    assert (state is State.PASS) is (beyond < 0.0)
    # And as far beyond the limit as it lies within, the failures begin.
    reject = 2.0 * limit - accept
    state = judge(value=reject + beyond, uncertainty=spread, high=limit, confidence=confidence).state
    assert (state is State.FAIL) is (beyond > 0.0)


@given(SPREADS, VALUES, st.floats(0.0, 20.0), VALUES, CONFIDENCES)
def test_what_passes_a_two_sided_tolerance_lies_within_its_acceptance_limits(
    spread: float, low: float, width: float, value: float, confidence: float
) -> None:
    high = low + width
    verdict = judge(value=value, uncertainty=spread, low=low, high=high, confidence=confidence)
    accept = acceptance_limits(uncertainty=spread, low=low, high=high, confidence=confidence)
    if verdict.state is State.PASS:
        assert accept[0] - 1e-9 <= value <= accept[1] + 1e-9
    if width > 12.0 * spread and accept[0] + 1e-3 * spread < value < accept[1] - 1e-3 * spread:
        assert verdict.state is State.PASS


@given(VALUES, SPREADS, limits(), CONFIDENCES)
def test_a_verdict_is_never_both_and_follows_its_probability(
    value: float, spread: float, bounds: tuple[float, float], confidence: float
) -> None:
    verdict = judge(value=value, uncertainty=spread, low=bounds[0], high=bounds[1], confidence=confidence)
    assert (verdict.state is State.PASS) == (verdict.probability >= confidence)
    assert (verdict.state is State.FAIL) == (verdict.probability <= 1.0 - confidence)
