"""A stop rule that may be asked after every heat: intervals that hold at all looks at once."""

from __future__ import annotations

import math

__all__ = ["PRIOR", "always_valid_half_width"]

PRIOR = 4.0
"""How the rule is tuned, before any time is taken: it is sharpest for a difference of about half the noise
of one run. Any fixed number keeps the error rate; it only moves where the intervals are narrowest."""


def always_valid_half_width(
    *, error: float, freedom: float, unscaled: float, risk: float, prior: float = PRIOR
) -> float:
    """Return the half width of an interval that one may look at after every run.

    The probability that it ever misses the true difference, at any of all looks, is at most the risk.
    Differences are mixed over a normal distribution of variance `noise**2 / prior`, and the mean and the
    noise are left free, so that the ratio of likelihoods is a martingale if there is no such difference
    (Ville's inequality). With `r = prior / (prior + 1 / unscaled)`, `n = freedom` and
    `k = (risk sqrt(r))**(-2 / (n + 1))` the half width is `error sqrt(n (k - 1) / (1 - k r))`.

    Args:
        error: standard error of the difference [s].
        freedom: its degrees of freedom.
        unscaled: `error**2 / noise**2`.
        risk: probability of ever being wrong.
        prior: see `PRIOR`.

    Returns:
        The half width [s]; infinite while there are too few runs to say anything.

    References:
        H. Robbins, Ann. Math. Statist. 41 (1970) 1397; T. L. Lai, Ann. Statist. 4 (1976) 265 (noise unknown);
        M. Lindon, D. Ham, M. Tingley, I. Bojinov, Anytime-valid linear models, arXiv 2210.08589 (2022).
    """
    if freedom < 1.0 or not unscaled > 0.0:
        return math.inf
    ratio = prior / (prior + 1.0 / unscaled)
    log_k = -2.0 / (freedom + 1.0) * math.log(risk * math.sqrt(ratio))
    # For very many runs k is so near to one that only its logarithm keeps its figures.
    over, under = math.expm1(log_k), 1.0 - math.exp(log_k) * ratio
    return error * math.sqrt(freedom * over / under) if under > 0.0 else math.inf
