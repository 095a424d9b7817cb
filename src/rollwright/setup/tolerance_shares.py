"""Shares of bodies: intervals of a counted share, and what a tolerance takes of a normal scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rollwright.errors import OutOfRange

__all__ = [
    "CONFIDENCE",
    "Counted",
    "Interval",
    "clopper_pearson",
    "counted",
    "factor_for",
    "inside_all",
    "inside_share",
    "wilson",
]

CONFIDENCE = 0.95
"""Confidence of every interval here unless another is asked for."""

_HALVINGS = 200
_LEAST, _MOST = 1e-6, 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Where a share, or a factor, lies at the confidence asked for: from `low` to `high`."""

    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A counted share.

    Attributes:
        good: how many were good.
        of: out of how many.
        share: the one over the other.
        interval: Wilson's, at 95 %.
    """

    good: int
    of: int
    share: float
    interval: Interval


def _check(good: int, of: int, confidence: float) -> None:
    if of < 1 or not 0 <= good <= of:
        raise OutOfRange(
            f"{good} good out of {of} cannot be",
            mend="count at least one body, and no more good ones than all",
        )
    if not 0.0 < confidence < 1.0:
        raise OutOfRange(
            f"a confidence of {confidence:g} is not between 0 and 1", mend="give one such as 0.95"
        )


def wilson(good: int, of: int, *, confidence: float = CONFIDENCE) -> Interval:
    """Return Wilson's score interval of a counted share.

    Args:
        good: how many were good.
        of: out of how many.
        confidence: of the two-sided interval.

    Returns:
        The shares p at which `(good - of p)^2 = z^2 of p (1 - p)`, z the normal quantile. On average it
        covers as often as it says (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212).

    Raises:
        OutOfRange: the counts or the confidence are not possible ones.
    """
    _check(good, of, confidence)
    from scipy.special import ndtri  # noqa: PLC0415 - costs start-up time

    z = float(ndtri(0.5 + 0.5 * confidence))
    share, part = good / of, z * z / of
    middle = (share + 0.5 * part) / (1.0 + part)
    half = z * math.sqrt((share * (1.0 - share) + 0.25 * part) / of) / (1.0 + part)
    # At either end the interval reaches it exactly; rounding must not carry it beyond.
    return Interval(
        low=0.0 if good == 0 else max(0.0, middle - half),
        high=1.0 if good == of else min(1.0, middle + half),
    )


def clopper_pearson(good: int, of: int, *, confidence: float = CONFIDENCE) -> Interval:
    """Return the exact binomial interval of a counted share.

    Args:
        good: how many were good.
        of: out of how many.
        confidence: of the two-sided interval.

    Returns:
        The shares at which so many or more, and so many or fewer, would each come up with half of what the
        confidence leaves: quantiles of beta distributions. It covers at least as often as it says
        (C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413).

    Raises:
        OutOfRange: the counts or the confidence are not possible ones.
    """
    _check(good, of, confidence)
    from scipy.special import betaincinv  # noqa: PLC0415 - costs start-up time

    tail = 0.5 * (1.0 - confidence)
    return Interval(
        low=0.0 if good == 0 else float(betaincinv(good, of - good + 1, tail)),
        high=1.0 if good == of else float(betaincinv(good + 1, of - good, 1.0 - tail)),
    )


def counted(good: int, of: int) -> Counted:
    """Return a counted share with Wilson's interval at 95 %.

    Args:
        good: how many were good.
        of: out of how many.

    Returns:
        The share.

    Raises:
        OutOfRange: the counts are not possible ones.
    """
    interval = wilson(good, of)
    return Counted(good=good, of=of, share=good / of, interval=interval)


def inside_share(*, tolerance: float, deviation: float) -> float:
    """Return the share of a normal scatter about the middle of its tolerance that lies within it.

    Args:
        tolerance: greatest distance from the middle, either way [any unit].
        deviation: standard deviation [same unit].

    Returns:
        `erf(t / (sqrt(2) s))`; 1 where nothing scatters.
    """
    if deviation <= 0.0:
        return 1.0
    return math.erf(tolerance / (math.sqrt(2.0) * deviation))


def inside_all(pairs: Sequence[tuple[float, float]], *, factor: float = 1.0) -> float:
    """Return the share of bodies of which everything that scatters lies within its tolerance.

    Args:
        pairs: tolerance and standard deviation of each, in one unit.
        factor: by which all the deviations are multiplied.

    Returns:
        The product of their shares: they scatter independently.
    """
    return math.prod(
        inside_share(tolerance=tolerance, deviation=factor * deviation) for tolerance, deviation in pairs
    )


def factor_for(
    share: float, pairs: Sequence[tuple[float, float]], *, fixed: Sequence[tuple[float, float]] = ()
) -> float | None:
    """Return the factor on standard deviations at which a wanted share lies within its tolerances.

    Args:
        share: wanted share.
        pairs: tolerance and standard deviation of each that the factor multiplies.
        fixed: those that stay as they are.

    Returns:
        The factor, by halving in its logarithm: the share falls with it, from that of the fixed ones down to
        none. None where no factor does: the fixed ones alone miss it, nothing scatters, or it is 0 or 1.
    """
    rest = inside_all(fixed)
    loose = [pair for pair in pairs if pair[1] > 0.0]
    if not loose or not 0.0 < share < rest or any(tolerance <= 0.0 for tolerance, _ in loose):
        return None
    low, high = math.log(_LEAST), math.log(_MOST)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if middle in {low, high}:
            break
        if rest * inside_all(loose, factor=math.exp(middle)) > share:
            low = middle
        else:
            high = middle
    return math.exp(0.5 * (low + high))
