"""How well a car's stance is known from its file alone: first-order propagation, in plain Python."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from rollwright.car.dimensions import dimension_of, free_deviations, with_dimensions
from rollwright.car.model import Car
from rollwright.errors import CarCannotRest
from rollwright.geometry.stance import Stance, stance
from rollwright.quantity import Contribution, budget_from_sensitivities

__all__ = ["Spread", "spread_of"]

_STEP = 1e-6
_QUANTITIES = ("height_difference", "drift", "rail_offset")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard uncertainty of one quantity [m], and which dimension contributes how much, largest first."""

    uncertainty: float
    budget: tuple[Contribution, ...]


def _read(found: Stance) -> tuple[float, float, float]:
    nothing = math.nan
    return (
        found.height_difference,
        nothing if found.drift.lateral is None else found.drift.lateral,
        nothing if found.rail_offset is None else found.rail_offset,
    )


def spread_of(car: Car, found: Stance) -> Mapping[str, Spread]:
    """Return how well height difference, drift and rail offset follow from what the car's file says.

    Args:
        car: the car.
        found: its stance.

    Returns:
        By name, standard uncertainty and budget: derivatives by central differences of one micrometre or
        microradian, inputs taken as independent (JCGM 100:2008, 5.1.2). What cannot be read at all on
        this car is left out.
    """
    seats = {station: at.seat.seat for station, at in found.stations.items()}
    free = free_deviations(car)
    names, slopes, spreads = [], [], []
    for name in free:
        quantity = dimension_of(car, name)
        ends = []
        for step in (_STEP, -_STEP):
            nudged = with_dimensions(car, {name: replace(quantity, value=quantity.value + step)})
            try:
                ends.append(_read(stance(nudged, seats=seats)))
            except CarCannotRest:
                break
        if len(ends) == 2:
            names.append(name)
            spreads.append(free[name])
            slopes.append([(up - down) / (2.0 * _STEP) for up, down in zip(*ends, strict=True)])
    result = {}
    for index, quantity_name in enumerate(_QUANTITIES):
        column = [slope[index] for slope in slopes]
        if column and all(math.isfinite(value) for value in column):
            budget = budget_from_sensitivities(names, sensitivities=column, uncertainties=spreads)
            total = math.sqrt(sum(part.contribution**2 for part in budget))
            result[quantity_name] = Spread(uncertainty=total, budget=budget)
    return result
