"""A simulated bench: a car that differs from its file, gauges with noise, hands that miss by a little.

For trying and measuring the advice; nothing here is used to give it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car, Seat, Station
from rollwright.quantity import Quantity, Source
from rollwright.setup.estimate import prior_of, seats_at
from rollwright.setup.hand import Hand
from rollwright.setup.outcome import MoveKind
from rollwright.setup.predict import GATE_QUANTITIES, ReadingModel
from rollwright.setup.readings import Reading, ReadingKind

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rollwright.setup.plan_moves import Move

__all__ = ["GAUGES", "SimulatedCar", "bench_session", "draw_car"]

GAUGES: Mapping[ReadingKind, float] = {
    ReadingKind.HEIGHT_DIFFERENCE: 0.04e-3,
    ReadingKind.DRIFT: 2.5e-3,
    ReadingKind.RAIL_OFFSET: 0.04e-3,
}
"""Standard uncertainty of the simulated gauges [m]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedCar:
    """A car whose true dimensions are known to the simulation only.

    Attributes:
        car: as its file describes it.
        values: its true dimensions, (p,), in the order of `dimension_names`.
    """

    car: Car
    values: NDArray[np.float64]

    def seats(self) -> dict[Station, Seat]:
        """Return where its wheels truly run."""
        return seats_at(self.car, self.values)

    def gates(self) -> NDArray[np.float64]:
        """Return its true height difference, drift and rail offset [m], (3,)."""
        bench = ReadingModel(self.car, self.seats(), [_reading(kind, 0.0) for kind in GAUGES])
        shown: NDArray[np.float64] = bench.predict(self.values[None, :])[0]
        return shown

    def inside(self) -> NDArray[np.bool_]:
        """Return whether each of the three truly lies inside its tolerance, (3,)."""
        targets = [getattr(self.car.targets, name) for name in GATE_QUANTITIES]
        wanted = np.array([target.value for target in targets])
        tolerance = np.array([target.tolerance for target in targets])
        inside: NDArray[np.bool_] = np.abs(self.gates() - wanted) <= tolerance
        return inside

    def read(
        self, rng: np.random.Generator, *, kinds: Iterable[ReadingKind] = tuple(GAUGES)
    ) -> tuple[Reading, ...]:
        """Return one noisy reading of each kind.

        Args:
            rng: the source of the noise.
            kinds: what to read.

        Returns:
            The readings.
        """
        true = dict(zip(GAUGES, self.gates(), strict=True))
        return tuple(_reading(kind, true[kind] + rng.normal(0.0, GAUGES[kind])) for kind in kinds)

    def after(self, moves: Sequence[Move], rng: np.random.Generator, *, hand: Hand) -> SimulatedCar:
        """Return the car after moves made by an imperfect hand.

        Args:
            moves: what is asked.
            rng: the source of the hand's errors.
            hand: their standard deviations.

        Returns:
            The car with what was achieved.
        """
        values = self.values.copy()
        column = {name: index for index, name in enumerate(dimension_names())}
        for move in moves:
            at = move.station.value
            if move.kind is MoveKind.BEND:
                bend = column[f"{at}.bend"]
                values[bend] = max(0.0, values[bend] + move.by + rng.normal(0.0, hand.bend))
            elif move.kind is MoveKind.TURN:
                values[column[f"{at}.clock"]] += move.by
            elif move.kind is MoveKind.WASHER:
                washer = column[f"{at}.washer"]
                left = max(0.0, values[washer] + move.by + rng.normal(0.0, hand.washer))
                # Washers that are all taken out are out, whatever they were thought to measure.
                values[washer] = 0.0 if move.by < 0.0 and move.to <= 0.0 else left
            elif move.kind is MoveKind.RELIEF:
                depth = max(0.0, move.by + rng.normal(0.0, hand.relief))
                values[column[f"{at}.relief"]] += depth
            else:
                values[column[f"{at}.hole_height"]] -= move.by + rng.normal(0.0, hand.shim)
        turned = {move.station for move in moves if move.kind in {MoveKind.BEND, MoveKind.TURN}}
        for station in turned:
            values[column[f"{station.value}.clock"]] += rng.normal(0.0, hand.turn)
        return replace(self, values=values)


def _reading(kind: ReadingKind, value: float) -> Reading:
    quantity = Quantity(value=float(value), uncertainty=GAUGES[kind], source=Source.MEASURED)
    return Reading(kind=kind, quantity=quantity, where=kind.words)


def draw_car(car: Car, rng: np.random.Generator) -> SimulatedCar:
    """Return a car that differs from its file as its file's uncertainties say.

    Args:
        car: as described.
        rng: the source of the differences.

    Returns:
        A car drawn from the prior of its file.
    """
    prior = prior_of(car)
    values = prior.mean + prior.root @ rng.standard_normal(prior.root.shape[1])
    # A pin cannot be thicker than the bore it runs in, nor a washer thinner than nothing.
    for index, name in enumerate(dimension_names()):
        if name.endswith(("washer", "play", "bend")):
            values[index] = max(0.0, values[index])
    return SimulatedCar(car=car, values=values)


def bench_session(car: Car, seed: int) -> dict[str, list[float]]:
    """Return what one evening at the bench shows of a car drawn from its file.

    Args:
        car: as described.
        seed: fixes the true car and the gauges' errors.

    Returns:
        Repeats [m] by kind of reading: one height difference, three drifts, one rail offset.
    """
    rng = np.random.default_rng(seed)
    true = draw_car(car, rng)
    shown = {reading.kind.value: [reading.quantity.value] for reading in true.read(rng)}
    for _ in range(2):
        (again,) = true.read(rng, kinds=[ReadingKind.DRIFT])
        shown[ReadingKind.DRIFT.value].append(again.quantity.value)
    return shown
