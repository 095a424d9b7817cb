"""The bench log as text: its gates with their marks, what was entered, and where a car stands."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from rollwright.cli.log_entry_words import entry_words
from rollwright.cli.log_lists import lead_of, list_line
from rollwright.cli.log_page import AGAIN, MARKS, NEVER, ROLLED, TIED, LogPage
from rollwright.cli.page import listed, percent
from rollwright.judge.verdict import State, Verdict

if TYPE_CHECKING:
    from rollwright.workbench.log import Entered, Folded
    from rollwright.workbench.log_gates import Change, GateState, Next, Where
    from rollwright.workbench.log_past import History

__all__ = ["show_entered", "show_gates", "show_history", "show_outlook", "show_where"]

NUMBERED = ("level", "steer", "centre")
"""The gates with a number, in the order of the gate quantities."""
TRIMMED = ("steer", "centre")
"""The gates whose readings want everything fitted that will race."""
_DOUBTFUL = 0.01


def _said(verdict: Verdict) -> str:
    if verdict.state is State.UNCLEAR:
        return f"cannot tell yet ({percent(verdict.probability)} inside)"
    return "inside" if verdict.state is State.PASS else "outside"


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
    tolerance = page.length((verdict.high - verdict.low) / 2.0)
    if standing == "holds":
        read = page.gate(name, verdict.value, verdict.uncertainty)
        at = f"(entry{TIED}{state.read_at})"
        if state.before_trim and name in TRIMMED:
            at = f"(entry{TIED}{state.read_at}, before trim was complete)"
        if verdict.state is State.PASS:
            return MARKS[State.PASS], f"{lead} holds: {read}, inside {at}"
        return MARKS[verdict.state], f"{lead} {read}, {_said(verdict)}; its reading holds {at}"
    if standing == "predicted to hold" and state.shift is not None:
        moved = f"shifted by {page.shift(name, state.shift)}, tolerance ±{TIED}{tolerance}"
        return MARKS[State.PASS], f"{lead} predicted to hold: {moved}, since {_since(state)}. {expected}"
    return AGAIN, f"{lead} read again: {_why(page, state, index)}. {expected}"


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
    show_gates(page, found.found, only=only, rolled=found.rolled, quiet=True)
    show_trouble(page, found.found)
    estimate = found.found.estimate
    if entry.event.kind == "reading" and estimate is not None and estimate.misfit_probability < _DOUBTFUL:
        page.prose(
            "This disagrees with the other readings or with the car file by more than their uncertainties "
            "allow: check the side, the unit and the set-up.",
            first="! ",
            bold=True,
        )
    if entry.event.kind == "scale_reading" and found.found.agreement < _DOUBTFUL:
        page.prose(
            "The scale and the masses in the car file disagree by more than their uncertainties allow: check "
            "what stood on the scale, its zero and its unit, and what is fitted.",
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
    estimate = found.found.estimate
    if estimate is not None and estimate.misfit_probability < _DOUBTFUL:
        page.gap()
        page.prose(
            "What was read since the last change disagrees by more than its uncertainties allow; what stands "
            "above is not to be trusted. Read again, or take back what is wrong.",
            first="! ",
            bold=True,
        )
    for cause in found.causes:
        page.gap()
        page.prose(f"{cause.words} ({percent(cause.probability)} likely)", first="? ")
        page.prose(cause.step, first="  ")
    page.gap()
    if found.stopping is not None and found.stopping.stop.value == "will not come good":
        page.prose(f"This body will not come good. {found.stopping.reason}", first="! ", bold=True)
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
        page.prose(
            f"{lead.get(found.stopping.stop.value, '')}{found.stopping.reason}",
            first="- ",
            rest="  ",
            bold=bool(lead.get(found.stopping.stop.value)),
        )
    for kind, factor in found.found.hand.factors.items():
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
