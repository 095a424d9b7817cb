"""Uncertainty against the worked examples and tables of the guides that define it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest
from scipy import stats
from uncertainties import umath

from rollwright.quantity import (
    Combined,
    Distribution,
    Quantity,
    combine,
    correlation_of_means,
    coverage_factor,
    from_half_width,
    from_repeats,
)

# JCGM 100:2008, H.1, calibration of an end gauge. Lengths in nanometres, temperatures in kelvin. The nominal
# inputs were seen; how the half-widths and degrees of freedom are dealt out is from memory.
END_GAUGE = {
    "standard": Quantity(value=50_000_623.0, uncertainty=25.0, dof=18),
    "mean difference": Quantity(value=215.0, uncertainty=5.8, dof=24),
    "comparator, random": Quantity(value=0.0, uncertainty=3.9, dof=5),
    "comparator, systematic": Quantity(value=0.0, uncertainty=6.7, dof=8),
    "expansion": from_half_width(11.5e-6, half_width=2e-6, distribution=Distribution.UNIFORM),
    "expansion difference": from_half_width(0.0, half_width=1e-6, distribution=Distribution.UNIFORM, dof=50),
    "bed temperature": Quantity(value=-0.1, uncertainty=0.2),
    "bed cycle": from_half_width(0.0, half_width=0.5, distribution=Distribution.ARCSINE),
    "temperature difference": from_half_width(0.0, half_width=0.05, distribution=Distribution.UNIFORM, dof=2),
}


def end_gauge_length(x: Mapping[str, Any]) -> Any:
    difference = x["mean difference"] + x["comparator, random"] + x["comparator, systematic"]
    warmth = x["bed temperature"] + x["bed cycle"]
    strain = x["expansion difference"] * warmth + x["expansion"] * x["temperature difference"]
    return x["standard"] + difference - x["standard"] * strain


@pytest.fixture(scope="module")
def end_gauge() -> Combined:
    return combine(end_gauge_length, END_GAUGE)


def test_the_end_gauge_has_the_length_and_uncertainty_of_the_guide(end_gauge: Combined) -> None:
    # JCGM 100:2008, H.1.7: 50.000 838 mm, u_c = 32 nm; full digits from an independent computation.
    assert end_gauge.value == pytest.approx(50_000_838.0, abs=1e-6)
    assert round(end_gauge.uncertainty) == 32
    assert end_gauge.uncertainty == pytest.approx(31.663879111, rel=1e-8)


def test_the_end_gauge_has_the_contributions_of_table_h1(end_gauge: Combined) -> None:
    # JCGM 100:2008, Table H.1; what the last line holds is printed as 2.9.
    printed = {
        "standard": (25.0, 1e-3),
        "temperature difference": (16.599, 5e-4),
        "comparator, systematic": (6.7, 1e-9),
        "mean difference": (5.8, 1e-9),
        "comparator, random": (3.9, 1e-9),
        "expansion difference": (2.88679, 5e-5),
        "expansion": (0.0, 1e-12),
        "bed temperature": (0.0, 1e-12),
        "bed cycle": (0.0, 1e-12),
    }
    assert [line.name for line in end_gauge.budget][:6] == list(printed)[:6]
    for line in end_gauge.budget:
        contribution, tolerance = printed[line.name]
        assert line.contribution == pytest.approx(contribution, abs=tolerance), line.name


def test_the_end_gauge_has_the_expanded_uncertainty_of_the_guide(end_gauge: Combined) -> None:
    # JCGM 100:2008, H.1.6: effective degrees of freedom 16 (cut down), t = 2.92, U99 = 2.92 x 32 = 93 nm
    # (from memory). Full digits by an independent computation: 16.751855738 and 2.9207816224.
    assert end_gauge.dof == pytest.approx(16.751855738, rel=1e-8)
    factor = coverage_factor(coverage=0.99, dof=math.floor(end_gauge.dof))
    assert factor == pytest.approx(2.9207816224, rel=1e-9)
    assert round(round(factor, 2) * round(end_gauge.uncertainty)) == 93
    # Degrees of freedom that are not cut down give a factor between those for 16 and 17, 2.92 and 2.90.
    assert 2.895 < end_gauge.expanded(0.99) / end_gauge.uncertainty < 2.925


# JCGM 100:2008, Table H.2: volt, ampere, radian, read five times together; from memory.
VOLTAGE = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT = (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)
PHASE = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)
READ = {"V": from_repeats(VOLTAGE), "I": from_repeats(CURRENT), "phi": from_repeats(PHASE)}
MATRIX = correlation_of_means([VOLTAGE, CURRENT, PHASE])
TIED = {(a, b): MATRIX[i][j] for i, a in enumerate(READ) for j, b in enumerate(READ)}
IMPEDANCE: dict[str, Callable[[Mapping[str, Any]], Any]] = {
    "R": lambda x: x["V"] / x["I"] * umath.cos(x["phi"]),
    "X": lambda x: x["V"] / x["I"] * umath.sin(x["phi"]),
    "Z": lambda x: x["V"] / x["I"],
}


@pytest.mark.parametrize(
    ("name", "mean", "uncertainty", "mean_digits", "digits"),
    [("V", 4.9990, 0.0032, 4, 4), ("I", 19.6610e-3, 0.0095e-3, 7, 7), ("phi", 1.04446, 0.00075, 5, 5)],
)
def test_simultaneous_means_are_those_of_table_h2(
    name: str, mean: float, uncertainty: float, mean_digits: int, digits: int
) -> None:
    # JCGM 100:2008, Table H.2.
    assert round(READ[name].value, mean_digits) == mean
    assert round(READ[name].uncertainty, digits) == pytest.approx(uncertainty, rel=1e-9)


@pytest.mark.parametrize(
    ("pair", "correlation"), [(("V", "I"), -0.36), (("V", "phi"), 0.86), (("I", "phi"), -0.65)]
)
def test_simultaneous_means_are_correlated_as_in_table_h2(pair: tuple[str, str], correlation: float) -> None:
    # JCGM 100:2008, Table H.2.
    found = TIED[pair] / math.sqrt(TIED[pair[0], pair[0]] * TIED[pair[1], pair[1]])
    assert found == pytest.approx(correlation, abs=0.005)


@pytest.mark.parametrize(
    ("name", "value", "uncertainty", "full_value", "full_uncertainty"),
    [
        ("R", 127.732, 0.071, 127.732169928, 0.07107141),
        ("X", 219.847, 0.295, 219.846511913, 0.29558168),
        ("Z", 254.260, 0.236, 254.259701948, 0.23633613),
    ],
)
def test_impedance_is_that_of_table_h3(
    name: str, value: float, uncertainty: float, full_value: float, full_uncertainty: float
) -> None:
    # JCGM 100:2008, Table H.3; full digits from an independent computation. The guide prints 0.295 for what
    # computes to 0.2956, hence a little more than half a unit of its last place.
    result = combine(IMPEDANCE[name], READ, covariance=TIED)
    assert result.value == pytest.approx(value, abs=6e-4)
    assert result.uncertainty == pytest.approx(uncertainty, abs=6e-4)
    assert result.value == pytest.approx(full_value, rel=1e-11)
    assert result.uncertainty == pytest.approx(full_uncertainty, rel=1e-7)


@pytest.mark.parametrize(
    ("first", "second", "correlation"), [("R", "X", -0.588), ("R", "Z", -0.485), ("X", "Z", 0.993)]
)
def test_results_are_correlated_as_in_table_h3(first: str, second: str, correlation: float) -> None:
    # JCGM 100:2008, Table H.3. The covariance is had from the variance of a sum, equation 16 turned round.
    def variance(model: Callable[[Mapping[str, Any]], Any]) -> float:
        return combine(model, READ, covariance=TIED).uncertainty ** 2

    one, other = variance(IMPEDANCE[first]), variance(IMPEDANCE[second])
    both = variance(lambda x: IMPEDANCE[first](x) + IMPEDANCE[second](x))
    assert (both - one - other) / 2 / math.sqrt(one * other) == pytest.approx(correlation, abs=6e-4)


@pytest.mark.parametrize("name", IMPEDANCE)
def test_correlated_propagation_agrees_with_the_results_computed_set_by_set(name: str) -> None:
    # JCGM 100:2008, H.2.4 and Table H.4, the second approach: compute each set's result, then treat those as
    # repeats, which have four degrees of freedom. The two agree in the three places that the guide prints.
    singles = [
        float(IMPEDANCE[name]({"V": v, "I": i, "phi": phi}))
        for v, i, phi in zip(VOLTAGE, CURRENT, PHASE, strict=True)
    ]
    direct = from_repeats(singles)
    result = combine(IMPEDANCE[name], READ, covariance=TIED)
    assert result.value == pytest.approx(direct.value, abs=1e-3)
    assert result.uncertainty == pytest.approx(direct.uncertainty, abs=1e-3)
    assert result.dof == pytest.approx(direct.dof, rel=1e-9)


def test_a_calibration_line_predicts_with_the_uncertainty_of_h3() -> None:
    # JCGM 100:2008, H.3.4: intercept and slope with r = -0.930, correction at 30 degrees; from memory. The
    # tolerance is what the rounding of the printed inputs allows.
    line = {
        "intercept": Quantity(value=-0.1712, uncertainty=0.0029),
        "slope": Quantity(value=0.00218, uncertainty=0.00067),
    }
    tied = {("intercept", "slope"): -0.930 * 0.0029 * 0.00067}
    result = combine(lambda x: x["intercept"] + x["slope"] * (30.0 - 20.0), line, covariance=tied)
    assert result.value == pytest.approx(-0.1494, abs=5e-5)
    assert result.uncertainty == pytest.approx(0.0041, abs=1e-4)


def test_twenty_temperatures_have_the_mean_and_uncertainty_of_the_guide() -> None:
    # JCGM 100:2008, 4.4.3 and Table 1: mean 100.145, s = 1.489, s of the mean 0.333 degrees Celsius.
    low = (96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07)
    high = (100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72)
    quantity = from_repeats(low + high)
    assert quantity.value == pytest.approx(100.145, abs=5e-4)
    assert quantity.uncertainty * math.sqrt(20) == pytest.approx(1.489, abs=5e-4)
    assert quantity.uncertainty == pytest.approx(0.333, abs=5e-4)
    assert quantity.dof == 19


def rectangular(uncertainty: float) -> Quantity:
    return from_half_width(0.0, half_width=uncertainty * math.sqrt(3.0), distribution=Distribution.UNIFORM)


@pytest.mark.parametrize(
    ("spreads", "uncertainty", "half_width", "tolerance"),
    [((1.0, 1.0, 1.0, 1.0), 2.0, 3.92, 0.005), ((1.0, 1.0, 1.0, 10.0), 10.1, 19.9, 0.05)],
)
def test_rectangular_inputs_add_as_in_the_supplement(
    spreads: tuple[float, ...], uncertainty: float, half_width: float, tolerance: float
) -> None:
    # JCGM 101:2008, 9.2.3 (Table 3) and 9.2.4, first-order propagation; from memory.
    inputs = {f"X{i}": rectangular(u) for i, u in enumerate(spreads, start=1)}
    result = combine(lambda x: sum(x.values()), inputs)
    assert result.uncertainty == pytest.approx(uncertainty, abs=tolerance)
    assert result.expanded(0.95) == pytest.approx(half_width, abs=tolerance)


def test_mass_calibration_is_that_of_the_supplement() -> None:
    # JCGM 101:2008, 9.3 (Table 5), first-order propagation; from memory. Milligrams and kg/m3.
    inputs = {
        "reference": Quantity(value=100_000.0, uncertainty=0.050),
        "added": Quantity(value=1.234, uncertainty=0.020),
        "air": from_half_width(1.2, half_width=0.1, distribution=Distribution.UNIFORM),
        "weight": from_half_width(8000.0, half_width=1000.0, distribution=Distribution.UNIFORM),
        "standard": from_half_width(8000.0, half_width=50.0, distribution=Distribution.UNIFORM),
    }

    def deviation(x: Mapping[str, Any]) -> Any:
        buoyancy = (x["air"] - 1.2) * (1 / x["weight"] - 1 / x["standard"])
        return (x["reference"] + x["added"]) * (1 + buoyancy) - 100_000.0

    result = combine(deviation, inputs)
    assert result.value == pytest.approx(1.2340, abs=5e-5)
    assert result.uncertainty == pytest.approx(0.0539, abs=5e-5)
    assert result.value - result.expanded(0.95) == pytest.approx(1.1285, abs=5e-5)
    assert result.value + result.expanded(0.95) == pytest.approx(1.3395, abs=5e-5)


def about(level: float) -> list[float]:
    """Return a NIST accuracy data set: the level and two tenths, then a thousand values a tenth off it."""
    pairs = itertools.chain.from_iterable([(f"{level:.0f}.1", f"{level:.0f}.3")] * 500)
    return [float(text) for text in (f"{level:.0f}.2", *pairs)]


@pytest.mark.parametrize(
    ("values", "mean", "deviation"),
    [
        pytest.param([10000001.0, 10000003.0, 10000002.0], 10000002.0, 1.0, id="NumAcc1"),
        pytest.param(about(1), 1.2, 0.1, id="NumAcc2"),
        pytest.param(about(1_000_000), 1000000.2, 0.1, id="NumAcc3"),
        pytest.param(about(10_000_000), 10000000.2, 0.1, id="NumAcc4"),
    ],
)
def test_mean_and_deviation_reach_the_certified_values(
    values: list[float], mean: float, deviation: float
) -> None:
    # NIST StRD, univariate summary statistics; the certified deviations are from memory. 1e-8 is what the
    # rounding of the data themselves to binary leaves of the deviation in NumAcc4.
    quantity = from_repeats(values)
    count = len(values)
    assert quantity.value == pytest.approx(mean, rel=1e-15)
    assert quantity.uncertainty * math.sqrt(count) == pytest.approx(deviation, rel=1e-8)
    ((variance,),) = correlation_of_means([values])
    assert math.sqrt(variance * count) == pytest.approx(deviation, rel=1e-8)


@pytest.mark.parametrize(
    ("distribution", "standard_deviation"),
    [
        # Standard deviations of the unit half-width, by scipy.stats.
        (Distribution.UNIFORM, stats.uniform(loc=-1.0, scale=2.0).std()),
        (Distribution.TRIANGULAR, stats.triang(c=0.5, loc=-1.0, scale=2.0).std()),
        (Distribution.ARCSINE, stats.arcsine(loc=-1.0, scale=2.0).std()),
        (Distribution.NORMAL_95, 1.0 / stats.norm.ppf(0.975)),
    ],
)
def test_a_half_width_becomes_the_distributions_standard_deviation(
    distribution: Distribution, standard_deviation: float
) -> None:
    quantity = from_half_width(3.0, half_width=0.25, distribution=distribution)
    assert quantity.uncertainty == pytest.approx(0.25 * standard_deviation, rel=1e-12)
    assert quantity.value == 3.0


# NIST Technical Note 1297 (1994), Table B.1, the same as JCGM 100:2008, Table G.2.
STUDENT = {
    1: (1.84, 6.31, 12.71, 13.97, 63.66, 235.80),
    2: (1.32, 2.92, 4.30, 4.53, 9.92, 19.21),
    3: (1.20, 2.35, 3.18, 3.31, 5.84, 9.22),
    4: (1.14, 2.13, 2.78, 2.87, 4.60, 6.62),
    5: (1.11, 2.02, 2.57, 2.65, 4.03, 5.51),
    10: (1.05, 1.81, 2.23, 2.28, 3.17, 3.96),
    16: (1.03, 1.75, 2.12, 2.17, 2.92, 3.54),
    50: (1.01, 1.68, 2.01, 2.05, 2.68, 3.16),
    math.inf: (1.000, 1.645, 1.960, 2.000, 2.576, 3.000),
}


@pytest.mark.parametrize("dof", STUDENT)
def test_coverage_factors_are_those_of_the_printed_table(dof: float) -> None:
    # The table's probabilities 68.27, 95.45 and 99.73 stand for one, two and three standard deviations.
    sigmas = [math.erf(k / math.sqrt(2.0)) for k in (1, 2, 3)]
    columns = (sigmas[0], 0.90, 0.95, sigmas[1], 0.99, sigmas[2])
    half_a_place = 5.1e-4 if math.isinf(dof) else 5.1e-3
    for coverage, printed in zip(columns, STUDENT[dof], strict=True):
        assert coverage_factor(coverage=coverage, dof=dof) == pytest.approx(printed, abs=half_a_place)


def covered(*, instrument: float, sets: int, count: int) -> float:
    """Return how often the 95 % interval of simulated readings holds the true value, which is 0."""
    random = np.random.default_rng(20_240_607)
    scatter = random.normal(0.0, 1.0, (sets, count))
    common = random.normal(0.0, 1.0, (sets, 1)) * instrument
    quantities = [from_repeats(row.tolist(), instrument=instrument) for row in scatter + common]
    return sum(abs(quantity.value) <= quantity.expanded(0.95) for quantity in quantities) / sets


@pytest.mark.parametrize("instrument", [0.0, 0.5])
def test_the_95_percent_interval_holds_the_true_value_in_95_of_100(instrument: float) -> None:
    # Student (1908): exact for normal readings; with an instrument, Welch and Satterthwaite come close. The
    # band is 4.3 standard deviations of 4,000 sets wide; a factor of 1.96 would give 87.8 %.
    assert 0.935 <= covered(instrument=instrument, sets=4000, count=5) <= 0.965
