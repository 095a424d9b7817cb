"""What readings show of the moves before them, and whose moves on which cars teach a hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from rollwright.bench.events import (
    Adjustment,
    Bend,
    Event,
    ReadingTaken,
    Sand,
    ScaleReading,
    Shim,
    Turn,
    Washer,
    Weighed,
    Withdrawn,
)
from rollwright.bench.habits import Asked, achieved_by, asked_in, measured_in
from rollwright.bench.store import Store
from rollwright.car.file import parse_car
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.hand import Factor, Hand
from rollwright.setup.mode import Prior
from rollwright.workbench.log_enter import folded as folded_from
from rollwright.workbench.log_habits import habits_from
from tests.unit.cars import changed
from tests.unit.fold_bench import DEG, FRONT_LEFT, MM, evening, folded, ident, log, started

HAND = Hand()


def prior(root: list[list[float]], sources: Sequence[str]) -> Prior:
    found = np.array(root)
    return Prior(mean=np.zeros(len(found)), root=found, sources=tuple(sources))


def move(*, column: int, size: float, asked: float = 1.0) -> Asked:
    return Asked(entry=7, kind="bend", asked=asked, expected=asked, size=size, column=column)


# What was measured afterwards.


@pytest.mark.parametrize(
    ("event", "kind", "usual"),
    [
        (Bend(station=FRONT_LEFT, asked=1.0 * DEG, done=1.2 * DEG), "bend", HAND.bend),
        (Turn(station=FRONT_LEFT, asked=5.0 * DEG, done=6.0 * DEG), "turn", HAND.turn),
        (Sand(station=FRONT_LEFT, asked=0.4 * MM, done=0.5 * MM), "relief", HAND.relief),
        (Washer(station=FRONT_LEFT, asked=0.2 * MM, done=0.3 * MM), "washer", HAND.washer),
        (Shim(station=FRONT_LEFT, asked=0.1 * MM, done=0.2 * MM), "shim", HAND.shim),
    ],
)
def test_a_measured_move_is_known_to_half_of_a_usual_miss_or_to_what_is_said(
    event: Adjustment, kind: str, usual: float
) -> None:
    found = measured_in(4, event, hand=HAND)
    assert found is not None
    assert (found.entry, found.kind, found.asked, found.done) == (4, kind, event.asked, event.done)
    assert found.uncertainty == usual / 2.0
    said = measured_in(4, replace(event, uncertainty=1e-4), hand=HAND)
    assert said is not None
    assert said.uncertainty == 1e-4


@pytest.mark.parametrize("event", [Bend(station=FRONT_LEFT, asked=0.1), Bend(station=FRONT_LEFT, done=0.1)])
def test_a_move_without_both_amounts_shows_nothing_by_itself(event: Adjustment) -> None:
    assert measured_in(4, event, hand=HAND) is None


# Which error is whose.


def test_a_moves_error_is_the_one_of_its_own_dimension() -> None:
    names = ("file", "bend at front left, clock", "bend at front left, bend at", "bend at front left, bend")
    known = prior([[1.0, 0.1, 0.1, 0.1]], names)
    found = asked_in(4, Bend(station=FRONT_LEFT, asked=1.0 * DEG), hand=HAND, prior=known, new=1)
    assert found is not None
    assert found.column == 3
    second = prior([[1.0, 0.1]], ("file", "bend at front left, bend (2)"))
    again = asked_in(4, Bend(station=FRONT_LEFT, asked=1.0 * DEG), hand=HAND, prior=second, new=1)
    assert again is not None
    assert again.column == 1
    # An error from before the move is not the move's.
    assert asked_in(4, Bend(station=FRONT_LEFT, asked=1.0 * DEG), hand=HAND, prior=second, new=2) is None


def test_a_straight_pin_that_is_bent_for_the_first_time_teaches_of_its_bend() -> None:
    text = file_text("lark.toml").replace(
        'bend = { value = 2.6, uncertainty = 0.2, from = "measured" }', "bend = 0"
    )
    car = parse_car(text)

    def shown(bend: float) -> tuple[ReadingTaken, ...]:
        found = stance(changed(car, {"front_left.bend": bend * DEG}))
        assert found.drift.lateral is not None
        assert found.rail_offset is not None
        values = (found.height_difference, found.drift.lateral, found.rail_offset)
        return evening(*(value / MM for value in values))

    # Two degrees were asked for, and two and a half came out.
    asked = Bend(station=FRONT_LEFT, asked=2.0 * DEG)
    (learnt,) = folded(*shown(0.0), asked, *shown(2.5), start=started(text)).achieved
    assert (learnt.entry, learnt.kind, learnt.asked) == (5, "bend", 2.0 * DEG)
    assert learnt.done > 2.2 * DEG
    assert learnt.done == pytest.approx(2.5 * DEG, abs=3.0 * learnt.uncertainty)


def test_what_is_expected_and_how_far_it_can_miss_are_the_hands() -> None:
    over = replace(HAND, factors={"bend": Factor(value=1.2, uncertainty=0.05, moves=3)})
    known = prior([[0.1]], ("bend at front left, bend",))
    found = asked_in(4, Bend(station=FRONT_LEFT, asked=2.0 * DEG), hand=over, prior=known, new=0)
    assert found is not None
    assert found.expected == pytest.approx(2.4 * DEG)
    assert found.size == pytest.approx(math.hypot(0.1, 2.0 * 0.05) * DEG)
    shim = prior([[0.1]], ("shim at front left, hole height",))
    lower = asked_in(4, Shim(station=FRONT_LEFT, asked=0.1 * MM), hand=HAND, prior=shim, new=0)
    assert lower is not None
    # A shim that comes out thicker than asked lets the hole down.
    assert lower.size == -HAND.shim


@pytest.mark.parametrize(
    "event",
    [
        Bend(station=FRONT_LEFT),
        Bend(station=FRONT_LEFT, asked=0.1, done=0.1),
        Turn(station=FRONT_LEFT, asked=0.1),
    ],
    ids=["of unsaid size", "measured", "of another dimension"],
)
def test_other_moves_are_not_waited_for(event: Adjustment) -> None:
    known = prior([[0.1]], ("bend at front left, bend",))
    assert asked_in(4, event, hand=HAND, prior=known, new=0) is None


# What readings show.


def solved(
    rows: Sequence[Sequence[float]], shown: Sequence[float], gauge: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the errors z with readings of R z, each to a gauge, and a root of their covariance.

    The gain and the posterior of a linear model with a prior of unit variance, in closed form.
    """
    root = np.array(rows, dtype=float)
    count = root.shape[1]
    gain = root.T @ np.linalg.inv(root @ root.T + gauge**2 * np.eye(len(root)))
    covariance = np.eye(count) - gain @ root
    return gain @ np.array(shown, dtype=float), np.linalg.cholesky(covariance + 1e-13 * np.eye(count))


@settings(deadline=None)
@given(st.floats(0.2, 5.0), st.floats(0.2, 5.0), st.floats(0.01, 0.3), st.floats(-3.0, 3.0))
def test_a_bend_shown_by_a_gauge_is_what_the_gauge_says_less_what_was_there(
    before: float, hand: float, gauge: float, shown: float
) -> None:
    # One dimension x = a + h: what was there, to `before`, and the hand's miss, to `hand`; a gauge reads x.
    # By the gauge alone h is the reading less a, to the root of both squares (JCGM 100:2008, 5.1.2).
    errors, root = solved([[before, hand]], [shown], gauge)
    found = achieved_by([move(column=1, size=hand)], errors=errors, root=root)
    variance = before**2 + hand**2
    if 1.0 - hand**2 / (variance + gauge**2) >= 0.9:
        assert found == []
        return
    (one,) = found
    assert one.done == pytest.approx(1.0 + shown, rel=1e-6, abs=1e-6)
    assert one.uncertainty == pytest.approx(math.hypot(before, gauge), rel=1e-6)


def test_of_two_moves_of_one_dimension_each_gets_its_share() -> None:
    # x = h1 + h2 read as 3, all but exactly: by the reading alone h1 is 3 less h2, to the second hand's miss.
    errors, root = solved([[1.0, 2.0]], [3.0], 1e-6)
    found = achieved_by([move(column=0, size=1.0), move(column=1, size=2.0)], errors=errors, root=root)
    assert [one.done for one in found] == [pytest.approx(4.0), pytest.approx(4.0)]
    assert [one.uncertainty for one in found] == [pytest.approx(2.0), pytest.approx(1.0)]


def test_a_shim_that_came_out_thicker_shows_as_a_lower_hole() -> None:
    shim = Asked(entry=7, kind="shim", asked=0.1 * MM, expected=0.1 * MM, size=-0.02 * MM, column=0)
    # The hole is found 0.03 mm lower than expected, to a gauge that is as good as exact.
    errors, root = solved([[0.02]], [-0.03], 1e-5)
    (found,) = achieved_by([replace(shim, size=-0.02 * MM)], errors=-errors, root=root)
    assert found.done == pytest.approx(0.07 * MM, rel=1e-5)
    (found,) = achieved_by([shim], errors=errors, root=root)
    assert found.done == pytest.approx(0.13 * MM, rel=1e-5)


def test_readings_that_tell_nothing_of_a_move_teach_nothing() -> None:
    # The other dimension was read, this one was not.
    errors, root = solved([[0.0, 1.0]], [0.5], 0.1)
    assert achieved_by([move(column=0, size=1.0)], errors=errors, root=root) == []
    assert achieved_by([], errors=np.zeros(2), root=np.eye(2)) == []


# Other cars.


def at(path: Path, cars: Sequence[tuple[str, str, Sequence[Event]]]) -> Store:
    """Write a log of cars, each with its author and what was done after its start."""
    store = Store.open(path, create=True, program="0.1.0")
    number = 0
    for car, author, events in cars:
        for entry in log(*events):
            number += 1
            store.append(entry.event, event_id=ident(number), car=car, time=entry.time, author=author)
    return store


def over(times: int = 1) -> list[Event]:
    """Return bends that were measured and came out a fifth too large."""
    return [Bend(station=FRONT_LEFT, asked=1.0 * DEG, done=1.2 * DEG, uncertainty=0.02 * DEG)] * times


def test_other_cars_of_the_same_builder_teach_and_those_of_others_do_not(tmp_path: Path) -> None:
    cars = [("wren", "Ada", over(2)), ("rook", "Bo", over(3)), ("lark", "Ada", over(1))]
    with at(tmp_path / "bench.log", cars) as store:
        entries = list(store.events("lark"))
        found = habits_from(store, entries)
        assert [one.asked for one in found] == [1.0 * DEG] * 2
        assert folded_from(store, entries).hand.factor("bend").moves == 3


def test_only_the_three_cars_started_last_are_asked(tmp_path: Path) -> None:
    cars = [(name, "Ada", over()) for name in ("one", "two", "three", "four")] + [("lark", "Ada", [])]
    with at(tmp_path / "bench.log", cars) as store:
        found = habits_from(store, list(store.events("lark")))
        assert len(found) == 3


def test_a_car_that_does_not_add_up_teaches_nothing_and_harms_nothing(tmp_path: Path) -> None:
    # The raised wheel does not stand on any scale.
    broken = [*over(), ScaleReading(where=Weighed.FRONT_RIGHT, mass=5e-3)]
    cars: list[tuple[str, str, list[Event]]] = [("wren", "Ada", over()), ("bad", "Ada", broken)]
    with at(tmp_path / "bench.log", [*cars, ("lark", "Ada", [])]) as store:
        assert len(habits_from(store, list(store.events("lark")))) == 1


def test_a_withdrawn_move_is_no_habit(tmp_path: Path) -> None:
    with at(tmp_path / "bench.log", [("lark", "Ada", [])]) as store:
        assert habits_from(store, list(store.events("lark"))) == []
    undone = folded(*over(), Withdrawn(entry=ident(2), reason="a slip"))
    assert undone.achieved == ()
    assert undone.hand.factor("bend") == Factor()


def test_a_bend_asked_of_a_hand_that_overshoots_is_expected_where_it_lands() -> None:
    found = folded(*over(8), Bend(station=FRONT_LEFT, asked=1.0 * DEG))
    factor = found.hand.factor("bend")
    assert factor.moves == 8
    assert found.hand.asked_for("bend", factor.value * DEG) == pytest.approx(1.0 * DEG)
