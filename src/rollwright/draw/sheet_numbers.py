"""The table of numbers to set on a set-up sheet: holes, bends and what lies between wheel and body."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from rollwright.car.dimensions import dimension_of, file_key
from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Anchor, Line, Mark, Pen, Text
from rollwright.draw.sheet_words import fitted
from rollwright.units import Kind, System, show

__all__ = ["NUMBERS_TALL", "numbers_table"]

_TITLE, _HEAD, _ROW = 6.0, 8.5, 4.9
_LABEL, _LAST = 23.0, 12.5
_WORDS, _SMALL = 2.9, 2.5
_LENGTHS = {"hole_height": "hole height", "relief": "relief", "washer": "washers", "play": "play"}
_ANGLES = {
    "cant": ("cant", "up", "down"),
    "sweep": ("sweep", "fwd", "back"),
    "bend": ("bend", "", ""),
    "clock": ("clock", "fwd", "back"),
}
_ORDER = ("hole_height", "cant", "sweep", "bend", "clock", "relief", "washer", "play")
_STRAIGHT = math.radians(0.005)

NUMBERS_TALL = _TITLE + _HEAD + _ROW * len(_ORDER) + 5.0
"""How tall the table is with its title and the line below it [mm]."""


def numbers_table(car: Car, *, left: float, top: float, width: float, system: System) -> Iterator[Mark]:
    """Return the table: a column for each wheel, its tolerance beside it where the file gives one.

    Args:
        car: the car.
        left: its left edge [mm].
        top: the top of its title [mm].
        width: how wide it is [mm].
        system: what numbers are written in.

    Returns:
        The marks. What nobody gave stands in brackets.
    """
    yield Text(at=(left, top - 3.2), text="Numbers to set", height=3.8, strong=True)
    column = (width - _LABEL - _LAST) / len(Station)
    roof = top - _TITLE
    for number, station in enumerate(Station):
        x = left + _LABEL + (number + 0.5) * column
        role = {car.dominant: "steers", car.raised: "raised"}.get(station, "")
        strong = station is car.dominant
        yield fitted(
            station.words,
            at=(x, roof - 3.4),
            room=column - 1.0,
            height=_WORDS,
            anchor=Anchor.MIDDLE,
            strong=strong,
        )
        yield Text(at=(x, roof - 7.0), text=role, height=_SMALL, anchor=Anchor.MIDDLE)
    yield Text(at=(left + width, roof - 3.4), text="within", height=_WORDS, anchor=Anchor.END)
    low = roof - _HEAD - _ROW * len(_ORDER)
    for row, name in enumerate(_ORDER):
        y = roof - _HEAD - row * _ROW
        yield Line(start=(left, y), end=(left + width, y), pen=Pen.HAIR)
        label, cell, within = _row_of(car, name, system)
        base = y - 0.5 * _ROW - 0.35 * _WORDS
        yield fitted(label, at=(left, base), room=_LABEL - 1.0, height=_WORDS)
        for number, station in enumerate(Station):
            text = cell(station)
            if file_key(car, f"{station.value}.{name}") in car.assumed and text != "–":
                text = f"({text})"
            yield fitted(
                text,
                at=(left + _LABEL + (number + 0.5) * column, base),
                room=column - 1.0,
                height=_WORDS,
                anchor=Anchor.MIDDLE,
                strong=station is car.dominant,
            )
        yield fitted(within, at=(left + width, base), room=_LAST - 0.5, height=_WORDS, anchor=Anchor.END)
    yield Line(start=(left, low), end=(left + width, low), pen=Pen.HAIR)
    yield fitted(
        "In brackets: nobody gave it, it is assumed. Measure it and write it into the car's file.",
        at=(left, low - 3.6),
        room=width,
        height=_SMALL,
    )


def _row_of(car: Car, name: str, system: System) -> tuple[str, Callable[[Station], str], str]:
    """Return a row's label, what stands in a station's cell, and how far off is still good."""
    values = {station: dimension_of(car, f"{station.value}.{name}").value for station in Station}
    drill = {"cant": car.drill.cant, "sweep": car.drill.sweep, "hole_height": car.drill.hole_height}.get(name)
    if name in _LENGTHS:
        largest = max(map(abs, values.values()))
        unit = show(largest, kind=Kind.LENGTH, system=system).unit

        def length(station: Station) -> str:
            return show(values[station], kind=Kind.LENGTH, system=system, like=largest).number

        if drill is None:
            return f"{_LENGTHS[name]}, {unit}", length, ""
        return (
            f"{_LENGTHS[name]}, {unit}",
            length,
            f"± {_short(show(drill.value, kind=Kind.LENGTH, system=system, like=largest).number)}",
        )
    label, positive, negative = _ANGLES[name]

    def angle(station: Station) -> str:
        value = values[station]
        if name == "clock" and abs(dimension_of(car, f"{station.value}.bend").value) < _STRAIGHT:
            return "–"
        shown = f"{math.degrees(abs(value)):.{1 if name == 'clock' else 2}f}°"
        if not shown.strip("0.°"):
            return "0°"
        return f"{shown} {positive if value > 0.0 else negative}".strip()

    return label, angle, "" if drill is None else f"± {_short(f'{math.degrees(drill.value):.2f}')}°"


def _short(number: str) -> str:
    return number.rstrip("0").rstrip(".") if "." in number else number
