"""Timings by pytest-benchmark; run with `make bench`. Nothing here passes or fails on a time."""

from __future__ import annotations

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from rollwright.car import parse_car
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.advice import advise
from rollwright.setup.estimate import estimate
from rollwright.setup.readings import parse_readings

CAR = parse_car(file_text("lark.toml"))
READINGS = parse_readings(file_text("lark-readings.toml")).readings
SEATS = {station: at.seat.seat for station, at in stance(CAR).stations.items()}


def test_read_car(benchmark: BenchmarkFixture) -> None:
    text = file_text("lark.toml")
    assert benchmark(parse_car, text).name == "Lark"


def test_stance_one_car(benchmark: BenchmarkFixture) -> None:
    assert benchmark(stance, CAR).rail_offset is not None


def test_stance_fifty_thousand_cars(benchmark: BenchmarkFixture) -> None:
    values = dimension_values(CAR)
    varied = values + 1e-5 * np.random.default_rng(1).standard_normal((50_000, len(values)))
    found = benchmark(stances, CAR, varied, seats=SEATS)
    assert np.all(found.carrying >= 0)


def test_estimate(benchmark: BenchmarkFixture) -> None:
    assert benchmark(estimate, CAR, READINGS).misfit_probability > 0.0


def test_next(benchmark: BenchmarkFixture) -> None:
    assert benchmark(advise, CAR, READINGS).plan.moves
