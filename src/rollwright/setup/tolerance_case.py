"""What a tolerance analysis looks at: a car, its gates, and how much each of its dimensions scatters."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names, dimension_of, free_deviations, matters
from rollwright.car.keys import AXLE_KEYS, BOARD_KEYS, BODY_KEYS, RAIL_KEYS, STATION_KEYS, WHEEL_KEYS
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import OutOfRange
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.quantity import Source

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["GATES", "PLANES", "STANDS", "Hole", "ToleranceCase", "readings_of", "tolerance_case"]

GATES = ("level", "steer", "centre")
"""The gates that the stance decides, in the order of every array of readings here."""

STANDS = "stands"
"""What fails where a body stands on other wheels than the car as given, or has no such reading."""

PLANES = ("cant", "sweep", "hole_height")
"""What is drilled of a hole."""

_TARGETS = ("height_difference", "drift", "rail_offset")
_OF_THE_TRACK = ("rail.", "board.")
_HALF = 0.5
_LISTS = {"body": BODY_KEYS, "rail": RAIL_KEYS, "board": BOARD_KEYS}
_LOW = {
    **{f"{head}.{key.name}": (key.low, key.high) for head, keys in _LISTS.items() for key in keys},
    **{key.name: (key.low, key.high) for key in (*STATION_KEYS, *AXLE_KEYS, *WHEEL_KEYS)},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """One plane of one hole that carries: how it scatters, and how far it may be off.

    Attributes:
        station: which hole.
        plane: `cant`, `sweep` or `hole_height`.
        deviation: standard deviation of what is drilled [rad or m].
        tolerance: how far it may be off what was meant, either way [rad or m].
    """

    station: Station
    plane: str
    deviation: float
    tolerance: float

    @property
    def name(self) -> str:
        """Its dimension's name."""
        return f"{self.station.value}.{self.plane}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceCase:
    """What a tolerance analysis looks at.

    Attributes:
        car: the car as its file gives it.
        seats: where in its play each wheel runs, the same for all bodies.
        values: the dimensions, (p,).
        names: those that the stance of this car depends on.
        low: least possible value of each dimension, (p,).
        high: greatest, (p,).
        nominal: height difference, drift and rail offset of the car as given [m], (3,).
        carrying: which wheels carry it; see `Stances.carrying`.
        as_given: whether that car is inside all three gates; where it is not, they are laid about it, as if
            the bench had set it.
        targets: what is wanted of them [m], (3,).
        middle: middle of each gate here [m], (3,): the targets, or the nominal readings.
        tolerances: half the width of each [m], (3,).
        deviations: standard deviation of each dimension between bodies, (p,).
        drill: the part of it that the drill has, (p,): cant, sweep and height of all four holes.
        holes: the nine planes of the drill gate, hole by hole.
        drill_from_tolerance: whether the file has no scatter for them, so that half of each tolerance of the
            drill is taken.
        measured: planes of which a hole was measured, so that its scatter is that of a gauge.
        guessed: planes that nobody gave of some hole, so that its scatter is a guess.
    """

    car: Car
    seats: Mapping[Station, Seat]
    values: NDArray[np.float64]
    names: tuple[str, ...]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    nominal: NDArray[np.float64]
    carrying: int
    as_given: bool
    targets: NDArray[np.float64]
    middle: NDArray[np.float64]
    tolerances: NDArray[np.float64]
    deviations: NDArray[np.float64]
    drill: NDArray[np.float64]
    holes: tuple[Hole, ...]
    drill_from_tolerance: bool
    measured: tuple[str, ...]
    guessed: tuple[str, ...]

    def possible(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return rows of dimensions (n, p) with what cannot be negative at nothing, but for the bends."""
        return np.maximum(rows, np.where(self.low == 0.0, 0.0, -np.inf))

    def off(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return how far rows of dimensions (n, p) are off the middle of each gate, in tolerances, (3, n).

        NaN stands where a body stands on other wheels than the car as given, or has no such reading.
        """
        readings = readings_of(self, rows)
        return (readings - self.middle[:, None]) / self.tolerances[:, None]


def readings_of(case: ToleranceCase, rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return height difference, drift and rail offset [m] of rows of dimensions.

    Args:
        case: the car, its seats.
        rows: dimensions, (n, p).

    Returns:
        The readings by the exact geometry, (3, n); NaN where the body stands on other wheels than the car as
        given, or has no such reading.
    """
    found = stances(case.car, rows, seats=case.seats)
    readings = np.stack((found.height_difference, found.drift, found.rail_offset))
    readings[:, found.carrying != case.carrying] = np.nan
    return readings


def tolerance_case(car: Car) -> ToleranceCase:
    """Return what a tolerance analysis of a car looks at.

    Args:
        car: the car.

    Returns:
        The case. A straight pin is never quite straight, which counts as that much more cant and sweep, but
        not of the hole. Rail and board scatter not at all: they are the same for all bodies.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        OutOfRange: there is no drift or no rail offset to read, a gate is of no width, or nothing scatters.
    """
    stood = stance(car)
    seats = {station: at.seat.seat for station, at in stood.stations.items()}
    values = dimension_values(car)
    found = stances(car, values[None], seats=seats)
    nominal = np.stack((found.height_difference, found.drift, found.rail_offset))[:, 0]
    if not np.all(np.isfinite(nominal)):
        raise OutOfRange(
            "the car has no drift or no place on the rail, so there is no gate to miss",
            mend="see rollwright stance for the reason",
        )
    targets = np.array([getattr(car.targets, name).value for name in _TARGETS])
    tolerances = np.array([getattr(car.targets, name).tolerance for name in _TARGETS])
    for name, width in zip(_TARGETS, tolerances.tolist(), strict=True):
        if not width > 0.0:
            raise OutOfRange(
                "a tolerance of 0 lets no body pass", mend="give a width", key=f"targets.{name}.tolerance"
            )
    as_given = bool(np.all(np.abs(nominal - targets) <= tolerances))
    names = dimension_names()
    free = free_deviations(car)
    body = np.array([0.0 if name.startswith(_OF_THE_TRACK) else free.get(name, 0.0) for name in names])
    drill, from_tolerance = _drill(car)
    at = np.array([name.rpartition(".")[2] in PLANES for name in names])
    bounds = [_LOW.get(name, _LOW.get(name.rpartition(".")[2], (-math.inf, math.inf))) for name in names]
    low = np.array(
        [-math.inf if name.endswith(".bend") else bound[0] for name, bound in zip(names, bounds, strict=True)]
    )
    return ToleranceCase(
        car=car,
        seats=seats,
        values=values,
        names=tuple(name for name in names if matters(car, name)),
        low=low,
        high=np.array([bound[1] for bound in bounds]),
        nominal=nominal,
        carrying=int(found.carrying[0]),
        as_given=as_given,
        targets=targets,
        middle=targets if as_given else nominal,
        tolerances=tolerances,
        # Where the drill's scatter is not from the file, the pins' crookedness is all that the file has.
        deviations=np.where(at & from_tolerance, np.hypot(body, drill), body),
        drill=drill,
        holes=_holes(car, drill),
        drill_from_tolerance=from_tolerance,
        measured=_planes_from(car, Source.MEASURED),
        guessed=() if from_tolerance else _planes_from(car, Source.ASSUMED),
    )


def _carrying(car: Car) -> tuple[Station, ...]:
    return tuple(station for station in Station if station is not car.raised)


def _planes_from(car: Car, source: Source) -> tuple[str, ...]:
    return tuple(
        plane
        for plane in PLANES
        if any(dimension_of(car, f"{station.value}.{plane}").source is source for station in _carrying(car))
    )


def _drill(car: Car) -> tuple[NDArray[np.float64], bool]:
    """Return the drill's standard deviations, (p,), and whether they are half of its tolerances."""
    names = dimension_names()
    found = np.zeros(len(names))
    carrying = {station.value for station in _carrying(car)}
    holes = [place for place, name in enumerate(names) if name.rpartition(".")[2] in PLANES]
    for place in holes:
        found[place] = dimension_of(car, names[place]).uncertainty
    from_tolerance = not any(
        found[place] > 0.0 for place in holes if names[place].partition(".")[0] in carrying
    )
    if from_tolerance:
        for place in holes:
            found[place] = _HALF * getattr(car.drill, names[place].rpartition(".")[2]).value
    if not np.any(found > 0.0):
        raise OutOfRange(
            "nothing about the holes scatters: neither they nor [drill] have a width",
            mend="give uncertainties of cant, sweep and hole height, or tolerances under [drill]",
        )
    return found, from_tolerance


def _holes(car: Car, drill: NDArray[np.float64]) -> tuple[Hole, ...]:
    names = dimension_names()
    return tuple(
        Hole(
            station=station,
            plane=plane,
            deviation=float(drill[names.index(f"{station.value}.{plane}")]),
            tolerance=float(getattr(car.drill, plane).value),
        )
        for station in _carrying(car)
        for plane in PLANES
    )
