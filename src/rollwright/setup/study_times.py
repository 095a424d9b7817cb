"""Finish times by the hundred thousand: a second-order surface over what the motion depends on.

All that is not smooth about a run lies in how the wheels rub: a wheel slips or creeps, heads left or right,
bears on its head or its body. That part, from dimensions to the few dozen figures that the motion depends on,
is cheap and is worked out exactly for every draw (`run.chassis`). From those figures to the time everything
is smooth, and there a surface of second order in them stands in for the motion. It is fitted to full runs of
draws from the study's own distribution, holds only where those lay, and is checked on full runs that it never
saw; a draw beyond its range is run in full.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.chassis import chassis
from rollwright.setup.study_case import Case, Outcomes, drawn, gate_readings, normals, run_in_full

__all__ = ["Checked", "Surface", "fitted", "needed", "outcomes_of"]

_PILOT_KEY, _CHECK_KEY = 1, 2
_POWERS = (-1.0, -2.0, -3.0, -4.0)
_EDGE = 1.6
_GOOD_ENOUGH = 0.02
"""Largest error of the surface, as a part of the spread of the times, with which it is used (judgement)."""
_STILL = 1e-12
_RIDGE = 1e-11
_BLOCK = 4096
_CURVED = 30
"""So many of the figures, those that matter most, have curvature; others would have slopes only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Effort:
    """How much a fit may cost.

    Attributes:
        pilot: full runs that the surface is fitted to.
        checks: full runs that it is checked with.
        reach: how far from the middle the surface is used, in standard deviations of its linear part.
    """

    pilot: int
    checks: int
    reach: float


_USUAL = _Effort(pilot=2000, checks=1000, reach=3.5)
_SURVEYED = _Effort(pilot=500, checks=150, reach=4.0)
"""On a surveyed track a full run takes some fifty times as long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """How a surface compares with full runs that it was not fitted to.

    Attributes:
        runs: how many full runs.
        mean: mean of surface less full run [s].
        rms: root mean square of it [s].
        worst: largest size of it [s].
        spread: standard deviation of the full runs' times [s].
    """

    runs: int
    mean: float
    rms: float
    worst: float
    spread: float

    @property
    def good(self) -> bool:
        """Whether the surface may stand in for the runs."""
        return self.rms <= _GOOD_ENOUGH * self.spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Time as `(a + b x + x C x)` to a power, x being standardised figures of the motion.

    Attributes:
        columns: which figures, those with curvature first; behind the chassis's stand the track's inputs.
        centre: their means.
        scale: their standard deviations.
        constant: a.
        linear: b.
        curved: C as rows of a lower triangle, over the first columns.
        power: to which the polynomial is taken.
        farthest: largest size of the linear part, and
        edge: largest |x| of those first columns at which the surface is used.
        checked: how well it does.
    """

    columns: tuple[int, ...]
    centre: tuple[float, ...]
    scale: tuple[float, ...]
    constant: float
    linear: tuple[float, ...]
    curved: tuple[tuple[float, ...], ...]
    power: float
    farthest: float
    edge: tuple[float, ...]
    checked: Checked

    def times(self, figures: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return times [s] and whether each is within the surface's range, from figures (n, all)."""
        n = len(figures)
        total, index = np.zeros(n), np.zeros(n)
        fits = np.ones(n, dtype=np.bool_)
        xs: list[NDArray[np.float64]] = []
        # Plain sums of columns: a matrix product may round otherwise on another number of threads.
        for place, column in enumerate(self.columns):
            x = (figures[:, column] - self.centre[place]) / self.scale[place]
            index += self.linear[place] * x
            if place < len(self.curved):
                xs.append(x)
                fits &= np.abs(x) <= self.edge[place]
                bent = np.zeros(n)
                for weight, other in zip(self.curved[place], xs, strict=True):
                    bent += weight * other
                total += bent * x
        fits &= np.abs(index) <= self.farthest
        total += index + self.constant
        fits &= total > 0.0
        return np.where(fits, total, 1.0) ** (1.0 / self.power), fits

    def as_json(self) -> dict[str, Any]:
        """Return it as plain data from which `from_json` makes the very same surface."""
        return {
            "columns": list(self.columns),
            "centre": list(self.centre),
            "scale": list(self.scale),
            "constant": self.constant,
            "linear": list(self.linear),
            "curved": [list(row) for row in self.curved],
            "power": self.power,
            "farthest": self.farthest,
            "edge": list(self.edge),
            "checked": {
                name: getattr(self.checked, name) for name in ("runs", "mean", "rms", "worst", "spread")
            },
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Surface:
        """Return the surface that `as_json` wrote."""
        return cls(
            constant=float(data["constant"]),
            power=float(data["power"]),
            farthest=float(data["farthest"]),
            columns=tuple(data["columns"]),
            centre=tuple(data["centre"]),
            scale=tuple(data["scale"]),
            linear=tuple(data["linear"]),
            edge=tuple(data["edge"]),
            curved=tuple(tuple(row) for row in data["curved"]),
            checked=Checked(**data["checked"]),
        )


def needed(case: Case) -> int:
    """Return how many full runs it takes to fit and check a surface; for fewer runs it is not worth it."""
    effort = _effort(case)
    return effort.pilot + effort.checks


def _effort(case: Case) -> _Effort:
    return _USUAL if case.laid_out else _SURVEYED


def _figures(case: Case, values: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return what the motion depends on, (n, figures), and which variations stand as the car does."""
    rows, stands = chassis(case.frame, values)
    track = [at for at, name in enumerate(case.inputs.names) if name.startswith(("profile.", "finish"))]
    return np.concatenate((rows, values[:, track]), axis=1), stands


def fitted(case: Case, *, seed: int) -> Surface | None:
    """Return a surface fitted to full runs of a case's own draws.

    Args:
        case: the car and the track.
        seed: of the study; the draws are children of it that no chunk uses.

    Returns:
        The surface with the check of it, or None where too few runs reach the finish to fit one.
    """
    effort = _effort(case)
    values = drawn(case, normals(case, seed, _PILOT_KEY, rows=effort.pilot))
    time = run_in_full(case, values)[0]
    figures, _ = _figures(case, values)
    runs = np.isfinite(time)
    if runs.sum() < effort.pilot // 2:
        return None
    figures, time = figures[runs], time[runs]
    centre, scale = figures.mean(axis=0), figures.std(axis=0)
    moving = np.flatnonzero(scale > _STILL * np.maximum(np.abs(centre), _STILL))
    x = (figures[:, moving] - centre[moving]) / scale[moving]
    slopes = _least_squares(_design(x, 0), time[:, None] ** _POWERS[-1])[1:, 0]
    order = np.argsort(-np.abs(slopes), kind="stable")
    x, moving = x[:, order], moving[order]
    count = min(_CURVED, x.shape[1])
    power, solved = _best(x, time, count)
    linear = solved[1 : 1 + x.shape[1]]
    low, high = np.tril_indices(count)
    curved = np.zeros((count, count))
    curved[low, high] = solved[1 + x.shape[1] :]
    surface = Surface(
        columns=tuple(moving.tolist()),
        centre=tuple(centre[moving].tolist()),
        scale=tuple(scale[moving].tolist()),
        constant=float(solved[0]),
        linear=tuple(linear.tolist()),
        curved=tuple(tuple(row[: place + 1].tolist()) for place, row in enumerate(curved)),
        power=power,
        farthest=effort.reach * float(np.einsum("ki,i->k", x, linear).std()),
        edge=tuple((_EDGE * np.abs(x[:, :count]).max(axis=0)).tolist()),
        checked=Checked(runs=0, mean=0.0, rms=0.0, worst=0.0, spread=0.0),
    )
    return replace(surface, checked=_check(case, surface, seed=seed, count=effort.checks))


def _design(x: NDArray[np.float64], curved: int) -> NDArray[np.float64]:
    low, high = np.tril_indices(curved)
    return np.column_stack((np.ones(len(x)), x, x[:, low] * x[:, high]))


def _least_squares(design: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return least-squares solutions, (columns, right sides): figures that move together share their slope.

    By normal equations, a trace of ridge and plain elimination. A library's solver may round otherwise from
    one call to the next where it has several threads, and a study must come out the same to the last figure.
    """
    matrix = np.einsum("ki,kj->ij", design, design)
    right: NDArray[np.float64] = np.einsum("ki,kj->ij", design, y)
    matrix[np.diag_indices_from(matrix)] += _RIDGE * np.trace(matrix) / len(matrix)
    for row in range(len(matrix)):
        factor = (matrix[row + 1 :, row] / matrix[row, row])[:, None]
        matrix[row + 1 :, row + 1 :] -= factor * matrix[row, row + 1 :]
        right[row + 1 :] -= factor * right[row]
    for row in reversed(range(len(matrix))):
        known = (matrix[row, row + 1 :, None] * right[row + 1 :]).sum(axis=0)
        right[row] = (right[row] - known) / matrix[row, row]
    return right


def _best(
    x: NDArray[np.float64], time: NDArray[np.float64], curved: int
) -> tuple[float, NDArray[np.float64]]:
    """Return the power that predicts best a fifth of the runs it was not fitted to, and the fit to all."""
    design = _design(x, curved)
    last = len(x) * 4 // 5
    powers = np.array(_POWERS)
    solved = _least_squares(design[:last], time[:last, None] ** powers)
    tried = np.einsum("ki,ij->kj", design[last:], solved)
    times = np.where(tried > 0.0, tried, np.nan) ** (1.0 / powers)
    errors = np.nanmedian(np.abs(times - time[last:, None]), axis=0)
    power = float(powers[int(np.argmin(errors))])
    return power, _least_squares(design, time[:, None] ** power)[:, 0]


def _check(case: Case, surface: Surface, *, seed: int, count: int) -> Checked:
    values = drawn(case, normals(case, seed, _CHECK_KEY, rows=count))
    time = run_in_full(case, values)[0]
    guessed, fits = surface.times(_figures(case, values)[0])
    use = fits & np.isfinite(time)
    off = guessed[use] - time[use]
    if len(off) < 2:
        return Checked(runs=len(off), mean=math.inf, rms=math.inf, worst=math.inf, spread=0.0)
    return Checked(
        runs=len(off),
        mean=float(off.mean()),
        rms=float(np.sqrt((off * off).mean())),
        worst=float(np.abs(off).max()),
        spread=float(time[np.isfinite(time)].std()),
    )


def outcomes_of(case: Case, values: NDArray[np.float64], surface: Surface | None) -> Outcomes:
    """Return what comes of variations.

    Args:
        case: the car and the track.
        values: inputs of each variation [SI], (n, inputs).
        surface: stands in for the motion; None for full runs of all.

    Returns:
        Times, readings and how many times were worked out in full.
    """
    blocks = [values[first : first + _BLOCK] for first in range(0, len(values), _BLOCK)]
    readings = np.concatenate([gate_readings(case, block) for block in blocks], axis=1)
    if surface is None:
        time, stands, _ = run_in_full(case, values)
        return Outcomes(time=time, stands=stands, readings=readings, full=len(values))
    parts = []
    for block in blocks:
        figures, stood = _figures(case, block)
        parts.append((*surface.times(figures), stood))
    time, fits, stands = (np.concatenate(part) for part in zip(*parts, strict=True))
    time = np.where(stands, time, np.nan)
    odd = np.flatnonzero(~fits & stands)
    if len(odd):
        time[odd] = run_in_full(case, values[odd])[0]
    return Outcomes(time=time, stands=stands, readings=readings, full=len(odd))
