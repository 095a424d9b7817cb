"""How well a jig's holes fit their tolerance: Cp, Cpk, and the share inside, each with its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.errors import OutOfRange
from rollwright.judge.batch_fit import Fit, range_over

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

__all__ = ["Capability", "Ranged", "capability", "ratios"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranged:
    """A number with the `low` and `high` end of its interval; infinite or NaN where nothing bounds it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """How one direction of one hole fits its tolerance.

    Attributes:
        tolerance: how far it may be off, either way [rad or m].
        cp: tolerance over three times the scatter.
        cpk: the same less the bias: distance from the bias to the nearer limit over three times the scatter.
        inside: share of bodies that lie inside.
        centred: share that would, were the bias taken away.
    """

    tolerance: float
    cp: Ranged
    cpk: Ranged
    inside: Ranged
    centred: Ranged


def ratios(*, mean: float, deviation: float, low: float, high: float) -> tuple[float, float]:
    """Return Cp and Cpk.

    Args:
        mean: of what is made.
        deviation: its standard deviation, not negative.
        low: lower tolerance limit.
        high: upper tolerance limit.

    Returns:
        `(high - low) / (6 s)` and `min(high - mean, mean - low) / (3 s)` (NIST/SEMATECH e-Handbook of
        Statistical Methods, 6.1.6); infinite where nothing scatters.

    Raises:
        OutOfRange: the deviation is negative or the limits are crossed.
    """
    if not deviation >= 0.0 or not low < high:
        raise OutOfRange(
            f"deviation {deviation:g} between {low:g} and {high:g} has no capability",
            mend="give a deviation that is not negative and the lower limit first",
        )
    near = min(high - mean, mean - low)
    if deviation == 0.0:
        return math.inf, math.copysign(math.inf, near) if near else 0.0
    return (high - low) / (6.0 * deviation), near / (3.0 * deviation)


def capability(found: Fit, *, tolerance: float) -> Capability:
    """Return how well a hole's bias and scatter fit its tolerance.

    Args:
        found: bias and scatter.
        tolerance: how far the hole may be off, either way [rad or m], above zero.

    Returns:
        Cp from the scatter's interval; Cpk and the share inside by the profile likelihood of both. The
        shares are those of holes as they are, the gauge's error taken off.

    Raises:
        OutOfRange: the tolerance is not above zero.
    """
    import numpy as np  # noqa: PLC0415 - costs start-up time
    from scipy.special import ndtr  # noqa: PLC0415 - costs start-up time

    def share(mu: Array, sigma: Array) -> Array:
        return np.asarray(ndtr((tolerance - mu) / sigma) - ndtr((-tolerance - mu) / sigma))

    def ratio(mu: Array, sigma: Array) -> Array:
        return np.asarray((tolerance - np.abs(mu)) / (3.0 * sigma))

    if not tolerance > 0.0:
        raise OutOfRange(f"a tolerance of {tolerance:g} has no capability", mend="give one above zero")
    cp, cpk = ratios(mean=found.bias, deviation=found.scatter, low=-tolerance, high=tolerance)
    least = max(found.scatter, 1e-12 * tolerance)
    inside = float(share(np.array([found.bias]), np.array([least]))[0])
    open_side = math.isnan(found.bias)
    unknown = (math.nan, math.nan)
    cpk_ends = unknown if open_side else range_over(found, ratio)
    inside_ends = unknown if open_side else range_over(found, share)
    smallest = found.scatter_low == 0.0
    return Capability(
        tolerance=tolerance,
        cp=Ranged(
            value=cp,
            low=tolerance / (3.0 * found.scatter_high) if found.scatter_high else math.inf,
            high=math.inf if smallest else tolerance / (3.0 * found.scatter_low),
        ),
        cpk=Ranged(value=cpk, low=cpk_ends[0], high=math.inf if smallest else cpk_ends[1]),
        inside=Ranged(value=inside, low=inside_ends[0], high=inside_ends[1]),
        centred=Ranged(
            value=math.erf(tolerance / (least * math.sqrt(2.0))),
            low=_inside(tolerance, found.scatter_high),
            high=_inside(tolerance, found.scatter_low),
        ),
    )


def _inside(tolerance: float, scatter: float) -> float:
    return 1.0 if scatter == 0.0 else math.erf(tolerance / (scatter * math.sqrt(2.0)))
