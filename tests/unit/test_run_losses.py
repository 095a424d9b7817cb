"""The coefficients of the losses, and how the car's angles turn them into braking."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from rollwright.car import Car, Station, with_dimensions
from rollwright.errors import MissingReference, OutOfRange, UnknownKey
from rollwright.geometry import stance
from rollwright.quantity import Quantity, Source
from rollwright.run.chassis import PARAMETERS, chassis, frame_of
from rollwright.run.inputs import GRAVITY as STANDARD
from rollwright.run.inputs import inputs_of
from rollwright.run.losses import COEFFICIENTS, LOSS_NAMES, Losses, losses_of, without
from tests.unit.cars import lark
from tests.unit.run_bench import MASS, only, plain_car, straight

DEGREE = math.radians(1.0)


def figures(car: Car, losses: Losses) -> dict[str, float]:
    """Return what the run needs to know of a car."""
    inputs = inputs_of(car, straight(angle=0.2, finish=4.0), losses=losses, gravity=STANDARD)
    rows, stands = chassis(frame_of(car, inputs.names, losses=losses), inputs.values[None])
    assert stands.all()
    return dict(zip(PARAMETERS, rows[0].tolist(), strict=True))


def turned(car: Car, **values: float) -> Car:
    """Return a car with some dimensions changed; `rear_left__cant` stands for `rear_left.cant`."""
    return with_dimensions(
        car, {name.replace("__", "."): Quantity(value=value) for name, value in values.items()}
    )


def test_what_is_not_given_is_a_marked_default() -> None:
    found = losses_of({"rolling": Quantity(value=0.001, source=Source.MEASURED)})
    assert found.rolling.value == 0.001
    for name, shipped in COEFFICIENTS.items():
        if name != "rolling":
            assert found.coefficient(name).value == shipped.value
            assert found.coefficient(name).source is Source.ASSUMED
    assert "losses.rolling" not in found.assumed
    assert "losses.bearing_friction" in found.assumed
    assert "losses.drag_area_per_pitch" not in found.assumed


@pytest.mark.parametrize("name", COEFFICIENTS)
def test_a_default_lies_in_its_range_and_says_where_it_comes_from(name: str) -> None:
    shipped = COEFFICIENTS[name]
    assert shipped.low <= shipped.value <= shipped.high
    # A uniform distribution: half-width over the square root of 3 (JCGM 100:2008, 4.3.7).
    assert shipped.uncertainty == pytest.approx(0.5 * (shipped.high - shipped.low) / math.sqrt(3.0))
    assert len(shipped.source) > 20
    assert shipped.meaning


def test_an_unknown_name_and_a_loss_that_pushes_are_refused() -> None:
    with pytest.raises(
        UnknownKey, match="there is no loss coefficient 'grease'; write one of bearing_friction"
    ):
        losses_of({"grease": Quantity(value=1.0)})
    with pytest.raises(OutOfRange, match=r"losses\.rolling: a loss of -0\.1 would push the car"):
        losses_of({"rolling": Quantity(value=-0.1)})
    with pytest.raises(MissingReference, match="there is no loss named 'wind'"):
        without(losses_of({}), ["wind"])
    assert losses_of({"drag_area_per_pitch": Quantity(value=-1e-3)}).drag_area_per_pitch.value == -1e-3


def test_a_loss_that_is_off_is_not_assumed() -> None:
    found = without(losses_of({}), ["air", "rolling"])
    assert found.off == {"air", "rolling"}
    assert not any("drag" in name or "rolling" in name for name in found.assumed)


def test_a_square_car_loses_only_in_bearings_rolling_and_air() -> None:
    found = figures(plain_car(), losses_of({}))
    assert found["mass"] == pytest.approx(MASS, rel=1e-12)
    for axle in ("rear", "front"):
        # Friction times shank over wheel.
        assert found[f"bearing.{axle}.{axle}"] == pytest.approx(0.1 * 2.4 / 30.0, rel=1e-12)
        assert found[f"rolling.{axle}.{axle}"] == pytest.approx(0.002, rel=1e-12)
        for loss in ("hub", "rail", "scrub"):
            assert found[f"{loss}.{axle}.{axle}"] == 0.0
    assert found["air"] == pytest.approx(0.5 * 1.2 * 8e-4, rel=1e-12)


def test_a_square_cars_sizes_are_those_of_its_drawing() -> None:
    found = figures(plain_car(), only())
    # Holes 9 mm above the underside, wheels of 15 mm: the underside is 6 mm up. The tail hangs over by 25 mm.
    sizes = {"ahead": 0.12, "nose_x": 0.155, "nose_z": 0.006, "rear_radius": 0.015, "front_radius": 0.015}
    assert {name: found[name] for name in sizes} == pytest.approx(sizes, rel=1e-12)
    assert found["rear_spin"] == pytest.approx(2.0 * 4.68e-7 / 0.015**2, rel=1e-12)
    assert found["front_spin"] == pytest.approx(4.68e-7 / 0.015**2, rel=1e-12)
    # Grams at places [mm]: body, slug, rear wheels and pins, and the front ones, one side 3 mm higher.
    parts = [(89.3, 50, 10), (40, 20, 12), *((mass, 0, 9) for mass in (2.6, 2.6, 0.5, 0.5))]
    parts += [(mass, 120, height) for mass in (2.6, 0.5) for height in (9, 12)]
    total = sum(mass for mass, _, _ in parts)
    x, z = (sum(part[0] * part[k] for part in parts) / total for k in (1, 2))
    assert found["mass_x"] == pytest.approx(1e-3 * x, rel=1e-12)
    assert found["mass_z"] == pytest.approx(1e-3 * (z + 6.0), rel=1e-12)
    # A box's inertia is m (length^2 + height^2) / 12; the others are points (any dynamics text).
    inertia = 89.3 * (180.0**2 + 20.0**2) / 12.0
    inertia += sum(mass * ((at - x) ** 2 + (up - z) ** 2) for mass, at, up in parts)
    assert found["pitch_inertia"] == pytest.approx(1e-9 * inertia, rel=1e-12)


def test_canted_axles_rub_at_the_hub_and_load_the_bearing_less() -> None:
    car = turned(plain_car(), rear_left__cant=3.0 * DEGREE, rear_right__cant=3.0 * DEGREE)
    # Canted rear wheels tip the body by a hair; the tolerance is for that.
    found = figures(car, only(bearing_friction=0.1, hub_friction=0.2))
    assert found["hub.rear.rear"] == pytest.approx(0.2 * math.sin(3.0 * DEGREE) * 2.4 / 30.0, rel=1e-4)
    assert found["bearing.rear.rear"] == pytest.approx(0.1 * math.cos(3.0 * DEGREE) * 2.4 / 30.0, rel=1e-5)
    assert found["hub.front.front"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("stiffness", "pull"), [(10.0, 10.0 * DEGREE), (1000.0, 0.3)])
def test_a_steered_wheel_scrubs_and_rubs_on_the_rail(stiffness: float, pull: float) -> None:
    # Outer end forward turns a left wheel to the right, into the rail: it touches at the rail's full height.
    car = turned(plain_car(), front_left__sweep=DEGREE)
    found = figures(car, only(tread_friction=0.3, creep_stiffness=stiffness, rail_friction=0.2))
    assert found["scrub.front.front"] == pytest.approx(pull * math.sin(DEGREE), rel=1e-9)
    # At height h the rim is sqrt(2 r h) from the contact, and slides by that over r for each metre rolled.
    slip = math.sqrt(2.0 * 15.0 * 6.0) / 15.0
    assert found["rail.front.front"] == pytest.approx(0.2 * pull * slip, rel=1e-9)
    assert found["scrub.rear.rear"] == pytest.approx(0.0, abs=1e-12)


def test_a_steered_wheel_that_leans_out_touches_low_where_it_hardly_slides() -> None:
    low = turned(plain_car(), front_left__sweep=0.2 * DEGREE, front_left__cant=-3.0 * DEGREE)
    high = turned(plain_car(), front_left__sweep=0.2 * DEGREE)
    losses = only(tread_friction=0.3, creep_stiffness=1000.0, rail_friction=0.2)
    assert figures(low, losses)["rail.front.front"] < 0.1 * figures(high, losses)["rail.front.front"]


def test_rear_wheels_that_head_alike_make_the_car_run_askew_and_scrub_at_the_front_only() -> None:
    # Both rear wheels head left; the body turns until they run straight, and the front wheel is then askew.
    car = turned(plain_car(), rear_left__sweep=-DEGREE, rear_right__sweep=DEGREE)
    found = figures(car, only(tread_friction=0.5, creep_stiffness=10.0))
    assert found["scrub.rear.rear"] == pytest.approx(0.0, abs=1e-9)
    assert found["scrub.front.front"] == pytest.approx(10.0 * DEGREE * math.sin(DEGREE), rel=1e-6)


@pytest.mark.parametrize(("toe_in", "sign"), [(DEGREE, -1.0), (-DEGREE, 1.0)])
def test_toe_pushes_a_canted_rear_wheel_off_its_head_or_onto_it(toe_in: float, sign: float) -> None:
    cant = 3.0 * DEGREE
    square = turned(plain_car(), rear_left__cant=cant, rear_right__cant=cant)
    car = turned(square, rear_left__sweep=toe_in, rear_right__sweep=toe_in)
    losses = only(hub_friction=0.2, tread_friction=0.5, creep_stiffness=1.0)
    change = figures(car, losses)["hub.rear.rear"] - figures(square, losses)["hub.rear.rear"]
    assert change == pytest.approx(sign * 0.2 * 1.0 * DEGREE * 2.4 / 30.0, rel=0.01)


def test_the_load_leans_onto_the_wheel_whose_side_the_mass_is_on() -> None:
    # Only the left rear wheel is canted; a mass to the left loads it more.
    car = turned(plain_car(), rear_left__cant=3.0 * DEGREE)
    x, y, z = car.weights["slug"].position
    aside = replace(
        car,
        weights={"slug": replace(car.weights["slug"], position=(x, replace(y, value=5e-3), z))},
    )
    losses = only(hub_friction=0.2)
    assert figures(aside, losses)["hub.rear.rear"] > 1.05 * figures(car, losses)["hub.rear.rear"]


def test_load_on_the_front_left_comes_off_the_rear_left() -> None:
    # The mass is on the centre line and all wheels are as far out, for narrow treads touch in their middle:
    # moments about it leave the left rear wheel half of what the rear axle carries more than the front.
    narrow = {f"{name}__tread_width": 2e-4 for name in ("rear_left", "rear_right", "front_left")}
    far = {f"{name}__hub_projection": 20e-3 for name in ("rear_left", "rear_right", "front_left")}
    car = turned(plain_car(), rear_left__cant=3.0 * DEGREE, **narrow, **far)
    found = figures(car, only(hub_friction=0.2))
    # The canted side stands up, so that the other rear wheel comes to lean a little too.
    stations = stance(car).stations
    left, right = (
        0.2 * math.sin(abs(stations[station].camber)) * 2.4 / 30.0
        for station in (Station.REAR_LEFT, Station.REAR_RIGHT)
    )
    assert found["hub.rear.rear"] == pytest.approx(0.5 * (left + right), rel=0.02)
    assert found["hub.rear.front"] == pytest.approx(-0.5 * (left - right), rel=0.02)


def test_air_may_feel_pitch_and_height() -> None:
    base = figures(lark(), only(drag_area=1e-3))["air"]
    at_rest = frame_of(
        lark(),
        inputs_of(lark(), straight(angle=0.1, finish=1.0), losses=only(), gravity=STANDARD).names,
        losses=only(),
    ).at_rest
    pitched = figures(lark(), only(drag_area=1e-3, drag_area_per_pitch=0.5))["air"]
    assert pitched - base == pytest.approx(0.6 * 0.5 * at_rest.pitch, rel=1e-9)
    high = figures(lark(), only(drag_area=1e-3, drag_area_per_height=0.02))["air"]
    assert high - base == pytest.approx(0.6 * 0.02 * 0.5 * (at_rest.front + at_rest.rear), rel=1e-9)


@pytest.mark.parametrize("name", LOSS_NAMES)
def test_each_loss_is_switched_off_alone(name: str) -> None:
    on, off = (figures(lark(), losses) for losses in (losses_of({}), without(losses_of({}), [name])))
    for key, value in on.items():
        if key.partition(".")[0] == name:
            assert off[key] == 0.0
        else:
            assert off[key] == value
    assert any(value != 0.0 for key, value in on.items() if key.partition(".")[0] == name)


def test_every_station_has_its_wheel_and_axle_in_the_ledger() -> None:
    names = inputs_of(plain_car(), straight(angle=0.2, finish=4.0), losses=only(), gravity=STANDARD).names
    for station in Station:
        for part in ("wheel_mass", "axle_mass", "wheel_inertia"):
            assert f"{station.value}.{part}" in names
    assert "wheel_inertia_factor" not in names
    assert (
        "wheel_inertia_factor"
        in inputs_of(lark(), straight(angle=0.2, finish=4.0), losses=only(), gravity=STANDARD).names
    )
