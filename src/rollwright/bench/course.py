"""The fold on its way through a car's log: what is known, and what each change did."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.agreed import Doubt, doubt_of, is_lone
from rollwright.bench.as_readings import bends_read, readings_of_roll
from rollwright.bench.codec import Recorded
from rollwright.bench.effects import known_after, reading_of, taken_off
from rollwright.bench.events import (
    Adjustment,
    DaylightCheck,
    Event,
    Fitted,
    HoleDrilled,
    PartFitted,
    PartLeftOff,
    ReadingTaken,
    ScaleReading,
    SlowRoll,
    SlowRollSeen,
)
from rollwright.bench.gates import Change
from rollwright.bench.habits import Asked, achieved_by, asked_in, measured_in
from rollwright.bench.inspected import class_in, moved_sizes
from rollwright.bench.known import Known, check_possible, compressed, opened
from rollwright.bench.told import Told, curvature_of, told_at, told_of, verdict_of
from rollwright.bench.weighed import OnScale, as_weighed, parts_of, weighed
from rollwright.car.model import Car
from rollwright.errors import CarCannotRest, InputError
from rollwright.judge.class_rules import Allowed, Rule
from rollwright.judge.verdict import State, Verdict
from rollwright.setup.estimate import Position, position_of
from rollwright.setup.hand import Hand
from rollwright.setup.learnt import Achieved, learnt
from rollwright.setup.predict import GATE_READINGS
from rollwright.setup.readings import Reading

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rollwright.setup.balance import Discord

__all__ = ["Course", "placed"]


_INTENDED = 0
"""Index of the wheels that are meant to carry, into `geometry.tripod.tripods`."""
_MOST = 1.5
"""Columns of the root for each dimension, above which they are made fewer even where nothing is read."""


@dataclass(frozen=True, slots=True)
class Read:
    """How a gate was read last: the entry, what came of it, who carried, and how many changes were before.

    `lone` is whether it rests on one reading that nobody would have expected.
    """

    seq: int
    verdict: Verdict
    doubt: Doubt | None
    lone: bool
    carrying: int
    changes: int


@dataclass(slots=True)
class Course:
    """The fold on its way through the log."""

    known: Known
    hand: Hand
    told: Told | None
    filed: Car
    described: frozenset[int] = frozenset()
    inspected: bool = False
    scales: list[ScaleReading] = field(default_factory=list)
    weighings: list[OnScale] = field(default_factory=list)
    discord: Discord | None = None
    unweighed: Car | None = None
    agreement: float = 1.0
    scaled: int = 0
    settled: Position | None = None
    readings: list[Reading] = field(default_factory=list)
    fresh: dict[int, int] = field(default_factory=dict)
    read: dict[int, Read] = field(default_factory=dict)
    rolled: tuple[int, SlowRollSeen] | None = None
    spoilt: int = 0
    changes: list[Change] = field(default_factory=list)
    bent: dict[int, NDArray[np.float64]] = field(default_factory=dict)
    asked: list[Asked] = field(default_factory=list)
    achieved: list[Achieved] = field(default_factory=list)
    scatter: Hand = field(default_factory=Hand)

    def is_change(self, entry: Recorded) -> bool:
        """Return whether an entry changes the car, and does not only say what is on it."""
        event = entry.event
        if isinstance(event, PartLeftOff):
            return bool(taken_off(self.known, event))
        if isinstance(event, PartFitted):
            return entry.seq not in self.described
        return isinstance(event, Adjustment | HoleDrilled)

    def take(self, seq: int, event: ReadingTaken | DaylightCheck) -> None:
        """Keep a reading until all of the same state of the car are there."""
        reading = reading_of(event, number=seq)
        if reading is None:
            return
        self.readings.append(reading)
        self.fresh |= {gate: seq for gate, kinds in enumerate(GATE_READINGS) if reading.kind in kinds}

    def roll(self, seq: int, event: SlowRoll) -> None:
        """Keep what a slow roll showed, and what it tells of the car."""
        self.rolled = (seq, event.seen)
        self.readings += readings_of_roll(event, number=seq, car=self.known.car, values=self.known.prior.mean)

    def open(self) -> None:
        """Put the bends that were read in question, where the pins were held for straight."""
        bends = bends_read(self.known.car, self.readings)
        self.known = opened(self.known, bends, as_filed=not self.changes)

    def settle(self, *, leaving: bool = False) -> None:
        """Solve the readings since the last change, and judge the gates that they read.

        Args:
            leaving: whether the car is about to be changed. What contradicts itself is then left out of what
                is known, for its mean lies where nobody read anything.
        """
        self.heed_scales()
        if not self.readings:
            return
        self.open()
        start, told = self.known, self.told
        try:
            check_possible(self.known)
            unread = None if self.told is None else self.told.position
            now = position_of(self.known.car, self.readings, prior=self.known.prior, unread=unread)
            self.learn(now)
            self.known = replace(self.known, prior=now.as_prior(), doubt="")
        except InputError as error:
            if error.key.startswith("entry "):
                raise
            tips = bool(self.scales) and isinstance(error, CarCannotRest)
            raise placed(error, f"entry {self.scaled} (scale)" if tips else self.readings[0].where) from None
        self.settled = now
        self.told = told_at(now)
        self.compress()
        for gate, seq in self.fresh.items():
            verdict = verdict_of(self.known.car, self.told, gate)
            doubt = doubt_of(now, gate, joint=verdict.state)
            before = None
            if told is not None:
                before = float(told.gates[gate]), float(np.linalg.norm(told.root[gate]))
            lone = is_lone(now, gate, before=before)
            if doubt is not None:
                # A mean of readings that contradict each other speaks for nothing.
                verdict = replace(verdict, state=State.UNCLEAR)
            self.read[gate] = Read(seq, verdict, doubt, lone, now.carrying, len(self.changes))
        doubts = [self.read[gate].doubt for gate in self.fresh]
        contested = {entry for doubt in doubts if doubt is not None for entry in doubt.entries}
        if leaving and contested:
            self.leave_out(contested, start, told)
        self.readings, self.fresh = [], {}

    def leave_out(self, contested: Collection[int], start: Known, told: Told | None) -> None:
        """Take what is known from the readings that nobody contradicts."""
        rest = [reading for reading in self.readings if int(reading.where.split()[1]) not in contested]
        self.known = replace(start, doubt="")
        self.told = told
        if rest:
            unread = None if told is None else told.position
            now = position_of(start.car, rest, prior=start.prior, unread=unread)
            self.known = replace(self.known, prior=now.as_prior())
            self.told = told_at(now)
        self.compress()

    def learn(self, now: Position) -> None:
        """Heed what the readings show of the moves before them: the hand's next ones will land likewise."""
        found = achieved_by(self.asked, errors=now.mode.unknowns, root=now.errors)
        self.asked = []
        if found:
            self.achieved += found
            self.hand = learnt(self.scatter, self.achieved)

    def compress(self) -> None:
        """Carry what is known by fewer columns, so that a long log is as quick to solve as a short one."""
        # The columns lose their names, and with them whose errors they were.
        self.asked = []
        prior, turn = compressed(self.known.prior)
        self.known = replace(self.known, prior=prior)
        if self.told is not None:
            self.told = replace(self.told, root=self.told.root @ turn)

    def change(self, seq: int, event: Event) -> None:
        """Take a change in, and note what it did to the gate quantities."""
        self.settle(leaving=True)
        self.settled = None
        if self.known.prior.root.shape[1] > _MOST * len(self.known.prior.mean):
            self.compress()
        before, known = self.told, self.known
        self.scales, self.unweighed, self.agreement = [], None, 1.0
        self.known = known_after(self._with_filed_weight(event), event, hand=self.hand)
        if self.discord is not None and parts_of(self.known.car) != parts_of(known.car):
            # What was weighed against the old parts says nothing of the new ones.
            self.discord = None
        if isinstance(event, Adjustment):
            self._ask(seq, event, new=known.prior.root.shape[1])
        after = self.told = told_of(self.known)
        shift, spread, words = np.full(3, np.nan), np.full(3, np.inf), _words(event)
        self.spoilt = 0 if after is not None else self.spoilt or seq
        if before is not None and after is not None:
            shift = after.gates - before.gates
            count = before.root.shape[1]
            # The errors that were there stay in their columns, so that what they do to both cancels.
            by = after.root.copy()
            by[:, :count] -= before.root
            added = self.known.prior.root[:, count:]
            self.bent[seq] = curvature_of(self.known, after, added)
            spread = np.sqrt(np.sum(by**2, axis=1) + self.bent[seq])
            if after.carrying != before.carrying:
                words += ", so that other wheels carry"
                words += _unless(event, known, self.known) if after.carrying != _INTENDED else ""
        unsaid = self.known.doubt
        words += f" ({unsaid})" if unsaid else ""
        sizes = moved_sizes(known, self.known, event) if self.inspected else {}
        swapped = isinstance(event, HoleDrilled) or (
            isinstance(event, PartFitted) and event.part in {Fitted.WHEEL, Fitted.AXLE}
        )
        self.changes.append(
            Change(
                seq=seq,
                words=words,
                shift=shift,
                spread=spread,
                unsaid=unsaid,
                sizes=sizes,
                swapped=swapped,
            )
        )

    def _ask(self, seq: int, event: Adjustment, *, new: int) -> None:
        """Remember what was asked of the hand, and what it achieved where that was measured."""
        measured = measured_in(seq, event, hand=self.scatter)
        if measured is not None:
            self.achieved.append(measured)
            self.hand = learnt(self.scatter, self.achieved)
        asked = asked_in(seq, event, hand=self.hand, prior=self.known.prior, new=new)
        if asked is not None:
            self.asked.append(asked)

    def _with_filed_weight(self, event: Event) -> Known:
        """Return what is known with a weight of the car file put in that an event fits for the first time."""
        car = self.known.car
        if not isinstance(event, PartFitted) or event.part is not Fitted.WEIGHT:
            return self.known
        weight = self.filed.weights.get(event.name)
        if weight is None or event.name in car.weights or event.name in self.known.places.values():
            return self.known
        return replace(self.known, car=replace(car, weights={**car.weights, event.name: weight}))

    def weigh(self, seq: int, event: ScaleReading) -> None:
        """Take in what a scale showed of the car as it is now: its mass, and where that is."""
        self.scales.append(event)
        self.scaled = seq
        try:
            if self.unweighed is None:
                self.unweighed = as_weighed(self.known)
            self.weighings.append(OnScale(event=event, car=self.unweighed))
            self.known, self.agreement, self.discord = weighed(
                self.known, self.weighings, body=self.filed.body
            )
        except InputError as error:
            raise placed(error, f"entry {seq}") from None

    def heed_scales(self) -> None:
        """Let all that was read earlier be read again where a scale says that other wheels carry."""
        if not self.scales:
            return
        before, after = self.told, told_of(self.known)
        if before is not None and after is not None and after.carrying == before.carrying:
            return
        self.told = after
        if before is None or not self.changes:
            return
        shift = np.full(3, np.nan) if after is None else after.gates - before.gates
        words = "scale reading, by which " + ("it would tip over" if after is None else "other wheels carry")
        self.changes.append(Change(seq=self.scaled, words=words, shift=shift, spread=np.full(3, np.inf)))

    def choose(self, entry: Recorded) -> None:
        """Heed what a class says of bent axles; it wins over the car file."""
        rules, _ = class_in([entry])
        asked = None if rules is None else rules.rules.get(Rule.BENT_AXLES)
        # A class that does not ask leaves what the file says, whatever the class before it asked.
        allowed = asked.allowed if isinstance(asked, Allowed) else self.filed.bent_axles
        self.known = replace(self.known, car=replace(self.known.car, bent_axles=allowed))


def placed(error: InputError, where: str) -> InputError:
    """Return an error that also says at which entry it arose."""
    key = f"{where}, {error.key}" if error.key else where
    return type(error)(error.problem, mend=error.mend, file=error.file, key=key)


def _unless(event: Event, before: Known, after: Known) -> str:
    """Return what puts a car back on its wheels that a weight took off them; empty for other changes."""
    if isinstance(event, PartLeftOff):
        return " unless you put it back"
    if not isinstance(event, PartFitted) or event.part is not Fitted.WEIGHT:
        return ""
    was = before.car.weights.get(event.name)
    moved = was is not None and was.position != after.car.weights[event.name].position
    return " unless you move it back" if moved else " unless you put it elsewhere"


def _words(event: Event) -> str:
    station = getattr(event, "station", None)
    where = "" if station is None else f" at {station.words}"
    if isinstance(event, PartFitted):
        return f"{event.part.value} {event.name} fitted{where}"
    if isinstance(event, PartLeftOff):
        return f"{event.part.value} {event.name or event.pocket}".rstrip() + f" left off{where}"
    if isinstance(event, HoleDrilled):
        return f"hole drilled{where}"
    return f"{event.kind.replace('_', ' ')}{where}"
