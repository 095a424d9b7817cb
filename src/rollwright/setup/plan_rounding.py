"""A plan rounded to figures that can be set at a drill and a bench, and what the rounding costs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from rollwright.car.dimensions import dimension_kind, dimension_of
from rollwright.car.model import Car, Station
from rollwright.errors import CarCannotRest
from rollwright.geometry.stance import Stance, stance
from rollwright.judge.class_rules import ClassRules, Limit, Rule
from rollwright.setup.plan_built import bushing_of, figures_of, planned_car
from rollwright.setup.plan_parts import Bushing, Figures, Plan
from rollwright.setup.plan_solve import steadied
from rollwright.units import Kind, System

__all__ = ["Rounded", "rounded"]

_DEG = math.pi / 180.0
_MM = 1e-3
_THOU = 25.4e-6
_LENGTHS: Mapping[System, tuple[float, float]] = {
    System.METRIC: (0.01 * _MM, 0.001 * _MM),
    System.INCH: (0.5 * _THOU, 0.05 * _THOU),
}
"""Steps of lengths: what a caliper shows, and a tenth of it where that would cost too much."""

_ANGLES = (0.1 * _DEG, 0.01 * _DEG)
_SWEEPS = (0.01 * _DEG, 0.001 * _DEG)
"""A straight axle's drift hangs on the sweep of its hole alone, nine millimetres and more for a tenth of a
degree on a board of a metre, so it is told more finely than it can be drilled by eye."""

_MOST_SHARE = 0.1
"""Part of a tolerance that rounding may cost before it is done more finely."""

_PROBES: Mapping[Kind, float] = {Kind.LENGTH: 1e-5, Kind.ANGLE: 1e-4}
_PASSES = 4
_LOWEST = 4
"""How many steps a hole may be lowered to keep a clearance."""

_SAME = 1e-9
_FLOOR = 1e-6
_LEVEL, _DRIFT, _RAIL = range(3)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounded:
    """A plan with its figures rounded.

    Attributes:
        car: the car with the rounded sizes.
        figures: how it stands.
        bushings: for its four holes, in the order of `Station`.
        steps: what each planned size is rounded to a multiple of [m or rad], by its name.
        slopes: change of height difference (positive nose up), drift (positive to the left) and rail offset
            (positive off the rail) for each metre or radian of a size, by its name.
        costs: how far the rounding moves those three, never negative [m].
        shares: the same as parts of their tolerances.
    """

    car: Car
    figures: Figures
    bushings: tuple[Bushing, ...]
    steps: Mapping[str, float]
    slopes: Mapping[str, tuple[float, float, float]]
    costs: tuple[float, float, float]
    shares: tuple[float, float, float]

    def value(self, name: str) -> float:
        """Return a rounded size by its name [m or rad]."""
        return dimension_of(self.car, name).value


def rounded(plan: Plan, *, rules: ClassRules | None = None, system: System = System.METRIC) -> Rounded:
    """Return a plan with its figures rounded, each making up for those that were rounded before it.

    Lengths are rounded to a hundredth of a millimetre or half a thousandth of an inch, angles to a tenth of a
    degree, the sweep to a hundredth; ten times as finely where that would cost more than a tenth of a
    tolerance. Rear holes and bend come first; then the dominant hole's height makes up for the level, the
    turn of a bent axle or the sweep for the drift, and the trim for the rail. What the plan leaves as it was
    is not rounded, and a clearance that is just kept stays kept.

    Args:
        plan: the plan.
        rules: of the class it is built for.
        system: whose steps to take.

    Returns:
        The rounded plan.

    Raises:
        CarCannotRest: the three wheels that are meant to carry the car stand in one line.
    """
    job = _Job(plan=plan, least=_least_clearance(plan, rules), system=system)
    found = job.done(0)
    if max(found.shares) >= _MOST_SHARE:
        finer = job.done(1)
        if max(finer.shares) < max(found.shares):
            return finer
    return found


class _Job:
    """The rounding of one plan."""

    def __init__(self, *, plan: Plan, least: float, system: System) -> None:
        self.plan, self.least, self.system = plan, least, system
        targets = plan.car.targets
        self.tolerances = [
            max(each.tolerance, _FLOOR)
            for each in (targets.height_difference, targets.drift, targets.rail_offset)
        ]
        self.before = _gates(_standing(plan.car))
        self.exact = {size.name: size.value for size in plan.sizes}
        self.kept = {size.name for size in plan.sizes if abs(size.value - size.was) <= _SAME}
        self.slopes = {
            name: _slopes(plan.car, name, value, self.before) for name, value in self.exact.items()
        }
        front = plan.car.dominant.value
        trim = "washer" if plan.car.corners[plan.car.dominant].washer.value > 0.0 else "relief"
        self.made_up = (
            (_LEVEL, f"{front}.hole_height"),
            (_DRIFT, f"{front}.{'clock' if plan.bent else 'sweep'}"),
            (_RAIL, f"{front}.{trim}"),
        )

    def step(self, name: str, finer: int) -> float:
        if dimension_kind(name) is Kind.LENGTH:
            return _LENGTHS[self.system][finer]
        return (_SWEEPS if name.endswith(".sweep") else _ANGLES)[finer]

    def done(self, finer: int) -> Rounded:
        """Return the plan rounded; finely or ten times as finely."""
        steps = {name: self.step(name, finer) for name in self.exact}
        last = {name for _, name in self.made_up}
        sizes = {
            name: value if name in self.kept or name in last else _near(value, steps[name])
            for name, value in self.exact.items()
        }
        bend = f"{self.plan.car.dominant.value}.bend"
        if sizes[bend] > self.plan.wish.most_bend + _SAME >= self.exact[bend]:
            sizes[bend] = math.floor(self.exact[bend] / steps[bend] + _FLOOR) * steps[bend]
        car, standing = self.made_up_for(sizes, steps)
        just_kept = self.plan.figures.ground_clearance >= self.least - _SAME
        for lower in range(_LOWEST):
            if not just_kept or figures_of(car, standing).ground_clearance >= self.least:
                break
            # Holes lower in the body lift it.
            for station in (Station.REAR_LEFT, Station.REAR_RIGHT):
                name = f"{station.value}.hole_height"
                sizes[name] = (math.floor(self.exact[name] / steps[name]) - lower) * steps[name]
            car, standing = self.made_up_for(sizes, steps)
        after = _gates(standing)
        costs = [
            abs(new - old) if math.isfinite(new - old) else 0.0
            for new, old in zip(after, self.before, strict=True)
        ]
        shares = [cost / wide for cost, wide in zip(costs, self.tolerances, strict=True)]
        return Rounded(
            car=car,
            figures=figures_of(car, standing),
            bushings=tuple(bushing_of(car, station, self.plan.wish.block) for station in Station),
            steps=steps,
            slopes=self.slopes,
            costs=(costs[0], costs[1], costs[2]),
            shares=(shares[0], shares[1], shares[2]),
        )

    def made_up_for(self, sizes: Mapping[str, float], steps: Mapping[str, float]) -> tuple[Car, Stance]:
        """Return the car and its stance once the sizes that are left have made up for the others."""
        sizes = dict(sizes)
        for gate, name in self.made_up:
            slope = self.slopes[name][gate]
            for _ in range(_PASSES):
                miss = _gates(_standing(planned_car(self.plan.car, sizes)))[gate] - self.before[gate]
                if not math.isfinite(miss / slope if slope else math.nan) or abs(miss) < _SAME:
                    break
                sizes[name] -= miss / slope
            if dimension_kind(name) is Kind.LENGTH:
                sizes[name] = max(sizes[name], 0.0)
            if name not in self.kept or sizes[name] != self.exact[name]:
                sizes[name] = _near(sizes[name], steps[name])
        car = planned_car(self.plan.car, sizes)
        return car, _standing(car)


def _standing(car: Car) -> Stance:
    return stance(steadied(car))


def _gates(at: Stance) -> tuple[float, float, float]:
    """Return height difference, drift and rail offset; what cannot be read is not a number."""
    drift, rail = at.drift.lateral, at.rail_offset
    return (
        at.height_difference,
        math.nan if drift is None else drift,
        math.nan if rail is None else rail,
    )


def _slopes(
    car: Car, name: str, value: float, before: tuple[float, float, float]
) -> tuple[float, float, float]:
    probe = _PROBES[dimension_kind(name)]
    try:
        after = _gates(_standing(planned_car(car, {name: value + probe})))
    except CarCannotRest:
        return (math.nan, math.nan, math.nan)
    found = [(new - old) / probe for new, old in zip(after, before, strict=True)]
    return (found[0], found[1], found[2])


def _near(value: float, step: float) -> float:
    return round(value / step) * step + 0.0


def _least_clearance(plan: Plan, rules: ClassRules | None) -> float:
    asked = [plan.car.rail.height.value + plan.wish.rail_clearance, plan.wish.ground_clearance or 0.0]
    limit = None if rules is None else rules.rules.get(Rule.GROUND_CLEARANCE)
    if isinstance(limit, Limit):
        asked.append(limit.least)
    return max(asked)
