"""Drill batches: what one reading tells, what a batch says of its jig, and the file that it comes from."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from rollwright.car import parse_car
from rollwright.car.model import Car, Station
from rollwright.errors import InputError, OutOfRange
from rollwright.judge.batch import Batch, Cause, judge_batch
from rollwright.judge.batch_chart import Rule, WanderKind, chart, wander
from rollwright.judge.batch_compare import changed, difference_of_shares
from rollwright.judge.batch_counts import Share, clopper_pearson, drill_for, more_needed
from rollwright.judge.batch_data import Body, Direction, Hole, Off, body_state, off_state
from rollwright.judge.batch_fit import fit
from rollwright.judge.verdict import State
from rollwright.scenario.club import file_text
from rollwright.scenario.drilled_batch import BATCH, TRUTH, WANDERS_FROM, batch_text
from rollwright.workbench.batch import judged
from rollwright.workbench.batch_file import Drilled, gap_off, parse_batch

CANT = Hole(station=Station.REAR_LEFT, direction=Direction.CANT)
SWEEP = Hole(station=Station.REAR_LEFT, direction=Direction.SWEEP)
TOLERANCES = {Direction.CANT: 0.4, Direction.SWEEP: 0.25, Direction.HOLE_HEIGHT: 0.2}
LARK = parse_car(file_text("lark.toml"))


def _number(value: float, uncertainty: float = 0.01) -> Off:
    return Off(low=value, high=value, uncertainty=uncertainty)


def _range(low: float, high: float, *, outside: bool = False) -> Off:
    return Off(low=low, high=high, uncertainty=0.0, outside=outside)


def _batch(values: Sequence[float], hole: Hole = CANT) -> Batch:
    bodies = [
        Body(number=number, name=str(number), set_up="a jig", offs={hole: _number(value)})
        for number, value in enumerate(values, start=1)
    ]
    return judge_batch(bodies, tolerances=TOLERANCES)


def _normal(mean: float, deviation: float, count: int = 24) -> list[float]:
    """Return values whose mean and deviation are exactly these, in an order that means nothing."""
    x = np.random.default_rng(4).standard_normal(count)
    return list(mean + deviation * (x - x.mean()) / x.std(ddof=1))


class TestOneReading:
    @pytest.mark.parametrize(
        ("off", "state"),
        [
            (_number(0.1), State.PASS),
            (_number(-0.5), State.FAIL),
            (_number(0.4), State.UNCLEAR),
            (_range(-0.1, 0.1), State.PASS),
            (_range(0.3, 0.5), State.UNCLEAR),
            (_range(0.45, 0.6), State.FAIL),
            (_range(-0.6, -0.45), State.FAIL),
            (_range(0.1, math.inf), State.UNCLEAR),
            (_range(0.5, math.inf), State.FAIL),
            (_range(-0.1, 0.1, outside=True), State.UNCLEAR),
            (_range(-0.5, 0.5, outside=True), State.FAIL),
            (_range(-0.9, 0.9), State.UNCLEAR),
        ],
    )
    def test_is_judged_by_all_that_it_leaves_open(self, off: Off, state: State) -> None:
        assert off_state(off, tolerance=0.4) is state

    @pytest.mark.parametrize(
        "limits", [(1.0, 0.0, 0.1), (0.0, 0.0, -0.1), (-math.inf, math.inf, 0.1), (math.nan, 1.0, 0.1)]
    )
    def test_that_says_nothing_is_refused(self, limits: tuple[float, float, float]) -> None:
        with pytest.raises(OutOfRange, match="say nothing"):
            Off(low=limits[0], high=limits[1], uncertainty=limits[2])

    def test_a_gap_is_turned_into_an_angle_about_what_was_meant(self) -> None:
        off = gap_off(1e-3, 1e-3, distance=0.04, against=0.0, meant=0.01, uncertainty=1e-4)
        assert off.point == pytest.approx(math.atan(1.0 / 40.0) - 0.01)
        assert off.uncertainty == pytest.approx(1e-4 / 0.04)


class TestOneBody:
    def test_the_builders_word_counts_before_the_readings(self) -> None:
        body = Body(number=1, name="1", set_up="a", offs={CANT: _number(3.0)}, accepted=True)
        assert body_state(body, tolerances=TOLERANCES, needed=[CANT]) is State.PASS

    def test_one_bad_hole_fails_it_and_a_hole_that_was_not_read_leaves_it_open(self) -> None:
        bad = Body(number=1, name="1", set_up="a", offs={CANT: _number(3.0)})
        half = Body(number=1, name="1", set_up="a", offs={CANT: _number(0.0)})
        assert body_state(bad, tolerances=TOLERANCES, needed=[CANT, SWEEP]) is State.FAIL
        assert body_state(half, tolerances=TOLERANCES, needed=[CANT, SWEEP]) is State.UNCLEAR
        assert body_state(half, tolerances=TOLERANCES, needed=[CANT]) is State.PASS

    def test_the_hole_whose_wheel_does_not_carry_fails_no_body(self) -> None:
        idle = Hole(station=Station.FRONT_RIGHT, direction=Direction.CANT)
        body = Body(number=1, name="1", set_up="a", offs={CANT: _number(0.0), idle: _number(3.0)})
        told = body_state(body, tolerances=TOLERANCES, needed=[CANT], idle=Station.FRONT_RIGHT)
        assert told is State.PASS


class TestFit:
    def test_unmeasured_daylight_keeps_the_scatter_up(self) -> None:
        none, seen = _range(-0.1, 0.1), _range(-0.1, 0.1, outside=True)
        few, many = fit([none] * 18 + [seen] * 2), fit([none] * 10 + [seen] * 10)
        assert few.scatter < many.scatter
        assert few.bias == pytest.approx(0.0, abs=1e-9)

    def test_nothing_but_no_daylight_bounds_both(self) -> None:
        found = fit([_range(-0.1, 0.1)] * 12)
        assert found.scatter == 0.0
        assert 0.0 < found.scatter_high < 0.1
        assert -0.1 < found.bias_low < found.bias < found.bias_high < 0.1

    def test_what_is_open_on_a_side_stays_open(self) -> None:
        found = fit([_range(0.1, math.inf)] * 5)
        assert math.isnan(found.bias)
        assert found.bias_high == math.inf
        assert not found.biased or found.bias_low > 0.0

    def test_a_shift_and_a_scale_shift_and_scale_it(self) -> None:
        values = _normal(0.0, 1.0, 9)
        one = fit([_number(value, 0.2) for value in values])
        other = fit([_number(5.0 + 1e-3 * value, 0.2e-3) for value in values])
        for name in ("bias", "bias_low", "bias_high"):
            assert getattr(other, name) == pytest.approx(5.0 + 1e-3 * getattr(one, name), abs=1e-8)
        assert other.scatter == pytest.approx(1e-3 * one.scatter, rel=1e-5)

    def test_two_readings_are_too_few(self) -> None:
        with pytest.raises(OutOfRange, match="tell no scatter"):
            fit([_number(0.0)] * 2)


class TestChart:
    def test_rules_are_broken_where_they_are_and_nowhere_else(self) -> None:
        still = [0.1, -0.1, 0.1, -0.1] * 5
        assert chart(still).signals == ()
        cases: tuple[tuple[Rule, list[float], int, int], ...] = (
            (Rule.BEYOND, [1.0], 20, 20),
            (Rule.NINE, [0.02, 0.03] * 5, 20, 29),
            (Rule.SIX, [-0.12, -0.08, -0.04, 0.01, 0.04, 0.08], 20, 25),
            (Rule.TWO_OF_THREE, [0.4, 0.0, 0.4], 20, 22),
            (Rule.FOUR_OF_FIVE, [0.2, 0.2, -0.01, 0.2, 0.2], 20, 24),
        )
        for rule, more, first, last in cases:
            found = [each for each in chart([*still, *more], baseline=20).signals if each.rule is rule]
            assert [(each.first, each.last) for each in found] == [(first, last)], rule

    @pytest.mark.parametrize(("values", "baseline"), [([1.0], None), ([1.0, 2.0], 1), ([1.0, 2.0], 3)])
    def test_too_few_values_are_refused(self, values: list[float], baseline: int | None) -> None:
        with pytest.raises(OutOfRange, match="make no chart"):
            chart(values, baseline=baseline)


class TestWander:
    def test_a_step_a_ramp_and_a_spread_are_told_apart_and_placed(self) -> None:
        noise = np.asarray(_normal(0.0, 1.0, 30))
        index = np.arange(30)
        step, _ = wander(list(noise + 4.0 * (index >= 18))) or (None, None)
        ramp, _ = wander(list(noise + 0.8 * np.maximum(0, index - 17))) or (None, None)
        assert step is not None
        assert ramp is not None
        assert (step.kind, step.first) == (WanderKind.STEP, 18)
        assert step.change == pytest.approx(4.0, abs=0.8)
        assert ramp.kind is WanderKind.RAMP
        assert abs(ramp.first - 18) <= 2
        assert ramp.change > 0.0
        pair = wander(list(noise * np.where(index >= 15, 8.0, 1.0)))
        assert pair is not None
        assert pair[1].kind is WanderKind.SPREAD
        assert pair[1].chance < 0.01
        assert all(found.chance < 0.01 for found in (step, ramp))

    def test_order_that_means_nothing_is_not_called_a_change(self) -> None:
        pair = wander(_normal(0.0, 1.0, 30))
        assert pair is not None
        assert all(found.chance > 0.05 for found in pair)

    @pytest.mark.parametrize("values", [[1.0] * 12, [0.0, 1.0] * 3])
    def test_few_values_or_equal_ones_say_nothing(self, values: list[float]) -> None:
        assert wander(values) is None


class TestJig:
    @pytest.mark.parametrize(
        ("mean", "deviation", "cause"),
        [
            (0.01, 0.10, Cause.GOOD),
            (0.35, 0.10, Cause.BIAS),
            (-0.35, 0.10, Cause.BIAS),
            (0.02, 0.40, Cause.SCATTER),
            (0.35, 0.35, Cause.BOTH),
        ],
    )
    def test_bias_and_scatter_are_told_apart(self, mean: float, deviation: float, cause: Cause) -> None:
        hole = _batch(_normal(mean, deviation)).hole(CANT)
        assert hole is not None
        assert hole.cause is cause
        assert hole.fit is not None
        assert hole.fit.bias == pytest.approx(mean, abs=1e-3)

    def test_a_shim_brings_what_the_scatter_alone_would(self) -> None:
        found = _batch(_normal(0.35, 0.1))
        assert found.as_drilled is not None
        assert found.scatter_alone is not None
        assert found.shimmed[CANT.name] == pytest.approx(found.scatter_alone.value)
        assert found.as_drilled.value < 0.75
        assert found.scatter_alone.value > 0.99
        assert found.scatter_alone.low <= found.scatter_alone.value <= found.scatter_alone.high <= 1.0

    def test_bias_is_that_before_the_bushing_wandered(self) -> None:
        values = np.asarray(_normal(0.0, 0.1, 30))
        hole = _batch(list(values + 0.08 * np.maximum(0, np.arange(30) - 19))).hole(CANT)
        assert hole is not None
        assert hole.wander is not None
        assert hole.before == hole.number_at(hole.wander.first)
        assert len(hole.kept) == hole.before - 1
        assert hole.fit is not None
        assert abs(hole.fit.bias) < 0.06
        assert hole.spread is None

    def test_looks_alone_make_no_chart(self) -> None:
        offs = [_range(-0.1, 0.1)] * 15 + [_number(0.2)] * 3
        bodies = [
            Body(number=number, name=str(number), set_up="a", offs={CANT: off})
            for number, off in enumerate(offs, start=1)
        ]
        hole = judge_batch(bodies, tolerances=TOLERANCES).hole(CANT)
        assert hole is not None
        assert (hole.chart, hole.wander, hole.spread) == (None, None, None)
        assert len(hole.points) == 18

    def test_a_count_alone_is_judged_too(self) -> None:
        bodies = [Body(number=n, name=str(n), set_up="a", accepted=n <= 3) for n in range(1, 11)]
        found = judge_batch(bodies, tolerances=TOLERANCES, good=5)
        assert (found.share.good, found.share.drilled, found.more.missing) == (3, 10, 2)
        assert found.holes == ()
        assert found.as_drilled is None

    def test_no_body_is_refused(self) -> None:
        with pytest.raises(OutOfRange, match="no body"):
            judge_batch([], tolerances=TOLERANCES)


class TestCounts:
    def test_what_is_there_needs_no_more(self) -> None:
        counted = clopper_pearson(good=4, drilled=9)
        found = more_needed(wanted=3, counted=counted)
        assert (found.missing, found.more, found.at_worst) == (0, 0, 0)

    def test_a_share_of_zero_asks_for_more_than_anyone_drills(self) -> None:
        assert drill_for(good=1, share=0.0) is None
        assert more_needed(wanted=1, counted=clopper_pearson(good=0, drilled=5)).at_worst is None

    @pytest.mark.parametrize("counts", [(-1, 5), (6, 5), (0, 0)])
    def test_impossible_counts_are_refused(self, counts: tuple[int, int]) -> None:
        with pytest.raises(OutOfRange, match="is no count"):
            clopper_pearson(good=counts[0], drilled=counts[1])


class TestTwoSetUps:
    def test_a_moved_jig_and_a_looser_one_are_told_apart(self) -> None:
        plain, moved, loose = (
            [_number(value, 0.0) for value in _normal(mean, deviation)]
            for mean, deviation in ((0.0, 0.1), (0.3, 0.1), (0.0, 0.3))
        )
        base = (fit(plain), plain)
        shift = changed((fit(moved), moved), base)
        assert shift.bias.value == pytest.approx(0.3, abs=1e-3)
        assert (shift.bias_changed, shift.scatter_changed) == (True, False)
        wider = changed((fit(loose), loose), base)
        assert wider.scatter.value == pytest.approx(3.0, rel=1e-2)
        assert (wider.bias_changed, wider.scatter_changed) == (False, True)
        assert wider.levene is not None
        assert wider.levene < 0.01

    def test_no_scatter_on_a_side_leaves_the_ratio_open(self) -> None:
        looks = [_range(-0.1, 0.1)] * 12
        plain = [_number(value) for value in _normal(0.0, 0.1)]
        found = changed((fit(plain), plain), (fit(looks), looks))
        assert found.scatter.high == math.inf
        assert found.scatter.low > 1.0
        assert found.levene is None

    def test_a_difference_of_shares_lies_within_its_interval(self) -> None:
        shares: list[Share] = [clopper_pearson(good=good, drilled=20) for good in (15, 5)]
        found = difference_of_shares(*shares)
        assert found.low < found.value == pytest.approx(0.5)
        assert 0.0 < found.low < found.high < 1.0


def _parsed(body: str, head: str = "", *, car: Car | None = LARK) -> Drilled:
    return parse_batch(f"format = 1\n{head}\n[[body]]\n{body}\n", file="b.toml", car=car)


class TestFile:
    @pytest.mark.parametrize(
        ("hole", "written", "low", "high"),
        [
            ("rear_left.cant", '"2.75 deg up"', 0.25, 0.25),
            ("rear_left.cant", "2.25", -0.25, -0.25),
            ("front_left.cant", '"0.5 deg down"', -0.5, -0.5),
            ("front_left.sweep", '"0.2 mm forward"', 0.38197, 0.38197),
            ("front_left.sweep", '"8 thou backward"', -0.38808, -0.38808),
            ("front_left.sweep", "{ gap = 0.2, distance = 40 }", 0.28648, 0.28648),
            ("front_left.sweep", "{ goes = 0.1, stops = 0.15, distance = 40 }", 0.14324, 0.21486),
            ("front_left.sweep", "{ goes = -0.1, stops = -0.15, distance = 40 }", -0.21486, -0.14324),
            ("front_left.sweep", "{ stops = 0.1, distance = 40 }", 0.0, 0.14324),
            ("front_left.sweep", "{ goes = 0.1, distance = 40 }", 0.14324, math.inf),
            ("rear_left.cant", '{ gap = "0.1 mm up", distance = 40, against = 2.5 }', 0.14297, 0.14297),
        ],
    )
    def test_readings_are_what_the_gate_takes(self, hole: str, written: str, low: float, high: float) -> None:
        """Angles by hand: atan(gap / distance) in degrees, less the 2.5 that is meant at the rear."""
        found = _parsed(f"{hole} = {written}")
        (off,) = found.bodies[0].offs.values()
        assert math.degrees(off.low) == pytest.approx(low, abs=2e-5)
        assert math.degrees(off.high) == pytest.approx(high, abs=2e-5)

    def test_looks_are_ranges_about_the_straight_edge(self) -> None:
        head = "[gauges]\nsees = 0.08\ndistance = 40"
        none, seen = (
            next(iter(_parsed(f'front_left.cant = "{word}"', head).bodies[0].offs.values()))
            for word in ("none", "seen")
        )
        assert (none.high, -none.low) == pytest.approx((math.atan(0.002), math.atan(0.002)))
        assert (none.outside, seen.outside) == (False, True)

    def test_heights_are_lengths_about_what_was_meant(self) -> None:
        found = _parsed("rear_left.hole_height = 9.05", "[meant.rear_left]\nhole_height = 9.1")
        (off,) = found.bodies[0].offs.values()
        assert off.low == pytest.approx(-0.05e-3)

    def test_the_file_s_tolerance_counts_before_the_cars(self) -> None:
        found = _parsed("accepted = true", "[drill]\ncant = 0.7")
        assert found.tolerances[Direction.CANT] == pytest.approx(math.radians(0.7))
        assert found.assumed == ("drill.sweep", "drill.hole_height")

    def test_a_body_of_which_nothing_is_known_is_set_aside(self) -> None:
        found = _parsed('name = "x"\n[[body]]\naccepted = false')
        assert [each.name for each in found.set_aside] == ["x"]
        assert [body.number for body in found.bodies] == [2]

    @pytest.mark.parametrize(
        ("body", "words"),
        [
            ("rear_left.cant = true", ("body 1.rear_left.cant", "True", "is no reading")),
            ('rear_left.cant = "2 deg left"', ("rear_left.cant", "left")),
            ('rear_left.sweep = "2 deg up"', ("says up", "forward or backward")),
            ('rear_left.cant = "-2 deg up"', ("a sign and a side",)),
            ('rear_left.cant = "nothing"', ("is no reading", '"none"')),
            ("rear_left.cant = 80", ("outside", "80")),
            ('rear_left.hole_height = "none"', ("is no height",)),
            ("rear_left.cant = { goes = 0.2, stops = 0.1 }", ("0.2 mm goes", "thinner")),
            ("rear_left.cant = { goes = 0.1, stops = -0.2 }", ("same sign",)),
            ("rear_left.cant = { goes = 0.1, value = 2 }", ("beside something else",)),
            ("rear_left.cant = { uncertainty = 0.1 }", ("has no value",)),
            ("rear_left.cant = { vale = 2 }", ("not known", "value")),
            ("rear_left.cant = { value = 2, uncertainty = -1 }", ("uncertainty is above zero",)),
            ("rear_left.cant = { gap = 0.1, distance = 0 }", ("no such length",)),
            ("rear_left.cant = { gap = 1e9 }", ("1e+09 mm", "no such length")),
            ("rear_left.camber = 2", ("body 1.rear_left.camber", "not known")),
            ("rear_lef.cant = 2", ("rear_lef", 'did you mean "rear_left"')),
            ("rear_left = 2", ("2 stands where a table is wanted",)),
            ('accepted = "yes"', ("neither true nor false",)),
            ("set_up = 3", ("is not a text",)),
        ],
    )
    def test_a_wrong_reading_gives_one_line_with_place_value_and_mend(
        self, body: str, words: tuple[str, ...]
    ) -> None:
        with pytest.raises(InputError) as caught:
            _parsed(body)
        line = str(caught.value)
        assert line.startswith("b.toml: body 1")
        assert len(line.splitlines()) == 1
        for word in words:
            assert word in line

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("format = 1\n", ("there is no body",)),
            ("format = 1\nbody = 3\n", ("[[body]]",)),
            ("format = 1\n[body]\nlength = 3\n", ("[[body]]",)),
            (file_text("lark.toml"), ("a car file, not a batch file",)),
            (file_text("lark-readings.toml"), ("a readings file",)),
            ("format = 2\n", ("format 2",)),
            (
                "format = 1\n[drill]\ncant = 0\n[[body]]\naccepted = true\n",
                ("drill.cant", "tolerance of zero"),
            ),
            ("format = 1\n[gauges]\nsees = -1\n[[body]]\n", ("gauges.sees", "outside")),
            ("format = 1\n[meant]\nrear = 1\n[[body]]\n", ("meant.rear", "not known")),
            ("format = 1\n" + "[[body]]\n" * 2001, ("2001 are more than 2000",)),
        ],
    )
    def test_a_wrong_file_gives_one_line(self, text: str, words: tuple[str, ...]) -> None:
        with pytest.raises(InputError) as caught:
            parse_batch(text, file="b.toml", car=None)
        line = str(caught.value)
        assert line.startswith("b.toml: ")
        for word in words:
            assert word in line

    def test_a_height_without_what_was_meant_is_refused(self) -> None:
        with pytest.raises(InputError, match="how high this hole was meant"):
            _parsed("rear_left.hole_height = 9", car=None)


class TestDemo:
    def test_the_file_is_made_from_its_seed(self) -> None:
        assert file_text(BATCH) == batch_text()
        assert batch_text(12) != batch_text()

    def test_what_it_was_made_with_is_found(self) -> None:
        drilled = parse_batch(file_text(BATCH), file=BATCH, car=LARK)
        first = judged(drilled, set_up="first bushing").batch
        wandering = [hole for hole in first.holes if hole.wander is not None]
        assert [hole.hole.name for hole in wandering] == ["rear_right.cant"]
        change = wandering[0].wander
        assert change is not None
        assert change.change < 0.0
        assert (
            wandering[0].number_at(change.earliest) <= WANDERS_FROM <= wandering[0].number_at(change.latest)
        )
        held = 0
        for which, set_up in enumerate(("first bushing", "second bushing")):
            for hole in judged(drilled, set_up=set_up).batch.holes:
                assert hole.fit is not None
                bias, scatter = TRUTH[hole.hole.name][which], TRUTH[hole.hole.name][2]
                held += hole.fit.bias_low <= math.radians(bias) <= hole.fit.bias_high
                held += hole.fit.scatter_low <= math.radians(scatter) <= hole.fit.scatter_high
        # Of 24 intervals at 90 %, fewer than 17 hold the truth once in ten thousand times.
        assert held >= 17
