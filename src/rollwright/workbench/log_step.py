"""The one next step with a logged car: what to read, fit, move, roll or show at the inspection."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.bench.agreed import DOUBTFUL, Doubt
from rollwright.bench.fold import Folded, Gate, GateState, Standing
from rollwright.bench.gates import Item
from rollwright.errors import InputError
from rollwright.judge.class_rules import Rule
from rollwright.judge.inspection import RuleState, RuleVerdict
from rollwright.judge.verdict import State
from rollwright.setup.outcome import MoveKind
from rollwright.units import Kind, System, show

if TYPE_CHECKING:
    from rollwright.setup.advice import Advice
    from rollwright.setup.limits import Cannot
    from rollwright.setup.plan_moves import Move

__all__ = ["READINGS", "Step", "step_of", "to_read"]

READINGS = {
    Gate.LEVEL: ("height difference", "height_difference"),
    Gate.STEER: ("drift", "drift"),
    Gate.CENTRE: ("rail offset", "rail_offset"),
}
"""What is read for each gate with a number: in words, and as the command line calls it."""

_WORDS = {
    MoveKind.RELIEF: "sand",
    MoveKind.SHIM: "shim",
    MoveKind.WASHER: "washer",
    MoveKind.BEND: "bend",
    MoveKind.TURN: "turn",
}
_LOOKS = {
    Rule.BENT_AXLES: ("Look whether its axles are bent.", "straight|bent"),
    Rule.AERODYNAMIC_PARTS: ("Look whether anything on it guides the air.", "none|fitted"),
    Rule.LUBRICANT: ("Say what its wheels are lubricated with.", "KIND"),
}
_MOST_NAMED = 4
_PAIR = 2
_SLIP = 8.0
"""Standard deviations off beyond which one reading of a hole is a slip more likely than a drill."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The one next step.

    Attributes:
        kind: `read`, `fit`, `move`, `roll`, `inspect`, `scrap` where the drilling failed, `stuck` where
            nothing that is allowed helps, or `none`.
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


def to_read(state: GateState) -> bool:
    """Return whether a gate with a number must be read: again, for the first time, or to settle a doubt."""
    return state.doubt is not None or state.standing in {Standing.READ_AGAIN, Standing.NEVER_READ}


def step_of(car: str, found: Folded, *, advice: Callable[[], Advice], drilled: bool, system: System) -> Step:
    """Return the next step: read what never was, move, and before wood goes read all that went stale.

    Args:
        car: the car's id.
        found: what its log adds up to.
        advice: gives the moves; only asked where they are wanted.
        drilled: whether its holes were drilled in this log.
        system: units of the words.

    Returns:
        The step.
    """
    if found.retired:
        return Step(kind="none", text="It is retired; nothing is to be done.")
    if found.estimate is None:
        return _spoilt_step(car, found)
    first = _first_step(car, found, system, drilled=drilled)
    if first is not None:
        return first
    try:
        told = advice()
    except InputError as error:
        return Step(kind="stuck", text=f"No advice can be given: {error.problem}; {error.mend}.")
    gates = [found.gates[gate] for gate in READINGS]
    return _by_reading_and_moving(car, gates, told, system) or _last_step(car, found, system)


def _spoilt_step(car: str, found: Folded) -> Step:
    """Return which entry is to be looked at where the car cannot be told."""
    if not found.spoilt:
        text = "Check what was entered last, and take it back if it is wrong."
        return Step(kind="stuck", text=text, command=f"rollwright log undo {car} --because TEXT")
    words = next((change.words for change in found.changes if change.seq == found.spoilt), "")
    return Step(
        kind="stuck",
        text=f"Check entry {found.spoilt} ({words}): since then the car cannot be told. Take it back if "
        "it is wrong.",
        command=f"rollwright log undo {car} {found.spoilt} --because TEXT",
    )


def _first_step(car: str, found: Folded, system: System, *, drilled: bool) -> Step | None:
    """Return what comes before any move: the holes, everything fitted, and each gate read once."""
    drill = found.gates[Gate.DRILL]
    # A car that comes to the log with its wheels on was judged by its builder; its holes need not be.
    looked_at = drilled or drill.read_at > 0
    hole = _torn_step(car, drill) or _scrap_step(car, found, system)
    if hole is None and looked_at and found.gates[Gate.LEVEL].standing is Standing.NEVER_READ:
        hole = _hole_step(car, drill)
    first = hole or _bent_step(car, found, system)
    if first is not None:
        return first
    for gate in READINGS:
        state, trim = found.gates[gate], found.gates[Gate.TRIM]
        if state.doubt is not None:
            return _doubt_step(car, state, state.doubt)
        if state.standing is Standing.NEVER_READ:
            return _read_step(car, state) if gate is Gate.LEVEL or trim.passed else _fit_step(car, trim)
    return None


def _doubt_step(car: str, state: GateState, doubt: Doubt) -> Step:
    """Return how to settle readings that contradict each other, or what was known before them."""
    words, kind = READINGS[state.gate]
    again = f"rollwright log read {car} {kind} VALUE"
    if not doubt.among:
        return Step(
            kind="read",
            text=f"Read the {words} again: {doubt.words} by more than the uncertainties allow. Check the "
            "side, the unit and the set-up first; take back what is wrong with rollwright log undo.",
            command=again,
        )
    if len(doubt.entries) == _PAIR:
        text = f"Read the {words} again to see which is right, then take back the other."
        return Step(kind="read", text=f"{_capital(doubt.words)} on the {words}. {text}", command=again)
    return Step(
        kind="read",
        text=f"{_capital(doubt.words)} on the {words}, entry {doubt.entries[-1]} the most. Take back what is "
        "wrong.",
        command=f"rollwright log undo {car} {doubt.entries[-1]} --because TEXT",
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _bent_step(car: str, found: Folded, system: System) -> Step | None:
    """Return what comes first where an axle is bent and the class allows none that is."""
    if not found.forbidden:
        return None
    station, bend = next(iter(found.forbidden.items()))
    size = show(bend, kind=Kind.ANGLE, system=system)
    whose = "its file" if found.rules is None else f"its class ({found.rules.name})"
    return Step(
        kind="move",
        text=f"Straighten the {station.words} axle, or fit a straight one: it is bent by {size}, and {whose} "
        "allows no bent axle. Or choose another class.",
        command=f'rollwright log did {car} bend {station.value} "{math.degrees(bend):.4g} deg less"',
    )


def _torn_step(car: str, state: GateState) -> Step | None:
    """Return which hole is to be read again because what was read of it contradicts itself."""
    torn = next(
        (item for item in state.items if item.state is State.UNCLEAR and "disagree" in item.words), None
    )
    if torn is None:
        return None
    place, _, plane = torn.name.rpartition(" ")
    where = place.replace(" ", "_")
    return Step(
        kind="read",
        text=f"Settle the {torn.name} before anything else: {torn.words}.",
        command=f"rollwright log pin {car} {where} {plane} none|GAP"
        if plane in {"cant", "sweep"}
        else f"rollwright log show {car}",
    )


def _scrap_step(car: str, found: Folded, system: System) -> Step | None:
    """Return what to do with a body that was drilled off; None where none of it is known to be."""
    bad = [item for item in found.gates[Gate.DRILL].items if item.state is State.FAIL]
    if not bad:
        return None
    lone = next((item for item in bad if _slipped(item, found)), None)
    if lone is not None:
        place, _, plane = lone.name.rpartition(" ")
        return Step(
            kind="read",
            text=f"Read the {lone.name} again before you scrap the body: entry {lone.read_at} cannot go with "
            "what else is known. Check the unit and the distance first.",
            command=f"rollwright log pin {car} {place.replace(' ', '_')} {plane} none|GAP",
        )
    each = "; ".join(_off(item, system) for item in bad)
    remarks = dict.fromkeys(item.words for item in bad if item.words)
    remark = f" ({'; '.join(remarks)})" if remarks else ""
    holes = "the hole and drill it" if len(bad) == 1 else "the holes and drill them"
    return Step(
        kind="scrap",
        text=f"Scrap this body, or plug {holes} again: {each}{remark}.",
        command=f'rollwright log retire {car} --because "drilled off"',
    )


def _slipped(item: Item, found: Folded) -> bool:
    """Return whether a hole is bad by a reading that no drill explains."""
    if found.estimate is None or found.estimate.misfit_probability >= DOUBTFUL:
        return False
    entry = ["entry", str(item.read_at)]
    return any(each.ratio > _SLIP and each.name.split()[:2] == entry for each in found.estimate.strains)


def _off(item: Item, system: System) -> str:
    """Return by how much a hole is off, and how much is allowed."""
    if item.verdict is None:
        return item.name
    kind = item.kind or Kind.ANGLE
    off, limit = (
        show(each, kind=kind, system=system) for each in (abs(item.verdict.value), item.verdict.high)
    )
    return f"{item.name} is off by {off}, and {limit} is allowed"


def _hole_step(car: str, state: GateState) -> Step | None:
    """Return which hole is to be looked at next; None where all that are needed were measured."""
    waiting = [item for item in state.items if item.needed and item.verdict is None]
    if not waiting:
        return None
    place, _, plane = waiting[0].name.rpartition(" ")
    ways = "up" if plane == "cant" else "forward"
    look = "look for" if waiting[0].state is None else "measure the"
    edge = "a straight-edge that stands as it was meant"
    odd = f" {_capital(waiting[0].words)}." if waiting[0].state is not None and waiting[0].words else ""
    return Step(
        kind="read",
        text=f"Put a pin into the {place} hole and {look} daylight at {edge}: {plane}.{odd}",
        command=f'rollwright log pin {car} {place.replace(" ", "_")} {plane} none|seen|"0.15 mm {ways}"',
    )


def _fit_step(car: str, trim: GateState) -> Step:
    names = [item.name for item in trim.items if not item.passed]
    if len(names) > _MOST_NAMED:
        names = [*names[: _MOST_NAMED - 1], f"{len(names) - _MOST_NAMED + 1} more"]
    return Step(
        kind="fit",
        text=f"Fit everything that will race, and enter it: {', '.join(names)}.",
        command=f"rollwright log fit {car} all",
    )


def _read_step(car: str, state: GateState) -> Step:
    words, kind = READINGS[state.gate]
    again = "" if state.standing is Standing.NEVER_READ else " again"
    return Step(
        kind="read", text=f"Read the {words}{again}.", command=f"rollwright log read {car} {kind} VALUE"
    )


def _by_reading_and_moving(car: str, gates: list[GateState], advice: Advice, system: System) -> Step | None:
    stale = [state for state in gates if to_read(state)]
    moves = advice.plan.moves
    missed = [each for each in advice.plan.cannot if each.gate in advice.missed]
    if missed and not stale:
        return _stuck_step(car, missed[0])
    # No other gate is worth a move while one of them cannot be met, but a body is not given up on what the
    # model expects; nor is anything bent for a part that nobody has read yet.
    first = stale if missed else [state for state in stale if _swapped(state)]
    if first:
        return _read_step(car, first[0])
    # Sanded wood does not come back, so it waits for fresh readings; everything else can be taken back.
    if moves and (moves[0].kind is not MoveKind.RELIEF or not stale):
        told = advice.instructions[0]
        return Step(
            kind="move",
            text=f"{told.text} {told.ask}".rstrip(),
            command=_entering(car, moves[0], system),
            effect=told.effect,
            caution=told.caution,
        )
    if stale:
        return _read_step(car, stale[0])
    centre = next(state for state in gates if state.gate is Gate.CENTRE)
    if centre.lone and not centre.passed and not moves:
        words, kind = READINGS[Gate.CENTRE]
        return Step(
            kind="read",
            text=f"Read the {words} once more before any wood goes: entry {centre.read_at} is far from what "
            "was known, and nothing bears it out yet.",
            command=f"rollwright log read {car} {kind} VALUE",
        )
    return _nothing_to_move(car, gates, advice)


def _nothing_to_move(car: str, gates: list[GateState], advice: Advice) -> Step | None:
    if advice.plan.cannot:
        return _stuck_step(car, advice.plan.cannot[0])
    if all(state.passed for state in gates):
        return None
    return Step(kind="read", text=advice.measure_next.text)


def _swapped(state: GateState) -> bool:
    """Return whether a new part or hole leaves a gate so open that only a reading can tell it."""
    if state.now is None:
        return True
    return any(change.swapped for change in state.reasons)


def _stuck_step(car: str, first: Cannot) -> Step:
    text = f"{first.gate.capitalize()} cannot be met: {first.reason}. To change that: {first.change}."
    return Step(
        kind="stuck",
        text=f"{text} A hole that is drilled anew is entered with rollwright log drill; a body that you give "
        "up is retired.",
        command=f"rollwright log retire {car} --because TEXT",
    )


def _last_step(car: str, found: Folded, system: System) -> Step:
    trim, rolling = found.gates[Gate.TRIM], found.gates[Gate.ROLL]
    if not trim.passed:
        return _fit_step(car, trim)
    early = [state for gate in READINGS if (state := found.gates[gate]).before_trim]
    if early:
        named = ", ".join(early[0].before_trim)
        words, kind = READINGS[early[0].gate]
        return Step(
            kind="read",
            text=f"Read the {words} again: when it was read, this was not entered as fitted yet: {named}.",
            command=f"rollwright log read {car} {kind} VALUE",
        )
    if not rolling.passed:
        again = "" if rolling.standing is Standing.NEVER_READ else " again"
        return Step(
            kind="roll",
            text=f"Roll it{again} slowly down a lane and see whether it holds the rail.",
            command=f"rollwright log roll {car} holds|leaves|tail_left|tail_right",
        )
    if found.rules is None:
        return Step(
            kind="none",
            text="Leave it as it is. To inspect it, choose the class that it will race in.",
            command=f"rollwright log class {car} CLASS.toml",
        )
    waiting = [verdict for verdict in found.inspection if not verdict.passed]
    failed = [verdict for verdict in waiting if verdict.state is RuleState.FAIL]
    if waiting:
        return _inspect_step(car, (failed or waiting)[0], system)
    every = "every gate" if found.gates[Gate.DRILL].passed else "every gate but drill"
    return Step(kind="none", text=f"Leave it as it is: {every} is passed.")


def _inspect_step(car: str, verdict: RuleVerdict, system: System) -> Step:
    """Return what to do about a rule that is not yet passed."""
    rule, command = verdict.rule, f"rollwright log inspect {car} {verdict.rule.value}"
    again = {RuleState.READ_AGAIN: " again", RuleState.UNCLEAR: " with a finer gauge"}.get(verdict.state, "")
    if verdict.state is RuleState.FAIL:
        text = f"It breaks the class's rule on {rule.words}: {_against(verdict, system)}."
        return Step(kind="stuck", text=text)
    if rule in _LOOKS:
        text, words = _LOOKS[rule]
        return Step(kind="inspect", text=text, command=f"{command} {words}")
    if rule is Rule.MASS:
        finer = " on a finer scale" if verdict.state is RuleState.UNCLEAR else again
        text = f"Weigh it{finer}, ready to race."
        return Step(kind="inspect", text=text, command=f"rollwright log weigh {car} whole MASS")
    if rule is Rule.WHEEL_DIAMETER:
        station = verdict.missing[0] if verdict.missing else verdict.found and verdict.found.station
        where = "" if not station else f" at {station.words}"
        at = "" if not station else f" --station {station.value}"
        return Step(kind="inspect", text=f"Measure the wheel{where}{again}.", command=f"{command} SIZE{at}")
    what = {
        Rule.WEIGHT_BEHIND: "how far its weights reach behind the rear holes",
        Rule.WEIGHT_BELOW: "how far its weights reach below the underside",
        Rule.GROUND_CLEARANCE: "the clearance under its body",
        Rule.WIDTH: "its width over the wheels",
    }.get(rule, f"its {rule.words}")
    return Step(kind="inspect", text=f"Measure {what}{again}.", command=f"{command} SIZE")


def _against(verdict: RuleVerdict, system: System) -> str:
    """Return what was found and what the rule allows."""
    if verdict.found is not None and verdict.margin is None:
        return verdict.found.words
    value = 0.0 if verdict.verdict is None else verdict.verdict.value
    kind = verdict.rule.kind
    limits = [("at least", verdict.least), ("at most", verdict.most)]
    asked = " and ".join(
        f"{word} {show(limit, kind=kind, system=system)}" for word, limit in limits if limit is not None
    )
    station = None if verdict.found is None else verdict.found.station
    at = "" if station is None else f"{station.words} "
    return f"{at}{show(value, kind=kind, system=system)}, and it asks for {asked}"


def _entering(car: str, move: Move, system: System) -> str:
    """Return the command that enters a move once it is made as asked."""
    if move.kind in {MoveKind.BEND, MoveKind.TURN}:
        amount = f"{abs(math.degrees(move.ask)):.4g} deg"
    elif system is System.INCH:
        amount = f"{abs(move.ask) / 25.4e-6:.3g} thou"
    else:
        amount = f"{abs(move.ask) * 1e3:.3g} mm"
    clockwise = move.by * move.station.side > 0.0
    direction = {
        MoveKind.BEND: " more" if move.by > 0.0 else " less",
        MoveKind.TURN: " clockwise" if clockwise else " counter-clockwise",
        MoveKind.WASHER: " added" if move.by > 0.0 else " removed",
    }.get(move.kind, "")
    # One instruction speaks for both rear axles, and so does one command.
    both = move.kind is MoveKind.SHIM and not move.station.is_front
    at = f"{_WORDS[move.kind]} {'rear' if both else move.station.value}"
    return f'rollwright log did {car} {at} "{amount}{direction}"'
