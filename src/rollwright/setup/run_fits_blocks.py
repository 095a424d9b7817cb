"""Readings of spin-downs and coast-downs as residuals of what brakes the car.

The coefficients of the losses are unknowns. So are the readings' own start, speed and start of the clock,
and everything else that is uncertain and has a say, in standard deviations from what the files give.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Car
from rollwright.quantity import Quantity
from rollwright.run.inputs import GRAVITY, WHEEL_INERTIA
from rollwright.run.losses import Losses, losses_of, without
from rollwright.run.track import Track
from rollwright.setup.run_fits_data import CoastDown, SpinDown
from rollwright.setup.run_fits_decay import Slowing, braking, coast_time, speed_after, time_between
from rollwright.setup.run_fits_flat import FlatModel, flat_model
from rollwright.setup.run_fits_solve import IMPOSSIBLE, Unknown

__all__ = [
    "SPIN_POWER",
    "CoastBlock",
    "SpinBlock",
    "called",
    "coast_block",
    "decay_rows",
    "first_guess",
    "input_unknown",
    "spin_block",
]

Array = NDArray[np.float64]

_ALL_CARS = ("gravity", "wheel_inertia_factor", "pitch_inertia_factor")
_ALL_OF_TRACK = ("air.", "profile.", "finish", "losses.")
_RAIL_ONLY = ("rail_friction", "tread_friction", "creep_stiffness")
# What changes a part of the braking by less than this share of it has no say.
_NO_SAY = 1e-3

SPIN_POWER: Mapping[str, int] = {"linear": 0, "quadratic": 1}
"""Powers of the speed, less one, that a term's part of the braking grows with."""


def called(name: str, *, car: Car, track: Track | None) -> str:
    """Return what an input is called among those of several cars and tracks."""
    if name in _ALL_CARS:
        return name
    if track is not None and name.startswith(_ALL_OF_TRACK):
        return f"{track.name}: {name}"
    return f"{car.name}: {name}"


def input_unknown(name: str) -> Unknown:
    """Return an input as an unknown: standard deviations from what was given."""
    return Unknown(name=name, start=0.0, size=1.0, prior=(0.0, 1.0))


def decay_rows(
    *,
    times: Array,
    speeds: Array,
    distances: Array,
    uncertainty: tuple[float | None, float | None],
    start: float,
    clock: float,
    terms: Array,
) -> tuple[Array, Array]:
    """Return residuals of what slows down, and their derivatives.

    Args:
        times: read [s], (m,).
        speeds: read, or none, (m,).
        distances: of lines from the first [m], or none, (m,).
        uncertainty: of a time [s] and of a speed; one of them is None.
        start: speed at the first reading.
        clock: time of the first reading, where times are uncertain [s].
        terms: constant, linear and quadratic part, (3,).

    Returns:
        Residuals in standard deviations, (m,), and derivatives by start or, where the speeds are set, by
        nothing; by clock; and by the three terms, (m, 5).
    """
    in_time, in_speed = uncertainty
    slowed: Slowing
    bad = np.full(len(times), IMPOSSIBLE), np.zeros((len(times), 5))
    if len(distances):
        slowed = coast_time(start=start, distances=distances, terms=terms)
        if not np.all(np.isfinite(slowed.values)):
            return bad
    else:
        fastest = speeds[0] if in_time is not None else start
        ends = (fastest, speeds.min() if in_time is not None else 0.0, 0.5 * fastest)
        if not min(float(braking(end, terms)) for end in ends) > 0.0:
            return bad
        if in_time is not None:
            slowed = time_between(start=float(speeds[0]), speeds=speeds, terms=terms)
            slowed = replace(slowed, by_start=np.zeros(len(times)))
        else:
            slowed = speed_after(start=start, times=times - times[0], terms=terms)
    slopes = np.column_stack((slowed.by_start, np.zeros(len(times)), slowed.by_terms))
    if in_time is not None:
        slopes[:, 1] = 1.0
        return (clock + slowed.values - times) / in_time, slopes / in_time
    assert in_speed is not None  # noqa: S101 - the readings say one of the two
    return (slowed.values - speeds) / in_speed, slopes / in_speed


def first_guess(times: Array, speeds: Array, distances: Array) -> tuple[float, float]:
    """Return about what speed it starts at, and how fast it slows down at first."""
    if len(distances):
        _, speed, bend = np.polynomial.polynomial.polyfit(times - times[0], distances - distances[0], 2)
        return float(max(speed, 1e-3)), float(max(-2.0 * bend, 1e-3))
    fall = (speeds[0] - speeds[-1]) / (times[-1] - times[0])
    return float(speeds[0]), float(fall)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpinBlock:
    """A spin-down as residuals.

    Attributes:
        of: the readings.
        names: of the unknowns.
        factor: from the coefficient to the constant part [rad/s2].
        powers: of the inputs in that factor, (k,).
        relative: standard uncertainties of the inputs over their values, (k,).
    """

    of: SpinDown
    names: tuple[str, ...]
    factor: float
    powers: Array
    relative: Array

    def rows(self, values: Array) -> tuple[Array, Array]:
        """Return residuals and derivatives."""
        spin, inputs = self.of, values[1 : 1 + len(self.powers)]
        own = values[1 + len(self.powers) :]
        grown = 1.0 + self.relative * inputs
        if not np.all(grown > 0.0):
            return np.full(len(spin.times), IMPOSSIBLE), np.zeros((len(spin.times), len(values)))
        factor = self.factor * float(np.prod(grown**self.powers))
        terms = np.zeros(3)
        terms[0] = values[0] * factor
        places = [1 + ("linear", "quadratic").index(term) for term in spin.terms]
        terms[places] = own[1:]
        residuals, slopes = decay_rows(
            times=np.array(spin.times),
            speeds=np.array(spin.speeds),
            distances=np.empty(0),
            uncertainty=(spin.time_uncertainty, spin.speed_uncertainty),
            start=own[0],
            clock=own[0],
            terms=terms,
        )
        by_constant = slopes[:, 2]
        first = slopes[:, 1] if spin.time_uncertainty is not None else slopes[:, 0]
        return residuals, np.column_stack(
            (
                by_constant * factor,
                by_constant[:, None] * (terms[0] * self.powers * self.relative / grown),
                first,
                *(slopes[:, 2 + place] for place in places),
            )
        )


def spin_block(spin: SpinDown, *, number: int) -> tuple[SpinBlock, list[Unknown]]:
    """Return a spin-down as residuals of `bearing_friction`, and the unknowns that it brings along.

    The friction acts on the radius of the shank: `T = mu m g d / 2`, so that `dw/dt = -mu m g d / (2 I)`.
    Where the wheel's inertia is taken as `f m r^2`, its mass has no say.
    """
    wheel, axle = spin.car.wheel_at(spin.station), spin.car.axle_at(spin.station)
    at = spin.station.value
    parts: list[tuple[str, Quantity, float]] = [("gravity", GRAVITY, 1.0), (f"{at}.shank", axle.shank, 1.0)]
    if wheel.inertia is None:
        parts += [("wheel_inertia_factor", WHEEL_INERTIA, -1.0), (f"{at}.diameter", wheel.diameter, -2.0)]
        factor = 0.5 * 4.0
    else:
        parts += [(f"{at}.wheel_mass", wheel.mass, 1.0), (f"{at}.wheel_inertia", wheel.inertia, -1.0)]
        factor = 0.5
    factor *= math.prod(quantity.value**power for _, quantity, power in parts)
    uncertain = [part for part in parts if part[1].uncertainty > 0.0]
    inputs = [called(name, car=spin.car, track=None) for name, _, _ in uncertain]
    times, speeds = np.array(spin.times), np.array(spin.speeds)
    start, falls = first_guess(times, speeds, np.empty(0))
    timed = spin.time_uncertainty is not None
    mine = f"{spin.name} {number}"
    own = [
        Unknown(
            name=f"{mine}: {'start of the clock' if timed else 'first speed'}",
            start=float(times[0]) if timed else start,
            size=spin.time_uncertainty or spin.speed_uncertainty or 1.0,
        ),
        *(
            Unknown(name=f"{mine}: {term}", start=0.0, size=0.1 * falls / start ** (1 + SPIN_POWER[term]))
            for term in spin.terms
        ),
    ]
    block = SpinBlock(
        of=spin,
        names=("bearing_friction", *inputs, *(unknown.name for unknown in own)),
        factor=factor,
        powers=np.array([power for _, _, power in uncertain]),
        relative=np.array([quantity.uncertainty / quantity.value for _, quantity, _ in uncertain]),
    )
    return block, [*map(input_unknown, inputs), *own]


@dataclass(frozen=True, slots=True, kw_only=True)
class CoastBlock:
    """A coast-down as residuals; `effects` are those of a standard deviation of its inputs on both parts."""

    of: CoastDown
    model: FlatModel
    names: tuple[str, ...]
    fitted: tuple[str, ...]
    effects: Array

    def rows(self, values: Array) -> tuple[Array, Array]:
        """Return residuals and derivatives."""
        coast, count = self.of, len(self.fitted)
        inputs, own = values[count : count + self.effects.shape[1]], values[count + self.effects.shape[1] :]
        given = dict(zip(self.fitted, values[:count].tolist(), strict=True))
        found = self.model.at(given, names=[f"losses.{name}" for name in self.fitted])
        fall = -coast.fall.value * found.downhill
        parts = np.array([found.constant + fall, found.quadratic]) + self.effects @ inputs
        residuals, slopes = decay_rows(
            times=np.array(coast.times),
            speeds=np.array(coast.speeds),
            distances=np.array(coast.distances) - (coast.distances[0] if coast.distances else 0.0),
            uncertainty=(coast.time_uncertainty, coast.speed_uncertainty),
            start=own[0],
            clock=own[-1],
            terms=np.array([parts[0], 0.0, parts[1]]),
        )
        places = [found.at(f"losses.{name}") for name in self.fitted]
        by_fitted = np.stack((found.constant_by[places], found.quadratic_by[places]))
        by_parts = slopes[:, [2, 4]]
        by_own = slopes[:, :2] if coast.distances else slopes[:, [int(coast.time_uncertainty is not None)]]
        return residuals, np.column_stack((by_parts @ by_fitted, by_parts @ self.effects, by_own))


def coast_losses(coast: CoastDown) -> Losses:
    """Return the losses that act on a coasting car, with the track's coefficients."""
    found = losses_of(coast.track.losses)
    if coast.on_rail:
        return found
    # Nothing holds the car straight, so it turns until no wheel is pulled sideways.
    return without(replace(found, tread_friction=Quantity(value=0.0)), ("rail", "scrub"))


def coast_block(
    coast: CoastDown, *, fitted: Sequence[str], start: Mapping[str, float], number: int
) -> tuple[CoastBlock, list[Unknown]]:
    """Return a coast-down as residuals of the coefficients that are fitted, and the unknowns it brings along.

    The effects of what is not fitted are those at the start of the fit.
    """
    mine = [name for name in fitted if coast.on_rail or name not in _RAIL_ONLY]
    left_out = {f"losses.{name}" for name in (*fitted, *(() if coast.on_rail else _RAIL_ONLY))}
    here = {name: start[name] for name in mine}
    model = flat_model(coast.car, coast.track, losses=coast_losses(coast))
    found = model.at(here)
    effects = np.stack((found.constant_by, found.quadratic_by)) * found.deviations
    size = np.array([found.constant, max(found.quadratic, 1e-6)])
    heard = [
        place
        for place, name in enumerate(found.names)
        if name not in left_out and np.any(np.abs(effects[:, place]) > _NO_SAY * size)
    ]
    names = [called(found.names[place], car=coast.car, track=coast.track) for place in heard]
    effects = effects[:, heard]
    if coast.fall.uncertainty > 0.0:
        names.append(f"{coast.floor}: fall")
        turned = found.downhill * coast.fall.uncertainty * (1.0 if coast.back else -1.0)
        effects = np.column_stack((effects, [turned, 0.0]))
    times, speeds, distances = (np.array(each) for each in (coast.times, coast.speeds, coast.distances))
    speed, _ = first_guess(times, speeds, distances)
    mine_is = f"{coast.name} {number}"
    own = []
    if coast.distances or coast.time_uncertainty is None:
        own.append(Unknown(name=f"{mine_is}: first speed", start=speed, size=0.01 * speed, lower=0.0))
    if coast.time_uncertainty is not None:
        first = float(times[0])
        own.append(Unknown(name=f"{mine_is}: start of the clock", start=first, size=coast.time_uncertainty))
    block = CoastBlock(
        of=coast,
        model=model,
        names=(*mine, *names, *(unknown.name for unknown in own)),
        fitted=tuple(mine),
        effects=effects,
    )
    return block, [*map(input_unknown, names), *own]
