"""Whose doing the spread is: variance shares of first order and in total, by Saltelli and Jansen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from rollwright.errors import CarCannotRest, OutOfRange
from rollwright.setup.study_case import Case, drawn
from rollwright.setup.study_times import Surface, outcomes_of

__all__ = ["Indices", "Share", "Shares", "indices", "spread_points", "time_shares"]

_BASE, _SCREEN = 12, 8
_BASE_FULL, _SCREEN_FULL = 8, 6
"""Powers of two: so many rows of each of the two samples, with a surface and without."""

_MATTERS = 0.005
_MOST = 16
_RESAMPLES = 200
_KEY, _SCREEN_KEY, _BOOT_KEY = 5, 6, 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Indices:
    """Shares of a variance, each array as long as there are inputs.

    Attributes:
        first: of each input alone, all others averaged over.
        first_error: standard errors.
        total: what would be left were all others known: its own share and all that it has with others.
        total_error: standard errors.
        variance: of the outcome.
    """

    first: NDArray[np.float64]
    first_error: NDArray[np.float64]
    total: NDArray[np.float64]
    total_error: NDArray[np.float64]
    variance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """The variance share of an input, or of several taken together.

    Attributes:
        name: of the input; `all others` for those that matter little each.
        first: share alone.
        first_error: its standard error.
        total: share with all that it has with others.
        total_error: its standard error.
    """

    name: str
    first: float
    first_error: float
    total: float
    total_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shares:
    """Shares of the variance of the finish time, the largest total first.

    Attributes:
        shares: of the inputs, and last of all others together.
        others: how many those are.
        deviation: standard deviation of the finish time [s].
        rows: of each of the two samples.
        dropped: rows in which a body did not finish, left out.
    """

    shares: tuple[Share, ...]
    others: int
    deviation: float
    rows: int
    dropped: int


def indices(
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    mixed: NDArray[np.float64],
    *,
    seed: int,
    resamples: int = _RESAMPLES,
) -> Indices:
    """Return variance shares from outcomes of two samples and of their mixtures.

    Args:
        a: outcomes of sample A, (n,).
        b: outcomes of sample B, (n,).
        mixed: outcomes of A with input i taken from B, (inputs, n).
        seed: of the bootstrap.
        resamples: of the bootstrap.

    Returns:
        `S_i = mean(b (mixed_i - a)) / V` with b less the mean (A. Saltelli et al., Variance based sensitivity
        analysis of model output, Computer Physics Communications 181 (2010) 259, table 2 b), and
        `T_i = mean((a - mixed_i)^2) / (2 V)` (M. J. W. Jansen, Analysis of variance designs for model output,
        Computer Physics Communications 117 (1999) 35); inputs must be independent. Standard errors by
        resampling rows; for a sample that is spread evenly they are on the safe side.

    Raises:
        OutOfRange: there are fewer than two rows, or the outcome does not vary.
    """
    n = len(a)
    if n < 2 or not float(np.var(np.concatenate((a, b)))) > 0.0:
        raise OutOfRange("an outcome that does not vary has no shares", mend="give uncertain inputs")
    middle = 0.5 * (a.mean() + b.mean())
    own = (b - middle) * (mixed - a)
    square = 0.5 * (a - mixed) ** 2
    level, spread = 0.5 * (a + b) - middle, 0.5 * ((a - middle) ** 2 + (b - middle) ** 2)

    def mean(rows: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
        # Not a matrix product, which may round otherwise from call to call.
        found: NDArray[np.float64] = np.einsum("wn,in->wi", weights, rows)
        return found

    def shares(weights: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        variance = mean(spread[None], weights) - mean(level[None], weights) ** 2
        return mean(own, weights) / variance, mean(square, weights) / variance

    first, total = shares(np.full((1, n), 1.0 / n))
    random = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(_BOOT_KEY,)))
    drawn_again = random.multinomial(n, np.full(n, 1.0 / n), size=resamples) / n
    firsts, totals = shares(drawn_again)
    return Indices(
        first=first[0],
        first_error=firsts.std(axis=0, ddof=1),
        total=total[0],
        total_error=totals.std(axis=0, ddof=1),
        variance=float(spread.mean() - level.mean() ** 2),
    )


def spread_points(
    dimensions: int, power: int, *, seed: int, key: int = _KEY
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return two samples, A and B, spread evenly over the unit cube.

    Args:
        dimensions: of the cube.
        power: two to this power rows.
        seed: of the scrambling.
        key: child of the seed.

    Returns:
        A and B, (rows, dimensions) each: the two halves of a scrambled Sobol sequence.
    """
    random = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(key,)))
    points = qmc.Sobol(2 * dimensions, scramble=True, seed=random).random_base2(power)
    # A point on the face of the cube would be an infinite normal number.
    points = np.clip(points, 1e-12, 1.0 - 1e-12)
    return points[:, :dimensions], points[:, dimensions:]


def time_shares(case: Case, surface: Surface | None, *, seed: int) -> Shares:
    """Return whose doing the spread of the finish time is.

    Args:
        case: the car and the track.
        surface: stands in for the motion, or None.
        seed: of the study.

    Returns:
        The shares. A small first sample of all inputs says which matter; the others are taken together.

    Raises:
        CarCannotRest: hardly any of the bodies finish.
    """
    full = surface is None
    count = len(case.free)
    screen = _run(
        case,
        surface,
        [[place] for place in range(count)],
        _SCREEN_FULL if full else _SCREEN,
        seed,
        _SCREEN_KEY,
    )
    order = np.argsort(-screen[0].total, kind="stable")
    leading = [int(place) for place in order[:_MOST] if screen[0].total[place] > _MATTERS]
    rest = [place for place in range(count) if place not in leading]
    groups = [*([place] for place in leading), *([rest] if rest else [])]
    power = _BASE_FULL if full else _BASE
    found, dropped = _run(case, surface, groups, power, seed, _KEY)
    names = [*(case.names[place] for place in leading), *(["all others"] if rest else [])]
    shares = [
        Share(
            name=name,
            first=float(found.first[place]),
            first_error=float(found.first_error[place]),
            total=float(found.total[place]),
            total_error=float(found.total_error[place]),
        )
        for place, name in enumerate(names)
    ]
    ranked = sorted(shares[: len(leading)], key=lambda share: -share.total)
    return Shares(
        shares=(*ranked, *shares[len(leading) :]),
        others=len(rest),
        deviation=float(np.sqrt(found.variance)),
        rows=2**power,
        dropped=dropped,
    )


def _run(
    case: Case, surface: Surface | None, groups: list[list[int]], power: int, seed: int, key: int
) -> tuple[Indices, int]:
    a, b = (ndtri(half) for half in spread_points(len(case.free), power, seed=seed, key=key))

    def times(z: NDArray[np.float64]) -> NDArray[np.float64]:
        return outcomes_of(case, drawn(case, z), surface).time

    mixed = []
    for group in groups:
        z = a.copy()
        z[:, group] = b[:, group]
        mixed.append(times(z))
    every = np.stack((times(a), times(b), *mixed))
    runs = np.all(np.isfinite(every), axis=0)
    if runs.sum() < len(runs) // 2:
        raise CarCannotRest(
            "too few bodies drawn from this file stand on the same wheels and reach the finish",
            mend="give the uncertainties of hole heights and losses, or mend the design first",
        )
    every = every[:, runs]
    return indices(every[0], every[1], every[2:], seed=seed), int((~runs).sum())
