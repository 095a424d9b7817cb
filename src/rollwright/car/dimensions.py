"""The dimensions that a car's stance depends on, by name and in a fixed order.

The order is that of the columns of every vector and covariance in `setup`, and of the batch
computation in `geometry.many`. Values are SI: lengths in metres, angles in radians.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import cache

from rollwright.car.model import Car, Corner, Seat, Station
from rollwright.errors import MissingReference
from rollwright.quantity import Quantity, Source
from rollwright.units import Kind

__all__ = [
    "GLOBAL_DIMENSIONS",
    "STATION_DIMENSIONS",
    "dimension_kind",
    "dimension_names",
    "dimension_of",
    "file_key",
    "free_deviations",
    "matters",
    "with_dimensions",
]

GLOBAL_DIMENSIONS = ("body.width", "body.wheelbase", "rail.width", "rail.height", "board.length")
_CORNER_DIMENSIONS = ("hole_height", "cant", "sweep", "offset", "relief", "washer", "play", "clock")
_AXLE_DIMENSIONS = ("shank", "bend", "bend_at")
_WHEEL_DIMENSIONS = ("diameter", "tread_width", "hub_projection", "bore")
STATION_DIMENSIONS = _CORNER_DIMENSIONS + _AXLE_DIMENSIONS + _WHEEL_DIMENSIONS
_ANGLES = frozenset({"cant", "sweep", "clock", "bend"})
_CROOKED = math.radians(0.1)
"""How crooked a straight pin is that nobody measured, one standard deviation (judgement)."""
_ONLY_IF_BENT = frozenset({"clock", "bend_at"})


@cache
def dimension_names() -> tuple[str, ...]:
    """Return the names of all dimensions in their fixed order.

    Returns:
        Names such as `body.width` and `front_left.bend`: first the five that belong to no station, then
        fifteen for each station.
    """
    return GLOBAL_DIMENSIONS + tuple(
        f"{station.value}.{name}" for station in Station for name in STATION_DIMENSIONS
    )


def dimension_kind(name: str) -> Kind:
    """Return whether a dimension is a length or an angle.

    Args:
        name: a name from `dimension_names`.

    Returns:
        `Kind.ANGLE` or `Kind.LENGTH`.
    """
    return Kind.ANGLE if name.rpartition(".")[2] in _ANGLES else Kind.LENGTH


@cache
def _split(name: str) -> tuple[Station | None, str]:
    head, _, last = name.partition(".")
    if name in GLOBAL_DIMENSIONS:
        return None, name
    if last in STATION_DIMENSIONS:
        for station in Station:
            if station.value == head:
                return station, last
    raise MissingReference(
        f'there is no dimension named "{name}"',
        mend="write one such as body.width, rail.width or front_left.hole_height",
    )


def dimension_of(car: Car, name: str) -> Quantity:
    """Return one dimension of a car.

    Args:
        car: the car.
        name: a name from `dimension_names`.

    Returns:
        The quantity that the car holds under that name.

    Raises:
        MissingReference: there is no dimension of that name.
    """
    station, last = _split(name)
    if station is None:
        part, _, field = name.partition(".")
        found: Quantity = getattr(getattr(car, part), field)
    elif last in _CORNER_DIMENSIONS:
        found = getattr(car.corners[station], last)
    elif last in _AXLE_DIMENSIONS:
        found = getattr(car.axle_at(station), last)
    else:
        found = getattr(car.wheel_at(station), last)
    return found


def file_key(car: Car, name: str) -> str:
    """Return the key of the car file that holds a dimension.

    Args:
        car: the car, for the names of the wheel and axle at the station.
        name: a name from `dimension_names`.

    Returns:
        Such as `stations.front_left.clock` or `axles.steering pin.bend`.

    Raises:
        MissingReference: there is no dimension of that name.
    """
    station, last = _split(name)
    if station is None:
        return name
    if last in _CORNER_DIMENSIONS:
        return f"stations.{station.value}.{last}"
    corner = car.corners[station]
    return f"axles.{corner.axle}.{last}" if last in _AXLE_DIMENSIONS else f"wheels.{corner.wheel}.{last}"


def matters(car: Car, name: str) -> bool:
    """Return whether a dimension can have any influence on where the car sits.

    The clock and place of the bend of a straight axle have none; nor has the play of a wheel that
    is said to run against the body.

    Args:
        car: the car.
        name: a name from `dimension_names`.

    Returns:
        False where the car does not depend on the dimension at all.

    Raises:
        MissingReference: there is no dimension of that name.
    """
    station, last = _split(name)
    if station is None:
        return True
    if last in _ONLY_IF_BENT:
        return car.axle_at(station).bend.value != 0.0
    return last != "play" or car.corners[station].seat is not Seat.BODY


def _holder_of(last: str) -> str:
    """Return which part of a station holds a dimension: its corner, axle or wheel."""
    if last in _CORNER_DIMENSIONS:
        return "corner"
    return "axle" if last in _AXLE_DIMENSIONS else "wheel"


def _own_name(corners: Mapping[Station, Corner], station: Station, part: str) -> str:
    """Return a name for a station's own wheel or axle that no other station's part bears."""
    taken = {getattr(corner, part) for other, corner in corners.items() if other is not station}
    name = f"{station.value} {part}"
    while name in taken:
        name += " (own)"
    return name


def free_deviations(car: Car, *, read: Collection[str] = ()) -> Mapping[str, float]:
    """Return the dimensions that are not known exactly, with their standard uncertainties.

    A straight pin is never quite straight, and nobody knows which way it is not: its crookedness counts
    as that much more cant and sweep, which is what it does. Where no washer is said to be, there is none.

    Args:
        car: the car.
        read: names of dimensions that a reading speaks of itself; such a bend is in question after all.

    Returns:
        Standard uncertainty [m or rad] by name, in the order of `dimension_names`; dimensions without
        uncertainty, or without any say on this car, are left out.
    """
    bends = {station: car.axle_at(station).bend for station in Station}
    crooked = {
        station: bend.uncertainty if bend.source is Source.MEASURED else min(bend.uncertainty, _CROOKED)
        for station, bend in bends.items()
        if bend.value == 0.0 and f"{station.value}.bend" not in read
    }
    found: dict[str, float] = {}
    for name in dimension_names():
        station, last = _split(name)
        quantity = dimension_of(car, name)
        deviation = quantity.uncertainty
        if station in crooked:
            if last == "bend":
                continue
            if last in {"cant", "sweep"}:
                deviation = math.hypot(deviation, crooked[station])
        if last == "washer" and quantity.value == 0.0 and quantity.source is not Source.MEASURED:
            continue
        if deviation > 0.0 and matters(car, name):
            found[name] = deviation
    return found


def with_dimensions(car: Car, values: Mapping[str, Quantity]) -> Car:
    """Return the car with some of its dimensions replaced.

    Wheels and axles become individuals on the way (`front_left wheel`, `front_left axle`): a bend put
    into one axle must not appear in another that merely shared its description.

    Args:
        car: the car to start from; it is not changed.
        values: new quantities by dimension name.

    Returns:
        The new car.

    Raises:
        MissingReference: a name is not a dimension.
    """
    parts: dict[str, dict[str, Quantity]] = {"body": {}, "rail": {}, "board": {}}
    changes: dict[tuple[Station, str], dict[str, Quantity]] = {}
    for name, quantity in values.items():
        station, last = _split(name)
        if station is None:
            part, _, field = name.partition(".")
            parts[part][field] = quantity
        else:
            changes.setdefault((station, _holder_of(last)), {})[last] = quantity
    corners = dict(car.corners)
    wheels = dict(car.wheels)
    axles = dict(car.axles)
    for (station, holder), new in changes.items():
        corner: Corner = corners[station]
        if holder == "corner":
            corners[station] = replace(corner, **new)  # type: ignore[arg-type]  # keys are checked above
            continue
        own = _own_name(corners, station, holder)
        if holder == "axle":
            axles[own] = replace(axles[corner.axle], **new)
            corners[station] = replace(corner, axle=own)
        else:
            wheels[own] = replace(wheels[corner.wheel], **new)
            corners[station] = replace(corner, wheel=own)
    return replace(
        car,
        body=replace(car.body, **parts["body"]),  # type: ignore[arg-type]  # only quantities are renamed here
        rail=replace(car.rail, **parts["rail"]),
        board=replace(car.board, **parts["board"]),
        wheels=wheels,
        axles=axles,
        corners=corners,
    )
