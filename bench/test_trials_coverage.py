"""How often the intervals of trials hold the truth, and how long a hundred thousand rows take.

Five thousand trials of each kind; run with `make bench`. Shares have a standard error of 0.4 %. A 90 %
interval should hold the truth in 88 to 92 of a hundred trials. Where one car has a heat to itself and heats
do not differ at all, it may be a little too careful: that cannot be found to be less than nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from numpy.typing import NDArray
from pytest_benchmark.fixture import BenchmarkFixture
from scipy.special import stdtrit

from rollwright.judge.trial import Times
from rollwright.judge.trial_choice import choose
from rollwright.judge.trial_model import Contrast
from rollwright.judge.trial_peek import always_valid_half_width
from rollwright.judge.trial_plan import plan_trial
from rollwright.workbench.trials import compare

Array = NDArray[np.float64]

Found = TypeVar("Found")

REPEATS = 5000
ROWS = 100_000
RISK = 0.1
FASTER = 3e-3
NOISE = 2e-3
LANES = {"1": 0.0, "2": 1.5e-3, "3": -2.0e-3}

pytestmark = pytest.mark.benchmark(group="trials")


def _laid_out(kind: str, heats: int) -> tuple[Times, NDArray[np.intp]]:
    """Return a trial without noise, and the number of each run's heat."""
    if kind == "mixed":
        # Each heat is of one car alone, once in every lane.
        rows = [("AB"[(heat // 2 + heat) % 2], lane, str(heat)) for heat in range(heats) for lane in LANES]
    else:
        plan = plan_trial(("A", "B"), lanes=tuple(LANES), runs=heats, seed=7, alone=kind == "alone")
        rows = [
            (car, lane, str(heat.number))
            for heat in plan.heats
            for lane, car in zip(plan.lanes, heat.cars, strict=True)
            if car
        ]
    cars, lanes, names = zip(*rows, strict=True)
    times = tuple(2.6 + LANES[lane] - (FASTER if car == "B" else 0.0) for car, lane, _ in rows)
    places = np.unique(np.array([int(name) for name in names]), return_inverse=True)[1]
    return Times(configurations=cars, times=times, lanes=lanes, heats=names), places


def _difference(times: Times) -> Contrast:
    chosen = choose(times, [("A", "B")])
    levels = np.array([1.0 if name == "A" else -1.0 for name in chosen.configurations])
    found = chosen.contrast("configuration", levels)
    assert found is not None
    return found


def _with(times: Times, values: Array) -> Times:
    return Times(
        configurations=times.configurations, times=tuple(values), lanes=times.lanes, heats=times.heats
    )


def _once(benchmark: BenchmarkFixture, job: Callable[[], Found]) -> Found:
    """Return what a job of many trials comes to; it is timed once."""
    found: Found = benchmark.pedantic(job, rounds=1)  # type: ignore[no-untyped-call]
    return found


@pytest.mark.parametrize(
    ("kind", "heats", "between", "most"),
    [
        ("beside", 6, 3e-3, 0.92),
        ("beside", 24, 3e-3, 0.92),
        ("alone", 12, 0.0, 0.92),
        ("mixed", 12, 0.0, 0.94),
        ("mixed", 12, 1e-3, 0.92),
        ("mixed", 12, 4e-3, 0.92),
    ],
)
def test_intervals_hold_the_truth(
    benchmark: BenchmarkFixture, kind: str, heats: int, between: float, most: float
) -> None:
    times, places = _laid_out(kind, heats)
    plain = np.array(times.times)
    lot = np.random.default_rng(11)

    def share() -> float:
        held = 0
        for _ in range(REPEATS):
            heat = lot.normal(0.0, between, int(places.max()) + 1) if between else np.zeros(places.max() + 1)
            values = plain + heat[places] + 1e-4 * places + lot.normal(0.0, NOISE, len(plain))
            found = _difference(_with(times, values))
            reach = -float(stdtrit(found.freedom, RISK / 2.0)) * found.error
            held += abs(found.value - FASTER) < reach
        return held / REPEATS

    held = _once(benchmark, share)
    benchmark.extra_info["held"] = held
    assert 0.88 <= held <= most


def test_looking_after_every_heat_keeps_the_risk(benchmark: BenchmarkFixture) -> None:
    """Without any difference, 600 trials are looked at after each of 60 heats; plain intervals are fooled."""
    times, places = _laid_out("beside", 60)
    plain = np.array(times.times) + np.where(np.array(times.configurations) == "B", FASTER, 0.0)
    lot = np.random.default_rng(12)
    ends = [int(np.searchsorted(places, heat, side="right")) for heat in range(3, 60)]

    def fooled() -> tuple[float, float]:
        count = np.zeros(2)
        trials = 600
        for _ in range(trials):
            heat = lot.normal(0.0, 3e-3, int(places.max()) + 1)
            whole = _with(times, plain + heat[places] + lot.normal(0.0, NOISE, len(plain)))
            ever = np.zeros(2, dtype=bool)
            for end in ends:
                found = _difference(whole.kept(range(end)))
                reach = -float(stdtrit(found.freedom, RISK / 2.0)) * found.error
                always = always_valid_half_width(
                    error=found.error, freedom=found.freedom, unscaled=found.unscaled, risk=RISK
                )
                ever |= np.abs(found.value) > np.array([always, reach])
            count += ever
        return float(count[0]) / trials, float(count[1]) / trials

    ours, plain_share = _once(benchmark, fooled)
    benchmark.extra_info["stop rule"], benchmark.extra_info["plain"] = ours, plain_share
    # Three standard errors above the risk; without the rule it is several times that.
    assert ours <= RISK + 3.0 * (RISK * (1.0 - RISK) / 600) ** 0.5
    assert plain_share > 2.0 * RISK


def test_a_hundred_thousand_rows(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """Wanted: under 2 s with reading the file, heats as blocks, all six pairs."""
    lot = np.random.default_rng(1)
    path = tmp_path / "times.csv"
    rows = ["heat,lane,car,time (s)"]
    for heat in range(ROWS // 4):
        order = "ABCD"[heat % 4 :] + "ABCD"[: heat % 4]
        rows += [
            f"{heat},{lane},{car},{2.6 + lot.normal(0.0, 3e-3):.4f}"
            for lane, car in enumerate(order, start=1)
        ]
    path.write_text("\n".join(rows), encoding="utf-8")
    found = benchmark(compare, path).found
    assert (found.runs, found.method, len(found.effects)) == (ROWS, "blocks", 6)
