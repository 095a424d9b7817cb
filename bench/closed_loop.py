"""The advice in a closed loop: simulated cars, noisy gauges, imperfect hands, one and two rounds.

Every car starts from the demo club's description and differs from it as a drilled body would. Each
round reads height difference, drift and rail offset once, asks for moves and makes them with errors.
Beside it runs the same loop with each gate put right on its own, as if the others did not exist.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rollwright.car import Car, parse_car
from rollwright.judge.verdict import CONFIDENCE
from rollwright.scenario.club import file_text
from rollwright.scenario.simulate import SimulatedCar, draw_car
from rollwright.setup.estimate import Estimate, Prior, estimate
from rollwright.setup.hand import Hand
from rollwright.setup.knobs import AdjustableCar, Setting
from rollwright.setup.outcome import MoveKind, Outcome, outcome_of, targets_of
from rollwright.setup.plan_moves import Move, Plan, after_moves, plan_moves

HAND = Hand(bend=math.radians(0.1), turn=math.radians(1.0), relief=0.05e-3)
"""How closely the simulated hands hit what is asked, one standard deviation."""

METHODS: Mapping[str, Callable[[Estimate], Plan]]


def demo_car(name: str = "lark") -> Car:
    """Return one of the demo club's cars as its file describes it."""
    return parse_car(file_text(f"{name}.toml"))


class _Alone:
    """Each gate put right alone, from the same readings and with the same care about sanding."""

    def __init__(self, found: Estimate) -> None:
        self.found = found
        self.bench = AdjustableCar(car=found.car, seats=found.seats, values=found.values)
        self.present = self.bench.present()
        now = outcome_of(self.bench, self.present, root=found.root, hand=HAND, moved=frozenset())
        assert now is not None
        self.now: Outcome = now
        self.wanted, _ = targets_of(found.car.targets)
        self.setting: Setting = self.present
        self.moves: list[Move] = []

    def plan(self) -> Plan:
        """Return bend for level, turn for drift and trim for the rail, none knowing of the others."""
        for gate, act in enumerate((self._bend, self._turn, self._trim)):
            error = abs(float(self.now.means[gate] - self.wanted[gate]))
            off = self.now.probabilities[gate] < CONFIDENCE and error >= float(self.now.deviations[gate])
            if off:
                act()
        values = self.bench.moved(self.setting)
        return Plan(moves=tuple(self.moves), outcome=self.now, cannot=(), notes=(), values=values)

    def _add(self, kind: MoveKind, by: float, gate: int) -> None:
        station = self.found.car.dominant
        self.moves.append(Move(kind=kind, station=station, by=by, to=0.0, ask=by, gate=gate, after=self.now))

    def _bend(self) -> None:
        step = math.radians(0.05)
        more = self.bench.gates(self.bench.moved(self.present.bent_to(self.present.bend + step))[None, :])
        slope = (float(more[0, 0]) - float(self.now.means[0])) / step
        by = max((float(self.wanted[0]) - float(self.now.means[0])) / slope, -self.present.bend)
        if abs(by) >= HAND.bend:
            self._add(MoveKind.BEND, by, 0)
            self.setting = self.setting.bent_to(self.setting.bend + by)

    def _turn(self) -> None:
        turned = self.bench.solve(self.present, knobs=("angle",), targets={1: float(self.wanted[1])})
        if turned is None:
            return
        by = math.remainder(turned.angle - self.present.angle, 2.0 * math.pi)
        if abs(by) >= HAND.turn:
            self._add(MoveKind.TURN, by, 1)
            self.setting = self.setting.turned_to(self.setting.angle + by)

    def _trim(self) -> None:
        aim = float(self.wanted[2])
        if float(self.now.means[2]) > aim:
            aim += 1.645 * math.hypot(float(self.now.deviations[2]), HAND.relief)
        trimmed = self.bench.solve(self.present, knobs=("trim",), targets={2: aim})
        washer, relief = (0.0, 0.0) if trimmed is None else self.bench.trim_parts(trimmed.trim)
        done = 0.0
        if abs(washer) >= HAND.washer:
            self._add(MoveKind.WASHER, washer, 2)
            done += washer
        if relief >= HAND.relief:
            self._add(MoveKind.RELIEF, relief, 2)
            done -= relief
        self.setting = replace(self.setting, trim=done)


METHODS = {
    "together": lambda found: plan_moves(found, hand=HAND),
    "one gate at a time": lambda found: _Alone(found).plan(),
}


def run(
    car: SimulatedCar,
    rng: np.random.Generator,
    *,
    rounds: int,
    method: Callable[[Estimate], Plan],
) -> list[NDArray[np.bool_]]:
    """Return whether each gate is truly inside before the first and after every round."""
    history = [car.inside()]
    prior: Prior | None = None
    for _ in range(rounds):
        found = estimate(car.car, car.read(rng), prior=prior)
        plan = method(found)
        car = car.after(plan.moves, rng, hand=HAND)
        mean, root = after_moves(found, plan, hand=HAND)
        prior = Prior(mean=mean, root=root, sources=tuple(f"z{i}" for i in range(root.shape[1])))
        history.append(car.inside())
    return history


def measure(cars: int, *, seed: int = 11, rounds: int = 2) -> dict[str, NDArray[np.float64]]:
    """Return shares truly inside tolerance by method, each (rounds + 1, 4).

    Args:
        cars: how many cars are drawn; both methods get the same cars and the same noise.
        seed: fixes them.
        rounds: how often the car is read and moved.

    Returns:
        For each method a row before the first and after every round: level, steer, centre, all three.
    """
    described = demo_car()
    shares: dict[str, NDArray[np.float64]] = {}
    for name, method in METHODS.items():
        results = []
        for number in range(cars):
            rng = np.random.default_rng((seed, number))
            results.append(run(draw_car(described, rng), rng, rounds=rounds, method=method))
        array = np.array(results)
        shares[name] = np.concatenate((array, array.all(axis=2, keepdims=True)), axis=2).mean(axis=0)
    return shares
