"""Use cases of a logged car as a whole: how its gates stand, and what to do next."""

from __future__ import annotations

import math
import os
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.bench import CarStarted, Recorded
from rollwright.bench.fold import Change, Folded, Gate, GateState, Standing
from rollwright.errors import InputError, ReadingUnusable
from rollwright.judge.verdict import Verdict
from rollwright.setup.advice import Advice, advise
from rollwright.setup.hand import Hand
from rollwright.setup.outcome import MoveKind
from rollwright.units import System
from rollwright.workbench import Advised
from rollwright.workbench.log import folded, gates_json, known_car, open_log, rolled_in

if TYPE_CHECKING:
    from rollwright.setup.plan_moves import Move

__all__ = [
    "Change",
    "Gate",
    "GateState",
    "Next",
    "Standing",
    "Step",
    "Where",
    "gate_json",
    "next_moves",
    "where",
]

_READINGS = {
    Gate.LEVEL: ("height difference", "height_difference"),
    Gate.STEER: ("drift", "drift"),
    Gate.CENTRE: ("rail offset", "rail_offset"),
}
_WORDS = {MoveKind.RELIEF: "sand", MoveKind.SHIM: "shim", MoveKind.WASHER: "washer"}
_WORDS |= {MoveKind.BEND: "bend", MoveKind.TURN: "turn"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The one next step.

    Attributes:
        kind: `read`, `move`, `roll`, `stuck` where no allowed move helps, or `none`.
        text: what to do, in one sentence.
        command: how to enter it, or empty.
        effect: what a move does to the car, or empty.
        caution: what can hurt, or empty.
    """

    kind: str
    text: str
    command: str = ""
    effect: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """How a car stands.

    Attributes:
        car: its id.
        found: what its log adds up to.
        rolled: what the slow roll that still counts showed, or empty.
        step: what to do next.
    """

    car: str
    found: Folded
    rolled: str
    step: Step

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "car": self.car,
            "name": self.found.known.car.name,
            "retired": self.found.retired or None,
            "gates": gates_json(self.found),
            "trouble": self.found.trouble or None,
            "rolled": self.rolled or None,
            "next": asdict(self.step),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """The `advised` moves for a car of the log, and the gates that rest on stale or no readings."""

    car: str
    advised: Advised
    found: Folded

    @property
    def unread(self) -> tuple[GateState, ...]:
        """The gates with a number that must be read, again or for the first time."""
        return tuple(self.found.gates[gate] for gate in _READINGS if _to_read(self.found.gates[gate]))

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {"car": self.car, **self.advised.as_json(), "gates": gates_json(self.found)}


def _to_read(state: GateState) -> bool:
    return state.standing in {Standing.READ_AGAIN, Standing.NEVER_READ}


def gate_json(state: GateState) -> dict[str, object]:
    """Return how a gate stands as plain data in SI units."""
    numbers = state.gate in _READINGS
    return {
        "standing": state.standing.value,
        "passed": state.passed,
        "read_at": state.read_at or None,
        "verdict": _verdict_json(state.verdict) if numbers else None,
        "now": _verdict_json(state.now) if numbers else None,
        "shift": state.shift if numbers and state.read_at else None,
        "reasons": [{"entry": each.seq, "what": each.words} for each in state.reasons],
    }


def _verdict_json(verdict: Verdict | None) -> dict[str, object] | None:
    if verdict is None:
        return None
    return {
        "state": verdict.state.value,
        "value": verdict.value,
        "uncertainty": verdict.uncertainty,
        "probability": verdict.probability,
        "low": verdict.low,
        "high": verdict.high,
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
    return Where(
        car=name,
        found=found,
        rolled=rolled_in(entries, found),
        step=_step(name, found, system),
    )


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
    advised = Advised(car=found.known.car, text=text, hand=Hand(), advice=_advice(found, system))
    return Next(car=name, advised=advised, found=found)


def _car(log: str | os.PathLike[str], car: str) -> tuple[str, list[Recorded], Folded]:
    with open_log(log) as store:
        name = known_car(store, car)
        entries = list(store.events(name))
        return name, entries, folded(store, entries)


def _advice(found: Folded, system: System) -> Advice:
    advice = advise(found.known.car, found.readings, prior=found.known.prior, system=system)
    # Advice knows only the readings since the last change, and the log those before it too.
    read = {gate.value: not _to_read(found.gates[gate]) for gate in _READINGS}
    if not found.changes:
        return replace(advice, read=read)
    # After a change the estimate's notes would call what earlier readings told the car file's word.
    return replace(advice, read=read, estimate=replace(advice.estimate, notes=()))


def _read_step(car: str, state: GateState) -> Step:
    words, kind = _READINGS[state.gate]
    again = "" if state.standing is Standing.NEVER_READ else " again"
    return Step(
        kind="read", text=f"Read the {words}{again}.", command=f"rollwright log read {car} {kind} VALUE"
    )


def _step(car: str, found: Folded, system: System) -> Step:
    """Return the next step: read what never was, move, and before wood goes read all that went stale."""
    if found.retired:
        return Step(kind="none", text="It is retired; nothing is to be done.")
    if found.estimate is None:
        text = "Check what was entered last, and take it back if it is wrong."
        return Step(kind="stuck", text=text, command=f"rollwright log undo {car} --because TEXT")
    gates = [found.gates[gate] for gate in _READINGS]
    for state in gates:
        if state.standing is Standing.NEVER_READ:
            return _read_step(car, state)
    try:
        advice = _advice(found, system)
    except InputError as error:
        return Step(kind="stuck", text=f"No advice can be given: {error.problem}; {error.mend}.")
    return _step_by_reading_and_moving(car, gates, advice, system) or _last_step(car, found)


def _step_by_reading_and_moving(
    car: str, gates: list[GateState], advice: Advice, system: System
) -> Step | None:
    stale = [state for state in gates if _to_read(state)]
    moves = advice.plan.moves
    # Sanded wood does not come back, so it waits for fresh readings; everything else can be taken back.
    if moves and (moves[0].kind is not MoveKind.RELIEF or not stale):
        told = advice.instructions[0]
        return Step(
            kind="move",
            text=told.text,
            command=_entering(car, moves[0], system),
            effect=told.effect,
            caution=told.caution,
        )
    if stale:
        return _read_step(car, stale[0])
    if advice.plan.cannot:
        first = advice.plan.cannot[0]
        text = f"{first.gate.capitalize()} cannot be met: {first.reason}. To change that: {first.change}."
        return Step(kind="stuck", text=text)
    if all(state.passed for state in gates):
        return None
    return Step(kind="read", text=advice.measure_next.text)


def _last_step(car: str, found: Folded) -> Step:
    rolling = found.gates[Gate.ROLL]
    if rolling.passed:
        return Step(kind="none", text="Leave it as it is: every gate is passed.")
    again = "" if rolling.standing is Standing.NEVER_READ else " again"
    return Step(
        kind="roll",
        text=f"Roll it{again} slowly down a lane and see whether it holds the rail.",
        command=f"rollwright log roll {car} holds|leaves|tail_left|tail_right",
    )


def _entering(car: str, move: Move, system: System) -> str:
    """Return the command that enters a move once it is made as asked."""
    if move.kind in {MoveKind.BEND, MoveKind.TURN}:
        amount = f"{abs(math.degrees(move.by)):.4g} deg"
    elif system is System.INCH:
        amount = f"{abs(move.by) / 25.4e-6:.3g} thou"
    else:
        amount = f"{abs(move.by) * 1e3:.3g} mm"
    clockwise = move.by * move.station.side > 0.0
    direction = {
        MoveKind.BEND: " more" if move.by > 0.0 else " less",
        MoveKind.TURN: " clockwise" if clockwise else " counter-clockwise",
        MoveKind.WASHER: " added" if move.by > 0.0 else " removed",
    }.get(move.kind, "")
    at = f"{_WORDS[move.kind]} {move.station.value}"
    return f'rollwright log did {car} {at} "{amount}{direction}"'
