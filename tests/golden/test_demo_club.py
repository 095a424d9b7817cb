"""Regression: the demo club's readings are what its simulation makes from its seeds, rounded as written."""

from __future__ import annotations

import pytest

from rollwright.car import parse_car
from rollwright.scenario.club import SEEDS, file_text
from rollwright.scenario.simulate import bench_session
from rollwright.setup.readings import parse_readings

ROUNDING = {
    "lark": {"height_difference": 0.005e-3, "drift": 0.5e-3, "rail_offset": 0.005e-3},
    "heron": {"height_difference": 0.005e-3, "drift": 0.5e-3, "rail_offset": 0.005e-3},
    # To the nearest thou, and drift to the nearest sixteenth of an inch.
    "bittern": {"height_difference": 0.0127e-3, "drift": 0.79375e-3, "rail_offset": 0.0127e-3},
}


@pytest.mark.parametrize("name", SEEDS)
def test_readings_are_what_the_simulation_shows(name: str) -> None:
    shown = bench_session(parse_car(file_text(f"{name}.toml")), SEEDS[name])
    written = parse_readings(file_text(f"{name}-readings.toml")).readings
    assert [reading.kind.value for reading in written] == list(shown)
    for reading in written:
        for value, simulated in zip(reading.quantity.repeats, shown[reading.kind.value], strict=True):
            assert abs(value - simulated) <= ROUNDING[name][reading.kind.value] * 1.001
