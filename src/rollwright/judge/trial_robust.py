"""A second opinion by ranks, which one odd run cannot sway."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollwright.judge.trial_model import Codes, least_squares

__all__ = ["Ranked", "by_heats", "by_runs", "friedman", "steady_beta"]

Array = NDArray[np.float64]

_FEWEST = 4
_ALL_PAIRS = 1500
_ROUNDS = 20
_BEND = 1.5
"""Huber's bend: residuals beyond so many standard deviations pull no harder than there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """What ranks say.

    Attributes:
        method: `signed ranks` within heats, or `rank sums` over runs.
        difference: by how much the second is faster [s], positive if it is (Hodges and Lehmann's estimate).
        probability: probability of such ranks or more unlike ones if they do not differ.
        count: heats or runs that it rests on.
    """

    method: str
    difference: float
    probability: float
    count: int


def steady_beta(times: Array, terms: Mapping[str, Array], *, blocks: Codes | None) -> Array:
    """Return the coefficients of a linear model that one odd run cannot sway.

    Args:
        times: of the runs [s].
        terms: columns of the design by term.
        blocks: number of each run's block, or None.

    Returns:
        Huber's estimate by pseudo-values (P. J. Huber, Robust Statistics (1981), 7.8), in twenty rounds.
    """
    values = times
    fit = least_squares(values, terms, blocks=blocks)
    for _ in range(_ROUNDS):
        fitted = values - fit.residuals
        residuals = times - fitted
        scale = float(np.median(np.abs(residuals))) / 0.6745 * math.sqrt(len(times) / max(1, fit.freedom))
        values = fitted + np.clip(residuals, -_BEND * scale, _BEND * scale)
        fit = least_squares(values, terms, blocks=blocks)
    return fit.beta


def by_heats(aligned: Array, heats: Codes, first: Array, second: Array) -> Ranked | None:
    """Return Wilcoxon's signed-rank test of the differences within heats.

    Args:
        aligned: times less what lanes do [s].
        heats: number of each run's heat.
        first: whether a run is of the first car.
        second: whether it is of the second.

    Returns:
        The test; None with fewer than four heats in which both ran. For few heats without ties it is exact:
        the share of all exchanges within heats that look as unlike (F. Wilcoxon, Biometrics Bull. 1
        (1945) 80; J. Hodges, E. Lehmann, Ann. Math. Statist. 34 (1963) 598).
    """
    count = int(heats.max()) + 1
    sizes = [np.bincount(heats[one], minlength=count) for one in (first, second)]
    both = (sizes[0] > 0) & (sizes[1] > 0)
    if np.count_nonzero(both) < _FEWEST:
        return None
    means = [
        np.bincount(heats[one], weights=aligned[one], minlength=count)[both] / size[both]
        for one, size in zip((first, second), sizes, strict=True)
    ]
    apart = means[0] - means[1]
    if len(apart) <= _ALL_PAIRS:
        i, j = np.triu_indices(len(apart))
        difference = float(np.median(0.5 * (apart[i] + apart[j])))
    else:
        difference = float(np.median(apart))
    moved = apart[np.abs(apart) > 1e-9]
    probability = 1.0
    if len(moved):
        from scipy.stats import wilcoxon  # noqa: PLC0415 - slow to load

        tied = len(np.unique(np.round(np.abs(moved), 9))) < len(moved)
        exact = not tied and len(moved) <= 50
        probability = float(wilcoxon(np.round(moved, 9), method="exact" if exact else "approx").pvalue)
    return Ranked(method="signed ranks", difference=difference, probability=probability, count=len(apart))


def by_runs(first: Array, second: Array) -> Ranked | None:
    """Return the rank-sum test of two cars' times.

    Args:
        first: times of the first, less what lanes and drift do [s].
        second: the same of the second.

    Returns:
        The test (H. Mann, D. Whitney, Ann. Math. Statist. 18 (1947) 50); None with fewer than four runs
        of one.
    """
    if min(len(first), len(second)) < _FEWEST:
        return None
    if len(first) * len(second) <= _ALL_PAIRS**2:
        difference = float(np.median(first[:, None] - second[None, :]))
    else:
        difference = float(np.median(first) - np.median(second))
    probability = 1.0
    if np.ptp(np.concatenate([first, second])) > 0.0:
        from scipy.stats import mannwhitneyu  # noqa: PLC0415 - slow to load

        probability = float(mannwhitneyu(np.round(first, 9), np.round(second, 9)).pvalue)
    return Ranked(
        method="rank sums", difference=difference, probability=probability, count=len(first) + len(second)
    )


def friedman(aligned: Array, heats: Codes, configurations: Codes) -> tuple[float, float] | None:
    """Return Friedman's test of three cars or more over the heats in which each ran once.

    Args:
        aligned: times less what lanes do [s].
        heats: number of each run's heat.
        configurations: number of each run's car.

    Returns:
        Chi squared and its probability if the cars do not differ (M. Friedman, J. Am. Stat. Assoc. 32
        (1937) 675); None with fewer than three cars or four such heats.
    """
    cars, count = int(configurations.max()) + 1, int(heats.max()) + 1
    if cars < 3:
        return None
    cell = heats * cars + configurations
    filled = np.bincount(cell, minlength=count * cars).reshape(count, cars)
    table = np.bincount(cell, weights=aligned, minlength=count * cars).reshape(count, cars)
    whole = np.round(table[np.all(filled == 1, axis=1)], 9)
    if len(whole) < _FEWEST or not np.any(np.ptp(whole, axis=1) > 0.0):
        return None
    from scipy.stats import friedmanchisquare  # noqa: PLC0415 - slow to load

    found = friedmanchisquare(*whole.T)
    return float(found.statistic), float(found.pvalue)
