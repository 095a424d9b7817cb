"""The most likely car: where the pulls on the priors and the readings' residuals balance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.errors import ReadingUnusable
from rollwright.quantity import Quantity
from rollwright.setup.fit import Whitening, least_squares_fit
from rollwright.setup.predict import GATE_QUANTITIES, ReadingModel, derivatives
from rollwright.setup.readings import Reading, ReadingKind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Mode", "Prior", "mode_of", "posterior", "whitening_of"]

_ONE_READING = 1e-6
_CLOSE = 1e-5
"""Last step of the search [standard deviations]; the next one would be about its square."""
_NEAR = 0.3
"""A step that leads nowhere else any more [standard deviations]."""
_STEPS = 20
_LOOK_BACK = 3
_FEW = 20
_ABSURD = 100.0
"""More than any reading [m or rad], and less than what stands for one that a car cannot show."""
_BOARD = dimension_names().index("board.length")
_UNSHOWN = frozenset({"quantity", "where", "trace", "set_up", "common", "assumed"})
_model_of = attrgetter(*(field.name for field in fields(Reading) if field.name not in _UNSHOWN))
"""What the forward model asks of a reading that is no trace: readings that agree in it show the same."""
_GATES = tuple(
    Reading(kind=ReadingKind(name), quantity=Quantity(value=0.0, uncertainty=1.0), where=name)
    for name in GATE_QUANTITIES
)
"""The gate quantities are what three readings of them would show."""


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
        whitening: turns the channels' errors into independent ones of unit variance.
        residuals: observed less predicted, whitened, (m,).
        narrow: derivatives of as few whitened combinations of the channels as tell the unknowns all that the
            channels do, (k, q).
        different: derivatives of what differs between the channels, before whitening.
        places: where in `different` each channel's are, (m,).
        gates: height difference, drift and rail offset [m], (3,); NaN where the car shows no such thing.
        gate_slopes: their derivatives, (3, q).
    """

    bench: ReadingModel
    unknowns: NDArray[np.float64]
    whitening: Whitening
    residuals: NDArray[np.float64]
    narrow: NDArray[np.float64]
    different: NDArray[np.float64]
    places: NDArray[np.intp]
    gates: NDArray[np.float64]
    gate_slopes: NDArray[np.float64]

    @property
    def slopes(self) -> NDArray[np.float64]:
        """Whitened derivatives of the channels, (m, q)."""
        return self.whitening.applied(self.different[self.places])

    @property
    def sum_of_squares(self) -> float:
        """Sum of the squared pulls on priors and readings: twice the posterior's negative logarithm."""
        return float(self.unknowns @ self.unknowns + self.residuals @ self.residuals)


def mode_of(bench: ReadingModel, prior: Prior, *, unread: Mode | None = None) -> Mode:
    """Return the most likely car.

    Args:
        bench: the car, its seats and its readings.
        prior: what is known of its dimensions without the readings.
        unread: the mode of the same car, seats and prior without readings, where it is at hand.

    Returns:
        The least sum of squares, by the method of Levenberg and Marquardt; readings of one thing are
        predicted once, so that the effort is linear in their number.

    Raises:
        ReadingUnusable: a reading is impossible on this car, has no uncertainty, or repeats another's
            error to the last bit.
    """
    search = _Search(bench, prior, unread)
    first = search.start
    # Without readings, or without anything that could give way, there is nothing to search.
    if not (first.unknowns.size and first.residuals.size):
        return first
    return search.by_steps() or search.with_care()


class _Search:
    """The search for the mode, which begins where the prior is."""

    def __init__(self, bench: ReadingModel, prior: Prior, unread: Mode | None) -> None:
        self.bench = bench
        self.prior = prior
        self.model, self.places = _each_once(bench)
        self.observed = bench.observed()
        if unread is not None and len(self.model.readings) == len(_GATES):
            shown, slopes = unread.gates, unread.gate_slopes
        else:
            shown, slopes = derivatives(self.model.predict, prior.mean, prior.root.T)
        if _doubtful(bench, shown[self.places], board=float(prior.mean[_BOARD])):
            bench.check(prior.mean)
        self.whitening = whitening_of(bench.owners())
        self.across, self.narrowing = self._narrowing(len(shown))
        self.start = self.mode(np.zeros(prior.root.shape[1]), shown, slopes)

    def _narrowing(self, count: int) -> tuple[NDArray[np.float64] | None, NDArray[np.float64] | None]:
        """Return Q, (m, k), and R: what differs is whitened by `Q R`. None where the channels are few."""
        if len(self.places) <= max(count, _FEW):
            return None, None
        spread = np.zeros((len(self.places), count))
        spread[np.arange(len(self.places)), self.places] = 1.0
        across, narrowing = np.linalg.qr(self.whitening.applied(spread))
        return across, narrowing

    def mode(
        self, unknowns: NDArray[np.float64], shown: NDArray[np.float64], slopes: NDArray[np.float64]
    ) -> Mode:
        """Return how things stand where the model shows this, with these slopes."""
        gates = shown[: len(_GATES)]
        # A reading that no car nearby can show says nothing about which way to go.
        different = np.where(np.isfinite(slopes), slopes, 0.0)
        return Mode(
            bench=self.bench,
            unknowns=unknowns,
            whitening=self.whitening,
            residuals=self.whitening.applied(self.observed - shown[self.places]),
            narrow=self.whitening.applied(different[self.places])
            if self.narrowing is None
            else self.narrowing @ different,
            different=different,
            places=self.places,
            gates=np.where(np.abs(gates) < _ABSURD, gates, np.nan),
            gate_slopes=slopes[: len(_GATES)],
        )

    def at(self, unknowns: NDArray[np.float64]) -> Mode:
        """Return how things stand at some unknowns."""
        there = self.prior.mean + self.prior.root @ unknowns
        return self.mode(unknowns, *derivatives(self.model.predict, there, self.prior.root.T))

    def step(self, now: Mode) -> NDArray[np.float64]:
        """Return the step of Gauss and Newton: to the least sum of squares if all went on straight."""
        out, sizes, along = np.linalg.svd(now.narrow, full_matrices=False)
        residuals = now.residuals if self.across is None else self.across.T @ now.residuals
        wanted = out.T @ (residuals + now.narrow @ now.unknowns)
        found: NDArray[np.float64] = along.T @ (sizes / (1.0 + sizes**2) * wanted) - now.unknowns
        return found

    def by_steps(self) -> Mode | None:
        """Return the mode by steps of Gauss and Newton, or None where they do not lead to it straight away.

        As long as they are large they are those that the careful method takes: none where it would shorten
        one, because it brings less than a quarter of what it promised (J. J. More, The Levenberg-Marquardt
        Algorithm: Implementation and Theory, 1978; from memory). Small ones are corrected by what the last
        few show of how the next depends on where one is, which does not change where they end (D. G.
        Anderson, Iterative Procedures for Nonlinear Integral Equations, J. ACM 12, 1965; from memory).
        """
        now, last = self.start, np.inf
        places: list[NDArray[np.float64]] = []
        steps: list[NDArray[np.float64]] = []
        for _ in range(_STEPS):
            step = self.step(now)
            by_readings = float(np.linalg.norm(now.narrow @ step))
            length = float(np.linalg.norm(step))
            if np.hypot(length, by_readings) <= _CLOSE:
                return now
            if not length < last:
                return None
            places, steps, last = [*places[-_LOOK_BACK:], now.unknowns], [*steps[-_LOOK_BACK:], step], length
            there = now.unknowns + step
            if len(steps) > 1 and length < _NEAR:
                bent, moved = np.diff(steps, axis=0).T, np.diff(places, axis=0).T
                there -= (moved + bent) @ np.linalg.lstsq(bent, step, rcond=None)[0]
            after = self.at(there)
            if length >= _NEAR:
                brought = now.sum_of_squares - after.sum_of_squares
                if not brought >= 0.25 * (length**2 + by_readings**2):
                    return None
            now = after
        return None

    def with_care(self) -> Mode:
        """Return the mode by the method with all its safeguards."""

        def residuals(z: NDArray[np.float64]) -> NDArray[np.float64]:
            there = self.prior.mean + self.prior.root @ z
            shown = self.model.predict(there[None, :])[0, self.places]
            return np.concatenate((z, self.whitening.applied(shown - self.observed)))

        def jacobian(z: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.concatenate((np.eye(len(z)), self.at(z).slopes))

        start = self.start.unknowns
        # The unknowns are of one size already; scaled by a sharp reading's slopes the search goes astray.
        found = least_squares_fit(
            residuals, jacobian, start=start, scale=np.ones(len(start)), tolerance=1e-10
        )
        return self.at(found.values)


def _each_once(bench: ReadingModel) -> tuple[ReadingModel, NDArray[np.intp]]:
    """Return a model of the gate quantities and each different reading, and each channel's place in it."""
    different = list(_GATES)
    places = {_model_of(reading): place for place, reading in enumerate(different)}
    width = len(different)
    channels: list[int] = []
    for reading in bench.readings:
        points = max(0, len(reading.trace) - 2)
        place = width if reading.trace else places.setdefault(_model_of(reading), width)
        if place == width:
            different.append(reading)
            width += points if reading.trace else 1
        channels += range(place, place + (points if reading.trace else 1))
    return ReadingModel(bench.car, bench.seats, different), np.array(channels, dtype=np.intp)


def _doubtful(bench: ReadingModel, shown: NDArray[np.float64], *, board: float) -> bool:
    """Return whether a reading might be impossible, which `ReadingModel.check` then tells for certain."""
    if not np.all(np.abs(shown) < _ABSURD):
        return True
    return any(
        abs(reading.quantity.value) >= (board if reading.distance is None else reading.distance)
        for reading in bench.readings
    )


def whitening_of(owners: Sequence[Reading]) -> Whitening:
    """Return what makes the errors of readings independent, of unit variance.

    Args:
        owners: the reading that each channel belongs to.

    Returns:
        The whitening of their channels.

    Raises:
        ReadingUnusable: one has no uncertainty, or repeats another's error to the last bit.
    """
    own = np.array([owner.quantity.uncertainty for owner in owners])
    common = np.array([owner.common if owner.set_up and not owner.trace else 0.0 for owner in owners])
    size = np.hypot(own, common)
    for owner, deviation in zip(owners, size, strict=True):
        if not deviation > 0.0:
            raise ReadingUnusable(
                "a reading without any uncertainty leaves no room for anything else",
                mend="say how well it was read, as in uncertainty = 0.05",
                key=owner.where,
            )
    members: dict[str, list[int]] = {}
    for channel in np.flatnonzero(common):
        members.setdefault(owners[int(channel)].set_up, []).append(int(channel))
    shared = [np.array(rows) for rows in members.values()]
    if any(_one_reading(own[rows] / size[rows], common[rows] / size[rows]) for rows in shared):
        raise ReadingUnusable(
            "two readings share their whole error, so they are one reading",
            mend="give each its own uncertainty beside the common one",
        )
    # One of a set-up may have no error but the common one; a ten-millionth of that changes no figure.
    return Whitening.of(np.maximum(own, 1e-7 * size), [(rows, common[rows]) for rows in shared])


def _one_reading(own: NDArray[np.float64], common: NDArray[np.float64]) -> bool:
    """Return whether those before it tell one of a set-up's readings but for a millionth of its error."""
    with np.errstate(divide="ignore"):
        told = np.cumsum((common / own) ** 2)
    left = own**2 + common**2 / (1.0 + np.concatenate(([0.0], told[:-1])))
    return bool(left.min() < _ONE_READING**2)


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
