"""Slow rolls as readings: in a readings file, as what a car would show, and out of the log."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest

from rollwright.bench.as_readings import readings_of_roll
from rollwright.bench.events import Clearance, SlowRoll, SlowRollSeen
from rollwright.car import Car, Station
from rollwright.errors import OutOfRange, ReadingUnusable
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.scenario.simulate import draw_car
from rollwright.setup.estimate import Estimate, estimate, seats_at
from rollwright.setup.predict import ReadingModel, derivatives, rolled
from rollwright.setup.readings import Reading, ReadingKind, parse_readings

from .cars import DEG, MM, changed, flat_car, known_but_for, lark, mirrored, reading

RL, RR, FL, FR = Station
HOLDS, LEAVES = SlowRollSeen.HOLDS, SlowRollSeen.LEAVES
LEFT, RIGHT = SlowRollSeen.TAIL_LEFT, SlowRollSeen.TAIL_RIGHT
PAGE = Path(__file__).parents[2] / "docs" / "readings-file.md"
BOTH = pytest.mark.parametrize("car", [lark(), mirrored(lark())], ids=["dominant left", "dominant right"])
ONE_IN_A_THOUSAND = 1e-3
NORMAL_95 = 1.959963984540054


def shown(car: Car, *readings: Reading) -> list[float]:
    values = dimension_values(car)
    found: list[float] = (
        ReadingModel(car, seats_at(car, values), readings).predict(values[None, :])[0].tolist()
    )
    return found


def read_of(
    seen: SlowRollSeen, *clearances: tuple[Station, float], car: Car | None = None
) -> tuple[Reading, ...]:
    car = lark() if car is None else car
    event = SlowRoll(seen=seen, clearances=tuple(Clearance(station=at, gap=gap) for at, gap in clearances))
    return readings_of_roll(event, number=7, car=car, values=dimension_values(car))


def whole_uncertainty(read: Reading) -> float:
    return math.hypot(read.quantity.uncertainty, read.common)


# What a car would show.


@BOTH
def test_the_readings_are_those_of_the_car_on_the_rail(car: Car) -> None:
    values = dimension_values(car)
    expected = rolled(car, values[None, :], seats=seats_at(car, values))
    clearances = [reading(ReadingKind.ROLL_CLEARANCE, station=station) for station in Station]
    found = shown(car, *clearances, reading(ReadingKind.TAIL_OFFSET))
    assert found[:4] == pytest.approx(expected.gap[:, 0].tolist(), abs=1e-12)
    assert found[4] == pytest.approx(float(expected.tail[0]), abs=1e-12)
    assert found[list(Station).index(car.dominant)] == pytest.approx(0.0, abs=1e-12)


@BOTH
def test_a_car_with_true_rear_wheels_is_felt_as_if_moved_over_square(car: Car) -> None:
    assert stance(car).drift.rear_steer == pytest.approx(0.0, abs=1e-9)
    for station in Station:
        roll, square = shown(
            car,
            reading(ReadingKind.ROLL_CLEARANCE, station=station),
            reading(ReadingKind.RAIL_CLEARANCE, station=station),
        )
        assert roll == pytest.approx(square, abs=1e-9)


def test_a_swept_rear_hole_tells_the_two_kinds_of_gap_apart() -> None:
    # Outer end of the right rear hole forward by 0.4 degrees: the pair heads 0.2 degrees left.
    car = changed(flat_car(), {"rear_right.sweep": 0.4 * DEG})
    roll, square = (
        shown(car, reading(kind, station=RL))[0]
        for kind in (ReadingKind.ROLL_CLEARANCE, ReadingKind.RAIL_CLEARANCE)
    )
    # From 12 mm ahead of its axle, where it leaves the rail, to the same point of the front wheel: the base.
    assert roll - square == pytest.approx(120.0 * MM * math.sin(0.2 * DEG), abs=1e-9)


def test_a_raised_wheel_above_the_rail_has_no_roll_clearance_and_the_reading_is_named() -> None:
    high = changed(lark(), {"rail.height": 0.5 * MM, "front_right.hole_height": 11.0 * MM})
    raised = reading(ReadingKind.ROLL_CLEARANCE, station=FR, where="reading 3 (roll clearance)")
    with pytest.raises(ReadingUnusable, match=r"reading 3 \(roll clearance\)"):
        ReadingModel(high, seats_at(high, dimension_values(high)), [raised]).check(dimension_values(high))


def test_many_cars_are_worked_out_as_each_by_itself() -> None:
    car, rng = lark(), np.random.default_rng(5)
    rows = np.stack([draw_car(car, rng).values for _ in range(7)])
    seats = seats_at(car, rows[0])
    together = rolled(car, rows, seats=seats)
    for at, row in enumerate(rows):
        alone = rolled(car, row[None, :], seats=seats, found=stances(car, row[None, :], seats=seats))
        assert together.gap[:, at] == pytest.approx(alone.gap[:, 0], abs=1e-15)
        assert together.tail[at] == pytest.approx(float(alone.tail[0]), abs=1e-15)


# In a readings file.


@pytest.mark.parametrize(
    ("written", "value"), [("0.6", 0.6), ("-0.6", -0.6), ('"0.6 mm left"', 0.6), ('"0.6 mm right"', -0.6)]
)
def test_a_tail_offset_by_sign_or_side(written: str, value: float) -> None:
    for form in (f"value = {written}", f"values = [{written}, {written}]"):
        (found,) = parse_readings(f'format = 1\n[[reading]]\nkind = "tail_offset"\n{form}\n').readings
        assert found.quantity.value == pytest.approx(value * MM)


def test_a_felt_gap_below_nothing_is_refused() -> None:
    text = 'format = 1\n[[reading]]\nkind = "roll_clearance"\nstation = "rear_left"\nvalue = '
    with pytest.raises(OutOfRange, match="never negative"):
        parse_readings(f"{text}-0.1\n")
    assert parse_readings(f"{text}0\n").readings[0].quantity.value == 0.0


def test_the_pages_example_says_what_the_page_says_of_it() -> None:
    section = PAGE.read_text(encoding="utf-8").split("## What a slow roll shows\n")[1].split("\n## ")[0]
    (example,) = re.findall(r"^```toml\n(.*?)^```", section, re.DOTALL | re.MULTILINE)
    readings = parse_readings(example).readings
    assert [each.kind for each in readings] == [ReadingKind.ROLL_CLEARANCE] * 2 + [ReadingKind.TAIL_OFFSET]
    before = tail_of(estimate(lark()))
    felt, seen = (tail_of(estimate(lark(), part)) for part in (readings[:2], readings[2:]))
    # The right rear wheel near the rail and the tail seen to the left are the same thing.
    assert felt[0] > 0.3 * MM > before[0]
    assert seen[0] > 0.0
    # The difference of the gaps is twice the tail, whatever the hubs on both sides have in common.
    assert felt[0] == pytest.approx(0.5 * (3.2 - 1.9) * MM, abs=2.0 * felt[1])
    assert felt[1] < seen[1] < before[1]


# Out of the log.


def test_each_felt_wheel_but_the_dominant_one_is_a_roll_clearance() -> None:
    found = read_of(LEFT, (RR, 0.9 * MM), (FL, 0.0), (FR, 2.0 * MM))
    assert [(each.kind, each.station, each.quantity.value) for each in found] == [
        (ReadingKind.ROLL_CLEARANCE, RR, 0.9 * MM),
        (ReadingKind.ROLL_CLEARANCE, FR, 2.0 * MM),
    ]
    assert [each.quantity.uncertainty for each in found] == [0.1 * MM] * 2
    assert found[0].where == "entry 7 (slow roll, rear right)"
    assert not found[0].set_up


def test_a_car_that_left_the_rail_tells_nothing_of_its_gaps() -> None:
    assert read_of(LEAVES) == ()
    assert read_of(LEAVES, (RR, 0.9 * MM)) == ()


def test_a_gap_at_the_dominant_wheel_is_no_roll_and_is_refused() -> None:
    assert read_of(HOLDS, (FL, 0.1 * MM), (RL, 2.0 * MM))[0].station is RL
    with pytest.raises(ReadingUnusable, match=r"entry 7 \(slow roll, front left\).* 0.50 mm off the rail"):
        read_of(HOLDS, (FL, 0.5 * MM), (RL, 2.0 * MM))
    with pytest.raises(OutOfRange, match=r"entry 7 \(slow roll, rear left\)"):
        read_of(HOLDS, (RL, -0.1 * MM))


def test_a_tail_by_eye_is_spread_from_what_is_seen_to_where_a_wheel_touches() -> None:
    # Inner edges 27 from the centre line and a rail of 44: 5 mm of room. Half width over root three.
    low, high = 0.5 * MM, 5.0 * MM
    for seen, sign in ((LEFT, 1.0), (RIGHT, -1.0)):
        (found,) = read_of(seen, car=flat_car())
        assert found.kind is ReadingKind.TAIL_OFFSET
        assert found.quantity.value == pytest.approx(sign * (low + high) / 2.0)
        assert whole_uncertainty(found) == pytest.approx((high - low) / 2.0 / math.sqrt(3.0))


def test_the_wheel_that_touches_is_the_one_on_the_other_side() -> None:
    # A left rear wheel that stands a millimetre further out leaves more room to the right only.
    car = changed(flat_car(), {"rear_left.washer": 1.0 * MM})
    (left,), (right,) = read_of(LEFT, car=car), read_of(RIGHT, car=car)
    assert left.quantity.value == pytest.approx((0.5 + 5.0) / 2.0 * MM, abs=0.1 * MM)
    assert right.quantity.value == pytest.approx(-(0.5 + 6.0) / 2.0 * MM, abs=0.1 * MM)


def test_a_tail_without_room_is_no_number_and_little_room_is_all_of_it() -> None:
    tight = changed(flat_car(), {"rear_right.relief": 4.7 * MM, "rear_left.relief": 4.7 * MM})
    (found,) = read_of(LEFT, car=tight)
    assert found.quantity.value == pytest.approx(0.15 * MM, abs=1e-9)
    assert whole_uncertainty(found) == pytest.approx(0.15 * MM / math.sqrt(3.0), abs=1e-9)
    shut = changed(tight, {"rear_right.relief": 5.2 * MM, "rear_left.relief": 5.2 * MM})
    assert read_of(LEFT, car=shut) == ()
    high = changed(flat_car(), {"rear_left.offset": 70.0 * MM, "rear_right.offset": 70.0 * MM})
    assert read_of(LEFT, car=high) == (), "a car that tips over has no room that is known"


def test_a_car_that_holds_has_a_tail_within_what_no_eye_misses() -> None:
    (found,) = read_of(HOLDS)
    assert found.quantity.value == 0.0
    assert whole_uncertainty(found) == pytest.approx(1.0 * MM / math.sqrt(3.0))


def test_ten_looks_do_not_pass_for_a_gauge() -> None:
    car = known_but_for(lark(), {"rear_left.sweep": 0.5 * DEG, "rear_right.sweep": 0.5 * DEG})
    once, often = (tail_of(estimate(car, read_of(HOLDS) * times))[1] for times in (1, 10))
    assert once < tail_of(estimate(car))[1]
    assert 0.9 * once < often < once


def test_what_was_seen_moves_the_estimate_to_that_side() -> None:
    tails = [tail_of(estimate(lark(), read_of(seen)))[0] for seen in (RIGHT, HOLDS, LEFT)]
    assert tails == sorted(tails)
    assert tails[2] - tails[0] > 0.5 * MM


# How honest it is: cars drawn from the file, felt at both rear wheels.


def tail_of(found: Estimate) -> tuple[float, float]:
    """Return the tail offset of an estimate and its standard uncertainty [m]."""
    here, slopes = derivatives(
        lambda rows: rolled(found.car, rows, seats=found.seats).tail[:, None], found.values, found.root.T
    )
    return float(here[0]), float(np.linalg.norm(slopes))


def heading_of(found: Estimate) -> tuple[float, float]:
    """Return the rear pair's mean steer of an estimate and its standard uncertainty [rad]."""
    here, slopes = derivatives(
        lambda rows: stances(found.car, rows, seats=found.seats).rear_steer[:, None],
        found.values,
        found.root.T,
    )
    return float(here[0]), float(np.linalg.norm(slopes))


@BOTH
def test_two_felt_wheels_narrow_the_heading_and_hold_the_truth_95_times_in_100(car: Car) -> None:
    before, held, shrunk, count = heading_of(estimate(car))[1], 0, [], 120
    for number in range(count):
        rng = np.random.default_rng((41, number, car.dominant.side + 1))
        true = draw_car(car, rng)
        exact = [reading(ReadingKind.ROLL_CLEARANCE, station=at) for at in (RL, RR)]
        gaps = ReadingModel(car, true.seats(), exact).predict(true.values[None, :])[0]
        felt = [
            reading(ReadingKind.ROLL_CLEARANCE, gap + rng.normal(0.0, 0.1 * MM), 0.1 * MM, station=at)
            for gap, at in zip(gaps.tolist(), (RL, RR), strict=True)
        ]
        heading, spread = heading_of(estimate(car, felt))
        truth = float(stances(car, true.values[None, :], seats=true.seats()).rear_steer[0])
        held += abs(heading - truth) <= NORMAL_95 * spread
        shrunk.append(spread / before)
    assert max(shrunk) < 0.5
    assert float(binomtest(held, count, 0.95).pvalue) > ONE_IN_A_THOUSAND, f"{held} of {count}"
