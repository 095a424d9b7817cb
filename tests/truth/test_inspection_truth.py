"""Inspection against worked examples of the standards on conformity, and against exact ounces."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from rollwright.judge.class_file import parse_class
from rollwright.judge.class_rules import ClassRules, Limit, Rule
from rollwright.judge.inspection import DEFAULT_GAUGES, Found, RuleState, RuleVerdict, inspect

OUNCE = Fraction(45_359_237, 16) * Fraction(1, 100_000)
"""Grams in an ounce: the pound of the 1959 yard and pound agreement, 453.592 37 g, over 16."""


def length(
    value: float, uncertainty: float, *, least: float = -math.inf, most: float = math.inf
) -> RuleVerdict:
    """Return an inspection's verdict on a number of any unit: the arithmetic is the same for all."""
    rules = ClassRules(name="of the example", rules={Rule.LENGTH: Limit(least=least, most=most)})
    (verdict,) = inspect(rules, [Found(rule=Rule.LENGTH, value=value, uncertainty=uncertainty, at=1)])
    return verdict


def probability(verdict: RuleVerdict) -> float:
    assert verdict.verdict is not None
    return verdict.verdict.probability


def test_breakdown_voltage_of_a_zener_diode() -> None:
    # JCGM 106:2012, 7.3, example with one upper limit: y = -5.47 V, u = 0.05 V, T_U = -5.40 V; printed 92 %
    # (printed value from memory), in full Phi(1.4). By the default rule of ISO 14253-1 that is not enough.
    verdict = length(-5.47, 0.05, most=-5.40)
    assert probability(verdict) == pytest.approx(0.9192433407662289, rel=1e-9)
    assert verdict.state is RuleState.UNCLEAR
    assert verdict.margin == pytest.approx(0.07, rel=1e-12)


def test_bursting_pressure_of_a_container() -> None:
    # JCGM 106:2012, 7.3, example with one lower limit: y = 509.7 kPa, u = 8.6 kPa, T_L = 490 kPa; printed
    # 99 % (printed value from memory).
    verdict = length(509.7, 8.6, least=490.0)
    assert probability(verdict) == pytest.approx(0.9890095473848222, rel=1e-9)
    assert verdict.state is RuleState.PASS
    assert verdict.margin == pytest.approx(19.7, rel=1e-12)


def test_viscosity_of_motor_oil() -> None:
    # JCGM 106:2012, 7.4, example with two limits: y = 13.6, u = 1.8, T = [12.5, 16.3] mm2/s; printed 66 %
    # (printed value from memory).
    verdict = length(13.6, 1.8, least=12.5, most=16.3)
    assert probability(verdict) == pytest.approx(0.6626297864953079, rel=1e-9)
    assert verdict.state is RuleState.UNCLEAR
    assert verdict.margin == pytest.approx(1.1, rel=1e-12)


@pytest.mark.parametrize("uncertainty", [0.02, 1.0, 250.0])
def test_the_guard_is_the_table_s_factor_at_95_percent(uncertainty: float) -> None:
    # JCGM 106:2012, Table 1: 1.64 u for 95 % (two-figure value as printed, from memory), in full the normal
    # distribution's quantile 1.6448536269514722.
    verdict = length(0.0, uncertainty, most=5.0)
    assert verdict.guard == pytest.approx(1.6448536269514722 * uncertainty, rel=1e-12)
    assert verdict.guard == pytest.approx(1.64 * uncertainty, rel=0.005)


@pytest.mark.parametrize(
    ("value", "state"),
    [
        (0.09167, RuleState.PASS),
        (0.09168, RuleState.UNCLEAR),
        (0.092, RuleState.UNCLEAR),
        (0.09232, RuleState.UNCLEAR),
        (0.09233, RuleState.FAIL),
    ],
)
def test_default_decision_rule_for_workpieces(value: float, state: RuleState) -> None:
    # ISO 14253-1:2017, default rule (from memory): conformity is proven at 95 % probability, which for
    # USL = 0.092 and u = 0.0002 puts the acceptance limit at 0.09167102927461, and as far beyond for a fail.
    verdict = length(value, 0.0002, most=0.092)
    assert verdict.state is state
    assert verdict.guard == pytest.approx(0.092 - 0.09167102927461, rel=1e-9)


def test_a_steel_rules_uncertainty_is_that_of_two_even_distributions() -> None:
    # JCGM 100:2008, 4.3.7: a half-width a, evenly spread, has the standard uncertainty a / sqrt(3); here
    # a = 0.25 mm at either end, read to the nearest division of 0.5 mm.
    two_ends = math.hypot(0.25e-3 / math.sqrt(3.0), 0.25e-3 / math.sqrt(3.0))
    assert DEFAULT_GAUGES[Rule.LENGTH].uncertainty == pytest.approx(two_ends, abs=0.05e-3 / 2.0)


@pytest.mark.parametrize("ounces", [Fraction(1), Fraction(9, 2), Fraction(19, 4), Fraction(481, 100)])
@pytest.mark.parametrize("short", [Fraction(1, 10), Fraction(-1, 10), Fraction(0), Fraction(7, 1000)])
def test_a_limit_in_ounces_meets_a_scale_in_grams_exactly(ounces: Fraction, short: Fraction) -> None:
    # An ounce is 28.349 523 125 g exactly (international yard and pound agreement, 1959).
    assert Fraction("28.349523125") == OUNCE
    limit = ounces * OUNCE
    rules = parse_class(f'format = 1\nname = "Ounces"\n[rules.mass]\nmost = "{float(ounces)} oz"\n')
    shown = float((limit - short) / 1000)
    (verdict,) = inspect(rules, [Found(rule=Rule.MASS, value=shown, uncertainty=0.0, at=1)])
    assert verdict.most == pytest.approx(float(limit / 1000), rel=1e-15)
    assert verdict.margin == pytest.approx(float(short / 1000), abs=1e-16)
    # A scale without uncertainty is on one side or the other; on the limit itself it conforms.
    assert verdict.state is (RuleState.FAIL if short < 0 else RuleState.PASS)


def test_the_interval_in_which_a_gram_scale_passes_an_ounce_window() -> None:
    # Limits of 4 1/4 oz and 4 1/2 oz are 120.485 473 281 25 g and 127.572 854 062 5 g (1959 agreement);
    # with u = 0.1 g the guard 1.6448536269514722 u leaves 120.649 958 6 g to 127.408 368 7 g.
    rules = parse_class('format = 1\nname = "Ounces"\n[rules.mass]\nleast = "4 1/4 oz"\nmost = "4 1/2 oz"\n')
    expected = {120.64: False, 120.65: True, 124.0: True, 127.40: True, 127.41: False}
    for grams, passes in expected.items():
        (verdict,) = inspect(rules, [Found(rule=Rule.MASS, value=grams * 1e-3, uncertainty=1e-4, at=1)])
        assert verdict.passed is passes, grams
        nearer = min(grams - 120.48547328125, 127.5728540625 - grams)
        assert verdict.margin == pytest.approx(nearer * 1e-3, abs=1e-15)
