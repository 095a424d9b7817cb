"""The gates of the log that are lists, drill, trim and inspect: one line for each, or all their lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rollwright.cli.log_page import AGAIN, MARKS, NEVER, TIED, LogPage
from rollwright.cli.page import listed, percent
from rollwright.judge.verdict import State

if TYPE_CHECKING:
    from rollwright.workbench.log_gates import GateState, Item

__all__ = ["item_line", "lead_of", "list_line"]

_MOST_NAMED = 3
_NEVER_SAID = {"drill": "never read", "trim": "nothing entered yet", "inspect": "never read"}
_GOOD = {
    "drill": "{count} looked at, all inside",
    "trim": "{count} fitted or left off",
    "inspect": "{count} rules kept",
}
_IN_PART = {"drill": "looked at and inside", "trim": "fitted or left off", "inspect": "rules kept"}


def lead_of(gate: str) -> str:
    """Return a gate's name, as wide as the longest."""
    return f"{gate:<7}".replace(" ", TIED)


def list_line(page: LogPage, state: GateState, *, chosen: bool) -> tuple[str, str]:
    """Return the mark and the line of a gate that is a list.

    Args:
        page: says the units.
        state: how the gate stands.
        chosen: whether a class was chosen, without which nothing can be inspected.

    Returns:
        The mark, and what it says: what fails first, else what is still to be read, else that all is well.
    """
    gate, lead = state.gate.value, lead_of(state.gate.value)
    if gate == "inspect" and not chosen:
        return NEVER, f"{lead} no class chosen"
    if state.verdict is None:
        return NEVER, f"{lead} {_NEVER_SAID[gate]}"
    failed = [
        item for item in state.items if item.state is State.FAIL and item.standing.value != "read again"
    ]
    if failed:
        text = f"{lead} {'; '.join(_found(page, item) for item in failed[:2])}{_more(failed)}"
        return MARKS[State.FAIL], f"{text}{_remarks(failed)}"
    again = [item for item in state.items if item.standing.value == "read again"]
    if again:
        since = listed([f"{item.name}{_since(item)}{_expected(page, item)}" for item in again[:2]])
        return AGAIN, f"{lead} read again: {since}{_more(again)}"
    count = _count(state)
    if state.verdict.state is State.PASS:
        word = "predicted to hold" if state.standing.value == "predicted to hold" else "holds"
        return MARKS[State.PASS], f"{lead} {word}: {_GOOD[gate].format(count=count)}"
    open_ = [item for item in state.items if item.state is State.UNCLEAR]
    missing = [item.name for item in state.items if item.needed and item.state is None]
    text = f"{lead} {count} {_IN_PART[gate]}"
    if open_:
        text += f"; {'; '.join(_found(page, item) for item in open_[:2])}{_more(open_)}{_remarks(open_)}"
    if missing:
        named = [*missing[:_MOST_NAMED], f"{len(missing) - _MOST_NAMED} more"]
        text += f"; still: {', '.join(named if len(missing) > _MOST_NAMED else missing)}"
    return MARKS[State.UNCLEAR], text


def _count(state: GateState) -> str:
    """Return how many of how many are well: of what the gate waits for, so that the list never grows."""
    if state.gate.value == "inspect" and state.verdict is not None:
        return f"{round(state.verdict.value)} of {round(state.verdict.high)}"
    waited = [item for item in state.items if item.needed]
    count = f"{sum(item.passed for item in waited)} of {len(waited)}"
    # What follows from other readings of a hole is nothing that anybody looked at.
    beyond = len(state.items) - len(waited) if state.gate.value == "trim" else 0
    return f"{count}, and {beyond} more" if beyond else count


def _more(items: Sequence[Item]) -> str:
    return f"; {len(items) - 2} more" if len(items) > 2 else ""


def _since(item: Item) -> str:
    if not item.reasons:
        return ""
    last = item.reasons[-1]
    return f", since the {last.words} (entry{TIED}{last.seq})"


def _expected(page: LogPage, item: Item) -> str:
    """Return what is expected of a number that must be read again, where that can be told."""
    verdict, kind = item.verdict, item.kind
    spreads = [
        size[1] for each in item.reasons for rule, size in each.sizes.items() if rule.words == item.name
    ]
    if verdict is None or kind is None or not spreads or float("inf") in spreads:
        return ""
    limits = _limits(page, item).replace("at most", "most").replace("at least", "least")
    return f", expected {page.quantity(kind, verdict.value, verdict.uncertainty)}, {limits}"


def _limits(page: LogPage, item: Item) -> str:
    """Return what is asked of a number: `at most 140 g`, `± 0.30°`."""
    verdict, kind = item.verdict, item.kind
    if verdict is None or kind is None:
        return ""
    low, high = verdict.low, verdict.high
    infinite = float("inf")
    if low == -high:
        return f"±{TIED}{page.quantity(kind, high)}"
    if low == -infinite:
        return f"at most {page.quantity(kind, high)}"
    if high == infinite:
        return f"at least {page.quantity(kind, low)}"
    return f"{page.quantity(kind, low)} to {page.quantity(kind, high)}"


_WAYS = {
    "cant": ("up", "down"),
    "sweep": ("forward", "backward"),
    "heading": ("to the left", "to the right"),
    "height": ("too high", "too low"),
}
"""Which way a hole or a pair of holes is off, by the last word of its name: positive, negative."""


def _way_off(item: Item, value: str) -> str:
    ways = _WAYS.get(item.name.rpartition(" ")[2])
    if item.verdict is None or ways is None or not value.partition("±")[0].strip(f"0.°{TIED} m"):
        return " off"
    return f" off, {ways[0] if item.verdict.value > 0.0 else ways[1]}"


def _found(page: LogPage, item: Item) -> str:
    """Return what was found of one thing against what is asked."""
    if item.verdict is None or item.kind is None:
        said = f": {item.words}" if item.words else ""
        return f"{item.name}{said}"
    value, off = page.quantity(item.kind, item.verdict.value, item.verdict.uncertainty), ""
    if item.verdict.low == -item.verdict.high:
        # What is off what was meant has no sign but a way.
        value = page.quantity(item.kind, abs(item.verdict.value), item.verdict.uncertainty)
        off = _way_off(item, value)
    limits = _limits(page, item)
    if item.state is State.UNCLEAR:
        chance = percent(item.verdict.probability)
        return f"{item.name} {value}{off}, {limits}: cannot tell yet ({chance} inside)"
    return f"{item.name} {value}{off}, {limits}"


def _remarks(items: Sequence[Item]) -> str:
    """Return what is remarked on numbers, once each, in brackets; empty where nothing is."""
    said = dict.fromkeys(item.words for item in items if item.words and item.verdict and item.kind)
    return f" ({'; '.join(said)})" if said else ""


def item_line(page: LogPage, item: Item, *, margin: bool = False) -> tuple[str, str]:
    """Return the mark and the line of one thing in a list.

    Args:
        page: says the units.
        item: the thing.
        margin: whether to say how far it is from its nearer limit.

    Returns:
        The mark, and what was found, what is asked, and by which entry.
    """
    at = f" (entry{TIED}{item.read_at})" if item.read_at else ""
    if item.state is None and item.verdict is not None:
        return NEVER, f"{_found(page, item)}{at}{_remarks([item])}"
    if item.state is None:
        return NEVER, f"{item.name}: {item.words or 'never read'}" + ("" if item.needed else ", not needed")
    if item.standing.value == "read again":
        return AGAIN, f"{item.name}: read again{_since(item)}{_expected(page, item)}"
    text = f"{_found(page, item)}{at}{_remarks([item])}"
    if margin and item.verdict is not None and item.kind is not None:
        inside = min(item.verdict.value - item.verdict.low, item.verdict.high - item.verdict.value)
        word = "inside" if inside >= 0.0 else "outside"
        text += f", {page.quantity(item.kind, abs(inside))} {word}"
    if item.standing.value == "predicted to hold":
        text += ", predicted to hold"
    return MARKS[item.state], text
