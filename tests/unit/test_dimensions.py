"""The fixed list of a car's dimensions, by name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rollwright.car import Car, Seat, Station, parse_car
from rollwright.car.dimensions import (
    GLOBAL_DIMENSIONS,
    STATION_DIMENSIONS,
    dimension_kind,
    dimension_names,
    dimension_of,
    file_key,
    matters,
    with_dimensions,
)
from rollwright.errors import MissingReference
from rollwright.geometry import stance
from rollwright.geometry.many import dimension_values
from rollwright.quantity import Quantity, Source
from rollwright.units import Kind

CAR = """
format = 1
[wheels.disc]
diameter = 31
[axles.straight]
bend = 0
[axles.bent]
bend = 2
[stations.rear_left]
axle = "straight"
[stations.rear_right]
axle = "straight"
[stations.front_left]
axle = "bent"
seat = "body"
clock = 15
[stations.front_right]
axle = "straight"
hole_height = 11
"""


def _car() -> Car:
    return parse_car(CAR)


def _quantity(value: float) -> Quantity:
    return Quantity(value=value, uncertainty=1e-5, source=Source.MEASURED)


def test_the_names_are_five_and_fifteen_a_station_without_a_double() -> None:
    names = dimension_names()
    assert len(names) == len(set(names)) == 5 + 4 * 15
    assert names[:5] == GLOBAL_DIMENSIONS
    assert names[5:20] == tuple(f"rear_left.{name}" for name in STATION_DIMENSIONS)
    assert names[-1] == "front_right.bore"


def test_every_dimension_can_be_read_and_is_where_the_car_keeps_it() -> None:
    car = _car()
    assert dimension_of(car, "body.width") is car.body.width
    assert dimension_of(car, "rail.height") is car.rail.height
    assert dimension_of(car, "board.length") is car.board.length
    assert dimension_of(car, "front_left.clock") is car.corners[Station.FRONT_LEFT].clock
    assert dimension_of(car, "front_left.bend") is car.axles["bent"].bend
    assert dimension_of(car, "rear_right.diameter") is car.wheels["disc"].diameter
    assert list(dimension_values(car)) == [dimension_of(car, name).value for name in dimension_names()]


@pytest.mark.parametrize("name", dimension_names())
def test_every_dimension_can_be_replaced_and_nothing_else_changes(name: str) -> None:
    car = _car()
    new = _quantity(dimension_of(car, name).value + 1e-4)
    changed = with_dimensions(car, {name: new})
    for other in dimension_names():
        expected = new if other == name else dimension_of(car, other)
        assert dimension_of(changed, other) == expected
    assert dimension_of(car, name) != new, "the car itself is left alone"


def test_a_bend_in_one_axle_does_not_appear_in_another_that_shared_its_description() -> None:
    changed = with_dimensions(_car(), {"rear_left.bend": _quantity(0.02)})
    assert changed.axle_at(Station.REAR_LEFT).bend.value == 0.02
    assert changed.axle_at(Station.REAR_RIGHT).bend.value == 0.0
    assert changed.axles["straight"].bend.value == 0.0


def test_two_changes_of_one_part_are_both_kept() -> None:
    changed = with_dimensions(
        _car(),
        {
            "front_left.bend": _quantity(0.05),
            "front_left.bend_at": _quantity(0.001),
            "front_left.bore": _quantity(0.0026),
            "front_left.diameter": _quantity(0.0305),
            "front_left.clock": _quantity(0.3),
            "front_left.washer": _quantity(0.0002),
        },
    )
    axle, wheel = changed.axle_at(Station.FRONT_LEFT), changed.wheel_at(Station.FRONT_LEFT)
    assert (axle.bend.value, axle.bend_at.value) == (0.05, 0.001)
    assert (wheel.bore.value, wheel.diameter.value) == (0.0026, 0.0305)
    corner = changed.corners[Station.FRONT_LEFT]
    assert (corner.clock.value, corner.washer.value) == (0.3, 0.0002)


def test_no_changes_make_the_same_car() -> None:
    car = _car()
    assert stance(with_dimensions(car, {})).as_json() == stance(car).as_json()


@pytest.mark.parametrize(
    "name", ["front_left.camber", "middle_left.cant", "body.length", "", "bend", "a.b.c"]
)
def test_an_unknown_name_is_refused_with_an_example(name: str) -> None:
    car = _car()
    with pytest.raises(MissingReference, match="no dimension named") as caught:
        dimension_of(car, name)
    assert "front_left.hole_height" in str(caught.value)
    with pytest.raises(MissingReference):
        with_dimensions(car, {name: _quantity(0.0)})
    with pytest.raises(MissingReference):
        file_key(car, name)
    with pytest.raises(MissingReference):
        matters(car, name)


def test_four_dimensions_of_a_station_are_angles_and_the_rest_lengths() -> None:
    angles = {name for name in dimension_names() if dimension_kind(name) is Kind.ANGLE}
    assert angles == {
        f"{station.value}.{name}" for station in Station for name in ("cant", "sweep", "clock", "bend")
    }
    assert all(dimension_kind(name) in {Kind.ANGLE, Kind.LENGTH} for name in dimension_names())


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("body.width", "body.width"),
        ("front_left.relief", "stations.front_left.relief"),
        ("front_left.bend", "axles.bent.bend"),
        ("rear_right.bend", "axles.straight.bend"),
        ("rear_right.tread_width", "wheels.disc.tread_width"),
    ],
)
def test_the_key_in_the_file_names_the_part(name: str, key: str) -> None:
    assert file_key(_car(), name) == key


def _moves_anything(name: str) -> bool:
    car = _car()
    by = 2e-3 if dimension_kind(name) is Kind.ANGLE else 1e-5
    changed = with_dimensions(car, {name: _quantity(dimension_of(car, name).value + by)})
    before, after = stance(car).as_json(), stance(changed).as_json()
    return before != after


@pytest.mark.parametrize(
    "name",
    [
        "rear_left.clock",
        "rear_left.bend_at",
        "front_left.play",
        "front_left.clock",
        "front_left.bend_at",
        "rear_left.play",
        "front_right.clock",
    ],
)
def test_what_matters_is_what_moves_the_car(name: str) -> None:
    assert matters(_car(), name) is _moves_anything(name)


def test_play_matters_unless_the_wheel_is_said_to_run_against_the_body() -> None:
    car = _car()
    assert not matters(car, "front_left.play")
    corners = dict(car.corners)
    corners[Station.FRONT_LEFT] = replace(corners[Station.FRONT_LEFT], seat=Seat.MIDDLE)
    assert matters(replace(car, corners=corners), "front_left.play")
