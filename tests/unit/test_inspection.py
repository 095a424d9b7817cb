"""An inspection: one verdict for each rule, the wheels together, looks, stale readings, and the whole."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from rollwright.car.model import Station
from rollwright.errors import OutOfRange, ReadingUnusable
from rollwright.judge.class_rules import LOOKS, Allowed, Asked, ClassRules, Kinds, Limit, Rule
from rollwright.judge.inspection import DEFAULT_GAUGES, Found, RuleState, RuleVerdict, inspect, overall
from rollwright.judge.verdict import State, acceptance_limits

INF = math.inf
PASS, FAIL, UNCLEAR = RuleState.PASS, RuleState.FAIL, RuleState.UNCLEAR
NOT_READ, READ_AGAIN = RuleState.NOT_READ, RuleState.READ_AGAIN


def one(rule: Rule, asked: Asked, *found: Found) -> RuleVerdict:
    (verdict,) = inspect(ClassRules(name="Wrens", rules={rule: asked}), found)
    return verdict


def mass(grams: float, *, uncertainty: float | None = 0.1, at: int = 1, fresh: bool = True) -> Found:
    spread = None if uncertainty is None else uncertainty * 1e-3
    return Found(rule=Rule.MASS, value=grams * 1e-3, uncertainty=spread, at=at, fresh=fresh)


UNDER = Limit(most=0.140)


@pytest.mark.parametrize(
    ("grams", "state", "margin"),
    [
        (139.5, PASS, 0.5),
        (139.9, UNCLEAR, 0.1),
        (140.0, UNCLEAR, 0.0),
        (140.1, UNCLEAR, -0.1),
        (140.5, FAIL, -0.5),
    ],
)
def test_a_size_is_judged_against_its_one_limit(grams: float, state: RuleState, margin: float) -> None:
    found = mass(grams)
    verdict = one(Rule.MASS, UNDER, found)
    assert verdict.state is state
    assert verdict.passed is (state is PASS)
    assert verdict.found == found
    assert verdict.margin == pytest.approx(margin * 1e-3, abs=1e-15)
    assert verdict.verdict is not None
    assert (verdict.verdict.low, verdict.verdict.high) == (-INF, 0.140)
    assert (verdict.least, verdict.most) == (None, 0.140)
    assert (verdict.allowed, verdict.kinds) == (None, None)
    assert not verdict.assumed


@pytest.mark.parametrize(
    ("value", "margin", "state"),
    [(117.5, 0.5, PASS), (118.0, 1.0, PASS), (118.9, 0.1, UNCLEAR), (116.0, -1.0, FAIL), (119.8, -0.8, FAIL)],
)
def test_the_margin_is_that_to_the_nearer_of_two_limits(
    value: float, margin: float, state: RuleState
) -> None:
    found = Found(rule=Rule.WHEELBASE, value=value * 1e-3, uncertainty=0.1e-3, at=4)
    verdict = one(Rule.WHEELBASE, Limit(least=0.117, most=0.119, note="a block"), found)
    assert verdict.margin == pytest.approx(margin * 1e-3, abs=1e-15)
    assert verdict.state is state
    assert (verdict.least, verdict.most, verdict.note) == (0.117, 0.119, "a block")


def test_a_margin_beyond_the_guard_passes_and_one_within_it_does_not() -> None:
    _, accept = acceptance_limits(uncertainty=0.1e-3, high=0.140)
    for value, state in ((accept - 1e-9, PASS), (accept + 1e-9, UNCLEAR)):
        verdict = one(Rule.MASS, UNDER, Found(rule=Rule.MASS, value=value, uncertainty=0.1e-3, at=1))
        assert verdict.state is state
        assert verdict.margin is not None
        assert verdict.guard is not None
        assert (verdict.margin > verdict.guard) is (state is PASS)


@pytest.mark.parametrize("rule", [rule for rule in Rule if rule.is_size])
def test_a_reading_without_uncertainty_gets_the_usual_gauges_and_says_so(rule: Rule) -> None:
    stations = tuple(Station) if rule is Rule.WHEEL_DIAMETER else (None,)
    found = [Found(rule=rule, value=0.1, station=station, at=1) for station in stations]
    verdict = one(rule, Limit(most=0.2), *found)
    assert verdict.assumed
    assert verdict.verdict is not None
    assert verdict.verdict.uncertainty == DEFAULT_GAUGES[rule].uncertainty > 0.0


def test_a_shift_moves_the_value_and_widens_the_uncertainty() -> None:
    # 6.3 mm read with 0.03 mm, and 0.2 mm lower since, known to 0.04 mm: 6.1 mm with 0.05 mm.
    found = Found(
        rule=Rule.GROUND_CLEARANCE,
        value=6.3e-3,
        uncertainty=0.03e-3,
        shift=-0.2e-3,
        shift_uncertainty=0.04e-3,
        at=9,
    )
    verdict = one(Rule.GROUND_CLEARANCE, Limit(least=6.0e-3), found)
    assert verdict.verdict is not None
    assert verdict.verdict.value == pytest.approx(6.1e-3, rel=1e-12)
    assert verdict.verdict.uncertainty == pytest.approx(0.05e-3, rel=1e-12)
    assert verdict.margin == pytest.approx(0.1e-3, rel=1e-9)
    assert verdict.guard == pytest.approx(0.05e-3 * 1.6448536269514722, rel=1e-12)
    assert verdict.state is PASS


def test_what_was_not_read_is_neither_passed_nor_failed() -> None:
    for rule, asked in (
        (Rule.MASS, UNDER),
        (Rule.BENT_AXLES, Allowed(allowed=False)),
        (Rule.LUBRICANT, Kinds(kinds=())),
    ):
        verdict = one(rule, asked, Found(rule=Rule.LENGTH, value=0.18, at=1))
        assert (verdict.state, verdict.found, verdict.verdict, verdict.margin) == (NOT_READ, None, None, None)
    assert NOT_READ.words == "not read"


@pytest.mark.parametrize("grams", [130.0, 150.0])
def test_a_stale_reading_decides_nothing_but_still_shows_what_it_said(grams: float) -> None:
    verdict = one(Rule.MASS, UNDER, mass(grams, fresh=False))
    assert verdict.state is READ_AGAIN
    assert verdict.verdict is not None
    assert verdict.verdict.state is (State.PASS if grams < 140.0 else State.FAIL)


def test_the_later_entry_counts_whatever_the_order_and_the_last_of_one_entry() -> None:
    assert one(Rule.MASS, UNDER, mass(139.0, at=8), mass(145.0, at=3)).state is PASS
    assert one(Rule.MASS, UNDER, mass(139.0, at=3), mass(145.0, at=8)).state is FAIL
    assert one(Rule.MASS, UNDER, mass(145.0, at=3), mass(139.0, at=3)).state is PASS


def wheels(*sizes: float | None, fresh: tuple[bool, ...] = (True,) * 4) -> list[Found]:
    return [
        Found(rule=Rule.WHEEL_DIAMETER, value=size * 1e-3, station=station, at=5 + index, fresh=fresh[index])
        for index, (station, size) in enumerate(zip(Station, sizes, strict=True))
        if size is not None
    ]


ROUND = Limit(least=0.0316, most=0.0326)


@pytest.mark.parametrize(
    ("sizes", "state", "decides"),
    [
        ((32.1, 32.1, 32.2, 32.1), PASS, Station.FRONT_LEFT),
        ((32.1, 32.59, 32.1, 32.1), UNCLEAR, Station.REAR_RIGHT),
        ((32.1, 32.59, 32.1, 31.4), FAIL, Station.FRONT_RIGHT),
        ((32.7, 32.1, 32.1, 31.4), FAIL, Station.FRONT_RIGHT),
        ((32.1, 32.1, 32.1, None), NOT_READ, None),
        ((32.1, 32.59, 32.1, None), NOT_READ, None),
        ((32.1, 33.0, 32.1, None), FAIL, Station.REAR_RIGHT),
    ],
)
def test_the_worst_of_four_wheels_decides(
    sizes: tuple[float | None, ...], state: RuleState, decides: Station | None
) -> None:
    verdict = one(Rule.WHEEL_DIAMETER, ROUND, *wheels(*sizes))
    assert verdict.state is state
    assert (None if verdict.found is None else verdict.found.station) is decides
    assert verdict.missing == tuple(s for s, size in zip(Station, sizes, strict=True) if size is None)


def test_of_two_unclear_wheels_the_less_likely_decides_though_it_has_the_larger_margin() -> None:
    found = wheels(32.1, 32.1, 32.1, 32.1)
    found[1] = replace(found[1], value=0.03258, uncertainty=0.015e-3)
    found[2] = replace(found[2], value=0.03255, uncertainty=0.050e-3)
    verdict = one(Rule.WHEEL_DIAMETER, ROUND, *found)
    assert (verdict.state, verdict.found) == (UNCLEAR, found[2])


def test_a_stale_wheel_must_be_read_again_unless_another_fails_anyway() -> None:
    stale = (True, False, True, True)
    assert one(Rule.WHEEL_DIAMETER, ROUND, *wheels(32.1, 32.1, 32.1, 32.1, fresh=stale)).state is READ_AGAIN
    assert one(Rule.WHEEL_DIAMETER, ROUND, *wheels(33.0, 32.1, 32.1, 32.1, fresh=stale)).state is FAIL


def test_a_wheel_that_was_read_again_counts_once() -> None:
    again = Found(rule=Rule.WHEEL_DIAMETER, value=0.0321, station=Station.REAR_LEFT, at=20)
    assert one(Rule.WHEEL_DIAMETER, ROUND, again, *wheels(33.0, 32.1, 32.1, 32.1)).state is PASS


@pytest.mark.parametrize("rule", LOOKS)
def test_a_look_passes_or_fails_for_sure(rule: Rule) -> None:
    fine, forbidden = LOOKS[rule]
    for word, allowed, conforms in (
        (fine, False, True),
        (forbidden.upper(), False, False),
        (forbidden, True, True),
    ):
        verdict = one(rule, Allowed(allowed=allowed), Found(rule=rule, words=word, at=1))
        assert verdict.state is (PASS if conforms else FAIL)
        assert verdict.verdict is not None
        assert verdict.verdict.probability == float(conforms)
        assert (verdict.margin, verdict.guard) == (None, None)
        assert (verdict.allowed, verdict.least, verdict.most) == (allowed, None, None)
    assert (
        one(rule, Allowed(allowed=False), Found(rule=rule, words=fine, at=1, fresh=False)).state is READ_AGAIN
    )


def test_what_is_allowed_needs_no_look_and_no_second_one() -> None:
    assert one(Rule.BENT_AXLES, Allowed(allowed=True)).state is PASS
    stale = Found(rule=Rule.BENT_AXLES, words="bent", at=1, fresh=False)
    assert one(Rule.BENT_AXLES, Allowed(allowed=True), stale).state is PASS


@pytest.mark.parametrize(
    ("kinds", "word", "state"),
    [
        (("Dry powder", "light oil"), "dry  POWDER", PASS),
        (("dry powder",), "light oil", FAIL),
        (("dry powder",), "powder", FAIL),
        (("dry powder",), "none", PASS),
        ((), "None", PASS),
        ((), "dry powder", FAIL),
        (("Öl",), "öl", PASS),
    ],
)
def test_a_lubricant_is_one_of_the_kinds_or_none(kinds: tuple[str, ...], word: str, state: RuleState) -> None:
    verdict = one(Rule.LUBRICANT, Kinds(kinds=kinds), Found(rule=Rule.LUBRICANT, words=word, at=1))
    assert verdict.state is state
    assert verdict.kinds == kinds
    assert verdict.verdict is not None
    assert verdict.verdict.probability == float(state is PASS)


@pytest.mark.parametrize("rule", [Rule.WEIGHT_BEHIND, Rule.WEIGHT_BELOW])
def test_a_car_without_weights_keeps_any_rule_about_their_reach(rule: Rule) -> None:
    verdict = one(rule, Limit(most=-0.005), Found(rule=rule, words="none", at=1))
    assert (verdict.state, verdict.margin) == (PASS, None)
    assert one(rule, Limit(most=-0.005), Found(rule=rule, value=-0.004, at=1)).state is FAIL
    assert one(rule, Limit(most=-0.005), Found(rule=rule, value=-0.006, at=1)).state is PASS


@pytest.mark.parametrize(
    ("found", "problem"),
    [
        (Found(rule=Rule.MASS, at=7), "entry 7: the mass was read and has no value"),
        (Found(rule=Rule.MASS, words="none", at=7), "entry 7: the mass was read and has no value"),
        (Found(rule=Rule.WEIGHT_BELOW, words="bent", at=7), "entry 7: the weight below was read"),
        (Found(rule=Rule.BENT_AXLES, words="curly", at=7), "entry 7: 'curly' .*; say straight or bent"),
        (Found(rule=Rule.AERODYNAMIC_PARTS, at=7), "entry 7: .*; say none or fitted"),
        (Found(rule=Rule.LUBRICANT, words=" ", at=7), "entry 7: the lubricant"),
        (Found(rule=Rule.WHEEL_DIAMETER, value=0.0321, at=7), "entry 7: .*; say the station"),
    ],
)
def test_what_lacks_its_finding_is_refused(found: Found, problem: str) -> None:
    asked: dict[Rule, Asked] = {
        Rule.BENT_AXLES: Allowed(allowed=False),
        Rule.AERODYNAMIC_PARTS: Allowed(allowed=True),
        Rule.LUBRICANT: Kinds(kinds=()),
    }
    with pytest.raises(ReadingUnusable, match=problem):
        one(found.rule, asked.get(found.rule, UNDER), found)


@pytest.mark.parametrize(
    "found",
    [
        Found(rule=Rule.MASS, value=0.13, uncertainty=-1e-4, at=1),
        Found(rule=Rule.MASS, value=0.13, shift_uncertainty=-1e-4, at=1),
        Found(rule=Rule.MASS, value=0.13, uncertainty=math.nan, at=1),
        Found(rule=Rule.MASS, value=math.nan, at=1),
        Found(rule=Rule.MASS, value=0.13, shift=math.inf, at=1),
    ],
)
def test_numbers_that_cannot_be_judged_are_refused(found: Found) -> None:
    with pytest.raises(OutOfRange):
        one(Rule.MASS, UNDER, found)


def test_verdicts_come_in_the_order_of_the_rules_and_only_those_that_are_asked() -> None:
    rules = ClassRules(
        name="Wrens",
        rules={Rule.LUBRICANT: Kinds(kinds=()), Rule.MASS: UNDER, Rule.BENT_AXLES: Allowed(allowed=True)},
    )
    found = [
        Found(rule=Rule.LENGTH, value=0.5, at=1),
        mass(139.0),
        Found(rule=Rule.LUBRICANT, words="none", at=2),
    ]
    verdicts = inspect(rules, found)
    assert [verdict.rule for verdict in verdicts] == [Rule.MASS, Rule.BENT_AXLES, Rule.LUBRICANT]
    assert overall(verdicts) is State.PASS


@pytest.mark.parametrize(
    ("states", "whole"),
    [
        ((PASS, PASS), State.PASS),
        ((PASS, UNCLEAR), State.UNCLEAR),
        ((PASS, NOT_READ), State.UNCLEAR),
        ((PASS, READ_AGAIN), State.UNCLEAR),
        ((NOT_READ, FAIL, PASS), State.FAIL),
        ((UNCLEAR, FAIL), State.FAIL),
        ((), State.UNCLEAR),
    ],
)
def test_the_whole_passes_only_by_every_rule_and_fails_by_any(
    states: tuple[RuleState, ...], whole: State
) -> None:
    assert overall([RuleVerdict(rule=Rule.MASS, asked=UNDER, state=state) for state in states]) is whole
