"""A printer put right: what it prints too large or too small is measured once, across and up."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.errors import OutOfRange

__all__ = ["ACROSS", "LARGEST", "SMALLEST", "UP", "Factors", "factors"]

ACROSS = 0.100
"""How wide the scale box is meant to be [m]."""

UP = 0.050
"""How tall the scale box is meant to be [m]."""

SMALLEST, LARGEST = 0.95, 1.05
"""Between these a printer is put right; beyond them something else is wrong, mostly "fit to page"."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Factors:
    """By how much a sheet is stretched before it goes to a printer that does not print true.

    Attributes:
        x: across the page; over 1 for a printer that prints too narrow [1].
        y: up the page; over 1 for a printer that prints too short [1].
    """

    x: float = 1.0
    y: float = 1.0


def factors(*, across: float, up: float, printed_with: Factors | None = None) -> Factors:
    """Return the factors that put a printer right, from the scale box as it came out of it.

    A box that measures 99 mm across where it should be 100 mm gives a factor over 1: the next sheet is
    stretched. One that measures 101 mm gives a factor under 1.

    Args:
        across: measured width of the 100 mm side [m].
        up: measured height of the 50 mm side [m].
        printed_with: the factors with which the measured box was printed; None: with none.

    Returns:
        The factors for the next sheet: nominal over measured, times those it was printed with.

    Raises:
        OutOfRange: a length is not positive, or its factor is not between 0.95 and 1.05.
    """
    before = printed_with or Factors()
    return Factors(
        x=_factor(across, nominal=ACROSS, before=before.x, side="across"),
        y=_factor(up, nominal=UP, before=before.y, side="up"),
    )


def _factor(measured: float, *, nominal: float, before: float, side: str) -> float:
    lowest, highest = before * nominal / LARGEST, before * nominal / SMALLEST
    # The limits themselves are allowed, whatever the last digit of a division says.
    slack = 1e-12
    if not lowest - slack <= measured <= highest + slack:
        raise OutOfRange(
            f"the {nominal * 1e3:.0f} mm of the scale box measure {measured * 1e3:.4g} mm {side}; "
            f"{math.ceil(lowest * 1e4) / 10:.1f} to {math.floor(highest * 1e4) / 10:.1f} mm can be put right",
            mend='print again at 100 % ("actual size", not "fit to page") and measure the box anew',
        )
    return before * nominal / measured
