"""How fast a run from side to side is: compiled, plain, a steer curve, and against a rigid-body engine.

Run with `make bench`; nothing here passes or fails on a time.
"""

from __future__ import annotations

import math
import statistics
import time

import mujoco
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from rollwright.car import parse_car
from rollwright.run.lateral import course_of, follow, hold
from rollwright.run.lateral_car import sideways_of
from rollwright.run.lateral_lane import Roughness
from rollwright.run.lateral_steer import steer_curve
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text

CAR = parse_car(file_text("lark.toml"))
TRACK = parse_track(file_text("track-tannery.toml"))
COURSE = course_of(CAR, TRACK)
SIDEWAYS = sideways_of(CAR)
LANE = Roughness()

pytestmark = pytest.mark.benchmark(group="side to side")


def _engine_lasts() -> float:
    """Return how long MuJoCo takes for as long a run of three wheels beside a rail, in its own steps [s]."""
    step = 1e-4
    wheels = "".join(
        f'<body pos="{x} {y} 0"><joint type="hinge" axis="0 1 0"/>'
        '<inertial pos="0 0 0" mass="1e-4" diaginertia="1e-8 1e-8 1e-8"/>'
        '<geom type="ellipsoid" size="0.015 0.015 0.0005" zaxis="0 1 0" friction="0.3 0 0"/></body>'
        for x, y in ((-0.045, 0.028), (-0.045, -0.028), (0.08, 0.0))
    )
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><option timestep="{step}" integrator="implicitfast" cone="elliptic" solver="Newton"/>
        <default><geom solref="{2 * step} 1" solimp="0.99 0.99 0.001"/></default>
        <worldbody><geom type="plane" size="0 0 1" friction="0.3 0 0" condim="3"/>
        <geom type="box" size="9 0.01 0.01" pos="8 -0.013 0.015" condim="1"/>
        <body pos="0 0 0.015"><freejoint/><inertial pos="0 0 -0.01" mass="0.14" diaginertia="2e-4 2e-4 4e-4"/>
        <geom type="sphere" size="0.002" pos="0.09 0 0" mass="0" condim="1"/>{wheels}
        </body></worldbody></mujoco>"""
    )
    taken = []
    for _ in range(3):
        data = mujoco.MjData(model)
        data.qvel[0] = 3.0
        begin = time.perf_counter()
        mujoco.mj_step(model, data, nstep=math.ceil(float(COURSE.time[-1]) / step))
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


def _tell(benchmark: BenchmarkFixture, *, runs: int = 1) -> None:
    if benchmark.stats is None:  # --benchmark-disable
        return
    each = benchmark.stats.stats.median / runs
    benchmark.extra_info["milliseconds a run"] = round(1e3 * each, 2)
    benchmark.extra_info["times as fast as MuJoCo"] = round(_engine_lasts() / each, 1)


def test_one_run_from_the_files_on(benchmark: BenchmarkFixture) -> None:
    assert benchmark(hold, CAR, TRACK, roughness=LANE).first is not None
    _tell(benchmark)


def test_one_run_on_a_course_that_is_known(benchmark: BenchmarkFixture) -> None:
    assert benchmark(follow, COURSE, SIDEWAYS, roughness=LANE).first is not None
    _tell(benchmark)


def test_the_plain_functions(benchmark: BenchmarkFixture) -> None:
    found = benchmark.pedantic(  # type: ignore[no-untyped-call]  # the library's own
        lambda: follow(COURSE, SIDEWAYS, roughness=LANE, plain=True), rounds=2, iterations=1
    )
    assert found.first is not None
    _tell(benchmark)


def test_a_steer_curve(benchmark: BenchmarkFixture) -> None:
    coarse = course_of(CAR, TRACK, step=1e-3)
    curve = benchmark.pedantic(  # type: ignore[no-untyped-call]  # the library's own
        lambda: steer_curve(coarse, SIDEWAYS, roughness=LANE, seeds=10), rounds=2, iterations=1
    )
    assert len(curve.points) > 5
    _tell(benchmark, runs=10 * (len(curve.points) + 1))
