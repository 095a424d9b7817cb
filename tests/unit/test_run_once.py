"""A run as it is asked for: splits, lanes, pushes, stalls, batches, traces and their limits."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from rollwright.car import with_dimensions
from rollwright.errors import MissingReference, OutOfRange
from rollwright.quantity import Quantity
from rollwright.run.losses import losses_of
from rollwright.run.once import run, run_many
from rollwright.run.track import LaneChange, Track, joined
from tests.unit.cars import lark
from tests.unit.run_bench import GRAVITY, MASS, laid_out, mirrored, only, plain_car, straight


def test_splits_are_the_times_of_shorter_tracks() -> None:
    ways = {"early": 0.05, "ramp": 2.0, "arc": 2.7, "foot": laid_out().pieces[2].start, "flat": 6.0}
    track = replace(laid_out(), splits=tuple(ways.items()))
    found = run(lark(), track, prices=False)
    for name, way in ways.items():
        alone = run(lark(), replace(laid_out(keep=False), finish=way), prices=False)
        assert found.splits[name] == pytest.approx(alone.finish_time or 0.0, rel=1e-9), name
    assert found.finish_time == pytest.approx(
        run(lark(), laid_out(), prices=False).finish_time or 0.0, rel=1e-10
    )
    assert list(found.splits.values()) == sorted(found.splits.values())


@pytest.mark.parametrize("splits", [0, 1, 3])
def test_default_nodes_are_within_a_tenth_of_a_microsecond_of_many(splits: int) -> None:
    track = replace(laid_out(), splits=(("a", 0.01), ("b", 0.5), ("c", 4.0))[:splits])
    times = [run(lark(), track, prices=False, nodes=nodes).finish_time or 0.0 for nodes in (6, 8, 10, 16, 24)]
    errors = [abs(time - times[-1]) for time in times[:-1]]
    assert errors[0] < 1e-5
    assert errors[2] < 1e-7
    assert errors[0] >= errors[2] - 1e-12


def test_many_short_pieces_run_like_one_arc() -> None:
    sizes = laid_out()
    ramp, arc, flat = sizes.pieces
    count = 40
    pieces = joined(
        angle=ramp.angle,
        stretches=(
            (ramp.length, 0.0),
            *((arc.length / count, arc.curvature) for _ in range(count)),
            (flat.length, 0.0),
        ),
    )
    many = Track(name="many", pieces=pieces, finish=sizes.finish, air=sizes.air)
    one = run(lark(), sizes, prices=False)
    assert run(lark(), many, prices=False, nodes=10).finish_time == pytest.approx(
        one.finish_time or 0.0, rel=1e-10
    )


def test_a_longer_lane_takes_longer_and_its_factor_tells() -> None:
    track = replace(
        laid_out(),
        losses={"rolling": Quantity(value=0.002)},
        lanes={
            "one": LaneChange(finish=Quantity(value=0.0)),
            "two": LaneChange(finish=Quantity(value=0.01), factors={"rolling": Quantity(value=1.5)}),
        },
    )
    first, second = (run(lark(), track, lane=lane) for lane in ("one", "two"))
    assert first.finish_time is not None
    assert first.finish_speed is not None
    assert second.finish_time is not None
    later = 0.01 / first.finish_speed + first.prices["losses.rolling"] * 0.001
    assert second.finish_time - first.finish_time == pytest.approx(later, rel=0.02)
    assert second.lane == "two"
    # The sizes of the track are priced on a lane too.
    assert second.prices["profile.flat_length"] == pytest.approx(1.0 / (second.finish_speed or 1.0), rel=0.03)
    with pytest.raises(MissingReference, match="there is no lane 'three'"):
        run(lark(), track, lane="three")


def test_a_push_saves_time_and_a_level_floor_needs_one() -> None:
    resting = run(lark(), laid_out(), prices=False)
    pushed = run(lark(), laid_out(), push=0.5, prices=False)
    assert (pushed.finish_time or 0.0) < (resting.finish_time or 0.0)
    assert pushed.energy["push"] > 0.0
    still = run(lark(), straight(angle=0.0, finish=2.0))
    assert still.finish_time is None
    assert still.stalled_at is not None
    assert still.stalled_at.distance == pytest.approx(0.0, abs=1e-12)
    assert still.prices == {}
    assert still.uncertainty is None
    with pytest.raises(OutOfRange, match="a push of -1 m/s is not down the track"):
        run(lark(), laid_out(), push=-1.0)
    with pytest.raises(OutOfRange, match="gravity of 0 m/s2"):
        run(lark(), laid_out(), gravity=Quantity(value=0.0))


def test_a_slope_flatter_than_its_friction_holds_the_car() -> None:
    friction = 0.01
    steep, flat = (
        run(
            plain_car(),
            straight(angle=math.atan(friction * share), finish=3.0),
            losses=only(rolling=friction),
        )
        for share in (1.01, 0.99)
    )
    assert steep.stalled_at is None
    assert flat.stalled_at is not None
    assert flat.finish_time is None
    assert flat.loss_free_time is not None


def test_the_trace_begins_at_rest_and_ends_at_the_finish() -> None:
    found = run(lark(), laid_out(), prices=False)
    trace = found.trace
    assert trace.time[0] == 0.0
    assert trace.speed[0] == 0.0
    assert trace.time[-1] == pytest.approx(found.finish_time or 0.0, rel=1e-14)
    assert trace.speed[-1] == pytest.approx(found.finish_speed or 0.0, rel=1e-14)
    assert np.all(np.diff(trace.time) > 0.0)
    assert np.all(np.diff(trace.distance) > 0.0)
    # Speed is the slope of distance over time where the car is straight: compare its integral on the flat.
    flat = trace.distance > trace.distance[-1] - 4.0
    speed, time = trace.speed[flat], trace.time[flat]
    went = float(np.sum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time)))
    assert went == pytest.approx(float(np.ptp(trace.distance[flat])), rel=1e-3)


def test_loads_are_the_weight_on_the_floor_and_more_in_the_arc() -> None:
    found = run(plain_car(), laid_out(), losses=only(), prices=False).trace
    total = found.rear_load + found.front_load
    angle = laid_out().pieces[0].angle
    assert total[0] == pytest.approx(MASS * GRAVITY * math.cos(angle), rel=1e-9)
    assert total[-1] == pytest.approx(MASS * GRAVITY, rel=1e-9)
    # At the foot of the arc the whole car is on it: weight and M v^2 / R (any dynamics text).
    inside = int(np.argmax(total))
    expected = MASS * (GRAVITY + found.speed[inside] ** 2 / 1.3)
    assert total[inside] == pytest.approx(expected, rel=0.03)


def test_a_crest_taken_too_fast_is_told() -> None:
    stretches = ((2.0, 0.0), (0.5, 0.8), (0.5, -2.0), (1.0, 0.0))
    track = Track(
        name="crest", pieces=joined(angle=0.7, stretches=stretches), finish=3.5, air=Quantity(value=1.2)
    )
    found = run(plain_car(), track, losses=only(), prices=False)
    assert found.lifts_at is not None
    assert 2.3 < found.lifts_at < 2.6
    assert run(plain_car(), laid_out(), prices=False).lifts_at is None


def test_a_batch_gives_what_single_runs_give() -> None:
    bends = np.radians([2.2, 2.6, 3.0])
    flats = np.array([5.0, 5.5, 6.0])
    found = run_many(lark(), laid_out(), {"front_left.bend": bends, "profile.flat_length": flats})
    for bend, flat, time, speed in zip(bends, flats, found.finish_time, found.finish_speed, strict=True):
        car = with_dimensions(lark(), {"front_left.bend": Quantity(value=float(bend))})
        sizes = {name: size.value for name, size in laid_out().profile.items()} | {"flat_length": float(flat)}
        alone = run(car, laid_out(sizes), prices=False)
        assert time == pytest.approx(alone.finish_time or 0.0, rel=1e-12)
        assert speed == pytest.approx(alone.finish_speed or 0.0, rel=1e-12)
    assert found.stands.all()


def test_a_batch_of_tracks_keeps_its_rows_apart() -> None:
    angles = np.array([0.2, 0.4, 0.7])
    found = run_many(lark(), laid_out(), {"profile.ramp_angle": angles})
    for angle, time in zip(angles, found.finish_time, strict=True):
        sizes = {name: size.value for name, size in laid_out().profile.items()} | {"ramp_angle": float(angle)}
        assert time == pytest.approx(run(lark(), laid_out(sizes), prices=False).finish_time or 0.0, rel=1e-11)


def test_a_batch_tells_stalls_and_cars_that_would_stand_otherwise() -> None:
    found = run_many(lark(), laid_out(), {"losses.rolling": np.array([0.002, 1.0])})
    assert np.isnan(found.finish_time).tolist() == [False, True]
    low = run_many(lark(), laid_out(), {"front_right.hole_height": np.array([11e-3, 7e-3])})
    assert low.stands.tolist() == [True, False]
    with pytest.raises(MissingReference, match="there is no input named 'colour'"):
        run_many(lark(), laid_out(), {"colour": np.array([1.0])})
    with pytest.raises(OutOfRange, match="not equally many"):
        run_many(lark(), laid_out(), {"gravity": np.ones(2), "finish": np.ones(3)})


def test_odd_cars_are_told() -> None:
    assert run(lark(), laid_out(), prices=False).notes == ()
    away = with_dimensions(lark(), {"front_left.clock": Quantity(value=math.radians(-22.0))})
    (note,) = run(away, laid_out(), prices=False).notes
    assert "heads away from the rail" in note
    assert run(mirrored(lark()), laid_out(), prices=False).notes == ()


def test_results_name_what_they_rest_on() -> None:
    found = run(lark(), laid_out(), losses=losses_of({"rolling": Quantity(value=0.001)}), prices=False)
    for name in ("gravity", "wheels.club.inertia", "body.pitch_inertia", "losses.bearing_friction"):
        assert name in found.assumed
    assert "losses.rolling" not in found.assumed
    assert "wheels.disc.inertia" not in run(plain_car(), laid_out(), prices=False).assumed


def test_the_plain_data_can_be_written() -> None:
    found = run(lark(), laid_out())
    plain = found.as_json()
    assert json.loads(json.dumps(plain)) == plain
    assert plain["time_s"] == found.finish_time
    assert plain["budget_s"] == dict(found.budget)
    still = run(lark(), straight(angle=0.0, finish=2.0)).as_json()
    assert still["time_s"] is None
    assert json.loads(json.dumps(still)) == still


def test_a_surface_of_many_pieces_needs_fewer_nodes() -> None:
    ramp, arc, flat = laid_out().pieces
    stretches = [
        (ramp.length, 0.0),
        *((arc.length / 20, arc.curvature) for _ in range(20)),
        (flat.length, 0.0),
    ]
    track = Track(
        name="many",
        pieces=joined(angle=ramp.angle, stretches=stretches),
        finish=laid_out().finish,
        air=Quantity(value=1.2),
    )
    usual, fine = (run(lark(), track, prices=False, nodes=nodes).finish_time or 0.0 for nodes in (None, 24))
    assert usual == pytest.approx(fine, abs=1e-7)
