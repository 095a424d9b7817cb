"""How fast a run is: alone, many at once, compiled, and against a rigid-body engine stepped by a millisecond.

Every car is varied in all of its inputs. Run with `make bench`; nothing here passes or fails on a time.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable

import mujoco
import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture

from rollwright.car import parse_car
from rollwright.run.compiled import run_fast
from rollwright.run.inputs import GRAVITY, inputs_of
from rollwright.run.losses import losses_of
from rollwright.run.once import run, run_many
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from tests.truth.test_run_mujoco import _car, _ground, _model, _parameters
from tests.unit.run_bench import RADIUS, straight

CAR = parse_car(file_text("lark.toml"))
TRACK = parse_track(file_text("track-tannery.toml"))
SLOPE = math.radians(6.0)
STANDARD = GRAVITY.value
STEP = 1e-3
STEPS = 3000

pytestmark = pytest.mark.benchmark(group="run")


def _varied(count: int) -> dict[str, NDArray[np.float64]]:
    inputs = inputs_of(CAR, TRACK, losses=losses_of(TRACK.losses), gravity=GRAVITY)
    drawn = np.random.default_rng(1).standard_normal((len(inputs.names), count))
    values = inputs.values[:, None] + inputs.deviations[:, None] * drawn
    return dict(zip(inputs.names, values, strict=True))


def _engine() -> Callable[[], None]:
    """Return a run of three seconds on a plain slope with rubbing bearings, less than an engine has to do."""
    # The plane stays level and gravity is tilted, which spares the engine nothing.
    pull = f"{STANDARD * math.sin(SLOPE)!r} 0 {-STANDARD * math.cos(SLOPE)!r}"
    model = _model(
        _car(_parameters(straight(angle=SLOPE, finish=4.0)), friction=2e-5),
        _ground(0.0, 0.0, 0.0),
        start=f'pos="0 0 {RADIUS}"',
        pull=pull,
        step=STEP,
    )

    def go() -> None:
        data = mujoco.MjData(model)
        mujoco.mj_step(model, data, nstep=STEPS)
        assert data.time == pytest.approx(STEP * STEPS)

    return go


@pytest.fixture(scope="module")
def engine_lasts() -> float:
    """Return how long the engine takes for a run [s]."""
    go, taken = _engine(), []
    for _ in range(9):
        start = time.perf_counter()
        go()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def _tell(benchmark: BenchmarkFixture, *, runs: int, engine_lasts: float) -> None:
    if benchmark.stats is None:  # --benchmark-disable
        return
    each = benchmark.stats.stats.median / runs
    benchmark.extra_info["runs per second"] = round(1.0 / each)
    benchmark.extra_info["times as fast as MuJoCo"] = round(engine_lasts / each, 1)


def test_mujoco_at_a_millisecond(benchmark: BenchmarkFixture) -> None:
    benchmark(_engine())


@pytest.mark.parametrize("prices", [True, False], ids=["with prices", "without prices"])
def test_run(benchmark: BenchmarkFixture, engine_lasts: float, *, prices: bool) -> None:
    assert benchmark(run, CAR, TRACK, prices=prices).finish_time is not None
    _tell(benchmark, runs=1, engine_lasts=engine_lasts)


def test_run_many(benchmark: BenchmarkFixture, engine_lasts: float) -> None:
    assert np.all(benchmark(run_many, CAR, TRACK, _varied(1000)).finish_time > 0.0)
    _tell(benchmark, runs=1000, engine_lasts=engine_lasts)


@pytest.mark.parametrize("count", [1000, 100_000])
def test_run_fast(benchmark: BenchmarkFixture, engine_lasts: float, count: int) -> None:
    varied = _varied(count)
    run_fast(CAR, TRACK, varied)  # compiles
    assert np.all(benchmark(run_fast, CAR, TRACK, varied).finish_time > 0.0)
    _tell(benchmark, runs=count, engine_lasts=engine_lasts)
