"""The family of plans that meet the targets: one for every bend that is allowed, and which is preferred."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_of, with_dimensions
from rollwright.car.model import Car, Station
from rollwright.judge.class_rules import Allowed, ClassRules, Rule
from rollwright.quantity import Source
from rollwright.setup.limits import MOST_RELIEF
from rollwright.setup.plan_parts import Adjustment, Preference, Wish
from rollwright.setup.plan_reach import Limits, Reach, reach_of
from rollwright.setup.plan_solve import (
    DOWN,
    DRIFT,
    FORWARD,
    FRONT,
    HEIGHT,
    RAIL,
    REAR,
    RIDE,
    TRIM,
    Blank,
    Tie,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Choice", "Family", "Task", "chosen", "family_of", "settled", "task_of"]

_DEG = math.pi / 180.0
_LEAST_LEAN = 0.25 * _DEG
"""How far the dominant wheel leans at least (judgement): an upright tread may stand on either rim, and no one
can say on which."""

_COUNT = 13
_ABOUT_AS_MUCH = 0.9
_SHRINK = 0.85
_SHRINKS = 12
_SAME = 1e-9
_NEAR, _EXACT = 1e-6, 1e-11
"""How near a goal is near enough [m]: for where a search begins, and for a plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is to be solved.

    Attributes:
        blank: the body, its rear pair alike and canted as wished.
        wish: what is wished for.
        goals: height difference, drift and rail offset [m], and the ride height where it is wished.
        tolerances: of height difference and drift [m].
        limits: of bend, relief and washers.
        fixed: whether the cant of a straight axle's hole is wished for, which leaves no choice.
        forbidden: whether bent axles are wished for and the class forbids them.
    """

    blank: Blank
    wish: Wish
    goals: dict[int, float]
    tolerances: tuple[float, float]
    limits: Limits
    fixed: bool
    forbidden: bool

    @property
    def level(self) -> tuple[list[int], dict[int, float]]:
        """The columns of the holes' heights that are free, and the goals that they serve."""
        goals = {column: goal for column, goal in self.goals.items() if column in {HEIGHT, RIDE}}
        return ([FRONT, REAR] if RIDE in goals else [FRONT]), goals

    def riding(self, ride: float) -> Task:
        """Return the same task with a ride height at the rear hole line [m]."""
        return replace(self, goals={**self.goals, RIDE: ride})


def task_of(car: Car, wish: Wish, rules: ClassRules | None) -> Task:
    """Return what is to be solved for a car, a wish and the rules of a class."""
    asked = None if rules is None else rules.rules.get(Rule.BENT_AXLES)
    allowed = not isinstance(asked, Allowed) or asked.allowed
    wanted = car.bent_axles if wish.bent_axles is None else wish.bent_axles
    bent = wanted and allowed
    sizes: dict[str, float] = {}
    for name, given in (("hole_height", None), ("cant", wish.rear_cant)):
        pair = [f"{station.value}.{name}" for station in (Station.REAR_LEFT, Station.REAR_RIGHT)]
        mean = 0.5 * sum(dimension_of(car, each).value for each in pair)
        sizes |= dict.fromkeys(pair, mean if given is None else given)
    cant = f"{car.dominant.value}.cant"
    if bent and wish.front_cant is not None:
        sizes[cant] = wish.front_cant
    meant = with_dimensions(
        car,
        {
            name: replace(dimension_of(car, name), value=value, source=Source.NOMINAL)
            for name, value in sizes.items()
        },
    )
    targets = car.targets
    goals = {
        HEIGHT: targets.height_difference.value if wish.height_difference is None else wish.height_difference,
        DRIFT: targets.drift.value if wish.drift is None else wish.drift,
        RAIL: targets.rail_offset.value if wish.rail_offset is None else wish.rail_offset,
    }
    if wish.ride_height is not None:
        goals[RIDE] = wish.ride_height - (goals[HEIGHT] if wish.ride_at_front else 0.0)
    fixed = not bent and wish.front_cant is not None
    lean = min(max(0.0, _LEAST_LEAN + (dimension_of(meant, cant).value if bent else 0.0)), wish.most_bend)
    most_relief = MOST_RELIEF * car.body.width.value if wish.most_relief is None else wish.most_relief
    return Task(
        blank=Blank.of(meant, bent=bent),
        wish=wish,
        goals=goals,
        tolerances=(targets.height_difference.tolerance, targets.drift.tolerance),
        limits=Limits(
            least_down=-wish.front_cant if fixed and wish.front_cant is not None else lean,
            most_bend=wish.most_bend,
            inward=-most_relief,
            outward=wish.most_washer,
        ),
        fixed=fixed,
        forbidden=wish.bent_axles is True and not allowed,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """The plans among which the preference chooses.

    Attributes:
        settings: (n, 6), least bend first.
        drift: the drift that they reach [m]: the goal, or the nearest that the most bend gives.
        steers: whether they reach the goal, so that the turn is free; False: at the end of what steers.
        needed: the bend that the goal would need [rad], where the most bend does not reach it; infinite where
            none does.
    """

    settings: NDArray[np.float64]
    drift: float
    steers: bool = True
    needed: float | None = None

    @property
    def bends(self) -> NDArray[np.float64]:
        """How far the dominant shank of each is out of square [rad]."""
        found: NDArray[np.float64] = np.hypot(self.settings[:, DOWN], self.settings[:, FORWARD])
        return found


def family_of(task: Task, *, count: int = _COUNT) -> Family:
    """Return plans of one body that all reach the targets.

    The least bend of a pin is that with which turning it carries the drift to the far edge of its tolerance
    as well: with less, the pin would point straight forward or back and a turn would steer no more.

    Args:
        task: what is to be solved.
        count: how many plans, from the least to the most bend.

    Returns:
        The family; a single plan where the drift asks for the most bend or more.
    """
    limits = task.limits
    columns, level = task.level
    ends, drifts = _ends(task)
    low, high = np.sort(drifts)
    wanted = task.goals[DRIFT]
    if not low < wanted < high:
        return _at_the_end(task, ends[int(np.argmin(np.abs(drifts - wanted)))])
    spare = task.tolerances[1] if task.blank.bent else 0.0
    edge = 1e-3 * (high - low)
    asked = np.clip(
        [wanted, wanted - spare, wanted + spare], min(low + edge, wanted), max(high - edge, wanted)
    )
    share = (asked - drifts[0]) / (drifts[1] - drifts[0])
    start = ends[0] + share[:, None] * (ends[1] - ends[0])
    steered, good = task.blank.solve(
        start,
        free=[*columns, FORWARD, TRIM],
        goals={**level, DRIFT: asked, RAIL: task.goals[RAIL]},
        settled=_EXACT if task.fixed else _NEAR,
    )
    if not good[0]:
        return _at_the_end(task, ends[int(np.argmin(np.abs(drifts - wanted)))])
    if task.fixed:
        return Family(settings=steered[:1], drift=wanted)
    least = min(float(np.hypot(steered[good][:, DOWN], steered[good][:, FORWARD]).max()), limits.most_bend)
    bends = np.linspace(least, limits.most_bend, count if limits.most_bend - least > _SAME else 1)
    tie = Tie(bends)
    found, good = task.blank.solve(
        np.repeat(steered[:1], len(bends), axis=0),
        free=[*columns, FORWARD, TRIM],
        goals={**level, **_rest(task)},
        tie=tie,
    )
    if not good.any():
        return _at_the_end(task, ends[int(np.argmin(np.abs(drifts - wanted)))])
    return Family(settings=found[good], drift=wanted)


def _at_the_end(task: Task, end: NDArray[np.float64]) -> Family:
    """Return the single plan that comes nearest to a drift that the most bend does not reach."""
    columns, level = task.level
    goals = {**level, RAIL: task.goals[RAIL]}
    x, _ = task.blank.solve(end[None], free=[*columns, TRIM], goals=goals)
    drift = float(task.blank.figures_of(x)[0, DRIFT])
    missed = abs(drift - task.goals[DRIFT]) > _SAME
    return Family(settings=x, drift=drift, steers=False, needed=_needed(task, end) if missed else None)


def _rest(task: Task) -> dict[int, float]:
    return {DRIFT: task.goals[DRIFT], RAIL: task.goals[RAIL]}


def _ends(task: Task) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the settings with the most bend carried backward and forward, (2, 6), and their drifts."""
    limits = task.limits
    columns, level = task.level
    x = np.repeat(task.blank.start()[None], 2, axis=0)
    x[:, DOWN] = limits.least_down
    down = 0.0 if task.fixed else limits.least_down
    side = math.sqrt(max(0.0, limits.most_bend**2 - down**2))
    x[:, FORWARD] = (-side, side)
    drifts = np.full(2, np.nan)
    goals = {**level, RAIL: task.goals[RAIL]}
    for _ in range(_SHRINKS):
        x, _ = task.blank.solve(x, free=[*columns, TRIM], goals=goals, settled=_NEAR)
        drifts = task.blank.figures_of(x)[:, DRIFT]
        lost = ~np.isfinite(drifts)
        if not lost.any():
            break
        # The car turns too sharply for the board, or a long pin has carried its wheel out of reach.
        x[lost, FORWARD] *= _SHRINK
    return x, drifts


def _needed(task: Task, end: NDArray[np.float64]) -> float:
    columns, level = task.level
    found, good = task.blank.solve(end[None], free=[*columns, FORWARD, TRIM], goals={**level, **_rest(task)})
    return float(np.hypot(found[0, DOWN], found[0, FORWARD])) if good[0] else math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The preferred setting, (6,), and what could still be moved, where that had to be found to choose it."""

    setting: NDArray[np.float64]
    adjustment: Adjustment | None = None


def chosen(task: Task, family: Family) -> Choice:
    """Return the preferred setting of a family, its relief and washers within their limits.

    Args:
        task: what is to be solved.
        family: the plans to choose from.

    Returns:
        The choice. Where no bend brings relief and washers within their limits, the nearest: the trim at its
        limit and the rail offset missed.
    """
    x, limits = family.settings, task.limits
    trim = x[:, TRIM]
    allowed = (trim >= limits.inward - _SAME) & (trim <= limits.outward + _SAME)
    if not allowed.any():
        return Choice(setting=_nearest(task, family))
    preference = task.wish.preference
    if preference is Preference.MOST_ADJUSTMENT:
        return _most_adjustment(task, family, allowed)
    if preference is Preference.LEAST_BEND:
        first = int(np.flatnonzero(allowed)[0])
        limit = limits.inward if first and trim[first - 1] < limits.inward else limits.outward
        return Choice(setting=x[first] if first == 0 else _crossing(task, x[first - 1], x[first], limit))
    dry = np.flatnonzero(allowed & (trim >= 0.0))
    if len(dry) == 0:
        return Choice(setting=x[int(np.argmax(np.where(allowed, trim, -np.inf)))])
    first = int(dry[0])
    crosses = first > 0 and trim[first - 1] < 0.0
    return Choice(setting=_crossing(task, x[first - 1], x[first], 0.0) if crosses else x[first])


def _nearest(task: Task, family: Family) -> NDArray[np.float64]:
    """Return the setting nearest to the limits of the trim where no plan of the family keeps within them."""
    x, limits = family.settings, task.limits
    trim = x[:, TRIM]
    if trim.max() < limits.inward:
        return _pinned(task, family, x[int(np.argmax(trim))], limits.inward)
    if trim.min() > limits.outward:
        return _pinned(task, family, x[int(np.argmin(trim))], limits.outward)
    # Some want too much wood gone and some too many washers, so a bend between them wants neither.
    past = int(np.flatnonzero((trim[:-1] < limits.inward) != (trim[1:] < limits.inward))[0])
    return _crossing(task, x[past], x[past + 1], limits.inward)


def _crossing(
    task: Task, before: NDArray[np.float64], after: NDArray[np.float64], trim: float
) -> NDArray[np.float64]:
    """Return the setting between two of a family whose trim is just what is given [m]."""
    share = (trim - before[TRIM]) / (after[TRIM] - before[TRIM])
    start = before + share * (after - before)
    start[TRIM] = trim
    columns, level = task.level
    found, good = task.blank.solve(
        start[None], free=[*columns, DOWN, FORWARD], goals={**level, **_rest(task)}
    )
    return found[0] if good[0] else after


def _pinned(task: Task, family: Family, x: NDArray[np.float64], trim: float) -> NDArray[np.float64]:
    """Return a setting with its trim at a limit [m] and the rail offset left to what it comes to."""
    start = x.copy()
    start[TRIM] = trim
    return _again(task, family, start, trims=False)


def _again(task: Task, family: Family, x: NDArray[np.float64], *, trims: bool) -> NDArray[np.float64]:
    """Return a setting solved anew with its bend as it is, (6,); its trim as well unless it may change."""
    columns, level = task.level
    free, goals, tie = [*columns], {**level}, None
    if family.steers:
        free, goals = [*free, FORWARD], {**goals, DRIFT: family.drift}
        if not task.fixed:
            tie = Tie(np.hypot(x[[DOWN]], x[[FORWARD]]))
    if trims:
        free, goals = [*free, TRIM], {**goals, RAIL: task.goals[RAIL]}
    found, good = task.blank.solve(x[None], free=free, goals=goals, tie=tie)
    return found[0] if good[0] else x


def _most_adjustment(task: Task, family: Family, allowed: NDArray[np.bool_]) -> Choice:
    """Return the setting whose scarcest adjustment is about the largest, then with the least relief."""
    x = family.settings[allowed]
    if len(x) == 1 or not task.blank.bent:
        # A straight axle moves nothing: the middle leaves the next body room to either side.
        return Choice(setting=x[len(x) // 2])
    reach = reach_of(task.blank, x, task.limits)
    scarce = _scarcest(task, reach)
    enough = np.flatnonzero(scarce >= _ABOUT_AS_MUCH * scarce.max())
    relief = np.maximum(-x[enough, TRIM], 0.0)
    # Among those that need no wood at all the one with the most to spare.
    order = np.lexsort((-scarce[enough], np.round(relief, 9)))
    best = int(enough[order[0]])
    return Choice(setting=x[best], adjustment=reach.at(best))


def _scarcest(task: Task, reach: Reach) -> NDArray[np.float64]:
    height, drift = (max(tolerance, 1e-6) for tolerance in task.tolerances)
    each = (reach.height_up / height, reach.height_down / height, reach.left / drift, reach.right / drift)
    least: NDArray[np.float64] = np.stack(each).min(axis=0)
    return least


def settled(task: Task, x: NDArray[np.float64], family: Family) -> NDArray[np.float64]:
    """Return a setting solved anew for a task that differs in its ride height alone, its bend as it is.

    Args:
        task: the task, with its ride height.
        x: the setting, (6,).
        family: the family it comes from.

    Returns:
        The setting, (6,).
    """
    offset = float(task.blank.figures_of(x[None])[0, RAIL])
    return _again(task, family, x, trims=abs(offset - task.goals[RAIL]) <= _SAME)
