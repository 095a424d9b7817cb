"""A plain car and plain tracks for the tests of the run; its axles are level and square, so nothing rubs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from rollwright.car import Car, Station, parse_car
from rollwright.quantity import Quantity
from rollwright.run.losses import COEFFICIENTS, Losses, losses_of
from rollwright.run.track import Track, joined, ramp_arc_flat

MASS = 0.1417
INERTIA = 3.51e-7
RADIUS = 0.015
GRAVITY = 9.80665
SHANK = 0.0024
EFFECTIVE = MASS + 4.0 * INERTIA / RADIUS**2

_PLAIN = """
format = 1
name = "Plain"
[body]
length = 180
width = 44
wheelbase = 120
rear_overhang = 25
mass = 89.3
centre_of_mass = [50, 0, 10]
[wheels.disc]
diameter = 30
tread_width = 8
hub_projection = 2
bore = 2.4
mass = 2.6
inertia = "468 mm2*g"
[axles.pin]
shank = 2.4
bend = 0
mass = 0.5
[stations.rear_left]
hole_height = 9
seat = "body"
[stations.rear_right]
hole_height = 9
seat = "body"
[stations.front_left]
hole_height = 9
seat = "body"
[stations.front_right]
hole_height = 12
seat = "body"
[weights.slug]
mass = 40
position = [20, 0, 12]
[setup]
dominant = "front_left"
[rail]
width = 40
height = 6
[board]
length = 1000
"""
"""A car of 141.7 g; three wheels roll, so each has four thirds of the inertia that four would need."""


def plain_car() -> Car:
    """Return the plain car."""
    return parse_car(_PLAIN)


def mirrored(car: Car) -> Car:
    """Return a car with left and right exchanged."""
    flip = {
        station: Station(station.value.replace("left", "L").replace("right", "left").replace("L", "right"))
        for station in Station
    }
    x, y, z = car.body.centre_of_mass
    return replace(
        car,
        body=replace(car.body, centre_of_mass=(x, replace(y, value=-y.value), z)),
        corners={flip[station]: corner for station, corner in car.corners.items()},
        weights={
            name: replace(
                weight,
                position=(
                    weight.position[0],
                    replace(weight.position[1], value=-weight.position[1].value),
                    weight.position[2],
                ),
            )
            for name, weight in car.weights.items()
        },
        dominant=flip[car.dominant],
    )


def only(**given: float) -> Losses:
    """Return losses that are all zero but those given."""
    values = dict.fromkeys(COEFFICIENTS, 0.0) | given
    return losses_of({name: Quantity(value=value, label=name) for name, value in values.items()})


def straight(*, angle: float, finish: float, density: float = 1.2) -> Track:
    """Return one straight slope; an angle of 0 is a level floor."""
    return Track(
        name="straight",
        pieces=joined(angle=angle, stretches=((finish, 0.0),)),
        finish=finish,
        air=Quantity(value=density),
    )


CLUB_PROFILE: Mapping[str, float] = {
    "ramp_angle": math.radians(23.0),
    "ramp_length": 2.4,
    "arc_radius": 1.3,
    "flat_length": 5.5,
}


def laid_out(sizes: Mapping[str, float] = CLUB_PROFILE, *, density: float = 1.2, keep: bool = True) -> Track:
    """Return a track of ramp, arc and flat; `keep` says whether it knows the sizes it was made from."""
    return Track(
        name="laid out",
        pieces=ramp_arc_flat(**sizes),
        finish=sizes["ramp_length"] + sizes["arc_radius"] * sizes["ramp_angle"] + sizes["flat_length"],
        air=Quantity(value=density),
        profile={name: Quantity(value=value) for name, value in sizes.items()} if keep else {},
    )
