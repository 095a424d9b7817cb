"""The gates of the log, how each stands, and what a change did to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.agreed import Doubt
from rollwright.judge.class_rules import Rule
from rollwright.judge.verdict import State, Verdict
from rollwright.units import Kind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["ITEMISED", "NUMBERED", "Change", "Gate", "GateState", "Item", "Standing", "gathered"]

_UNMOVED = 1e-9
"""What moves a gate quantity by less does not move it [m]: far below any gauge, above rounding."""


class Gate(Enum):
    """A gate of the log that a reading can pass, in the order of the work."""

    DRILL = "drill"
    LEVEL = "level"
    TRIM = "trim"
    STEER = "steer"
    CENTRE = "centre"
    ROLL = "roll"
    INSPECT = "inspect"


NUMBERED = (Gate.LEVEL, Gate.STEER, Gate.CENTRE)
"""The gates with a number, in the order of the gate quantities."""

ITEMISED = (Gate.DRILL, Gate.TRIM, Gate.INSPECT)
"""The gates that are a list of things, each read or seen by itself."""


class Standing(Enum):
    """How a gate stands: its reading holds, is predicted to hold, must be read again, or never was read."""

    HOLDS = "holds"
    PREDICTED = "predicted to hold"
    READ_AGAIN = "read again"
    NEVER_READ = "never read"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What one event did to the three gate quantities.

    Attributes:
        seq: number of the entry.
        words: what it was, such as `bend at front left`.
        shift: expected change of height difference, drift and rail offset [m], (3,); NaN where the car cannot
            be told before or after it.
        spread: standard uncertainty of that change [m], (3,); infinite likewise.
        unsaid: what was not said of a part, so that its effect cannot be told; or empty.
        sizes: what it did to sizes that a class may have a rule about: expected change and its standard
            uncertainty [kg or m], of bent axles the bend that it leaves [rad]; an infinite uncertainty where
            it cannot be told. What it cannot have moved is left out.
        swapped: whether a wheel, an axle or a hole took another's place, which no hand's habit tells of.
    """

    seq: int
    words: str
    shift: NDArray[np.float64]
    spread: NDArray[np.float64]
    unsaid: str = ""
    sizes: Mapping[Rule, tuple[float, float]] = field(default_factory=dict)
    swapped: bool = False

    def moves(self, *gates: int) -> bool:
        """Return whether it can have moved any of these gate quantities."""
        still = all(abs(self.shift[gate]) <= _UNMOVED and self.spread[gate] <= _UNMOVED for gate in gates)
        return bool(self.unsaid) or not still

    def size(self, gate: int) -> float:
        """Return how far it can have moved a gate quantity [m]; infinite where that cannot be told."""
        found = abs(float(self.shift[gate])) + float(self.spread[gate])
        return float("inf") if self.unsaid or not np.isfinite(found) else found


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One line of a gate that is a list.

    Attributes:
        name: what it is about, such as `rear left sweep`, `weight slug` or `mass`.
        standing: whether what was read or seen of it still speaks for the car.
        state: the verdict on it; None where nothing was read or seen, or where it does not matter what.
        words: what was seen or said of it, where that is no number; or a remark on the number.
        kind: of the verdict's numbers, where there are any.
        verdict: on the number that was read.
        read_at: number of the entry that read it last, 0 where there is none.
        needed: whether the gate waits for it.
        reasons: entries since then that can have moved it.
    """

    name: str
    standing: Standing
    state: State | None = None
    words: str = ""
    kind: Kind | None = None
    verdict: Verdict | None = None
    read_at: int = 0
    needed: bool = True
    reasons: tuple[Change, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether it was read or seen, is as it should be, and still speaks for the car."""
        return self.state is State.PASS and self.standing in {Standing.HOLDS, Standing.PREDICTED}


@dataclass(frozen=True, slots=True, kw_only=True)
class GateState:
    """How a gate stands now.

    Attributes:
        gate: which.
        standing: whether its last reading still speaks for the car.
        verdict: of that reading, with all else that was read of the same quantity; None where there is none.
            Of a list it says how many things pass, of how many.
        now: what the model expects now; None for a gate without a number, and where it cannot be told.
        shift: expected change since it was read [m]; None where it cannot be told.
        read_at: number of the entry that read it last, 0 where there is none.
        reasons: entries since then that can have moved it, most first.
        items: the lines of a gate that is a list.
        before_trim: what was not yet fitted when it was read, of all that will race.
        doubt: why its readings, as they stand, pass nothing; or None.
        lone: whether it rests on one reading that nobody would have expected.
    """

    gate: Gate
    standing: Standing
    verdict: Verdict | None = None
    now: Verdict | None = None
    shift: float | None = 0.0
    read_at: int = 0
    reasons: tuple[Change, ...] = ()
    items: tuple[Item, ...] = ()
    before_trim: tuple[str, ...] = ()
    doubt: Doubt | None = None
    lone: bool = False

    @property
    def passed(self) -> bool:
        """Whether a reading passed it that holds or is predicted to hold."""
        good = self.verdict is not None and self.verdict.state is State.PASS and self.doubt is None
        return good and self.standing in {Standing.HOLDS, Standing.PREDICTED}


_WORST_FIRST = (Standing.READ_AGAIN, Standing.PREDICTED, Standing.HOLDS)


def gathered(gate: Gate, items: Sequence[Item]) -> GateState:
    """Return how a gate stands that is a list of things.

    Args:
        gate: which.
        items: its lines.

    Returns:
        Fail if one thing fails; pass if everything that is needed passes; unclear between. It must be read
        again if one thing must. Without anything read or seen it was never read. The probability is that of
        the least sure thing.
    """
    seen = [item for item in items if item.state is not None]
    # What is allowed whatever it is passes unseen, and is no reading while something else waits for one.
    if not any(item.read_at for item in seen) and not (seen and all(item.passed for item in items)):
        return GateState(gate=gate, standing=Standing.NEVER_READ, shift=None, items=tuple(items))
    needed = [item for item in items if item.needed or item.state is not None]
    good = sum(item.passed for item in needed)
    if any(item.state is State.FAIL for item in seen):
        state = State.FAIL
    elif good == len(needed):
        state = State.PASS
    else:
        state = State.UNCLEAR
    chances = [_chance(item) for item in needed]
    return GateState(
        gate=gate,
        standing=next(s for s in _WORST_FIRST if any(item.standing is s for item in seen)),
        verdict=Verdict(
            state=state,
            value=float(good),
            uncertainty=0.0,
            probability=min(chances),
            low=float(len(needed)),
            high=float(len(needed)),
        ),
        shift=None,
        read_at=max(item.read_at for item in seen),
        reasons=tuple({change.seq: change for item in seen for change in item.reasons}.values()),
        items=tuple(items),
    )


def _chance(item: Item) -> float:
    if item.verdict is not None:
        return item.verdict.probability
    return 1.0 if item.passed else 0.0
