"""The running surface as arrays, for many tracks or cars at once and for complex numbers too."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.track import Track

__all__ = ["Surface", "surface_from_profile", "surface_of"]

Array = NDArray[Any]
_NEARLY_STRAIGHT = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Pieces of constant curvature; the first runs on behind its start, the last beyond its end.

    Each attribute has the shape (r, pieces), r being 1 or the number of tracks.

    Attributes:
        start: arc length at which a piece begins [m]; the first one's is where its place is told.
        curvature: positive where the surface turns upward [1/m].
        sine: of the dip below the level at the start.
        cosine: likewise.
        x: level distance of the start from the gate [m].
        z: height of the start [m].
    """

    start: Array
    curvature: Array
    sine: Array
    cosine: Array
    x: Array
    z: Array

    def parts(self, pieces: NDArray[np.int64]) -> tuple[Array, ...]:
        """Return start, curvature, sine, cosine, x and z of pieces, in the shape of the index."""
        if len(self.start) == 1:
            return tuple(part[0][pieces] for part in self._all())
        return tuple(np.take_along_axis(part, pieces, axis=1) for part in self._all())

    def _all(self) -> tuple[Array, ...]:
        return (self.start, self.curvature, self.sine, self.cosine, self.x, self.z)

    def rows(self, part: slice) -> Surface:
        """Return some of the tracks; a single one stays as it is."""
        if len(self.start) == 1:
            return self
        start, curvature, sine, cosine, x, z = (each[part] for each in self._all())
        return Surface(start=start, curvature=curvature, sine=sine, cosine=cosine, x=x, z=z)

    def piece_at(self, s: Array) -> NDArray[np.int64]:
        """Return the index of the piece on which arc lengths (n, m) lie."""
        found: NDArray[np.int64]
        if len(self.start) == 1:
            found = np.searchsorted(self.start[0, 1:].real, s.real, side="right")
        else:
            found = (s.real[..., None] >= self.start.real[:, None, 1:]).sum(axis=2)
        return found


def surface_of(track: Track) -> Surface:
    """Return a track's running surface as arrays.

    Args:
        track: the track.

    Returns:
        Its pieces, and before and behind them a straight wherever they do not begin or end with one.
    """
    rows = [(p.start, p.curvature, math.sin(p.angle), math.cos(p.angle), p.x0, p.z0) for p in track.pieces]
    first = rows[0]
    if first[1] != 0.0:
        rows.insert(0, (first[0], 0.0, *first[2:]))
    if rows[-1][1] != 0.0:
        at = track.at(track.end)
        rows.append((track.end, 0.0, math.sin(at.angle), math.cos(at.angle), at.x, at.z))
    start, curvature, sine, cosine, x, z = np.array(rows).T[:, None, :]
    return Surface(start=start, curvature=curvature, sine=sine, cosine=cosine, x=x, z=z)


def surface_from_profile(profile: Array) -> Surface:
    """Return the running surfaces of tracks laid out as ramp, arc and flat.

    Args:
        profile: ramp angle [rad], ramp length, arc radius and flat length [m] of each, shape (n, 4).

    Returns:
        The surfaces; the flat runs on for ever, so its length has no say.
    """
    angle, ramp, radius, _ = profile.T
    zero, sine, cosine = np.zeros_like(angle), np.sin(angle), np.cos(angle)
    foot = radius * (1.0 - cosine)
    return Surface(
        start=np.stack((zero, ramp, ramp + radius * angle), axis=1),
        curvature=np.stack((zero, 1.0 / radius, zero), axis=1),
        sine=np.stack((sine, sine, zero), axis=1),
        cosine=np.stack((cosine, cosine, zero + 1.0), axis=1),
        x=np.stack((zero, ramp * cosine, ramp * cosine + radius * sine), axis=1),
        z=np.stack((ramp * sine + foot, foot, zero), axis=1),
    )


def along(parts: tuple[Array, ...], s: Array) -> tuple[Array, Array, Array, Array]:
    """Return where arc lengths are: x, z, and the level and upward part of the way down the track.

    Args:
        parts: of the pieces they lie on, from `Surface.parts`.
        s: arc lengths [m].

    Returns:
        x [m], z [m], `cos(angle)` and `-sin(angle)`. A chord of an arc that turns by 2 h over t is
        `t sin(h)/h` long and lies along the mean of its ends' directions.
    """
    start, curvature, sine, cosine, x, z = parts
    distance = s - start
    half = 0.5 * curvature * distance
    sin_half, cos_half = np.sin(half), np.cos(half)
    small = np.abs(half) < _NEARLY_STRAIGHT
    chord = distance * np.where(small, 1.0 - half * half / 6.0, sin_half / np.where(small, 1.0, half))
    mean_cos = cosine * cos_half + sine * sin_half
    mean_sin = sine * cos_half - cosine * sin_half
    return (
        x + chord * mean_cos,
        z - chord * mean_sin,
        mean_cos * cos_half + mean_sin * sin_half,
        -(mean_sin * cos_half - mean_cos * sin_half),
    )
