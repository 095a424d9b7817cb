"""The parts file: what lies in the box, how it was measured, and what was done to it."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from rollwright.car.keys import AXLE_KEYS, WHEEL_KEYS, Key
from rollwright.car.table import check_names, in_range, nearest, read_quantity, read_tables, read_text
from rollwright.car.toml_file import load_toml, parse_toml
from rollwright.errors import InputError, MissingReference, OutOfRange, WrongType, echo
from rollwright.quantity import Quantity, Source
from rollwright.setup.parts import BoxAxle, BoxWheel, Entry, PartsBox, Stock
from rollwright.units import Kind

__all__ = ["DONE", "parse_parts", "read_parts"]

DONE = (
    *("trued", "polished", "broken_in", "lubricated", "cleaned"),
    *("spin_down", "bent", "straightened", "raced", "other"),
)
"""What can have been done to a part."""

_MM, _G = 1e-3, 1e-3
_MOST = 9999
_LONGEST_LIST = 60
_LONGEST_HISTORY = 500
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


def _key(name: str, kind: Kind, low: float, high: float, drawing: float, text: str) -> Key:
    return Key(
        name=name,
        kind=kind,
        low=low,
        high=high,
        default=None,
        drawing=drawing,
        guess=2.0 * drawing,
        help=text,
    )


def _shared(keys: tuple[Key, ...], names: tuple[str, ...]) -> tuple[Key, ...]:
    """Return keys of the car file that a loose part has too, without their defaults."""
    by_name = {key.name: replace(key, default=None) for key in keys}
    return tuple(by_name[name] for name in names)


_WHEEL = (
    *_shared(WHEEL_KEYS, ("diameter", "tread_width", "hub_projection", "bore", "mass", "inertia")),
    _key("run_out", Kind.LENGTH, 0.0, 5.0 * _MM, 0.02 * _MM, "radial run-out, from least to greatest"),
    _key("hub_length", Kind.LENGTH, 0.5 * _MM, 100.0 * _MM, 0.1 * _MM, "length of the bore"),
)
_AXLE = (
    *_shared(AXLE_KEYS, ("shank", "bend", "mass")),
    _key("straightness", Kind.LENGTH, 0.0, 5.0 * _MM, 0.01 * _MM, "how far its straight parts bow"),
)
_BEND = next(key for key in AXLE_KEYS if key.name == "bend")
_WASHER = _key("thickness", Kind.LENGTH, 0.005 * _MM, 30.0 * _MM, 0.02 * _MM, "thickness of one washer")
_WEIGHT = _key("mass", Kind.MASS, 0.01 * _G, 1.0, 0.1 * _G, "mass of one weight")
_FRICTION = _key("friction", Kind.RATIO, 0.001, 2.0, 0.02, "friction in the bore")
_NEEDED = {
    "diameter": "diameter = 32.1",
    "bore": "bore = 2.5",
    "mass": "mass = 2.7",
    "shank": "shank = 2.38",
    "thickness": "thickness = 0.2",
}
_OTHER_FILES = (("body", "car file"), ("profile", "track file"), ("pockets", "pockets file"))


def read_parts(path: str | os.PathLike[str]) -> PartsBox:
    """Read a parts file.

    Args:
        path: where the file is.

    Returns:
        The box.

    Raises:
        InputError: the file cannot be used; the message names the file, the key and the mend.
    """
    return parse_parts(load_toml(path, what="parts file"), file=Path(path).name)


def parse_parts(text: str, *, file: str = "parts.toml") -> PartsBox:
    """Read a box of parts from the text of its file.

    Args:
        text: TOML text, `format = 1`. Bare numbers are millimetres, degrees and grams.
        file: the file's name, for messages.

    Returns:
        The box.

    Raises:
        InputError: the text cannot be used; the message names the file, the key and the mend.
    """
    try:
        return _box(parse_toml(text, file=file))
    except InputError as error:
        raise error.at(file=file) from None


def _box(top: Mapping[str, Any]) -> PartsBox:
    for key, what in _OTHER_FILES:
        if key in top:
            raise WrongType(f"this is a {what}, not a parts file", mend="name the parts file first")
    check_names(top, ("format", "name", "wheels", "axles", "washers", "weights"), at="")
    tables = {name: read_tables(top, name) for name in ("wheels", "axles", "washers", "weights")}
    for name, found in tables.items():
        if len(found) > _LONGEST_LIST:
            raise OutOfRange(
                f"{len(found)} are more than {_LONGEST_LIST}", mend="keep a file for each make", key=name
            )
    if not tables["wheels"] and not tables["axles"]:
        raise WrongType(
            "there are neither wheels nor axles", mend="write [wheels.NAME] and its keys", key="wheels"
        )
    _check_names_differ(tables)
    axles = {name: _axle(name, table) for name, table in tables["axles"].items()}
    return PartsBox(
        name=read_text(top, "name", at="", default="The parts box"),
        wheels={name: _wheel(name, table, axles) for name, table in tables["wheels"].items()},
        axles=axles,
        washers=tuple(_stock(name, table, _WASHER, "washers") for name, table in tables["washers"].items()),
        weights=tuple(_stock(name, table, _WEIGHT, "weights") for name, table in tables["weights"].items()),
    )


def _check_names_differ(tables: Mapping[str, Mapping[str, Any]]) -> None:
    for group, found in tables.items():
        seen: dict[str, str] = {}
        for name in found:
            plain = "".join(name.casefold().split())
            if plain in seen:
                raise WrongType(
                    f"{echo(name)} and {echo(seen[plain])} are one name to a hand at the bench",
                    mend="give each part a name of its own",
                    key=group,
                )
            seen[plain] = name


def _quantities(
    table: Mapping[str, Any], keys: tuple[Key, ...], *, at: str, needed: tuple[str, ...]
) -> dict[str, Quantity | None]:
    check_names(table, (*(key.name for key in keys), "history"), at=at)
    found = {key.name: read_quantity(table, key, at=at, assumed=[]) for key in keys}
    for key in keys:
        if key.name in needed and found[key.name] is None:
            raise WrongType(
                f"this is missing: {key.help}", mend=f"write {_NEEDED[key.name]}", key=f"{at}.{key.name}"
            )
    return found


def _wheel(name: str, table: Mapping[str, Any], axles: Mapping[str, BoxAxle]) -> BoxWheel:
    at = f"wheels.{name}"
    found: dict[str, Any] = _quantities(table, _WHEEL, at=at, needed=("diameter", "bore", "mass"))
    if found["mass"].value <= 0.0:
        raise OutOfRange("a wheel of no mass cannot be", mend="weigh it", key=f"{at}.mass")
    if found["bore"].value >= found["diameter"].value:
        raise OutOfRange(
            "the bore is as wide as the tread", mend="check both and their units", key=f"{at}.bore"
        )
    return BoxWheel(name=name, **found, history=_history(table, at=at, axles=axles, spins=True))


def _axle(name: str, table: Mapping[str, Any]) -> BoxAxle:
    at = f"axles.{name}"
    found: dict[str, Any] = _quantities(table, _AXLE, at=at, needed=("shank",))
    # A pin of which no bend is said is straight as pins come.
    bend = found["bend"] or Quantity(
        value=0.0, uncertainty=_BEND.guess, source=Source.ASSUMED, label=f"{at}.bend"
    )
    return BoxAxle(
        name=name, **{**found, "bend": bend}, history=_history(table, at=at, axles={}, spins=False)
    )


def _stock(name: str, table: Mapping[str, Any], key: Key, group: str) -> Stock:
    at = f"{group}.{name}"
    check_names(table, (key.name, "count"), at=at)
    size = read_quantity(table, key, at=at, assumed=[])
    if size is None:
        raise WrongType(
            f"this is missing: {key.help}", mend=f"write {_NEEDED[key.name]}", key=f"{at}.{key.name}"
        )
    written = table.get("count", 1)
    if isinstance(written, bool) or not isinstance(written, int) or not 0 <= written <= _MOST:
        raise WrongType(
            f"{echo(written)} is not a number of pieces",
            mend=f"write a whole number from 0 to {_MOST}",
            key=f"{at}.count",
        )
    return Stock(name=name, size=size, count=written)


def _history(
    table: Mapping[str, Any], *, at: str, axles: Mapping[str, BoxAxle], spins: bool
) -> tuple[Entry, ...]:
    written = table.get("history", [])
    if not isinstance(written, list) or not all(isinstance(part, Mapping) for part in written):
        raise WrongType(
            "the history is not a list of entries",
            mend=f"write [[{at}.history]] above each entry",
            key=f"{at}.history",
        )
    if len(written) > _LONGEST_HISTORY:
        raise OutOfRange(
            f"{len(written)} entries are more than {_LONGEST_HISTORY}",
            mend="leave the oldest out",
            key=f"{at}.history",
        )
    found = [
        _entry(part, at=f"{at}.history[{number}]", axles=axles, spins=spins)
        for number, part in enumerate(written)
    ]
    # Entries of one day stay in the order in which they were written.
    return tuple(sorted(found, key=lambda entry: entry.date))


def _entry(table: Mapping[str, Any], *, at: str, axles: Mapping[str, BoxAxle], spins: bool) -> Entry:
    check_names(table, ("date", "what", "note", "friction", "lubricant", "axle"), at=at)
    what = table.get("what")
    if not isinstance(what, str) or what not in DONE:
        said = "what was done is missing" if what is None else f"{echo(what)} is nothing that can be done"
        hint = nearest(what, DONE) if isinstance(what, str) else f"write one of {', '.join(DONE)}"
        raise WrongType(said, mend=hint, key=f"{at}.what")
    date = _date(table, at=at)
    spun = what == "spin_down"
    if spun and not spins:
        raise WrongType(
            "a spin-down speaks of a wheel, not of a pin",
            mend="write it under the wheel, with axle = the pin's name",
            key=f"{at}.what",
        )
    for name in ("friction", "lubricant", "axle"):
        if name in table and not spun and not (name == "lubricant" and what == "lubricated"):
            raise WrongType(
                f"{name} is said of an entry that is no spin-down",
                mend='write what = "spin_down", or leave it out',
                key=f"{at}.{name}",
            )
    axle = read_text(table, "axle", at=at, default=" ").strip() if "axle" in table else ""
    if axle and axle not in axles:
        raise MissingReference(
            f"there is no [axles.{echo(axle)[1:-1]}]",
            mend=nearest(axle, axles) if axles else "write it, or leave axle out",
            key=f"{at}.axle",
        )
    return Entry(
        date=date,
        what=what,
        note=read_text(table, "note", at=at, default="") if "note" in table else "",
        friction=_friction(table, at=at) if spun else None,
        lubricant=read_text(table, "lubricant", at=at, default="") if "lubricant" in table else "",
        axle=axle,
    )


def _date(table: Mapping[str, Any], *, at: str) -> str:
    written = table.get("date")
    if isinstance(written, dt.datetime):
        written = written.date()
    if isinstance(written, dt.date):
        return written.isoformat()
    if isinstance(written, str) and _DATE.fullmatch(written):
        try:
            return dt.date.fromisoformat(written).isoformat()
        except ValueError:
            pass
    said = "the date is missing" if written is None else f"{echo(written)} is no date"
    raise WrongType(said, mend="write date = 2026-03-14", key=f"{at}.date")


def _friction(table: Mapping[str, Any], *, at: str) -> Quantity:
    full = f"{at}.friction"
    written = table.get("friction")
    if not isinstance(written, Mapping) or "value" not in written or "uncertainty" not in written:
        raise WrongType(
            "a spin-down needs its friction with its uncertainty",
            mend="write friction = { value = 0.11, uncertainty = 0.01 }, as rollwright fit says",
            key=full,
        )
    found = read_quantity(table, _FRICTION, at=at, assumed=[])
    assert found is not None  # noqa: S101 - it was just seen to be there
    in_range(found.value, key=_FRICTION, at=full)
    if found.uncertainty <= 0.0:
        raise OutOfRange("no fit is exact", mend="write its standard uncertainty", key=full)
    return found
