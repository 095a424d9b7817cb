"""When to stop: good enough, worth another round, or a body that will not come good."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from rollwright.judge.verdict import CONFIDENCE, conformity
from rollwright.setup.advice import GATES, Advice
from rollwright.setup.predict import GATE_QUANTITIES

__all__ = ["Stop", "Stopping", "stopping"]

_HOPELESS = 0.05
_UNLIKELY = 0.20
"""Chance of a round below which the bench is named that has to become better, not the car."""


class Stop(Enum):
    """Whether to go on."""

    GOOD_ENOUGH = "good enough"
    GO_ON = "go on"
    WILL_NOT_COME_GOOD = "will not come good"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopping:
    """What the stop rule says.

    Attributes:
        stop: whether to go on.
        reason: why, in one sentence.
        chance: that all three gate quantities are inside: now where it is good enough, else after the next
            round.
        rounds: how many rounds like the next one it takes on average, 0 where none is needed; infinite where
            no number is enough.
    """

    stop: Stop
    reason: str
    chance: float
    rounds: float


def stopping(advice: Advice, *, passed: bool) -> Stopping:
    """Return whether another round is worth it.

    Args:
        advice: where the car is and what the next round is expected to bring.
        passed: whether every gate quantity was passed by a reading that holds or is predicted to hold.

    Returns:
        Good enough where all are passed: a further move can only disturb what is inside. Go on while one must
        be read: a body is not given up on what the model expects. Will not come good where a target cannot be
        met by any move that is allowed, where no move of this hand brings it nearer, or where even aimed at
        the middle of every tolerance the three lie inside with a chance p of at most 5 %, `p = product of
        2 Phi(T / s) - 1`, T the tolerance and s the standard deviation that gauge and hand leave. Otherwise
        go on; a round that may be repeated succeeds after 1/p rounds on average (geometric distribution,
        rounds taken as independent).
    """
    if passed:
        sure = math.prod(verdict.probability for verdict in advice.verdicts.values())
        reason = "Level, steer and centre are all inside; another move can only disturb them."
        return Stopping(stop=Stop.GOOD_ENOUGH, reason=reason, chance=sure, rounds=0.0)
    unread = [gate for gate in GATES if not advice.read[gate]]
    if unread:
        reason = f"{' and '.join(unread).capitalize()} must be read before more can be said."
        chance = advice.plan.outcome.joint
        return Stopping(stop=Stop.GO_ON, reason=reason, chance=chance, rounds=_rounds(chance))
    if advice.missed:
        first = next(each for each in advice.plan.cannot if each.gate in advice.missed)
        reason = f"{first.gate.capitalize()} cannot be met: {first.reason}. To change that: {first.change}."
        chance = advice.plan.outcome.joint
        return Stopping(stop=Stop.WILL_NOT_COME_GOOD, reason=reason, chance=chance, rounds=math.inf)
    return _going_on(advice)


def _going_on(advice: Advice) -> Stopping:
    """Return what the spreads say where all is read and nothing stands in the way."""
    held = _held(advice)
    best = math.prod(held.values())
    weakest = min(held, key=lambda gate: held[gate])
    if best <= _HOPELESS:
        reason = f"Even aimed at the middle, a round hardly ever brings all in: {weakest} is the worst."
        return Stopping(stop=Stop.WILL_NOT_COME_GOOD, reason=reason, chance=best, rounds=_rounds(best))
    if best < _UNLIKELY:
        reason = (
            f"Few rounds will do it: {weakest} is wider open than its tolerance. A finer gauge or a steadier "
            "hand helps more than another round."
        )
        return Stopping(stop=Stop.GO_ON, reason=reason, chance=best, rounds=_rounds(best))
    if not _complete(advice) and not advice.plan.moves:
        # What the hand leaves stands in no spread, because no move is made.
        reason = "No move lands closer than the car stands: a steadier hand has to come first."
        chance = advice.plan.outcome.joint
        return Stopping(stop=Stop.WILL_NOT_COME_GOOD, reason=reason, chance=chance, rounds=math.inf)
    if not _complete(advice):
        # Wood waits until level and steer are in, so that this round is not meant to bring everything.
        reason = "This round brings only a part in; the rest comes after the next readings."
        chance = advice.plan.outcome.joint
        return Stopping(stop=Stop.GO_ON, reason=reason, chance=chance, rounds=1.0 + _rounds(best))
    chance = advice.plan.outcome.joint
    if chance >= CONFIDENCE:
        reason = "One more round should do it."
    else:
        reason = f"It takes about {_rounds(chance):.0f} such rounds." if chance < 0.6 else "It is worth it."
    return Stopping(stop=Stop.GO_ON, reason=reason, chance=chance, rounds=_rounds(chance))


def _rounds(chance: float) -> float:
    return math.inf if chance <= 0.0 else 1.0 / chance


def _held(advice: Advice) -> dict[str, float]:
    """Return the chance that each gate quantity lies inside after a round that aims at the middle of it."""
    found = {}
    spread = advice.plan.outcome.deviations
    for index, (gate, name) in enumerate(zip(GATES, GATE_QUANTITIES, strict=True)):
        tolerance = getattr(advice.car.targets, name).tolerance
        found[gate] = conformity(value=0.0, uncertainty=float(spread[index]), low=-tolerance, high=tolerance)
    return found


def _complete(advice: Advice) -> bool:
    """Return whether the round means to bring every gate quantity to its target."""
    for index, name in enumerate(GATE_QUANTITIES):
        target = getattr(advice.car.targets, name)
        off = abs(float(advice.plan.outcome.means[index]) - target.value)
        if off > max(target.tolerance, 2.0 * float(advice.plan.outcome.deviations[index])):
            return False
    return True
