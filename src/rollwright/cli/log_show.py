"""The bench log as text: its gates with their marks, what was entered, and where a car stands."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from rollwright.cli.log_entry_words import discord_words, entry_words
from rollwright.cli.log_lists import lead_of, list_line
from rollwright.cli.log_page import AGAIN, MARKS, NEVER, ROLLED, TIED, LogPage
from rollwright.cli.page import listed, percent
from rollwright.judge.verdict import State, Verdict

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rollwright.car.model import Station
    from rollwright.workbench.log import Entered, Folded
    from rollwright.workbench.log_gates import Change, GateState, Next, Where
    from rollwright.workbench.log_past import History

__all__ = ["show_entered", "show_forbidden", "show_gates", "show_history", "show_outlook", "show_where"]

NUMBERED = ("level", "steer", "centre")
"""The gates with a number, in the order of the gate quantities."""
TRIMMED = ("steer", "centre")
"""The gates whose readings want everything fitted that will race."""
_DOUBTFUL = 0.01
_ODD = 3.0
"""Standard deviations that a reading is pulled by, from which it is told."""
_CLEARLY = 2.0
"""Times its uncertainty by which a hand's factor is off before it is told."""
_UNDONE = 0.7
"""Part of the largest shift below which all together are told as well."""


def show_gates(
    page: LogPage,
    found: Folded,
    *,
    rolled: str = "",
    only: tuple[str, ...] = (),
    quiet: bool = False,
) -> None:
    """Add the gates, each with its mark, its word and the reason.

    Args:
        page: where to add them.
        found: what a car's log adds up to.
        rolled: what the slow roll that still counts showed.
        only: names of the gates to add; none adds all.
        quiet: whether to leave out lists of which nothing was entered yet.
    """
    for gate, state in found.gates.items():
        if only and gate.value not in only:
            continue
        if gate.value in NUMBERED:
            page.marked(*_gate(page, state, NUMBERED.index(gate.value)))
        elif gate.value == "roll":
            page.marked(*_rolled(state, rolled))
        elif state.verdict is not None or not quiet:
            page.marked(*list_line(page, state, chosen=found.rules is not None))


def _lead(state: GateState) -> str:
    return lead_of(state.gate.value)


def _rolled(state: GateState, rolled: str) -> tuple[str, str]:
    if state.verdict is None:
        return NEVER, f"{_lead(state)} never read"
    seen = f"{ROLLED.get(rolled, 'the car was rolled')} (entry{TIED}{state.read_at})"
    mark, word = MARKS[state.verdict.state], state.standing.value
    if state.verdict.state is not State.PASS:
        return mark, f"{_lead(state)} {seen}"
    if word == "holds" or not state.reasons:
        return mark, f"{_lead(state)} {word}: {seen}"
    if word == "read again":
        mark = AGAIN
    return mark, f"{_lead(state)} {word}: {seen}, and since then came {_since(state)}"


def _gate(page: LogPage, state: GateState, index: int) -> tuple[str, str]:
    name, lead = state.gate.value, _lead(state)
    expected = "The model cannot tell it."
    if state.now is not None:
        now = page.gate(name, state.now.value, state.now.uncertainty)
        expected = f"The model expects {now} ({percent(state.now.probability)} inside)."
    if state.verdict is None:
        return NEVER, f"{lead} never read. {expected}"
    standing, verdict = state.standing.value, state.verdict
    if standing == "holds":
        return _held(page, state, verdict)
    if standing == "predicted to hold" and state.shift is not None:
        tolerance = page.length((verdict.high - verdict.low) / 2.0)
        moved = f"shifted by {page.shift(name, state.shift)}, tolerance ±{TIED}{tolerance}"
        said = f"since {_since(state)}. {expected}"
        if verdict.state is State.FAIL:
            return MARKS[State.FAIL], f"{lead} outside still: {moved}, {said}"
        return MARKS[State.PASS], f"{lead} predicted to hold: {moved}, {said}"
    return AGAIN, f"{lead} read again: {_why(page, state, index)}. {expected}"


def _held(page: LogPage, state: GateState, verdict: Verdict) -> tuple[str, str]:
    """Return mark and words of a gate whose reading still speaks for the car."""
    name, lead = state.gate.value, _lead(state)
    read = page.gate(name, verdict.value, verdict.uncertainty)
    if state.doubt is not None:
        return MARKS[State.UNCLEAR], f"{lead} not to be trusted: {read}, but {state.doubt.words}"
    at = f"entry{TIED}{state.read_at}"
    if state.before_trim and name in TRIMMED:
        at = f"{at}, before trim was complete"
    if verdict.state is State.PASS:
        return MARKS[State.PASS], f"{lead} holds: {read}, inside ({at})"
    if verdict.state is State.FAIL:
        return MARKS[State.FAIL], f"{lead} {read}, outside ({at})"
    return MARKS[
        State.UNCLEAR
    ], f"{lead} {read}, cannot tell yet ({percent(verdict.probability)} inside, {at})"


def _most(state: GateState) -> tuple[list[Change], str]:
    """Return the two changes that can have moved a gate the most, and words for the rest."""
    rest = len(state.reasons) - 2
    return list(state.reasons[:2]), f"; {rest} more" if rest > 0 else ""


def _since(state: GateState) -> str:
    first, more = _most(state)
    return listed([_cause(change) for change in first]) + more


def _cause(change: Change) -> str:
    words = re.sub("^sand ", "sanding ", change.words)
    return f"the {words} (entry{TIED}{change.seq})"


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
            moved = f"can have moved it by ±{TIED}{page.length(spread)}"
        parts.append(f"{_cause(change)} {moved}")
    return "; ".join(parts) + more + _together(page, state, index)


def _together(page: LogPage, state: GateState, index: int) -> str:
    """Return what changes did to a gate together, where they undo each other in part."""
    if state.shift is None or not math.isfinite(state.shift):
        return ""
    largest = max(abs(float(change.shift[index])) for change in state.reasons)
    if not abs(state.shift) < _UNDONE * largest:
        return ""
    return f"; together they moved it by {page.shift(state.gate.value, state.shift)}"


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
    show_gates(page, found.found, only=only, rolled=found.rolled, quiet=True)
    show_trouble(page, found.found)
    estimate = found.found.estimate
    if estimate is not None and estimate.misfit_probability < _DOUBTFUL and _is_odd(entry.seq, found.found):
        page.prose(
            "This disagrees with the other readings or with the car file by more than their uncertainties "
            "allow: check the side, the unit and the set-up.",
            first="! ",
            bold=True,
        )
    if entry.event.kind == "bend":
        _show_bend(page, found.found, getattr(entry.event, "station", None))
    if entry.event.kind == "class_chosen":
        show_forbidden(page, found.found.forbidden)
    if entry.event.kind in {"scale_reading", "part_fitted", "part_left_off"}:
        show_discord(page, found.found)
    if entry.event.kind != "withdrawn":
        page.prose(f"If this is wrong: rollwright log undo {entry.car} {entry.seq} --because TEXT")


def show_discord(page: LogPage, found: Folded) -> None:
    """Add which figures of scale and parts disagree, so that the scale moves nothing."""
    odd = found.discord
    if odd is None:
        return
    words = discord_words(
        page,
        where=odd.pan.value,
        shown=odd.shown,
        expected=odd.expected,
        against=[each.value for each in odd.against],
    )
    page.prose(
        f"{words[:1].upper()}{words[1:]}. Until they agree the scale says nothing of where the mass is.",
        first="! ",
        bold=True,
    )


def _is_odd(seq: int, found: Folded) -> bool:
    """Return whether an entry is far at odds with the rest, or contradicts another."""
    if any(state.doubt is not None and seq in state.doubt.entries for state in found.gates.values()):
        return True
    strains = () if found.estimate is None else found.estimate.strains
    return any(each.ratio > _ODD and each.name.split()[:2] == ["entry", str(seq)] for each in strains)


def show_forbidden(page: LogPage, bent: Mapping[Station, float]) -> None:
    """Add which axles are bent by how much [rad], though the class allows no bent axle."""
    if not bent:
        return
    each = [f"the {station.words} axle is bent by {page.angle(bend)}" for station, bend in bent.items()]
    page.prose(
        f"The class allows no bent axle, and {listed(each)}: straighten it, fit a straight one, or choose "
        "another class.",
        first="! ",
        bold=True,
    )


def _show_bend(page: LogPage, found: Folded, station: Station | None) -> None:
    """Add what a builder should know of the axle that was bent."""
    car = found.known.car
    if not car.bent_axles:
        page.prose("No bent axle is allowed on this car.", first="! ", bold=True)
    elif station is car.raised:
        page.prose(
            f"The {car.raised.words} wheel is raised and does not carry: a bend there changes how high it "
            "hangs, and neither level nor steer.",
            first="! ",
            bold=True,
        )


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
    show_discord(page, found.found)
    estimate, gates = found.found.estimate, found.found.gates.values()
    doubted = any(state.doubt is not None for state in gates)
    if estimate is not None and estimate.misfit_probability < _DOUBTFUL and not doubted:
        page.gap()
        page.prose(
            "What was read since the last change disagrees with the car file, or with what was known before, "
            "by more than its uncertainties allow. Check the side, the unit and the set-up.",
            first="! ",
            bold=True,
        )
    for cause in found.causes:
        page.gap()
        page.prose(f"{cause.words} ({percent(cause.probability)} likely)", first="? ")
        page.prose(cause.step, first="  ")
    page.gap()
    if found.stopping is not None and found.stopping.stop.value == "will not come good":
        # The step that has nothing left to try gives the same reason.
        reason = "" if found.step.kind == "stuck" else f" {found.stopping.reason}"
        page.prose(f"This body will not come good.{reason}", first="! ", bold=True)
        page.gap()
    page.prose(f"Next: {found.step.text}", bold=True)
    if found.step.effect:
        page.prose(found.step.effect, first="  ")
    if found.step.caution:
        page.prose(f"Mind: {found.step.caution}", first="  ")
    if found.step.command:
        page.prose(found.step.command, first="  ")


def show_outlook(page: LogPage, found: Next) -> None:
    """Add whether another round is worth it, and what is known of the hand that makes it.

    Args:
        page: where to add it.
        found: the advice.
    """
    page.gap()
    if found.advised.advice.plan.moves or not found.unread:
        lead = {"good enough": "Good enough. ", "will not come good": "This body will not come good. "}
        if found.advised.advice.plan.moves:
            lead["will not come good"] = "These moves bring it nearer, but this body will not come good. "
        page.prose(
            f"{lead.get(found.stopping.stop.value, '')}{found.stopping.reason}",
            first="- ",
            rest="  ",
            bold=bool(lead.get(found.stopping.stop.value)),
        )
    for kind, factor in found.found.hand.factors.items():
        # What could as well be chance is no habit that a builder should think about.
        if abs(factor.value - 1.0) <= _CLEARLY * factor.uncertainty:
            continue
        name = {"relief": "sandings", "washer": "changes of washers"}.get(kind, f"{kind}s")
        count = "one move" if factor.moves == 1 else f"{factor.moves} moves"
        page.prose(
            f"Your {name} come to {factor.value:.2f} ± {factor.uncertainty:.2f} times what you aim for, by "
            f"{count} in this log; that is allowed for.",
            first="- ",
            rest="  ",
        )


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
