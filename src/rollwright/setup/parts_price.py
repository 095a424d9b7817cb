"""What each loose part costs at each station: the run's prices times how far it is off the average part."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Axle, Car, Station, Wheel
from rollwright.errors import OutOfRange
from rollwright.geometry.stance import Stance, stance
from rollwright.quantity import Quantity, Source
from rollwright.run.inputs import WHEEL_INERTIA
from rollwright.run.losses import Losses, losses_of
from rollwright.run.once import run
from rollwright.run.track import Track
from rollwright.setup.parts import BoxAxle, BoxWheel
from rollwright.setup.parts_spread import drawn_in

__all__ = [
    "PROPERTIES",
    "Likely",
    "Priced",
    "average_car",
    "costs_of",
    "level_of",
    "likely_axles",
    "likely_wheels",
    "price",
]

Array = NDArray[np.float64]

STATIONS = tuple(Station)
PROPERTIES = ("diameter", "bore", "mass", "inertia", "friction")
"""What a wheel is priced by."""
PIN_PROPERTIES = ("shank", "mass")
"""What a pin is priced by."""

_STEP = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    """What parts of a box are likely to be, each property drawn in to the middle of the box.

    Attributes:
        names: of the parts.
        values: by property [SI], (n,).
        deviations: their standard deviations, (n,).
        guessed_inertia: which wheels' inertia is only `factor * mass * radius^2` with a factor that nobody
            measured, and that is the same for all of them.
    """

    names: tuple[str, ...]
    values: Mapping[str, Array]
    deviations: Mapping[str, Array]
    guessed_inertia: NDArray[np.bool_]


def _settled(readings: Sequence[Quantity | None], *, fallback: Quantity) -> tuple[Array, Array]:
    if all(each is None for each in readings):
        # Nobody measured any: they are alike for all that is known, and what is not known is common to all.
        return np.full(len(readings), fallback.value), np.zeros(len(readings))
    found = drawn_in(readings)
    return found.values, found.deviations


def likely_wheels(
    wheels: Sequence[BoxWheel], *, frictions: Mapping[str, Quantity], friction: Quantity
) -> Likely:
    """Return what wheels are likely to be.

    Args:
        wheels: those that may go on the car.
        frictions: in their bores, of those that were spun down [1].
        friction: of the track's file, where no wheel was spun down [1].

    Returns:
        Their properties. Where the inertia was given for some wheels only, the others have the mean of those
        wheels' `inertia / (mass radius^2)`; where for none, the run's own factor.
    """
    values, deviations = {}, {}
    rows: dict[str, list[Quantity | None]] = {
        "diameter": [wheel.diameter for wheel in wheels],
        "bore": [wheel.bore for wheel in wheels],
        "mass": [wheel.mass for wheel in wheels],
        "friction": [frictions.get(wheel.name) for wheel in wheels],
    }
    for name, readings in rows.items():
        values[name], deviations[name] = _settled(readings, fallback=friction)
    size = 0.25 * values["mass"] * values["diameter"] ** 2
    given = np.array([wheel.inertia is not None for wheel in wheels])
    if given.any():
        inertia, spread = _settled([wheel.inertia for wheel in wheels], fallback=WHEEL_INERTIA)
        factors = inertia[given] / size[given]
        scatter = float(np.std(factors, ddof=1)) if given.sum() > 1 else 0.0
        values["inertia"] = np.where(given, inertia, float(factors.mean()) * size)
        deviations["inertia"] = np.where(given, spread, np.hypot(scatter, 0.02) * size)
    else:
        values["inertia"] = WHEEL_INERTIA.value * size
        # Mass and diameter make it differ from wheel to wheel; the factor is one for all.
        deviations["inertia"] = values["inertia"] * np.hypot(
            deviations["mass"] / values["mass"], 2.0 * deviations["diameter"] / values["diameter"]
        )
    return Likely(
        names=tuple(wheel.name for wheel in wheels),
        values=values,
        deviations=deviations,
        guessed_inertia=np.full(len(wheels), not given.any()),
    )


def likely_axles(axles: Sequence[BoxAxle], *, mass: Quantity) -> Likely:
    """Return what pins are likely to be; `mass` [kg] is that of a pin of the car, where none was weighed."""
    values, deviations = {}, {}
    values["shank"], deviations["shank"] = _settled([axle.shank for axle in axles], fallback=mass)
    values["mass"], deviations["mass"] = _settled([axle.mass for axle in axles], fallback=mass)
    return Likely(
        names=tuple(axle.name for axle in axles),
        values=values,
        deviations=deviations,
        guessed_inertia=np.zeros(len(axles), dtype=np.bool_),
    )


def _mean(likely: Likely, name: str) -> Quantity:
    return Quantity(
        value=float(likely.values[name].mean()),
        uncertainty=float(np.sqrt(np.mean(likely.deviations[name] ** 2))),
        source=Source.MEASURED,
        label=name,
    )


def average_car(car: Car, *, wheels: Likely, axles: Likely) -> Car:
    """Return a car with the average wheel and the average pin of the box at every station.

    Args:
        car: the car; tread, hub and bends stay as they are on it.
        wheels: the box's wheels.
        axles: its pins.

    Returns:
        The car.
    """
    new_wheels, new_axles, corners = {}, {}, {}
    for station in STATIONS:
        old_wheel, old_axle = car.wheel_at(station), car.axle_at(station)
        new_wheels[station.value] = Wheel(
            diameter=_mean(wheels, "diameter"),
            tread_width=old_wheel.tread_width,
            hub_projection=old_wheel.hub_projection,
            bore=_mean(wheels, "bore"),
            mass=_mean(wheels, "mass"),
            inertia=_mean(wheels, "inertia"),
        )
        new_axles[station.value] = Axle(
            shank=_mean(axles, "shank"),
            bend=old_axle.bend,
            bend_at=old_axle.bend_at,
            mass=_mean(axles, "mass"),
        )
        corners[station] = replace(car.corners[station], wheel=station.value, axle=station.value)
    return replace(car, wheels=new_wheels, axles=new_axles, corners=corners)


@dataclass(frozen=True, slots=True, kw_only=True)
class Priced:
    """Prices of the parts of one car on one track.

    Attributes:
        car: with average parts.
        track: on its lane.
        losses: with the average friction of the box.
        time: of that car [s].
        wheel_prices: by property, for each station [s per SI unit], (4,).
        axle_prices: likewise of pins.
        levels: height difference and lean of that car [m]; see `level_of`.
        wheel_levels: what each metre of a wheel's `diameter` and `bore` adds to each of them at each station
            [1], (2, 4).
        axle_levels: what each metre of a pin's `shank` adds [1], (2, 4).
    """

    car: Car
    track: Track
    losses: Losses
    time: float
    wheel_prices: Mapping[str, Array]
    axle_prices: Mapping[str, Array]
    levels: tuple[float, float]
    wheel_levels: Mapping[str, Array]
    axle_levels: Mapping[str, Array]


def price(car: Car, track: Track, *, wheels: Likely, axles: Likely) -> Priced:
    """Return the prices of parts at each station.

    A spin-down gives each wheel a friction of its own, where the run has one for all: what a wheel's friction
    costs is what the arm costs that it acts on, the shank, times shank over friction. The shank also
    lowers the car in its bore, by half of what it is thinner; what the hole's height costs takes that out.

    Args:
        car: the car.
        track: on its lane.
        wheels: what the wheels are likely to be.
        axles: what the pins are likely to be.

    Returns:
        The prices about the average parts, exact derivatives of the run; those of the height difference by
        central differences of a hundredth of a millimetre on the exact stance.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        OutOfRange: the car stalls.
    """
    average = average_car(car, wheels=wheels, axles=axles)
    losses = losses_of(track.losses)
    friction = float(wheels.values["friction"].mean())
    if losses.bearing_friction.value > 0.0:
        losses = replace(losses, bearing_friction=replace(losses.bearing_friction, value=friction))
    found = run(average, track, losses=losses)
    if found.finish_time is None:
        raise OutOfRange(
            "with average parts the car stalls on this track, so no part can be priced",
            mend="check the track's losses and the car's mass",
        )

    def of(name: str) -> Array:
        return np.array([found.prices[f"{station.value}.{name}"] for station in STATIONS])

    shank = float(axles.values["shank"].mean())
    rubs = losses.bearing_friction.value > 0.0
    arm = (of("shank") + 0.5 * of("hole_height")) * shank
    levels = {name: _levels(average, name) for name in ("diameter", "bore", "shank")}
    return Priced(
        car=average,
        track=track,
        losses=losses,
        time=found.finish_time,
        wheel_prices={
            "diameter": of("diameter"),
            "bore": of("bore"),
            "mass": of("wheel_mass"),
            "inertia": of("wheel_inertia"),
            "friction": arm / friction if rubs else np.zeros(4),
        },
        axle_prices={"shank": of("shank"), "mass": of("axle_mass")},
        levels=level_of(stance(average), average),
        wheel_levels={name: levels[name] for name in ("diameter", "bore")},
        axle_levels={"shank": levels["shank"]},
    )


def level_of(found: Stance, car: Car) -> tuple[float, float]:
    """Return how far a car is out of level: nose high, and left side high.

    Args:
        found: its stance.
        car: the car.

    Returns:
        Front less rear underside height at the hole lines, and left less right over the body's width [m].
    """
    return found.height_difference, math.sin(found.roll) * car.body.width.value


def _levels(car: Car, name: str) -> Array:
    """Return what each metre of a size adds to height difference and lean at each station [1], (2, 4)."""
    seats = {station: at.seat.seat for station, at in stance(car).stations.items()}
    slopes = []
    for station in STATIONS:
        ends = []
        for step in (_STEP, -_STEP):
            part: Wheel | Axle = car.axle_at(station) if name == "shank" else car.wheel_at(station)
            old: Quantity = getattr(part, name)
            changed = {name: replace(old, value=old.value + step)}
            if isinstance(part, Wheel):
                nudged = replace(car, wheels={**car.wheels, station.value: replace(part, **changed)})
            else:
                nudged = replace(car, axles={**car.axles, station.value: replace(part, **changed)})
            ends.append(np.array(level_of(stance(nudged, seats=seats), nudged)))
        slopes.append((ends[0] - ends[1]) / (2.0 * _STEP))
    return np.array(slopes).T


def costs_of(likely: Likely, prices: Mapping[str, Array]) -> Array:
    """Return what each part costs at each station against the average part [s], (stations, parts).

    Args:
        likely: the parts.
        prices: by property, for each station [s per SI unit].

    Returns:
        First-order costs; below zero: faster than with the average part.
    """
    total = np.zeros((len(STATIONS), len(likely.names)))
    for name, at in prices.items():
        values = likely.values[name]
        total += at[:, None] * (values - values.mean())
    return total


def variance_of(
    likely: Likely, prices: Mapping[str, Array], weights: Array
) -> tuple[float, Mapping[tuple[str, str], float]]:
    """Return the variance of a weighted sum of costs, and what each property of each part adds to it.

    Args:
        likely: the parts.
        prices: by property, for each station.
        weights: of each part's cost at each station, (stations, parts); those of a station sum to zero where
            two ways to fit it are compared.

    Returns:
        The variance [s2] and its shares by part and property; the readings of parts are independent, a
        factor of inertia that nobody measured is common to all (JCGM 100:2008, 5.1.2 and 5.2.2).
    """
    shares = {}
    for name, at in prices.items():
        each = ((at @ weights) * likely.deviations[name]) ** 2
        shares.update({(part, name): float(share) for part, share in zip(likely.names, each, strict=True)})
    common = 0.0
    if "inertia" in prices and likely.guessed_inertia.any():
        felt = (prices["inertia"] @ weights) * likely.values["inertia"] / WHEEL_INERTIA.value
        common = (float(felt.sum()) * WHEEL_INERTIA.uncertainty) ** 2
        shares["", "inertia"] = common
    return math.fsum(shares.values()), shares
