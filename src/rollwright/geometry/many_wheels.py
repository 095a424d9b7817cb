"""The four wheels of many cars at once: where they are, where they touch and how three of them rest.

The twin of `geometry.axle` and `geometry.rest` in numpy; `geometry.many` builds on it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import GLOBAL_DIMENSIONS, STATION_DIMENSIONS
from rollwright.car.model import Seat, Station

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["SIDES", "Wheels", "contacts", "rest", "wheels_of"]

_COLUMN = {name: index for index, name in enumerate(STATION_DIMENSIONS)}
_TURNING = [_COLUMN[name] for name in ("cant", "sweep", "bend", "clock")]
SIDES = np.array([[station.side] for station in Station], dtype=np.float64)
"""+1 for each station on the left, -1 on the right, (4, 1)."""
_FRONT = np.array([[station.is_front] for station in Station], dtype=np.float64)
_GLOBALS = len(GLOBAL_DIMENSIONS)
_STEPS = 12
_SETTLED = 1e-15
_FLAT = 1e-12
_UPRIGHT = 1e-12


@dataclass(frozen=True, slots=True)
class Wheels:
    """Poses of the four wheels of n cars, body frame.

    Attributes:
        centre: x, y and z of the treads' centres, (3, 4, n).
        axis: outward unit vectors along the shanks, (3, 4, n).
        radius: of the treads, (4, n).
        half: half the treads' widths, (4, n).
        hole: x, y and z of the holes at the side faces, (3, 4, n).
    """

    centre: NDArray[np.float64]
    axis: NDArray[np.float64]
    radius: NDArray[np.float64]
    half: NDArray[np.float64]
    hole: NDArray[np.float64]

    @property
    def cx(self) -> NDArray[np.float64]:
        """Centres, forward part, (4, n)."""
        part: NDArray[np.float64] = self.centre[0]
        return part

    @property
    def cy(self) -> NDArray[np.float64]:
        """Centres, left part, (4, n)."""
        part: NDArray[np.float64] = self.centre[1]
        return part

    @property
    def cz(self) -> NDArray[np.float64]:
        """Centres, upward part, (4, n)."""
        part: NDArray[np.float64] = self.centre[2]
        return part

    @property
    def ux(self) -> NDArray[np.float64]:
        """Axes, forward part, (4, n)."""
        part: NDArray[np.float64] = self.axis[0]
        return part

    @property
    def uy(self) -> NDArray[np.float64]:
        """Axes, left part, (4, n)."""
        part: NDArray[np.float64] = self.axis[1]
        return part

    @property
    def uz(self) -> NDArray[np.float64]:
        """Axes, upward part, (4, n)."""
        part: NDArray[np.float64] = self.axis[2]
        return part

    @property
    def hole_x(self) -> NDArray[np.float64]:
        """Holes, forward part, (4, n)."""
        part: NDArray[np.float64] = self.hole[0]
        return part

    @property
    def hole_y(self) -> NDArray[np.float64]:
        """Holes, left part, (4, n)."""
        part: NDArray[np.float64] = self.hole[1]
        return part


def wheels_of(values: NDArray[np.float64], seats: Mapping[Station, Seat], *, hangs: bool = False) -> Wheels:
    """Return the poses of the wheels of many cars.

    Args:
        values: dimensions, shape (n, p), columns in the order of `dimension_names`; complex ones too, whose
            tiny imaginary parts then carry derivatives.
        seats: where in its play each wheel runs, the same for all.
        hangs: False for cars on their wheels, True for cars held by the body with hanging wheels.

    Returns:
        The poses; equations as in `geometry.axle`.
    """
    columns = np.ascontiguousarray(values.T)
    block = columns[_GLOBALS:].reshape(4, len(STATION_DIMENSIONS), -1)

    def of(name: str) -> NDArray[np.float64]:
        return block[:, _COLUMN[name], :]

    turning = block[:, _TURNING, :]
    cos_cant, cos_sweep, cos_bend, cos_clock = np.cos(turning).swapaxes(0, 1)
    sin_cant, sin_sweep, sin_bend, sin_clock = np.sin(turning).swapaxes(0, 1)
    to_down, to_forward = sin_bend * cos_clock, sin_bend * sin_clock
    hole, straight, axis = np.empty((3, 3, *cos_cant.shape), dtype=columns.dtype)
    straight[0] = sin_sweep * cos_cant
    straight[1] = SIDES * cos_sweep * cos_cant
    straight[2] = sin_cant
    np.multiply(straight, cos_bend, out=axis)
    sideways = sin_cant * to_down
    axis[0] += sin_sweep * sideways + cos_sweep * to_forward
    axis[1] += SIDES * (cos_sweep * sideways - sin_sweep * to_forward)
    axis[2] -= cos_cant * to_down

    hole[0] = _FRONT * columns[1] + of("offset")
    hole[1] = SIDES * (0.5 * columns[0] - of("relief"))
    hole[2] = of("hole_height")
    share = np.array([[seats[station].share_of_play] for station in Station])
    bend_at = of("bend_at")
    half = 0.5 * of("tread_width")
    past = of("washer") + share * of("play") + of("hub_projection") + half - bend_at
    level = axis[0] * axis[0] + axis[1] * axis[1]
    rise = (-0.5 if hangs else 0.5) * (of("bore") - of("shank")) / np.sqrt(level)
    # The vector straight up less its part along the shank, times the rise, is what the wheel is lifted by.
    centre = hole + straight * bend_at + axis * (past - axis[2] * rise)
    centre[2] += rise
    return Wheels(centre=centre, axis=axis, radius=0.5 * of("diameter"), half=half, hole=hole)


def up_part(up: NDArray[np.float64], vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the part of vectors (3, k, n) along up (3, n), as (k, n)."""
    found: NDArray[np.float64] = np.einsum("in,ikn->kn", up, vectors)
    return found


def contacts(w: Wheels, up: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the lowest points of the four wheels, body frame, (3, 4, n).

    Args:
        w: the wheels.
        up: unit vectors pointing up from the ground, body frame, (3, n).

    Returns:
        The points; equations as in `geometry.rest`.
    """
    tilt = up_part(up, w.axis)
    down = w.radius / np.sqrt(1.0 - tilt * tilt)
    rim = np.where(np.abs(tilt) > _UPRIGHT, np.copysign(w.half, tilt), 0.0)
    points: NDArray[np.float64] = w.centre + w.axis * (down * tilt - rim) - up[:, None, :] * down
    return points


def rest(
    w: Wheels, three: list[int]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return how three wheels of each car hold it on a flat plane.

    Args:
        w: the wheels.
        three: which of them, in the order of `Station`.

    Returns:
        Up, (3, n); all contact points, (3, 4, n), and their heights in the body frame, (4, n); and whether
        the row settled. The iteration is that of `geometry.rest`, and as there the points are judged.
    """
    up = np.zeros((3, w.radius.shape[1]))
    up[2] = 1.0
    points = contacts(w, up)
    first, second, third = three
    for _ in range(_STEPS):
        x1, y1, z1 = points[:, second] - points[:, first]
        x2, y2, z2 = points[:, third] - points[:, first]
        normal = np.empty_like(up)
        normal[0] = y1 * z2 - z1 * y2
        normal[1] = z1 * x2 - x1 * z2
        normal[2] = x1 * y2 - y1 * x2
        up = normal / np.copysign(np.sqrt(np.einsum("in,in->n", normal, normal)), normal[2])
        points = contacts(w, up)
        heights = up_part(up, points)
        off = np.abs(heights[[second, third]] - heights[first]).max(axis=0)
        if not off.max() > _SETTLED:
            break
    return up, points, heights, off < _FLAT
