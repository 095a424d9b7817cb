"""How the gates of a car stand at the end of its log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rollwright.bench.codec import Recorded
from rollwright.bench.course import Course
from rollwright.bench.drilled import drill_items
from rollwright.bench.events import SlowRollSeen
from rollwright.bench.gates import NUMBERED, Change, Gate, GateState, Item, Standing, gathered
from rollwright.bench.told import curvature_of, verdict_of
from rollwright.bench.trim import trim_items
from rollwright.judge.verdict import CONFIDENCE, State, Verdict

__all__ = ["gates_of"]

_HARDLY = 0.1
"""Part of a tolerance that a gate which failed may have been moved by and need not be read again."""


def gates_of(run: Course, counting: Sequence[Recorded], inspect: Sequence[Item]) -> dict[Gate, GateState]:
    """Return how the gates stand.

    Args:
        run: the fold at the end of the log, its readings settled.
        counting: the entries that count, in order.
        inspect: the lines of the inspect gate; none where no class was chosen.

    Returns:
        All gates, in the order of the work.
    """
    left = np.zeros(3) if run.told is None else curvature_of(run.known, run.told, run.known.prior.root)
    found = {gate: _numbered(run, number, float(left[number])) for number, gate in enumerate(NUMBERED)}
    for gate in (Gate.STEER, Gate.CENTRE):
        found[gate] = _marked(found[gate], counting, run)
    found[Gate.ROLL] = _rolled(run, sure=found[Gate.STEER].passed and found[Gate.CENTRE].passed)
    found[Gate.DRILL] = gathered(Gate.DRILL, drill_items(counting, run.filed))
    found[Gate.TRIM] = gathered(Gate.TRIM, trim_items(counting, run.filed))
    found[Gate.INSPECT] = gathered(Gate.INSPECT, inspect)
    return {gate: found[gate] for gate in Gate}


def _marked(state: GateState, counting: Sequence[Recorded], run: Course) -> GateState:
    """Return a gate with what was not yet fitted when it was read."""
    if not state.read_at:
        return state
    items = trim_items(counting, run.filed, before=state.read_at)
    return replace(state, before_trim=tuple(item.name for item in items if not item.passed))


def _numbered(run: Course, number: int, left: float) -> GateState:
    """Return how a gate with a number stands; `left` is what curvature adds to all that is not known now."""
    gate, told = NUMBERED[number], run.told
    now = None if told is None else verdict_of(run.known.car, told, number)
    if number not in run.read:
        return GateState(gate=gate, standing=Standing.NEVER_READ, now=now)
    read = run.read[number]
    verdict = read.verdict
    since = [change for change in run.changes[read.changes :] if change.moves(number)]
    if not since:
        # Nothing has moved it, so that whatever was read since speaks of the same quantity.
        return GateState(
            gate=gate,
            standing=Standing.HOLDS,
            verdict=replace(now, state=State.UNCLEAR) if now is not None and read.doubt else now,
            now=now,
            read_at=read.seq,
            doubt=read.doubt,
            lone=read.lone,
        )
    standing = Standing.READ_AGAIN
    # No more than the changes brought in, and no more than later readings have left of it.
    unknown = np.full(3, np.inf)
    bent = min(left, sum(float(run.bent.get(change.seq, unknown)[number]) for change in since))
    if told is not None and now is not None and np.isfinite(bent):
        now = verdict_of(run.known.car, told, number, bent=bent)
        same = told.carrying == read.carrying and not any(change.unsaid for change in since)
        # Only what was passed can hold: a gate that failed is passed by a reading, never by a move.
        if same and verdict.state is State.PASS and now.probability >= CONFIDENCE:
            standing = Standing.PREDICTED
        # What failed and was hardly moved has failed still; to read it again would tell nothing new.
        if same and verdict.state is now.state is State.FAIL and _hardly_moved(since, number, now):
            standing = Standing.PREDICTED
    return GateState(
        gate=gate,
        standing=standing,
        verdict=verdict,
        now=now,
        shift=None if now is None else now.value - verdict.value,
        read_at=read.seq,
        reasons=tuple(sorted(since, key=lambda change: -change.size(number))),
    )


def _hardly_moved(since: Sequence[Change], number: int, now: Verdict) -> bool:
    """Return whether changes can have moved a gate quantity by a small part of its tolerance only."""
    return sum(change.size(number) for change in since) <= _HARDLY * 0.5 * (now.high - now.low)


def _rolled(run: Course, *, sure: bool) -> GateState:
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
