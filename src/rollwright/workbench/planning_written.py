"""A plan put into the builder's own car file: remarks and parts stay, what is planned is written as meant."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rollwright.car.dimensions import dimension_kind, dimension_names, dimension_of, file_key
from rollwright.car.file import parse_car
from rollwright.car.model import Car, Station
from rollwright.car.write import updated_text
from rollwright.errors import FileUnreadable
from rollwright.quantity import Source

if TYPE_CHECKING:
    from rollwright.workbench.planning import Planned

__all__ = ["planned_text"]

_SAME = 5e-7
"""How near a written value is the same [m or rad]: files keep five decimals of an inch."""

_ROUNDS = 3
_MM = 1e3


def planned_text(found: Planned) -> str:
    """Return the text of a car's file as it is planned.

    Args:
        found: the plan; its rounded figures are written, each `nominal` and as uncertain as a drawing.

    Returns:
        The text. A pin that the file shares between wheels gets a table of its own before it is bent; targets
        that were wished for take the place of the file's own, and `bent_axles` is false where none is bent
        in a class that allows none.

    Raises:
        FileUnreadable: the file's layout cannot be changed line by line.
    """
    wanted = found.rounded.car
    names = [size.name for size in found.plan.sizes]
    text = _with_own_axle(found.text, found.car, wanted)
    text = _with_targets(text, found)
    forbids = found.car.bent_axles and not found.plan.bent
    if found.plan.bent and not found.car.bent_axles:
        text = _set(text, ("setup", "bent_axles"), value=True)
    for _ in range(_ROUNDS):
        car = parse_car(text, file=found.file)
        changed = [name for name in names if _differs(car, wanted, name)]
        # What a station takes from the rear left one must not change with it.
        changed += [
            name
            for name in dimension_names()
            if name not in names and abs(_value(car, name) - _value(wanted, name)) > _SAME
        ]
        if not changed:
            break
        text = updated_text(
            text,
            {file_key(car, name): dimension_of(wanted, name) for name in changed},
            kinds={file_key(car, name): dimension_kind(name) for name in changed},
            file=found.file,
        )
    # A file that says so may hold no bend any more.
    return _set(text, ("setup", "bent_axles"), value=False) if forbids else text


def _value(car: Car, name: str) -> float:
    return dimension_of(car, name).value


def _differs(car: Car, wanted: Car, name: str) -> bool:
    now, then = dimension_of(car, name), dimension_of(wanted, name)
    # A straight axle has no clock, and an axle that stays straight may share its table.
    if name.endswith((".clock", ".bend")) and then.value == 0.0 and _straight(car, name):
        return False
    return abs(now.value - then.value) > _SAME or now.source is not Source.NOMINAL


def _straight(car: Car, name: str) -> bool:
    station = Station(name.partition(".")[0])
    return car.axle_at(station).bend.value == 0.0 and _value(car, name) == 0.0


def _with_own_axle(text: str, car: Car, wanted: Car) -> str:
    """Return the text with a table for the dominant pin where it is bent and others share its table."""
    front = car.dominant
    mine = car.corners[front].axle
    shared = [each for each in Station if each is not front and car.corners[each].axle == mine]
    bend = f"{front.value}.bend"
    if not shared or abs(_value(car, bend) - _value(wanted, bend)) <= _SAME:
        return text
    data = tomllib.loads(text)
    tables: Mapping[str, Mapping[str, Any]] = data.get("axles", {})
    name = front.value
    while name in tables:
        name += " planned"
    lines = [f"[axles.{_item(name).as_string() if ' ' in name else name}]"]
    lines += [f"{key} = {_item(value).as_string()}" for key, value in tables.get(mine, {}).items()]
    newline = "\r\n" if "\r\n" in text else "\n"
    behind = f"{newline}# The {front.words} pin, which gets bent.{newline}"
    new = text.rstrip() + newline + behind + newline.join(lines) + newline
    named = "axle" in data.get("stations", {}).get(front.value, {})
    if named or name != front.value:
        new = _set(new, ("stations", front.value, "axle"), value=name)
    return new


def _with_targets(text: str, found: Planned) -> str:
    """Return the text with the targets that were wished for."""
    targets = tomllib.loads(text).get("targets", {})
    for name, value in found.targets.items():
        if abs(getattr(found.car.targets, name).value - value) <= _SAME:
            continue
        sided = name == "drift" and value != 0.0
        said: object = round(value * _MM, 5)
        if sided:
            said = (
                f"{abs(value) * _MM:.5f}".rstrip("0").rstrip(".") + f" mm {'left' if value > 0 else 'right'}"
            )
        old = targets.get(name)
        if isinstance(old, dict):
            text = _set(text, ("targets", name, "value"), value=said)
        else:
            text = _set(text, ("targets", name), value={"value": said})
    return text


def _set(text: str, path: tuple[str, ...], *, value: object) -> str:
    """Return the text with one plain value changed, and everything else as it stands."""
    import tomlkit  # noqa: PLC0415 - only writing needs it, and it costs start-up time
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415
    from tomlkit.items import InlineTable  # noqa: PLC0415

    *tables, last = path
    wanted = tomllib.loads(text)
    there = wanted
    for table in tables:
        there = there.setdefault(table, {})
    there[last] = value
    try:
        document = tomlkit.parse(text)
        place: Any = document
        for table in tables:
            place = place.get(table, {})
        if last in place or isinstance(place, InlineTable):
            item, old = _item(value), place.get(last)
            if old is not None and hasattr(old, "trivia"):
                item.trivia.comment_ws = old.trivia.comment_ws
                item.trivia.comment = old.trivia.comment
            place[last] = item
            new = tomlkit.dumps(document)
        else:
            new = _with_line(text, f"[{'.'.join(tables)}]", f"{last} = {_item(value).as_string()}")
        sound = tomllib.loads(new) == wanted
    except (TOMLKitError, RecursionError, tomllib.TOMLDecodeError):
        sound = False
    if not sound:
        raise FileUnreadable(
            "this file is laid out in a way that cannot be changed line by line",
            mend="write each table under one heading of its own",
        )
    return new


def _with_line(text: str, heading: str, line: str) -> str:
    """Return the text with a line under a heading, before the blank line that ends it."""
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = text.rstrip().splitlines()
    at = next((row for row, each in enumerate(lines) if _plain(each) == heading), None)
    if at is None:
        return newline.join([*lines, "", heading, line, ""])
    end = at + 1
    while end < len(lines) and lines[end].strip() and not lines[end].lstrip().startswith("["):
        end += 1
    return newline.join([*lines[:end], line, *lines[end:], ""])


def _plain(line: str) -> str:
    return "".join(line.partition("#")[0].split())


def _item(value: object) -> Any:
    """Return a plain value as an item of a TOML document."""
    import tomlkit  # noqa: PLC0415 - see _set

    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        return inline
    return tomlkit.item(value)
