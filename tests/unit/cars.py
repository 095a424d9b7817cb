"""Cars and readings to try the bench on; shared by the tests of the setup."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from rollwright.car import Car, Seat, Station, parse_car
from rollwright.car.dimensions import dimension_names, dimension_of, with_dimensions
from rollwright.car.model import Target
from rollwright.quantity import Quantity, Source
from rollwright.scenario.club import file_text
from rollwright.setup.hand import Hand
from rollwright.setup.readings import Reading, ReadingKind

MM = 1e-3
DEG = np.pi / 180.0
PERFECT = Hand(bend=1e-9, turn=1e-9, relief=1e-12, washer=1e-12, shim=1e-12)
"""A hand that hits what it is asked for."""

_FLAT = """
format = 1
[body]
width = 50
wheelbase = 120
centre_of_mass = [40, 0, 10]
[wheels.disc]
diameter = 30
tread_width = 8
hub_projection = 2
bore = 2.5
[axles.pin]
shank = 2.4
bend = 0
[axles.steering]
shank = 2.4
bend = 0
[stations.rear_left]
hole_height = 9
axle = "pin"
seat = "body"
[stations.rear_right]
hole_height = 9
axle = "pin"
seat = "body"
[stations.front_left]
hole_height = 9
axle = "steering"
seat = "body"
[stations.front_right]
hole_height = 12
axle = "pin"
seat = "body"
[rail]
width = 44
height = 6
[board]
length = 1000
"""


@cache
def club_car(name: str) -> Car:
    """Return one of the demo club's cars."""
    return parse_car(file_text(f"{name}.toml"))


def lark() -> Car:
    """Return the demo club's car with a bent axle at the front left."""
    return club_car("lark")


def heron() -> Car:
    """Return the demo club's car for a class without bent axles."""
    return club_car("heron")


@cache
def flat_car() -> Car:
    """Return a car whose figures can be worked out by hand: straight level square axles, hubs at the body."""
    return parse_car(_FLAT)


def value_of(car: Car, name: str) -> float:
    """Return one dimension's value."""
    return dimension_of(car, name).value


def changed(car: Car, values: Mapping[str, float]) -> Car:
    """Return the car with other values and the uncertainties that it had."""
    return with_dimensions(
        car, {name: replace(dimension_of(car, name), value=value) for name, value in values.items()}
    )


def known_but_for(car: Car, spreads: Mapping[str, float]) -> Car:
    """Return the car with every dimension exact, save those whose standard uncertainties are given."""
    return with_dimensions(
        car,
        {
            name: replace(dimension_of(car, name), uncertainty=spreads.get(name, 0.0))
            for name in dimension_names()
        },
    )


def aimed(car: Car, *, level: float = 0.0, drift: float = 0.0, rail: float = 0.0) -> Car:
    """Return the car with other target values [m] and the tolerances that it had."""
    old = car.targets
    return replace(
        car,
        targets=replace(
            old,
            height_difference=Target(value=level, tolerance=old.height_difference.tolerance),
            drift=Target(value=drift, tolerance=old.drift.tolerance),
            rail_offset=Target(value=rail, tolerance=old.rail_offset.tolerance),
        ),
    )


def mirrored(car: Car) -> Car:
    """Return the car seen in a mirror: left and right change places."""

    def flip(point: tuple[Quantity, Quantity, Quantity]) -> tuple[Quantity, Quantity, Quantity]:
        return (point[0], replace(point[1], value=-point[1].value), point[2])

    drift = car.targets.drift
    return replace(
        car,
        body=replace(car.body, centre_of_mass=flip(car.body.centre_of_mass)),
        corners={station: car.corners[station.opposite] for station in Station},
        weights={
            name: replace(weight, position=flip(weight.position)) for name, weight in car.weights.items()
        },
        dominant=car.dominant.opposite,
        targets=replace(car.targets, drift=replace(drift, value=-drift.value)),
    )


def wanted_of(car: Car) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return target values and tolerances of level, drift and rail offset [m]."""
    each = (car.targets.height_difference, car.targets.drift, car.targets.rail_offset)
    return np.array([one.value for one in each]), np.array([one.tolerance for one in each])


def reading(
    kind: ReadingKind,
    value: float = 0.0,
    uncertainty: float = 0.04 * MM,
    *,
    where: str = "",
    station: Station | None = None,
    distance: float | None = None,
    width: float | None = None,
    thickness: float = 12.0 * MM,
    seat: Seat | None = None,
    plane: str = "cant",
    against: float = 0.0,
    dimension: str = "",
    trace: tuple[tuple[float, float], ...] = (),
    set_up: str = "",
    common: float = 0.0,
) -> Reading:
    """Return a reading [m, rad]."""
    return Reading(
        kind=kind,
        quantity=Quantity(value=value, uncertainty=uncertainty, source=Source.MEASURED),
        where=where or kind.words,
        station=station,
        distance=distance,
        width=width,
        thickness=thickness,
        seat=seat,
        plane=plane,
        against=against,
        dimension=dimension,
        trace=trace,
        set_up=set_up,
        common=common,
    )


def three_readings(
    level: float, drift: float, rail: float, *, sharpness: float = 1.0
) -> tuple[Reading, Reading, Reading]:
    """Return one reading of each gate quantity [m] by ordinary gauges, or by sharper ones."""
    return (
        reading(ReadingKind.HEIGHT_DIFFERENCE, level, 0.04 * MM / sharpness),
        reading(ReadingKind.DRIFT, drift, 2.5 * MM / sharpness),
        reading(ReadingKind.RAIL_OFFSET, rail, 0.04 * MM / sharpness),
    )
