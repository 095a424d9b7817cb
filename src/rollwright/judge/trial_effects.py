"""Did the change help: by how much, how sure, and what lanes, heats and the day did."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from rollwright.errors import OutOfRange, echo
from rollwright.judge.trial import Times, check_risk, labels
from rollwright.judge.trial_choice import Chosen, choose, noise_between
from rollwright.judge.trial_found import Drift, Effect, Found, Lane, Outlier, Standing
from rollwright.judge.trial_mixed import Mixed
from rollwright.judge.trial_model import Contrast, least_squares, term_tests
from rollwright.judge.trial_peek import always_valid_half_width
from rollwright.judge.trial_robust import Ranked, by_heats, by_runs, friedman, steady_beta
from rollwright.judge.trial_size import exact_runs

__all__ = ["analyse"]

Array = NDArray[np.float64]

_FAR = 3.5
_FEWEST_FOR_OUTLIERS = 8
_MOST_LEFT_OUT = 0.1
_MANY = 20_000
"""Of so many runs a few odd ones sway nothing."""


def _reach(freedom: float, tail: float) -> float:
    from scipy.special import stdtrit  # noqa: PLC0415 - slow to load

    return -float(stdtrit(freedom, tail))


def analyse(
    times: Times,
    *,
    pairs: Sequence[tuple[str, str]] = (),
    risk: float = 0.1,
    matters: float = 1e-3,
    peek: bool = False,
) -> Found:
    """Return what a trial says about a change.

    Args:
        times: the times.
        pairs: which two to compare, each time the one before and the one after; left out, all pairs.
        risk: probability that an interval misses the true difference, 0.001 to 0.5.
        matters: the smallest difference that matters [s], positive.
        peek: whether the verdicts are to hold although one looks after every heat.

    Returns:
        The effects and all that goes with them.

    Raises:
        OutOfRange: there are not two to compare, nothing is left to judge the scatter by, a pair is not
            among them, or the risk or the difference is none.
    """
    check_risk(risk)
    if not 0.0 < matters < math.inf:
        raise OutOfRange(
            f"a difference of {1e3 * matters:g} ms cannot matter",
            mend='give a positive one, as in "1 ms"',
            key="matters",
        )
    names = labels(times.configurations)
    if len(names) < 2:
        raise OutOfRange(
            f"{'nothing' if not names else echo(names[0]) + ' alone'} cannot be compared",
            mend="time at least two cars or set-ups, each with a name of its own",
            key="configurations",
        )
    pairs = tuple(pairs) or tuple(combinations(names, 2))
    for name in (name for pair in pairs for name in pair):
        if name not in names:
            raise OutOfRange(
                f"{echo(name)} is not among them",
                mend=f"choose from {', '.join(echo(each) for each in names[:6])}",
                key="pairs",
            )
    chosen = choose(times, pairs)
    far = _outliers(times, chosen)
    clean = _without(times, pairs, far) if far else {}
    aligned = _steady(chosen)
    effects = tuple(
        _effect(chosen, aligned, pair, risk, matters, peek=peek, of=len(pairs), without=clean.get(pair))
        for pair in pairs
    )
    standings = _standings(chosen, risk)
    codes = tuple(int(code) for code in chosen.codes)
    places = np.array([standing.effect for standing in standings])
    dots = chosen.fitted.residuals + np.nan_to_num(places)[chosen.codes]
    first = chosen.contrast("configuration", _levels(chosen, *pairs[0]))
    return Found(
        method=chosen.method,
        runs=len(times.times),
        heats=0 if chosen.heats is None else int(chosen.heats.max()) + 1,
        effects=effects,
        standings=standings,
        lanes=_lanes(times, chosen, risk),
        drift=_drift(chosen, risk),
        noise=chosen.fitted.noise,
        heat_noise=noise_between(chosen),
        terms=term_tests(chosen.times, chosen.terms, blocks=chosen.blocks),
        friedman=None if chosen.blocks is None else friedman(aligned, chosen.blocks, chosen.codes),
        outliers=far,
        runs_needed=_needed(chosen, first, pairs[0], matters, risk),
        dots=tuple(float(dot) for dot in dots),
        codes=codes,
        cautions=(*chosen.cautions, *_unsteady(standings)),
    )


def _levels(chosen: Chosen, a: str, b: str) -> Array:
    return np.array([float(name == a) - float(name == b) for name in chosen.configurations])


def _counts(chosen: Chosen, pair: tuple[str, str]) -> tuple[int, int]:
    a, b = (int(np.count_nonzero(chosen.codes == chosen.configurations.index(name))) for name in pair)
    return a, b


def _effect(
    chosen: Chosen,
    aligned: Array,
    pair: tuple[str, str],
    risk: float,
    matters: float,
    *,
    peek: bool,
    of: int,
    without: float | None,
) -> Effect:
    from scipy.special import ndtr, stdtr  # noqa: PLC0415 - slow to load

    found = chosen.contrast("configuration", _levels(chosen, *pair))
    if found is None:
        raise OutOfRange(
            f"{echo(pair[0])} and {echo(pair[1])} cannot be compared by these times",
            mend="let them run in the same heats, or time each at least twice",
            key="pairs",
        )
    value, error, freedom = found.value, found.error, found.freedom
    half = _reach(freedom, risk / 2.0) * error
    always = always_valid_half_width(error=error, freedom=freedom, unscaled=found.unscaled, risk=risk / of)
    told = always if peek else half
    counts = _counts(chosen, pair)
    verdict = "unclear"
    if abs(value) > told:
        verdict = "faster" if value > 0.0 else "slower"
    elif abs(value) + told < matters:
        verdict = "same"
    # Without any scatter there is nothing to divide by.
    ratio = value / error if error > 0.0 else math.copysign(math.inf, value) if value else 0.0
    return Effect(
        a=pair[0],
        b=pair[1],
        difference=value,
        error=error,
        freedom=freedom,
        low=value - half,
        high=value + half,
        family=_reach(freedom, risk / 2.0 / of) * error,
        always=always,
        confidence=1.0 - risk,
        probability_faster=float(stdtr(freedom, ratio)),
        sure_of=abs(value) - (always if peek else _reach(freedom, risk) * error),
        chance=min(1.0, 2.0 * float(stdtr(freedom, -abs(ratio)))),
        single_run=float(ndtr(value / (math.sqrt(2.0) * chosen.fitted.noise))) if error > 0.0 else 0.5,
        runs=counts,
        verdict=verdict,
        more=_more(found, counts, matters, risk, peek=peek) if verdict == "unclear" else 0,
        ranks=_ranked(chosen, aligned, pair),
        without_outliers=without,
    )


def _design_noise(found: Contrast, counts: tuple[int, int]) -> tuple[float, float]:
    """Return the noise that two plain samples would need for such an error, and their share of freedom."""
    each = 2.0 / (1.0 / counts[0] + 1.0 / counts[1])
    noise = found.error * math.sqrt(each / 2.0)
    return noise, min(1.0, found.freedom / max(1.0, 2.0 * (each - 1.0)))


def _needed(
    chosen: Chosen, found: Contrast | None, pair: tuple[str, str], matters: float, risk: float
) -> int:
    if found is None:
        return 0
    noise, share = _design_noise(found, _counts(chosen, pair))
    return _runs(matters, noise, risk, share)


def _runs(difference: float, noise: float, risk: float, share: float) -> int:
    try:
        found = exact_runs(
            difference=difference, noise=noise, false_alarm=risk, missed=risk, freedom_share=share
        )
    except OutOfRange:
        return 10_000_000
    return math.ceil(found - 1e-9)


def _more(found: Contrast, counts: tuple[int, int], matters: float, risk: float, *, peek: bool) -> int:
    """Return the further runs of each that would settle it if the difference stays as found."""
    each = 2.0 / (1.0 / counts[0] + 1.0 / counts[1])
    # Settled is a difference that shows, or one that surely does not matter: whichever comes first.
    target = max(abs(found.value), matters - abs(found.value))
    if not peek:
        noise, share = _design_noise(found, counts)
        return max(1, _runs(target, noise, risk, share) - round(each))

    def reaches(times: float) -> bool:
        return target > always_valid_half_width(
            error=found.error / math.sqrt(times),
            freedom=found.freedom * times,
            unscaled=found.unscaled / times,
            risk=risk,
        )

    low, high = 1.0, 2.0
    while not reaches(high) and high < 1e6:
        low, high = high, 2.0 * high
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return max(1, math.ceil(each * (high - 1.0)))


def _steady(chosen: Chosen) -> Array:
    """Return the times less lanes, drift and days, by an estimate of these that one odd run cannot sway."""
    if len(chosen.terms) == 1 or len(chosen.times) > _MANY:
        return chosen.aligned()
    return chosen.aligned(steady_beta(chosen.times, chosen.terms, blocks=chosen.blocks))


def _ranked(chosen: Chosen, aligned: Array, pair: tuple[str, str]) -> Ranked | None:
    first, second = (chosen.codes == chosen.configurations.index(name) for name in pair)
    if chosen.blocks is not None:
        return by_heats(aligned, chosen.blocks, first, second)
    if isinstance(chosen.fitted, Mixed) and chosen.heats is not None:
        # Runs of one heat go together, so that heats are what is exchanged.
        count = int(chosen.heats.max()) + 1
        means = []
        for one in (first, second):
            size = np.bincount(chosen.heats[one], minlength=count)
            sums = np.bincount(chosen.heats[one], weights=aligned[one], minlength=count)
            means.append(sums[size > 0] / size[size > 0])
        return by_runs(*means)
    return by_runs(aligned[first], aligned[second])


def _interval(found: Contrast | None, risk: float) -> tuple[float, float, float]:
    if found is None:
        return math.nan, math.nan, math.nan
    half = _reach(found.freedom, risk / 2.0) * found.error
    return found.value, found.value - half, found.value + half


def _standings(chosen: Chosen, risk: float) -> tuple[Standing, ...]:
    count = len(chosen.configurations)
    found = []
    for number, name in enumerate(chosen.configurations):
        ours = chosen.codes == number
        levels = np.full(count, -1.0 / count)
        levels[number] += 1.0
        effect, low, high = _interval(chosen.contrast("configuration", levels), risk)
        runs = int(np.count_nonzero(ours))
        left = chosen.fitted.freedom / len(chosen.times)
        scatter = float(np.sum((chosen.fitted.residuals[ours]) ** 2))
        found.append(
            Standing(
                name=name,
                effect=effect,
                low=low,
                high=high,
                runs=runs,
                mean=float(np.mean(chosen.times[ours])),
                noise=math.sqrt(scatter / (runs * left)) if runs > 2 and left > 0.0 else math.nan,
            )
        )
    return tuple(found)


def _lanes(times: Times, chosen: Chosen, risk: float) -> tuple[Lane, ...]:
    found = []
    for number, name in enumerate(chosen.lanes):
        levels = np.full(len(chosen.lanes), -1.0 / len(chosen.lanes))
        levels[number] += 1.0
        effect, low, high = _interval(chosen.contrast("lane", levels), risk)
        found.append(Lane(name=name, effect=effect, low=low, high=high, runs=times.lanes.count(name)))
    return tuple(found)


def _drift(chosen: Chosen, risk: float) -> Drift | None:
    if "drift" in chosen.terms:
        column = chosen.terms["drift"][:, 0]
        found = chosen.contrast("drift", np.array([float(np.ptp(column))]))
    elif chosen.blocks is not None:
        # Blocks hold the drift; it is read off their own means.
        count = int(chosen.blocks.max()) + 1
        place = chosen.terms["configuration"] @ chosen.fitted.beta[: len(chosen.configurations)]
        sums = np.bincount(chosen.blocks, weights=chosen.aligned() - place, minlength=count)
        means: Array = sums / np.bincount(chosen.blocks, minlength=count)
        if count < 4:
            return None
        line = least_squares(means, {"drift": np.linspace(0.0, 1.0, count)[:, None]})
        found = line.contrast(np.ones(1))
    else:
        return None
    over, low, high = _interval(found, risk)
    return None if found is None else Drift(over=over, low=low, high=high)


def _outliers(times: Times, chosen: Chosen) -> tuple[Outlier, ...]:
    from scipy.special import ndtri  # noqa: PLC0415 - slow to load

    residuals = chosen.fitted.residuals
    runs = len(residuals)
    if runs < _FEWEST_FOR_OUTLIERS or chosen.fitted.freedom < 4:
        return ()
    # The middle half of a normal distribution reaches 0.6745 of its standard deviation either way.
    scale = float(np.median(np.abs(residuals))) / 0.6745 * math.sqrt(runs / chosen.fitted.freedom)
    limit = max(_FAR, -float(ndtri(0.005 / runs))) * max(scale, 1e-9)
    far = sorted(np.flatnonzero(np.abs(residuals) > limit), key=lambda at: -abs(float(residuals[at])))
    return tuple(
        Outlier(row=times.rows[at], configuration=times.configurations[at], residual=float(residuals[at]))
        for at in far
    )


def _without(
    times: Times, pairs: Sequence[tuple[str, str]], far: Sequence[Outlier]
) -> dict[tuple[str, str], float]:
    """Return the differences without the runs that lie far out."""
    rows = {outlier.row for outlier in far}
    if len(rows) > max(1.0, _MOST_LEFT_OUT * len(times.times)):
        return {}
    rest = times.kept([at for at, row in enumerate(times.rows) if row not in rows])
    try:
        chosen = choose(rest, pairs)
    except (OutOfRange, ValueError):
        return {}
    found = {pair: chosen.contrast("configuration", _levels(chosen, *pair)) for pair in pairs}
    return {pair: each.value for pair, each in found.items() if each is not None}


def _unsteady(standings: Sequence[Standing]) -> tuple[str, ...]:
    known = [each for each in standings if each.runs >= 6 and math.isfinite(each.noise) and each.noise > 0.0]
    if len(known) < 2:
        return ()
    most, least = (pick(known, key=lambda each: each.noise) for pick in (max, min))
    if most.noise < 2.5 * least.noise:
        return ()
    return (f"{most.name} is far less steady than {least.name}, which the intervals do not know",)
