"""What comes out of the motion from side to side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Station
from rollwright.run.lateral_car import Sideways
from rollwright.run.lateral_lane import Roughness
from rollwright.run.lateral_wheels import TOUCHING
from rollwright.run.result import Run

__all__ = ["HAIR", "LONG_OFF", "Cost", "Held", "Off", "Touch", "told"]

Array = NDArray[Any]

HAIR = 0.05e-3
"""Nearer than this, a wheel counts as on the rail [m]: about a sheet of thin paper."""

LONG_OFF = 0.15
"""A dominant wheel that stays off the rail for longer has lost it [s] (judgement)."""

_APART = 2e-3
_SETTLED = 0.8
_STATIONS = tuple(Station)


@dataclass(frozen=True, slots=True, kw_only=True)
class Touch:
    """One touch of a wheel and the rail, from when they meet until they part.

    Attributes:
        station: the wheel.
        time: when it begins [s].
        distance: where, of the rear contact from where it started [m].
        approach: how fast the gap closed [m/s].
        lasts: how long [s].
        impulse: of the rail on the wheel, all of it [N s].
        lost: energy of the motion sideways that its knocks take [J].
    """

    station: Station
    time: float
    distance: float
    approach: float
    lasts: float
    impulse: float
    lost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Off:
    """A while that the dominant wheel is off the rail.

    Attributes:
        time: when it begins [s].
        distance: where, of the rear contact from where it started [m].
        lasts: how long [s].
        widest: the widest gap [m].
    """

    time: float
    distance: float
    lasts: float
    widest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What rail and treads cost, in seconds to the finish, to first order.

    Attributes:
        rail: rubbing on the rail, as the car really leans on it [s].
        scrub: treads that slip sideways [s].
        knocks: what is lost as wheels knock on the rail [s].
        straight_rail: rubbing on the rail if the car leaned on it steadily [s].
        straight_scrub: scrub likewise [s].
        budget_rail: the rail's part in the straight run's own budget [s].
        budget_scrub: the scrub's part there [s].
    """

    rail: float
    scrub: float
    knocks: float
    straight_rail: float
    straight_scrub: float
    budget_rail: float
    budget_scrub: float

    @property
    def more(self) -> float:
        """How much later the car finishes than its straight run says [s]; negative, earlier."""
        return self.rail + self.scrub + self.knocks - self.straight_rail - self.straight_scrub

    @property
    def whole(self) -> float:
        """What rail, askew treads and knocks cost in all [s]: the budget's parts and what comes on top."""
        return self.budget_rail + self.budget_scrub + self.more


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A car on its lane from side to side; arrays of wheels are in the order of `Station`.

    Attributes:
        run: the straight run whose speed and loads were used.
        sideways: what was known of the car.
        roughness: of the lane.
        restitution: of knocks.
        start_offset: where the centre line was staged at the centre of mass [m], positive left.
        start_heading: [rad], positive left.
        distance: of the rear contact from where it started [m], (n + 1,).
        time: since the start [s], likewise.
        places: of the centre of mass from straight down the lane [m], yaw [rad], and how fast both change,
            positive left, (4, n + 1).
        outs: how far out in its play each wheel is [m], (4, n + 1).
        gaps: from each wheel to the rail [m], (4, n + 1).
        rail: where the rail's middle is beside each wheel [m], positive left, (4, n + 1).
        pressed: force of the rail on each wheel [N], (4, n).
        treads: force of each tread sideways [N], positive left, (4, n).
        lost: energy of the motion sideways that knocks take [J], (4, n).
        touches: of all wheels with the rail, in order of time.
        first: when the dominant wheel first reaches the rail [s], or None.
        longest: its longest while off the rail after that; None where it never leaves or never meets it.
        on_rail: part of the time after that during which it is on the rail.
        steady_yaw: mean yaw over the last fifth of the way [rad].
        steady_force: mean force of the rail on the dominant wheel there [N].
        straight_force: the same by the straight run [N].
        cost: in milliseconds, beside the straight run's.
    """

    run: Run
    sideways: Sideways
    roughness: Roughness
    restitution: float
    start_offset: float
    start_heading: float
    distance: Array
    time: Array
    places: Array
    outs: Array
    gaps: Array
    rail: Array
    pressed: Array
    treads: Array
    lost: Array
    touches: tuple[Touch, ...]
    first: float | None
    longest: Off | None
    on_rail: float
    steady_yaw: float
    steady_force: float
    straight_force: float
    cost: Cost

    @property
    def strays(self) -> tuple[Touch, ...]:
        """First touch of each wheel other than the dominant one, once that has reached the rail."""
        found: dict[Station, Touch] = {}
        for touch in self.touches:
            if touch.station is not self.sideways.car.dominant:
                after = self.first is not None and touch.time + touch.lasts > self.first
                if after or self.first is None:
                    found.setdefault(touch.station, touch)
        return tuple(found.values())

    @property
    def holds(self) -> bool:
        """Whether the dominant wheel finds the rail, never loses it for long, and no other wheel touches."""
        lost = self.longest is not None and self.longest.lasts > LONG_OFF
        return self.first is not None and not lost and not self.strays


def told(
    *,
    run: Run,
    sideways: Sideways,
    roughness: Roughness,
    restitution: float,
    start: tuple[float, float],
    distance: Array,
    time: Array,
    places: Array,
    outs: Array,
    gaps: Array,
    rail: Array,
    pressed: Array,
    treads: Array,
    lost: Array,
    cost: Cost,
    straight_force: Array,
) -> Held:
    """Return a motion with what a builder wants to know of it.

    Args:
        run: the straight run.
        sideways: of the car.
        roughness: of the lane.
        restitution: of knocks.
        start: offset [m] and heading [rad].
        distance: see `Held`.
        time: see `Held`.
        places: see `Held`.
        outs: see `Held`.
        gaps: see `Held`.
        rail: see `Held`.
        pressed: see `Held`.
        treads: see `Held`.
        lost: see `Held`.
        cost: in seconds.
        straight_force: of the rail by the straight run, at each step [N].

    Returns:
        The whole.
    """
    steps = np.diff(time)
    touches = []
    for wheel, station in enumerate(_STATIONS):
        meets = (pressed[wheel] > 0.0) | (gaps[wheel, 1:] <= TOUCHING)
        for begin, end in _whiles(meets, time, apart=_APART):
            closed = gaps[wheel, max(begin - 1, 0)] - gaps[wheel, begin]
            touches.append(
                Touch(
                    station=station,
                    time=float(time[begin]),
                    distance=float(distance[begin]),
                    approach=max(0.0, float(closed / steps[max(begin - 1, 0)])) if begin else 0.0,
                    lasts=float(time[end] - time[begin]),
                    impulse=float(pressed[wheel, begin:end] @ steps[begin:end]),
                    lost=float(lost[wheel, begin:end].sum()),
                )
            )
    near = gaps[sideways.dominant] <= HAIR
    first = int(np.argmax(near)) if near.any() else -1
    last = int(np.searchsorted(distance, _SETTLED * distance[-1]))
    weights = steps[last:] / steps[last:].sum()
    return Held(
        run=run,
        sideways=sideways,
        roughness=roughness,
        restitution=restitution,
        start_offset=start[0],
        start_heading=start[1],
        distance=distance,
        time=time,
        places=places,
        outs=outs,
        gaps=gaps,
        rail=rail,
        pressed=pressed,
        treads=treads,
        lost=lost,
        touches=tuple(sorted(touches, key=lambda touch: touch.time)),
        first=float(time[first]) if first >= 0 else None,
        longest=_longest(~near, time, distance, gaps[sideways.dominant], first) if first >= 0 else None,
        on_rail=float(near[first + 1 :] @ steps[first:] / steps[first:].sum()) if first >= 0 else 0.0,
        steady_yaw=float(places[1, last + 1 :] @ weights),
        steady_force=float(pressed[sideways.dominant, last:] @ weights),
        straight_force=float(straight_force[last:] @ weights),
        cost=cost,
    )


def _whiles(yes: Array, time: Array, *, apart: float) -> list[tuple[int, int]]:
    """Return where runs of `yes` begin and end; pauses shorter than `apart` are no pauses."""
    change = np.flatnonzero(np.diff(np.concatenate(([False], yes, [False])).astype(np.int8)))
    found: list[tuple[int, int]] = []
    for begin, end in zip(change[::2].tolist(), change[1::2].tolist(), strict=True):
        if found and time[begin] - time[found[-1][1]] < apart:
            found[-1] = (found[-1][0], end)
        else:
            found.append((begin, end))
    return found


def _longest(off: Array, time: Array, distance: Array, gap: Array, first: int) -> Off | None:
    whiles = [(b, e) for b, e in _whiles(off, time, apart=0.0) if b >= first]
    ends = [(begin, min(end, len(time) - 1)) for begin, end in whiles]
    if not ends:
        return None
    begin, end = max(ends, key=lambda each: float(time[each[1]] - time[each[0]]))
    return Off(
        time=float(time[begin]),
        distance=float(distance[begin]),
        lasts=float(time[end] - time[begin]),
        widest=float(gap[begin : end + 1].max()),
    )
