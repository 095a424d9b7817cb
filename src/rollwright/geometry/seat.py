"""Where in its play a wheel runs, when its builder does not say."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rollwright.car.dimensions import GLOBAL_DIMENSIONS, STATION_DIMENSIONS
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import CarCannotRest
from rollwright.geometry.axle import shank_axis, wheel_pose
from rollwright.geometry.rest import Tread
from rollwright.geometry.tripod import attitude, rest_on_treads, tripods
from rollwright.geometry.vector import Vector, rotate

__all__ = ["Footing", "InferredSeat", "footing_of", "infer_seat"]

_SIDES = {station: station.side for station in Station}
SEAT_ROUNDS = 6
"""How often seats are inferred anew from the stance that they lead to."""

_TRUE = 1e-6
_CLOSE = 3.0
_WORTH_SAYING = 0.05


@dataclass(frozen=True, slots=True)
class InferredSeat:
    """Where a wheel runs and why: `seat`, the `reason` in words, and whether it is a `close` call."""

    seat: Seat
    reason: str
    close: bool = False


def infer_seat(*, slope: float, toe_in: float, carried: bool) -> InferredSeat:
    """Return where in its play a wheel runs.

    A turning axle lets its wheel creep down whatever pushes along it, however lightly. Two things
    push: the car's weight on a sloping shank, and the ground on a wheel that is toed.

    Args:
        slope: shank out of level [rad], seen against the ground. Positive, outer end up: the wheel
            runs out to the head; negative, outer end down: in to the body.
        toe_in: heading of the wheel toward the centre line [rad]. Positive, toe-in: it is pushed in to
            the body; negative, toe-out: out to the head.
        carried: whether the wheel carries the car; a raised wheel is pushed by neither.

    Returns:
        The seat and its reason. Where the two disagree the larger angle decides, and the call is
        marked as close when neither is three times the other. Rule: common practice, no source.
    """
    if not carried:
        return InferredSeat(Seat.MIDDLE, "it is raised, so nothing pushes it either way")
    drive = slope - toe_in
    if abs(drive) < _TRUE:
        if abs(slope) < _TRUE:
            return InferredSeat(Seat.MIDDLE, "its axle is level and it rolls straight")
        return InferredSeat(Seat.MIDDLE, "its slope and its toe push it equally hard both ways", close=True)
    seat = Seat.HEAD if drive > 0.0 else Seat.BODY
    by_slope = "its outer end stands up" if slope > 0.0 else "its outer end hangs down"
    by_toe = "it toes in" if toe_in > 0.0 else "it toes out"
    opposed = slope * toe_in > 0.0
    small, large = sorted((abs(slope), abs(toe_in)))
    if not opposed and small > max(_TRUE, _WORTH_SAYING * large):
        return InferredSeat(seat, f"{by_slope} and {by_toe}")
    reason = by_slope if abs(slope) >= abs(toe_in) else by_toe
    if opposed and math.isfinite(large) and large < _CLOSE * small:
        return InferredSeat(
            seat, f"{reason}, though {by_toe if reason == by_slope else by_slope}", close=True
        )
    return InferredSeat(seat, reason)


@dataclass(frozen=True, slots=True)
class Footing:
    """Which wheels carry a car, as an index into `tripods`, and where in its play each wheel runs."""

    seats: Mapping[Station, Seat]
    carrying: int


def footing_of(car: Car, values: Sequence[float]) -> Footing:
    """Return which wheels carry a car with other dimensions, and where its wheels run.

    Args:
        car: gives masses, the dominant wheel and the seats that are said.
        values: all dimensions [m, rad], in the order of `dimension_names`.

    Returns:
        What `stance` finds of the car that has these dimensions, without the rest of it.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
    """
    sizes = _sizes_of(values)
    holes = {station: _hole_of(station, at, values) for station, at in sizes.items()}
    axes = {
        station: shank_axis(
            side=_SIDES[station], cant=at["cant"], sweep=at["sweep"], bend=at["bend"], clock=at["clock"]
        )
        for station, at in sizes.items()
    }
    seats = _seats_on(car, axes, raised=[car.raised])
    for _ in range(SEAT_ROUNDS):
        treads = {
            station: _tread_of(station, at, holes[station], seats[station]) for station, at in sizes.items()
        }
        plane, carrying = rest_on_treads(treads, _mass_centre(car, treads, holes), dominant=car.dominant)
        rows = attitude(plane)
        axes = {station: rotate(rows, tread.pose.axis) for station, tread in treads.items()}
        found = Footing(seats, tripods(car.dominant).index(carrying))
        seats = _seats_on(car, axes, raised=[station for station in Station if station not in carrying])
        if seats == found.seats:
            break
    return found


def _sizes_of(values: Sequence[float]) -> dict[Station, dict[str, float]]:
    start, count = len(GLOBAL_DIMENSIONS), len(STATION_DIMENSIONS)
    return {
        station: dict(zip(STATION_DIMENSIONS, values[start + count * number :], strict=False))
        for number, station in enumerate(Station)
    }


def _hole_of(station: Station, at: Mapping[str, float], values: Sequence[float]) -> Vector:
    width, wheelbase = values[0], values[1]
    ahead = wheelbase if station.is_front else 0.0
    return (ahead + at["offset"], _SIDES[station] * (width / 2.0 - at["relief"]), at["hole_height"])


def _tread_of(station: Station, at: Mapping[str, float], hole: Vector, seat: Seat) -> Tread:
    pose = wheel_pose(
        side=_SIDES[station],
        hole=hole,
        cant=at["cant"],
        sweep=at["sweep"],
        bend=at["bend"],
        clock=at["clock"],
        bend_at=at["bend_at"],
        hub=at["washer"] + seat.share_of_play * at["play"],
        reach=at["hub_projection"] + at["tread_width"] / 2.0,
        slack=at["bore"] - at["shank"],
    )
    return Tread(pose, at["diameter"] / 2.0, at["tread_width"] / 2.0)


def _seats_on(car: Car, axes: Mapping[Station, Vector], *, raised: Sequence[Station]) -> dict[Station, Seat]:
    """Return the seats that follow from the shanks' directions, but for those that the car gives."""
    return {
        station: car.corners[station].seat
        or infer_seat(
            slope=math.asin(max(-1.0, min(1.0, axis[2]))),
            toe_in=math.atan2(axis[0], _SIDES[station] * axis[1]),
            carried=station not in raised,
        ).seat
        for station, axis in axes.items()
    }


def _mass_centre(car: Car, treads: Mapping[Station, Tread], holes: Mapping[Station, Vector]) -> Vector:
    """Return the centre of mass as `geometry.mass` does, for wheels and holes that are elsewhere."""
    weights = [(weight.mass, weight.position) for weight in car.weights.values()]
    parts = [
        (mass.value, (at[0].value, at[1].value, at[2].value))
        for mass, at in [(car.body.mass, car.body.centre_of_mass), *weights]
    ]
    for station, tread in treads.items():
        parts.append((car.wheel_at(station).mass.value, tread.pose.centre))
        parts.append((car.axle_at(station).mass.value, holes[station]))
    total = sum(mass for mass, _ in parts)
    if total <= 0.0:
        raise CarCannotRest("the car weighs nothing", mend="write its mass", key="body.mass")
    x, y, z = (sum(mass * at[axis] for mass, at in parts) / total for axis in range(3))
    return (x, y, z)
