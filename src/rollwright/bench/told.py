"""The gate quantities of a car as far as it is known: values, uncertainty, and who carries."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.known import Known, check_possible
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import InputError
from rollwright.geometry.many import stances
from rollwright.judge.verdict import Verdict, judge
from rollwright.setup.estimate import Position, position_of
from rollwright.setup.predict import GATE_QUANTITIES, gate_values

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Told", "curvature_of", "told_at", "told_of", "verdict_of"]


@dataclass(frozen=True, slots=True)
class Told:
    """The gate quantities of a car: values, derivatives along the prior's columns, seats, and who carries.

    The position is what they were first told from; with it an estimate need not look at the same car again.
    """

    gates: NDArray[np.float64]
    root: NDArray[np.float64]
    seats: Mapping[Station, Seat]
    carrying: int
    position: Position


def told_of(known: Known) -> Told | None:
    """Return the gate quantities of a car; None where it shows none, as when it tips or turns too sharply."""
    try:
        check_possible(known)
        return told_at(position_of(known.car, prior=known.prior))
    except InputError:
        return None


def told_at(position: Position) -> Told:
    """Return the gate quantities of a car whose position is known."""
    return Told(position.gates, position.gate_root, position.seats, position.carrying, position)


def curvature_of(known: Known, told: Told, columns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the variance that the geometry's curvature adds along columns of the root, (3,).

    A bend that points straight down lifts the car most, whichever way it is turned from there: the slope is
    nothing, and the effect is not. For `g = a z + b z^2`, z of unit variance, the variance is `a^2 + 2 b^2`.
    Infinite where a standard deviation either way leads to a car that shows no such thing.
    """
    mean = known.prior.mean
    if columns.shape[1] == 0:
        return np.zeros(3)
    rows = np.concatenate((mean + columns.T, mean - columns.T))
    found = gate_values(stances(known.car, rows, seats=told.seats))
    second = 0.5 * (found[: columns.shape[1]] + found[columns.shape[1] :]) - told.gates
    variance: NDArray[np.float64] = np.sum(2.0 * np.where(np.isnan(second), np.inf, second) ** 2, axis=0)
    return variance


def verdict_of(car: Car, told: Told, gate: int, *, bent: float = 0.0) -> Verdict:
    """Return the verdict on one gate quantity; `bent` is a variance [m2] added to what is not known of it."""
    target = getattr(car.targets, GATE_QUANTITIES[gate])
    variance = float(told.root[gate] @ told.root[gate]) + bent
    return judge(
        value=float(told.gates[gate]),
        uncertainty=float(np.sqrt(variance)),
        low=target.low,
        high=target.high,
    )
