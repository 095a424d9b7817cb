"""What changed between two set-ups of a jig: bias and scatter of one hole, each with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rollwright.errors import OutOfRange
from rollwright.judge.batch_capability import Ranged
from rollwright.judge.batch_counts import CONFIDENCE, Share
from rollwright.judge.batch_data import Off
from rollwright.judge.batch_fit import Fit

__all__ = ["Changed", "Welch", "changed", "difference_of_shares", "scatter_ratio", "welch"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Welch:
    """A difference of two means: `difference`, statistic `t`, its `degrees` of freedom, ends, `chance`."""

    difference: float
    t: float
    degrees: float
    low: float
    high: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """How one hole changed from the second set-up to the first.

    Attributes:
        bias: difference of the biases, the first's less the second's [rad or m].
        scatter: ratio of the scatters, the first's over the second's.
        bias_changed: whether the interval of the difference leaves out zero.
        scatter_changed: whether that of the ratio leaves out one.
        levene: chance of as different scatters where they are alike (the median form); None where not all
            readings are numbers.
    """

    bias: Ranged
    scatter: Ranged
    bias_changed: bool
    scatter_changed: bool
    levene: float | None


def welch(
    *,
    means: tuple[float, float],
    errors: tuple[float, float],
    counts: tuple[int, int],
    confidence: float = CONFIDENCE,
) -> Welch:
    """Return the difference of two means whose scatters need not be alike.

    Args:
        means: the two means.
        errors: their standard errors, not both zero.
        counts: values in each, two or more.
        confidence: of the interval.

    Returns:
        The first less the second, by Welch's t with Satterthwaite's degrees of freedom (B. L. Welch,
        Biometrika 34 (1947) 28-35).

    Raises:
        OutOfRange: there are fewer than two values, or nothing scatters.
    """
    from scipy.special import stdtr, stdtrit  # noqa: PLC0415 - costs start-up time

    size = math.hypot(*errors)
    if min(counts) < 2 or not 0.0 < size < math.inf:
        raise OutOfRange(
            f"two means of {counts[0]} and {counts[1]} values that are {size:g} sure have no difference",
            mend="give two values or more that scatter",
        )
    parts = [error**4 / (count - 1) for error, count in zip(errors, counts, strict=True)]
    degrees = size**4 / math.fsum(parts)
    difference = means[0] - means[1]
    half = float(stdtrit(degrees, 0.5 + 0.5 * confidence)) * size
    t = difference / size
    return Welch(
        difference=difference,
        t=t,
        degrees=degrees,
        low=difference - half,
        high=difference + half,
        chance=2.0 * float(stdtr(degrees, -abs(t))),
    )


def scatter_ratio(
    *, deviations: tuple[float, float], counts: tuple[int, int], confidence: float = CONFIDENCE
) -> Ranged:
    """Return the ratio of two standard deviations of normal values.

    Args:
        deviations: the two, the second above zero.
        counts: values in each, two or more.
        confidence: of the interval.

    Returns:
        The first over the second, its interval by Fisher's F (e.g. NIST/SEMATECH e-Handbook, 1.3.5.9).

    Raises:
        OutOfRange: there are fewer than two values, or the second does not scatter.
    """
    from scipy.special import fdtri  # noqa: PLC0415 - costs start-up time

    if min(counts) < 2 or not deviations[1] > 0.0 or not deviations[0] >= 0.0:
        raise OutOfRange("these values have no ratio of scatters", mend="give two or more that scatter")
    ratio = deviations[0] / deviations[1]
    first, second = counts[0] - 1, counts[1] - 1
    tail = 0.5 * (1.0 - confidence)
    return Ranged(
        value=ratio,
        low=ratio / math.sqrt(float(fdtri(first, second, 1.0 - tail))),
        high=ratio * math.sqrt(float(fdtri(second, first, 1.0 - tail))),
    )


def changed(
    first: tuple[Fit, Sequence[Off]], second: tuple[Fit, Sequence[Off]], *, confidence: float = CONFIDENCE
) -> Changed:
    """Return how a hole's bias and scatter changed.

    Args:
        first: fit and readings of the set-up that is looked at.
        second: those of the set-up that it is compared with.
        confidence: of the intervals, that of the fits.

    Returns:
        The difference of the biases by Welch's t, with standard errors from the half width of each fit's
        own interval. The ratio of scatters by F where all readings are numbers without error, else from
        the two intervals (MOVER on logarithms: G. Y. Zou, A. Donner, Stat. Med. 27 (2008) 1693-1702).
        Infinite ends where the readings leave it open.

    Raises:
        OutOfRange: one of the fits has fewer than two readings.
    """
    from scipy.special import stdtrit  # noqa: PLC0415 - costs start-up time

    fits = (first[0], second[0])
    errors = [
        0.5 * (each.bias_high - each.bias_low) / float(stdtrit(each.count - 1, 0.5 + 0.5 * each.confidence))
        for each in fits
    ]
    bias = Ranged(value=fits[0].bias - fits[1].bias, low=-math.inf, high=math.inf)
    if all(math.isfinite(error) for error in errors) and any(errors):
        told = welch(
            means=(fits[0].bias, fits[1].bias),
            errors=(errors[0], errors[1]),
            counts=(fits[0].count, fits[1].count),
            confidence=confidence,
        )
        bias = Ranged(value=told.difference, low=told.low, high=told.high)
    plain = all(off.measured and off.uncertainty == 0.0 for off in (*first[1], *second[1]))
    scatter = (
        scatter_ratio(
            deviations=(fits[0].scatter, fits[1].scatter),
            counts=(fits[0].count, fits[1].count),
            confidence=confidence,
        )
        if plain and fits[1].scatter > 0.0
        else _scatters(fits[0], fits[1])
    )
    return Changed(
        bias=bias,
        scatter=scatter,
        bias_changed=bias.low > 0.0 or bias.high < 0.0,
        scatter_changed=scatter.low > 1.0 or scatter.high < 1.0,
        levene=_levene(first[1], second[1]),
    )


def _scatters(first: Fit, second: Fit) -> Ranged:
    """Return the ratio of two scatters from their own intervals, logarithms taken."""
    if second.scatter == 0.0:
        return Ranged(value=math.nan, low=_over(first.scatter_low, second.scatter_high), high=math.inf)
    ratio = first.scatter / second.scatter
    if first.scatter == 0.0:
        return Ranged(value=0.0, low=0.0, high=_over(first.scatter_high, second.scatter_low))
    down = math.hypot(_log(first.scatter, first.scatter_low), _log(second.scatter_high, second.scatter))
    up = math.hypot(_log(first.scatter_high, first.scatter), _log(second.scatter, second.scatter_low))
    return Ranged(value=ratio, low=ratio * math.exp(-down), high=ratio * math.exp(up))


def _over(top: float, bottom: float) -> float:
    return math.inf if bottom == 0.0 else top / bottom


def _log(top: float, bottom: float) -> float:
    return math.inf if bottom == 0.0 or math.isinf(top) else math.log(top / bottom)


def _levene(first: Sequence[Off], second: Sequence[Off]) -> float | None:
    """Return the chance of Levene's statistic in Brown's and Forsythe's form, deviations from the median."""
    if not all(off.measured for off in (*first, *second)):
        return None
    from scipy.stats import levene  # noqa: PLC0415 - costs start-up time

    values = [[off.low for off in offs] for offs in (first, second)]
    if any(len(set(each)) < 2 for each in values):
        return None
    return float(levene(*values, center="median").pvalue)


def difference_of_shares(first: Share, second: Share) -> Ranged:
    """Return how much larger the first share is than the second.

    Args:
        first: share with its interval.
        second: the other, at the same confidence.

    Returns:
        The difference, its interval from the two (MOVER, as in `changed`).
    """
    difference = first.value - second.value
    down = math.hypot(first.value - first.low, second.high - second.value)
    up = math.hypot(first.high - first.value, second.value - second.low)
    return Ranged(value=difference, low=difference - down, high=difference + up)
