"""The ring beside a verdict: what is known of it at a glance, without a colour.

Pass is a tick in a closed ring, fail an open ring with a gap, unclear half a ring, read again a dashed ring,
never read a dot. An outer arc, clockwise from the top, is as much of a full turn as the probability of
conformity is of certainty.
"""

from __future__ import annotations

import math
from enum import Enum

from rollwright.draw.drawing import Arc, Circle, Mark, Pen, Point, Polyline, Tone
from rollwright.errors import OutOfRange
from rollwright.judge.verdict import State

__all__ = ["OUTER", "RingState", "ring", "ring_state"]

_TOP = math.pi / 2.0
_TURN = 2.0 * math.pi
_DASHES = 8
OUTER = 1.4
"""Radius of the probability's arc over that of the ring."""


class RingState(Enum):
    """What can be said of a check, with the words that always stand beside the mark."""

    PASS = "pass"  # noqa: S105 - a verdict, not a password
    FAIL = "fail"
    UNCLEAR = "cannot tell"
    READ_AGAIN = "read again"
    NEVER_READ = "never read"


def ring_state(state: State) -> RingState:
    """Return the ring of a verdict.

    Args:
        state: pass, fail or unclear.

    Returns:
        The ring's state.
    """
    return {
        State.PASS: RingState.PASS,
        State.FAIL: RingState.FAIL,
        State.UNCLEAR: RingState.UNCLEAR,
    }[state]


def ring(at: Point, *, radius: float, state: RingState, probability: float | None = None) -> tuple[Mark, ...]:
    """Return the marks of a ring.

    Args:
        at: its centre [mm].
        radius: of the ring; the probability's arc lies 1.4 times as far out [mm].
        state: what can be said.
        probability: that the true value conforms, from 0 to 1; None draws no arc.

    Returns:
        The marks.

    Raises:
        OutOfRange: the probability is not between 0 and 1.
    """
    if probability is not None and not 0.0 <= probability <= 1.0:
        raise OutOfRange(f"{probability:g} is no probability", mend="give one from 0 to 1")
    marks = [*_SHAPES[state](at, radius)]
    if probability is not None and probability * _TURN > 1e-3:
        outer = OUTER * radius
        if probability * _TURN > _TURN - 1e-3:
            marks.append(Circle(centre=at, radius=outer, pen=Pen.HAIR))
        else:
            start = _TOP - _TURN * probability
            marks.append(Arc(centre=at, radius=outer, start=start, end=_TOP, pen=Pen.HAIR))
    return tuple(marks)


def _pass(at: Point, radius: float) -> tuple[Mark, ...]:
    def inside(x: float, y: float) -> Point:
        return (at[0] + x * radius, at[1] + y * radius)

    return (
        Circle(centre=at, radius=radius),
        Polyline(points=(inside(-0.45, 0.0), inside(-0.1, -0.4), inside(0.5, 0.4))),
    )


def _fail(at: Point, radius: float) -> tuple[Mark, ...]:
    # The gap looks to the upper right, where half a ring has none.
    gap = math.radians(40.0)
    return (Arc(centre=at, radius=radius, start=_TOP / 2.0 + gap, end=_TOP / 2.0 - gap + _TURN),)


def _unclear(at: Point, radius: float) -> tuple[Mark, ...]:
    return (Arc(centre=at, radius=radius, start=_TOP, end=_TOP + math.pi),)


def _read_again(at: Point, radius: float) -> tuple[Mark, ...]:
    step = _TURN / _DASHES
    return tuple(
        Arc(centre=at, radius=radius, start=number * step, end=(number + 0.55) * step)
        for number in range(_DASHES)
    )


def _never(at: Point, radius: float) -> tuple[Mark, ...]:
    return (Circle(centre=at, radius=0.35 * radius, pen=None, tone=Tone.INK),)


_SHAPES = {
    RingState.PASS: _pass,
    RingState.FAIL: _fail,
    RingState.UNCLEAR: _unclear,
    RingState.READ_AGAIN: _read_again,
    RingState.NEVER_READ: _never,
}
