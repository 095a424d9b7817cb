"""What the tests of plans share: the classes of the demo club, and what a plan says of one thing."""

from __future__ import annotations

from rollwright.car import Car
from rollwright.geometry.stance import stance
from rollwright.judge.class_file import parse_class
from rollwright.scenario.club import CLASS_FILES, file_text
from rollwright.setup.plan import Blocked, Plan, Preference

from .cars import value_of

EXACT = 1e-9
CARS = ("lark", "heron", "bittern")
OPEN, STRAIGHT, PLAIN = (parse_class(file_text(name)) for name in CLASS_FILES)
LEAST_BEND, LEAST_RELIEF, MOST_ADJUSTMENT = Preference


def front(found: Plan, name: str) -> float:
    """Return a dimension of the planned car's dominant station."""
    return value_of(found.car, f"{found.car.dominant.value}.{name}")


def off_target(car: Car, found: Plan) -> float:
    """Return how far the planned car, stood anew, is from its three targets at most [m]."""
    at, wanted = stance(found.car), car.targets
    assert at.drift.lateral is not None
    assert at.rail_offset is not None
    return max(
        abs(at.height_difference - wanted.height_difference.value),
        abs(at.drift.lateral - wanted.drift.value),
        abs(at.rail_offset - wanted.rail_offset.value),
    )


def blocked(found: Plan, what: str) -> Blocked:
    """Return the one obstacle to a wish."""
    (one,) = (each for each in found.blocked if each.what == what)
    return one


def names(found: Plan) -> list[str]:
    return [each.what for each in found.blocked]
