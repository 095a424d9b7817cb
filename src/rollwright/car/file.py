"""Reading a car file: TOML text in, a checked `Car` out."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rollwright.car.keys import (
    AXLE_KEYS,
    BOARD_KEYS,
    BODY_KEYS,
    RAIL_KEYS,
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
from rollwright.errors import (
    FileUnreadable,
    InputError,
    MissingReference,
    OutOfRange,
    WrongType,
    echo,
)
from rollwright.quantity import Quantity
from rollwright.units import Kind, show

__all__ = ["FORMAT", "load_toml", "parse_car", "parse_toml", "read_car"]

FORMAT = 1
_LARGEST = 1_000_000
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
    "targets",
)
_DEFAULT_PART = "standard"


def load_toml(path: str | os.PathLike[str], *, what: str) -> str:
    """Return the text of a file that should hold TOML.

    Args:
        path: where it is.
        what: what it should be, for messages, as in `car file`.

    Returns:
        The text.

    Raises:
        FileUnreadable: it is missing, a folder, too large, not readable or not UTF-8 text.
    """
    file = Path(path)
    name = echo(str(path)).strip("'\"")
    try:
        if file.is_dir():
            raise FileUnreadable("this is a folder", mend=f"name the {what} in it", file=name)
        with file.open("rb") as stream:
            raw = stream.read(_LARGEST + 1)
    except FileNotFoundError:
        raise FileUnreadable(
            "there is no such file",
            mend="check the name, or write a new one with: rollwright new CAR.toml",
            file=name,
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it cannot be opened"
        raise FileUnreadable(
            str(reason).lower(), mend="check the name and its permissions", file=name
        ) from None
    if len(raw) > _LARGEST:
        raise FileUnreadable(f"more than 1 MB is not a {what}", mend="check the name", file=name)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise FileUnreadable(
            "this is not UTF-8 text",
            mend="save the file as UTF-8 and try again",
            file=name,
            key=f"line {line}",
        ) from None


def parse_toml(text: str, *, file: str) -> dict[str, Any]:
    """Return the TOML tables of a text whose `format` this version reads.

    Args:
        text: the file's text.
        file: its name, for messages.

    Returns:
        The tables.

    Raises:
        FileUnreadable: the text is not TOML, or of another format.
    """
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason, _, place = str(error).partition(" (at ")
        raise FileUnreadable(
            f"this is not TOML: {reason[:1].lower()}{reason[1:]}",
            mend='a text needs quotes, as in width = "1 3/4 in", and a heading needs brackets',
            file=file,
            key=place.rstrip(")").split(",")[0] if place else "",
        ) from None
    except RecursionError:
        raise FileUnreadable("brackets are nested too deeply", mend="check the file", file=file) from None
    if "format" not in found:
        raise FileUnreadable(
            "the format is not said", mend="write format = 1 as the first line", file=file, key="format"
        )
    number = found["format"]
    if number != FORMAT or isinstance(number, bool):
        newer = isinstance(number, int) and number > FORMAT
        raise FileUnreadable(
            f"format {echo(number)} is not known; this version reads format {FORMAT}",
            mend="update rollwright" if newer else f"write format = {FORMAT}",
            file=file,
            key="format",
        )
    return found


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
    check_names(top, _TOP, at="")
    assumed: list[str] = []
    body = _body(table_at(top, "body"), assumed)
    wheels = {
        name: _wheel(table, f"wheels.{name}", assumed) for name, table in read_tables(top, "wheels").items()
    }
    axles = {
        name: _axle(table, f"axles.{name}", assumed) for name, table in read_tables(top, "axles").items()
    }
    if not wheels:
        wheels = {_DEFAULT_PART: _wheel({}, f"wheels.{_DEFAULT_PART}", assumed)}
    if not axles:
        axles = {_DEFAULT_PART: _axle({}, f"axles.{_DEFAULT_PART}", assumed)}
    stations = table_at(top, "stations")
    check_names(stations, (station.value for station in Station), at="stations")
    corners = {
        station: _corner(
            table_at(stations, station.value, at="stations"),
            station=station,
            wheels=wheels,
            axles=axles,
            assumed=assumed,
        )
        for station in Station
    }
    setup = table_at(top, "setup")
    check_names(setup, ("dominant", "bent_axles"), at="setup")
    dominant = _dominant(setup, assumed)
    rail_table, board_table = table_at(top, "rail"), table_at(top, "board")
    rail = _quantities(rail_table, RAIL_KEYS, at="rail", assumed=assumed)
    board = _quantities(board_table, BOARD_KEYS, at="board", assumed=assumed)
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
    """Return the name of the wheel or axle at a station: as said, the only one, or the one of its name."""
    key = f"stations.{station.value}.{kind}"
    if kind in table:
        name = table[kind]
        if not isinstance(name, str) or name not in known:
            raise MissingReference(
                f"there is no [{kind}s.{name}]",
                mend=nearest(str(name), known),
                key=key,
            )
        return name
    if len(known) == 1:
        return next(iter(known))
    if station.value in known:
        return station.value
    raise MissingReference(
        f"the file has {len(known)} {kind}s and does not say which one is here",
        mend=f'write {kind} = "{next(iter(known))}" or another of {", ".join(known)}',
        key=key,
    )


def _corner(
    table: Mapping[str, Any],
    *,
    station: Station,
    wheels: Mapping[str, Wheel],
    axles: Mapping[str, Axle],
    assumed: list[str],
) -> Corner:
    at = f"stations.{station.value}"
    quantities = _quantities(table, STATION_KEYS, at=at, assumed=assumed, more=("seat", "wheel", "axle"))
    seat = table.get("seat")
    words = [known.value for known in Seat]
    if seat is not None and seat not in words:
        raise WrongType(
            f"{echo(seat)} is not a seat", mend=f"write {', '.join(words)}, or leave it out", key=f"{at}.seat"
        )
    return Corner(
        **quantities,
        seat=None if seat is None else Seat(seat),
        wheel=_part(table, "wheel", station=station, known=wheels),
        axle=_part(table, "axle", station=station, known=axles),
    )


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
            value = target.value if dominant is Station.FRONT_LEFT else -target.value + 0.0
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
