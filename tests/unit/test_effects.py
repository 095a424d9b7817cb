"""What each event changes in what is known of a car."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rollwright.bench.effects import Known, known_after, reading_of
from rollwright.bench.events import (
    Adjustment,
    Bend,
    DaylightCheck,
    Event,
    Fitted,
    HoleDrilled,
    Note,
    PartFitted,
    PartLeftOff,
    Plane,
    ReadingTaken,
    Sand,
    Seen,
    Shim,
    Size,
    Turn,
    Washer,
)
from rollwright.bench.known import carrying_of, compressed
from rollwright.car.dimensions import dimension_names, dimension_of
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import MissingReference
from rollwright.setup.estimate import Prior, prior_of
from rollwright.setup.hand import Hand
from rollwright.setup.reading_keys import ReadingKind

from .cars import DEG, MM, changed, flat_car, lark, value_of

HAND = Hand()
FL = Station.FRONT_LEFT
AT = {name: index for index, name in enumerate(dimension_names())}
SIZES = (Size(name="x", value=0.05), Size(name="y", value=-0.004), Size(name="z", value=0.006))


def known(car: Car | None = None) -> Known:
    car = lark() if car is None else car
    return Known(car=car, prior=prior_of(car))


def after(*events: Event, start: Known | None = None, hand: Hand = HAND) -> Known:
    found = known() if start is None else start
    for event in events:
        found = known_after(found, event, hand=hand)
    return found


def mean(found: Known, name: str) -> float:
    return float(found.prior.mean[AT[name]])


def spread(found: Known, name: str) -> float:
    return float(found.prior.deviations[AT[name]])


def added(found: Known, name: str, before: Known | None = None) -> float:
    """Return the standard uncertainty that was added to a dimension in all."""
    old = spread(known() if before is None else before, name)
    return math.sqrt(spread(found, name) ** 2 - old**2)


# Amounts.

MOVES: list[tuple[type[Adjustment], str, float, float, float]] = [
    (Bend, "bend", +1.0, 0.5 * DEG, HAND.bend),
    (Turn, "clock", +1.0, -4.0 * DEG, HAND.turn),
    (Sand, "relief", +1.0, 0.3 * MM, HAND.relief),
    (Washer, "washer", +1.0, 0.4 * MM, HAND.washer),
    (Shim, "hole_height", -1.0, 0.2 * MM, HAND.shim),
]


@pytest.mark.parametrize(("kind", "name", "sign", "by", "usual"), MOVES)
def test_what_was_asked_is_done_to_within_a_hand(
    kind: type[Adjustment], name: str, sign: float, by: float, usual: float
) -> None:
    found = after(kind(station=FL, asked=by))
    key = f"front_left.{name}"
    assert mean(found, key) - mean(known(), key) == pytest.approx(sign * by, rel=1e-9)
    assert added(found, key) == pytest.approx(usual, rel=1e-6)


@pytest.mark.parametrize(("kind", "name", "sign", "by", "usual"), MOVES)
def test_what_was_measured_counts_before_what_was_asked(
    kind: type[Adjustment], name: str, sign: float, by: float, usual: float
) -> None:
    key = f"front_left.{name}"
    found = after(kind(station=FL, asked=2.0 * by, done=by, uncertainty=usual / 10.0))
    assert mean(found, key) - mean(known(), key) == pytest.approx(sign * by, rel=1e-9)
    assert added(found, key) == pytest.approx(usual / 10.0, rel=1e-4)
    unsaid = after(kind(station=FL, done=by))
    assert added(unsaid, key) == pytest.approx(usual / 2.0, rel=1e-5)


@pytest.mark.parametrize(("kind", "name", "sign", "by", "usual"), MOVES)
def test_an_amount_that_nobody_says_moves_nothing_and_leaves_it_wide_open(
    kind: type[Adjustment], name: str, sign: float, by: float, usual: float
) -> None:
    del sign, by
    key = f"front_left.{name}"
    found = after(kind(station=FL))
    assert mean(found, key) == mean(known(), key)
    assert added(found, key) >= 5.0 * usual * (1.0 - 1e-9)
    clumsy = replace(HAND, bend=0.3, turn=0.3, relief=0.3, washer=0.3, shim=0.3)
    assert added(after(kind(station=FL), hand=clumsy), key) == pytest.approx(1.5, rel=1e-6)


@pytest.mark.parametrize(("kind", "name", "sign", "by", "usual"), MOVES)
def test_a_move_leaves_every_other_dimension_alone(
    kind: type[Adjustment], name: str, sign: float, by: float, usual: float
) -> None:
    del sign, usual
    found, before = after(kind(station=FL, asked=by)), known()
    touched = {f"front_left.{name}"} | ({"front_left.clock"} if kind is Bend else set())
    for other in set(dimension_names()) - touched:
        assert mean(found, other) == mean(before, other)
        assert spread(found, other) == spread(before, other)


def test_a_bent_axle_goes_back_no_truer_than_it_can_be_turned() -> None:
    found = after(Bend(station=FL, done=0.2 * DEG, uncertainty=0.01 * DEG))
    assert mean(found, "front_left.clock") == mean(known(), "front_left.clock")
    assert added(found, "front_left.clock") == pytest.approx(HAND.turn, rel=1e-6)


def test_what_was_known_together_stays_known_together() -> None:
    # A reading that tied washer and hub together still does so after a washer was added.
    start = known()
    tied = np.zeros((len(AT), 1))
    tied[AT["front_left.washer"]], tied[AT["front_left.hub_projection"]] = 0.1 * MM, -0.1 * MM
    start = replace(start, prior=Prior(mean=start.prior.mean, root=tied, sources=("tie",)))
    found = after(Washer(station=FL, asked=0.5 * MM), start=start)
    covariance = found.prior.root @ found.prior.root.T
    assert covariance[AT["front_left.washer"], AT["front_left.hub_projection"]] == pytest.approx(-1e-8)


def test_an_axle_that_is_bent_past_straight_points_the_other_way() -> None:
    found = after(Bend(station=FL, asked=-(value_of(lark(), "front_left.bend") + 1.0 * DEG)))
    assert mean(found, "front_left.bend") == pytest.approx(1.0 * DEG)
    turned = mean(found, "front_left.clock") - value_of(lark(), "front_left.clock")
    assert abs(turned) == pytest.approx(math.pi)
    # More bend then is less of this one: what went along with it goes against it now.
    start = known()
    start.prior.root[AT["front_left.bend"]] = 0.0
    start.prior.root[AT["front_left.bend"], 0], start.prior.root[AT["front_left.cant"], 0] = 1e-3, 1e-3
    found = after(Bend(station=FL, asked=-4.0 * DEG), start=start)
    assert found.prior.root[AT["front_left.bend"], 0] == -found.prior.root[AT["front_left.cant"], 0] == -1e-3


def test_a_straight_axle_that_is_bent_gets_a_clock_to_be_unsure_of() -> None:
    car = flat_car()
    assert dimension_of(car, "front_left.clock").uncertainty > 0.0
    before = known(car)
    assert spread(before, "front_left.clock") == 0.0
    found = after(Bend(station=FL, asked=2.0 * DEG), start=before)
    for name in ("clock", "bend_at"):
        assert spread(found, f"front_left.{name}") >= dimension_of(car, f"front_left.{name}").uncertainty
    again = after(Bend(station=FL, asked=2.0 * DEG), start=found)
    assert added(again, "front_left.clock", found) == pytest.approx(HAND.turn, rel=1e-6)


@pytest.mark.parametrize("left", [0.0, 0.02 * MM, -0.1 * MM])
def test_where_all_washers_are_taken_out_none_are_left_for_certain(left: float) -> None:
    start = known(changed(lark(), {"front_left.washer": 0.5 * MM}))
    found = after(Washer(station=FL, asked=left - 0.5 * MM), start=start)
    assert mean(found, "front_left.washer") == 0.0
    assert spread(found, "front_left.washer") == 0.0


def test_where_some_washers_are_taken_out_the_rest_is_as_unsure_as_it_was() -> None:
    start = known(changed(lark(), {"front_left.washer": 0.5 * MM}))
    found = after(Washer(station=FL, asked=-0.2 * MM), start=start)
    assert mean(found, "front_left.washer") == pytest.approx(0.3 * MM)
    assert added(found, "front_left.washer", start) == pytest.approx(HAND.washer, rel=1e-6)


def test_no_two_errors_share_a_name() -> None:
    # A budget has one line for each name; two errors of one name would hide each other.
    found = after(
        *[Bend(station=FL, asked=0.1 * DEG)] * 3, PartFitted(part=Fitted.AXLE, name="a", station=FL)
    )
    assert len(set(found.prior.sources)) == len(found.prior.sources) == found.prior.root.shape[1]
    assert "bend at front left, clock (3)" in found.prior.sources


# Parts and holes.


def test_a_new_wheel_forgets_the_sizes_of_the_old_one() -> None:
    old = after(Shim(station=FL, asked=0.1 * MM))
    old.prior.root[AT["front_left.diameter"], 0] = 0.4 * MM
    old.prior.mean[AT["front_left.diameter"]] += 0.3 * MM
    wheel = PartFitted(
        part=Fitted.WHEEL,
        name="new",
        station=FL,
        sizes=(
            Size(name="tread_width", value=8.0 * MM, uncertainty=0.03 * MM),
            Size(name="hub_projection", value=0.7 * MM),
        ),
    )
    found = after(wheel, start=old)
    # Unsaid: as the car file means it, to a drawing's tolerance; said: as it was measured.
    assert mean(found, "front_left.diameter") == value_of(lark(), "front_left.diameter")
    assert spread(found, "front_left.diameter") == pytest.approx(0.05 * MM)
    assert mean(found, "front_left.tread_width") == 8.0 * MM
    assert spread(found, "front_left.tread_width") == pytest.approx(0.03 * MM)
    assert spread(found, "front_left.hub_projection") == pytest.approx(0.02 * MM)
    covariance = found.prior.root @ found.prior.root.T
    row = covariance[AT["front_left.diameter"]].copy()
    row[AT["front_left.diameter"]] = 0.0
    assert not row.any()
    for name in ("shank", "bend", "clock", "hole_height"):
        assert mean(found, f"front_left.{name}") == mean(old, f"front_left.{name}")
        assert spread(found, f"front_left.{name}") == spread(old, f"front_left.{name}")


def test_a_new_axle_forgets_the_old_ones_bend_and_which_way_it_pointed() -> None:
    old = after(Bend(station=FL, asked=1.0 * DEG), Turn(station=FL, asked=20.0 * DEG))
    bend = Size(name="bend", value=3.0 * DEG, uncertainty=0.05 * DEG)
    found = after(PartFitted(part=Fitted.AXLE, name="new", station=FL, sizes=(bend,)), start=old)
    assert mean(found, "front_left.bend") == pytest.approx(3.0 * DEG)
    assert spread(found, "front_left.bend") == pytest.approx(0.05 * DEG)
    assert spread(found, "front_left.clock") == pytest.approx(30.0 * DEG)
    assert spread(found, "front_left.diameter") == spread(old, "front_left.diameter")


def test_a_new_axle_that_is_meant_straight_is_crooked_in_its_own_way() -> None:
    start = known()
    found = after(PartFitted(part=Fitted.AXLE, name="new", station=Station.REAR_LEFT), start=start)
    assert (mean(found, "rear_left.bend"), spread(found, "rear_left.bend")) == (0.0, 0.0)
    assert spread(found, "rear_left.cant") > spread(start, "rear_left.cant")
    assert spread(found, "rear_left.sweep") > spread(start, "rear_left.sweep")


def test_a_drilled_hole_is_where_it_was_aimed_at_to_a_drills_tolerance() -> None:
    old = after(Shim(station=FL, asked=2.0 * MM))
    found = after(HoleDrilled(station=FL, hole_height=9.0 * MM, cant=1.0 * DEG), start=old)
    assert mean(found, "front_left.hole_height") == 9.0 * MM
    assert mean(found, "front_left.cant") == 1.0 * DEG
    assert mean(found, "front_left.sweep") == value_of(lark(), "front_left.sweep")
    for name in ("hole_height", "cant", "sweep", "offset"):
        row = found.prior.root[AT[f"front_left.{name}"]]
        assert np.count_nonzero(row) == 1
    # Through a hole with a straight pin in it the pin's crookedness is seen as well.
    rear = after(HoleDrilled(station=Station.REAR_LEFT), start=old)
    assert spread(rear, "rear_left.cant") > spread(found, "front_left.cant")
    # Not aimed at: as the car file means it, not as the old hole had come to be.
    other = after(HoleDrilled(station=FL), start=old)
    assert mean(other, "front_left.hole_height") == value_of(lark(), "front_left.hole_height")
    assert added(other, "front_left.clock", old) == pytest.approx(HAND.turn, rel=1e-6)


def test_washers_that_are_fitted_stand_for_those_that_were_there() -> None:
    start = known(changed(lark(), {"front_left.washer": 0.5 * MM}))
    thick = Size(name="thickness", value=0.3 * MM)
    found = after(PartFitted(part=Fitted.WASHER, name="w", station=FL, sizes=(thick,)), start=start)
    assert mean(found, "front_left.washer") == 0.3 * MM
    assert spread(found, "front_left.washer") == pytest.approx(0.02 * MM)
    unsaid = after(PartFitted(part=Fitted.WASHER, name="w", station=FL), start=start)
    assert spread(unsaid, "front_left.washer") == pytest.approx(0.3 * MM)


def test_a_wheels_mass_belongs_to_its_own_station_only() -> None:
    wheel = PartFitted(part=Fitted.WHEEL, name="w", station=FL, sizes=(Size(name="mass", value=0.004),))
    car = after(wheel).car
    assert car.wheel_at(FL).mass.value == 0.004
    for station in set(Station) - {FL}:
        assert car.wheel_at(station) == lark().wheel_at(station)
    axle = PartFitted(part=Fitted.AXLE, name="a", station=FL, sizes=(Size(name="mass", value=0.001),))
    assert after(axle).car.axle_at(FL).mass.value == 0.001


def weight(name: str, pocket: str, *sizes: Size) -> PartFitted:
    return PartFitted(part=Fitted.WEIGHT, name=name, pocket=pocket, sizes=sizes)


def test_a_weight_that_is_fitted_again_moves() -> None:
    found = after(weight("slug", "front", *SIZES))
    slug = found.car.weights["slug"]
    assert [each.value for each in slug.position] == [0.05, -0.004, 0.006]
    assert slug.mass == lark().weights["slug"].mass
    assert not found.doubt
    assert np.array_equal(found.prior.mean, known().prior.mean)


def test_a_weight_takes_the_place_of_what_was_in_its_pocket() -> None:
    gram = Size(name="mass", value=0.001)
    found = after(weight("a", "middle", gram, *SIZES), weight("b", "middle", gram, *SIZES))
    assert set(found.car.weights) == {"slug", "b"}
    both = after(weight("a", "middle", gram, *SIZES), weight("b", "front", gram, *SIZES))
    assert set(both.car.weights) == {"slug", "a", "b"}


def test_a_weight_that_moves_to_another_pocket_leaves_its_old_place_behind() -> None:
    heavy = Size(name="mass", value=0.060)
    found = after(weight("a", "middle", heavy, *SIZES), weight("a", "front"))
    assert found.car.weights["a"].mass.value == 0.060
    assert found.car.weights["a"].position[0].value != 0.05
    assert found.doubt == "its place is not said"
    same = after(weight("a", "middle", heavy, *SIZES), weight("a", "middle"))
    assert same.car.weights["a"].position[0].value == 0.05
    assert not same.doubt


def test_a_weight_whose_place_is_not_said_is_in_doubt_only_if_it_can_make_other_wheels_carry() -> None:
    assert not after(weight("a", "somewhere", Size(name="mass", value=0.001))).doubt
    assert after(weight("a", "somewhere", Size(name="mass", value=0.060))).doubt == "its place is not said"
    assert after(weight("a", "somewhere")).doubt == "its mass is not said"
    # The doubt is about that one change.
    assert not after(weight("a", "somewhere"), Turn(station=FL, asked=0.0)).doubt


def test_which_wheels_carry_follows_the_weights() -> None:
    nose = [Size(name="x", value=0.118), Size(name="y", value=-0.010), Size(name="z", value=0.008)]
    found = after(weight("slug", "front", *nose))
    assert carrying_of(known().car, known().prior.mean) == 0
    assert carrying_of(found.car, found.prior.mean) != 0


@pytest.mark.parametrize(
    "event", [Note(text="a remark"), PartLeftOff(part=Fitted.SHIELD, reason="too wide")], ids=lambda e: e.kind
)
def test_remarks_and_parts_that_were_left_off_change_nothing(event: Event) -> None:
    start = known()
    assert known_after(start, event, hand=HAND) is start


# Compression.


def test_fewer_columns_carry_the_same_covariance() -> None:
    found = after(*[Turn(station=FL, asked=1.0 * DEG), Sand(station=FL, asked=0.1 * MM)] * 40)
    before = found.prior.root
    prior, turn = compressed(found.prior)
    open_rows = int(np.any(before != 0.0, axis=1).sum())
    assert prior.root.shape == (len(AT), open_rows)
    assert before.shape[1] > open_rows
    wanted = before @ before.T
    assert prior.root @ prior.root.T == pytest.approx(wanted, rel=1e-9, abs=1e-22)
    assert before @ turn == pytest.approx(prior.root, rel=1e-9, abs=1e-18)
    assert len(prior.sources) == open_rows


# Readings.


def test_a_reading_keeps_what_it_says_of_itself() -> None:
    event = ReadingTaken(
        reading=ReadingKind.BLOCK_OFFSET,
        values=(0.1 * MM, 0.3 * MM),
        uncertainty=0.03 * MM,
        thickness=15.0 * MM,
        width=44.0 * MM,
        seat=Seat.HEAD,
        set_up="block",
        common=0.02 * MM,
    )
    found = reading_of(event, number=7)
    assert found is not None
    assert found.where == "entry 7 (block offset)"
    assert found.quantity.value == pytest.approx(0.2 * MM)
    # Standard deviation of the mean of two readings 0.2 mm apart is 0.1 mm (JCGM 100:2008, 4.2.3).
    assert found.quantity.uncertainty == pytest.approx(math.hypot(0.1, 0.03) * MM)
    assert (found.thickness, found.width, found.seat) == (15.0 * MM, 44.0 * MM, Seat.HEAD)
    assert (found.set_up, found.common) == ("block", 0.02 * MM)


def test_a_trace_keeps_its_points() -> None:
    points = ((0.0, 0.0), (0.5, 0.01), (1.0, 0.05))
    found = reading_of(ReadingTaken(reading=ReadingKind.DRIFT, trace=points), number=2)
    assert found is not None
    assert found.trace == points
    assert found.quantity.uncertainty == 3.0 * MM


@pytest.mark.parametrize(
    ("dimension", "uncertainty"), [("front_left.bend", 0.2 * DEG), ("front_left.washer", 0.02 * MM)]
)
def test_a_size_has_the_uncertainty_of_its_gauge(dimension: str, uncertainty: float) -> None:
    event = ReadingTaken(reading=ReadingKind.SIZE, values=(0.01,), dimension=dimension)
    found = reading_of(event, number=2)
    assert found is not None
    assert found.quantity.uncertainty == pytest.approx(uncertainty)


def test_a_size_of_nothing_is_refused_in_one_line() -> None:
    event = ReadingTaken(reading=ReadingKind.SIZE, values=(0.01,), dimension="front_left.washr")
    with pytest.raises(
        MissingReference, match=r"^entry 9 \(size\): .*'front_left.washr'; did you mean"
    ) as told:
        reading_of(event, number=9)
    assert "\n" not in str(told.value)
    far = ReadingTaken(reading=ReadingKind.SIZE, values=(0.01,), dimension="q")
    with pytest.raises(MissingReference, match="write one such as") as told:
        reading_of(far, number=9)
    assert len(str(told.value)) < 140


def test_daylight_is_a_reading_where_it_was_measured_or_none_showed() -> None:
    def look(seen: Seen, size: float | None = None) -> DaylightCheck:
        return DaylightCheck(station=FL, plane=Plane.SWEEP, seen=seen, size=size)

    none = reading_of(look(Seen.NONE), number=3)
    feeler = reading_of(replace(look(Seen.FEELER, 0.1 * MM), distance=25.0 * MM), number=3)
    angle = reading_of(look(Seen.ANGLE, -0.5 * DEG), number=3)
    assert reading_of(look(Seen.SEEN), number=3) is None
    assert none is not None
    assert feeler is not None
    assert angle is not None
    assert (none.kind, none.quantity.value, none.plane) == (ReadingKind.DAYLIGHT, 0.0, "sweep")
    assert none.distance == 30.0 * MM
    assert (feeler.quantity.value, feeler.distance) == (0.1 * MM, 25.0 * MM)
    assert (angle.kind, angle.dimension) == (ReadingKind.SIZE, "front_left.sweep")
    assert angle.quantity.value == -0.5 * DEG
    assert angle.quantity.uncertainty == pytest.approx(0.2 * DEG)
    sharp = reading_of(replace(look(Seen.NONE), uncertainty=0.01 * MM), number=3)
    assert sharp is not None
    assert sharp.quantity.uncertainty == 0.01 * MM
