"""The same geometry for many cars at once, in numpy.

`geometry.stance` is the reference and the readable one; this is its twin for studies and for the
derivatives that the estimate needs. A property test holds the two together to rounding error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import GLOBAL_DIMENSIONS, STATION_DIMENSIONS, dimension_names, dimension_of
from rollwright.car.model import Car, Seat, Station

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Stances", "dimension_values", "stances"]

Array = "NDArray[np.float64]"
_STATIONS = tuple(Station)
_COLUMN = {name: index for index, name in enumerate(STATION_DIMENSIONS)}
_GLOBALS = len(GLOBAL_DIMENSIONS)
_CHUNK = 8192
_STEPS = 12
_SETTLED = 1e-14
_UPRIGHT = 1e-12
_ON_THE_GROUND = 1e-12
_ON_THE_EDGE = 1e-9


@dataclass(frozen=True, slots=True)
class Stances:
    """Where n cars sit; lengths in metres, angles in radians, signs as in `Stance`.

    Attributes:
        front: front underside height, shape (n,).
        rear: rear underside height, (n,).
        pitch: nose up positive, nose down negative, (n,).
        roll: left up positive, right up negative, (n,).
        camber: of each station in the order of `Station`, (4, n).
        steer: likewise, (4, n).
        clearance: likewise, (4, n).
        rail_gap: likewise, (4, n); NaN where a wheel is above the rail.
        contact_x: likewise, (4, n).
        contact_y: likewise, (4, n).
        curvature: of the path, (n,).
        rear_steer: mean of the rear pair, (n,).
        watched: rear contacts to the front hole line, along the car, (n,).
        drift: (n,); NaN where the car turns too sharply to reach the board's end.
        rail_offset: of the dominant wheel, (n,).
        carrying: index into `geometry.tripod.tripods` of the wheels that carry, (n,); -1 where the car
            tips over, and then nothing else of that row means anything.
    """

    front: NDArray[np.float64]
    rear: NDArray[np.float64]
    pitch: NDArray[np.float64]
    roll: NDArray[np.float64]
    camber: NDArray[np.float64]
    steer: NDArray[np.float64]
    clearance: NDArray[np.float64]
    rail_gap: NDArray[np.float64]
    contact_x: NDArray[np.float64]
    contact_y: NDArray[np.float64]
    curvature: NDArray[np.float64]
    rear_steer: NDArray[np.float64]
    watched: NDArray[np.float64]
    drift: NDArray[np.float64]
    rail_offset: NDArray[np.float64]
    carrying: NDArray[np.int64]

    @property
    def height_difference(self) -> NDArray[np.float64]:
        """Front less rear underside height, (n,)."""
        return self.front - self.rear


@dataclass(frozen=True, slots=True)
class Wheels:
    """Poses of the four wheels of n cars, body frame: each of shape (4, n)."""

    cx: NDArray[np.float64]
    cy: NDArray[np.float64]
    cz: NDArray[np.float64]
    ux: NDArray[np.float64]
    uy: NDArray[np.float64]
    uz: NDArray[np.float64]
    radius: NDArray[np.float64]
    half: NDArray[np.float64]
    hole_x: NDArray[np.float64]
    hole_y: NDArray[np.float64]


def dimension_values(car: Car) -> NDArray[np.float64]:
    """Return the values of a car's dimensions in the order of `dimension_names`, shape (p,)."""
    return np.array([dimension_of(car, name).value for name in dimension_names()])


def wheels_of(values: NDArray[np.float64], seats: Mapping[Station, Seat], *, hangs: bool = False) -> Wheels:
    """Return the poses of the wheels of many cars.

    Args:
        values: dimensions, shape (n, p), columns in the order of `dimension_names`.
        seats: where in its play each wheel runs, the same for all.
        hangs: False for cars on their wheels, True for cars held by the body with hanging wheels.

    Returns:
        The poses; equations as in `geometry.axle`.
    """
    columns = np.ascontiguousarray(values.T)
    width, wheelbase = columns[0], columns[1]
    block = columns[_GLOBALS:].reshape(4, len(STATION_DIMENSIONS), -1)

    def of(name: str) -> NDArray[np.float64]:
        return block[:, _COLUMN[name], :]

    side = np.array([station.side for station in _STATIONS], dtype=np.float64)[:, None]
    front = np.array([station.is_front for station in _STATIONS], dtype=np.float64)[:, None]
    share = np.array([seats[station].share_of_play for station in _STATIONS])[:, None]

    cos_cant, sin_cant = np.cos(of("cant")), np.sin(of("cant"))
    cos_sweep, sin_sweep = np.cos(of("sweep")), np.sin(of("sweep"))
    cos_bend, sin_bend = np.cos(of("bend")), np.sin(of("bend"))
    to_down, to_forward = sin_bend * np.cos(of("clock")), sin_bend * np.sin(of("clock"))
    ax, ay, az = sin_sweep * cos_cant, side * cos_sweep * cos_cant, sin_cant
    ux = ax * cos_bend + sin_sweep * sin_cant * to_down + cos_sweep * to_forward
    uy = ay * cos_bend + side * cos_sweep * sin_cant * to_down - side * sin_sweep * to_forward
    uz = az * cos_bend - cos_cant * to_down

    hole_x = front * wheelbase + of("offset")
    hole_y = side * (0.5 * width - of("relief"))
    bend_at = of("bend_at")
    half = 0.5 * of("tread_width")
    past = of("washer") + share * of("play") + of("hub_projection") + half - bend_at
    flat = np.sqrt(ux * ux + uy * uy)
    rise = (-0.5 if hangs else 0.5) * (of("bore") - of("shank")) / flat
    return Wheels(
        cx=hole_x + ax * bend_at + ux * past - uz * ux * rise,
        cy=hole_y + ay * bend_at + uy * past - uz * uy * rise,
        cz=of("hole_height") + az * bend_at + uz * past + flat * flat * rise,
        ux=ux,
        uy=uy,
        uz=uz,
        radius=0.5 * of("diameter"),
        half=half,
        hole_x=hole_x,
        hole_y=hole_y,
    )


def _contacts(
    w: Wheels, up: NDArray[np.float64], which: list[int] | slice
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    ux, uy, uz, half = w.ux[which], w.uy[which], w.uz[which], w.half[which]
    tilt = ux * up[0] + uy * up[1] + uz * up[2]
    down = w.radius[which] / np.sqrt(1.0 - tilt * tilt)
    along = np.where(np.abs(tilt) > _UPRIGHT, -np.copysign(half, tilt), 0.0) + down * tilt
    return (
        w.cx[which] + ux * along - up[0] * down,
        w.cy[which] + uy * along - up[1] * down,
        w.cz[which] + uz * along - up[2] * down,
    )


def _rest(w: Wheels, three: list[int]) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return up (3, n), lift (n,) and whether each row settled; the iteration is that of `geometry.rest`."""
    n = w.cx.shape[1]
    up = np.zeros((3, n))
    up[2] = 1.0
    change = np.full(n, np.inf)
    for _ in range(_STEPS):
        x, y, z = _contacts(w, up, three)
        x1, y1, z1 = x[1] - x[0], y[1] - y[0], z[1] - z[0]
        x2, y2, z2 = x[2] - x[0], y[2] - y[0], z[2] - z[0]
        nx, ny, nz = y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2
        size = np.copysign(np.sqrt(nx * nx + ny * ny + nz * nz), nz)
        new = np.stack((nx / size, ny / size, nz / size))
        change = np.abs(new[0] - up[0]) + np.abs(new[1] - up[1])
        up = new
        if change.max() < _SETTLED:
            break
    x, y, z = _contacts(w, up, three[:1])
    lift = -(up[0] * x[0] + up[1] * y[0] + up[2] * z[0])
    return up, lift, change < 1e-12


def _masses(car: Car) -> tuple[NDArray[np.float64], float, NDArray[np.float64], NDArray[np.float64]]:
    fixed = [(car.body.mass.value, car.body.centre_of_mass)]
    fixed += [(weight.mass.value, weight.position) for weight in car.weights.values()]
    moment = np.array([sum(mass * at[axis].value for mass, at in fixed) for axis in range(3)])
    wheel = np.array([car.wheel_at(station).mass.value for station in _STATIONS])
    axle = np.array([car.axle_at(station).mass.value for station in _STATIONS])
    return moment, sum(mass for mass, _ in fixed), wheel, axle


def _holds(
    point: NDArray[np.float64],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
) -> NDArray[np.bool_]:
    px, py = point
    edge = _ON_THE_EDGE * np.maximum(
        np.abs(x[1] - x[0]) + np.abs(y[1] - y[0]), np.abs(x[2] - x[0]) + np.abs(y[2] - y[0])
    )
    crossings = np.stack(
        [(x[b] - x[a]) * (py - y[a]) - (y[b] - y[a]) * (px - x[a]) for a, b in ((0, 1), (1, 2), (2, 0))]
    )
    inside: NDArray[np.bool_] = np.all(crossings >= -edge, axis=0) | np.all(crossings <= edge, axis=0)
    return inside


def _track(
    up: NDArray[np.float64],
    lift: NDArray[np.float64] | float,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    z: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Rotate body-frame coordinates into the track frame and lift them."""
    cosine = np.sqrt(1.0 - up[0] * up[0])
    cos_roll, sin_roll = up[2] / cosine, up[1] / cosine
    return (
        cosine * x - up[0] * (sin_roll * y + cos_roll * z),
        cos_roll * y - sin_roll * z,
        up[0] * x + up[1] * y + up[2] * z + lift,
    )


def inset_of(
    *,
    cy: NDArray[np.float64],
    cz: NDArray[np.float64],
    ux: NDArray[np.float64],
    uy: NDArray[np.float64],
    uz: NDArray[np.float64],
    radius: NDArray[np.float64],
    half: NDArray[np.float64],
    low: NDArray[np.float64] | float,
    high: NDArray[np.float64] | float,
) -> NDArray[np.float64]:
    """Return the innermost point of each wheel's inner rim within a band of heights; see `geometry.rail`.

    Args:
        cy: wheel centre, left of the centre line [m], shape (4, n).
        cz: its height in the frame of the band [m], (4, n).
        ux: axis, forward part, (4, n).
        uy: axis, left part, (4, n).
        uz: axis, upward part, (4, n).
        radius: of the tread [m], (4, n).
        half: half the tread's width [m], (4, n).
        low: lower edge of the band [m].
        high: upper edge of the band [m].

    Returns:
        Distance of that point from the centre line [m], (4, n); NaN where no point is inside the band.
    """
    side = np.array([station.side for station in _STATIONS], dtype=np.float64)[:, None]
    flat = np.sqrt(ux * ux + uy * uy)
    down_y = uz * uy / flat
    # Unit vector level in the wheel's plane, its forward part positive; only its y part is needed.
    level_y = -ux / flat * np.copysign(1.0, uy)
    y0, z0 = cy - half * uy, cz - half * uz
    swing = radius * flat
    most, least = (z0 - low) / swing, (z0 - high) / swing
    first = np.arccos(np.clip(most, -1.0, 1.0))
    last = np.arccos(np.clip(least, -1.0, 1.0))
    turn = np.arctan2(-side * level_y, -side * down_y)
    turn = np.where((np.abs(turn) >= first) & (np.abs(turn) <= last), turn, last)
    angles = np.stack((first, -first, last, -last, turn))
    inset: NDArray[np.float64] = np.min(
        side * (y0 + radius * (down_y * np.cos(angles) + level_y * np.sin(angles))), axis=0
    )
    return np.where((least > 1.0) | (most < -1.0), np.nan, inset)


def drift_along(
    *,
    curvature: NDArray[np.float64],
    rear_steer: NDArray[np.float64],
    watched: NDArray[np.float64],
    board: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the drift of many cars; see `geometry.drift.drift_over`.

    Args:
        curvature: yaw angle per metre [1/m].
        rear_steer: mean heading of the rear pair [rad].
        watched: rear point to the front hole line [m].
        board: how far down the board the watched point has moved [m].

    Returns:
        Sideways travel [m], positive left, negative right; NaN where the car turns back before.
    """
    crab = np.tan(rear_steer)
    run = board + 0.0 * curvature
    sideways = np.zeros_like(run)
    good = np.ones(run.shape, dtype=bool)
    for _ in range(8):
        theta = curvature * run
        small = np.abs(theta) < 1e-4
        safe = np.where(small, 1.0, theta)
        sine, cosine = np.sin(theta), np.cos(theta)
        square = theta * theta
        sine_part = run * np.where(small, 1.0 - square / 6.0, sine / safe)
        cosine_part = run * np.where(small, theta * (0.5 - square / 24.0), (1.0 - cosine) / safe)
        half = np.sin(0.5 * theta)
        forward = sine_part - crab * cosine_part - 2.0 * watched * half * half
        sideways = cosine_part + crab * sine_part + watched * sine
        rate = cosine - crab * sine - watched * curvature * sine
        good &= (rate > 0.05) & (np.abs(theta) <= 1.6)
        step = np.where(good, (board - forward) / np.where(good, rate, 1.0), 0.0)
        if np.abs(step).max() < 1e-15 * np.max(board):
            break
        run = run + step
    return np.where(good, sideways, np.nan)


def _tripod_indices(car: Car) -> list[list[int]]:
    dominant = _STATIONS.index(car.dominant)
    raised = _STATIONS.index(car.dominant.opposite)
    return [[i for i in range(4) if i != spare] for spare in (raised, dominant, 0, 1)]


def _chunk(car: Car, values: NDArray[np.float64], seats: Mapping[Station, Seat]) -> Stances:
    w = wheels_of(values, seats)
    n = len(values)
    moment, fixed, wheel_mass, axle_mass = _masses(car)
    total = fixed + wheel_mass.sum() + axle_mass.sum()
    height = np.ascontiguousarray(
        values.T[_GLOBALS:].reshape(4, len(STATION_DIMENSIONS), -1)[:, _COLUMN["hole_height"], :]
    )
    mass_centre = np.stack(
        [
            (moment[axis] + wheel_mass @ at + axle_mass @ hole) / total
            for axis, (at, hole) in enumerate(((w.cx, w.hole_x), (w.cy, w.hole_y), (w.cz, height)))
        ]
    )
    up = np.zeros((3, n))
    lift = np.zeros(n)
    carrying = np.full(n, -1, dtype=np.int64)
    todo = np.arange(n)
    for number, three in enumerate(_tripod_indices(car)):
        part = w if len(todo) == n else _rows(w, todo)
        part_up, part_lift, settled = _rest(part, three)
        x, y, z = _contacts(part, part_up, slice(None))
        (spare,) = (i for i in range(4) if i not in three)
        spare_height = part_up[0] * x[spare] + part_up[1] * y[spare] + part_up[2] * z[spare] + part_lift
        tx, ty, _ = _track(part_up, 0.0, x, y, z)
        mx, my, _ = _track(part_up, 0.0, *mass_centre[:, todo])
        good = settled & (spare_height >= -_ON_THE_GROUND) & _holds(np.stack((mx, my)), tx[three], ty[three])
        rows = todo[good]
        up[:, rows], lift[rows], carrying[rows] = part_up[:, good], part_lift[good], number
        todo = todo[~good]
        if len(todo) == 0:
            break
    up[2, todo] = 1.0  # keeps the arithmetic of rows that tip over quiet
    return _describe(car, values, w, up, lift, carrying)


def _rows(w: Wheels, rows: NDArray[np.int64]) -> Wheels:
    return Wheels(**{field.name: getattr(w, field.name)[:, rows] for field in fields(w)})


def _describe(
    car: Car,
    values: NDArray[np.float64],
    w: Wheels,
    up: NDArray[np.float64],
    lift: NDArray[np.float64],
    carrying: NDArray[np.int64],
) -> Stances:
    side = np.array([station.side for station in _STATIONS], dtype=np.float64)[:, None]
    ux, uy, uz = _track(up, 0.0, w.ux, w.uy, w.uz)
    _, cy, cz = _track(up, lift, w.cx, w.cy, w.cz)
    contact_x, contact_y, clearance = _track(up, lift, *_contacts(w, up, slice(None)))
    steer = -side * np.arctan2(ux, side * uy)
    dominant = _STATIONS.index(car.dominant)
    rear_x = 0.5 * (contact_x[0] + contact_x[1])
    rear_steer = 0.5 * (steer[0] + steer[1])
    tangent = np.tan(steer[dominant])
    curvature = (tangent - np.tan(rear_steer)) / (
        contact_x[dominant] - rear_x + contact_y[dominant] * tangent
    )
    wheelbase, rail_width, rail_height, board = (values[:, column] for column in (1, 2, 3, 4))
    watched = np.sqrt(1.0 - up[0] * up[0]) * wheelbase - rear_x
    gap = (
        inset_of(cy=cy, cz=cz, ux=ux, uy=uy, uz=uz, radius=w.radius, half=w.half, low=0.0, high=rail_height)
        - 0.5 * rail_width
    )
    return Stances(
        front=lift + up[0] * wheelbase,
        rear=lift,
        pitch=np.arcsin(up[0]),
        roll=np.arctan2(up[1], up[2]),
        camber=-np.arcsin(np.clip(uz, -1.0, 1.0)),
        steer=steer,
        clearance=np.where(np.abs(clearance) < _ON_THE_GROUND, 0.0, clearance),
        rail_gap=gap,
        contact_x=contact_x,
        contact_y=contact_y,
        curvature=curvature,
        rear_steer=rear_steer,
        watched=watched,
        drift=drift_along(curvature=curvature, rear_steer=rear_steer, watched=watched, board=board),
        rail_offset=gap[dominant],
        carrying=carrying,
    )


def stances(car: Car, values: NDArray[np.float64], *, seats: Mapping[Station, Seat]) -> Stances:
    """Return where many variations of one car sit.

    Args:
        car: gives the masses, which are the same for all, and which front wheel is dominant.
        values: dimensions of each variation, shape (n, p), columns in the order of `dimension_names`.
        seats: where in its play each wheel runs, the same for all; take it from `stance(car)`.

    Returns:
        The stances, in the order of the rows. A row whose wheels cannot settle, or whose car tips over,
        has `carrying` -1.
    """
    # Rows whose wheels stand in one line divide nothing by nothing; they are told by `carrying`.
    with np.errstate(invalid="ignore", divide="ignore"):
        parts = [
            _chunk(car, values[start : start + _CHUNK], seats) for start in range(0, len(values), _CHUNK)
        ]
    if len(parts) == 1:
        return parts[0]
    return Stances(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts], axis=-1)
            for field in fields(Stances)
        }
    )
