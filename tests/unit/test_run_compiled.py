"""The compiled run gives what the plain one gives."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from rollwright.car import Car, parse_car
from rollwright.car.dimensions import with_dimensions
from rollwright.errors import MissingReference, OutOfRange
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity
from rollwright.run.compiled import run_fast
from rollwright.run.inputs import GRAVITY, inputs_of
from rollwright.run.losses import losses_of
from rollwright.run.once import run_many
from rollwright.run.result import Runs
from rollwright.run.track import Track, joined
from rollwright.run.track_file import parse_track
from rollwright.scenario.club import file_text
from tests.unit.run_bench import laid_out, mirrored, only, plain_car, straight

CARS = ("lark.toml", "bittern.toml", "heron.toml")
# Of the car's own run; both sides sum the same terms, so what is left is rounding.
SAME = 1e-9

Varied = Mapping[str, NDArray[np.float64]]


def _car(name: str) -> Car:
    return parse_car(file_text(name))


def _varied(car: Car, track: Track, *, count: int, seed: int = 1) -> dict[str, NDArray[np.float64]]:
    """Return variations of every input within its uncertainty."""
    inputs = inputs_of(car, track, losses=losses_of(track.losses), gravity=GRAVITY)
    drawn = np.random.default_rng(seed).standard_normal((count, len(inputs.names)))
    values = inputs.values + drawn * inputs.deviations
    return dict(zip(inputs.names, values.T, strict=True))


def _refuse(*_: object, **__: object) -> Runs:
    pytest.fail("the plain run was asked")


def _compiled_only(patch: pytest.MonkeyPatch) -> None:
    patch.setattr("rollwright.run.compiled.run_many", _refuse)


def _assert_same(fast: Runs, plain: Runs, *, within: float = SAME) -> None:
    assert np.array_equal(fast.stands, plain.stands)
    assert np.array_equal(np.isnan(fast.finish_time), np.isnan(plain.finish_time))
    np.testing.assert_allclose(fast.finish_time, plain.finish_time, rtol=within)
    np.testing.assert_allclose(fast.finish_speed, plain.finish_speed, rtol=within)


@pytest.mark.parametrize("name", CARS)
@pytest.mark.parametrize(("file", "count"), [("track-tannery.toml", 500), ("track-surveyed.toml", 70)])
def test_every_input_varied_at_once(
    name: str, file: str, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    car, track = _car(name), parse_track(file_text(file))
    varied = _varied(car, track, count=count)
    _compiled_only(monkeypatch)
    fast = run_fast(car, track, varied)
    assert np.ptp(fast.finish_time) > 0.01
    _assert_same(fast, run_many(car, track, varied))


@pytest.mark.parametrize("name", CARS)
def test_six_nodes_are_within_ten_microseconds_and_the_usual_ten_within_a_tenth(name: str) -> None:
    car, track = _car(name), parse_track(file_text("track-tannery.toml"))
    varied = _varied(car, track, count=300, seed=2)
    converged = run_fast(car, track, varied, nodes=32).finish_time
    six, usual = (run_fast(car, track, varied, nodes=nodes).finish_time for nodes in (6, None))
    assert np.abs(six - converged).max() < 10e-6
    assert np.abs(usual - converged).max() < 0.1e-6
    assert np.abs(run_fast(car, track, varied, nodes=2).finish_time - converged).max() > 10e-6


def test_more_variations_than_one_thread_takes_keep_their_order() -> None:
    car, track = plain_car(), laid_out()
    slug = np.linspace(0.015, 0.03, 5001)
    found = run_fast(car, track, {"weights.slug.position.x": slug})
    assert np.all(np.diff(found.finish_time) > 0.0)
    picked = [0, 2047, 2048, 4096, 5000]
    _assert_same(
        Runs(
            finish_time=found.finish_time[picked],
            finish_speed=found.finish_speed[picked],
            stands=found.stands[picked],
        ),
        run_many(car, track, {"weights.slug.position.x": slug[picked]}),
    )


ODD: Mapping[str, tuple[Car, Track, Varied]] = {
    "nothing varied": (_car("lark.toml"), laid_out(), {}),
    "the other side": (
        mirrored(_car("lark.toml")),
        laid_out(),
        {"front_right.clock": np.radians([20.0, 35.0])},
    ),
    "upright wheels": (plain_car(), laid_out(), {"losses.rolling": np.array([0.0, 0.002, 0.004])}),
    "stalls": (_car("lark.toml"), laid_out(), {"losses.rolling": np.array([0.002, 0.5, 1.0, 0.003])}),
    "falls over": (_car("lark.toml"), laid_out(), {"front_right.hole_height": np.array([11e-3, 7e-3])}),
    "one slope": (plain_car(), straight(angle=0.2, finish=3.0), {"losses.drag_area": np.array([0.0, 2e-3])}),
    "finish of a survey": (
        _car("lark.toml"),
        parse_track(file_text("track-surveyed.toml")),
        {"finish": np.array([2.0, 3.0, 4.0])},
    ),
    "finish within the arc": (
        _car("lark.toml"),
        Track(
            name="short",
            pieces=joined(angle=0.4, stretches=((1.0, 0.0), (0.5, 0.7), (1.0, 0.0))),
            finish=1.3,
            air=Quantity(value=1.2),
        ),
        {"gravity": np.array([9.7, 9.9])},
    ),
    "from within an arc": (
        _car("lark.toml"),
        Track(
            name="bent",
            pieces=joined(angle=0.5, stretches=((1.5, 0.2), (1.0, -0.1), (1.0, 0.1))),
            finish=3.0,
            air=Quantity(value=1.2),
        ),
        {"body.wheelbase": np.array([0.11, 0.12])},
    ),
    "turns too far for the series": (
        plain_car(),
        Track(
            name="bowl",
            pieces=joined(angle=1.2, stretches=((0.5, 0.0), (1.8, 1.0), (0.1, 0.0))),
            finish=1.5,
            air=Quantity(value=1.2),
        ),
        {"gravity": np.array([9.7, 9.9])},
    ),
    "drag too strong for the series": (
        plain_car(),
        straight(angle=0.3, finish=4.0),
        {"losses.drag_area": np.array([1e-3, 2.0])},
    ),
}


TOO_MUCH = frozenset({"turns too far for the series", "drag too strong for the series"})


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("nodes", [None, 7])
def test_odd_cases(name: str, nodes: int | None, monkeypatch: pytest.MonkeyPatch) -> None:
    car, track, varied = ODD[name]
    plain = run_many(car, track, varied, nodes=nodes)
    if name in TOO_MUCH:
        fast = run_fast(car, track, varied, nodes=nodes)
        assert np.array_equal(fast.finish_time, plain.finish_time, equal_nan=True)
        _compiled_only(monkeypatch)
        with pytest.raises(pytest.fail.Exception):
            run_fast(car, track, varied, nodes=nodes)
        return
    _compiled_only(monkeypatch)
    _assert_same(run_fast(car, track, varied, nodes=nodes), plain)
    assert np.isnan(plain.finish_time).any() == (name == "stalls")
    assert plain.stands.all() == (name != "falls over")


def test_nodes_are_laid_again_for_cars_that_drag_slows(monkeypatch: pytest.MonkeyPatch) -> None:
    # A car that drag holds back is far from the speed that its fall gives. With four nodes it matters, by
    # parts in ten thousand, that they are laid again for the speed it has. The plain run does so for a batch
    # as a whole; here all cars of the batch need it.
    car, track = plain_car(), laid_out()
    varied = {"losses.drag_area": np.array([0.05, 0.06])}
    plain = run_many(car, track, varied, push=1.5, nodes=4)
    _assert_same(run_fast(car, track, varied, push=1.5, nodes=4), plain)
    monkeypatch.setattr("rollwright.run.motion._MISJUDGED", 10.0)
    left = run_many(car, track, varied, push=1.5, nodes=4)
    assert np.abs(left.finish_time / plain.finish_time - 1.0).min() > 1e-4


def test_a_single_rear_wheel_that_carries(monkeypatch: pytest.MonkeyPatch) -> None:
    high = {"rear_right.hole_height": 12e-3, "front_right.hole_height": 9e-3}
    car = with_dimensions(plain_car(), {name: Quantity(value=value) for name, value in high.items()})
    car = with_dimensions(car, {"front_left.cant": Quantity(value=math.radians(2.0))})
    place = (Quantity(value=0.12), Quantity(value=8e-3), Quantity(value=0.012))
    car = replace(car, weights={"slug": replace(car.weights["slug"], position=place)})
    varied = {
        "weights.slug.position.y": np.array([7e-3, 8e-3]),
        "weights.slug.position.x": np.array([0.115, 0.12]),
        "rear_left.diameter": np.array([30e-3, 30.1e-3]),
    }
    plain = run_many(car, laid_out(), varied)
    assert plain.stands.all()
    assert sum(not station.is_front for station in stance(car).carrying) == 1
    _compiled_only(monkeypatch)
    _assert_same(run_fast(car, laid_out(), varied), plain)


def test_losses_that_are_off_and_those_given() -> None:
    car = _car("lark.toml")
    varied = {"front_left.bend": np.radians([2.0, 3.0])}
    for losses in (only(rail_friction=0.2, tread_friction=0.3, creep_stiffness=40.0), only(drag_area=1e-3)):
        fast = run_fast(car, laid_out(), varied, losses=losses, gravity=Quantity(value=9.7), push=0.3)
        _assert_same(
            fast, run_many(car, laid_out(), varied, losses=losses, gravity=Quantity(value=9.7), push=0.3)
        )


def test_bad_input_is_told_as_by_the_plain_run() -> None:
    car = plain_car()
    with pytest.raises(MissingReference, match="there is no input named 'colour'"):
        run_fast(car, laid_out(), {"colour": np.array([1.0])})
    with pytest.raises(OutOfRange, match="not equally many"):
        run_fast(car, laid_out(), {"gravity": np.ones(2), "losses.rolling": np.ones(3)})
    with pytest.raises(OutOfRange, match="a push of -1 m/s"):
        run_fast(car, laid_out(), {}, push=-1.0)
    with pytest.raises(MissingReference, match="there is no lane 'three'"):
        run_fast(car, laid_out(), {}, lane="three")


def test_without_the_compiler_the_plain_run_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.startswith("rollwright.run.lanes")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.delattr("rollwright.run.lanes_run", raising=False)
    monkeypatch.delattr("rollwright.run.lanes_car", raising=False)
    monkeypatch.setitem(sys.modules, "numba", None)
    varied = {"losses.rolling": np.array([0.001, 0.002])}
    fast, plain = (each(plain_car(), laid_out(), varied) for each in (run_fast, run_many))
    assert np.array_equal(fast.finish_time, plain.finish_time)
    assert "rollwright.run.lanes_run" not in sys.modules


def test_the_compiler_is_not_loaded_before_it_is_asked() -> None:
    code = "import sys, rollwright.run.compiled; sys.exit('numba' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
