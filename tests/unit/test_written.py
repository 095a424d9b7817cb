"""What is written into a car's file gives the stance that was predicted, in every file of the club."""

from __future__ import annotations

import pytest

from rollwright.car import dimension_of, parse_car, with_dimensions
from rollwright.geometry import stance
from rollwright.scenario.club import SEEDS, file_text
from rollwright.setup.estimate import estimate
from rollwright.setup.plan_moves import moved_dimensions, plan_moves
from rollwright.setup.readings import parse_readings
from rollwright.setup.written import written_dimensions

LAST = {"bend": "bend", "turn": "clock", "relief": "relief", "washer": "washer"}


@pytest.mark.parametrize("name", SEEDS)
def test_the_written_car_stands_as_predicted(name: str) -> None:
    car = parse_car(file_text(f"{name}.toml"))
    found = estimate(car, parse_readings(file_text(f"{name}-readings.toml")).readings)
    plan = plan_moves(found)
    written = written_dimensions(car, found, plan)
    then = stance(with_dimensions(car, {**written.moved, **written.fitted}))
    assert then.drift.lateral is not None
    assert then.rail_offset is not None
    stands = (then.height_difference, then.drift.lateral, then.rail_offset)
    assert stands == pytest.approx(plan.outcome.means, abs=1e-8)


@pytest.mark.parametrize("name", SEEDS)
def test_only_what_a_file_has_room_for_is_written(name: str) -> None:
    car = parse_car(file_text(f"{name}.toml"))
    found = estimate(car, parse_readings(file_text(f"{name}-readings.toml")).readings)
    plan = plan_moves(found)
    fitted = {f"{car.dominant.value}.{last}" for last in ("hole_height", "cant", "sweep")}
    written = written_dimensions(car, found, plan)
    assert set(written.fitted) == fitted
    assert set(written.moved) == set(moved_dimensions(found, plan)) - fitted


def test_what_was_written_is_known_no_better_than_the_estimate_knows_it() -> None:
    car = parse_car(file_text("lark.toml"))
    found = estimate(car, parse_readings(file_text("lark-readings.toml")).readings)
    written = written_dimensions(car, found, plan_moves(found))
    for name, quantity in {**written.moved, **written.fitted}.items():
        assert quantity.uncertainty >= 0.999 * found.dimension(name).uncertainty


def test_what_was_moved_is_the_builders_own_figure_and_the_move() -> None:
    car = parse_car(file_text("lark.toml"))
    found = estimate(car, parse_readings(file_text("lark-readings.toml")).readings)
    plan = plan_moves(found)
    written = written_dimensions(car, found, plan)
    for move in plan.moves:
        name = f"{move.station.value}.{LAST[move.kind.value]}"
        was = dimension_of(car, name).value
        assert written.moved[name].value == pytest.approx(was + move.by, abs=1e-12)
