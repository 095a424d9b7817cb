"""A car as the compiled run wants it: which row of lanes holds what, and what all variations share."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Station
from rollwright.run.chassis import Frame
from rollwright.run.lanes import LANES
from rollwright.run.lanes_car import BLOCK, OTHER, OTHERS, ROLES, WEIGHTS, WHEEL, rows_of
from rollwright.run.losses import LOSS_NAMES

__all__ = ["model_of", "place_of"]

Numbers = NDArray[np.float64]
Indices = NDArray[np.int64]


def _roles(frame: Frame) -> list[int]:
    carrying = list(frame.carrying)
    return carrying + [index for index in range(ROLES) if index not in carrying]


def place_of(frame: Frame, name: str) -> int:
    """Return where the rows of lanes hold an input.

    Args:
        frame: what the cars share.
        name: of the input, as in `Inputs`.

    Returns:
        Its place in the first lane.
    """
    first, _, last = name.partition(".")
    stations = [station.value for station in Station]
    if first in stations:
        role = _roles(frame).index(stations.index(first))
        return role * BLOCK + WHEEL.index(last) * LANES
    if first == "weights":
        weight, _, part = last.partition(".")
        number = list(frame.car.weights).index(weight)
        row = ("mass", "position.x", "position.y", "position.z").index(part)
        return (WEIGHTS + 4 * number + row) * LANES
    return (OTHER + OTHERS.index(name)) * LANES


def model_of(frame: Frame, values: Numbers) -> tuple[Numbers, tuple[Numbers, Indices, Numbers], int]:
    """Return what the compiled run needs of the car as given.

    Args:
        frame: what the cars share.
        values: the inputs of the car as given, (p,).

    Returns:
        Its rows of lanes, all alike; what `prepare` takes as `shape`; and how many weights it has.
    """
    weights = len(frame.car.weights)
    lanes = np.zeros(rows_of(weights) * LANES)
    for name, index in frame.names.items():
        place = place_of(frame, name)
        lanes[place : place + LANES] = values[index]
    stations = list(Station)
    roles = _roles(frame)
    at = [stations[index] for index in roles]
    wheels = np.array(
        [
            [station.side for station in at],
            [station.is_front for station in at],
            [frame.seats[station].share_of_play for station in at],
            [frame.rim[index] for index in roles],
        ],
        dtype=np.float64,
    )
    kinds = [
        frame.pair_at_rear,
        at.index(frame.car.dominant) if frame.rail else -1,
        ("", "low", "high", "between").index(frame.rail),
        *(loss not in frame.off for loss in LOSS_NAMES),
        *(f"{station.value}.wheel_inertia" in frame.names for station in at),
    ]
    pitch, roll = frame.at_rest.pitch, frame.at_rest.roll
    up = np.array([math.sin(pitch), math.cos(pitch) * math.sin(roll), math.cos(pitch) * math.cos(roll)])
    return lanes, (wheels, np.array(kinds, dtype=np.int64), up), weights
