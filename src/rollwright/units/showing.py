"""From SI to what is printed: in the reader's units, with no more digits than the uncertainty earns."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from rollwright.units.kinds import FACTORS, INCH, UNIT_MARKS, Kind, System

__all__ = ["Shown", "as_inch_fraction", "show", "show_entered", "show_sided"]


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
# As many decimals as anybody writes down, by unit. What needs a fourth in millimetres was rather in thou.
_WRITTEN = {"mm": 3, "m": 7, "thou": 3, "in": 6, "°": 4, "g": 3, "oz": 4, "g·mm²": 3, "": 6}
_LONGEST = 6
_AS_WRITTEN = Fraction(1, 10**12)
"""Part of a number by which its float may miss the decimal that was written."""
_SIDED = ((math.inf, 1),)
"""Decimals of a sideways length in millimetres, as it is read off a rule."""
_PLAIN_FIGURES_UNDER = 10**12


def show(
    value: float,
    *,
    kind: Kind,
    system: System = System.METRIC,
    uncertainty: float | None = None,
    signed: bool = False,
    like: float = 0.0,
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
        like: another value beside which it is printed; the unit is that of the larger [same as the value].

    Returns:
        The printed parts; infinity is `∞`, what is not a number is `?`.
    """
    unit = _printed_unit(_deciding(value, uncertainty, like, system), kind, system)
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
    unit = _printed_unit(_deciding(value, uncertainty, 0.0, system), Kind.LENGTH, system)
    decimals = _SIDED if unit == "mm" else _DECIMALS[unit]
    shown = _shown(abs(value), unit=unit, uncertainty=uncertainty, signed=False, decimals=decimals)
    side = "left" if value > 0.0 else "right"
    return f"{shown} {side}" if shown.number.strip("0.?") else str(shown)


def show_entered(
    value: float,
    *,
    kind: Kind,
    system: System = System.METRIC,
    uncertainty: float | None = None,
    sided: bool = False,
    as_written: bool = True,
) -> Shown:
    """Return a value as it was entered, with every digit that was written.

    It is printed in the reader's unit where it is a short decimal there, else in the other system's, where
    it must have been written: 0.1 g stays 0.1 g among ounces, where it would lose its digits.

    Args:
        value: what was entered [m, rad, kg, kg m2 or 1].
        kind: which sort of quantity it is.
        system: which units to print where that loses nothing.
        uncertainty: standard uncertainty as it was entered [same as the value]; None, zero or less: not
            printed.
        sided: whether it is a sideways length, read off a rule to a tenth of a millimetre.
        as_written: whether the other system's unit will do; else two digits are kept at least.

    Returns:
        The printed parts, with no fewer decimals than `show` would give them; what is a short decimal in no
        unit is printed as by `show`, to two digits at least.
    """
    spread = None if uncertainty is None or not uncertainty > 0.0 else uncertainty
    size = _deciding(value, spread, 0.0, system)
    if not (math.isfinite(value) and math.isfinite(spread or 0.0)):
        return show(value, kind=kind, system=system, uncertainty=uncertainty)
    units = _units_for(size, kind, system) if as_written else (_printed_unit(size, kind, system),)
    for unit, most in (*((unit, _WRITTEN[unit]) for unit in units), *((unit, _LONGEST) for unit in units)):
        needed = [_places_written(part, most) for part in _amounts(unit, value, spread)]
        written = [places for places in needed if places is not None]
        if len(written) == len(needed):
            return _to_places(value, spread, unit=unit, sided=sided, least=max(written))
    least = 0 if spread or not value else 2 - _leading_place(value, units[0])
    return _to_places(value, spread, unit=units[0], sided=sided, least=least)


def _to_places(value: float, spread: float | None, *, unit: str, sided: bool, least: int) -> Shown:
    """Return a value and its uncertainty to at least so many decimals, and at least as many as usual."""
    amount, *open_ = _amounts(unit, value, spread)
    decimals = _SIDED if sided and unit == "mm" else _DECIMALS[unit]
    usual = _earned_places(open_[0]) if open_ else _usual_places(amount, decimals)
    places = max(usual, least)
    printed = _figures_at(open_[0], places) if open_ else ""
    return Shown(number=_figures_at(amount, places), uncertainty=printed, unit=unit)


def _amounts(unit: str, value: float, spread: float | None) -> list[Fraction]:
    factor = FACTORS[unit.translate(UNIT_MARKS)][1] if unit else Fraction(1)
    return [Fraction(part) / factor for part in (value, spread) if part is not None]


def _leading_place(value: float, unit: str) -> int:
    """Return the place of the first digit of a number that is not zero: 1 for ones, 0 for tenths."""
    (amount,) = _amounts(unit, value, None)
    return (Decimal(amount.numerator) / Decimal(amount.denominator)).adjusted() + 1


def _units_for(size: float, kind: Kind, system: System) -> tuple[str, ...]:
    """Return the units in which something may have been written, the reader's own first."""
    other = System.INCH if system is System.METRIC else System.METRIC
    units = [_printed_unit(size, kind, each) for each in (system, other)]
    if kind is Kind.LENGTH:
        units += ["thou", "in"]
    return tuple(dict.fromkeys(units))


def _places_written(amount: Fraction, most: int) -> int | None:
    """Return the fewest decimals that print a number in full; None if so many do not."""
    for places in range(most + 1):
        if abs(amount - round(amount, places)) <= _AS_WRITTEN * abs(amount):
            return places
    return None


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
    steps = round(Fraction(value) / INCH * denominator)
    whole, part = divmod(abs(steps), denominator)
    shown = [str(whole)] if whole or not part else []
    if part:
        shown.append(str(Fraction(part, denominator)))
    return ("−" if steps < 0 else "") + " ".join(shown)


def _deciding(value: float, uncertainty: float | None, like: float, system: System) -> float:
    """Return the size that decides the unit: in inches a wide uncertainty counts as much as its value."""
    if system is System.METRIC:
        return value
    beside = [abs(part) for part in (uncertainty or 0.0, like) if math.isfinite(part)]
    return max(abs(value), *beside)


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
    factor = FACTORS[unit.translate(UNIT_MARKS)][1] if unit else Fraction(1)
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
