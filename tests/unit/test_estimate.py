"""From readings to where the car is: closed forms, budgets, contradictions and degenerate cases."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rollwright.car import Car, Seat, Station
from rollwright.car.dimensions import dimension_names, dimension_of, free_deviations
from rollwright.errors import ReadingUnusable
from rollwright.geometry.many import dimension_values
from rollwright.geometry.stance import stance
from rollwright.setup.estimate import Estimate, estimate, prior_of
from rollwright.setup.predict import GATE_QUANTITIES
from rollwright.setup.readings import Reading, ReadingKind

from .cars import DEG, MM, changed, flat_car, known_but_for, lark, mirrored, reading, three_readings, value_of

HUB = "front_left.hub_projection"
RAIL = ReadingKind.RAIL_OFFSET


def size(value: float, uncertainty: float, *, name: str = HUB, where: str = "") -> Reading:
    return reading(ReadingKind.SIZE, value, uncertainty, dimension=name, where=where)


def rail_gates(found: Estimate) -> tuple[float, float]:
    return float(found.gates[2]), math.sqrt(float(found.gate_covariance[2, 2]))


# Without readings.


def test_without_readings_the_car_is_as_its_file_says() -> None:
    car = lark()
    found = estimate(car)
    assert found.values == pytest.approx(dimension_values(car), rel=0.0, abs=0.0)
    free = free_deviations(car)
    for name in dimension_names():
        expected = free.get(name, 0.0)
        assert found.dimension(name).uncertainty == pytest.approx(expected, rel=1e-12), name
    now = stance(car)
    assert found.gates == pytest.approx(
        [now.height_difference, now.drift.lateral, now.rail_offset], abs=1e-12
    )
    assert found.misfit_probability == 1.0
    assert found.strains == ()
    assert found.notes == ("Nothing has been read yet: all of this is the car file alone.",)


def test_the_spread_of_the_gates_without_readings_is_the_priors_pushed_through_the_geometry() -> None:
    # Half the body's width and the hub's projection both move the wheel out: root of the sum of squares.
    car = known_but_for(flat_car(), {"body.width": 0.3 * MM, HUB: 0.2 * MM})
    _, spread = rail_gates(estimate(car))
    assert spread == pytest.approx(math.hypot(0.15, 0.2) * MM, rel=1e-6)


# One unknown and one reading: the weighted mean.


@pytest.mark.parametrize(("before", "gauge"), [(0.3, 0.05), (0.05, 0.3), (0.1, 0.1)])
def test_a_size_and_its_reading_meet_at_their_weighted_mean(before: float, gauge: float) -> None:
    # JCGM 100:2008, H.3 in its simplest form: weights are inverse variances.
    car = known_but_for(flat_car(), {HUB: before * MM})
    found = estimate(car, [size(2.4 * MM, gauge * MM)])
    weights = before**-2, gauge**-2
    mean = (weights[0] * 2.0 + weights[1] * 2.4) / sum(weights)
    hub = found.dimension(HUB)
    assert hub.value == pytest.approx(mean * MM, rel=1e-9)
    assert hub.uncertainty == pytest.approx(sum(weights) ** -0.5 * MM, rel=1e-9)
    # A square wheel's offset is that of its hub: the same numbers, 3 mm further out.
    assert rail_gates(found) == pytest.approx((hub.value + 3.0 * MM, hub.uncertainty), rel=1e-6)


def test_a_reading_that_sees_half_a_change_weighs_a_quarter() -> None:
    # The rail offset moves by half of the body's width: y = b + w / 2.
    before, gauge, shown = 0.4, 0.1, 5.3
    car = known_but_for(flat_car(), {"body.width": before * MM})
    found = estimate(car, [reading(RAIL, shown * MM, gauge * MM)])
    precision = before**-2 + 0.25 * gauge**-2
    width = 50.0 + 0.5 * gauge**-2 * (shown - 5.0) / precision
    assert found.dimension("body.width").value == pytest.approx(width * MM, rel=1e-9)
    assert found.dimension("body.width").uncertainty == pytest.approx(precision**-0.5 * MM, rel=1e-6)


@pytest.mark.parametrize("count", [1, 3, 20])
def test_repeats_narrow_as_their_number_says_and_give_their_mean(count: int) -> None:
    before, gauge = 0.3, 0.1
    values = np.linspace(2.1, 2.5, count) if count > 1 else np.array([2.3])
    car = known_but_for(flat_car(), {HUB: before * MM})
    found = estimate(car, [size(float(value) * MM, gauge * MM) for value in values])
    weights = before**-2, count * gauge**-2
    mean = (weights[0] * 2.0 + weights[1] * 2.3) / sum(weights)
    assert found.dimension(HUB).value == pytest.approx(mean * MM, rel=1e-9)
    assert found.dimension(HUB).uncertainty == pytest.approx(sum(weights) ** -0.5 * MM, rel=1e-9)


def test_repeats_of_one_set_up_never_beat_the_error_that_they_share() -> None:
    before, own, common, count = 0.3, 0.1, 0.2, 20
    car = known_but_for(flat_car(), {HUB: before * MM})
    readings = [replace(size(2.3 * MM, own * MM), set_up="caliper", common=common * MM) for _ in range(count)]
    found = estimate(car, readings)
    weights = before**-2, 1.0 / (own**2 / count + common**2)
    assert found.dimension(HUB).uncertainty == pytest.approx(sum(weights) ** -0.5 * MM, rel=1e-9)
    mean = (weights[0] * 2.0 + weights[1] * 2.3) / sum(weights)
    assert found.dimension(HUB).value == pytest.approx(mean * MM, rel=1e-9)


# Readings that are met.


@pytest.mark.parametrize("car", [lark(), mirrored(lark())], ids=["left", "right"])
@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (ReadingKind.HEIGHT_DIFFERENCE, -0.31 * MM),
        (ReadingKind.DRIFT, -0.0213),
        (RAIL, 1.37 * MM),
        (ReadingKind.TIP_SWEEP, 2.9 * MM),
    ],
)
def test_a_perfect_reading_is_met(car: Car, kind: ReadingKind, value: float) -> None:
    if kind is ReadingKind.DRIFT and car.dominant is Station.FRONT_RIGHT:
        value = -value
    distance = 30.0 * MM if kind is ReadingKind.TIP_SWEEP else None
    found = estimate(car, [reading(kind, value, 1e-9, distance=distance)])
    if kind is ReadingKind.TIP_SWEEP:
        shown = 60.0 * MM * math.sin(found.dimension(f"{car.dominant.value}.bend").value)
    else:
        row = [ReadingKind.HEIGHT_DIFFERENCE, ReadingKind.DRIFT, RAIL].index(kind)
        shown = float(found.gates[row])
        assert math.sqrt(found.gate_covariance[row, row]) == pytest.approx(1e-9, rel=1e-3)
    assert shown == pytest.approx(value, abs=1e-8)


def test_three_perfect_readings_are_met_together_and_the_plain_stance_agrees() -> None:
    wanted = (-0.31 * MM, -0.0213, 1.37 * MM)
    found = estimate(lark(), three_readings(*wanted, sharpness=1e5))
    now = stance(found.car)
    assert (now.height_difference, now.drift.lateral, now.rail_offset) == pytest.approx(wanted, abs=1e-8)


def test_a_trace_of_the_cars_path_tells_its_drift_without_its_start_and_heading() -> None:
    car = lark()
    true = changed(car, {"front_left.clock": 30.0 * DEG})
    along = [0.1, 0.3, 0.5, 0.7, 0.9, 1.0]
    path = [stance(changed(true, {"board.length": x})).drift.lateral or 0.0 for x in along]

    def told(start: float, heading: float) -> Estimate:
        trace = tuple((x, y + start + heading * x) for x, y in zip(along, path, strict=True))
        return estimate(car, [reading(ReadingKind.DRIFT, trace[-1][1], 0.2 * MM, trace=trace)])

    straight, skewed = told(0.0, 0.0), told(11.0 * MM, -0.013)
    assert skewed.values == pytest.approx(straight.values, abs=1e-9)
    assert skewed.gate_root == pytest.approx(straight.gate_root, abs=1e-8)
    # The path tells the turn but not the rear pair's own heading, which is among the free part.
    spread = math.sqrt(straight.gate_covariance[1, 1])
    assert abs(float(straight.gates[1]) - path[-1]) < 2.0 * spread
    assert spread < 0.3 * math.sqrt(estimate(car).gate_covariance[1, 1])


def test_an_estimate_is_the_prior_of_the_next_and_all_at_once_is_the_same() -> None:
    # Square wheels are centred by sums of sizes, so that nothing is lost by going step by step.
    car = known_but_for(flat_car(), {"body.width": 0.4 * MM, HUB: 0.2 * MM, "rail.width": 0.1 * MM})
    first, second = reading(RAIL, 5.2 * MM, 0.1 * MM), size(2.15 * MM, 0.05 * MM)
    together = estimate(car, [first, second])
    later = estimate(car, [second], prior=estimate(car, [first]).as_prior())
    assert later.values == pytest.approx(together.values, abs=1e-11)
    assert later.covariance == pytest.approx(together.covariance, abs=1e-15)


# Whose errors the result carries.


def nudged_gates(car: Car, readings: list[Reading], name: str, by: float, *, common: bool) -> np.ndarray:
    """Gates of the estimate when one input is off by so much, all else as it was."""
    prior = prior_of(car)
    if name in prior.sources:
        mean = prior.mean.copy()
        mean[dimension_names().index(name)] += by
        return estimate(car, readings, prior=replace(prior, mean=mean)).gates
    moved = [
        replace(each, quantity=replace(each.quantity, value=each.quantity.value + by))
        if (bool(each.set_up) if common else each.where == name)
        else each
        for each in readings
    ]
    return estimate(car, moved).gates


@pytest.mark.parametrize("gate", range(3), ids=GATE_QUANTITIES)
def test_each_line_of_a_budget_is_what_its_input_does_to_the_result(gate: int) -> None:
    car = lark()
    readings = [
        reading(ReadingKind.HEIGHT_DIFFERENCE, -0.1 * MM, 0.05 * MM, set_up="plate", common=0.08 * MM),
        reading(RAIL, 0.8 * MM, 0.1 * MM, where="rail once", set_up="plate", common=0.08 * MM),
        reading(RAIL, 0.85 * MM, 0.07 * MM, where="rail again"),
        reading(ReadingKind.DRIFT, -0.1, 4.0 * MM),
    ]
    found = estimate(car, readings)
    budget = found.budgets[GATE_QUANTITIES[gate]]
    assert sum(part.share for part in budget) == pytest.approx(1.0, abs=1e-12)
    assert [part.share for part in budget] == sorted((part.share for part in budget), reverse=True)
    total = math.sqrt(found.gate_covariance[gate, gate])
    assert math.sqrt(sum(part.contribution**2 for part in budget)) == pytest.approx(total, rel=1e-9)
    names = {part.name for part in budget}
    assert {"height difference", "rail once", "rail again", "drift", "set-up plate"} <= names
    for part in budget[:6]:
        ends = [
            nudged_gates(
                car, readings, part.name, sign * 0.1 * part.uncertainty, common=part.name == "set-up plate"
            )[gate]
            for sign in (1.0, -1.0)
        ]
        does = abs(ends[0] - ends[1]) / 0.2
        # What is not linear in a tenth of an uncertainty is far below a hundredth of the whole.
        assert part.contribution == pytest.approx(does, rel=0.02, abs=0.01 * total), part.name
        assert part.sensitivity * part.uncertainty == pytest.approx(part.contribution)


def test_a_budget_agrees_with_a_monte_carlo_of_its_inputs() -> None:
    car = known_but_for(flat_car(), {"body.width": 0.4 * MM, HUB: 0.2 * MM, "rail.width": 0.1 * MM})
    gauge = 0.15 * MM
    found = estimate(car, [reading(RAIL, 5.2 * MM, gauge)])
    budget = {part.name: part.share for part in found.budgets["rail_offset"]}
    # Offset is w/2 + p - k/2; with S its variance, the reading takes the share S / (S + u2) of itself.
    sizes = {"body.width": 0.2, HUB: 0.2, "rail.width": 0.05}
    spread = sum(part**2 for part in sizes.values())
    gain = spread / (spread + 0.15**2)
    rng = np.random.default_rng(8)
    draws = 20_000
    columns = {name: (1.0 - gain) * part * rng.standard_normal(draws) for name, part in sizes.items()}
    columns["rail offset"] = gain * 0.15 * rng.standard_normal(draws)
    whole = float(np.var(sum(columns.values())))
    for name, column in columns.items():
        share = float(np.var(column)) / whole
        # A variance from n draws is known to sqrt(2 / n), one in a hundred; four of them.
        assert budget[name] == pytest.approx(share, rel=0.06), name


# Contradictions.


def test_readings_that_agree_leave_nothing_odd() -> None:
    found = estimate(lark(), three_readings(-0.05 * MM, -0.075, 0.65 * MM))
    assert found.misfit_probability > 0.05
    assert all(strain.ratio < 2.5 for strain in found.strains)


@pytest.mark.parametrize("culprit", range(4))
def test_the_odd_one_among_four_readings_is_named(culprit: int) -> None:
    values = [0.60, 0.62, 0.59, 0.61]
    values[culprit] += 0.8
    readings = [reading(RAIL, value * MM, where=f"rail {n}") for n, value in enumerate(values)]
    found = estimate(lark(), readings)
    assert found.misfit_probability < 1e-6
    assert found.strains[0].name == f"rail {culprit}"
    assert found.strains[0].ratio > 10.0
    assert found.strains[0].ratio > 1.5 * found.strains[1].ratio


@pytest.mark.parametrize("culprit", range(4))
def test_the_odd_one_is_named_although_all_share_one_set_up(culprit: int) -> None:
    values = [0.60, 0.62, 0.59, 0.61]
    values[culprit] += 0.8
    readings = [
        reading(RAIL, value * MM, where=f"rail {n}", set_up="gauge", common=0.2 * MM)
        for n, value in enumerate(values)
    ]
    found = estimate(lark(), readings)
    assert found.misfit_probability < 1e-6
    assert found.strains[0].name == f"rail {culprit}"


def test_a_reading_against_a_well_known_size_strains_both_alike() -> None:
    car = known_but_for(flat_car(), {HUB: 0.1 * MM})
    found = estimate(car, [size(3.0 * MM, 0.1 * MM, where="caliper")])
    # Ten tenths apart, each known to one tenth: the difference has a deviation of 0.141.
    strains = {strain.name: strain.ratio for strain in found.strains}
    assert strains[HUB] == pytest.approx(1.0 / math.hypot(0.1, 0.1), rel=1e-6)
    assert strains["caliper"] == pytest.approx(strains[HUB], rel=1e-6)
    # One degree of freedom: chance of a normal deviate beyond 7.07 either way.
    assert found.misfit_probability == pytest.approx(
        math.erfc(10.0 / math.sqrt(2.0) / math.sqrt(2.0)), rel=1e-6
    )


def test_a_wrong_sign_is_found_out() -> None:
    good = three_readings(-0.05 * MM, -0.075, 0.65 * MM)
    slip = replace(good[1], quantity=replace(good[1].quantity, value=0.075))
    # Where the file knows the bend and clock well, the drift cannot be on the other side.
    car = known_but_for(
        lark(), {"front_left.clock": 2.0 * DEG, "front_left.hole_height": 0.3 * MM, HUB: 0.5 * MM}
    )
    found = estimate(car, [good[0], slip, good[2]])
    assert found.misfit_probability < 1e-6
    assert found.strains[0].name in {"drift", "front_left.clock"}


# Degenerate cases.


def test_it_says_which_gate_no_reading_tells() -> None:
    found = estimate(lark(), [reading(ReadingKind.HEIGHT_DIFFERENCE, -0.05 * MM)])
    assert "No reading tells the drift: it is what the car file says." in found.notes
    assert not any("tells the height difference" in note for note in found.notes)


def test_it_names_two_sizes_of_which_only_the_sum_is_seen() -> None:
    washed = changed(flat_car(), {"front_left.washer": 0.5 * MM})
    car = known_but_for(washed, {HUB: 0.5 * MM, "front_left.washer": 0.5 * MM})
    found = estimate(car, [reading(RAIL, 5.3 * MM, 0.01 * MM)])
    (note,) = found.notes
    assert "cannot tell" in note
    assert "the front left hub projection" in note
    assert "the front left washer" in note
    told = estimate(car, [reading(RAIL, 5.3 * MM, 0.01 * MM), size(2.1 * MM, 0.01 * MM)])
    assert told.notes == ()


def test_a_bend_is_never_negative_and_turns_round_instead() -> None:
    # A nearly straight pin whose front sits lower than no bend at all could make it.
    car = known_but_for(changed(flat_car(), {"front_left.bend": 0.3 * DEG}), {"front_left.bend": 2.0 * DEG})
    low = stance(changed(flat_car(), {"front_left.bend": 1.0 * DEG, "front_left.clock": math.pi}))
    found = estimate(car, [reading(ReadingKind.HEIGHT_DIFFERENCE, low.height_difference, 1e-7)])
    assert found.dimension("front_left.bend").value == pytest.approx(1.0 * DEG, rel=1e-3)
    assert abs(math.remainder(found.dimension("front_left.clock").value, 2.0 * math.pi)) == pytest.approx(
        math.pi
    )
    assert float(found.gates[0]) == pytest.approx(low.height_difference, abs=1e-8)


def test_what_is_exact_stays_as_it_is() -> None:
    car = known_but_for(lark(), {HUB: 0.1 * MM, "front_left.hole_height": 0.2 * MM})
    found = estimate(car, three_readings(0.4 * MM, -0.3, 3.0 * MM))
    for name in dimension_names():
        if name not in {HUB, "front_left.hole_height"}:
            assert found.dimension(name).value == value_of(car, name), name
            assert found.dimension(name).uncertainty == 0.0, name
    assert found.dimension(HUB).value != value_of(car, HUB)


def test_a_car_that_is_exact_throughout_only_has_its_readings_judged() -> None:
    car = known_but_for(flat_car(), {})
    found = estimate(car, [reading(RAIL, 5.1 * MM, 0.05 * MM), reading(RAIL, 4.98 * MM, 0.05 * MM)])
    assert found.values == pytest.approx(dimension_values(car), rel=0.0, abs=0.0)
    assert float(found.gate_covariance[2, 2]) == 0.0
    # Two degrees of freedom: the chance is exp(-chi2 / 2), chi2 = 2^2 + 0.4^2.
    assert found.misfit_probability == pytest.approx(math.exp(-0.5 * (4.0 + 0.16)), rel=1e-6)
    assert found.strains[0].ratio == pytest.approx(2.0, rel=1e-6)


def test_a_straight_axle_has_no_clock_to_estimate() -> None:
    car = flat_car()
    assert value_of(car, "front_left.bend") == 0.0
    assert dimension_of(car, "front_left.clock").uncertainty > 0.0
    found = estimate(car, three_readings(-0.02 * MM, 0.03, 5.1 * MM))
    assert found.dimension("front_left.clock").uncertainty == 0.0
    assert found.dimension("rear_left.bend").value >= 0.0


def test_one_sharp_reading_among_broad_ones_does_not_break_the_algebra() -> None:
    readings = [reading(RAIL, 0.61 * MM, 1e-10), *three_readings(-0.05 * MM, -0.075, 0.6 * MM)]
    found = estimate(lark(), readings)
    eigenvalues = np.linalg.eigvalsh(
        found.gate_covariance / np.outer(*2 * [np.sqrt(np.diag(found.gate_covariance))])
    )
    assert float(eigenvalues.min()) > -1e-9
    assert rail_gates(found)[1] == pytest.approx(1e-10, rel=0.01)


def test_the_same_reading_twenty_times_is_twenty_readings() -> None:
    one = reading(RAIL, 0.7 * MM, 0.2 * MM)
    found = estimate(lark(), [one] * 20)
    finer = estimate(lark(), [reading(RAIL, 0.7 * MM, 0.2 * MM / math.sqrt(20.0))])
    assert found.values == pytest.approx(finer.values, abs=1e-9)
    assert rail_gates(found) == pytest.approx(rail_gates(finer), rel=1e-6)


@pytest.mark.parametrize("own", [0.0, 1e-12])
def test_two_readings_that_share_their_whole_error_are_refused(own: float) -> None:
    pair = [reading(RAIL, value * MM, own, set_up="a", common=0.1 * MM) for value in (0.6, 0.7)]
    with pytest.raises(ReadingUnusable, match="share their whole error"):
        estimate(lark(), pair)


def test_one_reading_with_nothing_but_a_common_error_is_an_ordinary_reading() -> None:
    alone = estimate(lark(), [reading(RAIL, 0.7 * MM, 0.0, set_up="a", common=0.1 * MM)])
    plain = estimate(lark(), [reading(RAIL, 0.7 * MM, 0.1 * MM)])
    assert rail_gates(alone) == pytest.approx(rail_gates(plain))


def test_a_reading_without_any_uncertainty_is_refused_by_name() -> None:
    with pytest.raises(ReadingUnusable, match=r"reading 2 .*without any uncertainty"):
        estimate(
            lark(), [reading(RAIL, 0.7 * MM), reading(RAIL, 0.7 * MM, 0.0, where="reading 2 (rail offset)")]
        )


def test_a_car_whose_dominant_wheel_is_above_the_rail_is_refused_in_one_line() -> None:
    high = changed(
        lark(), {"rail.height": 0.2 * MM, "front_left.bend": 0.0, "front_right.hole_height": 7.0 * MM}
    )
    assert stance(high).rail_offset is None
    with pytest.raises(ReadingUnusable, match="above the rail"):
        estimate(high)


# Seats.


def test_the_seat_is_inferred_from_where_the_readings_put_the_wheel() -> None:
    # By its file the end of the pin is carried up, so that the wheel runs to the head; it was turned since.
    car = changed(lark(), {"front_left.clock": 178.0 * DEG})
    assert estimate(car).seats[Station.FRONT_LEFT] is Seat.HEAD
    found = estimate(car, [size(22.0 * DEG, 1e-3 * DEG, name="front_left.clock")])
    assert found.seats[Station.FRONT_LEFT] is Seat.BODY


def test_a_seat_that_is_given_is_kept() -> None:
    car = replace_seat(lark(), Seat.HEAD)
    assert estimate(car, three_readings(-0.05 * MM, -0.075, 1.2 * MM)).seats[Station.FRONT_LEFT] is Seat.HEAD


def test_seats_that_chase_each_other_end_in_the_likelier_of_the_two() -> None:
    # Level and square, so that any reading tips it one way or the other; the play is 0.6 mm.
    car = replace_seat(flat_car(), None)
    for shown in (4.9, 5.2, 5.5):
        found = estimate(car, [reading(RAIL, shown * MM, 0.01 * MM)])
        assert np.all(np.isfinite(found.gates))
        assert float(found.gates[2]) == pytest.approx(shown * MM, abs=0.05 * MM)


def replace_seat(car: Car, seat: Seat | None) -> Car:
    corners = dict(car.corners)
    corners[car.dominant] = replace(corners[car.dominant], seat=seat)
    return replace(car, corners=corners)
