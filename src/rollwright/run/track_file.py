"""A track from the text of its file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from rollwright.car.table import check_names, read_tables, read_text, table_at
from rollwright.car.toml_file import parse_toml
from rollwright.errors import InputError, MissingReference, OutOfRange, UnreadableQuantity, WrongType, echo
from rollwright.quantity import Quantity, Source
from rollwright.run.air import air_density_quantity, standard_atmosphere
from rollwright.run.track import LaneChange, Piece, Track, ramp_arc_flat
from rollwright.run.track_keys import (
    AIR_KEYS,
    FACTOR_KEY,
    LANE_FINISH,
    LOSS_KEYS,
    PROFILE_KEYS,
    SPLIT,
    SURVEY_UNCERTAINTY,
    read_plain,
    read_size,
)
from rollwright.units import Kind, parse, show

__all__ = ["parse_track"]

_TOP = ("format", "name", "profile", "air", "losses", "splits", "lanes")
_OTHER_FILES = {
    "a car file": {"body", "wheels", "axles", "stations"},
    "a readings file": {"reading", "hand"},
    "a class file": {"rules"},
    "a pockets file": {"pockets"},
}
_PROFILE = tuple(key.name for key in PROFILE_KEYS)
_LOSSES = tuple(key.name for key in LOSS_KEYS)
_AIR = {key.name: key for key in AIR_KEYS}
_POINTS = "points = [[0, 900], [100, 858], ...], each [forward, up]"
_FARTHEST = 200.0
_FINEST, _COARSEST = 0.01e-3, 20e-3
_MOST_SPLITS = 50
# From day to day the pressure at one height swings by about this much [Pa].
_WEATHER = 1000.0
_GRAVITY = 9.80665


def parse_track(text: str, *, file: str = "track.toml") -> Track:
    """Read a track from the text of its file.

    Args:
        text: TOML text, `format = 1`. Bare lengths and angles are millimetres and degrees; temperature is in
            degrees Celsius, pressure in hPa, altitude in metres, density in kg/m3, areas in m2.
        file: the file's name, for messages.

    Returns:
        The track [SI]. Losses that the file leaves out are left out.

    Raises:
        InputError: the text cannot be used; the message names the file, the key and the mend.
    """
    try:
        return _track(parse_toml(text, file=file))
    except InputError as error:
        raise error.at(file=file) from None


def _track(top: Mapping[str, Any]) -> Track:
    _check_top(top)
    assumed: list[str] = []
    pieces, profile = _surface(table_at(top, "profile"), assumed)
    finish = pieces[-1].end
    losses = _losses(table_at(top, "losses"), assumed)
    splits = _splits(table_at(top, "splits"), finish=finish, assumed=assumed)
    track = Track(
        name=read_text(top, "name", at="", default="unnamed track"),
        pieces=pieces,
        finish=finish,
        air=_air(table_at(top, "air"), assumed),
        losses=losses,
        splits=splits,
        lanes={
            name: _lane(table, f"lanes.{name}", losses=losses, assumed=assumed)
            for name, table in read_tables(top, "lanes").items()
        },
        assumed=tuple(assumed),
        profile=profile,
    )
    for lane in track.lanes:
        try:
            track.on_lane(lane)
        except OutOfRange:
            raise OutOfRange(
                "the lane's finish lies before a split",
                mend="check it and [splits]",
                key=f"lanes.{lane}.finish",
            ) from None
    return track


def _check_top(top: Mapping[str, Any]) -> None:
    for what, headings in _OTHER_FILES.items():
        if not headings.isdisjoint(top):
            raise WrongType(f"this is {what}, not a track file", mend="name the file with the track")
    for heading, names in (("profile", (*_PROFILE, "points")), ("air", tuple(_AIR)), ("losses", _LOSSES)):
        for name in names:
            if name in top:
                raise WrongType(
                    f"this key does not stand under [{heading}]",
                    mend=f"write [{heading}] above it",
                    key=name,
                )
    check_names(top, _TOP, at="")


def _surface(
    table: Mapping[str, Any], assumed: list[str]
) -> tuple[tuple[Piece, ...], Mapping[str, Quantity]]:
    check_names(table, (*_PROFILE, "points"), at="profile")
    if not table:
        raise WrongType(
            "the track has no profile",
            mend=f"write {', '.join(_PROFILE[:-1])} and {_PROFILE[-1]}, or points",
            key="profile",
        )
    if "points" in table:
        others = [name for name in _PROFILE if name in table]
        if others:
            raise WrongType(
                f"surveyed points stand beside {others[0]}",
                mend="keep the points, or ramp, arc and flat",
                key="profile.points",
            )
        return _surveyed(table["points"], assumed), {}
    sizes: dict[str, Quantity] = {}
    for key in PROFILE_KEYS:
        found = read_size(table, key, at="profile", assumed=assumed)
        if found is None:
            raise WrongType(
                f"this is missing: {key.help}",
                mend=f"write {key.name} = {'24' if key.kind is Kind.ANGLE else '1800'}, or survey points",
                key=f"profile.{key.name}",
            )
        sizes[key.name] = found
    return ramp_arc_flat(**{name: size.value for name, size in sizes.items()}), sizes


def _surveyed(written: Any, assumed: list[str]) -> tuple[Piece, ...]:
    at = "profile.points"
    parts = written if isinstance(written, Mapping) else {"value": written}
    check_names(parts, ("value", "uncertainty", "from"), at=at)
    rows = parts.get("value")
    if not isinstance(rows, list):
        raise WrongType(f"{echo(rows)} is not a list of points", mend=f"write {_POINTS}", key=at)
    points = [_point(row, at=f"{at}[{index}]") for index, row in enumerate(rows)]
    if parts.get("from", "measured") not in [source.value for source in Source]:
        raise WrongType(
            f"{echo(parts['from'])} is not a source",
            mend="write measured, nominal or assumed",
            key=f"{at}.from",
        )
    uncertainty = SURVEY_UNCERTAINTY
    if "uncertainty" in parts:
        uncertainty = _length(parts["uncertainty"], at=f"{at}.uncertainty")
        if not _FINEST <= uncertainty <= _COARSEST:
            low, high = show(_FINEST, kind=Kind.LENGTH), show(_COARSEST, kind=Kind.LENGTH)
            raise OutOfRange(
                f"{show(uncertainty, kind=Kind.LENGTH)} is outside {low} to {high}",
                mend="write how well each point is known",
                key=f"{at}.uncertainty",
            )
    else:
        assumed.append(f"{at}.uncertainty")
    if parts.get("from") == Source.ASSUMED.value:
        assumed.append(at)
    if len(points) > 1 and 0.0 < points[-1][0] - points[0][0] < 0.1:
        raise OutOfRange(
            f"the points span only {show(points[-1][0] - points[0][0], kind=Kind.LENGTH)}",
            mend='bare numbers are millimetres; write metres with their unit, as in ["1.2 m", "0.6 m"]',
            key=at,
        )
    from rollwright.run.surveyed import surveyed  # noqa: PLC0415 - brings scipy, a laid-out track needs none

    try:
        return surveyed(points, uncertainty=uncertainty).pieces
    except InputError as error:
        raise error.at(key=at) from None


def _point(row: Any, *, at: str) -> tuple[float, float]:
    if not isinstance(row, list) or len(row) != 2:
        raise WrongType(f"{echo(row)} is not a point", mend=f"write {_POINTS}", key=at)
    x, z = (_length(part, at=f"{at}[{index}]") for index, part in enumerate(row))
    return x, z


def _length(written: Any, *, at: str) -> float:
    try:
        value = parse(written, kind=Kind.LENGTH)
    except UnreadableQuantity as error:
        raise error.at(key=at) from None
    if abs(value) > _FARTHEST:
        raise OutOfRange(
            f"{show(value, kind=Kind.LENGTH)} is beyond {show(_FARTHEST, kind=Kind.LENGTH)}",
            mend="check the unit",
            key=at,
        )
    return value


def _air(table: Mapping[str, Any], assumed: list[str]) -> Quantity:
    check_names(table, _AIR, at="air")
    for name, others in (
        ("density", ("temperature", "pressure", "humidity", "altitude")),
        ("altitude", ("pressure",)),
    ):
        for other in others:
            if name in table and other in table:
                raise WrongType(
                    f"the {name} stands beside a {other}, which says the same otherwise",
                    mend="keep one of the two",
                    key=f"air.{name}",
                )
    # What is given in another way is not assumed as well.
    left_out = {"density": tuple(_AIR), "altitude": ("pressure",)}
    skipped = {name for given, names in left_out.items() if given in table for name in names} - table.keys()
    read = {
        name: read_plain(table, key, at="air", assumed=assumed)
        for name, key in _AIR.items()
        if name not in skipped
    }
    given = {name: quantity for name, quantity in read.items() if quantity is not None}
    if "density" in given:
        return given["density"]
    pressure = _pressure_at(given["altitude"]) if "altitude" in given else given["pressure"]
    return replace(air_density_quantity(given["temperature"], pressure, given["humidity"]), label="air")


def _pressure_at(altitude: Quantity) -> Quantity:
    """Return the pressure at a height on an average day, with the weather's swing in its uncertainty."""
    air = standard_atmosphere(altitude=altitude.value)
    fall = air.density * _GRAVITY
    return replace(
        altitude,
        value=air.pressure,
        uncertainty=math.hypot(fall * altitude.uncertainty, _WEATHER),
        repeats=(),
    )


def _losses(table: Mapping[str, Any], assumed: list[str]) -> dict[str, Quantity]:
    check_names(table, _LOSSES, at="losses")
    found = {key.name: read_plain(table, key, at="losses", assumed=assumed) for key in LOSS_KEYS}
    return {name: quantity for name, quantity in found.items() if quantity is not None}


def _splits(table: Mapping[str, Any], *, finish: float, assumed: list[str]) -> tuple[tuple[str, float], ...]:
    if len(table) > _MOST_SPLITS:
        raise WrongType(
            f"{len(table)} splits are more than {_MOST_SPLITS}", mend="keep the timing points", key="splits"
        )
    found: list[tuple[str, float]] = []
    for name in table:
        split = read_size(table, replace(SPLIT, name=name), at="splits", assumed=assumed)
        if split is not None:
            found.append((name, split.value))
    for name, distance in found:
        if distance > finish:
            raise OutOfRange(
                f"{show(distance, kind=Kind.LENGTH)} from the gate is beyond the finish, "
                f"{show(finish, kind=Kind.LENGTH)}",
                mend="measure along the surface, from the gate",
                key=f"splits.{name}",
            )
    return tuple(sorted(found, key=lambda split: split[1]))


def _lane(
    table: Mapping[str, Any], at: str, *, losses: Mapping[str, Quantity], assumed: list[str]
) -> LaneChange:
    check_names(table, ("finish", "factors"), at=at)
    factors = table_at(table, "factors", at=at)
    check_names(factors, _LOSSES, at=f"{at}.factors")
    found: dict[str, Quantity] = {}
    for name in factors:
        if name not in losses:
            raise MissingReference(
                "there is a factor for a loss that the track does not give",
                mend=f"write {name} under [losses] too",
                key=f"{at}.factors.{name}",
            )
        factor = read_plain(factors, replace(FACTOR_KEY, name=name), at=f"{at}.factors", assumed=assumed)
        if factor is not None:
            found[name] = factor
    finish = read_size(table, LANE_FINISH, at=at, assumed=assumed)
    return LaneChange(
        finish=Quantity(value=0.0, label=f"{at}.finish") if finish is None else finish, factors=found
    )
