"""Quantities, their checks, and what a budget says."""

from __future__ import annotations

import dataclasses
import math
import subprocess
import sys
from collections.abc import Callable, Mapping
from typing import Any

import pytest
from uncertainties import umath

from rollwright.errors import InputError, MissingReference, OutOfRange
from rollwright.quantity import (
    Combined,
    Distribution,
    Quantity,
    Source,
    budget_from_sensitivities,
    combine,
    correlation_of_means,
    coverage_factor,
    from_half_width,
    from_repeats,
    shared_setup,
)


def test_a_bare_value_is_exact_and_nominal() -> None:
    quantity = Quantity(value=0.004)
    assert quantity.uncertainty == 0.0
    assert quantity.dof == math.inf
    assert quantity.source is Source.NOMINAL
    assert quantity.repeats == ()
    assert quantity.expanded() == 0.0


def test_sources_are_the_words_of_the_car_file() -> None:
    assert [source.value for source in Source] == ["measured", "nominal", "assumed"]


def test_a_quantity_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        Quantity(value=1.0).value = 2.0  # type: ignore[misc]  # that it cannot be set is what is tested


def test_a_quantity_takes_no_positional_arguments() -> None:
    with pytest.raises(TypeError):
        Quantity(1.0, 0.1)  # type: ignore[call-arg]  # that it cannot be called so is what is tested


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Quantity(value=math.nan), "value of nan"),
        (lambda: Quantity(value=math.inf), "value of inf"),
        (lambda: Quantity(value=1.0, uncertainty=-0.1), "standard uncertainty of -0.1"),
        (lambda: Quantity(value=1.0, uncertainty=math.nan), "standard uncertainty of nan"),
        (lambda: Quantity(value=1.0, uncertainty=math.inf), "standard uncertainty of inf"),
        (lambda: Quantity(value=1.0, dof=0.5), "0.5 degrees of freedom"),
        (lambda: Quantity(value=1.0, dof=math.nan), "nan degrees of freedom"),
        (lambda: Quantity(value=1.0, repeats=(1.0, math.nan)), "reading of nan"),
        (lambda: Quantity(value=1.0).expanded(95.0), "coverage of 95"),
        (lambda: Quantity(value=1.0).expanded(0.0), "coverage of 0.0"),
        (lambda: Quantity(value=1.0).expanded(1.0), "coverage of 1.0"),
        (lambda: Quantity(value=1.0).expanded(math.nextafter(1.0, 0.0)), "coverage of 0.99"),
        (lambda: Quantity(value=1.0).expanded(math.nan), "coverage of nan"),
        (lambda: coverage_factor(coverage=0.95, dof=0.0), "0 degrees of freedom"),
        (lambda: from_repeats([]), "no reading"),
        (lambda: from_repeats([1.0, math.inf]), "reading of inf"),
        (lambda: from_repeats([1.0]), "single reading"),
        (lambda: from_repeats([1.0, 1.0, 1.0]), "3 readings that are all the same"),
        (lambda: from_repeats([1.0, 2.0], instrument=-1.0), "instrument's standard uncertainty of -1"),
        (lambda: shared_setup([], common=-1.0), "common standard uncertainty of -1"),
        (lambda: correlation_of_means([[1.0, 2.0], [1.0, 2.0, 3.0]]), "from 2 to 3 readings"),
        (lambda: correlation_of_means([[1.0]]), "fewer than two readings"),
        (lambda: correlation_of_means([[1.0, math.nan]]), "reading of nan"),
        (
            lambda: from_half_width(0.0, half_width=-1.0, distribution=Distribution.UNIFORM),
            "half-width of -1",
        ),
    ],
)
def test_impossible_numbers_are_refused_in_one_line_with_a_mend(
    make: Callable[[], object], says: str
) -> None:
    with pytest.raises(OutOfRange) as caught:
        make()
    assert says in str(caught.value)
    assert caught.value.mend
    assert "\n" not in str(caught.value)


def test_a_refusal_names_the_quantity() -> None:
    with pytest.raises(OutOfRange, match=r"^body\.width: "):
        Quantity(value=math.nan, label="body.width")
    with pytest.raises(OutOfRange, match=r"^drift: .*state the instrument's uncertainty"):
        from_repeats([0.09], label="drift")


def test_one_reading_has_the_instruments_uncertainty() -> None:
    quantity = from_repeats([0.09], instrument=0.002, label="drift")
    assert quantity == Quantity(
        value=0.09,
        uncertainty=0.002,
        dof=math.inf,
        source=Source.MEASURED,
        label="drift",
        repeats=(0.09,),
    )


def test_equal_readings_have_the_instruments_uncertainty() -> None:
    quantity = from_repeats([0.09, 0.09, 0.09], instrument=0.002)
    assert quantity.uncertainty == 0.002
    assert quantity.dof == math.inf


def test_scatter_and_instrument_are_combined_in_quadrature() -> None:
    # Readings 0 and 6: s = sqrt(18), s/sqrt(2) = 3; with 4 that is 5, and (5/3)^4 degrees of freedom.
    quantity = from_repeats([0.0, 6.0], instrument=4.0)
    assert quantity.value == 3.0
    assert quantity.uncertainty == pytest.approx(5.0, rel=1e-15)
    assert quantity.dof == pytest.approx(625.0 / 81.0, rel=1e-14)
    assert quantity.source is Source.MEASURED
    assert quantity.repeats == (0.0, 6.0)


def test_whole_numbers_are_taken_as_readings() -> None:
    quantity = from_repeats([1, 2])
    assert quantity.value == 1.5
    assert all(isinstance(repeat, float) for repeat in quantity.repeats)


def test_a_scatter_far_below_the_instrument_leaves_infinitely_many_degrees_of_freedom() -> None:
    assert from_repeats([1e-200, 3e-200], instrument=1.0).dof == math.inf


def test_fractional_degrees_of_freedom_lie_between_their_neighbours() -> None:
    low, middle, high = (coverage_factor(coverage=0.95, dof=dof) for dof in (3.0, 2.5, 2.0))
    assert low < middle < high


def test_a_half_width_of_nothing_is_exact() -> None:
    quantity = from_half_width(2.0, half_width=0.0, distribution=Distribution.TRIANGULAR)
    assert quantity.uncertainty == 0.0
    assert quantity.source is Source.NOMINAL


def test_a_half_width_keeps_what_is_said_of_it() -> None:
    quantity = from_half_width(
        2.0,
        half_width=0.3,
        distribution=Distribution.UNIFORM,
        dof=8,
        source=Source.ASSUMED,
        label="bore",
    )
    assert (quantity.dof, quantity.source, quantity.label) == (8, Source.ASSUMED, "bore")


def test_readings_of_one_set_up_share_its_variance() -> None:
    quantities = [Quantity(value=1.0, uncertainty=3.0), Quantity(value=2.0, uncertainty=1.0)]
    assert shared_setup(quantities, common=2.0) == ((13.0, 4.0), (4.0, 5.0))


def test_means_that_move_together_are_fully_correlated() -> None:
    # The second column is minus twice the first: 1, 2, 3 has a variance of its mean of 1/3.
    rows = correlation_of_means([[1.0, 2.0, 3.0], [-2.0, -4.0, -6.0]])
    assert rows[0] == pytest.approx((1 / 3, -2 / 3))
    assert rows[1] == pytest.approx((-2 / 3, 4 / 3))
    assert correlation_of_means([]) == ()


PAIR = {"a": Quantity(value=2.0, uncertainty=0.3), "b": Quantity(value=5.0, uncertainty=0.4)}


def test_a_budget_lists_the_largest_first() -> None:
    # c = (5, 2): contributions 1.5 and 0.8, variance 2.89, so 1.7 altogether.
    result = combine(lambda x: x["b"] * x["a"], dict(reversed(PAIR.items())))
    assert result.value == 10.0
    assert result.uncertainty == pytest.approx(1.7, rel=1e-14)
    assert [line.name for line in result.budget] == ["a", "b"]
    first, second = result.budget
    assert (first.sensitivity, second.sensitivity) == (5.0, 2.0)
    assert (first.contribution, second.contribution) == pytest.approx((1.5, 0.8))
    assert (first.share, second.share) == pytest.approx((2.25 / 2.89, 0.64 / 2.89))


def test_a_contribution_is_a_size_and_a_sensitivity_has_a_sign() -> None:
    line = combine(lambda x: -3.0 * x["a"], {"a": PAIR["a"]}).budget[0]
    assert line.sensitivity == -3.0
    assert line.contribution == pytest.approx(0.9)


def test_an_exact_input_shows_its_sensitivity_and_no_contribution() -> None:
    inputs = {"a": PAIR["a"], "exact": Quantity(value=7.0)}
    result = combine(lambda x: x["a"] * x["exact"], inputs)
    assert result.budget[-1].name == "exact"
    assert result.budget[-1].sensitivity == 2.0
    assert result.budget[-1].share == 0.0


def test_an_input_that_is_used_twice_cancels() -> None:
    result = combine(lambda x: x["a"] - x["a"], PAIR)
    assert result.uncertainty == 0.0
    assert [line.share for line in result.budget] == [0.0, 0.0]


def test_functions_come_from_the_differentiating_library() -> None:
    result = combine(lambda x: umath.sin(x["a"]), {"a": PAIR["a"]})
    assert result.value == math.sin(2.0)
    assert result.uncertainty == pytest.approx(abs(math.cos(2.0)) * 0.3, rel=1e-14)


def test_a_constant_model_and_a_model_without_inputs_are_exact() -> None:
    assert combine(lambda _: 4.0, PAIR).uncertainty == 0.0
    nothing = combine(lambda _: 4.0, {})
    assert nothing == Combined(value=4.0, uncertainty=0.0, dof=math.inf, budget=())
    assert nothing.expanded() == 0.0


def test_covariance_adds_cross_terms_and_splits_them_evenly() -> None:
    # 0.09 + 0.16 + 2 x 0.06 = 0.37; each input answers for its own variance and 0.06.
    result = combine(lambda x: x["a"] + x["b"], PAIR, covariance={("b", "a"): 0.06})
    assert result.uncertainty == pytest.approx(math.sqrt(0.37), rel=1e-14)
    shares = {line.name: line.share for line in result.budget}
    assert shares == {"a": pytest.approx(0.15 / 0.37), "b": pytest.approx(0.22 / 0.37)}


def test_a_share_is_negative_where_an_input_takes_away_more_than_it_adds() -> None:
    # a - b with r = 1: 0.1 is left; a has 0.09 - 0.12, b 0.16 - 0.12 of the 0.01.
    result = combine(lambda x: x["a"] - x["b"], PAIR, covariance={("a", "b"): 0.12})
    assert result.uncertainty == pytest.approx(0.1, rel=1e-9)
    assert [line.name for line in result.budget] == ["b", "a"]
    assert [line.share for line in result.budget] == pytest.approx([4.0, -3.0])


def test_equal_readings_of_one_error_cancel_entirely() -> None:
    inputs = {"a": PAIR["a"], "b": PAIR["a"]}
    result = combine(lambda x: x["a"] - x["b"], inputs, covariance={("a", "b"): 0.09})
    assert result.uncertainty == 0.0


def test_what_rounding_leaves_of_a_cancelled_error_is_nothing() -> None:
    # One error moves all three, and 0.1 + 0.2 - 0.3 is not quite 0 in binary.
    inputs = {name: Quantity(value=1.0, uncertainty=u) for name, u in (("a", 0.1), ("b", 0.2), ("c", 0.3))}
    tied = {("a", "b"): 0.1 * 0.2, ("a", "c"): 0.1 * 0.3, ("b", "c"): 0.2 * 0.3}
    result = combine(lambda x: x["a"] + x["b"] - x["c"], inputs, covariance=tied)
    assert result.uncertainty == 0.0
    assert [line.share for line in result.budget] == [0.0, 0.0, 0.0]


def test_a_variance_in_the_covariance_replaces_the_inputs_own() -> None:
    result = combine(lambda x: x["a"], PAIR, covariance={("a", "a"): 4.0})
    assert result.uncertainty == 2.0
    assert result.budget[0].uncertainty == 2.0


@pytest.mark.parametrize(
    ("covariance", "dof"),
    [
        # Independent and equal, 4 and 12 degrees of freedom: 1/(1/4/4 + 1/4/12) = 12.
        ({}, 12.0),
        # Tied, they are one term with the fewer.
        ({("a", "b"): 0.01}, 4.0),
    ],
)
def test_degrees_of_freedom_of_tied_inputs_are_the_fewest(
    covariance: Mapping[tuple[str, str], float], dof: float
) -> None:
    inputs = {
        "a": Quantity(value=1.0, uncertainty=0.2, dof=4),
        "b": Quantity(value=1.0, uncertainty=0.2, dof=12),
    }
    found = combine(lambda x: x["a"] + x["b"], inputs, covariance=covariance).dof
    assert found == pytest.approx(dof, rel=1e-12)


def test_inputs_tied_through_a_third_are_one_term() -> None:
    inputs = {
        name: Quantity(value=1.0, uncertainty=1.0, dof=dof)
        for name, dof in zip("abcd", (9, 9, 9, 9), strict=True)
    }
    result = combine(lambda x: sum(x.values()), inputs, covariance={("a", "b"): 0.5, ("c", "b"): 0.5})
    # The tied three hold 3 + 2 x (0.5 + 0.5) = 5 of the variance of 6: 9 / ((5/6)^2 + (1/6)^2).
    assert result.dof == pytest.approx(9 * 36 / 26, rel=1e-12)


def test_an_input_without_effect_lends_no_degrees_of_freedom() -> None:
    inputs = {"a": PAIR["a"], "idle": Quantity(value=1.0, uncertainty=0.2, dof=1)}
    assert combine(lambda x: x["a"] + 0 * x["idle"], inputs).dof == math.inf


@pytest.mark.parametrize(
    ("model", "covariance", "error", "says"),
    [
        (lambda x: x["a"], {("a", "c"): 0.1}, MissingReference, "'c', which is no input"),
        (lambda x: x["a"], {("a", "b"): 0.13}, OutOfRange, "covariance of 0.13 is more"),
        (lambda x: x["a"], {("a", "b"): math.nan}, OutOfRange, "covariance of nan"),
        (lambda x: x["a"], {("a", "exact"): 0.1}, OutOfRange, "covariance of 0.1 is more"),
        (lambda x: x["a"], {("a", "a"): -0.1}, OutOfRange, "variance of -0.1"),
        (lambda x: x["a"], {("a", "b"): 0.1, ("b", "a"): 0.05}, OutOfRange, "two orders"),
        (lambda x: x["a"], {("a", "b"): 0.0, ("b", "a"): 0.05}, OutOfRange, "two orders"),
        (
            lambda x: x["a"],
            {("a", "b"): 0.108, ("a", "wide"): 0.27, ("b", "wide"): -0.36},
            OutOfRange,
            "contradict each other",
        ),
        (lambda x: x["a"] / (x["exact"] - 7.0), {}, OutOfRange, "cannot be worked out"),
        (lambda x: umath.log(-x["a"]), {}, OutOfRange, "cannot be worked out"),
        (lambda x: umath.sqrt(x["a"] - 2.0), {}, OutOfRange, "sensitivity of nan"),
        (lambda x: x["a"] * math.inf, {}, OutOfRange, "result of inf"),
        (lambda _: math.nan, {}, OutOfRange, "result of nan"),
    ],
)
def test_impossible_covariances_and_models_are_refused(
    model: Callable[[Mapping[str, Any]], Any],
    covariance: Mapping[tuple[str, str], float],
    error: type[InputError],
    says: str,
) -> None:
    inputs = {**PAIR, "wide": Quantity(value=1.0, uncertainty=1.0), "exact": Quantity(value=7.0)}
    with pytest.raises(error) as caught:
        combine(model, inputs, covariance=covariance)
    assert says in str(caught.value)
    assert caught.value.mend


def test_a_covariance_of_nothing_leaves_inputs_independent() -> None:
    tied = {("a", "b"): 0.0, ("a", "exact"): 0.0}
    inputs = {**PAIR, "exact": Quantity(value=7.0)}
    result = combine(lambda x: x["a"] * x["b"] + x["exact"], inputs, covariance=tied)
    assert result == combine(lambda x: x["a"] * x["b"] + x["exact"], inputs)


def test_known_sensitivities_give_a_budget_largest_first() -> None:
    budget = budget_from_sensitivities(
        ["cant", "bend", "wheelbase"], sensitivities=[-3.0, 2.0, 0.0], uncertainties=[1.0, 2.0, 5.0]
    )
    assert [(line.name, line.contribution) for line in budget] == [
        ("bend", 4.0),
        ("cant", 3.0),
        ("wheelbase", 0.0),
    ]
    assert [line.share for line in budget] == pytest.approx([0.64, 0.36, 0.0])


def test_shares_of_nothing_are_nothing() -> None:
    budget = budget_from_sensitivities(["cant"], sensitivities=[0.0], uncertainties=[1.0])
    assert [line.share for line in budget] == [0.0]
    assert budget_from_sensitivities([], sensitivities=[], uncertainties=[]) == ()


@pytest.mark.parametrize("size", [1e-200, 1e200])
def test_shares_survive_sizes_whose_squares_do_not(size: float) -> None:
    budget = budget_from_sensitivities(["a", "b"], sensitivities=[3.0, 4.0], uncertainties=[size, size])
    assert [line.share for line in budget] == pytest.approx([0.64, 0.36])


@pytest.mark.parametrize(
    ("sensitivities", "uncertainties", "says"),
    [
        ([1.0], [1.0, 1.0], "2 names, 1 sensitivities and 2 uncertainties"),
        ([1.0, math.nan], [1.0, 1.0], "b: a sensitivity of nan"),
        ([1.0, 1.0], [-1.0, 1.0], "a: a standard uncertainty of -1"),
    ],
)
def test_an_impossible_budget_is_refused(
    sensitivities: list[float], uncertainties: list[float], says: str
) -> None:
    with pytest.raises(OutOfRange) as caught:
        budget_from_sensitivities(["a", "b"], sensitivities=sensitivities, uncertainties=uncertainties)
    assert says in str(caught.value)


def test_making_a_quantity_loads_no_heavy_library() -> None:
    program = (
        "import sys; from rollwright.quantity import *\n"
        "from_half_width(Quantity(value=1.0).value, half_width=0.1, distribution=Distribution.UNIFORM)\n"
        "print(*{'numpy', 'scipy', 'uncertainties', 'statistics'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert not done.stdout.split()
