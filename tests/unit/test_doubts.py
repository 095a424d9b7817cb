"""Doubts: slips of the pen are named as what they are, and nothing is moved on the file's word alone."""

from __future__ import annotations

import pytest

from rollwright.car import parse_car
from rollwright.scenario.club import file_text
from rollwright.setup.advice import Advice, advise
from rollwright.setup.doubts import _strained, _unsettled
from rollwright.setup.readings import parse_readings

LARK = parse_car(file_text("lark.toml"))
HEAD = "format = 1\n"
LEVEL = '[[reading]]\nkind = "height_difference"\nvalue = {}\nuncertainty = 0.04\n'
DRIFT = '[[reading]]\nkind = "drift"\nvalue = {}\nuncertainty = 2.5\n'
RAIL = '[[reading]]\nkind = "rail_offset"\nvalue = {}\nuncertainty = 0.04\n'


def advice(*rows: str) -> Advice:
    return advise(LARK, parse_readings(HEAD + "".join(rows)).readings)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        # Lark is near 90 mm right and 0.85 mm off the rail.
        ((DRIFT.format('"95 mm left"'),), "its sign turned round"),
        ((RAIL.format("0.034"),), "its number taken as inches"),
        ((LEVEL.format("-9"),), "its number taken as thou"),
        ((RAIL.format('"0.85 in"'),), "its number taken as millimetres, not inches"),
        ((RAIL.format("0.085"),), "its decimal point one place to the right"),
        ((RAIL.format("8.6"),), "its decimal point one place to the left"),
    ],
)
def test_a_slip_of_the_pen_is_named(rows: tuple[str, ...], said: str) -> None:
    doubt = advice(*rows).warnings[0]
    assert doubt.startswith("Reading 1 (")
    assert said in doubt
    assert "where the car file lets expect" in doubt


def test_repeats_on_both_sides_are_noticed() -> None:
    found = advice('[[reading]]\nkind = "drift"\nvalues = ["90 mm left", "88 mm right"]\n')
    assert any("repeats on both sides" in warning for warning in found.warnings)


def test_good_readings_raise_no_doubt() -> None:
    assert advice(LEVEL.format(0.1), DRIFT.format('"80 mm right"'), RAIL.format(0.8)).warnings == ()


def test_a_reading_that_no_slip_explains_is_named_as_a_disagreement() -> None:
    (doubt,) = advice(RAIL.format(3.1)).warnings
    assert "disagree" in doubt
    assert "reading 1 (rail offset)" in doubt


def test_nothing_is_moved_on_the_files_word_alone_where_it_leaves_too_much_open() -> None:
    found = advice()
    assert found.plan.moves == ()
    assert found.plan.notes


def test_no_wood_is_sanded_before_the_rail_was_read() -> None:
    vague = parse_car(file_text("lark.toml").replace("uncertainty = 0.03, from", "uncertainty = 0.4, from"))
    rows = LEVEL.format(-0.3) + DRIFT.format('"110 mm right"')
    unread = advise(vague, parse_readings(HEAD + rows).readings)
    assert {move.kind.value for move in unread.plan.moves} == {"bend", "turn"}
    assert any("Read the rail offset" in note for note in unread.plan.notes)
    read = advise(vague, parse_readings(HEAD + rows + RAIL.format(0.9)).readings)
    assert "relief" in {move.kind.value for move in read.plan.moves}


def test_a_file_that_knows_the_car_well_is_enough_to_move_on() -> None:
    text = file_text("lark.toml")
    for key in ("hole_height = 9.4", "hole_height = 9.0", "cant = 2.5", "clock = 22", "play = 0.6"):
        name, value = key.split(" = ")
        text = text.replace(key, f"{name} = {{ value = {value}, uncertainty = 0.01 }}")
    for station in ("rear_left", "rear_right", "front_left"):
        heading = f"[stations.{station}]"
        known = "".join(f"{name} = {{ value = 0, uncertainty = 0.01 }}\n" for name in ("sweep", "offset"))
        if station == "front_left":
            known += "cant = { value = 0, uncertainty = 0.01 }\n"
        text = text.replace(heading + "\n", f"{heading}\n{known}").replace(
            f"{heading}                ", f"{heading}\n{known}# "
        )
    text = text.replace("value = 2.6, uncertainty = 0.2", "value = 2.6, uncertainty = 0.01")
    found = advise(parse_car(text))
    assert found.read == {"level": False, "steer": False, "centre": False}
    assert "turn" in {move.kind.value for move in found.plan.moves}


def test_a_body_that_drags_on_the_rail_is_noticed() -> None:
    high = parse_car(file_text("lark.toml").replace("height = 5.5", "height = 7.5"))
    (said,) = [warning for warning in advise(high).warnings if "drags on the rail" in warning]
    # The drawing: wheels of 32 mm, rear holes 9 mm up, so that the body stands near 7 mm above the lane.
    assert "The body stands 6.9" in said
    assert "the rail is 7.50 mm high" in said
    assert not any("drags" in warning for warning in advise(LARK).warnings)


def test_what_was_known_before_is_said_in_words_and_by_no_name_of_its_own() -> None:
    first = advice(RAIL.format(0.80), LEVEL.format(-0.2)).estimate
    later = advise(LARK, parse_readings(HEAD + RAIL.format(0.95)).readings, prior=first.as_prior())
    assert all("earlier estimate" not in warning for warning in later.warnings)
    assert _strained("earlier estimate 8").startswith("what was known before these readings")
    assert _strained("front_left.cant") == "the front left cant"
    assert _strained("entry 5 (drift)") == "entry 5 (drift)"


@pytest.mark.parametrize(
    ("wheels", "said"),
    [
        (("front left",), "in its play the front left wheel runs; watch it roll and give its seat"),
        (("front left", "front right"), "in their play both front wheels run; watch them roll"),
        (("rear left", "rear right"), "in their play both rear wheels run;"),
        (("rear left", "front left"), "in their play the rear left and front left wheels run;"),
        (("rear left", "rear right", "front left"), "the rear left, rear right and front left wheels run;"),
        (("rear left", "rear right", "front left", "front right"), "in their play all four wheels run;"),
    ],
)
def test_wheels_of_which_nobody_knows_where_they_run_are_named(wheels: tuple[str, ...], said: str) -> None:
    text = _unsettled(list(wheels))
    assert text.startswith("It is not clear where in ")
    assert said in text
