"""How a batch is told: the share, what is wrong with the jig and the mend, then the figures behind it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rollwright.cli.page import Page, listed, percent
from rollwright.units import Kind, System
from rollwright.workbench.batch import Cause, Direction, Hole, JudgedHole, WanderKind

if TYPE_CHECKING:
    from rollwright.workbench.batch import Batch, Changed, Found, Ranged, Wander

__all__ = ["show_batch"]

_TIED = "\N{NO-BREAK SPACE}"
_TOO = {
    Direction.CANT: ("outer ends too far up", "outer ends too far down"),
    Direction.SWEEP: ("outer ends too far forward", "outer ends too far backward"),
    Direction.HOLE_HEIGHT: ("holes too high", "holes too low"),
}
_MEND = {
    Direction.CANT: ("they come down", "they come up"),
    Direction.SWEEP: ("they go backward", "they go forward"),
    Direction.HOLE_HEIGHT: ("they come down", "they come up"),
}
_WAYS = {Direction.CANT: ("up", "down"), Direction.SWEEP: ("forward", "backward")}
_MOST_ASIDE = 5
_MOST_SIGNALS = 4


def show_batch(page: Page, found: Found) -> None:
    """Add a judged batch to a page: the answer, what to do, then the figures.

    Args:
        page: where to add it.
        found: the batch.
    """
    batch = found.batch
    _answer(page, found)
    page.gap()
    _advice(page, batch)
    page.gap()
    _more(page, found)
    page.gap()
    _table(page, batch)
    _signals(page, batch)
    if found.versus is not None:
        page.gap()
        _against(page, found, found.versus)
    page.gap()
    _notes(page, found)


def _short(hole: Hole) -> str:
    """Return a hole's name as it fits a table: `rear left height`."""
    return hole.words.replace("hole height", "height")


def _size(page: Page, hole: Hole, value: float, uncertainty: float | None = None) -> str:
    return page.quantity(_kind(hole), value, uncertainty)


def _kind(hole: Hole) -> Kind:
    return Kind.ANGLE if hole.direction.is_angle else Kind.LENGTH


def _signed(page: Page, hole: Hole, value: float) -> str:
    """Return a number with its sign; none where it is printed as zero."""
    shown = _size(page, hole, value)
    return f"+{shown}" if value > 0.0 and shown.strip("0.°mthou" + _TIED) else shown


def _between(low: str, high: str) -> str:
    return f"{low} to {high}"


def _ends(page: Page, hole: Hole, low: float, high: float) -> str:
    return _between(_signed(page, hole, low), _signed(page, hole, high))


def _share(found: Ranged) -> str:
    return f"{percent(found.value)} ({_between(percent(found.low), percent(found.high))})"


def _answer(page: Page, found: Found) -> None:
    batch = found.batch
    share, unclear = batch.share, batch.unclear
    failed = share.drilled - share.good - unclear
    rest = [f"{failed} fail" + ("s" if failed == 1 else "")] if failed else []
    rest += [f"{unclear} cannot be told"] if unclear else []
    bodies = "body" if share.drilled == 1 else "bodies"
    passing = "passes" if share.good == 1 else "pass"
    page.prose(
        f"{batch.set_up}: {share.good} of {share.drilled} {bodies} {passing}"
        f"{'; ' + ', '.join(rest) if rest else ''}.",
        bold=True,
    )
    page.prose(f"Of all that it drills, {percent(share.low)} to {percent(share.high)} would (90 % sure).")
    if unclear:
        page.prose("What cannot be told counts as not passed: read it finer and the share can only rise.")


def _advice(page: Page, batch: Batch) -> None:
    wandering = [hole for hole in batch.holes if hole.wander is not None or hole.spread is not None]
    for hole in wandering:
        for change in (hole.wander, hole.spread):
            if change is not None:
                page.prose(_wander(page, hole, change), first="! ", rest="  ", bold=True)
    wrong = [hole for hole in batch.holes if hole.cause in {Cause.BIAS, Cause.SCATTER, Cause.BOTH}]
    for hole in sorted(wrong, key=lambda each: -batch.shimmed.get(each.hole.name, 0.0)):
        if hole.cause is not Cause.SCATTER:
            page.prose(_wrong(page, hole), first="! ", rest="  ", bold=True)
    scattered = [hole for hole in wrong if hole.cause is Cause.SCATTER]
    if scattered:
        page.prose(_scattered(page, scattered), first="! ", rest="  ", bold=True)
    if batch.scatter_alone is not None and batch.as_drilled is not None:
        biased = any(hole.fit is not None and hole.fit.biased for hole in batch.holes)
        before = " before the change" if any(hole.before is not None for hole in batch.holes) else ""
        page.prose(
            f"As the jig stands{before}, bias and scatter let {percent(batch.as_drilled.value)} "
            f"be good{'; the scatter alone would pass' if biased else ', and without any bias'} "
            f"{_share(batch.scatter_alone)}."
        )
    _small(page, batch, stands=not wandering and not wrong)


def _small(page: Page, batch: Batch, *, stands: bool) -> None:
    """Say where a sure bias costs little, and that the jig may stay where nothing is wrong."""
    if stands and any(hole.fit is not None for hole in batch.holes):
        page.prose("No hole stands out: the jig may stay as it is.")
    for hole in batch.holes:
        if hole.cause is Cause.GOOD and hole.fit is not None and hole.fit.biased:
            page.prose(
                f"{hole.hole.words}: a sure bias of {_signed(page, hole.hole, hole.fit.bias)} that costs "
                "little.",
                first="- ",
                rest="  ",
            )


def _wander(page: Page, hole: JudgedHole, found: Wander) -> str:
    """Return from which body on bit or bushing is not what it was."""
    name, first = hole.hole.words, hole.number_at(found.first)
    earliest, latest = hole.number_at(found.earliest), hole.number_at(found.latest)
    where = f"from body {first} on" + ("" if earliest == latest else f" (or from {earliest} to {latest})")
    size = _size(page, hole.hole, abs(found.change))
    if found.kind is WanderKind.SPREAD:
        more = "more" if found.change > 0.0 else "less"
        return f"Your {name} scatters {more} {where}: find what came loose or was changed there."
    ways = _WAYS.get(hole.hole.direction, ("up", "down"))
    way = ways[0] if found.change > 0.0 else ways[1]
    if found.kind is WanderKind.STEP:
        return f"Your {name} jumps {where}, by {size} {way}: look what moved in the jig there."
    last = hole.points[-1].number
    return (
        f"Your {name} wanders {where}, and by body {last} it is {size} {way} of where it was: change bit or "
        "bushing before you drill on."
    )


def _wrong(page: Page, hole: JudgedHole) -> str:
    """Return what is wrong with a hole, and the mend."""
    fit, told = hole.fit, hole.capability
    if fit is None or told is None:
        return ""
    name, way = hole.hole.words, hole.hole.direction
    sign = 0 if fit.bias > 0.0 else 1
    until = f" up to body {hole.before - 1}" if hole.before is not None else ""
    bias = (
        f"Your {name} is biased by {_signed(page, hole.hole, fit.bias)}{until} "
        f"({_ends(page, hole.hole, fit.bias_low, fit.bias_high)}), {_TOO[way][sign]}: "
        f"move the jig so that {_MEND[way][sign]} {_size(page, hole.hole, abs(fit.bias))}"
        f"{_shim(page, hole)}"
    )
    alone = percent(told.centred.value)
    if hole.cause is Cause.BIAS:
        return f"{bias}. Its scatter alone would pass {alone}."
    scatter = (
        f"scatter of {_size(page, hole.hole, fit.scatter)} is too wide for "
        f"±{_TIED}{_size(page, hole.hole, told.tolerance)}"
    )
    return f"{bias}. No more than {alone} would pass then: its {scatter}, which no shim mends."


def _scattered(page: Page, holes: list[JudgedHole]) -> str:
    """Return where the scatter alone is too wide, and that no shim mends it."""
    said = [
        f"{hole.hole.words} ({_size(page, hole.hole, hole.fit.scatter)} for "
        f"±{_TIED}{_size(page, hole.hole, hole.capability.tolerance)}, so that "
        f"{percent(hole.capability.inside.value)} pass)"
        for hole in holes
        if hole.fit is not None and hole.capability is not None
    ]
    return (
        f"The scatter is too wide, and no bias is sure: {listed(said)}. No shim mends that; look at "
        "clamping, bit, bushing and feed."
    )


def _shim(page: Page, hole: JudgedHole) -> str:
    """Return how thick a shim turns the jig by as much, on a length that anyone can scale."""
    if hole.fit is None or not hole.hole.direction.is_angle:
        return ""
    base = 0.1 if page.system is System.METRIC else 0.1016
    thick = page.length(base * math.tan(abs(hole.fit.bias)))
    on = f"100{_TIED}mm" if page.system is System.METRIC else f"4{_TIED}in"
    return f", a shim of {thick} on {on} of jig".replace("100 mm", f"100{_TIED}mm").replace(
        "4 in", f"4{_TIED}in"
    )


def _bodies(count: int | None) -> str:
    return "more than anyone drills" if count is None else f"{count}"


def _more(page: Page, found: Found) -> None:
    more = found.batch.more
    if more.missing == 0:
        page.prose(f"You have the {more.good} good ones that you asked for.")
        return
    wanted = f"For {more.good} good ones in all" if found.good is not None else "For one more good one"
    if more.more is None:
        page.prose(f"{wanted} nobody can say how many to drill: too few were good so far.")
        return
    page.prose(
        f"{wanted} drill {more.more} more (90 % sure, what is not known of the share allowed for): "
        f"{_bodies(more.as_counted)} were the share exactly as counted, {_bodies(more.at_best)} at best, "
        f"{_bodies(more.at_worst)} at worst."
    )


def _table(page: Page, batch: Batch) -> None:
    rows = []
    for hole in batch.holes:
        fit, told = hole.fit, hole.capability
        if fit is None or told is None:
            rows.append((_short(hole.hole), "too few", "", ""))
            continue
        scatter = _size(page, hole.hole, fit.scatter) if fit.scatter > 0.0 else "none"
        cpk = "over 3" if told.cpk.value > 3.0 else f"{told.cpk.value:.2f}".replace("-", "−")
        rows.append((_short(hole.hole), _signed(page, hole.hole, fit.bias), scatter, cpk))
    if not rows:
        page.prose("Nothing was read of their holes, so only the count can be judged.")
        return
    head = ("hole", "bias", "scatter", "Cpk")
    wide = sum(max(len(row[at]) for row in (*rows, head)) for at in range(4)) + 3 > page.width
    page.table([row[:3] for row in rows] if wide else rows, head=head[:3] if wide else head)
    judged = [hole for hole in batch.holes if hole.capability is not None]
    if judged:
        _worst(page, min(judged, key=lambda each: each.capability.cpk.value if each.capability else math.inf))


def _worst(page: Page, hole: JudgedHole) -> None:
    told = hole.capability
    if told is None:
        return
    value = "over 3" if told.cpk.value > 3.0 else f"{told.cpk.value:.2f}"
    high = "no end" if math.isinf(told.cpk.high) else f"{told.cpk.high:.2f}"
    page.prose(
        f"Scatter from body to body, gauge taken off. Cpk is distance to the nearer limit over three "
        f"scatters, good from 1 on: least at the {hole.hole.words}, {value} "
        f"({told.cpk.low:.2f} to {high})".replace("-", "−")
        + f", its tolerance ±{_TIED}{_size(page, hole.hole, told.tolerance)}."
    )


def _signals(page: Page, batch: Batch) -> None:
    broken = [hole for hole in batch.holes if hole.chart is not None and hole.chart.signals]
    charted = sum(hole.chart is not None for hole in batch.holes)
    if not charted:
        return
    page.gap()
    if not broken:
        page.prose(f"Charts of {charted} holes: no rule is broken.")
        return
    page.prose(f"Charts, rules broken (of {charted} some break by chance):")
    for hole in broken:
        signals = hole.chart.signals if hole.chart is not None else ()
        said = [
            f"{signal.rule.value} ({_at(hole.number_at(signal.first), hole.number_at(signal.last))})"
            for signal in signals[:_MOST_SIGNALS]
        ]
        if len(signals) > _MOST_SIGNALS:
            said.append(f"{len(signals) - _MOST_SIGNALS} more")
        page.prose(f"{hole.hole.words}: {listed(said)}.", first="- ", rest="  ")


def _at(first: int, last: int) -> str:
    return f"body {first}" if first == last else f"{first} to {last}"


def _against(page: Page, found: Found, other: Batch) -> None:
    this = found.batch
    page.prose(f"Against {other.set_up}", bold=True)
    if found.share_change is not None:
        change = found.share_change
        sure = "" if change.low > 0.0 or change.high < 0.0 else ", which may be chance"
        within = _between(_points(change.low), _points(change.high))
        page.prose(
            f"{other.share.good} of {other.share.drilled} passed there, {this.share.good} of "
            f"{this.share.drilled} here: {_points(change.value)} ({within}){sure}."
        )
    said = False
    for hole, each in found.changes.items():
        text = _changed(page, hole, each)
        if text:
            said = True
            page.prose(f"{hole.words}: {text}.", first="- ", rest="  ")
    if found.changes and not said:
        page.prose("No hole's bias or scatter surely changed.")
    elif said:
        page.prose(f"Of {len(found.changes)} holes, each at 90 %: one in ten shows a change by chance.")


def _points(share: float) -> str:
    return f"{100.0 * share:+.0f}{_TIED}%".replace("-", "−")


def _changed(page: Page, hole: Hole, found: Changed) -> str:
    parts = []
    if found.bias_changed:
        parts.append(
            f"bias moved {_signed(page, hole, found.bias.value)} "
            f"({_ends(page, hole, found.bias.low, found.bias.high)})"
        )
    if found.scatter_changed:
        ratio, low, high = (
            "no end" if not math.isfinite(each) else f"{each:.2f}"
            for each in (found.scatter.value, found.scatter.low, found.scatter.high)
        )
        if found.scatter.value == 0.0:
            parts.append(f"no scatter shows here, at most {high} times that there")
        else:
            parts.append(f"scatter {ratio} times that there ({_between(low, high)})")
    return ", ".join(parts)


def _notes(page: Page, found: Found) -> None:
    read = dict.fromkeys(hole.hole.direction for hole in found.batch.holes)
    assumed = [way.words for way in read if f"drill.{way.value}" in found.drilled.assumed]
    if assumed:
        ways = listed(assumed)
        page.prose(
            f"Tolerance of {ways} assumed: say it under [drill] of the car or batch file.",
            first="- ",
            rest="  ",
        )
    if len(found.set_ups) > 1 and found.versus is None:
        others = [name for name in found.set_ups if name != found.batch.set_up]
        page.prose(
            f"Other set-ups: {listed(others[:_MOST_ASIDE])}; see --set-up and --vs.", first="- ", rest="  "
        )
    reasons: dict[str, list[str]] = {}
    for each in found.set_aside:
        reasons.setdefault(each.why, []).append(each.name)
    for why, names in reasons.items():
        shown = listed(
            [
                *names[:_MOST_ASIDE],
                *([f"{len(names) - _MOST_ASIDE} more"] if len(names) > _MOST_ASIDE else []),
            ]
        )
        page.prose(f"Set aside: {shown}; {why}.", first="- ", rest="  ")
