"""Which weights go in which pockets: as heavy as the limit allows, with the mass where it is wanted."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.model import Station
from rollwright.errors import OutOfRange
from rollwright.geometry.ledger import Ledger
from rollwright.geometry.stance import Stance
from rollwright.judge.verdict import CONFIDENCE, acceptance_limits, conformity, judge
from rollwright.quantity import Quantity, Source
from rollwright.setup.ballast import Choice, Demand, Obstacle, Plan, Pocket, Size, Wanted, check
from rollwright.setup.whole_numbers import Guarded, Row, Search

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

__all__ = ["Choice", "Demand", "Obstacle", "Plan", "Pocket", "Size", "Wanted", "choose"]

_ALIKE = 0.01
"""Plans whose masses differ by less than this [g] count as equally heavy: no pocket scale can tell."""

_FINE = 1e-9
"""What rounding may add to a mass [g] or a length [mm]."""

_EVEN = 1e-4
"""Plans whose moments across differ by less than this [g mm] count as equally even."""

# A millionth more than asked keeps a plan that just meets the limit from being judged as just missing it.
_GUARD = NormalDist().inv_cdf(CONFIDENCE) * (1.0 + 1e-6)
# Three wheels must press down at once: each may fail a third as often (Bonferroni's inequality).
_STANDS = NormalDist().inv_cdf(1.0 - (1.0 - CONFIDENCE) / 3.0)

_MILLI = 1e-3
"""The search counts in grams and millimetres, so that its numbers are near one."""

_AXES = {Demand.CENTRE: 1, Demand.ASIDE: 2, Demand.HEIGHT: 3}


def choose(
    ledger: Ledger,
    stance: Stance,
    pockets: Sequence[Pocket],
    sizes: Sequence[Size],
    wanted: Wanted,
    *,
    whole: Quantity | None = None,
) -> Choice:
    """Return which weights go in which pockets.

    Of all ways to fill the pockets that keep the car under its limit with 95 %, its centre of mass inside
    its tolerance and all three wheels on the ground with 95 %, the heaviest is taken; of those within
    10 mg of it the one of fewest pieces; of those the one whose centre of mass lies nearest to the centre
    line, and then nearest to where it is wanted. The mass keeps `1.645 u` from the limit (JCGM 106:2012,
    8.3.2), u being that of this very choice. The centre of mass is placed by its best estimate, and its
    verdict says how sure that is.

    Args:
        ledger: the car's items without the weights that are to be chosen.
        stance: where the car stands; its contacts are the three supports.
        pockets: the places.
        sizes: the weights at hand.
        wanted: the demands.
        whole: what a scale showed of the car as in the ledger [kg].

    Returns:
        The plan, or what stands in its way and by how much.

    Raises:
        OutOfRange: the car weighs nothing, a mass, a count or a room is not a possible one, a name stands
            twice, or there are more ways than can be looked through.
    """
    check(pockets, sizes, wanted)
    mean, covariance, misfit = _standing(ledger, whole)
    task = _Task.of(mean, covariance, stance, pockets, sizes, wanted)
    nothing = np.zeros(len(task.search.upper))
    obstacle, plan, held_back = None, None, 0.0
    if (excess := task.limit.excess(nothing)) > _FINE:
        obstacle = Obstacle(
            demand=Demand.MASS, reached=(wanted.limit + excess * _MILLI,), shortfall=excess * _MILLI
        )
    elif (best := task.heaviest(tuple(_AXES))) is None:
        obstacle = task.in_the_way()
    else:
        plan = task.plan(task.tidied(best))
        freely = task.heaviest((Demand.ASIDE, Demand.HEIGHT))
        gain = 0.0 if freely is None else float(task.moments[0] @ (freely - best))
        held_back = gain * _MILLI if gain > _ALIKE else 0.0
    return Choice(
        empty=task.plan(nothing),
        plan=plan,
        obstacle=obstacle,
        held_back=held_back,
        misfit_probability=misfit,
    )


def _standing(ledger: Ledger, whole: Quantity | None) -> tuple[Vector, Vector, float]:
    """Return mass and moments of the car as it stands, their covariance, and how well the scale agrees.

    One reading of a sum corrects its parts in the ratio of their covariances with it (Gauss-Markov).
    """
    if not ledger.mass.value > 0.0:
        raise OutOfRange("the car weighs nothing", mend="write its mass", key="body.mass")
    mean = np.array([ledger.mass.value, *(ledger.mass.value * part.value for part in ledger.centre)])
    covariance = np.array(ledger.covariance())
    if whole is None:
        return mean, covariance, 1.0
    spread = float(covariance[0, 0]) + whole.uncertainty**2
    gain = covariance[0] / spread
    off = whole.value - ledger.mass.value
    misfit = math.erfc(abs(off) / math.sqrt(2.0 * spread))
    return mean + gain * off, covariance - np.outer(gain, covariance[0]), misfit


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """The choice as linear demands on whole numbers: pieces by pocket and size, then their sums by size.

    The sums say nothing new, but a search that may settle them first is a hundred times faster.

    Attributes:
        pockets: the places.
        sizes: the weights at hand.
        wanted: the demands.
        mean: mass [kg] and its moments [kg m] of the empty car.
        covariance: of these.
        carrying: the wheels that carry.
        to_loads: from mass, moment along and moment across to their loads.
        moments: what each number adds to mass [g] and moments [g mm].
        start: the same of the empty car.
        search: the search.
        room: how much goes in where, and how much there is.
        limit: the mass under its limit.
        standing: each carrying wheel on the ground.
    """

    pockets: Sequence[Pocket]
    sizes: Sequence[Size]
    wanted: Wanted
    mean: Vector
    covariance: Vector
    carrying: Sequence[Station]
    to_loads: Vector
    moments: Sequence[Vector]
    start: Vector
    search: Search
    room: Sequence[Row]
    limit: Guarded
    standing: Sequence[tuple[Station, Guarded]]

    @classmethod
    def of(
        cls,
        mean: Vector,
        covariance: Vector,
        stance: Stance,
        pockets: Sequence[Pocket],
        sizes: Sequence[Size],
        wanted: Wanted,
    ) -> _Task:
        """Return the task of a car, its pockets and the weights at hand."""
        contacts = [stance.stations[station].contact for station in stance.carrying]
        # Statics of a rigid body on three supports: sum F = M, sum F x = M x_c, sum F y = M y_c.
        to_loads = np.linalg.inv(np.array([[1.0, at[0], at[1]] for at in contacts]).T)
        places = np.array([[1.0, *(part.value / _MILLI for part in at.position)] for at in pockets])
        masses = np.array([size.mass.value / _MILLI for size in sizes])
        counts = np.array([float(size.count) for size in sizes])
        spreads = np.diag([size.mass.uncertainty / _MILLI for size in sizes])
        many, kinds = len(pockets), len(sizes)

        def laid(table: Vector) -> Vector:
            return np.concatenate([table.ravel(), np.zeros(kinds)])

        def summed(row: Vector) -> Vector:
            return np.concatenate([np.zeros(many * kinds), row])

        def guarded_load(row: Vector) -> Guarded:
            arms = places[:, :3] @ row
            by_size = [laid(np.outer(arms, spread)) for spread in spreads if spread.any()]
            by_pocket = [
                laid(np.outer(np.arange(many) == number, masses))
                * math.hypot(*(row[1:] * [part.uncertainty / _MILLI for part in at.position[:2]]))
                for number, at in enumerate(pockets)
            ]
            return Guarded(
                slope=-laid(np.outer(arms, masses)),
                start=-float(row @ start[:3]),
                root=np.array([*by_size, *by_pocket]),
                rest=math.sqrt(max(0.0, float(row @ (covariance[:3, :3] * scale[:3, :3]) @ row))),
                guard=_STANDS,
            )

        unit = np.array([1.0 / _MILLI, *([1.0 / _MILLI**2] * 3)])
        start, scale = mean * unit, np.outer(unit, unit)
        room = [
            Row(
                laid(np.outer(np.ones(many), np.arange(kinds) == kind)) - summed(np.eye(kinds)[kind]),
                0.0,
                0.0,
            )
            for kind in range(kinds)
        ]
        upper = np.tile(counts, (many, 1))
        for number, at in enumerate(pockets):
            here = np.arange(many) == number
            if at.most is not None:
                upper[number] = np.minimum(upper[number], at.most)
                room.append(Row(laid(np.outer(here, np.ones(kinds))), high=float(at.most)))
            if at.length is not None:
                lengths = np.array([size.length or 0.0 for size in sizes])
                upper[number] = np.minimum(upper[number], np.floor(at.length / lengths + _FINE))
                room.append(Row(laid(np.outer(here, lengths)) / at.length, high=1.0))
        return cls(
            pockets=pockets,
            sizes=sizes,
            wanted=wanted,
            mean=mean,
            covariance=covariance,
            carrying=stance.carrying,
            to_loads=to_loads,
            moments=[summed(masses), *(laid(np.outer(places[:, axis], masses)) for axis in (1, 2, 3))],
            start=start,
            search=Search(upper=np.concatenate([upper.ravel(), counts])),
            room=room,
            limit=Guarded(
                slope=summed(masses),
                start=float(start[0]) - wanted.limit / _MILLI,
                root=np.array([summed(row) for row in spreads]),
                rest=math.sqrt(max(0.0, float(covariance[0, 0]))) / _MILLI,
                guard=_GUARD,
            ),
            standing=[
                (station, guarded_load(row * [1.0, _MILLI, _MILLI]))
                for station, row in zip(stance.carrying, to_loads, strict=True)
            ],
        )

    def edges(self, demand: Demand) -> tuple[float, float]:
        """Return between what a coordinate of the centre of mass must lie [mm]."""
        low, high = -math.inf, math.inf
        if demand is Demand.CENTRE and self.wanted.centre is not None:
            low, high = self.wanted.centre.low, self.wanted.centre.high
        elif demand is Demand.ASIDE and self.wanted.aside is not None:
            low, high = -self.wanted.aside, self.wanted.aside
        elif demand is Demand.HEIGHT and self.wanted.highest is not None:
            high = self.wanted.highest
        return low / _MILLI, high / _MILLI

    def beyond(self, axis: int, edge: float, side: int) -> Row:
        """Return the demand that a coordinate lies above an edge [mm], or below it where the side is -1."""
        return Row(
            side * (self.moments[axis] - edge * self.moments[0]),
            low=side * (edge * float(self.start[0]) - float(self.start[axis])),
        )

    def bounds(self, demand: Demand) -> list[Row]:
        """Return a demand on the centre of mass as rows."""
        low, high = self.edges(demand)
        sides = ((low, 1), (high, -1))
        return [self.beyond(_AXES[demand], edge, side) for edge, side in sides if math.isfinite(edge)]

    @property
    def guarded(self) -> list[Guarded]:
        """The demands that keep a guard band: the limit, and each wheel on the ground."""
        return [self.limit, *(guard for _, guard in self.standing)]

    def heaviest(self, demands: Sequence[Demand]) -> Vector | None:
        """Return the heaviest numbers that meet some demands on the centre, the limit, and stand."""
        rows = [*self.room, *(row for demand in demands for row in self.bounds(demand))]
        return self.search.best(-self.moments[0], rows=rows, guarded=self.guarded)

    def tidied(self, best: Vector) -> Vector:
        """Return as heavy numbers of fewest pieces, then most even from side to side, then best placed."""
        rows = [*self.room, *(row for demand in _AXES for row in self.bounds(demand))]
        rows.append(Row(self.moments[0], low=float(self.moments[0] @ best) - _ALIKE))
        pieces = np.zeros(len(best))
        pieces[-len(self.sizes) :] = 1.0
        few = self.search.best(pieces, rows=rows, guarded=self.guarded)
        if few is None:
            return best
        rows.append(Row(pieces, high=float(pieces @ few)))
        even = self.least(2, 0.0, few, rows)
        if self.wanted.centre is None:
            return even
        across = abs(float(self.start[2] + self.moments[2] @ even)) + _EVEN
        rows.append(Row(self.moments[2], -across - float(self.start[2]), across - float(self.start[2])))
        return self.least(1, self.wanted.centre.value / _MILLI, even, rows)

    def least(self, axis: int, middle: float, known: Vector, rows: Sequence[Row]) -> Vector:
        """Return the numbers of least moment about a middle [mm], either way, beginning from known ones."""
        arm = self.moments[axis] - middle * self.moments[0]
        start = float(self.start[axis] - middle * self.start[0])
        found = [known]
        for side in (1, -1):
            near = self.search.best(
                side * arm, rows=[*rows, self.beyond(axis, middle, side)], guarded=self.guarded
            )
            found += [] if near is None else [near]
        return min(found, key=lambda numbers: abs(start + float(arm @ numbers)))

    def coordinate(self, axis: int, numbers: Vector) -> float:
        """Return a coordinate of the centre of mass [mm]."""
        moment, mass = (float(self.start[i] + self.moments[i] @ numbers) for i in (axis, 0))
        return moment / mass

    def nearest(self, axis: int, edge: float, side: int, rows: Sequence[Row]) -> Vector | None:
        """Return the numbers beyond an edge whose centre of mass comes nearest to it; None if there are none.

        A ratio is least where its numerator less that ratio times its denominator is nothing at best
        (W. Dinkelbach, "On Nonlinear Fractional Programming", Management Science 13 (1967) 492-498; from
        memory).
        """
        rows = [*rows, self.beyond(axis, edge, side)]
        found, least = None, edge
        while True:
            row = self.beyond(axis, least, side)
            better = self.search.best(row.slope, rows=rows, guarded=[self.limit])
            if better is None or (found is not None and float(row.slope @ (better - found)) > -1e-5):
                return found
            found, least = better, self.coordinate(axis, better)

    def in_the_way(self) -> Obstacle:
        """Return the first demand that cannot be met beside those before it."""
        rows, guarded = list(self.room), [self.limit]
        nothing = np.zeros(len(self.search.upper))
        for demand, axis in _AXES.items():
            bounds = self.bounds(demand)
            if bounds and self.search.best(nothing, rows=[*rows, *bounds], guarded=guarded) is None:
                low, high = self.edges(demand)
                sides = ((low, -1), (high, 1))
                found = [
                    (abs(self.coordinate(axis, near) - edge), near)
                    for edge, side in sides
                    if math.isfinite(edge) and (near := self.nearest(axis, edge, side, rows)) is not None
                ]
                missed, near = min(found, key=lambda pair: pair[0])
                return Obstacle(
                    demand=demand,
                    reached=tuple(self.coordinate(axis, each) * _MILLI for _, each in found),
                    shortfall=missed * _MILLI,
                    plan=self.plan(near),
                )
            rows += bounds
        for station, guard in self.standing:
            guarded.append(guard)
            if self.search.best(nothing, rows=rows, guarded=guarded) is None:
                near = self.search.best(guard.slope, rows=rows, guarded=guarded[:-1])
                assert near is not None  # noqa: S101 - the demands before this one were met
                plan = self.plan(near)
                return Obstacle(
                    demand=Demand.STANDING,
                    reached=(plan.loads[station].value,),
                    shortfall=guard.excess(near) * _MILLI,
                    station=station,
                    plan=plan,
                )
        raise AssertionError("every demand can be met, and yet all together cannot")

    def plan(self, numbers: Vector) -> Plan:
        """Return what comes of some numbers of pieces."""
        put = numbers[: -len(self.sizes)].reshape(len(self.pockets), len(self.sizes))
        places = np.array([[1.0, *(part.value for part in at.position)] for at in self.pockets])
        blurs = np.array([[0.0, *(part.uncertainty for part in at.position)] for at in self.pockets])
        masses = np.array([size.mass.value for size in self.sizes])
        arms = put.T @ places
        spreads = np.array([size.mass.uncertainty for size in self.sizes])[:, None] * arms
        mean = self.mean + masses @ arms
        covariance = self.covariance + spreads.T @ spreads + np.diag(((put @ masses) ** 2) @ blurs**2)
        slopes = [np.array([-mean[axis] / mean[0], *np.eye(3)[axis - 1]]) / mean[0] for axis in (1, 2, 3)]
        x, y, z = (
            _quantity(float(mean[axis] / mean[0]), slope, covariance, "centre of mass")
            for axis, slope in zip((1, 2, 3), slopes, strict=True)
        )
        loads = {}
        for station, row in zip(self.carrying, self.to_loads, strict=True):
            loads[station] = _quantity(float(row @ mean[:3]), np.array([*row, 0.0]), covariance, "load")
        limit = self.wanted.limit
        spread = math.sqrt(max(0.0, float(covariance[0, 0])))
        most = limit - _GUARD * spread
        # What just meets the limit must not be judged by the last bit of a sum.
        value = most if most < mean[0] < most + _FINE * _MILLI else float(mean[0])
        centre, target = None, self.wanted.centre
        if target is not None:
            centre = judge(value=x.value, uncertainty=x.uncertainty, low=target.low, high=target.high)
        return Plan(
            counts={
                at.name: {
                    size.name: int(number) for size, number in zip(self.sizes, row, strict=True) if number
                }
                for at, row in zip(self.pockets, put, strict=True)
                if row.any()
            },
            mass=Quantity(value=value, uncertainty=spread, source=Source.MEASURED, label="mass"),
            centre=(x, y, z),
            loads=loads,
            over=1.0 - conformity(value=value, uncertainty=spread, high=limit),
            kept_back=_GUARD * spread,
            room=acceptance_limits(uncertainty=spread, high=limit)[1] - value,
            limit_verdict=judge(value=value, uncertainty=spread, high=limit),
            centre_verdict=centre,
            stands=_all_above_zero(loads.values()),
        )


def _quantity(value: float, slope: Vector, covariance: Vector, label: str) -> Quantity:
    variance = max(0.0, float(slope @ covariance @ slope))
    return Quantity(value=value, uncertainty=math.sqrt(variance), source=Source.MEASURED, label=label)


def _all_above_zero(loads: Iterable[Quantity]) -> float:
    """Return a chance that is certainly reached: one less the chances that each is not (Bonferroni)."""
    fails = (1.0 - conformity(value=load.value, uncertainty=load.uncertainty, low=0.0) for load in loads)
    return max(0.0, 1.0 - math.fsum(fails))
