"""Counts of good bodies: the share with its interval, and how many more to drill."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

from rollwright.errors import OutOfRange

__all__ = [
    "CONFIDENCE",
    "MOST_DRILLED",
    "MoreNeeded",
    "Share",
    "chance_of_good",
    "clopper_pearson",
    "drill_for",
    "more_needed",
    "wilson",
]

CONFIDENCE = 0.9
"""Confidence of the intervals of a batch, and chance asked of having enough good bodies."""

MOST_DRILLED = 100_000
"""Bodies beyond which nobody is told a number: judgement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share that was counted: `good` of `drilled`, its `value`, `low` and `high` end of its interval."""

    good: int
    drilled: int
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MoreNeeded:
    """How many more bodies to drill for the good ones that are wanted.

    Attributes:
        good: good ones wanted in all.
        missing: of these, how many are still to come.
        more: bodies to drill, with what is not known of the share allowed for; None: more than anyone drills.
        as_counted: the same were the share exactly as counted; None likewise, or for a share of zero.
        at_best: were the share at the high end of its interval.
        at_worst: were it at the low end.
    """

    good: int
    missing: int
    more: int | None
    as_counted: int | None
    at_best: int | None
    at_worst: int | None


def _check(good: int, drilled: int, confidence: float) -> None:
    if not 0 <= good <= drilled or drilled < 1 or not 0.0 < confidence < 1.0:
        raise OutOfRange(
            f"{good} good of {drilled} at confidence {confidence:g} is no count",
            mend="give a count from 0 to the number drilled, one or more, and a confidence between 0 and 1",
        )


def clopper_pearson(*, good: int, drilled: int, confidence: float = CONFIDENCE) -> Share:
    """Return a share with its exact interval.

    Args:
        good: how many were good.
        drilled: of how many, one or more.
        confidence: of the interval, two-sided.

    Returns:
        Quantiles of beta distributions; it covers at least with the confidence, whatever the true share
        (C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413).

    Raises:
        OutOfRange: the counts are impossible, or the confidence is not between 0 and 1.
    """
    from scipy.special import betaincinv  # noqa: PLC0415 - costs start-up time

    _check(good, drilled, confidence)
    tail = 0.5 * (1.0 - confidence)
    low = 0.0 if good == 0 else float(betaincinv(good, drilled - good + 1, tail))
    high = 1.0 if good == drilled else float(betaincinv(good + 1, drilled - good, 1.0 - tail))
    return Share(good=good, drilled=drilled, value=good / drilled, low=low, high=high)


def wilson(*, good: int, drilled: int, confidence: float = CONFIDENCE) -> Share:
    """Return a share with its score interval, which covers with the confidence on average over shares.

    Args:
        good: how many were good.
        drilled: of how many, one or more.
        confidence: of the interval, two-sided.

    Returns:
        The shares that the normal approximation at that share itself does not reject (E. B. Wilson, J. Am.
        Stat. Assoc. 22 (1927) 209-212).

    Raises:
        OutOfRange: the counts are impossible, or the confidence is not between 0 and 1.
    """
    _check(good, drilled, confidence)
    z = NormalDist().inv_cdf(0.5 + 0.5 * confidence)
    share = good / drilled
    middle = (share + z * z / (2 * drilled)) / (1.0 + z * z / drilled)
    half = z * (share * (1.0 - share) / drilled + (z / (2 * drilled)) ** 2) ** 0.5 / (1.0 + z * z / drilled)
    # At an end of the range the formula is exact and only its rounding is not.
    low = 0.0 if good == 0 else max(0.0, middle - half)
    high = 1.0 if good == drilled else min(1.0, middle + half)
    return Share(good=good, drilled=drilled, value=share, low=low, high=high)


def chance_of_good(*, good: int, drilled: int, share: float) -> float:
    """Return the chance of having at least so many good bodies among those drilled.

    Args:
        good: good bodies wanted, 1 or more.
        drilled: bodies drilled.
        share: true share of good ones.

    Returns:
        The negative binomial distribution: the wanted good one comes no later than the last drilled.

    Raises:
        OutOfRange: fewer than one is wanted, the count is negative, or the share is not from 0 to 1.
    """
    from scipy.special import betainc  # noqa: PLC0415 - costs start-up time

    if good < 1 or drilled < 0 or not 0.0 <= share <= 1.0:
        raise OutOfRange(
            f"{good} good of {drilled} at a share of {share:g} is no question",
            mend="ask for one or more good bodies, with a share from 0 to 1",
        )
    return 0.0 if drilled < good else float(betainc(good, drilled - good + 1, share))


def drill_for(*, good: int, share: float, chance: float = CONFIDENCE) -> int | None:
    """Return how many bodies to drill so that enough are good.

    Args:
        good: good bodies wanted.
        share: true share of good ones.
        chance: how sure it must be, between 0 and 1.

    Returns:
        The least number that has them with that chance; 0 where none is wanted; None where it is more than
        `MOST_DRILLED`.

    Raises:
        OutOfRange: the share is not from 0 to 1, or the count is negative.
    """
    if good == 0:
        return 0
    return _least(good, chance, lambda drilled: chance_of_good(good=good, drilled=drilled, share=share))


def _least(good: int, chance: float, of: Callable[[int], float]) -> int | None:
    low, high = good - 1, good
    while of(high) < chance:
        low, high = high, 2 * high
        if high > 2 * MOST_DRILLED:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if of(middle) < chance else (low, middle)
    return high if high <= MOST_DRILLED else None


def more_needed(*, wanted: int, counted: Share, chance: float = CONFIDENCE) -> MoreNeeded:
    """Return how many more bodies to drill, those that are good already counted.

    Args:
        wanted: good bodies wanted in all.
        counted: the share so far.
        chance: how sure it must be, between 0 and 1.

    Returns:
        The number at the share as counted and at both ends of its interval by the negative binomial
        distribution; and, averaged over what the count leaves open of the share (a beta distribution
        with Jeffreys' prior, half a body of each kind added), by the beta-binomial one, which is what
        is advised.

    Raises:
        OutOfRange: the number wanted is negative.
    """
    if wanted < 0:
        raise OutOfRange(f"{wanted} good bodies cannot be wanted", mend="ask for one or more")
    missing = max(0, wanted - counted.good)

    def at(share: float) -> int | None:
        return drill_for(good=missing, share=share, chance=chance)

    return MoreNeeded(
        good=wanted,
        missing=missing,
        more=0
        if missing == 0
        else _least(missing, chance, lambda drilled: _predicted(missing, drilled, counted)),
        as_counted=at(counted.value),
        at_best=at(counted.high),
        at_worst=at(counted.low),
    )


def _predicted(good: int, drilled: int, counted: Share) -> float:
    """Return the beta-binomial chance of enough good ones: one less the sum over too few of them."""
    import numpy as np  # noqa: PLC0415 - costs start-up time
    from scipy.special import betaln  # noqa: PLC0415 - costs start-up time

    if drilled < good:
        return 0.0
    a, b = counted.good + 0.5, counted.drilled - counted.good + 0.5
    few = np.arange(good)
    ways = -np.log(drilled + 1.0) - betaln(drilled - few + 1.0, few + 1.0)
    return float(1.0 - np.exp(ways + betaln(few + a, drilled - few + b) - betaln(a, b)).sum())
