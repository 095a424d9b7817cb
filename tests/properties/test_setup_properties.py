"""What must hold for the advice on any car: it lands, it mirrors, it never breaks or asks for nothing."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, assume, given, reject, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from rollwright.car import Car, Station, parse_car
from rollwright.car.dimensions import dimension_names, dimension_of, with_dimensions
from rollwright.errors import InputError
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity, Source
from rollwright.scenario.club import file_text
from rollwright.scenario.simulate import SimulatedCar
from rollwright.setup.advice import Advice, advise
from rollwright.setup.estimate import estimate
from rollwright.setup.hand import Hand
from rollwright.setup.outcome import MoveKind
from rollwright.setup.plan_moves import plan_moves
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import System

MM, DEG = 1e-3, math.pi / 180.0
NEVER_MISSES = Hand(bend=1e-12, turn=1e-12, relief=1e-12, washer=1e-12, shim=1e-12)
LARK, HERON = (parse_car(file_text(f"{name}.toml")) for name in ("lark", "heron"))
ORDER = list(MoveKind)
SLOW = settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.too_slow])


def between(low: float, high: float, *, unit: float = 1.0) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda value: value * unit)


VALUES = st.fixed_dictionaries(
    {
        "body.width": between(45.5, 54.0, unit=MM),
        "body.wheelbase": between(112.0, 140.0, unit=MM),
        "front_left.hole_height": between(8.6, 10.4, unit=MM),
        "front_left.cant": between(-1.5, 1.5, unit=DEG),
        "front_left.sweep": between(-1.0, 1.0, unit=DEG),
        "front_left.washer": st.sampled_from([0.0, 0.0, 0.02 * MM, 0.5 * MM, 1.5 * MM]),
        "front_right.hole_height": between(11.0, 12.5, unit=MM),
        "rear_left.hole_height": between(8.7, 9.3, unit=MM),
        "rear_right.hole_height": between(8.7, 9.3, unit=MM),
    }
)
PIN = st.fixed_dictionaries(
    {
        "front_left.bend": st.one_of(st.just(0.0), between(0.3, 7.0, unit=DEG)),
        "front_left.clock": st.one_of(between(-60.0, 60.0, unit=DEG), between(-180.0, 180.0, unit=DEG)),
    }
)


def mirrored(car: Car) -> Car:
    drift = car.targets.drift
    return replace(
        car,
        corners={station: car.corners[station.opposite] for station in Station},
        dominant=car.dominant.opposite,
        targets=replace(car.targets, drift=replace(drift, value=-drift.value)),
    )


@st.composite
def cars(draw: st.DrawFn) -> Car:
    """Return a car whose dominant wheel stands on the ground."""
    straight_class = draw(st.integers(0, 4)) == 0
    base = HERON if straight_class else LARK
    values = draw(VALUES) | ({} if straight_class else draw(PIN))
    car = with_dimensions(
        base, {name: replace(dimension_of(base, name), value=value) for name, value in values.items()}
    )
    if draw(st.booleans()):
        car = mirrored(car)
    try:
        assume(car.dominant in stance(car).carrying)
    except InputError:
        reject()
    return car


def read(kind: ReadingKind, value: float, uncertainty: float) -> Reading:
    quantity = Quantity(value=value, uncertainty=uncertainty, source=Source.MEASURED)
    return Reading(kind=kind, quantity=quantity, where=kind.words)


@st.composite
def readings_of(draw: st.DrawFn, car: Car) -> Sequence[Reading]:
    """Return some readings of the car as described, each off by a few of its uncertainties."""
    now = stance(car)
    gates = {
        ReadingKind.HEIGHT_DIFFERENCE: (now.height_difference, 0.04 * MM),
        ReadingKind.DRIFT: (now.drift.lateral or 0.0, 2.5 * MM),
        ReadingKind.RAIL_OFFSET: (now.rail_offset or 0.0, 0.04 * MM),
    }
    chosen = draw(st.lists(st.sampled_from(list(gates)), max_size=5))
    return [
        read(kind, gates[kind][0] + draw(between(-3.0, 3.0)) * gates[kind][1], gates[kind][1])
        for kind in chosen
    ]


@st.composite
def cases(draw: st.DrawFn) -> tuple[Car, Sequence[Reading]]:
    car = draw(cars())
    return car, draw(readings_of(car))


def answered(car: Car, readings: Sequence[Reading], *, hand: Hand | None = None) -> Advice:
    try:
        return advise(car, readings, hand=hand)
    except InputError:
        reject()


def off(car: Car, gates: NDArray[np.float64]) -> float:
    """Return the sum of squares of what is left, each gate quantity in its tolerances."""
    targets = (car.targets.height_difference, car.targets.drift, car.targets.rail_offset)
    return sum(
        ((float(gate) - target.value) / target.tolerance) ** 2
        for gate, target in zip(gates, targets, strict=True)
    )


def made(advice: Advice) -> SimulatedCar:
    """Return the car as estimated with the moves made by a hand that never misses."""
    start = SimulatedCar(car=advice.estimate.car, values=advice.estimate.values)
    return start.after(advice.plan.moves, np.random.default_rng(0), hand=NEVER_MISSES)


@SLOW
@given(cases())
def test_whatever_is_asked_leads_where_it_is_said_to_lead_and_nearer(
    case: tuple[Car, Sequence[Reading]],
) -> None:
    car, readings = case
    advice = answered(car, readings)
    after = made(advice)
    clock = dimension_names().index(f"{car.dominant.value}.clock")
    others = np.arange(len(after.values)) != clock
    np.testing.assert_allclose(after.values[others], advice.plan.values[others], atol=1e-9)
    turned = math.remainder(float(after.values[clock] - advice.plan.values[clock]), 2.0 * math.pi)
    assert abs(turned) < 1e-9
    if advice.plan.moves:
        np.testing.assert_allclose(after.gates(), advice.plan.outcome.means, atol=1e-7)
        if not any(each.gate == "steer" for each in advice.plan.cannot):
            assert off(car, advice.plan.outcome.means) < off(car, advice.estimate.gates)


@SLOW
@given(cases(), st.sampled_from(list(System)))
def test_every_answer_is_plain_data_and_every_move_a_whole_order(
    case: tuple[Car, Sequence[Reading]], system: System
) -> None:
    car, readings = case
    try:
        advice = advise(car, readings, system=system)
    except InputError:
        reject()
    json.dumps(advice.as_json(), allow_nan=False)
    hand = Hand()
    places = [ORDER.index(move.kind) for move in advice.plan.moves]
    assert places == sorted(places)
    assert len({(move.kind, move.station) for move in advice.plan.moves}) == len(places)
    for move, told in zip(advice.plan.moves, advice.instructions, strict=True):
        assert abs(move.by) >= getattr(hand, move.kind.value) * (1.0 - 1e-12)
        assert (move.station is car.dominant) or (move.kind is MoveKind.SHIM and not move.station.is_front)
        assert all((told.text, told.direction, told.seen_from, told.effect, told.check, told.leave_alone))
        if move.kind is MoveKind.RELIEF:
            assert move.by > 0.0
        if not car.bent_axles:
            assert move.kind not in {MoveKind.BEND, MoveKind.TURN}
    for probability in (*advice.plan.outcome.probabilities, advice.plan.outcome.joint):
        assert 0.0 <= probability <= 1.0
    assert all(advice.estimate.dimension(f"{station.value}.bend").value >= 0.0 for station in Station)
    for budget in advice.estimate.budgets.values():
        assert abs(sum(part.share for part in budget) - 1.0) < 1e-9
    silent = not (advice.plan.moves or advice.plan.notes or advice.plan.cannot)
    if silent:
        assert all(verdict.state.value == "pass" for verdict in advice.verdicts.values())


@settings(SLOW, max_examples=30)
@given(cases())
def test_a_mirrored_car_gets_the_mirrored_answer(case: tuple[Car, Sequence[Reading]]) -> None:
    car, readings = case
    flipped = [
        replace(each, quantity=replace(each.quantity, value=-each.quantity.value))
        if each.kind is ReadingKind.DRIFT
        else each
        for each in readings
    ]
    one, other = answered(car, readings), answered(mirrored(car), flipped)
    assert len(one.plan.moves) == len(other.plan.moves)
    swap = {"clockwise": "counter-clockwise", "counter-clockwise": "clockwise"}
    pairs = {
        (move.kind, move.station): (move, told)
        for move, told in zip(other.plan.moves, other.instructions, strict=True)
    }
    for move, told in zip(one.plan.moves, one.instructions, strict=True):
        again, retold = pairs[move.kind, move.station.opposite]
        assert abs(again.by - move.by) < 1e-8
        assert retold.direction == swap.get(told.direction, told.direction)
        words = f" {told.text} {told.effect} "
        words = words.replace("counter-clockwise", "#").replace("clockwise", "counter-clockwise")
        words = words.replace("#", "clockwise")
        words = words.replace("left", "#").replace("right", "left").replace("#", "right")
        assert f" {retold.text} {retold.effect} " == words
    np.testing.assert_allclose(
        one.plan.outcome.means * np.array([1.0, -1.0, 1.0]), other.plan.outcome.means, atol=1e-7
    )


@settings(SLOW, max_examples=40)
@given(cases(), between(1.1, 30.0))
def test_a_weaker_gauge_never_leaves_more_known(case: tuple[Car, Sequence[Reading]], factor: float) -> None:
    car, readings = case
    # Read as expected, so that the comparison is made at one and the same place.
    try:
        expected = estimate(car)
        values = dict(
            zip(("height_difference", "drift", "rail_offset"), expected.gates.tolist(), strict=True)
        )
        sharp = [
            replace(each, quantity=replace(each.quantity, value=values[each.kind.value])) for each in readings
        ]
        blunt = [
            replace(each, quantity=replace(each.quantity, uncertainty=factor * each.quantity.uncertainty))
            for each in sharp
        ]
        narrow, wide = estimate(car, sharp), estimate(car, blunt)
    except InputError:
        reject()
    assert np.all(np.diag(wide.gate_covariance) >= np.diag(narrow.gate_covariance) * (1.0 - 1e-6))
    assert np.all(wide.deviations >= narrow.deviations * (1.0 - 1e-6))
    assert np.all(np.diag(wide.gate_covariance) <= np.diag(expected.gate_covariance) * (1.0 + 1e-6))


@settings(SLOW, max_examples=40)
@given(cars())
def test_what_has_landed_is_left_alone(car: Car) -> None:
    """Advice taken by a sure hand on a well-known car needs no second round for what it set out to do."""
    sure = with_dimensions(
        car,
        {name: replace(dimension_of(car, name), uncertainty=0.0) for name in dimension_names()}
        | {"rail.width": replace(dimension_of(car, "rail.width"), uncertainty=1e-8)},
    )
    try:
        first = estimate(sure)
        plan = plan_moves(first)
        assume(not plan.cannot)
        after = SimulatedCar(car=first.car, values=plan.values)
        names = dimension_names()
        landed = with_dimensions(
            sure,
            {
                name: replace(dimension_of(sure, name), value=float(after.values[index]))
                for index, name in enumerate(names)
                if after.values[index] != first.values[index]
            },
        )
        second = plan_moves(estimate(landed))
    except InputError:
        reject()
    before, then = off(car, first.gates), off(car, second.outcome.means)
    assert then <= before + 1e-9
    repeated = {move.kind for move in second.moves} & {MoveKind.BEND, MoveKind.SHIM}
    assert not repeated
