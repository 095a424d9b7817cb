"""Use cases of a logged car as a whole: how its gates stand, and what to do next."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

from rollwright.bench import CarStarted, HoleDrilled, Recorded
from rollwright.bench.fold import Change, Folded, Gate, GateState, Standing
from rollwright.bench.gates import ITEMISED, Item
from rollwright.errors import InputError, ReadingUnusable
from rollwright.judge.verdict import State, Verdict
from rollwright.setup.advice import Advice, advise
from rollwright.setup.balance import Discord
from rollwright.setup.hand import Hand
from rollwright.setup.roll_cause import Cause, causes_of
from rollwright.setup.stop import Stop, Stopping, stopping
from rollwright.units import System
from rollwright.workbench import Advised
from rollwright.workbench.log_enter import folded, gates_json, known_car, open_log, rolled_in
from rollwright.workbench.log_step import READINGS, Step, step_of, to_read

__all__ = [
    "Change",
    "Gate",
    "GateState",
    "Item",
    "Next",
    "Standing",
    "Step",
    "Stop",
    "Stopping",
    "Where",
    "class_json",
    "gate_json",
    "next_moves",
    "where",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """How a car stands.

    Attributes:
        car: its id.
        found: what its log adds up to.
        rolled: what the slow roll that still counts showed, or empty.
        causes: why the car did that, the likeliest first; none where it held, or was moved since.
        step: what to do next.
        stopping: whether another round is worth it; None where that cannot be told.
    """

    car: str
    found: Folded
    rolled: str
    causes: tuple[Cause, ...]
    step: Step
    stopping: Stopping | None

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "car": self.car,
            "name": self.found.known.car.name,
            "retired": self.found.retired or None,
            "gates": gates_json(self.found),
            "trouble": self.found.trouble or None,
            "discord": _discord_json(self.found.discord),
            "rolled": self.rolled or None,
            "causes": [cause.as_json() for cause in self.causes],
            "next": asdict(self.step),
            "stop": _stop_json(self.stopping),
            "hand": _hand_json(self.found.hand),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """The `advised` moves for a car of the log, the gates that rest on no reading, and `stopping`."""

    car: str
    advised: Advised
    found: Folded
    stopping: Stopping

    @property
    def unread(self) -> tuple[GateState, ...]:
        """The gates with a number that must be read, again or for the first time."""
        return tuple(self.found.gates[gate] for gate in READINGS if to_read(self.found.gates[gate]))

    @property
    def held(self) -> bool:
        """Whether something has to be settled before anything is moved."""
        return held(self.found)

    @property
    def stale(self) -> tuple[str, ...]:
        """Names of the gates with a number that were read once and must be read again."""
        return tuple(state.gate.value for state in self.unread if state.read_at)

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "car": self.car,
            **self.advised.as_json(),
            "gates": gates_json(self.found),
            "stop": _stop_json(self.stopping),
            "hand": _hand_json(self.found.hand),
        }


def _discord_json(odd: Discord | None) -> dict[str, object] | None:
    if odd is None:
        return None
    return {
        "where": odd.pan.value,
        "shown": odd.shown,
        "expected": odd.expected,
        "against": [each.value for each in odd.against],
        "probability": odd.probability,
    }


def _stop_json(stopping: Stopping | None) -> dict[str, object] | None:
    if stopping is None:
        return None
    return {
        "stop": stopping.stop.value,
        "reason": stopping.reason,
        "chance": stopping.chance,
        "rounds": stopping.rounds if math.isfinite(stopping.rounds) else None,
    }


def _hand_json(hand: Hand) -> dict[str, object]:
    return {
        kind: {"factor": factor.value, "uncertainty": factor.uncertainty, "moves": factor.moves}
        for kind, factor in hand.factors.items()
    }


def gate_json(state: GateState) -> dict[str, object]:
    """Return how a gate stands as plain data in SI units."""
    numbers = state.gate in READINGS
    return {
        "standing": state.standing.value,
        "passed": state.passed,
        "state": None if state.verdict is None else state.verdict.state.value,
        "read_at": state.read_at or None,
        "verdict": _verdict_json(state.verdict) if numbers else None,
        "now": _verdict_json(state.now) if numbers else None,
        "shift": state.shift if numbers and state.read_at else None,
        "reasons": [{"entry": each.seq, "what": each.words} for each in state.reasons],
        "items": [_item_json(item) for item in state.items] if state.gate in ITEMISED else None,
        "before_trim": list(state.before_trim),
        "doubt": None if state.doubt is None else state.doubt.words,
    }


def class_json(where: Where) -> dict[str, object]:
    """Return the class that a car is inspected by, as plain data."""
    rules = where.found.rules
    return {"class": None if rules is None else rules.name}


def _item_json(item: Item) -> dict[str, object]:
    return {
        "name": item.name,
        "standing": item.standing.value,
        "state": None if item.state is None else item.state.value,
        "passed": item.passed,
        "needed": item.needed,
        "found": item.words or None,
        "verdict": _verdict_json(item.verdict) if item.kind is not None else None,
        "read_at": item.read_at or None,
        "reasons": [{"entry": each.seq, "what": each.words} for each in item.reasons],
    }


def _verdict_json(verdict: Verdict | None) -> dict[str, object] | None:
    if verdict is None:
        return None
    return {
        "state": verdict.state.value,
        "value": verdict.value,
        "uncertainty": verdict.uncertainty,
        "probability": verdict.probability,
        "low": verdict.low if math.isfinite(verdict.low) else None,
        "high": verdict.high if math.isfinite(verdict.high) else None,
    }


def where(log: str | os.PathLike[str], car: str, *, system: System = System.METRIC) -> Where:
    """Return how a car of the log stands, and the one next step.

    Args:
        log: path of the log.
        car: the car's id.
        system: units of the words.

    Returns:
        The gates and the step.

    Raises:
        InputError: there is no such log or car, or the log does not add up.
    """
    name, entries, found = _car(log, car)
    # The moves are solved once, and only if anything asks for them.
    advice = cache(lambda: _advice(found, system))
    rolled = rolled_in(entries, found)
    drilled = any(
        isinstance(entry.event, HoleDrilled) and entry.seq not in found.withdrawn for entry in entries
    )
    # A roll tells why a car stood as it did then, not as it stands after a move.
    why = rolled if found.gates[Gate.ROLL].standing is Standing.HOLDS else ""
    return Where(
        car=name,
        found=found,
        rolled=rolled,
        causes=causes_of(why, found.estimate, system=system) if why and found.estimate else (),
        step=step_of(name, found, advice=advice, drilled=drilled, system=system),
        stopping=_stopping(found, advice),
    )


def _stopping(found: Folded, advice: Callable[[], Advice]) -> Stopping | None:
    read = [found.gates[gate] for gate in READINGS]
    if found.retired or found.estimate is None or any(not state.read_at for state in read):
        return None
    try:
        return stopping(advice(), passed=all(state.passed for state in read))
    except InputError:
        return None


def next_moves(log: str | os.PathLike[str], car: str, *, system: System = System.METRIC) -> Next:
    """Return the next moves for a car of the log.

    Args:
        log: path of the log.
        car: the car's id.
        system: units of the words.

    Returns:
        The advice, and the gates that rest on no reading that still holds.

    Raises:
        InputError: there is no such log or car, or the log does not add up.
    """
    name, entries, found = _car(log, car)
    text = next(entry.event.car_file for entry in entries if isinstance(entry.event, CarStarted))
    if found.estimate is None:
        raise ReadingUnusable(
            found.trouble or "where this car is cannot be told",
            mend=f"see: rollwright log where {name}",
            file=Path(log).name,
            key=name,
        )
    advice = _advice(found, system)
    return Next(
        car=name,
        advised=Advised(car=found.known.car, text=text, hand=found.hand, advice=advice),
        found=found,
        stopping=stopping(advice, passed=all(found.gates[gate].passed for gate in READINGS)),
    )


def _car(log: str | os.PathLike[str], car: str) -> tuple[str, list[Recorded], Folded]:
    with open_log(log) as store:
        name = known_car(store, car)
        entries = list(store.events(name))
        return name, entries, folded(store, entries)


def held(found: Folded) -> bool:
    """Return whether something has to be settled before anything is moved."""
    torn = any(
        item.state is State.UNCLEAR and "disagree" in item.words for item in found.gates[Gate.DRILL].items
    )
    return torn or bool(found.forbidden) or any(found.gates[gate].doubt is not None for gate in READINGS)


def _advice(found: Folded, system: System) -> Advice:
    # Advice knows only the readings since the last change, and the log those before it too.
    read = {gate.value: not to_read(found.gates[gate]) for gate in READINGS}
    advice = advise(
        found.known.car,
        found.readings,
        hand=found.hand,
        prior=found.known.prior,
        # Wood does not come back, so that none goes on what the model only expects.
        sand=all(read.values()) and not found.gates[Gate.CENTRE].lone,
        system=system,
    )
    if held(found):
        # Nothing is moved before readings that contradict each other, or a forbidden bend, are settled.
        plan = replace(advice.plan, moves=(), cannot=(), notes=())
        advice = replace(advice, plan=plan, instructions=())
    if not found.changes:
        return replace(advice, read=read)
    # After a change the estimate's notes would call what earlier readings told the car file's word.
    return replace(advice, read=read, estimate=replace(advice.estimate, notes=()))
