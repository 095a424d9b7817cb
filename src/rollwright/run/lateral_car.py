"""What the motion from side to side needs to know of a car: its masses, and its wheels beside the rail."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Car, Station
from rollwright.geometry.mass import hole_centre, mass_of
from rollwright.geometry.rail import innermost
from rollwright.geometry.stance import Stance, stance
from rollwright.geometry.vector import Vector
from rollwright.run.inputs import WHEEL_INERTIA
from rollwright.run.losses import Losses

__all__ = ["MOST_YAW", "Sideways", "sideways_of", "steered", "straight_rail", "wheel_loads", "yaws"]

Array = NDArray[Any]

MOST_YAW = 0.08
"""The farthest that a car can yaw in this model [rad]; some twenty times as far as a car on its rail does."""

_STATIONS = tuple(Station)
_HALF = 80
_FAR = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sideways:
    """A car as it moves from side to side; arrays of wheels are in the order of `Station`.

    Attributes:
        car: the car.
        at_rest: its stance.
        mass: of the whole car [kg].
        inertia: in yaw about its centre of mass [kg m2].
        centre: where its centre of mass lies, ahead of its rear contact and left of the body's centre line
            [m].
        ahead: of each contact from the centre of mass [m].
        beside: of each contact from the body's centre line [m], positive left.
        steer: of each wheel in its stance [rad], positive left.
        slope: outward push over load that its sloping pin gives each wheel [1].
        play: of each wheel [m].
        seat: how far out in its play each runs [m].
        insets: how far each wheel's innermost point is from the rail's face with the centre of mass over the
            rail's middle, at yaws of `turn_step` apart [m], (4, odd).
        turn_step: [rad].
        nose: of the body ahead of the rear contact [m].
        watched: how far the front hole line is ahead of the rear contact [m].
        rim_slip: how far each wheel's rim slides on the rail for each metre [1], at those yaws; 1 for one
            that does not turn.
    """

    car: Car
    at_rest: Stance
    mass: float
    inertia: float
    centre: tuple[float, float]
    ahead: Array
    beside: Array
    steer: Array
    slope: Array
    play: Array
    seat: Array
    insets: Array
    turn_step: float
    nose: float
    watched: float
    rim_slip: Array

    @property
    def dominant(self) -> int:
        """Place of the dominant wheel in the order of `Station`."""
        return _STATIONS.index(self.car.dominant)

    def wheels(self) -> Array:
        """Return the wheels as `lateral_march.march` takes them."""
        sides = np.array([station.side for station in _STATIONS], dtype=np.float64)
        return np.stack((self.ahead, sides, self.steer, self.slope, self.play, self.seat))


def _turned(found: Stance, at: Vector) -> Vector:
    """Turn a body-frame vector into its stance, Ry(pitch) Rx(roll)."""
    cp, sp, cr, sr = (
        math.cos(found.pitch),
        math.sin(found.pitch),
        math.cos(found.roll),
        math.sin(found.roll),
    )
    level, above = cr * at[1] - sr * at[2], sr * at[1] + cr * at[2]
    return (cp * at[0] - sp * above, level, sp * at[0] + cp * above)


def sideways_of(car: Car) -> Sideways:
    """Return what the motion from side to side needs to know of a car.

    Args:
        car: the car.

    Returns:
        The figures. The body's inertia in yaw is that of a uniform box as long and as wide, about its own
        centre of mass; wheels, axles and weights are where they are, the wheels with half their spin inertia
        each. Body, wheel and rail sizes come from the stance.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
    """
    found = stance(car)
    mass_x, mass_y, _ = _turned(found, found.centre_of_mass)
    at = [found.stations[station] for station in _STATIONS]
    rear_x = 0.5 * (at[0].contact[0] + at[1].contact[0])
    axes = np.array([each.axis for each in at])
    corners = [car.corners[station] for station in _STATIONS]
    nose = _turned(found, (car.body.length.value - car.body.rear_overhang.value, 0.0, 0.0))[0]
    made = Sideways(
        car=car,
        at_rest=found,
        mass=mass_of(car),
        inertia=_yaw_inertia(car, found),
        centre=(mass_x - rear_x, mass_y),
        ahead=np.array([each.contact[0] - mass_x for each in at]),
        beside=np.array([each.contact[1] for each in at]),
        steer=np.array([each.steer for each in at]),
        slope=axes[:, 2] / np.hypot(axes[:, 0], axes[:, 1]),
        play=np.array([corner.play.value for corner in corners]),
        seat=np.array(
            [
                corner.play.value * each.seat.seat.share_of_play
                for corner, each in zip(corners, at, strict=True)
            ]
        ),
        insets=np.empty((4, 2 * _HALF + 1)),
        turn_step=MOST_YAW / _HALF,
        nose=nose - rear_x,
        watched=_turned(found, (car.body.wheelbase.value, 0.0, 0.0))[0] - rear_x,
        rim_slip=np.zeros((4, 2 * _HALF + 1)),
    )
    for wheel in range(4):
        _measure(made, wheel, axis=at[wheel].axis)
    return made


def steered(sideways: Sideways, steer: float) -> Sideways:
    """Return a car whose dominant wheel heads another way, and that is else the same.

    Args:
        sideways: the car.
        steer: heading of its dominant wheel [rad]; positive left, negative right.

    Returns:
        The same with that wheel turned about the upright through its centre, and its nearness to the rail
        measured anew. On the bench a turned axle changes height too; here it does not, so that steer alone is
        compared.
    """
    wheel = sideways.dominant
    side = _STATIONS[wheel].side
    axis = sideways.at_rest.stations[sideways.car.dominant].axis
    flat = math.hypot(axis[0], axis[1])
    turned = (-side * flat * math.sin(steer), side * flat * math.cos(steer), axis[2])
    made = replace(
        sideways,
        steer=np.where(np.arange(4) == wheel, steer, sideways.steer),
        insets=sideways.insets.copy(),
        rim_slip=sideways.rim_slip.copy(),
    )
    _measure(made, wheel, axis=turned)
    return made


def _measure(made: Sideways, wheel: int, *, axis: Vector) -> None:
    """Fill in how far a wheel is from the rail at every yaw, and how its rim slides there."""
    car, station = made.car, _STATIONS[wheel]
    at = made.at_rest.stations[station]
    described = car.wheel_at(station)
    radius, half = described.diameter.value / 2.0, described.tread_width.value / 2.0
    mass_x = at.contact[0] - made.ahead[wheel]
    x, y = at.centre[0] - mass_x, at.centre[1] - made.centre[1]
    for node in range(2 * _HALF + 1):
        yaw = made.turn_step * (node - _HALF)
        cosine, sine = math.cos(yaw), math.sin(yaw)
        near = innermost(
            centre=(cosine * x - sine * y, cosine * y + sine * x, at.centre[2]),
            axis=(cosine * axis[0] - sine * axis[1], cosine * axis[1] + sine * axis[0], axis[2]),
            radius=radius,
            half=half,
            side=station.side,
            low=0.0,
            high=car.rail.height.value,
        )
        made.insets[wheel, node] = _FAR if near is None else near.inset - 0.5 * car.rail.width.value
        if near is None or station not in made.at_rest.carrying:
            made.rim_slip[wheel, node] = 1.0
            continue
        # A point of the rim an angle t from its lowest moves by 2 sin(t/2) for each metre rolled.
        swing = radius * math.hypot(axis[0], axis[1])
        cosine = (at.centre[2] - half * axis[2] - near.height) / swing
        made.rim_slip[wheel, node] = math.sqrt(max(0.0, 2.0 * (1.0 - cosine)))


def _yaw_inertia(car: Car, found: Stance) -> float:
    body = car.body
    x, y, _ = found.centre_of_mass
    total = body.mass.value * (body.length.value**2 + body.width.value**2) / 12.0
    parts = [(body.mass.value, body.centre_of_mass[0].value, body.centre_of_mass[1].value)]
    parts += [
        (weight.mass.value, weight.position[0].value, weight.position[1].value)
        for weight in car.weights.values()
    ]
    for station in _STATIONS:
        wheel, hole = car.wheel_at(station), hole_centre(car, station)
        radius = wheel.diameter.value / 2.0
        spin = (
            WHEEL_INERTIA.value * wheel.mass.value * radius**2
            if wheel.inertia is None
            else wheel.inertia.value
        )
        total += 0.5 * spin
        parts.append((car.axle_at(station).mass.value, hole[0], hole[1]))
        parts.append((wheel.mass.value, hole[0], station.side * abs(found.stations[station].centre[1])))
    return total + math.fsum(mass * ((px - x) ** 2 + (py - y) ** 2) for mass, px, py in parts)


def wheel_loads(sideways: Sideways, rear: Array, front: Array) -> Array:
    """Return the load on each wheel, so that the car does not roll over sideways.

    Args:
        sideways: the car.
        rear: load on the rear axle [N], (n,).
        front: on the front axle [N], (n,).

    Returns:
        (4, n) [N], never negative; a wheel that carries nothing has 0. Where the single wheel is loaded so
        hard that a wheel of the pair would lift, as at the foot of a ramp, that one has 0 and the other all.
    """
    carrying = [_STATIONS.index(station) for station in sideways.at_rest.carrying]
    by_axle = {True: [w for w in carrying if w >= 2], False: [w for w in carrying if w < 2]}
    pair_in_front = len(by_axle[True]) == 2
    first, second = by_axle[pair_in_front]
    (alone,) = by_axle[not pair_in_front]
    pair, single = (front, rear) if pair_in_front else (rear, front)
    y, middle = sideways.beside, sideways.centre[1]
    apart = y[first] - y[second]
    found = np.zeros((4, len(rear)))
    found[first] = ((middle - y[second]) * pair + (middle - y[alone]) * single) / apart
    found[first] = np.clip(found[first], 0.0, np.maximum(pair, 0.0))
    found[second] = np.maximum(pair, 0.0) - found[first]
    found[alone] = np.maximum(single, 0.0)
    return found


def straight_rail(sideways: Sideways, loads: Array, *, losses: Losses) -> tuple[Array, Array, float]:
    """Return what the straight run reckons: the rail's force, the scrub and how the rim slides.

    Args:
        sideways: the car.
        loads: on each wheel [N], (4, n).
        losses: the coefficients.

    Returns:
        Force of the rail on the dominant wheel [N] and scrub of all treads [N], each (n,), and the rim's
        slip [1]: the rail holds the front, the body turns until its rear wheels together pull neither way,
        and each tread leans by the law of `run.chassis`.
    """
    stiffness, grip = losses.creep_stiffness.value, losses.tread_friction.value
    carried = loads[:2]
    whole = np.maximum(carried.sum(axis=0), 1e-12)
    heading = (carried * sideways.steer[:2, None]).sum(axis=0) / whole
    askew = sideways.steer[:, None] - heading
    pull = loads * np.minimum(grip, stiffness * np.abs(askew))
    slip = float(np.interp(0.0, yaws(sideways), sideways.rim_slip[sideways.dominant]))
    return pull[sideways.dominant], (pull * np.sin(np.abs(askew))).sum(axis=0), slip


def yaws(sideways: Sideways) -> Array:
    """Return the yaws at which insets and slips are known [rad]."""
    count = (sideways.insets.shape[1] - 1) // 2
    return sideways.turn_step * np.arange(-count, count + 1)
