"""What parts of one make are truly like, given that the gauge itself scatters.

Whoever picks the best of many noisy readings picks luck as well as quality. So each reading is drawn
towards the middle of its box, the more the less the parts differ beyond what the gauge explains.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollwright.quantity import Quantity

__all__ = ["Drawn", "drawn_in"]

_STEPS = 400
_REACH = 10.0
_ALIKE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One property of all parts of a box.

    Attributes:
        values: best estimates, of those that were not measured the middle, (n,).
        deviations: their standard deviations about the truth, (n,).
        middle: of the make.
        scatter: standard deviation between parts, that of the gauge taken out (posterior mean).
    """

    values: NDArray[np.float64]
    deviations: NDArray[np.float64]
    middle: float
    scatter: float


def drawn_in(readings: Sequence[Quantity | None]) -> Drawn:
    """Return what each part of a box is likely to be, from readings of all of them.

    Args:
        readings: of one property, one for each part, None where it was not measured; one at least is.

    Returns:
        Posterior means and standard deviations of the normal hierarchical model: parts scatter normally about
        a middle, readings about the parts with their own uncertainties, nothing known before of the middle
        nor of the scatter between parts (A. Gelman et al., Bayesian Data Analysis, 3rd ed. (2014), section
        5.4, equations 5.17, 5.20 and 5.21). The scatter is summed over a grid up to ten times what was seen.
        Fewer than three readings show no scatter of their own: then they stay as they are.
    """
    known = np.array([index for index, each in enumerate(readings) if each is not None])
    given = [each for each in readings if each is not None]
    centre = float(np.mean([each.value for each in given]))
    # About their mean, so that squares of large numbers do not drown small differences.
    y = np.array([each.value - centre for each in given])
    s = np.array([each.uncertainty for each in given])
    seen = float(np.std(y, ddof=1)) if len(y) > 1 else 0.0
    values = np.full(len(readings), centre)
    deviations = np.full(len(readings), max(seen, float(np.max(s))))
    if len(y) < 3 or seen <= _ALIKE * abs(centre):
        values[known], deviations[known] = y + centre, s
        return Drawn(values=values, deviations=deviations, middle=centre, scatter=seen)
    # A gauge without error would make the likelihood endless where the parts do not scatter.
    s = np.maximum(s, 1e-3 * seen)
    tau = (np.arange(_STEPS) + 0.5) / _STEPS * _REACH * max(seen, float(np.median(s)))
    spread = tau[:, None] ** 2 + s**2
    precision = (1.0 / spread).sum(axis=1)
    middle = (y / spread).sum(axis=1) / precision
    log = -0.5 * (np.log(precision) + np.log(spread).sum(axis=1))
    log -= 0.5 * ((y - middle[:, None]) ** 2 / spread).sum(axis=1)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    kept = tau[:, None] ** 2 / spread
    mean = kept * y + (1.0 - kept) * middle[:, None]
    variance = kept * s**2 + (1.0 - kept) ** 2 / precision[:, None]
    best = weight @ mean
    whole = float(weight @ middle)
    values[:] = centre + whole
    deviations[:] = np.sqrt(weight @ (tau**2 + 1.0 / precision + (middle - whole) ** 2))
    values[known] = centre + best
    deviations[known] = np.sqrt(weight @ (variance + (mean - best) ** 2))
    return Drawn(values=values, deviations=deviations, middle=centre + whole, scatter=float(weight @ tau))
