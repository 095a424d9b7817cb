"""Unit factors, drill sizes and gage classes against published values."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from scipy import constants

from rollwright.units import FACTORS, Kind, System, parse, show

if TYPE_CHECKING:
    from collections.abc import Sequence

# International yard and pound agreement of 1959 (24 FR 5348): 1 yd = 0.9144 m and 1 lb = 0.45359237 kg,
# exactly. 36 in and 3 ft make a yard, 16 oz a pound; a mil is 0.001 in. SI prefixes: SI Brochure, 9th ed.
YARD = Fraction("0.9144")
POUND = Fraction("0.45359237")

# Spellings, and the exact number of SI units in one of them.
EXACT: Sequence[tuple[str, Kind, Fraction]] = (
    ("mm millimetre millimetres millimeter millimeters", Kind.LENGTH, Fraction("0.001")),
    ("cm centimetre centimetres centimeter centimeters", Kind.LENGTH, Fraction("0.01")),
    ("m metre metres meter meters", Kind.LENGTH, Fraction(1)),
    ("um μm micron microns", Kind.LENGTH, Fraction("0.000001")),
    ("micrometre micrometres micrometer micrometers", Kind.LENGTH, Fraction("0.000001")),
    ('in inch inches "', Kind.LENGTH, YARD / 36),
    ("ft foot feet", Kind.LENGTH, YARD / 3),
    ("thou thous thousandth thousandths mil mils", Kind.LENGTH, YARD / 36_000),
    ("g gram grams gramme grammes", Kind.MASS, Fraction("0.001")),
    ("kg kilogram kilograms", Kind.MASS, Fraction(1)),
    ("mg milligram milligrams", Kind.MASS, Fraction("0.000001")),
    ("oz ounce ounces", Kind.MASS, POUND / 16),
    ("lb lbs pound pounds", Kind.MASS, POUND),
    ("mm2*g g*mm2", Kind.INERTIA, Fraction("1e-9")),
    ("cm2*g g*cm2", Kind.INERTIA, Fraction("1e-7")),
    ("kg*m2 m2*kg", Kind.INERTIA, Fraction(1)),
    ("oz*in2 in2*oz", Kind.INERTIA, POUND / 16 * (YARD / 36) ** 2),
    ("rad radian radians", Kind.ANGLE, Fraction(1)),
    ("mrad milliradian milliradians", Kind.ANGLE, Fraction("0.001")),
    ("% percent", Kind.RATIO, Fraction("0.01")),
)

# pi/180, pi/10800 and pi/648000 to twenty digits (SI Brochure, 9th ed., table 8 for the definitions).
ANGLES = (
    ("deg degs degree degrees °", 0.017453292519943295769),
    ("arcmin arcmins arcminute arcminutes '", 0.00029088820866572159615),
    ("arcsec arcsecs arcsecond arcseconds", 4.8481368110953599359e-6),
)

ONE_BY_ONE = [(name, kind, factor) for names, kind, factor in EXACT for name in names.split()]
ANGLE_BY_ANGLE = [(name, factor) for names, factor in ANGLES for name in names.split()]


@pytest.mark.parametrize(("name", "kind", "factor"), ONE_BY_ONE)
def test_exact_factor(name: str, kind: Kind, factor: Fraction) -> None:
    assert FACTORS[name] == (kind, factor)
    assert parse(f"1 {name}", kind=kind) == float(factor)
    assert parse(f"{7 / float(factor)!r} {name}", kind=kind) == pytest.approx(7.0, rel=1e-15)


@pytest.mark.parametrize(("name", "factor"), ANGLE_BY_ANGLE)
def test_angle_factor(name: str, factor: float) -> None:
    assert FACTORS[name][0] is Kind.ANGLE
    assert parse(f"1 {name}", kind=Kind.ANGLE) == pytest.approx(factor, rel=3e-16)
    assert parse(f"{7 / factor!r} {name}", kind=Kind.ANGLE) == pytest.approx(7.0, rel=1e-15)


def test_no_spelling_is_left_out() -> None:
    assert {name for name, *_ in ONE_BY_ONE} | {name for name, _ in ANGLE_BY_ANGLE} == set(FACTORS)


@pytest.mark.parametrize(
    ("written", "kind", "printed", "last_place"),
    [
        # NIST SP 811 (2008), appendix B.8, printed to seven digits; printed values from memory.
        ("1 in", Kind.LENGTH, 2.54e-2, 0.0),
        ("1 ft", Kind.LENGTH, 3.048e-1, 0.0),
        ("1 mil", Kind.LENGTH, 2.54e-5, 0.0),
        ("1 micron", Kind.LENGTH, 1.0e-6, 0.0),
        ("1 oz", Kind.MASS, 2.834952e-2, 1e-8),
        ("1 lb", Kind.MASS, 4.535924e-1, 1e-7),
        ("1 deg", Kind.ANGLE, 1.745329e-2, 1e-8),
        ("1 arcmin", Kind.ANGLE, 2.908882e-4, 1e-10),
        ("1 arcsec", Kind.ANGLE, 4.848137e-6, 1e-12),
        # B.8 prints the pound inch squared as 2.926 397 E-04 kg m2.
        ("16 oz*in2", Kind.INERTIA, 2.926397e-4, 1e-10),
    ],
)
def test_printed_conversion_tables(written: str, kind: Kind, printed: float, last_place: float) -> None:
    assert parse(written, kind=kind) == pytest.approx(printed, rel=1e-15, abs=last_place / 2)


@pytest.mark.parametrize(
    ("unit", "kind", "name"),
    [
        ("in", Kind.LENGTH, "inch"),
        ("ft", Kind.LENGTH, "foot"),
        ("mil", Kind.LENGTH, "mil"),
        ("um", Kind.LENGTH, "micron"),
        ("lb", Kind.MASS, "pound"),
        ("oz", Kind.MASS, "oz"),
        ("deg", Kind.ANGLE, "degree"),
        ("arcmin", Kind.ANGLE, "arcmin"),
        ("arcsec", Kind.ANGLE, "arcsec"),
    ],
)
def test_same_as_scipy(unit: str, kind: Kind, name: str) -> None:
    # scipy multiplies floats where we round once, so the last bit may differ.
    theirs = float(getattr(constants, name))
    assert parse(f"1 {unit}", kind=kind) == pytest.approx(theirs, rel=1e-15)
    assert parse(f"{1 / theirs!r} {unit}", kind=kind) == pytest.approx(1.0, rel=1e-15)


@pytest.mark.parametrize(
    ("value", "kind", "system", "expected"),
    [
        # Reciprocals of the same: 1 m = 39.370 079 in, 1 kg = 35.273 962 oz, 1 rad = 57.295 780 deg.
        (1.0, Kind.LENGTH, System.INCH, "39.370 in"),
        (0.001, Kind.LENGTH, System.INCH, "39 thou"),
        (0.0001, Kind.LENGTH, System.INCH, "3.9 thou"),
        (1.0, Kind.MASS, System.INCH, "35.27 oz"),
        (1.0, Kind.MASS, System.METRIC, "1000.0 g"),
        (1.0, Kind.ANGLE, System.METRIC, "57.30°"),
        (1.0, Kind.ANGLE, System.INCH, "57.30°"),
        (0.0254, Kind.LENGTH, System.METRIC, "25.4 mm"),
        (1e-6, Kind.INERTIA, System.METRIC, "1000 g·mm²"),
    ],
)
def test_printing_goes_the_other_way(value: float, kind: Kind, system: System, expected: str) -> None:
    assert str(show(value, kind=kind, system=system)) == expected


# ANSI/ASME B94.11M-1993 (R2014), Twist Drills, table of number sizes: number, inches, millimetres
# (inches times 25.4, unrounded). Read in a copy; the standard itself not seen.
DRILLS = (
    (40, "0.0980", 2.4892),
    (41, "0.0960", 2.4384),
    (42, "0.0935", 2.3749),
    (43, "0.0890", 2.2606),
    (44, "0.0860", 2.1844),
    (45, "0.0820", 2.0828),
    (46, "0.0810", 2.0574),
    (47, "0.0785", 1.9939),
    (48, "0.0760", 1.9304),
    (49, "0.0730", 1.8542),
    (50, "0.0700", 1.7780),
    (51, "0.0670", 1.7018),
    (52, "0.0635", 1.6129),
    (53, "0.0595", 1.5113),
    (54, "0.0550", 1.3970),
    (55, "0.0520", 1.3208),
    (56, "0.0465", 1.1811),
)


@pytest.mark.parametrize(("number", "inches", "millimetres"), DRILLS)
def test_number_drills(number: int, inches: str, millimetres: float) -> None:
    same = parse(millimetres, kind=Kind.LENGTH)
    assert parse(f"{inches} in", kind=Kind.LENGTH) == same, f"number {number}"
    assert parse(f"{inches.removeprefix('0')} in", kind=Kind.LENGTH) == same
    assert parse(f"{float(Fraction(inches) * 1000)!r} thou", kind=Kind.LENGTH) == same
    assert float(show(same, kind=Kind.LENGTH, uncertainty=1e-6).number) == pytest.approx(
        millimetres, abs=5e-5
    )


# ASME B89.1.5-1998 (R2019), gagemakers' tolerances above 0.010 to 0.825 in: class, inches, micrometres.
# Read in a copy; the standard itself not seen.
GAGES = (
    ("XXX", "0.00001", 0.254),
    ("XX", "0.00002", 0.508),
    ("X", "0.00004", 1.016),
    ("Y", "0.00007", 1.778),
    ("Z", "0.00010", 2.54),
    ("ZZ", "0.00020", 5.08),
)


@pytest.mark.parametrize(("gage", "inches", "micrometres"), GAGES)
def test_gage_classes(gage: str, inches: str, micrometres: float) -> None:
    assert parse(f"{inches} in", kind=Kind.LENGTH) == parse(f"{micrometres!r} um", kind=Kind.LENGTH), gage


@pytest.mark.parametrize(
    ("written", "radians"),
    [
        # 15 deg, 22.5 deg and 90 deg are pi/12, pi/8 and pi/2; 1 deg = 60' = 3600".
        ("15 deg", math.pi / 12),
        ("22°30'", math.pi / 8),
        ("-22° 30'", -math.pi / 8),
        ("90", math.pi / 2),
        ("180 deg", math.pi),
        ('3600"', math.pi / 180),
        ("60'", math.pi / 180),
    ],
)
def test_parts_of_a_circle(written: str, radians: float) -> None:
    assert parse(written, kind=Kind.ANGLE) == pytest.approx(radians, rel=3e-16)


def test_digits_of_the_guide() -> None:
    # JCGM 100:2008, 7.2.6 (from memory): 10.057 62 ohm, uncertain by 27 mohm, is stated as 10.058 ohm.
    shown = show(10.05762e-3, kind=Kind.LENGTH, uncertainty=0.027e-3)
    assert (shown.number, shown.uncertainty) == ("10.058", "0.027")
