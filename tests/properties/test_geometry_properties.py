"""What must hold for any car: mirror, scale, full turns, shims, and two computations that agree."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st

from rollwright.car import Car, Seat, Station, parse_car
from rollwright.car.dimensions import dimension_kind, dimension_names, dimension_of, with_dimensions
from rollwright.car.model import Point
from rollwright.errors import CarCannotRest, DriftUndefined
from rollwright.geometry import Stance, stance
from rollwright.geometry.drift import drift_over
from rollwright.geometry.many import Stances, dimension_values, drift_along, stances
from rollwright.geometry.seat import footing_of
from rollwright.geometry.tripod import tripods
from rollwright.quantity import Quantity, Source
from rollwright.units import Kind

MM, DEG = 1e-3, math.pi / 180.0
EXACT = 1e-12
# Where the inner rim just touches the ground the place of its lowest point follows from an arc cosine near
# one, which turns rounding of 1e-16 into 1e-8 of an angle, times a radius and a small toe.
RAIL = 1e-10

_GLOBALS = {
    "body.width": (48.0, 8.0),
    "body.wheelbase": (124.0, 30.0),
    "rail.width": (40.0, 6.0),
    "rail.height": (6.0, 3.0),
    "board.length": (900.0, 400.0),
}
_LOCAL = {
    "hole_height": (9.0, 0.8),
    "cant": (1.0, 3.0),
    "sweep": (0.0, 1.5),
    "offset": (0.0, 0.5),
    "relief": (0.3, 0.3),
    "washer": (0.4, 0.4),
    "play": (0.7, 0.5),
    "clock": (0.0, 180.0),
    "shank": (2.38, 0.05),
    "bend": (2.0, 2.0),
    "bend_at": (0.5, 1.0),
    "diameter": (32.0, 1.0),
    "tread_width": (8.0, 3.0),
    "hub_projection": (2.0, 2.0),
    "bore": (2.6, 0.1),
}
_RAISED = 2.0
_COUNT = len(dimension_names())


def _quantity(value: float) -> Quantity:
    return Quantity(value=value, uncertainty=0.0, source=Source.NOMINAL)


def _row(shares: list[float], dominant: Station) -> dict[str, float]:
    """Return SI values of all dimensions; a share of 0 is the nominal one, -1 and 1 are the ends."""
    row = {}
    for name, share in zip(dimension_names(), shares, strict=True):
        middle, reach = _GLOBALS[name] if name in _GLOBALS else _LOCAL[name.rpartition(".")[2]]
        if name == f"{dominant.opposite.value}.hole_height":
            middle += _RAISED
        unit = DEG if dimension_kind(name) is Kind.ANGLE else MM
        row[name] = (middle + share * reach) * unit
    return row


def _point(x: float, y: float, z: float) -> Point:
    return (_quantity(x), _quantity(y), _quantity(z))


def _make(shares: list[float], dominant: Station, seats: tuple[Seat | None, ...]) -> Car:
    car = parse_car("format = 1\n")
    row = _row(shares[:_COUNT], dominant)
    car = replace(with_dimensions(car, {name: _quantity(value) for name, value in row.items()}))
    x, y, z = shares[_COUNT:]
    return replace(
        car,
        dominant=dominant,
        body=replace(
            car.body,
            centre_of_mass=_point((45.0 + 35.0 * x) * MM, 7.0 * y * MM, (12.0 + 6.0 * z) * MM),
        ),
        corners={
            station: replace(car.corners[station], seat=seat)
            for station, seat in zip(Station, seats, strict=True)
        },
    )


_SHARE = st.floats(-1.0, 1.0, width=32)
_SEATS = st.tuples(*(st.sampled_from([None, *Seat]) for _ in Station))


@st.composite
def cars(draw: st.DrawFn) -> Car:
    """Return a car that can stand; it shrinks toward a plain one."""
    shares = draw(st.lists(_SHARE, min_size=_COUNT + 3, max_size=_COUNT + 3))
    dominant = draw(st.sampled_from([Station.FRONT_LEFT, Station.FRONT_RIGHT]))
    car = _make(shares, dominant, draw(_SEATS))
    try:
        stance(car)
    except CarCannotRest:
        reject()
    return car


def _close(a: float | None, b: float | None, tolerance: float) -> bool:
    if a is None or b is None:
        return a is b
    return abs(a - b) <= tolerance


def _assert_same(found: Stance, expected: Stance, *, mirrored: bool = False, scale: float = 1.0) -> None:
    """Check every number of two stances, one perhaps the mirror image of the other or larger by a factor."""
    sign = -1.0 if mirrored else 1.0

    def place(station: Station) -> Station:
        pair = station.opposite
        return pair if mirrored else station

    length = EXACT * max(1.0, scale)
    assert {place(station) for station in expected.carrying} == set(found.carrying)
    assert _close(found.front, scale * expected.front, length)
    assert _close(found.rear, scale * expected.rear, length)
    assert _close(found.pitch, expected.pitch, EXACT)
    assert _close(found.roll, sign * expected.roll, EXACT)
    for station, there in expected.stations.items():
        here = found.stations[place(station)]
        assert here.seat == there.seat
        assert _close(here.camber, there.camber, EXACT)
        assert _close(here.steer, sign * there.steer, EXACT)
        assert _close(here.clearance, scale * there.clearance, length)
        assert _close(here.centre[1], sign * scale * there.centre[1], length)
        assert _close(here.contact[0], scale * there.contact[0], length)
        assert _close(
            here.rail_gap, None if there.rail_gap is None else scale * there.rail_gap, RAIL * max(1.0, scale)
        )
    assert _close(found.drift.curvature, sign * expected.drift.curvature / scale, 1e-10)
    lateral = expected.drift.lateral
    assert _close(
        found.drift.lateral, None if lateral is None else sign * scale * lateral, 1e-10 * max(1.0, scale)
    )
    assert _close(
        found.rail_offset,
        None if expected.rail_offset is None else scale * expected.rail_offset,
        RAIL * max(1.0, scale),
    )


def _mirror(car: Car) -> Car:
    x, y, z = car.body.centre_of_mass
    return replace(
        car,
        dominant=car.dominant.opposite,
        body=replace(car.body, centre_of_mass=_point(x.value, -y.value, z.value)),
        corners={station: car.corners[station.opposite] for station in Station},
    )


def _scaled(car: Car, scale: float) -> Car:
    lengths = {
        name: _quantity(scale * dimension_of(car, name).value)
        for name in dimension_names()
        if dimension_kind(name) is Kind.LENGTH
    }
    x, y, z = car.body.centre_of_mass
    larger = with_dimensions(car, lengths)
    return replace(
        larger,
        body=replace(larger.body, centre_of_mass=_point(scale * x.value, scale * y.value, scale * z.value)),
    )


def _changed(car: Car, changes: Mapping[str, float]) -> Car:
    return with_dimensions(car, {name: _quantity(value) for name, value in changes.items()})


@given(cars())
def test_a_mirrored_car_stands_as_the_mirror_image(car: Car) -> None:
    _assert_same(stance(_mirror(car)), stance(car), mirrored=True)


@given(cars(), st.floats(0.1, 10.0))
def test_a_car_larger_by_a_factor_stands_larger_by_that_factor(car: Car, scale: float) -> None:
    _assert_same(stance(_scaled(car, scale)), stance(car), scale=scale)


@given(cars(), st.sampled_from(Station), st.sampled_from([-1.0, 1.0, 2.0]))
def test_a_full_turn_of_an_axle_changes_nothing(car: Car, station: Station, turns: float) -> None:
    name = f"{station.value}.clock"
    turned = _changed(car, {name: dimension_of(car, name).value + turns * 2.0 * math.pi})
    _assert_same(stance(turned), stance(car))


@given(cars(), st.sampled_from(Station))
def test_a_bend_the_other_way_is_the_same_bend_turned_by_half(car: Car, station: Station) -> None:
    bend, clock = f"{station.value}.bend", f"{station.value}.clock"
    other = _changed(
        car, {bend: -dimension_of(car, bend).value, clock: dimension_of(car, clock).value + math.pi}
    )
    _assert_same(stance(other), stance(car))


@given(cars(), st.floats(-2.0, 2.0))
def test_raising_all_holes_lowers_the_body_and_changes_no_difference(car: Car, by: float) -> None:
    before = stance(car)
    seats = {station: at.seat.seat for station, at in before.stations.items()}
    names = [f"{station.value}.hole_height" for station in Station]
    try:
        after = stance(
            _changed(car, {name: dimension_of(car, name).value + by * MM for name in names}), seats=seats
        )
    except CarCannotRest:
        reject()
    # The mass hangs lower under the wheels, which near the edge of a triangle may choose another one.
    assume(after.carrying == before.carrying)
    assert after.height_difference == pytest.approx(before.height_difference, abs=EXACT)
    lowered = by * MM * math.cos(before.pitch) * math.cos(before.roll)
    assert before.rear - after.rear == pytest.approx(lowered, abs=EXACT)


@given(cars())
def test_three_wheels_touch_and_the_fourth_is_on_or_above_the_ground(car: Car) -> None:
    found = stance(car)
    for station, at in found.stations.items():
        if station in found.carrying:
            assert at.clearance == 0.0
            assert abs(at.contact[2]) < EXACT
        else:
            assert at.clearance >= 0.0


@given(cars())
def test_a_wheel_that_carries_reaches_into_the_rails_height(car: Car) -> None:
    found = stance(car)
    half = car.rail.width.value / 2.0
    for station in found.carrying:
        near = found.stations[station].rail_contact
        assert near is not None
        # The carrying wheel's inner rim may hang a little above the ground but not above the rail.
        assert -EXACT <= near.height <= car.rail.height.value + EXACT
        assert found.stations[station].rail_gap == near.inset - half


@given(cars())
@settings(max_examples=60)
def test_moving_the_hub_out_moves_the_rail_gap_out(car: Car) -> None:
    # With a toed or leaning wheel it moves by nearly as much as the washer is thick.
    before = stance(car)
    seats = {station: at.seat.seat for station, at in before.stations.items()}
    name = f"{car.dominant.value}.washer"
    try:
        packed = stance(_changed(car, {name: dimension_of(car, name).value + 0.1 * MM}), seats=seats)
    except CarCannotRest:
        reject()
    assume(before.rail_offset is not None and packed.rail_offset is not None)
    assert before.rail_offset is not None
    assert packed.rail_offset is not None
    assert 0.09 * MM < packed.rail_offset - before.rail_offset < 0.11 * MM


def _compare_row(found: Stances, row: int, expected: Stance | None, dominant: Station) -> None:
    if expected is None:
        assert found.carrying[row] == -1
        return
    assert tripods(dominant)[found.carrying[row]] == expected.carrying
    for name, tolerance in (("front", EXACT), ("rear", EXACT), ("pitch", EXACT), ("roll", EXACT)):
        assert _close(getattr(found, name)[row], getattr(expected, name), tolerance), name
    for index, station in enumerate(Station):
        at = expected.stations[station]
        assert _close(found.camber[index, row], at.camber, EXACT)
        assert _close(found.steer[index, row], at.steer, EXACT)
        assert _close(found.clearance[index, row], at.clearance, EXACT)
        assert _close(found.contact_x[index, row], at.contact[0], EXACT)
        assert _close(found.contact_y[index, row], at.contact[1], EXACT)
        gap = found.rail_gap[index, row]
        assert _close(None if math.isnan(gap) else gap, at.rail_gap, RAIL)
    assert _close(found.curvature[row], expected.drift.curvature, 1e-10)
    assert _close(found.rear_steer[row], expected.drift.rear_steer, EXACT)
    drift = found.drift[row]
    assert _close(None if math.isnan(drift) else drift, expected.drift.lateral, 1e-11)


def _one_by_one(car: Car, rows: list[dict[str, float]], seats: Mapping[Station, Seat]) -> list[Stance | None]:
    found: list[Stance | None] = []
    for row in rows:
        try:
            found.append(stance(_changed(car, row), seats=seats))
        except CarCannotRest:
            found.append(None)
    return found


@given(cars(), st.lists(st.lists(_SHARE, min_size=_COUNT, max_size=_COUNT), max_size=2))
@settings(max_examples=80)
def test_many_cars_at_once_stand_as_each_of_them_alone(car: Car, others: list[list[float]]) -> None:
    seats = {station: at.seat.seat for station, at in stance(car).stations.items()}
    rows = [{name: dimension_of(car, name).value for name in dimension_names()}]
    rows += [_row(shares, car.dominant) for shares in others]
    found = stances(car, np.array([list(row.values()) for row in rows]), seats=seats)
    for index, expected in enumerate(_one_by_one(car, rows, seats)):
        _compare_row(found, index, expected, car.dominant)


def test_many_cars_at_once_cover_every_tripod_and_those_that_fall() -> None:
    rng = np.random.default_rng(5)
    seen: Counter[int] = Counter()
    for dominant in (Station.FRONT_LEFT, Station.FRONT_RIGHT):
        for forward, aside in ((-0.2, 0.0), (1.4, 0.6), (1.4, -0.6), (3.4, 0.0), (0.6, -5.0)):
            shares = [*rng.uniform(-1.0, 1.0, _COUNT), forward, aside, 0.0]
            car = _make(shares, dominant, (Seat.HEAD, Seat.BODY, Seat.MIDDLE, Seat.HEAD))
            seats = {station: car.corners[station].seat or Seat.BODY for station in Station}
            rows = [_row(list(rng.uniform(-1.0, 1.0, _COUNT)), dominant) for _ in range(40)]
            for row in rows[::4]:
                row[f"{dominant.opposite.value}.hole_height"] -= 2.0 * _RAISED * MM
            found = stances(car, np.array([list(row.values()) for row in rows]), seats=seats)
            for index, expected in enumerate(_one_by_one(car, rows, seats)):
                _compare_row(found, index, expected, dominant)
            seen.update(map(int, found.carrying))
    assert min(seen[number] for number in range(-1, 4)) > 5, seen


@given(cars(), st.lists(_SHARE, min_size=_COUNT, max_size=_COUNT))
@settings(max_examples=80)
def test_the_footing_of_a_cars_dimensions_is_that_of_its_stance(car: Car, shares: list[float]) -> None:
    row = _row(shares, car.dominant)
    try:
        expected = stance(_changed(car, row))
    except CarCannotRest as error:
        why = str(error)
        with pytest.raises(CarCannotRest, match=re.escape(why)):
            footing_of(car, list(row.values()))
        return
    found = footing_of(car, list(row.values()))
    assert tripods(car.dominant)[found.carrying] == expected.carrying
    assert found.seats == {station: at.seat.seat for station, at in expected.stations.items()}


@given(
    st.floats(-1.2, 1.2),
    st.floats(-0.1, 0.1),
    st.floats(0.05, 0.3),
    st.floats(0.1, 3.0),
)
def test_many_drifts_at_once_are_those_of_each_alone(
    curvature: float, rear_steer: float, watched: float, board: float
) -> None:
    (found,) = drift_along(
        curvature=np.array([curvature]),
        rear_steer=np.array([rear_steer]),
        watched=np.array([watched]),
        board=np.array([board]),
    )
    try:
        expected = drift_over(curvature=curvature, rear_steer=rear_steer, wheelbase=watched, board=board)
    except DriftUndefined:
        # On the very edge the two may tell the turning back apart; well short of it they never do.
        assert math.isnan(found) or abs(curvature) * board > 0.7
    else:
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-13)


@pytest.mark.parametrize("curvature", [0.0, 1e-300, 1e-12, -1e-8])
def test_a_car_that_runs_straight_drifts_by_its_crab_alone(curvature: float) -> None:
    (found,) = drift_along(
        curvature=np.array([curvature]),
        rear_steer=np.array([0.02]),
        watched=np.array([0.12]),
        board=np.array([1.5]),
    )
    # The second term is that of a parabola, k b^2 / 2 with the swing k b of the watched point.
    assert found == pytest.approx(1.5 * math.tan(0.02) + curvature * (1.5**2 / 2.0 + 0.12 * 1.5), rel=1e-9)


def test_a_large_batch_is_cut_into_pieces_and_put_together_in_order() -> None:
    car = _make([0.0] * (_COUNT + 3), Station.FRONT_LEFT, (Seat.BODY,) * 4)
    seats = dict.fromkeys(Station, Seat.BODY)
    rows = np.tile(dimension_values(car), (9000, 1))
    rows[:, dimension_names().index("front_left.hole_height")] += np.linspace(0.0, 1.0, 9000) * MM
    found = stances(car, rows, seats=seats)
    assert found.camber.shape == (4, 9000)
    assert np.all(np.diff(found.height_difference) < 0.0)
    part = stances(car, rows[5000:5002], seats=seats)
    for field in fields(Stances):
        np.testing.assert_array_equal(
            getattr(found, field.name)[..., 5000:5002], getattr(part, field.name), err_msg=field.name
        )


def test_a_batch_row_whose_wheels_stand_in_one_line_is_marked_and_quiet() -> None:
    car = _make([0.0] * (_COUNT + 3), Station.FRONT_LEFT, (Seat.BODY,) * 4)
    values = dimension_values(car)
    for name in ("front_left.offset", "front_right.offset"):
        values[dimension_names().index(name)] = -car.body.wheelbase.value
    rows = np.stack((dimension_values(car), values))
    assert list(stances(car, rows, seats=dict.fromkeys(Station, Seat.BODY)).carrying) == [0, -1]
