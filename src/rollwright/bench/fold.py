"""What a car's log adds up to: where the car is now, which gates were read, and which have gone stale.

The fold is a pure function of the events in their order. Between two changes all readings are solved
together; a change then shifts what is known and adds what the hand leaves open; later readings are
solved from there. So every reading that was not withdrawn has its say, and none is used twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from rollwright.bench.codec import Recorded
from rollwright.bench.course import Course, placed
from rollwright.bench.events import (
    CarStarted,
    ClassChosen,
    DaylightCheck,
    Fitted,
    Inspected,
    PartFitted,
    PartLeftOff,
    ReadingTaken,
    Retired,
    ScaleReading,
    SlowRoll,
    Withdrawn,
)
from rollwright.bench.gates import Change, Gate, GateState, Standing
from rollwright.bench.inspected import class_in, inspect_items
from rollwright.bench.known import Known, check_possible
from rollwright.bench.standing import gates_of
from rollwright.bench.told import told_of
from rollwright.bench.trim import first_fittings
from rollwright.car.file import parse_car
from rollwright.car.model import Car, Station
from rollwright.errors import InputError, ReadingUnusable
from rollwright.judge.class_rules import ClassRules
from rollwright.judge.inspection import RuleVerdict
from rollwright.judge.verdict import State
from rollwright.setup.balance import Discord
from rollwright.setup.estimate import Estimate, estimate, prior_of
from rollwright.setup.hand import Hand
from rollwright.setup.learnt import Achieved, learnt
from rollwright.setup.readings import Reading

__all__ = ["Change", "Folded", "Gate", "GateState", "Known", "Standing", "State", "fold"]

_STRAIGHT = math.radians(0.05)
"""A bend below what a flat plate shows is no bend [rad]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Folded:
    """What a car's log adds up to.

    Attributes:
        known: the car and its dimensions before the readings since the last change.
        estimate: with those readings; None where the car cannot be told.
        readings: those readings.
        gates: how each gate stands.
        changes: what each change did, in order.
        entries: how many entries count.
        withdrawn: numbers of the entries that were withdrawn.
        filed: the car as its file describes it.
        hand: the hand with what its moves taught.
        achieved: what each move of this car achieved beside what was asked, where that is known.
        rules: the class that it is built for, or None.
        inspection: how it stands to each rule of that class.
        agreement: chance of a disagreement at least as large as that between ledger and scale since the last
            change, if every stated uncertainty is right; 1 where nothing was weighed.
        discord: which figures of scale and ledger disagree, so that the scale moves nothing; or None.
        retired: why the car is no longer worked on, or empty.
        trouble: why the car cannot be told, such as that it tips over; or empty.
        spoilt: number of the entry since which it cannot, 0 where that is no change or it can be told.
    """

    known: Known
    estimate: Estimate | None
    readings: tuple[Reading, ...]
    gates: Mapping[Gate, GateState]
    changes: tuple[Change, ...]
    entries: int
    withdrawn: tuple[int, ...]
    filed: Car
    hand: Hand
    achieved: tuple[Achieved, ...] = ()
    rules: ClassRules | None = None
    inspection: tuple[RuleVerdict, ...] = ()
    agreement: float = 1.0
    discord: Discord | None = None
    retired: str = ""
    trouble: str = ""
    spoilt: int = 0

    @property
    def forbidden(self) -> dict[Station, float]:
        """The bends [rad] of axles that are bent although none may be, by their stations."""
        if self.estimate is None or self.estimate.car.bent_axles:
            return {}
        bends = {station: self.estimate.dimension(f"{station.value}.bend").value for station in Station}
        return {station: bend for station, bend in bends.items() if bend > _STRAIGHT}


def withdrawn_in(events: Iterable[Recorded]) -> dict[str, int]:
    """Return the ids of withdrawn entries, each with the number of the entry that withdrew it."""
    return {entry.event.entry: entry.seq for entry in events if isinstance(entry.event, Withdrawn)}


def fold(entries: Iterable[Recorded], *, hand: Hand | None = None, habits: Sequence[Achieved] = ()) -> Folded:
    """Return what a car's log adds up to.

    Args:
        entries: all entries of one car, in their order.
        hand: how closely the builder's hand hits what is asked; left out, an ordinary one.
        habits: what moves on other cars achieved, from which the hand's factors are learnt as well.

    Returns:
        The state; entries that were withdrawn do not count, nor do the withdrawals. A car that tips over
        after a change has no estimate, and what was read of it before must be read again.

    Raises:
        ReadingUnusable: the log does not begin with the start of a car, or a reading is impossible on it.
        InputError: the car file cannot be used, or the car that it describes cannot stand; or something was
            read of a car that cannot stand. The message names the entry.
    """
    every = list(entries)
    gone = withdrawn_in(every)
    counting = [entry for entry in every if entry.id not in gone and not isinstance(entry.event, Withdrawn)]
    run = _started(counting, hand=Hand() if hand is None else hand, habits=habits)
    retired = ""
    for entry in counting[1:]:
        event = entry.event
        if run.is_change(entry):
            run.change(entry.seq, event)
        elif isinstance(event, ScaleReading):
            run.weigh(entry.seq, event)
        elif isinstance(event, ClassChosen):
            run.choose(entry)
        elif isinstance(event, (ReadingTaken, DaylightCheck)):
            run.take(entry.seq, event)
        elif isinstance(event, SlowRoll):
            run.roll(entry.seq, event)
        elif isinstance(event, Retired):
            retired = event.reason
    run.open()
    last, start = tuple(run.readings), run.known
    run.settle()
    now, trouble = _estimated(run)
    rules, _ = class_in(counting)
    lines, inspection = ((), ()) if rules is None else inspect_items(rules, counting, run.changes)
    return Folded(
        known=start,
        estimate=now,
        readings=last,
        gates=gates_of(run, counting, lines),
        changes=tuple(run.changes),
        entries=len(counting),
        withdrawn=tuple(
            entry.seq for entry in every if entry.id in gone and not isinstance(entry.event, Withdrawn)
        ),
        filed=run.filed,
        hand=run.hand,
        achieved=tuple(run.achieved[len(habits) :]),
        rules=rules,
        inspection=inspection,
        agreement=run.agreement,
        discord=run.discord,
        retired=retired,
        trouble=trouble,
        spoilt=run.spoilt if now is None else 0,
    )


def _started(counting: Sequence[Recorded], *, hand: Hand, habits: Sequence[Achieved]) -> Course:
    """Return the fold as it stands after the first entry."""
    if not counting:
        raise ReadingUnusable("the log holds no car", mend="start the car first")
    starts = [entry for entry in counting if isinstance(entry.event, CarStarted)]
    first, event = counting[0], counting[0].event
    if not isinstance(event, CarStarted):
        problem = (
            f"it stands before the car's start, entry {starts[0].seq}" if starts else "no car was started"
        )
        raise ReadingUnusable(problem, mend="withdraw it, or start the car first", key=f"entry {first.seq}")
    if len(starts) > 1:
        raise ReadingUnusable(
            "the car is started a second time", mend="withdraw one of the two", key=f"entry {starts[1].seq}"
        )
    try:
        car = parse_car(event.car_file)
        # A file whose car cannot stand is refused, whatever becomes of the car later.
        known = Known(car=car, prior=estimate(car).as_prior())
    except InputError as error:
        raise placed(error, f"entry {first.seq}") from None
    known = _before_fitting(replace(known, prior=prior_of(car)), counting)
    return Course(
        known=known,
        hand=learnt(hand, habits),
        scatter=hand,
        achieved=list(habits),
        told=told_of(known),
        filed=car,
        described=first_fittings(counting, car),
        inspected=any(isinstance(entry.event, ClassChosen | Inspected) for entry in counting),
    )


def _before_fitting(known: Known, counting: Sequence[Recorded]) -> Known:
    """Return a car without the weights that are entered later: they were not in it before.

    A car that could not stand without them is left as its file describes it.
    """
    later = {
        event.name
        for event in (entry.event for entry in counting)
        if isinstance(event, PartFitted | PartLeftOff) and event.part is Fitted.WEIGHT
    }
    weights = {name: weight for name, weight in known.car.weights.items() if name not in later}
    bare = replace(known, car=replace(known.car, weights=weights))
    return known if told_of(bare) is None else bare


def _estimated(run: Course) -> tuple[Estimate | None, str]:
    if run.settled is not None:
        return run.settled.explained(), ""
    try:
        check_possible(run.known)
        return estimate(run.known.car, prior=run.known.prior), ""
    except InputError as error:
        return None, str(error)
