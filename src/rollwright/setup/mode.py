"""The most likely car: where the pulls on the priors and the readings' residuals balance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.errors import ReadingUnusable
from rollwright.setup.fit import least_squares_fit
from rollwright.setup.predict import ReadingModel, derivatives

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Mode", "Prior", "mode_of", "posterior"]

_ONE_READING = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is known of the dimensions before the readings.

    Attributes:
        mean: best values, shape (p,), in the order of `dimension_names`.
        root: shape (p, q); the dimensions are `mean + root @ z` with z independent, of unit variance.
        sources: name of each column's source, (q,), for the budget.
    """

    mean: NDArray[np.float64]
    root: NDArray[np.float64]
    sources: tuple[str, ...]

    @property
    def deviations(self) -> NDArray[np.float64]:
        """Standard uncertainty of each dimension, shape (p,)."""
        found: NDArray[np.float64] = np.sqrt(np.sum(self.root**2, axis=1))
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """The mode of the posterior, in unknowns of unit variance.

    Attributes:
        bench: the car, its seats and its readings.
        unknowns: in units of the prior's columns, (q,).
        whiten: turns the channels' errors into independent ones of unit variance, (m, m).
        residuals: observed less predicted, whitened, (m,).
        slopes: whitened derivatives of the channels, (m, q).
    """

    bench: ReadingModel
    unknowns: NDArray[np.float64]
    whiten: NDArray[np.float64]
    residuals: NDArray[np.float64]
    slopes: NDArray[np.float64]

    @property
    def sum_of_squares(self) -> float:
        """Sum of the squared pulls on priors and readings: twice the posterior's negative logarithm."""
        return float(self.unknowns @ self.unknowns + self.residuals @ self.residuals)


def mode_of(bench: ReadingModel, prior: Prior) -> Mode:
    """Return the most likely car.

    Args:
        bench: the car, its seats and its readings.
        prior: what is known of its dimensions without the readings.

    Returns:
        The least sum of squares, by the method of Levenberg and Marquardt.

    Raises:
        ReadingUnusable: a reading is impossible on this car, has no uncertainty, or repeats another's
            error to the last bit.
    """
    bench.check(prior.mean)
    count = prior.root.shape[1]
    observed = bench.observed()
    whiten = _whitener(bench)

    def residuals(z: NDArray[np.float64]) -> NDArray[np.float64]:
        predicted = bench.predict((prior.mean + prior.root @ z)[None, :])[0]
        return np.concatenate((z, whiten @ (predicted - observed)))

    def jacobian(z: NDArray[np.float64]) -> NDArray[np.float64]:
        there = prior.mean + prior.root @ z
        _, slopes = derivatives(bench.predict, there, prior.root.T)
        # A reading that no car nearby can show says nothing about which way to go.
        return np.concatenate((np.eye(count), whiten @ np.nan_to_num(slopes)))

    unknowns = np.zeros(count)
    # Without readings, or without anything that could give way, there is nothing to search.
    if count and len(observed):
        # The unknowns are of one size already; scaled by a sharp reading's slopes the search goes astray.
        unknowns = least_squares_fit(
            residuals, jacobian, start=unknowns, scale=np.ones(count), tolerance=1e-10
        ).values
    return Mode(
        bench=bench,
        unknowns=unknowns,
        whiten=whiten,
        residuals=-residuals(unknowns)[count:],
        slopes=jacobian(unknowns)[count:],
    )


def _whitener(bench: ReadingModel) -> NDArray[np.float64]:
    noise = bench.noise()
    size = np.sqrt(np.diag(noise))
    for owner, deviation in zip(bench.owners(), size, strict=True):
        if not deviation > 0.0:
            raise ReadingUnusable(
                "a reading without any uncertainty leaves no room for anything else",
                mend="say how well it was read, as in uncertainty = 0.05",
                key=owner.where,
            )
    # Judged on channels of equal size: two that share all but a millionth are one reading.
    try:
        root = np.linalg.cholesky(noise / np.outer(size, size))
    except np.linalg.LinAlgError:
        root = np.zeros_like(noise)
    if np.diag(root).min(initial=1.0) < _ONE_READING:
        raise ReadingUnusable(
            "two readings share their whole error, so they are one reading",
            mend="give each its own uncertainty beside the common one",
        )
    whiten: NDArray[np.float64] = np.linalg.inv(root) / size
    return whiten


def posterior(slopes: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the posterior covariance of the unit unknowns and its symmetric root.

    Args:
        slopes: whitened derivatives of the channels, (m, q).

    Returns:
        `(I + H'H)^-1` and its root, both (q, q), by singular values: a reading however sharp beside the
        priors leaves them positive definite.
    """
    count = slopes.shape[1]
    _, sizes, along = np.linalg.svd(slopes, full_matrices=False)
    narrowed = 1.0 / np.hypot(1.0, sizes)
    root: NDArray[np.float64] = np.eye(count) + (along.T * (narrowed - 1.0)) @ along
    return root @ root, root
