"""The same geometry for many cars at once, in numpy.

`geometry.stance` is the reference and the readable one; this is its twin for studies and for the
derivatives that the estimate needs. A property test holds the two together to rounding error.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names, dimension_of
from rollwright.car.model import Car, Seat, Station
from rollwright.geometry.many_wheels import SIDES, Wheels, rest, wheels_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Stances", "Wheels", "dimension_values", "drift_along", "inset_of", "stances", "wheels_of"]

_STATIONS = tuple(Station)
_CHUNK = 8192
_ON_THE_GROUND = 1e-12
_ON_THE_EDGE = 1e-9
_TURNS_BACK = math.tan(0.8)
"""Tangent of half the angle beyond which a car counts as turning back, as in `geometry.drift`."""


@dataclass(frozen=True, slots=True)
class Stances:
    """Where n cars sit; lengths in metres, angles in radians, signs as in `Stance`.

    Attributes:
        front: front underside height, shape (n,).
        rear: rear underside height, (n,).
        up: unit vector pointing up from the ground, body frame, (3, n).
        axis: outward along each wheel's shank, track frame, stations in the order of `Station`, (3, 4, n).
        clearance: of each station likewise, (4, n).
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
    up: NDArray[np.float64]
    axis: NDArray[np.float64]
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

    @property
    def pitch(self) -> NDArray[np.float64]:
        """Nose up positive, nose down negative, (n,)."""
        found: NDArray[np.float64] = np.arcsin(self.up[0])
        return found

    @property
    def roll(self) -> NDArray[np.float64]:
        """Left up positive, right up negative, (n,)."""
        found: NDArray[np.float64] = np.arctan2(self.up[1], self.up[2])
        return found

    @property
    def camber(self) -> NDArray[np.float64]:
        """Of each station in the order of `Station`, top outward positive, inward negative, (4, n)."""
        found: NDArray[np.float64] = -np.arcsin(np.clip(self.axis[2], -1.0, 1.0))
        return found

    @property
    def steer(self) -> NDArray[np.float64]:
        """Heading of each station's wheel, positive left, negative right, (4, n)."""
        return _steer(self.axis, SIDES)


def dimension_values(car: Car) -> NDArray[np.float64]:
    """Return the values of a car's dimensions in the order of `dimension_names`, shape (p,)."""
    return np.array([dimension_of(car, name).value for name in dimension_names()])


def _steer(axis: NDArray[np.float64], side: NDArray[np.float64]) -> NDArray[np.float64]:
    found: NDArray[np.float64] = -side * np.arctan2(axis[0], side * axis[1])
    return found


def _masses(car: Car) -> tuple[NDArray[np.float64], float, NDArray[np.float64], NDArray[np.float64]]:
    fixed = [(car.body.mass.value, car.body.centre_of_mass)]
    fixed += [(weight.mass.value, weight.position) for weight in car.weights.values()]
    moment = np.array([sum(mass * at[axis].value for mass, at in fixed) for axis in range(3)])
    wheel = np.array([car.wheel_at(station).mass.value for station in _STATIONS])
    axle = np.array([car.axle_at(station).mass.value for station in _STATIONS])
    return moment, sum(mass for mass, _ in fixed), wheel, axle


def _holds(
    up: NDArray[np.float64], mass_centre: NDArray[np.float64], corners: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return whether each centre of mass (3, n) is above the triangle of its three corners (3, 3, n)."""
    ahead = corners[:, [1, 2, 0]]
    x1, y1, z1 = ahead - corners
    x2, y2, z2 = mass_centre[:, None, :] - corners
    crossings = up[0] * (y1 * z2 - z1 * y2) + up[1] * (z1 * x2 - x1 * z2) + up[2] * (x1 * y2 - y1 * x2)
    span = np.abs(x1) + np.abs(y1)
    edge = _ON_THE_EDGE * np.maximum(span[0], span[2])
    inside: NDArray[np.bool_] = (crossings.min(axis=0) >= -edge) | (crossings.max(axis=0) <= edge)
    return inside


def _track(up: NDArray[np.float64], vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rotate body-frame vectors (3, k, n) into the track frame."""
    cosine = np.sqrt(1.0 - up[0] * up[0])
    cos_roll, sin_roll = up[2] / cosine, up[1] / cosine
    x, y, z = vectors
    above = sin_roll * y + cos_roll * z
    turned = np.empty_like(vectors)
    turned[0] = cosine * x - up[0] * above
    turned[1] = cos_roll * y - sin_roll * z
    turned[2] = up[0] * x + cosine * above
    return turned


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
    flat = np.sqrt(ux * ux + uy * uy)
    # Unit vectors down and level in the wheel's plane; only their parts toward the centre line are needed.
    out, level = SIDES * uz * uy / flat, np.abs(ux) / flat
    swing = radius * flat
    z0 = cz - half * uz
    most, least = (z0 - low) / swing, (z0 - high) / swing
    # By cosines of the angle on the rim from its lowest point; of its two sides the nearer one counts.
    first, last = np.minimum(np.maximum((most, least), -1.0), 1.0)
    reach = np.minimum(
        out * first - level * np.sqrt(1.0 - first * first), out * last - level * np.sqrt(1.0 - last * last)
    )
    far = np.sqrt(out * out + level * level)
    reach = np.where((-out <= first * far) & (-out >= last * far), -far, reach)
    inset: NDArray[np.float64] = SIDES * (cy - half * uy) + radius * reach
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
        Sideways travel [m], positive left, negative right; NaN where the car turns back before. The condition
        that the watched point is the board's length down the board is quadratic in the tangent of half the
        angle turned, and its smaller solution is the first time it is.
    """
    # With t the tangent of half the angle turned, which solves (kb + 2p) t^2 - 2 t + kb = 0 for the board b
    # and p = tan(dr) + k watched; written so that a car that runs straight (k = 0) is nothing special.
    lever = np.tan(rear_steer) + watched * curvature
    turned = board * curvature
    # Where the root would be of a negative number the rate is negative as well.
    root = np.sqrt(np.maximum(1.0 - turned * (turned + 2.0 * lever), 0.0))
    t_per_curvature = board / (1.0 + root)
    t = t_per_curvature * curvature
    whole = 1.0 + t * t
    rate = (2.0 - whole - 2.0 * lever * t) / whole
    drift = 2.0 * t_per_curvature * (t + lever) / whole
    return np.where((rate > 0.05) & (np.abs(t) <= _TURNS_BACK), drift, np.nan)


@cache
def _tripod_indices(dominant: Station) -> tuple[list[int], ...]:
    spares = (_STATIONS.index(dominant.opposite), _STATIONS.index(dominant), 0, 1)
    return tuple([i for i in range(4) if i != spare] for spare in spares)


def _chunk(car: Car, values: NDArray[np.float64], seats: Mapping[Station, Seat]) -> Stances:
    w = wheels_of(values, seats)
    n = len(values)
    moment, fixed, wheel_mass, axle_mass = _masses(car)
    total = fixed + wheel_mass.sum() + axle_mass.sum()
    mass_centre = (moment[:, None] + wheel_mass @ w.centre + axle_mass @ w.hole) / total
    tripods = _tripod_indices(car.dominant)
    up = np.zeros((3, n))
    points = np.zeros((3, 4, n))
    heights = np.zeros((4, n))
    carrying = np.full(n, -1, dtype=np.int64)
    todo = np.arange(n)
    for number, three in enumerate(tripods):
        part = w if len(todo) == n else _rows(w, todo)
        part_up, part_points, part_heights, settled = rest(part, three)
        (spare,) = (i for i in range(4) if i not in three)
        clear = part_heights[spare] - part_heights[three[0]]
        held = _holds(part_up, mass_centre[:, todo], part_points[:, three])
        good = settled & (clear >= -_ON_THE_GROUND) & held
        if np.all(good) and len(todo) == n:
            up, points, heights = part_up, part_points, part_heights
            carrying[:] = number
            todo = todo[:0]
            break
        rows = todo[good]
        up[:, rows], points[:, :, rows], heights[:, rows] = (
            part_up[:, good],
            part_points[:, :, good],
            part_heights[:, good],
        )
        carrying[rows] = number
        todo = todo[~good]
        if len(todo) == 0:
            break
    up[2, todo] = 1.0  # keeps the arithmetic of rows that tip over quiet
    # The carried wheels' points are level to rounding; the first of them sets the lift.
    first = np.array([three[0] for three in tripods])[carrying]
    return _describe(car, values, w, up, heights, points, -heights[first, np.arange(n)], carrying)


def _rows(w: Wheels, rows: NDArray[np.int64]) -> Wheels:
    return Wheels(**{field.name: getattr(w, field.name)[..., rows] for field in fields(w)})


def _describe(
    car: Car,
    values: NDArray[np.float64],
    w: Wheels,
    up: NDArray[np.float64],
    heights: NDArray[np.float64],
    points: NDArray[np.float64],
    lift: NDArray[np.float64],
    carrying: NDArray[np.int64],
) -> Stances:
    turned = _track(up, np.concatenate((w.axis, w.centre, points), axis=1))
    axis, centre, contact = turned[:, :4], turned[:, 4:8], turned[:, 8:]
    clearance = heights + lift
    dominant = _STATIONS.index(car.dominant)
    rear_x = 0.5 * (contact[0, 0] + contact[0, 1])
    rear = _steer(axis[:, :2], SIDES[:2])
    rear_steer = 0.5 * (rear[0] + rear[1])
    tangent = -axis[0, dominant] / axis[1, dominant]
    curvature = (tangent - np.tan(rear_steer)) / (
        contact[0, dominant] - rear_x + contact[1, dominant] * tangent
    )
    wheelbase, rail_width, rail_height, board = values[:, 1:5].T
    watched = np.sqrt(1.0 - up[0] * up[0]) * wheelbase - rear_x
    gap = (
        inset_of(
            cy=centre[1],
            cz=centre[2] + lift,
            ux=axis[0],
            uy=axis[1],
            uz=axis[2],
            radius=w.radius,
            half=w.half,
            low=0.0,
            high=rail_height,
        )
        - 0.5 * rail_width
    )
    return Stances(
        front=lift + up[0] * wheelbase,
        rear=lift,
        up=up,
        axis=axis,
        clearance=np.where(np.abs(clearance) < _ON_THE_GROUND, 0.0, clearance),
        rail_gap=gap,
        contact_x=contact[0],
        contact_y=contact[1],
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
