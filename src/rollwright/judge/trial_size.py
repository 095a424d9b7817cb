"""How many runs it takes to see a difference that matters."""

from __future__ import annotations

import math

from rollwright.errors import OutOfRange

__all__ = ["exact_runs", "runs_needed"]

_MOST = 1e7


def exact_runs(
    *,
    difference: float,
    noise: float,
    false_alarm: float,
    missed: float,
    sides: int = 2,
    groups: int = 2,
    freedom_share: float = 1.0,
) -> float:
    """Return the number of runs of each car for a difference to be found, not rounded.

    Args:
        difference: the true difference that is not to be missed [s], positive.
        noise: standard deviation of one run [s].
        false_alarm: probability of finding a difference where there is none.
        missed: probability of not finding this one.
        sides: 2 asks whether they differ, 1 whether one of them is faster.
        groups: 2 compares two cars, 1 a car with a fixed time.
        freedom_share: share of the degrees of freedom that lanes and heats leave.

    Returns:
        The real number at which the t test has the power, from the noncentral t distribution (J. Cohen,
        Statistical Power Analysis for the Behavioral Sciences, 2nd ed. (1988), 12.2); at least 2.

    Raises:
        OutOfRange: the difference or the noise is not positive, or it takes more than ten million.
    """
    if not 0.0 < difference < math.inf:
        raise OutOfRange(
            f"a difference of {1e3 * difference:g} ms cannot be looked for",
            mend='give a positive one, as in "1 ms"',
            key="matters",
        )
    if not 0.0 <= noise < math.inf:
        raise OutOfRange(
            f"{1e3 * noise:g} ms is no noise", mend='give a positive one, as in "2 ms"', key="noise"
        )
    from scipy.optimize import brentq  # noqa: PLC0415 - slow to load
    from scipy.special import nctdtr, ndtr, ndtri, stdtrit  # noqa: PLC0415

    if noise == 0.0:
        return 2.0

    def short(log_runs: float) -> float:
        """Return by how much the power falls short."""
        runs = math.exp(log_runs)
        freedom = max(1.0, freedom_share * groups * (runs - 1.0))
        reach = difference / noise * math.sqrt(runs / groups)
        if freedom > 1e5:
            limit = -float(ndtri(false_alarm / sides))
            return float(ndtr(limit - reach)) - missed
        limit = -float(stdtrit(freedom, false_alarm / sides))
        # Far out the noncentral t is no longer computed; nothing is missed there.
        if reach - limit > 12.0:
            return -missed
        # By the mirror: straight at the far tail it is not computed either.
        other = 1.0 - float(nctdtr(freedom, -reach, limit)) if sides == 2 else 0.0
        return float(nctdtr(freedom, reach, limit)) - other - missed

    low, high = math.log(2.0), math.log(_MOST)
    if short(low) <= 0.0:
        return 2.0
    if short(high) > 0.0:
        raise OutOfRange(
            f"a difference of {1e3 * difference:g} ms drowns in a noise of {1e3 * noise:g} ms",
            mend="look for a larger difference",
            key="matters",
        )
    return math.exp(float(brentq(short, low, high, xtol=1e-11)))


def runs_needed(
    *,
    difference: float,
    noise: float,
    risk: float,
    freedom_share: float = 1.0,
) -> int:
    """Return how many runs each of two cars needs for a difference to be found.

    Args:
        difference: the true difference that is not to be missed [s], positive.
        noise: standard deviation of one run [s].
        risk: probability of a false alarm, and as large a one of a miss.
        freedom_share: share of the degrees of freedom that lanes and heats leave.

    Returns:
        The whole number of runs.

    Raises:
        OutOfRange: the difference or the noise is not positive, or it takes more than ten million.
    """
    found = exact_runs(
        difference=difference, noise=noise, false_alarm=risk, missed=risk, freedom_share=freedom_share
    )
    return math.ceil(found - 1e-9)
