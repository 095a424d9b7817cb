"""What must hold of quantities and their budgets whatever the numbers are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rollwright.quantity import (
    Quantity,
    budget_from_sensitivities,
    combine,
    correlation_of_means,
    from_repeats,
    shared_setup,
)

numbers = st.floats(min_value=-1e3, max_value=1e3, allow_subnormal=False)
spreads = st.floats(min_value=1e-6, max_value=1e3)
readings = st.lists(numbers, min_size=2, max_size=12)
dofs = st.one_of(st.just(math.inf), st.floats(min_value=1.0, max_value=100.0))


@given(values=readings, instrument=spreads, factor=st.sampled_from([-4.0, 0.5, 1024.0]))
def test_scaling_the_readings_scales_the_quantity(
    values: list[float], instrument: float, factor: float
) -> None:
    # Powers of two are exact; a tiny reading may still lose its last bits among large ones.
    plain = from_repeats(values, instrument=instrument)
    scaled = from_repeats([factor * value for value in values], instrument=abs(factor) * instrument)
    assert scaled.value == pytest.approx(factor * plain.value, rel=1e-12, abs=1e-300)
    assert scaled.uncertainty == pytest.approx(abs(factor) * plain.uncertainty, rel=1e-12)
    assert scaled.dof == pytest.approx(plain.dof, rel=1e-9)


@given(values=readings, instrument=spreads, data=st.data())
def test_the_order_of_repeats_does_not_matter(
    values: list[float], instrument: float, data: st.DataObject
) -> None:
    shuffled = data.draw(st.permutations(values))
    first = from_repeats(values, instrument=instrument)
    second = from_repeats(shuffled, instrument=instrument)
    assert (second.value, second.uncertainty, second.dof) == (first.value, first.uncertainty, first.dof)
    assert second.repeats == tuple(shuffled)


@given(values=readings, instrument=st.floats(min_value=0.0, max_value=1e3), times=st.integers(2, 5))
def test_more_repeats_of_the_same_scatter_never_give_a_bigger_uncertainty(
    values: list[float], instrument: float, times: int
) -> None:
    assume(instrument > 0.0 or max(values) - min(values) > 1e-9)
    few = from_repeats(values, instrument=instrument)
    many = from_repeats(values * times, instrument=instrument)
    assert many.uncertainty <= few.uncertainty * (1 + 1e-12)
    assert many.expanded() <= few.expanded() * (1 + 1e-9)
    assert many.uncertainty >= instrument


@given(values=st.lists(numbers, min_size=1, max_size=12), better=spreads, worse=spreads)
def test_a_weaker_instrument_never_gives_a_smaller_uncertainty(
    values: list[float], better: float, worse: float
) -> None:
    better, worse = sorted((better, worse))
    fine = from_repeats(values, instrument=better)
    coarse = from_repeats(values, instrument=worse)
    assert coarse.uncertainty >= fine.uncertainty
    assert coarse.dof >= fine.dof


@given(values=readings, instrument=spreads)
def test_degrees_of_freedom_are_never_fewer_than_the_repeats_allow(
    values: list[float], instrument: float
) -> None:
    assert from_repeats(values, instrument=instrument).dof >= len(values) - 1


inputs_lists = st.lists(st.tuples(numbers, spreads, dofs), min_size=1, max_size=6)


def named(values: list[tuple[float, float, float]]) -> dict[str, Quantity]:
    return {f"x{i}": Quantity(value=v, uncertainty=u, dof=dof) for i, (v, u, dof) in enumerate(values)}


def curved(x: Mapping[str, Any]) -> Any:
    total = 1.0
    for i, value in enumerate(x.values(), start=1):
        total = total + i * value + 0.001 * value * value
    return total


@given(values=inputs_lists)
def test_independent_shares_sum_to_one_and_go_down(values: list[tuple[float, float, float]]) -> None:
    inputs = named(values)
    result = combine(curved, inputs)
    shares = [line.share for line in result.budget]
    assert math.fsum(shares) == pytest.approx(1.0, abs=1e-12)
    assert shares == sorted(shares, reverse=True)
    assert all(share >= 0.0 for share in shares)
    assert result.dof >= min(quantity.dof for quantity in inputs.values()) * (1 - 1e-9)


@given(values=inputs_lists)
def test_known_derivatives_give_the_same_budget_as_the_differentiated_model(
    values: list[tuple[float, float, float]],
) -> None:
    inputs = named(values)
    # The derivative of `curved`, written down by hand.
    slopes = [i + 0.002 * q.value for i, q in enumerate(inputs.values(), start=1)]
    assume(min(abs(slope) for slope in slopes) > 1e-3)
    direct = budget_from_sensitivities(
        list(inputs), sensitivities=slopes, uncertainties=[q.uncertainty for q in inputs.values()]
    )
    found = {line.name: line for line in combine(curved, inputs).budget}
    for line in direct:
        assert found[line.name].sensitivity == pytest.approx(line.sensitivity, rel=1e-9)
        assert found[line.name].contribution == pytest.approx(line.contribution, rel=1e-9)
        assert found[line.name].share == pytest.approx(line.share, rel=1e-9)


@given(values=st.lists(st.tuples(numbers, spreads, dofs), min_size=2, max_size=5), common=spreads)
def test_shares_sum_to_one_in_a_shared_set_up_too(
    values: list[tuple[float, float, float]], common: float
) -> None:
    inputs = named(values)
    matrix = shared_setup(list(inputs.values()), common=common)
    tied = {(a, b): matrix[i][j] for i, a in enumerate(inputs) for j, b in enumerate(inputs)}
    result = combine(lambda x: sum(x.values()), inputs, covariance=tied)
    assert math.fsum(line.share for line in result.budget) == pytest.approx(1.0, abs=1e-9)
    # A sum of n readings that share an error holds that error n times over.
    expected = math.hypot(*(u for _, u, _ in values), len(values) * common)
    assert result.uncertainty == pytest.approx(expected, rel=1e-9)


@given(first=spreads, second=spreads, common=st.floats(min_value=0.0, max_value=1e3))
def test_a_difference_of_two_readings_is_free_of_the_error_they_share(
    first: float, second: float, common: float
) -> None:
    assume(common < 1e3 * min(first, second))
    inputs = {"a": Quantity(value=5.0, uncertainty=first), "b": Quantity(value=3.0, uncertainty=second)}
    matrix = shared_setup(list(inputs.values()), common=common)
    tied = {(a, b): matrix[i][j] for i, a in enumerate("ab") for j, b in enumerate("ab")}
    result = combine(lambda x: x["a"] - x["b"], inputs, covariance=tied)
    assert result.uncertainty == pytest.approx(math.hypot(first, second), rel=1e-6)


@settings(max_examples=50)
@given(rows=st.lists(st.tuples(numbers, numbers, numbers), min_size=2, max_size=8))
def test_means_taken_together_propagate_like_the_results_of_each_set(
    rows: list[tuple[float, float, float]],
) -> None:
    # For a straight model the two ways of JCGM 100:2008, H.2 are the same, degrees of freedom included.
    singles = [2.0 * a - 3.0 * b + 0.5 * c for a, b, c in rows]
    assume(max(singles) - min(singles) > 1e-3)
    columns = {name: [row[i] for row in rows] for i, name in enumerate("abc")}
    assume(all(max(column) - min(column) > 1e-3 for column in columns.values()))
    direct = from_repeats(singles)
    inputs = {name: from_repeats(column) for name, column in columns.items()}
    matrix = correlation_of_means(list(columns.values()))
    tied = {(a, b): matrix[i][j] for i, a in enumerate("abc") for j, b in enumerate("abc")}
    result = combine(lambda x: 2.0 * x["a"] - 3.0 * x["b"] + 0.5 * x["c"], inputs, covariance=tied)
    assert result.uncertainty == pytest.approx(direct.uncertainty, rel=1e-5)
    assert result.value == pytest.approx(direct.value, rel=1e-9, abs=1e-9)
