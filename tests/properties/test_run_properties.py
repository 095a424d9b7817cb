"""What holds for the run of any car down any track."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rollwright.car import Car, Station, with_dimensions
from rollwright.quantity import Quantity
from rollwright.run.losses import COEFFICIENTS, LOSS_NAMES, Losses, losses_of, without
from rollwright.run.once import run, run_many
from rollwright.run.result import Run
from rollwright.run.track import Track, joined
from tests.unit.cars import lark
from tests.unit.run_bench import laid_out, mirrored, only

SIZES = st.fixed_dictionaries(
    {
        "ramp_angle": st.floats(0.15, 0.8),
        "ramp_length": st.floats(0.3, 4.0),
        "arc_radius": st.floats(0.4, 3.0),
        "flat_length": st.floats(0.5, 8.0),
    }
)
SHARES = st.fixed_dictionaries(
    {
        name: st.floats(0.0, 1.0)
        for name in COEFFICIENTS
        if name not in {"drag_area_per_pitch", "drag_area_per_height"}
    }
)


@st.composite
def cars(draw: st.DrawFn) -> Car:
    """Return the demo club's car, drilled and bent a little differently."""
    degrees = st.floats(-0.6, 0.6)
    values: dict[str, float] = {}
    for station in Station:
        values[f"{station.value}.cant"] = math.radians(draw(st.floats(1.5, 3.5)))
        values[f"{station.value}.sweep"] = math.radians(draw(degrees))
        values[f"{station.value}.diameter"] = draw(st.floats(31e-3, 33e-3))
    values["front_right.hole_height"] = 12.5e-3
    values["front_left.clock"] = math.radians(draw(st.floats(10.0, 40.0)))
    values["body.wheelbase"] = draw(st.floats(0.10, 0.14))
    return with_dimensions(lark(), {name: Quantity(value=value) for name, value in values.items()})


def _losses(shares: dict[str, float]) -> Losses:
    """Return losses of up to their likely greatest."""
    return losses_of(
        {name: Quantity(value=share * COEFFICIENTS[name].high) for name, share in shares.items()}
    )


def _finished(found: Run) -> float:
    assert found.finish_time is not None
    return found.finish_time


@settings(max_examples=25, deadline=None)
@given(car=cars(), sizes=SIZES, shares=SHARES)
def test_energy_is_neither_made_nor_lost(car: Car, sizes: dict[str, float], shares: dict[str, float]) -> None:
    found = run(car, laid_out(sizes), losses=_losses(shares), prices=False)
    if found.finish_time is None:
        assert found.stalled_at is not None
        assert 0.0 <= found.stalled_at.distance <= laid_out(sizes).finish + 1e-9
        return
    spent = math.fsum(found.energy[name] for name in (*LOSS_NAMES, "kinetic"))
    assert spent == pytest.approx(found.energy["potential"] + found.energy["push"], rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(car=cars(), sizes=SIZES, shares=SHARES)
def test_the_budget_sums_to_the_time_lost(
    car: Car, sizes: dict[str, float], shares: dict[str, float]
) -> None:
    found = run(car, laid_out(sizes), losses=_losses(shares), prices=False)
    if found.finish_time is None:
        assert found.budget == {}
        return
    assert found.loss_free_time is not None
    assert math.fsum(found.budget.values()) == pytest.approx(
        found.finish_time - found.loss_free_time, abs=1e-9
    )
    assert all(part >= -1e-12 for part in found.budget.values())
    for name, part in found.budget.items():
        if found.energy[name] == 0.0:
            assert part == 0.0


@settings(max_examples=15, deadline=None)
@given(car=cars(), sizes=SIZES, shares=SHARES)
def test_the_nodes_are_enough(car: Car, sizes: dict[str, float], shares: dict[str, float]) -> None:
    # Ten microseconds are asked for; cars that barely creep over the line are let off.
    usual = run(car, laid_out(sizes), losses=_losses(shares), prices=False)
    if usual.finish_time is None or usual.finish_speed is None or usual.finish_speed < 0.2:
        return
    fine = run(car, laid_out(sizes), losses=_losses(shares), prices=False, nodes=24)
    assert usual.finish_time == pytest.approx(_finished(fine), abs=1e-7)


@settings(max_examples=15, deadline=None)
@given(car=cars(), sizes=SIZES)
def test_the_mirrored_car_is_as_fast(car: Car, sizes: dict[str, float]) -> None:
    track = laid_out(sizes)
    here, there = run(car, track, prices=False), run(mirrored(car), track, prices=False)
    assert (here.finish_time is None) == (there.finish_time is None)
    if here.finish_time is not None:
        assert here.finish_time == pytest.approx(_finished(there), rel=1e-11)
        assert here.budget == pytest.approx(dict(there.budget), abs=1e-11)


@settings(max_examples=15, deadline=None)
@given(car=cars(), name=st.sampled_from([name for name in COEFFICIENTS if "per" not in name]))
def test_more_of_a_loss_is_never_faster(car: Car, name: str) -> None:
    value = COEFFICIENTS[name].value
    found = run_many(car, laid_out(), {f"losses.{name}": np.array([0.0, 0.5, 1.0, 1.5]) * value})
    assert np.all(np.diff(found.finish_time) >= -1e-13)


@settings(max_examples=10, deadline=None)
@given(car=cars(), sizes=SIZES)
def test_without_losses_the_time_is_the_loss_free_one(car: Car, sizes: dict[str, float]) -> None:
    track = laid_out(sizes)
    bare = run(car, track, losses=without(losses_of({}), LOSS_NAMES), prices=False)
    assert bare.finish_time == bare.loss_free_time
    assert bare.finish_time == pytest.approx(run(car, track, prices=False).loss_free_time or 0.0, rel=1e-13)
    assert all(part == 0.0 for part in bare.budget.values())


def _larger(car: Car, factor: float) -> Car:
    """Return a car larger in every length, its masses as they were."""

    def grown(quantity: Quantity) -> Quantity:
        return replace(quantity, value=quantity.value * factor)

    lengths = {"hole_height", "relief", "washer", "play", "offset"}
    return replace(
        car,
        body=replace(
            car.body,
            **{name: grown(getattr(car.body, name)) for name in ("length", "width", "wheelbase")},
            rear_overhang=grown(car.body.rear_overhang),
            centre_of_mass=tuple(map(grown, car.body.centre_of_mass)),  # type: ignore[arg-type]  # three stay three
        ),
        wheels={
            name: replace(
                wheel,
                **{
                    key: grown(getattr(wheel, key))
                    for key in ("diameter", "tread_width", "hub_projection", "bore")
                },
            )
            for name, wheel in car.wheels.items()
        },
        axles={
            name: replace(axle, shank=grown(axle.shank), bend_at=grown(axle.bend_at))
            for name, axle in car.axles.items()
        },
        corners={
            station: replace(corner, **{name: grown(getattr(corner, name)) for name in lengths})  # type: ignore[arg-type]  # these are quantities
            for station, corner in car.corners.items()
        },
        weights={
            name: replace(weight, position=tuple(map(grown, weight.position)))  # type: ignore[arg-type]  # three stay three
            for name, weight in car.weights.items()
        },
        rail=replace(car.rail, width=grown(car.rail.width), height=grown(car.rail.height)),
        board=replace(car.board, length=grown(car.board.length)),
    )


@settings(max_examples=10, deadline=None)
@given(car=cars(), sizes=SIZES, factor=st.floats(0.5, 3.0))
def test_everything_larger_takes_longer_by_the_square_root(
    car: Car, sizes: dict[str, float], factor: float
) -> None:
    # Friction is a share of the load; drag over weight stays if the air thins as the volume grows.
    large = {name: size if name == "ramp_angle" else size * factor for name, size in sizes.items()}
    small = run(car, laid_out(sizes), losses=losses_of({}), prices=False)
    drag = Quantity(value=COEFFICIENTS["drag_area"].value * factor**2)
    grown = run(
        _larger(car, factor),
        laid_out(large, density=1.2 / factor**3),
        losses=losses_of({"drag_area": drag}),
        prices=False,
    )
    assert (small.finish_time is None) == (grown.finish_time is None)
    if small.finish_time is not None:
        assert _finished(grown) == pytest.approx(small.finish_time * math.sqrt(factor), rel=1e-10)


@settings(max_examples=10, deadline=None)
@given(cut=st.lists(st.floats(0.01, 5.0), min_size=1, max_size=5))
def test_cutting_a_straight_into_pieces_changes_nothing(cut: list[float]) -> None:
    angle = 0.2
    losses = only(bearing_friction=0.1, rolling=0.001, drag_area=1e-3)
    air = Quantity(value=1.2)
    whole = Track(
        name="whole", pieces=joined(angle=angle, stretches=((sum(cut), 0.0),)), finish=sum(cut), air=air
    )
    parts = joined(angle=angle, stretches=tuple((length, 0.0) for length in cut))
    pieces = Track(name="pieces", pieces=parts, finish=sum(cut), air=air)
    one, many = (run(lark(), track, losses=losses, prices=False) for track in (whole, pieces))
    assert _finished(one) == pytest.approx(_finished(many), rel=1e-10)
