"""Every key of a car file in one table: its kind, range, default, and how well it is known.

The reader, the JSON Schema, the starter file and the reference page are all made from this table,
so they cannot disagree. Ranges are wide on purpose: they catch a wrong unit or a slipped digit, and
leave the judgement of odd cars to the geometry.

Defaults are those of the project's own invented club and are flagged as assumed wherever they are
used. `drawing` is the standard uncertainty of a value that is merely meant (a drawing tolerance);
`guess` that of a value nobody gave.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from rollwright.units import Kind

__all__ = [
    "AXLE_KEYS",
    "BOARD_KEYS",
    "BODY_KEYS",
    "DRILL_KEYS",
    "MEASURED",
    "RAIL_KEYS",
    "RAISED_STATION_KEYS",
    "STATION_KEYS",
    "TARGETS",
    "WEIGHT_KEYS",
    "WHEEL_KEYS",
    "Key",
    "TargetKey",
]

_MM = 1e-3
_DEG = math.pi / 180.0
_G = 1e-3

MEASURED = {
    Kind.LENGTH: 0.02 * _MM,
    Kind.ANGLE: 0.2 * _DEG,
    Kind.MASS: 0.3 * _G,
    Kind.INERTIA: 5e-9,
}
"""Standard uncertainty [SI] of a value marked as measured without saying how well, by kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of the car file.

    Attributes:
        name: the key's last part.
        kind: what sort of quantity it holds.
        low: least allowed value [SI].
        high: greatest allowed value [SI].
        default: value used when the file leaves it out [SI]; None when there is none.
        drawing: standard uncertainty of a nominal value [SI].
        guess: standard uncertainty of an assumed value [SI].
        help: what it is, in a builder's words.
        plus: what a positive value means, where a negative one is as common.
        minus: what a negative value means.
        point: whether it holds three coordinates rather than one number.
        default_point: default of a point [SI].
    """

    name: str
    kind: Kind
    low: float
    high: float
    default: float | None
    drawing: float
    guess: float
    help: str
    plus: str = ""
    minus: str = ""
    point: bool = False
    default_point: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetKey:
    """One target: name, default value and tolerance [m], what it is, and what either sign of it means."""

    name: str
    value: float
    tolerance: float
    help: str
    plus: str
    minus: str


def _length(
    name: str,
    default: float,
    text: str,
    *,
    low: float = 0.0,
    high: float = 500.0,
    drawing: float = 0.1,
    guess: float = 0.5,
    plus: str = "",
    minus: str = "",
) -> Key:
    return Key(
        name=name,
        kind=Kind.LENGTH,
        low=low * _MM,
        high=high * _MM,
        default=default * _MM,
        drawing=drawing * _MM,
        guess=guess * _MM,
        help=text,
        plus=plus,
        minus=minus,
    )


def _angle(
    name: str,
    default: float,
    text: str,
    *,
    limit: float,
    low: float,
    drawing: float,
    plus: str = "",
    minus: str = "",
) -> Key:
    return Key(
        name=name,
        kind=Kind.ANGLE,
        low=low * _DEG,
        high=limit * _DEG,
        default=default * _DEG,
        drawing=drawing * _DEG,
        guess=2.0 * drawing * _DEG,
        help=text,
        plus=plus,
        minus=minus,
    )


def _mass(
    name: str,
    default: float | None,
    text: str,
    *,
    drawing: float,
    guess: float,
    high: float = 1000.0,
) -> Key:
    return Key(
        name=name,
        kind=Kind.MASS,
        low=0.0,
        high=high * _G,
        default=None if default is None else default * _G,
        drawing=drawing * _G,
        guess=guess * _G,
        help=text,
    )


def _point(name: str, default: tuple[float, float, float] | None, text: str) -> Key:
    return Key(
        name=name,
        kind=Kind.LENGTH,
        low=-1.0,
        high=1.0,
        default=None,
        drawing=1.0 * _MM,
        guess=5.0 * _MM,
        help=text,
        point=True,
        default_point=None if default is None else (default[0] * _MM, default[1] * _MM, default[2] * _MM),
    )


BODY_KEYS = (
    _length("length", 186.0, "overall length of the body", low=40, high=1500, guess=2.0),
    _length("width", 48.0, "width of the body at the wheels, before any relief", low=8),
    _length("wheelbase", 124.0, "rear hole line to front hole line", low=20, high=1200, guess=1.0),
    _length("rear_overhang", 22.0, "tail to rear hole line", high=1000, guess=2.0),
    _mass("mass", 96.0, "mass of the bare body", drawing=1.0, guess=5.0, high=5000.0),
    _point(
        "centre_of_mass",
        (48.0, 0.0, 11.0),
        "centre of mass of the bare body: forward of the rear hole line, left of the centre line, "
        "above the underside",
    ),
)

WHEEL_KEYS = (
    _length("diameter", 32.0, "diameter of the tread", low=5, high=300, drawing=0.05, guess=0.3),
    _length("tread_width", 8.6, "width of the running surface", low=0.2, high=100, guess=0.3),
    _length(
        "hub_projection",
        0.5,
        "hub's inner end to the tread's inner edge, along the axle",
        low=-50,
        high=100,
        drawing=0.05,
        guess=0.3,
        plus="hub stands proud of the tread",
        minus="hub lies behind it",
    ),
    _length("bore", 2.5, "hole the axle runs in", low=0.3, high=30, drawing=0.02, guess=0.05),
    _mass("mass", 2.7, "mass of one wheel", drawing=0.1, guess=0.3),
    Key(
        name="inertia",
        kind=Kind.INERTIA,
        low=0.0,
        high=1e-2,
        default=None,
        drawing=2e-8,
        guess=1e-7,
        help="moment of inertia about its own axle; may be left out",
    ),
)

AXLE_KEYS = (
    _length("shank", 2.38, "diameter of the pin", low=0.3, high=30, drawing=0.01, guess=0.03),
    _angle("bend", 0.0, "angle between the pin's two straight parts", limit=45, low=0, drawing=0.3),
    _length(
        "bend_at",
        0.0,
        "distance of the bend from the side face",
        low=-50,
        high=50,
        drawing=0.2,
        guess=0.4,
        plus="outside the face",
        minus="inside the wood",
    ),
    _mass("mass", 0.6, "mass of one pin", drawing=0.05, guess=0.15),
)

STATION_KEYS = (
    _length(
        "hole_height",
        9.0,
        "height of the hole's centre at the side face",
        low=-50,
        high=200,
        drawing=0.15,
        plus="above the underside",
        minus="below it",
    ),
    _angle(
        "cant",
        0.0,
        "hole out of level",
        limit=30,
        low=-30,
        drawing=0.25,
        plus="outer end up",
        minus="outer end down",
    ),
    _angle(
        "sweep",
        0.0,
        "hole out of square",
        limit=30,
        low=-30,
        drawing=0.15,
        plus="outer end forward",
        minus="outer end backward",
    ),
    _length(
        "relief",
        0.0,
        "how far the side face is cut back here",
        low=-5,
        high=100,
        drawing=0.05,
        guess=0.05,
        plus="wood removed",
        minus="wood added",
    ),
    _length(
        "washer",
        0.0,
        "total thickness of washers between side face and hub",
        high=30,
        drawing=0.02,
        guess=0.05,
    ),
    _length("play", 0.6, "free axial travel of the wheel", high=20, drawing=0.1, guess=0.25),
    _angle(
        "clock",
        0.0,
        "turn of the bend about the hole; 0: outer end straight down",
        limit=180,
        low=-180,
        drawing=3.0,
        plus="carried forward",
        minus="carried backward",
    ),
    _length(
        "offset",
        0.0,
        "hole off its hole line",
        low=-100,
        high=100,
        drawing=0.15,
        guess=0.15,
        plus="forward of it",
        minus="behind it",
    ),
)

RAISED_STATION_KEYS = tuple(
    replace(key, default=11.0 * _MM) if key.name == "hole_height" else key for key in STATION_KEYS
)
"""The same at the front wheel that is meant to stay off the ground: its hole is assumed 2 mm higher."""

WEIGHT_KEYS = (
    _mass("mass", None, "mass of the weight", drawing=0.5, guess=1.0),
    _point("position", None, "its centre of mass: forward, left, up"),
)

RAIL_KEYS = (
    _length("width", 46.0, "width of the guide rail", low=2, drawing=0.05, guess=0.3),
    _length("height", 5.5, "height of the guide rail above the lane", low=0.2, high=200, guess=0.5),
)

BOARD_KEYS = (
    _length("length", 1000.0, "length over which drift is read", low=50, high=20000, guess=2.0, drawing=1.0),
)

DRILL_KEYS = (
    _angle(
        "cant",
        0.5,
        "how far a hole may be off its cant",
        low=0.0,
        limit=10,
        drawing=0.0,
    ),
    _angle(
        "sweep",
        0.3,
        "how far off its sweep, and the rear pair off its heading",
        low=0.0,
        limit=10,
        drawing=0.0,
    ),
    _length(
        "hole_height",
        0.2,
        "how far off its height, and one hole from another",
        high=10,
        drawing=0.0,
        guess=0.0,
    ),
)
"""Tolerances of a drilled hole, either way: common practice, no source."""

TARGETS = (
    TargetKey(
        name="height_difference",
        value=0.0,
        tolerance=0.15 * _MM,
        help="front underside height minus rear underside height",
        plus="front high",
        minus="front low",
    ),
    TargetKey(
        name="drift",
        value=-70.0 * _MM,
        tolerance=10.0 * _MM,
        help='sideways travel over the board; or say the side, as in "70 mm right"',
        plus="left",
        minus="right",
    ),
    TargetKey(
        name="rail_offset",
        value=0.0,
        tolerance=0.15 * _MM,
        help="gap from the rail to the dominant wheel, car centred",
        plus="off the rail, wood must go",
        minus="into it, washers must come",
    ),
)
