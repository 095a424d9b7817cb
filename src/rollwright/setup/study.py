"""A study: many bodies drawn from what car and track files leave open, and what becomes of them.

Work is done in chunks of fixed size, each with random numbers of its own, so that a study may stop after any
of them, be taken up again, and be shared out among processes, and still gives the same figures.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from rollwright.errors import CarCannotRest, OutOfRange
from rollwright.setup.study_case import GATES, Case, Outcomes, drawn, normals
from rollwright.setup.study_sums import Scale, Sums, at_rank, nothing, sums_of
from rollwright.setup.study_times import Checked, Surface, fitted, needed, outcomes_of

__all__ = [
    "CHUNK",
    "QUANTILES",
    "Found",
    "Gate",
    "Plan",
    "Rank",
    "chunk_sums",
    "chunks",
    "found_of",
    "plan_of",
    "study",
]

CHUNK = 16384
"""Runs of one chunk."""

QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Shares whose times an answer gives."""

_CHUNK_KEY, _SCALE_KEY = 0, 3
_SCALE_RUNS = 400
_BEYOND = 1.5
_MOST_RUNS = 10**9


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How a study is done.

    Attributes:
        runs: how many.
        seed: of the random numbers.
        surface: stands in for the motion; None where every run is done in full.
        scale: what the sums are counted from.
    """

    runs: int
    seed: int
    surface: Surface | None
    scale: Scale

    def as_json(self) -> dict[str, Any]:
        """Return what a study that is taken up again needs to know."""
        return {"surface": None if self.surface is None else self.surface.as_json()}

    @classmethod
    def from_json(cls, data: Mapping[str, Any], *, runs: int, seed: int, scale: Scale) -> Plan:
        """Return the plan that `as_json` wrote.

        Raises:
            OutOfRange: it is not a plan.
        """
        try:
            surface = None if data["surface"] is None else Surface.from_json(data["surface"])
        except (KeyError, TypeError, ValueError):
            raise OutOfRange("this is not how a study is done", mend="start the study anew") from None
        return cls(runs=runs, seed=seed, surface=surface, scale=scale)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rank:
    """The time [s] below which a `share` of the bodies finish, with its standard error [s]."""

    share: float
    time: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """How bodies do at one gate.

    Attributes:
        name: `level`, `drift` or `rail`.
        inside: share of all bodies inside it.
        error: standard error of that share.
        centred: share inside, were the car as given on its target, so that only scatter counts.
        mean: of the reading [m].
        deviation: of the reading [m].
        correlation: of the reading with the finish time, -1 to 1; NaN where either does not vary.
        gain: mean time of those outside less that of those inside [s]; NaN where one or the other are none.
    """

    name: str
    inside: float
    error: float
    centred: float
    mean: float
    deviation: float
    correlation: float
    gain: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a study finds.

    Attributes:
        runs: bodies drawn.
        timed: share that reaches the finish.
        stalls: share that stands as it should but does not reach the finish.
        falls: share that stands on other wheels than the car as given, or on none.
        mean: of the finish time [s]; NaN where none finishes, as in all that follows.
        mean_error: its standard error [s].
        deviation: standard deviation of the finish time [s].
        deviation_error: its standard error [s].
        least: shortest time [s].
        most: longest time [s].
        ranks: times at the shares of `QUANTILES`.
        gates: level, drift and rail.
        joint: share inside all three and standing as it should.
        joint_error: its standard error.
        joint_centred: the same, were the car as given on all its targets.
        full: share of the times that were worked out in full.
        checked: how the surface compares with full runs; None where there is none.
        histogram: edges [s] and counts, for a picture.
    """

    runs: int
    timed: float
    stalls: float
    falls: float
    mean: float
    mean_error: float
    deviation: float
    deviation_error: float
    least: float
    most: float
    ranks: tuple[Rank, ...]
    gates: tuple[Gate, ...]
    joint: float
    joint_error: float
    joint_centred: float
    full: float
    checked: Checked | None
    histogram: tuple[tuple[float, ...], tuple[int, ...]]


def plan_of(case: Case, *, runs: int, seed: int) -> Plan:
    """Return how a study is done.

    Args:
        case: the car and the track.
        runs: how many.
        seed: of the random numbers.

    Returns:
        The plan: full runs where they are few, and otherwise a surface in place of the motion, so long as it
        agrees with full runs to a fiftieth of the spread.

    Raises:
        OutOfRange: the number of runs or the seed is not a possible one.
        CarCannotRest: hardly any of the bodies stand as the car does and reach the finish.
    """
    if not 100 <= runs <= _MOST_RUNS:
        raise OutOfRange(f"{runs} runs make no study", mend=f"ask for 100 to {_MOST_RUNS}", key="--runs")
    if not 0 <= seed < 2**63:
        raise OutOfRange(f"{seed} is no seed", mend="give a whole number from 0 up", key="--seed")
    values = drawn(case, normals(case, seed, _SCALE_KEY, rows=_SCALE_RUNS))
    first = outcomes_of(case, values, None)
    timed = first.time[np.isfinite(first.time)]
    if len(timed) < _SCALE_RUNS // 10:
        raise CarCannotRest(
            f"only {len(timed)} of {_SCALE_RUNS} bodies drawn from this file stand on the same wheels and "
            "reach the finish",
            mend="give the uncertainties of hole heights and losses, or mend the design first",
        )
    surface = fitted(case, seed=seed) if runs > needed(case) else None
    if surface is not None and not surface.checked.good:
        surface = None
    return Plan(runs=runs, seed=seed, surface=surface, scale=_scale(first))


def _scale(first: Outcomes) -> Scale:
    time = first.time[np.isfinite(first.time)]
    middles = [float(np.nanmedian(row)) if np.any(np.isfinite(row)) else 0.0 for row in first.readings]
    low, high = float(time.min()), float(time.max())
    beyond = _BEYOND * max(high - low, 1e-6)
    return Scale(
        centre=(float(time.mean()), middles[0], middles[1], middles[2]),
        low=max(0.0, low - beyond),
        high=high + beyond,
    )


def chunks(runs: int) -> int:
    """Return how many chunks a number of runs takes."""
    return -(-runs // CHUNK)


def chunk_sums(case: Case, plan: Plan, chunk: int) -> Sums:
    """Return the sums over one chunk of a study.

    Args:
        case: the car and the track.
        plan: how it is done.
        chunk: its number, from 0.

    Returns:
        The sums; the same whatever other chunks were done before, and by whom.
    """
    rows = min(CHUNK, plan.runs - chunk * CHUNK)
    z = normals(case, plan.seed, _CHUNK_KEY, chunk, rows=CHUNK)[:rows]
    return sums_of(case, outcomes_of(case, drawn(case, z), plan.surface), scale=plan.scale)


def found_of(sums: Sums, plan: Plan) -> Found:
    """Return what running sums say.

    Args:
        sums: over any number of chunks.
        plan: how the study was done.

    Returns:
        The results. Standard errors are those of so many independent draws: `s/sqrt(n)` of the mean,
        `s sqrt((kurtosis - 1)/(4 n))` of the standard deviation, `sqrt(p (1 - p)/n)` of a share, and of
        a quantile half the distance between the quantiles at one such error of its share either way (order
        statistics: H. A. David, H. N. Nagaraja, Order Statistics, 3rd ed. (2003), 7.1).

    Raises:
        OutOfRange: there are no runs.
    """
    if sums.runs == 0:
        raise OutOfRange("no chunk of the study was done", mend="let it run a little longer")
    n, timed = sums.runs, sums.timed
    mean, variance, fourth = _moments(sums)
    deviation = math.sqrt(variance)
    kurtosis = fourth / variance**2 if variance > 0.0 else 1.0
    joint = sums.passed[-1] / n
    surface = plan.surface
    return Found(
        runs=n,
        timed=timed / n,
        stalls=(sums.stands - timed) / n,
        falls=1.0 - sums.stands / n,
        mean=mean,
        mean_error=deviation / math.sqrt(timed) if timed else math.nan,
        deviation=deviation,
        deviation_error=deviation * math.sqrt(max(kurtosis - 1.0, 0.0) / (4.0 * timed))
        if timed
        else math.nan,
        least=sums.least if timed else math.nan,
        most=sums.most if timed else math.nan,
        ranks=tuple(_rank(sums, share) for share in QUANTILES) if timed else (),
        gates=tuple(_gate(sums, number) for number in range(len(GATES))),
        joint=joint,
        joint_error=_share_error(joint, n),
        joint_centred=sums.centred[-1] / n,
        full=sums.full / n,
        checked=None if surface is None else surface.checked,
        histogram=_coarse(sums),
    )


def _moments(sums: Sums) -> tuple[float, float, float]:
    """Return mean, variance and fourth central moment of the times."""
    n = sums.timed
    if n < 2:
        return (math.nan, math.nan, math.nan) if n == 0 else (sums.scale.centre[0] + sums.powers[0], 0.0, 0.0)
    a, b, c, d = (power / n for power in sums.powers)
    second = max(0.0, b - a * a)
    fourth = d - 4.0 * a * c + 6.0 * a * a * b - 3.0 * a**4
    return sums.scale.centre[0] + a, second * n / (n - 1), fourth


def _share_error(share: float, n: int) -> float:
    return math.sqrt(share * (1.0 - share) / n)


def _rank(sums: Sums, share: float) -> Rank:
    error = _share_error(share, sums.timed)
    half = 0.5 * (at_rank(sums, share + error) - at_rank(sums, share - error))
    return Rank(share=share, time=at_rank(sums, share), error=half)


def _gate(sums: Sums, number: int) -> Gate:
    first, second = np.array(sums.first), np.array(sums.second).reshape(4, 4)
    read = sums.read
    place = number + 1
    mean = deviation = correlation = math.nan
    if read > 1:
        means = first / read
        spread = (second / read - np.outer(means, means)) * (read / (read - 1))
        mean = sums.scale.centre[place] + float(means[place])
        deviation = math.sqrt(max(0.0, float(spread[place, place])))
        both = math.sqrt(max(0.0, float(spread[0, 0]))) * deviation
        correlation = float(spread[0, place]) / both if both > 0.0 else math.nan
    inside = sums.passed[number] / sums.runs
    total_in, count_in = sums.time_passed[number], sums.time_passed[len(GATES) + number]
    count_out = sums.timed - count_in
    gain = (
        (sums.powers[0] - total_in) / count_out - total_in / count_in
        if count_in > 0.0 and count_out > 0.0
        else math.nan
    )
    return Gate(
        name=GATES[number],
        inside=inside,
        error=_share_error(inside, sums.runs),
        centred=sums.centred[number] / sums.runs,
        mean=mean,
        deviation=deviation,
        correlation=correlation,
        gain=gain,
    )


_BARS = 48


def _coarse(sums: Sums) -> tuple[tuple[float, ...], tuple[int, ...]]:
    """Return a histogram of about fifty bars between the times at 1 and 999 in 1000."""
    if sums.timed == 0:
        return (), ()
    low, high = at_rank(sums, 0.001), at_rank(sums, 0.999)
    counts = np.array(sums.counts[1:-1])
    width = (sums.scale.high - sums.scale.low) / len(counts)
    first = max(0, math.floor((low - sums.scale.low) / width))
    last = min(len(counts), math.ceil((high - sums.scale.low) / width))
    each = max(1, -(-(last - first) // _BARS))
    starts = range(first, max(last, first + 1), each)
    bars = tuple(int(counts[start : start + each].sum()) for start in starts)
    edges = tuple(sums.scale.low + width * (first + each * number) for number in range(len(bars) + 1))
    return edges, bars


def study(case: Case, *, runs: int, seed: int = 1) -> Found:
    """Return what a whole study finds, done here and now, chunk by chunk.

    Args:
        case: the car and the track.
        runs: how many bodies.
        seed: of the random numbers.

    Returns:
        The results; memory does not grow with the runs.

    Raises:
        OutOfRange: the number of runs or the seed is not a possible one.
        CarCannotRest: hardly any of the bodies stand as the car does and reach the finish.
    """
    plan = plan_of(case, runs=runs, seed=seed)
    sums = nothing(plan.scale)
    for chunk in range(chunks(runs)):
        sums += chunk_sums(case, plan, chunk)
    return found_of(sums, plan)
