"""What is timed to find what brakes: a wheel that spins down, a car that coasts, runs down a track."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from statistics import fmean

from rollwright.car.model import Car, Station
from rollwright.errors import OutOfRange
from rollwright.quantity import Quantity, Source
from rollwright.run.track import Track

__all__ = ["FALL", "SPIN_TERMS", "CoastDown", "SpinDown", "TimedRun", "pooled_scatter", "with_scatter"]

SPIN_TERMS = ("linear", "quadratic")
"""What may slow a wheel down beside the constant part: grease or drag that grows with the speed, and air."""

FALL = Quantity(value=0.0, uncertainty=0.3e-3, source=Source.ASSUMED, label="fall")
"""How much a floor falls over each metre where nobody has measured it [1] (judgement: a good floor)."""

_FEWEST_REPEATS = 3


def _check_times(times: Sequence[float], *, also: Sequence[float], what: str) -> None:
    if len(times) != len(also):
        raise OutOfRange(
            f"{len(times)} times stand beside {len(also)} {what}",
            mend=f"write one of the {what} for each time",
        )
    if len(times) < 2:
        raise OutOfRange(
            f"{len(times)} time{'' if len(times) == 1 else 's'} cannot show how it slows down",
            mend="take two or more, better five",
            key="times",
        )
    for before, after in pairwise(times):
        if not before < after:
            raise OutOfRange(
                f"{after:g} s comes after {before:g} s", mend="write the times in order", key="times"
            )


def _check_one(time_uncertainty: float | None, speed_uncertainty: float | None) -> None:
    if (time_uncertainty is None) == (speed_uncertainty is None):
        both = time_uncertainty is not None
        raise OutOfRange(
            "both a time_uncertainty and a speed_uncertainty are given"
            if both
            else "nothing says how well it was read",
            mend="write time_uncertainty where you read when a speed is passed, speed_uncertainty where you "
            "read the speed at set times",
        )
    for name, value in (("time_uncertainty", time_uncertainty), ("speed_uncertainty", speed_uncertainty)):
        if value is not None and not 0.0 < value < math.inf:
            raise OutOfRange(
                f"an uncertainty of {value:g} is not more than 0",
                mend="write how far off it may be",
                key=name,
            )


def _check_falling(speeds: Sequence[float], *, strictly: bool) -> None:
    for before, after in pairwise(speeds):
        if strictly and not before > after:
            raise OutOfRange(
                f"a speed of {after:g} comes after {before:g}, and nothing drives it",
                mend="write the speeds from the fastest to the slowest",
                key="speeds",
            )
    if speeds and not (speeds[0] > 0.0 and speeds[0] > speeds[-1] and min(speeds) >= 0.0):
        raise OutOfRange(
            f"from {speeds[0]:g} to {speeds[-1]:g} nothing slows down",
            mend="write speeds that fall, none below 0",
            key="speeds",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SpinDown:
    """A wheel that spins down on its level pin, off the ground, under its own weight.

    Attributes:
        car: the car that it belongs to.
        station: where it is fitted.
        times: when each speed was passed or read [s].
        speeds: what it turned at then [rad/s].
        time_uncertainty: standard uncertainty of each time where the speeds are set [s], or None.
        speed_uncertainty: of each speed where the times are set [rad/s], or None.
        terms: which of `SPIN_TERMS` may slow it down beside the constant part.
        name: what messages call it.

    Raises:
        OutOfRange: the readings make no sense, or are too few for the terms.
    """

    car: Car
    station: Station
    times: tuple[float, ...]
    speeds: tuple[float, ...]
    time_uncertainty: float | None = None
    speed_uncertainty: float | None = None
    terms: tuple[str, ...] = SPIN_TERMS
    name: str = "spin-down"

    def __post_init__(self) -> None:
        """Refuse readings that no wheel could give."""
        _check_times(self.times, also=self.speeds, what="speeds")
        _check_one(self.time_uncertainty, self.speed_uncertainty)
        _check_falling(self.speeds, strictly=self.time_uncertainty is not None)
        if len(self.times) < 2 + len(self.terms):
            raise OutOfRange(
                f"{len(self.times)} readings cannot tell a constant part and {len(self.terms)} more",
                mend="take more readings, or leave terms out: terms = []",
                key="times",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class CoastDown:
    """A car that coasts on the flat until it is slow.

    Attributes:
        car: the car.
        track: for its air, and for the losses that are not fitted.
        times: when each line was passed, or each speed read [s].
        distances: of the lines [m], from any one point; empty where speeds were read.
        speeds: what it ran at [m/s]; empty where lines were passed.
        time_uncertainty: standard uncertainty of each time [s], or None.
        speed_uncertainty: of each speed [m/s], or None.
        fall: how much the floor falls over each metre in the direction of the run [1]; positive: downhill,
            negative: uphill.
        floor: name of the floor; coast-downs on one floor share what is not known of its fall.
        back: whether it ran the other way than the first, so that what is not known of the fall turns round.
        on_rail: whether the rail held the car, as on a track; without one neither rail nor scrub brakes.
        name: what messages call it.

    Raises:
        OutOfRange: the readings make no sense.
    """

    car: Car
    track: Track
    times: tuple[float, ...]
    distances: tuple[float, ...] = ()
    speeds: tuple[float, ...] = ()
    time_uncertainty: float | None = None
    speed_uncertainty: float | None = None
    fall: Quantity = FALL
    floor: str = "floor"
    back: bool = False
    on_rail: bool = True
    name: str = "coast-down"

    def __post_init__(self) -> None:
        """Refuse readings that no car could give."""
        if bool(self.distances) == bool(self.speeds):
            raise OutOfRange(
                "both distances and speeds are given"
                if self.speeds
                else "neither distances nor speeds are given",
                mend="write the distances of the lines, or the speeds",
            )
        what, also = ("distances", self.distances) if self.distances else ("speeds", self.speeds)
        _check_times(self.times, also=also, what=what)
        _check_one(self.time_uncertainty, self.speed_uncertainty)
        if self.distances and self.time_uncertainty is None:
            raise OutOfRange(
                "lines are passed at times, so it is the times that are uncertain",
                mend="write time_uncertainty",
                key="speed_uncertainty",
            )
        if len(self.times) < 3:
            raise OutOfRange(
                f"{len(self.times)} readings cannot show how it slows down",
                mend="take three or more",
                key="times",
            )
        for before, after in pairwise(self.distances):
            if not before < after:
                raise OutOfRange(
                    f"a line at {after:g} m comes after one at {before:g} m",
                    mend="write the lines in the order in which they were passed",
                    key="distances",
                )
        _check_falling(self.speeds, strictly=self.time_uncertainty is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedRun:
    """One car on one lane, timed once or several times.

    Attributes:
        car: the car.
        track: the track.
        lane: name of the lane; empty for the track as it is.
        times: from the gate to the finish [s].
        splits: times from the gate to timing points of the track [s], by the points' names.
        uncertainty: standard uncertainty of a single time, from run to run and from the timer [s]; None: to
            be judged from the repeats.
        timer: standard uncertainty of what all times of this track have in common, as a gate that starts
            the timer late [s].
        name: what messages call it.

    Raises:
        OutOfRange: a time is not a possible one.
        MissingReference: there is no such lane.
    """

    car: Car
    track: Track
    lane: str = ""
    times: tuple[float, ...] = ()
    splits: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    uncertainty: float | None = None
    timer: float = 0.0
    name: str = "timed run"

    def __post_init__(self) -> None:
        """Refuse times that no car could have, and timing points that are not there."""
        if self.lane:
            self.track.on_lane(self.lane)
        known = dict(self.track.splits)
        for split in self.splits:
            if split not in known:
                raise OutOfRange(
                    f"the track has no timing point {split!r}",
                    mend=f"write one of {', '.join(known)}" if known else "write [splits] in the track file",
                    key="splits",
                )
        lines = {"times": self.times, **{f"splits.{name}": each for name, each in self.splits.items()}}
        if not any(lines.values()):
            raise OutOfRange("there is no time", mend="write times = [...]", key="times")
        for key, each in lines.items():
            for time in each:
                if not 0.0 < time < math.inf:
                    raise OutOfRange(
                        f"a time of {time:g} s cannot be", mend="write seconds, more than 0", key=key
                    )
        if self.uncertainty is not None and not 0.0 < self.uncertainty < math.inf:
            raise OutOfRange(
                f"an uncertainty of {self.uncertainty:g} s is not more than 0",
                mend="write how far off a single time may be",
                key="uncertainty",
            )

    @property
    def lines(self) -> tuple[tuple[str, tuple[float, ...]], ...]:
        """Timing points and their repeats; the finish has an empty name."""
        found = [(name, each) for name, each in self.splits.items() if each]
        return (*found, *((("", self.times),) if self.times else ()))


def pooled_scatter(runs: Iterable[TimedRun]) -> tuple[float, int]:
    """Return the standard deviation of single times, judged from all repeats together.

    Args:
        runs: the runs.

    Returns:
        The pooled standard deviation [s] and its degrees of freedom (JCGM 100:2008, H.5.2.2, the pooled
        estimate of groups); only runs that do not say their uncertainty count.
    """
    squares, dof = 0.0, 0
    for each in runs:
        if each.uncertainty is None:
            for _, times in each.lines:
                middle = fmean(times)
                squares += math.fsum((time - middle) ** 2 for time in times)
                dof += len(times) - 1
    return (math.sqrt(squares / dof) if dof else 0.0), dof


def with_scatter(runs: Sequence[TimedRun]) -> tuple[TimedRun, ...]:
    """Return timed runs that all say how well a single time is known.

    Args:
        runs: the runs.

    Returns:
        The same, the scatter of all repeats put where no uncertainty is given. It is widened by
        `sqrt(v / (v - 2))`, the standard deviation of Student's t with its v degrees of freedom.

    Raises:
        OutOfRange: the repeats are too few to say, or all alike.
    """
    if all(each.uncertainty is not None for each in runs):
        return tuple(runs)
    scatter, dof = pooled_scatter(runs)
    first = next(each for each in runs if each.uncertainty is None)
    if dof < _FEWEST_REPEATS:
        raise OutOfRange(
            "the repeats are too few to show how well times repeat",
            mend="write uncertainty, or time four runs or more of one car on one lane",
            key=first.name,
        )
    if scatter == 0.0:
        raise OutOfRange(
            "all repeats are alike, so they do not show how well times repeat",
            mend="write uncertainty",
            key=first.name,
        )
    widened = scatter * math.sqrt(dof / (dof - 2))
    return tuple(replace(each, uncertainty=widened) if each.uncertainty is None else each for each in runs)
