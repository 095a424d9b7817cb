"""What a builder says a hand did: amounts and directions in words."""

from __future__ import annotations

import math

import pytest

from rollwright.car.model import Station
from rollwright.cli.log_words import MOVES, amount_of, direction_of, size_of, station_of
from rollwright.errors import InputError
from rollwright.setup import instruction
from rollwright.setup.outcome import MoveKind

LEFT, RIGHT = Station.FRONT_LEFT, Station.FRONT_RIGHT
DEG = math.pi / 180.0


@pytest.mark.parametrize(
    ("move", "written", "station", "amount"),
    [
        ("bend", "1.25 deg more", LEFT, 1.25 * DEG),
        ("bend", "1.25 deg less", LEFT, -1.25 * DEG),
        ("bend", "1.25 deg more", RIGHT, 1.25 * DEG),
        ("bend", "1.25 MORE", RIGHT, 1.25 * DEG),
        # Seen from outside the left side forward is to the left, so clockwise carries down to forward.
        ("turn", "14.5 deg clockwise", LEFT, 14.5 * DEG),
        ("turn", "14.5 deg counter-clockwise", LEFT, -14.5 * DEG),
        ("turn", "14.5 deg clockwise", RIGHT, -14.5 * DEG),
        ("turn", "14.5 deg counter-clockwise", RIGHT, 14.5 * DEG),
        ("turn", "14,5° anticlockwise", RIGHT, 14.5 * DEG),
        ("sand", "0.46 mm", LEFT, 0.46e-3),
        ("sand", "0.46 mm off", LEFT, 0.46e-3),
        ("sand", "0.010 in", LEFT, 0.254e-3),
        ("washer", "0.25 mm added", RIGHT, 0.25e-3),
        ("washer", "10 thou removed", RIGHT, -0.254e-3),
        ("shim", "0.3 mm", LEFT, 0.3e-3),
        ("shim", "0.3 mm removed", LEFT, -0.3e-3),
    ],
)
def test_an_amount_has_the_sign_that_its_words_mean(
    move: str, written: str, station: Station, amount: float
) -> None:
    assert amount_of(move, written, station=station) == pytest.approx(amount, rel=1e-12)


@pytest.mark.parametrize("move", MOVES)
def test_an_unknown_amount_is_none(move: str) -> None:
    assert amount_of(move, "unknown", station=LEFT) is None


@pytest.mark.parametrize(
    ("move", "written", "mend"),
    [
        ("bend", "1.25 deg", '"1.25 deg more" or "1.25 deg less"'),
        ("turn", "14 deg", "seen from outside the wheel"),
        ("washer", "0.25 mm", '"0.25 mm added" or "0.25 mm removed"'),
        ("bend", "-1.25 deg more", "more"),
        ("turn", "\N{MINUS SIGN}14 deg clockwise", "clockwise"),
        ("sand", "-0.3 mm", "0.46 mm"),
        ("sand", "0 mm", "leave the entry out"),
        ("bend", "46 deg more", "check the digits"),
        ("turn", "361 deg clockwise", "check the digits"),
        ("sand", "11 mm", "check the digits"),
        ("washer", "1 in added", "check the digits"),
        ("bend", "1.25 mm more", "deg"),
        ("sand", "0.3 deg", "mm"),
        ("turn", "a bit clockwise", "deg"),
        ("turn", "clockwise", "deg"),
        ("bend", "1 deg more less", "deg"),
        ("shim", "", "mm"),
    ],
)
def test_words_that_are_in_doubt_are_refused_with_the_mend(move: str, written: str, mend: str) -> None:
    with pytest.raises(InputError) as caught:
        amount_of(move, written, station=LEFT)
    assert mend in str(caught.value)
    assert caught.value.key == move


@pytest.mark.parametrize("station", Station)
@pytest.mark.parametrize("by", [0.2, -0.2])
def test_a_turn_reads_as_the_instruction_for_it_is_told(station: Station, by: float) -> None:
    told = instruction.direction_of(MoveKind.TURN, by=by, station=station)
    assert direction_of("turn", by, station=station) == told
    assert amount_of("turn", f"0.2 rad {told}", station=station) == pytest.approx(by)


@pytest.mark.parametrize("station", Station)
@pytest.mark.parametrize(("move", "sign"), [(move, sign) for move in MOVES for sign in (1, -1)])
def test_direction_and_amount_are_each_others_reverse(move: str, sign: int, station: Station) -> None:
    if (move, sign) == ("sand", -1):
        pytest.skip("wood does not come back")
    unit = "rad" if move in {"bend", "turn"} else "m"
    word = direction_of(move, sign * 0.004, station=station)
    assert amount_of(move, f"0.004 {unit} {word}", station=station) == pytest.approx(sign * 0.004)


@pytest.mark.parametrize("written", ["front_left", "front left", "Front-Left", " FRONT_LEFT "])
def test_a_station_is_known_however_it_is_spaced(written: str) -> None:
    assert station_of(written) is LEFT


@pytest.mark.parametrize("written", ["front", "left_front", "", "front_lft"])
def test_a_station_that_is_none_is_refused_with_those_that_are(written: str) -> None:
    with pytest.raises(InputError, match="write one of rear_left, rear_right, front_left, front_right"):
        station_of(written)


def test_an_uncertainty_is_a_positive_size_in_the_moves_unit() -> None:
    assert size_of("bend", "0.1") == pytest.approx(0.1 * DEG)
    assert size_of("washer", "0.01") == pytest.approx(1e-5)
    with pytest.raises(InputError, match="--uncertainty"):
        size_of("washer", "0")
    with pytest.raises(InputError, match="--uncertainty"):
        size_of("washer", "fine")
