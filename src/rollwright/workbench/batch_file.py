"""The batch file: bodies drilled with a jig, and what straight-edge, protractor and caliper said of them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rollwright.car.dimensions import dimension_of
from rollwright.car.keys import DRILL_KEYS, STATION_KEYS, Key
from rollwright.car.model import Car, Station, is_assumed
from rollwright.car.table import check_names, in_range, read_flag, read_quantity, read_text, table_at
from rollwright.car.toml_file import parse_toml
from rollwright.errors import InputError, OutOfRange, UnreadableQuantity, WrongType, echo
from rollwright.judge.batch_data import Body, Direction, Hole, Off
from rollwright.setup.reading_keys import DEFAULT_DISTANCE, DEFAULT_UNCERTAINTY_OF_ANGLE, LARGEST_GAP
from rollwright.units import Kind, parse

__all__ = ["BATCH_KEYS", "LOOK", "MOST_BODIES", "READ_KEYS", "Drilled", "SetAside", "gap_off", "parse_batch"]

MOST_BODIES = 2000
"""Bodies of one file: more than any club drills."""

LOOK = 0.02e-3
"""Standard uncertainty of where a gap begins to show or a feeler to go [m]: common practice, no source."""

BATCH_KEYS = ("format", "name", "car", "drill", "meant", "gauges", "body")
"""Keys at the top of a batch file."""

READ_KEYS = ("value", "uncertainty", "gap", "goes", "stops", "distance", "against")
"""Keys of one reading that is written as a table."""

_MM = 1e-3
_LEAST = 1e-9
_SIDES = {"up": 1.0, "down": -1.0, "forward": 1.0, "backward": -1.0, "high": 1.0, "low": -1.0}
_ALLOWED = {
    Direction.CANT: {"up", "down"},
    Direction.SWEEP: {"forward", "backward"},
    Direction.HOLE_HEIGHT: {"high", "low"},
}
_EXAMPLE = {
    Direction.CANT: 'write "2.75 deg up", "0.15 mm up", "none", "seen" or { goes = 0.1, stops = 0.15 }',
    Direction.SWEEP: 'write "0.14 mm forward", "0.2 deg", "none", "seen" or { goes = 0.1, stops = 0.15 }',
    Direction.HOLE_HEIGHT: "write the hole's height above the underside, as in 9.05",
}
_SIDE = re.compile(r"\s*\b(up|down|forward|backward|high|low)\s*$", re.IGNORECASE)
_TOLERANCE = {key.name: key for key in DRILL_KEYS}
_STATION = {key.name: key for key in STATION_KEYS}


def _gauge(name: str, kind: Kind, low: float, high: float, default: float, text: str) -> Key:
    return Key(name=name, kind=kind, low=low, high=high, default=default, drawing=0.0, guess=0.0, help=text)


_GAUGES = {
    key.name: key
    for key in (
        _gauge("distance", Kind.LENGTH, 1 * _MM, 1.0, DEFAULT_DISTANCE, "side face to where a gap is read"),
        # A judgement with a standard uncertainty of 0.05 mm, evenly spread, is root three times as wide.
        _gauge("sees", Kind.LENGTH, 0.001 * _MM, 5 * _MM, 0.0866 * _MM, "least gap that shows daylight"),
        _gauge("look", Kind.LENGTH, _LEAST, 5 * _MM, LOOK, "standard uncertainty of a look or a feeler"),
        _gauge("gap", Kind.LENGTH, _LEAST, 5 * _MM, 0.05 * _MM, "the same of a measured gap"),
        _gauge("angle", Kind.ANGLE, _LEAST, 0.2, DEFAULT_UNCERTAINTY_OF_ANGLE, "the same of an angle"),
        _gauge("height", Kind.LENGTH, _LEAST, 5 * _MM, 0.02 * _MM, "the same of a hole's height"),
        _gauge("cant", Kind.ANGLE, -0.8, 0.8, 0.0, "where the straight-edge stands for a cant; level: 0"),
        _gauge("sweep", Kind.ANGLE, -0.8, 0.8, 0.0, "where it stands for a sweep; square: 0"),
    )
}
"""Keys of `[gauges]` with their defaults [SI]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A body that does not count: its `name` and the reason `why`."""

    name: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drilled:
    """Bodies as a file or a log tells them.

    Attributes:
        name: what the batch is called.
        bodies: in the order of drilling, of all set-ups.
        tolerances: how far a hole may be off, either way [rad or m].
        assumed: names of the tolerances that nobody gave.
        idle: station whose wheel does not carry; None where no car says so.
        set_aside: bodies of which nothing is known.
    """

    name: str
    bodies: tuple[Body, ...]
    tolerances: Mapping[Direction, float]
    assumed: tuple[str, ...]
    idle: Station | None
    set_aside: tuple[SetAside, ...]


def gap_off(
    low: float, high: float, *, distance: float, against: float, meant: float, uncertainty: float
) -> Off:
    """Return what a gap, or a range of gaps, at a straight-edge says of an angle.

    Args:
        low: least gap [m], positive: outer end up or forward.
        high: greatest; the same for a number.
        distance: side face to where it was read [m].
        against: angle at which the straight-edge stood [rad].
        meant: what the hole was meant to be [rad].
        uncertainty: standard uncertainty of the gap [m].

    Returns:
        How far the hole is off: `atan(tan(against) + gap / distance) - meant`.
    """

    def angle(gap: float) -> float:
        if math.isinf(gap):
            return gap
        return math.atan(math.tan(against) + gap / distance) - meant

    slope = math.tan(against)
    return Off(low=angle(low), high=angle(high), uncertainty=uncertainty / distance / (1.0 + slope * slope))


def parse_batch(text: str, *, file: str, car: Car | None) -> Drilled:
    """Read a batch from the text of its file.

    Args:
        text: TOML text, `format = 1`. Bare numbers are millimetres and degrees.
        file: the file's name, for messages.
        car: car file that says what the holes are meant to be and how far they may be off; None: the batch
            file says it all itself.

    Returns:
        The bodies.

    Raises:
        InputError: the text cannot be used; the message names the file, the key and the mend.
    """
    try:
        return _drilled(parse_toml(text, file=file), car)
    except InputError as error:
        raise error.at(file=file) from None


def _drilled(top: Mapping[str, Any], car: Car | None) -> Drilled:
    for what, headings in (
        ("a car file", {"wheels", "axles", "stations"}),
        ("a readings file", {"reading", "hand"}),
        ("a class file", {"rules"}),
        ("a pockets file", {"pockets"}),
        ("a track file", {"profile", "losses"}),
    ):
        if not headings.isdisjoint(top):
            raise WrongType(f"this is {what}, not a batch file", mend="name the file with the drilled bodies")
    check_names(top, BATCH_KEYS, at="")
    tolerances, assumed = _tolerances(table_at(top, "drill"), car)
    meant = _meant(table_at(top, "meant"), car)
    gauges = _gauges(table_at(top, "gauges"))
    written = top.get("body", [])
    if not isinstance(written, list) or not all(isinstance(each, Mapping) for each in written):
        raise WrongType("bodies are a list of tables", mend="write [[body]] in two brackets", key="body")
    if not written:
        raise WrongType("there is no body", mend="write [[body]] and what was read of it", key="body")
    if len(written) > MOST_BODIES:
        raise OutOfRange(
            f"{len(written)} are more than {MOST_BODIES}", mend="leave the oldest out", key="body"
        )
    every = [_body(each, number, gauges=gauges, meant=meant) for number, each in enumerate(written, start=1)]
    return Drilled(
        name=read_text(top, "name", at="", default="unnamed batch"),
        bodies=tuple(body for body in every if body.offs or body.accepted is not None),
        tolerances=tolerances,
        assumed=assumed,
        idle=None if car is None else car.raised,
        set_aside=tuple(
            SetAside(name=body.name, why="nothing was read of it, and nobody said whether it was accepted")
            for body in every
            if not body.offs and body.accepted is None
        ),
    )


def _tolerances(table: Mapping[str, Any], car: Car | None) -> tuple[dict[Direction, float], tuple[str, ...]]:
    check_names(table, _TOLERANCE, at="drill")
    found: dict[Direction, float] = {}
    assumed: list[str] = []
    for way in Direction:
        ignored: list[str] = []
        given = read_quantity(table, _TOLERANCE[way.value], at="drill", assumed=ignored)
        if way.value not in table and car is not None:
            given = getattr(car.drill, way.value)
            if is_assumed(given):
                assumed.append(f"drill.{way.value}")
        else:
            assumed += ignored
        if given is None or not given.value > 0.0:
            raise OutOfRange(
                "a tolerance of zero lets no hole pass", mend="write one above zero", key=f"drill.{way.value}"
            )
        found[way] = given.value
    return found, tuple(assumed)


def _meant(table: Mapping[str, Any], car: Car | None) -> dict[Hole, float]:
    check_names(table, (station.value for station in Station), at="meant")
    found = {}
    for station in Station:
        at = f"meant.{station.value}"
        inner = table_at(table, station.value, at="meant")
        check_names(inner, (way.value for way in Direction), at=at)
        for way in Direction:
            hole = Hole(station=station, direction=way)
            if way.value in inner:
                given = read_quantity(inner, _STATION[way.value], at=at, assumed=[])
                found[hole] = given.value if given is not None else 0.0
            elif car is not None:
                found[hole] = dimension_of(car, hole.name).value
    return found


def _gauges(table: Mapping[str, Any]) -> dict[str, float]:
    check_names(table, _GAUGES, at="gauges")
    found = {}
    for name, key in _GAUGES.items():
        given = read_quantity(table, key, at="gauges", assumed=[])
        found[name] = given.value if given is not None else 0.0
    return found


def _body(
    table: Mapping[str, Any], number: int, *, gauges: Mapping[str, float], meant: Mapping[Hole, float]
) -> Body:
    at = f"body {number}"
    stations = [station.value for station in Station]
    check_names(table, ("name", "set_up", "accepted", "note", *stations), at=at)
    read_text(table, "note", at=at, default="none")
    offs: dict[Hole, Off] = {}
    for station in Station:
        inner = table_at(table, station.value, at=at)
        check_names(inner, (way.value for way in Direction), at=f"{at}.{station.value}")
        for way in Direction:
            if way.value in inner:
                hole = Hole(station=station, direction=way)
                key = f"{at}.{hole.name}"
                try:
                    offs[hole] = _off(inner[way.value], hole, key, gauges=gauges, meant=meant.get(hole))
                except InputError as error:
                    raise error.at(key=key) from None
    return Body(
        number=number,
        name=read_text(table, "name", at=at, default=str(number)),
        set_up=read_text(table, "set_up", at=at, default="the jig"),
        offs=offs,
        accepted=read_flag(table, "accepted", at=at, default=False) if "accepted" in table else None,
    )


def _off(written: Any, hole: Hole, at: str, *, gauges: Mapping[str, float], meant: float | None) -> Off:
    way = hole.direction
    if meant is None:
        if not way.is_angle:
            raise WrongType(
                "nothing says how high this hole was meant to be",
                mend=f"write [meant.{hole.station.value}] with hole_height, or name the car with --car",
            )
        meant = 0.0
    table: Mapping[str, Any] = written if isinstance(written, Mapping) else {}
    check_names(table, READ_KEYS, at=at)
    distance = _length(table.get("distance"), gauges["distance"], low=1 * _MM)
    against = _angle(table.get("against"), gauges.get(way.value, 0.0))
    if isinstance(written, str) and written.strip().casefold() in {"none", "seen"}:
        if not way.is_angle:
            raise WrongType(f"{echo(written)} is no height", mend=_EXAMPLE[way])
        seen = gap_off(
            -gauges["sees"],
            gauges["sees"],
            distance=distance,
            against=against,
            meant=meant,
            uncertainty=gauges["look"],
        )
        outside = written.strip().casefold() == "seen"
        return Off(low=seen.low, high=seen.high, uncertainty=seen.uncertainty, outside=outside)
    if "goes" in table or "stops" in table:
        return _feelers(table, way, gauges["look"], distance=distance, against=against, meant=meant)
    if "gap" in table:
        if not way.is_angle or "value" in table:
            raise WrongType("a gap stands where none is wanted", mend=_EXAMPLE[way])
        gap = _signed(table["gap"], way, Kind.LENGTH)
        return gap_off(
            gap,
            gap,
            distance=distance,
            against=against,
            meant=meant,
            uncertainty=_length(table.get("uncertainty"), gauges["gap"], low=_LEAST),
        )
    if table and "value" not in table:
        raise WrongType("the reading has no value", mend=_EXAMPLE[way])
    return _number(
        table.get("value", written),
        table,
        way,
        gauges=gauges,
        distance=distance,
        against=against,
        meant=meant,
    )


def _number(
    value: Any,
    table: Mapping[str, Any],
    way: Direction,
    *,
    gauges: Mapping[str, float],
    distance: float,
    against: float,
    meant: float,
) -> Off:
    given = table.get("uncertainty")
    if not way.is_angle:
        height = in_range(_signed(value, way, Kind.LENGTH), key=_STATION[way.value], at="")
        size = _length(given, gauges["height"], low=_LEAST)
        return Off(low=height - meant, high=height - meant, uncertainty=size)
    try:
        angle = _signed(value, way, Kind.ANGLE)
    except UnreadableQuantity as error:
        # A text with a unit of length is a gap at the straight-edge.
        try:
            gap = _signed(value, way, Kind.LENGTH)
        except UnreadableQuantity:
            raise error from None
        size = _length(given, gauges["gap"], low=_LEAST)
        return gap_off(gap, gap, distance=distance, against=against, meant=meant, uncertainty=size)
    angle = in_range(angle, key=_STATION[way.value], at="")
    size = _angle(given, gauges["angle"])
    if not size > 0.0:
        raise OutOfRange("an uncertainty is above zero", mend="write it as a positive number")
    return Off(low=angle - meant, high=angle - meant, uncertainty=size)


def _feelers(
    table: Mapping[str, Any], way: Direction, look: float, *, distance: float, against: float, meant: float
) -> Off:
    """Return the range that a feeler that goes in and one that does not leave open."""
    if not way.is_angle or "value" in table or "gap" in table or "uncertainty" in table:
        raise WrongType("feelers stand beside something else", mend="keep goes and stops, or the number")
    goes = _signed(table["goes"], way, Kind.LENGTH) if "goes" in table else 0.0
    stops = _signed(table["stops"], way, Kind.LENGTH) if "stops" in table else None
    if stops is None:
        stops = math.copysign(math.inf, goes)
    if goes * stops < 0.0 or abs(goes) >= abs(stops):
        raise OutOfRange(
            f"a feeler of {1e3 * abs(goes):g} mm goes and one of {1e3 * abs(stops):g} mm stops",
            mend="the one that goes is the thinner, both with the same sign: outer end up or forward, plus",
        )
    low, high = sorted((goes, stops))
    return gap_off(low, high, distance=distance, against=against, meant=meant, uncertainty=look)


def _signed(written: Any, way: Direction, kind: Kind) -> float:
    """Return a number whose side may be said in words."""
    if isinstance(written, str) and (side := _SIDE.search(written)):
        word = side[1].casefold()
        if word not in _ALLOWED[way]:
            words = " or ".join(sorted(_ALLOWED[way], reverse=True))
            raise UnreadableQuantity(f"{echo(written)} says {word}", mend=f"a {way.words} is {words}")
        size = parse(written[: side.start()], kind=kind)
        if size < 0.0:
            raise UnreadableQuantity(f"{echo(written)} has a sign and a side", mend="keep one of the two")
        return _SIDES[word] * _possible(size, kind)
    if not isinstance(written, str | int | float) or isinstance(written, bool):
        raise WrongType(f"{echo(written)} is no reading", mend=_EXAMPLE[way])
    if isinstance(written, str) and not any(letter.isdigit() for letter in written):
        raise UnreadableQuantity(f"{echo(written)} is no reading", mend=_EXAMPLE[way])
    return _possible(parse(written, kind=kind), kind)


def _possible(value: float, kind: Kind) -> float:
    """Return a number that is no length beyond what a block car has to show."""
    if kind is Kind.LENGTH and abs(value) > LARGEST_GAP:
        raise OutOfRange(f"{1e3 * value:g} mm is no such length", mend="check the digits and the unit")
    return value


def _length(written: Any, default: float, *, low: float) -> float:
    if written is None:
        return default
    value = parse(written, kind=Kind.LENGTH)
    if not low <= value <= 1.0:
        raise OutOfRange(f"{1e3 * value:g} mm is no such length", mend="check the digits and the unit")
    return value


def _angle(written: Any, default: float) -> float:
    if written is None:
        return default
    value = parse(written, kind=Kind.ANGLE)
    if not abs(value) <= 0.8:
        raise OutOfRange(f"{math.degrees(value):g} deg is too much", mend="check the digits and the unit")
    return value
