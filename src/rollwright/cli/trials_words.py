"""How trials are told: the answer first, then what it rests on, then what was set aside."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rollwright.cli.page import Page, listed, percent

if TYPE_CHECKING:
    from rollwright.workbench.trials import Compared, Effect, Found, Planned, SetAside
    from rollwright.workbench.trials_season import Season, Seasons, SetUp, Step

__all__ = ["show_compared", "show_planned", "show_seasons"]

_LISTED = 6
_PAIRS = 15
_TIED = "\N{NO-BREAK SPACE}"
_AGREE = 0.1
_FAR = 2.0


def _ms(seconds: float, like: float | None = None) -> str:
    """Return a time in milliseconds to the tenth, or finer where it or its like is small."""
    size = abs(1e3 * (seconds if like is None else like))
    digits = 1 if size >= 0.5 or size == 0.0 else 2 if size >= 0.05 else 3
    return f"{1e3 * seconds:.{digits}f} ms".replace("-", "−").replace(" ", _TIED)


def _signed(seconds: float, like: float) -> str:
    text = _ms(seconds, like)
    return text if seconds < 0.0 or not text.strip("0. \u00a0ms") else f"+{text}"


def _sure(confidence: float) -> str:
    return f"{100.0 * confidence:.3g} %".replace(" ", _TIED)


def _ends(low: float, high: float) -> str:
    """Return an interval of how much faster something is, in words."""
    if low >= 0.0:
        return f"{_ms(low, high)} to {_ms(high)} faster"
    if high <= 0.0:
        return f"{_ms(-high, low)} to {_ms(-low)} slower"
    return f"between {_ms(-low)} slower and {_ms(high)} faster"


def _reach(effect: Effect, *, peek: bool) -> tuple[float, float]:
    if peek:
        return effect.difference - effect.always, effect.difference + effect.always
    return effect.low, effect.high


def _answer(effect: Effect, matters: float, *, peek: bool) -> str:
    """Return the one sentence on a comparison."""
    size, sure = abs(effect.difference), _sure(effect.confidence)
    quick, slow = (effect.b, effect.a) if effect.difference >= 0.0 else (effect.a, effect.b)
    if effect.verdict == "same":
        return (
            f"{effect.a} and {effect.b} differ by less than {_ms(matters)}, {sure} sure; {quick} is ahead "
            f"by {_ms(size)}, which does not matter."
        )
    if effect.verdict != "unclear":
        least = max(0.0, effect.sure_of)
        return (
            f"{quick} is faster than {slow} by {_ms(size)}; {sure} sure it is more than {_ms(least, size)}."
        )
    low, high = _reach(effect, peek=peek)
    if not math.isfinite(low):
        return f"{quick} is ahead of {slow} by {_ms(size)} so far; too few runs to say more."
    if quick == effect.a:
        low, high = -high, -low
    runs = f"{effect.more} more run{'s' if effect.more > 1 else ''} of each would settle it"
    return (
        f"{quick} looks faster than {slow} by {_ms(size)}, but that may be chance: {_ends(low, high)} "
        f"({sure}); about {runs}, if it stays as found."
    )


def show_compared(page: Page, compared: Compared) -> None:
    """Add a comparison to a page: the answer, what it rests on, lanes and drift, and what was set aside.

    Args:
        page: where to add it.
        compared: the comparison.
    """
    found = compared.found
    several = len(found.effects) > 1
    _answers(page, compared)
    page.gap()
    _rests(page, compared)
    if not several:
        _second(page, found.effects[0])
    elif found.friedman is not None:
        page.prose(f"By ranks within heats, all alike: p {_p(found.friedman[1])} (Friedman).")
    if compared.forecast is not None:
        _forecast(page, compared)
    page.gap()
    _track(page, found)
    page.gap()
    _outliers(page, found)
    for caution in (*found.cautions, *compared.table.notes):
        page.prose(f"{caution[:1].upper()}{caution[1:]}.", first="! ")
    _set_aside(page, compared.table.set_aside, of=found.runs)


def _answers(page: Page, compared: Compared) -> None:
    effects = compared.found.effects
    for effect in effects[:_PAIRS]:
        said = _answer(effect, compared.matters, peek=compared.peek)
        page.prose(said, first="- " if len(effects) > 1 else "", bold=True)
    if len(effects) > _PAIRS:
        page.prose(f"{len(effects) - _PAIRS} more pairs; --a picks one, --json lists all.", first="- ")
    if len(effects) > 1:
        page.gap()
        _family(page, compared.found)


def _track(page: Page, found: Found) -> None:
    """Say what lanes and the day do."""
    if found.lanes:
        _lanes(page, found)
    if found.drift is not None:
        way = "slower" if found.drift.over > 0.0 else "faster"
        clear = found.drift.low > 0.0 or found.drift.high < 0.0
        size = _ms(abs(found.drift.over))
        page.prose(
            f"From the first to the last run the track got {size} {way}."
            if clear
            else f"No drift to be seen from the first to the last run ({size} {way})."
        )


def _p(probability: float) -> str:
    return "under 0.001" if probability < 1e-3 else f"{probability:.2g}"


def _family(page: Page, found: Found) -> None:
    clear = [each for each in found.effects if each.verdict in {"faster", "slower"}]
    still = [each for each in clear if abs(each.difference) > each.family]
    sure = _sure(found.effects[0].confidence)
    pairs = len(found.effects)
    if not clear:
        page.prose(f"{pairs} pairs, none of them clear.")
    elif len(still) == len(clear):
        page.prose(f"{pairs} pairs: what is clear stays so if all are to be right at once ({sure}).")
    else:
        lost = [f"{each.a} and {each.b}" for each in clear if each not in still]
        page.prose(
            f"With {pairs} pairs one may look clear by chance. If all are to be right at once ({sure}), it "
            f"is no longer clear for {listed(lost)}.",
            first="! ",
        )


def _rests(page: Page, compared: Compared) -> None:
    found = compared.found
    effect = found.effects[0]
    if len(found.effects) == 1:
        low, high = _reach(effect, peek=compared.peek)
        once = ", for one look at the end" if compared.peek else ""
        page.prose(
            f"{_sure(effect.confidence)} interval: {effect.b} {_ends(low, high)}. "
            f"Probability{once} that {effect.b} is the faster: {percent(effect.probability_faster)}; one run "
            f"of it beats one of {effect.a} {round(100 * effect.single_run)} times in 100."
        )
        if compared.peek:
            page.prose(
                f"Look as often as you like: however often you do, at most {_sure(compared.risk)} of such "
                "answers are wrong. That costs some width."
            )
    lanes = ", lanes taken out" if found.lanes else ""
    where = {
        "blocks": f"in {found.heats} heats, each heat compared within itself",
        "mixed": f"in {found.heats} heats, whose own scatter is allowed for",
        "plain": "not told apart by heats",
    }[found.method]
    heat = "" if found.heat_noise is None else f", a heat by {_ms(found.heat_noise)} more"
    page.prose(
        f"{found.runs} runs {where}{lanes}. One run scatters by {_ms(found.noise)}{heat}. "
        f"To find {_ms(compared.matters)} takes about {found.runs_needed} runs of each."
    )


def _second(page: Page, effect: Effect) -> None:
    ranks = effect.ranks
    if ranks is None:
        return
    way = f"{effect.b} {'faster' if ranks.difference >= 0.0 else 'slower'} by {_ms(abs(ranks.difference))}"
    alike = ranks.difference * effect.difference >= 0.0
    firm = "" if ranks.probability < _AGREE else ", not clear by themselves"
    page.prose(
        f"Ranks, which one odd run cannot sway, {'agree' if alike else 'DISAGREE'}: {way}, "
        f"p {_p(ranks.probability)}{firm}."
    )


def _forecast(page: Page, compared: Compared) -> None:
    forecast, effect = compared.forecast, compared.found.effects[0]
    if forecast is None or forecast.difference is None or forecast.uncertainty is None:
        page.prose("The run model says that one of these cars stalls.", first="! ")
        return
    way = "faster" if forecast.difference >= 0.0 else "slower"
    said = (
        f"The run model on {forecast.track} has {effect.b} {way} by {_ms(abs(forecast.difference))}, give or "
        f"take {_ms(forecast.uncertainty)}"
    )
    if forecast.apart is None:
        page.prose(f"{said}.")
        return
    fits = (
        "the stopwatch agrees with it"
        if abs(forecast.apart) < _FAR
        else f"the stopwatch does NOT agree: {abs(forecast.apart):.1f} times what is not known apart"
    )
    page.prose(f"{said}; {fits}.")


def _lanes(page: Page, found: Found) -> None:
    page.table(
        [
            (lane.name, _signed(lane.effect, 1e-3), "± " + _ms(lane.high - lane.effect), str(lane.runs))
            for lane in found.lanes
        ],
        head=("lane", "slower by", "", "runs"),
    )


def _outliers(page: Page, found: Found) -> None:
    for each in found.outliers[:_LISTED]:
        way = "slow" if each.residual > 0.0 else "fast"
        page.prose(
            f"Row {each.row}, {each.configuration}: {_ms(abs(each.residual))} too {way}; look at your notes. "
            "It is counted.",
            first="! ",
        )
    if len(found.outliers) > _LISTED:
        page.prose(f"{len(found.outliers) - _LISTED} more lie far out; --json lists them.", first="! ")
    without = found.effects[0].without_outliers
    if without is not None and len(found.effects) == 1:
        way = "faster" if without >= 0.0 else "slower"
        page.prose(f"Without such runs {found.effects[0].b} is {_ms(abs(without))} {way}.", first="- ")


def _set_aside(page: Page, rows: Sequence[SetAside], *, of: int) -> None:
    if not rows:
        return
    page.prose(f"Set aside: {len(rows)} of {of + len(rows)} rows.")
    for each in rows[:_LISTED]:
        page.prose(f"row {each.row}: {each.reason}", first="- ")
    if len(rows) > _LISTED:
        page.prose(f"{len(rows) - _LISTED} more; --json lists them.", first="- ")


def show_planned(page: Page, planned: Planned) -> None:
    """Add a plan to a page: what it can show, then heat by heat who stands where.

    Args:
        page: where to add it.
        planned: the plan.
    """
    plan = planned.plan
    each = plan.runs // len(plan.lanes)
    times = "once" if each == 1 else "twice" if each == 2 else f"{each} times"
    page.prose(
        f"{len(plan.heats)} heats: {plan.runs} runs of each, {times} in every lane.",
        bold=True,
    )
    if planned.needed is not None and planned.noise is not None:
        enough = "enough" if plan.runs >= planned.needed else f"too few: it takes {planned.needed}"
        page.prose(
            f"One run scatters by {_ms(planned.noise)} ({planned.source}). To find {_ms(planned.matters)} "
            f"with a risk of {_sure(planned.risk)} of a miss, and of a false alarm, this is {enough}."
        )
    else:
        page.prose("Say --noise, and it says how many runs you need.")
    page.gap()
    rows = [(str(heat.number), *(car or "-" for car in heat.cars)) for heat in plan.heats]
    head = ("heat", *plan.lanes)
    widths = [max(len(row[at]) for row in [head, *rows]) for at in range(len(head))]
    if sum(widths) + len(widths) - 1 <= page.width:
        page.table(rows, head=head)
    else:
        for row in rows:
            places = [f"{lane}: {car}" for lane, car in zip(plan.lanes, row[1:], strict=True) if car != "-"]
            page.prose(f"{row[0]}. {', '.join(places)}", rest="   ")
    page.gap()
    page.prose(f"Drawn by lot with seed {planned.seed}. Run the heats in this order, and mark a bad start.")


def show_seasons(page: Page, seasons: Seasons) -> None:
    """Add some cars' seasons to a page: what paid, and the set-up to go back to.

    Args:
        page: where to add it.
        seasons: the seasons.
    """
    for number, each in enumerate(seasons.seasons):
        if number:
            page.gap()
        _season(page, each, seasons)
    page.gap()
    for file, rows in seasons.set_aside.items():
        for row in rows[:_LISTED]:
            page.prose(f"{file}, row {row.row} set aside: {row.reason}", first="- ")
        if len(rows) > _LISTED:
            page.prose(f"{file}: {len(rows) - _LISTED} more set aside; --json lists them.", first="- ")


def _season(page: Page, season: Season, seasons: Seasons) -> None:
    said = f"{season.car}: last good set-up {season.last_good.name}"
    if season.trend is not None and len(season.steps) > 1:
        way = "faster" if season.trend.difference >= 0.0 else "slower"
        clear = "" if season.trend.verdict in {"faster", "slower"} else ", not clear"
        said += f"; from first to last {_ms(abs(season.trend.difference))} {way}{clear}"
    page.prose(f"{said}.", bold=True)
    for set_up in season.set_ups:
        page.prose(_set_up(set_up, seasons.conditions.get(set_up.label, {})), first="- ")
    for step in season.steps:
        _step(page, step)


def _set_up(set_up: SetUp, conditions: Mapping[str, str]) -> str:
    days = ""
    if set_up.days:
        days = f", {set_up.days[0]}" if len(set_up.days) == 1 else f", {set_up.days[0]} to {set_up.days[-1]}"
    known = "".join(f"; {name} {value}" for name, value in list(conditions.items())[:4])
    return f"{set_up.name}: {set_up.runs} runs, {set_up.mean:.4f} s{days}{known}"


def _step(page: Page, step: Step) -> None:
    change = f"{step.before.name} → {step.after.name}"
    if step.effect is None:
        page.prose(f"{change}: cannot be said; {'; '.join(step.cautions)}.", first="! ")
        return
    words = {"yes": "paid", "no": "did not pay", "unclear": "unclear"}
    page.prose(
        f"{change}: {words[step.paid]}; {_ends(step.effect.low, step.effect.high)} "
        f"({_sure(step.effect.confidence)})",
        first="- ",
    )
    for caution in step.cautions:
        page.prose(f"{caution[:1].upper()}{caution[1:]}.", first="  ! ")
