"""A recipe is the car as it was built: it parses, it sits as the car does, and a builder can make it."""

from __future__ import annotations

import math
import re
import tomllib

import numpy as np
import pytest

from rollwright.bench.events import (
    Bend,
    Event,
    Fitted,
    PartFitted,
    PartLeftOff,
    ReadingTaken,
    Sand,
    ScaleReading,
    Size,
    Turn,
    Washer,
    Weighed,
)
from rollwright.bench.fold import fold
from rollwright.bench.recipe import Recipe, recipe_of
from rollwright.car.dimensions import STATION_DIMENSIONS, dimension_names, dimension_of
from rollwright.car.file import parse_car
from rollwright.car.model import Station
from rollwright.errors import FileUnreadable, ReadingUnusable
from rollwright.geometry.stance import stance
from rollwright.quantity import Source
from rollwright.scenario.club import file_text
from rollwright.scenario.simulate import draw_car
from rollwright.setup.reading_keys import ReadingKind
from tests.unit.fold_bench import DEG, FRONT_LEFT, LARK, MM, evening, log, read, started

LARK_TEXT = file_text("lark.toml")
MOVES = (
    Bend(station=FRONT_LEFT, asked=1.25 * DEG),
    Turn(station=FRONT_LEFT, asked=-14.5 * DEG),
    Sand(station=FRONT_LEFT, asked=0.4 * MM),
)
EVENING = (*evening(-0.2, -110.0, 0.9), *MOVES, *evening(0.01, -71.0, 0.1))
ROUNDING = (0.01 * MM, 1.0 * MM, 0.01 * MM)
"""How near level, drift and rail come: half a step of hole height, of sweep over a metre, and of cant."""


def recipe(*events: Event, text: str = LARK_TEXT, name: str = "") -> Recipe:
    entries = log(*events, start=started(text))
    return recipe_of(entries, fold(entries), name=name)


def assert_sits_as_it_does(made: Recipe) -> None:
    """Ask the stance of the recipe's own text, and compare it with the estimate."""
    found = stance(parse_car(made.text))
    for shown, wanted, limit in zip(
        (found.height_difference, found.drift.lateral, found.rail_offset), made.wanted, ROUNDING, strict=True
    ):
        assert shown == pytest.approx(float(wanted), abs=limit)


def size(name: str, value: float) -> ReadingTaken:
    return ReadingTaken(reading=ReadingKind.SIZE, values=(value * MM,), uncertainty=0.02 * MM, dimension=name)


def changed_lines(made: Recipe, text: str = LARK_TEXT) -> set[str]:
    return set(made.text.splitlines()) - set(text.splitlines())


def test_an_evenings_car_sits_in_its_recipe_as_it_was_read() -> None:
    made = recipe(*EVENING)
    assert_sits_as_it_does(made)
    car = made.car
    assert car.corners[FRONT_LEFT].relief.value == pytest.approx(0.4 * MM, abs=0.1 * MM)
    assert car.axle_at(FRONT_LEFT).bend.value == pytest.approx(3.85 * DEG, abs=0.5 * DEG)
    assert stance(car).drift.lateral == pytest.approx(-71.0 * MM, abs=2.0 * MM)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("name", ["lark", "heron", "bittern"])
def test_a_recipe_of_any_car_sits_as_the_car_does(name: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    text = file_text(f"{name}.toml")
    true = draw_car(parse_car(text), rng)
    seen = [
        read(ReadingKind(each.kind), each.quantity.value, each.quantity.uncertainty)
        for each in true.read(rng)
    ]
    dominant = true.car.dominant
    moves: list[Event] = [Sand(station=dominant, asked=float(rng.uniform(0.1, 0.8)) * MM)]
    if true.car.bent_axles:
        moves.append(Bend(station=dominant, asked=float(rng.uniform(-1.0, 1.5)) * DEG))
        moves.append(Turn(station=dominant, asked=float(rng.uniform(-20.0, 20.0)) * DEG))
    assert_sits_as_it_does(recipe(*seen, *moves, text=text))


def test_a_car_that_was_only_started_is_its_own_recipe() -> None:
    # Nothing in Heron's file is marked as measured, so that not even that is taken back.
    text = file_text("heron.toml")
    assert recipe(text=text).text == text


def test_what_was_built_can_be_made() -> None:
    steps = {"bend": 0.05 * DEG, "clock": 0.5 * DEG, "cant": 0.01 * DEG, "sweep": 0.01 * DEG}
    made = recipe(*EVENING)
    assert len(made.built) > 8
    for each in made.built:
        step = steps.get(each.key.rpartition(".")[2], 0.01 * MM)
        assert each.built / step == pytest.approx(round(each.built / step), abs=1e-6), each.key
        assert abs(each.built - each.planned) > 0.5 * step
        assert each.key.startswith(("stations.", "axles."))


def test_what_was_built_is_nominal_on_the_next_body() -> None:
    made = recipe(*EVENING)
    written = tomllib.loads(made.text)
    drawing = {"hole_height": 0.15, "cant": 0.25, "sweep": 0.15, "relief": 0.05, "clock": 3.0, "bend": 0.3}
    seen = set()
    for each in made.built:
        table, name, last = each.key.split(".")
        value = written[table][name][last]
        assert (value["from"], value["uncertainty"]) == ("nominal", drawing[last])
        seen.add(last)
    assert seen == set(drawing)


def test_each_new_value_says_where_it_was_built() -> None:
    made = recipe(*EVENING)
    (clock,) = (line for line in made.text.splitlines() if line.startswith("clock"))
    assert clock.endswith("# as built on Lark, entry 10; the bend points down and a little forward")
    assert made.entry == 10
    assert sum("as built on Lark, entry 10" in line for line in made.text.splitlines()) == len(made.built)


def test_the_recipe_of_a_recipe_names_the_last_car_only() -> None:
    first = recipe(*EVENING, name="Wren")
    second = recipe(*evening(0.1, -90.0, 0.5), text=first.text)
    assert second.car.name == "Wren"
    assert "as built on Wren, entry 4; the bend points down" in second.text
    changed = changed_lines(second, first.text)
    assert changed
    assert not any("Lark" in line for line in changed)
    assert_sits_as_it_does(second)


def test_everything_else_stays_as_the_builder_wrote_it() -> None:
    made = recipe(*EVENING)
    keys = {each.key.rpartition(".")[2] for each in made.built} | {
        key.rpartition(".")[2] for key in made.anew
    }
    assert {line.partition("=")[0].strip() for line in changed_lines(made)} == keys
    assert "# Lark, a car of the Tannery Lane Gravity Club (an invented club)." in made.text


def test_what_was_measured_on_the_body_is_not_measured_on_the_next() -> None:
    made = recipe(*EVENING)
    assert "body.width" in made.anew
    assert made.car.body.width.source is Source.NOMINAL
    # A wheel is bought, not built: the next is of the same make.
    assert made.car.wheel_at(FRONT_LEFT).diameter.source is Source.MEASURED
    for station in Station:
        for last in ("hole_height", "cant", "sweep", "bend", "relief"):
            assert dimension_of(made.car, f"{station.value}.{last}").source is not Source.MEASURED


def test_side_and_washers_that_nobody_touched_stay_as_planned() -> None:
    keys = {each.key for each in recipe(*evening(0.4, -120.0, 1.1)).built}
    assert keys
    assert not any(key.endswith(("relief", "washer")) for key in keys)
    moved = recipe(Washer(station=FRONT_LEFT, asked=0.25 * MM), *evening())
    assert moved.car.corners[FRONT_LEFT].washer.value == pytest.approx(0.25 * MM, abs=0.1 * MM)


def test_play_is_written_only_if_it_was_read() -> None:
    made = recipe(size("rear_left.play", 0.85), size("body.width", 47.8))
    keys = {each.key: each.built for each in made.built}
    assert keys["stations.rear_left.play"] == pytest.approx(0.84 * MM, abs=0.02 * MM)
    assert keys["body.width"] == pytest.approx(47.93 * MM, abs=0.02 * MM)
    assert "stations.rear_right.play" not in keys


def test_a_bend_in_a_pin_that_others_share_gets_a_pin_of_its_own() -> None:
    made = recipe(*evening(), Bend(station=Station.REAR_LEFT, done=1.0 * DEG, uncertainty=0.05 * DEG))
    assert made.own == ("axles.rear_left",)
    bends = {station: made.car.axle_at(station).bend.value / DEG for station in Station}
    assert bends[Station.REAR_LEFT] == pytest.approx(1.0)
    assert bends[Station.REAR_RIGHT] == bends[Station.FRONT_RIGHT] == 0.0
    assert made.car.axle_at(Station.REAR_LEFT).shank.value == pytest.approx(2.38 * MM)
    assert_sits_as_it_does(made)


@pytest.mark.parametrize(
    "axles",
    [
        "",
        "[axles.pin]\nshank = 2.38\n",
        "axles = { pin = { shank = 2.38 } }\n",
        "axles.pin.shank = 2.38\n",
        (
            '[axles.front_left]\nshank = 2.38\n[stations.rear_left]\naxle = "front_left"\n'
            '[stations.rear_right]\naxle = "front_left"\n[stations.front_right]\naxle = "front_left"\n'
        ),
    ],
    ids=["no pin at all", "one pin for all", "in braces", "dotted", "a pin named after the station"],
)
def test_a_bent_pin_is_told_from_the_others_however_the_file_is_laid_out(axles: str) -> None:
    text = f'format = 1\nname = "Finch"\n{axles}'
    made = recipe(Bend(station=FRONT_LEFT, done=2.0 * DEG, uncertainty=0.05 * DEG), text=text)
    bends = [made.car.axle_at(station).bend.value / DEG for station in Station]
    assert bends == [0.0, 0.0, pytest.approx(2.0), 0.0]
    assert_sits_as_it_does(made)


def test_a_layout_that_cannot_be_changed_is_refused_with_the_mend() -> None:
    # A line inside a text that looks like a heading.
    text = 'format = 1\nname = """Finch \\\n[axles.pin]#\\\n\n"""\n[axles.pin]\nshank = 2.38\n'
    assert parse_car(text).name == "Finch [axles.pin]#"
    with pytest.raises(FileUnreadable, match=r"write a new \[axles.front_left\] and set axle = "):
        recipe(Bend(station=FRONT_LEFT, done=2.0 * DEG), text=text)


def test_a_wheel_of_another_size_is_written_where_it_was_fitted() -> None:
    other = PartFitted(
        part=Fitted.WHEEL,
        name="spare",
        station=FRONT_LEFT,
        sizes=(
            Size(name="diameter", value=31.8 * MM, uncertainty=0.01 * MM),
            Size(name="mass", value=3.1e-3),
        ),
    )
    made = recipe(*evening(), other)
    assert made.own == ("wheels.front_left",)
    wheels = {station: made.car.wheel_at(station) for station in Station}
    assert wheels[FRONT_LEFT].diameter.value == pytest.approx(31.8 * MM)
    assert wheels[FRONT_LEFT].mass.value == pytest.approx(3.1e-3)
    assert wheels[FRONT_LEFT].hub_projection.value == wheels[Station.REAR_LEFT].hub_projection.value
    assert wheels[Station.REAR_LEFT].diameter.value == pytest.approx(32.1 * MM)
    assert_sits_as_it_does(made)


def test_weights_stand_in_it_as_they_are_fitted() -> None:
    plug = PartFitted(
        part=Fitted.WEIGHT,
        name="tail plug",
        pocket="tail",
        sizes=tuple(
            Size(name=name, value=value)
            for name, value in (("mass", 12.34e-3), ("x", -8.0 * MM), ("y", 0.0), ("z", 9.0 * MM))
        ),
    )
    made = recipe(*evening(), plug, PartLeftOff(part=Fitted.WEIGHT, name="slug", reason="too heavy"))
    assert (made.added, made.left_off, made.unplaced) == (("tail plug",), ("slug",), ())
    assert set(made.car.weights) == {"tail plug"}
    weight = made.car.weights["tail plug"]
    assert weight.mass.value == pytest.approx(12.3e-3)
    assert [part.value / MM for part in weight.position] == pytest.approx([-8.0, 0.0, 9.0])
    assert {weight.mass.source, *(part.source for part in weight.position)} == {Source.NOMINAL}


def test_a_weight_that_moved_is_written_where_it_is_now() -> None:
    moved = PartFitted(
        part=Fitted.WEIGHT,
        name="slug",
        pocket="middle",
        sizes=tuple(
            Size(name=name, value=value)
            for name, value in (("mass", 30.2e-3), ("x", 40.0 * MM), ("y", 0.0), ("z", 8.0 * MM))
        ),
    )
    weight = recipe(*evening(), moved).car.weights["slug"]
    assert weight.mass.value == pytest.approx(30.2e-3)
    assert [part.value / MM for part in weight.position] == pytest.approx([40.0, 0.0, 8.0])


def test_a_weight_of_unknown_place_is_named_and_stays_assumed() -> None:
    somewhere = PartFitted(
        part=Fitted.WEIGHT, name="lead", pocket="nose", sizes=(Size(name="mass", value=5e-3),)
    )
    made = recipe(*evening(), somewhere)
    assert made.unplaced == ("lead",)
    assert "weights.lead.position" in made.car.assumed


def test_the_body_weighs_what_the_scale_said() -> None:
    made = recipe(ScaleReading(where=Weighed.WHOLE, mass=0.1386, uncertainty=1e-5), *evening())
    parts = 31.0 + 4 * (2.7 + 0.6)
    # Ledger and scale together; the scale is far sharper.
    assert made.car.body.mass.value * 1e3 == pytest.approx(138.6 - parts, abs=0.1)
    assert made.car.body.mass.source is Source.NOMINAL


def test_the_next_car_can_have_a_name_of_its_own() -> None:
    made = recipe(*EVENING, name='Wren "II"')
    assert made.car.name == 'Wren "II"'
    assert recipe(text="format = 1\n", name="Wren").car.name == "Wren"


def test_line_ends_stay_as_they_were() -> None:
    text = LARK_TEXT.replace("\n", "\r\n")
    made = recipe(*EVENING, Bend(station=Station.REAR_LEFT, done=1.0 * DEG), text=text)
    assert not re.search(r"(?<!\r)\n", made.text)


def test_a_builder_in_inches_is_answered_in_inches() -> None:
    text = file_text("bittern.toml")
    made = recipe(Sand(station=Station.FRONT_RIGHT, done=0.5 * MM), *evening(0.0, 70.0, 0.2), text=text)
    relief = tomllib.loads(made.text)["stations"]["front_right"]["relief"]["value"]
    assert relief.endswith(" in")
    assert made.car.corners[Station.FRONT_RIGHT].relief.value == pytest.approx(0.5 * MM, abs=0.06 * MM)


def test_a_car_that_cannot_be_told_has_no_recipe() -> None:
    ahead = tuple(
        Size(name=name, value=value) for name, value in (("mass", 0.5), ("x", 0.17), ("y", 0.0), ("z", 0.0))
    )
    with pytest.raises(ReadingUnusable, match="undo or mend"):
        recipe(*evening(), PartFitted(part=Fitted.WEIGHT, name="lead", pocket="nose", sizes=ahead))


def test_all_dimensions_but_those_that_were_built_are_the_files() -> None:
    made = recipe(*EVENING)
    planned, built = parse_car(LARK.car_file), {each.key for each in made.built}
    for name in dimension_names():
        old, new = dimension_of(planned, name), dimension_of(made.car, name)
        head, _, last = name.partition(".")
        own = f"stations.{name}" in built or (head == FRONT_LEFT.value and last == "bend")
        assert own or math.isclose(old.value, new.value), name
    assert set(STATION_DIMENSIONS) > {key.rpartition(".")[2] for key in built}
