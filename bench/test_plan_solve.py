"""Plans: how long one takes, and how far the car that was planned, stood anew, misses what was asked of it.

Timings run with `make bench`; nothing here passes or fails on a time. Run as a script it plans ten thousand
random cars and says the worst miss:

    nice -n 10 python bench/test_plan_solve.py
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from rollwright.car import Car, parse_car
from rollwright.car.dimensions import dimension_of, with_dimensions
from rollwright.geometry.stance import stance
from rollwright.scenario.club import file_text
from rollwright.setup.plan import Plan, Preference, Wish, plan, trade_off

CARS = tuple(parse_car(file_text(f"{name}.toml")) for name in ("lark", "heron", "bittern"))
COUNT = 10_000
MM = 1e-3
DEG = math.pi / 180.0

pytestmark = pytest.mark.benchmark(group="plan")


@dataclass(frozen=True)
class Misses:
    """How plans of random cars came out, stood anew: the worst misses [m] of those that nothing blocks."""

    plans: int
    blocked: dict[str, int]
    height: float
    drift: float
    rail: float
    ride: float
    lifted: float
    seconds: float

    def told(self) -> str:
        """Return them in one line."""
        what = ", ".join(f"{name} {count}" for name, count in sorted(self.blocked.items())) or "nothing"
        return (
            f"{self.plans} plans in {self.seconds:.0f} s; blocked: {what}; worst miss of the rest: "
            f"height difference {self.height:.1e} m, drift {self.drift:.1e} m, "
            f"rail offset {self.rail:.1e} m, ride height {self.ride:.1e} m, raise {self.lifted:.1e} m"
        )


def drawn(count: int, seed: int = 1) -> Iterator[tuple[Car, Wish]]:
    """Yield random cars about the demo club's three, with random wishes."""
    random = np.random.default_rng(seed)
    for number in range(count):
        car = CARS[number % len(CARS)]
        spreads = {
            "body.width": 1.0 * MM,
            "body.wheelbase": 8.0 * MM,
            "board.length": 100.0 * MM,
            "rail.width": 0.3 * MM,
        }
        for station in car.corners:
            spreads |= {
                f"{station.value}.{name}": size
                for name, size in (
                    ("diameter", 0.3 * MM),
                    ("hub_projection", 0.1 * MM),
                    ("sweep", 0.15 * DEG),
                    ("cant", 0.3 * DEG),
                    ("offset", 0.2 * MM),
                )
            }
        varied = with_dimensions(
            car,
            {
                name: replace(was, value=was.value + size * float(random.standard_normal()))
                for name, size in spreads.items()
                for was in [dimension_of(car, name)]
            },
        )
        way = -float(car.dominant.side)
        yield (
            varied,
            Wish(
                height_difference=float(random.uniform(-0.4, 0.4)) * MM,
                drift=way * float(random.uniform(20.0, 140.0)) * MM,
                rail_offset=float(random.uniform(-0.2, 0.2)) * MM,
                ride_height=float(random.uniform(6.6, 8.0)) * MM,
                raise_height=float(random.uniform(0.8, 2.5)) * MM,
                rear_cant=float(random.uniform(1.5, 3.5)) * DEG,
                preference=list(Preference)[int(random.integers(len(Preference)))],
            ),
        )


def misses(count: int, seed: int = 1) -> Misses:
    """Plan random cars, stand each planned car anew, and return the worst misses."""
    worst = np.zeros(5)
    blocked: dict[str, int] = {}
    start = time.perf_counter()
    for car, wish in drawn(count, seed):
        found = plan(car, wish=wish)
        if found.blocked:
            for each in found.blocked:
                blocked[each.what] = blocked.get(each.what, 0) + 1
            continue
        worst = np.maximum(worst, np.abs(_off(found, wish)))
    height, drift, rail, ride, lifted = worst.tolist()
    return Misses(count, blocked, height, drift, rail, ride, lifted, time.perf_counter() - start)


def _off(found: Plan, wish: Wish) -> list[float]:
    at = stance(found.car)
    assert at.drift.lateral is not None
    assert at.rail_offset is not None
    got = (
        at.height_difference,
        at.drift.lateral,
        at.rail_offset,
        at.rear,
        at.stations[found.car.raised].hanging_clearance,
    )
    asked = (wish.height_difference, wish.drift, wish.rail_offset, wish.ride_height, wish.raise_height)
    return [here - (there or 0.0) for here, there in zip(got, asked, strict=True)]


@pytest.mark.parametrize("preference", Preference, ids=lambda one: one.value)
def test_one_plan(benchmark: BenchmarkFixture, preference: Preference) -> None:
    wish = Wish(preference=preference)
    assert benchmark(lambda: plan(CARS[0], wish=wish)).blocked == ()


def test_one_plan_of_a_straight_axle(benchmark: BenchmarkFixture) -> None:
    assert benchmark(lambda: plan(CARS[1])).blocked == ()


def test_a_trade_off(benchmark: BenchmarkFixture) -> None:
    assert len(benchmark(lambda: trade_off(CARS[0]))) > 1


def test_plans_of_random_cars_land(benchmark: BenchmarkFixture) -> None:
    found = benchmark(misses, 60)
    assert max(found.height, found.drift, found.rail, found.ride, found.lifted) < 1e-8


if __name__ == "__main__":
    sys.stdout.write(misses(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT).told() + "\n")
