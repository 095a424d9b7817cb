"""How a tolerance analysis is told: where care pays, what is good, and how good a drill that takes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rollwright.cli.page import Page, listed, not_given, percent
from rollwright.cli.study_words import named
from rollwright.units import Kind, System

if TYPE_CHECKING:
    from rollwright.workbench.tolerance import Back, Dimension, GateShare, Limit, Tolerance, Tolerated

__all__ = ["show_tolerance"]

_LISTED = 6
_WORTH_NAMING = 0.005
_ALIKE = 0.03
_TIED = "\N{NO-BREAK SPACE}"
_GATES = ("level", "steer", "centre")
_PLANES = {"cant": "cant", "sweep": "sweep", "hole_height": "hole height"}
_TURN = ".clock"


def show_tolerance(page: Page, found: Tolerated) -> None:
    """Add a tolerance analysis to a page: the answer, then limits, shares, the way back, and the reasons.

    Args:
        page: where to add it.
        found: the analysis.
    """
    result = found.found
    _answer(page, found)
    page.gap()
    _limits(page, result)
    page.gap()
    _shares(page, found)
    page.gap()
    _backwards(page, result)
    page.gap()
    _rests(page, found)


def _answer(page: Page, found: Tolerated) -> None:
    result = found.found
    care = [f"the {named(each.name)}" for each in result.care]
    page.prose(f"{found.car.name}: spend care on {listed(care)}.", bold=True)
    part = sum(each.weight for each in result.care)
    page.prose(
        f"{'Together they make' if len(care) > 1 else 'It makes'} {percent(part)} of what scatter does "
        "to level, steer and centre."
    )
    worst = min(result.drill.planes, key=lambda plane: result.drill.planes[plane])
    weak = f", mostly for the {_PLANES[worst]}" if result.drill.planes[worst] < 1.0 else ""
    page.prose(f"{percent(result.drill.normal)} of the bodies pass the drill; the rest fail{weak}.")


def _limits(page: Page, result: Tolerance) -> None:
    page.prose("How far each may be off, alone", bold=True)
    ranked = sorted(result.dimensions, key=lambda each: -each.weight)
    shown = [each for each in ranked[:_LISTED] if each.weight > _WORTH_NAMING]
    for each in shown:
        page.prose(
            f"{named(each.name)}, scatter {page.quantity(each.kind, each.deviation)}: {_room(page, each)}. "
            f"{_does(page, each)}.",
            first="- ",
            rest="  ",
        )
    for number, gate in enumerate(_GATES):
        most = sorted(result.dimensions, key=lambda each: -each.shares[number])
        told = [
            f"{named(each.name)} {percent(each.shares[number])}"
            for each in most[:3]
            if each.shares[number] >= 0.05
        ]
        if told:
            page.prose(f"of {gate}: {', '.join(told)}", first="  ", rest="    ")


def _room(page: Page, each: Dimension) -> str:
    """Return how far it may be off and what is missed then."""
    less, more = each.less, each.more
    if less.off is None and more.off is None:
        return "no gate is missed, as far as was looked"
    if less.off is None or more.off is None:
        limit, way = (more, "more") if less.off is None else (less, "less")
        return f"{_far(page, each, limit)} {way}, then {_missed(limit)}"
    if less.gate == more.gate and abs(less.off - more.off) <= _ALIKE * max(less.off, more.off):
        nearer = less if less.off < more.off else more
        return f"{_far(page, each, nearer)} either way, then {_missed(nearer)}"
    if less.gate == more.gate:
        return f"{_far(page, each, less)} less or {_far(page, each, more)} more, then {_missed(less)}"
    return (
        f"{_far(page, each, less)} less, then {_missed(less)}; {_far(page, each, more)} more, "
        f"then {_missed(more)}"
    )


def _far(page: Page, each: Dimension, limit: Limit) -> str:
    return page.quantity(each.kind, limit.off or 0.0)


def _missed(limit: Limit) -> str:
    if limit.gate == "stands":
        return "it stands on other wheels"
    return f"it misses {limit.gate}"


def _does(page: Page, each: Dimension) -> str:
    """Return what a little more of it does to the gate that it harms most."""
    small, words = _little(page, each)
    number = _GATES.index(each.less.gate) if each.less.gate in _GATES else _most_harmed(each)
    change = small * each.slopes[number]
    size = page.length(abs(change))
    if number == 0:
        told = f"{'lifts' if change > 0.0 else 'drops'} the nose by {size}"
    elif number == 1:
        told = f"drifts {page.drift(change)}"
    else:
        told = f"moves the wheel {size} {'off the rail' if change > 0.0 else 'into the rail'}"
    return f"{words} more {told}"


def _most_harmed(each: Dimension) -> int:
    return max(range(len(_GATES)), key=lambda number: each.shares[number])


def _little(page: Page, each: Dimension) -> tuple[float, str]:
    """Return a small change that a hand can picture [rad or m], and how it is written."""
    if each.kind is Kind.ANGLE:
        degrees = 1.0 if each.name.endswith(_TURN) else 0.1
        return math.radians(degrees), f"{degrees:g}°"
    if page.system is System.INCH:
        return 10 * 25.4e-6, f"10{_TIED}thou"
    return 1e-4, f"0.1{_TIED}mm"


def _shares(page: Page, found: Tolerated) -> None:
    result = found.found
    drill, all_three = result.drill, result.off_drill.together
    rows = [("pass the drill", percent(drill.drawn.share), percent(drill.normal))]
    rows += [_row(f"inside {each.name}", each, each.normal) for each in result.off_drill.gates]
    rows.append(_row("inside all three", all_three, all_three.straight))
    if result.adjusted is not None:
        rows.append(("once adjusted", percent(result.adjusted.brought.share), ""))
    page.table(rows, head=(f"of {_spaced(result.runs)} bodies", "share", "by line"))
    page.gap()
    page.prose(
        "Pass the drill: cant, sweep and height of the three holes that carry, each within [drill]. With the "
        f"heights against each other as well {percent(drill.with_pairs.share)}, for cant and sweep alone "
        f"{percent(drill.angles)}.",
        first="- ",
        rest="  ",
    )
    page.prose(
        "Inside: straight off the drill, nothing adjusted, only the holes scatter. With the scatter of all "
        f"else about the body {percent(result.all_scatter.together.drawn.share)} are inside all three.",
        first="- ",
        rest="  ",
    )
    if not result.case.as_given:
        page.prose(
            f"As its file has it {found.car.name} itself misses {_own_misses(result)}, and "
            f"{percent(result.as_file.together.drawn.share)} would be inside. So the gates are laid about "
            "it, as if the bench had set it and only scatter counts.",
            first="! ",
            rest="  ",
        )
    _adjusted(page, result)


def _row(words: str, each: GateShare, line: float) -> tuple[str, str, str]:
    return words, percent(each.drawn.share), percent(line)


def _own_misses(result: Tolerance) -> str:
    case = result.case
    off = abs(case.nominal - case.targets) > case.tolerances
    return listed([gate for gate, out in zip(_GATES, off.tolist(), strict=True) if out])


def _adjusted(page: Page, result: Tolerance) -> None:
    if result.adjusted is None:
        page.prose(
            "Adjusted: its class allows no bent axles, so the drill has to do it.", first="- ", rest="  "
        )
        return
    passed = result.adjusted.passed
    of = "" if passed is None else f", {percent(passed.share)} of those that pass the drill"
    page.prose(
        f"Adjusted: one bend of at most 12°, one turn and one trim bring them to all three targets{of}.",
        first="- ",
        rest="  ",
    )


def _backwards(page: Page, result: Tolerance) -> None:
    page.prose("How good a drill that takes", bold=True)
    now = _scatter(page, result.scatter)
    page.prose(f"Now it scatters by {now}.", first="- ", rest="  ")
    seen = result.seen
    lead = f"{_share(seen.share)} good" if seen.of is None else f"{seen.good} of {seen.of} good"
    page.prose(f"{lead}: {_told(page, result.observed)}.{_interval(result)}", first="- ", rest="  ")
    wanted = result.wanted
    page.prose(f"For {_share(wanted.share)}: {_told(page, wanted)}.{_alone(wanted)}", first="- ", rest="  ")
    if wanted.gates is not None:
        page.prose(
            f"For {_share(wanted.share)} inside all three without adjusting: {_times(wanted.gates[0])}.",
            first="- ",
            rest="  ",
        )


def _told(page: Page, back: Back) -> str:
    if back.factor is None:
        return "no scatter gives that"
    return f"{_scatter(page, back.deviations)}, {_times(back.factor)}"


def _scatter(page: Page, deviations: dict[str, float] | object) -> str:
    found = deviations if isinstance(deviations, dict) else {}
    return listed(
        [
            f"{page.quantity(Kind.LENGTH if plane == 'hole_height' else Kind.ANGLE, size)} of "
            f"{_PLANES[plane]}"
            for plane, size in found.items()
        ]
    )


def _times(factor: float) -> str:
    return f"{factor:.2f}{_TIED}times what it is"


def _share(share: float) -> str:
    return f"{100.0 * share:.3g}{_TIED}%"


def _interval(result: Tolerance) -> str:
    interval, factors = result.seen.interval, result.observed.factors
    if interval is None:
        return ""
    told = (
        f" So few leave room for {100.0 * interval.low:.0f} to {100.0 * interval.high:.0f}{_TIED}% with "
        f"95{_TIED}%"
    )
    if factors is None:
        return f"{told}."
    if math.isinf(factors.high):
        return f"{told}: {factors.low:.2f} times or more."
    return f"{told}: {factors.low:.2f} to {factors.high:.2f} times."


def _alone(back: Back) -> str:
    if back.factor is None or back.factor >= 1.0:
        return ""
    enough = [
        f"the {_PLANES[plane]} alone, at {factor:.2f} times, would do"
        for plane, factor in back.alone.items()
        if factor is not None
    ]
    return f" {listed(enough).capitalize()}." if enough else " No one of them alone would do."


def _rests(page: Page, found: Tolerated) -> None:
    result = found.found
    case = result.case
    page.prose(_straight(result), first="- ", rest="  ")
    if case.drill_from_tolerance:
        page.prose(
            "The file gives the holes no scatter, so half of each tolerance under [drill] is taken.",
            first="- ",
            rest="  ",
        )
    if case.measured:
        page.prose(
            f"The {listed([_PLANES[plane] for plane in case.measured])} of some holes was measured: what "
            "scatters there is the gauge, not the drill.",
            first="- ",
            rest="  ",
        )
    if case.guessed:
        page.prose(
            f"Nobody gave the {listed([_PLANES[plane] for plane in case.guessed])} of some holes: the "
            "scatter there is a guess, and a wide one. Give them with your drill's uncertainty.",
            first="! ",
            rest="  ",
        )
    if result.seen.of is None and result.seen.share == 0.25:
        page.prose("One drilled body in four: common practice, no source.", first="- ", rest="  ")
    page.prose(
        "Each wheel runs at the seat that the file's own car has; holes scatter independently and normally, "
        f"seed {result.seed}.",
        first="- ",
        rest="  ",
    )
    if found.assumed:
        page.prose(
            not_given(len(found.assumed)),
            first="- ",
            rest="  ",
        )


def _straight(result: Tolerance) -> str:
    """Return where straight lines are good enough."""
    ranked = sorted(result.dimensions, key=lambda each: -each.weight)
    bent = [
        named(each.name)
        for each in ranked
        if each.weight > _WORTH_NAMING
        and any(limit.ratio is not None and not limit.straight_is_good for limit in (each.less, each.more))
    ]
    shares = (*result.off_drill.gates, result.off_drill.together)
    off = [each.name for each in shares if not each.straight_is_good]
    limits = f"miss the limit of the {listed(bent)} by more than 5{_TIED}%" if bent else ""
    counts = f"miss the share at {listed(off)} by more than 2 in 100" if off else ""
    if not limits and not counts:
        return "Straight lines are good enough here: limits within 5\u00a0%, shares within 2 in 100."
    return (
        f"Straight lines {' and '.join(part for part in (limits, counts) if part)}; the rest they get right."
    )


def _spaced(number: int) -> str:
    return f"{number:,}".replace(",", _TIED)
