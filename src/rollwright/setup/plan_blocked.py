"""What stands in the way of a wish, in plain words: which rule or part, by how much, and the mend."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from rollwright.car.model import Car, Seat, Station
from rollwright.errors import CarCannotRest
from rollwright.geometry.mass import centre_of_mass
from rollwright.geometry.stance import Stance, stance
from rollwright.geometry.tripod import pose_at
from rollwright.judge.class_rules import ClassRules, Limit, Rule
from rollwright.setup.plan_family import Family, Task
from rollwright.setup.plan_parts import Blocked, Figures
from rollwright.setup.plan_solve import DRIFT, HEIGHT, RAIL
from rollwright.units import Kind, System, show, show_sided

__all__ = ["Clearance", "Say", "clearance_of", "of_balance", "of_rules", "of_targets", "wheel_width"]

_MET = 1e-9


@dataclass(frozen=True, slots=True)
class Say:
    """Prints lengths and angles in a system of units."""

    system: System

    def length(self, value: float) -> str:
        """Return a length without its sign."""
        return str(show(abs(value), kind=Kind.LENGTH, system=self.system))

    def angle(self, value: float) -> str:
        """Return an angle without its sign."""
        return str(show(abs(value), kind=Kind.ANGLE))

    def drift(self, value: float) -> str:
        """Return a drift with its side."""
        return show_sided(value, system=self.system)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance:
    """The least height that the underside must keep [m], what asks for it, in words, and its name."""

    least: float
    words: str
    what: str
    rule: Rule | None = None


def clearance_of(task: Task, rules: ClassRules | None) -> Clearance:
    """Return the height that the underside must keep: for the rail, the wish or the class."""
    wish, rail = task.wish, task.blank.car.rail.height.value
    asked = [Clearance(least=rail + wish.rail_clearance, words="the rail", what="rail_clearance")]
    if wish.ground_clearance is not None:
        asked.append(
            Clearance(
                least=wish.ground_clearance, words="the wished ground clearance", what="ground_clearance"
            )
        )
    limit = None if rules is None else rules.rules.get(Rule.GROUND_CLEARANCE)
    if rules is not None and isinstance(limit, Limit) and limit.least > 0.0:
        asked.append(
            Clearance(
                least=limit.least,
                words=f"the ground clearance of the {rules.name}",
                what="ground_clearance",
                rule=Rule.GROUND_CLEARANCE,
            )
        )
    return max(asked, key=lambda one: one.least)


def of_targets(task: Task, family: Family, figures: Figures, trim: float, say: Say) -> Iterator[Blocked]:
    """Yield what keeps drift, height difference and rail offset from their targets."""
    wanted = task.goals[DRIFT]
    most = say.angle(task.limits.most_bend)
    part = "an axle may be bent" if task.blank.bent else "a hole may be drilled askew"
    if not family.steers and family.needed is not None:
        none = "no angle at all gives it on this board"
        needs = f"it needs {say.angle(family.needed)}" if math.isfinite(family.needed) else none
        mend = f"ask for {say.drift(family.drift)} at most"
        if math.isfinite(family.needed):
            mend += f", or allow {say.angle(family.needed)}"
        yield Blocked(
            what="drift",
            why=f"{part} by {most} at most, and a drift of {say.drift(wanted)} takes more: {needs}",
            by=abs(wanted - family.drift),
            mend=mend,
        )
    elif figures.drift is None or abs(figures.drift - wanted) > _MET:
        yield _unsettled("drift", math.inf if figures.drift is None else abs(figures.drift - wanted), "drift")
    off = abs(figures.height_difference - task.goals[HEIGHT])
    if off > _MET:
        yield _unsettled("height_difference", off, "height difference")
    if figures.rail_offset is None or abs(figures.rail_offset - task.goals[RAIL]) > _MET:
        yield _rail(task, figures, trim, say)


def _unsettled(what: str, by: float, words: str) -> Blocked:
    return Blocked(
        what=what,
        why=f"the {words} jumps about its target: a wheel may stand on either rim of its tread, or run at "
        "either end of its play",
        by=by,
        mend="give the wheels' seats in the car file, or wish for another cant of the rear or front holes",
    )


def _rail(task: Task, figures: Figures, trim: float, say: Say) -> Blocked:
    limits = task.limits
    if figures.rail_offset is None:
        return Blocked(
            what="rail_offset",
            why="the dominant wheel stands above the rail and cannot follow it",
            by=math.inf,
            mend="check the rail's height and the wheel's diameter",
        )
    missed = figures.rail_offset - task.goals[RAIL]
    if missed > _MET and abs(trim - limits.inward) <= _MET:
        return Blocked(
            what="rail_offset",
            why=f"at most {say.length(limits.inward)} of wood may go beside the dominant wheel, and it still "
            f"stands {say.length(missed)} too far off the rail",
            by=missed,
            mend=f"use a body {say.length(2.0 * missed)} narrower, a hub that stands out less, or allow more "
            "bend",
        )
    if missed < -_MET and abs(trim - limits.outward) <= _MET:
        return Blocked(
            what="rail_offset",
            why=f"washers may add {say.length(limits.outward)} at most, and the dominant wheel still stands "
            f"{say.length(missed)} too far in",
            by=-missed,
            mend=f"use a body {say.length(2.0 * missed)} wider, or allow more washers",
        )
    return _unsettled("rail_offset", abs(missed), "rail offset")


def wheel_width(car: Car) -> float:
    """Return the width over the wheels of the wider pair, each pushed out against its axle's head [m].

    Args:
        car: the car.

    Returns:
        The sum of both sides' outermost points of the outer rims, `s c_y + w/2 s u_y + r sqrt(1 - u_y^2)`.
    """
    out = {}
    for station in Station:
        pose, wheel = pose_at(car, station, seat=Seat.HEAD), car.wheel_at(station)
        across = station.side * pose.axis[1]
        rim = wheel.diameter.value / 2.0 * math.sqrt(max(0.0, 1.0 - across * across))
        out[station] = station.side * pose.centre[1] + wheel.tread_width.value / 2.0 * across + rim
    return max(
        out[Station.REAR_LEFT] + out[Station.REAR_RIGHT], out[Station.FRONT_LEFT] + out[Station.FRONT_RIGHT]
    )


_MENDS = {
    Rule.LENGTH: "cut another body, {by} {way}",
    Rule.WIDTH: "use a body {by} {way}, fewer washers or narrower wheels",
    Rule.WHEELBASE: "drill the front holes {by} nearer to the class's limit: write another body.wheelbase",
    Rule.GROUND_CLEARANCE: "ask for a ride height {by} {way}",
    Rule.WHEEL_DIAMETER: "fit wheels {by} {way}",
}


def of_rules(car: Car, figures: Figures, rules: ClassRules | None, say: Say) -> Iterator[Blocked]:
    """Yield the rules of a class that the sizes of the planned car break."""
    if rules is None:
        return
    stations = {station: car.wheel_at(station).diameter.value for station in Station}
    bases = {
        side: car.body.wheelbase.value
        + car.corners[Station(f"front_{side}")].offset.value
        - car.corners[Station(f"rear_{side}")].offset.value
        for side in ("left", "right")
    }
    sizes = (
        (Rule.LENGTH, (car.body.length.value,)),
        (Rule.WIDTH, (figures.wheel_width,)),
        (Rule.WHEELBASE, tuple(bases.values())),
        (Rule.GROUND_CLEARANCE, (figures.ground_clearance,)),
        (Rule.WHEEL_DIAMETER, tuple(stations.values())),
    )
    for rule, values in sizes:
        limit = rules.rules.get(rule)
        if not isinstance(limit, Limit):
            continue
        # What is short of the least says so in negative figures, what is past the most in positive ones.
        size, past = max(
            ((value, value - min(max(value, limit.least), limit.most)) for value in values),
            key=lambda one: abs(one[1]),
        )
        if abs(past) <= _MET:
            continue
        edge, bound, way = ("least", limit.least, "more") if past < 0.0 else ("most", limit.most, "less")
        yield Blocked(
            what=rule.value,
            why=f"the {rules.name} asks for a {rule.words} of {say.length(bound)} at {edge}, and it is "
            f"{say.length(size)}",
            by=abs(past),
            mend=_MENDS[rule].format(by=say.length(past), way=way),
            rule=rule,
        )


def of_balance(car: Car, intended: Stance, say: Say) -> Iterator[Blocked]:
    """Yield what is said where the planned car's mass would not rest on the three wheels that are meant.

    Args:
        car: the planned car, with its own mass.
        intended: how it stands on the three wheels that are meant to carry it.
        say: prints lengths.

    Returns:
        One obstacle, where there is one; it is yielded.
    """
    try:
        if set(stance(car).carrying) == set(intended.carrying):
            return
    except CarCannotRest:
        pass
    poses = {station: pose_at(car, station, seat=at.seat.seat) for station, at in intended.stations.items()}
    place = centre_of_mass(car, poses)
    sine, cosine = math.sin(intended.roll), math.cos(intended.roll)
    above = sine * place[1] + cosine * place[2]
    x = math.cos(intended.pitch) * place[0] - math.sin(intended.pitch) * above
    y = cosine * place[1] - sine * place[2]
    rear, other = (Station.REAR_LEFT, Station.REAR_RIGHT)
    if car.dominant.side < 0:
        rear, other = other, rear
    word = "left" if car.dominant.side > 0 else "right"
    away = "right" if car.dominant.side > 0 else "left"
    edges = (
        ((other, rear), "behind the rear wheels, so the nose lifts: move it {} forward"),
        (
            (car.dominant, other),
            f"nearer to the raised wheel than three wheels hold: move it {{}} back and {word}",
        ),
        ((rear, car.dominant), f"outside the {word} wheels: move it {{}} to the {away}"),
    )
    outside = []
    for (start, end), words in edges:
        a, b = intended.stations[start].contact, intended.stations[end].contact
        run, rise = b[0] - a[0], b[1] - a[1]
        distance = (run * (y - a[1]) - rise * (x - a[0])) / math.hypot(run, rise)
        # Going round from the other rear wheel, the inside lies to the right on a left-dominant car.
        outside.append((car.dominant.side * distance, words))
    by, words = max(outside)
    by = max(by, 0.0)
    problem, _, mend = words.partition(": ")
    yield Blocked(
        what="balance",
        why=f"the centre of mass lies {say.length(by)} {problem}",
        by=by,
        mend=mend.format(f"at least {say.length(by)}"),
    )
