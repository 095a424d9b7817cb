"""Readings taken at the bench, and the file they come in."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from rollwright.car.dimensions import dimension_kind, dimension_names
from rollwright.car.file import load_toml, parse_toml
from rollwright.car.model import Seat, Station
from rollwright.car.table import check_names, nearest, table_at
from rollwright.errors import InputError, OutOfRange, ReadingUnusable, UnreadableQuantity, WrongType, echo
from rollwright.quantity import Quantity, Source, from_repeats
from rollwright.setup.hand import Hand, read_hand
from rollwright.units import Kind, parse, parse_sided

__all__ = ["DEFAULT_UNCERTAINTY", "Reading", "ReadingKind", "Readings", "parse_readings", "read_readings"]

_MM = 1e-3


class ReadingKind(Enum):
    """What was read; each kind has its own model in `setup.predict`."""

    HEIGHT_DIFFERENCE = "height_difference"
    DRIFT = "drift"
    RAIL_OFFSET = "rail_offset"
    BLOCK_OFFSET = "block_offset"
    RAIL_CLEARANCE = "rail_clearance"
    TIP_SWEEP = "tip_sweep"
    DAYLIGHT = "daylight"
    SIZE = "size"

    @property
    def words(self) -> str:
        """The kind as it is said: `height difference`."""
        return self.value.replace("_", " ")


DEFAULT_UNCERTAINTY = {
    ReadingKind.HEIGHT_DIFFERENCE: 0.05 * _MM,
    ReadingKind.DRIFT: 3.0 * _MM,
    ReadingKind.RAIL_OFFSET: 0.05 * _MM,
    ReadingKind.BLOCK_OFFSET: 0.05 * _MM,
    ReadingKind.RAIL_CLEARANCE: 0.05 * _MM,
    ReadingKind.TIP_SWEEP: 0.05 * _MM,
    ReadingKind.DAYLIGHT: 0.05 * _MM,
    ReadingKind.SIZE: 0.02 * _MM,
}
"""Standard uncertainty of a reading that does not say its own [m]; used values are named as assumed."""

_DEFAULT_THICKNESS = 12.0 * _MM
_DEFAULT_DISTANCE = 30.0 * _MM
_EVERY = ("kind", "value", "values", "uncertainty", "set_up", "common", "note", "instrument")
_MORE: Mapping[ReadingKind, tuple[str, ...]] = {
    ReadingKind.HEIGHT_DIFFERENCE: (),
    ReadingKind.DRIFT: ("trace", "distance"),
    ReadingKind.RAIL_OFFSET: (),
    ReadingKind.BLOCK_OFFSET: ("thickness", "width", "seat"),
    ReadingKind.RAIL_CLEARANCE: ("station",),
    ReadingKind.TIP_SWEEP: ("station", "distance"),
    ReadingKind.DAYLIGHT: ("station", "distance", "plane", "against"),
    ReadingKind.SIZE: ("dimension",),
}
_NEEDS_STATION = frozenset({ReadingKind.RAIL_CLEARANCE, ReadingKind.DAYLIGHT})


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
    thickness: float = _DEFAULT_THICKNESS
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
    """What a readings file holds: the `readings` in order, and what the builder's `hand` can do."""

    readings: tuple[Reading, ...]
    hand: Hand


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
        check_names(top, ("format", "reading", "hand", "car"), at="")
        rows = top.get("reading", [])
        if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
            raise WrongType(
                "this is not a list of readings", mend="write [[reading]] above each one", key="reading"
            )
        return Readings(
            readings=tuple(_reading(row, number) for number, row in enumerate(rows, start=1)),
            hand=read_hand(table_at(top, "hand")),
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
    check_names(row, _EVERY + _MORE[kind], at=at)
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
        thickness=thickness or _DEFAULT_THICKNESS,
        width=_positive(row, "width", unit=Kind.LENGTH, at=at),
        seat=_seat(row, at),
        plane=_plane(row, at),
        against=_value(row["against"], unit=Kind.ANGLE, at=f"{at}.against") if "against" in row else 0.0,
        dimension=dimension,
        set_up=str(row.get("set_up", "")),
        common=common or 0.0,
        assumed=tuple(assumed),
    )


def _value(written: Any, *, unit: Kind, at: str, sided: bool = False) -> float:
    try:
        return parse_sided(written, kind=unit) if sided else parse(written, kind=unit)
    except UnreadableQuantity as error:
        raise error.at(key=at) from None


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
        uncertainty = DEFAULT_UNCERTAINTY[kind] if unit is Kind.LENGTH else 0.2 * 0.017453292519943295
    sided = kind is ReadingKind.DRIFT
    if trace:
        return Quantity(value=trace[-1][1], uncertainty=uncertainty, source=Source.MEASURED, label=at)
    if "value" in row:
        value = _value(row["value"], unit=unit, at=f"{at}.value", sided=sided)
        quantity = Quantity(
            value=value, uncertainty=uncertainty, source=Source.MEASURED, label=at, repeats=(value,)
        )
    else:
        quantity = _repeats(row["values"], uncertainty, unit=unit, at=at, sided=sided)
    if unit is Kind.LENGTH and abs(quantity.value) > 10.0:
        raise OutOfRange(
            f"{echo(row[given[0]])} is more than 10 m", mend="check the unit", key=f"{at}.{given[0]}"
        )
    return quantity


def _repeats(written: Any, instrument: float, *, unit: Kind, at: str, sided: bool) -> Quantity:
    if not isinstance(written, list) or not written:
        raise ReadingUnusable(
            f"{echo(written)} is not a list of repeats",
            mend="write values = [1.2, 1.3, 1.2]",
            key=f"{at}.values",
        )
    values = [
        _value(part, unit=unit, at=f"{at}.values[{index}]", sided=sided) for index, part in enumerate(written)
    ]
    return from_repeats(values, instrument=instrument, source=Source.MEASURED, label=at)


def _positive(row: Mapping[str, Any], name: str, *, unit: Kind, at: str) -> float | None:
    if name not in row:
        return None
    value = _value(row[name], unit=unit, at=f"{at}.{name}")
    if value <= 0.0:
        raise OutOfRange(
            f"{echo(row[name])} is not more than zero", mend="write a positive size", key=f"{at}.{name}"
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
        if kind in _NEEDS_STATION:
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
    if found is None and kind in {ReadingKind.TIP_SWEEP, ReadingKind.DAYLIGHT}:
        assumed.append(f"{at}.distance")
        return _DEFAULT_DISTANCE
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
    if plane not in {"cant", "sweep"}:
        raise ReadingUnusable(
            f"{echo(plane)} is not a way to read daylight", mend="write cant or sweep", key=f"{at}.plane"
        )
    return str(plane)


def _dimension(row: Mapping[str, Any], at: str) -> str:
    name = row.get("dimension")
    if name not in dimension_names():
        raise ReadingUnusable(
            f"{echo(name)} is not a dimension",
            mend="write one such as body.width or front_left.hub_projection",
            key=f"{at}.dimension",
        )
    return str(name)
