"""Stance, rail and drift held against a second, separately written computation and against closed forms."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import tomlkit
from scipy.optimize import root

from rollwright.car import parse_car
from rollwright.geometry import stance

from . import oracle

if TYPE_CHECKING:
    from collections.abc import Iterator

CARS = 60
SEED = 20260
# Both computations solve the same closed conditions in double precision; what is allowed is far above
# rounding and far below anything a bench can read.
LENGTH, ANGLE, RAIL, DRIFT, CURVATURE = 1e-9, 1e-9, 2e-9, 1e-8, 2e-8


def _ours(car: dict[str, Any]) -> dict[str, Any]:
    return stance(parse_car(tomlkit.dumps(car))).as_json()


def _random_part_of_a_car(rng: np.random.Generator, car: dict[str, Any], *, straight: bool) -> None:
    """Fill in wheels, axles and stations at random, the raised wheel's hole drilled higher."""
    dominant = car["setup"]["dominant"]
    for name, place in car["stations"].items():
        steered = name == dominant
        raised = name.startswith("front") and not steered
        car["wheels"][name] = {
            "diameter": rng.uniform(28.0, 36.0) if rng.random() < 0.3 else 32.0 + rng.normal(0.0, 0.05),
            "tread_width": rng.uniform(5.0, 10.0),
            "hub_projection": rng.uniform(1.0, 5.0),
            "bore": rng.uniform(2.4, 2.7),
            "mass": rng.uniform(2.0, 4.0),
            "inertia": rng.uniform(250.0, 500.0),
        }
        bent = 0.0 if straight or not (steered or rng.random() < 0.3) else rng.uniform(0.3, 6.0)
        car["axles"][name] = {
            "shank": rng.uniform(2.2, 2.4),
            "bend": bent,
            "bend_at": rng.uniform(0.0, 2.0),
            "mass": rng.uniform(0.4, 0.9),
        }
        level = 16.0 - car["wheels"][name]["diameter"] / 2.0
        place.update(
            hole_height=9.0 + level + rng.normal(0.0, 0.3) + (rng.uniform(1.0, 4.0) if raised else 0.0),
            cant=rng.uniform(-1.0, 5.0) if name.startswith("rear") else rng.uniform(-3.0, 3.0),
            sweep=rng.uniform(-2.0, 2.0) if steered and straight else rng.normal(0.0, 0.4),
            relief=rng.uniform(0.0, 1.5),
            washer=rng.choice([0.0, rng.uniform(0.1, 1.5)]),
            play=rng.uniform(0.2, 1.4),
            seat=str(rng.choice(["body", "middle", "head"])),
            clock=rng.uniform(-180.0, 180.0),
            offset=rng.normal(0.0, 0.5),
            wheel=name,
            axle=name,
        )


@cache
def random_car(seed: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a car drawn at random, and how it stands by the second computation.

    Every third car has straight axles and a swept hole, the others bent and turned axles. A car that rocks,
    or that turns back before the board's end, has no answer and is drawn again.
    """
    rng = np.random.default_rng([SEED, seed])
    while True:
        car = _draw_car(rng, straight=seed % 3 == 0)
        try:
            return car, oracle.stance(car)
        except ArithmeticError:
            continue


def _draw_car(rng: np.random.Generator, *, straight: bool) -> dict[str, Any]:
    car = oracle.plain_car()
    car["wheels"].clear()
    side = 1 if rng.random() < 0.5 else -1
    car["setup"]["dominant"] = "front_left" if side == 1 else "front_right"
    wheelbase = rng.uniform(90.0, 180.0)
    car["body"].update(
        length=wheelbase + 60.0,
        width=rng.uniform(38.0, 60.0),
        wheelbase=wheelbase,
        mass=rng.uniform(40.0, 120.0),
        centre_of_mass=[
            rng.uniform(0.2, 0.6) * wheelbase,
            side * rng.uniform(-1.0, 4.0),
            rng.uniform(8.0, 20.0),
        ],
    )
    car["weights"]["slug"] = {
        "mass": rng.uniform(5.0, 60.0),
        "position": [rng.uniform(0.1, 0.5) * wheelbase, rng.normal(0.0, 2.0), rng.uniform(3.0, 15.0)],
    }
    car["rail"] = {"width": rng.uniform(25.0, 45.0), "height": rng.uniform(3.0, 9.0)}
    car["board"] = {"length": rng.uniform(500.0, 1500.0)}
    _random_part_of_a_car(rng, car, straight=straight)
    return car


def _leaves(found: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(found, dict):
        for key, value in found.items():
            yield from _leaves(value, f"{path}.{key}" if path else key)
    elif isinstance(found, list | tuple):
        for index, value in enumerate(found):
            yield from _leaves(value, f"{path}[{index}]")
    else:
        yield path, found


def _allowed(path: str) -> float:
    last = path.rpartition(".")[2]
    if last in {"camber", "steer", "pitch", "roll"}:
        return ANGLE
    return {"rail_gap": RAIL, "rail_offset": RAIL, "lateral": DRIFT, "curvature": CURVATURE}.get(last, LENGTH)


def _compare(ours: dict[str, Any], theirs: dict[str, Any]) -> None:
    assert sorted(ours["carrying"]) == sorted(theirs["carrying"])
    held = dict(_leaves(ours))
    wrong = []
    for path, expected in _leaves(theirs):
        if path.startswith("carrying"):
            continue
        found = held[path]
        if isinstance(expected, float):
            agrees = isinstance(found, float) and abs(found - expected) <= _allowed(path)
        else:
            agrees = found == expected
        if not agrees:
            wrong.append(f"{path}: {found!r}, and the other way {expected!r}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("seed", range(CARS))
def test_a_random_car_stands_and_rolls_the_same_both_ways(seed: int) -> None:
    car, theirs = random_car(seed)
    _compare(_ours(car), theirs)


def test_the_random_cars_cover_what_they_should() -> None:
    drawn = [random_car(seed) for seed in range(CARS)]
    dominant = [car["setup"]["dominant"] for car, _ in drawn]
    assert min(dominant.count("front_left"), dominant.count("front_right")) > 15
    standing = [name in found["carrying"] for name, (_, found) in zip(dominant, drawn, strict=True)]
    assert 45 < sum(standing) < CARS
    assert len({tuple(found["carrying"]) for _, found in drawn}) > 2
    stations = [station for _, found in drawn for station in found["stations"].values()]
    assert any(station["rail_gap"] is None for station in stations)
    assert min(found["drift"]["lateral"] for _, found in drawn) < -0.1
    assert max(found["drift"]["lateral"] for _, found in drawn) > 0.1


def test_a_square_car_stands_as_a_rule_and_a_pencil_say() -> None:
    # Hole 9 mm up, wheel 32 mm, bore 0.12 mm over the shank, body 48 mm, hub 3.4 mm, play 0.6 mm, rail 43 mm.
    found = _ours(oracle.plain_car())
    assert found["height"]["front"] == pytest.approx(0.016 - 0.00006 - 0.009, abs=1e-12)
    assert found["height"]["difference"] == pytest.approx(0.0, abs=1e-12)
    assert found["pitch"] == pytest.approx(0.0, abs=1e-12)
    assert found["roll"] == pytest.approx(0.0, abs=1e-12)
    assert found["stations"]["front_right"]["clearance"] == pytest.approx(0.002, abs=1e-12)
    assert found["stations"]["front_left"]["centre"] == pytest.approx([0.124, 0.0323, 0.016], abs=1e-12)
    assert found["rail_offset"] == pytest.approx(0.024 + 0.0006 + 0.0034 - 0.0215, abs=1e-12)
    assert found["drift"]["lateral"] == pytest.approx(0.0, abs=1e-12)


def _level(car: dict[str, Any], *, steer: float | None = None, reach: float | None = None) -> dict[str, Any]:
    """Return our stance of the car after drilling the dominant hole such that the car sits level.

    Where asked, the hole is also swept to give a steer [rad], and moved forward to put the dominant contact
    a given distance [m] ahead of the rear contacts. The car is changed.
    """
    place = car["stations"][car["setup"]["dominant"]]

    def misses(drilling: np.ndarray) -> list[float]:
        place["hole_height"], place["sweep"], place["offset"] = map(float, drilling)
        found = _ours(car)
        wheel = found["stations"][car["setup"]["dominant"]]
        ahead = wheel["contact"][0] - found["stations"]["rear_left"]["contact"][0]
        return [
            1000.0 * found["height"]["difference"],
            float(drilling[1]) if steer is None else math.degrees(wheel["steer"] - steer),
            float(drilling[2]) if reach is None else 1000.0 * (ahead - reach),
        ]

    root(misses, [place["hole_height"], place["sweep"], place["offset"]], options={"xtol": 1e-15})
    found = _ours(car)
    assert found["pitch"] == pytest.approx(0.0, abs=1e-13)
    return found


@pytest.mark.parametrize(
    ("turn", "steer_like", "tilt"),
    [(0.0, 0.0, 1.5), (30.0, 0.750128532496662, 1.29900100058695), (90.0, 1.5, 0.0)],
)
def test_a_bent_axle_turned_in_its_hole_points_where_two_rotations_put_it(
    turn: float, steer_like: float, tilt: float
) -> None:
    # Axle along the level, square hole, bent outer end up by 1.5 degrees, then turned about the hole, up to
    # forward: Rodrigues' rotation formula, a = (sin b sin p, cos b, sin b cos p). A clock of zero is down.
    car = oracle.plain_car()
    car["axles"]["front_left"]["bend"] = 1.5
    car["stations"]["front_left"]["clock"] = 180.0 - turn
    wheel = _level(car)["stations"]["front_left"]
    assert math.degrees(wheel["steer"]) == pytest.approx(-steer_like, abs=1e-10)
    assert math.degrees(wheel["camber"]) == pytest.approx(-tilt, abs=1e-10)


@pytest.mark.parametrize("clock", [-170.0, -75.0, -10.0, 25.0, 100.0])
def test_turning_an_axle_trades_tilt_for_steer_and_keeps_their_sum_of_squares(clock: float) -> None:
    # The level and upward parts of the bent shank keep a_x^2 + a_z^2 = sin^2(bend) at every turn.
    car = oracle.plain_car()
    car["axles"]["front_left"]["bend"] = 3.0
    car["stations"]["front_left"]["clock"] = clock
    wheel = _level(car)["stations"]["front_left"]
    upward = -math.sin(wheel["camber"])
    forward = -math.sin(wheel["steer"]) * math.cos(wheel["camber"])
    assert upward**2 + forward**2 == pytest.approx(math.sin(math.radians(3.0)) ** 2, abs=1e-13)


def _steered_car(*, side: int) -> dict[str, Any]:
    car = oracle.plain_car()
    dominant, raised = ("front_left", "front_right") if side == 1 else ("front_right", "front_left")
    car["setup"]["dominant"] = dominant
    car["stations"][dominant].update(hole_height=9.0, cant=1.0)
    car["stations"][raised]["hole_height"] = 11.0
    for rear in ("rear_left", "rear_right"):
        car["stations"][rear]["cant"] = 2.0
    car["body"]["centre_of_mass"] = [48.0, side * 1.5, 11.0]
    return car


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("left", [1, -1])
def test_the_turning_circle_is_that_of_the_bicycle_model(side: int, left: int) -> None:
    # R = L / tan(delta): Rajamani, Vehicle Dynamics and Control, ch. 2; Gillespie, Fundamentals of Vehicle
    # Dynamics, ch. 6. The steered wheel runs beside the centre line, so the circle through the middle of the
    # rear contacts is wider than its own by the wheel's place on that side.
    car = _steered_car(side=side)
    found = _level(car, steer=left * math.radians(0.87), reach=0.1111)
    aside = found["stations"][car["setup"]["dominant"]]["contact"][1]
    assert 1.0 / found["drift"]["curvature"] - aside == pytest.approx(left * 7.31617456476302, rel=1e-9)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("left", [1, -1])
def test_drift_is_that_of_the_bicycle_model(side: int, left: int) -> None:
    # y = R - sqrt(R^2 - x^2) at forward distance x = 1.2192 m with R = L / tan(delta), L = 0.1111 m and
    # delta = 0.87 degrees (Rajamani ch. 2; Gillespie ch. 6), here at eight tenths of the size. That is the
    # path of the middle of the rear contacts, so the front hole line is laid through them and the steered
    # wheel far ahead of it.
    scale = 0.8
    car = _steered_car(side=side)
    car["body"]["wheelbase"] = 60.0
    car["body"]["centre_of_mass"][0] = 72.0
    car["weights"]["slug"]["position"][0] = 72.0
    car["board"]["length"] = scale * 1219.2
    for rear in ("rear_left", "rear_right"):
        car["stations"][rear]["offset"] = 60.0
    for front in ("front_left", "front_right"):
        car["stations"][front]["offset"] = 88.0
    delta = left * math.radians(0.87)
    near = _level(car, steer=delta, reach=scale * 0.1111)
    aside = near["stations"][car["setup"]["dominant"]]["contact"][1]
    found = _level(car, steer=delta, reach=scale * 0.1111 - aside * math.tan(delta))
    assert found["drift"]["curvature"] == pytest.approx(left / (scale * 7.31617456476302), rel=1e-9)
    assert found["drift"]["lateral"] == pytest.approx(left * scale * 0.102301706021651, rel=1e-8)
