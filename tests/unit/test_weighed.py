"""What a scale tells of a logged car: ledger and scale agree, and nothing is used twice."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rollwright.bench.events import (
    Event,
    Fitted,
    Note,
    PartFitted,
    ScaleReading,
    Size,
    Turn,
    Weighed,
    Withdrawn,
)
from rollwright.bench.fold import Folded, Gate, Standing
from rollwright.bench.weighed import SCALE
from rollwright.car.file import parse_car
from rollwright.car.model import Station
from rollwright.errors import InputError
from rollwright.geometry.ledger import ledger_of
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from tests.unit.fold_bench import FRONT_LEFT, MM, evening, folded, ident, started

TEXT = file_text("lark.toml")
LARK = parse_car(TEXT)
ROUGH = started(
    TEXT.replace("value = 93.4, uncertainty = 0.3", "value = 93.4, uncertainty = 20").replace(
        "centre_of_mass = [47, 0, 11]", "centre_of_mass = { value = [47, 0, 11], uncertainty = 60 }"
    )
)
"""Lark, its wood known so roughly that a scale may say of it what it will."""
FILED = ledger_of(LARK).mass
"""What Lark's ledger says before any scale does."""
TURN = Turn(station=FRONT_LEFT, asked=0.0)
NUMBERED = (Gate.LEVEL, Gate.STEER, Gate.CENTRE)


def scale(grams: float, uncertainty: float | None = None, *, where: Weighed = Weighed.WHOLE) -> ScaleReading:
    spread = None if uncertainty is None else uncertainty * 1e-3
    return ScaleReading(where=where, mass=grams * 1e-3, uncertainty=spread)


def grams(found: Folded) -> float:
    return ledger_of(found.known.car).mass.value * 1e3


def centre(found: Folded) -> tuple[float, float, float]:
    """Return the whole car's centre of mass [mm]."""
    x, y, z = (part.value / MM for part in ledger_of(found.known.car).centre)
    return x, y, z


def both(value: float, uncertainty: float) -> tuple[float, float]:
    """Return the mean of a scale and the file's ledger by their weights, and its uncertainty [g]."""
    here, there = uncertainty**-2, (FILED.uncertainty * 1e3) ** -2
    return (here * value + there * FILED.value * 1e3) / (here + there), (here + there) ** -0.5


def test_the_ledgers_half_gram_is_by_hand() -> None:
    # Body 0.3 g, four wheels of 0.1 g, four axles of 0.05 g, a weight of 0.5 g, all independent.
    assert FILED.value == pytest.approx(137.6e-3)
    assert FILED.uncertainty == pytest.approx(math.sqrt(0.3**2 + 4 * 0.1**2 + 4 * 0.05**2 + 0.5**2) * 1e-3)


@pytest.mark.parametrize("uncertainty", [0.05, 0.5, 2.0])
def test_ledger_and_scale_have_each_their_say(uncertainty: float) -> None:
    found = folded(scale(139.0, uncertainty))
    assert grams(found) == pytest.approx(both(139.0, uncertainty)[0], rel=1e-9)
    # What is put right is the wood: the parts were weighed or counted.
    assert found.known.car.weights == LARK.weights
    assert found.known.car.wheels == LARK.wheels
    assert found.known.car.body.mass.value == pytest.approx(
        93.4e-3 + (both(139.0, uncertainty)[0] - 137.6) * 1e-3
    )


def test_a_scale_that_nobody_speaks_for_is_a_pocket_scale() -> None:
    assert grams(folded(scale(139.0))) == pytest.approx(both(139.0, SCALE * 1e3)[0], rel=1e-9)


def test_of_scales_that_claim_to_be_exact_and_disagree_the_newest_counts() -> None:
    found = folded(scale(137.0, 1e-300), scale(138.0, 1e-300))
    assert grams(found) == pytest.approx(138.0, abs=1e-3)


def test_a_coarse_scale_says_next_to_nothing() -> None:
    assert grams(folded(scale(160.0, 50.0))) == pytest.approx(137.6, abs=0.01)


@pytest.mark.parametrize("front", [40.0, 55.0])
def test_two_ends_tell_where_the_mass_lies(front: float) -> None:
    ends = (scale(front, 1e-3, where=Weighed.FRONT), scale(137.6 - front, 1e-3, where=Weighed.REAR))
    found = folded(*ends, start=ROUGH)
    # Moments about the rear contacts, the front one 124.3 mm before them: x = x_r + F (x_f - x_r) / W.
    at = stance(LARK).stations
    rear = 0.5 * (at[Station.REAR_LEFT].contact[0] + at[Station.REAR_RIGHT].contact[0]) / MM
    dominant = at[FRONT_LEFT].contact[0] / MM
    assert centre(found)[0] == pytest.approx(rear + front * (dominant - rear) / 137.6, abs=0.01)
    assert grams(found) == pytest.approx(137.6, abs=0.01)
    assert centre(found)[2] == pytest.approx(ledger_of(LARK).centre[2].value / MM, abs=0.5)


def test_a_heavier_left_rear_wheel_means_mass_on_the_left() -> None:
    left = folded(
        scale(50.0, 0.01, where=Weighed.REAR_LEFT),
        scale(44.0, 0.01, where=Weighed.REAR_RIGHT),
        scale(43.6, 0.01, where=Weighed.FRONT_LEFT),
        start=ROUGH,
    )
    right = folded(
        scale(44.0, 0.01, where=Weighed.REAR_LEFT),
        scale(50.0, 0.01, where=Weighed.REAR_RIGHT),
        scale(43.6, 0.01, where=Weighed.FRONT_LEFT),
        start=ROUGH,
    )
    assert centre(left)[1] > centre(right)[1] + 1.0


def test_the_estimate_and_the_gates_take_no_harm_from_a_scale_that_agrees() -> None:
    plain, weighed = folded(*evening()), folded(*evening(), scale(137.6, 0.1))
    assert plain.estimate is not None
    assert weighed.estimate is not None
    assert weighed.estimate.values == pytest.approx(plain.estimate.values, abs=1e-12)
    assert {weighed.gates[gate].standing for gate in NUMBERED} == {Standing.HOLDS}
    assert weighed.changes == ()


@pytest.mark.parametrize("count", [1, 3])
def test_a_reading_is_not_used_again_after_a_change(count: int) -> None:
    once = folded(scale(139.0, 0.5))
    later = folded(scale(139.0, 0.5), *[TURN] * count, Note(text="slept over it"))
    assert grams(later) == pytest.approx(grams(once), rel=1e-12)
    assert ledger_of(later.known.car).mass == ledger_of(once.known.car).mass
    assert centre(later) == pytest.approx(centre(once))


def test_two_readings_of_one_state_count_as_two() -> None:
    found = folded(scale(139.0, 0.5), scale(139.0, 0.5))
    assert grams(found) == pytest.approx(both(139.0, 0.5 / math.sqrt(2.0))[0], rel=1e-9)


def test_the_total_is_never_claimed_better_than_ledger_and_scale_allow() -> None:
    found = ledger_of(folded(scale(139.0, 0.5)).known.car).mass
    assert found.uncertainty * 1e3 >= both(139.0, 0.5)[1] - 1e-9
    assert found.uncertainty <= FILED.uncertainty


def test_a_weight_that_comes_after_the_scale_comes_on_top() -> None:
    plug = PartFitted(
        part=Fitted.WEIGHT,
        name="plug",
        pocket="nose",
        sizes=(Size(name="mass", value=2e-3), Size(name="x", value=0.06), Size(name="y", value=0.0)),
    )
    assert grams(folded(scale(139.0, 1e-3), plug)) == pytest.approx(141.0, abs=0.001)
    assert grams(folded(plug, scale(141.0, 1e-3))) == pytest.approx(141.0, abs=0.001)
    # The first reading was of the lighter car, and the second has the last word on this one.
    twice = folded(scale(139.0, 1e-3), plug, scale(141.2, 1e-3))
    assert grams(twice) == pytest.approx(141.2, abs=0.01)


def test_a_scale_that_shows_less_than_the_parts_weigh_leaves_the_ledger_alone() -> None:
    # The parts weigh 44.2 g by themselves.
    assert grams(folded(scale(14.0, 0.1))) == pytest.approx(137.6)


def test_a_withdrawn_reading_does_not_count() -> None:
    assert grams(folded(scale(150.0), Withdrawn(entry=ident(2), reason="wrong car"))) == pytest.approx(137.6)


def test_a_wheel_that_hangs_in_the_air_is_no_support_and_the_entry_is_named() -> None:
    with pytest.raises(InputError, match=r"entry 3.*does not carry"):
        folded(Note(text="weighed"), scale(5.0, where=Weighed.FRONT_RIGHT))


OTHER_WHEELS = (scale(137.6, 0.1), scale(130.0, 0.1, where=Weighed.FRONT))
"""A nose so heavy that both front wheels come down."""


def test_a_scale_can_show_that_other_wheels_carry() -> None:
    found = folded(*OTHER_WHEELS, start=ROUGH)
    assert Station.FRONT_RIGHT in stance(found.known.car).carrying
    # What the model now expects is the height of a car on these wheels.
    level = found.gates[Gate.LEVEL].now
    assert level is not None
    assert level.value == pytest.approx(stance(found.known.car).height_difference, abs=1e-5)


def test_readings_of_the_same_state_are_read_with_the_wheels_that_the_scale_shows() -> None:
    found = folded(*evening(), *OTHER_WHEELS, start=ROUGH)
    assert {found.gates[gate].standing for gate in NUMBERED} == {Standing.HOLDS}
    assert found.changes == ()


def test_readings_before_the_last_change_are_read_again_and_the_scale_is_the_reason() -> None:
    found = folded(*evening(), TURN, *OTHER_WHEELS, start=ROUGH)
    for gate in NUMBERED:
        state = found.gates[gate]
        assert state.standing is Standing.READ_AGAIN
        assert "scale reading, by which other wheels carry" in [change.words for change in state.reasons]
    fresh = folded(*evening(), TURN, *OTHER_WHEELS, evening()[0], start=ROUGH)
    assert fresh.gates[Gate.LEVEL].standing is Standing.HOLDS
    assert fresh.gates[Gate.STEER].standing is Standing.READ_AGAIN
    # Read before or after the scale, it is the same state of the car.
    before = folded(*evening(), TURN, evening()[0], *OTHER_WHEELS, start=ROUGH)
    assert before.gates[Gate.LEVEL].standing is Standing.HOLDS


def test_a_weight_that_moved_nothing_does_not_hide_what_the_scale_shows() -> None:
    plug = PartFitted(
        part=Fitted.WEIGHT,
        name="plug",
        pocket="nose",
        sizes=(Size(name="mass", value=2e-3), Size(name="x", value=0.06), Size(name="y", value=0.0)),
    )
    alone = folded(*evening(), plug, start=ROUGH)
    assert {alone.gates[gate].standing for gate in NUMBERED} == {Standing.HOLDS}
    found = folded(*evening(), plug, *OTHER_WHEELS, start=ROUGH)
    assert {found.gates[gate].standing for gate in NUMBERED} == {Standing.READ_AGAIN}


TIPS = (scale(137.6, 0.1), scale(140.0, 0.1, where=Weighed.REAR))
"""More on the rear wheels than the whole car weighs."""


def test_a_scale_by_which_the_car_would_tip_is_told_as_trouble() -> None:
    assert "tips over" in folded(*TIPS, start=ROUGH).trouble
    found = folded(*evening(), TURN, *TIPS, start=ROUGH)
    assert "tips over" in found.trouble
    assert found.estimate is None
    for gate in NUMBERED:
        assert found.gates[gate].standing is Standing.READ_AGAIN
        assert found.gates[gate].now is None


def test_beside_readings_of_the_same_state_the_scale_is_named_and_not_they() -> None:
    with pytest.raises(InputError, match="entry 6"):
        folded(*evening(), *TIPS, start=ROUGH)


@settings(max_examples=20, deadline=None)
@given(
    st.permutations(
        [
            scale(138.4, 0.2),
            scale(46.0, 0.1, where=Weighed.FRONT),
            scale(92.0, 0.1, where=Weighed.REAR),
            evening()[0],
            Note(text="on a flat table"),
        ]
    )
)
def test_the_order_of_readings_of_one_state_does_not_matter(events: list[Event]) -> None:
    usual = folded(
        scale(138.4, 0.2),
        scale(46.0, 0.1, where=Weighed.FRONT),
        scale(92.0, 0.1, where=Weighed.REAR),
        evening()[0],
    )
    found = folded(*events)
    assert grams(found) == pytest.approx(grams(usual), rel=1e-12)
    assert centre(found) == pytest.approx(centre(usual), abs=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.floats(125.0, 150.0), st.floats(0.28, 0.42))
def test_what_a_sharp_scale_showed_the_car_would_show_again(total: float, share: float) -> None:
    ends = (scale(total, 1e-4), scale(share * total, 1e-4, where=Weighed.FRONT))
    found = folded(*ends, start=ROUGH)
    assert grams(found) == pytest.approx(total, abs=1e-3)
    stands = stance(found.known.car)
    rear = stands.stations[Station.REAR_LEFT].contact[0] / MM
    dominant = stands.stations[FRONT_LEFT].contact[0] / MM
    # Moments about the rear contacts.
    front = (centre(found)[0] - rear) / (dominant - rear) * grams(found)
    assert front == pytest.approx(share * total, abs=5e-3)
