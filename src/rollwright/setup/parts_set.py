"""A matched set: which wheels and pins of a box go on a car, and what that is worth."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Axle, Car, Station, Wheel
from rollwright.errors import CarCannotRest, OutOfRange
from rollwright.geometry.stance import Stance, stance
from rollwright.judge.class_rules import ClassRules, Limit, Rule
from rollwright.judge.parts import LIMITS, Check, clearance_of
from rollwright.judge.verdict import CONFIDENCE, conformity
from rollwright.quantity import Quantity
from rollwright.run.losses import losses_of
from rollwright.run.track import Track
from rollwright.setup.parts import Graded
from rollwright.setup.parts_match import Match, Matches, Task, assigned, best_sets
from rollwright.setup.parts_price import (
    STATIONS,
    Likely,
    Priced,
    costs_of,
    level_of,
    likely_axles,
    likely_wheels,
    price,
)
from rollwright.setup.parts_worth import (
    TOLD,
    CostAt,
    Left,
    Rival,
    costs_by_part,
    left_open,
    names_of,
    retimed,
    rivals_of,
    sits,
    spread_of_sets,
)

__all__ = ["CostAt", "Left", "MatchedSet", "Rival", "fitted_car", "matched_set"]

Array = NDArray[np.float64]

_LOOKED_AT = 8
_BENT = math.radians(0.5)
"""From where on a pin counts as bent on purpose (judgement: a straight pin is never quite straight)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MatchedSet:
    """Which parts go where.

    Attributes:
        fitted: name of wheel and pin at each station.
        to_be_bent: stations whose straight pin has to be bent first.
        worth: how much faster it is than the average set [s]: two runs, one with each.
        by_prices: the same by prices alone [s], which the choice was made by.
        uncertainty: standard uncertainty of both [s].
        told_apart: whether it is better than the average set with 95 %.
        rivals: the best sets that do without one of the wheels it rolls on.
        worst_behind: how much the worst set is behind the average one [s].
        wheel_costs: of the wheels that may go on the car.
        axle_costs: of the pins.
        left_out: names of parts that may not go on it, `wheels.` or `axles.` first, with the reason.
        left: what leaves the worth open, most first.
        exact: whether no other set is better by the prices, proven.
        bound: how much better by the prices another could be at most [s]; 0 where it is proven.
        by_assignment: whether assignment alone settled it.
        time: of the average set [s].
        before: stance of the car as its file has it.
        after: stance with the set, its bent pins as they are.
        car: the car with the set.
    """

    fitted: Mapping[Station, tuple[str, str]]
    to_be_bent: tuple[Station, ...]
    worth: float
    by_prices: float
    uncertainty: float
    told_apart: bool
    rivals: tuple[Rival, ...]
    worst_behind: float
    wheel_costs: Mapping[str, CostAt]
    axle_costs: Mapping[str, CostAt]
    left_out: Mapping[str, str]
    left: tuple[Left, ...]
    exact: bool
    bound: float
    by_assignment: bool
    time: float
    before: Stance
    after: Stance
    car: Car


def matched_set(
    car: Car, track: Track, graded: Graded, *, rules: ClassRules | None = None, lane: str = ""
) -> MatchedSet:
    """Return which wheels and pins of a box go on a car, and where.

    Args:
        car: the car; its bent pins stay bent as they are, its other parts make room.
        track: the track.
        graded: the box with its grades; what fails a check stays in it.
        rules: of the class, whose wheel diameter each wheel must keep with 95 %; None asks nothing.
        lane: name of a lane; empty takes the track as it is.

    Returns:
        The set that costs least, so that the car stays level within its target, or no further out than
        it is, and as level from side to side within the same tolerance.

    Raises:
        OutOfRange: too few parts are fit, no set keeps the car level, or the car stalls.
        MissingReference: there is no such lane.
        CarCannotRest: the car cannot stand.
    """
    track = track.on_lane(lane) if lane else track
    before = stance(car)
    wheels, axles, left_out = _candidates(graded, rules)
    likely = likely_wheels(
        [graded.box.wheels[name] for name in wheels],
        frictions=graded.frictions,
        friction=losses_of(track.losses).bearing_friction,
    )
    pins = likely_axles([graded.box.axles[name] for name in axles], mass=car.axle_at(Station.REAR_LEFT).mass)
    priced = price(car, track, wheels=likely, axles=pins)
    task = _task(car, graded, likely, pins, priced, before)
    found = best_sets(task, count_wanted=_LOOKED_AT)
    if not found.found:
        problem, mend = _no_way(task, exact=found.exact)
        raise OutOfRange(problem, mend=mend)
    match, changed, after = _first_standing(car, graded, found, likely, pins, before)
    return _told(car, graded, likely, pins, priced, task, found, match, changed, (before, after), left_out)


def _candidates(graded: Graded, rules: ClassRules | None) -> tuple[list[str], list[str], dict[str, str]]:
    """Return the wheels and pins that may go on the car, and why the others may not."""
    limit = None if rules is None else rules.rules.get(Rule.WHEEL_DIAMETER)
    left_out = {}
    wheels = []
    for name, wheel in graded.box.wheels.items():
        if f"wheels.{name}" not in graded.fit:
            left_out[f"wheels.{name}"] = "a failed check"
        elif isinstance(limit, Limit) and (
            conformity(
                value=wheel.diameter.value,
                uncertainty=wheel.diameter.uncertainty,
                low=limit.least,
                high=limit.most,
            )
            < CONFIDENCE
        ):
            left_out[f"wheels.{name}"] = "the class's diameter, which is not surely kept"
        else:
            wheels.append(name)
    axles = []
    for name in graded.box.axles:
        if f"axles.{name}" in graded.fit:
            axles.append(name)
        else:
            left_out[f"axles.{name}"] = "a failed check"
    for group, parts in (("wheels", wheels), ("axles", axles)):
        if len(parts) < len(STATIONS):
            raise OutOfRange(
                f"{len(parts)} {group} that may go on the car are fewer than four",
                mend="put more into the box, or measure and true those that fail",
                key=group,
            )
    return wheels, axles, left_out


def _task(car: Car, graded: Graded, wheels: Likely, axles: Likely, priced: Priced, before: Stance) -> Task:
    box = graded.box
    pin_costs = costs_of(axles, priced.axle_prices)
    bent = np.array([box.axles[name].bend.value > _BENT for name in axles.names])
    for row, station in enumerate(STATIONS):
        wants_bent = car.axle_at(station).bend.value > _BENT
        if not wants_bent:
            pin_costs[row, bent] = math.inf
        elif bent.any():
            pin_costs[row, ~bent] = math.inf
    low, high = LIMITS[Check.CLEARANCE]
    goes_on = np.array(
        [
            [_goes(box.wheels[wheel].bore, box.axles[axle].shank, low, high) for axle in axles.names]
            for wheel in wheels.names
        ]
    )
    target = car.targets.height_difference
    off = level_of(before, car)
    bands = ((target.low, target.high), (-target.tolerance, target.tolerance))
    both = range(len(bands))
    return Task(
        wheels=costs_of(wheels, priced.wheel_prices),
        axles=pin_costs,
        goes_on=goes_on,
        wheel_shifts=np.stack(
            [costs_of(wheels, {name: at[band] for name, at in priced.wheel_levels.items()}) for band in both]
        ),
        axle_shifts=np.stack(
            [costs_of(axles, {name: at[band] for name, at in priced.axle_levels.items()}) for band in both]
        ),
        low=tuple(min(bands[band][0], off[band]) - priced.levels[band] for band in both),
        high=tuple(max(bands[band][1], off[band]) - priced.levels[band] for band in both),
    )


def _goes(bore: Quantity, shank: Quantity, low: float, high: float) -> bool:
    gap, spread = clearance_of(bore=bore, shank=shank)
    return gap > 0.0 and conformity(value=gap, uncertainty=spread, low=low, high=high) > 1.0 - CONFIDENCE


def _no_way(task: Task, *, exact: bool) -> tuple[str, str]:
    """Return why no set goes together, and the mend."""
    if not math.isfinite(assigned(task.axles)[0]):
        return (
            "there are too few straight or bent pins for the stations that want them",
            "put more into the box, or write their bend",
        )
    if not exact:
        return (
            "so few sets keep the car level that none was found in time",
            "set the car level first, or widen targets.height_difference",
        )
    level = replace(task, low=(), high=())
    if best_sets(level).found:
        return (
            "no set of these wheels keeps the car level",
            "set the car level first, widen targets.height_difference, or put wheels of other diameters in",
        )
    return (
        "no four wheels go on four pins with a clearance that is fit to race",
        "check bores and shanks, or put other pins into the box",
    )


def fitted_car(car: Car, graded: Graded, fitted: Mapping[Station, tuple[str, str]]) -> Car:
    """Return a car with parts of a box fitted.

    Args:
        car: the car.
        graded: the box.
        fitted: name of wheel and pin at each station.

    Returns:
        The car; what was not measured of a part stays as it was at that station. A straight pin at a station
        whose pin is bent is bent alike.
    """
    wheels, axles, corners = {}, {}, {}
    for station, (wheel_name, axle_name) in fitted.items():
        old_wheel, old_axle = car.wheel_at(station), car.axle_at(station)
        wheel, axle = graded.box.wheels[wheel_name], graded.box.axles[axle_name]
        wheels[wheel_name] = Wheel(
            diameter=wheel.diameter,
            tread_width=wheel.tread_width or old_wheel.tread_width,
            hub_projection=wheel.hub_projection or old_wheel.hub_projection,
            bore=wheel.bore,
            mass=wheel.mass,
            inertia=wheel.inertia,
        )
        to_bend = old_axle.bend.value > _BENT >= axle.bend.value
        axles[axle_name] = Axle(
            shank=axle.shank,
            bend=old_axle.bend if to_bend else axle.bend,
            bend_at=old_axle.bend_at,
            mass=axle.mass or old_axle.mass,
        )
        corners[station] = replace(car.corners[station], wheel=wheel_name, axle=axle_name)
    return replace(car, wheels=wheels, axles=axles, corners=corners)


def _first_standing(
    car: Car, graded: Graded, found: Matches, wheels: Likely, axles: Likely, before: Stance
) -> tuple[Match, Car, Stance]:
    """Return the first set with which the car stands on the wheels that it stands on now."""
    for match in found.found:
        changed = fitted_car(car, graded, names_of(match, wheels, axles))
        try:
            after = stance(changed)
        except CarCannotRest:
            continue
        if after.carrying == before.carrying:
            return match, changed, after
    raise OutOfRange(
        "with the best sets the car would stand on other wheels than now",
        mend="raise the hole of the wheel that should stay off the ground",
    )


def _told(
    car: Car,
    graded: Graded,
    wheels: Likely,
    axles: Likely,
    priced: Priced,
    task: Task,
    found: Matches,
    match: Match,
    changed: Car,
    stances: tuple[Stance, Stance],
    left_out: Mapping[str, str],
) -> MatchedSet:
    before, after = stances
    may = np.isfinite(task.axles)
    average_wheels = np.full(task.wheels.shape, 1.0 / len(wheels.names))
    average_axles = may / may.sum(axis=1, keepdims=True)
    axle_costs = np.where(may, task.axles, 0.0)
    average = float((average_axles * axle_costs).sum())
    variance, shares = spread_of_sets(
        priced,
        wheels,
        axles,
        sits(match, len(wheels.names), of="wheels") - average_wheels,
        sits(match, len(axles.names), of="axles") - average_axles,
    )
    uncertainty = math.sqrt(variance)
    carrying = {station: station in before.carrying for station in STATIONS}
    by_prices = average - match.cost
    worth = retimed(priced, wheels, axles, match, average_axles)
    worst = -assigned(-task.wheels)[0] - assigned(np.where(may, -axle_costs, math.inf))[0]
    fitted = names_of(match, wheels, axles)
    return MatchedSet(
        fitted=fitted,
        to_be_bent=tuple(
            station
            for station, (_, axle) in fitted.items()
            if car.axle_at(station).bend.value > _BENT >= graded.box.axles[axle].bend.value
        ),
        worth=worth,
        by_prices=by_prices,
        uncertainty=uncertainty,
        told_apart=worth > TOLD * uncertainty and worth > 0.0,
        rivals=rivals_of(match, task, priced, wheels, axles, carrying),
        worst_behind=worst - average,
        wheel_costs=costs_by_part(wheels, priced.wheel_prices, task.wheels, before),
        axle_costs=costs_by_part(axles, priced.axle_prices, costs_of(axles, priced.axle_prices), before),
        left_out=dict(left_out),
        left=left_open(variance, shares),
        exact=found.exact,
        bound=max(0.0, match.cost - found.bound),
        by_assignment=found.by_assignment,
        time=priced.time,
        before=before,
        after=after,
        car=changed,
    )
