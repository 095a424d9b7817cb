"""Studies against closed forms, published variance shares and another library."""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

import numpy as np
import pytest
from numpy.typing import NDArray

from rollwright.setup.study import CHUNK, Plan, found_of
from rollwright.setup.study_case import Case, Outcomes, case_of, drawn, normals
from rollwright.setup.study_sobol import Indices, indices, spread_points
from rollwright.setup.study_sums import Scale, Sums, nothing, sums_of
from tests.unit.run_bench import laid_out, plain_car

Array = NDArray[np.float64]
A, B = 7.0, 0.1


def _ishigami(x: Array) -> Array:
    """T. Ishigami, T. Homma, Proc. 1st Int. Symp. on Uncertainty Modeling and Analysis (1990) 398."""
    return np.asarray(np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0]))


def _samples(function: Callable[[Array], Array], power: int, seed: int) -> tuple[Array, Array, Array]:
    a, b = (2.0 * math.pi * half - math.pi for half in spread_points(3, power, seed=seed))
    mixed = []
    for column in range(3):
        x = a.copy()
        x[:, column] = b[:, column]
        mixed.append(function(x))
    return function(a), function(b), np.stack(mixed)


def _closed() -> tuple[float, Array, Array]:
    """The integrals of the function's parts, as in A. Saltelli et al., Global Sensitivity Analysis (2008)."""
    v1 = 0.5 * (1.0 + B * math.pi**4 / 5.0) ** 2
    v2 = A**2 / 8.0
    v13 = 8.0 * B**2 * math.pi**8 / 225.0
    variance = v1 + v2 + v13
    return variance, np.array([v1, v2, 0.0]) / variance, np.array([v1 + v13, v2, v13]) / variance


def _ishigami_shares(power: int, seed: int = 1) -> Indices:
    return indices(*_samples(_ishigami, power, seed), seed=seed)


def test_the_closed_form_is_the_printed_one() -> None:
    """First shares 0.3139, 0.4424, 0; totals 0.5576, 0.4424, 0.2437 (Saltelli et al.; from memory)."""
    variance, first, total = _closed()
    assert variance == pytest.approx(13.8446, abs=1e-3)
    assert first == pytest.approx([0.3139, 0.4424, 0.0], abs=1e-4)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=1e-4)


def test_shares_of_ishigamis_function_come_out() -> None:
    variance, first, total = _closed()
    found = _ishigami_shares(14)
    assert found.variance == pytest.approx(variance, rel=0.01)
    assert found.first == pytest.approx(first, abs=0.005)
    assert found.total == pytest.approx(total, abs=0.005)


def test_standard_errors_of_the_shares_cover_the_closed_form() -> None:
    _, first, total = _closed()
    off = []
    for seed in range(12):
        found = _ishigami_shares(9, seed)
        off.append(
            np.concatenate(
                ((found.first - first) / found.first_error, (found.total - total) / found.total_error)
            )
        )
    # Evenly spread samples do better than the errors say; they must not do worse.
    assert np.sqrt(np.mean(np.square(off))) < 1.2
    assert np.max(np.abs(off)) < 4.0


def test_shares_are_those_of_another_library() -> None:
    """SALib's analysis of the same outcomes; it centres on all of them, ours on those of A and B."""
    library = pytest.importorskip("SALib.analyze.sobol")
    a, b, mixed = _samples(_ishigami, 12, 3)
    in_order = np.column_stack((a, mixed.T, b)).ravel()
    problem = {"num_vars": 3, "names": ["x", "y", "z"], "bounds": [[-math.pi, math.pi]] * 3}
    other = library.analyze(problem, in_order, calc_second_order=False, seed=1)
    ours = indices(a, b, mixed, seed=1)
    assert ours.total == pytest.approx(other["ST"], rel=1e-10)
    assert ours.first == pytest.approx(other["S1"], abs=2e-3)
    # Its bounds are at 95 %.
    assert ours.total_error == pytest.approx(other["ST_conf"] / 1.96, rel=0.5)
    assert ours.first_error == pytest.approx(other["S1_conf"] / 1.96, rel=0.5)


def test_shares_of_a_sum_are_its_parts() -> None:
    slopes = np.array([1.0, 2.0, 3.0])
    found = indices(*_samples(lambda x: x @ slopes, 12, 5), seed=1)
    # Three inputs alike in width: variances as the slopes squared, and no more in all than alone.
    assert found.first == pytest.approx(slopes**2 / 14.0, abs=2e-3)
    assert found.total == pytest.approx(slopes**2 / 14.0, abs=2e-3)
    assert found.variance == pytest.approx(14.0 * math.pi**2 / 3.0, rel=5e-3)


def _linear_study(chunks: int) -> tuple[Sums, Plan, float, float]:
    """A study whose times are a line in normal numbers: 2.5 s, 3 ms for one of them and 4 ms for another."""
    case = _case()
    scale = Scale(centre=(2.5, 0.0, 0.0, 0.0), low=2.45, high=2.55)
    sums = nothing(scale)
    for chunk in range(chunks):
        z = normals(case, 9, 0, chunk, rows=CHUNK)
        time = 2.5 + 3e-3 * z[:, 0] + 4e-3 * z[:, 1]
        readings = np.stack((1e-4 * z[:, 0], 1e-2 * z[:, 1], 1e-4 * z[:, 2]))
        stands = np.ones(CHUNK, dtype=np.bool_)
        sums += sums_of(case, Outcomes(time=time, stands=stands, readings=readings, full=0), scale=scale)
    plan = Plan(runs=chunks * CHUNK, seed=9, surface=None, scale=scale)
    return sums, plan, 2.5, 5e-3


def _case() -> Case:
    return case_of(plain_car(), laid_out())


def test_a_line_in_normal_numbers_has_the_sum_of_squares_for_its_variance() -> None:
    sums, plan, mean, deviation = _linear_study(6)
    found = found_of(sums, plan)
    assert found.mean_error == pytest.approx(deviation / math.sqrt(plan.runs), rel=0.01)
    # The standard deviation of a normal sample has the error s / sqrt(2 n).
    assert found.deviation_error == pytest.approx(deviation / math.sqrt(2 * plan.runs), rel=0.03)
    assert found.mean == pytest.approx(mean, abs=4.0 * found.mean_error)
    assert found.deviation == pytest.approx(deviation, abs=4.0 * found.deviation_error)


def test_quantiles_are_those_of_the_normal_distribution() -> None:
    sums, plan, mean, deviation = _linear_study(6)
    normal = NormalDist(mean, deviation)
    for rank in found_of(sums, plan).ranks:
        density = normal.pdf(normal.inv_cdf(rank.share))
        asymptotic = math.sqrt(rank.share * (1.0 - rank.share) / plan.runs) / density
        assert rank.error == pytest.approx(asymptotic, rel=0.25)
        assert rank.time == pytest.approx(normal.inv_cdf(rank.share), abs=4.0 * asymptotic)


def test_correlations_and_gates_are_those_of_the_line() -> None:
    sums, plan, _, _ = _linear_study(6)
    found = found_of(sums, plan)
    case = _case()
    error = 4.0 / math.sqrt(plan.runs)
    expected = (3.0 / 5.0, 4.0 / 5.0, 0.0)
    spreads = (1e-4, 1e-2, 1e-4)
    for number, gate in enumerate(found.gates):
        assert gate.correlation == pytest.approx(expected[number], abs=error)
        assert gate.deviation == pytest.approx(spreads[number], rel=error)
        target, tolerance = float(case.targets[number, 0]), float(case.tolerances[number, 0])
        normal = NormalDist(0.0, spreads[number])
        share = normal.cdf(target + tolerance) - normal.cdf(target - tolerance)
        assert gate.inside == pytest.approx(share, abs=max(4.0 * gate.error, 1e-9))


def test_what_cannot_be_negative_follows_the_rest_of_the_normal_distribution() -> None:
    """Mean of a normal distribution cut at zero: m + s phi(m/s) / Phi(m/s) (Johnson, Kotz, Balakrishnan)."""
    case = _case()
    place = case.names.index("losses.creep_stiffness")
    index = int(case.free[place])
    value, deviation = float(case.inputs.values[index]), float(case.inputs.deviations[index])
    column = drawn(case, normals(case, 4, 0, rows=100_000))[:, index]
    standard = NormalDist()
    ratio = standard.pdf(value / deviation) / standard.cdf(value / deviation)
    mean = value + deviation * ratio
    spread = deviation * math.sqrt(1.0 - value / deviation * ratio - ratio**2)
    assert column.min() >= 0.0
    assert column.mean() == pytest.approx(mean, abs=4.0 * spread / math.sqrt(len(column)))
    assert column.std() == pytest.approx(spread, rel=0.015)
    # Its median too, which a pile of zeros would miss.
    middle = value + deviation * standard.inv_cdf(1.0 - 0.5 * standard.cdf(value / deviation))
    assert np.median(column) == pytest.approx(middle, rel=0.02)
    assert case.moved_by_cutting["losses.creep_stiffness"] == pytest.approx(mean, rel=1e-9)
