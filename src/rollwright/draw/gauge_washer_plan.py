"""How the washers at a wheel are made up of sheet."""

from __future__ import annotations

from dataclasses import dataclass

from rollwright.draw.gauge_words import MM, system_of
from rollwright.errors import OutOfRange
from rollwright.units import System

__all__ = ["LEAST", "WasherPlan", "washer_plan"]

_SHEETS = {
    System.METRIC: (0.0001, 0.0002, 0.00025, 0.0005, 0.001),
    System.INCH: (0.000127, 0.000254, 0.000381, 0.000508, 0.000762),
}
"""Thicknesses that sheet is chosen from: 0.1 to 1 mm, or 5, 10, 15, 20 and 30 thousandths of an inch [m]."""
_MOST = 5
LEAST = 0.00001
"""Shortest length that counts as a washer [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WasherPlan:
    """How the washers at one wheel are made up.

    Attributes:
        total: what they have to come to [m].
        sheet: thickness of the sheet that they are cut from [m].
        count: how many of them.
    """

    total: float
    sheet: float
    count: int

    @property
    def left_over(self) -> float:
        """What is still missing from the total [m]; negative: what they come to beyond it."""
        return self.total - self.count * self.sheet


def washer_plan(total: float, *, units: str = "mm", sheet: float | None = None) -> WasherPlan:
    """Return how many washers of which sheet come nearest to a total.

    Args:
        total: what they have to come to [m].
        units: whether sheet is bought in millimetres, `mm`, or in thousandths of an inch, `in`.
        sheet: thickness of the sheet at hand [m]; None: one is chosen, of the usual ones that which comes
            nearest with five washers at most, the thicker where two are equal.

    Returns:
        The plan. Which sheets are usual is common practice, no source.

    Raises:
        OutOfRange: the units are not known, or the washers cannot be made of one to twenty layers of the
            sheet.
    """
    system = system_of(units)
    sheets = _SHEETS[system] if sheet is None else (sheet,)
    most = _MOST if sheet is None else 20
    plans = [
        WasherPlan(total=total, sheet=one, count=max(1, round(total / one)))
        for one in sheets
        if one > 0.0 and total / one < most + 0.5
    ]
    if not plans or total < LEAST:
        layers = f"layers of {sheet * MM:g} mm sheet" if sheet is not None else "usual sheet"
        raise OutOfRange(
            f"washers of {total * MM:g} mm cannot be made of a few {layers}",
            mend="choose another sheet, or check the washer in the car's file",
            key="sheet" if sheet is not None else "washer",
        )
    return min(plans, key=lambda plan: (round(abs(plan.left_over), 7), -plan.sheet))
