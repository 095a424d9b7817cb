"""The reading worth taking next: checked by taking every one of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from rollwright.car import Car, Station
from rollwright.setup.advice import advise
from rollwright.setup.estimate import Estimate, estimate
from rollwright.setup.next_reading import next_reading
from rollwright.setup.predict import GATE_QUANTITIES, ReadingModel
from rollwright.setup.readings import DEFAULT_UNCERTAINTY, Reading, ReadingKind
from rollwright.units import System

from .cars import DEG, MM, heron, known_but_for, lark, mirrored, reading, three_readings

WEIGHTS = np.array([1.0 / (0.15 * MM) ** 2, 1.0 / (10.0 * MM) ** 2, 1.0 / (0.2 * MM) ** 2])
LEVEL, DRIFT, RAIL = three_readings(-0.05 * MM, -0.075, 0.65 * MM)
STATES: dict[str, tuple[Car, Sequence[Reading]]] = {
    "nothing read": (lark(), ()),
    "level read": (lark(), (LEVEL,)),
    "steer read": (lark(), (DRIFT,)),
    "level and steer read": (lark(), (LEVEL, DRIFT)),
    "all read": (lark(), (LEVEL, DRIFT, RAIL)),
    "all read, dominant right": (
        mirrored(lark()),
        (LEVEL, replace(DRIFT, quantity=replace(DRIFT.quantity, value=0.075)), RAIL),
    ),
    "class without bends": (heron(), (LEVEL,)),
    "only the bend unknown": (known_but_for(lark(), {"front_left.bend": 1.0 * DEG}), ()),
}


def candidates(found: Estimate) -> list[Reading]:
    """Return one of every reading that could be taken, as good as those taken so far."""
    known = {each.kind: each.quantity.uncertainty for each in found.readings}
    dominant = found.car.dominant

    def one(kind: ReadingKind, *, station: Station | None = None, dimension: str = "") -> Reading:
        distance = 30.0 * MM if kind is ReadingKind.TIP_SWEEP else None
        uncertainty = known.get(kind, DEFAULT_UNCERTAINTY[kind])
        return reading(
            kind, 0.0, uncertainty, station=station, dimension=dimension, distance=distance, where="the next"
        )

    gates = [ReadingKind.HEIGHT_DIFFERENCE, ReadingKind.DRIFT, ReadingKind.RAIL_OFFSET]
    sizes = ["body.width", "rail.width", f"{dominant.value}.hub_projection", f"{dominant.value}.washer"]
    return [
        *map(one, gates),
        one(ReadingKind.TIP_SWEEP, station=dominant),
        *(one(ReadingKind.RAIL_CLEARANCE, station=each) for each in Station if each is not dominant),
        *(one(ReadingKind.SIZE, dimension=each) for each in sizes),
    ]


def taken(car: Car, found: Estimate, extra: Reading) -> NDArray[np.float64] | None:
    """Return the gates' variances once a reading that shows just what is expected has been taken."""
    bench = ReadingModel(found.car, found.seats, (extra,))
    shown = float(bench.predict(found.values[None, :])[0, 0])
    if abs(shown) > 100.0:
        return None
    there = replace(extra, quantity=replace(extra.quantity, value=shown))
    return np.diag(estimate(car, [*found.readings, there]).gate_covariance)


@pytest.mark.parametrize("name", STATES)
def test_no_other_reading_would_narrow_the_verdicts_more(name: str) -> None:
    car, readings = STATES[name]
    found = estimate(car, readings)
    chosen = next_reading(found, weights=WEIGHTS)
    before = np.diag(found.gate_covariance)
    gains = {}
    for extra in candidates(found):
        after = taken(car, found, extra)
        if after is not None:
            gains[extra.kind, extra.station, extra.dimension] = float(WEIGHTS @ (before - after))
    key = (chosen.kind, chosen.station, chosen.dimension)
    # Where a gate stands is not quite linear in the sizes: a per cent between the update and the fit.
    assert gains[key] >= 0.98 * max(gains.values()), (key, gains)
    assert max(gains.values()) > 0.0


@pytest.mark.parametrize("name", STATES)
def test_the_promised_uncertainty_is_what_such_a_reading_leaves(name: str) -> None:
    car, readings = STATES[name]
    found = estimate(car, readings)
    chosen = next_reading(found, weights=WEIGHTS)
    gate = GATE_QUANTITIES.index(chosen.quantity)
    (extra,) = (
        each
        for each in candidates(found)
        if (each.kind, each.station, each.dimension) == (chosen.kind, chosen.station, chosen.dimension)
    )
    after = taken(car, found, extra)
    assert after is not None
    assert chosen.before == pytest.approx(math.sqrt(found.gate_covariance[gate, gate]))
    assert chosen.after == pytest.approx(math.sqrt(float(after[gate])), rel=0.02)
    assert chosen.after < chosen.before


def test_the_gate_with_the_weight_decides() -> None:
    found = estimate(lark())
    kinds = [
        next_reading(found, weights=np.eye(3)[gate] * WEIGHTS).quantity
        for gate in range(len(GATE_QUANTITIES))
    ]
    assert kinds == list(GATE_QUANTITIES)


def test_the_verdict_that_cannot_be_told_decides_what_the_advice_asks_for() -> None:
    # Level and steer pass by their readings; only the rail is open.
    level, drift, _ = three_readings(0.0, -0.07, 0.0, sharpness=4.0)
    advice = advise(lark(), [level, drift, reading(ReadingKind.RAIL_OFFSET, 0.02 * MM, 0.1 * MM)])
    assert [verdict.state.value for verdict in advice.verdicts.values()] == ["pass", "pass", "unclear"]
    assert advice.measure_next.quantity == "rail_offset"


def test_a_sharper_gauge_promises_more() -> None:
    coarse = next_reading(estimate(lark(), [reading(ReadingKind.DRIFT, -0.075, 8.0 * MM)]), weights=WEIGHTS)
    alone = np.array([0.0, 1.0, 0.0])
    promised = [
        next_reading(estimate(lark(), [reading(ReadingKind.DRIFT, -0.075, size)]), weights=alone).after
        for size in (8.0 * MM, 2.0 * MM)
    ]
    assert promised[1] < promised[0]
    assert coarse.after > 0.0


def test_the_spread_of_an_angle_is_not_taken_for_that_of_a_caliper() -> None:
    # An angle known to 0.2 degrees is 0.0035 radians, which read as a length would be 3.5 mm.
    angle = reading(ReadingKind.SIZE, 2.5 * DEG, 0.2 * DEG, dimension="rear_left.cant")
    car = known_but_for(lark(), {"front_left.hub_projection": 1.0 * MM, "rear_left.cant": 1.0 * DEG})
    sharp = [replace(each, quantity=replace(each.quantity, uncertainty=0.5)) for each in (LEVEL, DRIFT, RAIL)]
    chosen = next_reading(estimate(car, [angle, *sharp]), weights=np.array([0.0, 0.0, 1.0]))
    assert (chosen.kind, chosen.dimension) == (ReadingKind.SIZE, "front_left.hub_projection")
    assert chosen.after < 0.1 * chosen.before


@pytest.mark.parametrize("system", list(System))
@pytest.mark.parametrize("name", STATES)
def test_it_is_told_in_one_sentence_with_both_uncertainties(name: str, system: System) -> None:
    car, readings = STATES[name]
    chosen = next_reading(estimate(car, readings), weights=WEIGHTS, system=system)
    assert chosen.text.endswith(".")
    assert chosen.text.count("±") == 2
    assert ("mm" in chosen.text) == (system is System.METRIC)
    if chosen.station is not None:
        assert chosen.station.words in chosen.text
    told = chosen.as_json()
    assert told["kind"] == chosen.kind.value
    assert told["uncertainty_then"] == chosen.after


def test_a_car_without_anything_unknown_needs_no_reading_and_breaks_nothing() -> None:
    chosen = next_reading(estimate(known_but_for(lark(), {})), weights=WEIGHTS)
    assert chosen.before == 0.0
    assert chosen.after == 0.0


def test_a_raised_wheel_above_the_rail_is_no_reading_to_ask_for() -> None:
    found = estimate(lark())
    bench = ReadingModel(found.car, found.seats, candidates(found))
    shown = dict(zip(candidates(found), bench.predict(found.values[None, :])[0].tolist(), strict=True))
    chosen = next_reading(found, weights=WEIGHTS)
    for each, value in shown.items():
        if value > 100.0:
            assert (chosen.kind, chosen.station) != (each.kind, each.station)
