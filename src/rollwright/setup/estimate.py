"""From readings to where the car really is: posterior mode and covariance of its dimensions.

Priors are the car file's values with their uncertainties, or the outcome of an earlier estimate.
Everything is solved in unknowns of unit variance, so that the covariance, the budget and the worth of
a further reading are all plain linear algebra at the mode.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names, dimension_of, matters, with_dimensions
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import ReadingUnusable
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.quantity import Contribution, Quantity, Source
from rollwright.setup.fit import least_squares_fit
from rollwright.setup.predict import GATE_QUANTITIES, Bench, derivatives, gate_values
from rollwright.setup.readings import Reading

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Estimate", "Prior", "Strain", "estimate", "prior_of", "seats_at"]

_SEAT_ROUNDS = 3
_ODD = 0.01
_STRAINED = 2.5
_ALIKE = 0.9
_UNSEEN = 0.98


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
class Strain:
    """How far the fit had to pull something from what was said of it.

    Attributes:
        name: of the reading, or of the dimension as the file gives it.
        ratio: pull over its own standard deviation; 1 is ordinary, 3 is odd.
    """

    name: str
    ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """Where the car is, as far as file and readings tell.

    Attributes:
        car: the car at the mode.
        seats: where in its play each wheel was taken to run.
        values: best values of the dimensions, (p,), in the order of `dimension_names`.
        root: shape (p, q); covariance is `root @ root.T`.
        gates: height difference, drift and rail offset at the mode [m], (3,).
        gate_root: their derivatives along the columns of `root`, (3, q).
        readings: the readings it rests on.
        misfit_probability: chance of a disagreement at least this large between file and readings if
            every stated uncertainty is right; 1 without readings.
        strains: the readings and dimensions that were pulled the most, largest first.
        budgets: for each gate quantity, which input contributes how much.
        notes: what the readings cannot tell, in plain words.
    """

    car: Car
    seats: Mapping[Station, Seat]
    values: NDArray[np.float64]
    root: NDArray[np.float64]
    gates: NDArray[np.float64]
    gate_root: NDArray[np.float64]
    readings: tuple[Reading, ...]
    misfit_probability: float
    strains: tuple[Strain, ...]
    budgets: Mapping[str, tuple[Contribution, ...]]
    notes: tuple[str, ...]

    @property
    def covariance(self) -> NDArray[np.float64]:
        """Covariance of the dimensions, (p, p)."""
        return self.root @ self.root.T

    @property
    def deviations(self) -> NDArray[np.float64]:
        """Standard uncertainty of each dimension, (p,)."""
        found: NDArray[np.float64] = np.sqrt(np.sum(self.root**2, axis=1))
        return found

    @property
    def gate_covariance(self) -> NDArray[np.float64]:
        """Covariance of height difference, drift and rail offset, (3, 3)."""
        return self.gate_root @ self.gate_root.T

    def dimension(self, name: str) -> Quantity:
        """Return one dimension as estimated.

        Args:
            name: a name from `dimension_names`.

        Returns:
            Its best value and standard uncertainty.
        """
        index = dimension_names().index(name)
        return Quantity(
            value=float(self.values[index]),
            uncertainty=float(np.linalg.norm(self.root[index])),
            source=Source.MEASURED,
            label=name,
        )

    def as_prior(self) -> Prior:
        """Return the estimate as the prior of the next one."""
        sources = tuple(f"earlier estimate {number}" for number in range(1, self.root.shape[1] + 1))
        return Prior(mean=self.values, root=self.root, sources=sources)


def prior_of(car: Car) -> Prior:
    """Return what a car's file says of its dimensions before any reading.

    Args:
        car: the car.

    Returns:
        Independent dimensions with the file's values and standard uncertainties; those without
        uncertainty, or without any influence on the car, are held fixed.
    """
    names = dimension_names()
    deviations = np.array([dimension_of(car, name).uncertainty for name in names])
    free = [index for index, name in enumerate(names) if deviations[index] > 0.0 and matters(car, name)]
    root = np.zeros((len(names), len(free)))
    root[free, np.arange(len(free))] = deviations[free]
    return Prior(mean=dimension_values(car), root=root, sources=tuple(names[index] for index in free))


def estimate(car: Car, readings: Sequence[Reading] = (), *, prior: Prior | None = None) -> Estimate:
    """Return where a car really is, from what its file says and what was read at the bench.

    Args:
        car: the car as described.
        readings: what was read.
        prior: what is known of the dimensions; left out, the file's values with their uncertainties.

    Returns:
        The posterior mode and its covariance: the least weighted sum of squares of the pulls on the
        priors and of the readings' residuals, covariance by linearisation at the mode. Valid where the
        geometry is close to linear over the uncertainties, which bends of degrees and lengths of
        millimetres satisfy; a trace's heading is taken as small.

    Raises:
        CarCannotRest: the car as described cannot stand.
        ReadingUnusable: a reading is impossible on this car.
    """
    start = prior_of(car) if prior is None else prior
    seats = seats_at(car, start.mean)
    for _ in range(_SEAT_ROUNDS):
        bench = Bench(car, seats, tuple(readings))
        unknowns, halved = _solve(bench, start)
        values = _with_positive_bends(start.mean + start.root @ unknowns)
        better = seats_at(car, values)
        if better == seats:
            break
        seats = better
    return _describe(bench, start, unknowns, halved)


def seats_at(car: Car, values: NDArray[np.float64]) -> dict[Station, Seat]:
    """Return where in its play each wheel runs on a car with other dimensions.

    Args:
        car: the car; a seat that it gives is kept.
        values: dimensions, (p,).

    Returns:
        The seats.

    Raises:
        CarCannotRest: the car cannot stand.
    """
    found = stance(_car_with(car, values))
    return {station: at.seat.seat for station, at in found.stations.items()}


def _car_with(car: Car, values: NDArray[np.float64], deviations: NDArray[np.float64] | None = None) -> Car:
    """Return a car with other dimensions; those that the estimate left alone keep their source."""
    changes: dict[str, Quantity] = {}
    for index, name in enumerate(dimension_names()):
        old = dimension_of(car, name)
        value = float(values[index])
        uncertainty = old.uncertainty if deviations is None else float(deviations[index])
        if value != old.value or uncertainty != old.uncertainty:
            changes[name] = Quantity(value=value, uncertainty=uncertainty, source=old.source, label=name)
    return with_dimensions(car, changes)


def _bend_rows() -> list[tuple[int, int]]:
    names = dimension_names()
    return [
        (names.index(f"{station.value}.bend"), names.index(f"{station.value}.clock")) for station in Station
    ]


def _with_positive_bends(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the same car with every bend written as positive: a negative one is the same turned by half."""
    out = values.copy()
    for bend, clock in _bend_rows():
        if out[bend] < 0.0:
            out[bend] = -out[bend]
            out[clock] += np.pi if out[clock] <= 0.0 else -np.pi
    return out


def _solve(bench: Bench, prior: Prior) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the mode in unit unknowns, (q,), and the readings' whitened derivatives there, (m, q)."""
    bench.check(prior.mean)
    count = prior.root.shape[1]
    observed = bench.observed()
    if len(observed) == 0:
        return np.zeros(count), np.zeros((0, count))
    try:
        whiten = np.linalg.inv(np.linalg.cholesky(bench.noise()))
    except np.linalg.LinAlgError:
        raise ReadingUnusable(
            "two readings share their whole error, so they are one reading",
            mend="give each its own uncertainty beside the common one",
        ) from None

    def residuals(z: NDArray[np.float64]) -> NDArray[np.float64]:
        predicted = bench.predict((prior.mean + prior.root @ z)[None, :])[0]
        return np.concatenate((z, whiten @ (predicted - observed)))

    def slopes(z: NDArray[np.float64]) -> NDArray[np.float64]:
        there = prior.mean + prior.root @ z
        return whiten @ derivatives(bench.predict, there, prior.root.T)[1]

    def jacobian(z: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.concatenate((np.eye(count), slopes(z)))

    fit = least_squares_fit(residuals, jacobian, start=np.zeros(count), tolerance=1e-10)
    return fit.values, fit.jacobian[count:]


def _describe(
    bench: Bench, prior: Prior, unknowns: NDArray[np.float64], slopes: NDArray[np.float64]
) -> Estimate:
    count = len(unknowns)
    values = prior.mean + prior.root @ unknowns
    # Posterior covariance of the unit unknowns, (I + H'H)^-1, and its Cholesky root.
    covariance = np.linalg.inv(np.eye(count) + slopes.T @ slopes).astype(np.float64)
    root = prior.root @ np.linalg.cholesky(covariance)

    def gates(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        return gate_values(stances(bench.car, rows, seats=bench.seats))

    at_mode, gate_slopes = derivatives(gates, values, prior.root.T)
    if not np.all(np.isfinite(at_mode)):
        raise ReadingUnusable(
            "the dominant wheel stands above the rail, or the car turns too sharply for the board",
            mend="check the heights, the rail and the bend in the car file",
        )
    flipped = _with_positive_bends(values)
    for bend, _ in _bend_rows():
        if values[bend] < 0.0:
            root[bend] = -root[bend]
    deviations = np.sqrt(np.sum(root**2, axis=1))
    owners = bench.owners()
    residuals = _residuals(bench, values)
    return Estimate(
        car=_car_with(bench.car, flipped, deviations),
        seats=bench.seats,
        values=flipped,
        root=root,
        gates=at_mode,
        gate_root=gate_slopes @ np.linalg.cholesky(covariance),
        readings=tuple(bench.readings),
        misfit_probability=_misfit(unknowns, residuals),
        strains=_strains(prior, unknowns, covariance, owners, residuals, slopes),
        budgets={
            name: _budget(prior, gate_slopes[row], covariance, slopes, owners)
            for row, name in enumerate(GATE_QUANTITIES)
        },
        notes=_notes(prior, gate_slopes, covariance, slopes),
    )


def _residuals(bench: Bench, values: NDArray[np.float64]) -> NDArray[np.float64]:
    observed = bench.observed()
    if len(observed) == 0:
        return observed
    whiten = np.linalg.inv(np.linalg.cholesky(bench.noise()))
    found: NDArray[np.float64] = whiten @ (observed - bench.predict(values[None, :])[0])
    return found


def _misfit(unknowns: NDArray[np.float64], residuals: NDArray[np.float64]) -> float:
    """Chance of a larger sum of squares: each reading adds one degree of freedom, each prior costs none."""
    if len(residuals) == 0:
        return 1.0
    from scipy.special import chdtrc  # noqa: PLC0415 - costs start-up time

    return float(chdtrc(len(residuals), float(unknowns @ unknowns + residuals @ residuals)))


def _strains(
    prior: Prior,
    unknowns: NDArray[np.float64],
    covariance: NDArray[np.float64],
    owners: tuple[Reading, ...],
    residuals: NDArray[np.float64],
    slopes: NDArray[np.float64],
) -> tuple[Strain, ...]:
    # A pull is compared with the size it has by chance: 1 - posterior variance for a prior,
    # and likewise for a reading (standardised residuals of a linear model).
    expected = np.sqrt(np.maximum(1.0 - np.diag(covariance), 1e-12))
    pulls = [
        Strain(name=name, ratio=float(abs(pull) / spread))
        for name, pull, spread in zip(prior.sources, unknowns, expected, strict=True)
        if spread > 0.05
    ]
    left = np.maximum(1.0 - np.sum((slopes @ covariance) * slopes, axis=1), 1e-12)
    pulls += [
        Strain(name=owner.where, ratio=float(abs(residual) / np.sqrt(spread)))
        for owner, residual, spread in zip(owners, residuals, left, strict=True)
        if spread > 0.0025
    ]
    return tuple(sorted(pulls, key=lambda strain: -strain.ratio)[:5])


def _budget(
    prior: Prior,
    gate: NDArray[np.float64],
    covariance: NDArray[np.float64],
    slopes: NDArray[np.float64],
    owners: tuple[Reading, ...],
) -> tuple[Contribution, ...]:
    """Split a gate's variance over the independent inputs: each prior and each reading.

    The mode is linear in them with gains `C` and `C H'`, so the squares of the gains add up to the
    posterior variance exactly.
    """
    by_prior = gate @ covariance
    by_channel = by_prior @ slopes.T
    parts: dict[str, float] = dict(zip(prior.sources, by_prior**2, strict=True))
    for owner, share in zip(owners, by_channel**2, strict=True):
        parts[owner.where] = parts.get(owner.where, 0.0) + float(share)
    total = sum(parts.values()) or 1.0
    scales = dict(zip(prior.sources, np.sqrt(np.sum(prior.root**2, axis=0)), strict=True))
    scales |= {owner.where: owner.quantity.uncertainty for owner in owners}
    found = [
        Contribution(
            name=name,
            sensitivity=float(np.sqrt(part) / scales[name]) if scales[name] else 0.0,
            uncertainty=float(scales[name]),
            contribution=float(np.sqrt(part)),
            share=float(part / total),
        )
        for name, part in parts.items()
    ]
    return tuple(sorted(found, key=lambda part: -part.share))


def _notes(
    prior: Prior,
    gate_slopes: NDArray[np.float64],
    covariance: NDArray[np.float64],
    slopes: NDArray[np.float64],
) -> tuple[str, ...]:
    """Say what the readings do not tell: nothing read, an input nobody saw, two that only show as a sum."""
    notes = []
    if len(slopes) == 0:
        return ("Nothing has been read yet: all of this is the car file alone.",)
    words = {"height_difference": "height difference", "drift": "drift", "rail_offset": "rail offset"}
    for row, name in enumerate(GATE_QUANTITIES):
        before = float(gate_slopes[row] @ gate_slopes[row])
        after = float(gate_slopes[row] @ covariance @ gate_slopes[row])
        if before > 0.0 and after > _UNSEEN**2 * before:
            notes.append(f"No reading tells the {words[name]}: it is what the car file says.")
    if prior.sources and prior.sources[0].startswith("earlier"):
        return tuple(notes)
    notes += _alike(prior, covariance, gate_slopes)
    return tuple(notes)


def _alike(prior: Prior, covariance: NDArray[np.float64], gate_slopes: NDArray[np.float64]) -> list[str]:
    """Name pairs of dimensions of which the readings see only the sum or the difference."""
    spread = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(spread, spread)
    # Only dimensions that move a gate noticeably are worth a builder's attention.
    weight = np.max(np.abs(gate_slopes), axis=0)
    pairs = [
        (abs(correlation[i, j]), i, j)
        for i in range(len(spread))
        for j in range(i + 1, len(spread))
        if abs(correlation[i, j]) > _ALIKE and min(weight[i], weight[j]) > 0.05 * weight.max()
    ]
    return [
        f"The readings cannot tell {_plain(prior.sources[i])} from {_plain(prior.sources[j])}: "
        "they see only the two together."
        for _, i, j in sorted(pairs, reverse=True)[:2]
    ]


def _plain(name: str) -> str:
    place, _, last = name.partition(".")
    return f"the {place.replace('_', ' ')} {last.replace('_', ' ')}"
