"""A move in plain words: which part, which way seen from where, how much, what it does, what to mind."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.car.model import Station
from rollwright.setup.outcome import MoveKind
from rollwright.setup.plan_moves import Move
from rollwright.units import Kind, System, as_inch_fraction, show

__all__ = ["Instruction", "direction_of", "instruction_for"]

_TIP = 0.030
"""Where along a pin the tip's swing is told [m]: past the bend, the default of a tip sweep reading."""

_TIP_INCH = 0.03175
"""The same for those who measure in inches: an inch and a quarter."""

_FRACTIONS_FROM = 0.0015
_STRAIGHT = math.radians(0.01)
"""Smallest bend that is told as one [rad]."""

_TOLD_FROM = 1e-5
"""Shortest length that is told as a number rather than as none [m]."""

_CAUTIONS = {
    MoveKind.BEND: "Bend the pin out of the body, in a vice, with eye protection on.",
    MoveKind.TURN: "",
    MoveKind.RELIEF: (
        "Sand by hand on a flat block with a dust mask on; at a machine clamp the body, keep sleeves away, "
        "let an adult run it and follow its manual."
    ),
    MoveKind.WASHER: "",
    MoveKind.SHIM: "If a slot is cut for the shim, clamp the body and keep hands behind the blade.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Instruction:
    """A move as it is told.

    Attributes:
        text: what to do, in one sentence.
        direction: `more`, `less`, `clockwise`, `counter-clockwise`, `inward`, `outward` or `up`.
        seen_from: where the direction is seen from.
        effect: what it does to the car.
        check: how the hand can tell that it is done.
        caution: what can hurt, empty where nothing does.
        leave_alone: what must not be touched meanwhile.
        ask: what to ask of a hand that is known to land past the mark or short of it; or empty.
        read_again: kinds of readings that it makes stale.
    """

    text: str
    direction: str
    seen_from: str
    effect: str
    check: str
    caution: str
    leave_alone: str
    ask: str
    read_again: tuple[str, ...]


def direction_of(kind: MoveKind, *, by: float, station: Station) -> str:
    """Return which way a move goes, as the hand meets it.

    Seen from outside the left side of the car, forward is to the viewer's left, so an end that is
    carried from down to forward goes clockwise; on the right side it is the other way round.

    Args:
        kind: the kind of move.
        by: its signed amount [rad or m]; a positive turn carries the outer end forward, a negative one
            backward.
        station: where it is made.

    Returns:
        The direction in one word.
    """
    if kind is MoveKind.BEND:
        return "more" if by > 0.0 else "less"
    if kind is MoveKind.TURN:
        return "clockwise" if by * station.side > 0.0 else "counter-clockwise"
    if kind is MoveKind.RELIEF:
        return "inward"
    if kind is MoveKind.WASHER:
        return "outward" if by > 0.0 else "inward"
    return "up"


def _degrees(angle: float, digits: int) -> str:
    text = f"{abs(math.degrees(angle)):.{digits}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text}°"


def _thickness(length: float, system: System) -> str:
    shown = str(show(abs(length), kind=Kind.LENGTH, system=system))
    if system is System.INCH and abs(length) >= _FRACTIONS_FROM:
        return f"{shown} (about {as_inch_fraction(abs(length))} in)"
    return shown


def instruction_for(move: Move, *, target: float, system: System = System.METRIC) -> Instruction:
    """Return a move in plain words.

    Args:
        move: the move.
        target: wanted value of the gate quantity that it is made for [m].
        system: which units to write.

    Returns:
        The instruction.
    """
    where = move.station.words
    direction = direction_of(move.kind, by=move.by, station=move.station)
    told = {
        MoveKind.BEND: _bend,
        MoveKind.TURN: _turn,
        MoveKind.RELIEF: _relief,
        MoveKind.WASHER: _washer,
        MoveKind.SHIM: _shim,
    }[move.kind]
    text, effect, check = told(move, where, direction, target, system)
    rear = move.kind is MoveKind.SHIM and not move.station.is_front
    return Instruction(
        text=text,
        direction=direction,
        seen_from="outside the wheel" if move.kind is MoveKind.TURN else "the bench",
        effect=effect,
        check=check,
        caution=_CAUTIONS[move.kind],
        leave_alone="both front axles"
        if rear
        else f"the {move.station.opposite.words} wheel and both rear axles",
        ask=_ask(move, system),
        read_again=("rail_offset",)
        if move.kind in {MoveKind.RELIEF, MoveKind.WASHER}
        else ("height_difference", "drift", "rail_offset"),
    )


def _ask(move: Move, system: System) -> str:
    if abs(move.ask - move.by) < 1e-12:
        return ""
    angle = {MoveKind.BEND: 2, MoveKind.TURN: 1}.get(move.kind)
    amount = _thickness(move.ask, system) if angle is None else _degrees(move.ask, angle)
    moves = {MoveKind.RELIEF: "sanding", MoveKind.WASHER: "washers"}.get(move.kind, f"{move.kind.value}s")
    way = "past" if abs(move.ask) < abs(move.by) else "short of"
    land = "lands" if move.kind is MoveKind.RELIEF else "land"
    return f"Aim for {amount}: your {moves} {land} {way} what you aim for."


def _bend(move: Move, where: str, direction: str, target: float, system: System) -> tuple[str, str, str]:
    del target
    tip = _TIP_INCH if system is System.INCH else _TIP
    swing = show(2.0 * tip * math.sin(move.to), kind=Kind.LENGTH, system=system)
    out = "1 1/4 in" if system is System.INCH else show(tip, kind=Kind.LENGTH, system=system)
    effect = f"This {'raises' if move.by > 0.0 else 'lowers'} the front; it also moves steer and rail."
    if move.to < _STRAIGHT:
        text = f"Bend the {where} axle {_degrees(move.by, 2)} {direction}, until it is straight."
        return text, effect, "Rolled on a plate, its tip then does not swing."
    text = f"Bend the {where} axle {_degrees(move.by, 2)} {direction}, to {_degrees(move.to, 2)}."
    return text, effect, f"Rolled on a plate, its tip {out} past the bend then swings {swing} in all."


def _turn(move: Move, where: str, direction: str, target: float, system: System) -> tuple[str, str, str]:
    del target, system
    # Past a quarter turn from straight down the bend steers less the further it is turned.
    steer = move.station.side * (math.sin(move.to) - math.sin(move.to - move.by))
    steers = "right" if steer > 0.0 else "left"
    text = f"Turn the {where} axle {_degrees(move.by, 1)} {direction}, seen from outside the wheel."
    points = (
        "straight down"
        if abs(move.to) < 0.004
        else (f"{_degrees(move.to, 1)} {'forward' if move.to > 0.0 else 'backward'} of straight down")
    )
    return text, f"This steers the car more to the {steers}.", f"Its bent end then points {points}."


def _relief(move: Move, where: str, direction: str, target: float, system: System) -> tuple[str, str, str]:
    del direction
    left = float(move.after.means[2]) - target
    stops = f"It stops {show(left, kind=Kind.LENGTH, system=system)} short on purpose"
    if left < _TOLD_FROM:
        stops = "Stop there"
    text = f"Sand {_thickness(move.by, system)} off the body's side at the {where} wheel."
    effect = f"This brings the wheel in. {stops}: sanded wood does not come back."
    return text, effect, f"The face is then {_thickness(move.by, system)} below where it is now."


def _washer(move: Move, where: str, direction: str, target: float, system: System) -> tuple[str, str, str]:
    del target
    amount = _thickness(move.by, system)
    if direction == "outward":
        text = f"Add {amount} of washers between the body and the {where} hub."
        effect = "This lets the wheel stand further out, so that it stops holding the centre lines apart."
    else:
        left = _thickness(move.to, system)
        text = (
            f"Make the washers between the body and the {where} hub {amount} thinner, {left} in all: take "
            "some out, or change them for thinner ones."
        )
        effect = "This brings the wheel in without touching the wood."
    if direction == "inward" and move.to < _TOLD_FROM:
        text = f"Take the washers out from between the body and the {where} hub, {amount} in all."
        return text, effect, "None are left."
    return text, effect, f"The stack is then {amount} {'thicker' if direction == 'outward' else 'thinner'}."


def _shim(move: Move, where: str, direction: str, target: float, system: System) -> tuple[str, str, str]:
    del target, direction
    amount = _thickness(move.by, system)
    end = "front" if move.station.is_front else "rear"
    axles = f"the {where} axle" if move.station.is_front else "each rear axle"
    text = f"Raise the {end} of the body by {amount}: shim {axles} down in its hole by as much."
    check = f"Where a hole leaves no room for a shim, drill the {end} holes {amount} lower in the next body."
    return text, f"This raises the {end} without touching the bend.", check
