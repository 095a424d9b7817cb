"""The parts box: wheels, pins, washers and weights as they were measured, and what was done to them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from rollwright.judge.parts import (
    Grade,
    Pair,
    closest_pairs,
    doubts_of,
    fit_to_race,
    grade_axle,
    grade_wheel,
)
from rollwright.quantity import Quantity

__all__ = [
    "WORK",
    "BoxAxle",
    "BoxWheel",
    "Entry",
    "Graded",
    "PartsBox",
    "Stock",
    "graded",
    "lubricant_of",
    "spin_down_of",
]

WORK = frozenset({"trued", "polished", "broken_in", "lubricated", "cleaned"})
"""What changes how a wheel spins, so that an earlier spin-down no longer speaks of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Something that was done to a part.

    Attributes:
        date: the day, as in `2026-03-14`.
        what: such as `trued`, `polished` or `spin_down`.
        note: the builder's own words.
        friction: in the bore, as fitted to a spin-down [1], or None.
        lubricant: what was in the bore then, empty where it is not said.
        axle: name of the pin that it spun on, empty where it is not said.
    """

    date: str
    what: str
    note: str = ""
    friction: Quantity | None = None
    lubricant: str = ""
    axle: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxWheel:
    """One wheel of the box.

    Attributes:
        name: what it is called.
        diameter: of the tread [m].
        bore: [m].
        mass: [kg].
        inertia: about its own axle [kg m2], or None.
        tread_width: [m], or None.
        hub_projection: hub's inner end to the tread's inner edge [m], or None.
        run_out: radial, of the tread about the bore, from least to greatest [m], or None.
        hub_length: [m], or None.
        history: what was done to it, the oldest first.
    """

    name: str
    diameter: Quantity
    bore: Quantity
    mass: Quantity
    inertia: Quantity | None = None
    tread_width: Quantity | None = None
    hub_projection: Quantity | None = None
    run_out: Quantity | None = None
    hub_length: Quantity | None = None
    history: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxAxle:
    """One pin of the box.

    Attributes:
        name: what it is called.
        shank: its diameter [m].
        bend: angle between its two straight parts [rad]; 0: it is straight.
        mass: [kg], or None.
        straightness: how far its straight parts bow [m], or None.
        history: what was done to it, the oldest first.
    """

    name: str
    shank: Quantity
    bend: Quantity
    mass: Quantity | None = None
    straightness: Quantity | None = None
    history: tuple[Entry, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """So many alike: washers by their thickness [m], or weights by the mass of one [kg]."""

    name: str
    size: Quantity
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsBox:
    """A box of parts.

    Attributes:
        name: what it is called.
        wheels: by their names, in the file's order.
        axles: likewise.
        washers: in the file's order.
        weights: likewise.
    """

    name: str
    wheels: Mapping[str, BoxWheel]
    axles: Mapping[str, BoxAxle]
    washers: tuple[Stock, ...] = ()
    weights: tuple[Stock, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Graded:
    """A box, graded.

    Attributes:
        box: the box.
        lubricant: of the spin-downs that count, empty where none says.
        wheels: the wheels' grades.
        axles: the pins' grades.
        frictions: of the wheels that were spun down with that lubricant and not worked on since [1].
        pairs: wheels in pairs of nearly one diameter, the closest first; only those fit to race.
        fit: names of the parts that nothing speaks against.
    """

    box: PartsBox
    lubricant: str
    wheels: Mapping[str, tuple[Grade, ...]]
    axles: Mapping[str, tuple[Grade, ...]]
    frictions: Mapping[str, Quantity]
    pairs: tuple[Pair, ...]
    fit: frozenset[str] = field(default_factory=frozenset)

    @property
    def doubtful(self) -> tuple[tuple[str, str, Grade], ...]:
        """What leaves a part doubtful: `wheels` or `axles`, its name, and the check."""
        return tuple(
            (group, name, grade)
            for group, graded_parts in (("wheels", self.wheels), ("axles", self.axles))
            for name, grades in graded_parts.items()
            for grade in doubts_of(grades)
        )


def lubricant_of(wheels: Sequence[BoxWheel]) -> str:
    """Return the lubricant with which most wheels were last spun down, the latest of equals."""
    last = [
        spins[-1]
        for wheel in wheels
        if (spins := [each for each in wheel.history if each.friction is not None])
    ]
    counts = Counter(each.lubricant for each in last)
    if not counts:
        return ""
    latest = {name: max(each.date for each in last if each.lubricant == name) for name in counts}
    return max(counts, key=lambda name: (counts[name], latest[name], name))


def spin_down_of(wheel: BoxWheel, *, lubricant: str) -> tuple[Entry | None, bool]:
    """Return a wheel's last spin-down with a lubricant, and whether it was worked on since.

    Args:
        wheel: the wheel.
        lubricant: which; empty where it was not said.

    Returns:
        The entry or None, and whether something of `WORK` was done after it.
    """
    found, since = None, False
    for each in wheel.history:
        if each.friction is not None and each.lubricant == lubricant:
            found, since = each, False
        elif each.what in WORK:
            since = True
    return found, found is not None and since


def graded(box: PartsBox, *, lubricant: str | None = None) -> Graded:
    """Return the grades of every part of a box.

    Args:
        box: the box.
        lubricant: of the spin-downs that are to count; None takes the one that most wheels were spun with.

    Returns:
        The grades.
    """
    wanted = lubricant_of(list(box.wheels.values())) if lubricant is None else lubricant
    shanks = [axle.shank for axle in box.axles.values()]
    wheels, frictions = {}, {}
    for name, wheel in box.wheels.items():
        spun, since = spin_down_of(wheel, lubricant=wanted)
        friction = None if spun is None else spun.friction
        if friction is not None and not since:
            frictions[name] = friction
        wheels[name] = grade_wheel(
            bore=wheel.bore,
            shanks=shanks,
            diameter=wheel.diameter,
            mass=wheel.mass,
            run_out=wheel.run_out,
            hub_length=wheel.hub_length,
            inertia=wheel.inertia,
            friction=friction,
            worked_on_since=since,
        )
    axles = {name: grade_axle(straightness=axle.straightness) for name, axle in box.axles.items()}
    fit = frozenset(
        f"{group}.{name}"
        for group, parts in (("wheels", wheels), ("axles", axles))
        for name, grades in parts.items()
        if fit_to_race(grades)
    )
    return Graded(
        box=box,
        lubricant=wanted,
        wheels=wheels,
        axles=axles,
        frictions=frictions,
        pairs=closest_pairs(
            {name: wheel.diameter for name, wheel in box.wheels.items() if f"wheels.{name}" in fit}
        ),
        fit=fit,
    )
