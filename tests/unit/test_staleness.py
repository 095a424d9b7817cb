"""Which gates have gone stale after a change, why, and what heals them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rollwright.bench.events import (
    Bend,
    Event,
    Fitted,
    HoleDrilled,
    Note,
    PartFitted,
    ReadingTaken,
    Sand,
    Shim,
    Size,
    SlowRoll,
    SlowRollSeen,
    Turn,
    Washer,
)
from rollwright.bench.fold import Folded, Gate, Standing, State
from rollwright.car.model import Station
from rollwright.errors import InputError
from rollwright.geometry.stance import stance
from rollwright.setup.reading_keys import ReadingKind

from .cars import changed, lark
from .fold_bench import (
    DEG,
    FRONT_LEFT,
    FRONT_RIGHT,
    LARK,
    MM,
    MODELLED,
    evening,
    folded,
    read,
    standings,
)

HOLDS, PREDICTED, AGAIN, NEVER = Standing.HOLDS, Standing.PREDICTED, Standing.READ_AGAIN, Standing.NEVER_READ
NUMBERED = (Gate.LEVEL, Gate.STEER, Gate.CENTRE)
ROLLS = SlowRoll(seen=SlowRollSeen.HOLDS)
GOOD = (*evening(), ROLLS)
"""An evening that passes every gate."""


def slug(x: float, y: float = 0.0) -> PartFitted:
    """Move Lark's weight [mm]."""
    sizes = (Size(name="x", value=x * MM), Size(name="y", value=y * MM), Size(name="z", value=8.0 * MM))
    return PartFitted(part=Fitted.WEIGHT, name="slug", pocket="front", sizes=sizes)


OTHER_WHEEL = slug(118.0, -10.0)
TIPS = slug(-300.0)


def of(found: Folded, gate: Gate) -> Standing:
    return found.gates[gate].standing


def test_a_little_sanding_leaves_every_gate_predicted_to_hold_with_its_shift() -> None:
    found = folded(*GOOD, Sand(station=FRONT_LEFT, asked=0.05 * MM))
    assert set(standings(found).values()) == {PREDICTED}
    centre = found.gates[Gate.CENTRE]
    # Wood off the side face brings the wheel in by as much.
    assert centre.shift == pytest.approx(-0.05 * MM, rel=1e-3)
    assert [change.words for change in centre.reasons] == ["sand at front left"]
    assert centre.reasons[0].seq == 6
    assert centre.reasons[0].shift[2] == pytest.approx(centre.shift, rel=1e-3)
    assert centre.reasons[0].spread[2] == pytest.approx(0.05 * MM, rel=1e-3)
    for gate, far in ((Gate.LEVEL, 1e-6), (Gate.STEER, 1e-6)):
        shift = found.gates[gate].shift
        assert shift is not None
        assert 0.0 < abs(shift) < far


def test_a_turn_makes_steer_be_read_again_and_what_it_hardly_moves_is_predicted_to_hold() -> None:
    found = folded(*GOOD, Turn(station=FRONT_LEFT, asked=5.0 * DEG))
    assert standings(found) == {
        Gate.LEVEL: PREDICTED,
        Gate.STEER: AGAIN,
        Gate.CENTRE: PREDICTED,
        Gate.ROLL: AGAIN,
    }
    steer = found.gates[Gate.STEER]
    assert not steer.passed
    assert steer.verdict is not None
    assert steer.verdict.state is State.PASS
    assert steer.shift is not None
    # Turned from down to forward, the left wheel heads further to the right: negative drift.
    assert steer.shift < -10.0 * MM


def test_washers_changed_after_steer_make_centre_be_read_again_and_not_steer() -> None:
    found = folded(*GOOD, Washer(station=FRONT_LEFT, asked=0.3 * MM))
    assert of(found, Gate.CENTRE) is AGAIN
    assert found.gates[Gate.CENTRE].shift == pytest.approx(0.3 * MM, rel=0.02)
    assert of(found, Gate.STEER) is PREDICTED
    assert of(found, Gate.ROLL) is AGAIN


def test_a_re_bent_axle_makes_steer_be_read_again() -> None:
    found = folded(*GOOD, Bend(station=FRONT_LEFT, asked=0.5 * DEG))
    assert of(found, Gate.STEER) is AGAIN
    level = found.gates[Gate.LEVEL]
    assert level.shift is not None
    assert level.shift > 0.03 * MM


def test_a_re_drilled_hole_makes_level_and_steer_be_read_again() -> None:
    found = folded(*GOOD, HoleDrilled(station=Station.REAR_LEFT))
    assert (of(found, Gate.LEVEL), of(found, Gate.STEER)) == (AGAIN, AGAIN)


def test_a_new_axle_leaves_everything_open() -> None:
    found = folded(*GOOD, PartFitted(part=Fitted.AXLE, name="new", station=FRONT_LEFT))
    assert set(standings(found).values()) == {AGAIN}


@pytest.mark.parametrize(
    "event",
    [
        Washer(station=FRONT_RIGHT, asked=0.5 * MM),
        Washer(station=FRONT_RIGHT),
        Shim(station=FRONT_RIGHT, asked=0.2 * MM),
        PartFitted(part=Fitted.AXLE, name="new", station=FRONT_RIGHT),
        slug(20.0),
        PartFitted(part=Fitted.WEIGHT, name="bit", pocket="any", sizes=(Size(name="mass", value=0.001),)),
        Note(text="rain"),
    ],
    ids=["washer", "washer unsaid", "shim", "axle", "weight", "weight without a place", "note"],
)
def test_what_cannot_move_a_gate_leaves_it_as_it_was(event: Event) -> None:
    # The raised wheel carries nothing, and a weight that leaves the same wheels carrying moves none of them.
    before, after = folded(*GOOD), folded(*GOOD, event)
    assert set(standings(after).values()) == {HOLDS}
    for gate in MODELLED:
        assert after.gates[gate].passed
        assert after.gates[gate].reasons == ()
    for gate in NUMBERED:
        then, now = before.gates[gate].verdict, after.gates[gate].verdict
        assert then is not None
        assert now is not None
        assert (now.value, now.uncertainty) == pytest.approx((then.value, then.uncertainty), rel=1e-6)


def test_an_amount_that_nobody_says_opens_the_gates_that_it_moves() -> None:
    found = folded(*GOOD, Turn(station=FRONT_LEFT))
    assert of(found, Gate.STEER) is AGAIN
    assert found.gates[Gate.STEER].shift == 0.0
    told = folded(*GOOD, Turn(station=FRONT_LEFT, done=0.1 * DEG, uncertainty=0.1 * DEG))
    assert of(told, Gate.STEER) is PREDICTED


def test_a_turn_of_unsaid_size_opens_level_even_where_the_slope_is_nothing() -> None:
    # A bend that points straight down lifts the car the most: either way lowers it, and no slope says so.
    down = replace(LARK, car_file=LARK.car_file.replace("clock = ", "clock = 0.0 # "))
    assert down.car_file != LARK.car_file
    found = folded(Turn(station=FRONT_LEFT), start=down)
    straight, turned = (
        stance(changed(lark(), {"front_left.clock": clock})).height_difference for clock in (0.0, 30.0 * DEG)
    )
    assert abs(turned - straight) > 0.03 * MM
    assert found.changes[0].spread[0] > abs(turned - straight)


def test_moved_there_and_back_is_predicted_to_hold() -> None:
    there = Turn(station=FRONT_LEFT, done=6.0 * DEG, uncertainty=0.05 * DEG)
    back = Turn(station=FRONT_LEFT, done=-6.0 * DEG, uncertainty=0.05 * DEG)
    found = folded(*GOOD, there, back)
    steer = found.gates[Gate.STEER]
    assert steer.standing is PREDICTED
    assert steer.shift == pytest.approx(0.0, abs=1e-9)
    assert {change.seq for change in steer.reasons} == {6, 7}


def test_reasons_come_with_the_one_that_moved_most_first() -> None:
    found = folded(
        *GOOD, Sand(station=FRONT_LEFT, asked=0.02 * MM), Turn(station=FRONT_LEFT, asked=9.0 * DEG)
    )
    assert [change.seq for change in found.gates[Gate.STEER].reasons] == [7, 6]
    assert [change.seq for change in found.gates[Gate.CENTRE].reasons] == [6, 7]


def test_a_later_reading_heals_its_own_gate() -> None:
    turned = (*GOOD, Turn(station=FRONT_LEFT, asked=5.0 * DEG))
    found = folded(*turned, read(ReadingKind.DRIFT, -70.0 * MM, 1.0 * MM))
    assert of(found, Gate.STEER) is HOLDS
    assert found.gates[Gate.STEER].read_at == 7
    assert found.gates[Gate.STEER].passed
    assert of(found, Gate.LEVEL) is PREDICTED


def test_what_is_read_elsewhere_after_an_idle_change_still_speaks_for_a_gate() -> None:
    level = read(ReadingKind.HEIGHT_DIFFERENCE, 0.0, 0.1 * MM)
    size = ReadingTaken(
        reading=ReadingKind.SIZE,
        values=(9.1 * MM,),
        dimension="front_left.hole_height",
        uncertainty=0.02 * MM,
    )
    between = Washer(station=FRONT_RIGHT, asked=0.5 * MM)
    apart, together = folded(level, between, size), folded(level, size, between)
    for found in (apart, together):
        assert of(found, Gate.LEVEL) is HOLDS
    alone = folded(level).gates[Gate.LEVEL].verdict
    one, other = apart.gates[Gate.LEVEL].verdict, together.gates[Gate.LEVEL].verdict
    assert alone is not None
    assert one is not None
    assert other is not None
    # Solved one after the other they agree but for the geometry's curvature, and both heed the size.
    assert one.value - alone.value > 0.01 * MM
    assert one.value - alone.value == pytest.approx(other.value - alone.value, rel=0.02)
    assert one.uncertainty == pytest.approx(other.uncertainty, rel=0.02)


# The slow roll.


@pytest.mark.parametrize("seen", [SlowRollSeen.LEAVES, SlowRollSeen.TAIL_LEFT])
def test_a_car_that_leaves_the_rail_does_not_pass_the_roll(seen: SlowRollSeen) -> None:
    found = folded(*evening(), SlowRoll(seen=seen))
    assert of(found, Gate.ROLL) is HOLDS
    assert not found.gates[Gate.ROLL].passed
    assert (
        of(folded(*evening(), SlowRoll(seen=seen), Sand(station=FRONT_LEFT, asked=0.01 * MM)), Gate.ROLL)
        is AGAIN
    )


def test_a_slow_roll_is_predicted_to_hold_only_while_steer_and_centre_are_passed() -> None:
    little = Sand(station=FRONT_LEFT, asked=0.02 * MM)
    assert of(folded(*GOOD, little), Gate.ROLL) is PREDICTED
    assert of(folded(ROLLS, little), Gate.ROLL) is AGAIN
    far = Turn(station=FRONT_LEFT, asked=5.0 * DEG)
    assert of(folded(*GOOD, far), Gate.ROLL) is AGAIN
    assert of(folded(*GOOD, far, ROLLS), Gate.ROLL) is HOLDS


# Weights.


def test_a_weight_that_makes_another_wheel_carry_makes_all_be_read_again_for_that_reason() -> None:
    found = folded(*GOOD, OTHER_WHEEL)
    assert set(standings(found).values()) == {AGAIN}
    for gate in MODELLED:
        (why,) = found.gates[gate].reasons
        assert why.words == "weight slug fitted, so that other wheels carry unless you put it elsewhere"
    # Steer would by chance still lie inside; it was read on other wheels all the same.
    steer = found.gates[Gate.STEER].now
    assert steer is not None
    assert steer.probability > 0.95


def test_a_weight_moved_there_and_back_leaves_the_gates_predicted_to_hold() -> None:
    for there in (OTHER_WHEEL, TIPS):
        found = folded(*GOOD, there, slug(18.0))
        assert set(standings(found).values()) == {PREDICTED}
        assert found.gates[Gate.LEVEL].shift == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("mass", "why"), [(0.05, "its place is not said"), (None, "its mass is not said")])
def test_a_weight_that_may_do_anything_makes_all_be_read_again(mass: float | None, why: str) -> None:
    sizes = () if mass is None else (Size(name="mass", value=mass),)
    found = folded(*GOOD, PartFitted(part=Fitted.WEIGHT, name="lump", pocket="any", sizes=sizes))
    assert set(standings(found).values()) == {AGAIN}
    assert found.gates[Gate.LEVEL].reasons[0].words == f"weight lump fitted ({why})"


def test_of_a_car_that_tips_the_gates_cannot_be_told() -> None:
    found = folded(*GOOD, TIPS)
    assert found.estimate is None
    assert found.trouble.startswith("body.centre_of_mass: the car tips over")
    assert "\n" not in found.trouble
    assert set(standings(found).values()) == {AGAIN}
    for gate in MODELLED:
        state = found.gates[gate]
        assert (state.now, state.shift, state.passed) == (None, None, False)
        assert [change.seq for change in state.reasons] == [6]
    assert set(standings(folded(TIPS)).values()) == {NEVER}
    # Work goes on, and a weight put right makes it a car again.
    mended = folded(*GOOD, TIPS, Turn(station=FRONT_LEFT, asked=5.0 * DEG), slug(18.0))
    assert mended.trouble == ""
    assert of(mended, Gate.STEER) is AGAIN
    assert of(mended, Gate.LEVEL) is PREDICTED
    assert mended.gates[Gate.STEER].shift == pytest.approx(
        folded(*GOOD, Turn(station=FRONT_LEFT, asked=5.0 * DEG)).gates[Gate.STEER].shift, rel=1e-6
    )


def test_a_reading_of_a_car_that_tips_is_refused_by_its_number() -> None:
    with pytest.raises(InputError, match=r"^entry 3 \(height difference\).*the car tips over") as told:
        folded(TIPS, *evening())
    assert "\n" not in str(told.value)
