"""Least squares for trials: effects of cars and lanes, with heats taken out as blocks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Contrast", "Fitted", "TermTest", "codes_of", "dummies", "least_squares", "term_tests"]

Array = NDArray[np.float64]
Codes = NDArray[np.intp]

_NOTHING = 1e-9
"""Share of the largest eigenvalue under which a direction of the design is empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast:
    """A difference that was estimated.

    Attributes:
        value: the estimate [s].
        error: its standard error [s].
        freedom: degrees of freedom of that error.
        unscaled: variance of the estimate for a noise of one, `error**2 / noise**2`.
    """

    value: float
    error: float
    freedom: float
    unscaled: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TermTest:
    """Whether one thing mattered at all.

    Attributes:
        name: of the term.
        squares: sum of squares that it alone explains [s2].
        freedom: its degrees of freedom.
        ratio: Fisher's F.
        probability: probability of such an F or a larger one if it does not matter.
    """

    name: str
    squares: float
    freedom: int
    ratio: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A linear model that was fitted.

    Attributes:
        names: of the terms, one for each column of the design.
        beta: coefficient of each column; of those that cannot be told apart the shortest.
        unscaled: pseudo-inverse of the normal matrix.
        residuals: time less what the model says [s].
        freedom: degrees of freedom left.
        squares: sum of the squared residuals [s2].
        rank: of the design, blocks left out.
        noise: standard deviation of one run [s].
        empty: directions of the design about which the times say nothing, as columns.
    """

    names: tuple[str, ...]
    beta: Array
    unscaled: Array
    residuals: Array
    freedom: int
    squares: float
    rank: int
    noise: float
    empty: Array

    def knows(self, weights: Array) -> bool:
        """Return whether the times say anything about a combination of the coefficients."""
        return bool(np.all(np.abs(weights @ self.empty) < 1e-6))

    def contrast(self, weights: Array) -> Contrast | None:
        """Return a combination of coefficients with its error; None if the times say nothing about it.

        Args:
            weights: of the columns.

        Returns:
            The estimate; its error is that of least squares with `freedom` degrees of freedom.
        """
        if not self.knows(weights) or self.freedom < 1:
            return None
        unscaled = float(weights @ self.unscaled @ weights)
        return Contrast(
            value=float(weights @ self.beta),
            error=self.noise * math.sqrt(unscaled),
            freedom=float(self.freedom),
            unscaled=unscaled,
        )


def codes_of(column: tuple[str, ...]) -> tuple[Codes, tuple[str, ...]]:
    """Return whole numbers for the entries of a column, and what they stand for, as they first come."""
    places = {name: number for number, name in enumerate(dict.fromkeys(column))}
    codes = np.fromiter((places[name] for name in column), dtype=np.intp, count=len(column))
    return codes, tuple(places)


def dummies(codes: Codes, levels: int) -> Array:
    """Return a column of ones and zeros for each level."""
    return np.asarray(codes[:, None] == np.arange(levels)[None, :], dtype=np.float64)


def _within(columns: Array, blocks: Codes, sizes: Array) -> Array:
    """Return columns less their means in each block."""
    found = np.empty_like(columns)
    for number in range(columns.shape[1]):
        column = columns[:, number]
        means = np.bincount(blocks, weights=column, minlength=len(sizes)) / sizes
        found[:, number] = column - means[blocks]
    return found


def least_squares(times: Array, terms: Mapping[str, Array], *, blocks: Codes | None = None) -> Fitted:
    """Return the linear model `time = block + sum of terms + noise`, fitted by least squares.

    Blocks are taken out by subtracting each one's mean from everything, which is the same as giving each its
    own coefficient (R. Frisch, F. Waugh, Econometrica 1 (1933) 387) and holds for any number of them.

    Args:
        times: of the runs [s].
        terms: columns of the design by term, one row for each run.
        blocks: number of each run's block; None takes out one mean for all.

    Returns:
        The fit.
    """
    runs = len(times)
    blocks = np.zeros(runs, dtype=np.intp) if blocks is None else blocks
    sizes = np.bincount(blocks).astype(np.float64)
    centred = (times - np.mean(times))[:, None]
    centred = _within(centred, blocks, sizes)[:, 0]
    names = tuple(name for name, columns in terms.items() for _ in range(columns.shape[1]))
    design = np.hstack(list(terms.values())) if terms else np.zeros((runs, 0))
    within = _within(design, blocks, sizes)
    normal = within.T @ within
    if names:
        sizes_of, directions = np.linalg.eigh(normal)
        # A column that is the same within every block leaves rounding only; the whole column says how much.
        real = sizes_of > _NOTHING * max(1.0, float(np.max(np.diag(design.T @ design), initial=0.0)))
        whole, empty = directions[:, real], directions[:, ~real]
        unscaled = (whole / sizes_of[real]) @ whole.T
    else:
        whole, empty, unscaled = (np.zeros((0, 0)),) * 3
    beta = unscaled @ (within.T @ centred)
    residuals = centred - within @ beta
    rank = whole.shape[1]
    freedom = runs - int(np.count_nonzero(sizes)) - rank
    squares = float(residuals @ residuals)
    return Fitted(
        names=names,
        beta=beta,
        unscaled=unscaled,
        residuals=residuals,
        freedom=freedom,
        squares=squares,
        rank=rank,
        noise=math.sqrt(squares / freedom) if freedom > 0 else math.nan,
        empty=empty,
    )


def term_tests(
    times: Array, terms: Mapping[str, Array], *, blocks: Codes | None = None, block_name: str = "heat"
) -> tuple[TermTest, ...]:
    """Return for each term whether it mattered, by what the fit loses without it (Fisher's F).

    Args:
        times: of the runs [s].
        terms: columns of the design by term.
        blocks: number of each run's block, or None.
        block_name: what the blocks are called.

    Returns:
        One test for each term that the others do not already explain, the blocks last.
    """
    from scipy.special import fdtrc  # noqa: PLC0415 - slow to load

    whole = least_squares(times, terms, blocks=blocks)
    if whole.freedom < 1:
        return ()
    found = []
    without = {
        name: least_squares(times, {key: part for key, part in terms.items() if key != name}, blocks=blocks)
        for name in terms
    }
    if blocks is not None:
        without[block_name] = least_squares(times, terms)
    for name, fit in without.items():
        freedom = fit.freedom - whole.freedom
        if freedom < 1:
            continue
        squares = max(0.0, fit.squares - whole.squares)
        ratio = squares / freedom / whole.noise**2 if whole.noise > 0.0 else math.inf
        found.append(
            TermTest(
                name=name,
                squares=squares,
                freedom=freedom,
                ratio=ratio,
                probability=float(fdtrc(freedom, whole.freedom, ratio)) if math.isfinite(ratio) else 0.0,
            )
        )
    return tuple(found)
