"""What a log teaches about a hand: by how much its moves land past what was asked, or short of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from rollwright.setup.hand import Factor, Hand

__all__ = ["HABIT", "Achieved", "learnt"]

HABIT = 0.15
"""Standard deviation of the factor from hand to hand before anything is known of one.

Common practice, no source: a hand that is off by a sixth is nothing odd, one that is off by a half is.
"""

_SLIP = 3.0
"""A move that achieves more than this many times what was asked, or less than its inverse, is a slip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Achieved:
    """What one move achieved.

    Attributes:
        entry: its number in the log.
        kind: of move, by its name in `Hand`.
        asked: what was asked [rad or m], signed.
        done: what it achieved, as measured or as later readings show it [rad or m].
        uncertainty: standard uncertainty of that [rad or m].
    """

    entry: int
    kind: str
    asked: float
    done: float
    uncertainty: float


def learnt(hand: Hand, moves: Sequence[Achieved]) -> Hand:
    """Return a hand with the factors that its moves show.

    Args:
        hand: its scatter.
        moves: what was asked and what was achieved.

    Returns:
        The same hand with a factor f for each kind of move of which something was achieved. With
        `done = f asked + e`, e of variance `v = s^2 + u^2` from the hand's scatter and the reading, and
        f about 1 with the standard deviation `HABIT` beforehand, the posterior mean is
        `f = (1 / HABIT^2 + sum asked done / v) / (1 / HABIT^2 + sum asked^2 / v)`: few or small moves leave
        it near 1 (shrinkage; normal linear model with a normal prior). Moves that went the other way or
        achieved more than three times what was asked or less than a third are slips, not habits, and are
        left out.
    """
    factors = {}
    for kind in sorted({move.kind for move in moves}):
        weight, sum_, count = HABIT**-2, HABIT**-2, 0
        for move in moves:
            if move.kind != kind or move.asked == 0.0:
                continue
            if not 1.0 / _SLIP <= move.done / move.asked <= _SLIP:
                continue
            variance = float(getattr(hand, kind)) ** 2 + move.uncertainty**2
            weight += move.asked**2 / variance
            sum_ += move.asked * move.done / variance
            count += 1
        if count:
            factors[kind] = Factor(value=sum_ / weight, uncertainty=weight**-0.5, moves=count)
    return replace(hand, factors=MappingProxyType(factors))
