"""From what a builder writes to SI: exact up to one rounding to a float, and refused where it is in doubt."""

from __future__ import annotations

import difflib
import math
import re
from fractions import Fraction

from rollwright.errors import UnreadableQuantity, echo
from rollwright.units.kinds import DEGREE, FACTORS, UNIT_MARKS, Kind

__all__ = ["parse", "parse_sided"]

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
        return _rounded(_arc(arc, written) * DEGREE, written)
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
        raise _refusal(written, "adds a fraction of one or more to a whole number", "write it such as 1 3/4")
    first, rest = match["top"][:1], match["top"][1:]
    if not match["whole"] and top > bottom and rest and int(rest) < bottom:
        # 115/16 may be a fraction or have lost the space of 1 15/16, and nobody can tell which.
        over, left = divmod(top, bottom)
        either = f"{over} {left}/{bottom}" if left else f"{over}"
        raise _refusal(
            written,
            "may have lost a space",
            f'write "{first} {int(rest)}/{bottom}" or "{either}", with its unit',
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
        r"\s*\*\s*|\s+", "*", rest.translate(UNIT_MARKS).replace("^2", "2").removesuffix(".").casefold()
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
