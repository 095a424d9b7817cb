"""Weights in pockets: the file is read or refused in one line, demands are kept, what stops them is named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rollwright.car import parse_car
from rollwright.car.model import Target
from rollwright.errors import InputError, OutOfRange
from rollwright.geometry.ledger import Item, Ledger, ledger_of
from rollwright.geometry.stance import stance
from rollwright.judge.verdict import State
from rollwright.quantity import Quantity, Source
from rollwright.scenario.club import file_text
from rollwright.setup.balance import Pan, ScaleReading, balance_of
from rollwright.setup.pockets import Choice, Demand, Plan, Pocket, Size, Wanted, choose
from rollwright.setup.pockets_file import parse_pockets
from rollwright.setup.whole_numbers import Guarded, Row, Search

FULL = parse_car(file_text("lark.toml"))
LARK = replace(FULL, weights={})
STANCE = stance(FULL)
POCKETS, SIZES = parse_pockets(file_text("lark-pockets.toml"))
G, MM = 1e-3, 1e-3

TEXT = """format = 1
[pockets.tail]
x = -9
y = 0
z = "1/4 in"
length = 30
[weights.slug]
mass = "0.5 oz"
count = 4
length = 12
"""


def ask(
    limit: float = 140.0,
    centre: tuple[float, float] | None = None,
    *,
    whole: Quantity | None = None,
    ledger: Ledger | None = None,
    aside: float | None = None,
    highest: float | None = None,
) -> Choice:
    wanted = Wanted(
        limit=limit * G,
        centre=None if centre is None else Target(value=centre[0] * MM, tolerance=centre[1] * MM),
        aside=aside,
        highest=highest,
    )
    return choose(ledger_of(LARK) if ledger is None else ledger, STANCE, POCKETS, SIZES, wanted, whole=whole)


def planned(found: Choice) -> Plan:
    assert found.plan is not None
    assert found.obstacle is None
    return found.plan


def reading(grams: float, spread: float = 0.1) -> Quantity:
    return Quantity(value=grams * G, uncertainty=spread * G, source=Source.MEASURED)


def test_a_file_is_read_with_its_units() -> None:
    (tail,), (slug,) = parse_pockets(TEXT)
    assert tail.name == "tail"
    assert [part.value for part in tail.position] == pytest.approx([-0.009, 0.0, 0.00635])
    assert tail.most is None
    assert tail.length == pytest.approx(0.03)
    assert slug.mass.value == pytest.approx(0.5 * 28.349523125e-3, rel=1e-15)
    assert slug.count == 4
    assert slug.length == pytest.approx(0.012)


def test_a_weight_whose_number_is_not_said_is_there_once() -> None:
    _, (slug,) = parse_pockets(TEXT.replace("count = 4\n", ""))
    assert slug.count == 1


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ("x = -9\n", "", "pockets.tail.x", "missing"),
        ("x = -9", "x = 3000", "pockets.tail.x", "outside"),
        ("x = -9", "ahead = -9", "pockets.tail.ahead", "not known"),
        ("length = 30\n", "", "pockets.tail", "how much goes in"),
        ("length = 30", "most = 2.5", "pockets.tail.most", "whole number"),
        ("length = 30", "most = true", "pockets.tail.most", "whole number"),
        ("length = 30", "length = 0", "pockets.tail.length", "outside"),
        ("length = 12\n", "", "weights.slug.length", "pocket tail"),
        ('mass = "0.5 oz"', "mass = 0", "weights.slug.mass", "outside"),
        ('mass = "0.5 oz"\n', "", "weights.slug.mass", "mass = 5"),
        ('mass = "0.5 oz"', 'mass = "12 mm"', "weights.slug.mass", "mass"),
        ("count = 4", "count = -1", "weights.slug.count", "whole number"),
        ("[weights.slug]", "[[weights]]", "weights", "[weights.nose]"),
        ("[pockets.tail]", "[pocket.tail]", "pocket", 'did you mean "pockets"?'),
        ("format = 1", "format = 1\n[body]\nmass = 3", "", "car file"),
    ],
)
def test_a_wrong_file_is_refused_in_one_line(old: str, new: str, key: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_pockets(TEXT.replace(old, new), file="some.toml")
    message = str(caught.value)
    assert message.startswith(f"some.toml: {key}")
    assert said in message
    assert "\n" not in message


@pytest.mark.parametrize("heading", ["pockets", "weights"])
def test_a_file_with_nothing_of_a_sort_or_too_much_is_refused(heading: str) -> None:
    start = TEXT.index(f"[{heading}")
    end = TEXT.index("[weights") if heading == "pockets" else len(TEXT)
    with pytest.raises(InputError, match=f"no {heading}"):
        parse_pockets(TEXT[:start] + TEXT[end:])
    part = TEXT[start:end]
    many = "".join(part.replace("tail", f"t{n}").replace("slug", f"s{n}") for n in range(21))
    with pytest.raises(InputError, match="21 are more than 20"):
        parse_pockets(TEXT[:start] + many + TEXT[end:])


PLACE, WEIGHT = POCKETS[1], SIZES[0]


@pytest.mark.parametrize(
    ("pocket", "size", "said"),
    [
        (replace(PLACE, most=None), WEIGHT, "how much goes in"),
        (replace(PLACE, most=-1), WEIGHT, "-1 pieces"),
        (replace(PLACE, length=0.0), WEIGHT, "more than zero"),
        (replace(PLACE, length=0.04), replace(WEIGHT, length=None), "this weight has none"),
        (PLACE, replace(WEIGHT, mass=Quantity(value=0.0)), "more than zero"),
        (PLACE, replace(WEIGHT, count=-2), "-2 pieces"),
        (PLACE, replace(WEIGHT, length=-1.0), "more than zero"),
    ],
)
def test_impossible_pockets_and_weights_are_refused(pocket: Pocket, size: Size, said: str) -> None:
    with pytest.raises(OutOfRange, match=said):
        choose(ledger_of(LARK), STANCE, [pocket], [size], Wanted(limit=0.14))


def test_names_limits_and_bodies_that_make_no_sense_are_refused() -> None:
    for pockets, sizes in (([], SIZES), (POCKETS, []), (POCKETS[:1] * 2, SIZES), (POCKETS, SIZES[:1] * 2)):
        with pytest.raises(OutOfRange):
            choose(ledger_of(LARK), STANCE, pockets, sizes, Wanted(limit=0.14))
    with pytest.raises(OutOfRange, match="limit"):
        ask(0.0)
    nothing = Item(name="body", mass=Quantity(value=0.0), position=POCKETS[0].position)
    with pytest.raises(OutOfRange, match="weighs nothing"):
        ask(ledger=Ledger(items=(nothing,)))


def test_the_plan_stays_under_the_limit_and_inside_the_tolerance() -> None:
    plan = planned(ask(140.0, (38.0, 1.0), whole=reading(106.7)))
    assert plan.over <= 0.05
    assert plan.limit_verdict.state is State.PASS
    assert plan.mass.value + plan.kept_back + plan.room == pytest.approx(0.140, rel=1e-6)
    assert abs(plan.centre[0].value - 0.038) <= 0.001
    assert plan.room < min(size.mass.value for size in SIZES)
    assert plan.stands > 0.95


def test_pockets_and_bench_hold_no_more_than_they_do() -> None:
    plan = planned(ask(200.0))
    put = {name: sum(pocket.get(name, 0) for pocket in plan.counts.values()) for name in ("long", "short")}
    assert put["long"] <= 3
    assert put["short"] <= 4
    lengths = {size.name: size.length or 0.0 for size in SIZES}
    tail = plan.counts.get("tail", {})
    assert sum(count * lengths[name] for name, count in tail.items()) <= 0.040 + 1e-12
    assert all(sum(plan.counts.get(side, {}).values()) <= 2 for side in ("left", "right"))


def test_one_piece_is_better_than_two_that_lie_more_evenly() -> None:
    sides = [
        Pocket(name=name, position=(Quantity(value=0.02), Quantity(value=y), Quantity(value=0.01)), most=2)
        for name, y in (("left", 3e-3), ("right", -3e-3))
    ]
    sizes = [Size(name=f"{grams} g", mass=Quantity(value=grams * G), count=2) for grams in (5, 10)]
    limit = ask().empty.mass.value + ask().empty.kept_back + 0.0105
    plan = planned(choose(ledger_of(LARK), STANCE, sides, sizes, Wanted(limit=limit)))
    assert [*plan.counts.values()] == [{"10 g": 1}]
    pair = planned(choose(ledger_of(LARK), STANCE, sides, sizes[:1], Wanted(limit=limit)))
    assert pair.counts == {"left": {"5 g": 1}, "right": {"5 g": 1}}


def test_a_row_that_just_fills_its_pocket_goes_in() -> None:
    pocket = replace(POCKETS[0], length=0.036)
    size = replace(SIZES[0], length=0.012, count=9)
    plan = planned(choose(ledger_of(LARK), STANCE, [pocket], [size], Wanted(limit=0.2)))
    assert plan.counts == {"tail": {"long": 3}}


def test_a_scale_tightens_the_mass_as_the_balance_does() -> None:
    shown = reading(107.1, 0.2)
    balance = balance_of(ledger_of(LARK), STANCE, [ScaleReading(pan=Pan.WHOLE, mass=shown)])
    found = ask(whole=shown)
    for mine, other in zip(
        (found.empty.mass, *found.empty.centre, *found.empty.loads.values()),
        (balance.mass, *balance.centre, *balance.loads.values()),
        strict=True,
    ):
        assert mine.value == pytest.approx(other.value, rel=1e-9, abs=1e-12)
        assert mine.uncertainty == pytest.approx(other.uncertainty, rel=1e-6)
    assert found.misfit_probability == pytest.approx(balance.misfit_probability, rel=1e-9)
    assert planned(found).kept_back < planned(ask()).kept_back


def test_more_can_go_in_when_less_is_open() -> None:
    # The same reading as the file's own mass: only the uncertainty shrinks.
    loose, tight = planned(ask(139.5)), planned(ask(139.5, whole=reading(106.6, 0.05)))
    assert tight.mass.value > loose.mass.value


def test_a_scale_that_contradicts_the_file_is_noticed() -> None:
    assert ask(whole=reading(109.0)).misfit_probability < 1e-3


def test_a_car_that_is_too_heavy_as_it_is_is_told_by_how_much() -> None:
    found = ask(105.0)
    assert found.plan is None
    assert found.obstacle is not None
    assert found.obstacle.demand is Demand.MASS
    spread = ledger_of(LARK).mass.uncertainty
    assert found.obstacle.shortfall == pytest.approx(0.0016 + 1.6448536 * spread, rel=1e-5)
    assert found.obstacle.plan is None


def test_a_car_that_may_take_nothing_more_is_left_as_it_is() -> None:
    spread = ledger_of(LARK).mass.uncertainty * 1e3
    plan = planned(ask(106.6 + 1.645 * spread + 0.5))
    assert plan.counts == {}
    assert plan.pieces == 0
    assert plan.room * 1e3 == pytest.approx(0.5, abs=0.001)


def test_the_centre_can_cost_mass_and_the_plan_says_how_much() -> None:
    free = planned(ask(140.0))
    found = ask(140.0, (50.3, 0.2))
    assert found.held_back > 0.0
    assert planned(found).mass.value + found.held_back == pytest.approx(free.mass.value, abs=2e-5)


@pytest.mark.parametrize(("centre", "beyond"), [(20.0, 1), (75.0, -1)])
def test_a_centre_out_of_reach_is_told_with_the_nearest(centre: float, beyond: int) -> None:
    obstacle = ask(140.0, (centre, 1.0)).obstacle
    assert obstacle is not None
    assert obstacle.demand is Demand.CENTRE
    assert obstacle.plan is not None
    (reached,) = obstacle.reached
    assert beyond * (reached * 1e3 - centre) > 1.0
    assert obstacle.shortfall == pytest.approx(abs(reached - centre * MM) - MM, rel=1e-9)
    assert obstacle.plan.centre[0].value == pytest.approx(reached)


def test_a_centre_between_two_that_can_be_had_is_told_with_both() -> None:
    pocket = replace(POCKETS[0], length=None, most=1)
    wanted = Wanted(limit=0.14, centre=Target(value=0.047, tolerance=0.0005))
    obstacle = choose(ledger_of(LARK), STANCE, [pocket], SIZES[:1], wanted).obstacle
    assert obstacle is not None
    below, above = obstacle.reached
    assert below < 0.0465
    assert above > 0.0475


def test_height_and_side_can_be_bounded_too() -> None:
    assert planned(ask(aside=0.2 * MM)).centre[1].value == pytest.approx(0.0, abs=0.2 * MM)
    assert planned(ask(highest=9.8 * MM)).centre[2].value <= 9.8 * MM + 1e-9


@pytest.mark.parametrize(
    ("aside", "highest", "demand"), [(1e-12, None, Demand.ASIDE), (None, 4e-3, Demand.HEIGHT)]
)
def test_a_height_or_side_out_of_reach_is_named(
    aside: float | None, highest: float | None, demand: Demand
) -> None:
    where = (Quantity(value=0.045), Quantity(value=5e-4), Quantity(value=0.02))
    leaning = replace(LARK, body=replace(LARK.body, centre_of_mass=where))
    obstacle = ask(ledger=ledger_of(leaning), aside=aside, highest=highest).obstacle
    assert obstacle is not None
    assert obstacle.demand is demand


def test_a_car_that_would_tip_is_refused_though_it_is_light_enough() -> None:
    body = replace(
        LARK.body, centre_of_mass=(Quantity(value=0.105), Quantity(value=0.0), Quantity(value=0.011))
    )
    obstacle = ask(ledger=ledger_of(replace(LARK, body=body))).obstacle
    assert obstacle is not None
    assert obstacle.demand is Demand.STANDING
    assert obstacle.station is not None
    assert obstacle.station in STANCE.carrying


def test_a_search_keeps_a_guard_band_that_grows_with_the_choice() -> None:
    # 10 n + 2 sqrt(1 + (3 n)^2) <= 50: n = 3 leaves 1.9, n = 4 breaks it though 10 n <= 50.
    guard = Guarded(slope=np.array([10.0]), start=-50.0, root=np.array([[3.0]]), rest=1.0, guard=2.0)
    search = Search(upper=np.array([9.0]))
    found = search.best(np.array([-1.0]), rows=[], guarded=[guard])
    assert found is not None
    assert found.tolist() == [3.0]
    rows = [Row(np.array([1.0]), low=4.0)]
    assert search.best(np.array([-1.0]), rows=rows, guarded=[guard]) is None


def test_a_touching_plane_is_nowhere_above_its_guard_band() -> None:
    rng = np.random.default_rng(5)
    guard = Guarded(slope=rng.normal(size=4), start=-3.0, root=rng.normal(size=(3, 4)), rest=0.4, guard=1.6)
    for at, other in rng.integers(0, 9, (200, 2, 4)).astype(float):
        plane = guard.touching(at)
        assert plane.slope @ at - plane.high == pytest.approx(guard.excess(at), abs=1e-9)
        assert plane.slope @ other - plane.high <= guard.excess(other) + 1e-9


def test_a_size_of_one_pocket_needs_no_length() -> None:
    pocket = Pocket(name="hole", position=POCKETS[1].position, most=1)
    size = Size(name="plug", mass=Quantity(value=0.02), count=5)
    assert planned(choose(ledger_of(LARK), STANCE, [pocket], [size], Wanted(limit=0.2))).pieces == 1
