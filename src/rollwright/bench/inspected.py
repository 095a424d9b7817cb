"""The inspect gate: what was read of a car against the rules of its class, and what has moved it since."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.codec import Recorded
from rollwright.bench.events import (
    Bend,
    ClassChosen,
    Event,
    Fitted,
    HoleDrilled,
    Inspected,
    PartFitted,
    PartLeftOff,
    ReadingTaken,
    Sand,
    ScaleReading,
    Washer,
    Weighed,
)
from rollwright.bench.gates import Change, Item, Standing
from rollwright.bench.known import INDEX, Known
from rollwright.car.model import Seat, Station
from rollwright.errors import CarCannotRest, InputError
from rollwright.geometry.ledger import ledger_of
from rollwright.geometry.many import stances, wheels_of
from rollwright.judge.class_file import parse_class
from rollwright.judge.class_rules import LOOKS, Allowed, ClassRules, Rule
from rollwright.judge.inspection import DEFAULT_GAUGES, Found, RuleState, RuleVerdict, inspect
from rollwright.judge.verdict import State
from rollwright.quantity import from_repeats, scattered
from rollwright.setup.estimate import seats_at
from rollwright.setup.predict import derivatives
from rollwright.setup.readings import ReadingKind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["class_in", "found_in", "inspect_items", "moved_sizes"]

_WOOD = 450.0 * 0.030 * 0.016
"""Mass of a depth of sanded side face [kg/m]: soft wood, a patch as large as a wheel's hub needs.

Common practice, no source; its uncertainty is as large as itself.
"""
_WASHERS = 0.1e-3
"""What a change of washers can do to the mass [kg]: common practice, no source."""
_MODELLED = (Rule.GROUND_CLEARANCE, Rule.WIDTH)
_UNMOVED = 1e-9
_UNKNOWN = (0.0, math.inf)
_STRAIGHT = math.radians(0.05)
"""A bend below what a flat plate shows is no bend [rad]."""
_SURELY = math.radians(0.3)
"""A bend that a hand did make [rad]: three times what a hand usually misses by."""
_SURE = 1.6448536269514722
"""Standard deviations that a normal quantity exceeds on one side in 5 % of cases (JCGM 106:2012, Table 1)."""
_UNLIKE = 2.5758293035489004
"""Standard deviations that a normal quantity exceeds on either side in 1 % of cases (from memory)."""
_BENT = LOOKS[Rule.BENT_AXLES][1]
_OF_A_WHEEL = {f"{station.value}.diameter": station for station in Station}


def class_in(counting: Iterable[Recorded]) -> tuple[ClassRules | None, int]:
    """Return the class that was chosen last.

    Args:
        counting: the car's entries that count, in order.

    Returns:
        Its rules and the number of that entry; None and 0 where none was chosen.

    Raises:
        InputError: the class's file cannot be used; the message names the entry.
    """
    rules, number = None, 0
    for entry in counting:
        if isinstance(entry.event, ClassChosen):
            try:
                rules, number = parse_class(entry.event.class_file), entry.seq
            except InputError as error:
                key = f"entry {entry.seq}" + (f", {error.key}" if error.key else "")
                raise type(error)(error.problem, mend=error.mend, key=key) from None
    return rules, number


def moved_sizes(before: Known, after: Known, event: Event) -> dict[Rule, tuple[float, float]]:
    """Return what a change did to sizes that a class may have a rule about.

    Args:
        before: what was known before it.
        after: what is known after it; its root keeps the columns of the root before, new errors behind.
        event: the change.

    Returns:
        Expected change and standard uncertainty [kg or m] of each size that it can have moved; infinite where
        that cannot be told. A weight's reach, a wheel's diameter and things that are only looked at are not
        modelled: whatever is fitted anew there has to be read. Of bent axles it is the bend that the entry
        leaves and its standard uncertainty [rad], where that is a bend for certain; where it may be none,
        or nobody says, infinite.
    """
    found = {
        rule: moved
        for rule, moved in zip(_MODELLED, _modelled(before, after), strict=True)
        if abs(moved[0]) > _UNMOVED or moved[1] > _UNMOVED
    }
    mass = _mass(before, after, event)
    if mass is not None:
        found[Rule.MASS] = mass
    if isinstance(event, HoleDrilled):
        found[Rule.WHEELBASE] = _UNKNOWN
    if _touches_bend(event):
        found[Rule.BENT_AXLES] = _bend(after, event)
    if isinstance(event, PartFitted | PartLeftOff):
        touched = {
            Fitted.WHEEL: (Rule.WHEEL_DIAMETER,),
            Fitted.WEIGHT: (Rule.WEIGHT_BEHIND, Rule.WEIGHT_BELOW),
            Fitted.SHIELD: (Rule.AERODYNAMIC_PARTS, Rule.LENGTH, Rule.WIDTH, Rule.GROUND_CLEARANCE),
        }
        found |= dict.fromkeys(touched.get(event.part, ()), _UNKNOWN)
    return found


def _touches_bend(event: Event) -> bool:
    return isinstance(event, Bend) or (isinstance(event, PartFitted) and event.part is Fitted.AXLE)


def _bend(after: Known, event: Event) -> tuple[float, float]:
    """Return the bend that an entry leaves at its station, if it is one for certain."""
    station = getattr(event, "station", None)
    said = isinstance(event, Bend) or (
        isinstance(event, PartFitted) and any(size.name == "bend" for size in event.sizes)
    )
    if station is None or not said:
        return _UNKNOWN
    row = INDEX[f"{station.value}.bend"]
    bend, spread = float(after.prior.mean[row]), float(np.linalg.norm(after.prior.root[row]))
    return (bend, spread) if bend - _SURE * spread > _STRAIGHT else _UNKNOWN


def _mass(before: Known, after: Known, event: Event) -> tuple[float, float] | None:
    """Return what a change did to the mass; None where it did nothing to it."""
    if isinstance(event, Sand):
        depth = event.asked if event.done is None else event.done
        return (0.0, 0.5 * _WASHERS) if depth is None else (-_WOOD * depth, _WOOD * depth)
    if isinstance(event, Washer) or (isinstance(event, PartFitted) and event.part is Fitted.WASHER):
        return 0.0, _WASHERS
    if not isinstance(event, PartFitted | PartLeftOff):
        return None
    here, there = ({item.name: item.mass for item in ledger_of(car).items} for car in (before.car, after.car))
    off = [mass for name, mass in here.items() if there.get(name) != mass]
    on = [mass for name, mass in there.items() if here.get(name) != mass]
    said = isinstance(event, PartFitted) and any(size.name == "mass" for size in event.sizes)
    # Whoever does not say what a new wheel weighs leaves it open; a weight of the file weighs what that says.
    known = bool(off) if isinstance(event, PartLeftOff) else event.name in after.car.weights
    if not said and not (event.part in {Fitted.WEIGHT, Fitted.SHIELD} and known):
        return _UNKNOWN
    if not (on or off):
        # The same weight again, or in another place.
        return None
    shift = math.fsum(mass.value for mass in on) - math.fsum(mass.value for mass in off)
    return shift, math.hypot(*(mass.uncertainty for mass in (*off, *on)), 0.0)


def _modelled(before: Known, after: Known) -> tuple[tuple[float, float], ...]:
    """Return the change of the clearance under the body and of the width over the wheels."""
    try:
        seats = [seats_at(known.car, known.prior.mean) for known in (before, after)]
    except CarCannotRest:
        return tuple(_UNKNOWN for _ in _MODELLED)
    found = []
    for known, at in zip((before, after), seats, strict=True):

        def sizes(
            rows: NDArray[np.float64], known: Known = known, at: Mapping[Station, Seat] = at
        ) -> NDArray[np.float64]:
            return _sizes(known, rows, at)

        found.append(derivatives(sizes, known.prior.mean, known.prior.root.T))
    (here, slopes), (there, slopes_there) = found
    # The errors that were there stay in their columns, so that what they do to both cancels.
    by = slopes_there.copy()
    by[:, : slopes.shape[1]] -= slopes
    spread = np.sqrt(np.sum(by**2, axis=1))
    return tuple(
        (float(shift), float(size)) if np.isfinite(shift) and np.isfinite(size) else _UNKNOWN
        for shift, size in zip(there - here, spread, strict=True)
    )


def _sizes(known: Known, rows: NDArray[np.float64], seats: Mapping[Station, Seat]) -> NDArray[np.float64]:
    """Return clearance under the body at the hole lines and width over the wheels [m], (n, 2)."""
    found = stances(known.car, rows, seats=seats)
    wheels = wheels_of(rows, seats)
    side = np.array([station.side for station in Station], dtype=np.float64)[:, None]
    # A cylinder reaches out as far as its outer rim's outermost point.
    reach = side * wheels.cy + wheels.half * np.abs(wheels.uy) + wheels.radius * np.sqrt(1.0 - wheels.uy**2)
    left, right = reach[side[:, 0] > 0.0].max(axis=0), reach[side[:, 0] < 0.0].max(axis=0)
    clearance = np.where(found.carrying >= 0, np.minimum(found.front, found.rear), np.nan)
    return np.stack((clearance, left + right), axis=1)


def found_in(counting: Iterable[Recorded]) -> tuple[Found, ...]:
    """Return what was read of a car about things that a class may have a rule about.

    Args:
        counting: the car's entries that count, in order.

    Returns:
        What was measured and looked at for an inspection, the mass of the whole car from the scale, and the
        sizes of the bench that a rule is about as well: the wheelbase and the wheels' diameters.
    """
    found = []
    for entry in counting:
        event = entry.event
        if isinstance(event, Inspected):
            one = Found(
                rule=event.rule,
                at=entry.seq,
                value=event.value,
                uncertainty=event.uncertainty,
                words=event.found,
                station=event.station,
            )
        elif isinstance(event, ScaleReading) and event.where is Weighed.WHOLE:
            one = Found(rule=Rule.MASS, at=entry.seq, value=event.mass, uncertainty=event.uncertainty)
        elif isinstance(event, ReadingTaken) and event.reading is ReadingKind.SIZE and event.values:
            rule = Rule.WHEEL_DIAMETER if event.dimension in _OF_A_WHEEL else Rule.WHEELBASE
            if rule is Rule.WHEELBASE and event.dimension != "body.wheelbase":
                continue
            one = Found(
                rule=rule,
                at=entry.seq,
                value=math.fsum(event.values) / len(event.values),
                uncertainty=_of_repeats(event, rule),
                station=_OF_A_WHEEL.get(event.dimension),
            )
        else:
            continue
        found.append(one)
    return tuple(found)


def _of_repeats(event: ReadingTaken, rule: Rule) -> float | None:
    """Return the standard uncertainty of a size; None where that of the usual gauge is all there is."""
    if len(event.values) == 1 and event.common is None:
        return event.uncertainty
    gauge = DEFAULT_GAUGES[rule].uncertainty if event.uncertainty is None else event.uncertainty
    spread = scattered(event.values, gauge=gauge)
    if spread is not None:
        # No gauge scatters so: the thing itself differs from one repeat to the next.
        return math.hypot(spread, gauge, event.common or 0.0)
    return math.hypot(from_repeats(event.values, instrument=gauge).uncertainty, event.common or 0.0)


def inspect_items(
    rules: ClassRules, counting: Sequence[Recorded], changes: Sequence[Change]
) -> tuple[tuple[Item, ...], tuple[RuleVerdict, ...]]:
    """Return the lines of the inspect gate.

    Args:
        rules: the class.
        counting: the car's entries that count, in order.
        changes: what each change did, in order.

    Returns:
        One line for each rule of the class, and the same as the inspection's own verdicts. What was read
        before a change holds where nothing can have moved it, unless another of the same state contradicts
        it and none bears it out; and is predicted to hold where it passed and
        still does with the predicted shift; otherwise it must be read again. An axle that an entry bent
        is bent, whatever was seen of it before, and breaks a rule that allows none.
    """
    stationed = {entry.seq: entry.event.station for entry in counting if isinstance(entry.event, PartFitted)}
    found = [_since(one, changes, stationed) for one in found_in(counting)]
    bent = _bent_by(rules, counting, changes)
    if bent:
        found.append((Found(rule=Rule.BENT_AXLES, at=max(bent), words=_BENT), ()))
    shifted = inspect(rules, [one for one, _ in found])
    as_read = {verdict.rule: verdict for verdict in inspect(rules, [_as_read(one) for one, _ in found])}
    reasons = {(one.rule, one.at): why for one, why in found}
    items, verdicts = [], []
    for verdict in shifted:
        rests_on = verdict.found
        why = () if rests_on is None else reasons[rests_on.rule, rests_on.at]
        was = as_read[verdict.rule].state
        if (
            why
            and verdict.state is not RuleState.NOT_READ
            and not (was is RuleState.PASS and verdict.state is RuleState.PASS)
        ):
            verdict = _again(verdict)  # noqa: PLW2901 - the same verdict, no longer fresh
        torn = _torn(rests_on, [one for one, _ in found])
        if torn and verdict.state is RuleState.PASS:
            verdict = _again(verdict)  # noqa: PLW2901 - the same verdict, which two readings contradict
        verdicts.append(verdict)
        item = _item(verdict, why, bent=bent)
        items.append(replace(item, words=torn) if verdict.state is RuleState.READ_AGAIN and torn else item)
    return tuple(items), tuple(verdicts)


def _bent_by(rules: ClassRules, counting: Sequence[Recorded], changes: Sequence[Change]) -> dict[int, bool]:
    """Return the entries that left an axle bent since it was looked at, and whether they bent it more.

    None where the class allows bent axles. Of each station the last entry counts; after a look that found
    straight axles the bends since then count alone, whatever the car file says of them.
    """
    asked = rules.rules.get(Rule.BENT_AXLES)
    if not isinstance(asked, Allowed) or asked.allowed:
        return {}
    left = {
        change.seq: change.sizes[Rule.BENT_AXLES] for change in changes if Rule.BENT_AXLES in change.sizes
    }
    straight, last, by = False, dict[Station, int](), dict[Station, float]()
    for entry in counting:
        event = entry.event
        if isinstance(event, Inspected) and event.rule is Rule.BENT_AXLES:
            straight, last, by = event.found != _BENT, {}, {}
        elif isinstance(event, Bend | PartFitted) and event.station is not None and entry.seq in left:
            more = _amount(event) if isinstance(event, Bend) else left[entry.seq][0]
            before = by.get(event.station, 0.0) if isinstance(event, Bend) else 0.0
            last[event.station], by[event.station] = entry.seq, before + more
    events = {entry.seq: entry.event for entry in counting}
    return {
        seq: not isinstance(event := events[seq], Bend) or _amount(event) > 0.0
        for station, seq in last.items()
        if math.isfinite(left[seq][1]) and (not straight or by[station] > _SURELY)
    }


def _amount(event: Bend) -> float:
    return (event.asked if event.done is None else event.done) or 0.0


def _as_read(one: Found) -> Found:
    return replace(one, fresh=True, shift=0.0, shift_uncertainty=0.0)


def _again(verdict: RuleVerdict) -> RuleVerdict:
    return replace(verdict, state=RuleState.READ_AGAIN)


def _torn(last: Found | None, found: Sequence[Found]) -> str:
    """Return which readings of one thing contradict each other; empty where they do not.

    The last one counts where another of the same state agrees with it. Two differ by more than their
    uncertainties allow if that happens by chance in less than one case in a hundred.
    """
    if last is None or last.value is None:
        return ""
    others = [
        (one, one.value)
        for one in found
        if (one.rule, one.station) == (last.rule, last.station)
        and one.at < last.at
        and one.value is not None
        and one.fresh
        and (one.shift, one.shift_uncertainty) == (last.shift, last.shift_uncertainty)
    ]
    apart = [
        one.at
        for one, value in others
        if abs(value - last.value) > _UNLIKE * math.hypot(_gauge(one), _gauge(last))
    ]
    if not apart or len(apart) < len(others):
        return ""
    named = ", ".join(map(str, apart))
    return f"entries {named} and {last.at} disagree; read it again"


def _gauge(one: Found) -> float:
    """Return the standard uncertainty of a reading, that of the usual gauge where none was said."""
    return DEFAULT_GAUGES[one.rule].uncertainty if one.uncertainty is None else one.uncertainty


def _since(
    one: Found, changes: Sequence[Change], stationed: Mapping[int, Station | None]
) -> tuple[Found, tuple[Change, ...]]:
    """Return a reading with what the changes after it did, and those changes."""
    after = [
        change
        for change in changes
        if change.seq > one.at
        and one.rule in change.sizes
        and (one.station is None or stationed.get(change.seq) in {None, one.station})
    ]
    shift = math.fsum(change.sizes[one.rule][0] for change in after)
    spread = math.hypot(*(change.sizes[one.rule][1] for change in after), 0.0)
    if math.isinf(spread) or (after and one.rule is Rule.BENT_AXLES):
        return replace(one, fresh=False), tuple(after)
    return replace(one, shift=shift, shift_uncertainty=spread), tuple(after)


def _words(verdict: RuleVerdict, bent: Mapping[int, bool]) -> str:
    """Return what a look found, that the class allows it anyway, or which wheels are still to be read."""
    if verdict.rule is Rule.BENT_AXLES and bent and verdict.found is not None:
        return " and ".join(
            f"bent by entry {seq}" if more else f"still bent after entry {seq}"
            for seq, more in sorted(bent.items())
        )
    if 0 < len(verdict.missing) < len(Station) and verdict.state is RuleState.NOT_READ:
        return f"never read at {', '.join(station.words for station in verdict.missing)}"
    if verdict.found is None:
        return "allowed" if verdict.allowed else ""
    return verdict.found.words


def _item(verdict: RuleVerdict, reasons: tuple[Change, ...], *, bent: Mapping[int, bool]) -> Item:
    state = {
        RuleState.PASS: State.PASS,
        RuleState.FAIL: State.FAIL,
        RuleState.UNCLEAR: State.UNCLEAR,
        RuleState.READ_AGAIN: State.UNCLEAR,
    }.get(verdict.state)
    standing = Standing.HOLDS
    if verdict.state is RuleState.NOT_READ:
        standing = Standing.NEVER_READ
    elif verdict.state is RuleState.READ_AGAIN:
        standing = Standing.READ_AGAIN
    elif reasons:
        standing = Standing.PREDICTED
    rule = verdict.rule
    return Item(
        name=rule.words,
        standing=standing,
        state=state,
        words=_words(verdict, bent),
        kind=None if verdict.margin is None else rule.kind,
        verdict=verdict.verdict,
        read_at=0 if verdict.found is None else verdict.found.at,
        reasons=reasons,
    )
