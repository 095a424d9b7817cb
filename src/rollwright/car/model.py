"""What a car is: frozen data in SI units (metre, radian, kilogram), no files, no geometry.

Body frame: x forward, y left, z up (ISO 8855), origin on the centre line in the plane of the
underside at the rear hole line. Angles and their signs are drawn in `docs/frame-and-signs.md`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from rollwright.quantity import Quantity, Source

__all__ = [
    "Axle",
    "Board",
    "Body",
    "Car",
    "Corner",
    "Drill",
    "Point",
    "Rail",
    "Seat",
    "Station",
    "Target",
    "Targets",
    "Weight",
    "Wheel",
]

Point = tuple[Quantity, Quantity, Quantity]
"""Position in the body frame: x, y, z [m]."""


class Station(Enum):
    """One of the four places where a wheel is mounted; `side` is +1 on the left, -1 on the right."""

    REAR_LEFT = "rear_left"
    REAR_RIGHT = "rear_right"
    FRONT_LEFT = "front_left"
    FRONT_RIGHT = "front_right"

    @property
    def side(self) -> int:
        """+1 on the left, -1 on the right."""
        return 1 if self in {Station.REAR_LEFT, Station.FRONT_LEFT} else -1

    @property
    def is_front(self) -> bool:
        """Whether the station is on the front hole line."""
        return self in {Station.FRONT_LEFT, Station.FRONT_RIGHT}

    @property
    def opposite(self) -> Station:
        """The station on the same hole line at the other side."""
        front_or_rear, side = self.value.split("_")
        return Station(f"{front_or_rear}_{'right' if side == 'left' else 'left'}")

    @property
    def words(self) -> str:
        """The station as it is said: `front left`."""
        return self.value.replace("_", " ")


class Seat(Enum):
    """Where in its play a wheel runs: hub against the body, middle, or against the axle's head."""

    BODY = "body"
    MIDDLE = "middle"
    HEAD = "head"

    @property
    def share_of_play(self) -> float:
        """Part of the play that lies between the hub's inner end and its stop on the body's side."""
        return {"body": 0.0, "middle": 0.5, "head": 1.0}[self.value]


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """The bare wooden body.

    Attributes:
        length: overall length [m].
        width: width at the hole lines before any relief [m].
        wheelbase: distance from the rear to the front hole line [m].
        rear_overhang: tail to rear hole line [m].
        mass: of the bare body [kg].
        centre_of_mass: of the bare body, body frame [m].
    """

    length: Quantity
    width: Quantity
    wheelbase: Quantity
    rear_overhang: Quantity
    mass: Quantity
    centre_of_mass: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Wheel:
    """One wheel, or one make of wheel.

    Attributes:
        diameter: of the tread [m].
        tread_width: of the running surface [m].
        hub_projection: hub's inner end to the tread's inner edge, along the axle [m].
        bore: diameter of the hole that the axle runs in [m].
        mass: of one wheel [kg].
        inertia: about its own axle [kg m2], or None where it was not given.
    """

    diameter: Quantity
    tread_width: Quantity
    hub_projection: Quantity
    bore: Quantity
    mass: Quantity
    inertia: Quantity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Axle:
    """One axle pin.

    Attributes:
        shank: diameter of the pin [m].
        bend: angle between its two straight parts [rad], never negative.
        bend_at: distance of the bend outboard of the side face [m].
        mass: of one pin [kg].
    """

    shank: Quantity
    bend: Quantity
    bend_at: Quantity
    mass: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """What is drilled and fitted at one station.

    Attributes:
        hole_height: hole's centre above the underside, at the side face [m].
        cant: hole axis out of level [rad]; outer end up is positive, outer end down negative.
        sweep: hole axis out of square [rad]; outer end forward is positive, backward negative.
        relief: depth of wood removed from the side face [m].
        washer: total thickness of washers between side face and hub [m].
        play: free axial travel of the wheel [m].
        seat: where in its play the wheel runs, or None to have it inferred.
        clock: rotation of the bend about the hole axis [rad]; 0 carries the outer end straight down,
            positive carries it forward, negative backward.
        offset: hole forward of its hole line [m].
        wheel: name of the wheel fitted here.
        axle: name of the axle fitted here.
    """

    hole_height: Quantity
    cant: Quantity
    sweep: Quantity
    relief: Quantity
    washer: Quantity
    play: Quantity
    seat: Seat | None
    clock: Quantity
    offset: Quantity
    wheel: str
    axle: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """A weight in the body.

    Attributes:
        mass: [kg].
        position: of its centre of mass, body frame [m].
    """

    mass: Quantity
    position: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Rail:
    """The guide rail of one lane: `width` and `height` [m]."""

    width: Quantity
    height: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The tuning board: the `length` over which drift is read [m]."""

    length: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What is wanted of one quantity.

    Attributes:
        value: wanted value [m].
        tolerance: greatest allowed distance from it, either way [m].
    """

    value: float
    tolerance: float

    @property
    def low(self) -> float:
        """Lower tolerance limit [m]."""
        return self.value - self.tolerance

    @property
    def high(self) -> float:
        """Upper tolerance limit [m]."""
        return self.value + self.tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """What the builder wants: height difference, drift (positive left) and rail offset, each [m]."""

    height_difference: Target
    drift: Target
    rail_offset: Target


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """How far a drilled hole may be off what was meant, either way.

    Attributes:
        cant: off its cant [rad].
        sweep: off its sweep [rad]; the rear pair's mean heading likewise.
        hole_height: off its height [m]; left against right and front against rear likewise.
    """

    cant: Quantity
    sweep: Quantity
    hole_height: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """A car as its builder describes it.

    Attributes:
        name: what its builder calls it.
        body: the bare body.
        wheels: wheels by name.
        axles: axles by name.
        corners: what is drilled and fitted at each of the four stations.
        weights: weights by name.
        dominant: the front station that is steered into the rail.
        bent_axles: whether the class the car is built for allows bent axles.
        rail: guide rail of the track it is set up for.
        board: tuning board it is read on.
        targets: what is wanted of it.
        drill: how far its holes may be off.
        assumed: dotted names of the file's keys whose values came from the shipped defaults or are
            marked as assumed by the builder.
    """

    name: str
    body: Body
    wheels: Mapping[str, Wheel]
    axles: Mapping[str, Axle]
    corners: Mapping[Station, Corner]
    weights: Mapping[str, Weight]
    dominant: Station
    bent_axles: bool
    rail: Rail
    board: Board
    targets: Targets
    drill: Drill
    assumed: tuple[str, ...] = ()

    @property
    def raised(self) -> Station:
        """The front station that the builder means to keep off the ground."""
        return self.dominant.opposite

    def wheel_at(self, station: Station) -> Wheel:
        """Return the wheel fitted at a station."""
        return self.wheels[self.corners[station].wheel]

    def axle_at(self, station: Station) -> Axle:
        """Return the axle fitted at a station."""
        return self.axles[self.corners[station].axle]


def is_assumed(quantity: Quantity) -> bool:
    """Return whether a quantity rests on an assumption rather than on a drawing or a measurement."""
    return quantity.source is Source.ASSUMED
