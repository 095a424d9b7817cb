"""The ring beside a verdict: told apart by its shape alone, its outer arc as long as the probability."""

from __future__ import annotations

import math

import pytest

from rollwright.draw.drawing import Arc, Circle, Polyline
from rollwright.draw.ring import OUTER, RingState, ring, ring_state
from rollwright.errors import OutOfRange
from rollwright.judge.verdict import State


def _turns(state: RingState) -> list[float]:
    """Return how much of a full turn each piece of a ring takes."""
    pieces = []
    for mark in ring((0.0, 0.0), radius=2.0, state=state):
        if isinstance(mark, Arc) and mark.radius == 2.0:
            pieces.append((mark.end - mark.start) / (2.0 * math.pi))
        elif isinstance(mark, Circle) and mark.radius == 2.0:
            pieces.append(1.0)
    return pieces


def test_rings_differ_without_colour() -> None:
    assert _turns(RingState.PASS) == [1.0]
    assert any(isinstance(mark, Polyline) for mark in ring((0.0, 0.0), radius=2.0, state=RingState.PASS))
    (fail,) = _turns(RingState.FAIL)
    assert 0.7 < fail < 0.85
    assert _turns(RingState.UNCLEAR) == pytest.approx([0.5])
    assert len(_turns(RingState.READ_AGAIN)) == 8
    (dot,) = ring((0.0, 0.0), radius=2.0, state=RingState.NEVER_READ)
    assert isinstance(dot, Circle)
    assert dot.radius < 1.0
    assert [ring_state(state) for state in State] == [RingState.PASS, RingState.FAIL, RingState.UNCLEAR]


@pytest.mark.parametrize("probability", [0.02, 0.5, 0.93])
def test_the_outer_arc_is_as_long_as_the_probability(probability: float) -> None:
    marks = ring((1.0, 1.0), radius=2.0, state=RingState.UNCLEAR, probability=probability)
    (arc,) = (mark for mark in marks if isinstance(mark, Arc) and mark.radius == pytest.approx(2.0 * OUTER))
    assert (arc.end - arc.start) / (2.0 * math.pi) == pytest.approx(probability)
    assert arc.end == pytest.approx(math.pi / 2.0)


def test_no_ring_is_drawn_for_what_is_no_probability() -> None:
    with pytest.raises(OutOfRange, match="probability"):
        ring((0.0, 0.0), radius=2.0, state=RingState.PASS, probability=1.2)
    assert len(ring((0.0, 0.0), radius=2.0, state=RingState.FAIL, probability=0.0)) == 1
    assert isinstance(ring((0.0, 0.0), radius=2.0, state=RingState.FAIL, probability=1.0)[-1], Circle)
