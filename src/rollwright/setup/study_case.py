"""What a study draws from: one car on one track, and everything about them that is not known exactly."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from rollwright.car.dimensions import dimension_names
from rollwright.car.keys import AXLE_KEYS, BODY_KEYS, STATION_KEYS, WHEEL_KEYS
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import OutOfRange
from rollwright.geometry.many import stances
from rollwright.geometry.stance import stance
from rollwright.run.chassis import Frame, frame_of
from rollwright.run.inputs import GRAVITY, PROFILE, Inputs, inputs_of
from rollwright.run.losses import Losses, losses_of
from rollwright.run.once import run_many
from rollwright.run.track import Track

__all__ = [
    "GATES",
    "Case",
    "Outcomes",
    "case_of",
    "drawn",
    "gate_readings",
    "inside",
    "normals",
    "run_in_full",
]

GATES = ("level", "drift", "rail")
"""The gates that a drawing tolerance can miss, in the order of every array of readings here."""

_TARGETS = ("height_difference", "drift", "rail_offset")
_SIGNED = frozenset({"drag_area_per_pitch", "drag_area_per_height"})
_PLACES = (".x", ".y", ".z")
_NEVER = 1e-9
# With so many nodes a time is off by under a tenth of a microsecond; surveyed stretches are short.
_NODES, _NODES_SURVEYED = 6, 4
_SHIFTED = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What a study draws from.

    Attributes:
        car: the car as its file gives it.
        track: the track, on one lane.
        losses: coefficients of the losses.
        frame: what all variations of the car share.
        inputs: names, values and standard uncertainties of everything the run depends on.
        free: indices of the inputs that are not known exactly.
        below: for each of these, the chance that a normal draw would be negative although the input cannot
            be; 0 where it can.
        seats: where in its play each wheel runs, the same for all variations.
        targets: middle of each gate [m], (3, 1).
        tolerances: half its width [m], (3, 1).
        nominal: readings of the car as given [m], (3, 1).
    """

    car: Car
    track: Track
    losses: Losses
    frame: Frame
    inputs: Inputs
    free: NDArray[np.int64]
    below: NDArray[np.float64]
    seats: Mapping[Station, Seat]
    targets: NDArray[np.float64]
    tolerances: NDArray[np.float64]
    nominal: NDArray[np.float64]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the inputs that are drawn, in the order of `free`."""
        return tuple(self.inputs.names[index] for index in self.free)

    @property
    def laid_out(self) -> bool:
        """Whether the track was laid out as ramp, arc and flat, and not surveyed."""
        return f"profile.{PROFILE[0]}" in self.inputs.names

    @property
    def moved_by_cutting(self) -> Mapping[str, float]:
        """Mean [SI] of each drawn input that is noticeably not its value, because it cannot be negative."""
        found = {}
        for name, index, below in zip(self.names, self.free, self.below, strict=True):
            if below > _SHIFTED:
                value, deviation = float(self.inputs.values[index]), float(self.inputs.deviations[index])
                cut = -value / deviation
                density = math.exp(-0.5 * cut * cut) / math.sqrt(2.0 * math.pi)
                found[name] = value + deviation * density / (1.0 - float(below))
        return found

    def fingerprint(self, *, seed: int, nominal: float) -> str:
        """Return what tells this car, track and seed from any other.

        Args:
            seed: of the study.
            nominal: finish time of the car as its file gives it [s], so that a changed model is told as well.

        Returns:
            A hexadecimal number.
        """
        parts = [self.car.name, self.track.name, str(seed), f"{nominal:.9g}", self.car.dominant.value]
        parts += [f"{station.value} {seat.value}" for station, seat in self.seats.items()]
        parts += [
            f"{name} {value!r} {deviation!r}"
            for name, value, deviation in zip(
                self.inputs.names, self.inputs.values.tolist(), self.inputs.deviations.tolist(), strict=True
            )
        ]
        parts += [f"{part!r}" for part in (*self.targets.ravel().tolist(), *self.tolerances.ravel().tolist())]
        parts += [f"{piece}" for piece in (self.track.finish, *self.track.pieces)]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:32]

    def with_inputs(self, *, values: NDArray[np.float64], deviations: NDArray[np.float64]) -> Case:
        """Return the same case with other values and deviations of its inputs, in the order of `inputs`."""
        inputs = replace(self.inputs, values=values, deviations=deviations)
        free = np.flatnonzero(deviations > 0.0)
        return replace(self, inputs=inputs, free=free, below=_below(inputs, free))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcomes:
    """What comes of variations.

    Attributes:
        time: finish time [s], (n,); NaN where the car stalls or stands on other wheels.
        stands: whether it stands on the same three wheels as the car as given, (n,).
        readings: height difference, drift and rail offset [m], (3, n); NaN where there is none.
        full: how many of the times were worked out in full.
    """

    time: NDArray[np.float64]
    stands: NDArray[np.bool_]
    readings: NDArray[np.float64]
    full: int


def case_of(car: Car, track: Track, *, lane: str = "") -> Case:
    """Return what a study of a car on a track draws from.

    Args:
        car: the car.
        track: the track.
        lane: name of a lane; left out, the track as it is.

    Returns:
        The case.

    Raises:
        MissingReference: there is no such lane.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
        OutOfRange: nothing about car and track is uncertain.
    """
    track = track.on_lane(lane) if lane else track
    losses = losses_of(track.losses)
    inputs = inputs_of(car, track, losses=losses, gravity=GRAVITY)
    free = np.flatnonzero(inputs.deviations > 0.0)
    if len(free) == 0:
        raise OutOfRange(
            "nothing about this car and track is uncertain, so there is nothing to draw",
            mend="give uncertainties in the car file",
        )
    targets = [getattr(car.targets, name) for name in _TARGETS]
    case = Case(
        car=car,
        track=track,
        losses=losses,
        frame=frame_of(car, inputs.names, losses=losses),
        inputs=inputs,
        free=free,
        below=_below(inputs, free),
        seats={station: at.seat.seat for station, at in stance(car).stations.items()},
        targets=np.array([[target.value] for target in targets]),
        tolerances=np.array([[target.tolerance] for target in targets]),
        nominal=np.zeros((3, 1)),
    )
    return replace(case, nominal=gate_readings(case, inputs.values[None]))


def _below(inputs: Inputs, free: NDArray[np.int64]) -> NDArray[np.float64]:
    signed = {key.name for key in (*BODY_KEYS, *WHEEL_KEYS, *AXLE_KEYS, *STATION_KEYS) if key.low < 0.0}
    signed |= _SIGNED
    found = np.zeros(len(free))
    for place, index in enumerate(free):
        name = inputs.names[index]
        if name.rpartition(".")[2] in signed or name.endswith(_PLACES) or inputs.values[index] < 0.0:
            continue
        chance = float(ndtr(-inputs.values[index] / inputs.deviations[index]))
        found[place] = chance if chance > _NEVER else 0.0
    return found


def normals(case: Case, seed: int, *key: int, rows: int) -> NDArray[np.float64]:
    """Return standard normal numbers of one chunk.

    Args:
        case: tells how many inputs are drawn.
        seed: of the study.
        key: which child of the seed, as `numpy.random.SeedSequence.spawn` numbers them, so that no chunk
            depends on another.
        rows: how many.

    Returns:
        Numbers, (rows, len(case.free)); in memory column after column.
    """
    sequence = np.random.SeedSequence(seed, spawn_key=key)
    return np.random.default_rng(sequence).standard_normal((len(case.free), rows)).T


def drawn(case: Case, z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the inputs that standard normal numbers stand for.

    Args:
        case: values and standard uncertainties.
        z: standard normal numbers, (n, len(case.free)).

    Returns:
        Values [SI], (n, inputs). What cannot be negative follows the part of the normal distribution that is
        not: a number that would lead below zero is spread over that part by its rank below.
    """
    # Columns lie together in memory, as whoever reads them takes them one by one.
    found = np.empty((len(case.inputs.values), len(z)))
    found[:] = case.inputs.values[:, None]
    for place, index in enumerate(case.free):
        column, below = z[:, place], float(case.below[place])
        if below > 0.0:
            rows = np.flatnonzero(column < ndtri(below))
            column = column.copy()
            column[rows] = ndtri(below + (1.0 - below) * (ndtr(column[rows]) / below))
        found[index] += case.inputs.deviations[index] * column
    return found.T


def gate_readings(case: Case, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return height difference, drift and rail offset [m] of variations, (3, n).

    Args:
        case: the car, its seats.
        values: inputs of each variation [SI], (n, inputs).

    Returns:
        The readings, by `geometry.many`; NaN where the car tips over or the reading does not exist.
    """
    found = stances(case.car, values[:, : len(dimension_names())], seats=case.seats)
    readings = np.stack((found.height_difference, found.drift, found.rail_offset))
    readings[:, found.carrying < 0] = np.nan
    return readings


def inside(case: Case, readings: NDArray[np.float64], *, centred: bool = False) -> NDArray[np.bool_]:
    """Return whether readings lie within their gates, (3, n).

    Args:
        case: targets and tolerances.
        readings: height difference, drift and rail offset [m], (3, n).
        centred: whether to ask as if the car as given were on its targets, so that only scatter counts.

    Returns:
        The answers; a reading that does not exist is outside.
    """
    middle = case.nominal if centred else case.targets
    found: NDArray[np.bool_] = np.abs(readings - middle) <= case.tolerances
    return found


def run_in_full(
    case: Case, values: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.float64]]:
    """Return finish times, standing and finish speeds of variations, without any shortcut.

    Args:
        case: the car and the track.
        values: inputs of each variation [SI], (n, inputs).

    Returns:
        Time [s], whether each stands as the car does, speed [m/s], each (n,); times and speeds are NaN where
        the car stalls or stands otherwise.
    """
    free = case.free
    varied = {case.inputs.names[index]: values[:, index] for index in free}
    nodes = _NODES if case.laid_out else _NODES_SURVEYED
    found = run_many(case.car, case.track, varied, losses=case.losses, nodes=nodes)
    time = np.where(found.stands, found.finish_time, np.nan)
    return time, found.stands, np.where(found.stands, found.finish_speed, np.nan)
