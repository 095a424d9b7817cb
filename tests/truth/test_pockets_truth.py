"""Weights in pockets against trying every way, statics by a general solver, drawn cars and exact ounces."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import binom, norm

from rollwright.car import Station, parse_car
from rollwright.car.model import Point, Target
from rollwright.geometry.ledger import Item, Ledger, ledger_of
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity
from rollwright.scenario.club import file_text
from rollwright.setup.pockets import Demand, Plan, Pocket, Size, Wanted, choose

Vector = NDArray[np.float64]

STANCE = stance(parse_car(file_text("lark.toml")))
G, MM = 1e-3, 1e-3
# ISO 14253-1: 95 % on one side; three wheels share the 5 % between them.
ONE_SIDED = float(norm.ppf(0.95))
EACH_WHEEL = float(norm.ppf(1.0 - 0.05 / 3.0))


def at(x: float, y: float, z: float, spread: float = 0.0) -> Point:
    first, second, third = (Quantity(value=part * MM, uncertainty=spread * MM) for part in (x, y, z))
    return (first, second, third)


def mass(grams: float, spread: float = 0.0) -> Quantity:
    return Quantity(value=grams * G, uncertainty=spread * G)


@dataclass(frozen=True)
class Case:
    ledger: Ledger
    pockets: tuple[Pocket, ...]
    sizes: tuple[Size, ...]
    wanted: Wanted


def drawn(seed: int) -> Case:
    """Draw a small problem: a body, two or three pockets, two or three sizes; some cannot be done."""
    rng = np.random.default_rng(seed)
    aside = float(rng.choice([1.0, 1.0, 12.0]))
    body = Item(
        name="body",
        mass=mass(float(rng.uniform(90, 125)), float(rng.uniform(0, 0.6))),
        position=at(float(rng.uniform(34, 52)), float(rng.uniform(-1, 1)) * aside, 11.0, 0.8),
    )
    many, kinds = int(rng.integers(2, 4)), int(rng.integers(2, 4))
    # Multiples of one mass can be put together in several ways, so that fewer pieces matter.
    lengths, even = bool(rng.integers(2)), seed % 3 == 0
    pockets = tuple(
        Pocket(
            name=f"pocket {number}",
            position=at(
                float(rng.uniform(-15, 60)),
                float(rng.choice([-14.0, 0.0, 14.0])),
                float(rng.uniform(4, 14)),
                float(rng.uniform(0, 0.5)),
            ),
            most=int(rng.integers(1, 4)),
            length=float(rng.uniform(8, 30)) * MM if lengths else None,
        )
        for number in range(many)
    )
    sizes = tuple(
        Size(
            name=f"size {number}",
            mass=mass(
                float(rng.integers(1, 5)) * 2.5 if even else round(float(rng.uniform(0.5, 14)), 2),
                float(rng.choice([0.0, 0.02, 0.1])),
            ),
            count=int(rng.integers(1, 3)),
            length=float(rng.uniform(3, 12)) * MM,
        )
        for number in range(kinds)
    )
    wanted = Wanted(
        limit=float(rng.uniform(118, 142)) * G,
        centre=Target(value=float(rng.uniform(28, 46)) * MM, tolerance=float(rng.uniform(0.5, 3)) * MM)
        if rng.integers(4)
        else None,
        aside=float(rng.uniform(0.1, 1.5)) * MM if not rng.integers(3) else None,
        highest=float(rng.uniform(9, 11)) * MM if not rng.integers(4) else None,
    )
    return Case(Ledger(items=(body,)), pockets, sizes, wanted)


@dataclass(frozen=True)
class Every:
    """Every way to fill the pockets, one per row, with what comes of it."""

    pieces: Vector
    mass: Vector
    spread: Vector
    centre: Vector
    loads: Vector
    firm: NDArray[np.bool_]

    @property
    def stands(self) -> NDArray[np.bool_]:
        """Whether all three wheels press down."""
        return self.firm[:, 0] & self.firm[:, 1] & self.firm[:, 2]


def every_way(case: Case) -> Every:
    """Enumerate; statics and propagation item by item, with nothing of the package's solver."""
    many, kinds = len(case.pockets), len(case.sizes)
    ways = []
    for flat in itertools.product(*(range(size.count + 1) for _ in case.pockets for size in case.sizes)):
        put = np.array(flat).reshape(many, kinds)
        if any(put[:, number].sum() > size.count for number, size in enumerate(case.sizes)):
            continue
        fits = True
        for row, pocket in zip(put, case.pockets, strict=True):
            room = sum(int(n) * (size.length or 0.0) for n, size in zip(row, case.sizes, strict=True))
            fits &= pocket.most is None or row.sum() <= pocket.most
            fits &= pocket.length is None or room <= pocket.length
        if fits:
            ways.append(put)
    put = np.array(ways, dtype=float)
    (body,) = case.ledger.items
    masses = np.array([size.mass.value for size in case.sizes])
    errors = np.array([size.mass.uncertainty for size in case.sizes])
    places = np.array([[part.value for part in pocket.position] for pocket in case.pockets])
    blurs = np.array([[part.uncertainty for part in pocket.position] for pocket in case.pockets])
    body_at = np.array([part.value for part in body.position])
    in_pocket = put @ masses
    total = body.mass.value + in_pocket.sum(axis=1)
    spread = np.sqrt(body.mass.uncertainty**2 + ((put.sum(axis=1) * errors) ** 2).sum(axis=1))
    centre = (body.mass.value * body_at + in_pocket @ places) / total[:, None]
    loads = np.zeros((len(put), 3))
    firm = np.ones((len(put), 3), dtype=bool)
    contacts = [STANCE.stations[station].contact for station in STANCE.carrying]
    for number in range(3):
        # The load is the share of each mass in the wheel's barycentric coordinate (areas of triangles).
        share, slope = _barycentric([(c[0], c[1]) for c in contacts], number)
        load = body.mass.value * share(body_at[:2]) + in_pocket @ np.array([share(p[:2]) for p in places])
        variance = (body.mass.uncertainty * share(body_at[:2])) ** 2
        variance += sum((body.mass.value * slope[i] * body.position[i].uncertainty) ** 2 for i in range(2))
        by_size = np.einsum("wps,p->ws", put, np.array([share(p[:2]) for p in places])) * errors
        by_place = sum((in_pocket * slope[i] * blurs[:, i]) ** 2 for i in range(2))
        every = np.sqrt(variance + (by_size**2).sum(axis=1) + np.asarray(by_place).sum(axis=1))
        loads[:, number] = load
        firm[:, number] = load - EACH_WHEEL * every >= 0.0
    return Every(put.sum(axis=(1, 2)), total, spread, centre, loads, firm)


class _Share:
    """Barycentric coordinate of a point with regard to one corner of a triangle, as a ratio of areas."""

    def __init__(self, corners: list[tuple[float, float]], number: int) -> None:
        self.corner, self.b, self.c = corners[number], corners[(number + 1) % 3], corners[(number + 2) % 3]

    def __call__(self, point: Vector) -> float:
        return self._area(point) / self._area(np.array(self.corner))

    def _area(self, p: Vector) -> float:
        return float(
            (self.c[0] - self.b[0]) * (p[1] - self.b[1]) - (self.c[1] - self.b[1]) * (p[0] - self.b[0])
        )


def _barycentric(corners: list[tuple[float, float]], number: int) -> tuple[_Share, tuple[float, float]]:
    share = _Share(corners, number)
    origin = np.zeros(2)
    slope = (
        share(np.array([1.0, 0.0])) - share(origin),
        share(np.array([0.0, 1.0])) - share(origin),
    )
    return share, slope


def allowed(case: Case, every: Every, demands: tuple[Demand, ...]) -> NDArray[np.bool_]:
    """Return which ways meet some demands."""
    wanted = case.wanted
    found = every.mass + ONE_SIDED * every.spread <= wanted.limit
    if Demand.CENTRE in demands and wanted.centre is not None:
        found &= np.abs(every.centre[:, 0] - wanted.centre.value) <= wanted.centre.tolerance
    if Demand.ASIDE in demands and wanted.aside is not None:
        found &= np.abs(every.centre[:, 1]) <= wanted.aside
    if Demand.HEIGHT in demands and wanted.highest is not None:
        found &= every.centre[:, 2] <= wanted.highest
    if Demand.STANDING in demands:
        found &= every.stands
    return found


@pytest.mark.parametrize("seed", range(120))
def test_no_other_way_to_fill_the_pockets_is_better(seed: int) -> None:
    case = drawn(seed)
    found = choose(case.ledger, STANCE, case.pockets, case.sizes, case.wanted)
    every = every_way(case)
    good = allowed(case, every, tuple(Demand))
    assert (found.plan is not None) is bool(good.any())
    if found.plan is None:
        assert found.obstacle is not None
        return
    heaviest = every.mass[good].max()
    alike = good & (every.mass >= heaviest - 0.01 * G)
    fewest = every.pieces[alike].min()
    alike &= every.pieces == fewest
    moment = np.abs(every.centre[:, 1] * every.mass)
    sideways = moment[alike].min()
    plan = found.plan
    assert heaviest - 0.01 * G <= plan.mass.value <= heaviest + 1e-12
    assert plan.pieces == fewest
    assert abs(plan.centre[1].value * plan.mass.value) == pytest.approx(sideways, abs=1e-9)
    if case.wanted.centre is not None:
        alike &= moment <= sideways + 1e-10
        target = case.wanted.centre.value
        nearest = (np.abs(every.centre[:, 0] - target) * every.mass)[alike].min()
        assert abs(plan.centre[0].value - target) * plan.mass.value == pytest.approx(nearest, abs=1e-9)
    free = allowed(case, every, (Demand.ASIDE, Demand.HEIGHT, Demand.STANDING))
    more = every.mass[free].max() - heaviest
    assert found.held_back == pytest.approx(more if more > 0.01 * G else 0.0, abs=1e-9)


def test_the_drawn_cases_are_of_every_sort() -> None:
    cases = [drawn(seed) for seed in range(120)]
    found = [choose(case.ledger, STANCE, case.pockets, case.sizes, case.wanted) for case in cases]
    assert sum(each.plan is not None for each in found) > 30
    stopped = {each.obstacle.demand for each in found if each.obstacle is not None}
    assert stopped == set(Demand)
    assert sum(each.held_back > 0.0 for each in found) > 5


@pytest.mark.parametrize("seed", range(120))
def test_what_stands_in_the_way_is_the_first_that_no_way_meets_and_by_no_more(seed: int) -> None:
    case = drawn(seed)
    obstacle = choose(case.ledger, STANCE, case.pockets, case.sizes, case.wanted).obstacle
    if obstacle is None:
        return
    every = every_way(case)
    order = tuple(Demand)
    before = order[: order.index(obstacle.demand)]
    assert not allowed(case, every, (*before, obstacle.demand)).any()
    if obstacle.demand is Demand.MASS:
        least = (every.mass + ONE_SIDED * every.spread).min()
        assert obstacle.shortfall == pytest.approx(least - case.wanted.limit, abs=1e-8)
        return
    left = allowed(case, every, before)
    assert left.any()
    if obstacle.demand is Demand.STANDING:
        assert obstacle.station is not None
        wheel = STANCE.carrying.index(obstacle.station)
        left &= every.firm[:, :wheel].all(axis=1)
        assert not (left & every.firm[:, wheel]).any()
        assert list(obstacle.reached) == pytest.approx([every.loads[left, wheel].max()], abs=1e-9)
        return
    axis = order.index(obstacle.demand) - 1
    edges = {
        Demand.CENTRE: case.wanted.centre and (case.wanted.centre.low, case.wanted.centre.high),
        Demand.ASIDE: case.wanted.aside is not None and (-case.wanted.aside, case.wanted.aside),
        Demand.HEIGHT: case.wanted.highest is not None and (-math.inf, case.wanted.highest),
    }[obstacle.demand]
    assert edges
    reached = every.centre[left, axis]
    below, above = reached[reached < edges[0]], reached[reached > edges[1]]
    nearest = [*([below.max()] if below.size else []), *([above.min()] if above.size else [])]
    assert sorted(obstacle.reached) == pytest.approx(sorted(nearest), abs=1e-9)
    missed = min(max(edges[0] - each, each - edges[1]) for each in nearest)
    assert obstacle.shortfall == pytest.approx(missed, abs=1e-9)


@pytest.mark.parametrize("share", [0.99, 1.01])
@pytest.mark.parametrize("open_to", ["body mass", "body place", "piece", "pocket x", "pocket y"])
def test_a_wheel_keeps_its_share_of_five_percent_and_no_more(open_to: str, share: float) -> None:
    """One cause alone is open, and the left rear wheel just keeps its guard, or just not."""
    contacts = [STANCE.stations[station].contact for station in STANCE.carrying]
    number = STANCE.carrying.index(Station.REAR_LEFT)
    part, slope = _barycentric([(c[0], c[1]) for c in contacts], number)
    grams, piece, x, y = 100.0, 20.0, 30.0, 2.0
    here = part(np.array([x * MM, y * MM]))
    blur = {
        "body mass": 0.0,
        "body place": grams * abs(slope[1]) * 3.0 * MM,
        "piece": 5.0 * here,
        "pocket x": piece * abs(slope[0]) * 4.0 * MM,
        "pocket y": piece * abs(slope[1]) * 4.0 * MM,
    }[open_to]
    # The body's own share of this wheel: what the guard asks of the whole, less what the piece brings.
    wanted = (share * EACH_WHEEL * blur - piece * here) / grams
    if open_to == "body mass":
        # Outside the edge, the heavier the body the worse: g w + p h = z u |w| with w below zero.
        wanted = -piece * here / (grams + share * EACH_WHEEL * 10.0)
    body_y = (wanted - part(np.array([0.04, 0.0]))) / slope[1]
    body = Item(
        name="body",
        mass=mass(grams, 10.0 if open_to == "body mass" else 0.0),
        position=(
            Quantity(value=0.04),
            Quantity(value=body_y, uncertainty=3.0 * MM if open_to == "body place" else 0.0),
            Quantity(value=0.01),
        ),
    )
    place = (
        Quantity(value=x * MM, uncertainty=4.0 * MM if open_to == "pocket x" else 0.0),
        Quantity(value=y * MM, uncertainty=4.0 * MM if open_to == "pocket y" else 0.0),
        Quantity(value=0.01),
    )
    pocket = Pocket(name="here", position=place, most=1)
    size = Size(name="slug", mass=mass(piece, 5.0 if open_to == "piece" else 0.0))
    plan = choose(Ledger(items=(body,)), STANCE, [pocket], [size], Wanted(limit=0.2)).plan
    assert (plan is not None and plan.pieces == 1) is (share > 1.0)


LARK = parse_car(file_text("lark.toml"))
POCKETS = (
    Pocket(name="tail", position=at(-9, 1, 8, 0.4), most=3),
    Pocket(name="middle", position=at(41, -6, 7, 0.3), most=4),
)
SIZES = (
    Size(name="slug", mass=mass(0.41, 0.02), count=3),
    Size(name="pellet", mass=mass(0.17, 0.01), count=6),
)
LEDGER = ledger_of(LARK)


def lark(limit: float, whole: Quantity | None = None) -> Plan:
    found = choose(LEDGER, STANCE, POCKETS, SIZES, Wanted(limit=limit * G), whole=whole)
    assert found.plan is not None
    return found.plan


def _inputs() -> tuple[Vector, Vector]:
    """Return the values and the spreads of everything that a car with weights is made of."""
    quantities = [part for item in LEDGER.items for part in (item.mass, *item.position)]
    quantities += [part for pocket in POCKETS for part in pocket.position]
    quantities += [size.mass for size in SIZES]
    return np.array([each.value for each in quantities]), np.array([each.uncertainty for each in quantities])


def _outcome(inputs: Vector, plan: Plan) -> Vector:
    """Return mass, centre and loads of a car: forces and moments in equilibrium, by a linear solver."""
    items = inputs[: 4 * len(LEDGER.items)].reshape(-1, 4)
    places = inputs[4 * len(LEDGER.items) : -len(SIZES)].reshape(-1, 3)
    weights = inputs[-len(SIZES) :]
    points = [(row[0], row[1:]) for row in items]
    for place, pocket in zip(places, POCKETS, strict=True):
        for weight, size in zip(weights, SIZES, strict=True):
            points.append((plan.counts.get(pocket.name, {}).get(size.name, 0) * weight, place))
    masses = np.array([each for each, _ in points])
    where = np.array([place for _, place in points])
    total = masses.sum()
    contacts = np.array([STANCE.stations[station].contact for station in STANCE.carrying])
    down = np.zeros_like(where)
    down[:, 2] = -masses
    pull = np.cross(where, down).sum(axis=0)
    up = np.cross(contacts, np.array([0.0, 0.0, 1.0]))
    balance: Vector = np.vstack([np.ones(3), up[:, 0], up[:, 1]])
    loads = np.linalg.solve(balance, np.array([total, -pull[0], -pull[1]], dtype=np.float64))
    return np.array([total, *(masses @ where / total), *loads])


def test_mass_centre_and_loads_are_those_of_statics_with_spreads_from_differences() -> None:
    """Forces and moments in equilibrium; JCGM 100:2008, 5.1.3, note 2: spreads by numerical differences."""
    plan = lark(140.0)
    assert plan.pieces > 3
    values, spreads = _inputs()
    expected = _outcome(values, plan)
    variance = np.zeros(len(expected))
    for number, spread in enumerate(spreads):
        shift = np.zeros(len(values))
        shift[number] = spread
        variance += ((_outcome(values + shift, plan) - _outcome(values - shift, plan)) / 2.0) ** 2
    found = [plan.mass, *plan.centre, *plan.loads.values()]
    assert list(plan.loads) == list(STANCE.carrying)
    assert [each.value for each in found] == pytest.approx(expected, rel=1e-9, abs=1e-12)
    assert [each.uncertainty for each in found] == pytest.approx(np.sqrt(variance), rel=2e-4)


def test_no_more_drawn_cars_are_over_the_limit_than_five_in_a_hundred() -> None:
    """Exact binomial bounds (C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413)."""
    limit, draws = 140.0, 200_000
    plan = lark(limit)
    values, spreads = _inputs()
    rng = np.random.default_rng(11)
    masses = [4 * number for number in range(len(LEDGER.items))]
    masses += [len(values) - len(SIZES) + number for number in range(len(SIZES))]
    counts = [sum(plan.counts.get(p.name, {}).get(size.name, 0) for p in POCKETS) for size in SIZES]
    copies = np.array([1.0] * len(LEDGER.items) + [float(count) for count in counts])
    weighed = rng.normal(values[masses], spreads[masses], (draws, len(masses))) @ copies
    over = int((weighed > limit * G).sum())
    # Had the chance been 5 %, so many would be over only once in a million.
    assert over <= binom.ppf(1.0 - 1e-6, draws, 0.05)
    assert binom.ppf(5e-7, draws, plan.over) <= over <= binom.ppf(1.0 - 5e-7, draws, plan.over)
    # The weights are fine enough to come close, so that a guard too wide would show.
    assert plan.over > 0.03


def test_pieces_that_err_each_for_itself_are_over_less_often_still() -> None:
    limit, draws = 140.0, 100_000
    plan = lark(limit)
    rng = np.random.default_rng(12)
    weighed = rng.normal(LEDGER.mass.value, LEDGER.mass.uncertainty, draws)
    for size in SIZES:
        count = sum(plan.counts.get(pocket.name, {}).get(size.name, 0) for pocket in POCKETS)
        weighed += rng.normal(size.mass.value, size.mass.uncertainty, (draws, count)).sum(axis=1)
    assert (weighed > limit * G).sum() <= binom.ppf(1.0 - 1e-6, draws, 0.05)


def test_a_limit_in_ounces_is_met_to_the_last_digit() -> None:
    """International yard and pound agreement 1959: one ounce is 28.349523125 g; 5 oz are 141.747615625 g."""
    ounce = 28.349523125
    body = Ledger(items=(Item(name="body", mass=mass(4 * ounce), position=at(40, 0, 10)),))
    pocket = (Pocket(name="tail", position=at(20, 0, 8), most=9),)
    sizes = (Size(name="quarter", mass=mass(ounce / 4), count=9),)
    found = choose(body, STANCE, pocket, sizes, Wanted(limit=141.747615625 * G)).plan
    assert found is not None
    assert found.counts == {"tail": {"quarter": 4}}
    assert found.over == 0.0
    less = choose(body, STANCE, pocket, sizes, Wanted(limit=141.7476 * G)).plan
    assert less is not None
    assert less.counts == {"tail": {"quarter": 3}}


def test_a_lever_worked_by_hand() -> None:
    """Moments about the rear holes: 100 g at 40 mm with 25 g at 20 mm balance at 4500/125 = 36 mm."""
    body = Ledger(items=(Item(name="body", mass=mass(100), position=at(40, 0, 10)),))
    pocket = (Pocket(name="tail", position=at(20, 0, 8), most=9),)
    sizes = (Size(name="slug", mass=mass(12.5), count=9),)
    wanted = Wanted(limit=140 * G, centre=Target(value=36 * MM, tolerance=0.01 * MM))
    plan = choose(body, STANCE, pocket, sizes, wanted).plan
    assert plan is not None
    assert plan.counts == {"tail": {"slug": 2}}
    assert plan.centre[0].value == pytest.approx(36 * MM, rel=1e-12)
    front = plan.loads[Station.FRONT_LEFT].value
    base = STANCE.stations[Station.REAR_LEFT].contact[0]
    ahead = STANCE.stations[Station.FRONT_LEFT].contact[0] - base
    assert front == pytest.approx(0.125 * (0.036 - base) / ahead, rel=1e-9)
