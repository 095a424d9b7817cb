"""Where the whole car's mass is."""

from __future__ import annotations

from collections.abc import Mapping

from rollwright.car.model import Car, Point, Station
from rollwright.errors import CarCannotRest
from rollwright.geometry.axle import WheelPose
from rollwright.geometry.vector import Vector

__all__ = ["centre_of_mass", "hole_centre", "mass_of"]


def hole_centre(car: Car, station: Station) -> Vector:
    """Return the centre of a hole at the body's side face, in the body frame [m].

    Args:
        car: the car.
        station: which hole.

    Returns:
        `(x, s (width / 2 - relief), hole_height)`.
    """
    corner = car.corners[station]
    ahead = car.body.wheelbase.value if station.is_front else 0.0
    return (
        ahead + corner.offset.value,
        station.side * (car.body.width.value / 2.0 - corner.relief.value),
        corner.hole_height.value,
    )


def mass_of(car: Car) -> float:
    """Return the mass of the whole car [kg]: body, wheels, axles and weights."""
    return (
        car.body.mass.value
        + sum(weight.mass.value for weight in car.weights.values())
        + sum(car.wheel_at(station).mass.value + car.axle_at(station).mass.value for station in Station)
    )


def centre_of_mass(car: Car, poses: Mapping[Station, WheelPose]) -> Vector:
    """Return the centre of mass of the whole car, in the body frame.

    Args:
        car: the car.
        poses: where its wheels are.

    Returns:
        Mass-weighted mean over body, wheels (at their centres), axles (at their holes: about half of a
        pin is in the wood and half outside) and weights [m].

    Raises:
        CarCannotRest: the car weighs nothing.
    """
    parts: list[tuple[float, Vector]] = [(car.body.mass.value, _values(car.body.centre_of_mass))]
    parts.extend((weight.mass.value, _values(weight.position)) for weight in car.weights.values())
    for station, pose in poses.items():
        parts.append((car.wheel_at(station).mass.value, pose.centre))
        parts.append((car.axle_at(station).mass.value, hole_centre(car, station)))
    total = sum(mass for mass, _ in parts)
    if total <= 0.0:
        raise CarCannotRest("the car weighs nothing", mend="write its mass", key="body.mass")
    return (
        sum(mass * at[0] for mass, at in parts) / total,
        sum(mass * at[1] for mass, at in parts) / total,
        sum(mass * at[2] for mass, at in parts) / total,
    )


def _values(point: Point) -> Vector:
    return (point[0].value, point[1].value, point[2].value)
