"""A move in words: directions against a turned pin, and nothing missing or empty in what is told."""

from __future__ import annotations

import math
import re
from dataclasses import fields

import numpy as np
import pytest

from rollwright.car import Station
from rollwright.geometry.axle import hole_axis, shank_axis, wheel_pose
from rollwright.geometry.stance import steer_of
from rollwright.setup.instruction import Instruction, direction_of, instruction_for
from rollwright.setup.outcome import MoveKind, Outcome
from rollwright.setup.plan_moves import Move
from rollwright.units import System

from .cars import DEG, MM

RL, RR, FL, FR = Station
FRONT = [FL, FR]
GATE = {
    MoveKind.SHIM: 0,
    MoveKind.BEND: 0,
    MoveKind.TURN: 1,
    MoveKind.WASHER: 2,
    MoveKind.RELIEF: 2,
}


def outcome(*, rail: float = 0.12 * MM) -> Outcome:
    return Outcome(
        means=np.array([0.0, -0.07, rail]),
        covariance=np.diag([1e-10, 1e-6, 1e-10]),
        probabilities=(0.9, 0.9, 0.9),
        joint=0.8,
    )


def move(kind: MoveKind, by: float, to: float, station: Station = FL, *, rail: float = 0.12 * MM) -> Move:
    return Move(kind=kind, station=station, by=by, to=to, ask=by, gate=GATE[kind], after=outcome(rail=rail))


def told(
    kind: MoveKind,
    by: float,
    to: float,
    station: Station = FL,
    *,
    system: System = System.METRIC,
    rail: float = 0.12 * MM,
) -> Instruction:
    return instruction_for(move(kind, by, to, station, rail=rail), target=0.0, system=system)


EVERY = [
    (MoveKind.BEND, 1.25 * DEG, 3.85 * DEG, FL),
    (MoveKind.BEND, -0.4 * DEG, 2.2 * DEG, FR),
    (MoveKind.BEND, -2.6 * DEG, 0.0, FL),
    (MoveKind.TURN, -14.5 * DEG, 8.4 * DEG, FL),
    (MoveKind.TURN, 3.0 * DEG, 0.0, FR),
    (MoveKind.TURN, 170.0 * DEG, -11.0 * DEG, FL),
    (MoveKind.RELIEF, 0.46 * MM, 0.46 * MM, FL),
    (MoveKind.RELIEF, 3.2 * MM, 4.0 * MM, FR),
    (MoveKind.WASHER, 0.25 * MM, 0.25 * MM, FR),
    (MoveKind.WASHER, -0.25 * MM, 0.0, FL),
    (MoveKind.WASHER, -0.25 * MM, 0.3 * MM, FL),
    (MoveKind.SHIM, 0.35 * MM, 0.35 * MM, RL),
    (MoveKind.SHIM, 0.35 * MM, 0.35 * MM, RR),
    (MoveKind.SHIM, 1.6 * MM, 1.6 * MM, FR),
]


def clock_face(station: Station, clock: float) -> float:
    """Angle of a pin's bent end on a clock's face, clockwise from twelve, for a viewer outside the wheel."""
    side = station.side
    bent = np.array(shank_axis(side=side, cant=0.0, sweep=0.0, bend=5.0 * DEG, clock=clock))
    out = np.array(hole_axis(side=side, cant=0.0, sweep=0.0))
    tip = bent - out * (bent @ out)
    sight, up = -out, np.array([0.0, 0.0, 1.0])
    return math.atan2(float(tip @ np.cross(sight, up)), float(tip @ up))


def test_the_clock_face_is_set_up_rightly() -> None:
    # Forward is to the left of someone who stands left of the car and looks at it.
    assert clock_face(FL, 0.0) == pytest.approx(math.pi)
    assert clock_face(FL, 90.0 * DEG) == pytest.approx(-math.pi / 2.0)
    assert clock_face(FR, 90.0 * DEG) == pytest.approx(math.pi / 2.0)


@pytest.mark.parametrize("station", FRONT)
@pytest.mark.parametrize("start", [-170.0, -60.0, 0.0, 22.0, 135.0])
@pytest.mark.parametrize("by", [-25.0, -0.5, 0.5, 25.0])
def test_clockwise_is_clockwise_for_someone_outside_the_wheel(
    station: Station, start: float, by: float
) -> None:
    turned = math.remainder(
        clock_face(station, (start + by) * DEG) - clock_face(station, start * DEG), 2.0 * math.pi
    )
    words = direction_of(MoveKind.TURN, by=by * DEG, station=station)
    assert words == ("clockwise" if turned > 0.0 else "counter-clockwise")
    found = told(MoveKind.TURN, by * DEG, (start + by) * DEG, station)
    assert found.direction == words
    assert f" {words}, seen from outside the wheel" in found.text
    assert found.seen_from == "outside the wheel"


@pytest.mark.parametrize("station", FRONT)
@pytest.mark.parametrize("start", [-40.0, 0.0, 22.0, 80.0, 150.0])
@pytest.mark.parametrize("by", [-25.0, 12.0])
def test_the_side_to_which_a_turn_steers_is_that_of_the_wheel(
    station: Station, start: float, by: float
) -> None:
    def heading(clock: float) -> float:
        pose = wheel_pose(
            side=station.side,
            hole=(0.12, 0.024 * station.side, 0.009),
            cant=0.0,
            sweep=0.0,
            bend=3.0 * DEG,
            clock=clock * DEG,
            bend_at=0.0,
            hub=0.0,
            reach=0.005,
            slack=0.0001,
        )
        return steer_of(pose.axis, side=station.side)

    change = heading(start + by) - heading(start)
    found = told(MoveKind.TURN, by * DEG, (start + by) * DEG, station)
    assert f"steers the car more to the {'left' if change > 0.0 else 'right'}" in found.effect


@pytest.mark.parametrize(
    ("to", "words"),
    [
        (8.4, "8.4° forward of"),
        (-8.4, "8.4° backward of"),
        (0.0, "points straight down"),
        (90.0, "90° forward"),
    ],
)
def test_where_the_bent_end_points_is_said(to: float, words: str) -> None:
    assert words in told(MoveKind.TURN, 3.0 * DEG, to * DEG).check


@pytest.mark.parametrize(
    ("kind", "by", "direction", "verb"),
    [
        (MoveKind.BEND, 1.0 * DEG, "more", "raises the front"),
        (MoveKind.BEND, -1.0 * DEG, "less", "lowers the front"),
        (MoveKind.RELIEF, 0.3 * MM, "inward", "brings the wheel in"),
        (MoveKind.WASHER, 0.3 * MM, "outward", "further out"),
        (MoveKind.WASHER, -0.3 * MM, "inward", "brings the wheel in"),
        (MoveKind.SHIM, 0.3 * MM, "up", "raises the"),
    ],
)
def test_the_direction_and_the_effect_go_together(
    kind: MoveKind, by: float, direction: str, verb: str
) -> None:
    found = told(kind, by, abs(by) + (2.0 * DEG if kind is MoveKind.BEND else 0.5 * MM))
    assert found.direction == direction
    assert verb in found.effect


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize(("kind", "by", "to", "station"), EVERY)
def test_every_move_says_part_side_amount_unit_direction_viewpoint_effect_and_check(
    kind: MoveKind, by: float, to: float, station: Station, system: System
) -> None:
    found = told(kind, by, to, station, system=system)
    for field in fields(found):
        if field.name not in {"caution", "ask"}:
            assert getattr(found, field.name), field.name
    rear_shim = kind is MoveKind.SHIM and not station.is_front
    assert ("each rear axle" if rear_shim else station.words) in found.text
    units = "mm|°" if system is System.METRIC else "thou|in|°"
    assert re.search(rf"\d ?({units})", found.text)
    whole = f"{found.text} {found.effect} {found.check}"
    assert "nan" not in whole
    assert "−" not in found.text
    # A thickness or angle of nothing is never asked for.
    assert not re.search(r"(?<![\d.])0(\.0+)? ?(mm|thou|in|°)(?![\w])", whole), whole
    assert found.text.endswith(".")


@pytest.mark.parametrize("kind", [MoveKind.BEND, MoveKind.RELIEF, MoveKind.SHIM])
def test_what_can_hurt_comes_with_a_caution(kind: MoveKind) -> None:
    assert told(kind, 0.01, 0.02).caution


def test_inches_are_told_in_thousandths_and_the_nearest_fraction() -> None:
    thin = told(MoveKind.RELIEF, 0.254 * MM, 0.254 * MM, system=System.INCH)
    assert "Sand 10 thou off" in thin.text
    thick = told(MoveKind.RELIEF, 3.175 * MM, 3.175 * MM, system=System.INCH)
    assert "0.125 in (about 1/8 in)" in thick.text
    assert "mm" not in f"{thick.text} {thick.effect} {thick.check}"


def test_the_tips_swing_is_that_of_the_bend_that_is_asked_for() -> None:
    found = told(MoveKind.BEND, 1.0 * DEG, 3.0 * DEG)
    swing = 2.0 * 30.0 * math.sin(3.0 * DEG)
    assert f"swings {swing:.2f} mm in all" in found.check
    inches = told(MoveKind.BEND, 1.0 * DEG, 3.0 * DEG, system=System.INCH)
    assert f"{2.0 * 1.25 * math.sin(3.0 * DEG):.3f} in in all" in inches.check
    assert "1 1/4 in past the bend" in inches.check


def test_a_pin_bent_back_to_straight_is_told_so() -> None:
    found = told(MoveKind.BEND, -2.6 * DEG, 0.0)
    assert "until it is straight" in found.text
    assert "does not swing" in found.check


def test_how_far_sanding_stops_short_is_told_unless_it_is_nothing() -> None:
    assert "stops 0.12 mm short" in told(MoveKind.RELIEF, 0.46 * MM, 0.46 * MM).effect
    whole = told(MoveKind.RELIEF, 0.46 * MM, 0.46 * MM, rail=1e-7).effect
    assert "0.00" not in whole
    assert "sanded wood does not come back" in whole


def test_what_must_be_left_alone_is_not_what_is_worked_on() -> None:
    for kind, by, to, station in EVERY:
        found = told(kind, by, to, station)
        assert station.words not in found.leave_alone
        if kind is MoveKind.SHIM and not station.is_front:
            # Both rear axles are shimmed alike, so neither may be left alone.
            assert "rear" not in found.leave_alone
        else:
            assert "both rear axles" in found.leave_alone


def test_bending_spoils_every_reading_and_trimming_only_the_rails() -> None:
    assert told(MoveKind.TURN, 0.1, 0.2).read_again == ("height_difference", "drift", "rail_offset")
    assert told(MoveKind.WASHER, 1.0 * MM, 1.0 * MM).read_again == ("rail_offset",)
