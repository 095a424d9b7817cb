"""Where a car sits: a square car by hand, and what each kind of change does to it."""

from __future__ import annotations

import math

import pytest

from rollwright.car import Car, Seat, Station, parse_car
from rollwright.errors import CarCannotRest, DriftUndefined
from rollwright.geometry import Stance, camber_of, stance, steer_of
from rollwright.geometry.mass import centre_of_mass, mass_of
from rollwright.geometry.tripod import pose_at, tripods

DEG = math.pi / 180.0
MM = 1e-3
RL, RR, FL, FR = Station
TINY = 1e-12

SQUARE = """
format = 1
[body]
width = 50
wheelbase = 120
mass = 90
centre_of_mass = [40, 0, 10]
[wheels.disc]
diameter = 30
tread_width = 8
hub_projection = 2
bore = 2.5
mass = 3
[axles.pin]
shank = 2.4
mass = 0.5
[axles.steering]
shank = 2.4
mass = 0.5
bend = {bend}
bend_at = {bend_at}
[stations.rear_left]
axle = "pin"
seat = "body"
{rear_left}
[stations.rear_right]
axle = "pin"
seat = "body"
{rear_right}
[stations.front_left]
axle = "steering"
seat = "body"
{front_left}
[stations.front_right]
axle = "pin"
seat = "body"
hole_height = {raised}
[rail]
width = 40
height = 6
[board]
length = 900
[setup]
dominant = "front_left"
"""


def _drilled(keys: str) -> str:
    return keys if "hole_height" in keys else f"hole_height = 9\n{keys}"


def _car(
    *,
    rear: str = "",
    rear_left: str = "",
    rear_right: str = "",
    front_left: str = "",
    raised: float = 11.0,
    bend: float = 0.0,
    bend_at: float = 0.0,
    centre: str = "40, 0, 10",
) -> Car:
    holes = {
        "rear_left": f"{rear}\n{rear_left}",
        "rear_right": f"{rear}\n{rear_right}",
        "front_left": front_left,
    }
    text = SQUARE.format(
        **{name: _drilled(keys) for name, keys in holes.items()}, raised=raised, bend=bend, bend_at=bend_at
    )
    return parse_car(text.replace("[40, 0, 10]", f"[{centre}]"))


def _front_height(front: float) -> float:
    return stance(_car(front_left=f"hole_height = {front}")).height_difference


def test_a_square_car_worked_by_hand() -> None:
    # Wheel radius 15 mm, hole 9 mm up, shank on the bottom of a bore 0.1 mm wider: the underside stands at
    # 15 - 0.05 - 9 = 5.95 mm. The tread's middle is 25 + 2 + 4 = 31 mm out, its inner rim 27 mm.
    found = stance(_car())
    assert found.front == pytest.approx(5.95 * MM, abs=TINY)
    assert found.rear == pytest.approx(5.95 * MM, abs=TINY)
    assert found.height_difference == pytest.approx(0.0, abs=TINY)
    assert (found.pitch, found.roll) == pytest.approx((0.0, 0.0), abs=TINY)
    assert found.carrying == (RL, RR, FL)
    assert found.rail_offset == pytest.approx(7.0 * MM, abs=TINY)
    assert found.drift.lateral == pytest.approx(0.0, abs=TINY)
    assert found.drift.curvature == pytest.approx(0.0, abs=TINY)
    for station, at in found.stations.items():
        raised = 2.0 * MM if station is FR else 0.0
        ahead = 120.0 * MM if station.is_front else 0.0
        assert (at.camber, at.steer) == pytest.approx((0.0, 0.0), abs=TINY)
        assert at.clearance == pytest.approx(raised, abs=TINY)
        assert at.centre == pytest.approx((ahead, station.side * 31.0 * MM, 15.0 * MM + raised), abs=TINY)
        assert at.contact == pytest.approx((ahead, station.side * 31.0 * MM, raised), abs=TINY)


def test_a_raised_wheel_hangs_lower_by_the_slack_and_a_carried_one_does_not() -> None:
    found = stance(_car())
    assert found.stations[FR].hanging_clearance == pytest.approx(1.9 * MM, abs=TINY)
    assert found.stations[FL].hanging_clearance == 0.0


def test_the_centre_of_mass_is_that_of_all_parts() -> None:
    # Body 90 g at 40 mm; four wheels of 3 g and four pins of 0.5 g, half of them at 120 mm: 14 g at 60 mm.
    car = _car()
    found = stance(car)
    assert mass_of(car) == pytest.approx(104e-3)
    assert found.centre_of_mass[0] == pytest.approx((90 * 40 + 14 * 60) / 104 * MM, abs=TINY)
    assert found.centre_of_mass[1] == pytest.approx(0.0, abs=TINY)
    # Two wheels at 9.05, the raised one at 11.05; pins at 9 and 11.
    height = (90 * 10 + 3 * (3 * 9.05 + 11.05) + 0.5 * (3 * 9 + 11)) / 104 * MM
    assert found.centre_of_mass[2] == pytest.approx(height, abs=TINY)


def test_a_weight_is_counted_where_it_lies() -> None:
    car = parse_car(
        SQUARE.format(
            rear_left=_drilled(""),
            rear_right=_drilled(""),
            front_left=_drilled(""),
            raised=11,
            bend=0,
            bend_at=0,
        )
        + "[weights.slug]\nmass = 104\nposition = [10, -4, 2]\n"
    )
    plain = _car()
    poses = {station: pose_at(car, station, seat=Seat.BODY) for station in Station}
    before, after = centre_of_mass(plain, poses), centre_of_mass(car, poses)
    assert mass_of(car) == pytest.approx(2.0 * mass_of(plain))
    assert after == pytest.approx([(a + b) / 2 for a, b in zip(before, (0.01, -0.004, 0.002), strict=True)])


def test_a_car_of_no_mass_is_refused() -> None:
    text = "format = 1\n[body]\nmass = 0\n[wheels.disc]\nmass = 0\n[axles.pin]\nmass = 0\n"
    with pytest.raises(CarCannotRest, match="weighs nothing"):
        stance(parse_car(text))


def test_a_higher_front_hole_lowers_the_front_by_as_much() -> None:
    # The car pivots about the rear axle; over 120 mm a millimetre is so little that the circle is a line.
    assert _front_height(10.0) == pytest.approx(-1.0 * MM, rel=1e-4)
    assert _front_height(8.0) == pytest.approx(1.0 * MM, rel=1e-4)


def test_nose_up_is_positive_pitch() -> None:
    found = stance(_car(front_left="hole_height = 7"))
    assert found.height_difference > 0.0
    assert found.pitch == pytest.approx(math.asin(found.height_difference / 0.12), abs=TINY)


def test_left_up_is_positive_roll() -> None:
    # A low left and a high right rear hole: left side up. The front wheel follows on the left.
    found = stance(_car(rear_left="hole_height = 8", rear_right="hole_height = 10"))
    assert found.roll > 0.0
    assert found.stations[RL].centre[2] == pytest.approx(found.stations[RR].centre[2], abs=0.2 * MM)


def test_hanging_the_wheels_takes_the_whole_slack_out_of_the_heights() -> None:
    car = _car()
    lift = [
        pose_at(car, station, seat=Seat.BODY, hangs=hangs).centre[2]
        for station in (RL, FL)
        for hangs in (False, True)
    ]
    assert lift == pytest.approx([9.05 * MM, 8.95 * MM] * 2, abs=TINY)


def test_canted_rear_holes_lift_the_wheels_and_so_lower_the_body() -> None:
    level, canted = stance(_car()), stance(_car(rear="cant = 3"))
    assert canted.rear < level.rear
    for station in (RL, RR):
        assert canted.stations[station].camber == pytest.approx(-3 * DEG, abs=2e-3)


def test_camber_is_positive_when_the_top_leans_out() -> None:
    assert camber_of((0.0, 1.0, 0.0)) == 0.0
    assert camber_of((0.0, math.cos(0.1), -math.sin(0.1))) == pytest.approx(0.1)
    assert camber_of((0.0, -math.cos(0.1), math.sin(0.1))) == pytest.approx(-0.1)


@pytest.mark.parametrize(("side", "steer"), [(1, -0.1), (-1, 0.1)])
def test_an_outer_end_that_lies_forward_is_toe_in_on_both_sides(side: int, steer: float) -> None:
    # The left wheel then heads right and the right wheel left.
    assert steer_of((math.sin(0.1), side * math.cos(0.1), 0.0), side=side) == pytest.approx(steer)


def test_a_true_wheel_has_plain_zeros() -> None:
    assert math.copysign(1.0, camber_of((0.0, 1.0, 0.0))) == 1.0
    assert math.copysign(1.0, steer_of((0.0, 1.0, 0.0), side=1)) == 1.0


@pytest.mark.parametrize(
    ("clock", "camber", "steer"), [(0, 2.0, 0.0), (90, 0.0, -2.0), (180, -2.0, 0.0), (-90, 0.0, 2.0)]
)
def test_turning_a_bent_axle_turns_camber_into_steer(clock: int, camber: float, steer: float) -> None:
    found = stance(_car(bend=2.0, front_left=f"clock = {clock}")).stations[FL]
    assert found.camber == pytest.approx(camber * DEG, abs=1e-5)
    # A nose that is not level carries a sliver of camber into steer.
    assert found.steer == pytest.approx(steer * DEG, abs=2e-4)


def test_a_bend_right_at_the_wheel_leaves_its_height_but_for_the_lean() -> None:
    # The tread's middle is 6 mm out of the side face; bent there, the wheel only leans: with its top
    # outward it stands on its outer rim, and radius less half the slack turn with it.
    found = stance(_car(bend=2.0, bend_at=6.0))
    lean = 4 * math.sin(2 * DEG) - 14.95 * (1 - math.cos(2 * DEG))
    assert found.height_difference == pytest.approx(lean * MM, rel=1e-5)


def test_relief_brings_the_wheel_in_and_washers_carry_it_out() -> None:
    base = stance(_car()).rail_offset
    assert base is not None
    relieved = stance(_car(front_left="relief = 0.4")).rail_offset
    packed = stance(_car(front_left="washer = 0.4")).rail_offset
    assert relieved == pytest.approx(base - 0.4 * MM, abs=TINY)
    assert packed == pytest.approx(base + 0.4 * MM, abs=TINY)


@pytest.mark.parametrize(("seat", "share"), [("body", 0.0), ("middle", 0.5), ("head", 1.0)])
def test_a_given_seat_places_the_wheel_in_its_play(seat: str, share: float) -> None:
    car = _car(front_left="play = 0.8")
    found = stance(car, seats={station: Seat(seat) if station is FL else Seat.BODY for station in Station})
    assert found.rail_offset == pytest.approx((7.0 + share * 0.8) * MM, abs=TINY)
    assert found.stations[FL].seat.reason == "as given"


def test_seats_that_are_not_given_are_inferred_from_the_stance_itself() -> None:
    text = SQUARE.replace('seat = "body"\n', "")
    car = parse_car(
        text.format(
            rear_left=_drilled("cant = 3"),
            rear_right=_drilled("cant = 3"),
            front_left=_drilled(""),
            raised=11,
            bend=2,
            bend_at=0,
        )
    )
    found = stance(car).stations
    assert [found[station].seat.seat for station in (RL, RR, FL, FR)] == [
        Seat.HEAD,
        Seat.HEAD,
        Seat.BODY,
        Seat.MIDDLE,
    ]
    assert "raised" in found[FR].seat.reason
    assert "hangs down" in found[FL].seat.reason


def test_the_wheel_above_the_rail_has_no_gap() -> None:
    found = stance(_car(raised=20.0))
    assert found.stations[FR].clearance > 6.0 * MM
    assert found.stations[FR].rail_gap is None
    assert found.stations[FR].rail_contact is None


def test_the_intended_three_are_tried_first() -> None:
    assert tripods(FL)[0] == (RL, RR, FL)
    assert tripods(FR)[0] == (RL, RR, FR)
    assert {frozenset(three) for three in tripods(FL)} == {frozenset(Station) - {spare} for spare in Station}


def test_a_car_whose_other_front_wheel_reaches_lower_stands_on_that() -> None:
    found = stance(_car(raised=7.0))
    assert found.carrying == (RL, RR, FR)
    assert found.stations[FL].clearance > 0.0


@pytest.mark.parametrize(("raised", "lifted"), [(11.0, RL), (7.0, RR)], ids=["dominant low", "other one low"])
def test_a_car_with_its_mass_far_forward_lifts_a_rear_wheel(raised: float, lifted: Station) -> None:
    found = stance(_car(rear="cant = 1", raised=raised, centre="100, 0, 10"))
    assert set(found.carrying) == {*Station} - {lifted}
    assert found.stations[lifted].clearance > 0.0
    assert found.roll * lifted.side > 0.0, "the side that is in the air is up"


def test_four_wheels_on_the_ground_stand_as_intended() -> None:
    found = stance(_car(raised=9.0))
    assert found.carrying == (RL, RR, FL)
    assert found.stations[FR].clearance == 0.0


@pytest.mark.parametrize(
    ("centre", "where"),
    [
        ("170, 0, 10", "ahead of the rear hole line"),
        ("-30, 0, 10", "mm behind the rear hole line"),
        ("40, 50, 10", "mm left of"),
        ("40, -50, 10", "mm right of"),
    ],
)
def test_a_car_that_tips_over_says_where_its_mass_is(centre: str, where: str) -> None:
    with pytest.raises(CarCannotRest, match="tips over") as caught:
        stance(_car(centre=centre))
    assert where in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.key == "body.centre_of_mass"


def test_a_car_that_balances_on_two_diagonal_wheels_says_so() -> None:
    # With level axles it stands on the flat treads of the diagonal: between one rim and the other,
    # no third wheel is reached. The diagonal passes through y = 0 at half the wheelbase.
    with pytest.raises(CarCannotRest, match="rocks") as caught:
        stance(_car(centre="60, -1, 10"))
    assert "raise the front wheel that should not carry" in str(caught.value)


def test_three_wheels_in_one_line_do_not_hold_a_car() -> None:
    text = "format = 1\n[body]\nwheelbase = 20\n[stations.front_left]\noffset = -20\n"
    with pytest.raises(CarCannotRest, match="tips over"):
        stance(parse_car(text + "[stations.front_right]\noffset = -20\nhole_height = 11\n"))


def test_a_car_that_turns_too_sharply_has_a_stance_without_a_drift() -> None:
    found = stance(_car(front_left="sweep = 10"))
    assert found.drift.lateral is None
    assert found.drift.curvature < 0.0
    assert found.as_json()["drift"] == {
        "distance": 0.9,
        "curvature": found.drift.curvature,
        "lateral": None,
    }


def test_a_car_that_cannot_roll_is_refused_in_words() -> None:
    # The dominant wheel stands beside the rear pair and the car rests on the other three.
    text = "format = 1\n[body]\nwheelbase = 20\ncentre_of_mass = [5, -8, 4]\n"
    text += '[setup]\ndominant = "front_left"\n'
    for station in Station:
        text += f"[stations.{station.value}]\nhole_height = {12 if station is FL else 9}\n"
        text += "offset = -20\n" if station is FL else ""
    with pytest.raises(DriftUndefined, match="cannot roll"):
        stance(parse_car(text))


def test_the_plain_data_hold_every_key_in_si_units() -> None:
    found: Stance = stance(_car(rear="cant = 2", bend=1.5, front_left="clock = 20"))
    plain = found.as_json()
    assert plain["height"] == {
        "front": found.front,
        "rear": found.rear,
        "difference": found.front - found.rear,
    }
    assert plain["carrying"] == ["rear_left", "rear_right", "front_left"]
    stations = plain["stations"]
    assert isinstance(stations, dict)
    assert set(stations) == {"rear_left", "rear_right", "front_left", "front_right"}
    assert set(stations["front_left"]) >= {
        "camber",
        "steer",
        "clearance",
        "rail_gap",
        "centre",
        "contact",
        "seat",
    }
    assert stations["front_left"]["seat"] == "body"
    assert plain["rail_offset"] == stations["front_left"]["rail_gap"]
