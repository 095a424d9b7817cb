"""Backwards: the scatter of the drill that a share of good bodies speaks of, or that one asks for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.errors import OutOfRange
from rollwright.setup.tolerance_case import PLANES, ToleranceCase
from rollwright.setup.tolerance_draws import drawn_bodies, drill_ratios, holes_alone
from rollwright.setup.tolerance_shares import (
    CONFIDENCE,
    Interval,
    clopper_pearson,
    factor_for,
    inside_all,
    wilson,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["CURVE", "Back", "Curve", "Observed", "Rays", "back", "curve", "greatest", "rays_of"]

BODIES = 4096
"""Most bodies that are followed as the scatter grows."""

CURVE = tuple(0.05 * step for step in range(61))
"""Factors on the scatter at which a curve has its points."""

_STEPS = (0.25, 0.5, 0.7, 0.85, 0.95, 1.05, 1.2, 1.5, 2.0, 3.0, 5.0)
_HALVINGS = 24
_FARTHEST = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """A share of good bodies that was seen: the `share`, and `good` and `of` where they were counted."""

    share: float
    good: int | None = None
    of: int | None = None

    @property
    def interval(self) -> Interval | None:
        """Where the true share lies with 95 % (Clopper and Pearson); None where nothing was counted."""
        if self.good is None or self.of is None:
            return None
        return clopper_pearson(self.good, self.of)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rays:
    """By which factor on the scatter each of some bodies would first be bad, in rising order.

    Attributes:
        drill: at the drill gate, holes alone, (n,).
        pairs: at the drill gate, heights of holes against each other as well, (n,).
        gates: at level, steer or centre with the drill's scatter alone, (n,); infinite where never.
    """

    drill: NDArray[np.float64]
    pairs: NDArray[np.float64]
    gates: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Back:
    """The scatter that goes with a share.

    Attributes:
        share: of good bodies.
        factor: on the present scatter, for the drill gate, by the normal distribution; None where no factor
            gives that share.
        factors: that factor at either end of the interval of a counted share, or None.
        deviations: standard deviation of cant, sweep [rad] and hole height [m] then, the greatest of the
            three holes; empty where there is no factor.
        drawn: the same factor counted on drawn bodies, and its interval from so many.
        pairs: likewise with the heights of holes against each other.
        alone: factor for each plane, were it alone tightened or loosened; None where that does not do.
        gates: factor for level, steer and centre straight off the drill, and its interval; None likewise.
    """

    share: float
    factor: float | None
    factors: Interval | None
    deviations: Mapping[str, float]
    drawn: tuple[float, Interval] | None
    pairs: tuple[float, Interval] | None
    alone: Mapping[str, float | None]
    gates: tuple[float, Interval] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Share of good bodies against the factor on the drill's scatter.

    Attributes:
        factors: the factors.
        drill: share that passes the drill gate.
        gates: share inside level, steer and centre straight off the drill.
    """

    factors: tuple[float, ...]
    drill: tuple[float, ...]
    gates: tuple[float, ...]


def rays_of(case: ToleranceCase, slopes: NDArray[np.float64], *, runs: int, seed: int) -> Rays:
    """Return by which factor on the drill's scatter each of some bodies would first be bad.

    Args:
        case: the car, its holes and gates.
        slopes: of the readings, (3, p); they say where to look.
        runs: how many bodies the analysis draws; the first 4096 of them are followed.
        seed: of the random numbers.

    Returns:
        The factors. Every body keeps its own random numbers as the scatter grows, so that the share of those
        still good falls steadily and any share has one factor.
    """
    z = drawn_bodies(case, seed=seed, chunk=0, rows=min(runs, BODIES))
    holes = [np.divide(1.0, drill_ratios(case, z, pairs=pairs)) for pairs in (False, True)]
    return Rays(drill=np.sort(holes[0]), pairs=np.sort(holes[1]), gates=np.sort(_gate_rays(case, slopes, z)))


def _gate_rays(
    case: ToleranceCase, slopes: NDArray[np.float64], z: NDArray[np.float64]
) -> NDArray[np.float64]:
    way = z * case.drill
    line = slopes @ way.T
    room = np.where(line >= 0.0, 1.0, -1.0) * case.tolerances[:, None] - (case.nominal - case.middle)[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        near = np.where(line != 0.0, room / line, np.inf).min(axis=0)
    near = np.minimum(near, _FARTHEST)

    def bad(factor: NDArray[np.float64]) -> NDArray[np.bool_]:
        off = case.off(case.possible(case.values + factor[:, None] * way))
        good: NDArray[np.bool_] = np.all(np.abs(off) <= 1.0, axis=0)
        return ~good

    low, high = np.zeros(len(z)), np.full(len(z), np.inf)
    for step in _STEPS:
        ahead = np.isinf(high)
        if not ahead.any():
            break
        out = ahead & bad(np.where(ahead, step * near, low))
        high[out] = step * near[out]
        still = ahead & ~out
        low[still] = step * near[still]
    ends = np.isfinite(high)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + np.where(ends, high, low))
        out = bad(middle)
        high = np.where(ends & out, middle, high)
        low = np.where(ends & ~out, middle, low)
    return np.where(ends, 0.5 * (low + np.where(ends, high, low)), np.inf)


def back(case: ToleranceCase, rays: Rays, observed: Observed) -> Back:
    """Return the scatter that goes with a share of good bodies.

    Args:
        case: holes, their scatter and tolerances.
        rays: from `rays_of`.
        observed: the share that was seen or is wanted.

    Returns:
        The factors. Those for the drill gate hold exactly for holes that scatter normally and independently;
        the others are counted on drawn bodies, with the interval that so many leave.

    Raises:
        OutOfRange: the share does not lie between 0 and 1.
    """
    share = observed.share
    if not 0.0 <= share <= 1.0 or (observed.of is None and share in {0.0, 1.0}):
        raise OutOfRange(f"a share of {share:g} has no scatter of its own", mend="give one between 0 and 1")
    holes = holes_alone(case, *PLANES)
    factor = factor_for(share, holes)
    return Back(
        share=share,
        factor=factor,
        factors=_factors(holes, observed.interval),
        deviations={} if factor is None else {name: factor * size for name, size in greatest(case).items()},
        drawn=_at_share(rays.drill, share),
        pairs=_at_share(rays.pairs, share),
        alone={
            plane: factor_for(
                share,
                holes_alone(case, plane),
                fixed=holes_alone(case, *(other for other in PLANES if other != plane)),
            )
            for plane in PLANES
        },
        gates=_at_share(rays.gates, share),
    )


def greatest(case: ToleranceCase) -> dict[str, float]:
    """Return the greatest standard deviation of the three holes in each plane [rad or m]."""
    return {plane: max(hole.deviation for hole in case.holes if hole.plane == plane) for plane in PLANES}


def _factors(holes: list[tuple[float, float]], interval: Interval | None) -> Interval | None:
    if interval is None:
        return None
    # More good bodies speak of less scatter: no bad one leaves room for none at all, no good one for any.
    low = 0.0 if interval.high >= 1.0 else factor_for(interval.high, holes)
    high = math.inf if interval.low <= 0.0 else factor_for(interval.low, holes)
    return None if low is None or high is None else Interval(low=low, high=high)


def _at_share(rays: NDArray[np.float64], share: float) -> tuple[float, Interval] | None:
    """Return the factor up to which a share of the bodies is good, with its interval; None where none is."""
    if not 0.0 < share < 1.0:
        return None
    count = len(rays)
    # Of n bodies in rising order, those beyond the k-th are the good ones at its factor.
    bounds = wilson(round((1.0 - share) * count), count, confidence=CONFIDENCE)
    found, low, high = (
        float(rays[min(count - 1, max(0, math.ceil(part * count) - 1))])
        for part in (1.0 - share, bounds.low, bounds.high)
    )
    return (found, Interval(low=low, high=high)) if math.isfinite(found) else None


def curve(case: ToleranceCase, rays: Rays, *, reach: float) -> Curve:
    """Return the share of good bodies against the factor on the drill's scatter.

    Args:
        case: holes, their scatter and tolerances.
        rays: from `rays_of`.
        reach: greatest factor.

    Returns:
        Sixty-one points from no scatter at all.
    """
    holes = holes_alone(case, *PLANES)
    factors = tuple(reach * factor / CURVE[-1] for factor in CURVE)
    return Curve(
        factors=factors,
        drill=tuple(inside_all(holes, factor=factor) for factor in factors),
        gates=tuple(float(np.mean(rays.gates >= factor)) for factor in factors),
    )
