"""What a log adds up to: where the car is, which gates were read, and which have gone stale."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from rollwright.bench.events import (
    Bend,
    CarStarted,
    DaylightCheck,
    Event,
    Fitted,
    Note,
    PartFitted,
    Plane,
    ReadingTaken,
    Retired,
    Seen,
    Shim,
    Size,
    SlowRoll,
    SlowRollSeen,
    Turn,
    Washer,
    Withdrawn,
)
from rollwright.bench.fold import Folded, Gate, Standing, State, fold
from rollwright.car.dimensions import dimension_names, dimension_of
from rollwright.car.model import Station
from rollwright.errors import InputError
from rollwright.setup.estimate import estimate
from rollwright.setup.reading_keys import ReadingKind
from rollwright.setup.readings import Reading

from .cars import PERFECT, lark, reading
from .fold_bench import (
    DEG,
    FRONT_LEFT,
    FRONT_RIGHT,
    LARK,
    MM,
    MODELLED,
    evening,
    folded,
    ident,
    log,
    read,
    standings,
    started,
)

HOLDS, PREDICTED, AGAIN, NEVER = Standing.HOLDS, Standing.PREDICTED, Standing.READ_AGAIN, Standing.NEVER_READ
NUMBERED = (Gate.LEVEL, Gate.STEER, Gate.CENTRE)
ROLLS = SlowRoll(seen=SlowRollSeen.HOLDS)
GOOD = (*evening(), ROLLS)
"""An evening that passes every gate."""


def shown(level: float, drift: float, rail: float) -> tuple[Reading, ...]:
    """Return the readings of `evening` as the estimate takes them [mm]."""
    return (
        reading(ReadingKind.HEIGHT_DIFFERENCE, level * MM, 0.02 * MM),
        reading(ReadingKind.DRIFT, drift * MM, 1.0 * MM),
        reading(ReadingKind.RAIL_OFFSET, rail * MM, 0.02 * MM),
    )


def of(found: Folded, gate: Gate) -> Standing:
    return found.gates[gate].standing


# A gate is passed by a reading.


def test_a_gate_that_was_never_read_says_so_and_is_not_passed() -> None:
    found = folded()
    assert set(standings(found).values()) == {NEVER}
    for gate in NUMBERED:
        state = found.gates[gate]
        assert (state.verdict, state.read_at, state.reasons, state.passed) == (None, 0, (), False)
        assert state.now is not None
    assert found.gates[Gate.ROLL].now is None


def test_a_gate_holds_directly_after_its_reading() -> None:
    found = folded(*GOOD)
    assert set(standings(found).values()) == {HOLDS}
    assert all(found.gates[gate].passed for gate in MODELLED)
    assert [found.gates[gate].read_at for gate in (*NUMBERED, Gate.ROLL)] == [2, 3, 4, 5]


def test_a_reading_passes_its_own_gate_only() -> None:
    found = folded(read(ReadingKind.HEIGHT_DIFFERENCE, 0.0, 0.02 * MM))
    assert standings(found) == {Gate.LEVEL: HOLDS, Gate.STEER: NEVER, Gate.CENTRE: NEVER, Gate.ROLL: NEVER}
    block = folded(read(ReadingKind.BLOCK_OFFSET, 0.0, 0.02 * MM))
    assert of(block, Gate.CENTRE) is HOLDS
    size = ReadingTaken(reading=ReadingKind.SIZE, values=(48.0 * MM,), dimension="body.width")
    assert set(standings(folded(size)).values()) == {NEVER}


def test_a_failing_reading_holds_and_does_not_pass() -> None:
    found = folded(*evening(level=1.0))
    state = found.gates[Gate.LEVEL]
    assert state.standing is HOLDS
    assert state.verdict is not None
    assert state.verdict.state is State.FAIL
    assert not state.passed


@pytest.mark.parametrize("level", [1.0, 0.15])
def test_a_gate_that_was_not_passed_is_never_passed_by_a_move(level: float) -> None:
    # A shim that brings the front back down: 1 mm read as too high fails, 0.15 mm is too close to tell.
    read_before = evening(level=level)
    was = folded(*read_before).gates[Gate.LEVEL]
    assert was.verdict is not None
    assert was.verdict.state is (State.FAIL if level == 1.0 else State.UNCLEAR)
    found = folded(*read_before, Shim(station=FRONT_LEFT, asked=-level * MM))
    state = found.gates[Gate.LEVEL]
    assert state.now is not None
    assert state.now.probability > 0.95
    assert state.standing is AGAIN
    assert not state.passed
    healed = folded(*read_before, Shim(station=FRONT_LEFT, asked=-level * MM), *evening())
    assert healed.gates[Gate.LEVEL].standing is HOLDS
    assert healed.gates[Gate.LEVEL].passed


# Withdrawals.


def gone(number: int) -> Withdrawn:
    return Withdrawn(entry=ident(number), reason="a slip")


def test_a_withdrawn_reading_does_not_count() -> None:
    found = folded(*evening(level=1.0), gone(2))
    assert of(found, Gate.LEVEL) is NEVER
    assert [each.kind for each in found.readings] == [ReadingKind.DRIFT, ReadingKind.RAIL_OFFSET]
    assert (found.entries, found.withdrawn) == (3, (2,))


def test_a_withdrawn_move_does_not_count() -> None:
    found = folded(*GOOD, Turn(station=FRONT_LEFT, asked=5.0 * DEG), gone(6))
    assert set(standings(found).values()) == {HOLDS}
    assert found.changes == ()


def test_a_move_withdrawn_from_between_two_evenings_makes_them_one() -> None:
    found = folded(*evening(0.02), Turn(station=FRONT_LEFT, asked=5.0 * DEG), *evening(-0.02), gone(5))
    assert len(found.readings) == 6
    assert found.gates[Gate.LEVEL].read_at == 6


def test_a_withdrawal_is_no_entry_that_counts_and_cannot_be_withdrawn() -> None:
    found = folded(*evening(), Turn(station=FRONT_LEFT, asked=5.0 * DEG), gone(5), gone(6))
    assert found.entries == 4
    assert found.withdrawn == (5,)
    assert of(found, Gate.STEER) is HOLDS


def test_a_withdrawn_slow_roll_leaves_the_one_before() -> None:
    found = folded(ROLLS, SlowRoll(seen=SlowRollSeen.LEAVES), gone(3))
    assert found.gates[Gate.ROLL].read_at == 2
    assert found.gates[Gate.ROLL].passed


def test_a_car_is_retired_until_that_is_withdrawn() -> None:
    assert folded(Retired(reason="cracked")).retired == "cracked"
    assert folded(Retired(reason="cracked"), gone(2)).retired == ""


# Daylight.


def test_daylight_tells_the_hole_unless_it_was_only_seen() -> None:
    def cant(*events: Event) -> tuple[float, float]:
        found = folded(*events).estimate
        assert found is not None
        one = found.dimension("rear_left.cant")
        return one.value, one.uncertainty

    def look(seen: Seen, size: float | None = None) -> DaylightCheck:
        return DaylightCheck(station=Station.REAR_LEFT, plane=Plane.CANT, seen=seen, size=size)

    value, spread = cant()
    assert cant(look(Seen.SEEN)) == (value, spread)
    assert folded(look(Seen.SEEN)).readings == ()
    for seen, size, shown_angle in (
        (Seen.NONE, None, 0.0),
        (Seen.FEELER, 1.0 * MM, 1.0 / 30.0),
        (Seen.ANGLE, 3.0 * DEG, 3.0 * DEG),
    ):
        told, narrower = cant(look(seen, size))
        assert narrower < spread
        assert abs(told - shown_angle) < abs(value - shown_angle)


# One evening, two evenings.


def test_one_evening_is_one_estimate_of_all_its_readings() -> None:
    found = folded(*evening(0.1, -60.0, 0.3))
    alone = estimate(lark(), shown(0.1, -60.0, 0.3))
    assert found.estimate is not None
    assert found.estimate.values == pytest.approx(alone.values, abs=1e-12)
    assert found.estimate.covariance == pytest.approx(alone.covariance, rel=1e-9, abs=1e-15)
    assert found.estimate.misfit_probability == pytest.approx(alone.misfit_probability)
    assert len(found.readings) == 3
    for number, gate in enumerate(NUMBERED):
        verdict = found.gates[gate].verdict
        assert verdict is not None
        assert verdict.value == pytest.approx(alone.gates[number], abs=1e-12)
        assert verdict.uncertainty == pytest.approx(alone.gate_covariance[number, number] ** 0.5, rel=1e-9)


def test_two_evenings_with_a_move_between_are_two_estimates_with_the_first_passed_on() -> None:
    move = Turn(station=FRONT_LEFT, asked=4.0 * DEG)
    entries = log(*evening(0.1, -60.0, 0.3), move, *evening(0.08, -75.0, 0.28))
    found = fold(entries, hand=PERFECT)
    prior = estimate(lark(), shown(0.1, -60.0, 0.3)).as_prior()
    turned = prior.mean.copy()
    turned[dimension_names().index("front_left.clock")] += 4.0 * DEG
    second = estimate(lark(), shown(0.08, -75.0, 0.28), prior=replace(prior, mean=turned))
    assert found.estimate is not None
    assert found.estimate.values == pytest.approx(second.values, abs=1e-9)
    scale = np.outer(second.deviations, second.deviations) + 1e-30
    assert found.estimate.covariance / scale == pytest.approx(second.covariance / scale, abs=1e-6)
    # What is handed on leads to the same answer once more.
    again = estimate(found.known.car, found.readings, prior=found.known.prior)
    assert again.gates == pytest.approx(found.estimate.gates, abs=1e-12)


def test_the_order_of_readings_of_one_state_does_not_matter() -> None:
    first: Folded | None = None
    for order in permutations(evening(0.1, -60.0, 0.3)):
        found = folded(*order)
        assert found.estimate is not None
        if first is None:
            first = found
            continue
        assert first.estimate is not None
        assert found.estimate.values == pytest.approx(first.estimate.values, abs=1e-9)
        assert found.estimate.gates == pytest.approx(first.estimate.gates, abs=1e-9)


def test_remarks_between_readings_do_not_part_them() -> None:
    first, *rest = evening()
    # What the roll showed of the tail is a reading like the others.
    assert len(folded(first, Note(text="tea"), ROLLS, *rest).readings) == 4


def test_a_long_log_is_carried_by_few_columns() -> None:
    turns = [Turn(station=FRONT_LEFT, asked=0.1 * DEG * (-1) ** number) for number in range(300)]
    found = folded(*evening(), *turns)
    p = len(dimension_names())
    assert found.known.prior.root.shape[1] <= 2 * p
    # Three hundred turns of one degree's miss each: the root of their number.
    alone = estimate(lark(), shown(0.0, -70.0, 0.0)).dimension("front_left.clock").uncertainty
    assert found.estimate is not None
    clock = found.estimate.dimension("front_left.clock")
    assert clock.uncertainty == pytest.approx(np.hypot(alone, DEG * 300**0.5), rel=1e-9)
    wanted = estimate(lark(), shown(0.0, -70.0, 0.0)).covariance.copy()
    at = dimension_names().index("front_left.clock")
    wanted[at, at] += 300.0 * DEG**2
    assert found.known.prior.root @ found.known.prior.root.T == pytest.approx(wanted, rel=1e-8, abs=1e-16)


# What cannot be folded.


def test_events_before_the_start_are_refused_by_their_number() -> None:
    with pytest.raises(InputError, match=r"^entry 1: no car was started; "):
        fold(log(start=ROLLS))
    entries = log(ROLLS, LARK, gone(1))
    with pytest.raises(InputError, match=r"^entry 2: it stands before the car's start, entry 3; withdraw it"):
        fold(entries)
    assert fold(log(ROLLS, LARK, gone(1), gone(2))).entries == 1
    with pytest.raises(InputError, match="the log holds no car; start the car first"):
        fold([])


def test_a_car_that_is_started_twice_is_refused() -> None:
    with pytest.raises(InputError, match=r"^entry 2: the car is started a second time; withdraw one"):
        folded(LARK)
    assert folded(LARK, gone(2)).entries == 1


def test_a_car_file_that_cannot_be_used_is_refused_by_its_entry() -> None:
    with pytest.raises(InputError, match=r"entry 1, "):
        folded(start=started('format = 1\nname = "Lark"\n[body]\nwidth = -4\n'))
    text = LARK.car_file.replace("centre_of_mass = [", "centre_of_mass = [-400, 0, 10] # [")
    assert text != LARK.car_file
    with pytest.raises(InputError, match=r"^entry 1, body.centre_of_mass: the car tips over"):
        folded(start=started(text))


def test_a_reading_that_the_car_cannot_show_is_refused_by_its_number() -> None:
    # A sixth of a turn of sweep at the dominant wheel: it never runs the board's length.
    sharp = Turn(station=FRONT_LEFT, asked=80.0 * DEG)
    bent = Bend(station=FRONT_LEFT, asked=35.0 * DEG)
    with pytest.raises(InputError, match=r"^entry 5 \(drift\): ") as told:
        folded(evening()[0], bent, sharp, evening()[1])
    assert "\n" not in str(told.value)


def test_a_car_that_cannot_be_told_for_another_reason_than_tipping_is_told_as_such() -> None:
    found = folded(
        *evening(), Bend(station=FRONT_LEFT, asked=35.0 * DEG), Turn(station=FRONT_LEFT, asked=80.0 * DEG)
    )
    assert found.estimate is None
    assert "turns too sharply" in found.trouble
    assert of(found, Gate.STEER) is AGAIN


def test_started_by_another_name_is_the_same_car() -> None:
    assert isinstance(LARK, CarStarted)
    assert folded().known.car == lark()


def test_a_bend_that_is_read_puts_a_straight_pin_in_question() -> None:
    sweep = ReadingTaken(
        reading=ReadingKind.TIP_SWEEP, values=(0.6 * MM,), station=Station.REAR_LEFT, uncertainty=0.02 * MM
    )
    # The tip swings 2 d sin(bend) in all, d = 30 mm: 0.6 mm are a hundredth of a radian.
    event = reading(ReadingKind.TIP_SWEEP, 0.6 * MM, 0.02 * MM, station=Station.REAR_LEFT, distance=30.0 * MM)
    # Lark's file says measured straight to 0.05 degrees; the two meet at their weighted mean.
    before, gauge = dimension_of(lark(), "rear_left.bend").uncertainty, 0.02 / 60.0
    mean = 0.01 * before**2 / (before**2 + gauge**2)
    alone = estimate(lark(), [event])
    first = folded(sweep).estimate
    assert first is not None
    assert first.values == pytest.approx(alone.values, abs=1e-9)
    later = folded(*evening(), Note(text="rain"), Washer(station=FRONT_RIGHT, asked=0.0), sweep).estimate
    for found in (alone, first, later):
        assert found is not None
        assert found.dimension("rear_left.bend").value == pytest.approx(mean, rel=1e-3)


def test_a_size_that_no_wheel_has_leaves_the_car_untold() -> None:
    wheel = PartFitted(
        part=Fitted.WHEEL,
        name="w",
        station=FRONT_LEFT,
        sizes=(Size(name="diameter", value=0.001 * MM),),
    )
    found = folded(*evening(), wheel)
    assert found.estimate is None
    assert found.trouble.startswith("front_left.diameter: ")
    with pytest.raises(InputError, match=r"^entry 3 \(height difference\), front_left.diameter: "):
        folded(wheel, *evening())
