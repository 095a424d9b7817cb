"""Entries of the bench log in a builder's words."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rollwright.car.model import Station
from rollwright.cli.log_page import ROLLED, TIED, LogPage
from rollwright.cli.log_part_words import PART_SIZES
from rollwright.cli.log_words import MOVES, direction_of
from rollwright.cli.page import listed
from rollwright.units import Kind
from rollwright.workbench.log_reading import unit_of

if TYPE_CHECKING:
    from rollwright.workbench.log import Recorded

__all__ = ["discord_words", "entry_words"]

Fields = Mapping[str, Any]

_MOST_POINTS = 6
"""Points of a trace that are all told; of more only the first and the last are."""
_SIDED = {"drift", "tail_offset"}
_SCATTERED, _ENOUGH = 3.0, 3
"""Times the gauge's uncertainty beyond which so many repeats or more scatter by more than the gauge does."""
_LINES = {"weight_behind": "the rear hole line", "weight_below": "the underside"}
"""The line past which a weight may reach."""
_PLACED = {
    "x": ("forward of the rear hole line", "behind the rear hole line", "on the rear hole line"),
    "y": ("left of the centre line", "right of the centre line", "on the centre line"),
    "z": ("above the underside", "below the underside", "at the underside"),
}
"""Where a weight's centre is said to lie along each axis: positive, negative, zero."""


def entry_words(page: LogPage, entry: Recorded) -> str:
    """Return an entry in a builder's words.

    Args:
        page: says the units.
        entry: the entry.

    Returns:
        One sentence without its full stop.
    """
    kind, fields = entry.event.kind, entry.event.as_plain()
    words = _move_words(page, kind, fields) if kind in MOVES else _WORDS[kind](page, fields)
    if fields.get("instrument"):
        words += f", with {fields['instrument']}"
    remark = f" ({fields['note']})" if fields.get("note") else ""
    return f"{words}{remark}"


def discord_words(page: LogPage, *, where: str, shown: float, expected: float, against: Sequence[str]) -> str:
    """Return which figures of scale and parts disagree, by how much, and the mend.

    Args:
        page: says the units.
        where: what stood on the scale: `whole`, `front`, `rear` or a station.
        shown: what the scale showed [kg].
        expected: what it should have shown by the other figure [kg].
        against: what else was weighed, where the other figure is their sum; none where it is the parts'.

    Returns:
        One sentence without its full stop.
    """
    says, other, what = page.mass(shown), page.mass(expected), _on_scale(where)
    if against:
        parts = listed([f"the {_on_scale(each)}" for each in against])
        if len(against) == 1:
            return f"the scale says {says} for the {what} and {other} for {parts}: weigh again"
        return f"the scale says {says} for the {what}, and {parts} add to {other}: weigh again"
    if where == "whole":
        return f"the scale says {says}, the parts add to {other}: weigh again, or correct a part"
    return f"the scale says {says} at the {what}, by the parts it is {other}: weigh again, or correct a part"


def _on_scale(where: str) -> str:
    ends = {"whole": "whole car", "front": "front end", "rear": "rear end"}
    return ends.get(where, f"{where.replace('_', ' ')} wheel")


def _at(fields: Fields) -> str:
    return f"at {Station(fields['station']).words}" if "station" in fields else ""


def _quantity(page: LogPage, value: float, kind: Kind, uncertainty: float | None = None) -> str:
    return page.entered(value, kind=kind, uncertainty=uncertainty)


def _spread(page: LogPage, fields: Fields, kind: Kind) -> str:
    """Return how well something is known, empty where that was not said."""
    if "uncertainty" not in fields:
        return ""
    return f" ±{TIED}{_quantity(page, fields['uncertainty'], kind)}"


def _move_words(page: LogPage, move: str, fields: Fields) -> str:
    amount = fields.get("done", fields.get("asked"))
    if amount is None:
        return f"{'sanding' if move == 'sand' else move} {_at(fields)}, nobody knows by how much"
    how = "as asked"
    if "done" in fields and "asked" in fields:
        asked = page.amount(fields["asked"], move=move)
        how = f"measured{_spread(page, fields, Kind.ANGLE if move in {'bend', 'turn'} else Kind.LENGTH)}"
        how += f", {asked} was asked"
    elif "done" in fields:
        how = f"measured{_spread(page, fields, Kind.ANGLE if move in {'bend', 'turn'} else Kind.LENGTH)}"
    way = direction_of(move, amount, station=Station(fields["station"]))
    if move == "sand":
        return f"sanding {_at(fields)}, {page.amount(amount, move=move)}, {how}"
    return f"{move} {_at(fields)}, {page.amount(amount, move=move)} {way}, {how}"


def _reading_words(page: LogPage, fields: Fields) -> str:
    kind = fields["reading"]
    unit = unit_of(fields.get("dimension", ""))

    def said(value: float) -> str:
        if kind in _SIDED:
            return page.entered_gate("steer", value)
        if kind in {"height_difference", "rail_offset", "block_offset"}:
            return page.entered_gate("level" if kind == "height_difference" else "centre", value)
        if kind == "daylight" and value:
            return f"{_quantity(page, abs(value), unit)} {_way(fields.get('plane', 'cant'), value)}"
        return _quantity(page, value, unit)

    values = ", ".join(said(value) for value in fields.get("values", ()))
    words = [fields.get("dimension") or kind.replace("_", " "), values, _trace(page, fields)]
    words += [_at(fields), fields.get("plane", ""), *_set_up_words(page, fields)]
    text = " ".join(word for word in words if word)
    if "uncertainty" in fields:
        text += f", each{_spread(page, fields, unit)}{_scatter(page, fields, unit)}"
    if "set_up" in fields:
        shared = f", shared ±{TIED}{_quantity(page, fields['common'], unit)}" if "common" in fields else ""
        text += f", set-up {fields['set_up']}{shared}"
    return text


def _scatter(page: LogPage, fields: Fields, kind: Kind) -> str:
    """Return that repeats scatter by far more than their gauge is said to; how much a car drifts may vary."""
    values = fields.get("values", ())
    if len(values) < _ENOUGH or fields["reading"] in _SIDED:
        return ""
    from statistics import stdev  # noqa: PLC0415 - costs start-up time

    scatter = stdev(values)
    if scatter <= _SCATTERED * fields["uncertainty"]:
        return ""
    return f", but they scatter by ±{TIED}{_quantity(page, scatter, kind)}, and that counts instead"


def _set_up_words(page: LogPage, fields: Fields) -> list[str]:
    """Return what else is said of how something was read."""
    words = []
    for name, lead in (("distance", "over"), ("thickness", "on a block of"), ("width", "of width")):
        if name in fields:
            words.append(f"{lead} {_quantity(page, fields[name], Kind.LENGTH)}")
    if "seat" in fields:
        words.append(f"with the wheel at the {fields['seat']}")
    if "against" in fields:
        words.append(f"against {_quantity(page, fields['against'], Kind.ANGLE)}")
    return words


def _trace(page: LogPage, fields: Fields) -> str:
    points = fields.get("trace")
    if not points:
        return ""
    told = [f"{page.entered_gate('steer', y)} at {_quantity(page, x, Kind.LENGTH)}" for x, y in points]
    if len(told) <= _MOST_POINTS:
        return f"trace of {len(told)} points: {', '.join(told)}"
    return f"trace of {len(told)} points, from {told[0]} to {told[-1]}"


def _way(plane: str, value: float) -> str:
    """Return which way a hole's outer end is off."""
    up, down = {"cant": ("up", "down"), "sweep": ("forward", "backward")}[plane]
    return f"outer end {up if value > 0.0 else down}"


def _drill_words(page: LogPage, fields: Fields) -> str:
    aims = []
    if "hole_height" in fields:
        aims.append(f"height {_quantity(page, fields['hole_height'], Kind.LENGTH)}")
    for plane in ("cant", "sweep"):
        if plane in fields:
            value = fields[plane]
            way = f" {_way(plane, value)}" if value else ""
            aims.append(f"{plane} {_quantity(page, abs(value), Kind.ANGLE)}{way}")
    aimed = listed(aims) if aims else "as the car file says"
    return f"hole drilled {_at(fields)}, aimed {'at ' if aims else ''}{aimed}"


def _pin_words(page: LogPage, fields: Fields) -> str:
    seen, plane = fields["seen"], fields["plane"]
    kind = Kind.ANGLE if seen == "angle" else Kind.LENGTH
    spread = _spread(page, fields, kind)
    if "size" in fields:
        size = f"{_quantity(page, abs(fields['size']), kind)}{spread}"
        text = f"{size}, {_way(plane, fields['size'])}"
    else:
        text = f"no daylight{spread}" if seen == "none" else "daylight that was not measured"
    over = ""
    if "distance" in fields:
        over = f", {_quantity(page, fields['distance'], Kind.LENGTH)} from the side face"
    if "against" in fields:
        over += f", against an edge at {_quantity(page, fields['against'], Kind.ANGLE)}"
    return f"pin {_at(fields)}, {plane}: {text}{over}"


def _part_words(fields: Fields) -> str:
    """Return a part's name without saying anything twice."""
    part, name = str(fields["part"]), str(fields.get("name", ""))
    if not name or part in name:
        return name or part
    return f"{part} {name}"


def _place_words(fields: Fields) -> str:
    pocket = fields.get("pocket", "")
    return _at(fields) or (f"in pocket {pocket}" if pocket and pocket != fields.get("name") else "")


def _fit_words(page: LogPage, fields: Fields) -> str:
    sizes = [_size(page, size) for size in fields.get("sizes", ())]
    text = " ".join(word for word in (_part_words(fields), "fitted", _place_words(fields)) if word)
    return f"{text}, {listed(sizes)}" if sizes else text


def _size(page: LogPage, size: Fields) -> str:
    name, value, spread = size["name"], size["value"], size.get("uncertainty")
    if name not in _PLACED:
        shown = _quantity(page, value, PART_SIZES.get(name, Kind.LENGTH), spread)
        return f"{name.replace('_', ' ')} {shown}"
    positive, negative, none = _PLACED[name]
    if not value and spread is None:
        return none
    shown = _quantity(page, abs(value), Kind.LENGTH, spread)
    return f"{shown} {positive if value >= 0.0 else negative}"


def _left_off_words(page: LogPage, fields: Fields) -> str:
    del page
    place = _place_words(fields)
    called = _part_words(fields)
    if not place and "name" not in fields and "pocket" not in fields:
        called = f"every {called}"
    elif not place and "name" not in fields:
        called = f"{called} {fields['pocket']}"
    return f"{' '.join(word for word in (called, place) if word)} left off: {fields['reason']}"


def _weigh_words(page: LogPage, fields: Fields) -> str:
    mass = _quantity(page, fields["mass"], Kind.MASS, fields.get("uncertainty"))
    return f"{_on_scale(fields['where'])} on the scale: {mass}"


def _inspect_words(page: LogPage, fields: Fields) -> str:
    rule = fields["rule"]
    what = f"inspected: {rule.replace('_', ' ')} {_at(fields)}".rstrip()
    if "found" in fields:
        return f"{what}: {fields['found']}"
    value, tail = fields["value"], ""
    if rule.startswith("weight_"):
        tail = f" {'past' if value >= 0.0 else 'short of'} {_LINES[rule]}"
        value = abs(value)
    return f"{what} {_quantity(page, value, Kind.LENGTH, fields.get('uncertainty'))}{tail}"


def _roll_words(page: LogPage, fields: Fields) -> str:
    lane = f" on {fields['lane']}" if "lane" in fields else ""
    gaps = [
        f"{_quantity(page, each['gap'], Kind.LENGTH)} {_at(each)}" for each in fields.get("clearances", ())
    ]
    felt = f"; gaps felt: {listed(gaps)}" if gaps else ""
    return f"slow roll{lane}: {ROLLED[fields['seen']]}{felt}"


def _class_words(page: LogPage, fields: Fields) -> str:
    del page
    try:
        name = tomllib.loads(fields["class_file"]).get("name", "")
    except tomllib.TOMLDecodeError:
        # Another program may have entered what this one would have refused.
        name = ""
    return f"class chosen: {name}" if name else "class chosen"


def _start_words(page: LogPage, fields: Fields) -> str:
    del page
    source = {"plan": "from a plan", "recipe": "from a recipe"}.get(fields["source"], "from its car file")
    copied = f" of {fields['source_car']}" if "source_car" in fields else ""
    built = f", for {fields['class_name']}" if "class_name" in fields else ""
    return f"start, {source}{copied}{built}"


def _photo_words(page: LogPage, fields: Fields) -> str:
    del page
    form = fields["media_type"].removeprefix("image/")
    shown = {"jpeg": "JPEG", "png": "PNG", "gif": "GIF", "webp": "WebP", "heic": "HEIC"}.get(form, form)
    return f"photo ({shown})" + (f": {fields['caption']}" if "caption" in fields else "")


_WORDS: Mapping[str, Callable[[LogPage, Fields], str]] = {
    "car_started": _start_words,
    "class_chosen": _class_words,
    "hole_drilled": _drill_words,
    "daylight_check": _pin_words,
    "part_fitted": _fit_words,
    "part_left_off": _left_off_words,
    "reading": _reading_words,
    "scale_reading": _weigh_words,
    "slow_roll": _roll_words,
    "inspected": _inspect_words,
    "withdrawn": lambda _, fields: f"undo: {fields['reason']}",
    "note": lambda _, fields: f"note: {fields['text']}",
    "retired": lambda _, fields: f"retired: {fields['reason']}",
    "photo": _photo_words,
}
"""How each kind of entry is said; the moves have one way for all of them."""
