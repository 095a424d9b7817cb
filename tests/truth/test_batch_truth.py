"""Drill batches against published answers, closed forms and other ways to the same number."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from rollwright.judge.batch_capability import capability, ratios
from rollwright.judge.batch_chart import Rule, chart
from rollwright.judge.batch_compare import scatter_ratio, welch
from rollwright.judge.batch_counts import (
    chance_of_good,
    clopper_pearson,
    drill_for,
    more_needed,
    wilson,
)
from rollwright.judge.batch_data import Off
from rollwright.judge.batch_fit import fit

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
SLEEP = (
    (0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0),
    (1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4),
)


def _numbers(values: tuple[float, ...], uncertainty: float = 0.0) -> list[Off]:
    return [Off(low=value, high=value, uncertainty=uncertainty) for value in values]


def test_a_chart_of_individuals_is_that_of_the_handbook() -> None:
    """Flow rates: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (read in a quotation of it)."""
    found = chart(FLOW)
    assert found.mean == pytest.approx(50.81, abs=5e-5)
    assert found.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert (found.high, found.low) == pytest.approx((55.8041, 45.8159), abs=5e-5)
    assert found.range_high == pytest.approx(6.1347, abs=5e-5)
    assert Rule.BEYOND not in {signal.rule for signal in found.signals}


def test_the_constants_of_the_chart_are_those_of_normal_ranges() -> None:
    """ASTM E2587, Table 1: d2 = 1.128, D4 = 3.267 and E2 = 2.660 (E2 from memory)."""
    found = chart((0.0, 1.0))
    assert found.high - found.mean == pytest.approx(2.660, abs=1e-3)
    assert found.range_high == pytest.approx(3.267)
    assert 1.0 / found.deviation == pytest.approx(2.0 / math.sqrt(math.pi), abs=4e-4)


def test_capability_is_that_of_the_handbook() -> None:
    """Limits 8 and 20, mean 16, deviation 2: NIST/SEMATECH e-Handbook, 6.1.6 (from memory)."""
    cp, cpk = ratios(mean=16.0, deviation=2.0, low=8.0, high=20.0)
    assert (cp, cpk) == pytest.approx((1.0, 0.6667), abs=5e-5)


@pytest.mark.parametrize(
    ("good", "drilled", "by_score", "by_beta"),
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_intervals_of_a_share_are_those_that_are_printed(
    good: int, drilled: int, by_score: tuple[float, float], by_beta: tuple[float, float]
) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I (from memory)."""
    score = wilson(good=good, drilled=drilled, confidence=0.95)
    beta = clopper_pearson(good=good, drilled=drilled, confidence=0.95)
    assert (score.low, score.high) == pytest.approx(by_score, abs=5.1e-5)
    assert (beta.low, beta.high) == pytest.approx(by_beta, abs=5.1e-5)
    every = clopper_pearson(good=drilled - good, drilled=drilled, confidence=0.95)
    assert (1.0 - every.high, 1.0 - every.low) == pytest.approx((beta.low, beta.high), abs=1e-12)


def test_none_good_has_the_closed_upper_end() -> None:
    """0 of 30, one-sided 95 %, so two-sided 90 %: 1 - 0.05^(1/30)."""
    found = clopper_pearson(good=0, drilled=30, confidence=0.9)
    assert found.high == pytest.approx(0.09503385285530419, rel=1e-10)


def test_waiting_for_good_ones_is_the_negative_binomial_distribution() -> None:
    """Five wanted at a share of 0.4, the worked candy bars of the encyclopedias (from memory)."""
    at_tenth = chance_of_good(good=5, drilled=10, share=0.4) - chance_of_good(good=5, drilled=9, share=0.4)
    assert at_tenth == pytest.approx(0.1003290624, rel=1e-9)
    assert chance_of_good(good=5, drilled=8, share=0.4) == pytest.approx(0.1736704, rel=1e-9)
    by = np.array([chance_of_good(good=5, drilled=count, share=0.4) for count in range(400)])
    assert float((1.0 - by).sum()) == pytest.approx(12.5, rel=1e-9)


def test_one_in_four_good_asks_for_nine_bodies() -> None:
    """About one drilled body in four is good enough: common practice, no source; 1 - 0.75^9 is 0.925."""
    assert drill_for(good=1, share=0.25) == 9
    assert 1.0 - 0.75**8 < 0.9 <= 1.0 - 0.75**9


def test_what_is_advised_allows_for_the_share_that_is_not_known() -> None:
    """The beta-binomial distribution of scipy, which is not what the code sums."""
    counted = clopper_pearson(good=5, drilled=20)
    found = more_needed(wanted=9, counted=counted)
    assert found.missing == 4
    assert found.more is not None
    law = [stats.betabinom(count, 5.5, 15.5).sf(3) for count in (found.more - 1, found.more)]
    assert law[0] < 0.9 <= law[1]
    assert found.as_counted is not None
    assert found.at_worst is not None
    assert found.as_counted < found.more < found.at_worst
    assert stats.nbinom(4, 0.25).cdf(found.as_counted - 4) >= 0.9


def test_numbers_without_error_give_the_mean_students_interval_and_the_usual_deviation() -> None:
    found = fit(_numbers(FLOW), confidence=0.9)
    mean, deviation = float(np.mean(FLOW)), float(np.std(FLOW, ddof=1))
    low, high = stats.t.interval(0.9, 9, mean, deviation / math.sqrt(10))
    assert found.bias == pytest.approx(mean, abs=1e-6)
    assert (found.bias_low, found.bias_high) == pytest.approx((low, high), abs=1e-3 * deviation)
    assert found.scatter == pytest.approx(deviation, rel=1e-3)
    # The likelihood's interval is not that of equal tails, but of the same level by another cut.
    cuts = 9 * (deviation / np.array([found.scatter_high, found.scatter_low])) ** 2
    assert np.diff(stats.chi2(9).cdf(cuts))[0] == pytest.approx(0.9, abs=2e-3)


def test_a_gauge_of_one_uncertainty_is_taken_off_the_scatter() -> None:
    gauge = 1.2
    found = fit(_numbers(FLOW, gauge))
    assert found.scatter == pytest.approx(math.sqrt(np.var(FLOW, ddof=1) - gauge**2), rel=2e-3)
    assert fit(_numbers(FLOW, 5.0)).scatter == 0.0


def test_ranges_give_the_scatter_of_their_share() -> None:
    """Of 1000, those within +-1 are as many as a deviation of 0.8 leaves: the two-sided normal quantile."""
    share = math.erf(1.0 / 0.8 / math.sqrt(2.0))
    inside = round(1000 * share)
    above = (1000 - inside) // 2
    offs = [Off(low=-1.0, high=1.0, uncertainty=0.0)] * inside
    offs += [Off(low=1.0, high=math.inf, uncertainty=0.0)] * above
    offs += [Off(low=-math.inf, high=-1.0, uncertainty=0.0)] * above
    found = fit(offs)
    exact = 1.0 / stats.norm.ppf(0.5 + 0.5 * inside / len(offs))
    assert found.bias == pytest.approx(0.0, abs=1e-3)
    assert found.scatter == pytest.approx(exact, rel=3e-3)
    assert found.scatter_low < 0.8 < found.scatter_high


def test_narrow_ranges_say_what_their_middles_say() -> None:
    narrow = fit([Off(low=value - 1e-4, high=value + 1e-4, uncertainty=0.0) for value in FLOW])
    plain = fit(_numbers(FLOW))
    for name in ("bias", "bias_low", "bias_high", "scatter", "scatter_low", "scatter_high"):
        assert getattr(narrow, name) == pytest.approx(getattr(plain, name), rel=1e-4)


def test_the_interval_of_cpk_is_near_the_printed_approximation() -> None:
    """Bissell's: Cpk (1 +- z sqrt(1 / (9 n Cpk^2) + 1 / (2 (n - 1)))) (A. F. Bissell, Applied Statistics 39
    (1990) 331-340; from memory), good to a few percent at a hundred values."""  # noqa: D205, D209 - one source
    rng = np.random.default_rng(3)
    values = tuple(rng.normal(0.5, 1.0, 100))
    found = capability(fit(_numbers(values)), tolerance=3.0).cpk
    size = 1.6449 * math.sqrt(1.0 / (900 * found.value**2) + 1.0 / 198.0)
    assert found.low == pytest.approx(found.value * (1.0 - size), rel=0.03)
    assert found.high == pytest.approx(found.value * (1.0 + size), rel=0.03)


def test_two_means_differ_as_the_handbook_says() -> None:
    """Miles per gallon, NIST/SEMATECH e-Handbook, 1.3.5.3 (read in a quotation): Welch's form."""
    means, deviations, counts = (20.14458, 30.48101), (6.4147, 6.10771), (249, 79)
    errors = tuple(size / math.sqrt(count) for size, count in zip(deviations, counts, strict=True))
    found = welch(means=means, errors=(errors[0], errors[1]), counts=counts)
    assert found.t == pytest.approx(-12.94627, abs=5e-5)
    assert found.degrees == pytest.approx(136.875, abs=5e-3)


def test_two_means_differ_as_students_sleepers_do() -> None:
    """Student (1908), unpaired: t = -1.8608, 17.776 degrees, p = 0.07939 (R's t.test; from memory)."""
    fits = [fit(_numbers(values), confidence=0.95) for values in SLEEP]
    errors = [found.scatter / math.sqrt(10) for found in fits]
    found = welch(
        means=(fits[0].bias, fits[1].bias), errors=(errors[0], errors[1]), counts=(10, 10), confidence=0.95
    )
    assert found.t == pytest.approx(-1.8608, abs=1e-3)
    assert found.degrees == pytest.approx(17.776, abs=5e-3)
    assert found.chance == pytest.approx(0.07939, abs=1e-4)


def test_two_scatters_compare_by_f() -> None:
    """The table's 95 % point of F with 9 and 9 degrees is 3.18 (any statistics book; from memory)."""
    found = scatter_ratio(deviations=(2.0, 1.0), counts=(10, 10), confidence=0.9)
    assert (2.0 / found.low) ** 2 == pytest.approx(3.18, abs=5e-3)
    assert (found.high / 2.0) ** 2 == pytest.approx(3.18, abs=5e-3)
