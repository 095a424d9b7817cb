"""Which depths a relief gauge has tongues for."""

from __future__ import annotations

import math

from rollwright.draw.gauge_words import MM, system_of
from rollwright.errors import OutOfRange
from rollwright.units import System

__all__ = ["LEAST", "relief_steps"]

_MOST_STEPS = 10
_STEPS = {
    System.METRIC: (0.0001, 0.0002, 0.0005, 0.001),
    System.INCH: (0.000127, 0.000254, 0.000508, 0.00127),
}
"""Steps that the depth may go in: tenths of a millimetre, or 5, 10, 20 and 50 thousandths of an inch [m]."""
LEAST = 0.00001
"""Shallowest relief that counts as one [m]."""
_NEAR = 0.2
"""Whole steps nearer to the wanted depth than this share of a step are left out [1]."""


def relief_steps(depth: float, *, units: str = "mm") -> tuple[float, ...]:
    """Return the depths of a relief gauge's tongues.

    Args:
        depth: the wanted relief [m], more than nothing.
        units: what numbers are written in, `mm` or `in`.

    Returns:
        Whole steps below the wanted depth, the wanted depth itself as the last but one, and the next whole
        step past it [m]; a whole step within a fifth of a step from it is left out. The step is the finest of
        its kind that needs no more than ten below.

    Raises:
        OutOfRange: the units are not known, or the depth is less than a hundredth of a millimetre or more
            than 10 mm.
    """
    steps = _STEPS[system_of(units)]
    if not LEAST <= depth <= steps[-1] * _MOST_STEPS:
        raise OutOfRange(
            f"a relief of {depth * MM:g} mm is not one that this gauge is made for",
            mend="plan the relief first: between 0.01 and 10 mm",
            key="relief",
        )
    step = next(one for one in steps if math.ceil(depth / one - _NEAR) - 1 <= _MOST_STEPS)
    below = math.ceil(depth / step - _NEAR) - 1
    past = math.floor(depth / step + _NEAR) + 1
    return (*(step * number for number in range(1, below + 1)), depth, step * past)
