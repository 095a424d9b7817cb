"""What later readings show that a move achieved, beside what was asked of the hand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.events import Adjustment, Bend, Sand, Shim, Turn, Washer
from rollwright.setup.hand import Hand
from rollwright.setup.learnt import Achieved

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rollwright.setup.mode import Prior

__all__ = ["Asked", "achieved_by", "asked_in", "measured_in"]

_KIND: dict[type[Adjustment], tuple[str, str, float]] = {
    Bend: ("bend", "bend", 1.0),
    Turn: ("turn", "clock", 1.0),
    Sand: ("relief", "relief", 1.0),
    Washer: ("washer", "washer", 1.0),
    # A shim lowers the hole that it is put into.
    Shim: ("shim", "hole height", -1.0),
}
"""Of each move its name in a hand, the dimension that it changes, and which way."""

_LEARNT_FROM = 0.9
"""Share of the variance beforehand above which readings have told nothing of a move."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A move whose outcome nobody measured.

    Attributes:
        entry: its number in the log.
        kind: its name in a hand.
        asked: what was asked [rad or m].
        expected: what it was taken to achieve [rad or m].
        size: standard uncertainty of that [rad or m], signed as the dimension goes.
        column: the column of the prior's root that holds its error.
    """

    entry: int
    kind: str
    asked: float
    expected: float
    size: float
    column: int


def measured_in(entry: int, event: Adjustment, *, hand: Hand) -> Achieved | None:
    """Return what a move achieved that was asked and measured afterwards; None where either is not said."""
    if event.asked is None or event.done is None:
        return None
    kind, _, _ = _KIND[type(event)]
    usual = float(getattr(hand, kind)) / 2.0
    return Achieved(
        entry=entry,
        kind=kind,
        asked=event.asked,
        done=event.done,
        uncertainty=usual if event.uncertainty is None else event.uncertainty,
    )


def asked_in(entry: int, event: Adjustment, *, hand: Hand, prior: Prior, new: int) -> Asked | None:
    """Return a move that was asked for and not measured, with where its error stands.

    Args:
        entry: its number in the log.
        event: the move.
        hand: what it was expected of.
        prior: what is known of the car after it.
        new: number of columns of the root before it.

    Returns:
        The move; None where it was measured, nobody knows its amount, or it left no error.
    """
    if event.asked is None or event.done is not None:
        return None
    kind, dimension, way = _KIND[type(event)]
    for column in range(new, prior.root.shape[1]):
        # A second error of the same name has its number behind; `bend at` is no `bend`.
        if prior.sources[column].rpartition(", ")[2].partition(" (")[0] == dimension:
            expected = event.asked * hand.factor(kind).value
            size = way * hand.spread(kind, event.asked)
            return Asked(
                entry=entry, kind=kind, asked=event.asked, expected=expected, size=size, column=column
            )
    return None


def achieved_by(
    moves: list[Asked], *, errors: NDArray[np.float64], root: NDArray[np.float64]
) -> list[Achieved]:
    """Return what readings showed that moves achieved.

    Args:
        moves: the moves.
        errors: the independent errors behind the dimensions, of unit variance before the readings, as they
            are most likely with them, (q,).
        root: root of their covariance with the readings, (q, q).

    Returns:
        For each move of which the readings told something, what it achieved by the readings alone: what was
        known of its error beforehand is divided out (product of normal densities).
    """
    found = []
    for move in moves:
        left = float(root[move.column] @ root[move.column])
        if not 0.0 < left < _LEARNT_FROM:
            continue
        error = float(errors[move.column]) / (1.0 - left)
        found.append(
            Achieved(
                entry=move.entry,
                kind=move.kind,
                asked=move.asked,
                done=move.expected + move.size * error,
                uncertainty=abs(move.size) * math.sqrt(left / (1.0 - left)),
            )
        )
    return found
