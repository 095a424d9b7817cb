"""Reading what a builder writes, refusing what could mean two things, and printing numbers."""

from __future__ import annotations

import enum
import math
import subprocess
import sys

import pytest

from rollwright.errors import UnreadableQuantity
from rollwright.units import (
    FACTORS,
    Kind,
    Shown,
    System,
    as_inch_fraction,
    parse,
    parse_sided,
    show,
    show_entered,
    show_sided,
)

MM, DEG = 1e-3, math.pi / 180
INFINITY, NOT_A_NUMBER = float("inf"), float("nan")


def refusal(written: object, kind: Kind = Kind.LENGTH, *, sided: bool = False) -> str:
    with pytest.raises(UnreadableQuantity) as caught:
        parse_sided(written, kind=kind) if sided else parse(written, kind=kind)
    message = str(caught.value)
    assert len(message.splitlines()) == 1
    assert message.isprintable()
    assert caught.value.problem
    assert caught.value.mend
    return message


@pytest.mark.parametrize(
    ("written", "millimetres"),
    [
        (44, 44.0),
        (44.0, 44.0),
        (-0.5, -0.5),
        ("44", 44.0),
        ("44 mm", 44.0),
        ("44mm", 44.0),
        ("44 mm.", 44.0),
        ("44 MM", 44.0),
        ("  44 mm ", 44.0),
        ("44\u00a0mm", 44.0),
        ("44\u202fmm", 44.0),
        ("5. mm", 5.0),
        ("+5 mm", 5.0),
        ("- 5 mm", -5.0),
        ("−0,05", -0.05),
        ("1 3/4 in", 44.45),
        ("-1 3/4 in", -44.45),
        ('1-3/4"', 44.45),
        ("1-3/4″", 44.45),
        ("1-3/4''", 44.45),
        ("1-3/4′′", 44.45),
        ("1¾ in", 44.45),
        ("1 ¾in", 44.45),
        ("1-¾ inches", 44.45),
        ("1 3⁄4 in", 44.45),
        ("¾ in", 19.05),
        ("3/8 in", 9.525),
        ("7/4 in", 44.45),
        ("9/8 in", 28.575),
        ("3 / 8 in.", 9.525),
        ("⅜ In", 9.525),
        ("1/2 mm", 0.5),
        (".010 in", 0.254),
        ("-.010in", -0.254),
        ("0.010IN", 0.254),
        ("12 thou", 0.3048),
        ("12 thousandths", 0.3048),
        ("10 mil", 0.254),
        ("10 mils", 0.254),
        ("0.3 mm", 0.3),
        ("0,3 mm", 0.3),
        ("12,7 mm", 12.7),
        ("0,125 mm", 0.125),
        ("1,2345 mm", 1.2345),
        ("1234,567 mm", 1234.567),
        ("1.234 mm", 1.234),
        ("0,5 in", 12.7),
        ("4.4 cm", 44.0),
        ("0.05 m", 50.0),
        ("1e-3 m", 1.0),
        ("1E−3 m", 1.0),
        ("1 ft", 304.8),
        ("250 um", 0.25),
        ("250 µm", 0.25),
        ("250 μm", 0.25),
        ("250 microns", 0.25),
    ],
)
def test_lengths(written: object, millimetres: float) -> None:
    assert parse(written, kind=Kind.LENGTH) == pytest.approx(millimetres * MM, rel=1e-15)


@pytest.mark.parametrize(
    ("written", "degrees"),
    [
        (2.5, 2.5),
        ("2.5", 2.5),
        (".5", 0.5),
        ("2,5", 2.5),
        ("2.5 deg", 2.5),
        ("2.5°", 2.5),
        (".5 °", 0.5),
        ("1e-1°", 0.1),
        ("2.5 degrees", 2.5),
        ("2 1/2°", 2.5),
        ("2½ deg", 2.5),
        ("2°30'", 2.5),
        ("2° 30′ 15″", 2.5 + 15 / 3600),
        ("2°30'15.5''", 2.5 + 15.5 / 3600),
        ("2° 0' 36\"", 2.01),
        ('2° 36"', 2.01),
        ("-0°30'", -0.5),
        ("−1° 30'", -1.5),
        ("30 arcmin", 0.5),
        ("30'", 0.5),
        ('36"', 0.01),
        ("36''", 0.01),
        ("36 arcsec", 0.01),
        ('1/2"', 0.5 / 3600),
        ("0.04 rad", 0.04 / DEG),
        ("40 mrad", 0.04 / DEG),
    ],
)
def test_angles(written: object, degrees: float) -> None:
    assert parse(written, kind=Kind.ANGLE) == pytest.approx(degrees * DEG, rel=1e-15)


@pytest.mark.parametrize(
    ("written", "kind", "value"),
    [
        (140, Kind.MASS, 0.14),
        ("140 g", Kind.MASS, 0.14),
        ("0.14 kg", Kind.MASS, 0.14),
        ("500 mg", Kind.MASS, 0.0005),
        ("5 oz", Kind.MASS, 0.141747615625),
        ("5 Ounces", Kind.MASS, 0.141747615625),
        ("1/2 oz", Kind.MASS, 0.0141747615625),
        (".5 oz", Kind.MASS, 0.0141747615625),
        ("0.3 lb", Kind.MASS, 0.136077711),
        (350, Kind.INERTIA, 3.5e-7),
        ("350", Kind.INERTIA, 3.5e-7),
        ("350 mm2*g", Kind.INERTIA, 3.5e-7),
        ("350mm2*g", Kind.INERTIA, 3.5e-7),
        ("350 g*mm2", Kind.INERTIA, 3.5e-7),
        ("350 g mm²", Kind.INERTIA, 3.5e-7),
        ("350 g·mm^2", Kind.INERTIA, 3.5e-7),
        ("3.5 g * cm2", Kind.INERTIA, 3.5e-7),
        ("3.5e-7 kg*m2", Kind.INERTIA, 3.5e-7),
        (0.2, Kind.RATIO, 0.2),
        (".2", Kind.RATIO, 0.2),
        ("1/5", Kind.RATIO, 0.2),
        ("20 %", Kind.RATIO, 0.2),
    ],
)
def test_masses_inertias_and_plain_numbers(written: object, kind: Kind, value: float) -> None:
    assert parse(written, kind=kind) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("sign", "plain"),
    [*zip("½⅓⅔¼¾⅛⅜⅝⅞", ["1/2", "1/3", "2/3", "1/4", "3/4", "1/8", "3/8", "5/8", "7/8"], strict=True)],
)
def test_fraction_signs(sign: str, plain: str) -> None:
    assert parse(f"{sign} in", kind=Kind.LENGTH) == parse(f"{plain} in", kind=Kind.LENGTH)
    assert parse(f"2{sign}in", kind=Kind.LENGTH) == parse(f"2 {plain} in", kind=Kind.LENGTH)
    # The digits beside a sign are numbers of their own.
    for joined in (f"{sign}5 in", f"2{sign}5 in", f"5/{sign} in", f"{sign}{sign} in"):
        refusal(joined)


def test_whole_number_too_long_to_print_is_refused() -> None:
    assert "more than 400 digits" in refusal(10**5000)


def test_subclasses_of_numbers_and_texts_are_read() -> None:
    class Whole(enum.IntEnum):
        FOUR = 4

    class Text(str):
        __slots__ = ()

    class Real(float):
        def __repr__(self) -> str:
            return "Real(...)"

    assert parse(Whole.FOUR, kind=Kind.LENGTH) == parse(Text("4"), kind=Kind.LENGTH) == 0.004
    assert parse(Real(0.3), kind=Kind.LENGTH) == parse("0.3", kind=Kind.LENGTH)


@pytest.mark.parametrize(
    ("written", "problem", "mend"),
    [
        ("", "is empty where a length is wanted", "44 mm"),
        (" \u00a0 ", "is empty", "44 mm"),
        ("\x00", "control or hidden character", "afresh"),
        ("4\n4 mm", "control or hidden character", "afresh"),
        ("44\tmm", "control or hidden character", "afresh"),
        ("44 mm\u200b", "control or hidden character", "afresh"),
        ("nan", "not a finite number", "such as"),
        ("-Infinity", "not a finite number", "such as"),
        (INFINITY, "inf is not a finite number", "such as"),
        (NOT_A_NUMBER, "nan is not a finite number", "such as"),
        (1e400, "inf is not a finite number", "such as"),
        ("1e400", "'1e400' is too large or too small", "exponent"),
        ("1e999999999", "too large or too small", "exponent"),
        ("9e399 ft", "too large or too small", "exponent"),
        ("1e-390", "too large or too small", "exponent"),
        ("1e-9999", "too large or too small", "exponent"),
        (10**400, "more than 400 digits", "such as"),
        (-(10**399), "too large or too small", "exponent"),
        ("４４ mm", "'４４ mm' holds digits other than 0 to 9", "plain digits 0 to 9"),
        ("٣ mm", "holds digits other than 0 to 9", "plain digits 0 to 9"),
        ("mm", "does not begin with a number", "such as"),
        ("--5", "does not begin with a number", "such as"),
        ("[1]", "does not begin with a number", "such as"),
        ([1], "[1] is no number", "such as"),
        (None, "None is no number", "such as"),
        (True, "True is no number", "such as"),
        (1j, "1j is no number", "such as"),
        (b"4", "b'4' is no number", "such as"),
        ("4" + " " * 99 + "m", "longer than 100 characters", "one number and its unit"),
        ("5 mmm", "'5 mmm' has the unknown unit 'mmm'", "did you mean mm?"),
        ("5 inchs", "unknown unit 'inchs'", "did you mean inch"),
        ("5 thuo", "unknown unit 'thuo'", "did you mean thou?"),
        ("5 ounze", "unknown unit 'ounze'", "did you mean ounce?"),
        ("5 furlongs", "unknown unit 'furlongs'", "mm, cm, m, um, in, thou or ft"),
        ("5 mm²", "unknown unit 'mm²'", "did you mean mm?"),
        ("5 m^m", "unknown unit 'm^m'", "mm, cm"),
        ("5 oz", "'5 oz' is a mass where a length is wanted", "mm, cm, m, um, in, thou or ft"),
        ("5°", "is an angle where a length is wanted", "mm, cm"),
        ("5'", "is an angle where a length is wanted", "ft"),
        ("5 kg*m2", "is a moment of inertia where a length is wanted", "mm, cm"),
        ("5 Mm", "Mm, which means a million m", "write mm"),
        ("5 6 mm", "not one number followed by one unit", "one number"),
        ("5 mm 6 mm", "holds two numbers", "one number"),
        ("1' 6\"", "holds two numbers", "one number"),
        ("1 ft 6 in", "holds two numbers", "one number"),
        ("5-6 mm", "not one number followed by one unit", "one number"),
        ("1 -3/4 in", "not one number followed by one unit", "one number"),
        ("1.5 3/4 in", "not one number followed by one unit", "one number"),
        ("1¼5 in", "not one number followed by one unit", "one number"),
        ("1¾¾ in", "not one number followed by one unit", "one number"),
        ("5² mm", "holds two numbers", "one number"),
        ("1/0 in", "'1/0 in' divides by zero", "3/8"),
        ("0 0/0 in", "divides by zero", "3/8"),
        ("3/-4 in", "not one number followed by one unit", "one number"),
        ("3/4/5 in", "not one number followed by one unit", "one number"),
        ("3/4.5 in", "not one number followed by one unit", "one number"),
        ("1 4/4 in", "a fraction of one or more", "1 3/4"),
        ("1 5/4 in", "a fraction of one or more", "1 3/4"),
        ("115/16 in", "may have lost a space", '"1 15/16" or "7 3/16"'),
        ("33/8 in", "may have lost a space", '"3 3/8" or "4 1/8"'),
        ("5 mm mm", "holds two units", "one number"),
        ("5 mm in", "holds two units", "one number"),
        ("90 mm right", "says a side where none is wanted", "without left or right"),
        (".010", "'.010' begins with the point and has no unit", 'write ".010 in" or "0.010 mm"'),
        ("-.010", "begins with the point", 'write "-.010 in" or "-0.010 mm"'),
        ("1 3/4", "'1 3/4' is a fraction without a unit", 'write "1 3/4 in"'),
        ("3/8", "is a fraction without a unit", 'write "3/8 in"'),
        ("¾", "is a fraction without a unit", 'write "3/4 in"'),
        ("1,234", "could be a decimal comma or mark thousands", "write 1.234 or 1234"),
        ("1,234 mm", "could be a decimal comma or mark thousands", "write 1.234 or 1234"),
        ("12,345 mm", "could be a decimal comma or mark thousands", "write 12.345 or 12345"),
        ("-123,456e2 mm", "could be a decimal comma or mark thousands", "write 123.456 or 123456"),
        ("1,234.5", "could set off thousands", "1234.5"),
        ("1.234,5 mm", "could set off thousands", "1234.5"),
        ("1,234,567 mm", "could set off thousands", "1234.5"),
        ("1.2.3 mm", "is not one number", "12.5"),
        ("12, mm", "is not one number", "12.5"),
        (",5 mm", "is not one number", "12.5"),
        (". mm", "is not one number", "12.5"),
    ],
)
def test_refused_lengths(written: object, problem: str, mend: str) -> None:
    message = refusal(written)
    before, _, after = message.partition("; ")
    assert problem in before
    assert mend in after


@pytest.mark.parametrize(
    ("written", "kind", "problem", "mend"),
    [
        ("30 min", Kind.ANGLE, "time on the clock", "write 30 arcmin or 30'"),
        ("30 Minutes", Kind.ANGLE, "time on the clock", "write 30 arcmin or 30'"),
        ("15 sec", Kind.ANGLE, "time on the clock", 'write 15 arcsec or 15"'),
        ("2.5° 30'", Kind.ANGLE, "no angle in degrees", "whole degrees"),
        ("2° 60'", Kind.ANGLE, "no angle in degrees", "under 60"),
        ("2° 30' 60\"", Kind.ANGLE, "no angle in degrees", "under 60"),
        ("0° 0' 3599\"", Kind.ANGLE, "no angle in degrees", "under 60"),
        ("30.5' 10\"", Kind.ANGLE, "no angle in degrees", "whole degrees"),
        ("2°30", Kind.ANGLE, "two numbers", "2.5 deg"),
        ("2,125°", Kind.ANGLE, "decimal comma or mark thousands", "write 2.125 or 2125"),
        ("1.2.3°", Kind.ANGLE, "is not one number", "12.5"),
        ("5 Mrad", Kind.ANGLE, "a million rad", "write mrad"),
        ("5 in", Kind.ANGLE, "is a length where an angle is wanted", "2.5 deg"),
        ("5 Mg", Kind.MASS, "a million g", "write mg"),
        ("5 deg", Kind.MASS, "is an angle where a mass is wanted", "140 g"),
        (".2", Kind.MASS, "begins with the point", 'write ".2 oz" or "0.2 g"'),
        ("1/2", Kind.MASS, "is a fraction without a unit", 'write "1/2 oz"'),
        ("5 g", Kind.INERTIA, "is a mass where a moment of inertia is wanted", "350 mm2*g"),
        ("5 g*mm", Kind.INERTIA, "'g*mm'", "350 mm2*g"),
        ("5 mm", Kind.RATIO, "is a length where a plain number is wanted", "0.2"),
        ([], Kind.RATIO, "[] is no number where a plain number is wanted", "0.2"),
    ],
)
def test_refused_others(written: object, kind: Kind, problem: str, mend: str) -> None:
    before, _, after = refusal(written, kind).partition("; ")
    assert problem in before
    assert mend in after


@pytest.mark.parametrize(
    ("written", "millimetres"),
    [
        ("90 mm right", -90.0),
        ("90 mm left", 90.0),
        ("right 90 mm", -90.0),
        ("Left 90 mm", 90.0),
        ("90 mm to the right", -90.0),
        ("90 mm to left", 90.0),
        ("90right", -90.0),
        ("3 1/2 in left", 88.9),
        ('3 1/2"left', 88.9),
        ("12,5 RIGHT", -12.5),
        ("-90 mm", -90.0),
        (-90, -90.0),
        (5.5, 5.5),
        ("0 mm right", 0.0),
    ],
)
def test_sides(written: object, millimetres: float) -> None:
    value = parse_sided(written)
    assert value == pytest.approx(millimetres * MM, rel=1e-15)
    assert not (value == 0.0 and math.copysign(1.0, value) < 0.0)


def test_side_of_an_angle() -> None:
    assert parse_sided("2 deg right", kind=Kind.ANGLE) == pytest.approx(-2 * DEG, rel=1e-15)


@pytest.mark.parametrize(
    ("written", "problem"),
    [
        ("-90 mm right", "both a sign and a side"),
        ("+90 mm left", "both a sign and a side"),
        ("right −90 mm", "both a sign and a side"),
        ("left 90 mm right", "says the side twice"),
        ("90 mm left left", "says the side twice"),
        ("left", "before or after one number"),
        ("90 right mm", "before or after one number"),
        ("bright 5 mm", "does not begin with a number"),
        ("5 oz right", "'5 oz right' is a mass where a length is wanted"),
        ("1,234 mm left", "'1,234 mm left' has a comma"),
        ("5 mm rightmost", "unknown unit 'mm rightmost'"),
        ("90 mm right\x07", "control or hidden character"),
        ("", "is empty"),
        (None, "None is no number"),
    ],
)
def test_refused_sides(written: object, problem: str) -> None:
    assert problem in refusal(written, sided=True)


@pytest.mark.parametrize(
    ("value", "uncertainty", "expected"),
    [
        (12.3, None, "12.3 mm"),
        (-12.3, None, "−12.3 mm"),
        (1.234, None, "1.23 mm"),
        (9.994, None, "9.99 mm"),
        (9.996, None, "10.0 mm"),
        (123.46, None, "123.5 mm"),
        (999.96, None, "1000 mm"),
        (1234.4, None, "1234 mm"),
        (9999.9, None, "10000 mm"),
        (12_345.6, None, "12.346 m"),
        (0.0, None, "0.00 mm"),
        (-1e-9, None, "0.00 mm"),
        (12.34, 0.4, "12.3 ± 0.4 mm"),
        (12.34, 0.04, "12.34 ± 0.04 mm"),
        (12.34, 0.16, "12.34 ± 0.16 mm"),
        (12.34, 0.249, "12.34 ± 0.25 mm"),
        (12.34, 0.294, "12.34 ± 0.29 mm"),
        (12.34, 0.296, "12.3 ± 0.3 mm"),
        (12.34, 0.0962, "12.34 ± 0.10 mm"),
        (12.34, 0.97, "12.3 ± 1.0 mm"),
        (12.34, 3.2, "12 ± 3 mm"),
        (12.34, 24.0, "12 ± 24 mm"),
        (1234.0, 32.0, "1230 ± 30 mm"),
        (1234.0, 432.0, "1200 ± 400 mm"),
        (12.34, 432.0, "0 ± 400 mm"),
        (-0.04, 0.4, "0.0 ± 0.4 mm"),
        (12.34, 0.0, "12.3 mm"),
        (12.34, -1.0, "12.3 mm"),
        (12.34, 1e-300, "12.3 mm"),
        (12.34, INFINITY, "12.3 ± ∞ mm"),
        (12.34, NOT_A_NUMBER, "12.3 ± ? mm"),
        (12.34, 1e300, "0 ± 1.0e+300 mm"),
        (INFINITY, 1.0, "∞ m"),
        (-INFINITY, None, "−∞ m"),
        (NOT_A_NUMBER, None, "? mm"),
        (1e305, None, "1.00000e+302 m"),
    ],
)
def test_printed_millimetres(value: float, uncertainty: float | None, expected: str) -> None:
    spread = None if uncertainty is None else uncertainty * MM
    assert str(show(value * MM, kind=Kind.LENGTH, uncertainty=spread)) == expected


def test_halves_go_to_even() -> None:
    # Eighths are exact floats, so these really are halves.
    assert show(0.125, kind=Kind.RATIO, uncertainty=0.04).number == "0.12"
    assert show(0.375, kind=Kind.RATIO, uncertainty=0.04).number == "0.38"
    assert show(-0.125, kind=Kind.RATIO, uncertainty=0.04).number == "−0.12"


@pytest.mark.parametrize(
    ("value", "kind", "uncertainty", "expected"),
    [
        (12.3e-3 * 0.0254, Kind.LENGTH, 0.4e-3 * 0.0254, "12.3 ± 0.4 thou"),
        (12.3e-3 * 0.0254, Kind.LENGTH, None, "12 thou"),
        (3.24e-3 * 0.0254, Kind.LENGTH, None, "3.2 thou"),
        (0.0, Kind.LENGTH, None, "0.0 thou"),
        (-0.05 * 0.0254, Kind.LENGTH, None, "−50 thou"),
        (0.00254, Kind.LENGTH, None, "0.100 in"),
        (-1.75 * 0.0254, Kind.LENGTH, None, "−1.750 in"),
        (1.75 * 0.0254, Kind.LENGTH, 0.004 * 0.0254, "1.750 ± 0.004 in"),
        (20.0, Kind.LENGTH, None, "787.402 in"),
        (1.7e308, Kind.LENGTH, None, "6.69291e+309 in"),
        (0.141747615625, Kind.MASS, None, "5.00 oz"),
        (2.5 * DEG, Kind.ANGLE, None, "2.50°"),
        (3.5e-7, Kind.INERTIA, None, "350 g·mm²"),
    ],
)
def test_printed_inches(value: float, kind: Kind, uncertainty: float | None, expected: str) -> None:
    assert str(show(value, kind=kind, system=System.INCH, uncertainty=uncertainty)) == expected


@pytest.mark.parametrize(
    ("value", "kind", "uncertainty", "expected", "plain"),
    [
        (-2.5 * DEG, Kind.ANGLE, 0.04 * DEG, "−2.50 ± 0.04°", "-2.50 +/- 0.04 deg"),
        (2.5 * DEG, Kind.ANGLE, None, "+2.50°", "+2.50 deg"),
        (0.14, Kind.MASS, None, "+140.0 g", "+140.0 g"),
        (3.5e-8, Kind.INERTIA, None, "+35.0 g·mm²", "+35.0 g*mm2"),
        (0.12, Kind.RATIO, None, "+0.120", "+0.120"),
        (0.12, Kind.RATIO, INFINITY, "+0.120 ± ∞", "+0.120 +/- inf"),
        (1e-9, Kind.LENGTH, None, "0.00 mm", "0.00 mm"),
        (-0.0123, Kind.LENGTH, None, "−12.3 mm", "-12.3 mm"),
    ],
)
def test_signed_and_plain(
    value: float, kind: Kind, uncertainty: float | None, expected: str, plain: str
) -> None:
    shown = show(value, kind=kind, uncertainty=uncertainty, signed=True)
    assert str(shown) == expected
    assert shown.plain() == plain
    assert shown.plain().isascii()


def test_shown_parts() -> None:
    assert show(0.0123, kind=Kind.LENGTH, uncertainty=0.0004) == Shown(
        number="12.3", uncertainty="0.4", unit="mm"
    )


@pytest.mark.parametrize(
    ("value", "uncertainty", "system", "expected"),
    [
        (0.09, None, System.METRIC, "90.0 mm left"),
        (-0.09, None, System.METRIC, "90.0 mm right"),
        (0.0, None, System.METRIC, "0.0 mm"),
        (-1e-9, None, System.METRIC, "0.0 mm"),
        (-0.0931, 0.004, System.METRIC, "93 ± 4 mm right"),
        (-0.001, 0.04, System.METRIC, "0 ± 40 mm"),
        (0.0889, None, System.INCH, "3.500 in left"),
        (-0.000254, None, System.INCH, "10 thou right"),
        (NOT_A_NUMBER, None, System.METRIC, "? mm"),
        (-INFINITY, None, System.METRIC, "∞ m right"),
    ],
)
def test_printed_sides(value: float, uncertainty: float | None, system: System, expected: str) -> None:
    assert show_sided(value, uncertainty=uncertainty, system=system) == expected


@pytest.mark.parametrize(
    ("inches", "denominator", "expected"),
    [
        (1.75, 64, "1 3/4"),
        (0.375, 64, "3/8"),
        (63.9 / 64, 64, "1"),
        (1 + 63.9 / 64, 64, "2"),
        (0.0, 64, "0"),
        (-0.001, 64, "0"),
        (-1.75, 64, "−1 3/4"),
        (-1 / 64, 64, "−1/64"),
        (1.76, 4, "1 3/4"),
        (1.6, 1, "2"),
    ],
)
def test_inch_fractions(inches: float, denominator: int, expected: str) -> None:
    assert as_inch_fraction(inches * 0.0254, denominator=denominator) == expected


def test_inch_fraction_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="denominator 0"):
        as_inch_fraction(0.1, denominator=0)
    with pytest.raises(ValueError, match="inf"):
        as_inch_fraction(INFINITY)


def test_each_kind_knows_its_units() -> None:
    for kind in Kind:
        assert kind.phrase.startswith(("a ", "an "))
        assert parse(1, kind=kind) == parse(f"1 {kind.bare}", kind=kind)
        assert parse(f"1 {kind.si}", kind=kind) == 1.0
    assert all(name == name.casefold() for name in FACTORS)


@pytest.mark.parametrize(
    ("written", "kind", "metric", "inch"),
    [
        ("31.5 thou", Kind.LENGTH, "31.5 thou", "31.5 thou"),
        ("0.1 g", Kind.MASS, "0.1 g", "0.1 g"),
        ("112.45 g", Kind.MASS, "112.45 g", "112.45 g"),
        ("4.98 oz", Kind.MASS, "4.98 oz", "4.98 oz"),
        ("32.02 mm", Kind.LENGTH, "32.02 mm", "32.02 mm"),
        ("0.0125 mm", Kind.LENGTH, "0.0125 mm", "0.0125 mm"),
        ("44 mm", Kind.LENGTH, "44.0 mm", "44.0 mm"),
        ("1 3/4 in", Kind.LENGTH, "44.45 mm", "1.750 in"),
        ("1/64 in", Kind.LENGTH, "15.625 thou", "15.625 thou"),
        ("21.125 deg", Kind.ANGLE, "21.125°", "21.125°"),
        ("0 mm", Kind.LENGTH, "0.00 mm", "0.0 thou"),
        ("-0.305 mm", Kind.LENGTH, "−0.305 mm", "−0.305 mm"),
        # A third of an inch is a short decimal nowhere.
        ("1/3 in", Kind.LENGTH, "8.47 mm", "0.333 in"),
        ("20 m", Kind.LENGTH, "20.000 m", "20.000 m"),
    ],
)
def test_what_was_entered_keeps_its_digits(written: str, kind: Kind, metric: str, inch: str) -> None:
    value = parse(written, kind=kind)
    assert str(show_entered(value, kind=kind)) == metric
    assert str(show_entered(value, kind=kind, system=System.INCH)) == inch


def test_the_readers_own_unit_keeps_the_digits_that_it_can() -> None:
    def said(written: str, kind: Kind, system: System) -> str:
        value = parse(written, kind=kind)
        return str(show_entered(value, kind=kind, system=system, as_written=False))

    # By the definitions of inch and pound: 31.5 thou are 0.8001 mm, and 0.1 g are 0.003527 oz.
    assert said("31.5 thou", Kind.LENGTH, System.METRIC) == "0.8001 mm"
    assert said("0.1 g", Kind.MASS, System.INCH) == "0.0035 oz"
    assert said("30 mm", Kind.LENGTH, System.INCH) == "1.181 in"
    assert said("0.001 mm", Kind.LENGTH, System.INCH) == "0.039 thou"


def test_what_was_entered_with_its_uncertainty_keeps_the_digits_of_both() -> None:
    def said(value: float, uncertainty: float) -> str:
        return str(show_entered(value, kind=Kind.MASS, uncertainty=uncertainty))

    assert said(0.11245, 0.0001) == "112.45 ± 0.10 g"
    assert said(0.1124, 0.0005) == "112.4 ± 0.5 g"
    assert said(0.1124, 0.0) == "112.4 g"
    assert said(INFINITY, 0.1) == str(show(INFINITY, kind=Kind.MASS, uncertainty=0.1))
    assert said(0.1, INFINITY) == str(show(0.1, kind=Kind.MASS, uncertainty=INFINITY))
    assert str(show_entered(0.0971, kind=Kind.LENGTH, sided=True)) == "97.1 mm"
    assert str(show_entered(0.00971, kind=Kind.LENGTH, sided=True)) == "9.71 mm"


def test_import_is_cheap() -> None:
    code = "import sys, rollwright.units; print(*{'numpy', 'scipy', 'uncertainties'} & sys.modules.keys())"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not done.stdout.strip()
