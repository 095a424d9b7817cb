"""What the run needs to know of a car: masses, where its axles and centre of mass are, and how it rubs.

For many variations of one car at once, and for complex numbers too: a tiny imaginary part of an input
comes out as that much of its derivative (W. Squire, G. Trapp, SIAM Review 40 (1998) 110). So nothing here
may ask for a size, an angle or the larger of two numbers without looking at real parts only. What is
discrete (which wheels carry, where in its play a wheel runs, which rim touches) is that of the car as given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.car.dimensions import GLOBAL_DIMENSIONS, STATION_DIMENSIONS
from rollwright.car.model import Car, Seat, Station
from rollwright.geometry.many import Wheels, wheels_of
from rollwright.geometry.stance import Stance, stance
from rollwright.run.losses import LOSS_NAMES, Losses

__all__ = ["PARAMETERS", "Frame", "chassis", "frame_of"]

Array = NDArray[Any]
"""Real, or complex where derivatives are wanted."""

PARAMETERS = (
    "mass",
    "pitch_inertia",
    "rear_spin",
    "front_spin",
    "rear_radius",
    "front_radius",
    "ahead",
    "mass_x",
    "mass_z",
    "nose_x",
    "nose_z",
    "air",
    "gravity",
    *(
        f"{loss}.{axle}.{load}"
        for loss in LOSS_NAMES[:-1]
        for axle in ("rear", "front")
        for load in ("rear", "front")
    ),
)
"""Columns that `chassis` returns.

`rear_spin` and `front_spin` are the carried wheels' inertias over their radius squared [kg]; `ahead`,
`mass_x` and `nose_x` lie forward of the rear contact, `mass_z` and `nose_z` above the ground [m], in the
stance; `air` times speed squared is the drag [kg/m]; `bearing.rear.front` is how much of the front axle's
load is a braking force of the rear wheels' bearings [1], because it shifts load between left and right.
"""

_STATIONS = tuple(Station)
_COLUMN = {name: index for index, name in enumerate(STATION_DIMENSIONS)}
_GLOBALS = len(GLOBAL_DIMENSIONS)
_DIMENSIONS = _GLOBALS + 4 * len(STATION_DIMENSIONS)
_STEPS = 12
_SETTLED = 1e-14
_UPRIGHT = 1e-12
_ON_THE_GROUND = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What all variations of a car share.

    Attributes:
        car: the car.
        names: of the inputs, as in `Inputs`.
        off: losses that do not act.
        at_rest: its stance.
        seats: where in its play each wheel runs.
        carrying: indices of the three wheels that carry, the pair on one axle first.
        pair_at_rear: whether that pair is the rear one.
        rim: which rim touches at each station: +1 the outer, -1 the inner, 0 the middle of an upright wheel.
        rail: where round its rim the dominant wheel meets the rail: `low`, `high`, `between`, or empty where
            it does not.
    """

    car: Car
    names: Mapping[str, int]
    off: frozenset[str]
    at_rest: Stance
    seats: Mapping[Station, Seat]
    carrying: tuple[int, int, int]
    pair_at_rear: bool
    rim: NDArray[np.float64]
    rail: str


def frame_of(car: Car, names: tuple[str, ...], *, losses: Losses) -> Frame:
    """Return what all variations of a car share.

    Args:
        car: the car.
        names: of the inputs.
        losses: tells which losses act.

    Returns:
        The frame, out of the car's stance.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
    """
    at_rest = stance(car)
    carrying = [index for index, station in enumerate(_STATIONS) if station in at_rest.carrying]
    pair_at_rear = carrying[:2] == [0, 1]
    if not pair_at_rear:
        carrying = [*carrying[1:], carrying[0]]
    leans = np.array([math.sin(at_rest.stations[station].camber) for station in _STATIONS])
    return Frame(
        car=car,
        names={name: index for index, name in enumerate(names)},
        off=losses.off,
        at_rest=at_rest,
        seats={station: at.seat.seat for station, at in at_rest.stations.items()},
        carrying=(carrying[0], carrying[1], carrying[2]),
        pair_at_rear=pair_at_rear,
        rim=np.where(np.abs(leans) > _UPRIGHT, np.sign(leans), 0.0),
        rail=_rail_candidate(car, at_rest),
    )


def _rail_candidate(car: Car, at_rest: Stance) -> str:
    at = at_rest.stations[car.dominant]
    if at.rail_contact is None or car.dominant not in at_rest.carrying:
        return ""
    _, cos_high, cos_turn, swing = _rim_cosines(
        np.array(at.axis),
        centre_z=np.asarray(at.centre[2]),
        radius=np.asarray(car.wheel_at(car.dominant).diameter.value / 2.0),
        half=np.asarray(car.wheel_at(car.dominant).tread_width.value / 2.0),
        rail_height=np.asarray(car.rail.height.value),
        side=car.dominant.side,
    )
    found = (at.centre[2] - at.axis[2] * car.wheel_at(car.dominant).tread_width.value / 2.0) / swing
    found -= at.rail_contact.height / swing
    if abs(found - float(cos_turn)) < 1e-9:
        return "between"
    return "high" if abs(found - float(cos_high)) < 1e-9 else "low"


def _rim_cosines(
    axis: Array, *, centre_z: Array, radius: Array, half: Array, rail_height: Array, side: int
) -> tuple[Array, Array, Array, Array]:
    """Return cosines of the angle round the inner rim from its lowest point, and the rim's rise.

    They belong to the ground, the rail's upper edge and the innermost point; see `geometry.rail`.
    """
    flat = np.sqrt(axis[0] * axis[0] + axis[1] * axis[1])
    down_y = axis[2] * axis[1] / flat
    level_y = -axis[0] / flat
    swing = radius * flat
    z0 = centre_z - half * axis[2]
    turn = side * -down_y / np.sqrt(down_y * down_y + level_y * level_y + 1e-300)
    return z0 / swing, (z0 - rail_height) / swing, turn, swing


def _contacts(w: Wheels, rim: Array, up: Array, which: list[int] | slice) -> tuple[Array, Array, Array]:
    """Return the lowest points in the body frame; the equation is that of `geometry.rest`."""
    ux, uy, uz = w.ux[which], w.uy[which], w.uz[which]
    tilt = ux * up[0] + uy * up[1] + uz * up[2]
    down = w.radius[which] / np.sqrt(1.0 - tilt * tilt)
    along = rim[which][:, None] * w.half[which] + down * tilt
    return (
        w.cx[which] + ux * along - up[0] * down,
        w.cy[which] + uy * along - up[1] * down,
        w.cz[which] + uz * along - up[2] * down,
    )


def _upward(frame: Frame, w: Wheels) -> Array:
    """Return the upward unit vectors (3, n): the plane through three lowest points, by Newton's steps."""
    pitch, roll = frame.at_rest.pitch, frame.at_rest.roll
    start = (math.sin(pitch), math.cos(pitch) * math.sin(roll), math.cos(pitch) * math.cos(roll))
    up: Array = np.tile(np.array(start, dtype=w.cx.dtype)[:, None], (1, w.cx.shape[1]))
    for step in range(_STEPS):
        x, y, z = _contacts(w, frame.rim, up, list(frame.carrying))
        x1, y1, z1 = x[1] - x[0], y[1] - y[0], z[1] - z[0]
        x2, y2, z2 = x[2] - x[0], y[2] - y[0], z[2] - z[0]
        nx, ny, nz = y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2
        size = np.sqrt(nx * nx + ny * ny + nz * nz) * np.sign(nz.real)
        new = np.stack((nx / size, ny / size, nz / size))
        settled = np.abs(new - up).max() < _SETTLED
        up = new
        if step > 0 and settled:
            break
    return up


def _turned(up: Array, x: Array, y: Array, z: Array) -> tuple[Array, Array, Array]:
    """Rotate body-frame coordinates into the track frame, without lifting them."""
    cosine = np.sqrt(1.0 - up[0] * up[0])
    cos_roll, sin_roll = up[2] / cosine, up[1] / cosine
    return (
        cosine * x - up[0] * (sin_roll * y + cos_roll * z),
        cos_roll * y - sin_roll * z,
        up[0] * x + up[1] * y + up[2] * z,
    )


def chassis(frame: Frame, rows: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return what the run needs to know of many variations of one car.

    Args:
        frame: what they share.
        rows: inputs of each, shape (n, p), real or complex.

    Returns:
        The columns of `PARAMETERS`, shape (n, len(PARAMETERS)), and which rows stand as the car does:
        on the same three wheels, the fourth off the ground.
    """
    given = rows.T

    def of(name: str) -> Array:
        found: Array = given[frame.names[name]]
        return found

    w = wheels_of(rows[:, :_DIMENSIONS], frame.seats)
    block = given[_GLOBALS:_DIMENSIONS].reshape(4, len(STATION_DIMENSIONS), -1)
    up = _upward(frame, w)
    contact_x, contact_y, contact_z = _turned(up, *_contacts(w, frame.rim, up, slice(None)))
    lift = -contact_z[frame.carrying[0]]
    mass, centre, pitch_inertia = _masses(frame, given, w, block[:, _COLUMN["hole_height"], :])
    mass_x, mass_y, mass_z = _turned(up, *centre)
    zero = np.zeros_like(mass)
    nose = of("body.length") - of("body.rear_overhang")
    nose_x, _, nose_z = _turned(up, nose, zero, zero)

    first, second, alone = frame.carrying
    shares = _shares(contact_x, contact_y, frame.carrying, mass_x, mass_y)
    pair = shares[0] + shares[1]
    part = shares[0] / pair
    spins = _inertias(frame, given, w) / w.radius**2
    pair_of = {
        "x": part * contact_x[first] + (1.0 - part) * contact_x[second],
        "radius": part * w.radius[first] + (1.0 - part) * w.radius[second],
        "spin": spins[first] + spins[second],
    }
    alone_of = {"x": contact_x[alone], "radius": w.radius[alone], "spin": spins[alone]}
    rear, front = (pair_of, alone_of) if frame.pair_at_rear else (alone_of, pair_of)

    axis = np.stack(_turned(up, w.ux, w.uy, w.uz))
    height = lift + 0.5 * up[0] * of("body.wheelbase")
    area = (
        of("losses.drag_area")
        + of("losses.drag_area_per_pitch") * np.arcsin(up[0])
        + of("losses.drag_area_per_height") * height
    )
    columns = {
        "mass": mass,
        "pitch_inertia": pitch_inertia,
        "rear_spin": rear["spin"],
        "front_spin": front["spin"],
        "rear_radius": rear["radius"],
        "front_radius": front["radius"],
        "ahead": front["x"] - rear["x"],
        "mass_x": mass_x - rear["x"],
        "mass_z": mass_z + lift,
        "nose_x": nose_x - rear["x"],
        "nose_z": nose_z + lift,
        "air": zero if "air" in frame.off else 0.5 * of("air.density") * area,
        "gravity": of("gravity"),
    }
    each = _rubbing(frame, of, block, axis, centre_z=_turned(up, w.cx, w.cy, w.cz)[2] + lift, shares=shares)
    # Left and right share the pair's load so that the car does not roll over sideways.
    apart = contact_y[first] - contact_y[second]
    by_pair = ((mass_y - contact_y[second]) / apart, (contact_y[first] - mass_y) / apart)
    by_alone = (mass_y - contact_y[alone]) / apart
    pair_name, alone_name = ("rear", "front") if frame.pair_at_rear else ("front", "rear")
    for loss, wheel in each.items():
        columns[f"{loss}.{pair_name}.{pair_name}"] = wheel[0] * by_pair[0] + wheel[1] * by_pair[1]
        columns[f"{loss}.{pair_name}.{alone_name}"] = (wheel[0] - wheel[1]) * by_alone
        columns[f"{loss}.{alone_name}.{alone_name}"] = wheel[2]
        columns[f"{loss}.{alone_name}.{pair_name}"] = zero
    stands = np.all(shares.real >= 0.0, axis=0) & np.all((contact_z + lift).real >= -_ON_THE_GROUND, axis=0)
    return np.stack([columns[name] for name in PARAMETERS], axis=1), stands


def _shares(x: Array, y: Array, three: tuple[int, int, int], mass_x: Array, mass_y: Array) -> Array:
    """Return the part of the weight on each of three contacts on a level floor, (3, n)."""
    a, b, c = three
    whole = (x[b] - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (y[b] - y[a])
    on_b = ((mass_x - x[a]) * (y[c] - y[a]) - (x[c] - x[a]) * (mass_y - y[a])) / whole
    on_c = ((x[b] - x[a]) * (mass_y - y[a]) - (mass_x - x[a]) * (y[b] - y[a])) / whole
    return np.stack((1.0 - on_b - on_c, on_b, on_c))


def _inertias(frame: Frame, given: Array, w: Wheels) -> Array:
    found = []
    for index, station in enumerate(_STATIONS):
        name = f"{station.value}.wheel_inertia"
        if name in frame.names:
            found.append(given[frame.names[name]])
        else:
            mass = given[frame.names[f"{station.value}.wheel_mass"]]
            found.append(given[frame.names["wheel_inertia_factor"]] * mass * w.radius[index] ** 2)
    return np.stack(found)


def _masses(frame: Frame, given: Array, w: Wheels, hole_height: Array) -> tuple[Array, Array, Array]:
    """Return mass (n,), centre of mass (3, n) in the body frame, and inertia in pitch about it (n,)."""

    def triple(name: str) -> Array:
        first = frame.names[f"{name}.x"]
        found: Array = given[first : first + 3]
        return found

    body_mass = given[frame.names["body.mass"]]
    body = triple("body.centre_of_mass")
    wheels = given[frame.names["rear_left.wheel_mass"] :][:4]
    axles = given[frame.names["rear_left.axle_mass"] :][:4]
    mass = np.concatenate((body_mass[None], wheels, axles))
    place = np.concatenate(
        (
            body[:, None],
            np.stack((w.cx, w.cy, w.cz)),
            np.stack((w.hole_x, w.hole_y, hole_height)),
        ),
        axis=1,
    )
    for name in frame.car.weights:
        mass = np.concatenate((mass, given[frame.names[f"weights.{name}.mass"]][None]))
        place = np.concatenate((place, triple(f"weights.{name}.position")[:, None]), axis=1)
    total = mass.sum(axis=0)
    centre = (mass * place).sum(axis=1) / total
    off = place - centre[:, None]
    length = given[frame.names["body.length"]]
    box = body_mass * (length**2 + 4.0 * body[2] ** 2) / 12.0
    inertia = given[frame.names["pitch_inertia_factor"]] * box + (mass * (off[0] ** 2 + off[2] ** 2)).sum(
        axis=0
    )
    return total, centre, inertia


def _size(number: Array) -> Array:
    """Return a number's size in a way that keeps its derivative."""
    return np.where(number.real < 0.0, -number, number)


def _rubbing(
    frame: Frame, of: Any, block: Array, axis: Array, *, centre_z: Array, shares: Array
) -> dict[str, Array]:
    """Return, for each loss and each of the three carrying wheels, braking force over load, (3, n)."""
    three = list(frame.carrying)
    side = np.array([_STATIONS[index].side for index in three], dtype=np.float64)[:, None]
    ux, uy, uz = (part[three] for part in axis)
    flat = np.sqrt(1.0 - uz * uz)
    steer = -side * np.arctan(ux / (side * uy))
    # The rail holds the front sideways, so the body turns until the rear wheels pull neither way.
    rear = [place for place, index in enumerate(three) if not _STATIONS[index].is_front]
    carried = shares[rear]
    skew = steer - (carried * steer[rear]).sum(axis=0) / carried.sum(axis=0)
    creep = of("losses.creep_stiffness") * _size(skew)
    grip = of("losses.tread_friction")
    pull = np.where(creep.real < grip.real, creep, grip)
    outward = side * pull * np.sign(skew.real)
    dominant = _STATIONS.index(frame.car.dominant)
    if frame.rail:
        # On the steered wheel the track pushes one way and the rail the other: nothing is left along the pin.
        outward[three.index(dominant)] = 0.0
    along = _size(uz + outward * flat)
    across = flat - outward * uz

    shank, bore, diameter = (block[three, _COLUMN[name], :] for name in ("shank", "bore", "diameter"))
    nothing = np.zeros_like(pull)
    rail = nothing.copy()
    if frame.rail:
        place = three.index(dominant)
        rail[place] = (
            of("losses.rail_friction") * pull[place] * _slip(frame, of, block, axis[:, dominant], centre_z)
        )
    found = {
        "bearing": of("losses.bearing_friction") * across * shank / diameter,
        "hub": of("losses.hub_friction") * along * bore / diameter,
        "rail": rail,
        "scrub": pull * np.sin(_size(skew)),
        "rolling": of("losses.rolling") + nothing,
    }
    return {name: nothing if name in frame.off else force for name, force in found.items()}


def _slip(frame: Frame, of: Any, block: Array, axis: Array, centre_z: Array) -> Array:
    """Return how far the steered wheel's rim slides on the rail for each metre rolled.

    The wheel turns about the line through its contact parallel to its axle, so a point of the rim an angle t
    from the lowest moves by `2 sin(t/2)` for each metre: `sqrt(h^2 + a^2) / r` at height h, a ahead.
    """
    dominant = _STATIONS.index(frame.car.dominant)
    cos_low, cos_high, cos_turn, _ = _rim_cosines(
        axis,
        centre_z=centre_z[dominant],
        radius=0.5 * block[dominant, _COLUMN["diameter"]],
        half=0.5 * block[dominant, _COLUMN["tread_width"]],
        rail_height=of("rail.height"),
        side=frame.car.dominant.side,
    )
    cosine = {"low": cos_low, "high": cos_high, "between": cos_turn}[frame.rail]
    lowest = cosine.real >= 1.0
    return np.where(lowest, 0.0, np.sqrt(np.where(lowest, 1.0, 2.0 * (1.0 - cosine))))
