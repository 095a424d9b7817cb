"""A second, deliberately plain computation of how a car stands, for comparison in tests only.

It shares no code with the package and leans on general tools where the package uses formulas: axles are
built by turning unit vectors with a rotation library, the attitude is found by a general root finder that
knows nothing of wheels, the turn on the board comes from two no-slip conditions and an integrator of
differential equations, and the rail is found by walking round the rim.

Input is the plain dictionary of a car file with bare numbers (mm, degrees, grams) and every key present,
the seat included. Output is in metres and radians. Axes as in ISO 8855: x forward, y left, z up.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize_scalar, root
from scipy.spatial.transform import Rotation

if TYPE_CHECKING:
    from collections.abc import Mapping

Vector = NDArray[np.float64]

STATIONS = ("rear_left", "rear_right", "front_left", "front_right")
_SHARE_OF_PLAY = {"body": 0.0, "middle": 0.5, "head": 1.0}
_UP = np.array([0.0, 0.0, 1.0])
_SAMPLES_ROUND_THE_RIM = 720
# Rounding alone can put a standing wheel this far below the plane [m]; far less than any length compared.
_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """One wheel: `centre` [m] and outward `axis` (unit vector) in some frame, `radius` and `width` [m]."""

    side: int
    centre: Vector
    axis: Vector
    radius: float
    width: float

    def rim(self, end: int) -> Vector:
        """Return the centre of a rim circle: `end` is +1 for the outer one, -1 for the inner one."""
        return self.centre + end * self.width / 2.0 * self.axis

    def touching_rim(self) -> Vector:
        """Return the centre of the rim circle that reaches lower."""
        inner, outer = self.rim(-1), self.rim(1)
        lower_inner = _lowest(inner, self.axis, self.radius)[2] < _lowest(outer, self.axis, self.radius)[2]
        return inner if lower_inner else outer

    def lowest(self) -> Vector:
        """Return the wheel's lowest point."""
        return _lowest(self.touching_rim(), self.axis, self.radius)

    def moved(self, attitude: Rotation, rise: float) -> Disc:
        """Return the wheel after a rotation about the origin and a rise."""
        return Disc(
            side=self.side,
            centre=np.asarray(attitude.apply(self.centre)) + rise * _UP,
            axis=np.asarray(attitude.apply(self.axis)),
            radius=self.radius,
            width=self.width,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """How the car stands: attitude, rise of the body's origin [m], standing stations, wheels on the track."""

    pitch: float
    roll: float
    rise: float
    carrying: tuple[str, ...]
    discs: dict[str, Disc]
    centre_of_mass: Vector

    def place(self, point: Vector) -> Vector:
        """Return a point of the body in the track frame."""
        return np.asarray(_attitude(self.pitch, self.roll).apply(point)) + self.rise * _UP


def plain_car() -> dict[str, Any]:
    """Return a car file's content with every key present and the left wheel dominant, for tests to alter."""
    station = {
        "hole_height": 9.0,
        "cant": 0.0,
        "sweep": 0.0,
        "relief": 0.0,
        "washer": 0.0,
        "play": 0.6,
        "seat": "head",
        "clock": 0.0,
        "offset": 0.0,
        "wheel": "disc",
    }
    car: dict[str, Any] = {
        "format": 1,
        "name": "Plover",
        "body": {
            "length": 190.0,
            "width": 48.0,
            "wheelbase": 124.0,
            "rear_overhang": 24.0,
            "mass": 96.0,
            "centre_of_mass": [48.0, 1.0, 11.0],
        },
        "wheels": {
            "disc": {
                "diameter": 32.0,
                "tread_width": 8.6,
                "hub_projection": 3.4,
                "bore": 2.5,
                "mass": 2.7,
                "inertia": 350.0,
            }
        },
        "axles": {name: {"shank": 2.38, "bend": 0.0, "bend_at": 0.0, "mass": 0.6} for name in STATIONS},
        "stations": {name: {**station, "axle": name} for name in STATIONS},
        "weights": {"slug": {"mass": 20.0, "position": [30.0, 0.0, 9.0]}},
        "setup": {"dominant": "front_left"},
        "rail": {"width": 43.0, "height": 7.0},
        "board": {"length": 1000.0},
    }
    car["stations"]["front_right"]["hole_height"] = 11.0
    return copy.deepcopy(car)


def _mm(table: Mapping[str, Any], key: str) -> float:
    return float(table[key]) / 1000.0


def _rad(table: Mapping[str, Any], key: str) -> float:
    return float(np.deg2rad(table[key]))


def _side(station: str) -> int:
    return 1 if station.endswith("left") else -1


def _lowest(centre: Vector, axis: Vector, radius: float) -> Vector:
    """Return the lowest point of a circle."""
    first = np.cross(axis, [1.0, 0.0, 0.0])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    # Height round the circle is a sine wave; its trough lies opposite to the phase of its crest.
    trough = math.atan2(-second[2], -first[2])
    return np.asarray(centre + radius * (math.cos(trough) * first + math.sin(trough) * second))


def _turn(axis: tuple[float, float, float], angle: float) -> Rotation:
    return Rotation.from_rotvec(angle * np.array(axis))


def _attitude(pitch: float, roll: float) -> Rotation:
    # A right-handed turn about y takes the nose down; nose up is wanted as positive.
    return _turn((0.0, 1.0, 0.0), -pitch) * _turn((1.0, 0.0, 0.0), roll)


def shank_directions(
    *, side: int, cant: float, sweep: float, bend: float, clock: float
) -> tuple[Vector, Vector]:
    """Return the outward unit vectors along the hole and along the shank past the bend; angles in radians.

    The axle starts level and square. It is bent outer end down, then rolled about itself so that the bend
    goes forward, then carried with its hole: outer end up by the cant, outer end forward by the sweep.
    """
    outward = np.array([0.0, float(side), 0.0])
    bent = _turn((1.0, 0.0, 0.0), -side * bend)
    rolled = _turn((0.0, 1.0, 0.0), -clock)
    drilled = _turn((0.0, 0.0, 1.0), -side * sweep) * _turn((1.0, 0.0, 0.0), side * cant)
    return np.asarray(drilled.apply(outward)), np.asarray((drilled * rolled * bent).apply(outward))


def _hole(car: Mapping[str, Any], station: str) -> Vector:
    place = car["stations"][station]
    line = _mm(car["body"], "wheelbase") if station.startswith("front") else 0.0
    half = _mm(car["body"], "width") / 2.0 - _mm(place, "relief")
    return np.array([line + _mm(place, "offset"), _side(station) * half, _mm(place, "hole_height")])


def _disc(car: Mapping[str, Any], station: str) -> Disc:
    place = car["stations"][station]
    wheel, axle = car["wheels"][place["wheel"]], car["axles"][place["axle"]]
    hole_axis, shank_axis = shank_directions(
        side=_side(station),
        cant=_rad(place, "cant"),
        sweep=_rad(place, "sweep"),
        bend=_rad(axle, "bend"),
        clock=_rad(place, "clock"),
    )
    corner = _hole(car, station) + _mm(axle, "bend_at") * hole_axis
    hub = _mm(place, "washer") + _SHARE_OF_PLAY[place["seat"]] * _mm(place, "play")
    middle = hub + _mm(wheel, "hub_projection") + _mm(wheel, "tread_width") / 2.0
    on_shank = corner + (middle - _mm(axle, "bend_at")) * shank_axis
    # Of all directions square to the shank, straight up is the one opposite to the lowest.
    upward = -_lowest(np.zeros(3), shank_axis, 1.0)
    return Disc(
        side=_side(station),
        centre=on_shank + (_mm(wheel, "bore") - _mm(axle, "shank")) / 2.0 * upward,
        axis=shank_axis,
        radius=_mm(wheel, "diameter") / 2.0,
        width=_mm(wheel, "tread_width"),
    )


def _centre_of_mass(car: Mapping[str, Any], discs: Mapping[str, Disc]) -> Vector:
    lumps = [(car["body"]["mass"], np.array(car["body"]["centre_of_mass"]) / 1000.0)]
    lumps += [(weight["mass"], np.array(weight["position"]) / 1000.0) for weight in car["weights"].values()]
    for station, place in car["stations"].items():
        lumps.append((car["wheels"][place["wheel"]]["mass"], discs[station].centre))
        lumps.append((car["axles"][place["axle"]]["mass"], _hole(car, station)))
    masses = np.array([mass for mass, _ in lumps])
    return np.asarray(masses @ np.array([point for _, point in lumps]) / masses.sum())


def _stand_on(discs: Mapping[str, Disc], trio: tuple[str, ...]) -> tuple[float, float, float]:
    """Return the pitch, roll and rise that bring the lowest points of three wheels to the plane."""

    def heights_in_mm(unknown: Vector) -> Vector:
        attitude = _attitude(unknown[0], unknown[1])
        return np.array([1000.0 * discs[name].moved(attitude, unknown[2]).lowest()[2] for name in trio])

    guess = np.array([0.0, 0.0, -min(float(discs[name].lowest()[2]) for name in trio)])
    for method in ("hybr", "lm"):
        found = root(heights_in_mm, guess, method=method, options={"xtol": 1e-15})
        if np.abs(heights_in_mm(found.x)).max() < 1e-10:
            return float(found.x[0]), float(found.x[1]), float(found.x[2])
    message = f"no attitude was found that stands on {trio}"
    raise ArithmeticError(message)


def _holds(triangle: list[Vector], point: Vector) -> bool:
    """Return whether a point lies inside a triangle as seen from above."""
    matrix = np.array([[corner[0], corner[1], 1.0] for corner in triangle]).T
    shares = np.linalg.solve(matrix, np.array([point[0], point[1], 1.0]))
    return bool(shares.min() >= 0.0)


def rest(car: Mapping[str, Any]) -> Rest:
    """Return how the car rests: on the tripod that holds its centre of mass with no wheel below the plane."""
    discs = {station: _disc(car, station) for station in STATIONS}
    mass = _centre_of_mass(car, discs)
    standing: list[Rest] = []
    for trio in combinations(STATIONS, 3):
        pitch, roll, rise = _stand_on(discs, trio)
        attitude = _attitude(pitch, roll)
        placed = {station: disc.moved(attitude, rise) for station, disc in discs.items()}
        found = Rest(pitch=pitch, roll=roll, rise=rise, carrying=trio, discs=placed, centre_of_mass=mass)
        low = {station: disc.lowest() for station, disc in placed.items()}
        if min(point[2] for point in low.values()) > -_ROUNDING and _holds(
            [low[n] for n in trio], found.place(mass)
        ):
            standing.append(found)
    if len(standing) != 1:
        message = f"the car can stand in {len(standing)} ways"
        raise ArithmeticError(message)
    return standing[0]


def camber(disc: Disc) -> float:
    """Return the camber of a placed wheel [rad]: positive when its top leans away from the car."""
    # Take the direction up the wheel's plane and see how far it leans along the level outward direction.
    up_the_wheel = -_lowest(np.zeros(3), disc.axis, 1.0)
    outward = disc.axis * np.array([1.0, 1.0, 0.0])
    return math.atan2(up_the_wheel @ outward / float(np.linalg.norm(outward)), up_the_wheel[2])


def steer(disc: Disc) -> float:
    """Return the heading of a placed wheel's plane [rad]: positive to the left."""
    heading = disc.side * np.cross(disc.axis, _UP)
    return math.atan2(heading[1], heading[0])


def _innermost(disc: Disc, *, height: float) -> float | None:
    """Return the least distance from the centre line of the inner rim between the track and a height [m].

    None when the whole rim is above that height.
    """
    first = _lowest(np.zeros(3), disc.axis, disc.radius)
    second = np.cross(disc.axis, first)
    centre = disc.rim(-1)

    def at(angle: float) -> Vector:
        return np.asarray(centre + math.cos(angle) * first + math.sin(angle) * second)

    def out(angle: float) -> float:
        return float(disc.side * at(angle)[1])

    def below(angle: float) -> float:
        return height - float(at(angle)[2])

    # Begin at the top, so that the part below the rail's top is in one piece.
    angles = np.linspace(-math.pi, math.pi, _SAMPLES_ROUND_THE_RIM + 1)
    inside = np.array([below(angle) >= 0.0 for angle in angles])
    if below(0.0) < 0.0:
        return None
    candidates = [out(0.0), *(out(angle) for angle in angles[inside])]
    crossings = np.flatnonzero(inside[1:] != inside[:-1])
    candidates += [out(brentq(below, angles[i], angles[i + 1], xtol=1e-15, rtol=1e-15)) for i in crossings]
    best = min((angle for angle in angles[inside]), key=out, default=0.0)
    step = angles[1] - angles[0]
    refined = minimize_scalar(
        out, bounds=(best - step, best + step), method="bounded", options={"xatol": 1e-10}
    )
    if below(float(refined.x)) >= 0.0:
        candidates.append(float(refined.fun))
    return min(candidates)


def _roll_on_board(
    *, rear_steer: float, front_steer: float, front_contact: tuple[float, float], nose: float, length: float
) -> tuple[float, float]:
    """Return curvature [1/m] and sideways travel [m] of a body rolling without slip, started square.

    Positions are relative to the rear reference point [m]; `nose` is how far ahead the watched point lies.
    """
    ahead, aside = front_contact
    # Unit speed along the body. Unknown: the rear point's sideways speed and the yaw rate, such that neither
    # the rear point nor the front contact has a speed across its wheel's heading.
    conditions = np.array(
        [
            [math.cos(rear_steer), 0.0],
            [math.cos(front_steer), ahead * math.cos(front_steer) + aside * math.sin(front_steer)],
        ]
    )
    sideways, yaw_rate = np.linalg.solve(conditions, np.array([math.sin(rear_steer), math.sin(front_steer)]))

    def motion(_time: float, state: Vector) -> list[float]:
        cosine, sine = math.cos(state[2]), math.sin(state[2])
        return [cosine - sideways * sine, sine + sideways * cosine, yaw_rate]

    def to_go(_time: float, state: Vector) -> float:
        return length - (float(state[0]) + nose * math.cos(state[2]) - nose)

    to_go.terminal = True  # type: ignore[attr-defined]  # the solver's own way to mark an event
    travel = solve_ivp(
        motion,
        (0.0, 3.0 * length),
        [0.0, 0.0, 0.0],
        method="DOP853",
        events=to_go,
        rtol=1e-12,
        atol=1e-15,
    )
    if travel.y_events is None or len(travel.y_events[0]) == 0:
        message = "the car turned round before it reached the end of the board"
        raise ArithmeticError(message)
    _, across, heading = travel.y_events[0][0]
    return float(yaw_rate), float(across + nose * math.sin(heading))


def stance(car: Mapping[str, Any]) -> dict[str, Any]:
    """Return where the car sits, in SI units, under the names that the `stance` command prints."""
    at_rest = rest(car)
    front = at_rest.place(np.array([_mm(car["body"], "wheelbase"), 0.0, 0.0]))
    rear = at_rest.place(np.zeros(3))
    half_rail, rail_height = _mm(car["rail"], "width") / 2.0, _mm(car["rail"], "height")
    stations: dict[str, dict[str, Any]] = {}
    for name, disc in at_rest.discs.items():
        contact = disc.lowest()
        innermost = _innermost(disc, height=rail_height)
        stations[name] = {
            "camber": camber(disc),
            "steer": steer(disc),
            "clearance": float(contact[2]),
            "rail_gap": None if innermost is None else innermost - half_rail,
            "centre": disc.centre.tolist(),
            "contact": contact.tolist(),
            "seat": car["stations"][name]["seat"],
        }
    dominant = stations[car["setup"]["dominant"]]
    left, right = stations["rear_left"], stations["rear_right"]
    rear_x = (left["contact"][0] + right["contact"][0]) / 2.0
    curvature, lateral = _roll_on_board(
        rear_steer=(left["steer"] + right["steer"]) / 2.0,
        front_steer=dominant["steer"],
        front_contact=(dominant["contact"][0] - rear_x, dominant["contact"][1]),
        nose=float(front[0]) - rear_x,
        length=_mm(car["board"], "length"),
    )
    return {
        "height": {"front": float(front[2]), "rear": float(rear[2]), "difference": float(front[2] - rear[2])},
        "pitch": at_rest.pitch,
        "roll": at_rest.roll,
        "carrying": list(at_rest.carrying),
        "stations": stations,
        "drift": {"distance": _mm(car["board"], "length"), "curvature": curvature, "lateral": lateral},
        "rail_offset": dominant["rail_gap"],
        "centre_of_mass": at_rest.centre_of_mass.tolist(),
    }
