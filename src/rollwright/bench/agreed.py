"""Whether the readings of one gate agree with each other, and with what was known before them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.judge.verdict import State, judge
from rollwright.setup.explain import misfit_of
from rollwright.setup.mode import whitening_of
from rollwright.setup.predict import GATE_QUANTITIES, GATE_READINGS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from rollwright.setup.estimate import Position

__all__ = ["DOUBTFUL", "Doubt", "doubt_of", "is_lone"]

DOUBTFUL = 0.01
"""Chance of a disagreement as large as that seen, below which what was read is not to be trusted."""

_FAR = 3.0
"""Standard deviations from what was known beyond which one reading alone is not enough."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Why the readings of a gate pass nothing.

    Attributes:
        entries: the readings that disagree, by the numbers of their entries; the odd one out comes last.
        among: whether they disagree with each other, and not with what was known before them.
    """

    entries: tuple[int, ...]
    among: bool

    @property
    def words(self) -> str:
        """The doubt as it is said: `entries 5 and 6 disagree`."""
        numbers = sorted(self.entries)
        if not self.among:
            named = "entry" if len(numbers) == 1 else "entries"
            verb = "disagrees" if len(numbers) == 1 else "disagree"
            return f"{named} {_listed(numbers)} {verb} with what was known before"
        return f"entries {_listed(numbers)} disagree"


def _listed(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return str(numbers[0])
    return f"{', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def is_lone(now: Position, gate: int, *, before: tuple[float, float] | None) -> bool:
    """Return whether a gate quantity rests on one reading that nobody would have expected.

    Args:
        now: where the readings say that the car is.
        gate: 0 for the height difference, 1 for the drift, 2 for the rail offset.
        before: what was known of it before these readings, and its standard uncertainty [m]; None where that
            cannot be told.

    Returns:
        Whether it was read once only, more than three standard deviations from what was known.
    """
    found = _alone(now, gate)
    if found is None or before is None:
        return False
    values, ones, _, _ = found
    known, spread = before
    return len(values) == 1 and abs(float(values[0]) - known) > _FAR * math.hypot(
        spread, float(ones @ ones) ** -0.5
    )


def doubt_of(now: Position, gate: int, *, joint: State) -> Doubt | None:
    """Return why what was read of a gate quantity is not to be trusted, or None.

    Args:
        now: where the readings say that the car is.
        gate: 0 for the height difference, 1 for the drift, 2 for the rail offset.
        joint: the verdict on all that is known of it together.

    Returns:
        A doubt where the readings of that quantity differ among themselves by more than their uncertainties
        allow: `chi2 = (d - m)' V^-1 (d - m)` about their weighted mean m has n - 1 degrees of freedom, and a
        chance below 1 % (least squares with known covariance, e.g. JCGM 102:2011; the 1 % is a choice). Or
        where all together strain what was known before by as much, and the readings alone would pass where
        both together do not, or the other way round. None where neither is so, where nothing of the kind
        was read, and for a trace, whose points are judged by themselves.
    """
    found = _alone(now, gate)
    if found is None:
        return None
    values, ones, whitened, entries = found
    from scipy.special import chdtrc  # noqa: PLC0415 - costs start-up time

    weight = float(ones @ ones)
    mean = float(ones @ whitened) / weight
    left = whitened - mean * ones
    if len(values) > 1 and float(chdtrc(len(values) - 1, float(left @ left))) < DOUBTFUL:
        odd = int(np.argmax(np.abs(values - np.median(values))))
        order = [*(seq for place, seq in enumerate(entries) if place != odd), entries[odd]]
        return Doubt(entries=tuple(order), among=True)
    if misfit_of(now.mode) >= DOUBTFUL:
        return None
    target = getattr(now.mode.bench.car.targets, GATE_QUANTITIES[gate])
    alone = judge(value=mean, uncertainty=weight**-0.5, low=target.low, high=target.high).state
    same = (alone is State.PASS) == (joint is State.PASS)
    return None if same else Doubt(entries=tuple(entries), among=False)


def _alone(
    now: Position, gate: int
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], list[int]] | None:
    """Return what each reading of a gate quantity says of it by itself, and the entries.

    Returns:
        The values [m], ones and values whitened by the readings' errors, and the entries; None where nothing
        of the kind was read.
    """
    bench = now.mode.bench
    owners = bench.owners()
    places = [
        place
        for place, owner in enumerate(owners)
        if owner.kind in GATE_READINGS[gate] and not owner.trace and owner.distance is None
    ]
    if not places:
        return None
    # A reading on the block differs from the rail offset by what the model adds, which cancels here.
    off = now.mode.whitening.undone(now.mode.residuals)
    values = now.gates[gate] + off[places]
    whitening = whitening_of([owners[place] for place in places])
    entries = [_entry(owners[place].where) for place in places]
    return values, whitening.applied(np.ones(len(places))), whitening.applied(values), entries


def _entry(where: str) -> int:
    """Return the number of the entry that a reading of the log is called after: `entry 5 (drift)`."""
    return int(where.split()[1])
