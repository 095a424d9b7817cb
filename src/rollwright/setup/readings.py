"""Readings taken at the bench, and the file they come in."""

from __future__ import annotations

import difflib
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rollwright.car.dimensions import dimension_kind, dimension_names
from rollwright.car.file import load_toml, parse_toml
from rollwright.car.keys import AXLE_KEYS, BOARD_KEYS, BODY_KEYS, RAIL_KEYS, STATION_KEYS, WHEEL_KEYS
from rollwright.car.model import Seat, Station
from rollwright.car.table import check_names, in_range, nearest, read_text, table_at
from rollwright.errors import InputError, OutOfRange, ReadingUnusable, UnreadableQuantity, WrongType, echo
from rollwright.quantity import Quantity, Source, from_repeats, scattered
from rollwright.setup.hand import Hand, read_hand
from rollwright.setup.reading_keys import (
    DEFAULT_DISTANCE,
    DEFAULT_THICKNESS,
    DEFAULT_UNCERTAINTY,
    DEFAULT_UNCERTAINTY_OF_ANGLE,
    FARTHEST,
    LARGEST_GAP,
    LEAST,
    READING_KEYS,
    STEEPEST,
    VARYING,
    ReadingKind,
    keys_of,
)
from rollwright.setup.said import with_sign
from rollwright.units import Kind, parse, parse_sided, show

__all__ = ["DEFAULT_UNCERTAINTY", "Reading", "ReadingKind", "Readings", "parse_readings", "read_readings"]

_MOST = 500
"""Most readings in a file and points in a trace: far more than an evening holds, and solved in a blink."""
_LONGEST_NOTE = 1000
_SIDED = frozenset({ReadingKind.DRIFT, ReadingKind.TAIL_OFFSET})
"""Kinds that may say left or right in place of a sign."""
_KEYS = {key.name: key for key in READING_KEYS}
_SIZES = {key.name: key for keys in (STATION_KEYS, AXLE_KEYS, WHEEL_KEYS) for key in keys} | {
    f"{heading}.{key.name}": key
    for heading, keys in (("body", BODY_KEYS), ("rail", RAIL_KEYS), ("board", BOARD_KEYS))
    for key in keys
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading, as it was taken.

    Attributes:
        kind: what was read.
        quantity: value and standard uncertainty [SI], with the repeats kept; for a trace the value is that of
            its last point and the uncertainty is that of each point.
        where: its name in messages, such as `reading 2 (drift)`.
        station: the wheel or hole it belongs to, where the kind needs one.
        trace: points of a drift path, down the board and sideways (positive left) [m].
        distance: drift: how far the car ran; tip sweep: bend to the tip that was watched; daylight: side
            face to where the gap was read [m]. None for the kind's own default.
        thickness: of the centring block [m].
        width: of the centring block, or None for the rail's [m].
        seat: where the hand held the wheel on the centring block, or None for where it runs.
        plane: `cant` or `sweep`: which way the daylight was read.
        against: the angle at which the straight-edge stood [rad].
        dimension: name of the dimension that a size was read of.
        set_up: name of the set-up it was taken in; readings that share one share its error.
        common: standard uncertainty of the error that they share [SI].
        assumed: names of what the reading did not say and the shipped defaults filled in.
    """

    kind: ReadingKind
    quantity: Quantity
    where: str
    station: Station | None = None
    trace: tuple[tuple[float, float], ...] = ()
    distance: float | None = None
    thickness: float = DEFAULT_THICKNESS
    width: float | None = None
    seat: Seat | None = None
    plane: str = "cant"
    against: float = 0.0
    dimension: str = ""
    set_up: str = ""
    common: float = 0.0
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What a readings file holds.

    Attributes:
        readings: in order.
        hand: what the builder's hand can do.
        car: name of the car that they are of, empty where the file does not say.
    """

    readings: tuple[Reading, ...]
    hand: Hand
    car: str = ""


def read_readings(path: str | os.PathLike[str]) -> Readings:
    """Read a readings file.

    Args:
        path: where the file is.

    Returns:
        The readings.

    Raises:
        InputError: the file cannot be used; the message names the file, the reading and the mend.
    """
    return parse_readings(load_toml(path, what="readings file"), file=Path(path).name)


def parse_readings(text: str, *, file: str = "readings.toml") -> Readings:
    """Read readings from the text of their file.

    Args:
        text: TOML text, `format = 1`, with one `[[reading]]` for each. Bare numbers are millimetres and
            degrees.
        file: the file's name, for messages.

    Returns:
        The readings.

    Raises:
        InputError: the text cannot be used; the message names the file, the reading and the mend.
    """
    try:
        top = parse_toml(text, file=file)
        if not {"body", "wheels", "axles", "stations"}.isdisjoint(top):
            raise WrongType(
                "this is a car file, not a readings file",
                mend="name the car file first, its readings after it",
            )
        check_names(top, ("format", "reading", "hand", "car"), at="")
        rows = top.get("reading", [])
        if isinstance(rows, Mapping):
            raise WrongType(
                "one reading stands under single brackets",
                mend="write [[reading]] with two brackets",
                key="reading",
            )
        if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
            raise WrongType(
                "this is not a list of readings", mend="write [[reading]] above each one", key="reading"
            )
        if len(rows) > _MOST:
            raise ReadingUnusable(
                f"{len(rows)} readings are more than {_MOST}",
                mend="keep those since the last move, and give repeats as values = [...]",
                key="reading",
            )
        return Readings(
            readings=tuple(_reading(row, number) for number, row in enumerate(rows, start=1)),
            hand=read_hand(table_at(top, "hand")),
            car=read_text(top, "car", at="", default="not said") if "car" in top else "",
        )
    except InputError as error:
        raise error.at(file=file) from None


def _reading(row: Mapping[str, Any], number: int) -> Reading:
    at = f"reading {number}"
    words = [kind.value for kind in ReadingKind]
    if "kind" not in row:
        raise ReadingUnusable(
            "it does not say what was read", mend=f"write kind = one of {', '.join(words)}", key=at
        )
    if row["kind"] not in words:
        raise ReadingUnusable(
            f"{echo(row['kind'])} is not a kind of reading",
            mend=nearest(str(row["kind"]), words),
            key=f"{at}.kind",
        )
    kind = ReadingKind(row["kind"])
    at = f"reading {number} ({kind.words})"
    check_names(row, (key.name for key in keys_of(kind)), at=at)
    _check_texts(row, at)
    assumed: list[str] = []
    dimension = _dimension(row, at) if kind is ReadingKind.SIZE else ""
    unit = dimension_kind(dimension) if dimension else Kind.LENGTH
    trace = _trace(row["trace"], at) if "trace" in row else ()
    quantity = _quantity(row, kind, unit=unit, at=at, trace=trace, assumed=assumed)
    common = _positive(row, "common", unit=unit, at=at)
    if common and "set_up" not in row:
        raise ReadingUnusable(
            "a common uncertainty belongs to a set-up", mend='write set_up = "a name"', key=f"{at}.common"
        )
    thickness = _positive(row, "thickness", unit=Kind.LENGTH, at=at)
    if kind is ReadingKind.BLOCK_OFFSET and thickness is None:
        assumed.append(f"{at}.thickness")
    return Reading(
        kind=kind,
        quantity=quantity,
        where=at,
        station=_station(row, kind, at),
        trace=trace,
        distance=_distance(row, kind, at=at, assumed=assumed),
        thickness=thickness or DEFAULT_THICKNESS,
        width=_positive(row, "width", unit=Kind.LENGTH, at=at),
        seat=_seat(row, at),
        plane=_plane(row, at),
        against=_against(row, at),
        dimension=dimension,
        set_up=row.get("set_up", ""),
        common=common or 0.0,
        assumed=tuple(assumed),
    )


def _value(
    written: Any, *, unit: Kind, at: str, sided: bool = False, kind: ReadingKind | None = None
) -> float:
    try:
        written = written if kind is None else with_sign(written, kind)
        value = parse_sided(written, kind=unit) if sided else parse(written, kind=unit)
    except UnreadableQuantity as error:
        raise error.at(key=at) from None
    if abs(value) > (FARTHEST if unit is Kind.LENGTH else math.pi):
        most = "20 m" if unit is Kind.LENGTH else "half a turn"
        raise OutOfRange(f"{echo(written)} is more than {most}", mend="check the digits and the unit", key=at)
    return value


def _against(row: Mapping[str, Any], at: str) -> float:
    if "against" not in row:
        return 0.0
    angle = _value(row["against"], unit=Kind.ANGLE, at=f"{at}.against")
    if abs(angle) > STEEPEST:
        raise OutOfRange(
            f"{echo(row['against'])} is steeper than 45 deg",
            mend="write the straight-edge's angle out of level or square",
            key=f"{at}.against",
        )
    return angle


def _quantity(
    row: Mapping[str, Any],
    kind: ReadingKind,
    *,
    unit: Kind,
    at: str,
    trace: tuple[tuple[float, float], ...],
    assumed: list[str],
) -> Quantity:
    given = [name for name in ("value", "values", "trace") if name in row]
    if len(given) != 1:
        allowed = "value, values or trace" if kind is ReadingKind.DRIFT else "value or values"
        problem = "it has no value" if not given else f"it has {' and '.join(given)}"
        raise ReadingUnusable(problem, mend=f"write exactly one of {allowed}", key=at)
    uncertainty = _positive(row, "uncertainty", unit=unit, at=at)
    if uncertainty is None:
        assumed.append(f"{at}.uncertainty")
        uncertainty = DEFAULT_UNCERTAINTY[kind] if unit is Kind.LENGTH else DEFAULT_UNCERTAINTY_OF_ANGLE
    sided = kind in _SIDED
    if trace:
        return Quantity(value=trace[-1][1], uncertainty=uncertainty, source=Source.MEASURED, label=at)
    if "value" in row:
        if isinstance(row["value"], list):
            raise ReadingUnusable(
                "several readings stand under value",
                mend="write values = [...] for repeats",
                key=f"{at}.value",
            )
        value = _value(row["value"], unit=unit, at=f"{at}.value", sided=sided, kind=kind)
        quantity = Quantity(
            value=value, uncertainty=uncertainty, source=Source.MEASURED, label=at, repeats=(value,)
        )
    else:
        quantity = _repeats(row["values"], uncertainty, unit=unit, at=at, kind=kind)
    _check_possible(row, quantity, kind, at=f"{at}.{given[0]}")
    return quantity


def _check_possible(row: Mapping[str, Any], quantity: Quantity, kind: ReadingKind, *, at: str) -> None:
    """Refuse numbers that are well written and cannot be what was read."""
    if kind is ReadingKind.SIZE:
        key = _SIZES[
            row["dimension"].rpartition(".")[2] if row["dimension"] not in _SIZES else row["dimension"]
        ]
        for value in quantity.repeats:
            in_range(value, key=key, at=at)
    elif kind is ReadingKind.TIP_SWEEP and quantity.value < 0.0:
        raise OutOfRange("a sweep is never negative", mend="write how far the tip swings in all", key=at)
    elif kind is ReadingKind.ROLL_CLEARANCE and quantity.value < 0.0:
        raise OutOfRange(
            "a gap that was felt is never negative", mend="write 0 where the wheel touches the rail", key=at
        )
    elif kind is ReadingKind.DRIFT and "distance" in row:
        run = _value(row["distance"], unit=Kind.LENGTH, at=f"{at}.distance")
        if abs(quantity.value) >= run:
            raise OutOfRange(
                "the car drifts no less than it runs", mend="check the unit of value and distance", key=at
            )
    elif kind is not ReadingKind.DRIFT and abs(quantity.value) > LARGEST_GAP:
        raise OutOfRange(
            f"{show(quantity.value, kind=Kind.LENGTH)} is more than {show(LARGEST_GAP, kind=Kind.LENGTH)}",
            mend="check the digits and the unit",
            key=at,
        )


def _check_texts(row: Mapping[str, Any], at: str) -> None:
    for name in ("set_up", "instrument"):
        if name in row:
            read_text(row, name, at=at, default="")
    note = row.get("note", "")
    if not isinstance(note, str) or len(note) > _LONGEST_NOTE:
        raise WrongType(
            f"{echo(note)} is not a text of up to {_LONGEST_NOTE} characters",
            mend="write it in quotes",
            key=f"{at}.note",
        )


def _repeats(written: Any, instrument: float, *, unit: Kind, at: str, kind: ReadingKind) -> Quantity:
    if not isinstance(written, list) or not written:
        raise ReadingUnusable(
            f"{echo(written)} is not a list of repeats",
            mend="write values = [1.2, 1.3, 1.2]",
            key=f"{at}.values",
        )
    values = [
        _value(part, unit=unit, at=f"{at}.values[{index}]", sided=kind in _SIDED, kind=kind)
        for index, part in enumerate(written)
    ]
    quantity = from_repeats(values, instrument=instrument, source=Source.MEASURED, label=at)
    spread = None if kind in VARYING else scattered(values, gauge=instrument)
    return quantity if spread is None else replace(quantity, uncertainty=math.hypot(spread, instrument))


def _positive(row: Mapping[str, Any], name: str, *, unit: Kind, at: str) -> float | None:
    if name not in row:
        return None
    value = _value(row[name], unit=unit, at=f"{at}.{name}")
    if value < LEAST:
        problem = "is not more than zero" if value <= 0.0 else "is finer than any gauge"
        raise OutOfRange(
            f"{echo(row[name])} {problem}",
            mend="write a positive size and check its unit",
            key=f"{at}.{name}",
        )
    return value


def _trace(written: Any, at: str) -> tuple[tuple[float, float], ...]:
    key = f"{at}.trace"
    if not isinstance(written, list) or not all(
        isinstance(point, list) and len(point) == 2 for point in written
    ):
        raise ReadingUnusable(
            "this is not a list of points", mend="write trace = [[down the board, sideways], ...]", key=key
        )
    if len(written) > _MOST:
        raise ReadingUnusable(
            f"{len(written)} points are more than {_MOST}", mend="keep every few of them", key=key
        )
    points = tuple(
        (
            _value(x, unit=Kind.LENGTH, at=f"{key}[{index}]"),
            _value(y, unit=Kind.LENGTH, at=f"{key}[{index}]", sided=True),
        )
        for index, (x, y) in enumerate(written)
    )
    if len({x for x, _ in points}) < 3:
        raise ReadingUnusable(
            f"{len(points)} points do not show how a path curves",
            mend="give at least three at different distances; the start and the heading are free",
            key=key,
        )
    if min(x for x, _ in points) < 0.0:
        raise OutOfRange("a point lies before the start", mend="count from where the run starts", key=key)
    return points


def _station(row: Mapping[str, Any], kind: ReadingKind, at: str) -> Station | None:
    words = [station.value for station in Station]
    if "station" not in row:
        if kind in _KEYS["station"].needed:
            raise ReadingUnusable(
                "it does not say at which wheel", mend=f"write station = one of {', '.join(words)}", key=at
            )
        return None
    if row["station"] not in words:
        raise ReadingUnusable(
            f"{echo(row['station'])} is not a station",
            mend=nearest(str(row["station"]), words),
            key=f"{at}.station",
        )
    return Station(row["station"])


def _distance(row: Mapping[str, Any], kind: ReadingKind, *, at: str, assumed: list[str]) -> float | None:
    found = _positive(row, "distance", unit=Kind.LENGTH, at=at)
    if found is not None and "trace" in row:
        raise ReadingUnusable(
            "the points of a trace say themselves how far the car ran",
            mend="leave the distance out",
            key=f"{at}.distance",
        )
    if found is None and kind in {ReadingKind.TIP_SWEEP, ReadingKind.DAYLIGHT}:
        assumed.append(f"{at}.distance")
        return DEFAULT_DISTANCE
    return found


def _seat(row: Mapping[str, Any], at: str) -> Seat | None:
    if "seat" not in row:
        return None
    words = [seat.value for seat in Seat]
    if row["seat"] not in words:
        raise ReadingUnusable(
            f"{echo(row['seat'])} is not a seat",
            mend=f"write {', '.join(words)}, or leave it out",
            key=f"{at}.seat",
        )
    return Seat(row["seat"])


def _plane(row: Mapping[str, Any], at: str) -> str:
    plane = row.get("plane", "cant")
    if plane not in ("cant", "sweep"):
        raise ReadingUnusable(
            f"{echo(plane)} is not a way to read daylight", mend="write cant or sweep", key=f"{at}.plane"
        )
    return str(plane)


def _dimension(row: Mapping[str, Any], at: str) -> str:
    name = row.get("dimension")
    if name not in dimension_names():
        raise ReadingUnusable(
            f"{echo(name)} is not a dimension" if name is not None else "it does not say what was measured",
            mend=_near_dimension(name),
            key=f"{at}.dimension",
        )
    return str(name)


def _near_dimension(name: object) -> str:
    close = difflib.get_close_matches(str(name), dimension_names(), n=1) if name is not None else []
    return (
        f'did you mean "{close[0]}"?'
        if close
        else 'write dimension = "body.width", "front_left.cant" or another'
    )
