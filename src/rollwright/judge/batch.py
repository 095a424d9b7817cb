"""A batch of drilled bodies judged: is the jig any good, what is wrong with it, and what would mend it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from rollwright.car.model import Station
from rollwright.errors import OutOfRange
from rollwright.judge.batch_capability import Capability, Ranged, capability
from rollwright.judge.batch_chart import FEWEST_TO_CHART, Chart, Wander, chart, wander
from rollwright.judge.batch_counts import CONFIDENCE, MoreNeeded, Share, clopper_pearson, more_needed
from rollwright.judge.batch_data import Body, Direction, Hole, Off, body_state
from rollwright.judge.batch_fit import FEWEST, Fit, fit
from rollwright.judge.verdict import State

__all__ = ["GOOD_SHARE", "WANDER_LEVEL", "Batch", "Cause", "JudgedHole", "Point", "judge_batch"]

GOOD_SHARE = 0.95
"""Share of holes inside their tolerance from which a hole of a jig is called good: judgement."""
WANDER_LEVEL = 0.05
"""Chance of a false word of a change in a whole batch: judgement."""
_BLUNT = 0.25
"""Share of readings coarser than the scatter beyond which no chart is drawn: judgement."""
_ENOUGH_BEFORE = 5
"""Readings before a change from which bias and scatter are taken of these alone: judgement."""


class Cause(Enum):
    """What is wrong with a hole: nothing (`good`), `bias`, `scatter`, `both`; `untold`: too few readings."""

    GOOD = "good"
    BIAS = "bias"
    SCATTER = "scatter"
    BOTH = "both"
    UNTOLD = "untold"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A dot of a chart: the body's `number`, the `value`, and whether it was `measured` or is a range."""

    number: int
    value: float
    measured: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedHole:
    """One direction of one hole over a batch.

    Attributes:
        hole: which.
        offs: what was read, in the order of drilling.
        kept: those of them that bias and scatter rest on.
        fit: bias and scatter; None where too little was read.
        capability: how they fit the tolerance; None likewise, or where there is no tolerance.
        cause: what is wrong.
        before: number of the body from which on readings were left out of the fit, since the jig changed
            there; None: none were.
        wander: a change of the mean that is clear, its chance that of the whole batch; or None.
        spread: a change of the scatter likewise; not looked for where the mean changed.
        points: what the chart shows.
        chart: individuals and moving ranges; None where there are too few, or where more than a quarter of
            the readings are ranges wider than the scatter, so that most dots would be the same.
    """

    hole: Hole
    offs: tuple[Off, ...]
    kept: tuple[Off, ...]
    fit: Fit | None
    capability: Capability | None
    cause: Cause
    before: int | None
    wander: Wander | None
    spread: Wander | None
    points: tuple[Point, ...]
    chart: Chart | None

    def number_at(self, index: int) -> int:
        """Return the number of the body at a place of the chart."""
        return self.points[index].number


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A batch of bodies from one set-up, judged.

    Attributes:
        set_up: its name.
        bodies: in the order of drilling.
        states: what becomes of each, in the same order.
        share: of those that pass, with its exact interval.
        more: how many more to drill for the good ones wanted.
        holes: each direction of each hole that was read.
        as_drilled: share that bias and scatter of all holes together let pass; None where they are not told.
        scatter_alone: share were all biases taken away.
        shimmed: share were only the bias of this hole taken away, by the hole's name.
    """

    set_up: str
    bodies: tuple[Body, ...]
    states: tuple[State, ...]
    share: Share
    more: MoreNeeded
    holes: tuple[JudgedHole, ...]
    as_drilled: Ranged | None
    scatter_alone: Ranged | None
    shimmed: Mapping[str, float]

    @property
    def unclear(self) -> int:
        """How many bodies cannot be told."""
        return self.states.count(State.UNCLEAR)

    def hole(self, hole: Hole) -> JudgedHole | None:
        """Return what is said of a hole; None where it was not read."""
        return next((each for each in self.holes if each.hole == hole), None)


def judge_batch(
    bodies: Sequence[Body],
    *,
    tolerances: Mapping[Direction, float],
    good: int | None = None,
    idle: Station | None = None,
    confidence: float = CONFIDENCE,
) -> Batch:
    """Return what a batch says of its jig.

    Args:
        bodies: of one set-up, in the order of drilling, one or more.
        tolerances: how far a hole may be off, either way [rad or m], all three directions, above zero.
        good: good bodies wanted in all; left out, one more than there are.
        idle: station whose wheel does not carry and which fails no body; None: all count.
        confidence: of all intervals.

    Returns:
        The batch. What is needed of a body are cant and sweep of every hole that was read on any of them.
        Changes along the batch are named where they are clear after Holm's correction for all that was
        looked at (S. Holm, Scand. J. Stat. 6 (1979) 65-70); bias and scatter are then those before the
        change. The joint shares take holes as independent of each other, and leave out those that
        were read on fewer than three bodies.

    Raises:
        OutOfRange: there is no body, a tolerance is not above zero, or the number wanted is negative.
    """
    if not bodies:
        raise OutOfRange("there is no body", mend="give one or more")
    read = [
        hole
        for hole in (Hole(station=station, direction=way) for station in Station for way in Direction)
        if any(hole in body.offs for body in bodies)
    ]
    needed = [hole for hole in read if hole.direction.is_angle and hole.station is not idle]
    states = tuple(body_state(body, tolerances=tolerances, needed=needed, idle=idle) for body in bodies)
    share = clopper_pearson(good=states.count(State.PASS), drilled=len(bodies), confidence=confidence)
    points = {hole: _points(bodies, hole) for hole in read}
    sharp = {hole: _sharp([body.offs[hole] for body in bodies if hole in body.offs]) for hole in read}
    changes = _clear({hole: wander([point.value for point in points[hole]]) for hole in read if sharp[hole]})
    holes = tuple(
        _judged(
            hole,
            bodies,
            points[hole],
            changes.get(hole, (None, None)),
            sharp=sharp[hole],
            tolerance=tolerances[hole.direction],
            confidence=confidence,
        )
        for hole in read
    )
    counting = [hole for hole in holes if hole.hole.station is not idle]
    # A hole that hardly any body was read at says nothing of the jig, and stops no word on the others.
    counting = [hole for hole in counting if len(hole.offs) >= FEWEST]
    told = [hole.capability for hole in counting if hole.capability is not None]
    whole = bool(told) and len(told) == len(counting)
    inside = {hole.hole.name: hole.capability for hole in counting if hole.capability is not None and whole}
    return Batch(
        set_up=bodies[0].set_up,
        bodies=tuple(bodies),
        states=states,
        share=share,
        more=more_needed(wanted=share.good + 1 if good is None else good, counted=share, chance=CONFIDENCE),
        holes=holes,
        as_drilled=_product([each.inside for each in told]) if whole else None,
        scatter_alone=_product([each.centred for each in told]) if whole else None,
        shimmed={
            name: math.prod(
                each.centred.value if other == name else each.inside.value for other, each in inside.items()
            )
            for name in inside
        },
    )


def _points(bodies: Sequence[Body], hole: Hole) -> tuple[Point, ...]:
    return tuple(
        Point(number=body.number, value=off.point, measured=off.measured)
        for body in bodies
        if (off := body.offs.get(hole)) is not None and off.point is not None
    )


def _sharp(offs: Sequence[Off]) -> bool:
    """Return whether readings are fine enough to tell one body from the next."""
    if all(off.measured for off in offs):
        return True
    scatter = fit(offs).scatter if len(offs) >= FEWEST else 0.0
    coarse = sum(not off.measured and (off.outside or off.high - off.low > scatter) for off in offs)
    return coarse <= _BLUNT * len(offs)


def _clear(
    found: Mapping[Hole, tuple[Wander, Wander] | None],
) -> dict[Hole, tuple[Wander | None, Wander | None]]:
    """Return the changes that stay clear when all that was looked at is allowed for, chances corrected."""
    tests = sorted(
        ((pair[which].chance, hole.name, which) for hole, pair in found.items() if pair for which in (0, 1)),
    )
    corrected: dict[tuple[str, int], float] = {}
    worst = 0.0
    for place, (chance, name, which) in enumerate(tests):
        worst = min(1.0, max(worst, chance * (len(tests) - place)))
        corrected[name, which] = worst

    def clear(hole: Hole, pair: tuple[Wander, Wander], which: int) -> Wander | None:
        chance = corrected[hole.name, which]
        return replace(pair[which], chance=chance) if chance <= WANDER_LEVEL else None

    changes: dict[Hole, tuple[Wander | None, Wander | None]] = {}
    for hole, pair in found.items():
        moved = None if pair is None else clear(hole, pair, 0)
        # What a step or a straight line leaves of another shape would look like a scatter that changed.
        changes[hole] = (moved, None if pair is None or moved is not None else clear(hole, pair, 1))
    return changes


def _judged(
    hole: Hole,
    bodies: Sequence[Body],
    points: tuple[Point, ...],
    changes: tuple[Wander | None, Wander | None],
    *,
    sharp: bool,
    tolerance: float,
    confidence: float,
) -> JudgedHole:
    starts = [points[change.first].number for change in changes if change is not None]
    before = min(starts) if starts else None
    kept = [
        body.offs[hole] for body in bodies if hole in body.offs and (before is None or body.number < before)
    ]
    if len(kept) < _ENOUGH_BEFORE and before is not None:
        before = None
        kept = [body.offs[hole] for body in bodies if hole in body.offs]
    found = fit(kept, confidence=confidence) if len(kept) >= FEWEST else None
    told = None if found is None or math.isnan(found.bias) else capability(found, tolerance=tolerance)
    return JudgedHole(
        hole=hole,
        offs=tuple(body.offs[hole] for body in bodies if hole in body.offs),
        kept=tuple(kept),
        fit=found,
        capability=told,
        cause=Cause.UNTOLD if found is None or told is None else _cause(found, told),
        before=before,
        wander=changes[0],
        spread=changes[1],
        points=points,
        chart=_chart(points, before) if sharp else None,
    )


def _chart(points: Sequence[Point], before: int | None) -> Chart | None:
    """Return the chart of what was read, its limits from the bodies before the jig changed."""
    if len(points) < FEWEST_TO_CHART:
        return None
    baseline = None if before is None else sum(point.number < before for point in points)
    return chart([point.value for point in points], baseline=baseline)


def _cause(found: Fit, told: Capability) -> Cause:
    """Return what costs bodies at a hole: the bias, where it is sure; the scatter; or both."""
    if told.inside.value >= GOOD_SHARE:
        return Cause.GOOD
    biased, scattered = found.biased, told.centred.value < GOOD_SHARE
    if biased and scattered:
        return Cause.BOTH
    return Cause.BIAS if biased else Cause.SCATTER


def _product(parts: Sequence[Ranged]) -> Ranged:
    """Return the product of independent shares, its interval from theirs on logarithms.

    MOVER: G. Y. Zou, A. Donner, Stat. Med. 27 (2008) 1693-1702.
    """
    value = math.prod(part.value for part in parts)
    if any(part.low <= 0.0 or part.value <= 0.0 for part in parts):
        down = math.inf
    else:
        down = math.hypot(*(math.log(part.value / part.low) for part in parts))
    up = math.hypot(*(math.log(part.high / part.value) if part.value > 0.0 else math.inf for part in parts))
    return Ranged(value=value, low=value * math.exp(-down), high=min(1.0, value * math.exp(up)))
