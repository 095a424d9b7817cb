"""How much steer a car needs on a lane: the chance that it holds the rail, and what that costs."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from rollwright.errors import DriftUndefined, OutOfRange
from rollwright.geometry.drift import curvature, drift_over
from rollwright.run.lateral import RESTITUTION, Course, follow
from rollwright.run.lateral_car import Sideways, steered
from rollwright.run.lateral_lane import Roughness
from rollwright.run.lateral_result import Held

__all__ = ["ANGLES", "SEEDS", "Band", "SteerCurve", "Steered", "drift_at", "steer_curve", "trade_steer"]

ANGLES = tuple(
    math.radians(angle) for angle in (0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8, 1.0, 1.3, 1.7, 2.2)
)
"""Steers that are tried [rad]: how far the dominant wheel heads into the rail from how the rear pair does."""

SEEDS = 40
"""Lanes that each steer is tried on."""

_AS_GOOD = 0.1
_DEAR = 5e-3
_NO_GOOD = 0.5
_INCH = 0.0254
_TRADE = (3.5 * _INCH, 4.0 * _INCH, 48.0 * _INCH, 4.375 * _INCH)


@dataclass(frozen=True, slots=True, kw_only=True)
class Steered:
    """One steer, on many lanes alike but for their seeds.

    Attributes:
        askew: how far the dominant wheel heads into the rail from how the rear pair heads [rad].
        drift: what the tuning board would show of it [m], positive left; None where it turns too sharply.
        good: lanes on which the car holds the rail.
        of: lanes tried.
        strayed: lanes on which another wheel touches the rail.
        rear: lanes on which a rear wheel does.
        longest: median over the lanes of the longest while off the rail [s].
        on_rail: mean part of the time on the rail [1].
        cost: mean of what rail, askew treads and knocks cost [s], to first order, scaled so that a car that
            leaned steadily would cost what the straight run's budget says.
    """

    askew: float
    drift: float | None
    good: int
    of: int
    strayed: int
    rear: int
    longest: float
    on_rail: float
    cost: float

    @property
    def share(self) -> float:
        """Part of the lanes on which the car holds the rail [1]."""
        return self.good / self.of


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The steers that hold the rail as well as any and cost the least; from the first to the last of them.

    Attributes:
        least: the least steer of the band.
        most: the largest; it costs at most five milliseconds more, or holds as well as the least does.
    """

    least: Steered
    most: Steered


@dataclass(frozen=True, slots=True, kw_only=True)
class SteerCurve:
    """What becomes of a car over a range of steer.

    Attributes:
        points: each steer, the least first.
        best: the band, or None where no steer holds on half of the lanes.
        here: the car as it is.
        trade: drift that the trade's usual steer would show on this car's board [m], least and most, positive
            left; None where a board is too long for it.
        trade_askew: that steer [rad], least and most.
    """

    points: tuple[Steered, ...]
    best: Band | None
    here: Steered
    trade: tuple[float | None, float | None]
    trade_askew: tuple[float, float]


def trade_steer() -> tuple[float, float]:
    """Return the trade's usual steer of the dominant wheel, least and most [rad].

    Returns:
        That of a drift of 3 1/2 to 4 in over a board of 48 in with a wheelbase of 4 3/8 in (common practice,
        no source): the arc's radius is `(x^2 + y^2) / 2 y`, the steer the wheelbase over it.
    """
    *drifts, board, wheelbase = _TRADE
    least, most = (math.atan(wheelbase * 2.0 * y / (board * board + y * y)) for y in drifts)
    return least, most


def drift_at(sideways: Sideways, steer: float) -> float | None:
    """Return the drift of a car whose dominant wheel heads another way.

    Args:
        sideways: the car.
        steer: heading of that wheel [rad], positive left.

    Returns:
        Over the car's own board [m], positive left; None where it turns too sharply to run its length.
    """
    drift = sideways.at_rest.drift
    try:
        turn = curvature(
            dominant_steer=steer,
            rear_steer=drift.rear_steer,
            length=drift.length,
            contact_y=float(sideways.beside[sideways.dominant]),
        )
        return drift_over(
            curvature=turn, rear_steer=drift.rear_steer, wheelbase=sideways.watched, board=drift.distance
        )
    except DriftUndefined:
        return None


def steer_curve(
    course: Course,
    sideways: Sideways,
    *,
    roughness: Roughness,
    seeds: int = SEEDS,
    angles: Sequence[float] = ANGLES,
    start_offset: float | None = None,
    start_heading: float = 0.0,
    restitution: float = RESTITUTION.value,
) -> SteerCurve:
    """Return how well a car holds the rail, and what that costs, over a range of steer.

    Args:
        course: what the run gives; its speed is kept for every steer.
        sideways: the car.
        roughness: of the lanes; their seeds count on from its own, the same for every steer.
        seeds: how many lanes.
        angles: steers into the rail [rad].
        start_offset: see `lateral.hold` [m].
        start_heading: see `lateral.hold` [rad].
        restitution: see `lateral.hold`.

    Returns:
        The curve. Steer alone changes: height, and where the wheel stands, do not.

    Raises:
        OutOfRange: there are no lanes or no steers, or the car cannot be staged so.
    """
    if not 1 <= seeds <= 10_000 or not angles:
        raise OutOfRange(f"{seeds} lanes are not 1 to 10000", mend="give another number", key="seeds")
    lanes = [replace(roughness, seed=roughness.seed + number) for number in range(seeds)]
    rear = sideways.at_rest.drift.rear_steer
    into = -sideways.car.dominant.side

    def one(car: Sideways, lane: Roughness) -> Held:
        return follow(
            course,
            car,
            roughness=lane,
            start_offset=start_offset,
            start_heading=start_heading,
            restitution=restitution,
        )

    plain = one(sideways, roughness).cost
    steady = plain.straight_rail + plain.straight_scrub
    part = (plain.budget_rail + plain.budget_scrub) / steady if steady > 0.0 else 1.0

    def point(askew: float) -> Steered:
        steer = rear + into * askew
        car = steered(sideways, steer)
        told = [_short(one(car, lane), part) for lane in lanes]
        return Steered(
            askew=askew,
            drift=drift_at(sideways, steer),
            good=sum(each[0] for each in told),
            of=seeds,
            strayed=sum(each[1] for each in told),
            rear=sum(each[2] for each in told),
            longest=statistics.median(each[3] for each in told),
            on_rail=statistics.fmean(each[4] for each in told),
            cost=statistics.fmean(each[5] for each in told),
        )

    now = into * (float(sideways.steer[sideways.dominant]) - rear)
    with ThreadPoolExecutor(2) as pool:
        *points, here = pool.map(point, [*sorted(angles), now])
    trade = trade_steer()
    return SteerCurve(
        points=tuple(points),
        best=_best(points),
        here=here,
        trade=(drift_at(sideways, rear + into * trade[0]), drift_at(sideways, rear + into * trade[1])),
        trade_askew=trade,
    )


def _short(held: Held, part: float) -> tuple[bool, bool, bool, float, float, float]:
    never = held.first is None
    longest = float(held.time[-1]) if never else (0.0 if held.longest is None else held.longest.lasts)
    cost = part * (held.cost.rail + held.cost.scrub + held.cost.knocks)
    strays = held.strays
    return (
        held.holds,
        bool(strays),
        any(not touch.station.is_front for touch in strays),
        longest,
        held.on_rail,
        cost,
    )


def _best(points: Sequence[Steered]) -> Band | None:
    bar = max(point.share for point in points) - _AS_GOOD
    if bar + _AS_GOOD < _NO_GOOD:
        return None
    first = next(number for number, point in enumerate(points) if point.share >= bar)
    last = first
    while (
        last + 1 < len(points)
        and points[last + 1].share >= bar
        and points[last + 1].cost <= points[first].cost + _DEAR
    ):
        last += 1
    return Band(least=points[first], most=points[last])
