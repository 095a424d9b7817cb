"""Unknowns, sets of readings that depend on them, and the one fit of all of them together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from rollwright.setup.fit import Fit, least_squares_fit

__all__ = ["IMPOSSIBLE", "Block", "Solution", "Unknown", "solve"]

Array = NDArray[np.float64]

IMPOSSIBLE = 1e6
"""Residual of readings that the unknowns make impossible, in standard deviations: no step may lead there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """Something that a fit is to find, or that it has to allow for.

    Attributes:
        name: what it is called.
        start: where the fit begins [SI].
        size: a typical change of it, more than 0 [SI].
        prior: what was known of it before, as value and standard uncertainty [SI]; None for nothing.
        lower: the least that it can be [SI].
    """

    name: str
    start: float
    size: float
    prior: tuple[float, float] | None = None
    lower: float = -math.inf


class Block(Protocol):
    """A set of readings: `names` of the unknowns that it depends on, and its residuals."""

    @property
    def names(self) -> tuple[str, ...]:
        """The unknowns that it depends on."""

    def rows(self, values: Array) -> tuple[Array, Array]:
        """Return residuals in standard deviations, (m,), and their derivatives, (m, len(names))."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """What a fit found.

    Attributes:
        unknowns: in the order of values and matrices.
        fit: the fit, its residuals those of the readings and then those of the priors.
        readings: how many of the residuals are the readings'.
    """

    unknowns: tuple[Unknown, ...]
    fit: Fit
    readings: int

    def at(self, name: str) -> int:
        """Return the place of an unknown."""
        return next(index for index, unknown in enumerate(self.unknowns) if unknown.name == name)

    def value(self, name: str) -> float:
        """Return the best value of an unknown [SI]."""
        return float(self.fit.values[self.at(name)])

    def uncertainty(self, name: str) -> float:
        """Return the standard uncertainty of an unknown [SI]."""
        place = self.at(name)
        return math.sqrt(self.fit.covariance[place, place])

    def correlation(self, first: str, second: str) -> float:
        """Return the correlation of two unknowns [1]."""
        covariance = self.fit.covariance[self.at(first), self.at(second)]
        return float(covariance / (self.uncertainty(first) * self.uncertainty(second)))

    @property
    def misfit_probability(self) -> float:
        """Chance of as much disagreement or more; 1 where nothing is left to disagree."""
        from scipy.stats import chi2  # noqa: PLC0415 - costs start-up time

        return float(chi2.sf(self.fit.sum_of_squares, self.fit.dof)) if self.fit.dof > 0 else 1.0


def solve(
    unknowns: Sequence[Unknown], blocks: Sequence[Block], *, steps: int = 200, tolerance: float = 1e-12
) -> Solution:
    """Return the unknowns that fit all readings and priors best.

    Args:
        unknowns: all that the blocks depend on.
        blocks: the readings.
        steps: most evaluations.
        tolerance: relative change at which to stop.

    Returns:
        The solution: the sum of the squared residuals of readings and priors is least (JCGM 100:2008, H.3, in
        its general form; a prior is a reading of the unknown itself).

    Raises:
        OutOfRange: readings and priors do not fix every unknown.
    """
    place = {unknown.name: index for index, unknown in enumerate(unknowns)}
    columns = [np.array([place[name] for name in block.names], dtype=np.intp) for block in blocks]
    known = [(index, *each.prior) for index, each in enumerate(unknowns) if each.prior is not None]
    where = np.array([index for index, _, _ in known], dtype=np.intp)
    middle = np.array([value for _, value, _ in known])
    spread = np.array([deviation for _, _, deviation in known])
    priors = np.zeros((len(known), len(unknowns)))
    priors[np.arange(len(known)), where] = 1.0 / spread
    latest: dict[bytes, tuple[Array, Array]] = {}

    def rows(values: Array) -> tuple[Array, Array]:
        # The minimiser asks for residuals and derivatives one after the other; both come from one reckoning.
        key = values.tobytes()
        if key not in latest:
            residuals, jacobians = [], []
            for block, at in zip(blocks, columns, strict=True):
                found, slopes = block.rows(values[at])
                wide = np.zeros((len(found), len(unknowns)))
                wide[:, at] = slopes
                residuals.append(found)
                jacobians.append(wide)
            residuals.append((values[where] - middle) / spread)
            jacobians.append(priors)
            if len(latest) > 3:
                latest.clear()
            latest[key] = np.concatenate(residuals), np.concatenate(jacobians)
        return latest[key]

    lower = np.array([unknown.lower for unknown in unknowns])
    fit = least_squares_fit(
        lambda values: rows(values)[0],
        lambda values: rows(values)[1],
        start=np.array([unknown.start for unknown in unknowns]),
        scale=np.array([unknown.size for unknown in unknowns]),
        lower=lower if np.any(np.isfinite(lower)) else None,
        steps=steps,
        tolerance=tolerance,
    )
    return Solution(unknowns=tuple(unknowns), fit=fit, readings=len(fit.residuals) - len(known))
