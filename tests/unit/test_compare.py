"""Two cars side by side, or one at two times: what differs, how sure that is, and how often that is true."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from rollwright.bench.codec import Recorded
from rollwright.bench.compare import (
    COVERAGE,
    FACTOR,
    MASS,
    Compared,
    compare_cars,
    compare_times,
    touched_between,
    until,
    without_later_weights,
)
from rollwright.bench.events import (
    Bend,
    Event,
    Fitted,
    PartFitted,
    PartLeftOff,
    Sand,
    ScaleReading,
    Size,
    Turn,
    Washer,
    Weighed,
    Withdrawn,
)
from rollwright.bench.fold import Folded, fold
from rollwright.car.dimensions import dimension_names
from rollwright.car.file import parse_car
from rollwright.errors import ReadingUnusable
from rollwright.scenario.club import file_text
from rollwright.scenario.simulate import SimulatedCar, draw_car
from rollwright.setup.predict import GATE_QUANTITIES
from rollwright.setup.reading_keys import ReadingKind
from rollwright.units import Kind
from tests.unit.fold_bench import DEG, FRONT_LEFT, MM, evening, ident, log, read, started

INDEX = {name: number for number, name in enumerate(dimension_names())}
HERON = started(file_text("heron.toml"))
MOVES = (
    Bend(station=FRONT_LEFT, asked=1.25 * DEG),
    Turn(station=FRONT_LEFT, asked=-14.5 * DEG),
    Sand(station=FRONT_LEFT, asked=0.4 * MM),
)


def by_name(rows: tuple[Compared, ...]) -> dict[str, Compared]:
    return {row.name: row for row in rows}


def at(entries: list[Recorded], number: int | None = None) -> Folded:
    return without_later_weights(fold(until(entries, number)), entries, number)


def between_times(entries: list[Recorded], first: int, second: int) -> dict[str, Compared]:
    """Compare one car with itself after two of its entries."""
    earlier, later = sorted((first, second))
    between = [entry for entry in until(entries, later) if entry.seq > earlier]
    touched = touched_between(at(entries, earlier), at(entries, later), between)
    return by_name(compare_times(at(entries, first), at(entries, second), touched=touched))


def test_two_cars_are_subtracted_and_their_uncertainties_added_in_squares() -> None:
    first, second = at(log(*evening(0.0, -70.0, 0.0))), at(log(*evening(0.2, -40.0, 0.5), start=HERON))
    rows = by_name(compare_cars(first, second))
    assert list(rows)[:4] == [*GATE_QUANTITIES, MASS]
    drift = rows["drift"]
    # The gauges are far sharper than what the files leave open, so that the cars drift as they were read.
    assert drift.difference == pytest.approx(30.0 * MM, abs=1.0 * MM)
    assert drift.uncertainty == pytest.approx(math.hypot(1.0 * MM, 1.0 * MM), rel=0.02)
    assert drift.clear
    for row in rows.values():
        assert row.touched is None
        assert row.difference == row.second - row.first
        assert row.uncertainty == math.hypot(row.first_uncertainty, row.second_uncertainty)


def test_the_mass_is_that_of_everything_fitted() -> None:
    rows = by_name(compare_cars(at(log()), at(log(start=HERON))))
    # Lark: body 93.4 g, slug 31 g. Heron: body 98 g, the same wheels and pins, no weight.
    assert rows[MASS].difference == pytest.approx((98.0 - 93.4 - 31.0) * 1e-3, abs=1e-12)
    assert rows[MASS].kind is Kind.MASS


@pytest.mark.parametrize(("size", "clear"), [(1.959, False), (1.961, True)])
def test_a_difference_is_clear_outside_its_interval(size: float, *, clear: bool) -> None:
    row = Compared(
        name="drift",
        kind=Kind.LENGTH,
        first=0.0,
        second=0.0,
        first_uncertainty=0.0,
        second_uncertainty=0.0,
        difference=-size * 3.0 * MM,
        uncertainty=3.0 * MM,
    )
    assert row.clear is clear
    assert replace(row, difference=-row.difference).clear is clear


def test_what_is_exact_differs_clearly_as_soon_as_it_differs_at_all() -> None:
    other = started(file_text("lark.toml").replace("washer = 0", "washer = { value = 0.3, uncertainty = 0 }"))
    row = by_name(compare_cars(at(log()), at(log(start=other))))["front_left.washer"]
    assert row.difference == pytest.approx(0.3 * MM)
    assert row.uncertainty == 0.0
    assert row.clear


def test_a_straight_pin_has_no_clock_to_compare() -> None:
    rows = by_name(compare_cars(at(log()), at(log(start=HERON))))
    assert "front_left.bend" in rows
    assert "front_left.clock" not in rows
    assert "front_left.bend_at" not in rows


def test_a_clock_is_compared_the_short_way_round() -> None:
    texts = [file_text("lark.toml").replace("clock = 22 ", f"clock = {clock} ") for clock in ("175", "-175")]
    first, second = (at(log(start=started(text))) for text in texts)
    row = by_name(compare_cars(first, second))["front_left.clock"]
    assert row.difference == pytest.approx(10.0 * DEG)
    assert by_name(compare_cars(second, first))["front_left.clock"].difference == pytest.approx(-10.0 * DEG)


SMALL = st.floats(-1.0, 1.0)


@settings(max_examples=10, deadline=None)
@given(SMALL, SMALL, SMALL)
def test_swapping_two_cars_mirrors_every_difference(level: float, drift: float, rail: float) -> None:
    one = at(log(*evening(level * 0.5, -70.0 + 40.0 * drift, rail), *MOVES))
    two = at(log(start=HERON))
    for there, back in zip(compare_cars(one, two), compare_cars(two, one), strict=True):
        assert (there.name, there.uncertainty, there.clear) == (back.name, back.uncertainty, back.clear)
        assert there.difference == -back.difference
        assert (there.first, there.second) == (back.second, back.first)


@settings(max_examples=8, deadline=None)
@given(st.integers(1, 7), st.integers(1, 7))
def test_swapping_two_times_mirrors_every_difference(first: int, second: int) -> None:
    entries = log(*evening(-0.2, -110.0, 0.9), *MOVES)
    there, back = between_times(entries, first, second), between_times(entries, second, first)
    assert {name: row.difference for name, row in there.items()} == {
        name: -row.difference for name, row in back.items()
    }
    assert {name for name, row in there.items() if row.touched} == {
        name for name, row in back.items() if row.touched
    }


@pytest.mark.parametrize("number", [1, 4, 7])
def test_a_car_is_the_same_as_itself_at_the_same_entry(number: int) -> None:
    rows = between_times(log(*evening(-0.2, -110.0, 0.9), *MOVES), number, number)
    assert {(row.difference, row.uncertainty, row.touched, row.clear) for row in rows.values()} == {
        (0.0, 0.0, False, False)
    }


def test_readings_touch_nothing_and_only_tell_more() -> None:
    rows = between_times(log(*evening(-0.2, -110.0, 0.9)), 1, 4)
    assert not any(row.touched or row.clear for row in rows.values())
    assert rows["drift"].second == pytest.approx(-110.0 * MM, abs=1.0 * MM)
    assert rows["drift"].second_uncertainty < 0.1 * rows["drift"].first_uncertainty


@pytest.mark.parametrize(
    ("event", "touched"),
    [
        (Bend(station=FRONT_LEFT, asked=1.0 * DEG), {"front_left.bend", "front_left.clock"}),
        (Turn(station=FRONT_LEFT, asked=5.0 * DEG), {"front_left.clock"}),
        (Sand(station=FRONT_LEFT, asked=0.3 * MM), {"front_left.relief", MASS}),
        (Washer(station=FRONT_LEFT, asked=0.3 * MM), {"front_left.washer", MASS}),
        (
            PartFitted(
                part=Fitted.WHEEL, name="other", station=FRONT_LEFT, sizes=(Size(name="bore", value=2.52e-3),)
            ),
            {"front_left.diameter", "front_left.tread_width", "front_left.hub_projection"}
            | {"front_left.bore", "front_left.play", MASS},
        ),
        (ScaleReading(where=Weighed.WHOLE, mass=0.14), set()),
    ],
    ids=lambda value: value.kind if isinstance(value, Event) else "",
)
def test_a_change_touches_what_it_moves_or_opens_and_nothing_else(event: Event, touched: set[str]) -> None:
    entries = log(*evening(-0.2, -110.0, 0.9), event)
    rows = between_times(entries, 4, 5)
    assert {name for name, row in rows.items() if row.touched} - set(GATE_QUANTITIES) == touched
    assert all(row.difference == 0.0 for row in rows.values() if not row.touched)


def test_a_gate_is_touched_by_what_can_move_it() -> None:
    sanded = between_times(log(*evening(), Sand(station=FRONT_LEFT, asked=0.3 * MM)), 4, 5)
    assert sanded["rail_offset"].touched
    assert sanded["rail_offset"].difference == pytest.approx(-0.3 * MM, abs=0.02 * MM)
    told = between_times(log(*evening(), ScaleReading(where=Weighed.WHOLE, mass=0.14)), 4, 5)
    assert not any(told[name].touched for name in GATE_QUANTITIES)


def test_what_was_touched_is_known_to_both_uncertainties_at_most() -> None:
    rows = between_times(log(*evening(-0.2, -110.0, 0.9), *MOVES, *evening(0.0, -70.0, 0.1)), 4, 10)
    for row in rows.values():
        limit = math.hypot(row.first_uncertainty, row.second_uncertainty) if row.touched else 0.0
        assert row.uncertainty == limit
    assert rows["front_left.relief"].clear
    assert rows["front_left.bend"].clear


def test_what_was_taken_back_never_happened() -> None:
    slip = Sand(station=FRONT_LEFT, asked=0.9 * MM)
    entries = log(*evening(), slip, Withdrawn(entry=ident(5), reason="not this car"), MOVES[1])
    assert [entry.seq for entry in until(entries, 5)] == [1, 2, 3, 4]
    rows = between_times(entries, 4, 7)
    assert not rows["front_left.relief"].touched
    assert rows["front_left.clock"].touched


def test_a_weight_that_is_entered_later_was_not_in_it_before() -> None:
    slug = PartFitted(part=Fitted.WEIGHT, name="slug", pocket="tail")
    entries = log(*evening(), slug, PartLeftOff(part=Fitted.WEIGHT, name="slug", reason="too heavy"))
    rows = between_times(entries, 4, 5)
    # As the car's file says of it: 31 g.
    assert rows[MASS].difference == pytest.approx(31.0e-3, abs=1e-12)
    assert rows[MASS].clear
    assert between_times(entries, 5, 6)[MASS].difference == pytest.approx(-31.0e-3, abs=1e-12)
    assert between_times(entries, 4, 6)[MASS].difference == 0.0


def test_a_car_that_cannot_be_told_is_not_compared() -> None:
    ahead = tuple(
        Size(name=name, value=value) for name, value in (("mass", 0.5), ("x", 0.17), ("y", 0.0), ("z", 0.0))
    )
    tipped = at(log(*evening(), PartFitted(part=Fitted.WEIGHT, name="lead", pocket="nose", sizes=ahead)))
    assert tipped.estimate is None
    for pair in ((at(log()), tipped), (tipped, at(log()))):
        with pytest.raises(ReadingUnusable, match="cannot be told"):
            compare_cars(*pair)


def _session(car: SimulatedCar, rng: np.random.Generator, text: str) -> Folded:
    events = [
        read(ReadingKind(each.kind), each.quantity.value, each.quantity.uncertainty) for each in car.read(rng)
    ]
    return fold(log(*events, start=started(text)))


def test_the_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Two cars drawn from the club's files, each read once: the 95 % intervals, counted over 200 pairs.

    Bounds: exact binomial quantiles at 0.05 % and 99.95 %; how rare a miss may be is common practice, no
    source.
    """
    pairs, rng = 200, np.random.default_rng(20260504)
    names = ("front_left.hole_height", "front_left.sweep", "rear_left.sweep", "front_left.hub_projection")
    held = dict.fromkeys((*GATE_QUANTITIES, *names), 0)
    texts = [file_text("lark.toml"), file_text("heron.toml")]
    cars = [parse_car(text) for text in texts]
    for _ in range(pairs):
        true = [draw_car(car, rng) for car in cars]
        rows = by_name(
            compare_cars(*(_session(each, rng, text) for each, text in zip(true, texts, strict=True)))
        )
        really = dict(zip(GATE_QUANTITIES, true[1].gates() - true[0].gates(), strict=True))
        really |= {name: float(true[1].values[INDEX[name]] - true[0].values[INDEX[name]]) for name in names}
        for name, value in really.items():
            row = rows[name]
            held[name] += abs(row.difference - value) <= FACTOR * row.uncertainty
    low, high = (float(binom.ppf(tail, pairs, COVERAGE)) for tail in (0.0005, 0.9995))
    assert all(low <= count <= high for count in held.values()), held
