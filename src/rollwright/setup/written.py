"""What to write into a car's file after an evening: what was moved, and what the readings taught."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car
from rollwright.geometry.many import dimension_values, stances
from rollwright.quantity import Quantity, Source
from rollwright.setup.estimate import Estimate, seats_at
from rollwright.setup.hand import Hand
from rollwright.setup.plan_moves import Plan, moved_dimensions
from rollwright.setup.predict import gate_values

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Written", "written_dimensions"]

_LEARNT = ("hole_height", "cant", "sweep")
_STEPS = 12
_SETTLED = 1e-9
_PROBE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What to write into a car's file.

    Attributes:
        moved: dimensions that the moves change: the file's own value and the move together.
        fitted: how the dominant hole has to lie for the file's car to sit as it was read.
    """

    moved: Mapping[str, Quantity]
    fitted: Mapping[str, Quantity]


def written_dimensions(car: Car, estimate: Estimate, plan: Plan, *, hand: Hand | None = None) -> Written:
    """Return the dimensions to write so that a car's file gives what is expected after the moves.

    A file holds one value for each dimension and nothing of how they hang together, and several wheels
    may share one description. What was moved is written as the builder's own figure and the move, so
    that a caliper finds it. What the readings taught about the whole car is written where nobody has a
    caliper and a file always has room: how the dominant hole lies, its height, cant and sweep.

    Args:
        car: the car as its file describes it.
        estimate: where it really is.
        plan: the moves.
        hand: how closely the hand hits what is asked.

    Returns:
        Values with the standard uncertainty that the estimate and the hand leave; nothing fitted where no
        such hole can be found.
    """
    names = dimension_names()
    values = dimension_values(car)
    shift = plan.values - estimate.values
    moved = {}
    for name, quantity in moved_dimensions(estimate, plan, hand=hand).items():
        index = names.index(name)
        values[index] += shift[index]
        if name.endswith(("washer", "bend")):
            values[index] = max(0.0, float(values[index]))
        moved[name] = replace(quantity, value=float(values[index]))
    columns = [names.index(f"{car.dominant.value}.{name}") for name in _LEARNT]
    taught = _taught(car, values, columns, wanted=plan.outcome.means)
    if taught is None:
        return Written(moved=moved, fitted={})
    fitted = {
        names[index]: Quantity(
            value=float(taught[index]),
            uncertainty=float(estimate.deviations[index]),
            source=Source.NOMINAL,
            label=names[index],
        )
        for index in columns
    }
    return Written(moved={name: part for name, part in moved.items() if name not in fitted}, fitted=fitted)


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
