"""The sorts of quantities, the units builders write them in, and the exact size of each."""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType

__all__ = ["DEGREE", "FACTORS", "INCH", "UNIT_MARKS", "Kind", "System"]


class Kind(enum.Enum):
    """What sort of quantity is meant, with its name for messages, its bare unit and its SI unit."""

    LENGTH = ("a length", "mm", "m")
    ANGLE = ("an angle", "deg", "rad")
    MASS = ("a mass", "g", "kg")
    INERTIA = ("a moment of inertia", "mm2*g", "kg*m2")
    RATIO = ("a plain number", "", "")

    def __init__(self, phrase: str, bare: str, si: str) -> None:
        self.phrase = phrase
        self.bare = bare
        self.si = si


class System(enum.Enum):
    """The units that numbers are printed in."""

    METRIC = "metric"
    INCH = "inch"


INCH = Fraction(254, 10_000)
_POUND = Fraction(45_359_237, 100_000_000)
_MILLI = Fraction(1, 1000)
_GRAM = _MILLI
DEGREE = Fraction(math.pi) / 180

_UNITS: tuple[tuple[Kind, Fraction, str], ...] = (
    (Kind.LENGTH, _MILLI, "mm millimetre millimetres millimeter millimeters"),
    (Kind.LENGTH, _MILLI * 10, "cm centimetre centimetres centimeter centimeters"),
    (Kind.LENGTH, Fraction(1), "m metre metres meter meters"),
    (Kind.LENGTH, _MILLI**2, "um μm micron microns micrometre micrometres micrometer micrometers"),
    (Kind.LENGTH, INCH, 'in inch inches "'),
    (Kind.LENGTH, INCH * 12, "ft foot feet"),
    (Kind.LENGTH, INCH / 1000, "thou thous thousandth thousandths mil mils"),
    (Kind.ANGLE, DEGREE, "deg degs degree degrees °"),
    (Kind.ANGLE, DEGREE / 60, "arcmin arcmins arcminute arcminutes '"),
    (Kind.ANGLE, DEGREE / 3600, "arcsec arcsecs arcsecond arcseconds"),
    (Kind.ANGLE, Fraction(1), "rad radian radians"),
    (Kind.ANGLE, _MILLI, "mrad milliradian milliradians"),
    (Kind.MASS, _GRAM, "g gram grams gramme grammes"),
    (Kind.MASS, Fraction(1), "kg kilogram kilograms"),
    (Kind.MASS, _GRAM / 1000, "mg milligram milligrams"),
    (Kind.MASS, _POUND / 16, "oz ounce ounces"),
    (Kind.MASS, _POUND, "lb lbs pound pounds"),
    (Kind.INERTIA, _GRAM * _MILLI**2, "mm2*g g*mm2"),
    (Kind.INERTIA, _GRAM * (_MILLI * 10) ** 2, "cm2*g g*cm2"),
    (Kind.INERTIA, Fraction(1), "kg*m2 m2*kg"),
    (Kind.INERTIA, _POUND / 16 * INCH**2, "oz*in2 in2*oz"),
    (Kind.RATIO, Fraction(1, 100), "% percent"),
)

# Every spelling that is read, in lower case, with the SI units in one of it: exact but for pi, the float's.
FACTORS: Mapping[str, tuple[Kind, Fraction]] = MappingProxyType(
    {name: (kind, factor) for kind, factor, names in _UNITS for name in names.split()}
)

UNIT_MARKS = str.maketrans({"²": "2", "·": "*", "⋅": "*", "×": "*"})
"""Marks that units are written with, and the plain letters that they stand for."""
