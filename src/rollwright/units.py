"""What a builder writes, to SI and back: lengths, angles, masses, moments of inertia and plain numbers.

Reading is exact (fractions) up to one rounding to a float; printing never shows more digits than the
uncertainty earns. Inch and pound: international agreement of 1959, 1 in = 25.4 mm, 1 lb = 0.45359237 kg.
"""

from __future__ import annotations

import difflib
import enum
import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING

from rollwright.errors import UnreadableQuantity, echo

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "FACTORS",
    "Kind",
    "Shown",
    "System",
    "as_inch_fraction",
    "parse",
    "parse_sided",
    "show",
    "show_sided",
]


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


_INCH = Fraction(254, 10_000)
_POUND = Fraction(45_359_237, 100_000_000)
_MILLI = Fraction(1, 1000)
_GRAM = _MILLI
_DEGREE = Fraction(math.pi) / 180

_UNITS: tuple[tuple[Kind, Fraction, str], ...] = (
    (Kind.LENGTH, _MILLI, "mm millimetre millimetres millimeter millimeters"),
    (Kind.LENGTH, _MILLI * 10, "cm centimetre centimetres centimeter centimeters"),
    (Kind.LENGTH, Fraction(1), "m metre metres meter meters"),
    (Kind.LENGTH, _MILLI**2, "um μm micron microns micrometre micrometres micrometer micrometers"),
    (Kind.LENGTH, _INCH, 'in inch inches "'),
    (Kind.LENGTH, _INCH * 12, "ft foot feet"),
    (Kind.LENGTH, _INCH / 1000, "thou thous thousandth thousandths mil mils"),
    (Kind.ANGLE, _DEGREE, "deg degs degree degrees °"),
    (Kind.ANGLE, _DEGREE / 60, "arcmin arcmins arcminute arcminutes '"),
    (Kind.ANGLE, _DEGREE / 3600, "arcsec arcsecs arcsecond arcseconds"),
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
    (Kind.INERTIA, _POUND / 16 * _INCH**2, "oz*in2 in2*oz"),
    (Kind.RATIO, Fraction(1, 100), "% percent"),
)

# Every spelling that is read, in lower case, with the SI units in one of it: exact but for pi, the float's.
FACTORS: Mapping[str, tuple[Kind, Fraction]] = MappingProxyType(
    {name: (kind, factor) for kind, factor, names in _UNITS for name in names.split()}
)

_LONGEST = 100
_LARGEST_EXPONENT = 400
_LARGEST_WHOLE = 10**_LARGEST_EXPONENT
_SPACES = str.maketrans(dict.fromkeys("\u00a0\u2007\u2009\u202f", " "))
# A fraction sign is padded on both sides, so that the digits of a neighbour can never join its own.
_MARKS = str.maketrans(
    {"⁄": "/", "′": "'", "’": "'", "″": '"', "”": '"', "µ": "μ"}
    | {"½": " 1/2 ", "¼": " 1/4 ", "¾": " 3/4 ", "⅛": " 1/8 ", "⅜": " 3/8 ", "⅝": " 5/8 ", "⅞": " 7/8 "}
    | {"⅓": " 1/3 ", "⅔": " 2/3 "}
)
_UNIT_MARKS = str.maketrans({"²": "2", "·": "*", "⋅": "*", "×": "*"})
_NUMBER = re.compile(
    r"(?P<sign>[+−-]?)\s*(?:"
    r"(?:(?P<whole>[0-9]+)(?:\s+|-\s?))?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)"
    r"|(?P<decimal>[0-9.,]+)(?:[eE](?P<exponent>[+−-]?[0-9]+))?)"
)
_ARC = re.compile(
    r"(?P<sign>[+−-]?)\s*(?:(?P<degrees>[0-9.,]+)\s*°\s*)?"
    r"(?:(?P<minutes>[0-9.,]+)\s*'(?!')\s*)?(?:(?P<seconds>[0-9.,]+)\s*\")?"
)
_SIDE = re.compile(r"(?<![a-z])(?:to\s+(?:the\s+)?)?(left|right)(?![a-z])", re.IGNORECASE)
_MEGA = re.compile(r"(?<![A-Za-z])M(m|g|rad)(?![A-Za-z])")
_CLOCK = {"min": "arcmin", "mins": "arcmin", "minute": "arcmin", "minutes": "arcmin"} | dict.fromkeys(
    ("s", "sec", "secs", "second", "seconds"), "arcsec"
)
_USUAL = {
    Kind.LENGTH: 'mm, cm, m, um, in, thou or ft, such as "44 mm" or "1 3/4 in"',
    Kind.ANGLE: 'deg, arcmin, rad or mrad, such as "2.5 deg"',
    Kind.MASS: 'g, kg, mg, oz or lb, such as "140 g"',
    Kind.INERTIA: 'mm2*g, g*cm2, kg*m2 or oz*in2, such as "350 mm2*g"',
    Kind.RATIO: 'plain figures or %, such as 0.2 or "20 %"',
}
# What the trade means by a fraction or a leading point: without its unit, a factor of 25 or 28 is at stake.
_CUSTOMARY = {Kind.LENGTH: "in", Kind.MASS: "oz"}


def parse(written: object, *, kind: Kind) -> float:
    """Return what a builder wrote as a number in SI units.

    A bare number, also inside a text, is in millimetres, degrees, grams or mm2*g. A decimal comma is read
    where it cannot mark thousands.

    Args:
        written: an int, a float, or a text with or without its unit.
        kind: which sort of quantity is wanted.

    Returns:
        The value [m, rad, kg, kg m2 or 1], rounded once.

    Raises:
        UnreadableQuantity: if it is not one finite number with a unit of that kind, or could mean two things.
    """
    if isinstance(written, str):
        return _read(_clean(written, kind), kind=kind, written=written)
    if isinstance(written, bool) or not isinstance(written, int | float):
        raise UnreadableQuantity(
            f"{echo(written)} is no number where {kind.phrase} is wanted", mend=f"write it in {_USUAL[kind]}"
        )
    # A whole number of thousands of digits cannot even be printed, so it is not echoed.
    if isinstance(written, int) and abs(written) >= _LARGEST_WHOLE:
        raise UnreadableQuantity(
            f"a whole number of more than {_LARGEST_EXPONENT} digits is not {kind.phrase}",
            mend=f"write it in {_USUAL[kind]}",
        )
    if not -math.inf < written < math.inf:
        raise _refusal(written, "is not a finite number", _write_in(kind))
    # The shortest decimal that names the float is what was typed: 0.3 and "0.3" give the same answer.
    typed = Fraction(int(written)) if isinstance(written, int) else Fraction(repr(float(written)))
    return _rounded(typed * _bare(kind), written)


def parse_sided(written: object, *, kind: Kind = Kind.LENGTH) -> float:
    """Return what a builder wrote as a number in SI units, where a text may say the side in words.

    Positive is to the left: "90 mm left" is 0.09 and "90 mm right" is -0.09.

    Args:
        written: as for `parse`, or a text with the word left or right before or after the number.
        kind: which sort of quantity is wanted.

    Returns:
        The value [m, rad, kg, kg m2 or 1], positive to the left.

    Raises:
        UnreadableQuantity: as for `parse`, or if a side stands with a sign, twice, or without a number.
    """
    if not isinstance(written, str):
        return parse(written, kind=kind)
    text = _clean(written, kind)
    sides = list(_SIDE.finditer(text))
    if not sides:
        return _read(text, kind=kind, written=written)
    if len(sides) > 1:
        raise _refusal(written, "says the side twice", "say left or right once")
    before, after = text[: sides[0].start()].strip(), text[sides[0].end() :].strip()
    if bool(before) == bool(after):
        raise _refusal(
            written, "does not put the side before or after one number", 'write it such as "90 mm right"'
        )
    amount = before or after
    if amount[0] in "+-−":
        raise _refusal(written, "has both a sign and a side", "leave out the sign or the side")
    value = _read(amount, kind=kind, written=written)
    return value if sides[0][1].lower() == "left" else 0.0 - value


def _refusal(written: object, tail: str, mend: str) -> UnreadableQuantity:
    return UnreadableQuantity(f"{echo(written)} {tail}", mend=mend)


def _clean(written: str, kind: Kind) -> str:
    if len(written) > _LONGEST:
        raise _refusal(
            written, f"is longer than {_LONGEST} characters", "write one number and its unit, nothing else"
        )
    text = written.translate(_SPACES).strip(" ")
    if not text:
        raise _refusal(written, f"is empty where {kind.phrase} is wanted", f"write it in {_USUAL[kind]}")
    if not text.isprintable():
        raise _refusal(written, "holds a control or hidden character", "type the number and its unit afresh")
    if any(c.isdecimal() and not c.isascii() for c in text):
        raise _refusal(written, "holds digits other than 0 to 9", "write it with the plain digits 0 to 9")
    return text.translate(_MARKS).replace("''", '"').strip(" ")


def _read(text: str, *, kind: Kind, written: str) -> float:
    if kind is Kind.ANGLE and (arc := _ARC.fullmatch(text)) and any(arc.group(2, 3, 4)):
        return _rounded(_arc(arc, written) * _DEGREE, written)
    match = _NUMBER.match(text)
    if not match and text.lstrip("+-−").casefold() in {"nan", "inf", "infinity"}:
        raise _refusal(written, "is not a finite number", _write_in(kind))
    if not match:
        raise _refusal(
            written, f"does not begin with a number where {kind.phrase} is wanted", _write_in(kind)
        )
    rest = text[match.end() :].strip()
    if rest and rest[0] in "0123456789.,/+-−":
        raise _refusal(written, "is not one number followed by one unit", _write_in(kind))
    number = _fraction(match, written) if match["top"] else _decimal(match, written)
    if rest:
        return _rounded(number * _factor(rest, match[0].strip(), kind=kind, written=written), written)
    bare = match[0].strip()
    if unit := _CUSTOMARY.get(kind):
        if match["top"]:
            raise _refusal(written, "is a fraction without a unit", f'write "{bare} {unit}"')
        if match["decimal"].startswith("."):
            mend = f'write "{bare} {unit}" or "{bare.replace(".", "0.", 1)} {kind.bare}"'
            raise _refusal(written, "begins with the point and has no unit", mend)
    return _rounded(number * _bare(kind), written)


def _write_in(kind: Kind) -> str:
    return f"write one number in {_USUAL[kind]}"


def _bare(kind: Kind) -> Fraction:
    return FACTORS[kind.bare][1] if kind.bare else Fraction(1)


def _rounded(exact: Fraction, written: object) -> float:
    try:
        value = float(exact)
    except OverflowError:
        value = math.inf
    if math.isinf(value) or (isinstance(written, str) and exact and not value):
        raise _refusal(written, "is too large or too small a number", "check the exponent and the unit")
    return value


def _negative(sign: str) -> int:
    return -1 if sign in {"-", "−"} else 1


def _fraction(match: re.Match[str], written: str) -> Fraction:
    top, bottom = int(match["top"]), int(match["bottom"])
    if not bottom:
        raise _refusal(written, "divides by zero", "write a fraction such as 3/8")
    if match["whole"] and top >= bottom:
        raise _refusal(
            written, "adds a fraction of one or more to a whole number", "write it such as 1 3/4 or 7/4"
        )
    return _negative(match["sign"]) * (int(match["whole"] or 0) + Fraction(top, bottom))


def _decimal(match: re.Match[str], written: str) -> Fraction:
    exponent = int((match["exponent"] or "0").replace("−", "-"))
    if abs(exponent) > _LARGEST_EXPONENT:
        raise _refusal(written, "is too large or too small a number", "check the exponent and the unit")
    return _negative(match["sign"]) * _figures(match["decimal"], written) * Fraction(10) ** exponent


def _figures(figures: str, written: str) -> Fraction:
    """Return the one number that digits, points and commas can mean; refuse what could mean two."""
    before, comma, after = figures.partition(",")
    if comma and ("," in after or "." in figures):
        raise _refusal(
            written, "has marks that could set off thousands", "write it with one point, such as 1234.5"
        )
    if comma and re.fullmatch("[1-9][0-9]{0,2}", before) and len(after) == 3:
        mend = f"write {before}.{after} or {before}{after}"
        raise _refusal(written, "has a comma that could be a decimal comma or mark thousands", mend)
    if not re.fullmatch(r"[0-9]+,[0-9]+|[0-9]+\.?[0-9]*|\.[0-9]+", figures):
        raise _refusal(written, "is not one number", "write it with one decimal point, such as 12.5")
    return Fraction(figures.replace(",", "."))


def _arc(match: re.Match[str], written: str) -> Fraction:
    parts = [(place, _figures(part, written)) for place, part in enumerate(match.group(2, 3, 4)) if part]
    if any(part.denominator != 1 for _, part in parts[:-1]) or any(part >= 60 for _, part in parts[1:]):
        mend = "write whole degrees, then minutes and seconds under 60, such as 2° 30' 15\""
        raise _refusal(written, "is no angle in degrees, minutes and seconds", mend)
    return _negative(match["sign"]) * sum((part / 60**place for place, part in parts), Fraction(0))


def _factor(rest: str, number: str, *, kind: Kind, written: str) -> Fraction:
    unit = re.sub(
        r"\s*\*\s*|\s+", "*", rest.translate(_UNIT_MARKS).replace("^2", "2").removesuffix(".").casefold()
    )
    if kind is Kind.ANGLE and unit == '"':
        unit = "arcsec"
    if kind is Kind.ANGLE and unit in _CLOCK:
        arc = _CLOCK[unit]
        mark = {"arcmin": "'", "arcsec": '"'}[arc]
        raise _refusal(
            written,
            f"has the unit {rest}, which is also time on the clock",
            f"write {number} {arc} or {number}{mark}",
        )
    if mega := _MEGA.search(rest):
        mend = f"write m{mega[1]} with a small m for a thousandth"
        raise _refusal(written, f"has the unit {mega[0]}, which means a million {mega[1]}", mend)
    found = FACTORS.get(unit)
    if found is None:
        raise _unknown(rest, unit, kind=kind, written=written)
    if found[0] is not kind:
        raise _refusal(written, f"is {found[0].phrase} where {kind.phrase} is wanted", _write_in(kind))
    return found[1]


def _unknown(rest: str, unit: str, *, kind: Kind, written: str) -> UnreadableQuantity:
    """Say why a text after a number is no unit, with the nearest that is."""
    words = rest.casefold().split()
    if not {"left", "right"}.isdisjoint(words):
        return _refusal(written, "says a side where none is wanted", "write it without left or right")
    if re.search(r"(?:^|[^a-zμ])[+−-]?[.,]?[0-9]", unit):
        return _refusal(written, "holds two numbers", _write_in(kind))
    if len(words) > 1 and all(word in FACTORS for word in words):
        return _refusal(written, "holds two units", _write_in(kind))
    same = [name for name, (other, _) in FACTORS.items() if other is kind]
    near = difflib.get_close_matches(unit, same, n=1) or difflib.get_close_matches(unit, FACTORS, n=1)
    mend = f"did you mean {near[0]}? Otherwise {_write_in(kind)}" if near else _write_in(kind)
    return _refusal(written, f"has the unknown unit {echo(rest)}", mend)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A number ready to print, rounded to what its uncertainty earns.

    Attributes:
        number: the value, with the true minus sign.
        uncertainty: its standard uncertainty to the same decimal place; empty: not given.
        unit: as printed; empty for a plain number.
    """

    number: str
    uncertainty: str
    unit: str

    def __str__(self) -> str:
        """Return number, uncertainty and unit on one line, such as `12.3 ± 0.4 thou`."""
        spread = f" ± {self.uncertainty}" if self.uncertainty else ""
        gap = " " if self.unit and self.unit != "°" else ""
        return f"{self.number}{spread}{gap}{self.unit}"

    def plain(self) -> str:
        """Return the same in ASCII, such as `12.3 +/- 0.4 thou` or `2.50 deg`."""
        return str(self).translate(_ASCII)


_ASCII = str.maketrans({"−": "-", "±": "+/-", "°": " deg", "·": "*", "²": "2", "∞": "inf"})
_METRIC = {Kind.LENGTH: "mm", Kind.ANGLE: "°", Kind.MASS: "g", Kind.INERTIA: "g·mm²", Kind.RATIO: ""}
# Decimals by unit when no uncertainty is given: each pair holds up to its limit.
_DECIMALS: Mapping[str, tuple[tuple[float, int], ...]] = {
    "mm": ((10, 2), (1000, 1), (math.inf, 0)),
    "m": ((math.inf, 3),),
    "thou": ((10, 1), (math.inf, 0)),
    "in": ((math.inf, 3),),
    "°": ((math.inf, 2),),
    "g": ((math.inf, 1),),
    "oz": ((math.inf, 2),),
    "g·mm²": ((100, 1), (math.inf, 0)),
    "": ((math.inf, 3),),
}
_MOST_DECIMALS = 9
_PLAIN_FIGURES_UNDER = 10**12


def show(
    value: float,
    *,
    kind: Kind,
    system: System = System.METRIC,
    uncertainty: float | None = None,
    signed: bool = False,
) -> Shown:
    """Return a value as it is to be printed, with no more digits than it earns.

    The uncertainty keeps two digits when it begins with 1 or 2, else one; the value is rounded to the same
    place, halves to even (JCGM 100:2008, 7.2.6, asks for two digits at most and for matching places).
    Lengths are in millimetres, above 10 m in metres; in the inch system in inches, under a tenth of an inch
    in thousandths.

    Args:
        value: what to print [m, rad, kg, kg m2 or 1].
        kind: which sort of quantity it is.
        system: which units to print; angles and moments of inertia are the same in both.
        uncertainty: standard uncertainty [same as the value]; None, zero or less: not printed.
        signed: whether a value above zero gets a plus sign.

    Returns:
        The printed parts; infinity is `∞`, what is not a number is `?`.
    """
    unit = _printed_unit(value, kind, system)
    return _shown(value, unit=unit, uncertainty=uncertainty, signed=signed, decimals=_DECIMALS[unit])


def show_sided(value: float, *, system: System = System.METRIC, uncertainty: float | None = None) -> str:
    """Return a sideways length with its side in words, as it is read off a rule.

    A positive value is to the left, "90.0 mm left"; a negative one to the right, "90.0 mm right".

    Args:
        value: sideways length, positive to the left [m].
        system: which units to print.
        uncertainty: standard uncertainty [m]; None, zero or less: not printed.

    Returns:
        One line such as `93 ± 4 mm right`; without a side where the printed number is zero.
    """
    unit = _printed_unit(value, Kind.LENGTH, system)
    decimals = ((math.inf, 1),) if unit == "mm" else _DECIMALS[unit]
    shown = _shown(abs(value), unit=unit, uncertainty=uncertainty, signed=False, decimals=decimals)
    side = "left" if value > 0.0 else "right"
    return f"{shown} {side}" if shown.number.strip("0.?") else str(shown)


def as_inch_fraction(value: float, *, denominator: int = 64) -> str:
    """Return a length as the nearest whole and common fraction of inches, without the unit.

    Args:
        value: length [m], finite.
        denominator: of the finest fraction, such as 64 for a steel rule.

    Returns:
        The reduced fraction, such as `1 3/4`; halfway cases go to the even numerator.

    Raises:
        ValueError: if the denominator is not at least 1, or the value is not finite.
    """
    if denominator < 1 or not math.isfinite(value):
        raise ValueError(
            f"no fraction for {value!r} with denominator {denominator!r}; give finite ones, 1 or more"
        )
    steps = round(Fraction(value) / _INCH * denominator)
    whole, part = divmod(abs(steps), denominator)
    shown = [str(whole)] if whole or not part else []
    if part:
        shown.append(str(Fraction(part, denominator)))
    return ("−" if steps < 0 else "") + " ".join(shown)


def _printed_unit(value: float, kind: Kind, system: System) -> str:
    if system is System.INCH and kind is Kind.LENGTH:
        return "thou" if abs(value) < 0.1 * 0.0254 else "in"
    if system is System.INCH and kind is Kind.MASS:
        return "oz"
    return "m" if kind is Kind.LENGTH and abs(value) > 10.0 else _METRIC[kind]


def _shown(
    value: float,
    *,
    unit: str,
    uncertainty: float | None,
    signed: bool,
    decimals: tuple[tuple[float, int], ...],
) -> Shown:
    if not math.isfinite(value):
        return Shown(number=_endless(value), uncertainty="", unit=unit)
    factor = FACTORS[unit.translate(_UNIT_MARKS)][1] if unit else Fraction(1)
    amount = Fraction(value) / factor
    spread, places, printed = Fraction(0), None, ""
    if uncertainty is not None and not math.isfinite(uncertainty):
        printed = _endless(uncertainty)
    elif uncertainty is not None and uncertainty > 0.0:
        spread = Fraction(uncertainty) / factor
        places = _earned_places(spread)
    if max(abs(amount), spread) >= _PLAIN_FIGURES_UNDER:
        number = _short(amount, 6) if abs(amount) >= spread else "0"
        return Shown(number=number, uncertainty=_short(spread, 2) if spread else printed, unit=unit)
    # An uncertainty beyond the last decimal that is ever printed says nothing to a reader.
    if places is not None and places <= _MOST_DECIMALS:
        printed = _figures_at(spread, places)
    else:
        places = _usual_places(amount, decimals)
    return Shown(number=_figures_at(amount, places, signed=signed), uncertainty=printed, unit=unit)


def _endless(value: float) -> str:
    return "?" if math.isnan(value) else "∞" if value > 0.0 else "−∞"


def _short(exact: Fraction, digits: int) -> str:
    return f"{Decimal(exact.numerator) / Decimal(exact.denominator):.{digits}g}".replace("-", "−")


def _earned_places(spread: Fraction) -> int:
    """Return the decimal place that an uncertainty is printed to; negative: tens, hundreds."""
    first = -(Decimal(spread.numerator) / Decimal(spread.denominator)).adjusted()
    # Two digits if, rounded to two, they come out under 30: 0.294 is printed 0.29, but 0.296 is printed 0.3.
    return first + (round(spread * Fraction(10) ** (first + 1)) < 30)


def _usual_places(amount: Fraction, decimals: tuple[tuple[float, int], ...]) -> int:
    # The size is judged after rounding, so that 9.996 is printed 10.0 as 10 itself is.
    return next(places for limit, places in decimals if abs(round(amount, places)) < limit)


def _figures_at(amount: Fraction, places: int, *, signed: bool = False) -> str:
    steps = round(amount * Fraction(10) ** places)
    digits = str(abs(steps) * 10 ** max(0, -places)).zfill(max(0, places) + 1)
    sign = "−" if steps < 0 else "+" if signed and steps else ""
    return sign + (f"{digits[:-places]}.{digits[-places:]}" if places > 0 else digits)
