"""Which part goes where: exact assignment, with pairs that do not fit and sums that must stay in their bands.

Wheels and pins each cost so much at each station. Were that all, two assignment problems would settle it,
each solved exactly by itself. But not every wheel goes on every pin, and all parts together must leave the
car level; so the assignments are the lower bound of a search that opens the most promising branch first.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

__all__ = ["Match", "Matches", "Task", "assigned", "best_sets"]

Array = NDArray[np.float64]

_MOST = 3000
_SLACK = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What has to be matched: one wheel and one pin for each station.

    Attributes:
        wheels: cost of each wheel at each station [s], (stations, wheels); infinite where it may not go.
        axles: cost of each pin at each station [s], (stations, pins); likewise.
        goes_on: whether a wheel goes on a pin, (wheels, pins).
        wheel_shifts: what each wheel at each station adds to each sum that must stay in its band [m],
            (bands, stations, wheels).
        axle_shifts: what each pin adds to them, (bands, stations, pins).
        low: lower ends of the bands [m].
        high: upper ends of the bands [m].
    """

    wheels: Array
    axles: Array
    goes_on: NDArray[np.bool_]
    wheel_shifts: Array
    axle_shifts: Array
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """One way to fit the parts.

    Attributes:
        cost: of all of them [s].
        wheels: index of the wheel at each station.
        axles: index of the pin at each station.
        shifts: the sums that had to stay in their bands [m].
    """

    cost: float
    wheels: tuple[int, ...]
    axles: tuple[int, ...]
    shifts: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Matches:
    """The best ways, the cheapest first.

    Attributes:
        found: the ways.
        exact: whether no other way is cheaper than the first, proven.
        bound: nothing is cheaper than this [s].
        by_assignment: whether the two assignment problems alone settled the first.
    """

    found: tuple[Match, ...]
    exact: bool
    bound: float
    by_assignment: bool


def assigned(costs: Array) -> tuple[float, tuple[int, ...]]:
    """Return the cheapest way to give each row a column of its own.

    Args:
        costs: of each row at each column, (rows, columns); infinite where it may not be.

    Returns:
        Its cost and the column of each row; infinite and nothing where there is no way (the rectangular
        assignment problem: D. F. Crouse, "On implementing 2D rectangular assignment algorithms", IEEE
        Transactions on Aerospace and Electronic Systems 52 (2016) 1679-1696, as SciPy has it).
    """
    if not costs.shape[0]:
        return 0.0, ()
    if costs.shape[0] > costs.shape[1]:
        return math.inf, ()
    try:
        rows, columns = linear_sum_assignment(costs)
    except ValueError:
        return math.inf, ()
    return float(costs[rows, columns].sum()), tuple(int(column) for column in columns)


@dataclass(frozen=True, slots=True)
class _Node:
    """Parts chosen so far, wheel and pin by turns; what they cost and shift, and a bound on the whole.

    A bound is cheap at first, each station by itself, and made tight by assignment when its turn comes.
    """

    wheels: tuple[int, ...]
    axles: tuple[int, ...]
    spent: float
    shifts: tuple[float, ...]
    bound: float
    tight: bool

    @property
    def depth(self) -> int:
        return len(self.wheels) + len(self.axles)


def _sums_from(rows: Array) -> Array:
    """Return for each row the sum of it and those below, and nothing below the last, (rows + 1,)."""
    return np.concatenate((np.cumsum(rows[::-1])[::-1], [0.0]))


class _Search:
    """Branches of a task and their bounds."""

    def __init__(self, task: Task) -> None:
        self.task = task
        self.stations = task.wheels.shape[0]
        self.least = tuple(_sums_from(costs.min(axis=1)) for costs in (task.wheels, task.axles))
        self.reach = [
            tuple(
                (
                    _sums_from(np.where(np.isfinite(costs), shifts[band], math.inf).min(axis=1)),
                    _sums_from(np.where(np.isfinite(costs), shifts[band], -math.inf).max(axis=1)),
                )
                for costs, shifts in ((task.wheels, task.wheel_shifts), (task.axles, task.axle_shifts))
            )
            for band in range(len(task.low))
        ]

    def root(self) -> _Node:
        bound = assigned(self.task.wheels)[0] + assigned(self.task.axles)[0]
        return _Node((), (), 0.0, (0.0,) * len(self.task.low), bound, tight=True)

    def tightened(self, node: _Node) -> _Node:
        """Return the branch with the bound that assignment gives."""
        rest = 0.0
        for costs, used in ((self.task.wheels, node.wheels), (self.task.axles, node.axles)):
            free = np.ones(costs.shape[1], dtype=np.bool_)
            free[list(used)] = False
            rest += assigned(costs[len(used) :, free])[0]
        return replace(node, bound=max(node.bound, node.spent + rest), tight=True)

    def inside(self, node: _Node) -> bool:
        """Return whether every band can still be kept."""
        at = (len(node.wheels), len(node.axles))
        for band, (low, high) in enumerate(zip(self.task.low, self.task.high, strict=True)):
            wheels, axles = self.reach[band]
            least = node.shifts[band] + wheels[0][at[0]] + axles[0][at[1]]
            most = node.shifts[band] + wheels[1][at[0]] + axles[1][at[1]]
            if least > high + _SLACK or most < low - _SLACK:
                return False
        return True

    def branches(self, node: _Node) -> Iterator[_Node]:
        """Return the branches of a branch: each part that may go at the next place."""
        task = self.task
        at = len(node.axles)
        wheel_next = len(node.wheels) == at
        costs, shifts = (
            (task.wheels[at], task.wheel_shifts[:, at])
            if wheel_next
            else (task.axles[at], task.axle_shifts[:, at])
        )
        used = node.wheels if wheel_next else node.axles
        for index in np.flatnonzero(np.isfinite(costs)).tolist():
            if index in used or not (wheel_next or task.goes_on[node.wheels[at], index]):
                continue
            wheels = (*node.wheels, index) if wheel_next else node.wheels
            axles = node.axles if wheel_next else (*node.axles, index)
            spent = node.spent + float(costs[index])
            rest = float(self.least[0][len(wheels)] + self.least[1][len(axles)])
            child = _Node(
                wheels,
                axles,
                spent,
                tuple(before + float(shifts[band, index]) for band, before in enumerate(node.shifts)),
                max(node.bound, spent + rest),
                tight=False,
            )
            if self.inside(child):
                yield child


def best_sets(task: Task, *, count_wanted: int = 1, most: int = _MOST) -> Matches:
    """Return the cheapest ways to fit the parts, in order.

    Branch and bound, the branch of least bound first (A. H. Land, A. G. Doig, "An automatic method of solving
    discrete programming problems", Econometrica 28 (1960) 497-520; from memory): the bound of a branch is
    what is chosen plus the two exact assignments of what is left.

    Args:
        task: the task.
        count_wanted: how many of the cheapest ways.
        most: how many branches to open before being content with a way that is not proven best.

    Returns:
        The ways; none where there is no way. Where the search was cut short there is one way and the bound.
    """
    search = _Search(task)
    root = search.root()
    order, numbers = _cheapest, count()
    heap = [(order(root), next(numbers), root)] if math.isfinite(root.bound) else []
    found: list[Match] = []
    opened, exact, bound = 0, True, math.inf
    while heap and len(found) < count_wanted and opened < 10 * most:
        *_, node = heapq.heappop(heap)
        if not node.tight:
            node = search.tightened(node)
            if math.isfinite(node.bound):
                heapq.heappush(heap, (order(node), next(numbers), node))
            continue
        if node.depth == 2 * search.stations:
            found.append(Match(cost=node.spent, wheels=node.wheels, axles=node.axles, shifts=node.shifts))
            if not exact:
                break
            continue
        opened += 1
        if opened >= most and found:
            break
        if opened == most:
            # From here on the deepest branch first: some way, and how far it may be from the best.
            exact, order = False, _deepest
            bound = min([node.bound, *(each.bound for *_, each in heap)])
            heap = [(order(each), number, each) for _, number, each in heap]
            heapq.heapify(heap)
        for child in search.branches(node):
            heapq.heappush(heap, (order(child), next(numbers), child))
    return Matches(
        found=tuple(found),
        exact=exact,
        bound=found[0].cost if found and exact else bound,
        by_assignment=bool(found) and math.isclose(found[0].cost, root.bound, rel_tol=1e-9, abs_tol=1e-15),
    )


def _cheapest(node: _Node) -> tuple[float, float]:
    return node.bound, -node.depth


def _deepest(node: _Node) -> tuple[float, float]:
    return -node.depth, node.bound
