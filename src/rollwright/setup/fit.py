"""Weighted nonlinear least squares with priors: the one place where unknowns are fitted.

The minimiser is scipy's; what is ours is the bookkeeping of a covariance that means what it says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import numpy as np

from rollwright.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Fit", "Whitening", "least_squares_fit"]


@dataclass(frozen=True, slots=True)
class Fit:
    """A least-squares fit.

    Attributes:
        values: best values, shape (p,).
        covariance: of the best values, (p, p), for residuals of unit variance.
        residuals: at the best values, (m,).
        jacobian: of the residuals at the best values, (m, p).
        sum_of_squares: of the residuals.
        dof: residuals less unknowns.
    """

    values: NDArray[np.float64]
    covariance: NDArray[np.float64]
    residuals: NDArray[np.float64]
    jacobian: NDArray[np.float64]
    sum_of_squares: float
    dof: int

    @property
    def residual_deviation(self) -> float:
        """Standard deviation of the residuals, `sqrt(sum / dof)`; NaN without degrees of freedom."""
        return float(np.sqrt(self.sum_of_squares / self.dof)) if self.dof > 0 else float("nan")

    def scaled_covariance(self) -> NDArray[np.float64]:
        """Covariance where the residuals' size is judged from their own scatter, (p, p)."""
        return self.covariance * self.residual_deviation**2


@dataclass(frozen=True, slots=True)
class Whitening:
    """What turns errors, some of which are shared, into independent ones of unit variance.

    The covariance is `N = D + sum of c c'`, D diagonal and each c over the members of one set-up. With
    `g = D^(-1/2) c` and e its direction, `W = (I - (1 - 1 / sqrt(1 + g'g)) e e') D^(-1/2)` has `W'W = N^-1`.

    Attributes:
        scale: one over the deviations of the own errors, (m,).
        shared: for each set-up its members, e and g'g.
    """

    scale: NDArray[np.float64]
    shared: tuple[tuple[NDArray[np.intp], NDArray[np.float64], float], ...]

    @classmethod
    def of(
        cls, own: NDArray[np.float64], common: Sequence[tuple[NDArray[np.intp], NDArray[np.float64]]]
    ) -> Self:
        """Return the whitening of errors.

        Args:
            own: standard deviations of the own errors, more than nothing, (m,).
            common: for each set-up its members and the deviation of their common error in each, all
                different members.

        Returns:
            The whitening.
        """
        shared = []
        for rows, sizes in common:
            ratio = sizes / own[rows]
            squared = float(ratio @ ratio)
            shared.append((rows, ratio / np.sqrt(squared), squared))
        return cls(1.0 / own, tuple(shared))

    def _narrowed(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        for rows, along, squared in self.shared:
            part = np.tensordot(along, values[rows], axes=1)
            values[rows] -= (1.0 - 1.0 / np.sqrt(1.0 + squared)) * np.multiply.outer(along, part)
        return values

    def applied(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return `W x` for x of shape (m,) or (m, k)."""
        return self._narrowed((values.T * self.scale).T)

    def undone(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return x for `W x` of shape (m,)."""
        found = values.copy()
        for rows, along, squared in self.shared:
            found[rows] += (np.sqrt(1.0 + squared) - 1.0) * along * (along @ found[rows])
        out: NDArray[np.float64] = found / self.scale
        return out

    def transposed(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return `W' x` for x of shape (m,) or (m, k)."""
        found: NDArray[np.float64] = (self._narrowed(values.copy()).T * self.scale).T
        return found

    def weights(self) -> NDArray[np.float64]:
        """Return the diagonal of `N^-1`, (m,)."""
        left = np.ones_like(self.scale)
        for rows, along, squared in self.shared:
            left[rows] -= along**2 * squared / (1.0 + squared)
        return left * self.scale**2


def least_squares_fit(
    residuals: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    jacobian: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    *,
    start: NDArray[np.float64],
    scale: NDArray[np.float64] | None = None,
    lower: NDArray[np.float64] | None = None,
    steps: int = 200,
    tolerance: float = 1e-14,
) -> Fit:
    """Return the values that minimise the sum of squared residuals, with their covariance.

    Args:
        residuals: residuals in standard deviations as a function of the unknowns, (p,) to (m,).
        jacobian: their derivatives, (p,) to (m, p).
        start: where to begin, (p,).
        scale: typical size of a change of each unknown, (p,); left out, the minimiser finds its own.
        lower: lower bounds, (p,); left out, there are none.
        steps: most evaluations.
        tolerance: relative change of sum, step and slope at which to stop.

    Returns:
        The fit; covariance is `(J^T J)^-1` at the best values (JCGM 100:2008, H.3, in its general form),
        taken by orthogonal triangles so that unknowns which the residuals do not fix are refused, not
        guessed.

    Raises:
        OutOfRange: the residuals do not fix all unknowns, or are not finite.
    """
    from scipy.optimize import least_squares  # noqa: PLC0415 - costs start-up time, and only fits need it

    bounds = (-np.inf, np.inf) if lower is None else (lower, np.inf)
    try:
        found = least_squares(
            residuals,
            start,
            jac=jacobian,
            bounds=bounds,
            method="lm" if lower is None else "trf",
            x_scale="jac" if scale is None else scale,
            xtol=tolerance,
            ftol=tolerance,
            gtol=tolerance,
            max_nfev=steps,
        )
    except ValueError:
        raise OutOfRange(
            "the readings cannot be fitted: nothing that can be shows such figures",
            mend="check their signs and units, and the car or track file beside them",
        ) from None
    values = np.asarray(found.x, dtype=np.float64)
    last = np.asarray(jacobian(values), dtype=np.float64)
    size = np.linalg.norm(last, axis=0)
    if not np.all(size > 0.0):
        raise OutOfRange(
            "the readings do not fix every unknown", mend="add a reading, or a prior for what is not read"
        )
    # Columns of equal length make the pivots comparable whatever the units.
    triangle = np.linalg.qr(last / size, mode="r")
    pivots = np.abs(np.diag(triangle))
    if pivots.min() < 1e-12 * pivots.max():
        raise OutOfRange("the readings cannot tell all unknowns apart", mend="add a reading of another kind")
    root = np.linalg.inv(triangle) / size[:, None]
    left = np.asarray(residuals(values), dtype=np.float64)
    return Fit(
        values=values,
        covariance=root @ root.T,
        residuals=left,
        jacobian=last,
        sum_of_squares=float(left @ left),
        dof=len(left) - len(values),
    )
