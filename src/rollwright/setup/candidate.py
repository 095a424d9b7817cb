"""One set of moves that might be made: what it sets, and what is expected of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.judge.verdict import CONFIDENCE
from rollwright.setup.estimate import Estimate
from rollwright.setup.hand import Hand
from rollwright.setup.knobs import AdjustableCar, Setting
from rollwright.setup.limits import Cannot, within_limits
from rollwright.setup.outcome import MoveKind, Outcome, outcome_of, targets_of
from rollwright.setup.predict import GATE_READINGS, derivatives

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["LENGTH_GRID", "Candidate", "Maker", "rounded", "wrapped"]

LENGTH_GRID = 1e-5
"""Thicknesses are asked for in hundredths of a millimetre [m]."""

_STOP_SHORT = 1.6448536269514722
"""One-sided 5 % point of the normal distribution (JCGM 106:2012, Table 1): the share that may overshoot."""

_CLEAR = 2.0
_AS_GOOD_AS_READ = 0.5
"""Part of the tolerance that a rail offset nobody read may be open by, one deviation, to be sanded."""
_SEE_THE_SEAT = (
    "It is not sure where the dominant wheel runs in its play, so sanding allows for all of it: watch the "
    "wheel roll and give its seat in the file."
)
_READ_ALL = (
    "Wood has to go too, but not yet: first read again everything that no longer holds, and ask anew. "
    "Sanded wood does not come back."
)
_READ_THE_RAIL = "Read the rail offset before any washer is changed or wood is sanded for it."

_WOOD_STAYS = (
    "The wheel stands off by so little that sanding could overshoot as easily as land; "
    "leave the wood and read the rail again."
)


def rounded(value: float, grid: float) -> float:
    """Return the nearest multiple of a grid."""
    return round(value / grid) * grid


def wrapped(angle: float) -> float:
    """Return an angle between minus and plus half a turn [rad]."""
    return math.remainder(angle, 2.0 * math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A set of moves.

    Attributes:
        setting: what they set.
        moved: their kinds.
        outcome: what is expected after them.
        notes: why something is left alone or stops short.
        cannot: targets that they do not reach.
    """

    setting: Setting
    moved: frozenset[MoveKind]
    outcome: Outcome
    notes: tuple[str, ...] = ()
    cannot: tuple[Cannot, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Maker:
    """Makes candidates: everything that stays the same between them.

    Attributes:
        bench: the car, with its wheels where they run after the moves.
        estimate: what is known of it.
        hand: how closely the hand hits what is asked.
        sand: whether wood may be taken off at all.
    """

    bench: AdjustableCar
    estimate: Estimate
    hand: Hand
    sand: bool = True

    def rail_is_known(self) -> bool:
        """Return whether the rail offset is known well enough to cut wood: read, or known as well as read."""
        read = any(reading.kind in GATE_READINGS[2] for reading in self.estimate.readings)
        spread = float(np.sqrt(self.estimate.gate_covariance[2, 2]))
        return read or spread <= _AS_GOOD_AS_READ * float(targets_of(self.bench.car.targets)[1][2])

    def told(self) -> NDArray[np.bool_]:
        """Return of which gate quantities enough is known to move anything for them, (3,).

        A reading of its own is enough; so is a file, or an earlier round, that leaves it no wider open
        than its tolerance.
        """
        kinds = {reading.kind for reading in self.estimate.readings}
        read = np.array([bool(kinds & each) for each in GATE_READINGS])
        spread = np.sqrt(np.diag(self.estimate.gate_covariance))
        enough: NDArray[np.bool_] = read | (spread <= targets_of(self.bench.car.targets)[1])
        return enough

    def outcome(self, setting: Setting, moved: frozenset[MoveKind]) -> Outcome | None:
        """Return what is expected of a setting, None where the car could not be read in it."""
        return outcome_of(self.bench, setting, root=self.estimate.root, hand=self.hand, moved=moved)

    def open_play(self, setting: Setting) -> float:
        """Return how far the dominant wheel may run from where it is taken to run [m].

        Zero where its seat is given, or where what pushes it is clear of zero by two standard deviations both
        now and in the setting; else its whole play, for a reading may have been taken at one end of it and
        the run be made at the other.
        """
        corner = self.estimate.car.corners[self.bench.car.dominant]
        if corner.seat is not None:
            return 0.0
        for values in (self.bench.moved(self.bench.present()), self.bench.moved(setting)):
            mean, slopes = derivatives(self.bench.drive, values, self.estimate.root.T)
            if not abs(mean[0]) >= _CLEAR * float(np.sqrt(np.sum(slopes**2))):
                return max(0.0, float(values[self.bench.column("play")]))
        return 0.0

    def finish(
        self,
        setting: Setting,
        moved: frozenset[MoveKind],
        *,
        notes: tuple[str, ...],
        cannot: tuple[Cannot, ...] = (),
    ) -> Candidate | None:
        """Add the trim that a setting of bend, clock and shims asks for, and say what comes of it all.

        Args:
            setting: bend, clock and shims.
            moved: the kinds of moves that lead there.
            notes: what is to be said of them.
            cannot: targets that they do not reach.

        Returns:
            The whole set of moves, None where the car could not be read in that setting.
        """
        bare = self.untrimmed(setting, moved, notes=notes, cannot=cannot)
        if bare is None or bare.outcome.probabilities[2] >= CONFIDENCE:
            return bare
        if not self.told()[2]:
            return replace(bare, notes=(*notes, _READ_THE_RAIL))
        return self._with_trim(bare)

    def untrimmed(
        self,
        setting: Setting,
        moved: frozenset[MoveKind],
        *,
        notes: tuple[str, ...],
        cannot: tuple[Cannot, ...] = (),
    ) -> Candidate | None:
        """Return bend, clock and shims as they are, with no trim; arguments and return as for `finish`."""
        setting = replace(setting, trim=0.0)
        outcome = self.outcome(setting, moved)
        if outcome is None:
            return None
        return Candidate(setting=setting, moved=moved, outcome=outcome, notes=notes, cannot=cannot)

    def _with_trim(self, untrimmed: Candidate) -> Candidate | None:
        """Return a set of moves with the trim that brings the rail offset to its target."""
        setting, moved = untrimmed.setting, untrimmed.moved
        wanted, _ = targets_of(self.bench.car.targets)
        exact = self.bench.solve(setting, knobs=("trim",), targets={2: float(wanted[2])})
        if exact is None:
            return untrimmed
        trimmed, kinds, more = self._trim(exact, moved, target=float(wanted[2]))
        refused = within_limits(self.bench, trimmed)
        if refused is not None:
            return replace(untrimmed, cannot=(*untrimmed.cannot, refused))
        found = self.outcome(trimmed, moved | kinds)
        if found is None:
            return None
        return replace(
            untrimmed, setting=trimmed, moved=moved | kinds, outcome=found, notes=(*untrimmed.notes, *more)
        )

    def _trim(
        self, exact: Setting, moved: frozenset[MoveKind], *, target: float
    ) -> tuple[Setting, frozenset[MoveKind], tuple[str, ...]]:
        """Round a trim to what a hand can do, the wood last and short of its mark."""
        washer, relief = self.bench.trim_parts(exact.trim)
        if abs(washer) < max(self.hand.washer, LENGTH_GRID):
            washer = 0.0
        elif relief <= 0.0:
            washer = rounded(washer, LENGTH_GRID)
        kinds = frozenset({MoveKind.WASHER}) if washer != 0.0 else frozenset()
        without = replace(exact, trim=washer)
        if relief <= 0.0:
            return without, kinds, ()
        if not self.sand:
            return without, kinds, (_READ_ALL,)
        if not self.rail_is_known():
            return without, kinds, (_READ_THE_RAIL,)
        play = self.open_play(exact)
        # Wood does not come back: aim short of the target by the reach of everything that is not known.
        kept = max(0.0, float(self.bench.values[self.bench.column("washer")]) + washer)
        sanding = kinds | {MoveKind.RELIEF}
        exact = replace(exact, kept=kept)
        trial = self.outcome(exact, moved | sanding)
        short = None
        if trial is not None:
            allowance = _STOP_SHORT * float(trial.deviations[2]) + play
            short = self.bench.solve(exact, knobs=("trim",), targets={2: target + allowance})
        depth = self.bench.trim_parts(short.trim, kept=kept)[1] if short is not None else 0.0
        depth = math.floor(depth / LENGTH_GRID + 1e-6) * LENGTH_GRID
        if depth < max(self.hand.relief, LENGTH_GRID):
            return without, kinds, (_SEE_THE_SEAT if play > 0.0 else _WOOD_STAYS,)
        return replace(exact, trim=washer - depth), sanding, (_SEE_THE_SEAT,) if play > 0.0 else ()
