"""What a matched set is worth, how well that is known, and which other set would do as well."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Station
from rollwright.geometry.stance import Stance
from rollwright.run.once import run_many
from rollwright.setup.parts_match import Match, Task, best_sets
from rollwright.setup.parts_price import STATIONS, Likely, Priced, variance_of

__all__ = [
    "TOLD",
    "CostAt",
    "Left",
    "Rival",
    "costs_by_part",
    "left_open",
    "names_of",
    "retimed",
    "rivals_of",
    "sits",
    "spread_of_sets",
]

Array = NDArray[np.float64]

TOLD = 1.645
"""Standard uncertainties above zero from which on two sets are told apart: 95 %, one-sided."""

_NAMED = 5
_MOST = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class CostAt:
    """What one part costs against the average of those that may go on the car.

    Attributes:
        cost: mean over the stations whose wheels carry the car [s]; below zero: faster.
        uncertainty: standard uncertainty of that [s].
        at: by station [s].
    """

    cost: float
    uncertainty: float
    at: Mapping[Station, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """A reading of one part that leaves the worth of the set open.

    Attributes:
        part: name of the wheel or pin; empty where it is one thing common to all wheels.
        what: such as `friction` or `diameter`.
        share: of the variance of the worth [1].
    """

    part: str
    what: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """The best set without one of the wheels that the car would roll on.

    Attributes:
        wheel: the wheel that is kept off the wheels that carry.
        station: where it sits in the best set.
        fitted: name of wheel and pin at each station of the other set.
        behind: how much slower that is [s].
        uncertainty: standard uncertainty of it [s].
        told_apart: whether it is slower with 95 %.
    """

    wheel: str
    station: Station
    fitted: Mapping[Station, tuple[str, str]]
    behind: float
    uncertainty: float
    told_apart: bool


def names_of(match: Match, wheels: Likely, axles: Likely) -> dict[Station, tuple[str, str]]:
    """Return the names of the wheel and the pin at each station."""
    return {
        station: (wheels.names[wheel], axles.names[axle])
        for station, wheel, axle in zip(STATIONS, match.wheels, match.axles, strict=True)
    }


def sits(match: Match, count: int, *, of: str) -> Array:
    """Return ones where a part sits, (stations, parts)."""
    places = np.zeros((len(STATIONS), count))
    places[np.arange(len(STATIONS)), list(match.wheels if of == "wheels" else match.axles)] = 1.0
    return places


def spread_of_sets(
    priced: Priced, wheels: Likely, axles: Likely, wheel_weights: Array, axle_weights: Array
) -> tuple[float, Mapping[tuple[str, str], float]]:
    """Return the variance of a weighted sum of all parts' costs [s2], and what each reading adds to it."""
    first, shares = variance_of(wheels, priced.wheel_prices, wheel_weights)
    second, others = variance_of(axles, priced.axle_prices, axle_weights)
    return first + second, {**shares, **others}


def left_open(variance: float, shares: Mapping[tuple[str, str], float]) -> tuple[Left, ...]:
    """Return what leaves a worth open, the greatest share of its variance first."""
    if variance <= 0.0:
        return ()
    ranked = sorted(shares.items(), key=lambda each: -each[1])
    return tuple(
        Left(part=part, what=what, share=share / variance)
        for (part, what), share in ranked[:_NAMED]
        if share > 0.0
    )


def costs_by_part(
    likely: Likely, prices: Mapping[str, Array], costs: Array, before: Stance
) -> dict[str, CostAt]:
    """Return what each part costs, over the stations whose wheels carry the car, with its uncertainty."""
    carrying = np.array([station in before.carrying for station in STATIONS], dtype=np.float64)
    found = {}
    for index, name in enumerate(likely.names):
        weights = np.zeros(costs.shape)
        weights -= carrying[:, None] / carrying.sum() / len(likely.names)
        weights[:, index] += carrying / carrying.sum()
        variance, _ = variance_of(likely, prices, weights)
        found[name] = CostAt(
            cost=float(carrying @ costs[:, index] / carrying.sum()),
            uncertainty=math.sqrt(variance),
            at={station: float(costs[row, index]) for row, station in enumerate(STATIONS)},
        )
    return found


def retimed(priced: Priced, wheels: Likely, axles: Likely, match: Match, average_axles: Array) -> float:
    """Return how much faster the set runs than the average one, both timed.

    A wheel's own friction is put in by the arm that friction acts on, the shank, and the hole lifted by what
    the car would sink for it; the bore stays, so that the hub rubs as it does.
    """
    varied: dict[str, Array] = {}
    common = priced.losses.bearing_friction.value
    for row, station in enumerate(STATIONS):
        wheel, axle = match.wheels[row], match.axles[row]
        rows = {
            name: np.array([float(wheels.values[name].mean()), float(wheels.values[name][wheel])])
            for name in ("diameter", "bore", "mass", "inertia", "friction")
        }
        pins = {
            name: np.array([float(average_axles[row] @ axles.values[name]), float(axles.values[name][axle])])
            for name in ("shank", "mass")
        }
        scaled = pins["shank"] * (rows["friction"] / common if common > 0.0 else 1.0)
        height = priced.car.corners[station].hole_height.value
        at = station.value
        varied |= {
            f"{at}.diameter": rows["diameter"],
            f"{at}.bore": rows["bore"],
            f"{at}.wheel_mass": rows["mass"],
            f"{at}.wheel_inertia": rows["inertia"],
            f"{at}.axle_mass": pins["mass"],
            f"{at}.shank": scaled,
            f"{at}.hole_height": height + 0.5 * (scaled - pins["shank"]),
        }
    times = run_many(priced.car, priced.track, varied, losses=priced.losses).finish_time
    return float(times[0] - times[1])


def rivals_of(
    match: Match, task: Task, priced: Priced, wheels: Likely, axles: Likely, carrying: Mapping[Station, bool]
) -> tuple[Rival, ...]:
    """Return, for each wheel that the car would roll on, the best set that does without it there.

    Args:
        match: the best set.
        task: what it was matched by.
        priced: prices.
        wheels: the wheels.
        axles: the pins.
        carrying: whether a station's wheel carries the car.

    Returns:
        The other sets, in the order of the stations; none for a wheel that cannot be done without, or where
        the best other set is not proven in time.
    """
    found = []
    rows = [row for row, station in enumerate(STATIONS) if carrying[station]]
    for row in rows:
        barred = task.wheels.copy()
        barred[rows, match.wheels[row]] = math.inf
        others = best_sets(replace(task, wheels=barred), most=_MOST)
        if not (others.found and others.exact):
            continue
        other = others.found[0]
        variance, _ = spread_of_sets(
            priced,
            wheels,
            axles,
            sits(other, len(wheels.names), of="wheels") - sits(match, len(wheels.names), of="wheels"),
            sits(other, len(axles.names), of="axles") - sits(match, len(axles.names), of="axles"),
        )
        behind, spread = other.cost - match.cost, math.sqrt(variance)
        found.append(
            Rival(
                wheel=wheels.names[match.wheels[row]],
                station=STATIONS[row],
                fitted=names_of(other, wheels, axles),
                behind=behind,
                uncertainty=spread,
                told_apart=behind > TOLD * spread,
            )
        )
    return tuple(found)
