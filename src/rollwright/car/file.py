"""Reading a car file: TOML text in, a checked `Car` out."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rollwright.car.keys import (
    AXLE_KEYS,
    BOARD_KEYS,
    BODY_KEYS,
    DRILL_KEYS,
    RAIL_KEYS,
    RAISED_STATION_KEYS,
    STATION_KEYS,
    TARGETS,
    WEIGHT_KEYS,
    WHEEL_KEYS,
    Key,
)
from rollwright.car.model import (
    Axle,
    Board,
    Body,
    Car,
    Corner,
    Drill,
    Point,
    Rail,
    Seat,
    Station,
    Target,
    Targets,
    Weight,
    Wheel,
)
from rollwright.car.table import (
    check_names,
    nearest,
    read_flag,
    read_point,
    read_quantity,
    read_tables,
    read_target,
    read_text,
    table_at,
)
from rollwright.car.toml_file import FORMAT, load_toml, parse_toml
from rollwright.errors import InputError, MissingReference, OutOfRange, WrongType, echo
from rollwright.quantity import Quantity
from rollwright.units import Kind, show

__all__ = ["FORMAT", "load_toml", "parse_car", "parse_toml", "read_car"]

_TOP = (
    "format",
    "name",
    "body",
    "wheels",
    "axles",
    "stations",
    "weights",
    "setup",
    "rail",
    "board",
    "drill",
    "targets",
)
_DEFAULT_PART = "standard"
_STATION_NAMES = frozenset(station.value for station in Station)


def read_car(path: str | os.PathLike[str]) -> Car:
    """Read a car file.

    Args:
        path: where the file is.

    Returns:
        The checked car; what the file leaves out is filled from the shipped defaults and named in
        `Car.assumed`.

    Raises:
        InputError: the file cannot be used; the message names the file, the key and the mend.
    """
    return parse_car(load_toml(path, what="car file"), file=Path(path).name)


def parse_car(text: str, *, file: str = "car.toml") -> Car:
    """Read a car from the text of its file.

    Args:
        text: TOML text, `format = 1`. Bare numbers are millimetres, degrees and grams.
        file: the file's name, for messages.

    Returns:
        The checked car.

    Raises:
        InputError: the text cannot be used; the message names the file, the key and the mend.
    """
    try:
        return _car(parse_toml(text, file=file))
    except InputError as error:
        raise error.at(file=file) from None


def _car(top: Mapping[str, Any]) -> Car:
    if "reading" in top:
        raise WrongType(
            "this is a readings file, not a car file", mend="name the car file first, its readings after it"
        )
    check_names(top, _TOP, at="")
    assumed: list[str] = []
    body = _body(table_at(top, "body"), assumed)
    wheels = {
        name: _wheel(table, f"wheels.{name}", assumed) for name, table in read_tables(top, "wheels").items()
    }
    axles = {
        name: _axle(table, f"axles.{name}", assumed) for name, table in read_tables(top, "axles").items()
    }
    stations = table_at(top, "stations")
    check_names(stations, (station.value for station in Station), at="stations")
    tables = {station: table_at(stations, station.value, at="stations") for station in Station}
    fitted = {
        station: (
            _part(table, "wheel", station=station, known=wheels),
            _part(table, "axle", station=station, known=axles),
        )
        for station, table in tables.items()
    }
    if any(wheel not in wheels for wheel, _ in fitted.values()):
        wheels[_DEFAULT_PART] = _wheel({}, f"wheels.{_DEFAULT_PART}", assumed)
    if any(axle not in axles for _, axle in fitted.values()):
        axles[_DEFAULT_PART] = _axle({}, f"axles.{_DEFAULT_PART}", assumed)
    setup = table_at(top, "setup")
    check_names(setup, ("dominant", "bent_axles"), at="setup")
    dominant = _dominant(setup, assumed)
    corners = {
        station: _corner(
            table,
            station=station,
            keys=RAISED_STATION_KEYS if station is dominant.opposite else STATION_KEYS,
            wheel=fitted[station][0],
            axle=fitted[station][1],
            assumed=assumed,
        )
        for station, table in tables.items()
    }
    rail_table, board_table = table_at(top, "rail"), table_at(top, "board")
    rail = _quantities(rail_table, RAIL_KEYS, at="rail", assumed=assumed)
    board = _quantities(board_table, BOARD_KEYS, at="board", assumed=assumed)
    drill = _quantities(table_at(top, "drill"), DRILL_KEYS, at="drill", assumed=assumed)
    car = Car(
        name=read_text(top, "name", at="", default="unnamed car"),
        body=body,
        wheels=wheels,
        axles=axles,
        corners=corners,
        weights={
            name: _weight(table, f"weights.{name}", assumed)
            for name, table in read_tables(top, "weights").items()
        },
        dominant=dominant,
        bent_axles=read_flag(setup, "bent_axles", at="setup", default=True),
        rail=Rail(**rail),
        board=Board(**board),
        targets=_targets(table_at(top, "targets"), dominant=dominant, assumed=assumed),
        drill=Drill(**drill),
        assumed=tuple(assumed),
    )
    _check_whole(car)
    return car


def _quantities(
    table: Mapping[str, Any],
    keys: tuple[Key, ...],
    *,
    at: str,
    assumed: list[str],
    more: tuple[str, ...] = (),
) -> dict[str, Any]:
    check_names(table, (*(key.name for key in keys), *more), at=at)
    return {
        key.name: (read_point if key.point else read_quantity)(table, key, at=at, assumed=assumed)
        for key in keys
    }


def _body(table: Mapping[str, Any], assumed: list[str]) -> Body:
    return Body(**_quantities(table, BODY_KEYS, at="body", assumed=assumed))


def _wheel(table: Mapping[str, Any], at: str, assumed: list[str]) -> Wheel:
    return Wheel(**_quantities(table, WHEEL_KEYS, at=at, assumed=assumed))


def _axle(table: Mapping[str, Any], at: str, assumed: list[str]) -> Axle:
    return Axle(**_quantities(table, AXLE_KEYS, at=at, assumed=assumed))


def _weight(table: Mapping[str, Any], at: str, assumed: list[str]) -> Weight:
    found = _quantities(table, WEIGHT_KEYS, at=at, assumed=assumed)
    mass: Quantity | None = found["mass"]
    position: Point | None = found["position"]
    if mass is None:
        raise WrongType(
            "the mass is missing", mend='write mass = 10 (grams) or mass = "0.4 oz"', key=f"{at}.mass"
        )
    if position is None:
        raise WrongType(
            "the position is missing", mend="write position = [forward, left, up]", key=f"{at}.position"
        )
    return Weight(mass=mass, position=position)


def _part(table: Mapping[str, Any], kind: str, *, station: Station, known: Mapping[str, object]) -> str:
    """Return the name of the wheel or axle at a station.

    It is the one that the station names; or the one that bears the station's name; or the only other one.
    When every part in the file is another station's own, the shipped one is fitted here.
    """
    key = f"stations.{station.value}.{kind}"
    others = [name for name in known if name not in _STATION_NAMES]
    if kind in table:
        name = table[kind]
        if not isinstance(name, str):
            raise WrongType(
                f"{echo(name)} is not a name",
                mend=f'write it in quotes, as in {kind} = "{_DEFAULT_PART}"',
                key=key,
            )
        if name not in known and (others or name != _DEFAULT_PART):
            raise MissingReference(
                f"there is no [{kind}s.{echo(name)[1:-1]}]",
                mend=nearest(name, known) if known else f'write it, or {kind} = "{_DEFAULT_PART}"',
                key=key,
            )
        return name
    if station.value in known:
        return station.value
    if not others:
        return _DEFAULT_PART
    if len(others) == 1:
        return others[0]
    raise MissingReference(
        f"the file has {len(known)} {kind}s and does not say which one is here",
        mend=f'write {kind} = "{others[0]}" or another of {", ".join(known)}',
        key=key,
    )


def _corner(
    table: Mapping[str, Any],
    *,
    station: Station,
    keys: tuple[Key, ...],
    wheel: str,
    axle: str,
    assumed: list[str],
) -> Corner:
    at = f"stations.{station.value}"
    quantities = _quantities(table, keys, at=at, assumed=assumed, more=("seat", "wheel", "axle"))
    seat = table.get("seat")
    words = [known.value for known in Seat]
    if seat is not None and seat not in words:
        raise WrongType(
            f"{echo(seat)} is not a seat", mend=f"write {', '.join(words)}, or leave it out", key=f"{at}.seat"
        )
    return Corner(**quantities, seat=None if seat is None else Seat(seat), wheel=wheel, axle=axle)


def _dominant(setup: Mapping[str, Any], assumed: list[str]) -> Station:
    if "dominant" not in setup:
        assumed.append("setup.dominant")
        return Station.FRONT_LEFT
    word = setup["dominant"]
    for station in (Station.FRONT_LEFT, Station.FRONT_RIGHT):
        if word == station.value:
            return station
    raise WrongType(
        f"{echo(word)} is not a front station", mend="write front_left or front_right", key="setup.dominant"
    )


def _targets(table: Mapping[str, Any], *, dominant: Station, assumed: list[str]) -> Targets:
    check_names(table, (target.name for target in TARGETS), at="targets")
    found: dict[str, Target] = {}
    for target in TARGETS:
        at = f"targets.{target.name}"
        value, tolerance = read_target(table.get(target.name, {}), at=at)
        if value is None:
            assumed.append(f"{at}.value")
            # The default drift is written for a dominant left wheel, which steers right into the rail.
            mirrored = target.name == "drift" and dominant is Station.FRONT_RIGHT
            value = -target.value if mirrored else target.value
        if tolerance is None:
            assumed.append(f"{at}.tolerance")
            tolerance = target.tolerance
        found[target.name] = Target(value=value, tolerance=tolerance)
    return Targets(**found)


def _check_whole(car: Car) -> None:
    """Refuse combinations that are impossible although each value alone is possible."""
    for station in Station:
        corner = car.corners[station]
        wheel, axle = car.wheel_at(station), car.axle_at(station)
        if corner.relief.value >= car.body.width.value / 2.0:
            raise OutOfRange(
                f"a relief of {show(corner.relief.value, kind=Kind.LENGTH)} leaves no wood at the "
                f"{station.words} wheel",
                mend="it must stay under half the body's width, "
                f"{show(car.body.width.value / 2, kind=Kind.LENGTH)}",
                key=f"stations.{station.value}.relief",
            )
        if wheel.bore.value < axle.shank.value:
            raise OutOfRange(
                f"a bore of {show(wheel.bore.value, kind=Kind.LENGTH)} does not go over the "
                f"{show(axle.shank.value, kind=Kind.LENGTH)} shank of axle {echo(corner.axle)}",
                mend=f"check it against axles.{corner.axle}.shank",
                key=f"wheels.{corner.wheel}.bore",
            )
        if axle.bend.value > 0.0 and not car.bent_axles:
            raise OutOfRange(
                "the axle is bent, but setup.bent_axles says that the class allows none",
                mend="write bend = 0 or bent_axles = true",
                key=f"axles.{corner.axle}.bend",
            )
    if car.body.wheelbase.value > car.body.length.value:
        raise OutOfRange(
            f"a wheelbase of {show(car.body.wheelbase.value, kind=Kind.LENGTH)} is longer than the body, "
            f"{show(car.body.length.value, kind=Kind.LENGTH)}",
            mend="check body.wheelbase and body.length",
            key="body.wheelbase",
        )
