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
from rollwright.car.model import Seat, Station
from rollwright.errors import CarCannotRest
from rollwright.judge.verdict import CONFIDENCE
from rollwright.quantity import Quantity, Source
from rollwright.setup.candidate import LENGTH_GRID, Candidate, Maker, rounded, wrapped
from rollwright.setup.estimate import Estimate, seats_at
from rollwright.setup.hand import Hand
from rollwright.setup.knobs import AdjustableCar, Setting
from rollwright.setup.limits import Cannot, bending
from rollwright.setup.outcome import MoveKind, Outcome, hand_directions, known_after, targets_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Move", "Plan", "after_moves", "moved_dimensions", "plan_moves"]

_DEG = math.pi / 180.0
_BEND_GRID = 0.05 * _DEG
_TURN_GRID = 0.5 * _DEG
_ROUNDS = 4
_ABOUT_AS_WELL = 0.02
_LIKELY = 0.25
_TOO_SMALL_TO_TELL = (
    "What is left to correct is smaller than the readings can tell, so move nothing; "
    "a better reading comes first."
)

_READ_FIRST = (
    "The file alone leaves this too wide open to move anything for it; read the car at the bench first."
)

_NOTHING_HELPS = (
    "No move that a hand can make brings all three nearer at once, as far as the readings tell, so move "
    "nothing; a better reading comes first."
)

_TRIM_COMES_LAST = (
    "Level and steer come before the trim, and they are not known well enough yet; read them first."
)

_KEEP_THE_WOOD = "Leave the wood until the hole steers as it should; sanding for the rail comes after that."

_CLOSE_CALL = (
    "After these moves it is not clear where in its play a wheel runs; watch it roll, give its seat in the "
    "file and read again."
)

_SEAT_UNKNOWN = (
    "It is not clear where in its play a wheel runs, and a move that helps in one place harms in the "
    "other; watch it roll and give its seat in the file first."
)

_GATE_OF = {
    MoveKind.SHIM: 0,
    MoveKind.BEND: 0,
    MoveKind.TURN: 1,
    MoveKind.WASHER: 2,
    MoveKind.RELIEF: 2,
}


_CHANGED_BY = {
    MoveKind.SHIM: ("hole_height",),
    MoveKind.BEND: ("bend", "clock"),
    MoveKind.TURN: ("clock",),
    MoveKind.WASHER: ("washer",),
    MoveKind.RELIEF: ("relief",),
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
        ask: what to ask of the hand so that it achieves that change [rad or m]; the same as `by` of a hand
            whose moves land on what was asked.
        gate: index of the gate quantity that the move is made for.
        after: what is expected once this move and those before it are made.
    """

    kind: MoveKind
    station: Station
    by: float
    to: float
    ask: float
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


def plan_moves(estimate: Estimate, *, hand: Hand | None = None, sand: bool = True) -> Plan:
    """Return the next moves.

    Args:
        estimate: where the car is.
        hand: how closely the builder's hand hits what is asked; left out, an ordinary one.
        sand: whether wood may be taken off, which nothing brings back.

    Returns:
        The plan. Bend, turn and trim are solved together by Newton's method on the exact geometry;
        sanding stops short so that the chance of passing the target is at most 5 %.
    """
    able = Hand() if hand is None else hand
    here = Maker(
        bench=AdjustableCar(car=estimate.car, seats=estimate.seats, values=estimate.values),
        estimate=estimate,
        hand=able,
        sand=sand,
    )
    now = here.outcome(here.bench.present(), frozenset()) or _as_estimated(here)
    maker = here
    for _ in range(_ROUNDS):
        chosen = _choose(maker, now)
        if not chosen.moved:
            return Plan(
                moves=(),
                outcome=now,
                cannot=chosen.cannot,
                notes=chosen.notes or _why_nothing(chosen),
                values=estimate.values,
            )
        after = maker.bench.moved(chosen.setting)
        seats = _seats_after(maker, after)
        if seats == maker.bench.seats:
            break
        # The moves make a wheel run elsewhere in its play, so they are solved for a car in which it does.
        maker = replace(here, bench=replace(here.bench, seats=seats))
    else:
        # Each answer moves the wheel out of the seat that it was solved for: tell what this one leads to.
        found = maker.outcome(chosen.setting, chosen.moved)
        if found is None or _off(maker, found) >= _off(maker, now):
            return Plan(
                moves=(),
                outcome=now,
                cannot=chosen.cannot,
                notes=(_SEAT_UNKNOWN,),
                values=estimate.values,
            )
        chosen = replace(chosen, outcome=found, notes=(*chosen.notes, _CLOSE_CALL))
    return Plan(
        moves=_moves(maker, chosen),
        outcome=chosen.outcome,
        cannot=chosen.cannot,
        notes=chosen.notes,
        values=after,
    )


def _off(maker: Maker, outcome: Outcome) -> float:
    """Return the sum of squares of what is left, each gate quantity in its tolerances."""
    wanted, tolerance = targets_of(maker.bench.car.targets)
    return float(np.sum(((outcome.means - wanted) / tolerance) ** 2))


def _seats_after(maker: Maker, values: NDArray[np.float64]) -> Mapping[Station, Seat]:
    try:
        return seats_at(maker.estimate.car, values)
    except CarCannotRest:
        return maker.bench.seats


def _why_nothing(chosen: Candidate) -> tuple[str, ...]:
    level, steer, centre = chosen.outcome.probabilities
    if chosen.cannot or min(level, steer, centre) >= CONFIDENCE:
        return ()
    return (_TRIM_COMES_LAST,) if centre < _LIKELY else (_NOTHING_HELPS,)


def _choose(maker: Maker, now: Outcome) -> Candidate:
    """Return the smallest set of moves that does about as well as the best."""
    bench = maker.bench
    present = bench.present()
    wanted, tolerance = targets_of(bench.car.targets)
    none = Candidate(setting=present, moved=frozenset(), outcome=now)
    if min(now.probabilities) >= CONFIDENCE:
        return none
    error = np.abs(now.means - wanted)
    told = maker.told()
    seen = told & (error >= now.deviations)
    if not seen.any():
        unsure = ~told & (np.array(now.probabilities) < CONFIDENCE)
        return replace(none, notes=(_READ_FIRST if unsure.any() else _TOO_SMALL_TO_TELL,))
    candidates = [none]
    # A smaller set of moves is worth a thought only where it does not leave another gate behind.
    likely = np.array(now.probabilities) > _LIKELY
    carries = bench.carries(present)
    if seen[2] and likely[0] and likely[1] and carries:
        candidates += _some(maker.finish(present, frozenset(), notes=()))
    if seen[0] or seen[1] or not carries:
        if seen[1] and likely[0] and carries:
            candidates += _some(_turned(maker, present))
        candidates += _some(_joint(maker, present))
        if not carries or any(each.gate == "level" for one in candidates for each in one.cannot):
            candidates += _some(_shimmed(maker, present))
    cannot = next((each.cannot for each in candidates if each.cannot), ())
    # Steer and centre of a wheel in the air mean nothing, and sanding for them could not be undone.
    candidates = [none, *(each for each in candidates[1:] if bench.carries(each.setting))]
    idle = next((each.notes for each in candidates if each.notes and not each.moved), ())
    candidates[0] = replace(none, notes=idle)
    best = max(candidate.outcome.joint for candidate in candidates)
    for candidate in candidates:
        off = np.abs(candidate.outcome.means - wanted)
        gross = off > np.maximum(tolerance, 2.0 * candidate.outcome.deviations)
        if candidate.outcome.joint >= best - _ABOUT_AS_WELL and not gross.any():
            # Who is asked for shims is told why bending would not do.
            why = cannot if MoveKind.SHIM in candidate.moved else ()
            return replace(candidate, cannot=candidate.cannot or why)
    chosen = min(candidates, key=lambda each: _off(maker, each.outcome))
    # What a set of moves cannot do is worth saying even where it is another one that comes nearest.
    return replace(chosen, cannot=chosen.cannot or cannot)


def _as_estimated(maker: Maker) -> Outcome:
    """Return the present outcome from the estimate itself, where the settings cannot be probed."""
    estimate = maker.estimate
    return Outcome(
        means=estimate.gates,
        covariance=estimate.gate_covariance,
        probabilities=(0.0, 0.0, 0.0),
        joint=0.0,
    )


def _some(candidate: Candidate | None) -> list[Candidate]:
    return [] if candidate is None else [candidate]


def _turned(maker: Maker, present: Setting) -> Candidate | None:
    """Turn the axle as it is bent, and trim."""
    if present.bend == 0.0 or not maker.bench.car.bent_axles:
        return None
    wanted, _ = targets_of(maker.bench.car.targets)
    exact = maker.bench.solve(
        present, knobs=("angle", "trim"), targets={1: float(wanted[1]), 2: float(wanted[2])}
    )
    if exact is None or abs(wrapped(exact.angle)) > 0.5 * math.pi:
        return None
    return _after_turn(maker, present, replace(present, trim=0.0), exact.angle, frozenset(), ())


def _after_turn(
    maker: Maker,
    present: Setting,
    base: Setting,
    angle: float,
    moved: frozenset[MoveKind],
    notes: tuple[str, ...],
    cannot: tuple[Cannot, ...] = (),
) -> Candidate | None:
    by = wrapped(angle - present.angle)
    if abs(by) < maker.hand.turn:
        if abs(by) > _TURN_GRID:
            notes = (*notes, "The axle is within a hand's reach of its best turn, so it is not turned.")
        by = 0.0
    by = rounded(by, _TURN_GRID)
    if by != 0.0:
        moved = moved | {MoveKind.TURN}
    return maker.finish(base.turned_to(present.angle + by), moved, notes=notes, cannot=cannot)


def _shimmed(maker: Maker, present: Setting) -> Candidate | None:
    """Shim, turn and trim with the bend as it is: for a car that bending alone cannot level."""
    bench = maker.bench
    if present.bend == 0.0 or not bench.car.bent_axles:
        return None
    wanted, _ = targets_of(bench.car.targets)
    exact = bench.solve(
        present,
        knobs=("rear_shim", "angle", "trim"),
        targets={index: float(wanted[index]) for index in range(3)},
    )
    if exact is None or abs(wrapped(exact.angle)) > 0.5 * math.pi:
        return None
    shim = rounded(exact.rear_shim, LENGTH_GRID) if abs(exact.rear_shim) >= maker.hand.shim else 0.0
    moved = frozenset({MoveKind.SHIM}) if shim != 0.0 else frozenset[MoveKind]()
    return _after_turn(maker, present, replace(present, rear_shim=shim), exact.angle, moved, ())


def _joint(maker: Maker, present: Setting) -> Candidate | None:
    """Bend, turn and trim together; shims where bending cannot do it."""
    bench, hand = maker.bench, maker.hand
    wanted, _ = targets_of(bench.car.targets)
    all_three = {index: float(wanted[index]) for index in range(3)}
    plan = bending(bench, present, all_three)
    base, notes, moved = plan.setting, plan.notes, frozenset[MoveKind]()
    shim = rounded(base.rear_shim, LENGTH_GRID) if abs(base.rear_shim) >= hand.shim else 0.0
    base = replace(base, rear_shim=shim)
    if shim != 0.0:
        moved |= {MoveKind.SHIM}
    by = base.bend - present.bend
    if not bench.car.bent_axles:
        if any(each.gate == "steer" for each in plan.cannot):
            # A body that is to be drilled anew keeps its wood.
            return maker.untrimmed(base, moved, notes=(*notes, _KEEP_THE_WOOD), cannot=plan.cannot)
        return maker.finish(replace(base, trim=0.0), moved, notes=notes, cannot=plan.cannot)
    if abs(by) < hand.bend:
        if abs(by) > _BEND_GRID:
            notes = (*notes, "The bend is within a hand's reach of its best, so it is left as it is.")
        by = 0.0
    by = max(rounded(by, _BEND_GRID), -present.bend)
    if by != 0.0:
        moved |= {MoveKind.BEND}
    size = max(0.0, present.bend + by)
    angle = base.angle
    base = replace(base, down=size * math.cos(angle), forward=size * math.sin(angle), clock=angle)
    if size > 0.0:
        again = bench.solve(base, knobs=("angle", "trim"), targets={1: all_three[1], 2: all_three[2]})
        # The rounding of the bend is made up for by the turn, unless that would carry the bend upward.
        if again is not None and abs(wrapped(again.angle)) <= 0.5 * math.pi + 1e-9:
            angle = again.angle
    return _after_turn(maker, present, replace(base, trim=0.0), angle, moved, notes, plan.cannot)


def _moves(maker: Maker, chosen: Candidate) -> tuple[Move, ...]:
    """Return the moves that lead to a candidate, each with what is expected when it is made."""
    bench = maker.bench
    present, target = bench.present(), chosen.setting
    station = bench.car.dominant
    washer, relief = bench.trim_parts(target.trim, kept=target.kept)
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
        by = wrapped(target.angle - present.angle)
        steps.append((MoveKind.TURN, (station,), by, wrapped(target.angle), at))
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
        after = chosen.outcome if last else _on_the_way(maker, setting, done) or chosen.outcome
        moves += [
            Move(
                kind=kind,
                station=each,
                by=by,
                to=to,
                ask=_asked(maker.hand, kind, by),
                gate=_GATE_OF[kind],
                after=after,
            )
            for each in where
        ]
    return tuple(moves)


def _asked(hand: Hand, kind: MoveKind, by: float) -> float:
    """Return what to ask of a hand, as finely as it can be asked."""
    if hand.factor(kind.value).value == 1.0:
        return by
    grid = {MoveKind.BEND: _BEND_GRID, MoveKind.TURN: _TURN_GRID}.get(kind, LENGTH_GRID)
    ask = hand.asked_for(kind.value, by)
    return math.copysign(max(grid, rounded(abs(ask), grid)), by)


def _on_the_way(maker: Maker, setting: Setting, done: frozenset[MoveKind]) -> Outcome | None:
    """Return what is expected halfway, where the wheels may run elsewhere in their play than at the end."""
    seats = _seats_after(maker, maker.bench.moved(setting))
    return replace(maker, bench=replace(maker.bench, seats=seats)).outcome(setting, done)


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
    bench = AdjustableCar(car=estimate.car, seats=estimate.seats, values=estimate.values)
    rear = any(move.kind is MoveKind.SHIM and not move.station.is_front for move in plan.moves)
    shim = next((move.by for move in plan.moves if move.kind is MoveKind.SHIM), 0.0)
    setting = replace(bench.present(), rear_shim=shim if rear else -shim)
    root, missed = known_after(
        bench, root=estimate.root, moved={move.kind for move in plan.moves}, values=plan.values
    )
    errors = hand_directions(bench, able, missed, setting, values=plan.values)
    return plan.values, np.column_stack([root, *errors]) if errors else root


def moved_dimensions(estimate: Estimate, plan: Plan, *, hand: Hand | None = None) -> Mapping[str, Quantity]:
    """Return the dimensions that a plan's moves change, as they are expected to be afterwards.

    Args:
        estimate: what was known before.
        plan: the moves.
        hand: how closely the hand hits what is asked; left out, an ordinary one.

    Returns:
        By name, value with the standard uncertainty that the estimate and the hand leave.
    """
    mean, root = after_moves(estimate, plan, hand=hand)
    spread = np.sqrt(np.sum(root**2, axis=1))
    names = dimension_names()
    moved = {
        names.index(f"{move.station.value}.{name}") for move in plan.moves for name in _CHANGED_BY[move.kind]
    }
    return {
        names[index]: Quantity(
            value=float(mean[index]),
            uncertainty=float(spread[index]),
            source=Source.MEASURED,
            label=names[index],
        )
        for index in sorted(moved)
    }
