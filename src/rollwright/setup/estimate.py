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
from rollwright.geometry.seat import footing_of
from rollwright.quantity import Contribution, Quantity, Source
from rollwright.setup.explain import Strain, budget_of, misfit_of, notes_of, strains_of
from rollwright.setup.mode import Mode, Prior, mode_of, posterior
from rollwright.setup.predict import GATE_QUANTITIES, ReadingModel
from rollwright.setup.readings import Reading, ReadingKind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Estimate", "Position", "Prior", "Strain", "estimate", "position_of", "prior_of", "seats_at"]

_SEAT_ROUNDS = 6
_INDEX = {name: index for index, name in enumerate(dimension_names())}
_BENDS = [(_INDEX[f"{station.value}.bend"], _INDEX[f"{station.value}.clock"]) for station in Station]


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
        index = _INDEX[name]
        return Quantity(
            value=float(self.values[index]),
            uncertainty=float(np.linalg.norm(self.root[index])),
            source=Source.MEASURED,
            label=name,
        )

    def as_prior(self) -> Prior:
        """Return the estimate as the prior of the next one."""
        return _as_prior(self.values, self.root)


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """Where the car is, without the reasons: what a long chain of estimates hands on.

    Attributes:
        seats: where in its play each wheel was taken to run.
        carrying: index into `geometry.tripod.tripods` of the wheels that carry.
        values: best values of the dimensions, (p,), in the order of `dimension_names`.
        root: shape (p, q); covariance is `root @ root.T`.
        gates: height difference, drift and rail offset at the mode [m], (3,).
        gate_root: their derivatives along the columns of `root`, (3, q).
        errors: root of the covariance that the readings leave of the unit errors of `start`, (q, q); their
            most likely values are `mode.unknowns`.
        mode: the mode that it is read from.
        start: what was known before the readings.
    """

    seats: Mapping[Station, Seat]
    carrying: int
    values: NDArray[np.float64]
    root: NDArray[np.float64]
    gates: NDArray[np.float64]
    gate_root: NDArray[np.float64]
    errors: NDArray[np.float64]
    mode: Mode
    start: Prior

    def as_prior(self) -> Prior:
        """Return the position as the prior of the next one."""
        return _as_prior(self.values, self.root)

    def is_of(self, car: Car, prior: Prior) -> bool:
        """Return whether it is the position of just this car before any reading."""
        return self.start is prior and self.mode.bench.car is car and not self.mode.bench.readings

    def explained(self) -> Estimate:
        """Return the whole estimate: with the car as it is there, what strains it, budgets and notes."""
        mode, prior = self.mode, self.start
        covariance = self.errors @ self.errors
        deviations = np.sqrt(np.sum(self.root**2, axis=1))
        return Estimate(
            car=_car_with(mode.bench.car, self.values, deviations),
            seats=self.seats,
            values=self.values,
            root=self.root,
            gates=self.gates,
            gate_root=self.gate_root,
            readings=tuple(mode.bench.readings),
            misfit_probability=misfit_of(mode),
            strains=strains_of(prior, mode, covariance),
            budgets={
                name: budget_of(prior, mode, gate=mode.gate_slopes[row], covariance=covariance)
                for row, name in enumerate(GATE_QUANTITIES)
            },
            notes=notes_of(prior, mode, gates=mode.gate_slopes, covariance=covariance),
        )


def _as_prior(values: NDArray[np.float64], root: NDArray[np.float64]) -> Prior:
    sources = tuple(f"earlier estimate {number}" for number in range(1, root.shape[1] + 1))
    return Prior(mean=values, root=root, sources=sources)


def prior_of(car: Car, *, read: Collection[str] = ()) -> Prior:
    """Return what a car's file says of its dimensions before any reading.

    Args:
        car: the car.
        read: names of dimensions that a reading speaks of itself.

    Returns:
        Independent dimensions with the file's values and the standard uncertainties of
        `free_deviations`; all others are held fixed.
    """
    free = free_deviations(car, read=read)
    root = np.zeros((len(_INDEX), len(free)))
    for column, (name, deviation) in enumerate(free.items()):
        root[_INDEX[name], column] = deviation
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
    return position_of(car, readings, prior=start).explained()


def position_of(
    car: Car, readings: Sequence[Reading] = (), *, prior: Prior, unread: Position | None = None
) -> Position:
    """Return where a car really is, without the reasons; see `estimate`.

    Args:
        car: the car as described.
        readings: what was read.
        prior: what is known of the dimensions.
        unread: its position without any readings, where it is at hand: saves finding it anew. One of another
            car or from another prior is let be.

    Returns:
        The position; `explained` makes the whole estimate of it.

    Raises:
        CarCannotRest: the car as described cannot stand.
        ReadingUnusable: a reading is impossible on this car.
    """
    known = unread if unread is not None and unread.is_of(car, prior) else None
    standing = known or footing_of(car, prior.mean.tolist())
    if not readings:
        mode = mode_of(ReadingModel(car, standing.seats, ()), prior)
        return _position(mode, prior, standing.carrying)
    seats, first = standing.seats, None if known is None else known.mode
    tried: list[Mode] = []
    for _ in range(_SEAT_ROUNDS):
        mode = mode_of(ReadingModel(car, seats, tuple(readings)), prior, unread=first)
        better = footing_of(car, _values_at(mode, prior).tolist())
        if better.seats == seats:
            return _position(mode, prior, better.carrying)
        tried.append(mode)
        if any(better.seats == earlier.bench.seats for earlier in tried):
            break
        seats, first = better.seats, None
    # No seats agree with the car that they lead to, a close call: those that strain it the least are kept.
    mode = min(tried, key=lambda mode: mode.sum_of_squares)
    carrying = stances(car, _values_at(mode, prior)[None, :], seats=mode.bench.seats).carrying
    return _position(mode, prior, int(carrying[0]))


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
    return dict(footing_of(car, values.tolist()).seats)


def _car_with(car: Car, values: NDArray[np.float64], deviations: NDArray[np.float64]) -> Car:
    """Return a car with other dimensions; those that the estimate left alone keep their source."""
    changes: dict[str, Quantity] = {}
    for index, name in enumerate(dimension_names()):
        old = dimension_of(car, name)
        value = float(values[index])
        # What the estimate holds fixed keeps what the file says of it.
        uncertainty = float(deviations[index]) or old.uncertainty
        if value != old.value or uncertainty != old.uncertainty:
            changes[name] = Quantity(value=value, uncertainty=uncertainty, source=old.source, label=name)
    return with_dimensions(car, changes)


def _with_positive_bends(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the same car with every bend written as positive: a negative one is the same turned by half."""
    out = values.copy()
    for bend, clock in _BENDS:
        if out[bend] < 0.0:
            out[bend] = -out[bend]
            out[clock] += np.pi if out[clock] <= 0.0 else -np.pi
    return out


def _values_at(mode: Mode, prior: Prior) -> NDArray[np.float64]:
    return _with_positive_bends(prior.mean + prior.root @ mode.unknowns)


def _position(mode: Mode, prior: Prior, carrying: int) -> Position:
    if not (np.all(np.isfinite(mode.gates)) and np.all(np.isfinite(mode.gate_slopes))):
        raise ReadingUnusable(
            "the dominant wheel stands above the rail, or the car turns too sharply for the board",
            mend="check the heights, the rail and the bend in the car file",
        )
    root, gate_root, errors = prior.root, mode.gate_slopes, np.eye(prior.root.shape[1])
    if len(mode.narrow):
        _, errors = posterior(mode.narrow)
        root, gate_root = root @ errors, gate_root @ errors
    values = prior.mean + prior.root @ mode.unknowns
    for bend, _ in _BENDS:
        if values[bend] < 0.0:
            root = root.copy()
            root[bend] = -root[bend]
    return Position(
        seats=mode.bench.seats,
        carrying=carrying,
        values=_with_positive_bends(values),
        root=root,
        gates=mode.gates,
        gate_root=gate_root,
        errors=errors,
        mode=mode,
        start=prior,
    )
