"""Verdicts on a measured value against a tolerance, by JCGM 106 and ISO 14253-1."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from statistics import NormalDist

from rollwright.errors import OutOfRange

__all__ = ["CONFIDENCE", "State", "Verdict", "acceptance_limits", "conformity", "judge"]

CONFIDENCE = 0.95
"""Probability that is asked of a pass or a fail unless another is given (the default of ISO 14253-1)."""

_NORMAL = NormalDist()


class State(Enum):
    """What can be said: `pass`, `fail`, or `unclear` at this uncertainty."""

    PASS = "pass"  # noqa: S105 - a verdict, not a password
    FAIL = "fail"
    UNCLEAR = "unclear"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A judgement.

    Attributes:
        state: pass, fail or unclear.
        value: the estimate that was judged, in the unit of the limits.
        uncertainty: its standard uncertainty.
        probability: probability that the true value lies within the limits.
        low: lower tolerance limit.
        high: upper tolerance limit.
    """

    state: State
    value: float
    uncertainty: float
    probability: float
    low: float
    high: float


def conformity(*, value: float, uncertainty: float, low: float = -math.inf, high: float = math.inf) -> float:
    """Return the probability that a true value lies within its tolerance.

    Args:
        value: best estimate.
        uncertainty: its standard uncertainty, same unit, not negative.
        low: lower tolerance limit; left out, there is none.
        high: upper tolerance limit; left out, there is none.

    Returns:
        `Phi((high - y) / u) - Phi((low - y) / u)`, JCGM 106:2012, 7.3 and 7.4 (normal distribution, no
        earlier knowledge of the item); 0 or 1 when the uncertainty is zero.

    Raises:
        OutOfRange: the uncertainty is negative or not a number, the value is not finite, or the limits are
            crossed or not numbers.
    """
    if not 0.0 <= uncertainty < math.inf or not math.isfinite(value):
        raise OutOfRange(
            f"{value:g} with uncertainty {uncertainty:g} cannot be judged",
            mend="give a finite value and an uncertainty that is not negative",
        )
    if not low <= high:
        raise OutOfRange(
            f"the limits {low:g} and {high:g} are crossed or not numbers", mend="give the lower one first"
        )
    if uncertainty == 0.0:
        return 1.0 if low <= value <= high else 0.0
    # Taking both tails on the value's own side keeps small probabilities from drowning in 1 - 1.
    above, below = (high - value) / uncertainty, (low - value) / uncertainty
    if below > 0.0:
        return _tail(below) - _tail(above)
    if above < 0.0:
        return _tail(-above) - _tail(-below)
    return 1.0 - _tail(above) - _tail(-below)


def _tail(deviations: float) -> float:
    """Return the normal distribution's share beyond so many standard deviations, small ones in full."""
    return 0.5 * math.erfc(deviations / math.sqrt(2.0))


def judge(
    *,
    value: float,
    uncertainty: float,
    low: float = -math.inf,
    high: float = math.inf,
    confidence: float = CONFIDENCE,
) -> Verdict:
    """Return whether a measured value is inside its tolerance, outside it, or cannot be told.

    Args:
        value: best estimate.
        uncertainty: its standard uncertainty, same unit.
        low: lower tolerance limit.
        high: upper tolerance limit.
        confidence: probability asked of a pass, and likewise of a fail; above 0.5, below 1.

    Returns:
        Pass when the probability of conformity is at least `confidence`, fail when it is at most
        `1 - confidence`, unclear between (ISO 14253-1, decision rules for conformity and
        nonconformity; probabilities by JCGM 106:2012, 7.3 and 7.4).

    Raises:
        OutOfRange: see `conformity`; or the confidence is not between 0.5 and 1.
    """
    if not 0.5 < confidence < 1.0:
        raise OutOfRange(
            f"a confidence of {confidence:g} is not usable", mend="give one between 0.5 and 1, such as 0.95"
        )
    probability = conformity(value=value, uncertainty=uncertainty, low=low, high=high)
    if probability >= confidence:
        state = State.PASS
    elif probability <= 1.0 - confidence:
        state = State.FAIL
    else:
        state = State.UNCLEAR
    return Verdict(
        state=state, value=value, uncertainty=uncertainty, probability=probability, low=low, high=high
    )


def acceptance_limits(
    *, uncertainty: float, low: float = -math.inf, high: float = math.inf, confidence: float = CONFIDENCE
) -> tuple[float, float]:
    """Return the limits within which a measured value may lie for a pass: the tolerance less guard bands.

    Args:
        uncertainty: standard uncertainty of the measured value.
        low: lower tolerance limit.
        high: upper tolerance limit.
        confidence: probability of conformity that is asked for.

    Returns:
        Lower and upper acceptance limit, each moved inward by `z u` with `z` the one-sided normal
        quantile (1.645 at 95 %; JCGM 106:2012, 8.3.2 and Table 1; ISO 14253-1). Valid where the tolerance
        is several uncertainties wide; the limits cross where it is not, and then nothing can pass.

    Raises:
        OutOfRange: the uncertainty is negative or not finite, or the confidence not between 0 and 1.
    """
    if not 0.0 <= uncertainty < math.inf or not 0.0 < confidence < 1.0:
        raise OutOfRange(
            f"uncertainty {uncertainty:g} at confidence {confidence:g} is not usable",
            mend="give an uncertainty that is not negative and a confidence between 0 and 1",
        )
    guard = _NORMAL.inv_cdf(confidence) * uncertainty
    return low + guard, high - guard
