"""Everything that a run depends on, as one named vector: dimensions, masses, air, losses, track."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollwright.car.assumed import assumed_for_stance
from rollwright.car.dimensions import dimension_names, dimension_of, free_deviations
from rollwright.car.model import Car, Station
from rollwright.quantity import Quantity, Source
from rollwright.run.losses import COEFFICIENTS, Losses
from rollwright.run.track import Track

__all__ = ["GRAVITY", "PITCH_INERTIA", "PROFILE", "WHEEL_INERTIA", "Inputs", "inputs_of"]

GRAVITY = Quantity(value=9.80665, uncertainty=0.015, source=Source.ASSUMED, label="gravity")
"""Standard gravity [m/s2] (3rd CGPM, 1901); the ground's differs by up to 0.027 either way, with latitude."""

WHEEL_INERTIA = Quantity(value=0.6, uncertainty=0.08, source=Source.ASSUMED, label="wheel_inertia_factor")
"""Wheel's inertia over `mass radius^2` where none is given (judgement): a disc has 0.5, a thin hoop 1."""

PITCH_INERTIA = Quantity(value=1.0, uncertainty=0.2, source=Source.ASSUMED, label="pitch_inertia_factor")
"""Body's inertia in pitch over that of a uniform box as long, and twice as high as its centre of mass is."""

PROFILE = ("ramp_angle", "ramp_length", "arc_radius", "flat_length")
"""Sizes of a laid-out track, by the names in its file."""

_AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """A named vector.

    Attributes:
        names: of the inputs, first those of `dimension_names`.
        values: [SI], shape (p,).
        deviations: standard uncertainties, (p,).
        assumed: keys and rules that nobody gave.
    """

    names: tuple[str, ...]
    values: NDArray[np.float64]
    deviations: NDArray[np.float64]
    assumed: tuple[str, ...]

    def at(self, name: str) -> int:
        """Return the place of an input in the vector."""
        return self.names.index(name)


def _of_the_car(car: Car) -> Iterator[tuple[str, Quantity]]:
    body = car.body
    yield "body.length", body.length
    yield "body.rear_overhang", body.rear_overhang
    yield "body.mass", body.mass
    for axis, part in zip(_AXES, body.centre_of_mass, strict=True):
        yield f"body.centre_of_mass.{axis}", part
    for station in Station:
        yield f"{station.value}.wheel_mass", car.wheel_at(station).mass
    for station in Station:
        yield f"{station.value}.axle_mass", car.axle_at(station).mass
    for station in Station:
        inertia = car.wheel_at(station).inertia
        if inertia is not None:
            yield f"{station.value}.wheel_inertia", inertia
    for name, weight in car.weights.items():
        yield f"weights.{name}.mass", weight.mass
        for axis, part in zip(_AXES, weight.position, strict=True):
            yield f"weights.{name}.position.{axis}", part
    if any(car.wheel_at(station).inertia is None for station in Station):
        yield "wheel_inertia_factor", WHEEL_INERTIA
    yield "pitch_inertia_factor", PITCH_INERTIA


def inputs_of(car: Car, track: Track, *, losses: Losses, gravity: Quantity) -> Inputs:
    """Return what a run depends on.

    Args:
        car: the car.
        track: the track, on one lane.
        losses: the coefficients of the losses.
        gravity: acceleration of free fall [m/s2].

    Returns:
        Dimensions, masses and their places, inertias, coefficients, air, gravity, and the sizes of a laid-out
        track, or the place of the finish alone where the surface was surveyed. Equal parts at
        different stations are taken as independent, as the mass ledger takes them.
    """
    spread = free_deviations(car)
    dimensions = dimension_names()
    names = list(dimensions)
    values = [dimension_of(car, name).value for name in dimensions]
    deviations = [spread.get(name, 0.0) for name in dimensions]
    rest = [
        *_of_the_car(car),
        *((f"losses.{name}", losses.coefficient(name)) for name in COEFFICIENTS),
        ("air.density", track.air),
        ("gravity", gravity),
        *(
            ((f"profile.{name}", track.profile[name]) for name in PROFILE)
            if is_laid_out(track)
            else (("finish", Quantity(value=track.finish)),)
        ),
    ]
    for name, quantity in rest:
        names.append(name)
        values.append(quantity.value)
        deviations.append(quantity.uncertainty)
    return Inputs(
        names=tuple(names),
        values=np.array(values),
        deviations=np.array(deviations),
        assumed=_assumed(car, track, losses=losses, gravity=gravity),
    )


def is_laid_out(track: Track) -> bool:
    """Return whether the running surface was laid out from the four sizes of `PROFILE`."""
    if not all(name in track.profile for name in PROFILE):
        return False
    angle, ramp, radius, flat = (track.profile[name].value for name in PROFILE)
    return math.isclose(track.end, ramp + radius * angle + flat, rel_tol=1e-9)


def _assumed(car: Car, track: Track, *, losses: Losses, gravity: Quantity) -> tuple[str, ...]:
    of_car = dict.fromkeys(assumed_for_stance(car))
    of_car |= dict.fromkeys(
        key for key in car.assumed if key.startswith(("weights.", "body.length", "body.rear_overhang"))
    )
    found = list(of_car)
    found += [
        f"wheels.{name}.inertia"
        for name in dict.fromkeys(corner.wheel for corner in car.corners.values())
        if car.wheels[name].inertia is None or car.wheels[name].inertia.source is Source.ASSUMED  # type: ignore[union-attr]  # None is asked first
    ]
    found.append("body.pitch_inertia")
    found += track.assumed
    found += [name for name in losses.assumed if name not in found]
    if gravity.source is Source.ASSUMED:
        found.append("gravity")
    return tuple(dict.fromkeys(found))
