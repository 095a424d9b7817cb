"""Facts that builders of gravity-raced block cars hold, each against the geometry.

Every one of them is common practice, no source. They fix signs and sizes: a model that turned one of them
round would be refuted at any bench.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy.optimize import brentq

from rollwright.car import Car, Station, parse_car
from rollwright.car.model import Target, Targets
from rollwright.geometry import stance
from rollwright.geometry.drift import curvature, drift_over
from rollwright.setup.advice import Advice, advise
from rollwright.setup.outcome import MoveKind
from rollwright.setup.readings import parse_readings

DEG = math.pi / 180.0
INCH = 0.0254
THOU = INCH / 1000.0
RL, RR, FL, FR = Station


def _car(
    *,
    bend: float = 2.5,
    cant: float = 2.5,
    front_hole: float = 0.34,
    rear_hole: float = 0.34,
    clock: float = 0.0,
    relief: str = "0 in",
    hub_projection: str = "0.06 in",
    straight_front: bool = False,
) -> Car:
    """Return a car in the trade's units: canted rear holes, a bent front axle, all drilled at one height."""
    seat = 'seat = "body"' if straight_front else ""
    rear = f'hole_height = "{rear_hole!r} in"\ncant = {cant!r}\naxle = "straight"'
    return parse_car(f"""
format = 1
[body]
width = "1 3/4 in"
wheelbase = "4 3/8 in"
length = "7 in"
rear_overhang = "5/8 in"
mass = "3 oz"
centre_of_mass = [40, 0, 12]
[wheels.disc]
diameter = "1.18 in"
tread_width = "0.34 in"
hub_projection = "{hub_projection}"
bore = "0.098 in"
mass = "0.1 oz"
[axles.straight]
shank = "0.091 in"
[axles.bent]
shank = "0.091 in"
bend = {0.0 if straight_front else bend!r}
[stations.rear_left]
{rear}
[stations.rear_right]
{rear}
[stations.front_left]
hole_height = "{front_hole!r} in"
clock = {clock!r}
relief = "{relief}"
axle = "bent"
{seat}
[stations.front_right]
hole_height = "0.42 in"
axle = "straight"
[rail]
width = "1 5/8 in"
height = "1/4 in"
[board]
length = "48 in"
[setup]
dominant = "front_left"
""")


def _height_difference(**what: float) -> float:
    return stance(_car(**what)).height_difference  # type: ignore[arg-type]  # only numbers are varied


def _level_bend() -> float:
    """Return the bend [deg] at which a car whose front hole is 15 thou higher sits level."""
    return float(brentq(lambda bend: _height_difference(bend=bend, front_hole=0.355), 0.0, 6.0, xtol=1e-9))


@pytest.mark.parametrize("bend", [0.5, 1.5, 2.5, 4.0])
def test_more_bend_on_the_front_axle_raises_the_front(bend: float) -> None:
    # Common practice, no source: the bend points down, so the body stands higher over the wheel.
    rise = _height_difference(bend=bend + 0.5) - _height_difference(bend=bend)
    assert 1 * THOU < rise < 5 * THOU


def test_a_high_front_has_too_much_bend_and_a_high_rear_too_little() -> None:
    # Common practice, no source.
    level = _level_bend()
    assert 0.5 < level < 4.0
    for wrong in (0.2, 1.0):
        assert _height_difference(bend=level + wrong, front_hole=0.355) > 0.0, "front high"
        assert _height_difference(bend=level - wrong, front_hole=0.355) < 0.0, "rear high"


@pytest.mark.parametrize("tilt", [2.0, 8.0, 20.0])
def test_a_low_front_toes_the_canted_rear_pair_in_and_a_high_front_toes_it_out(tilt: float) -> None:
    # Common practice, no source: a hole whose outer end is up swings forward when the nose goes down.
    level = _level_bend()

    def toe_in(front_hole: float) -> list[float]:
        found = stance(_car(bend=level, front_hole=front_hole))
        assert found.height_difference * (0.355 - front_hole) >= 0.0
        return [-station.side * found.stations[station].steer for station in (RL, RR)]

    thou = tilt / 1000.0
    assert toe_in(0.355) == pytest.approx([0.0, 0.0], abs=1e-5)
    assert min(toe_in(0.355 + thou)) > 1e-5, "front low"
    assert max(toe_in(0.355 - thou)) < -1e-5, "front high"


def test_without_cant_a_low_front_does_not_toe_the_rear_pair() -> None:
    # The other side of the same fact: it is the cant that turns pitch into toe.
    found = stance(_car(cant=0.0, front_hole=0.40))
    assert abs(found.height_difference) > 10 * THOU
    assert found.stations[RL].steer == pytest.approx(0.0, abs=2e-4)


def test_a_body_an_eighth_wider_than_the_rail_starts_with_a_sixteenth_of_relief() -> None:
    # Common practice, no source: a body 1 3/4 in wide on a rail 1 5/8 in wide is wider by 1/8 in, half of it
    # on each side. A wheel whose inner edge runs flush with the side face stands off the rail by that, and
    # a relief of 1/16 in brings it there.
    plain = stance(_car(cant=0.0, straight_front=True, hub_projection="0 in"))
    assert plain.rail_offset == pytest.approx(INCH / 16, abs=1e-9)
    relieved = stance(_car(cant=0.0, straight_front=True, hub_projection="0 in", relief="1/16 in"))
    assert relieved.rail_offset == pytest.approx(0.0, abs=1e-9)


def test_with_all_holes_at_one_height_the_rear_wants_about_thirty_thou_of_shim() -> None:
    # Common practice, no source: a bent front axle and canted rear holes from one drill height leave the
    # rear low. The reason is that over the same short arm, hole to wheel, the rear cant carries the wheels
    # up into the body and the front bend carries its wheel down out of it, so the two add; the arm is that
    # of the hub, half a tread, and the play on the rear side. The sign is sure. The size hangs on hub and
    # play, which differ from wheel to wheel, so a third to twice the usual figure is accepted.
    assert _height_difference() > 0.0, "the rear is low"
    shim = float(brentq(lambda inch: _height_difference(rear_hole=0.34 - inch), -0.2, 0.2, xtol=1e-9))
    assert 0.010 < shim < 0.060
    # Without cant and bend there is nothing to make up for.
    assert _height_difference(bend=0.0, cant=0.0) == pytest.approx(0.0, abs=0.1 * THOU)


@pytest.mark.parametrize("drift", [3.5, 3.75, 4.0])
def test_the_usual_steer_is_a_degree_of_the_wheel_or_less(drift: float) -> None:
    # Common practice, no source: 3 1/2 to 4 in of drift over a 48 in board with a 4 3/8 in wheelbase.
    wheelbase, board = 4.375 * INCH, 48 * INCH

    def over(steer: float) -> float:
        turn = curvature(dominant_steer=steer, rear_steer=0.0, length=wheelbase, contact_y=1.1 * INCH)
        return drift_over(curvature=turn, rear_steer=0.0, wheelbase=wheelbase, board=board)

    for side in (1.0, -1.0):
        steer = float(brentq(lambda angle, side=side: over(angle) - side * drift * INCH, -0.05, 0.05))
        assert steer * side > 0.0
        assert 0.4 * DEG < abs(steer) <= 1.0 * DEG


def _advice(rail_offset: float) -> Advice:
    """Return the advice to a car that is level and steers as wanted, and stands off the rail as said [m]."""
    wide = stance(_car(clock=30.0)).rail_offset
    assert wide is not None
    car = _car(clock=30.0, relief=f"{(wide - rail_offset) * 1e3!r} mm")
    found = stance(car)
    assert found.rail_offset == pytest.approx(rail_offset, abs=1e-9)
    assert found.drift.lateral is not None
    targets = Targets(
        height_difference=Target(value=found.height_difference, tolerance=1.5e-4),
        drift=Target(value=found.drift.lateral, tolerance=1e-2),
        rail_offset=Target(value=0.0, tolerance=1.5e-4),
    )
    readings = parse_readings(f"""
format = 1
[[reading]]
kind = "height_difference"
value = {found.height_difference * 1e3!r}
[[reading]]
kind = "drift"
value = {found.drift.lateral * 1e3!r}
[[reading]]
kind = "rail_offset"
value = {rail_offset * 1e3!r}
""")
    return advise(replace(car, targets=targets), readings.readings)


def test_a_wheel_that_stands_off_the_rail_is_sanded_in() -> None:
    # Common practice, no source.
    assert [move.kind for move in _advice(0.8e-3).plan.moves] == [MoveKind.RELIEF]


def test_a_wheel_that_holds_the_centre_lines_apart_gets_washers() -> None:
    # Common practice, no source.
    moves = _advice(-0.8e-3).plan.moves
    assert [move.kind for move in moves] == [MoveKind.WASHER]
    assert moves[0].by > 0.0


def test_a_wheel_that_touches_the_rail_is_left_alone() -> None:
    # Common practice, no source.
    assert _advice(0.0).plan.moves == ()
