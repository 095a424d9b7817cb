"""The gates of the log, how each stands, and what a change did to it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np

from rollwright.judge.verdict import State, Verdict

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["NUMBERED", "Change", "Gate", "GateState", "Standing"]

_UNMOVED = 1e-9
"""What moves a gate quantity by less does not move it [m]: far below any gauge, above rounding."""


class Gate(Enum):
    """A gate of the log that a reading can pass."""

    LEVEL = "level"
    STEER = "steer"
    CENTRE = "centre"
    ROLL = "roll"


NUMBERED = (Gate.LEVEL, Gate.STEER, Gate.CENTRE)
"""The gates with a number, in the order of the gate quantities."""


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
    """

    seq: int
    words: str
    shift: NDArray[np.float64]
    spread: NDArray[np.float64]
    unsaid: str = ""

    def moves(self, *gates: int) -> bool:
        """Return whether it can have moved any of these gate quantities."""
        still = all(abs(self.shift[gate]) <= _UNMOVED and self.spread[gate] <= _UNMOVED for gate in gates)
        return bool(self.unsaid) or not still

    def size(self, gate: int) -> float:
        """Return how far it can have moved a gate quantity [m]; infinite where that cannot be told."""
        found = abs(float(self.shift[gate])) + float(self.spread[gate])
        return float("inf") if self.unsaid or not np.isfinite(found) else found


@dataclass(frozen=True, slots=True, kw_only=True)
class GateState:
    """How a gate stands now.

    Attributes:
        gate: which.
        standing: whether its last reading still speaks for the car.
        verdict: of that reading, with all else that was read of the same quantity; None where there is none.
        now: what the model expects now; None for a gate without a number, and where it cannot be told.
        shift: expected change since it was read [m]; None where it cannot be told.
        read_at: number of the entry that read it last, 0 where there is none.
        reasons: entries since then that can have moved it, most first.
    """

    gate: Gate
    standing: Standing
    verdict: Verdict | None = None
    now: Verdict | None = None
    shift: float | None = 0.0
    read_at: int = 0
    reasons: tuple[Change, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether a reading passed it that holds or is predicted to hold."""
        good = self.verdict is not None and self.verdict.state is State.PASS
        return good and self.standing in {Standing.HOLDS, Standing.PREDICTED}
