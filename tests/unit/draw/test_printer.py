"""A printer put right by two measured lengths."""

from __future__ import annotations

import math

import pytest

from rollwright.draw.printer import Factors, factors
from rollwright.errors import OutOfRange


def test_a_true_printer_is_left_alone() -> None:
    assert factors(across=0.100, up=0.050) == Factors(x=1.0, y=1.0)


def test_what_prints_too_small_is_stretched_and_what_prints_too_large_is_shrunk() -> None:
    found = factors(across=0.098, up=0.051)
    assert found.x == pytest.approx(100.0 / 98.0)
    assert found.y == pytest.approx(50.0 / 51.0)


@pytest.mark.parametrize("printer", [(0.97, 1.02), (1.04, 0.999)])
def test_the_next_print_measures_true_even_from_a_sheet_already_put_right(
    printer: tuple[float, float],
) -> None:
    across, up = printer
    first = Factors(x=1.01, y=0.99)
    found = factors(across=0.100 * across * first.x, up=0.050 * up * first.y, printed_with=first)
    assert 0.100 * across * found.x == pytest.approx(0.100)
    assert 0.050 * up * found.y == pytest.approx(0.050)


def test_the_limits_themselves_are_allowed() -> None:
    found = factors(across=0.100 / 1.05, up=0.050 / 0.95)
    assert (found.x, found.y) == pytest.approx((1.05, 0.95))


@pytest.mark.parametrize("across", [0.0, -0.1, 0.0952, 0.1053, 0.094, math.nan, math.inf])
def test_what_no_factor_mends_is_refused_in_one_line(across: float) -> None:
    with pytest.raises(OutOfRange) as caught:
        factors(across=across, up=0.050)
    message = str(caught.value)
    # 100 / 1.05 = 95.24 and 100 / 0.95 = 105.26, rounded to what is allowed for sure.
    assert "95.3 to 105.2 mm can be put right" in message
    assert "across" in message
    assert 'print again at 100 % ("actual size"' in message
    assert "\n" not in message


def test_inches_entered_for_millimetres_are_refused() -> None:
    with pytest.raises(OutOfRange, match=r"up; 47\.7 to 52\.6 mm can be put right"):
        factors(across=0.100, up=0.0020)


def test_factors_do_not_creep_past_the_limit_in_two_steps() -> None:
    first = factors(across=0.0960, up=0.050)
    with pytest.raises(OutOfRange, match="the 100 mm of the scale box measure 97 mm across"):
        factors(across=0.0970, up=0.050, printed_with=first)
