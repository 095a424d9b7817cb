"""Where a car stands on a curved running surface: both axles on it, exactly, and how it moves along.

The car is a plane figure: each axle is a circle of its wheels' radius that rolls on the surface, and the two
centres stay as far apart as they are. Everything is told for each metre that the rear axle's centre
moves, `sigma`; first derivatives with respect to it do not jump where the surface's curvature does, second
derivatives do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.chassis import PARAMETERS
from rollwright.run.surface import Surface, along

__all__ = ["Pose", "column", "front_breaks", "front_piece", "nose_at", "pose"]

Array = NDArray[Any]
_INDEX = {name: index for index, name in enumerate(PARAMETERS)}
_ROUNDS = 6
_NEWTON = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """A car on the surface; two-dimensional vectors are pairs (x forward, z up).

    Attributes:
        rear: centre of the rear axle [m].
        rear_way: unit vector in which it moves.
        rear_bend: curvature of its path [1/m].
        front_way: unit vector in which the front axle's centre moves.
        front_bend: curvature of its path [1/m].
        chord: unit vector from the rear to the front centre.
        apart: distance of the two centres [m].
        front_rate: how far the front centre moves for each metre of the rear.
        front_rate_2: its derivative [1/m].
        turn: how far the body turns, nose up positive, for each metre [rad/m].
        turn_2: its derivative [rad/m2].
        contact_rates: arc length that the rear and the front contact cover for each metre.
    """

    rear: tuple[Array, Array]
    rear_way: tuple[Array, Array]
    rear_bend: Array
    front_way: tuple[Array, Array]
    front_bend: Array
    chord: tuple[Array, Array]
    apart: Array
    front_rate: Array
    front_rate_2: Array
    turn: Array
    turn_2: Array
    contact_rates: tuple[Array, Array]


def column(rows: Array, name: str, dimensions: int) -> Array:
    """Return one parameter of every car, with trailing axes added up to a number of dimensions."""
    found: Array = rows[:, _INDEX[name]].reshape((-1, *(1,) * (dimensions - 1)))
    return found


def pose(
    surface: Surface, rows: Array, s: Array, *, rear: NDArray[np.int64], front: NDArray[np.int64]
) -> Pose:
    """Return where cars stand, given where their rear wheels touch.

    Args:
        surface: the running surface.
        rows: parameters of the cars, (n, len(PARAMETERS)).
        s: arc lengths of the rear contacts [m], (n, segments, nodes).
        rear: piece under the rear contact, (n, segments).
        front: piece under the front contact, (n, segments).

    Returns:
        The poses. A point of a piece's path is, in terms of `w = 2 tan(k d / 2) / k`, a rational function,
        so that the wheelbase as a chord makes a quadratic equation, of an arc and of a straight alike.
    """
    radius_r, radius_f, ahead = (column(rows, name, 3) for name in ("rear_radius", "front_radius", "ahead"))
    rear_parts = tuple(part[..., None] for part in surface.parts(rear))
    px, pz, tx, tz = along(rear_parts, s)
    rear_rate = 1.0 / (1.0 - rear_parts[1] * radius_r)
    bend_r = rear_parts[1] * rear_rate
    cx, cz = px - radius_r * tz, pz + radius_r * tx

    _, curvature, sine, cosine, fx, fz = (part[..., None] for part in surface.parts(front))
    contact_f = 1.0 / (1.0 - curvature * radius_f)
    bend_f = curvature * contact_f
    ex, ez = fx + radius_f * sine - cx, fz + radius_f * cosine - cz
    square = ahead * ahead + (radius_f - radius_r) ** 2
    apart = np.sqrt(square)
    b, n = ex * cosine - ez * sine, ex * sine + ez * cosine
    c = ex * ex + ez * ez - square
    w = _root(1.0 + bend_f * n + 0.25 * bend_f * bend_f * c, b, c)
    half = 0.5 * bend_f * w
    under = 1.0 + half * half
    lengthwise, upward = w / under, half * w / under
    cos_turn, sin_turn = (1.0 - half * half) / under, 2.0 * half / under
    hx = (ex + cosine * lengthwise + sine * upward) / apart
    hz = (ez - sine * lengthwise + cosine * upward) / apart
    qx, qz = cosine * cos_turn + sine * sin_turn, cosine * sin_turn - sine * cos_turn

    # Rigid body: both ends of the chord move alike along it; the rest of their difference turns it.
    rear_along, front_along = tx * hx + tz * hz, qx * hx + qz * hz
    rear_aside, front_aside = tz * hx - tx * hz, qz * hx - qx * hz
    rate = rear_along / front_along
    turn = (rate * front_aside - rear_aside) / apart
    # A way turned upward by a quarter, (-z, x), has `-aside` along the chord and `along` across it.
    front_bent = bend_f * rate * rate
    rate_2 = (-bend_r * rear_aside + front_bent * front_aside - apart * turn * turn) / front_along
    turn_2 = (rate_2 * front_aside + front_bent * front_along - bend_r * rear_along) / apart
    return Pose(
        rear=(cx, cz),
        rear_way=(tx, tz),
        rear_bend=bend_r,
        front_way=(qx, qz),
        front_bend=bend_f,
        chord=(hx, hz),
        apart=apart,
        front_rate=rate,
        front_rate_2=rate_2,
        turn=turn,
        turn_2=turn_2,
        contact_rates=(rear_rate, contact_f * rate),
    )


def _root(a: Array, b: Array, c: Array) -> Array:
    """Return the forward root of `a w^2 + 2 b w + c = 0` without cancelling figures."""
    q = np.sqrt(b * b - a * c)
    forward = b.real > 0.0
    return np.where(forward, -c / np.where(forward, b + q, 1.0), (q - b) / a)


def front_breaks(surface: Surface, rows: Array) -> Array:
    """Return where the rear wheels touch when the front wheels pass from one piece to the next.

    Args:
        surface: the running surface.
        rows: parameters of the cars, (n, len(PARAMETERS)).

    Returns:
        Arc lengths of the rear contact [m], (n, pieces - 1).
    """
    count = surface.start.shape[1]
    radius_r, radius_f, ahead = (column(rows, name, 2) for name in ("rear_radius", "front_radius", "ahead"))
    index = np.broadcast_to(np.arange(1, count), (len(rows), count - 1))
    start, _, sine, cosine, x, z = surface.parts(index)
    gx, gz = x + radius_f * sine, z + radius_f * cosine
    square = ahead * ahead + (radius_f - radius_r) ** 2
    s = start - ahead
    piece = surface.piece_at(s)
    for _ in range(_ROUNDS):
        begin, curvature, sine, cosine, x, z = surface.parts(piece)
        bend = curvature / (1.0 - curvature * radius_r)
        ex, ez = x + radius_r * sine - gx, z + radius_r * cosine - gz
        b, n = ex * cosine - ez * sine, ex * sine + ez * cosine
        c = ex * ex + ez * ez - square
        # The other way round, the same equation's root that lies ahead is ours, with its sign turned.
        w = -_root(1.0 + bend * n + 0.25 * bend * bend * c, -b, c)
        half = 0.5 * bend * w
        small = np.abs(half) < 1e-4
        straightened = np.where(
            small, w * (1.0 - half * half / 3.0), 2.0 * np.arctan(half) / np.where(small, 1.0, bend)
        )
        s = begin + straightened / (1.0 - curvature * radius_r)
        again = surface.piece_at(s)
        if np.array_equal(again, piece):
            break
        piece = again
    return s


def front_piece(breaks: Array, s: Array) -> NDArray[np.int64]:
    """Return the piece under the front contact.

    Args:
        breaks: what `front_breaks` returns, (n, pieces - 1).
        s: arc lengths of the rear contact [m], (n, m).

    Returns:
        Indices of pieces, (n, m).
    """
    found: NDArray[np.int64] = (s.real[..., None] >= breaks.real[:, None, :]).sum(axis=2)
    return found


def nose_at(surface: Surface, rows: Array, breaks: Array, line: float | Array) -> Array:
    """Return where the rear wheels touch when the nose reaches a line across the surface.

    Args:
        surface: the running surface.
        rows: parameters of the cars, (n, len(PARAMETERS)).
        breaks: what `front_breaks` returns for them.
        line: arc length of the line [m], one for all or one for each; it stands square to the surface.

    Returns:
        Arc lengths of the rear contact [m], (n,).
    """
    nose_x, nose_z, radius_r, radius_f, ahead = (
        column(rows, name, 3) for name in ("nose_x", "nose_z", "rear_radius", "front_radius", "ahead")
    )
    where = (np.zeros(len(rows)) + line)[:, None]
    s = where - nose_x[..., 0]
    under = surface.piece_at(where)
    if np.all((under == surface.piece_at(s)) & (under == front_piece(breaks, s))) and not np.any(
        surface.parts(under)[1]
    ):
        # All on one straight, where the car stands as on a floor.
        return s[:, 0]
    lx, lz, wx, wz = (part[..., None] for part in along(surface.parts(under), where))
    for _ in range(_NEWTON):
        at = pose(surface, rows, s[..., None], rear=surface.piece_at(s), front=front_piece(breaks, s))
        x, z = nose_x, nose_z - radius_r
        rise = (radius_f - radius_r) / at.apart
        level = ahead / at.apart
        along_chord, across = x * level + z * rise, z * level - x * rise
        hx, hz = at.chord
        off = (at.rear[0] + along_chord * hx - across * hz - lx) * wx + (
            at.rear[1] + along_chord * hz + across * hx - lz
        ) * wz
        way = (at.rear_way[0] + at.turn * (-along_chord * hz - across * hx)) * wx
        way = way + (at.rear_way[1] + at.turn * (along_chord * hx - across * hz)) * wz
        step = off / (way / at.contact_rates[0])
        s = s - step[..., 0]
        if np.abs(step).max() < 1e-15 * max(1.0, float(np.abs(where).max())):
            break
    return s[:, 0]
