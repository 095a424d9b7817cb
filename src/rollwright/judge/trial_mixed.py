"""A mixed model for trials: heats that differ at random, where no two cars ran in the same heat."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollwright.judge.trial_model import Contrast

__all__ = ["Mixed", "mixed_model"]

Array = NDArray[np.float64]
Codes = NDArray[np.intp]

_STEP = 1e-2
"""Step of the logarithm of a variance for derivatives of the likelihood."""
_FLAT = 1e-5
"""Ratio of variances under which the heats do not differ at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixed:
    """A mixed model that was fitted.

    Attributes:
        beta: fixed coefficients, one for each column of the design.
        covariance: theirs.
        random: covariance of what differs between heats.
        noise: standard deviation of one run [s].
        criterion: minus twice the logarithm of the (restricted) likelihood.
        residuals: time less what the fixed part says [s].
        freedom: degrees of freedom left by the fixed part.
        empty: directions of the design about which the times say nothing, as columns.
        nearby: covariances of the coefficients at variances a step away, and that of the variances; for the
            degrees of freedom of an error. None where the heats do not differ.
    """

    beta: Array
    covariance: Array
    random: Array
    noise: float
    criterion: float
    residuals: Array
    freedom: int
    empty: Array
    nearby: tuple[Array, Array, Array] | None

    def contrast(self, weights: Array) -> Contrast | None:
        """Return a combination of coefficients with its error; None if the times say nothing about it.

        Args:
            weights: of the columns.

        Returns:
            The estimate; its degrees of freedom are Satterthwaite's (Biometrics Bull. 2 (1946) 110), from the
            curvature of the restricted likelihood.
        """
        if np.any(np.abs(weights @ self.empty) > 1e-6) or self.freedom < 1:
            return None
        variance = float(weights @ self.covariance @ weights)
        freedom = float(self.freedom)
        if self.nearby is not None:
            by_noise, by_heat, spread = self.nearby
            slope = np.array([weights @ by_noise @ weights, weights @ by_heat @ weights])
            of_variance = float(slope @ spread @ slope)
            if of_variance > 0.0:
                freedom = min(freedom, max(1.0, 2.0 * variance**2 / of_variance))
        return Contrast(
            value=float(weights @ self.beta),
            error=math.sqrt(variance),
            freedom=freedom,
            unscaled=variance / self.noise**2,
        )


class _Sums:
    """What of the data the likelihood needs: sums over all runs and over each group."""

    def __init__(self, times: Array, design: Array, groups: Codes, random: Array) -> None:
        self.runs, self.columns = design.shape
        self.xx, self.xy, self.yy = design.T @ design, design.T @ times, float(times @ times)
        count = int(groups.max()) + 1
        self.width = random.shape[1]

        def grouped(columns: Array) -> Array:
            return np.stack(
                [
                    np.bincount(groups, weights=columns[:, i], minlength=count)
                    for i in range(columns.shape[1])
                ],
                axis=1,
            )

        wide = self.width
        self.zz = np.stack([grouped(random * random[:, [i]]) for i in range(wide)], axis=1)
        self.zx = np.stack([grouped(design * random[:, [i]]) for i in range(wide)], axis=1)
        self.zy = grouped(random * times[:, None])

    def solved(self, factor: Array) -> tuple[Array, Array, float, float]:
        """Return X'V^-1X, the coefficients, the weighted sum of squares and log det V, for a noise of one.

        V is `I + Z L L' Z'`, inverted group by group by Woodbury's identity.
        """
        inner = np.eye(self.width) + factor.T @ self.zz @ factor
        lx, ly = factor.T @ self.zx, self.zy @ factor
        xx = self.xx - np.einsum("gqi,gqj->ij", lx, np.linalg.solve(inner, lx))
        solved_y = np.linalg.solve(inner, ly[..., None])[..., 0]
        xy = self.xy - np.einsum("gqi,gq->i", lx, solved_y)
        yy = self.yy - float(np.sum(ly * solved_y))
        beta = np.linalg.solve(xx, xy)
        log_det = float(np.sum(np.linalg.slogdet(inner)[1]))
        return xx, beta, max(yy - float(beta @ xy), 0.0), log_det

    def profiled(self, factor: Array, *, restricted: bool) -> float:
        """Return minus twice the log-likelihood with the noise at its best."""
        xx, _, squares, log_det = self.solved(factor)
        freedom = self.runs - (self.columns if restricted else 0)
        more = float(np.linalg.slogdet(xx)[1]) if restricted else 0.0
        return float(freedom * (1.0 + math.log(2.0 * math.pi * squares / freedom)) + log_det + more)

    def restricted(self, noise: float, heat: float) -> tuple[float, Array]:
        """Return minus twice the restricted log-likelihood and the covariance of the coefficients.

        Args:
            noise: variance of one run.
            heat: variance between heats.
        """
        xx, _, squares, log_det = self.solved(np.array([[math.sqrt(heat / noise)]]))
        freedom = self.runs - self.columns
        value = freedom * math.log(2.0 * math.pi * noise) + squares / noise + log_det
        return float(value + np.linalg.slogdet(xx)[1]), np.asarray(
            noise * np.linalg.inv(xx), dtype=np.float64
        )


def _lower(values: Array, width: int) -> Array:
    factor = np.zeros((width, width))
    factor[np.tril_indices(width)] = values
    return factor


def mixed_model(
    times: Array,
    design: Array,
    groups: Codes,
    *,
    random: Array | None = None,
    restricted: bool = True,
) -> Mixed:
    """Return the linear mixed model `y = X beta + Z b + noise`, with one `b` for each group.

    The noise is profiled out and the relative covariance factor of `b` searched, as in D. Bates, M. Maechler,
    B. Bolker, S. Walker, J. Stat. Softw. 67 (2015) 1, section 3.

    Args:
        times: of the runs [s].
        design: columns of the fixed part, an intercept among them.
        groups: number of each run's group (heat), from 0.
        random: columns of Z; None is a column of ones, a group's own mean.
        restricted: whether the restricted likelihood (REML) is maximised, else the full one.

    Returns:
        The fit.
    """
    from scipy.optimize import minimize, minimize_scalar  # noqa: PLC0415 - slow to load

    # Full rank first: what the times say nothing about is left out of the search.
    sizes, directions = np.linalg.eigh(design.T @ design)
    real = sizes > 1e-9 * float(np.max(sizes))
    whole, empty = directions[:, real], directions[:, ~real]
    shift = float(np.mean(times))
    has_mean = bool(
        np.allclose(design @ (whole @ np.linalg.lstsq(design @ whole, np.ones(len(times)))[0]), 1.0)
    )
    shift = shift if has_mean else 0.0
    wide = np.ones((len(times), 1)) if random is None else random
    sums = _Sums(times - shift, design @ whole, groups, wide)
    width = wide.shape[1]

    if width == 1:

        def along(log_ratio: float) -> float:
            return sums.profiled(np.array([[math.exp(0.5 * log_ratio)]]), restricted=restricted)

        best = minimize_scalar(along, bounds=(math.log(_FLAT), math.log(1e4)), method="bounded")
        factor = np.array([[math.exp(0.5 * float(best.x))]])
        if float(best.x) < math.log(2.0 * _FLAT) or along(math.log(_FLAT)) <= float(best.fun):
            factor = np.zeros((1, 1))
    else:

        def around(values: Array) -> float:
            return sums.profiled(_lower(values, width), restricted=restricted)

        start = np.eye(width)[np.tril_indices(width)]
        found = minimize(
            around,
            start,
            method="Nelder-Mead",
            options={"xatol": 1e-8, "fatol": 1e-10, "maxiter": 4000},
        )
        factor = _lower(np.asarray(found.x), width)
    xx, gamma, squares, _ = sums.solved(factor)
    freedom = sums.runs - sums.columns
    variance = squares / (freedom if restricted else sums.runs)
    beta = whole @ gamma
    if shift:
        beta = beta + whole @ np.linalg.lstsq(design @ whole, np.full(len(times), shift))[0]
    return Mixed(
        beta=beta,
        covariance=variance * whole @ np.linalg.inv(xx) @ whole.T,
        random=variance * factor @ factor.T,
        noise=math.sqrt(variance),
        criterion=sums.profiled(factor, restricted=restricted),
        residuals=times - design @ beta,
        freedom=freedom,
        empty=empty,
        nearby=_nearby(sums, variance, variance * float(factor[0, 0]) ** 2, whole)
        if width == 1 and factor[0, 0] > 0.0
        else None,
    )


def _nearby(sums: _Sums, noise: float, heat: float, whole: Array) -> tuple[Array, Array, Array] | None:
    """Return the slopes of the covariance by the logarithms of the two variances, and their covariance."""
    at = np.log([noise, heat])

    def criterion(*steps: float) -> float:
        return sums.restricted(*np.exp(at + _STEP * np.array(steps)))[0]

    def covariance(*steps: float) -> Array:
        inner = sums.restricted(*np.exp(at + _STEP * np.array(steps)))[1]
        return np.asarray(whole @ inner @ whole.T)

    middle = criterion(0, 0)
    corner = (criterion(1, 1) - criterion(1, -1) - criterion(-1, 1) + criterion(-1, -1)) / 4.0
    curve = np.array(
        [
            [criterion(1, 0) - 2.0 * middle + criterion(-1, 0), corner],
            [corner, criterion(0, 1) - 2.0 * middle + criterion(0, -1)],
        ]
    )
    curve /= _STEP**2
    if np.any(np.linalg.eigvalsh(curve) <= 0.0):
        return None
    slopes = [(covariance(*up) - covariance(*down)) / (2.0 * _STEP) for up, down in _WAYS]
    return slopes[0], slopes[1], 2.0 * np.linalg.inv(curve)


_WAYS = (((1, 0), (-1, 0)), ((0, 1), (0, -1)))
