"""The next moves: one bend, one turn and one trim, solved together.

Every move disturbs what the others set, so they are found jointly and then, in the order in which
they are made, rounded to what a hand can do, each later one making up for the rounding of those
before. Of several sets of moves the smallest is chosen that does about as well as the best.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Station
from rollwright.judge.verdict import CONFIDENCE
from rollwright.quantity import Quantity, Source
from rollwright.setup.estimate import Estimate, seats_at
from rollwright.setup.hand import Hand
from rollwright.setup.knobs import Bench3, Setting
from rollwright.setup.limits import Cannot, bending, within_limits
from rollwright.setup.outcome import MoveKind, Outcome, hand_directions, outcome_of, targets_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Move", "Plan", "after_moves", "moved_dimensions", "plan_moves"]

_DEG = math.pi / 180.0
_BEND_GRID = 0.05 * _DEG
_TURN_GRID = 0.5 * _DEG
_LENGTH_GRID = 1e-5
_ROUNDS = 4
_ABOUT_AS_WELL = 0.02
_LIKELY = 0.25
_STOP_SHORT = 1.6448536269514722
"""One-sided 5 % point of the normal distribution (JCGM 106:2012, Table 1): the share that may overshoot."""

_TOO_SMALL_TO_TELL = (
    "What is left to correct is smaller than the readings can tell, so move nothing; "
    "a better reading comes first."
)

_GATE_OF = {
    MoveKind.SHIM: 0,
    MoveKind.BEND: 0,
    MoveKind.TURN: 1,
    MoveKind.WASHER: 2,
    MoveKind.RELIEF: 2,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One move.

    Attributes:
        kind: what is done.
        station: where.
        by: change of bend angle, of clock [rad], or of thickness [m]; a turn is positive when it carries
            the bend from down to forward, negative from down to backward.
        to: what the dimension comes to be [rad or m].
        gate: index of the gate quantity that the move is made for.
        after: what is expected once this move and those before it are made.
    """

    kind: MoveKind
    station: Station
    by: float
    to: float
    gate: int
    after: Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to do next.

    Attributes:
        moves: in the order in which they are made; empty when the car is best left alone.
        outcome: what is expected after all of them.
        cannot: targets that no allowed move reaches, and what would have to change.
        notes: why something is left alone or stops short, in plain words.
        values: dimensions expected after the moves, (p,).
    """

    moves: tuple[Move, ...]
    outcome: Outcome
    cannot: tuple[Cannot, ...]
    notes: tuple[str, ...]
    values: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Candidate:
    setting: Setting
    moved: frozenset[MoveKind]
    outcome: Outcome
    notes: tuple[str, ...] = ()
    cannot: tuple[Cannot, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Maker:
    """Makes candidates: everything that stays the same between them."""

    bench: Bench3
    estimate: Estimate
    hand: Hand

    def outcome(self, setting: Setting, moved: frozenset[MoveKind]) -> Outcome | None:
        return outcome_of(self.bench, setting, root=self.estimate.root, hand=self.hand, moved=moved)

    def finish(
        self,
        setting: Setting,
        moved: frozenset[MoveKind],
        *,
        notes: tuple[str, ...],
        cannot: tuple[Cannot, ...] = (),
    ) -> _Candidate | None:
        """Add the trim that a setting of bend, clock and shims asks for, and say what comes of it all."""
        bare = self.outcome(setting, moved)
        if bare is None:
            return None
        if bare.probabilities[2] >= CONFIDENCE:
            return _Candidate(setting=setting, moved=moved, outcome=bare, notes=notes, cannot=cannot)
        wanted, _ = targets_of(self.bench.car.targets)
        exact = self.bench.solve(setting, knobs=("trim",), targets={2: float(wanted[2])})
        if exact is None:
            return _Candidate(setting=setting, moved=moved, outcome=bare, notes=notes, cannot=cannot)
        trimmed, kinds, more = self._trim(exact, moved, target=float(wanted[2]))
        refused = within_limits(self.bench, trimmed)
        if refused is not None:
            return _Candidate(
                setting=setting, moved=moved, outcome=bare, notes=notes, cannot=(*cannot, refused)
            )
        moved = moved | kinds
        found = self.outcome(trimmed, moved)
        if found is None:
            return None
        return _Candidate(setting=trimmed, moved=moved, outcome=found, notes=(*notes, *more), cannot=cannot)

    def _trim(
        self, exact: Setting, moved: frozenset[MoveKind], *, target: float
    ) -> tuple[Setting, frozenset[MoveKind], tuple[str, ...]]:
        washer, relief = self.bench.trim_parts(exact.trim)
        washer = _rounded(washer, _LENGTH_GRID) if abs(washer) >= self.hand.washer else 0.0
        kinds = frozenset({MoveKind.WASHER}) if washer != 0.0 else frozenset()
        if relief <= 0.0:
            return replace(exact, trim=washer), kinds, ()
        # Wood does not come back: aim short of the target by the reach of everything that is not known.
        sanding = kinds | {MoveKind.RELIEF}
        trial = self.outcome(exact, moved | sanding)
        short = None
        if trial is not None:
            spread = float(trial.deviations[2])
            short = self.bench.solve(exact, knobs=("trim",), targets={2: target + _STOP_SHORT * spread})
        depth = self.bench.trim_parts(short.trim)[1] if short is not None else 0.0
        depth = math.floor(depth / _LENGTH_GRID + 1e-6) * _LENGTH_GRID
        if depth < self.hand.relief:
            note = (
                "The wheel stands off by so little that sanding could overshoot as easily as land; "
                "leave the wood and read the rail again."
            )
            return replace(exact, trim=washer), kinds, (note,)
        return replace(exact, trim=washer - depth), sanding, ()


def _rounded(value: float, grid: float) -> float:
    return round(value / grid) * grid


def _wrapped(angle: float) -> float:
    return math.remainder(angle, 2.0 * math.pi)


def plan_moves(estimate: Estimate, *, hand: Hand | None = None) -> Plan:
    """Return the next moves.

    Args:
        estimate: where the car is.
        hand: how closely the builder's hand hits what is asked; left out, an ordinary one.

    Returns:
        The plan. Bend, turn and trim are solved together by Newton's method on the exact geometry;
        sanding stops short so that the chance of passing the target is at most 5 %.
    """
    able = Hand() if hand is None else hand
    seats = estimate.seats
    for _ in range(_ROUNDS):
        maker = _Maker(
            bench=Bench3(car=estimate.car, seats=seats, values=estimate.values), estimate=estimate, hand=able
        )
        chosen = _choose(maker)
        after = maker.bench.moved(chosen.setting)
        better = seats_at(estimate.car, after)
        if better == seats:
            break
        seats = better
    return Plan(
        moves=_moves(maker, chosen),
        outcome=chosen.outcome,
        cannot=chosen.cannot,
        notes=chosen.notes,
        values=after,
    )


def _choose(maker: _Maker) -> _Candidate:
    """Return the smallest set of moves that does about as well as the best."""
    bench = maker.bench
    present = bench.present()
    now = maker.outcome(present, frozenset())
    if now is None:
        now = _as_estimated(maker)
    wanted, tolerance = targets_of(bench.car.targets)
    none = _Candidate(setting=present, moved=frozenset(), outcome=now)
    if min(now.probabilities) >= CONFIDENCE:
        return none
    error = np.abs(now.means - wanted)
    seen = error >= now.deviations
    candidates = [none]
    cannot: tuple[Cannot, ...] = ()
    if not (seen | (np.array(now.probabilities) >= CONFIDENCE)).any() or not seen.any():
        return replace(
            none,
            notes=(_TOO_SMALL_TO_TELL,),
        )
    # A smaller set of moves is worth a thought only where it does not leave another gate behind.
    likely = np.array(now.probabilities) > _LIKELY
    if seen[2] and likely[0] and likely[1]:
        candidates += _some(maker.finish(present, frozenset(), notes=()))
    if seen[0] or seen[1]:
        if seen[1] and likely[0]:
            candidates += _some(_turned(maker, present))
        together = _joint(maker, present)
        candidates += _some(together)
        cannot = () if together is None else together.cannot
    best = max(candidate.outcome.joint for candidate in candidates)
    for candidate in candidates:
        off = np.abs(candidate.outcome.means - wanted)
        gross = off > np.maximum(tolerance, 2.0 * candidate.outcome.deviations)
        if candidate.outcome.joint >= best - _ABOUT_AS_WELL and not gross.any():
            return candidate
    chosen = min(
        candidates,
        key=lambda each: float(np.sum(((each.outcome.means - wanted) / tolerance) ** 2)),
    )
    # What bending cannot do is worth saying even where it is another set of moves that comes nearest.
    return replace(chosen, cannot=chosen.cannot or cannot)


def _as_estimated(maker: _Maker) -> Outcome:
    """Return the present outcome from the estimate itself, where the settings cannot be probed."""
    estimate = maker.estimate
    return Outcome(
        means=estimate.gates,
        covariance=estimate.gate_covariance,
        probabilities=(0.0, 0.0, 0.0),
        joint=0.0,
    )


def _some(candidate: _Candidate | None) -> list[_Candidate]:
    return [] if candidate is None else [candidate]


def _turned(maker: _Maker, present: Setting) -> _Candidate | None:
    """Turn the axle as it is bent, and trim."""
    if present.bend == 0.0:
        return None
    wanted, _ = targets_of(maker.bench.car.targets)
    exact = maker.bench.solve(
        present, knobs=("angle", "trim"), targets={1: float(wanted[1]), 2: float(wanted[2])}
    )
    if exact is None or abs(_wrapped(exact.angle)) > 0.5 * math.pi:
        return None
    return _after_turn(maker, present, replace(present, trim=0.0), exact.angle, frozenset(), ())


def _after_turn(
    maker: _Maker,
    present: Setting,
    base: Setting,
    angle: float,
    moved: frozenset[MoveKind],
    notes: tuple[str, ...],
    cannot: tuple[Cannot, ...] = (),
) -> _Candidate | None:
    by = _wrapped(angle - present.angle)
    if abs(by) < maker.hand.turn:
        if abs(by) > _TURN_GRID:
            notes = (*notes, "The axle is within a hand's reach of its best turn, so it is not turned.")
        by = 0.0
    else:
        by = _rounded(by, _TURN_GRID)
        moved = moved | {MoveKind.TURN}
    return maker.finish(base.turned_to(present.angle + by), moved, notes=notes, cannot=cannot)


def _joint(maker: _Maker, present: Setting) -> _Candidate | None:
    """Bend, turn and trim together; shims where bending cannot do it."""
    bench, hand = maker.bench, maker.hand
    wanted, _ = targets_of(bench.car.targets)
    all_three = {index: float(wanted[index]) for index in range(3)}
    plan = bending(bench, present, all_three)
    base, notes, moved = plan.setting, plan.notes, frozenset[MoveKind]()
    if abs(base.rear_shim) >= hand.shim:
        moved |= {MoveKind.SHIM}
        base = replace(base, rear_shim=_rounded(base.rear_shim, _LENGTH_GRID))
    else:
        base = replace(base, rear_shim=0.0)
    by = base.bend - present.bend
    if not bench.car.bent_axles:
        return maker.finish(replace(base, trim=0.0), moved, notes=notes, cannot=plan.cannot)
    if abs(by) < hand.bend:
        if abs(by) > _BEND_GRID:
            notes = (*notes, "The bend is within a hand's reach of its best, so it is left as it is.")
        by = 0.0
    else:
        by = _rounded(by, _BEND_GRID)
        moved |= {MoveKind.BEND}
    size = max(0.0, present.bend + by)
    angle = base.angle
    base = replace(base, down=size * math.cos(angle), forward=size * math.sin(angle), clock=angle)
    if size > 0.0:
        again = bench.solve(base, knobs=("angle", "trim"), targets={1: all_three[1], 2: all_three[2]})
        # The rounding of the bend is made up for by the turn, unless that would carry the bend upward.
        if again is not None and abs(_wrapped(again.angle)) <= 0.5 * math.pi + 1e-9:
            angle = again.angle
    return _after_turn(maker, present, replace(base, trim=0.0), angle, moved, notes, plan.cannot)


def _moves(maker: _Maker, chosen: _Candidate) -> tuple[Move, ...]:
    """Return the moves that lead to a candidate, each with what is expected when it is made."""
    bench = maker.bench
    present, target = bench.present(), chosen.setting
    station = bench.car.dominant
    washer, relief = bench.trim_parts(target.trim)
    steps: list[tuple[MoveKind, tuple[Station, ...], float, float, Setting]] = []
    at = replace(present, rear_shim=target.rear_shim)
    if MoveKind.SHIM in chosen.moved:
        rear = (Station.REAR_LEFT, Station.REAR_RIGHT)
        where: tuple[Station, ...] = rear if target.rear_shim >= 0.0 else (station,)
        size = abs(target.rear_shim)
        steps.append((MoveKind.SHIM, where, size, size, at))
    at = at.bent_to(target.bend)
    if MoveKind.BEND in chosen.moved:
        steps.append((MoveKind.BEND, (station,), target.bend - present.bend, target.bend, at))
    at = at.turned_to(target.angle)
    if MoveKind.TURN in chosen.moved:
        by = _wrapped(target.angle - present.angle)
        steps.append((MoveKind.TURN, (station,), by, _wrapped(target.angle), at))
    at = replace(at, trim=washer)
    if MoveKind.WASHER in chosen.moved:
        total = float(bench.values[bench.column("washer")]) + washer
        steps.append((MoveKind.WASHER, (station,), washer, max(0.0, total), at))
    if MoveKind.RELIEF in chosen.moved:
        total = float(bench.values[bench.column("relief")]) + relief
        steps.append((MoveKind.RELIEF, (station,), relief, total, target))
    moves: list[Move] = []
    done: frozenset[MoveKind] = frozenset()
    for number, (kind, where, by, to, setting) in enumerate(steps, start=1):
        done |= {kind}
        last = number == len(steps)
        after = chosen.outcome if last else maker.outcome(setting, done) or chosen.outcome
        moves += [
            Move(kind=kind, station=each, by=by, to=to, gate=_GATE_OF[kind], after=after) for each in where
        ]
    return tuple(moves)


def after_moves(
    estimate: Estimate, plan: Plan, *, hand: Hand | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what is known of the dimensions once a plan's moves are made but nothing is read again.

    Args:
        estimate: what was known before.
        plan: the moves.
        hand: how closely the hand hits what is asked.

    Returns:
        Mean, (p,), and root, (p, q): the estimate's own, with one more column for each error of the hand.
    """
    able = Hand() if hand is None else hand
    bench = Bench3(car=estimate.car, seats=estimate.seats, values=estimate.values)
    rear = any(move.kind is MoveKind.SHIM and not move.station.is_front for move in plan.moves)
    shim = next((move.by for move in plan.moves if move.kind is MoveKind.SHIM), 0.0)
    setting = replace(bench.present(), rear_shim=shim if rear else -shim)
    errors = hand_directions(bench, able, {move.kind for move in plan.moves}, setting)
    return plan.values, np.column_stack([estimate.root, *errors]) if errors else estimate.root


def moved_dimensions(estimate: Estimate, plan: Plan) -> Mapping[str, Quantity]:
    """Return the dimensions that a plan's moves change, as they are expected to be afterwards.

    Args:
        estimate: what was known before.
        plan: the moves.

    Returns:
        By name, value with the standard uncertainty that the estimate and the hand leave.
    """
    mean, root = after_moves(estimate, plan)
    spread = np.sqrt(np.sum(root**2, axis=1))
    names = dimension_names()
    return {
        name: Quantity(
            value=float(mean[index]), uncertainty=float(spread[index]), source=Source.MEASURED, label=name
        )
        for index, name in enumerate(names)
        if mean[index] != estimate.values[index]
    }
