"""From surveyed points to a running surface: smoothed no more than they allow, then cut into arcs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import NDArray
from scipy.interpolate import PPoly, make_smoothing_spline
from scipy.optimize import brentq

from rollwright.errors import OutOfRange
from rollwright.run.track import Piece, joined

__all__ = [
    "LEAST_RADIUS",
    "MOST_POINTS",
    "Curve",
    "Survey",
    "as_pieces",
    "smooth_curve",
    "surveyed",
]

Numbers = NDArray[np.float64]

LEAST_RADIUS = 0.3
"""Sharpest bend that a survey is taken at its word for [m]: over a crest of this radius a wheelbase of 120 mm
sinks by `0.12^2 / (8 x 0.3)`, 6 mm, about the clearance that cars have."""
FEWEST_POINTS = 5
MOST_POINTS = 2000

_STEEPEST = math.radians(75.0)
# The arcs stay within 0.1 mm and 0.01 degrees of the smooth curve; they are cut for half of that.
_POSITION = 0.05e-3
_ANGLE = math.radians(0.005)
_NODES, _WEIGHTS = leggauss(8)
# Three bends in a row, to and fro, each beyond this many of its own standard uncertainties, are no noise.
_ZIGZAG = 4.0
# Between these the smoothing goes from through every point to a straight line, for points numbered by place.
_LEAST_SMOOTHING, _MOST_SMOOTHING = -12.0, 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """The smooth curve through surveyed points, as height over level distance.

    Attributes:
        spline: piecewise cubic, height over level distance, both [m] as surveyed.
        smoothing: how strongly its bending was held down [1]; 0: as far as to a straight line.
    """

    spline: PPoly[Any]
    smoothing: float

    @property
    def knots(self) -> Numbers:
        """Level distances at which the cubics meet [m]: the surveyed points."""
        return np.asarray(self.spline.x, dtype=float)

    def height(self, x: Numbers) -> Numbers:
        """Return the height at level distances [m]."""
        return np.asarray(self.spline(x), dtype=float)

    def angle(self, x: Numbers) -> Numbers:
        """Return how far the curve dips below the level at level distances [rad], positive downhill."""
        return np.asarray(-np.arctan(self.spline(x, 1)), dtype=float)

    def curvature(self, x: Numbers) -> Numbers:
        """Return the curvature at level distances [1/m], positive where the curve turns upward."""
        slope = np.asarray(self.spline(x, 1), dtype=float)
        bend = np.asarray(self.spline(x, 2), dtype=float)
        return np.asarray(bend / (1.0 + slope**2) ** 1.5, dtype=float)

    def length(self, a: Numbers, b: Numbers) -> Numbers:
        """Return the arc length between pairs of level distances that have no knot between them [m]."""
        half = 0.5 * (b - a)
        x = 0.5 * (a + b)[:, None] + half[:, None] * _NODES
        stretched = np.sqrt(1.0 + np.asarray(self.spline(x, 1), dtype=float) ** 2)
        return np.asarray(half * (stretched @ _WEIGHTS), dtype=float)


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What a survey says of a running surface.

    Attributes:
        pieces: the surface from the first point to the last; x is 0 at the first, z 0 at the last.
        curve: the smooth curve that the pieces follow.
        residuals: how far each point lies above the smooth curve, square to it [m].
    """

    pieces: tuple[Piece, ...]
    curve: Curve
    residuals: tuple[float, ...]


def surveyed(
    points: Sequence[tuple[float, float]], *, uncertainty: float, least_radius: float = LEAST_RADIUS
) -> Survey:
    """Return the running surface that surveyed points show.

    Args:
        points: level distance and height of each [m], in order from the gate to the finish, heights counted
            upward from any level.
        uncertainty: standard uncertainty of a point, square to the surface [m], more than 0.
        least_radius: sharpest bend that a car can pass [m], more than 0.

    Returns:
        The surface. It is the smooth curve of `smooth_curve`, cut into arcs by `as_pieces`.

    Raises:
        OutOfRange: the points are too few or too many, do not lead forward and down, stand too steep, zigzag
            by more than their uncertainty, bend more sharply than `least_radius`, or rise above the gate.
    """
    if not 0.0 < uncertainty < math.inf:
        raise OutOfRange(
            f"an uncertainty of {uncertainty * 1e3:g} mm cannot be a survey's",
            mend="write how well a point is known, as in 0.5 mm",
        )
    x, z = _checked(points)
    _check_zigzag(x, z, uncertainty)
    curve = smooth_curve(points, uncertainty=uncertainty)
    _check_bends(curve, least_radius)
    pieces = as_pieces(curve)
    _check_rises(pieces)
    square = (z - curve.height(x)) * np.cos(curve.angle(x))
    return Survey(pieces=pieces, curve=curve, residuals=tuple(square.tolist()))


def smooth_curve(points: Sequence[tuple[float, float]], *, uncertainty: float) -> Curve:
    """Return the smoothest curve that surveyed points allow.

    Args:
        points: level distance and height of each [m], the distances growing.
        uncertainty: standard uncertainty of a point, square to the surface [m], more than 0.

    Returns:
        The natural cubic spline with the least integral of the squared second derivative of height over
        distance, among those for which the mean square of (distance off the curve / uncertainty) is 1: the
        points lie off by their uncertainty, taken together. Where a straight line does as well, it is that
        line. (C. H. Reinsch, Smoothing by spline functions, Numerische Mathematik 10 (1967) 177.)

    Raises:
        OutOfRange: the points are too few or too many, or do not lead forward and down.
    """
    x, z = _checked(points)
    # A vertical miss counts by its part square to the surface.
    weights = 1.0 / (uncertainty**2 * (1.0 + np.gradient(z, x) ** 2))
    line = np.polynomial.Polynomial.fit(x, z, 1, w=np.sqrt(weights)).convert().coef
    slope, height = float(line[1]), float(line[0])
    if np.mean(weights * (z - height - slope * x) ** 2) <= 1.0:
        return Curve(spline=_straight(x, height=height, slope=slope), smoothing=0.0)
    # Near unit spacing, height and weight keep the equations well conditioned whatever the units.
    pitch = (x[-1] - x[0]) / (len(x) - 1)
    place, scaled = (x - x[0]) / pitch, (z - z[-1]) / uncertainty
    relative = weights * uncertainty**2

    def excess(exponent: float) -> float:
        found = make_smoothing_spline(place, scaled, w=relative, lam=10.0**exponent)
        return float(np.mean(relative * (scaled - found(place)) ** 2)) - 1.0

    exponent = _MOST_SMOOTHING
    if excess(_LEAST_SMOOTHING) >= 0.0:
        exponent = _LEAST_SMOOTHING
    elif excess(_MOST_SMOOTHING) > 0.0:
        exponent = float(brentq(excess, _LEAST_SMOOTHING, _MOST_SMOOTHING, xtol=1e-6))
    fitted = make_smoothing_spline(place, scaled, w=relative, lam=10.0**exponent)
    # Back from places to metres: the k-th power of a place is that of a distance over the pitch.
    cubics = PPoly.from_spline((fitted.t, fitted.c, fitted.k))
    powers = pitch ** np.arange(3, -1, -1.0)[:, None]
    inside = (cubics.x[:-1] >= place[0] - 1e-9) & (cubics.x[:-1] < place[-1] - 1e-9)
    inside &= np.diff(cubics.x) > 0.0
    coefficients = uncertainty * cubics.c[:, inside] / powers
    coefficients[-1] += z[-1]
    return Curve(spline=PPoly(coefficients, x), smoothing=10.0**exponent)


def as_pieces(curve: Curve) -> tuple[Piece, ...]:
    """Return a smooth curve as arcs that follow each other without a gap or a kink.

    Args:
        curve: the curve.

    Returns:
        Pieces with the curve's angle where they meet, cut until every point and direction of them is within
        0.1 mm and 0.01 degrees of the curve's at the same level distance; x is 0 at the start, z 0 at the
        end.
    """
    cuts = curve.knots
    while True:
        a, b = cuts[:-1], cuts[1:]
        start, end, length = curve.angle(a), curve.angle(b), curve.length(a, b)
        middle = 0.5 * (a + b)
        turned = end - start
        chord = length * np.sinc(0.5 * turned / np.pi)
        mean = 0.5 * (start + end)
        off = np.hypot(
            chord * np.cos(mean) - (b - a), chord * np.sin(mean) - (curve.height(a) - curve.height(b))
        )
        # The misses of single arcs add up along the track; those that miss most are cut first.
        bad = (off >= off.mean()) & (off.sum() > _POSITION)
        for x in (0.5 * (a + middle), middle, 0.5 * (middle + b)):
            along = start + turned * curve.length(a, x) / length
            bad |= np.abs(curve.angle(x) - along) > _ANGLE
        if not bad.any():
            return joined(
                angle=float(start[0]),
                stretches=zip(length.tolist(), (-turned / length).tolist(), strict=True),
            )
        cuts = np.sort(np.concatenate((cuts, middle[bad])))


def _straight(x: Numbers, *, height: float, slope: float) -> PPoly[Any]:
    return PPoly(np.array([[0.0], [0.0], [slope], [height + slope * x[0]]]), x[[0, -1]])


def _checked(points: Sequence[tuple[float, float]]) -> tuple[Numbers, Numbers]:
    if not FEWEST_POINTS <= len(points) <= MOST_POINTS:
        raise OutOfRange(
            f"{len(points)} points are not {FEWEST_POINTS} to {MOST_POINTS}",
            mend="survey a point about every 100 mm, closer where the track bends",
        )
    x, z = np.asarray(points, dtype=float).T
    if not np.isfinite(x + z).all():
        raise OutOfRange("a point is not finite", mend="give every point as two numbers")
    steps = np.diff(x)
    if (steps < 0.0).all():
        raise OutOfRange("the points run backward", mend="list them from the gate to the finish")
    if (steps <= 0.0).any():
        number = int(np.argmax(steps <= 0.0)) + 2
        raise OutOfRange(
            f"point {number}, {_mm(x[number - 1])} along, is not further down the track than point "
            f"{number - 1}, {_mm(x[number - 2])} along",
            mend="list every place once, from the gate to the finish",
        )
    angles = np.arctan(-np.diff(z) / steps)
    if (np.abs(angles) > _STEEPEST).any():
        number = int(np.argmax(np.abs(angles) > _STEEPEST)) + 1
        raise OutOfRange(
            f"from point {number} to point {number + 1} the track is steeper than "
            f"{math.degrees(_STEEPEST):.0f} degrees",
            mend="write each point as [forward, up]",
        )
    if z[-1] >= z[0]:
        raise OutOfRange(
            f"the last point lies {_mm(z[-1] - z[0])} above the first, so that no car would run",
            mend="write each point as [forward, up], from the gate to the finish",
        )
    return x, z


def _mm(length: float) -> str:
    return f"{length * 1e3:.1f} mm"


def _check_zigzag(x: Numbers, z: Numbers, uncertainty: float) -> None:
    """Refuse points that swing to and fro by more than their uncertainty lets them."""
    before, after = np.diff(x)[:-1], np.diff(x)[1:]
    # How far each point lies off the line through its two neighbours, over the uncertainty of that.
    share = after / (before + after)
    off = z[1:-1] - share * z[:-2] - (1.0 - share) * z[2:]
    slope = (z[2:] - z[:-2]) / (before + after)
    sigma = uncertainty * np.sqrt((1.0 + slope**2) * (1.0 + share**2 + (1.0 - share) ** 2))
    swing = off / sigma
    three = np.lib.stride_tricks.sliding_window_view(swing, 3) * np.array([1.0, -1.0, 1.0])
    to_and_fro = (three > _ZIGZAG).all(axis=1) | (three < -_ZIGZAG).all(axis=1)
    if to_and_fro.any():
        worst = int(np.argmax(np.where(to_and_fro, np.abs(swing[1:-1]), 0.0))) + 1
        raise OutOfRange(
            f"the points zigzag: point {worst + 2}, {_mm(x[worst + 1])} along, lies {_mm(abs(off[worst]))} "
            f"{'above' if off[worst] > 0.0 else 'below'} the line between its neighbours, which lie off the "
            "other way",
            mend=f"check it, or write a larger uncertainty than {_mm(uncertainty)}",
        )


def _check_bends(curve: Curve, least_radius: float) -> None:
    knots = curve.knots
    x = np.linspace(knots[:-1], knots[1:], 9).T.ravel()
    bends = np.abs(curve.curvature(x))
    worst = int(np.argmax(bends))
    if bends[worst] * least_radius > 1.0:
        number = int(np.argmin(np.abs(knots - x[worst]))) + 1
        raise OutOfRange(
            f"near point {number}, {_mm(knots[number - 1])} along, the track would bend with a radius of "
            f"{_mm(1.0 / bends[worst])}, too sharply for a car",
            mend=f"check the points there; a radius of at least {_mm(least_radius)} can be run",
        )


def _check_rises(pieces: tuple[Piece, ...]) -> None:
    if pieces[0].angle <= 0.0:
        raise OutOfRange(
            "the track does not lead downhill at the gate, so that no car would start",
            mend="let the points begin at the gate",
        )
    highest = max(pieces, key=lambda piece: piece.z0)
    if highest.z0 > pieces[0].z0:
        raise OutOfRange(
            f"{_mm(highest.x0)} along, the track rises {_mm(highest.z0 - pieces[0].z0)} above the gate, so "
            "that no car would pass",
            mend="check the points there",
        )
