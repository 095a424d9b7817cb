"""How far each dimension may be off, alone, before a gate is missed, and what its scatter does to each."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_kind, dimension_names
from rollwright.setup.tolerance_case import GATES, STANDS, ToleranceCase, readings_of
from rollwright.units import Kind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["GOOD_ENOUGH", "Dimension", "Limit", "dimensions_of", "slopes_of", "worth_care"]

GOOD_ENOUGH = 0.05
"""How far, as a part of it, a straight line may be off a limit and still be good enough."""

_STEP = 1e-6
_ROUNDING = 1e-8
_FARTHEST = {Kind.LENGTH: 50e-3, Kind.ANGLE: math.radians(20.0)}
_TURN = math.radians(90.0)
_POINTS = 120
_NEAREST = 1e-6
_HALVINGS = 50
_ENOUGH, _FEWEST, _MOST = 0.6, 2, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """How far a dimension may be off one way.

    Attributes:
        off: greatest distance from its value [rad or m], not negative; None where no gate is missed as far as
            was looked or as is possible.
        gate: `level`, `steer` or `centre`, whichever is missed first; `stands` where the body comes to stand
            on other wheels first; empty where none is.
        looked: how far was looked [rad or m].
        straight: the same distance by a straight line [rad or m]; infinite where the line misses no gate.
    """

    off: float | None
    gate: str
    looked: float
    straight: float

    @property
    def ratio(self) -> float | None:
        """The straight line's distance over the exact one; None where either is missing."""
        if self.off is None or self.off <= 0.0 or not math.isfinite(self.straight):
            return None
        return self.straight / self.off

    @property
    def straight_is_good(self) -> bool:
        """Whether the straight line is within a twentieth of the exact distance."""
        return self.ratio is not None and abs(self.ratio - 1.0) <= GOOD_ENOUGH


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimension:
    """What one dimension does.

    Attributes:
        name: from `dimension_names`.
        kind: a length or an angle.
        value: as the file has it [rad or m].
        deviation: its standard deviation between bodies [rad or m]; 0 for rail and board, the same for all.
        slopes: change of height difference, drift and rail offset with it [m/rad or 1].
        less: how far it may be too small.
        more: how far it may be too large.
        shares: part of the variance of each gate's reading that its scatter answers for.
        weight: its part of the variances of all three, each counted in tolerances of its gate.
    """

    name: str
    kind: Kind
    value: float
    deviation: float
    slopes: tuple[float, float, float]
    less: Limit
    more: Limit
    shares: tuple[float, float, float]
    weight: float

    def uses(self, tolerances: NDArray[np.float64]) -> tuple[float, float, float]:
        """Return what part of each gate's tolerance one standard deviation uses up."""
        found = [abs(slope) * self.deviation for slope in self.slopes]
        level, steer, centre = (part / float(width) for part, width in zip(found, tolerances, strict=True))
        return level, steer, centre


def slopes_of(case: ToleranceCase) -> NDArray[np.float64]:
    """Return the derivatives of the readings with respect to all dimensions, (3, p).

    Args:
        case: the car.

    Returns:
        Central differences over a micrometre or a microradian [m/rad or 1]; 0 where one of the two bodies has
        no such reading, or where there is nothing but rounding.
    """
    steps = _STEP * np.eye(len(case.values))
    up, down = (readings_of(case, case.values + sign * steps) for sign in (1.0, -1.0))
    found = np.nan_to_num((up - down) / (2.0 * _STEP), nan=0.0)
    return np.where(np.abs(found) < _ROUNDING, 0.0, found)


def dimensions_of(case: ToleranceCase, slopes: NDArray[np.float64]) -> tuple[Dimension, ...]:
    """Return what each dimension does that the stance depends on.

    Args:
        case: the car.
        slopes: from `slopes_of`.

    Returns:
        The dimensions in the order of `dimension_names`. Limits are found on the exact geometry: the first of
        120 points, each an eighth farther out than the last, at which a gate is missed, and then by halving.
    """
    every = dimension_names()
    places = [every.index(name) for name in case.names]
    looked = _looked(case, places)
    off, gates = _first_misses(case, places, looked)
    parts = (slopes * case.deviations) ** 2
    totals = parts.sum(axis=1, keepdims=True)
    shares = np.divide(parts, totals, out=np.zeros_like(parts), where=totals > 0.0)
    scaled = (parts / case.tolerances[:, None] ** 2).sum(axis=0)
    weights = scaled / scaled.sum() if scaled.sum() > 0.0 else scaled
    found = []
    for row, place in enumerate(places):
        limits = [
            Limit(
                off=None if math.isnan(off[way, row]) else float(off[way, row]),
                gate=gates[way][row],
                looked=float(looked[way, row]),
                straight=_straight(case, slopes[:, place], sign),
            )
            for way, sign in enumerate((-1.0, 1.0))
        ]
        found.append(
            Dimension(
                name=every[place],
                kind=dimension_kind(every[place]),
                value=float(case.values[place]),
                deviation=float(case.deviations[place]),
                slopes=_three(slopes[:, place]),
                less=limits[0],
                more=limits[1],
                shares=_three(shares[:, place]),
                weight=float(weights[place]),
            )
        )
    return tuple(found)


def _three(column: NDArray[np.float64]) -> tuple[float, float, float]:
    level, steer, centre = (float(part) for part in column)
    return level, steer, centre


def _looked(case: ToleranceCase, places: list[int]) -> NDArray[np.float64]:
    """Return how far each dimension can be looked at, less and more, (2, k)."""
    names = dimension_names()
    far = np.array(
        [_TURN if names[at].endswith(".clock") else _FARTHEST[dimension_kind(names[at])] for at in places]
    )
    values, low, high = case.values[places], case.low[places], case.high[places]
    # A clock is an angle all round: its range is no end of it.
    turns = np.array([names[at].endswith(".clock") for at in places])
    room = np.stack((values - low, high - values))
    return np.where(turns, far, np.clip(room, 0.0, far))


def _first_misses(
    case: ToleranceCase, places: list[int], looked: NDArray[np.float64]
) -> tuple[NDArray[np.float64], list[list[str]]]:
    """Return how far off each dimension first misses a gate, (2, k), or NaN, and which gate that is."""
    count = len(places)
    signs = np.repeat([-1.0, 1.0], count)
    columns = np.tile(places, 2)
    ends = looked.ravel()
    grid = np.concatenate(([0.0], np.geomspace(_NEAREST, 1.0, _POINTS)))

    def off_at(distance: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return readings off their middles, in tolerances, for a distance of each, (3, 2 k)."""
        rows = np.repeat(case.values[None], len(columns), axis=0)
        rows[np.arange(len(columns)), columns] += signs * distance
        return case.off(rows)

    missed = np.stack([_missed(off_at(point * ends)) for point in grid[1:]])
    ever: NDArray[np.bool_] = np.logical_and(np.logical_or.reduce(missed, axis=0), ends > 0.0)
    first = np.where(ever, np.argmax(missed, axis=0), 0)
    low, high = grid[first] * ends, grid[first + 1] * ends
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        out = _missed(off_at(middle))
        low, high = np.where(out, low, middle), np.where(out, middle, high)
    beyond = off_at(high)
    worst = np.argmax(np.nan_to_num(np.abs(beyond), nan=-1.0), axis=0)
    lost: NDArray[np.bool_] = np.isnan(beyond.sum(axis=0))
    gates = [
        "" if not ever[at] else STANDS if lost[at] else GATES[int(worst[at])] for at in range(len(columns))
    ]
    found = np.where(ever, 0.5 * (low + high), np.nan)
    return found.reshape(2, count), [gates[:count], gates[count:]]


def _missed(off: NDArray[np.float64]) -> NDArray[np.bool_]:
    inside: NDArray[np.bool_] = np.all(np.abs(off) <= 1.0, axis=0)
    return ~inside


def _straight(case: ToleranceCase, slopes: NDArray[np.float64], sign: float) -> float:
    """Return how far off a straight line misses the first gate."""
    there = case.nominal - case.middle
    found = math.inf
    for off, slope, width in zip(
        there.tolist(), (sign * slopes).tolist(), case.tolerances.tolist(), strict=True
    ):
        if slope != 0.0:
            found = min(found, (math.copysign(width, slope) - off) / slope)
    return found


def worth_care(dimensions: tuple[Dimension, ...]) -> tuple[Dimension, ...]:
    """Return the two or three dimensions whose scatter does most to miss a gate.

    Args:
        dimensions: from `dimensions_of`.

    Returns:
        Those of the greatest weight, as many as make up three fifths of all, but two at least and three at
        most; fewer where fewer do anything.
    """
    ranked = sorted((each for each in dimensions if each.weight > 0.0), key=lambda each: -each.weight)
    total = 0.0
    for count, each in enumerate(ranked, start=1):
        total += each.weight
        if count >= _MOST or (count >= _FEWEST and total >= _ENOUGH):
            return tuple(ranked[:count])
    return tuple(ranked)
