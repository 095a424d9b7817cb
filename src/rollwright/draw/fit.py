"""How a real thing comes to fit on a sheet: scale, exaggeration, and numbers as they are written."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

from rollwright.errors import OutOfRange
from rollwright.units import Kind, System, show

__all__ = [
    "FACTORS",
    "Scale",
    "Units",
    "angle_text",
    "best_scale",
    "checked_exaggeration",
    "checked_width",
    "length_text",
    "system_of",
    "times",
    "type_height",
    "visible_factor",
]

Units: TypeAlias = Literal["mm", "in"]
"""What the numbers on a drawing are written in; what is drawn is millimetres either way."""

FACTORS = (1, 2, 5, 10, 20, 50)
"""By how much angles or small gaps are exaggerated when nobody asks for another factor."""

_RATIOS = (10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0, 1.75, 1.5, 1.25, 1.0)
_SMALLER = (
    1.25,
    1.5,
    1.75,
    2.0,
    2.5,
    3.0,
    3.5,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
    12.0,
    15.0,
    20.0,
    25.0,
    30.0,
    40.0,
    50.0,
)
_NARROWEST, _WHOLE, _WIDEST = 80.0, 100.0, 1000.0
_MM = 1000.0
_NOTHING = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A scale: `ratio`, drawn over true, and its `label`, such as `1 : 2`."""

    ratio: float
    label: str

    def mm(self, length: float) -> float:
        """Return how long a true length [m] is on the sheet [mm]."""
        return length * _MM * self.ratio


def _scale_of(ratio: float) -> Scale:
    label = f"{ratio:g} : 1" if ratio >= 1.0 else f"1 : {1.0 / ratio:.4g}"
    return Scale(ratio=ratio, label=label)


_SCALES = tuple(map(_scale_of, (*_RATIOS, *(1.0 / part for part in _SMALLER))))


def best_scale(fits: Callable[[Scale], bool]) -> Scale:
    """Return the largest scale at which a thing fits on its sheet.

    Args:
        fits: whether all of it fits at a scale; what fits at one must fit at every smaller one.

    Returns:
        The first that fits, from 10 : 1 down to 1 : 50; a thing still too large is halved until it fits or
        until 1 : 1 000 000, where it is given up as a dot.
    """
    for scale in _SCALES:
        if fits(scale):
            return scale
    ratio = _SCALES[-1].ratio
    while ratio > 1e-6 and not fits(_scale_of(ratio)):
        ratio /= 2.0
    return _scale_of(ratio)


def visible_factor(size: float, *, most: float) -> int:
    """Return by how much something small is exaggerated, so that it is seen and yet not absurd.

    Args:
        size: how large it is; its sign has no say [rad, m or mm].
        most: how large it may be drawn [same].

    Returns:
        The largest of `FACTORS` that keeps within it; 1 where there is nothing to be seen.
    """
    if not math.isfinite(size) or abs(size) < _NOTHING:
        return 1
    return max((factor for factor in FACTORS if factor * abs(size) <= most), default=1)


def checked_exaggeration(factor: float) -> float:
    """Return a factor that was asked for, or refuse it.

    Args:
        factor: by how much angles are to be exaggerated; 1 draws them true.

    Returns:
        The factor.

    Raises:
        OutOfRange: it is not between 1 and 100.
    """
    if not 1.0 <= factor <= 100.0:
        raise OutOfRange(
            f"angles cannot be drawn {factor:g} times as large",
            mend="give a factor from 1, the true drawing, to 100",
        )
    return float(factor)


def checked_width(width: float) -> float:
    """Return a sheet's width, or refuse it.

    Args:
        width: how wide the drawing is to be [mm].

    Returns:
        The width [mm].

    Raises:
        OutOfRange: it is not between 80 mm and 1 m.
    """
    if not _NARROWEST <= width <= _WIDEST:
        raise OutOfRange(
            f"a drawing cannot be {width:g} mm wide",
            mend=f"give a width from {_NARROWEST:g} to {_WIDEST:g} mm",
        )
    return float(width)


def type_height(width: float) -> float:
    """Return the height of the type: 3.4 to 3.8 mm on a sheet, 2.7 mm on what is only part of one.

    Args:
        width: how wide the sheet is [mm].

    Returns:
        The height [mm]; never less than 3.2 from a width of 100 mm on.
    """
    return 2.7 if width < _WHOLE else min(3.8, max(3.2, 2.6 + width / 150.0))


def system_of(units: Units) -> System:
    """Return the units of `rollwright.units` for the short name that a drawing is asked for by.

    Args:
        units: `mm` or `in`.

    Returns:
        The units.

    Raises:
        OutOfRange: it is neither.
    """
    try:
        return {"mm": System.METRIC, "in": System.INCH}[units]
    except KeyError:
        raise OutOfRange(f"{units!r} are no units of a drawing", mend='give "mm" or "in"') from None


def length_text(
    length: float, *, units: Units, uncertainty: float | None = None, signed: bool = False
) -> str:
    """Return a length as it stands on a dimension line: without the unit that the whole drawing is in.

    Args:
        length: what to write [m].
        units: the drawing's units.
        uncertainty: standard uncertainty [m]; None: not written.
        signed: whether one above zero gets a plus sign.

    Returns:
        Such as `124.2`; what is not in the drawing's own unit keeps its own, such as `12.5 thou`.
    """
    shown = str(
        show(length, kind=Kind.LENGTH, system=system_of(units), uncertainty=uncertainty, signed=signed)
    )
    return shown.removesuffix(f" {units}")


def angle_text(angle: float) -> str:
    """Return an angle's size as it is written beside it, such as `2.50°`; which way it goes is said in words.

    Args:
        angle: the angle [rad].

    Returns:
        Its size.
    """
    return str(show(abs(angle), kind=Kind.ANGLE))


def times(what: str, factor: float) -> str:
    """Return the words that label an exaggeration.

    Args:
        what: what is drawn larger than life, such as `angles`.
        factor: by how much.

    Returns:
        Such as `angles × 10`; for a factor of one `angles true`.
    """
    return f"{what} true" if factor == 1.0 else f"{what} × {factor:g}"
