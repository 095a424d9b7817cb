"""The fit file: what was timed, on which car and track, and what is to be found from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rollwright.car.model import Car, Station
from rollwright.car.table import check_names, nearest, read_flag, read_text, table_at
from rollwright.errors import InputError, MissingReference, OutOfRange, UnreadableQuantity, WrongType, echo
from rollwright.quantity import Quantity
from rollwright.run.losses import COEFFICIENTS
from rollwright.run.track import Track
from rollwright.run.track_keys import LOSS_KEYS, PlainKey, read_plain
from rollwright.setup.run_fits_data import FALL, SPIN_TERMS, CoastDown, SpinDown, TimedRun
from rollwright.units import Kind, parse

__all__ = ["FitFile", "fit_file"]

_TOP = ("format", "name", "car", "track", "fit", "prior", "spin_down", "coast_down", "timed_run")
_OTHER_FILES = {
    "a car file": {"body", "wheels", "axles", "stations"},
    "a readings file": {"reading", "hand"},
    "a class file": {"rules"},
    "a track file": {"profile", "losses", "lanes"},
}
_USUAL = {
    "spin_down": ("bearing_friction",),
    "coast_down": ("bearing_friction", "rolling", "drag_area"),
    "timed_run": ("bearing_friction", "rolling", "drag_area"),
}
_TIME = ("a time", "a bare number in seconds", {"s": 1.0, "ms": 1e-3, "min": 60.0})
_SPIN = (
    "a turning speed",
    "a bare number of turns a second, or in quotes with rpm or rad/s",
    {
        "rev/s": 6.283185307179586,
        "turns/s": 6.283185307179586,
        "rpm": 6.283185307179586 / 60.0,
        "rad/s": 1.0,
    },
)
_SPEED = ("a speed", "a bare number in m/s", {"m/s": 1.0, "mm/s": 1e-3, "km/h": 1.0 / 3.6, "ft/s": 0.3048})
_BARE = {_TIME[0]: "s", _SPIN[0]: "rev/s", _SPEED[0]: "m/s"}
# Nothing that is timed at a bench or a track lasts, turns or runs for more, and no clock is finer.
_LARGEST = {_TIME[0]: 1e5, _SPIN[0]: 1e5, _SPEED[0]: 1e3}
_FARTHEST = 1e3
_FINEST = 1e-9
_MOST_READINGS = 2000
_MOST_TABLES = 50
_STEEPEST_FLOOR = 0.05

_Units = tuple[str, str, Mapping[str, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class FitFile:
    """What a fit file holds.

    Attributes:
        name: what it is called.
        track: name of the track file that it names for all.
        fitted: coefficients that are to be found.
        priors: what was known of some of them before [SI].
        spin_downs: in the file's order.
        coast_downs: likewise.
        timed_runs: likewise.
    """

    name: str
    track: str
    fitted: tuple[str, ...]
    priors: Mapping[str, tuple[float, float]]
    spin_downs: tuple[SpinDown, ...]
    coast_downs: tuple[CoastDown, ...]
    timed_runs: tuple[TimedRun, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Files:
    """How the files that a table names are read, and which ones hold where it names none."""

    top: Mapping[str, Any]
    car_of: Callable[[str], Car]
    track_of: Callable[[str], Track]

    def _named(self, table: Mapping[str, Any], key: str, at: str) -> str:
        if key in table:
            return read_text(table, key, at=at, default="")
        if key not in self.top:
            raise WrongType(
                f"no {key} is named", mend=f'write {key} = "FILE.toml" at the top of the file', key=key
            )
        return read_text(self.top, key, at="", default="")

    def car(self, table: Mapping[str, Any], at: str) -> Car:
        return self.car_of(self._named(table, "car", at))

    def track(self, table: Mapping[str, Any], at: str) -> Track:
        return self.track_of(self._named(table, "track", at))


def fit_file(
    top: Mapping[str, Any], *, car_of: Callable[[str], Car], track_of: Callable[[str], Track]
) -> FitFile:
    """Return what a fit file holds.

    Args:
        top: the file's tables, `format = 1`. Bare times are seconds, lengths millimetres, speeds of a car
            m/s, of a wheel turns a second.
        car_of: reads a car file by the name that stands in the fit file.
        track_of: reads a track file likewise.

    Returns:
        The readings [SI], with their cars and tracks.

    Raises:
        InputError: it cannot be used; the message names the key and the mend.
    """
    for what, headings in _OTHER_FILES.items():
        if not headings.isdisjoint(top):
            raise WrongType(f"this is {what}, not a fit file", mend="name the file with what was timed")
    check_names(top, _TOP, at="")
    tables = {kind: _tables(top, kind) for kind in _USUAL}
    if not any(tables.values()):
        raise WrongType(
            "nothing was timed", mend="write [[spin_down]], [[coast_down]] or [[timed_run]] and its keys"
        )
    files = _Files(top=top, car_of=car_of, track_of=track_of)
    fitted = _fitted(top, [kind for kind, each in tables.items() if each])
    return FitFile(
        name=read_text(top, "name", at="", default="unnamed fit"),
        track=read_text(top, "track", at="", default="-") if "track" in top else "",
        fitted=fitted,
        priors=_priors(table_at(top, "prior"), fitted),
        spin_downs=tuple(_made(_spin_down, tables, "spin_down", files)),
        coast_downs=tuple(_made(_coast_down, tables, "coast_down", files)),
        timed_runs=tuple(_made(_timed_run, tables, "timed_run", files)),
    )


def _tables(top: Mapping[str, Any], kind: str) -> list[Mapping[str, Any]]:
    found = top.get(kind, [])
    if not isinstance(found, list) or not all(isinstance(each, Mapping) for each in found):
        raise WrongType(
            "this is no list of tables", mend=f"write [[{kind}]] in double brackets above its keys", key=kind
        )
    if len(found) > _MOST_TABLES:
        raise OutOfRange(
            f"{len(found)} are more than {_MOST_TABLES}", mend="put them into several files", key=kind
        )
    return found


def _made(
    make: Callable[[Mapping[str, Any], str, _Files, str], Any],
    tables: Mapping[str, Sequence[Mapping[str, Any]]],
    kind: str,
    files: _Files,
) -> list[Any]:
    found = []
    for number, table in enumerate(tables[kind], start=1):
        at = f"{kind}[{number}]"
        name = read_text(table, "name", at=at, default=f"{kind.replace('_', '-')} {number}")
        try:
            found.append(make(table, at, files, name))
        except InputError as error:
            if error.file or error.key.startswith((kind, "car", "track")):
                raise
            # What the readings themselves refuse is named by its key alone.
            key = f"{at}.{error.key}" if error.key else at
            raise type(error)(error.problem, mend=error.mend, key=key) from None
    return found


def _fitted(top: Mapping[str, Any], kinds: Sequence[str]) -> tuple[str, ...]:
    written = top.get("fit")
    if written is None:
        return tuple(dict.fromkeys(name for kind in kinds for name in _USUAL[kind]))
    if not isinstance(written, list) or not written or not all(isinstance(each, str) for each in written):
        raise WrongType(
            f"{echo(written)} is no list of coefficients",
            mend='write fit = ["rolling", "drag_area"]',
            key="fit",
        )
    for name in written:
        if name not in COEFFICIENTS:
            raise MissingReference(
                f"there is no loss coefficient {echo(name)}", mend=nearest(name, COEFFICIENTS), key="fit"
            )
    if len(set(written)) < len(written):
        raise WrongType("a coefficient stands in the list twice", mend="keep one of the two", key="fit")
    return tuple(written)


def _priors(table: Mapping[str, Any], fitted: Sequence[str]) -> Mapping[str, tuple[float, float]]:
    keys: Mapping[str, PlainKey] = {key.name: key for key in LOSS_KEYS}
    check_names(table, keys, at="prior")
    found = {}
    for name in table:
        if name not in fitted:
            raise MissingReference(
                "this is not to be found, so nothing need be known of it before",
                mend=f"put {name} into fit, or write it under [losses] in the track file",
                key=f"prior.{name}",
            )
        quantity = read_plain(table, keys[name], at="prior", assumed=[])
        if quantity is None or not quantity.uncertainty > 0.0:
            raise OutOfRange(
                "a coefficient without an uncertainty is not to be found",
                mend="write { value = ..., uncertainty = ... }",
                key=f"prior.{name}",
            )
        found[name] = (quantity.value, quantity.uncertainty)
    return found


def _number(written: Any, units: _Units, *, key: str) -> float:
    phrase, example, factors = units
    unit, text = _BARE[phrase], written
    if isinstance(written, str):
        parts = written.split()
        unit, text = (parts[1], parts[0]) if len(parts) == 2 else (unit, written)
    if unit not in factors or isinstance(written, bool) or (isinstance(text, str) and "%" in text):
        raise UnreadableQuantity(f"{echo(written)} is not {phrase}", mend=f"write it as {example}", key=key)
    try:
        value = parse(text, kind=Kind.RATIO) * factors[unit]
    except UnreadableQuantity:
        raise UnreadableQuantity(
            f"{echo(written)} is not {phrase}", mend=f"write it as {example}", key=key
        ) from None
    return _possible(value, _LARGEST[phrase], written=written, key=key)


def _possible(value: float, most: float, *, written: Any, key: str) -> float:
    if abs(value) > most:
        raise OutOfRange(f"{echo(written)} is too large", mend="check the digits and the unit", key=key)
    return value


def _length(written: Any, *, key: str) -> float:
    try:
        value = parse(written, kind=Kind.LENGTH)
    except UnreadableQuantity as error:
        raise error.at(key=key) from None
    return _possible(value, _FARTHEST, written=written, key=key)


def _list(table: Mapping[str, Any], name: str, *, at: str, units: _Units | None) -> tuple[float, ...]:
    key = f"{at}.{name}"
    written = table.get(name, [])
    if not isinstance(written, list):
        raise WrongType(f"{echo(written)} is not a list", mend=f"write {name} = [1.5, 2.25]", key=key)
    if name in table and not written:
        raise WrongType("the list is empty", mend="write what was read", key=key)
    if len(written) > _MOST_READINGS:
        raise OutOfRange(
            f"{len(written)} readings are more than {_MOST_READINGS}", mend="keep every tenth", key=key
        )
    return tuple(
        _length(each, key=f"{key}[{place}]") if units is None else _number(each, units, key=f"{key}[{place}]")
        for place, each in enumerate(written)
    )


def _single(table: Mapping[str, Any], name: str, *, at: str, units: _Units) -> float | None:
    if name not in table:
        return None
    value = _number(table[name], units, key=f"{at}.{name}")
    if 0.0 < value < _FINEST:
        raise OutOfRange(
            f"{echo(table[name])} is finer than anything can be read",
            mend="write how far off it may be",
            key=f"{at}.{name}",
        )
    return value


def _spin_down(table: Mapping[str, Any], at: str, files: _Files, name: str) -> SpinDown:
    check_names(
        table,
        ("name", "car", "wheel", "times", "speeds", "time_uncertainty", "speed_uncertainty", "terms"),
        at=at,
    )
    station = table.get("wheel")
    known = [each.value for each in Station]
    if station not in known:
        raise MissingReference(
            "no wheel is named" if station is None else f"{echo(station)} is not a wheel",
            mend=f"write wheel = one of {', '.join(known)}, in quotes",
            key=f"{at}.wheel",
        )
    terms = table.get("terms", list(SPIN_TERMS))
    if not isinstance(terms, list) or not all(each in SPIN_TERMS for each in terms):
        raise WrongType(
            f"{echo(terms)} is no list of terms",
            mend='write terms = ["linear", "quadratic"], one of them, or []',
            key=f"{at}.terms",
        )
    return SpinDown(
        car=files.car(table, at),
        station=Station(station),
        times=_list(table, "times", at=at, units=_TIME),
        speeds=_list(table, "speeds", at=at, units=_SPIN),
        time_uncertainty=_single(table, "time_uncertainty", at=at, units=_TIME),
        speed_uncertainty=_single(table, "speed_uncertainty", at=at, units=_SPIN),
        terms=tuple(term for term in SPIN_TERMS if term in terms),
        name=name,
    )


def _fall(table: Mapping[str, Any], at: str) -> Quantity:
    key = f"{at}.fall"
    if "fall" not in table:
        return FALL
    written = table["fall"]
    parts = written if isinstance(written, Mapping) else {"value": written}
    check_names(parts, ("value", "uncertainty"), at=key)
    if "value" not in parts:
        raise WrongType("the value is missing", mend="write { value = 0.4, uncertainty = 0.1 }", key=key)
    value = _length(parts["value"], key=key)
    if abs(value) > _STEEPEST_FLOOR:
        raise OutOfRange(
            f"a floor that falls by {1e3 * value:g} mm over each metre is no flat",
            mend="write how many millimetres it falls over one metre in the direction of the run",
            key=key,
        )
    uncertainty = (
        _length(parts["uncertainty"], key=f"{key}.uncertainty") if "uncertainty" in parts else 0.1e-3
    )
    if uncertainty < 0.0:
        raise OutOfRange(
            "an uncertainty cannot be negative",
            mend="write it as a positive number",
            key=f"{key}.uncertainty",
        )
    return Quantity(value=value, uncertainty=uncertainty, label=key)


def _coast_down(table: Mapping[str, Any], at: str, files: _Files, name: str) -> CoastDown:
    keys = (
        "name",
        "car",
        "track",
        "times",
        "distances",
        "speeds",
        "time_uncertainty",
        "speed_uncertainty",
        "fall",
        "floor",
        "back",
        "on_rail",
    )
    check_names(table, keys, at=at)
    return CoastDown(
        car=files.car(table, at),
        track=files.track(table, at),
        times=_list(table, "times", at=at, units=_TIME),
        distances=_list(table, "distances", at=at, units=None),
        speeds=_list(table, "speeds", at=at, units=_SPEED),
        time_uncertainty=_single(table, "time_uncertainty", at=at, units=_TIME),
        speed_uncertainty=_single(table, "speed_uncertainty", at=at, units=_SPEED),
        fall=_fall(table, at),
        floor=read_text(table, "floor", at=at, default="floor"),
        back=read_flag(table, "back", at=at, default=False),
        on_rail=read_flag(table, "on_rail", at=at, default=True),
        name=name,
    )


def _timed_run(table: Mapping[str, Any], at: str, files: _Files, name: str) -> TimedRun:
    check_names(
        table, ("name", "car", "track", "lane", "times", "splits", "uncertainty", "timer_uncertainty"), at=at
    )
    splits = table_at(table, "splits", at=at)
    timer = _single(table, "timer_uncertainty", at=at, units=_TIME) or 0.0
    if timer < 0.0:
        raise OutOfRange(
            "an uncertainty cannot be negative",
            mend="write it as a positive number",
            key=f"{at}.timer_uncertainty",
        )
    return TimedRun(
        car=files.car(table, at),
        track=files.track(table, at),
        lane=read_text(table, "lane", at=at, default="-") if "lane" in table else "",
        times=_list(table, "times", at=at, units=_TIME),
        splits={split: _list(splits, split, at=f"{at}.splits", units=_TIME) for split in splits},
        uncertainty=_single(table, "uncertainty", at=at, units=_TIME),
        timer=timer,
        name=name,
    )
