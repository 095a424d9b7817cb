"""Which three wheels carry a car: their poses, the plane on which they stand, and why none can."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache

from rollwright.car.model import Car, Seat, Station
from rollwright.errors import CarCannotRest
from rollwright.geometry.axle import WheelPose, wheel_pose
from rollwright.geometry.mass import centre_of_mass
from rollwright.geometry.rest import Plane, Tread, contact_point, rest_on
from rollwright.geometry.vector import Vector, rotate

__all__ = ["attitude", "pose_at", "rest_of", "rest_on_treads", "tread_of", "tripods"]

_ON_THE_GROUND = 1e-12
_ON_THE_EDGE = 1e-9


def pose_at(car: Car, station: Station, *, seat: Seat, hangs: bool = False) -> WheelPose:
    """Return where a car's wheel is, in the body frame.

    Args:
        car: the car.
        station: which wheel.
        seat: where in its play the wheel runs.
        hangs: False for a wheel that carries, True for one that hangs from its axle.

    Returns:
        The wheel's pose.
    """
    corner, wheel, axle = car.corners[station], car.wheel_at(station), car.axle_at(station)
    ahead = car.body.wheelbase.value if station.is_front else 0.0
    return wheel_pose(
        side=station.side,
        hole=(
            ahead + corner.offset.value,
            station.side * (car.body.width.value / 2.0 - corner.relief.value),
            corner.hole_height.value,
        ),
        cant=corner.cant.value,
        sweep=corner.sweep.value,
        bend=axle.bend.value,
        clock=corner.clock.value,
        bend_at=axle.bend_at.value,
        hub=corner.washer.value + seat.share_of_play * corner.play.value,
        reach=wheel.hub_projection.value + wheel.tread_width.value / 2.0,
        slack=wheel.bore.value - axle.shank.value,
        hangs=hangs,
    )


def tread_of(car: Car, station: Station, pose: WheelPose) -> Tread:
    """Return a car's wheel as the ground meets it.

    Args:
        car: the car.
        station: which wheel.
        pose: where it is.

    Returns:
        The tread.
    """
    wheel = car.wheel_at(station)
    return Tread(pose, wheel.diameter.value / 2.0, wheel.tread_width.value / 2.0)


@cache
def tripods(dominant: Station) -> tuple[tuple[Station, Station, Station], ...]:
    """Return the four sets of three wheels that might carry the car, the intended one first.

    Args:
        dominant: the front station meant to carry.

    Returns:
        Stations in the order rear left, rear right, front left, front right, less one each: less the
        raised wheel, less the dominant, then less either rear wheel.
    """
    spare = (dominant.opposite, dominant, Station.REAR_LEFT, Station.REAR_RIGHT)
    first, second, third, fourth = (
        tuple(station for station in Station if station is not left_out) for left_out in spare
    )
    return (_three(first), _three(second), _three(third), _three(fourth))


def _three(stations: tuple[Station, ...]) -> tuple[Station, Station, Station]:
    return (stations[0], stations[1], stations[2])


def _holds(
    point: Vector, corners: tuple[Vector, Vector, Vector], rows: tuple[Vector, Vector, Vector]
) -> bool:
    """Return whether a point lies above the triangle, edge included, seen along the ground's vertical."""
    p = rotate(rows, point)
    a, b, c = (rotate(rows, corner) for corner in corners)
    crossings = [
        (end[0] - start[0]) * (p[1] - start[1]) - (end[1] - start[1]) * (p[0] - start[0])
        for start, end in ((a, b), (b, c), (c, a))
    ]
    # Twice an area over a span is a distance: a nanometre beyond an edge still counts as on it.
    edge = _ON_THE_EDGE * max(abs(b[0] - a[0]) + abs(b[1] - a[1]), abs(c[0] - a[0]) + abs(c[1] - a[1]))
    return all(value >= -edge for value in crossings) or all(value <= edge for value in crossings)


def rest_of(
    car: Car, poses: Mapping[Station, WheelPose]
) -> tuple[Plane, tuple[Station, Station, Station], Vector]:
    """Return how a car rests on the ground.

    Args:
        car: the car.
        poses: where its wheels are.

    Returns:
        The plane as seen from the body, the three stations that carry, and the centre of mass [m]: of the
        possible threes the one whose triangle holds the centre of mass, with the fourth wheel at or above
        the plane.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass.
    """
    mass_centre = centre_of_mass(car, poses)
    treads = {station: tread_of(car, station, pose) for station, pose in poses.items()}
    plane, carrying = rest_on_treads(treads, mass_centre, dominant=car.dominant)
    return plane, carrying, mass_centre


def rest_on_treads(
    treads: Mapping[Station, Tread], mass_centre: Vector, *, dominant: Station
) -> tuple[Plane, tuple[Station, Station, Station]]:
    """Return how four wheels rest on the ground.

    Args:
        treads: the wheels, in the body frame.
        mass_centre: of the whole car, in the body frame [m].
        dominant: the front station meant to carry.

    Returns:
        The plane as seen from the body and the three stations that carry, as for `rest_of`.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass.
    """
    for carrying in tripods(dominant):
        try:
            plane = rest_on([treads[station] for station in carrying])
        except CarCannotRest:
            continue
        (spare,) = (station for station in Station if station not in carrying)
        if plane.height(contact_point(treads[spare], up=plane.up)) < -_ON_THE_GROUND:
            continue
        a, b, c = (contact_point(treads[station], up=plane.up) for station in carrying)
        if _holds(mass_centre, (a, b, c), attitude(plane)):
            return plane, carrying
    raise _why_not(mass_centre, {station: tread.pose for station, tread in treads.items()})


def _why_not(mass_centre: Vector, poses: Mapping[Station, WheelPose]) -> CarCannotRest:
    """Return why no three wheels hold a car: it tips over, or it rocks about a diagonal."""
    flat = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    rl, rr, fl, fr = (poses[station].centre for station in Station)
    ahead, aside = (round(each * 1e3, 1) for each in mass_centre[:2])
    along = f"{abs(ahead):.1f} mm {'ahead of' if ahead > 0.0 else 'behind'}" if ahead else "on"
    across = f"{abs(aside):.1f} mm {'left' if aside > 0.0 else 'right'} of" if aside else "on"
    where = f"it lies {along} the rear hole line, {across} the centre line"
    if _holds(mass_centre, (rl, rr, fl), flat) or _holds(mass_centre, (rr, fl, fr), flat):
        return CarCannotRest(
            f"the centre of mass balances on two diagonal wheels, so the car rocks: {where}",
            mend="move weight toward the rear axle, or raise the front wheel that should not carry",
            key="body.centre_of_mass",
        )
    return CarCannotRest(
        f"the car tips over, for no three wheels hold the centre of mass between them: {where}",
        mend="check body.centre_of_mass, the weights' positions and the wheelbase",
        key="body.centre_of_mass",
    )


def attitude(plane: Plane) -> tuple[Vector, Vector, Vector]:
    """Return the rows of the rotation from body to track frame: pitch (nose up) after roll (left up).

    Args:
        plane: the ground as seen from the body.

    Returns:
        `Ry(pitch) Rx(roll)`, without yaw.
    """
    sine = plane.up[0]
    cosine = math.sqrt(1.0 - sine * sine)
    cos_roll, sin_roll = plane.up[2] / cosine, plane.up[1] / cosine
    return ((cosine, -sine * sin_roll, -sine * cos_roll), (0.0, cos_roll, -sin_roll), plane.up)
