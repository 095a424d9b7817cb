"""A batch of drilled bodies as data: what each hole was seen or measured to be off what was meant."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum

from rollwright.car.model import Station
from rollwright.errors import OutOfRange
from rollwright.judge.verdict import State, judge

__all__ = ["Body", "Direction", "Hole", "Off", "body_state", "off_state"]


class Direction(Enum):
    """Which way a hole can be off: out of level (`cant`), out of square (`sweep`), or too high or low."""

    CANT = "cant"
    SWEEP = "sweep"
    HOLE_HEIGHT = "hole_height"

    @property
    def words(self) -> str:
        """The direction as it is said: `hole height`."""
        return self.value.replace("_", " ")

    @property
    def is_angle(self) -> bool:
        """Whether it is an angle [rad]; the height is a length [m]."""
        return self is not Direction.HOLE_HEIGHT


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """One direction of one hole; `name` is such as `rear_left.cant`, `words` such as `rear left cant`."""

    station: Station
    direction: Direction

    @property
    def name(self) -> str:
        """The dotted name."""
        return f"{self.station.value}.{self.direction.value}"

    @property
    def words(self) -> str:
        """The name as it is said."""
        return f"{self.station.words} {self.direction.words}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Off:
    """What a look or a measurement says of how far a hole is off what was meant.

    What is read is what is, plus an error with the standard uncertainty. Positive: outer end up or forward,
    or the hole too high; negative: outer end down or backward, or too low.

    Attributes:
        low: what is read lies at or above this [rad or m]; minus infinity where nothing says so.
        high: and at or below this; the same as `low` for a measured number.
        uncertainty: standard uncertainty of the error [same].
        outside: whether it lies outside these limits and not between them: daylight that nobody measured.
    """

    low: float
    high: float
    uncertainty: float
    outside: bool = False

    def __post_init__(self) -> None:
        """Refuse limits that are crossed or say nothing.

        Raises:
            OutOfRange: the limits are crossed, say nothing, or the uncertainty is negative or endless.
        """
        finite = math.isfinite(self.low) or math.isfinite(self.high)
        if not self.low <= self.high or not finite or not 0.0 <= self.uncertainty < math.inf:
            raise OutOfRange(
                f"limits {self.low:g} and {self.high:g} with uncertainty {self.uncertainty:g} say nothing",
                mend="give the lower limit first and an uncertainty that is not negative",
            )

    @property
    def measured(self) -> bool:
        """Whether it is a number and not only a range."""
        return self.low == self.high and not self.outside

    @property
    def point(self) -> float | None:
        """The number, or the middle of the range [rad or m]; None where it is open on a side."""
        if self.outside or not (math.isfinite(self.low) and math.isfinite(self.high)):
            return None
        return 0.5 * (self.low + self.high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """One drilled body.

    Attributes:
        number: its place in the order of drilling; the first is 1.
        name: what the builder calls it.
        set_up: name of the jig and how it was set up.
        offs: what was read of its holes.
        accepted: whether the builder accepted it; None where only the readings can say.
    """

    number: int
    name: str
    set_up: str
    offs: Mapping[Hole, Off] = field(default_factory=dict)
    accepted: bool | None = None


def off_state(off: Off, *, tolerance: float) -> State:
    """Return whether a hole is inside its tolerance, as far as one reading tells.

    Args:
        off: the reading.
        tolerance: how far the hole may be off, either way [rad or m].

    Returns:
        A number is judged with its uncertainty (see `judge`); of a range, both ends must be inside for a
        pass, all of it outside for a fail.

    Raises:
        OutOfRange: the tolerance is negative.
    """
    ends = [
        judge(value=end, uncertainty=off.uncertainty, low=-tolerance, high=tolerance).state
        for end in dict.fromkeys((off.low, off.high))
        if math.isfinite(end)
    ]
    closed = math.isfinite(off.low) and math.isfinite(off.high)
    if off.outside:
        far = off.low <= -tolerance and off.high >= tolerance
        return State.FAIL if far and all(state is State.FAIL for state in ends) else State.UNCLEAR
    if closed and all(state is State.PASS for state in ends):
        return State.PASS
    one_side = off.low >= tolerance or off.high <= -tolerance
    if one_side and all(state is State.FAIL for state in ends):
        return State.FAIL
    return State.FAIL if off.measured and ends == [State.FAIL] else State.UNCLEAR


def body_state(
    body: Body,
    *,
    tolerances: Mapping[Direction, float],
    needed: Sequence[Hole],
    idle: Station | None = None,
) -> State:
    """Return whether a body is accepted.

    Args:
        body: the body.
        tolerances: how far a hole may be off, either way [rad or m].
        needed: holes and directions that a body cannot do without.
        idle: station whose wheel does not carry, and which fails no body; None: all count.

    Returns:
        What the builder decided, where that is told. Else a fail where any reading is one, a pass where
        none is and all that is needed passes, unclear for the rest.

    Raises:
        OutOfRange: a tolerance is negative.
    """
    if body.accepted is not None:
        return State.PASS if body.accepted else State.FAIL
    states = {
        hole: off_state(off, tolerance=tolerances[hole.direction])
        for hole, off in body.offs.items()
        if hole.station is not idle
    }
    if State.FAIL in states.values():
        return State.FAIL
    told = all(states.get(hole) is State.PASS for hole in needed)
    return State.PASS if told and State.UNCLEAR not in states.values() and states else State.UNCLEAR
