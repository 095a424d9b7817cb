"""Weights at hand, the pockets for them, what is wanted of the car, and what can be done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from rollwright.car.model import Point, Station, Target
from rollwright.errors import OutOfRange
from rollwright.judge.verdict import Verdict
from rollwright.quantity import Quantity

__all__ = ["Choice", "Demand", "Obstacle", "Plan", "Pocket", "Size", "Wanted", "check"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """One size of weight at hand.

    Attributes:
        name: what the builder calls it.
        mass: of one piece [kg]. Pieces of a size are taken to err alike, as one reading speaks for all.
        count: how many there are.
        length: room one takes up in a pocket [m]; None where no pocket is measured by its length.
    """

    name: str
    mass: Quantity
    count: int = 1
    length: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pocket:
    """One place for weights.

    Attributes:
        name: what the builder calls it.
        position: where the middle of the weights in it comes to lie, body frame [m].
        most: how many pieces go in; None if the length alone says it.
        length: room for pieces in a row [m]; None if the number alone says it.
    """

    name: str
    position: Point
    most: int | None = None
    length: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is wanted of the car with its weights in.

    Attributes:
        limit: the most it may weigh [kg].
        centre: centre of mass ahead of the rear hole line [m], or None if anywhere will do.
        aside: how far it may lie off the centre line, either way [m], or None.
        highest: how high it may lie above the underside [m], or None.
    """

    limit: float
    centre: Target | None = None
    aside: float | None = None
    highest: float | None = None


class Demand(Enum):
    """What can stand in the way."""

    MASS = "mass"
    CENTRE = "centre"
    ASIDE = "aside"
    HEIGHT = "height"
    STANDING = "standing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Which weights in which pockets, and what comes of it.

    Attributes:
        counts: how many of which size, by pocket and size; empty pockets are left out.
        mass: of the whole car [kg].
        centre: centre of mass, body frame [m]: forward of the rear holes, left, up.
        loads: what each carrying wheel presses down with, as a mass [kg].
        over: probability that the car is over the limit.
        kept_back: by how much the mass must stay under the limit for what is not known [kg].
        room: what may still be added and be under the limit with 95 % [kg].
        limit_verdict: on the mass.
        centre_verdict: on where the centre of mass lies along the car, or None.
        stands: probability that all three wheels press down, at least.
    """

    counts: Mapping[str, Mapping[str, int]]
    mass: Quantity
    centre: Point
    loads: Mapping[Station, Quantity]
    over: float
    kept_back: float
    room: float
    limit_verdict: Verdict
    centre_verdict: Verdict | None
    stands: float

    @property
    def pieces(self) -> int:
        """How many pieces go in."""
        return sum(sum(pocket.values()) for pocket in self.counts.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """The demand that cannot be met beside those before it: mass, centre, aside, height, standing.

    Attributes:
        demand: which one.
        reached: the nearest that can be reached on either side: the mass with what is kept back [kg], a
            coordinate of the centre of mass [m], or the load of the wheel that would lift [kg].
        shortfall: by how much the nearest misses [kg or m].
        station: the wheel that would lift, or None.
        plan: the plan that comes nearest, or None where the car is too heavy as it is.
    """

    demand: Demand
    reached: tuple[float, ...]
    shortfall: float
    station: Station | None = None
    plan: Plan | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What can be done.

    Attributes:
        empty: the car with nothing in its pockets.
        plan: the best plan that meets every demand, or None.
        obstacle: what stands in the way, or None.
        held_back: how much heavier the car could be but for the demand on its centre of mass [kg].
        misfit_probability: chance of a disagreement at least this large between ledger and scale if every
            stated uncertainty is right; 1 without a reading.
    """

    empty: Plan
    plan: Plan | None
    obstacle: Obstacle | None
    held_back: float
    misfit_probability: float


def check(pockets: Sequence[Pocket], sizes: Sequence[Size], wanted: Wanted) -> None:
    """Refuse what cannot be chosen from.

    Args:
        pockets: the places.
        sizes: the weights at hand.
        wanted: the demands.

    Raises:
        OutOfRange: a mass, a count or a room is not a possible one, or a name stands twice.
    """
    if not wanted.limit > 0.0:
        raise _refuse("a limit must be more than zero", "write the most that the car may weigh", "limit")
    for kind, names in (("pockets", [at.name for at in pockets]), ("weights", [of.name for of in sizes])):
        if not names:
            raise _refuse(f"there are no {kind}", f"name at least one under [{kind}]", kind)
        if len(set(names)) < len(names):
            raise _refuse("a name stands twice", "give each a name of its own", kind)
    for size in sizes:
        _check_size(size)
    for pocket in pockets:
        _check_pocket(pocket, sizes)


def _check_size(size: Size) -> None:
    key = f"weights.{size.name}"
    if not size.mass.value > 0.0:
        raise _refuse("a weight must weigh more than zero", "write what one piece weighs", f"{key}.mass")
    if size.count < 0:
        raise _refuse(f"{size.count} pieces cannot be", "write how many there are", f"{key}.count")
    if size.length is not None and not size.length > 0.0:
        raise _refuse("a length must be more than zero", "write the room one takes", f"{key}.length")


def _check_pocket(pocket: Pocket, sizes: Sequence[Size]) -> None:
    key = f"pockets.{pocket.name}"
    if pocket.most is None and pocket.length is None:
        raise _refuse("nothing says how much goes in", "write most = 3 (pieces) or length = 40", key)
    if pocket.most is not None and pocket.most < 0:
        raise _refuse(f"{pocket.most} pieces cannot be", "write how many go in", f"{key}.most")
    if pocket.length is None:
        return
    if not pocket.length > 0.0:
        raise _refuse("a length must be more than zero", "write the pocket's length", f"{key}.length")
    bare = next((size.name for size in sizes if size.length is None), None)
    if bare is not None:
        raise _refuse(
            f"the pocket {pocket.name} is measured by its length, but this weight has none",
            "write the length of one piece",
            f"weights.{bare}.length",
        )


def _refuse(problem: str, mend: str, key: str) -> OutOfRange:
    return OutOfRange(problem, mend=mend, key=key)
