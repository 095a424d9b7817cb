"""Track trials: effects, which model is chosen, verdicts, the stop rule, plans and seasons."""

from __future__ import annotations

import math
from collections import Counter
from itertools import combinations

import numpy as np
import pytest

from rollwright.errors import OutOfRange
from rollwright.judge.trial import Times
from rollwright.judge.trial_effects import analyse
from rollwright.judge.trial_found import Found
from rollwright.judge.trial_peek import always_valid_half_width
from rollwright.judge.trial_plan import TrialPlan, plan_trial
from rollwright.judge.trial_season import season
from rollwright.judge.trial_size import exact_runs, runs_needed

LANES = {"1": 0.0, "2": 1.5e-3, "3": -2.0e-3}


def _made(
    *,
    faster: float = 3e-3,
    noise: float = 1e-3,
    heats: int = 24,
    seed: int = 1,
    lanes: bool = True,
    slower: float = 0.0,
) -> Times:
    """Return heats in which A and B run side by side, B faster."""
    lot = np.random.default_rng(seed)
    plan = plan_trial(("A", "B"), lanes=tuple(LANES), runs=heats, seed=seed)
    rows = []
    for heat in plan.heats:
        start = 2.6 + lot.normal(0.0, 2e-3) + slower * heat.number
        for lane, car in zip(plan.lanes, heat.cars, strict=True):
            if car:
                time = start + LANES[lane] - (faster if car == "B" else 0.0) + lot.normal(0.0, noise)
                rows.append((car, time, lane, str(heat.number)))
    cars, times, names, heat_names = zip(*rows, strict=True)
    return Times(configurations=cars, times=times, lanes=names if lanes else (), heats=heat_names)


def _at(found: Found, a: str = "A", b: str = "B") -> float:
    return next(each.difference for each in found.effects if {each.a, each.b} == {a, b})


def test_times_without_noise_give_back_what_made_them() -> None:
    found = analyse(_made(noise=1e-12), pairs=[("A", "B")])
    (effect,) = found.effects
    assert effect.difference == pytest.approx(3e-3, abs=1e-9)
    mean = sum(LANES.values()) / 3.0
    assert {lane.name: lane.effect for lane in found.lanes} == pytest.approx(
        {name: value - mean for name, value in LANES.items()}, abs=1e-9
    )
    assert effect.probability_faster == pytest.approx(1.0)
    assert effect.verdict == "faster"


def test_which_is_named_first_turns_the_sign() -> None:
    times = _made()
    (one,), (other,) = (analyse(times, pairs=[pair]).effects for pair in (("A", "B"), ("B", "A")))
    assert one.difference == pytest.approx(-other.difference)
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low))
    assert one.probability_faster == pytest.approx(1.0 - other.probability_faster)
    assert (one.verdict, other.verdict) == ("faster", "slower")


def test_a_longer_day_and_a_slower_track_change_nothing_within_heats() -> None:
    plain, drifting = analyse(_made()), analyse(_made(slower=0.4e-3))
    assert _at(plain) == pytest.approx(_at(drifting), abs=1e-9)
    assert drifting.drift is not None
    assert drifting.drift.low < 23 * 0.4e-3 < drifting.drift.high
    assert drifting.drift.low > 0.0


def test_without_heats_drift_is_taken_out_by_the_order() -> None:
    lot = np.random.default_rng(5)
    cars = tuple("AB" * 15)
    times = tuple(
        2.6 + 1e-3 * at - (2e-3 if car == "B" else 0.0) + lot.normal(0.0, 1e-5) for at, car in enumerate(cars)
    )
    blind = analyse(Times(configurations=cars, times=times))
    told = analyse(Times(configurations=cars, times=times, order=tuple(map(float, range(30)))))
    assert told.method == blind.method == "plain"
    assert told.noise < 2e-5
    assert blind.noise > 1e-3
    assert told.effects[0].difference == pytest.approx(2e-3, abs=2e-5)
    assert told.drift is not None
    assert told.drift.over == pytest.approx(29e-3, rel=1e-2)
    # Taking turns, B always comes a run later: without the order that is put down to B.
    assert blind.effects[0].difference == pytest.approx(1e-3, abs=2e-5)


def test_one_car_to_a_heat_of_several_runs_is_a_mixed_model() -> None:
    lot = np.random.default_rng(2)
    cars, times, heats = [], [], []
    for heat in range(12):
        start = 2.6 + lot.normal(0.0, 5e-3)
        for _ in range(3):
            cars.append("AB"[heat % 2])
            times.append(start + lot.normal(0.0, 0.5e-3))
            heats.append(str(heat))
    told = Times(configurations=tuple(cars), times=tuple(times), heats=tuple(heats))
    found, blind = analyse(told), analyse(Times(configurations=told.configurations, times=told.times))
    assert found.method == "mixed"
    assert found.heat_noise is not None
    assert found.heat_noise > 5.0 * found.noise
    # Three runs of one heat are hardly more than one: the interval knows it, that without heats does not.
    assert found.effects[0].error > 1.3 * blind.effects[0].error
    assert found.effects[0].freedom < 12.0


def test_cars_that_keep_to_their_lanes_are_cautioned() -> None:
    times = Times(
        configurations=("A", "B") * 8,
        times=tuple(2.6 + 1e-3 * (at % 5) for at in range(16)),
        lanes=("1", "2") * 8,
    )
    found = analyse(times)
    assert not found.lanes
    assert any("slow lane counts as a slow car" in caution for caution in found.cautions)


def test_cars_of_different_days_are_cautioned() -> None:
    times = Times(
        configurations=("A",) * 8 + ("B",) * 8,
        times=tuple(2.6 + 1e-3 * (at % 5) for at in range(16)),
        days=("2031-04-11",) * 8 + ("2031-04-18",) * 8,
    )
    assert any("different days" in caution for caution in analyse(times).cautions)


def test_a_run_far_out_is_shown_and_counted_and_ranks_do_not_mind() -> None:
    times = _made(faster=2e-3, noise=0.8e-3)
    worse = list(times.times)
    at = times.configurations.index("B", 20)
    worse[at] += 40e-3
    spoilt = Times(
        configurations=times.configurations, times=tuple(worse), lanes=times.lanes, heats=times.heats
    )
    found, clean = analyse(spoilt).effects[0], analyse(times).effects[0]
    # In a heat of two it cannot be told which of both is off.
    rows = {outlier.row for outlier in analyse(spoilt).outliers}
    assert at + 1 in rows
    assert len(rows) <= 2
    assert found.difference < clean.difference - 1e-3
    assert found.without_outliers == pytest.approx(clean.difference, abs=0.3e-3)
    assert found.ranks is not None
    assert clean.ranks is not None
    assert abs(found.ranks.difference - clean.ranks.difference) < 0.1 * abs(
        found.difference - clean.difference
    )
    assert sum(found.runs) == sum(clean.runs)
    assert clean.without_outliers is None


def test_verdicts() -> None:
    assert analyse(_made()).effects[0].verdict == "faster"
    same = analyse(_made(faster=0.0, noise=0.2e-3)).effects[0]
    assert (same.verdict, same.more) == ("same", 0)
    unclear = analyse(_made(faster=0.3e-3, noise=3e-3, heats=6)).effects[0]
    assert unclear.verdict == "unclear"
    assert unclear.more > 0


def test_surer_is_wider() -> None:
    times = _made()
    widths = [each.high - each.low for risk in (0.3, 0.1, 0.01) for each in analyse(times, risk=risk).effects]
    assert widths == sorted(widths)
    assert widths[0] < widths[-1]


def test_all_pairs_at_once_are_wider_than_one() -> None:
    lot = np.random.default_rng(8)
    cars = tuple("ABCD" * 10)
    times = Times(
        configurations=cars,
        times=tuple(2.6 + lot.normal(0.0, 1e-3) for _ in cars),
        heats=tuple(str(at // 4) for at in range(40)),
    )
    found = analyse(times)
    assert [(each.a, each.b) for each in found.effects] == list(combinations("ABCD", 2))
    assert all(each.family > 1.3 * (each.high - each.difference) for each in found.effects)
    assert found.friedman is not None
    one = analyse(times, pairs=[("A", "B")]).effects[0]
    assert one.family == pytest.approx(one.high - one.difference)


def test_looking_often_costs_width() -> None:
    effect = analyse(_made(), peek=True).effects[0]
    assert effect.always > 1.2 * (effect.high - effect.difference)
    assert effect.sure_of == pytest.approx(effect.difference - effect.always)
    # Of a difference just clear at one look, no more is said when one looks often.
    weak = next(
        each
        for seed in range(60)
        for each in analyse(_made(faster=0.8e-3, noise=1.5e-3, seed=seed)).effects
        if each.high - each.difference < each.difference < each.always
    )
    assert weak.verdict == "faster"


def test_the_stop_rule_says_nothing_of_one_run() -> None:
    assert always_valid_half_width(error=1e-3, freedom=0.0, unscaled=1.0, risk=0.1) == math.inf
    assert always_valid_half_width(error=1e-3, freedom=1.0, unscaled=1.0, risk=0.1) == math.inf
    wide = [
        always_valid_half_width(error=1.0 / math.sqrt(n), freedom=n, unscaled=1.0 / n, risk=0.1)
        for n in (20, 200, 2000)
    ]
    assert wide == sorted(wide, reverse=True)


def test_more_runs_settle_what_they_are_said_to() -> None:
    """Planned for a difference at a risk of 10 %, nine in ten trials of that size find it."""
    runs = runs_needed(difference=1e-3, noise=1.5e-3, risk=0.1)
    lot = np.random.default_rng(4)
    hit = 0
    for _ in range(400):
        cars = ("A",) * runs + ("B",) * runs
        times = 2.6 + lot.normal(0.0, 1.5e-3, 2 * runs) - 1e-3 * np.repeat([0.0, 1.0], runs)
        hit += analyse(Times(configurations=cars, times=tuple(times))).effects[0].verdict == "faster"
    # Three standard errors of 400 trials.
    assert hit / 400 == pytest.approx(0.9, abs=0.046)


@pytest.mark.parametrize("difference", [0.0, -1e-3, math.nan, math.inf])
def test_no_size_for_no_difference(difference: float) -> None:
    with pytest.raises(OutOfRange, match="cannot be looked for"):
        exact_runs(difference=difference, noise=1e-3, false_alarm=0.1, missed=0.1)


def test_a_difference_can_drown() -> None:
    with pytest.raises(OutOfRange, match="drowns"):
        runs_needed(difference=1e-9, noise=1.0, risk=0.1)
    assert runs_needed(difference=1.0, noise=0.0, risk=0.1) == 2


@pytest.mark.parametrize(
    ("times", "said"),
    [
        (Times(configurations=("A",) * 4, times=(2.6,) * 4), "'A' alone"),
        (Times(configurations=(), times=()), "nothing cannot be compared"),
        (Times(configurations=("A", "B"), times=(2.6, 2.7)), "say nothing about the scatter"),
    ],
)
def test_what_cannot_be_compared_is_refused(times: Times, said: str) -> None:
    with pytest.raises(OutOfRange, match=said):
        analyse(times)


@pytest.mark.parametrize(
    ("risk", "matters"), [(0.0, 1e-3), (0.9, 1e-3), (math.nan, 1e-3), (0.1, 0.0), (0.1, math.nan)]
)
def test_no_such_risk_or_difference(risk: float, matters: float) -> None:
    with pytest.raises(OutOfRange):
        analyse(_made(), risk=risk, matters=matters)


def test_a_pair_that_never_ran_is_refused() -> None:
    with pytest.raises(OutOfRange, match="'C' is not among them"):
        analyse(_made(), pairs=[("A", "C")])


def test_columns_must_fit() -> None:
    with pytest.raises(OutOfRange, match="1 entries for 2 times"):
        Times(configurations=("A", "B"), times=(2.6, 2.7), lanes=("1",))
    with pytest.raises(OutOfRange, match="no finish time"):
        Times(configurations=("A",), times=(0.0,))
    with pytest.raises(OutOfRange, match="different configurations"):
        Times(configurations=tuple(map(str, range(99))), times=(2.6,) * 99)


def test_times_that_are_all_alike_do_not_break_it() -> None:
    times = Times(
        configurations=("A", "B") * 6, times=(2.6,) * 12, heats=tuple(str(at // 2) for at in range(12))
    )
    (effect,) = analyse(times).effects
    assert effect.difference == 0.0
    assert effect.verdict == "same"


def _places(plan: TrialPlan) -> Counter[tuple[str, str]]:
    return Counter(
        (car, lane) for heat in plan.heats for lane, car in zip(plan.lanes, heat.cars, strict=True) if car
    )


@pytest.mark.parametrize("cars", [2, 3, 4, 5, 7])
@pytest.mark.parametrize("alone", [False, True])
def test_a_plan_gives_every_car_every_lane_equally_often(cars: int, alone: bool) -> None:  # noqa: FBT001
    names = tuple("ABCDEFG"[:cars])
    plan = plan_trial(names, lanes=("1", "2", "3", "4"), runs=7, seed=3, alone=alone)
    assert plan.runs == 8
    assert _places(plan) == {(car, lane): 2 for car in names for lane in plan.lanes}
    beside = [sum(bool(car) for car in heat.cars) for heat in plan.heats]
    assert set(beside) == {1 if alone else min(cars, 4)}
    assert all(len({car for car in heat.cars if car}) == sum(map(bool, heat.cars)) for heat in plan.heats)


def test_alone_a_steady_drift_falls_on_all_alike() -> None:
    plan = plan_trial(("A", "B", "C"), lanes=("1", "2"), runs=6, seed=9, alone=True)
    turns: dict[str, list[int]] = {}
    for heat in plan.heats:
        turns.setdefault("".join(heat.cars), []).append(heat.number)
    assert len({sum(numbers) for numbers in turns.values()}) == 1


def test_every_pair_of_many_cars_can_be_compared() -> None:
    plan = plan_trial(tuple("ABCDEFG"), lanes=("1", "2"), runs=8, seed=1)
    rows = [
        (car, lane, str(heat.number))
        for heat in plan.heats
        for lane, car in zip(plan.lanes, heat.cars, strict=True)
        if car
    ]
    cars, lanes, heats = zip(*rows, strict=True)
    lot = np.random.default_rng(1)
    times = Times(
        configurations=cars, lanes=lanes, heats=heats, times=tuple(2.6 + lot.normal(0.0, 1e-3, len(cars)))
    )
    found = analyse(times)
    assert found.method == "blocks"
    assert len(found.effects) == 21


def test_the_same_seed_is_the_same_plan() -> None:
    plans = [plan_trial(("A", "B"), lanes=("1", "2", "3"), runs=6, seed=seed) for seed in (1, 1, 2)]
    assert plans[0] == plans[1] != plans[2]


@pytest.mark.parametrize(
    ("cars", "lanes", "runs", "said"),
    [
        (("A",), ("1", "2"), 4, "1 configurations"),
        (("A", "A"), ("1", "2"), 4, "stands twice"),
        (("A", " "), ("1", "2"), 4, "has no name"),
        (("A", "B"), (), 4, "0 lanes"),
        (("A", "B"), ("1",), 4, "side by side"),
        (("A", "B"), ("1", "2"), 0, "0 runs"),
        (("A", "B"), ("1", "2"), 10**6, "1000000 runs"),
    ],
)
def test_what_cannot_be_planned_is_refused(
    cars: tuple[str, ...], lanes: tuple[str, ...], runs: int, said: str
) -> None:
    with pytest.raises(OutOfRange, match=said):
        plan_trial(cars, lanes=lanes, runs=runs, seed=1)


def test_a_season_tells_the_change_from_the_day_by_the_other_car() -> None:
    """The second day is 10 ms slower for both; only Lark was changed, and is 3 ms faster for it."""
    lot = np.random.default_rng(6)
    cars, set_ups, days, times, heats = [], [], [], [], []
    for number, (day, slower) in enumerate((("18.4.2031", 10e-3), ("2.4.2031", 0.0))):
        for heat in range(12):
            for car in ("Lark", "Heron"):
                changed = car == "Lark" and slower > 0.0
                cars.append(car)
                set_ups.append("new" if changed else "old")
                days.append(day)
                heats.append(f"{number} {heat}")
                times.append(2.6 + slower - (3e-3 if changed else 0.0) + lot.normal(0.0, 1e-3))
    labels = tuple(f"{car} {one}" for car, one in zip(cars, set_ups, strict=True))
    told = Times(configurations=labels, times=tuple(times), heats=tuple(heats), days=tuple(days))
    lark, heron = season(told, cars=cars, set_ups=set_ups)
    assert [each.name for each in lark.set_ups] == ["old", "new"]
    (step,) = lark.steps
    assert step.method == "blocks"
    assert step.paid == "yes"
    assert step.effect is not None
    assert step.effect.low < 3e-3 < step.effect.high
    assert lark.last_good.name == "new"
    assert not heron.steps
    alone = told.kept([at for at, car in enumerate(cars) if car == "Lark"])
    (by_itself,) = season(
        alone,
        cars=["Lark"] * 24,
        set_ups=[one for one, car in zip(set_ups, cars, strict=True) if car == "Lark"],
    )
    assert by_itself.steps[0].paid == "no"
    assert any("different days" in caution for caution in by_itself.steps[0].cautions)
    assert by_itself.last_good.name == "old"
