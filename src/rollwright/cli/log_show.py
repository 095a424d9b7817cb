"""The bench log as text: entries in a builder's words, and gates with their marks."""

from __future__ import annotations

import math
import re
import sys
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from rollwright.car.model import Station
from rollwright.cli.log_words import MOVES, direction_of
from rollwright.cli.page import Page, listed, percent
from rollwright.judge.verdict import State, Verdict
from rollwright.units import Kind, show
from rollwright.workbench.log_reading import unit_of

if TYPE_CHECKING:
    from rollwright.workbench.log import Entered, Folded, Recorded
    from rollwright.workbench.log_gates import Change, GateState, Where
    from rollwright.workbench.log_past import History

__all__ = ["LogPage", "entry_words", "show_entered", "show_gates", "show_history", "show_where"]

_AGAIN, _AGAIN_PLAIN, _NEVER = "◌", "o", "·"
_MARKS = {State.PASS: "✓", State.FAIL: "⊂", State.UNCLEAR: "◐"}
_COLOURS = {"✓": "green", "⊂": "red", "◐": "yellow", _AGAIN: "yellow", _NEVER: "white"}
_ROLLED = {
    "holds": "it held the rail",
    "leaves": "it left the rail",
    "tail_left": "its tail swung to the left",
    "tail_right": "its tail swung to the right",
}
_TIED = "\N{NO-BREAK SPACE}"
_DOUBTFUL = 0.01


class LogPage(Page):
    """A page that also knows the marks of the gates that nothing speaks for."""

    def print(self) -> None:
        """Print everything, in plain letters where the terminal knows no others."""
        encoding = getattr(sys.stdout, "encoding", None) or "ascii"
        try:
            _AGAIN.encode(encoding)
        except (UnicodeEncodeError, LookupError):
            self._lines = [line.replace(_AGAIN, _AGAIN_PLAIN) for line in self._lines]
        super().print()

    def marked(self, mark: str, text: str) -> None:
        """Add a paragraph led by a mark; never by colour alone."""
        wrapped = textwrap.wrap(text, self.width - 2, subsequent_indent=" " * 7, break_on_hyphens=False)
        for number, line in enumerate(wrapped):
            lead = click.style(mark, fg=_COLOURS[mark], bold=True) if number == 0 else " "
            self.line(f"{lead} {line}")

    def struck(self, text: str, *, first: str) -> None:
        """Add a paragraph that no longer counts, struck through where the terminal can."""
        for line in textwrap.wrap(text, self.width - len(first), break_on_hyphens=False):
            self.line(f"{first}{click.style(line, strikethrough=True)}")

    def amount(self, value: float, *, move: str) -> str:
        """Return the amount of a move without its direction."""
        return self.angle(abs(value)) if move in {"bend", "turn"} else self.length(abs(value))

    def gate(self, gate: str, value: float, uncertainty: float | None = None) -> str:
        """Return a gate's quantity with its sign in words."""
        say = {"level": self.level, "steer": self.drift, "centre": self.rail}[gate]
        return say(value, uncertainty)

    def shift(self, gate: str, value: float) -> str:
        """Return a change of a gate's quantity with its direction in words."""
        shown = show(abs(value), kind=Kind.LENGTH, system=self.system)
        if not shown.number.strip("0."):
            return "next to nothing"
        ways = {
            "level": ("nose up", "nose down"),
            "steer": ("to the left", "to the right"),
            "centre": ("away from the rail", "towards the rail"),
        }[gate]
        return f"{shown} {ways[0] if value > 0.0 else ways[1]}".replace(" ", _TIED)


def entry_words(page: LogPage, entry: Recorded) -> str:
    """Return an entry in a builder's words.

    Args:
        page: says the units.
        entry: the entry.

    Returns:
        One sentence without its full stop.
    """
    kind, fields = entry.event.kind, entry.event.as_plain()
    if kind in MOVES:
        words = _move_words(page, kind, fields)
    elif kind == "reading":
        words = _reading_words(page, fields)
    elif kind == "slow_roll":
        words = f"slow roll: {_ROLLED[fields['seen']]}"
    elif kind == "withdrawn":
        words = f"undo: {fields['reason']}"
    elif kind == "car_started":
        words = "start, from its car file"
    elif kind == "note":
        words = f"note: {fields['text']}"
    elif kind == "retired":
        words = f"retired: {fields['reason']}"
    else:
        named = " ".join(str(fields[key]) for key in ("part", "name") if key in fields)
        words = " ".join(word for word in (kind.replace("_", " "), named, _at(fields)) if word)
    remark = f" ({fields['note']})" if fields.get("note") else ""
    return f"{words}{remark}"


def _at(fields: Mapping[str, Any]) -> str:
    return f"at {Station(fields['station']).words}" if "station" in fields else ""


def _move_words(page: LogPage, move: str, fields: Mapping[str, Any]) -> str:
    amount = fields.get("done", fields.get("asked"))
    if amount is None:
        return f"{'sanding' if move == 'sand' else move} {_at(fields)}, nobody knows by how much"
    how = "measured" if "done" in fields else "as asked"
    way = direction_of(move, amount, station=Station(fields["station"]))
    if move == "sand":
        return f"sanding {_at(fields)}, {page.amount(amount, move=move)}, {how}"
    return f"{move} {_at(fields)}, {page.amount(amount, move=move)} {way}, {how}"


def _reading_words(page: LogPage, fields: Mapping[str, Any]) -> str:
    kind = fields["reading"]
    unit = unit_of(fields.get("dimension", ""))

    def said(value: float) -> str:
        if kind in {"height_difference", "drift", "rail_offset", "block_offset"}:
            say = {"height_difference": page.level, "drift": page.drift}.get(kind, page.rail)
            return say(value)
        return page.angle(value) if unit is Kind.ANGLE else page.length(value)

    values = ", ".join(said(value) for value in fields.get("values", ()))
    words = [fields.get("dimension") or kind.replace("_", " "), values]
    if "trace" in fields:
        words.append(f"trace of {len(fields['trace'])} points")
    words += [_at(fields), fields.get("plane", "")]
    for name, lead in (("distance", "over"), ("thickness", "on a block of")):
        if name in fields:
            words.append(f"{lead} {page.length(fields[name])}")
    text = " ".join(word for word in words if word)
    if "uncertainty" in fields:
        spread = fields["uncertainty"]
        text += f", each ±{_TIED}{page.angle(spread) if unit is Kind.ANGLE else page.length(spread)}"
    return text


def _said(verdict: Verdict) -> str:
    if verdict.state is State.UNCLEAR:
        return f"cannot tell yet ({percent(verdict.probability)} inside)"
    return "inside" if verdict.state is State.PASS else "outside"


def show_gates(page: LogPage, found: Folded, *, rolled: str = "", only: tuple[str, ...] = ()) -> None:
    """Add the gates, each with its mark, its word and the reason.

    Args:
        page: where to add them.
        found: what a car's log adds up to.
        rolled: what the slow roll that still counts showed.
        only: names of the gates to add; none adds all.
    """
    for index, (gate, state) in enumerate(found.gates.items()):
        if only and gate.value not in only:
            continue
        if gate.value == "roll":
            page.marked(*_rolled(state, rolled))
        else:
            page.marked(*_gate(page, state, index))


def _lead(state: GateState) -> str:
    return f"{state.gate.value:<6}".replace(" ", _TIED)


def _rolled(state: GateState, rolled: str) -> tuple[str, str]:
    if state.verdict is None:
        return _NEVER, f"{_lead(state)} never read"
    seen = f"{_ROLLED.get(rolled, 'the car was rolled')} (entry{_TIED}{state.read_at})"
    mark, word = _MARKS[state.verdict.state], state.standing.value
    if state.verdict.state is not State.PASS:
        return mark, f"{_lead(state)} {seen}"
    if word == "holds" or not state.reasons:
        return mark, f"{_lead(state)} {word}: {seen}"
    if word == "read again":
        mark = _AGAIN
    return mark, f"{_lead(state)} {word}: {seen}, and since then came {_since(state)}"


def _gate(page: LogPage, state: GateState, index: int) -> tuple[str, str]:
    name, lead = state.gate.value, _lead(state)
    expected = "The model cannot tell it."
    if state.now is not None:
        now = page.gate(name, state.now.value, state.now.uncertainty)
        expected = f"The model expects {now} ({percent(state.now.probability)} inside)."
    if state.verdict is None:
        return _NEVER, f"{lead} never read. {expected}"
    standing, verdict = state.standing.value, state.verdict
    tolerance = page.length((verdict.high - verdict.low) / 2.0)
    if standing == "holds":
        read = page.gate(name, verdict.value, verdict.uncertainty)
        at = f"(entry{_TIED}{state.read_at})"
        if verdict.state is State.PASS:
            return _MARKS[State.PASS], f"{lead} holds: {read}, inside {at}"
        return _MARKS[verdict.state], f"{lead} {read}, {_said(verdict)}; its reading holds {at}"
    if standing == "predicted to hold" and state.shift is not None:
        moved = f"shifted by {page.shift(name, state.shift)}, tolerance ±{_TIED}{tolerance}"
        return _MARKS[State.PASS], f"{lead} predicted to hold: {moved}, since {_since(state)}. {expected}"
    return _AGAIN, f"{lead} read again: {_why(page, state, index)}. {expected}"


def _most(state: GateState) -> tuple[list[Change], str]:
    """Return the two changes that can have moved a gate the most, and words for the rest."""
    rest = len(state.reasons) - 2
    return list(state.reasons[:2]), f"; {rest} more" if rest > 0 else ""


def _since(state: GateState) -> str:
    first, more = _most(state)
    return listed([_cause(change) for change in first]) + more


def _cause(change: Change) -> str:
    words = re.sub("^sand ", "sanding ", change.words)
    return f"the {words} (entry{_TIED}{change.seq})"


def _why(page: LogPage, state: GateState, index: int) -> str:
    """Return what moved a gate since it was read, most first."""
    first, more = _most(state)
    parts = []
    for change in first:
        shift, spread = float(change.shift[index]), float(change.spread[index])
        if change.unsaid or not math.isfinite(shift) or not math.isfinite(spread):
            moved = "can have moved it by any amount"
        elif abs(shift) > spread:
            moved = f"moved it by {page.shift(state.gate.value, shift)}"
        else:
            moved = f"can have moved it by ±{_TIED}{page.length(spread)}"
        parts.append(f"{_cause(change)} {moved}")
    return "; ".join(parts) + more


def show_entered(page: LogPage, found: Entered, *, only: tuple[str, ...] = ()) -> None:
    """Add what was entered, how the gates stand with it, and how to take it back.

    Args:
        page: where to add it.
        found: the entry.
        only: names of the gates to add; none adds all.
    """
    entry = found.entry
    page.prose(f"Entry {entry.seq}: {entry_words(page, entry)}.", bold=True)
    if found.found is None:
        page.prose("The log does not add up yet: undo what else is wrong.", first="! ", bold=True)
        return
    show_gates(page, found.found, only=only, rolled=found.rolled)
    show_trouble(page, found.found)
    estimate = found.found.estimate
    if entry.event.kind == "reading" and estimate is not None and estimate.misfit_probability < _DOUBTFUL:
        page.prose(
            "This disagrees with the other readings or with the car file by more than their uncertainties "
            "allow: check the side, the unit and the set-up.",
            first="! ",
            bold=True,
        )
    if entry.event.kind != "withdrawn":
        page.prose(f"If this is wrong: rollwright log undo {entry.car} {entry.seq} --because TEXT")


def show_trouble(page: LogPage, found: Folded) -> None:
    """Add why a car cannot be told, if it cannot, such as that it tips over."""
    if found.trouble:
        page.prose(f"Where this car is cannot be told: {found.trouble}.", first="! ", bold=True)


def show_where(page: LogPage, found: Where) -> None:
    """Add how a car stands and the one next step.

    Args:
        page: where to add it.
        found: how it stands.
    """
    page.line(found.found.known.car.name, bold=True)
    if found.found.retired:
        page.prose(f"Retired: {found.found.retired}", bold=True)
    show_gates(page, found.found, rolled=found.rolled)
    show_trouble(page, found.found)
    page.gap()
    page.prose(f"Next: {found.step.text}", bold=True)
    if found.step.effect:
        page.prose(found.step.effect, first="  ")
    if found.step.caution:
        page.prose(f"Mind: {found.step.caution}", first="  ")
    if found.step.command:
        page.prose(found.step.command, first="  ")


def show_history(page: LogPage, found: History, *, cars: bool) -> None:
    """Add entries, newest last.

    Args:
        page: where to add them.
        found: the entries.
        cars: whether to say of which car each is.
    """
    for entry in found.entries:
        of = f"  {entry.car}" if cars else ""
        page.prose(f"{entry.seq:>3}  {entry.time:%Y-%m-%d %H:%M}{of}  {entry.author}")
        words = entry_words(page, entry)
        by = found.withdrawn.get(entry.seq)
        if by is None:
            page.prose(words, first="     ")
        else:
            page.struck(words, first="     ")
            page.prose(f"withdrawn by entry {by}", first="     ")
