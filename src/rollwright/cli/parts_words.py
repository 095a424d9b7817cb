"""How a parts box and a matched set are told: the answer, then what is in doubt, then the lists."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rollwright.cli.page import Page, listed, percent
from rollwright.judge.verdict import State
from rollwright.quantity import Quantity
from rollwright.units import Kind, show
from rollwright.workbench.parts import ALIKE, LIMITS, MEASURES, Check, doubts_of

if TYPE_CHECKING:
    from rollwright.workbench.parts import Grade, Graded, Matched, MatchedSet

__all__ = ["show_box", "show_set"]

_TIED = "\N{NO-BREAK SPACE}"
_KINDS = {Check.FRICTION: Kind.RATIO, Check.INERTIA: Kind.RATIO, Check.WOBBLE: Kind.ANGLE}
_MARKS = {State.FAIL: "fail", State.UNCLEAR: "unclear"}
_SMALL = 0.05e-3
_CLOSE = 0.1
_WHAT = {
    "diameter": "diameter",
    "bore": "bore",
    "mass": "mass",
    "inertia": "inertia",
    "friction": "friction",
    "shank": "shank",
}


def _ms(value: float, uncertainty: float | None = None) -> str:
    shown = show(1e3 * value, kind=Kind.RATIO, uncertainty=None if uncertainty is None else 1e3 * uncertainty)
    text = f"{1e3 * value:.1f}" if uncertainty is None else str(shown)
    return f"{text} ms".replace(" ", _TIED)


def show_box(page: Page, found: Matched) -> None:
    """Add a graded box to a page.

    Args:
        page: where to add it.
        found: the box.
    """
    graded = found.graded
    box = graded.box
    fit = [sum(part.startswith(group) for part in graded.fit) for group in ("wheels.", "axles.")]
    page.prose(
        f"{box.name}: {fit[0]} of {_count(len(box.wheels), 'wheel')} and {fit[1]} of "
        f"{_count(len(box.axles), 'axle')} are fit to race as far as was measured.",
        bold=True,
    )
    _doubts(page, graded)
    page.gap()
    _wheels(page, graded)
    page.gap()
    _axles(page, graded)
    _pairs(page, graded)
    stock = [
        f"{_count(each.count, 'washer')} {each.name}, {page.length(each.size.value)}" for each in box.washers
    ]
    stock += [
        f"{_count(each.count, 'weight')} {each.name}, {page.mass(each.size.value)}" for each in box.weights
    ]
    if stock:
        page.gap()
        page.prose(f"In stock: {'; '.join(stock)}.")
    page.gap()
    page.prose("The limits are common practice or judgement, no source.")


def _count(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _doubts(page: Page, graded: Graded) -> None:
    if not graded.doubtful:
        page.prose("Nothing is in doubt.")
        return
    page.gap()
    page.prose("In doubt", bold=True)
    same: dict[str, list[str]] = {}
    for _, name, grade in graded.doubtful:
        if grade.state is State.PASS or grade.state is None:
            same.setdefault(_open(grade, graded), []).append(name)
        else:
            page.verdict(_MARKS[grade.state], f"{name}: {_off(page, grade)}")
    for said, names in same.items():
        page.prose(f"{listed(names)}: {said}.", first="- ", rest="  ")


def _open(grade: Grade, graded: Graded) -> str:
    """Return what is said of a reading that is missing or of the past."""
    if grade.stale:
        return "worked on since it was spun down. Spin it down again"
    if grade.check is Check.FRICTION:
        with_it = f" with {graded.lubricant}" if graded.lubricant else ""
        return f"never spun down{with_it}. Spin it down and fit its friction"
    measure = MEASURES[grade.check]
    return f"{grade.check.words} not measured. {measure[0].upper()}{measure[1:]}"


def _off(page: Page, grade: Grade) -> str:
    """Return a reading that fails or is unclear, its limit and the mend."""
    low, high = LIMITS[grade.check]
    kind = _KINDS.get(grade.check, Kind.LENGTH)
    value = page.quantity(kind, grade.value or 0.0, grade.uncertainty)
    least = page.quantity(kind, low) if math.isfinite(low) and low != 0.0 else ""
    limit = (
        f"wanted: {least} to {page.quantity(kind, high)}" if least else f"limit {page.quantity(kind, high)}"
    )
    mend = (
        "Leave it out, or mend it."
        if grade.state is State.FAIL
        else f"{MEASURES[grade.check].capitalize()}, closer than before."
    )
    return f"{grade.check.words} {value}; {limit}. {mend}"


def _wheels(page: Page, graded: Graded) -> None:
    def rank(name: str) -> tuple[bool, int, float]:
        grade = graded.frictions.get(name)
        doubts = len(doubts_of(graded.wheels[name]))
        return f"wheels.{name}" not in graded.fit, min(doubts, 1), math.inf if grade is None else grade.value

    rows = []
    for name in sorted(graded.box.wheels, key=rank):
        wheel, friction = graded.box.wheels[name], graded.frictions.get(name)
        rows.append(
            [
                name,
                _earned(page, wheel.diameter),
                "" if wheel.run_out is None else _earned(page, wheel.run_out),
                "" if friction is None else page.quantity(Kind.RATIO, friction.value, friction.uncertainty),
            ]
        )
    page.table(rows, head=("wheel", "diameter", "run-out", "friction"))


def _earned(page: Page, quantity: Quantity) -> str:
    """Return a length with the digits that its uncertainty earns, but without the uncertainty."""
    shown = show(quantity.value, kind=Kind.LENGTH, system=page.system, uncertainty=quantity.uncertainty)
    return f"{shown.number}{_TIED}{shown.unit}"


def _axles(page: Page, graded: Graded) -> None:
    rows = [
        [
            name,
            page.length(axle.shank.value, axle.shank.uncertainty),
            "straight" if axle.bend.value == 0.0 else f"bent {page.angle(axle.bend.value)}",
        ]
        for name, axle in sorted(
            graded.box.axles.items(),
            key=lambda each: (f"axles.{each[0]}" not in graded.fit, each[1].shank.value),
        )
    ]
    if rows:
        page.table(rows, head=("axle", "shank", "bend"))


def _pairs(page: Page, graded: Graded) -> None:
    alike = [pair for pair in graded.pairs if pair.state is State.PASS]
    if graded.pairs:
        page.gap()
    if alike:
        said = [
            f"{pair.first} and {pair.second} ({page.length(pair.difference, pair.uncertainty)})"
            for pair in alike
        ]
        page.prose(f"Pairs alike within {page.length(ALIKE)} in diameter: {'; '.join(said)}.")
    elif graded.pairs:
        page.prose(f"No two wheels are surely alike within {page.length(ALIKE)} in diameter.")


def show_set(page: Page, found: Matched) -> None:
    """Add a matched set to a page.

    Args:
        page: where to add it.
        found: the box with its set.
    """
    result, graded = found.found, found.graded
    if result is None or found.car is None:
        return
    _answer(page, found.car.name, result)
    page.gap()
    page.table(
        [[station.words, wheel, axle] for station, (wheel, axle) in result.fitted.items()],
        head=("put on", "wheel", "axle"),
    )
    page.gap()
    _rivals(page, result)
    page.gap()
    _stands(page, found, result)
    page.gap()
    _in_doubt(page, graded, result)
    page.gap()
    _costs(page, result)
    page.gap()
    _rests(page, found, result)


def _answer(page: Page, name: str, result: MatchedSet) -> None:
    worth = _ms(result.worth, result.uncertainty)
    if result.told_apart:
        page.prose(f"{name}: this set is worth {worth} against the average set.", bold=True)
    else:
        page.prose(
            f"{name}: these parts cannot be told apart. The best set is worth {worth} against the average "
            "set; fit any that are fit to race, or measure better.",
            bold=True,
        )
    page.prose(f"The worst set of the box would be {_ms(result.worst_behind)} behind the average one.")


def _rivals(page: Page, result: MatchedSet) -> None:
    for rival in result.rivals:
        new = [
            wheel
            for station, (wheel, _) in rival.fitted.items()
            if station in result.before.carrying
            and wheel not in {result.fitted[other][0] for other in result.before.carrying}
        ]
        swap = f"with {listed(new)} in for {rival.wheel}" if new else f"without {rival.wheel}"
        known = "" if rival.told_apart else ", which is not enough to tell them apart"
        page.prose(
            f"The best {swap} is {_ms(rival.behind, rival.uncertainty)} behind{known}.", first="- ", rest="  "
        )


def _stands(page: Page, found: Matched, result: MatchedSet) -> None:
    car = found.car
    if car is None:
        return
    target = car.targets.height_difference
    before, after = result.before.height_difference, result.after.height_difference
    inside = target.low <= after <= target.high
    tail = "" if inside else ", no further out than it was"
    page.prose(
        f"Level: {page.level(after)} with the set, {page.level(before)} as the file has it; wanted: "
        f"{page.band(target)}{tail}.",
        first="- ",
        rest="  ",
    )
    for station in result.to_be_bent:
        axle = result.fitted[station][1]
        page.prose(
            f"{axle} is straight: bend it as the {station.words} axle is bent now. Wear eye protection: pins "
            "snap.",
            first="- ",
            rest="  ",
        )
    page.prose(
        "New wheels and axles move drift and centring too: read level, steer and centre again.",
        first="- ",
        rest="  ",
    )


def _in_doubt(page: Page, graded: Graded, result: MatchedSet) -> None:
    chosen = {f"wheels.{wheel}" for wheel, _ in result.fitted.values()}
    chosen |= {f"axles.{axle}" for _, axle in result.fitted.values()}
    idle = {result.fitted[station][0] for station in result.fitted if station not in result.before.carrying}
    for group, name, grade in graded.doubtful:
        # A wheel that is off the ground turns on nothing, so that its friction is in no doubt there.
        spins = grade.check is not Check.FRICTION or name not in idle
        if f"{group}.{name}" in chosen and spins:
            said = (
                _off(page, grade) if grade.state in _MARKS and not grade.stale else f"{_open(grade, graded)}."
            )
            page.prose(f"{name}, in the set: {said}", first="! ", rest="  ")
    unspun = [
        name for name in graded.box.wheels if name in result.wheel_costs and name not in graded.frictions
    ]
    if unspun and graded.frictions:
        open_ = max(result.wheel_costs[name].uncertainty for name in unspun)
        page.prose(
            f"Spin down {listed(unspun)} next: each may be some {_ms(open_)} better or worse than the "
            "average wheel.",
            first="- ",
            rest="  ",
        )
    elif not graded.frictions:
        page.prose(
            "No wheel was spun down, so friction tells none apart, and that is mostly what does: spin them "
            "down.",
            first="! ",
            rest="  ",
        )
    told = [each for each in result.left if each.share >= _CLOSE][:1]
    for each in told:
        whose = f"the {_WHAT[each.what]} of {each.part}" if each.part else "the inertia that nobody measured"
        page.prose(f"{percent(each.share)} of what is left open is {whose}.", first="- ", rest="  ")


def _costs(page: Page, result: MatchedSet) -> None:
    where = {wheel: station.words for station, (wheel, _) in result.fitted.items()}
    ranked = sorted(result.wheel_costs.items(), key=lambda each: each[1].cost)
    page.table(
        [[name, _signed(each.cost, each.uncertainty), where.get(name, "")] for name, each in ranked],
        head=("wheel", "costs", "goes"),
    )
    costs = [each.cost for each in result.axle_costs.values()]
    page.prose(f"The axles differ by {1e3 * (max(costs) - min(costs)):.2f} ms at most.")


def _signed(value: float, uncertainty: float) -> str:
    shown = show(1e3 * value, kind=Kind.RATIO, uncertainty=1e3 * uncertainty, signed=True)
    return f"{shown} ms".replace(" ", _TIED)


def _rests(page: Page, found: Matched, result: MatchedSet) -> None:
    lane = f", lane {found.lane}" if found.lane else ""
    page.prose(
        f"Costs are on {found.track}{lane}, against the average wheel, as one that carries the car; below "
        "zero is faster.",
        first="- ",
        rest="  ",
    )
    page.prose(_proof(result), first="- ", rest="  ")
    if found.graded.lubricant:
        page.prose(
            f"Friction is that of the spin-downs with {found.graded.lubricant}.", first="- ", rest="  "
        )
    page.prose(
        "Readings are drawn towards the average as far as the gauge's scatter explains them, so that luck is "
        "not counted as worth. Run-out and straightness are judged, not priced.",
        first="- ",
        rest="  ",
    )
    reasons: dict[str, list[str]] = {}
    for part, reason in result.left_out.items():
        reasons.setdefault(reason, []).append(part.partition(".")[2])
    for reason, names in reasons.items():
        page.prose(f"Left out for {reason}: {listed(names)}.", first="- ", rest="  ")


def _proof(result: MatchedSet) -> str:
    if not result.exact:
        return (
            f"Not all sets could be gone through: another may be better by {_ms(result.bound)} at most, by "
            "the prices."
        )
    off = abs(result.worth - result.by_prices)
    timed = "" if off < _SMALL else f" Timed, the set differs from its prices by {_ms(off)}."
    return f"By the prices no other set is better: all were counted or ruled out.{timed}"
