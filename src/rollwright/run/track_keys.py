"""Every key of a track file: its unit, range, default, and how well a bare number is taken to be known.

Sizes of the profile are lengths and angles as in a car file. Air, drag and coefficients have units that
no car needs; each is read in the unit that its key is written in and turned into SI here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from rollwright.car.keys import Key
from rollwright.car.table import read_quantity
from rollwright.errors import OutOfRange, UnreadableQuantity, echo
from rollwright.quantity import Quantity, Source
from rollwright.units import Kind, parse

__all__ = [
    "AIR_KEYS",
    "FACTOR_KEY",
    "LANE_FINISH",
    "LOSS_KEYS",
    "PROFILE_KEYS",
    "SPLIT",
    "SURVEY_UNCERTAINTY",
    "PlainKey",
    "read_plain",
    "read_size",
]

_MM = 1e-3
_DEG = math.pi / 180.0
_RAISED = str.maketrans("²³", "23")

SURVEY_UNCERTAINTY = 0.5 * _MM
"""Standard uncertainty of a surveyed point where the file does not say it [m]."""

_SHORTEST = 100.0 * _MM
"""A bare number under this is no part of a track, but may be metres or feet that lost their unit [m]."""


def _size(name: str, text: str, *, low: float, high: float, drawing: float) -> Key:
    return Key(
        name=name,
        kind=Kind.LENGTH,
        low=low,
        high=high,
        default=None,
        drawing=drawing,
        guess=5.0 * drawing,
        help=text,
    )


PROFILE_KEYS = (
    Key(
        name="ramp_angle",
        kind=Kind.ANGLE,
        low=1.0 * _DEG,
        high=75.0 * _DEG,
        default=None,
        drawing=0.2 * _DEG,
        guess=1.0 * _DEG,
        help="slope of the ramp, below the level",
    ),
    _size(
        "ramp_length",
        "from the gate to the start of the arc, along the slope",
        low=_SHORTEST,
        high=50.0,
        drawing=2.0 * _MM,
    ),
    _size("arc_radius", "radius of the running surface", low=_SHORTEST, high=50.0, drawing=10.0 * _MM),
    _size("flat_length", "from the end of the arc to the finish", low=0.0, high=100.0, drawing=2.0 * _MM),
)
SPLIT = _size("split", "from the gate, along the surface", low=1.0 * _MM, high=200.0, drawing=2.0 * _MM)
LANE_FINISH = _size(
    "finish", "how much further down the track the finish lies", low=-1.0, high=1.0, drawing=1.0 * _MM
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainKey:
    """A key whose number is in a unit of its own.

    Attributes:
        name: the key.
        unit: the unit of a bare number, empty for a pure number.
        low: least allowed value [unit].
        high: greatest allowed value [unit].
        uncertainty: standard uncertainty of a value that does not say it [unit].
        share: the same as a part of the value [1]; both count.
        help: what it is, in a builder's words.
        phrase: what it is called in messages.
        default: value when it is left out [unit]; None when there is none.
        guess: standard uncertainty of the default [unit].
        units: units that may be written, with the factor and the shift to `unit`; capitals do not matter.
        to_si: factor and shift from `unit` to SI.
    """

    name: str
    unit: str
    low: float
    high: float
    uncertainty: float = 0.0
    share: float = 0.0
    help: str
    phrase: str
    default: float | None = None
    guess: float = 0.0
    units: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    to_si: tuple[float, float] = (1.0, 0.0)


_AREAS = {"m2": (1.0, 0.0), "cm2": (1e-4, 0.0), "mm2": (1e-6, 0.0), "in2": (0.0254**2, 0.0)}
_PER_CENT = {"%": (0.01, 0.0)}
_FAHRENHEIT = (5.0 / 9.0, -160.0 / 9.0)
# Conventional millimetre and inch of mercury: 133.322387415 Pa (ISO 80000-4:2006, annex C) and 25.4 of them.
_MERCURY = 1.33322387415

AIR_KEYS = (
    PlainKey(
        name="temperature",
        unit="°C",
        low=0.0,
        high=45.0,
        uncertainty=1.0,
        help="of the air at the track",
        phrase="a temperature",
        default=20.0,
        guess=4.0,
        units=dict.fromkeys(("°C", "deg C", "degC", "C"), (1.0, 0.0))
        | dict.fromkeys(("°F", "deg F", "degF", "F"), _FAHRENHEIT)
        | {"K": (1.0, -273.15)},
        to_si=(1.0, 273.15),
    ),
    PlainKey(
        name="pressure",
        unit="hPa",
        low=600.0,
        high=1100.0,
        uncertainty=2.0,
        help="of the air at the track, not reduced to sea level",
        phrase="a pressure",
        default=1013.25,
        guess=20.0,
        units={
            "hPa": (1.0, 0.0),
            "mbar": (1.0, 0.0),
            "kPa": (10.0, 0.0),
            "Pa": (0.01, 0.0),
            "inHg": (25.4 * _MERCURY, 0.0),
            "mmHg": (_MERCURY, 0.0),
            "bar": (1000.0, 0.0),
        },
        to_si=(100.0, 0.0),
    ),
    PlainKey(
        name="humidity",
        unit="",
        low=0.0,
        high=1.0,
        uncertainty=0.05,
        help="relative humidity",
        phrase="a relative humidity",
        default=0.5,
        guess=0.15,
        units=_PER_CENT,
    ),
    PlainKey(
        name="altitude",
        unit="m",
        low=-400.0,
        high=4000.0,
        uncertainty=20.0,
        help="height above the sea, in place of a pressure",
        phrase="a height above the sea",
        units={"m": (1.0, 0.0), "km": (1000.0, 0.0), "ft": (0.3048, 0.0), "feet": (0.3048, 0.0)},
    ),
    PlainKey(
        name="density",
        unit="kg/m3",
        low=0.6,
        high=1.5,
        share=0.005,
        help="of the air, in place of all the others",
        phrase="a density",
        units={"kg/m3": (1.0, 0.0), "g/l": (1.0, 0.0), "g/m3": (1e-3, 0.0)},
    ),
)


def _loss(name: str, text: str, *, high: float, low: float = 0.0, unit: str = "") -> PlainKey:
    units = {"m2": _AREAS, "": _PER_CENT}.get(unit, {})
    return PlainKey(
        name=name,
        unit=unit,
        low=low,
        high=high,
        share=0.1,
        help=text,
        phrase="an area" if unit == "m2" else "a coefficient",
        units=units,
    )


LOSS_KEYS = (
    _loss("bearing_friction", "friction of the bore on the shank", high=1.0),
    _loss("hub_friction", "friction of the hub's end on the axle's head or the body", high=1.0),
    _loss("rail_friction", "friction of the steered wheel on the rail", high=1.0),
    _loss("tread_friction", "greatest sideways force of a tread over its load", high=2.0),
    _loss(
        "creep_stiffness",
        "sideways force over load, for each radian that a wheel rolls askew",
        high=10_000.0,
        unit="1/rad",
    ),
    _loss("rolling", "rolling resistance over load", high=0.1),
    _loss("drag_area", "drag coefficient times frontal area", high=0.02, unit="m2"),
    _loss(
        "drag_area_per_pitch",
        "growth of the drag area with the body's pitch, nose up",
        low=-0.1,
        high=0.1,
        unit="m2/rad",
    ),
    _loss(
        "drag_area_per_height",
        "growth of the drag area with the underside's height",
        low=-1.0,
        high=1.0,
        unit="m2/m",
    ),
)

FACTOR_KEY = PlainKey(
    name="factor",
    unit="",
    low=0.0,
    high=10.0,
    share=0.05,
    help="by what the loss of the whole track is multiplied on this lane",
    phrase="a factor",
    units=_PER_CENT,
)


def read_size(table: Mapping[str, Any], key: Key, *, at: str, assumed: list[str]) -> Quantity | None:
    """Return a length or an angle of a track.

    Args:
        table: the table that may hold it.
        key: its entry in the table of keys.
        at: dotted name of the table.
        assumed: dotted names of assumed values; this one is added if it is one.

    Returns:
        The quantity [m or rad], or None when it is left out.

    Raises:
        InputError: it cannot be read or is not a possible one; a bare number that is too small for part of a
            track is taken for metres that lost their unit.
    """
    if key.name not in table:
        return None
    full = f"{at}.{key.name}"
    if not isinstance(table[key.name], Mapping):
        # What stands bare is named by its key, not by the table that it is about to be put into.
        try:
            parse(table[key.name], kind=key.kind)
        except UnreadableQuantity as error:
            raise error.at(key=full) from None
    parts = _spelled(table[key.name])
    _check_long_enough(parts.get("value"), key, at=full)
    usual = key.guess if parts["from"] == Source.ASSUMED.value else key.drawing
    parts.setdefault("uncertainty", f"{usual!r} {key.kind.si}")
    return read_quantity({key.name: parts}, key, at=at, assumed=assumed)


def _spelled(written: Any) -> dict[str, Any]:
    """Return a quantity as a table that says where it comes from."""
    parts = dict(written) if isinstance(written, Mapping) else {"value": written}
    parts.setdefault("from", (Source.MEASURED if "uncertainty" in parts else Source.NOMINAL).value)
    return parts


def _check_long_enough(value: Any, key: Key, *, at: str) -> None:
    bare = isinstance(value, int | float) and not isinstance(value, bool)
    if bare and key.kind is Kind.LENGTH and key in PROFILE_KEYS and 0 < value < _SHORTEST / _MM:
        raise OutOfRange(
            f"{value:g} mm is too short for a part of a track",
            mend=f'if it is in metres write "{value:g} m", if in feet "{value:g} ft"',
            key=at,
        )


def read_plain(table: Mapping[str, Any], plain: PlainKey, *, at: str, assumed: list[str]) -> Quantity | None:
    """Return a quantity whose bare number is in its key's own unit.

    Args:
        table: the table that may hold it.
        plain: its entry in the table of keys.
        at: dotted name of the table.
        assumed: dotted names of assumed values; this one is added if it is one.

    Returns:
        The quantity [SI], or None when it is left out and has no default.

    Raises:
        InputError: it cannot be read or is not a possible one.
    """
    key = Key(
        name=plain.name,
        kind=Kind.RATIO,
        low=plain.low,
        high=plain.high,
        default=plain.default,
        drawing=plain.uncertainty,
        guess=plain.guess,
        help=plain.help,
    )
    if plain.name in table:
        parts = _spelled(table[plain.name])
        full = f"{at}.{plain.name}"
        if "value" in parts:
            parts["value"] = value = _in_range(parts["value"], plain, at=full)
            usual = (
                plain.guess if parts["from"] == Source.ASSUMED.value and plain.guess else plain.uncertainty
            )
            parts.setdefault("uncertainty", usual + plain.share * abs(value))
        if "uncertainty" in parts:
            parts["uncertainty"] = _number(
                parts["uncertainty"], plain, at=f"{full}.uncertainty", shifted=False
            )
        table = {plain.name: parts}
    found = read_quantity(table, key, at=at, assumed=assumed)
    if found is None:
        return None
    factor, shift = plain.to_si
    return replace(found, value=found.value * factor + shift, uncertainty=found.uncertainty * factor)


def _number(written: Any, plain: PlainKey, *, at: str, shifted: bool = True) -> float:
    """Return what was written as a number in the key's own unit."""
    text = written.strip().lower().translate(_RAISED) if isinstance(written, str) else ""
    # The longest spelling goes first: "hPa" ends in "Pa" too.
    longest_first = sorted(plain.units, key=len, reverse=True)
    unit = next((each for each in longest_first if text.endswith(each.lower())), "")
    try:
        number = parse(text.removesuffix(unit.lower()) if text else written, kind=Kind.RATIO)
    except UnreadableQuantity:
        number = math.nan
    if math.isnan(number) or ("%" in text and unit != "%"):
        raise UnreadableQuantity(
            f"{echo(written)} is not {plain.phrase}", mend=f"write it as {_example(plain)}", key=at
        )
    factor, shift = plain.units.get(unit, (1.0, 0.0))
    return number * factor + (shift if shifted else 0.0)


def _example(plain: PlainKey) -> str:
    spelled = f"a bare number in {plain.unit}" if plain.unit else "a bare number"
    # Of several spellings of one unit the first is enough.
    others = {size: unit for unit, size in reversed(list(plain.units.items())) if size != (1.0, 0.0)}.values()
    return f"{spelled}, or in quotes with {' or '.join(reversed(list(others)))}" if others else spelled


def _in_range(written: Any, plain: PlainKey, *, at: str) -> float:
    value = _number(written, plain, at=at)
    if plain.low <= value <= plain.high:
        return value
    unit = f" {plain.unit}" if plain.unit else ""
    bare = not isinstance(written, str)
    meant = [
        name
        for name, (factor, shift) in plain.units.items()
        if bare and plain.low <= value * factor + shift <= plain.high
    ]
    raise OutOfRange(
        f"{value:g}{unit} is outside {plain.low:g} to {plain.high:g}{unit}",
        mend=f'if it is in {meant[0]} write "{value:g} {meant[0]}"'
        if meant
        else "check the digits and the unit",
        key=at,
    )
