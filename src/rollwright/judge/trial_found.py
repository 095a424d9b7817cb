"""What a trial says, as data."""

from __future__ import annotations

from dataclasses import dataclass

from rollwright.judge.trial_model import TermTest
from rollwright.judge.trial_robust import Ranked

__all__ = ["Drift", "Effect", "Found", "Lane", "Outlier", "Standing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One car or set-up against another.

    Attributes:
        a: the one.
        b: the other.
        difference: time of `a` less time of `b` [s]; positive: `b` is faster; negative: `a` is faster.
        error: its standard error [s].
        freedom: degrees of freedom of that.
        low: lower end of the two-sided interval [s].
        high: upper end [s].
        family: how far either side the interval reaches if all pairs are to be right at once [s].
        always: how far either side it reaches if one may look after every run, at all pairs at once [s].
        confidence: of each of these intervals.
        probability_faster: probability that `b` is faster.
        sure_of: the faster is at least so much faster with that confidence [s]; negative if that is not sure.
        chance: probability of such a difference or a larger one, either way, if there is none.
        single_run: how often one run of `b` beats one run of `a`.
        runs: runs of `a` and of `b`.
        verdict: of `b`: `faster`, `slower`, `same` (no difference that matters) or `unclear`.
        more: further runs of each that would settle it if the difference stays as found; 0 if it is settled.
        ranks: the second opinion by ranks; None with too few runs.
        without_outliers: the difference without the runs that lie far out [s]; None where there are none.
    """

    a: str
    b: str
    difference: float
    error: float
    freedom: float
    low: float
    high: float
    family: float
    always: float
    confidence: float
    probability_faster: float
    sure_of: float
    chance: float
    single_run: float
    runs: tuple[int, int]
    verdict: str
    more: int
    ranks: Ranked | None
    without_outliers: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """What a lane does.

    Attributes:
        name: of the lane.
        effect: time in it less the mean of all lanes [s]; positive: it is slow.
        low: lower end of its interval [s].
        high: upper end [s].
        runs: in it.
    """

    name: str
    effect: float
    low: float
    high: float
    runs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One car or set-up among all.

    Attributes:
        name: what it is called.
        effect: its time less the mean of all [s]; positive: slower than most.
        low: lower end of its interval [s].
        high: upper end [s].
        runs: of it.
        mean: plain mean of its times [s].
        noise: standard deviation of one run of it [s]; nan with fewer than three runs.
    """

    name: str
    effect: float
    low: float
    high: float
    runs: int
    mean: float
    noise: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How the track changes while it is run on.

    Attributes:
        over: by how much the times rise from the first to the last run [s]; positive: it gets slower.
        low: lower end of its interval [s].
        high: upper end [s].
    """

    over: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A run that lies far out; it is counted like any other.

    Attributes:
        row: of the file.
        configuration: what ran.
        residual: time less what is expected of it [s].
    """

    row: int
    configuration: str
    residual: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a trial says.

    Attributes:
        method: `blocks`, `mixed` or `plain`; see `trial_choice`.
        runs: how many were counted.
        heats: how many heats they are in; 0 if none are told.
        effects: the comparisons that were asked for.
        standings: every car or set-up.
        lanes: what each lane does; empty if lanes are not told or cannot be told apart.
        drift: how the track changes; None if no order is told.
        noise: standard deviation of one run [s].
        heat_noise: standard deviation between heats [s], beyond that; None if not told.
        terms: whether each thing mattered at all.
        friedman: chi squared and probability over three cars or more, by ranks within heats; or None.
        outliers: runs that lie far out, the farthest first.
        runs_needed: of each car, to find a difference that matters at the noise of this trial.
        dots: each run's time less lane, heat and drift, in relation to the mean of the cars [s].
        codes: number of each run's place in `standings`.
        cautions: what cannot be told from a change of the car.
    """

    method: str
    runs: int
    heats: int
    effects: tuple[Effect, ...]
    standings: tuple[Standing, ...]
    lanes: tuple[Lane, ...]
    drift: Drift | None
    noise: float
    heat_noise: float | None
    terms: tuple[TermTest, ...]
    friedman: tuple[float, float] | None
    outliers: tuple[Outlier, ...]
    runs_needed: int
    dots: tuple[float, ...]
    codes: tuple[int, ...]
    cautions: tuple[str, ...]
