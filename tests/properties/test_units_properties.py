"""Laws that reading and printing keep for every number and every text."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

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
    show_sided,
)

KINDS = st.sampled_from(Kind)
SYSTEMS = st.sampled_from(System)
# From far below a micrometre to a kilometre: more than a workshop meets.
VALUES = st.floats(1e-9, 1e3) | st.floats(-1e3, -1e-9) | st.just(0.0)
SPREADS = st.floats(1e-8, 1e2)
UNITS = sorted(FACTORS)
FIGURES = st.from_regex(r"[0-9]{1,5}(\.[0-9]{1,6})?", fullmatch=True)
MARKS = "0123456789.,/-+−eE '\"°′″½¾²·*^%µ \u00a0minchogtdrlkaus\x00４"


def unit_of(shown: Shown) -> str:
    return shown.unit.replace("·", "*").replace("²", "2")


def last_place(shown: Shown) -> Fraction:
    decimals = len(shown.number.partition(".")[2])
    return Fraction(1, 10**decimals)


@given(value=VALUES, kind=KINDS, system=SYSTEMS, signed=st.booleans())
def test_what_is_printed_is_read_back_within_its_rounding(
    *, value: float, kind: Kind, system: System, signed: bool
) -> None:
    shown = show(value, kind=kind, system=system, signed=signed)
    factor = FACTORS[unit_of(shown)][1] if shown.unit else Fraction(1)
    allowed = last_place(shown) / 2 * factor + Fraction(math.ulp(value))
    for text in (str(shown), shown.plain()):
        assert abs(Fraction(parse(text, kind=kind)) - Fraction(value)) <= allowed


@given(VALUES, SPREADS, KINDS, SYSTEMS)
def test_uncertainty_rules_the_digits(value: float, spread: float, kind: Kind, system: System) -> None:
    scale = 1e-6 if kind is Kind.INERTIA else 1.0
    value, spread = value * scale, spread * scale
    shown = show(value, kind=kind, system=system, uncertainty=spread)
    assert shown.uncertainty
    assert len(shown.number.partition(".")[2]) == len(shown.uncertainty.partition(".")[2])
    digits = shown.uncertainty.replace(".", "").lstrip("0")
    if "." in shown.uncertainty:
        assert len(digits) == (2 if digits[0] in "12" else 1)
    else:
        assert not digits[2:].strip("0")
    factor = FACTORS[unit_of(shown)][1] if shown.unit else Fraction(1)
    printed, exact = Fraction(shown.uncertainty) * factor, Fraction(spread)
    # Two digits from 10 on, or one from 3 on, are off by at most half of a tenth or of a third.
    assert abs(printed - exact) <= exact * Fraction(1, 6)


@given(value=st.floats(), spread=st.none() | st.floats(), kind=KINDS, system=SYSTEMS, signed=st.booleans())
def test_every_float_is_printed_on_one_line(
    *, value: float, spread: float | None, kind: Kind, system: System, signed: bool
) -> None:
    shown = show(value, kind=kind, system=system, uncertainty=spread, signed=signed)
    assert str(shown).isprintable()
    assert shown.plain().isascii()
    assert len(str(shown)) < 80
    assert not (shown.number.startswith("−") and not shown.number.strip("−0."))
    assert len(show_sided(value, system=system, uncertainty=spread)) < 80


@given(st.floats(-1e3, 1e3), SYSTEMS)
def test_sides_are_read_back(value: float, system: System) -> None:
    text = show_sided(value, system=system)
    back = parse_sided(text)
    assert abs(back - value) <= max(0.5e-4, 0.5e-3 * 0.0254, 0.5e-3 * (abs(value) > 10.0)) * (1 + 1e-9)
    assert back == 0.0 or (back > 0.0) == (value > 0.0)
    assert parse_sided(text.replace("left", "to the right")) <= 0.0


@given(FIGURES, st.sampled_from(UNITS), st.sampled_from(["", " ", "\u00a0"]))
def test_reading_is_exact_and_mirrors(figures: str, unit: str, gap: str) -> None:
    kind, factor = FACTORS[unit]
    value = parse(f"{figures}{gap}{unit}", kind=kind)
    assert value == float(Fraction(figures) * factor)
    for minus in ("-", "−", "- "):
        assert parse(f"{minus}{figures}{gap}{unit}", kind=kind) == -value
    assert parse(f"+{figures}{gap}{unit.upper()}", kind=kind) == value


@given(st.floats(allow_nan=False, allow_infinity=False), KINDS)
def test_a_float_is_read_as_typed_in_the_bare_unit(value: float, kind: Kind) -> None:
    factor = FACTORS[kind.bare][1] if kind.bare else Fraction(1)
    read = parse(value, kind=kind)
    assert read == float(Fraction(repr(value)) * factor)
    assert parse(-value, kind=kind) == -read
    if kind is Kind.RATIO:
        assert read == value
    if 1e-300 < abs(value) < 1e300:
        assert parse(repr(value), kind=kind) == parse(f"{value!r} {kind.bare}", kind=kind) == read


@given(st.integers(0, 10**6), st.integers(0, 10**9), st.integers(0, 9))
def test_a_comma_is_a_point_or_it_is_refused(whole: int, part: int, width: int) -> None:
    after = f"{part:0{width}d}"
    with_comma, with_point = f"{whole},{after} mm", f"{whole}.{after} mm"
    if len(after) == 3 and 1 <= whole <= 999:
        with pytest.raises(UnreadableQuantity, match=rf"write {whole}\.{after} or {whole}{after}"):
            parse(with_comma, kind=Kind.LENGTH)
    else:
        assert parse(with_comma, kind=Kind.LENGTH) == parse(with_point, kind=Kind.LENGTH)


@given(st.integers(-10_000, 10_000), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_inch_fractions_are_exact(steps: int, denominator: int) -> None:
    text = as_inch_fraction(float(Fraction(steps, denominator) * Fraction("0.0254")), denominator=denominator)
    whole_and_part = [Fraction(piece) for piece in text.removeprefix("−").split()]
    sign = -1 if text.startswith("−") else 1
    assert sign * sum(whole_and_part) == Fraction(steps, denominator)
    assert parse(f"{text} in", kind=Kind.LENGTH) == float(Fraction(steps, denominator) * Fraction("0.0254"))


@given(st.floats(-100, 100))
def test_inch_fractions_are_the_nearest(value: float) -> None:
    back = parse(f"{as_inch_fraction(value)} in", kind=Kind.LENGTH)
    assert abs(back - value) <= 0.0254 / 128 + 2 * math.ulp(value)


@given(st.integers(0, 359), st.integers(0, 59), st.integers(0, 59_999), st.sampled_from(["", "-"]))
def test_degrees_minutes_seconds(degrees: int, minutes: int, milliseconds: int, sign: str) -> None:
    seconds = f"{milliseconds // 1000}.{milliseconds % 1000:03d}"
    total = degrees + Fraction(minutes, 60) + Fraction(milliseconds, 3_600_000)
    written = f"{sign}{degrees}° {minutes}' {seconds}\""
    expected = float(total) * math.pi / 180 * (-1 if sign else 1)
    assert math.isclose(parse(written, kind=Kind.ANGLE), expected, rel_tol=1e-15)


@given(st.text(max_size=110) | st.text(MARKS, max_size=30), KINDS)
@example("44\ud800", Kind.LENGTH)
@example("1e-0000000000000000000000000000000000000000000000000000000000001", Kind.LENGTH)
@example("9" * 100, Kind.INERTIA)
def test_any_text_is_read_or_refused_in_one_line(text: str, kind: Kind) -> None:
    check(text, kind)


@given(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.binary()
    | st.lists(st.integers())
    | st.dictionaries(st.text(), st.text())
    | st.datetimes(),
    KINDS,
)
@example(10**5000, Kind.LENGTH)
def test_any_object_is_read_or_refused_in_one_line(written: object, kind: Kind) -> None:
    check(written, kind)


def check(written: object, kind: Kind) -> None:
    for read in (parse, parse_sided):
        message = ""
        value = 0.0
        try:
            value = read(written, kind=kind)
        except UnreadableQuantity as error:
            message = str(error)
        assert math.isfinite(value)
        assert message.isprintable()
        assert not message or "; " in message
