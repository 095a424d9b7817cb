"""What to write into a car's file after an evening: what was moved, and what the readings taught."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car
from rollwright.geometry.many import dimension_values, stances
from rollwright.quantity import Quantity, Source
from rollwright.setup.estimate import Estimate, seats_at
from rollwright.setup.hand import Hand
from rollwright.setup.plan_moves import Plan, after_moves, moved_dimensions
from rollwright.setup.predict import gate_values

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["written_dimensions"]

_LEARNT = ("hole_height", "sweep", "relief")
_STEPS = 12
_SETTLED = 1e-9
_PROBE = 1e-6


def written_dimensions(
    car: Car, estimate: Estimate, plan: Plan, *, hand: Hand | None = None
) -> Mapping[str, Quantity]:
    """Return the dimensions to write so that a car's file gives what is expected after the moves.

    A file holds one value for each dimension and nothing of how they hang together, and several wheels
    may share one description. So what the readings taught about the whole car is written where a file
    always has room for it and where it acts most plainly: the dominant hole's height takes up the
    level, its sweep the drift, and the relief there the rail offset.

    Args:
        car: the car as its file describes it.
        estimate: where it really is.
        plan: the moves.
        hand: how closely the hand hits what is asked.

    Returns:
        By name, value with the standard uncertainty that the estimate and the hand leave. Where no such
        three values can be found, only what the moves change.
    """
    names = dimension_names()
    values = dimension_values(car)
    moved = moved_dimensions(estimate, plan, hand=hand)
    for name, quantity in moved.items():
        values[names.index(name)] = quantity.value
    columns = [names.index(f"{car.dominant.value}.{name}") for name in _LEARNT]
    taught = _taught(car, values, columns, wanted=plan.outcome.means)
    if taught is None:
        return moved
    _, root = after_moves(estimate, plan, hand=hand)
    spread = np.sqrt(np.sum(root**2, axis=1))
    learnt = {
        names[index]: Quantity(
            value=float(taught[index]),
            uncertainty=float(spread[index]),
            source=Source.MEASURED,
            label=names[index],
        )
        for index in columns
    }
    return {**moved, **learnt}


def _taught(
    car: Car, values: NDArray[np.float64], columns: list[int], *, wanted: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """Return the dimensions with three of them chosen so that the gate quantities come out as wanted."""
    seats = seats_at(car, values)
    probes = np.zeros((len(columns), len(values)))
    probes[np.arange(len(columns)), columns] = _PROBE
    out = values.copy()
    for _ in range(_STEPS):
        found = gate_values(stances(car, np.concatenate((out[None, :], out + probes)), seats=seats))
        if not np.all(np.isfinite(found)):
            return None
        error = wanted - found[0]
        if np.abs(error).max() < _SETTLED:
            return out
        try:
            out[columns] += np.linalg.solve(((found[1:] - found[0]) / _PROBE).T, error)
        except np.linalg.LinAlgError:
            return None
    return None
