"""What to drill and bend before any wood is cut, solved jointly on the exact geometry.

Hole heights, bend, clock and trim are found together, so that height difference, drift and rail offset
meet their targets with the ride height, the raise and the clearances that are wished for. One choice is left,
how far the dominant axle is bent, or its hole drilled askew where no axle may be bent: a preference decides
it, and `trade_off` shows what it costs. `setup.plan_moves` is its counterpart for a car that is drilled.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_of
from rollwright.car.model import Car, Station
from rollwright.errors import OutOfRange
from rollwright.geometry.stance import Stance, stance
from rollwright.judge.class_rules import ClassRules, Rule
from rollwright.setup.plan_blocked import (
    Say,
    clearance_of,
    of_balance,
    of_rules,
    of_targets,
)
from rollwright.setup.plan_built import askew_of, bushing_of, figures_of, planned_car
from rollwright.setup.plan_family import Task, chosen, family_of, settled, task_of
from rollwright.setup.plan_heights import height_of, raise_of
from rollwright.setup.plan_parts import (
    Adjustment,
    Blocked,
    Bushing,
    Figures,
    Plan,
    PlannedSize,
    Preference,
    TradePoint,
    Wish,
)
from rollwright.setup.plan_reach import reach_of, turning
from rollwright.setup.plan_solve import REAR, TRIM, steadied
from rollwright.units import System

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "Adjustment",
    "Blocked",
    "Bushing",
    "Figures",
    "Plan",
    "PlannedSize",
    "Preference",
    "TradePoint",
    "Wish",
    "plan",
    "trade_off",
]

_MM = 1e-3
_SAME = 1e-12
_SET = ("hole_height", "cant", "sweep", "bend", "clock", "relief", "washer")


def plan(
    car: Car, *, wish: Wish | None = None, rules: ClassRules | None = None, system: System = System.METRIC
) -> Plan:
    """Return what to drill and bend so that a car meets its targets and wishes.

    Args:
        car: the parts, the body and the targets; what it says of hole heights, bend, clock, relief and
            washers is what the plan replaces.
        wish: what is wished for; left out, the car's own targets and nothing else.
        rules: of the class it is built for.
        system: units in which obstacles are told.

    Returns:
        The plan. Newton's method on the exact geometry of `geometry.many`; the stance of the planned car
        meets every target to a nanometre, or `blocked` says what stands in the way and the plan is the
        nearest. A clearance that is asked for goes before a ride height that is wished for, and the wood
        below a hole before either.

    Raises:
        CarCannotRest: the three wheels that are meant to carry the car stand in one line.
    """
    wish = Wish() if wish is None else wish
    say = Say(system)
    task = task_of(car, wish, rules)
    family = family_of(task)
    choice = chosen(task, family)
    x, adjustment = choice.setting, choice.adjustment
    clearance = clearance_of(task, rules)
    height = height_of(task, x, clearance, say)
    if abs(height.ride - height.now) > _SAME:
        task = task.riding(height.ride)
        x, adjustment = settled(task, x, family), None
    built = _built(car, task, x)
    raised_by = raise_of(task, car, say)
    built, standing = _with_raise(built, raised_by.height)
    figures = figures_of(built, standing)
    if adjustment is None:
        adjustment = reach_of(task.blank, x[None], task.limits).at(0)
    turn_drift, turn_height = turning(task.blank, x[None])
    blocked = [
        *_forbidden(task, rules),
        *_bore(built, say),
        *height.blocked,
        *raised_by.blocked,
        *of_targets(task, family, figures, float(x[TRIM]), say),
        *(
            one
            for one in of_rules(built, figures, rules, say)
            if one.rule not in {b.rule for b in height.blocked}
        ),
        *of_balance(built, standing, say),
    ]
    return Plan(
        car=built,
        wish=wish,
        bent=task.blank.bent,
        sizes=_sizes(car, built, task, height.why),
        figures=figures,
        adjustment=adjustment,
        turn_drift=float(turn_drift[0]),
        turn_height=float(turn_height[0]),
        bushings=tuple(bushing_of(built, station, wish.block) for station in Station),
        blocked=tuple(blocked),
    )


def trade_off(
    car: Car, *, wish: Wish | None = None, rules: ClassRules | None = None, count: int = 25
) -> tuple[TradePoint, ...]:
    """Return the plans among which a preference chooses, from the least bend to the most.

    Args:
        car: as for `plan`.
        wish: likewise; its preference does not matter.
        rules: likewise.
        count: how many plans, two or more.

    Returns:
        The plans, evenly spaced by bend (by the hole's angle out of square in a class without bent axles).
        Fewer where a bend gives no plan; a single one where the drift asks for the most bend or more.

    Raises:
        OutOfRange: fewer than two plans are asked for.
        CarCannotRest: as for `plan`.
    """
    if count < 2:
        raise OutOfRange(f"a family of {count} shows no trade-off", mend="ask for two plans or more")
    task = task_of(car, Wish() if wish is None else wish, rules)
    family = family_of(task, count=count)
    x, limits = family.settings, task.limits
    clearance = clearance_of(task, rules)
    reach = reach_of(task.blank, x, limits)
    turn_drift, turn_height = turning(task.blank, x)
    points = []
    for row, (setting, askew) in enumerate(zip(x, family.bends, strict=True)):
        # The ride height moves the holes alone, all by as much.
        height = height_of(task, setting, clearance, Say(System.METRIC))
        values = _dominant(task, setting)
        points.append(
            TradePoint(
                askew=float(askew) if task.blank.bent else askew_of(values["cant"], values["sweep"]),
                bend=values["bend"],
                clock=values["clock"],
                cant=values["cant"],
                sweep=values["sweep"],
                hole_height=values["hole_height"] - (height.ride - height.now),
                relief=values["relief"],
                washer=values["washer"],
                adjustment=reach.at(row),
                turn_drift=float(turn_drift[row]),
                turn_height=float(turn_height[row]),
                allowed=bool(limits.inward - 1e-9 <= setting[TRIM] <= limits.outward + 1e-9),
            )
        )
    return tuple(points)


def _dominant(task: Task, x: NDArray[np.float64]) -> dict[str, float]:
    """Return the sizes of the dominant station that a setting gives."""
    values = task.blank.values(x[None])[0]
    return {name: float(values[task.blank.column(name)]) for name in _SET}


def _built(car: Car, task: Task, x: NDArray[np.float64]) -> Car:
    """Return the car with the planned sizes but for the raised hole."""
    steady = task.blank.car
    sizes = {f"{car.dominant.value}.{name}": value for name, value in _dominant(task, x).items()}
    for station in (Station.REAR_LEFT, Station.REAR_RIGHT):
        sizes[f"{station.value}.hole_height"] = float(x[REAR])
        sizes[f"{station.value}.cant"] = steady.corners[station].cant.value
    planned = planned_car(car, sizes)
    return replace(planned, bent_axles=True) if task.blank.bent else planned


def _with_raise(built: Car, height: float) -> tuple[Car, Stance]:
    """Return the planned car with its raised wheel at a clearance [m], and how it stands as meant.

    The raised wheel is moved with its hole and nothing else is, so its clearance is linear in the height of
    the hole.
    """
    name = f"{built.raised.value}.hole_height"
    high = max(corner.hole_height.value for corner in built.corners.values()) + 10.0 * _MM
    standing = stance(steadied(planned_car(built, {name: high})))
    level = math.cos(standing.pitch) * math.cos(standing.roll)
    drop = standing.stations[built.raised].hanging_clearance - height
    planned = planned_car(built, {name: high - drop / level})
    return planned, stance(steadied(planned))


def _forbidden(task: Task, rules: ClassRules | None) -> Iterator[Blocked]:
    if task.forbidden and rules is not None:
        yield Blocked(
            what="bent_axles",
            why=f"the {rules.name} allows no bent axles",
            by=0.0,
            mend="steer by the hole, as this plan does, or build for another class",
            rule=Rule.BENT_AXLES,
        )


def _bore(car: Car, say: Say) -> Iterator[Blocked]:
    tight = [
        (car.axle_at(each).shank.value - car.wheel_at(each).bore.value, each)
        for each in Station
        if car.axle_at(each).shank.value >= car.wheel_at(each).bore.value
    ]
    if tight:
        by, station = max(tight, key=lambda one: one[0])
        yield Blocked(
            what="bore",
            why=f"the {station.words} wheel's bore of {say.length(car.wheel_at(station).bore.value)} does "
            f"not turn on a shank of {say.length(car.axle_at(station).shank.value)}",
            by=by,
            mend="use a thinner pin, or ream the bore",
        )


def _sizes(car: Car, built: Car, task: Task, height_why: str) -> tuple[PlannedSize, ...]:
    """Return the sizes that the plan sets, in the order of the stations."""
    wish, bent = task.wish, task.blank.bent
    choice = f"chosen for {wish.preference.words}"
    steer = "gives the drift"
    kept, wished = "kept, alike on both sides", "as wished"
    cant = wished if wish.front_cant is not None else "kept" if bent else choice
    why: dict[str, str] = {}
    for station in (Station.REAR_LEFT, Station.REAR_RIGHT):
        why[f"{station.value}.hole_height"] = height_why
        why[f"{station.value}.cant"] = kept if wish.rear_cant is None else wished
    front = car.dominant.value
    why[f"{front}.hole_height"] = "gives the height difference"
    why[f"{front}.cant"] = cant
    why[f"{front}.sweep"] = "kept" if bent else steer
    why[f"{front}.bend"] = choice if bent else "the axle stays straight"
    why[f"{front}.clock"] = steer if bent else "a straight axle has none"
    why[f"{front}.relief"] = why[f"{front}.washer"] = "gives the rail offset"
    why[f"{car.raised.value}.hole_height"] = "gives the raise"
    return tuple(
        PlannedSize(
            name=name, value=dimension_of(built, name).value, was=dimension_of(car, name).value, why=reason
        )
        for name, reason in why.items()
    )
