"""Which of many scale readings count, and what happens to those that contradict ledger or scale."""

from __future__ import annotations

import pytest

from rollwright.bench.events import Event, Fitted, PartFitted, ScaleReading, Size, Turn, Weighed, Withdrawn
from rollwright.bench.fold import Folded
from rollwright.bench.known import Known
from rollwright.bench.weighed import OnScale, as_weighed, parts_of, weighed
from rollwright.car.file import parse_car
from rollwright.car.model import Station
from rollwright.geometry.ledger import ledger_of
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.balance import Discord, Pan, balance_of
from rollwright.setup.estimate import prior_of
from tests.unit.fold_bench import DEG, FRONT_LEFT, MM, evening, folded, ident

LARK = parse_car(file_text("lark.toml"))
FILED = ledger_of(LARK)
LOADS = {at: load.value * 1e3 for at, load in balance_of(FILED, stance(LARK)).loads.items()}
"""What Lark's wheels press with by its ledger [g]."""
WHEELS = (Station.REAR_LEFT, Station.REAR_RIGHT, FRONT_LEFT)
TURN = Turn(station=FRONT_LEFT, asked=2.0 * DEG)
PLUG = PartFitted(
    part=Fitted.WEIGHT,
    name="plug",
    pocket="nose",
    sizes=(
        Size(name="mass", value=2e-3, uncertainty=0.01e-3),
        Size(name="x", value=0.05),
        Size(name="y", value=0.0),
    ),
)


def scale(grams: float, uncertainty: float = 0.1, *, where: str = "whole") -> ScaleReading:
    return ScaleReading(where=Weighed(where), mass=grams * 1e-3, uncertainty=uncertainty * 1e-3)


def grams(found: Folded) -> float:
    return ledger_of(found.known.car).mass.value * 1e3


def centre(found: Folded) -> list[float]:
    """Return the whole car's centre of mass [mm]."""
    return [part.value / MM for part in ledger_of(found.known.car).centre]


def told(*scales: ScaleReading) -> tuple[Known, float, Discord | None]:
    """Weigh Lark as its file describes it, all in one state."""
    known = Known(car=LARK, prior=prior_of(LARK))
    car = as_weighed(known)
    return weighed(known, [OnScale(event=event, car=car) for event in scales], body=LARK.body)


def test_a_newer_reading_that_contradicts_an_older_one_of_the_same_place_replaces_it() -> None:
    assert grams(folded(scale(136.4), scale(138.0))) == grams(folded(scale(138.0)))
    # The one that agrees with the newest still has its say.
    three = folded(scale(138.0), scale(136.4), scale(138.1))
    assert grams(three) == grams(folded(scale(138.0), scale(138.1)))
    # An end that was weighed is another place.
    front = scale(LOADS[FRONT_LEFT], where="front")
    assert grams(folded(scale(136.4), front, scale(138.0))) == pytest.approx(
        grams(folded(front, scale(138.0))), rel=1e-12
    )


@pytest.mark.parametrize("sigmas", [2.5, 2.65])
def test_the_limit_is_one_in_a_hundred(sigmas: float) -> None:
    # Of a normal distribution 1 % lies beyond 2.576; two readings of 0.1 g differ to within 0.1 sqrt(2).
    other = 137.6 + sigmas * 0.1 * 2.0**0.5
    both = grams(folded(scale(137.6), scale(other)))
    alone = grams(folded(scale(other)))
    assert (both == alone) is (sigmas > 2.576)


def test_after_a_change_the_newest_reading_of_a_place_counts_alone() -> None:
    once = grams(folded(scale(138.2)))
    assert grams(folded(scale(138.0), TURN, scale(138.2))) == pytest.approx(once, rel=1e-9)
    assert grams(folded(scale(136.4), TURN, scale(138.2))) == pytest.approx(once, rel=1e-9)
    # The lighter car's reading says nothing of the heavier one.
    heavier = grams(folded(PLUG, scale(140.2)))
    assert grams(folded(scale(137.0), PLUG, scale(140.2))) == pytest.approx(heavier, rel=1e-9)


def test_what_was_weighed_elsewhere_before_a_change_is_kept() -> None:
    sharp = scale(LOADS[FRONT_LEFT] + 1.0, 0.01, where="front")
    kept = folded(sharp, TURN, scale(137.6))
    assert centre(kept)[0] == pytest.approx(centre(folded(sharp))[0], abs=0.2)
    assert centre(kept)[0] > centre(folded(TURN, scale(137.6)))[0] + 0.5


def test_a_reading_taken_back_gives_the_older_one_its_place_again() -> None:
    back = folded(scale(138.0), TURN, scale(136.0), Withdrawn(entry=ident(4), reason="another car"))
    assert grams(back) == pytest.approx(grams(folded(scale(138.0), TURN)), rel=1e-12)


def test_a_scale_that_the_parts_do_not_add_to_moves_nothing_and_is_named() -> None:
    known, chance, odd = told(scale(152.0))
    assert known.car.body == LARK.body
    assert chance < 1e-6
    assert odd is not None
    assert (odd.pan, odd.against) == (Pan.WHOLE, ())
    assert (odd.shown, odd.expected) == pytest.approx((0.152, 0.1376))
    good, sure, none = told(scale(138.0))
    assert good.car.body != LARK.body
    assert sure > 0.01
    assert none is None


def test_one_bad_wheel_moves_neither_the_centre_of_mass_nor_the_gates() -> None:
    plain = folded(*evening())
    bad = folded(*evening(), scale(137.6), scale(LOADS[Station.REAR_LEFT] + 30.0, where="rear_left"))
    assert centre(bad) == pytest.approx(centre(plain), abs=1e-12)
    assert plain.estimate is not None
    assert bad.estimate is not None
    assert bad.estimate.values == pytest.approx(plain.estimate.values, abs=1e-15)
    assert bad.gates == plain.gates
    assert bad.agreement < 0.01


def test_wheels_that_do_not_add_up_to_the_whole_move_nothing() -> None:
    wheels = [scale(LOADS[at] - 1.0, where=at.value) for at in WHEELS]
    known, _, odd = told(scale(137.6), *wheels)
    assert known.car.body == LARK.body
    assert odd is not None
    assert odd.pan is Pan.WHOLE
    assert len(odd.against) == 3


def test_weighing_again_settles_it() -> None:
    _, _, odd = told(scale(152.0), scale(137.8))
    assert odd is None
    settled = folded(scale(152.0), TURN, scale(137.8))
    assert grams(settled) == pytest.approx(grams(folded(TURN, scale(137.8))), rel=1e-12)


def at(event: ScaleReading, known: Known) -> OnScale:
    return OnScale(event=event, car=as_weighed(known))


def test_a_contradiction_outlives_a_turn_but_not_another_part() -> None:
    before = Known(car=LARK, prior=prior_of(LARK))
    turned, heavier = folded(TURN).known, folded(PLUG).known
    front = scale(LOADS[FRONT_LEFT], where="front")
    _, _, still = weighed(turned, [at(scale(152.0), before), at(front, turned)], body=LARK.body)
    assert still is not None
    assert still.shown == pytest.approx(0.152)
    now = balance_of(ledger_of(heavier.car), stance(heavier.car)).loads[FRONT_LEFT].value * 1e3
    later = [at(scale(152.0), before), at(scale(now, where="front"), heavier)]
    known, chance, gone = weighed(heavier, later, body=LARK.body)
    assert gone is None
    assert chance > 0.5
    assert parts_of(known.car) == parts_of(heavier.car)
    assert parts_of(heavier.car) != parts_of(LARK)


CONTRADICTING: list[Event] = [scale(152.0), TURN, scale(60.0, where="rear_left"), TURN]


def test_a_log_with_contradictions_in_every_state_stands_as_if_nothing_had_been_weighed() -> None:
    found, plain = folded(*CONTRADICTING, *evening()), folded(TURN, TURN, *evening())
    assert found.known.car.body == LARK.body
    assert [state.standing for state in found.gates.values()] == [
        state.standing for state in plain.gates.values()
    ]


def test_the_fold_says_which_figures_disagree_until_they_are_weighed_again_or_a_part_is_another() -> None:
    odd = folded(scale(152.0), TURN).discord
    assert odd is not None
    assert odd.pan is Pan.WHOLE
    assert odd.shown == pytest.approx(0.152)
    assert folded(scale(152.0), TURN, scale(137.6)).discord is None
    assert folded(scale(152.0), PLUG).discord is None


@pytest.mark.parametrize(
    ("first", "then", "words"),
    [
        ((18.0, 0.0), (120.0, -20.0), "so that other wheels carry unless you move it back"),
        ((120.0, -20.0), (18.0, 0.0), "so that other wheels carry"),
        (None, (120.0, -20.0), "so that other wheels carry unless you put it elsewhere"),
    ],
)
def test_a_weight_that_puts_the_car_on_other_wheels_says_how_to_put_it_right(
    first: tuple[float, float] | None, then: tuple[float, float], words: str
) -> None:
    # On the right and far in front Lark's slug brings its raised wheel down.
    slugs = [
        PartFitted(
            part=Fitted.WEIGHT,
            name="slug",
            pocket=pocket,
            sizes=(Size(name="x", value=place[0] * MM), Size(name="y", value=place[1] * MM)),
        )
        for pocket, place in (("tail", first), ("nose", then))
        if place is not None
    ]
    assert folded(*evening(), *slugs).changes[-1].words.endswith(words)
