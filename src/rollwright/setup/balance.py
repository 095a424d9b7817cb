"""Weight and balance: the ledger and the scale, reconciled; and which weight goes in which pocket."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import chain, combinations
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.model import Station
from rollwright.errors import OutOfRange, ReadingUnusable
from rollwright.geometry.ledger import Ledger
from rollwright.geometry.stance import Stance
from rollwright.quantity import Quantity, Source

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Balance", "Discord", "Pan", "ScaleReading", "balance_of", "discord_of"]


class Pan(Enum):
    """What stood on the scale; the rest of the car stood level beside it."""

    WHOLE = "whole"
    FRONT = "front"
    REAR = "rear"
    REAR_LEFT = "rear_left"
    REAR_RIGHT = "rear_right"
    FRONT_LEFT = "front_left"
    FRONT_RIGHT = "front_right"

    def holds(self, station: Station) -> bool:
        """Return whether a wheel's load was on the scale."""
        if self is Pan.WHOLE:
            return True
        if self in {Pan.FRONT, Pan.REAR}:
            return station.is_front is (self is Pan.FRONT)
        return bool(self.value == station.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleReading:
    """One reading of a scale: `pan` says what stood on it, `mass` what it showed [kg]."""

    pan: Pan
    mass: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What a car weighs and where, from ledger and scale together.

    Attributes:
        mass: of the whole car [kg].
        centre: centre of mass, body frame [m]; x forward of the rear holes, y left, z up. The scale says
            nothing of z, which stays the ledger's.
        loads: what each carrying wheel presses down with, as a mass [kg].
        misfit_probability: chance of a disagreement at least this large between ledger and scale if every
            stated uncertainty is right; 1 without readings.
    """

    mass: Quantity
    centre: tuple[Quantity, Quantity, Quantity]
    loads: Mapping[Station, Quantity]
    misfit_probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Discord:
    """Two figures for one mass that cannot both be right.

    Attributes:
        pan: what stood on the scale.
        shown: what the scale showed of it [kg]; the weighted mean of repeats.
        expected: what it should have shown by the other figure [kg].
        against: the readings of the scale that the other figure is the sum of; none where it is what the
            car's parts press with.
        pull: their difference over its standard deviation [1].
    """

    pan: Pan
    shown: float
    expected: float
    against: tuple[Pan, ...]
    pull: float

    @property
    def probability(self) -> float:
        """Chance of a difference at least this large if every stated uncertainty is right."""
        return math.erfc(self.pull / math.sqrt(2.0))


def _statics(stance: Stance) -> tuple[tuple[Station, ...], NDArray[np.float64]]:
    """Return the carrying wheels and the matrix from mass and its moments about the origin to their loads.

    Three loads balance weight and both moments about the contacts: `sum F = M`, `sum F x = M x_c`,
    `sum F y = M y_c` (statics of a rigid body on three supports).
    """
    carrying = stance.carrying
    contacts = [stance.stations[station].contact for station in carrying]
    arms = np.array([[1.0, 1.0, 1.0], [at[0] for at in contacts], [at[1] for at in contacts]])
    return carrying, np.linalg.inv(arms)


def balance_of(ledger: Ledger, stance: Stance, readings: Sequence[ScaleReading] = ()) -> Balance:
    """Return what a car weighs and where its mass is, from its ledger and from scales.

    Args:
        ledger: the car's items.
        stance: where the car stands; its contacts are the scale's supports.
        readings: what the scale showed of the whole car, of an end, or of one wheel.

    Returns:
        The best linear combination of ledger and readings (Gauss-Markov; exact, since loads are linear in
        mass and moments). The car is taken as level: a pitch of a degree moves the ends' loads by the
        height of the mass times the sine over the wheelbase, a tenth of a per cent of the car's mass.

    Raises:
        ReadingUnusable: a reading is of a wheel that does not carry.
    """
    mean, covariance = _moments(ledger)
    carrying, to_loads = _statics(stance)
    if not readings:
        return _described(mean, covariance, carrying, to_loads, 1.0)
    rows, shown, noise = [], [], []
    for reading in readings:
        rows.append([*(_standing_on(reading.pan, carrying) @ to_loads), 0.0])
        shown.append(reading.mass.value)
        noise.append(reading.mass.uncertainty**2)
    slopes = np.array(rows)
    innovation = np.array(shown) - slopes @ mean
    spread = slopes @ covariance @ slopes.T + np.diag(noise)
    gain = np.linalg.solve(spread, slopes @ covariance).T
    from scipy.special import chdtrc  # noqa: PLC0415 - costs start-up time

    misfit = float(chdtrc(len(shown), float(innovation @ np.linalg.solve(spread, innovation))))
    return _described(
        mean + gain @ innovation, covariance - gain @ slopes @ covariance, carrying, to_loads, misfit
    )


def _moments(ledger: Ledger) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return mass [kg] and its moments about the origin [kg m] by the ledger, and their covariance."""
    total = ledger.mass.value
    return np.array([total, *(total * part.value for part in ledger.centre)]), np.array(ledger.covariance())


def _standing_on(pan: Pan, carrying: tuple[Station, ...]) -> NDArray[np.float64]:
    """Return 1 for each carrying wheel whose load was on the scale, 0 for the others."""
    on = np.array([float(pan.holds(station)) for station in carrying])
    if not on.any():
        raise ReadingUnusable(
            f"the {pan.value.replace('_', ' ')} wheel does not carry, so a scale shows nothing",
            mend="weigh a wheel that stands on the ground",
            key=f"scale {pan.value}",
        )
    return on


def discord_of(
    ledger: Ledger, stance: Stance, readings: Sequence[ScaleReading], *, doubtful: float
) -> Discord | None:
    """Return which figures of a ledger and a scale disagree the most.

    Args:
        ledger: the car's items.
        stance: where the car stands.
        readings: what the scale showed; several of one thing are taken by their weighted mean.
        doubtful: chance of a disagreement below which two figures cannot both be right [1].

    Returns:
        First what the scale contradicts in itself: a thing that was weighed whole and in parts, whose loads
        add up (statics). Else the reading that is farthest from what the ledger says, by the standard
        deviation of the two. None where all of them together agree (see `balance_of`).

    Raises:
        ReadingUnusable: a reading is of a wheel that does not carry.
    """
    if balance_of(ledger, stance, readings).misfit_probability >= doubtful:
        return None
    shown = {pan: _mean_of([one.mass for one in readings if one.pan is pan]) for pan in Pan}
    told = {pan: found for pan, found in shown.items() if found is not None}
    by_sums = [
        _discord(pan, told[pan], [told[part] for part in parts], against=parts)
        for pan, parts in _sums(tuple(told), stance.carrying)
    ]
    worst = max(by_sums, key=lambda each: each.pull, default=None)
    if worst is not None and worst.probability < doubtful:
        return worst
    mean, covariance = _moments(ledger)
    carrying, to_loads = _statics(stance)
    by_parts = []
    for pan, figure in told.items():
        slope = np.array([*(_standing_on(pan, carrying) @ to_loads), 0.0])
        due = (float(slope @ mean), float(slope @ covariance @ slope))
        by_parts.append(_discord(pan, figure, [due], against=()))
    return max(by_parts, key=lambda each: each.pull)


def _mean_of(masses: Sequence[Quantity]) -> tuple[float, float] | None:
    """Return the mean of independent readings, weighted by their uncertainties, and its variance."""
    if not masses:
        return None
    weights = [mass.uncertainty**-2 for mass in masses]
    total = math.fsum(weights)
    return math.fsum(w * mass.value for w, mass in zip(weights, masses, strict=True)) / total, 1.0 / total


def _sums(weighed: tuple[Pan, ...], carrying: tuple[Station, ...]) -> list[tuple[Pan, tuple[Pan, ...]]]:
    """Return each thing that was weighed with those others that together are the same wheels."""
    on = {pan: {station for station in carrying if pan.holds(station)} for pan in weighed}
    found = []
    for pan in weighed:
        inside = [other for other in weighed if other is not pan and on[other] <= on[pan]]
        every = chain.from_iterable(combinations(inside, count) for count in range(1, len(inside) + 1))
        found += [
            (pan, parts)
            for parts in every
            if sum(len(on[part]) for part in parts) == len(set().union(*(on[part] for part in parts)))
            and set().union(*(on[part] for part in parts)) == on[pan]
        ]
    return found


def _discord(
    pan: Pan,
    shown: tuple[float, float],
    due: Sequence[tuple[float, float]],
    *,
    against: tuple[Pan, ...],
) -> Discord:
    """Return by how much a reading and a sum differ; each is a mass [kg] and its variance [kg2]."""
    expected = math.fsum(value for value, _ in due)
    deviation = math.sqrt(shown[1] + math.fsum(variance for _, variance in due))
    return Discord(
        pan=pan,
        shown=shown[0],
        expected=expected,
        against=against,
        pull=abs(shown[0] - expected) / deviation,
    )


def _described(
    mean: NDArray[np.float64],
    covariance: NDArray[np.float64],
    carrying: tuple[Station, ...],
    to_loads: NDArray[np.float64],
    misfit: float,
) -> Balance:
    mass = float(mean[0])
    if mass <= 0.0:
        raise OutOfRange("the car weighs nothing", mend="check the masses and the scale's unit")

    def quantity(value: float, slope: NDArray[np.float64]) -> Quantity:
        variance = max(0.0, float(slope @ covariance @ slope))
        return Quantity(value=value, uncertainty=math.sqrt(variance), source=Source.MEASURED)

    centre = []
    for axis in (1, 2, 3):
        # The centre is a ratio, so its slope along the mass is minus the centre itself over the mass.
        slope = np.zeros(4)
        slope[0], slope[axis] = -mean[axis] / mass**2, 1.0 / mass
        centre.append(quantity(float(mean[axis] / mass), slope))
    loads = {}
    for row, station in zip(to_loads, carrying, strict=True):
        slope = np.array([*row, 0.0])
        loads[station] = quantity(float(slope @ mean), slope)
    return Balance(
        mass=quantity(mass, np.array([1.0, 0.0, 0.0, 0.0])),
        centre=(centre[0], centre[1], centre[2]),
        loads=loads,
        misfit_probability=misfit,
    )
