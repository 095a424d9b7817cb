"""What must hold of any car on the rail: mirror, scale, the dominant wheel's touch, bounds of the tail."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rollwright.bench.as_readings import readings_of_roll
from rollwright.bench.events import SlowRoll, SlowRollSeen
from rollwright.car import Car, Station, parse_car
from rollwright.car.dimensions import dimension_kind, dimension_names, dimension_of, with_dimensions
from rollwright.geometry.many import Stances, dimension_values, stances
from rollwright.quantity import Quantity
from rollwright.scenario.club import file_text
from rollwright.setup.estimate import estimate, seats_at
from rollwright.setup.predict import Rolled, rolled
from rollwright.setup.roll_cause import causes_of
from rollwright.units import Kind

MM, DEG = 1e-3, math.pi / 180.0
# A rim that just touches the ground finds its place by an arc cosine near one: rounding grows to a root.
RAIL = 1e-10
LARK = parse_car(file_text("lark.toml"))
SPREAD = {"sweep": 0.8 * DEG, "cant": 0.8 * DEG, "clock": 20.0 * DEG, "bend": 0.5 * DEG}
SHARES = st.lists(
    st.floats(-1.0, 1.0, width=32), min_size=len(dimension_names()), max_size=len(dimension_names())
)
SEEN = ("leaves", "tail_left", "tail_right")
TURNED = {"leaves": "leaves", "tail_left": "tail_right", "tail_right": "tail_left"}


def _given(car: Car, values: dict[str, float]) -> Car:
    return with_dimensions(
        car, {name: replace(dimension_of(car, name), value=value) for name, value in values.items()}
    )


@st.composite
def cars(draw: st.DrawFn) -> Car:
    """Return a car that differs from Lark in every dimension, with either wheel dominant."""
    values = {}
    for name, share in zip(dimension_names(), draw(SHARES), strict=True):
        reach = SPREAD.get(name.rpartition(".")[2], 0.15 * MM)
        value = dimension_of(LARK, name).value
        low = 0.0 if name.endswith(("relief", "washer", "play", "bend", "bend_at")) else -math.inf
        values[name] = max(low, value + share * reach)
    car = _given(LARK, values)
    return _mirror(car) if draw(st.booleans()) else car


def _mirror(car: Car) -> Car:
    drift = car.targets.drift
    return replace(
        car,
        dominant=car.dominant.opposite,
        corners={station: car.corners[station.opposite] for station in Station},
        targets=replace(car.targets, drift=replace(drift, value=-drift.value)),
    )


def _scaled(car: Car, scale: float) -> Car:
    def grown(size: Quantity) -> Quantity:
        return replace(size, value=scale * size.value)

    lengths = [name for name in dimension_names() if dimension_kind(name) is Kind.LENGTH]
    larger = _given(car, {name: scale * dimension_of(car, name).value for name in lengths})
    (x, y, z), weights = larger.body.centre_of_mass, larger.weights
    return replace(
        larger,
        body=replace(larger.body, centre_of_mass=(grown(x), grown(y), grown(z))),
        weights={
            name: replace(
                weight,
                position=(grown(weight.position[0]), grown(weight.position[1]), grown(weight.position[2])),
            )
            for name, weight in weights.items()
        },
    )


def _on_rail(car: Car) -> tuple[Rolled, Stances]:
    values = dimension_values(car)
    seats = seats_at(car, values)
    found = stances(car, values[None, :], seats=seats)
    return rolled(car, values[None, :], seats=seats, found=found), found


@given(cars())
def test_a_mirrored_car_runs_as_the_mirror_image(car: Car) -> None:
    (here, _), (there, _) = _on_rail(car), _on_rail(_mirror(car))
    assert there.tail[0] == pytest.approx(-here.tail[0], abs=RAIL)
    assert there.gap[:, 0] == pytest.approx(here.gap[[1, 0, 3, 2], 0], abs=RAIL)


@given(cars(), st.floats(0.2, 5.0))
def test_a_car_larger_by_a_factor_runs_with_a_tail_larger_by_that_factor(car: Car, scale: float) -> None:
    (here, _), (there, _) = _on_rail(car), _on_rail(_scaled(car, scale))
    tolerance = RAIL * max(1.0, scale)
    assert there.tail[0] == pytest.approx(scale * here.tail[0], abs=tolerance)
    assert there.gap[:, 0] == pytest.approx(scale * here.gap[:, 0], abs=tolerance)


@given(cars())
def test_the_dominant_wheel_touches_and_the_tail_is_within_a_radius_of_the_arm(car: Car) -> None:
    found, square = _on_rail(car)
    dominant = list(Station).index(car.dominant)
    assert found.gap[dominant, 0] == pytest.approx(0.0, abs=1e-15)
    # The innermost point, square or yawed, is on the rim: no further than a radius from the lowest point.
    # Being the innermost in its own attitude it bounds what the other attitude can have.
    side, heading = car.dominant.side, float(square.rear_steer[0])
    by_yaw = side * (found.tail[0] + side * float(square.rail_offset[0]))
    radius = 0.5 * car.wheel_at(car.dominant).diameter.value
    arms = [float(square.contact_x[dominant, 0]) + sign * 1.01 * radius for sign in (-1.0, 1.0)]
    ends = [side * arm * math.sin(heading) for arm in arms]
    # Turned about the rear hole line, the half width shrinks by the cosine.
    shrinks = 1.1 * (0.5 * car.rail.width.value + 5.0 * MM) * (1.0 - math.cos(heading))
    assert min(ends) - RAIL <= by_yaw <= max(ends) + shrinks + RAIL


@given(cars(), st.floats(-1.0, 1.0))
def test_rear_wheels_turned_further_left_take_the_tail_further_left(car: Car, more: float) -> None:
    assume(abs(more) > 0.01)
    turned = _given(
        car,
        {
            f"rear_{side}.sweep": dimension_of(car, f"rear_{side}.sweep").value - sign * more * DEG
            for side, sign in (("left", 1.0), ("right", -1.0))
        },
    )
    (before, _), (after, _) = _on_rail(car), _on_rail(turned)
    assert (float(after.tail[0]) - float(before.tail[0])) * more > 0.0


@given(cars())
def test_what_an_eye_sees_lies_between_what_it_can_see_and_the_rail(car: Car) -> None:
    values = dimension_values(car)
    room = stances(car, values[None, :], seats=seats_at(car, values)).rail_gap[:, 0]
    for seen, sign, at in ((SlowRollSeen.TAIL_LEFT, 1.0, 1), (SlowRollSeen.TAIL_RIGHT, -1.0, 0)):
        (found,) = readings_of_roll(SlowRoll(seen=seen), number=3, car=car, values=values)
        half = math.sqrt(3.0) * math.hypot(found.quantity.uncertainty, found.common)
        ends = sorted(sign * (found.quantity.value + end * half) for end in (-1.0, 1.0))
        assert ends == pytest.approx([0.5 * MM, float(room[at])], abs=1e-12)


@given(car=cars(), seen=st.sampled_from(SEEN))
@settings(max_examples=50, deadline=None)
def test_the_causes_of_a_mirrored_car_are_the_mirror_image(car: Car, seen: str) -> None:
    here = causes_of(seen, estimate(car))
    there = causes_of(TURNED[seen], estimate(_mirror(car)))
    chances = {(cause.kind, cause.station): cause.probability for cause in here}
    assert list(chances.values()) == sorted(chances.values(), reverse=True)
    if seen != "leaves":
        assert sum(chances.values()) < 1.0 + 1e-9
    for cause in there:
        place = None if cause.station is None else cause.station.opposite
        # The draws are the same on both cars, not their mirror image.
        assert cause.probability == pytest.approx(chances.get((cause.kind, place), 0.05), abs=0.03)
    assert np.all(np.isfinite(list(chances.values())))
