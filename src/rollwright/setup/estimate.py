"""From readings to where the car really is: posterior mode and covariance of its dimensions.

Priors are the car file's values with their uncertainties, or the outcome of an earlier estimate.
Everything is solved in unknowns of unit variance, so that the covariance, the budget and the worth of
a further reading are all plain linear algebra at the mode.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names, dimension_of, free_deviations, with_dimensions
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import ReadingUnusable
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.quantity import Contribution, Quantity, Source
from rollwright.setup.explain import Strain, budget_of, misfit_of, notes_of, strains_of
from rollwright.setup.mode import Mode, Prior, mode_of, posterior
from rollwright.setup.predict import GATE_QUANTITIES, ReadingModel, derivatives, gate_values
from rollwright.setup.readings import Reading, ReadingKind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Estimate", "Prior", "Strain", "estimate", "prior_of", "seats_at"]

_SEAT_ROUNDS = 6


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


def prior_of(car: Car, *, read: Collection[str] = ()) -> Prior:
    """Return what a car's file says of its dimensions before any reading.

    Args:
        car: the car.
        read: names of dimensions that a reading speaks of itself.

    Returns:
        Independent dimensions with the file's values and the standard uncertainties of
        `free_deviations`; all others are held fixed.
    """
    names = dimension_names()
    free = free_deviations(car, read=read)
    root = np.zeros((len(names), len(free)))
    for column, (name, deviation) in enumerate(free.items()):
        root[names.index(name), column] = deviation
    return Prior(mean=dimension_values(car), root=root, sources=tuple(free))


def _bends_read(car: Car, readings: Sequence[Reading]) -> frozenset[str]:
    """Return the bends that readings speak of themselves: a tip's swing, or the bend as a size."""
    return frozenset(
        reading.dimension or f"{(reading.station or car.dominant).value}.bend"
        for reading in readings
        if reading.kind is ReadingKind.TIP_SWEEP
        or (reading.kind is ReadingKind.SIZE and reading.dimension.endswith(".bend"))
    )


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
    start = prior_of(car, read=_bends_read(car, readings)) if prior is None else prior
    seats = seats_at(car, start.mean)
    tried: list[Mode] = []
    for _ in range(_SEAT_ROUNDS):
        mode = mode_of(ReadingModel(car, seats, tuple(readings)), start)
        better = seats_at(car, _with_positive_bends(start.mean + start.root @ mode.unknowns))
        if better == seats:
            return _describe(mode, start)
        tried.append(mode)
        if any(better == earlier.bench.seats for earlier in tried):
            break
        seats = better
    # No seats agree with the car that they lead to, a close call: those that strain it the least are kept.
    return _describe(min(tried, key=lambda mode: mode.sum_of_squares), start)


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
        # What the estimate holds fixed keeps what the file says of it.
        told = 0.0 if deviations is None else float(deviations[index])
        uncertainty = told or old.uncertainty
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


def _describe(mode: Mode, prior: Prior) -> Estimate:
    bench = mode.bench
    values = prior.mean + prior.root @ mode.unknowns
    covariance, unit_root = posterior(mode.slopes)
    root = prior.root @ unit_root

    def gates(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        return gate_values(stances(bench.car, rows, seats=bench.seats))

    at_mode, gate_slopes = derivatives(gates, values, prior.root.T)
    if not (np.all(np.isfinite(at_mode)) and np.all(np.isfinite(gate_slopes))):
        raise ReadingUnusable(
            "the dominant wheel stands above the rail, or the car turns too sharply for the board",
            mend="check the heights, the rail and the bend in the car file",
        )
    flipped = _with_positive_bends(values)
    for bend, _ in _bend_rows():
        if values[bend] < 0.0:
            root[bend] = -root[bend]
    deviations = np.sqrt(np.sum(root**2, axis=1))
    return Estimate(
        car=_car_with(bench.car, flipped, deviations),
        seats=bench.seats,
        values=flipped,
        root=root,
        gates=at_mode,
        gate_root=gate_slopes @ unit_root,
        readings=tuple(bench.readings),
        misfit_probability=misfit_of(mode),
        strains=strains_of(prior, mode, covariance),
        budgets={
            name: budget_of(prior, mode, gate=gate_slopes[row], covariance=covariance)
            for row, name in enumerate(GATE_QUANTITIES)
        },
        notes=notes_of(prior, mode, gates=gate_slopes, covariance=covariance),
    )
