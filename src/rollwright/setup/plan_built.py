"""A planned car as it would be built: its sizes put into it, how it stands, and the bushings of its drill."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from rollwright.car.dimensions import dimension_of, file_key, with_dimensions
from rollwright.car.keys import AXLE_KEYS, STATION_KEYS
from rollwright.car.model import Car, Station
from rollwright.geometry.axle import hole_axis
from rollwright.geometry.stance import Stance
from rollwright.quantity import Source
from rollwright.setup.plan_blocked import wheel_width
from rollwright.setup.plan_heights import lowest_corner
from rollwright.setup.plan_parts import Bushing, Figures

__all__ = ["askew_of", "bushing_of", "figures_of", "planned_car"]

_DRAWING = {key.name: key.drawing for key in (*STATION_KEYS, *AXLE_KEYS)}


def planned_car(car: Car, sizes: Mapping[str, float]) -> Car:
    """Return a car with sizes that are meant, each as uncertain as a drawing is.

    Args:
        car: the car.
        sizes: new values by the names of `car.dimensions` [m or rad].

    Returns:
        The car; those sizes are nominal, and none of them is assumed any more.

    Raises:
        MissingReference: a name is not a dimension.
    """
    new = {}
    for name, value in sizes.items():
        was = dimension_of(car, name)
        spread = was.uncertainty
        if was.source is not Source.NOMINAL:
            spread = _DRAWING[name.rpartition(".")[2]]
        new[name] = replace(
            was, value=value, uncertainty=spread, dof=math.inf, source=Source.NOMINAL, repeats=()
        )
    keys = {file_key(car, name) for name in sizes}
    built = with_dimensions(car, new)
    return replace(built, assumed=tuple(key for key in car.assumed if key not in keys))


def figures_of(car: Car, standing: Stance) -> Figures:
    """Return how a planned car stands.

    Args:
        car: the car.
        standing: its stance on the three wheels that are meant to carry it.

    Returns:
        The figures.
    """
    up_x = math.sin(standing.pitch)
    up_y = math.cos(standing.pitch) * math.sin(standing.roll)
    lowest = lowest_corner(car, standing.rear, up_x, up_y)
    return Figures(
        height_difference=standing.height_difference,
        drift=standing.drift.lateral,
        rail_offset=standing.rail_offset,
        ride_height=standing.rear,
        front_height=standing.front,
        ground_clearance=lowest,
        rail_clearance=lowest - car.rail.height.value,
        raise_height=standing.stations[car.raised].hanging_clearance,
        wheel_width=wheel_width(car),
    )


def askew_of(cant: float, sweep: float) -> float:
    """Return the angle of a hole out of square to the side face [rad], good for small angles as well.

    Args:
        cant: out of level [rad], positive outer end up, negative down.
        sweep: out of square to the centre line [rad], positive outer end forward, negative backward.

    Returns:
        The angle between the hole and the side face's normal [rad], never negative.
    """
    return math.atan2(math.hypot(math.tan(sweep), math.tan(cant) / math.cos(sweep)), 1.0)


def bushing_of(car: Car, station: Station, block: float) -> Bushing:
    """Return the bushing of one hole: its axis carried out from the relieved face to the uncut one and on.

    Args:
        car: the car.
        station: which hole.
        block: thickness of the guide block [m].

    Returns:
        The bushing.
    """
    corner = car.corners[station]
    axis = hole_axis(side=station.side, cant=corner.cant.value, sweep=corner.sweep.value)
    across = math.cos(corner.cant.value) * math.cos(corner.sweep.value)
    ahead, up = axis[0] / across, axis[2] / across
    cut, out = corner.relief.value, corner.relief.value + block
    return Bushing(
        station=station,
        cant=corner.cant.value,
        sweep=corner.sweep.value,
        askew=askew_of(corner.cant.value, corner.sweep.value),
        forward_at_face=corner.offset.value + cut * ahead,
        height_at_face=corner.hole_height.value + cut * up,
        forward_at_block=corner.offset.value + out * ahead,
        height_at_block=corner.hole_height.value + out * up,
        block=block,
    )
