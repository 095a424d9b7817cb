"""How far a drilled car can still be moved, by bending, turning and trim."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.setup.plan_parts import Adjustment
from rollwright.setup.plan_solve import CUT, DOWN, DRIFT, FORWARD, HEIGHT, RAIL, TRIM, Blank, Tie

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Limits", "Reach", "reach_of", "turning"]

_NEAR = 1e-7
"""How near a goal is near enough for the end of a reach [m]."""

_SHRINK = 0.85
_SHRINKS = 12
_PROBE = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How far things may be moved.

    Attributes:
        least_down: how far the shank is carried down at least [rad].
        most_bend: the most that it may be out of square [rad].
        inward: the least trim [m], negative: wood removed.
        outward: the most trim [m]: washers.
    """

    least_down: float
    most_bend: float
    inward: float
    outward: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How far each of n drilled cars can be moved [m], as in `Adjustment`, each (n,)."""

    left: NDArray[np.float64]
    right: NDArray[np.float64]
    height_up: NDArray[np.float64]
    height_down: NDArray[np.float64]
    inward: NDArray[np.float64]
    outward: NDArray[np.float64]

    def at(self, row: int) -> Adjustment:
        """Return one car's adjustment."""
        return Adjustment(
            drift_left=float(self.left[row]),
            drift_right=float(self.right[row]),
            height_up=float(self.height_up[row]),
            height_down=float(self.height_down[row]),
            inward=float(self.inward[row]),
            outward=float(self.outward[row]),
        )


def reach_of(blank: Blank, x: NDArray[np.float64], limits: Limits) -> Reach:
    """Return how far cars drilled for their settings can still be moved.

    Args:
        blank: the body.
        x: settings, (n, 6); the holes stay as they are in them.
        limits: how far bend and trim may go.

    Returns:
        The reach: of the height difference with drift and rail offset held, by bending between the least and
        the most; of the drift with height difference and rail offset held, by bending to the most and turning
        either way. Where relief or washers come to an end first, up to there.
    """
    n = len(x)
    inward, outward = x[:, TRIM] - limits.inward, limits.outward - np.maximum(x[:, TRIM], 0.0)
    slack = {"inward": np.maximum(inward, 0.0), "outward": np.maximum(outward, 0.0)}
    zero = np.zeros(n)
    if not blank.bent or n == 0:
        return Reach(left=zero, right=zero, height_up=zero, height_down=zero, **slack)
    x = x.copy()
    x[:, CUT] = np.maximum(-x[:, TRIM], 0.0)
    now = blank.figures_of(x)
    most = np.maximum(limits.most_bend, np.hypot(x[:, DOWN], x[:, FORWARD]))
    low = x.copy()
    low[:, DOWN] = np.minimum(limits.least_down, x[:, DOWN])
    both = np.concatenate((x, low))
    held = {DRIFT: np.tile(now[:, DRIFT], 2), RAIL: np.tile(now[:, RAIL], 2)}
    tie = Tie(np.concatenate((most, np.full(n, np.nan))))
    found, good = blank.solve(both, free=[FORWARD, TRIM], goals=held, tie=tie, settled=_NEAR)
    ends = _within(blank, np.tile(x, (2, 1)), held, limits, found, good)
    heights = ends[:, HEIGHT].reshape(2, n) - now[:, HEIGHT]
    sides = _steered(blank, np.tile(x, (2, 1)), np.tile(now, (2, 1)), limits, np.tile(most, 2)).reshape(2, n)
    sides -= now[:, DRIFT]
    return Reach(
        left=np.maximum(sides.max(axis=0), 0.0),
        right=np.maximum(-sides.min(axis=0), 0.0),
        height_up=np.maximum(heights.max(axis=0), 0.0),
        height_down=np.maximum(-heights.min(axis=0), 0.0),
        **slack,
    )


def _steered(
    blank: Blank,
    x: NDArray[np.float64],
    now: NDArray[np.float64],
    limits: Limits,
    most: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the drift of cars whose pins are bent the most, the first half turned backward, (n,)."""
    way = np.repeat([-1.0, 1.0], len(x) // 2)
    held = {HEIGHT: now[:, HEIGHT], RAIL: now[:, RAIL]}
    out = now[:, DRIFT].copy()
    todo, size = np.arange(len(x)), most.copy()
    for _ in range(_SHRINKS):
        part = {column: goal[todo] for column, goal in held.items()}
        tie = Tie(size[todo], way[todo])
        found, good = blank.solve(x[todo], free=[DOWN, TRIM], goals=part, tie=tie, settled=_NEAR)
        drift = _within(blank, x[todo], part, limits, found, good)[:, DRIFT]
        seen = np.isfinite(drift)
        out[todo[seen]] = drift[seen]
        todo = todo[~seen]
        if len(todo) == 0:
            break
        # The car turns too sharply for the board to show it: with a little less bend it may not.
        size[todo] = np.maximum(size[todo] * _SHRINK, np.hypot(x[todo, DOWN], x[todo, FORWARD]))
    return out


def _within(
    blank: Blank,
    x: NDArray[np.float64],
    held: dict[int, NDArray[np.float64]],
    limits: Limits,
    end: NDArray[np.float64],
    good: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Return the figures at the ends of a reach, (n, 4), those past a limit of the trim brought back to it.

    Rows that were not found have not moved.
    """
    end = np.where(good[:, None], end, x)
    outward = limits.outward - x[:, CUT]
    bound = np.clip(end[:, TRIM], np.minimum(limits.inward, x[:, TRIM]), np.maximum(outward, x[:, TRIM]))
    past = np.flatnonzero(bound != end[:, TRIM])
    if len(past):
        share = (bound[past] - x[past, TRIM]) / (end[past, TRIM] - x[past, TRIM])
        start = x[past] + share[:, None] * (end[past] - x[past])
        start[:, TRIM] = bound[past]
        goals = {column: goal[past] for column, goal in held.items()}
        found, solved = blank.solve(start, free=[DOWN, FORWARD], goals=goals, settled=_NEAR)
        end[past] = np.where(solved[:, None], found, x[past])
    return blank.figures_of(end)


def turning(blank: Blank, x: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what turning the axle of each car changes.

    Args:
        blank: the body.
        x: settings, (n, 6).

    Returns:
        Change of the drift (positive to the left) and of the height difference (positive nose up) for each
        angle that the bend is turned from down to forward [m/rad], (n,) each; zero for a straight axle.
    """
    if not blank.bent:
        return np.zeros(len(x)), np.zeros(len(x))
    size, clock = np.hypot(x[:, DOWN], x[:, FORWARD]), np.arctan2(x[:, FORWARD], x[:, DOWN])
    turned = []
    for by in (_PROBE, -_PROBE):
        each = x.copy()
        each[:, DOWN], each[:, FORWARD] = size * np.cos(clock + by), size * np.sin(clock + by)
        turned.append(blank.figures_of(each))
    slopes = (turned[0] - turned[1]) / (2.0 * _PROBE)
    return slopes[:, DRIFT], slopes[:, HEIGHT]
