"""Planning before the wood is cut: the plan lands and prefers as it is told."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from rollwright.car import Station
from rollwright.car.dimensions import dimension_of
from rollwright.errors import OutOfRange
from rollwright.geometry.axle import hole_axis
from rollwright.geometry.many import dimension_values
from rollwright.geometry.stance import stance
from rollwright.judge.class_rules import ClassRules
from rollwright.quantity import Source
from rollwright.setup.knobs import AdjustableCar
from rollwright.setup.plan import Preference, TradePoint, Wish, plan, trade_off

from .cars import DEG, MM, aimed, changed, club_car, flat_car, heron, lark, mirrored, value_of
from .plan_bench import (
    CARS,
    EXACT,
    LEAST_BEND,
    LEAST_RELIEF,
    MOST_ADJUSTMENT,
    OPEN,
    PLAIN,
    STRAIGHT,
    front,
    names,
    off_target,
)

# It lands.


@pytest.mark.parametrize("flip", [False, True], ids=["as it is", "mirrored"])
@pytest.mark.parametrize("preference", Preference)
@pytest.mark.parametrize("name", CARS)
def test_the_planned_demo_car_stands_on_target(name: str, preference: Preference, *, flip: bool) -> None:
    car = mirrored(club_car(name)) if flip else club_car(name)
    found = plan(car, wish=Wish(preference=preference))
    assert found.blocked == ()
    assert off_target(car, found) < EXACT
    assert found.bent == car.bent_axles


@pytest.mark.parametrize("rules", [OPEN, STRAIGHT, PLAIN], ids=lambda rules: rules.name)
@pytest.mark.parametrize("name", CARS)
def test_each_demo_car_can_be_planned_for_each_class(name: str, rules: ClassRules) -> None:
    car = club_car(name)
    found = plan(car, rules=rules)
    assert off_target(car, found) < EXACT
    assert found.bent == (car.bent_axles and rules is OPEN)
    too_long = {"length", "wheelbase"} if rules is not OPEN and name != "heron" else set()
    assert set(names(found)) == too_long


def test_every_wish_is_met_together() -> None:
    car = aimed(lark(), level=0.3 * MM, drift=-0.05, rail=0.1 * MM)
    found = plan(
        car, wish=Wish(ride_height=7.4 * MM, raise_height=1.2 * MM, rear_cant=1.5 * DEG, front_cant=0.5 * DEG)
    )
    at = stance(found.car)
    assert found.blocked == ()
    assert off_target(car, found) < EXACT
    assert at.rear == pytest.approx(7.4 * MM, abs=EXACT)
    assert at.stations[Station.FRONT_RIGHT].hanging_clearance == pytest.approx(1.2 * MM, abs=EXACT)
    assert [value_of(found.car, f"rear_{side}.cant") for side in ("left", "right")] == [1.5 * DEG] * 2
    assert front(found, "cant") == 0.5 * DEG
    assert Station.FRONT_RIGHT not in at.carrying


def test_a_ride_height_may_be_meant_at_the_front() -> None:
    car = aimed(lark(), level=0.4 * MM, drift=-0.07)
    at = stance(plan(car, wish=Wish(ride_height=7.4 * MM, ride_at_front=True)).car)
    assert at.front == pytest.approx(7.4 * MM, abs=EXACT)
    assert at.rear == pytest.approx(7.0 * MM, abs=EXACT)


def test_wishes_go_before_the_targets_of_the_file() -> None:
    found = plan(lark(), wish=Wish(height_difference=0.2 * MM, drift=0.03, rail_offset=-0.1 * MM))
    assert off_target(aimed(lark(), level=0.2 * MM, drift=0.03, rail=-0.1 * MM), found) < EXACT


def test_without_a_wish_the_rear_holes_and_the_raise_stay() -> None:
    found, was = plan(lark()), stance(lark())
    assert value_of(found.car, "rear_left.hole_height") == value_of(lark(), "rear_left.hole_height")
    assert found.figures.ride_height == pytest.approx(was.rear, abs=0.02 * MM)
    raised = was.stations[Station.FRONT_RIGHT].hanging_clearance
    assert found.figures.raise_height == pytest.approx(raised, abs=EXACT)


def test_heights_of_a_square_car_are_those_worked_by_hand() -> None:
    # Wheels of 30 mm, bores 0.1 mm wider than the shanks: a level axle's centre stands 15 - 0.05 mm high, so
    # an underside 7 mm high asks for holes 7.95 mm above it, and a wheel that hangs 2 mm clear for one
    # 2 mm and the whole slack of 0.1 mm higher.
    car = aimed(flat_car(), drift=0.0)
    found = plan(car, wish=Wish(ride_height=7.0 * MM, raise_height=2.0 * MM, preference=LEAST_BEND))
    assert value_of(found.car, "rear_left.hole_height") == pytest.approx(7.95 * MM, abs=EXACT)
    assert value_of(found.car, "front_right.hole_height") == pytest.approx(10.05 * MM, abs=EXACT)
    # The bent wheel stands lower, by the sine of its lean at the tread's outer edge, 10 mm out of the face;
    # its rim of 15 mm and the half slack stand higher by their cosine.
    lean = front(found, "bend") * math.cos(front(found, "clock"))
    drop = 10.0 * MM * math.sin(lean) - (15.0 - 0.05) * MM * (1.0 - math.cos(lean))
    assert front(found, "hole_height") - 7.95 * MM == pytest.approx(drop, abs=1e-7)


def test_what_is_planned_is_nominal_and_told() -> None:
    found = plan(lark(), wish=Wish(ride_height=7.4 * MM))
    for size in found.sizes:
        quantity = dimension_of(found.car, size.name)
        assert (quantity.value, quantity.source) == (size.value, Source.NOMINAL)
        assert size.was == value_of(lark(), size.name)
        assert size.why
    why = {size.name: size.why for size in found.sizes}
    assert why["rear_left.hole_height"] == "gives the ride height"
    assert why["front_left.clock"] == "gives the drift"
    # The bend was measured to 0.2 degrees; one that is only meant is no better known than a drawing.
    assert dimension_of(found.car, "front_left.bend").uncertainty == pytest.approx(0.3 * DEG)
    assert not any(key.startswith("stations.front_left.relief") for key in found.car.assumed)


def test_only_what_the_plan_sets_is_changed() -> None:
    found = plan(lark())
    told = {size.name for size in found.sizes}
    assert told >= {"front_left.bend", "front_left.clock", "front_left.relief", "front_right.hole_height"}
    for name in ("body.width", "body.wheelbase", "front_left.play", "front_right.cant", "rear_left.diameter"):
        assert name not in told
        assert dimension_of(found.car, name) == dimension_of(lark(), name)


# Straight axles.


def test_a_class_without_bent_axles_steers_by_the_hole() -> None:
    found = plan(heron(), rules=STRAIGHT)
    assert (front(found, "bend"), front(found, "clock")) == (0.0, 0.0)
    assert front(found, "sweep") > 0.0
    assert front(found, "cant") < 0.0
    assert (found.adjustment.drift_left, found.adjustment.height_up, found.turn_drift) == (0.0, 0.0, 0.0)


def test_a_wished_cant_of_the_dominant_hole_leaves_the_sweep_to_steer() -> None:
    found = plan(heron(), wish=Wish(front_cant=-1.0 * DEG))
    assert front(found, "cant") == -1.0 * DEG
    assert off_target(heron(), found) < EXACT
    assert found.blocked == ()
    assert len(trade_off(heron(), wish=Wish(front_cant=-1.0 * DEG))) == 1


def test_a_bushing_lies_on_the_axis_of_its_hole() -> None:
    found = plan(heron(), wish=Wish(block=25.0 * MM))
    for bushing in found.bushings:
        corner = found.car.corners[bushing.station]
        out = corner.relief.value + bushing.block
        axis = hole_axis(side=bushing.station.side, cant=corner.cant.value, sweep=corner.sweep.value)
        # From the hole at the relieved face, along the axis until the block's outer face is reached.
        along = out / abs(axis[1])
        assert bushing.forward_at_block == pytest.approx(along * axis[0], abs=1e-12)
        assert bushing.height_at_block == pytest.approx(corner.hole_height.value + along * axis[2], abs=1e-12)
        assert math.cos(bushing.askew) == pytest.approx(abs(axis[1]), abs=1e-12)
    steering = found.bushings[list(Station).index(found.car.dominant)]
    assert steering.forward_at_block > steering.forward_at_face > 0.0
    assert steering.height_at_block < steering.height_at_face
    rear = found.bushings[0]
    assert rear.height_at_face == found.car.corners[Station.REAR_LEFT].hole_height.value


# What is preferred.


@pytest.mark.parametrize("name", ["lark", "bittern"])
def test_each_preference_gives_most_of_what_it_names(name: str) -> None:
    car = club_car(name)
    found = {one: plan(car, wish=Wish(preference=one)) for one in Preference}
    bends = {one: front(each, "bend") for one, each in found.items()}
    reliefs = {one: front(each, "relief") for one, each in found.items()}
    scarce = {
        one: min(
            each.adjustment.height_up / car.targets.height_difference.tolerance,
            each.adjustment.height_down / car.targets.height_difference.tolerance,
            each.adjustment.drift_left / car.targets.drift.tolerance,
            each.adjustment.drift_right / car.targets.drift.tolerance,
        )
        for one, each in found.items()
    }
    assert bends[LEAST_BEND] == min(bends.values()) < bends[MOST_ADJUSTMENT]
    assert reliefs[LEAST_RELIEF] == min(reliefs.values()) < reliefs[LEAST_BEND]
    assert scarce[MOST_ADJUSTMENT] == max(scarce.values())
    assert scarce[MOST_ADJUSTMENT] > 2.0 * max(scarce[LEAST_BEND], scarce[LEAST_RELIEF])


def test_the_least_bend_still_turns_past_the_far_edge_of_the_drift() -> None:
    found = plan(lark(), wish=Wish(preference=LEAST_BEND))
    assert found.adjustment.drift_right >= lark().targets.drift.tolerance
    assert abs(front(found, "clock")) < 75.0 * DEG


def test_the_least_relief_takes_no_more_bend_than_it_needs() -> None:
    # The visitor's car comes to the rail without sanding before its axle is bent the most.
    found = plan(club_car("bittern"), wish=Wish(preference=LEAST_RELIEF))
    assert front(found, "relief") == 0.0
    assert front(found, "washer") == 0.0
    assert front(found, "bend") < 5.0 * DEG - 1e-3
    less = plan(
        club_car("bittern"), wish=Wish(most_bend=front(found, "bend") - 0.1 * DEG, preference=LEAST_RELIEF)
    )
    assert front(less, "relief") > 0.0


@pytest.mark.parametrize(
    ("name", "gate", "sign"),
    [("height_up", 0, 1.0), ("drift_left", 1, 1.0), ("drift_right", 1, -1.0)],
)
def test_an_adjustment_ends_where_the_moves_at_the_bench_need_the_most_bend(
    name: str, gate: int, sign: float
) -> None:
    found = plan(lark())
    seats = {station: at.seat.seat for station, at in stance(found.car).stations.items()}
    bench = AdjustableCar(car=found.car, seats=seats, values=dimension_values(found.car))
    targets = {0: 0.0, 1: -0.07, 2: 0.0}
    targets[gate] += sign * getattr(found.adjustment, name)
    # The moves of a drilled car are solved elsewhere, by bend, turn and trim from where it is.
    start = bench.present()
    for share in (0.25, 0.5, 0.75, 1.0):
        part = {
            column: share * goal + (1.0 - share) * now
            for (column, goal), now in zip(targets.items(), (0.0, -0.07, 0.0), strict=True)
        }
        end = bench.solve(start, knobs=("down", "forward", "trim"), targets=part)
        assert end is not None
        start = end
    assert start.bend == pytest.approx(found.wish.most_bend, abs=0.02 * DEG)


def test_the_nose_comes_down_until_the_wheel_leans_no_more() -> None:
    found = plan(lark())
    seats = {station: at.seat.seat for station, at in stance(found.car).stations.items()}
    bench = AdjustableCar(car=found.car, seats=seats, values=dimension_values(found.car))
    targets = {0: -found.adjustment.height_down, 1: -0.07, 2: 0.0}
    end = bench.solve(bench.present(), knobs=("down", "forward", "trim"), targets=targets)
    assert end is not None
    assert end.down == pytest.approx(0.25 * DEG, abs=0.01 * DEG)


def test_turning_changes_what_the_plan_says() -> None:
    found = plan(lark())
    step = 0.01 * DEG
    before, after = (
        stance(changed(found.car, {"front_left.clock": front(found, "clock") + by})) for by in (-step, step)
    )
    assert before.drift.lateral is not None
    assert after.drift.lateral is not None
    slope = (after.drift.lateral - before.drift.lateral) / (2.0 * step)
    assert found.turn_drift == pytest.approx(slope, rel=1e-5)
    # Forward carries a left wheel's heading to the right.
    assert found.turn_drift < 0.0
    height = (after.height_difference - before.height_difference) / (2.0 * step)
    assert found.turn_height == pytest.approx(height, rel=1e-4)


# The trade-off.


def test_the_trade_off_runs_from_the_least_bend_to_the_most() -> None:
    points = trade_off(lark(), count=9)
    assert len(points) == 9
    bends = [point.bend for point in points]
    steps = [after - before for before, after in pairwise(bends)]
    assert max(steps) == pytest.approx(min(steps), abs=1e-9)
    assert bends[0] == pytest.approx(front(plan(lark(), wish=Wish(preference=LEAST_BEND)), "bend"), abs=1e-6)
    assert bends[-1] == pytest.approx(5.0 * DEG)
    # More bend leans the wheel's foot in to the rail, lifts the nose, and turns less far aside.
    for before, after in pairwise(points):
        assert after.relief < before.relief
        assert after.hole_height > before.hole_height
        assert after.clock < before.clock
        assert after.adjustment.height_up < before.adjustment.height_up
        assert after.adjustment.height_down > before.adjustment.height_down
    assert points[-1].adjustment.height_up == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("name", CARS)
def test_every_point_of_the_trade_off_is_a_plan(name: str) -> None:
    car = club_car(name)
    base = plan(car).car
    where = car.dominant.value
    for point in trade_off(car, count=5):
        sizes = {f"{where}.{size}": getattr(point, size) for size in _SIZES}
        assert point.allowed
        at = stance(changed(base, sizes))
        assert at.drift.lateral is not None
        assert at.drift.lateral == pytest.approx(car.targets.drift.value, abs=1e-8)
        assert at.rail_offset == pytest.approx(car.targets.rail_offset.value, abs=1e-8)
        assert at.height_difference == pytest.approx(0.0, abs=1e-8)


_SIZES = ("bend", "clock", "cant", "sweep", "hole_height", "relief", "washer")


def test_a_trade_off_of_one_is_refused() -> None:
    with pytest.raises(OutOfRange, match="two plans or more"):
        trade_off(lark(), count=1)


def askew_of(point: TradePoint) -> float:
    return math.acos(math.cos(point.cant) * math.cos(point.sweep))


def test_the_free_variable_of_a_straight_axle_is_its_hole_out_of_square() -> None:
    for point in trade_off(heron(), count=5):
        assert point.bend == 0.0
        assert point.askew == pytest.approx(askew_of(point), abs=1e-9)
