"""The search for the most likely car: shared errors whitened, repeats predicted once, steps taken whole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from rollwright.setup import mode as searched
from rollwright.setup.estimate import Position, estimate, position_of, prior_of, seats_at
from rollwright.setup.fit import Whitening
from rollwright.setup.mode import mode_of
from rollwright.setup.predict import ReadingModel
from rollwright.setup.readings import Reading, ReadingKind

from .cars import MM, lark, reading, three_readings

HEIGHT, DRIFT, RAIL = ReadingKind.HEIGHT_DIFFERENCE, ReadingKind.DRIFT, ReadingKind.RAIL_OFFSET

sizes = st.lists(st.floats(0.01, 100.0), min_size=1, max_size=7)


def covariance_of(
    own: NDArray[np.float64], common: Sequence[tuple[NDArray[np.intp], NDArray[np.float64]]]
) -> NDArray[np.float64]:
    whole = np.diag(own**2)
    for rows, shared in common:
        whole[np.ix_(rows, rows)] += np.outer(shared, shared)
    return whole


@st.composite
def errors(draw: st.DrawFn) -> tuple[NDArray[np.float64], list[tuple[NDArray[np.intp], NDArray[np.float64]]]]:
    own = np.array(draw(sizes))
    set_ups = np.array(draw(st.lists(st.integers(0, 2), min_size=len(own), max_size=len(own))))
    # The last of the three stands for readings that share nothing.
    members = [rows for rows in (np.flatnonzero(set_ups == name) for name in range(2)) if len(rows)]
    shared = draw(st.lists(st.floats(0.01, 100.0), min_size=len(own), max_size=len(own)))
    return own, [(rows, np.array(shared)[rows]) for rows in members]


@given(errors())
def test_whitened_errors_have_unit_variance_and_share_nothing(
    drawn: tuple[NDArray[np.float64], list[tuple[NDArray[np.intp], NDArray[np.float64]]]],
) -> None:
    own, common = drawn
    whitening = Whitening.of(own, common)
    whiten = whitening.applied(np.eye(len(own)))
    left = whiten @ covariance_of(own, common) @ whiten.T
    np.testing.assert_allclose(left, np.eye(len(own)), atol=1e-6)


@given(errors())
def test_a_whitening_and_its_transpose_make_the_weights(
    drawn: tuple[NDArray[np.float64], list[tuple[NDArray[np.intp], NDArray[np.float64]]]],
) -> None:
    whitening = Whitening.of(*drawn)
    whiten = whitening.applied(np.eye(len(drawn[0])))
    values = np.linspace(-1.0, 2.0, len(drawn[0]))
    np.testing.assert_allclose(whitening.applied(values), whiten @ values, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(whitening.transposed(values), whiten.T @ values, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(whitening.weights(), np.diag(whiten.T @ whiten), rtol=1e-6)


def test_two_readings_of_one_set_up_weigh_as_their_covariance_says() -> None:
    # By hand: N = [[2, 1], [1, 2]], so that the inverse has 2/3 on its diagonal.
    rows = np.array([0, 1])
    assert Whitening.of(np.ones(2), [(rows, np.ones(2))]).weights() == pytest.approx([2.0 / 3.0, 2.0 / 3.0])


def evening() -> tuple[Reading, ...]:
    return three_readings(0.2 * MM, -75.0 * MM, 0.3 * MM)


def told(found: Position) -> list[float]:
    return [*found.gates, *np.sqrt(np.sum(found.gate_root**2, axis=1))]


def alternating(count: int) -> list[Reading]:
    """Return so many readings of each gate quantity, by turns one deviation above and below Lark's."""
    kinds = ((HEIGHT, 0.0, 0.04 * MM), (DRIFT, -70.0 * MM, 2.5 * MM), (RAIL, 0.1 * MM, 0.04 * MM))
    return [
        reading(kind, value + (spread if number % 2 else -spread), spread, where=f"{kind.words} {number}")
        for number in range(count)
        for kind, value, spread in kinds
    ]


@pytest.mark.parametrize("count", [2, 400])
def test_repeats_are_one_reading_of_their_mean_as_much_sharper_as_they_are_many(count: int) -> None:
    # Independent normal errors: the mean is sufficient, its deviation is that of one over the root of n.
    car = lark()
    sharp = math.sqrt(count)
    means = [
        reading(HEIGHT, 0.0, 0.04 * MM / sharp),
        reading(DRIFT, -70.0 * MM, 2.5 * MM / sharp),
        reading(RAIL, 0.1 * MM, 0.04 * MM / sharp),
    ]
    prior = prior_of(car)
    many, few = position_of(car, alternating(count), prior=prior), position_of(car, means, prior=prior)
    assert told(many) == pytest.approx(told(few), rel=1e-5, abs=1e-5 * 0.04 * MM / sharp)
    # What is left of the sum of squares is that of the repeats about their mean: one for each.
    left = many.mode.sum_of_squares - few.mode.sum_of_squares
    assert left == pytest.approx(3.0 * count, abs=1e-4)


def test_thousands_of_readings_are_solved_and_each_has_its_say() -> None:
    readings = alternating(1500)
    odd = reading(RAIL, 0.5 * MM, 0.04 * MM, where="the odd one")
    found = estimate(lark(), [*readings, odd])
    assert found.readings[-1].where == "the odd one"
    assert found.strains[0].name == "the odd one"
    assert found.strains[0].ratio == pytest.approx(10.0, rel=1e-3)
    names = {part.name for part in found.budgets["rail_offset"]}
    assert {"the odd one", "rail offset 1499"} <= names


def test_what_is_read_many_times_is_predicted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []
    predict = ReadingModel.predict

    def counted(self: ReadingModel, values: NDArray[np.float64]) -> NDArray[np.float64]:
        asked.append(len(self.readings))
        return predict(self, values)

    monkeypatch.setattr(ReadingModel, "predict", counted)
    position_of(lark(), alternating(100), prior=prior_of(lark()))
    assert max(asked) == 3


def test_readings_that_differ_in_what_they_are_of_are_not_taken_for_one() -> None:
    # The same number read at half the board and at its end says two different things.
    car = lark()
    bench = [reading(DRIFT, -30.0 * MM, 1.0 * MM, distance=distance) for distance in (0.5, None)]
    apart = ReadingModel(car, seats_at(car, prior_of(car).mean), bench)
    found = mode_of(apart, prior_of(car))
    half, end = apart.predict((prior_of(car).mean + prior_of(car).root @ found.unknowns)[None, :])[0]
    assert abs(end) > 2.0 * abs(half)
    assert found.residuals == pytest.approx([(-0.03 - half) / MM, (-0.03 - end) / MM], abs=1e-6)


@pytest.mark.parametrize(
    "extra", [(), (reading(ReadingKind.SIZE, 9.5 * MM, dimension="front_left.hole_height"),)]
)
def test_the_short_way_ends_where_the_careful_one_does(
    extra: tuple[Reading, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    car, readings = lark(), [*evening(), *extra]
    short = position_of(car, readings, prior=prior_of(car))
    monkeypatch.setattr(searched, "_STEPS", 0)
    careful = position_of(car, readings, prior=prior_of(car))
    np.testing.assert_allclose(short.mode.unknowns, careful.mode.unknowns, atol=3e-5)
    assert told(short) == pytest.approx(told(careful), rel=1e-4)


def test_a_position_that_is_known_already_saves_no_more_than_time() -> None:
    car, prior = lark(), prior_of(lark())
    unread = position_of(car, prior=prior)
    found = position_of(car, evening(), prior=prior, unread=unread)
    plain = position_of(car, evening(), prior=prior)
    np.testing.assert_array_equal(found.mode.unknowns, plain.mode.unknowns)
    np.testing.assert_array_equal(found.gate_root, plain.gate_root)


def test_the_position_of_another_car_or_prior_is_not_taken_for_it() -> None:
    car, prior = lark(), prior_of(lark())
    unread = position_of(car, prior=prior)
    assert unread.is_of(car, prior)
    assert not unread.is_of(replace(car, name="another"), prior)
    assert not unread.is_of(car, prior_of(car))
    assert not position_of(car, evening(), prior=prior).is_of(car, prior)


def test_a_position_explained_is_the_estimate() -> None:
    car = lark()
    found = position_of(car, evening(), prior=prior_of(car)).explained()
    whole = estimate(car, evening())
    np.testing.assert_array_equal(found.values, whole.values)
    assert found.misfit_probability == whole.misfit_probability
    assert found.strains == whole.strains
    assert found.car == whole.car
