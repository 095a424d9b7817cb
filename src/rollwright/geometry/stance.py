"""Where a car sits: its attitude on a flat plane, and what follows for every wheel, drift and rail.

Track frame: z up from the ground, x along travel, the body square and centred (ISO 8855 axes).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from rollwright.car.model import Car, Seat, Station
from rollwright.errors import DriftUndefined
from rollwright.geometry.axle import WheelPose
from rollwright.geometry.drift import curvature, drift_over
from rollwright.geometry.rail import Nearest, innermost
from rollwright.geometry.rest import Plane, contact_point
from rollwright.geometry.seat import SEAT_ROUNDS, InferredSeat, infer_seat
from rollwright.geometry.tripod import attitude, pose_at, rest_of, tread_of
from rollwright.geometry.vector import Vector, rotate

__all__ = ["Drift", "Stance", "StationStance", "camber_of", "stance", "steer_of"]

_ON_THE_GROUND = 1e-12


@dataclass(frozen=True, slots=True)
class StationStance:
    """How one wheel stands, in the track frame.

    Attributes:
        camber: positive when the wheel's top leans outward, negative inward [rad].
        steer: heading of the wheel's plane; positive to the left, negative to the right [rad].
        clearance: height of its lowest point above the ground [m]; 0 for a carried wheel.
        hanging_clearance: the same once the wheel hangs in its bore, as a raised wheel does [m].
        rail_gap: innermost point less half the rail's width [m]; None where the wheel is above the rail.
        rail_contact: that innermost point; None likewise.
        centre: of the tread [m].
        contact: its lowest point [m].
        axis: outward unit vector along its shank.
        seat: where in its play it runs, with the reason.
    """

    camber: float
    steer: float
    clearance: float
    hanging_clearance: float
    rail_gap: float | None
    rail_contact: Nearest | None
    centre: Vector
    contact: Vector
    axis: Vector
    seat: InferredSeat


@dataclass(frozen=True, slots=True)
class Drift:
    """Drift on the tuning board.

    Attributes:
        distance: length of the board [m].
        curvature: of the car's path [1/m]; positive turns left, negative right.
        lateral: sideways travel at the board's end [m], positive left, negative right; None where the car
            turns too sharply to reach it.
        length: rear to dominant contact, along the car [m].
        rear_steer: mean heading of the rear pair [rad], positive left.
    """

    distance: float
    curvature: float
    lateral: float | None
    length: float
    rear_steer: float


@dataclass(frozen=True, slots=True)
class Stance:
    """Where the whole car sits.

    Attributes:
        front: height of the underside on the centre line at the front hole line [m].
        rear: the same at the rear hole line [m].
        pitch: nose up is positive, nose down negative [rad].
        roll: left side up is positive, right side up negative [rad].
        carrying: the three stations whose wheels carry the car.
        stations: how each wheel stands.
        drift: what the tuning board shows.
        rail_offset: innermost point of the dominant wheel less half the rail's width [m]; positive stands
            off the rail, negative holds the centre lines apart; None where the wheel is above the rail.
        centre_of_mass: of the whole car, body frame [m].
    """

    front: float
    rear: float
    pitch: float
    roll: float
    carrying: tuple[Station, Station, Station]
    stations: Mapping[Station, StationStance]
    drift: Drift
    rail_offset: float | None
    centre_of_mass: Vector

    @property
    def height_difference(self) -> float:
        """Front less rear underside height [m]; positive sits nose high, negative nose low."""
        return self.front - self.rear

    def as_json(self) -> dict[str, object]:
        """Return the stance as plain data in SI units, with the keys that `docs/json-output.md` lists."""
        return {
            "height": {"front": self.front, "rear": self.rear, "difference": self.height_difference},
            "pitch": self.pitch,
            "roll": self.roll,
            "carrying": [station.value for station in self.carrying],
            "stations": {
                station.value: {
                    "camber": at.camber,
                    "steer": at.steer,
                    "clearance": at.clearance,
                    "hanging_clearance": at.hanging_clearance,
                    "rail_gap": at.rail_gap,
                    "centre": list(at.centre),
                    "contact": list(at.contact),
                    "seat": at.seat.seat.value,
                    "seat_reason": at.seat.reason,
                }
                for station, at in self.stations.items()
            },
            "drift": {
                "distance": self.drift.distance,
                "curvature": self.drift.curvature,
                "lateral": self.drift.lateral,
            },
            "rail_offset": self.rail_offset,
            "centre_of_mass": list(self.centre_of_mass),
        }


def camber_of(axis: Vector) -> float:
    """Return a wheel's camber: positive when its top leans outward, negative inward.

    Args:
        axis: outward unit vector along its shank, track frame.

    Returns:
        `-asin(u_z)` [rad] (sign as in ISO 8855).
    """
    return -math.asin(max(-1.0, min(1.0, axis[2]))) + 0.0


def steer_of(axis: Vector, *, side: int) -> float:
    """Return the heading of a wheel's plane: positive to the left, negative to the right.

    Args:
        axis: outward unit vector along its shank, track frame.
        side: +1 for a wheel on the left, -1 on the right.

    Returns:
        `-atan2(u_x, u_y)` on the left, `atan2(u_x, -u_y)` on the right [rad].
    """
    # Adding zero turns a minus zero into a plain one, which reads better.
    return -side * math.atan2(axis[0], side * axis[1]) + 0.0


def _first_seats(car: Car) -> dict[Station, InferredSeat]:
    """Guess the seats from the car lying flat, as the start of the search."""
    seats = {}
    for station in Station:
        given = car.corners[station].seat
        if given is not None:
            seats[station] = InferredSeat(given, "as given")
            continue
        axis = pose_at(car, station, seat=Seat.MIDDLE).axis
        seats[station] = infer_seat(
            slope=-camber_of(axis),
            toe_in=-station.side * steer_of(axis, side=station.side),
            carried=station is not car.raised,
        )
    return seats


def stance(car: Car, *, seats: Mapping[Station, Seat] | None = None) -> Stance:
    """Return where a car sits.

    Args:
        car: the car.
        seats: where each wheel runs in its play; left out, a seat that the car does not give is
            inferred from the slope and toe of its axle.

    Returns:
        Attitude, heights, how every wheel stands, drift and rail offset: the exact rotation and lift that
        bring three wheels' lowest points to the ground, of the possible threes the one whose
        triangle holds the centre of mass with the fourth wheel at or above the ground.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    chosen = (
        _first_seats(car)
        if seats is None
        else {station: InferredSeat(seat, "as given") for station, seat in seats.items()}
    )
    for _ in range(SEAT_ROUNDS):
        found = _stance(car, chosen)
        if seats is not None:
            return found
        better = _better_seats(car, found)
        if all(better[station].seat is chosen[station].seat for station in Station):
            return _with_seats(found, better)
        chosen = better
    return found


def _better_seats(car: Car, found: Stance) -> dict[Station, InferredSeat]:
    seats = {}
    for station in Station:
        given = car.corners[station].seat
        at = found.stations[station]
        seats[station] = (
            InferredSeat(given, "as given")
            if given is not None
            else infer_seat(
                slope=-at.camber,
                toe_in=-station.side * at.steer,
                carried=station in found.carrying,
            )
        )
    return seats


def _with_seats(found: Stance, seats: Mapping[Station, InferredSeat]) -> Stance:
    """Return the same stance with the reasons that belong to its own angles."""
    return replace(
        found,
        stations={station: replace(at, seat=seats[station]) for station, at in found.stations.items()},
    )


def _stance(car: Car, seats: Mapping[Station, InferredSeat]) -> Stance:
    poses = {station: pose_at(car, station, seat=seats[station].seat) for station in Station}
    plane, carrying, mass_centre = rest_of(car, poses)
    rows = attitude(plane)
    stations = {
        station: _station(car, station, poses[station], plane, rows, seats[station]) for station in Station
    }
    rear_x = 0.5 * (stations[Station.REAR_LEFT].contact[0] + stations[Station.REAR_RIGHT].contact[0])
    rear_steer = 0.5 * (stations[Station.REAR_LEFT].steer + stations[Station.REAR_RIGHT].steer)
    dominant = stations[car.dominant]
    length = dominant.contact[0] - rear_x
    k = curvature(
        dominant_steer=dominant.steer,
        rear_steer=rear_steer,
        length=length,
        contact_y=dominant.contact[1],
    )
    watched = rows[0][0] * car.body.wheelbase.value - rear_x
    try:
        lateral: float | None = drift_over(
            curvature=k, rear_steer=rear_steer, wheelbase=watched, board=car.board.length.value
        )
    except DriftUndefined:
        lateral = None
    return Stance(
        front=plane.lift + plane.up[0] * car.body.wheelbase.value,
        rear=plane.lift,
        pitch=math.asin(plane.up[0]),
        roll=math.atan2(plane.up[1], plane.up[2]),
        carrying=carrying,
        stations=stations,
        drift=Drift(car.board.length.value, k, lateral, length, rear_steer),
        rail_offset=dominant.rail_gap,
        centre_of_mass=mass_centre,
    )


def _station(
    car: Car,
    station: Station,
    pose: WheelPose,
    plane: Plane,
    rows: tuple[Vector, Vector, Vector],
    seat: InferredSeat,
) -> StationStance:
    tread = tread_of(car, station, pose)
    lowest = contact_point(tread, up=plane.up)
    clearance = plane.height(lowest)
    if abs(clearance) < _ON_THE_GROUND:
        clearance = 0.0
    slack = car.wheel_at(station).bore.value - car.axle_at(station).shank.value
    axis = rotate(rows, pose.axis)
    centre = _raised(rotate(rows, pose.centre), plane.lift)
    contact = _raised(rotate(rows, lowest), plane.lift)
    near = innermost(
        centre=centre,
        axis=axis,
        radius=tread.radius,
        half=tread.half,
        side=station.side,
        low=0.0,
        high=car.rail.height.value,
    )
    return StationStance(
        camber=camber_of(axis),
        steer=steer_of(axis, side=station.side),
        clearance=clearance,
        hanging_clearance=clearance if clearance == 0.0 else clearance - slack * math.hypot(axis[0], axis[1]),
        rail_gap=None if near is None else near.inset - car.rail.width.value / 2.0,
        rail_contact=near,
        centre=centre,
        contact=contact,
        axis=axis,
        seat=seat,
    )


def _raised(point: Vector, lift: float) -> Vector:
    return (point[0], point[1], point[2] + lift)
