"""Timings by pytest-benchmark; run with `make bench`. Nothing here passes or fails on a time."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benched_log import CARS, ENTRIES, car_id, fill, recorded
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from rollwright.bench.events import CarStarted, ReadingTaken, StartedFrom
from rollwright.bench.fold import fold
from rollwright.bench.store import Store
from rollwright.car import parse_car
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.advice import advise
from rollwright.setup.estimate import estimate
from rollwright.setup.reading_keys import ReadingKind
from rollwright.setup.readings import parse_readings
from rollwright.workbench.log_gates import next_moves

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


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, NDArray[np.float64]]:
    """Return the log of a whole club, and how long each of its entries took to be on the disk [s]."""
    path = tmp_path_factory.mktemp("club") / "club.log"
    return path, fill(path)


@pytest.mark.benchmark(group="log")
def test_fold_a_long_log(benchmark: BenchmarkFixture, club: tuple[Path, NDArray[np.float64]]) -> None:
    path, taken = club
    median, slow = np.percentile(taken, [50.0, 99.0]) * 1e3
    benchmark.extra_info["append p50 [ms]"] = round(float(median), 3)
    benchmark.extra_info["append p99 [ms]"] = round(float(slow), 3)
    with Store.open(path) as store:
        entries = list(store.events(car_id(0)))
    assert benchmark(fold, entries).entries == ENTRIES


@pytest.mark.benchmark(group="log")
def test_next_in_a_full_log(benchmark: BenchmarkFixture, club: tuple[Path, NDArray[np.float64]]) -> None:
    path, taken = club
    assert len(taken) == CARS * ENTRIES
    assert benchmark(next_moves, path, car_id(0)).found.entries == ENTRIES


@pytest.mark.benchmark(group="log")
@pytest.mark.parametrize("count", [500, 5000])
def test_fold_readings_without_a_move(benchmark: BenchmarkFixture, count: int) -> None:
    start = CarStarted(source=StartedFrom.FILE, car_file=file_text("lark.toml"))
    shown = {ReadingKind.HEIGHT_DIFFERENCE: 0.0, ReadingKind.DRIFT: -0.07, ReadingKind.RAIL_OFFSET: 0.1e-3}
    read = [ReadingTaken(reading=kind, values=(value,)) for kind, value in shown.items()]
    entries = recorded([start, *(read[number % len(read)] for number in range(count))])
    assert len(benchmark(fold, entries).readings) == count
