"""What must hold for weights in pockets of any car: under the limit, within the room, mirrored, scaled."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rollwright.car import parse_car
from rollwright.car.model import Point, Target
from rollwright.geometry.ledger import Item, Ledger
from rollwright.geometry.stance import Stance, stance
from rollwright.quantity import Quantity, Source
from rollwright.scenario.club import file_text
from rollwright.setup.pockets import Choice, Plan, Pocket, Size, Wanted, choose

G, MM = 1e-3, 1e-3
TEXT = file_text("lark.toml")


def mirrored_text() -> str:
    """Return Lark with its left and right sides exchanged."""
    swapped = TEXT.replace("left", "\0").replace("right", "left").replace("\0", "right")
    return swapped.replace("centre_of_mass = [47, 0, 11]", "centre_of_mass = [47, -0.0, 11]")


STANCE, MIRRORED = stance(parse_car(TEXT)), stance(parse_car(mirrored_text()))
SLOW = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda value: round(value, 3))


def quantity(low: float, high: float, spread: float) -> st.SearchStrategy[Quantity]:
    return st.builds(
        lambda value, blur: Quantity(value=value * MM, uncertainty=blur * MM),
        number(low, high),
        st.one_of(st.just(0.0), number(0.0, spread)),
    )


def points(low: float, high: float) -> st.SearchStrategy[Point]:
    return st.tuples(quantity(low, high, 0.8), quantity(-12.0, 12.0, 0.8), quantity(2.0, 16.0, 0.8))


# A millimetre is a thousandth of a metre as a gram is of a kilogram: one strategy serves both.
BODIES = st.builds(
    lambda mass, x, y: Ledger(
        items=(Item(name="body", mass=mass, position=(x, y, Quantity(value=0.011, uncertainty=1e-3))),)
    ),
    quantity(85.0, 130.0, 0.8),
    quantity(35.0, 50.0, 1.0),
    quantity(-2.0, 2.0, 0.8),
)
POCKETS = st.lists(
    st.builds(
        lambda position, most: Pocket(name="", position=position, most=most),
        points(-18.0, 90.0),
        st.integers(0, 6),
    ),
    min_size=1,
    max_size=5,
).map(lambda found: [replace(pocket, name=f"pocket {index}") for index, pocket in enumerate(found)])
SIZES = st.lists(
    st.builds(
        lambda mass, count: Size(name="", mass=mass, count=count),
        quantity(0.3, 15.0, 0.15),
        st.integers(0, 6),
    ),
    min_size=1,
    max_size=4,
).map(lambda found: [replace(size, name=f"size {index}") for index, size in enumerate(found)])
WANTED = st.builds(
    lambda limit, centre: Wanted(
        limit=limit * G,
        centre=None if centre is None else Target(value=centre[0] * MM, tolerance=centre[1] * MM),
    ),
    number(110.0, 150.0),
    st.one_of(st.none(), st.tuples(number(30.0, 50.0), number(0.5, 6.0))),
)
READINGS = st.one_of(
    st.none(),
    st.builds(
        lambda off, spread: (off * G, spread * G),
        number(-1.0, 1.0),
        number(0.01, 0.5),
    ),
)


def shown(ledger: Ledger, reading: tuple[float, float] | None) -> Quantity | None:
    if reading is None:
        return None
    return Quantity(value=ledger.mass.value + reading[0], uncertainty=reading[1], source=Source.MEASURED)


def by_size(plan: Plan) -> Mapping[str, int]:
    found: dict[str, int] = {}
    for pocket in plan.counts.values():
        for name, count in pocket.items():
            found[name] = found.get(name, 0) + count
    return found


def aside(choice: Choice) -> float:
    assert choice.plan is not None
    return abs(choice.plan.centre[1].value * choice.plan.mass.value)


@SLOW
@given(BODIES, POCKETS, SIZES, WANTED, READINGS)
def test_no_plan_is_over_its_limit_with_more_than_five_percent(
    ledger: Ledger,
    pockets: list[Pocket],
    sizes: list[Size],
    wanted: Wanted,
    reading: tuple[float, float] | None,
) -> None:
    found = choose(ledger, STANCE, pockets, sizes, wanted, whole=shown(ledger, reading))
    assert (found.plan is None) is (found.obstacle is not None)
    if found.plan is None:
        return
    put = by_size(found.plan)
    # Two estimates of one mass, each weighed by the inverse of its variance.
    value, variance = ledger.mass.value, ledger.mass.uncertainty**2
    if reading is not None:
        share = variance / (variance + reading[1] ** 2)
        value, variance = value + share * reading[0], share * reading[1] ** 2
    for size in sizes:
        value += put.get(size.name, 0) * size.mass.value
        variance += (put.get(size.name, 0) * size.mass.uncertainty) ** 2
    assert found.plan.mass.value == pytest.approx(value, rel=1e-9)
    assert found.plan.mass.uncertainty == pytest.approx(math.sqrt(variance), rel=1e-6, abs=1e-12)
    if variance > 0.0:
        assert 0.5 * math.erfc((wanted.limit - value) / math.sqrt(2.0 * variance)) <= 0.05
    else:
        assert value <= wanted.limit + 1e-12
    assert found.plan.over <= 0.05
    assert found.plan.room >= -1e-12
    if wanted.centre is not None:
        assert abs(found.plan.centre[0].value - wanted.centre.value) <= wanted.centre.tolerance + 1e-9
    assert found.plan.stands >= 0.95


@SLOW
@given(BODIES, POCKETS, SIZES, WANTED)
def test_no_plan_takes_more_than_there_is_or_has_room(
    ledger: Ledger, pockets: list[Pocket], sizes: list[Size], wanted: Wanted
) -> None:
    plan = choose(ledger, STANCE, pockets, sizes, wanted).plan
    if plan is None:
        return
    put = by_size(plan)
    assert all(put.get(size.name, 0) <= size.count for size in sizes)
    for pocket in pockets:
        assert pocket.most is not None
        assert sum(plan.counts.get(pocket.name, {}).values()) <= pocket.most


def _mirrored(position: Point) -> Point:
    x, y, z = position
    return (x, replace(y, value=-y.value), z)


@SLOW
@given(BODIES, POCKETS, SIZES, WANTED)
def test_left_and_right_are_alike(
    ledger: Ledger, pockets: list[Pocket], sizes: list[Size], wanted: Wanted
) -> None:
    here = choose(ledger, STANCE, pockets, sizes, wanted)
    there = choose(
        Ledger(items=tuple(replace(item, position=_mirrored(item.position)) for item in ledger.items)),
        MIRRORED,
        [replace(pocket, position=_mirrored(pocket.position)) for pocket in pockets],
        sizes,
        wanted,
    )
    assert (here.plan is None) is (there.plan is None)
    if here.plan is None or there.plan is None:
        assert here.obstacle is not None
        assert there.obstacle is not None
        assert here.obstacle.demand is there.obstacle.demand
        return
    # Plans within 10 mg count as alike, so that either may be taken.
    assert here.plan.mass.value == pytest.approx(there.plan.mass.value, abs=1.01e-5)
    assert here.plan.pieces == there.plan.pieces
    assert aside(here) == pytest.approx(aside(there), abs=2e-9)


def _scaled(part: Quantity, factor: float) -> Quantity:
    return replace(part, value=part.value * factor, uncertainty=part.uncertainty * factor)


@SLOW
@given(BODIES, POCKETS, SIZES, WANTED, st.sampled_from([0.5, 2.0, 4.0]))
def test_masses_twice_as_great_go_in_the_same_pockets(
    ledger: Ledger, pockets: list[Pocket], sizes: list[Size], wanted: Wanted, factor: float
) -> None:
    one = choose(ledger, STANCE, pockets, sizes, wanted)
    many = choose(
        Ledger(items=tuple(replace(item, mass=_scaled(item.mass, factor)) for item in ledger.items)),
        STANCE,
        pockets,
        [replace(size, mass=_scaled(size.mass, factor)) for size in sizes],
        replace(wanted, limit=wanted.limit * factor),
    )
    assert (one.plan is None) is (many.plan is None)
    if one.plan is None or many.plan is None:
        return
    # The 10 mg within which plans are alike do not grow with the masses.
    assert many.plan.mass.value / factor == pytest.approx(one.plan.mass.value, abs=2.1e-5)


@SLOW
@given(BODIES, POCKETS, SIZES, WANTED, number(0.1, 10.0))
def test_a_higher_limit_never_makes_a_lighter_car(
    ledger: Ledger, pockets: list[Pocket], sizes: list[Size], wanted: Wanted, more: float
) -> None:
    low = choose(ledger, STANCE, pockets, sizes, wanted).plan
    high = choose(ledger, STANCE, pockets, sizes, replace(wanted, limit=wanted.limit + more * G)).plan
    if low is not None:
        assert high is not None
        assert high.mass.value >= low.mass.value - 1.01e-5


def test_the_mirrored_car_really_is_one() -> None:
    one: Stance = STANCE
    for station, at in one.stations.items():
        other = MIRRORED.stations[station.opposite].contact
        assert other == pytest.approx((at.contact[0], -at.contact[1], at.contact[2]), abs=1e-12)
