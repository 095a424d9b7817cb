"""Probabilities of conformity and guard bands against the worked examples of their standards."""

from __future__ import annotations

import math

import pytest
from scipy.stats import norm

from rollwright.judge.verdict import State, acceptance_limits, conformity, judge


def test_breakdown_voltage_of_a_zener_diode() -> None:
    # JCGM 106:2012, 7.3, example with one upper limit: y = -5.47 V, u = 0.05 V, T_U = -5.40 V; printed 92 %
    # (printed value from memory), in full Phi(1.4).
    found = conformity(value=-5.47, uncertainty=0.05, high=-5.40)
    assert found == pytest.approx(0.9192433407662289, rel=1e-9)
    assert round(100 * found) == 92


def test_bursting_pressure_of_a_container() -> None:
    # JCGM 106:2012, 7.3, example with one lower limit: y = 509.7 kPa, u = 8.6 kPa, T_L = 490 kPa; printed
    # 99 % (printed value from memory).
    found = conformity(value=509.7, uncertainty=8.6, low=490.0)
    assert found == pytest.approx(0.9890095473848222, rel=1e-9)
    assert round(100 * found) == 99


def test_viscosity_of_motor_oil() -> None:
    # JCGM 106:2012, 7.4, example with two limits: y = 13.6, u = 1.8, T = [12.5, 16.3] mm2/s; printed 66 %
    # (printed value from memory).
    found = conformity(value=13.6, uncertainty=1.8, low=12.5, high=16.3)
    assert found == pytest.approx(0.6626297864953079, rel=1e-9)
    assert round(100 * found) == 66


@pytest.mark.parametrize(
    ("probability", "printed", "full"),
    [
        (0.80, 0.84, 0.8416212335729143),
        (0.90, 1.28, 1.2815515655446004),
        (0.95, 1.64, 1.6448536269514722),
        (0.99, 2.33, 2.3263478740408408),
        (0.999, 3.09, 3.090232306167813),
    ],
)
def test_guard_bands_for_a_single_limit(probability: float, printed: float, full: float) -> None:
    # JCGM 106:2012, Table 1: how many uncertainties within the limit a value must lie (two-figure values as
    # printed, from memory; in full, quantiles of the normal distribution).
    _, high = acceptance_limits(uncertainty=1.0, high=0.0, confidence=probability)
    low, _ = acceptance_limits(uncertainty=1.0, low=0.0, confidence=probability)
    assert -high == pytest.approx(full, abs=1e-12)
    assert low == pytest.approx(full, abs=1e-12)
    assert -high == pytest.approx(printed, abs=0.00501)
    assert conformity(value=high, uncertainty=1.0, high=0.0) == pytest.approx(probability, abs=1e-12)


def test_default_decision_rule_for_workpieces() -> None:
    # ISO 14253-1:2017, default rule (from memory): conformity is proven at 95 % probability, which for a
    # small uncertainty sets the acceptance limit 1.65 u (rounded from 1.645) within the specification limit.
    _, accept = acceptance_limits(uncertainty=0.0002, high=0.092)
    assert accept == pytest.approx(0.09167102927461, rel=1e-9)
    assert 0.092 - accept == pytest.approx(1.65 * 0.0002, rel=0.004)


@pytest.mark.parametrize(
    ("value", "state"),
    [
        (0.09167, State.PASS),
        (0.09168, State.UNCLEAR),
        (0.092, State.UNCLEAR),
        (0.09232, State.UNCLEAR),
        (0.09233, State.FAIL),
    ],
)
def test_neither_conformity_nor_nonconformity_is_proven_within_the_uncertainty_zone(
    value: float, state: State
) -> None:
    # ISO 14253-1:2017 (from memory): in the zone about a limit neither can be proven.
    assert judge(value=value, uncertainty=0.0002, low=0.0, high=0.092).state is state


@pytest.mark.parametrize("deviations", [-30.0, -9.0, -2.5, 0.0, 0.7, 4.0, 9.0, 30.0])
def test_single_limits_against_another_implementation(deviations: float) -> None:
    # scipy's normal distribution function and its complement, which keep slight chances in full.
    assert conformity(value=-deviations, uncertainty=1.0, high=0.0) == pytest.approx(
        float(norm.cdf(deviations)), rel=1e-12
    )
    assert conformity(value=-deviations, uncertainty=1.0, low=0.0) == pytest.approx(
        float(norm.sf(deviations)), rel=1e-12
    )


@pytest.mark.parametrize(("low", "high"), [(6.0, 9.0), (-9.0, -6.0), (-1.0, 2.0), (11.0, math.inf)])
def test_two_limits_against_another_implementation(low: float, high: float) -> None:
    expected = norm.sf(low) - norm.sf(high) if low > 0 else norm.cdf(high) - norm.cdf(low)
    found = conformity(value=0.0, uncertainty=1.0, low=low, high=high)
    assert found == pytest.approx(float(expected), rel=1e-12)
