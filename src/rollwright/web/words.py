"""Gates in a builder's words and in parts, so that a page can set the number large and the unit small."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.judge.verdict import State
from rollwright.units import Kind, System, show, show_sided

if TYPE_CHECKING:
    from rollwright.workbench.log_gates import GateState, Where

__all__ = ["WAYS", "GateLine", "Told", "chance", "gate_lines", "told"]

WAYS = {
    "level": ("nose high", "nose low"),
    "steer": ("left", "right"),
    "centre": ("off the rail", "too far in"),
}
"""Words for a positive and for a negative reading of each gate with a number."""
_READ = {"level": "height difference", "steer": "drift", "centre": "rail offset"}
_SLOW = {
    "holds": "it held the rail",
    "leaves": "it left the rail",
    "tail_left": "its tail swung to the left",
    "tail_right": "its tail swung to the right",
}
_LISTS = {"drill": "holes looked at", "trim": "fitted or left off", "inspect": "rules kept"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A quantity in parts: `number`, `spread`, `unit` and `way`; any of them may be empty."""

    number: str
    spread: str = ""
    unit: str = ""
    way: str = ""

    def __str__(self) -> str:
        """Return all parts on one line."""
        spread = f" ± {self.spread}" if self.spread else ""
        gap = "" if self.unit == "°" else " "
        unit = f"{gap}{self.unit}" if self.unit else ""
        return f"{self.number}{spread}{unit}{f' {self.way}' if self.way else ''}"


def told(
    gate: str,
    value: float,
    uncertainty: float | None = None,
    *,
    system: System,
    kind: Kind = Kind.LENGTH,
) -> Told:
    """Return a quantity in parts, with its sign in words where it is that of a gate.

    Args:
        gate: `level`, `steer` or `centre`, or empty for a plain quantity.
        value: what to say [SI]; positive as in `WAYS`.
        uncertainty: its standard uncertainty [SI], or None.
        system: units of the words.
        kind: which sort of quantity it is.

    Returns:
        The parts.
    """
    if not gate:
        shown = show(value, kind=kind, system=system, uncertainty=uncertainty)
        return Told(number=shown.number, spread=shown.uncertainty, unit=shown.unit)
    if gate == "steer":
        # A drift is read off a rule and printed as such; its parts stand in a fixed order.
        words = show_sided(value, system=system, uncertainty=uncertainty).split()
        way = words.pop() if words[-1] in WAYS["steer"] else ""
        unit = words.pop()
        return Told(number=words[0], spread=words[2] if len(words) == 3 else "", unit=unit, way=way)
    shown = show(abs(value), kind=Kind.LENGTH, system=system, uncertainty=uncertainty)
    way = WAYS[gate][0 if value > 0.0 else 1] if shown.number.strip("0.") else ""
    return Told(number=shown.number, spread=shown.uncertainty, unit=shown.unit, way=way)


def chance(probability: float) -> str:
    """Return a probability in words, never as certainty."""
    if probability >= 0.995:
        return "over 99 %"
    return "under 1 %" if probability < 0.005 else f"{probability * 100:.0f} %"


@dataclass(frozen=True, slots=True, kw_only=True)
class GateLine:
    """One gate on a page.

    Attributes:
        gate: its name.
        mark: which ring stands for it: `pass`, `fail`, `unclear`, `again` or `never`.
        words: the same in words, always beside it.
        value: its number, or None.
        reason: why it stands so, in one sentence.
        probability: that it is inside its tolerance, or None.
        read: what is read for it, or empty.
    """

    gate: str
    mark: str
    words: str
    value: Told | None = None
    reason: str = ""
    probability: float | None = None
    read: str = ""


def gate_lines(where: Where, system: System) -> list[GateLine]:
    """Return the seven gates in the order of the work.

    Args:
        where: how a car stands.
        system: units of the words.

    Returns:
        One line for each.
    """
    return [_line(gate.value, state, where, system) for gate, state in where.found.gates.items()]


def _mark(state: GateState) -> tuple[str, str]:
    """Return the ring of a gate and its words."""
    standing = state.standing.value
    if state.doubt is not None:
        return "unclear", "not to be trusted"
    if state.verdict is None:
        return "never", "never read"
    if standing == "read again":
        return "again", "read again"
    marks = {
        State.PASS: ("pass", "inside"),
        State.FAIL: ("fail", "outside"),
        State.UNCLEAR: ("unclear", "cannot tell"),
    }
    mark, words = marks[state.verdict.state]
    if standing == "predicted to hold":
        words = "predicted to hold" if mark == "pass" else f"{words} still"
    return mark, words


def _line(gate: str, state: GateState, where: Where, system: System) -> GateLine:
    mark, words = _mark(state)
    if gate in WAYS:
        return _numbered(gate, state, mark, words, system)
    if gate == "roll":
        held = _SLOW.get(where.rolled, "")
        return GateLine(
            gate=gate,
            mark=mark,
            words=held if held and mark != "again" else words,
            reason=_since(state),
            read="slow roll",
        )
    needed = [item for item in state.items if item.needed]
    done = [item for item in needed if item.passed]
    if gate == "inspect" and where.found.rules is None:
        return GateLine(gate=gate, mark="never", words="no class chosen")
    count = f"{len(done)} of {len(needed)} {_LISTS[gate]}" if needed else "nothing entered yet"
    return GateLine(gate=gate, mark=mark, words=count, reason=_since(state) or _open(state))


def _numbered(gate: str, state: GateState, mark: str, words: str, system: System) -> GateLine:
    now = state.now
    if now is None or not math.isfinite(now.uncertainty):
        return GateLine(gate=gate, mark=mark, words=words, reason=_since(state), read=_READ[gate])
    # What a reading said is only told as that while it holds; else it is what the model expects.
    read = state.verdict if mark in {"pass", "fail", "unclear"} and state.standing.value == "holds" else None
    shown = now if read is None else read
    value = told(gate, shown.value, shown.uncertainty, system=system)
    inside = f"{chance(shown.probability)} inside"
    reason = state.doubt.words if state.doubt is not None else _since(state)
    lead = f"{words}, {inside}" if read is not None else f"{words}; expected, {inside}"
    return GateLine(
        gate=gate,
        mark=mark,
        words=lead,
        value=value,
        reason=reason,
        probability=shown.probability,
        read=_READ[gate],
    )


def _since(state: GateState) -> str:
    if not state.reasons:
        return ""
    last = state.reasons[-1]
    more = f" and {len(state.reasons) - 1} more" if len(state.reasons) > 1 else ""
    return f"since {last.words}, entry {last.seq}{more}"


def _open(state: GateState) -> str:
    waiting = [item.name for item in state.items if item.needed and not item.passed]
    if not waiting or state.verdict is None:
        return ""
    return f"open: {', '.join(waiting[:2])}{f' and {len(waiting) - 2} more' if len(waiting) > 2 else ''}"
