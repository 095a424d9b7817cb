"""Which drill comes nearest to a wanted hole."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rollwright.errors import OutOfRange
from rollwright.units import FACTORS, System

__all__ = ["NUMBER_DRILLS", "Bit", "metric_bit", "nearest_bit", "number_bit"]

NUMBER_DRILLS: Mapping[int, Fraction] = {
    number: Fraction(inches)
    for number, inches in (
        (40, "0.0980"),
        (41, "0.0960"),
        (42, "0.0935"),
        (43, "0.0890"),
        (44, "0.0860"),
        (45, "0.0820"),
        (46, "0.0810"),
        (47, "0.0785"),
        (48, "0.0760"),
        (49, "0.0730"),
        (50, "0.0700"),
        (51, "0.0670"),
        (52, "0.0635"),
        (53, "0.0595"),
        (54, "0.0550"),
        (55, "0.0520"),
        (56, "0.0465"),
    )
}
"""Diameters of number drills [in]: ANSI/ASME B94.11M-1993 (R2014), Twist Drills, table of number sizes."""

_INCH = FACTORS["in"][1]
_LEAST, _MOST = 0.001, 0.004


@dataclass(frozen=True, slots=True, kw_only=True)
class Bit:
    """A drill as it is bought.

    Attributes:
        name: as it is asked for, such as `No. 42` or `2.4 mm`.
        diameter: [m].
    """

    name: str
    diameter: float

    def size(self, system: System) -> str:
        """Return the diameter to a hundredth of a millimetre or a ten-thousandth of an inch."""
        if system is System.INCH:
            return f"{self.diameter / float(_INCH):.4f} in"
        return f"{self.diameter * 1e3:.2f} mm"


def number_bit(hole: float) -> Bit | None:
    """Return the number drill that comes nearest to a wanted hole.

    Args:
        hole: diameter of the wanted hole [m].

    Returns:
        The drill, or None where the hole is outside the numbers 40 to 56.
    """
    sizes = {number: float(inches * _INCH) for number, inches in NUMBER_DRILLS.items()}
    if not min(sizes.values()) <= hole <= max(sizes.values()):
        return None
    number = min(sizes, key=lambda one: abs(sizes[one] - hole))
    return Bit(name=f"No. {number}", diameter=sizes[number])


def metric_bit(hole: float) -> Bit:
    """Return the metric drill that comes nearest to a wanted hole, of a set in tenths of a millimetre.

    Args:
        hole: diameter of the wanted hole [m].

    Returns:
        The drill. That ordinary sets go in tenths is common practice, no source.

    Raises:
        OutOfRange: the hole is not one for an axle pin.
    """
    if not (math.isfinite(hole) and _LEAST <= hole <= _MOST):
        raise OutOfRange(
            f"a hole of {hole * 1e3:.3g} mm is not one for an axle pin; 1 to 4 mm are",
            mend="check the axle's shank, or name the hole that you want",
            key="hole",
        )
    tenths = round(hole * 1e4)
    return Bit(name=f"{tenths / 10:.1f} mm", diameter=tenths * 1e-4)


def nearest_bit(hole: float) -> Bit:
    """Return the drill that comes nearest to a wanted hole, number drills and metric ones together.

    Args:
        hole: diameter of the wanted hole [m].

    Returns:
        The drill.

    Raises:
        OutOfRange: the hole is not one for an axle pin.
    """
    metric, number = metric_bit(hole), number_bit(hole)
    if number is None or abs(metric.diameter - hole) <= abs(number.diameter - hole):
        return metric
    return number
