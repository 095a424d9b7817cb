"""The time budget: how many milliseconds each loss costs, so that the parts sum to the whole."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from rollwright.run.losses import LOSS_NAMES
from rollwright.run.motion import Motion, Path, integrate

__all__ = ["shares_of", "subset_times", "works"]

# Arrays that fit the processor's nearest memory are worked through faster.
_PLACES_AT_ONCE = 4096


def subset_times(path: Path) -> tuple[tuple[int, ...], NDArray[np.float64]]:
    """Return the finish times of one car with every choice of its losses.

    Args:
        path: the way of one car.

    Returns:
        Which of `LOSS_NAMES` act at all, and the times [s] of all choices among them: bit k of a time's
        index says whether the k-th of them acts. NaN where the car stalls.
    """
    each = path.acts.each()
    present = tuple(
        index for index in range(len(LOSS_NAMES)) if any(np.any(part[index] != 0.0) for part in each)
    )
    chosen = np.arange(2 ** len(present))
    acting = np.zeros((len(chosen), len(LOSS_NAMES)))
    for bit, index in enumerate(present):
        acting[:, index] = (chosen >> bit) & 1
    count = max(4, _PLACES_AT_ONCE // path.s.size)
    parts = [integrate(path, acting=acting[first : first + count]) for first in range(0, len(acting), count)]
    return present, np.concatenate([part.time for part in parts])


def shares_of(present: tuple[int, ...], times: NDArray[np.float64]) -> Mapping[str, float]:
    """Return how much of the time lost falls to each loss.

    Losses hide each other: a car that is slow already loses less to the air. What a loss costs therefore
    depends on which are there before it; the fair part is its mean over all orders, the Shapley value.

    Args:
        present: indices into `LOSS_NAMES` of the losses that act.
        times: of all choices among them [s], as `subset_times` returns them.

    Returns:
        Time by loss [s], zero for one that does not act:
        `sum over S without i of |S|! (k - |S| - 1)! / k! (t(S and i) - t(S))`. The parts sum to the time with
        all losses less that without, no loss's place in the list matters, and two that act alike get
        the same (L. S. Shapley, A value for n-person games, Contributions to the Theory of Games II (1953)).
    """
    found = dict.fromkeys(LOSS_NAMES, 0.0)
    count = len(present)
    chosen = np.arange(len(times))
    sizes = np.array([int(number).bit_count() for number in chosen])
    factorials = np.array([math.factorial(k) for k in range(count + 1)], dtype=np.float64)
    for bit, index in enumerate(present):
        without = chosen[(chosen >> bit) & 1 == 0]
        size = sizes[without]
        weights = factorials[size] * factorials[count - 1 - size] / factorials[count]
        found[LOSS_NAMES[index]] = float(weights @ (times[without | 1 << bit] - times[without]))
    return found


def works(path: Path, motion: Motion, weights: NDArray[np.float64]) -> Mapping[str, float]:
    """Return the work of each loss from the gate to the finish.

    Args:
        path: the way of one car.
        motion: how it moves.
        weights: of the nodes.

    Returns:
        Work by loss [J], each integrated by itself, so that their sum is a check on the motion.
    """
    nodes = len(weights)
    u = motion.u[..., :nodes]
    still, growing = path.acts.each()
    force = still[..., :nodes] + growing[..., :nodes] * u
    done = (force * path.stride) @ weights
    return {name: float(done[index].sum()) for index, name in enumerate(LOSS_NAMES)}
