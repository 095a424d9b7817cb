"""The whole answer: where the car is, what it passes, what to do next, what to read next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.assumed import assumed_for_stance, assumed_for_targets
from rollwright.car.dimensions import dimension_names, dimension_of, matters
from rollwright.car.model import Car, Target
from rollwright.judge.verdict import Verdict, judge
from rollwright.setup.doubts import doubts_about, suspected_slips
from rollwright.setup.estimate import Estimate, Prior, estimate, prior_of
from rollwright.setup.hand import Hand
from rollwright.setup.instruction import Instruction, instruction_for
from rollwright.setup.next_reading import NextReading, next_reading
from rollwright.setup.plan_moves import Move, Plan, plan_moves
from rollwright.setup.predict import GATE_QUANTITIES, GATE_READINGS, ReadingModel
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import System

if TYPE_CHECKING:
    from rollwright.setup.outcome import Outcome

__all__ = ["GATES", "Advice", "advise"]

GATES = ("level", "steer", "centre")
"""Names of the gates that height difference, drift and rail offset decide, in that order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to do next, and why.

    Attributes:
        car: the car as described.
        estimate: where it really is.
        verdicts: on `level`, `steer` and `centre`.
        read: which of those gates a reading of its own speaks for; the others rest on the model.
        plan: the moves.
        instructions: the same in words, in the same order.
        measure_next: the single reading that would narrow the verdicts most.
        block_corrections: what the model added to each reading on the centring block, and its standard
            uncertainty [m], by the reading's name.
        warnings: readings that disagree, wheels that carry where they should not.
        suspects: names of the readings that look like a slip of the pen.
        assumed: keys of the assumed values that all this rests on.
    """

    car: Car
    estimate: Estimate
    verdicts: Mapping[str, Verdict]
    read: Mapping[str, bool]
    plan: Plan
    instructions: tuple[Instruction, ...]
    measure_next: NextReading
    block_corrections: Mapping[str, tuple[float, float]]
    warnings: tuple[str, ...]
    suspects: tuple[str, ...]
    assumed: tuple[str, ...]

    @property
    def missed(self) -> tuple[str, ...]:
        """Gates whose targets the plan does not reach, for a reason that `plan.cannot` names."""
        chance = dict(zip(GATES, self.plan.outcome.probabilities, strict=True))
        return tuple(each.gate for each in self.plan.cannot if chance[each.gate] < 0.5)

    def as_json(self) -> dict[str, object]:
        """Return the advice as plain data in SI units, with the keys that `docs/json-output.md` lists."""
        estimate = self.estimate
        return {
            "estimate": {
                name: {"value": float(value), "uncertainty": dimension_of(estimate.car, name).uncertainty}
                for name, value in zip(dimension_names(), estimate.values, strict=True)
                if matters(estimate.car, name)
            },
            "verdicts": {
                gate: {
                    "quantity": quantity,
                    "state": verdict.state.value,
                    "value": verdict.value,
                    "uncertainty": verdict.uncertainty,
                    "probability": verdict.probability,
                    "low": verdict.low,
                    "high": verdict.high,
                    "read": self.read[gate],
                    "budget": [
                        {"name": part.name, "contribution": part.contribution, "share": part.share}
                        for part in estimate.budgets[quantity][:6]
                    ],
                }
                for (gate, verdict), quantity in zip(self.verdicts.items(), GATE_QUANTITIES, strict=True)
            },
            "moves": [
                _move_json(move, told) for move, told in zip(self.plan.moves, self.instructions, strict=True)
            ],
            "predicted": {**_outcome_json(self.plan.outcome), "joint_probability": self.plan.outcome.joint},
            "cannot": [
                {"gate": each.gate, "reason": each.reason, "change": each.change} for each in self.plan.cannot
            ],
            "notes": [*self.plan.notes, *estimate.notes],
            "warnings": list(self.warnings),
            "suspects": list(self.suspects),
            "measure_next": self.measure_next.as_json(),
            "block_corrections": {
                where: {"value": value, "uncertainty": uncertainty}
                for where, (value, uncertainty) in self.block_corrections.items()
            },
            "misfit_probability": estimate.misfit_probability,
            "seats": {station.value: seat.value for station, seat in estimate.seats.items()},
            "assumed": list(self.assumed),
        }


def _outcome_json(outcome: Outcome) -> dict[str, object]:
    return {
        name: {
            "value": float(outcome.means[index]),
            "uncertainty": float(outcome.deviations[index]),
            "probability": outcome.probabilities[index],
        }
        for index, name in enumerate(GATE_QUANTITIES)
    }


def _move_json(move: Move, told: Instruction) -> dict[str, object]:
    return {
        "kind": move.kind.value,
        "station": move.station.value,
        "by": move.by,
        "ask": move.ask,
        "aim": told.ask,
        "to": move.to,
        "direction": told.direction,
        "text": told.text,
        "seen_from": told.seen_from,
        "effect": told.effect,
        "check": told.check,
        "caution": told.caution,
        "leave_alone": told.leave_alone,
        "for": GATES[move.gate],
        "expected": {
            "quantity": GATE_QUANTITIES[move.gate],
            "value": float(move.after.means[move.gate]),
            "uncertainty": float(move.after.deviations[move.gate]),
            "probability": move.after.probabilities[move.gate],
        },
        "read_again": list(told.read_again),
    }


def advise(
    car: Car,
    readings: Sequence[Reading] = (),
    *,
    hand: Hand | None = None,
    prior: Prior | None = None,
    sand: bool = True,
    system: System = System.METRIC,
) -> Advice:
    """Return where a car is, what to do next and by how much.

    Args:
        car: the car as its file describes it.
        readings: what was read at the bench.
        hand: how closely the builder's hand hits what is asked; left out, an ordinary one.
        prior: what earlier rounds left known of the car; left out, its file.
        sand: whether wood may be taken off; not while a reading is stale that it would rest on.
        system: units of the instructions' words; all numbers are SI.

    Returns:
        The advice.

    Raises:
        CarCannotRest: the car as described cannot stand.
        ReadingUnusable: a reading is impossible on this car.
    """
    found = estimate(car, readings, prior=prior)
    able = Hand() if hand is None else hand
    plan = plan_moves(found, hand=able, sand=sand)
    targets = [getattr(car.targets, name) for name in GATE_QUANTITIES]
    spread = np.sqrt(np.diag(found.gate_covariance))
    verdicts = {
        gate: judge(
            value=float(found.gates[index]),
            uncertainty=float(spread[index]),
            low=targets[index].low,
            high=targets[index].high,
        )
        for index, gate in enumerate(GATES)
    }
    kinds = {reading.kind for reading in readings}
    bench = ReadingModel(found.car, found.seats, tuple(readings))
    described, before = replace(bench, car=car), prior_of(car) if prior is None else prior
    slips = suspected_slips(described, before, system=system)
    return Advice(
        car=car,
        estimate=found,
        verdicts=verdicts,
        read={gate: bool(kinds & own) for gate, own in zip(GATES, GATE_READINGS, strict=True)},
        plan=plan,
        instructions=_told(plan, targets, system),
        measure_next=next_reading(
            found,
            # What is least sure to be inside once the moves are made is what a reading should narrow.
            weights=np.array(
                [
                    (1.0 - plan.outcome.probabilities[index] + 1e-3) / targets[index].tolerance ** 2
                    for index in range(3)
                ]
            ),
            system=system,
        ),
        block_corrections={
            reading.where: bench.block_correction(found.values, found.root, reading)
            for reading in readings
            if reading.kind is ReadingKind.BLOCK_OFFSET
        },
        warnings=doubts_about(
            found, bench=described, prior=before, slips=tuple(said for _, said in slips), system=system
        ),
        suspects=tuple(where for where, _ in slips),
        assumed=(
            *assumed_for_stance(car),
            *assumed_for_targets(car),
            *(name for reading in readings for name in reading.assumed),
        ),
    )


def _told(plan: Plan, targets: Sequence[Target], system: System) -> tuple[Instruction, ...]:
    return tuple(instruction_for(move, target=targets[move.gate].value, system=system) for move in plan.moves)
