"""The best steer, balance and weight for many bodies made alike, as far as this model can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car
from rollwright.errors import OutOfRange
from rollwright.geometry.ledger import ledger_of
from rollwright.judge.verdict import CONFIDENCE, acceptance_limits
from rollwright.setup.knobs import AdjustableCar, Setting
from rollwright.setup.limits import bending
from rollwright.setup.study_case import Case, drawn, normals
from rollwright.setup.study_tighten import bodies_alone
from rollwright.setup.study_times import Checked, Surface, fitted, outcomes_of

__all__ = ["CAUTION", "Candidate", "Optimum", "best"]

CAUTION = 1.0
"""Standard deviations of the finish time that are added to its mean to say how good a design is."""

_KEY = 8
_ROWS, _ROWS_FULL = 1024, 64
_STEPS = 12
_SHIFTS = (-15e-3, -10e-3, -5e-3, 0.0, 5e-3, 10e-3, 15e-3)
_WIDER_BEND = math.radians(1.0)
_WIDER_CLOCK = math.radians(12.0)
_WIDER_SHIFT = 10e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One design and how bodies made alike to it do.

    Attributes:
        drift: what the steer is set to [m]; positive left, negative right.
        shift: how much farther forward all weights lie than in the file [m]; negative: backward. Where the
            file has no weights, the body's own centre of mass.
        added: mass added to the heaviest weight, or else to the body [kg].
        mass: of the whole car [kg].
        balance: its centre of mass, forward of the rear hole line [m].
        mean: of the finish time [s].
        deviation: of the finish time between bodies [s].
        score: mean and `CAUTION` deviations [s]: the less, the better.
        into_rail: share whose drift is toward the rail.
        stands: share that stands on the same three wheels and finishes.
        inside: share inside all three gates, with the drift's gate around `drift`.
    """

    drift: float
    shift: float
    added: float
    mass: float
    balance: float
    mean: float
    deviation: float
    score: float
    into_rail: float
    stands: float
    inside: float

    @property
    def allowed(self) -> bool:
        """Whether at least 95 % head into the rail, and stand and finish."""
        return min(self.into_rail, self.stands) >= CONFIDENCE and math.isfinite(self.score)


@dataclass(frozen=True, slots=True, kw_only=True)
class Optimum:
    """What the search found.

    Attributes:
        present: the car as its targets have it, with its weights as they are.
        best: the allowed design with the least score, or None where there is none.
        steer: designs that differ from the best, or else from the present, in the drift alone, least first.
        balance: likewise in the shift alone, rearmost first.
        weight: likewise in the mass alone, lightest first.
        less_steer_is_faster: whether the score falls all the way as the steer does.
        back_is_faster: whether it falls all the way as the weights go back.
        limit: most the car may weigh [kg], or None.
        checked: how the surface that stood in for the motion compares with full runs; None for full runs.
        notes: what was not searched, and why.
    """

    present: Candidate
    best: Candidate | None
    steer: tuple[Candidate, ...]
    balance: tuple[Candidate, ...]
    weight: tuple[Candidate, ...]
    less_steer_is_faster: bool
    back_is_faster: bool
    limit: float | None
    checked: Checked | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Search:
    """A case with the settings that its steer can have, and how designs are tried."""

    case: Case
    surface: Surface | None
    z: NDArray[np.float64]
    settings: dict[float, NDArray[np.float64]]

    def tried(self, drift: float, shift: float, added: float) -> Candidate:
        """Return how one design does, on the same random numbers as every other."""
        inputs = self.case.inputs
        values = inputs.values.copy()
        dimensions = self.settings[drift]
        values[: len(dimensions)] = dimensions
        places, mass_name = _movable(self.case.car)
        for name in places:
            values[inputs.at(name)] += shift
        values[inputs.at(mass_name)] += added
        case = self.case.with_inputs(values=values, deviations=inputs.deviations)
        found = outcomes_of(case, drawn(case, self.z), self.surface)
        time = found.time[np.isfinite(found.time)]
        mean, deviation = (float(time.mean()), float(time.std())) if len(time) > 1 else (math.nan, math.nan)
        targets = case.targets.copy()
        targets[1, 0] = drift
        inside = np.all(np.abs(found.readings - targets) <= case.tolerances, axis=0) & found.stands
        side = case.car.dominant.side
        mass, balance = _weighed(case.car, shift=shift, added=added)
        return Candidate(
            drift=drift,
            shift=shift,
            added=added,
            mass=mass,
            balance=balance,
            mean=mean,
            deviation=deviation,
            score=mean + CAUTION * deviation,
            into_rail=float((side * found.readings[1] < 0.0).mean()),
            stands=len(time) / len(found.time),
            inside=float(inside.mean()),
        )


def _movable(car: Car) -> tuple[list[str], str]:
    """Return the inputs that a shift moves, and the one that more mass goes to."""
    if not car.weights:
        return ["body.centre_of_mass.x"], "body.mass"
    heaviest = max(car.weights, key=lambda name: car.weights[name].mass.value)
    return [f"weights.{name}.position.x" for name in car.weights], f"weights.{heaviest}.mass"


def _weighed(car: Car, *, shift: float, added: float) -> tuple[float, float]:
    items = ledger_of(car).items
    mass = sum(item.mass.value for item in items) + added
    moment = sum(item.mass.value * item.position[0].value for item in items)
    if car.weights:
        heaviest = max(car.weights.values(), key=lambda weight: weight.mass.value)
        moved, at = sum(weight.mass.value for weight in car.weights.values()), heaviest.position[0].value
    else:
        moved, at = car.body.mass.value, car.body.centre_of_mass[0].value
    moment += moved * shift + added * (at + shift)
    return mass, moment / mass


def best(case: Case, *, seed: int, limit: float | None = None) -> Optimum:
    """Return the steer, balance and weight with which bodies made alike are fastest, and surest.

    Args:
        case: the car and the track.
        seed: of the study.
        limit: the most the car may weigh [kg]; None leaves the weight as it is.

    Returns:
        The design with the least mean plus deviation among those of which at least 95 % head into the rail
        and stand, from a grid: the steer by the drift that the bench would set (bend, clock and trim solved
        together), the weights moved together along the body, and mass added to the heaviest of them as far
        as it stays under the limit with 95 %. Seats, carrying wheels and coefficients are those of the
        files. Whether a car holds the rail is not in the model: heading into it is the least it takes.

    Raises:
        OutOfRange: the car is over the limit already, or nothing about the body is uncertain.
    """
    car = case.car
    notes: list[str] = []
    settings = _settings(case, notes)
    present_drift = min(settings, key=lambda drift: abs(drift - car.targets.drift.value))
    masses = (0.0,) if limit is None else _masses(car, limit)
    if not car.weights:
        notes.append("the file has no weights, so mass is moved and added in the body itself")
    alone = bodies_alone(case)
    if len(alone.free) == 0:
        raise OutOfRange("nothing about the body is uncertain", mend="give uncertainties in the car file")
    surface = fitted(_wide(alone, masses[-1]), seed=seed)
    if surface is not None and not surface.checked.good:
        surface = None
    search = _Search(
        alone,
        surface,
        normals(alone, seed, _KEY, rows=_ROWS if surface is not None else _ROWS_FULL),
        settings,
    )
    every: dict[tuple[float, ...], Candidate] = {
        (drift, shift, added): search.tried(drift, shift, added)
        for drift in settings
        for shift in _SHIFTS
        for added in masses
    }
    present = every[present_drift, 0.0, 0.0]
    allowed = [candidate for candidate in every.values() if candidate.allowed]
    found = min(allowed, key=lambda candidate: candidate.score, default=None)
    around = present if found is None else found
    middle = (around.drift, around.shift, around.added)
    lines = [
        tuple(every[(*middle[:axis], value, *middle[axis + 1 :])] for value in values)
        for axis, values in enumerate((sorted(settings, key=abs), _SHIFTS, masses))
    ]
    return Optimum(
        present=present,
        best=found,
        steer=lines[0],
        balance=lines[1],
        weight=lines[2],
        less_steer_is_faster=_rises(lines[0]),
        back_is_faster=_rises(lines[1]),
        limit=limit,
        checked=None if surface is None else surface.checked,
        notes=tuple(notes),
    )


def _rises(line: Sequence[Candidate]) -> bool:
    scores = [candidate.score for candidate in line if math.isfinite(candidate.score)]
    return len(scores) > 2 and all(b >= a for a, b in pairwise(scores))


def _settings(case: Case, notes: list[str]) -> dict[float, NDArray[np.float64]]:
    """Return the dimensions by the drift that the bench sets, least steer first."""
    car = case.car
    count = len(dimension_names())
    target = car.targets.drift
    as_it_is = {target.value: case.inputs.values[:count].copy()}
    if not car.bent_axles:
        notes.append("the class bends no axles, so the steer stays as it is drilled")
        return as_it_is
    bench = AdjustableCar(car=car, seats=case.seats, values=as_it_is[target.value])
    side = -float(car.dominant.side)
    step = max(target.tolerance, abs(target.value) / _STEPS * 1.5, 1e-3)
    drifts = {side * step * number for number in range(_STEPS + 1)} | {target.value}
    found = {}
    for drift in sorted(drifts, key=abs):
        wanted = {0: car.targets.height_difference.value, 1: drift, 2: car.targets.rail_offset.value}
        present: Setting = bench.present()
        setting = bending(bench, present, wanted)
        if not setting.cannot:
            found[drift] = bench.moved(setting.setting)
    if target.value not in found:
        notes.append(
            "no bend and turn of the front axle brings this car to its targets, so the steer stays as it is"
        )
        return as_it_is
    return found


def _masses(car: Car, limit: float) -> tuple[float, ...]:
    mass = ledger_of(car).mass
    _, most = acceptance_limits(uncertainty=mass.uncertainty, high=limit)
    room = most - mass.value
    if mass.value > limit:
        raise OutOfRange(
            f"the car weighs {mass.value * 1e3:.1f} g, over the limit of {limit * 1e3:.1f} g already",
            mend="raise the limit or take weight out of the car file",
            key="--limit",
        )
    return (0.0, 0.5 * room, room) if room > 0.0 else (0.0,)


def _wide(case: Case, added: float) -> Case:
    """Return the case with the designs' own differences as uncertainty, for a surface that holds for all."""
    inputs = case.inputs
    deviations = inputs.deviations.copy()
    station = case.car.dominant.value
    places, mass_name = _movable(case.car)
    wider = {f"{station}.bend": _WIDER_BEND, f"{station}.clock": _WIDER_CLOCK, mass_name: 0.5 * added}
    wider |= dict.fromkeys(places, _WIDER_SHIFT)
    for name, by in wider.items():
        index = inputs.at(name)
        deviations[index] = math.hypot(deviations[index], by)
    values = inputs.values.copy()
    values[inputs.at(mass_name)] += 0.5 * added
    return case.with_inputs(values=values, deviations=deviations)
