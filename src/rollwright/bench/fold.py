"""What a car's log adds up to: where the car is now, which gates were read, and which have gone stale.

The fold is a pure function of the events in their order. Between two changes all readings are solved
together; a change then shifts what is known and adds what the hand leaves open; later readings are
solved from there. So every reading that was not withdrawn has its say, and none is used twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.as_readings import bends_read
from rollwright.bench.codec import Recorded
from rollwright.bench.effects import known_after, reading_of
from rollwright.bench.events import (
    Adjustment,
    CarStarted,
    DaylightCheck,
    Event,
    HoleDrilled,
    PartFitted,
    ReadingTaken,
    Retired,
    SlowRoll,
    SlowRollSeen,
    Withdrawn,
)
from rollwright.bench.gates import NUMBERED, Change, Gate, GateState, Standing
from rollwright.bench.known import Known, check_possible, compressed, opened
from rollwright.car.file import parse_car
from rollwright.car.model import Car, Seat, Station
from rollwright.errors import InputError, ReadingUnusable
from rollwright.geometry.many import stances
from rollwright.judge.verdict import CONFIDENCE, State, Verdict, judge
from rollwright.setup.estimate import Estimate, estimate, prior_of, seats_at
from rollwright.setup.hand import Hand
from rollwright.setup.predict import GATE_QUANTITIES, GATE_READINGS, derivatives, gate_values
from rollwright.setup.readings import Reading

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Change", "Folded", "Gate", "GateState", "Known", "Standing", "State", "fold"]


_MOST = 1.5
"""Columns of the root for each dimension, above which they are made fewer even where nothing is read."""


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
        retired: why the car is no longer worked on, or empty.
        trouble: why the car cannot be told, such as that it tips over; or empty.
    """

    known: Known
    estimate: Estimate | None
    readings: tuple[Reading, ...]
    gates: Mapping[Gate, GateState]
    changes: tuple[Change, ...]
    entries: int
    withdrawn: tuple[int, ...]
    retired: str = ""
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class _Told:
    """The gate quantities of a car: values, derivatives along the prior's columns, seats, and who carries."""

    gates: NDArray[np.float64]
    root: NDArray[np.float64]
    seats: Mapping[Station, Seat]
    carrying: int


def _carrying(known: Known, seats: Mapping[Station, Seat]) -> int:
    """Return which wheels carry a car, as an index into `geometry.stance.tripods`."""
    return int(stances(known.car, known.prior.mean[None, :], seats=seats).carrying[0])


def _told(known: Known) -> _Told | None:
    """Return the gate quantities of a car; None where it shows none, as when it tips or turns too sharply."""
    try:
        check_possible(known)
        seats = seats_at(known.car, known.prior.mean)
    except InputError:
        return None

    def gates(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        return gate_values(stances(known.car, rows, seats=seats))

    here, slopes = derivatives(gates, known.prior.mean, known.prior.root.T)
    if not (np.all(np.isfinite(here)) and np.all(np.isfinite(slopes))):
        return None
    return _Told(here, slopes, seats, _carrying(known, seats))


def _bent(known: Known, told: _Told, columns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the variance that the geometry's curvature adds along columns of the root, (3,).

    A bend that points straight down lifts the car most, whichever way it is turned from there: the slope is
    nothing, and the effect is not. For `g = a z + b z^2`, z of unit variance, the variance is `a^2 + 2 b^2`.
    Infinite where a standard deviation either way leads to a car that shows no such thing.
    """
    mean = known.prior.mean
    rows = np.concatenate((mean[None, :], mean + columns.T, mean - columns.T))
    found = gate_values(stances(known.car, rows, seats=told.seats))[1:]
    second = 0.5 * (found[: columns.shape[1]] + found[columns.shape[1] :]) - told.gates
    variance: NDArray[np.float64] = np.sum(2.0 * np.where(np.isnan(second), np.inf, second) ** 2, axis=0)
    return variance


@dataclass(slots=True)
class _Run:
    """The fold on its way through the log."""

    known: Known
    hand: Hand
    told: _Told | None
    settled: Estimate | None = None
    readings: list[Reading] = field(default_factory=list)
    fresh: dict[int, int] = field(default_factory=dict)
    read: dict[int, tuple[int, Verdict, int]] = field(default_factory=dict)
    rolled: tuple[int, SlowRollSeen] | None = None
    changes: list[Change] = field(default_factory=list)
    bent: dict[int, NDArray[np.float64]] = field(default_factory=dict)

    def take(self, seq: int, event: ReadingTaken | DaylightCheck) -> None:
        """Keep a reading until all of the same state of the car are there."""
        reading = reading_of(event, number=seq)
        if reading is None:
            return
        self.readings.append(reading)
        self.fresh |= {gate: seq for gate, kinds in enumerate(GATE_READINGS) if reading.kind in kinds}

    def open(self) -> None:
        """Put the bends that were read in question, where the pins were held for straight."""
        bends = bends_read(self.known.car, self.readings)
        self.known = opened(self.known, bends, as_filed=not self.changes)

    def settle(self) -> None:
        """Solve the readings since the last change, and judge the gates that they read."""
        if not self.readings:
            return
        self.open()
        try:
            check_possible(self.known)
            now = estimate(self.known.car, self.readings, prior=self.known.prior)
            self.known = replace(self.known, prior=now.as_prior(), doubt="")
            carrying = _carrying(self.known, now.seats)
        except InputError as error:
            if error.key.startswith("entry "):
                raise
            raise _placed(error, self.readings[0].where) from None
        self.settled = now
        self.told = _Told(now.gates, now.gate_root, now.seats, carrying)
        self.compress()
        for gate, seq in self.fresh.items():
            self.read[gate] = (seq, _verdict(self.known.car, self.told, gate), carrying)
        self.readings, self.fresh = [], {}

    def compress(self) -> None:
        """Carry what is known by fewer columns, so that a long log is as quick to solve as a short one."""
        prior, turn = compressed(self.known.prior)
        self.known = replace(self.known, prior=prior)
        if self.told is not None:
            self.told = replace(self.told, root=self.told.root @ turn)

    def change(self, seq: int, event: Event) -> None:
        """Take a change in, and note what it did to the gate quantities."""
        self.settle()
        self.settled = None
        if self.known.prior.root.shape[1] > _MOST * len(self.known.prior.mean):
            self.compress()
        before = self.told
        self.known = known_after(self.known, event, hand=self.hand)
        after = self.told = _told(self.known)
        shift, spread, words = np.full(3, np.nan), np.full(3, np.inf), _words(event)
        if before is not None and after is not None:
            shift = after.gates - before.gates
            count = before.root.shape[1]
            # The errors that were there stay in their columns, so that what they do to both cancels.
            by = after.root.copy()
            by[:, :count] -= before.root
            added = self.known.prior.root[:, count:]
            self.bent[seq] = _bent(self.known, after, added)
            spread = np.sqrt(np.sum(by**2, axis=1) + self.bent[seq])
            if after.carrying != before.carrying:
                words += ", so that other wheels carry"
        unsaid = self.known.doubt
        words += f" ({unsaid})" if unsaid else ""
        self.changes.append(Change(seq=seq, words=words, shift=shift, spread=spread, unsaid=unsaid))


def _placed(error: InputError, where: str) -> InputError:
    """Return an error that also says at which entry it arose."""
    key = f"{where}, {error.key}" if error.key else where
    return type(error)(error.problem, mend=error.mend, file=error.file, key=key)


def _verdict(car: Car, told: _Told, gate: int, *, bent: float = 0.0) -> Verdict:
    target = getattr(car.targets, GATE_QUANTITIES[gate])
    variance = float(told.root[gate] @ told.root[gate]) + bent
    return judge(
        value=float(told.gates[gate]),
        uncertainty=float(np.sqrt(variance)),
        low=target.low,
        high=target.high,
    )


def _words(event: Event) -> str:
    station = getattr(event, "station", None)
    where = "" if station is None else f" at {station.words}"
    if isinstance(event, PartFitted):
        return f"{event.part.value} {event.name} fitted{where}"
    if isinstance(event, HoleDrilled):
        return f"hole drilled{where}"
    return f"{event.kind.replace('_', ' ')}{where}"


def withdrawn_in(events: Iterable[Recorded]) -> dict[str, int]:
    """Return the ids of withdrawn entries, each with the number of the entry that withdrew it."""
    return {entry.event.entry: entry.seq for entry in events if isinstance(entry.event, Withdrawn)}


def fold(entries: Iterable[Recorded], *, hand: Hand | None = None) -> Folded:
    """Return what a car's log adds up to.

    Args:
        entries: all entries of one car, in their order.
        hand: how closely the builder's hand hits what is asked; left out, an ordinary one.

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
    run = _started(counting, hand=Hand() if hand is None else hand)
    retired = ""
    for entry in counting[1:]:
        event = entry.event
        if isinstance(event, (Adjustment, HoleDrilled, PartFitted)):
            run.change(entry.seq, event)
        elif isinstance(event, (ReadingTaken, DaylightCheck)):
            run.take(entry.seq, event)
        elif isinstance(event, SlowRoll):
            run.rolled = (entry.seq, event.seen)
        elif isinstance(event, Retired):
            retired = event.reason
    run.open()
    last, start = tuple(run.readings), run.known
    run.settle()
    now, trouble = _estimated(run)
    return Folded(
        known=start,
        estimate=now,
        readings=last,
        gates=_gates(run),
        changes=tuple(run.changes),
        entries=len(counting),
        withdrawn=tuple(
            entry.seq for entry in every if entry.id in gone and not isinstance(entry.event, Withdrawn)
        ),
        retired=retired,
        trouble=trouble,
    )


def _started(counting: Sequence[Recorded], *, hand: Hand) -> _Run:
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
        raise _placed(error, f"entry {first.seq}") from None
    known = replace(known, prior=prior_of(car))
    return _Run(known=known, hand=hand, told=_told(known))


def _estimated(run: _Run) -> tuple[Estimate | None, str]:
    if run.settled is not None:
        return run.settled, ""
    try:
        check_possible(run.known)
        return estimate(run.known.car, prior=run.known.prior), ""
    except InputError as error:
        return None, str(error)


def _gates(run: _Run) -> dict[Gate, GateState]:
    left = np.zeros(3) if run.told is None else _bent(run.known, run.told, run.known.prior.root)
    found = {gate: _numbered(run, number, float(left[number])) for number, gate in enumerate(NUMBERED)}
    found[Gate.ROLL] = _rolled(run, sure=found[Gate.STEER].passed and found[Gate.CENTRE].passed)
    return found


def _numbered(run: _Run, number: int, left: float) -> GateState:
    """Return how a gate with a number stands; `left` is what curvature adds to all that is not known now."""
    gate, told = NUMBERED[number], run.told
    now = None if told is None else _verdict(run.known.car, told, number)
    if number not in run.read:
        return GateState(gate=gate, standing=Standing.NEVER_READ, now=now)
    seq, verdict, carrying = run.read[number]
    since = [change for change in run.changes if change.seq > seq and change.moves(number)]
    if not since:
        # Nothing has moved it, so that whatever was read since speaks of the same quantity.
        return GateState(gate=gate, standing=Standing.HOLDS, verdict=now, now=now, read_at=seq)
    standing = Standing.READ_AGAIN
    # No more than the changes brought in, and no more than later readings have left of it.
    unknown = np.full(3, np.inf)
    bent = min(left, sum(float(run.bent.get(change.seq, unknown)[number]) for change in since))
    if told is not None and now is not None and np.isfinite(bent):
        now = _verdict(run.known.car, told, number, bent=bent)
        same = told.carrying == carrying and not any(change.unsaid for change in since)
        # Only what was passed can hold: a gate that failed is passed by a reading, never by a move.
        if same and verdict.state is State.PASS and now.probability >= CONFIDENCE:
            standing = Standing.PREDICTED
    return GateState(
        gate=gate,
        standing=standing,
        verdict=verdict,
        now=now,
        shift=None if now is None else now.value - verdict.value,
        read_at=seq,
        reasons=tuple(sorted(since, key=lambda change: -change.size(number))),
    )


def _rolled(run: _Run, *, sure: bool) -> GateState:
    """Return how the slow roll stands, which follows from steer and place on the rail.

    It has no number of its own; once they have moved it is predicted to hold while both gates are passed.
    """
    if run.rolled is None:
        return GateState(gate=Gate.ROLL, standing=Standing.NEVER_READ, shift=None)
    seq, seen = run.rolled
    moved = tuple(change for change in run.changes if change.seq > seq and change.moves(1, 2))
    good = 1.0 if seen is SlowRollSeen.HOLDS else 0.0
    verdict = Verdict(
        state=State.PASS if good else State.FAIL,
        value=good,
        uncertainty=0.0,
        probability=good,
        low=0.5,
        high=1.5,
    )
    standing = Standing.HOLDS
    if moved:
        standing = Standing.PREDICTED if good and sure else Standing.READ_AGAIN
    return GateState(
        gate=Gate.ROLL, standing=standing, verdict=verdict, shift=None, read_at=seq, reasons=moved
    )
