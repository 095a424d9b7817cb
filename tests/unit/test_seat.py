"""Where in its play a wheel runs, and the reason that is given."""

from __future__ import annotations

import pytest

from rollwright.car.model import Seat
from rollwright.geometry.seat import infer_seat

SOME, MORE = 0.010, 0.040


@pytest.mark.parametrize(
    ("slope", "toe_in", "seat", "reason"),
    [
        (SOME, 0.0, Seat.HEAD, "its outer end stands up"),
        (-SOME, 0.0, Seat.BODY, "its outer end hangs down"),
        (0.0, SOME, Seat.BODY, "it toes in"),
        (0.0, -SOME, Seat.HEAD, "it toes out"),
        (SOME, -SOME, Seat.HEAD, "its outer end stands up and it toes out"),
        (-SOME, SOME, Seat.BODY, "its outer end hangs down and it toes in"),
        (MORE, SOME, Seat.HEAD, "its outer end stands up"),
        (SOME, MORE, Seat.BODY, "it toes in"),
        (-MORE, -SOME, Seat.BODY, "its outer end hangs down"),
        (-SOME, -MORE, Seat.HEAD, "it toes out"),
    ],
)
def test_a_carried_wheel_creeps_the_way_it_is_pushed(
    slope: float, toe_in: float, seat: Seat, reason: str
) -> None:
    found = infer_seat(slope=slope, toe_in=toe_in, carried=True)
    assert (found.seat, found.reason, found.close) == (seat, reason, False)


@pytest.mark.parametrize(
    ("slope", "toe_in", "seat", "first", "second"),
    [
        (0.02, 0.015, Seat.HEAD, "its outer end stands up", "it toes in"),
        (0.015, 0.02, Seat.BODY, "it toes in", "its outer end stands up"),
        (-0.02, -0.015, Seat.BODY, "its outer end hangs down", "it toes out"),
    ],
)
def test_two_pushes_of_like_size_are_a_close_call_and_say_so(
    slope: float, toe_in: float, seat: Seat, first: str, second: str
) -> None:
    found = infer_seat(slope=slope, toe_in=toe_in, carried=True)
    assert found.seat is seat
    assert found.close
    assert found.reason == f"{first}, though {second}"


@pytest.mark.parametrize(("ratio", "close"), [(2.9, True), (3.1, False)])
def test_three_times_as_large_is_clear(ratio: float, *, close: bool) -> None:
    assert infer_seat(slope=SOME, toe_in=SOME / ratio, carried=True).close is close
    assert infer_seat(slope=SOME, toe_in=SOME * ratio, carried=True).close is close


def test_pushes_that_cancel_leave_the_wheel_between_and_are_not_called_true() -> None:
    found = infer_seat(slope=0.02, toe_in=0.02, carried=True)
    assert found.seat is Seat.MIDDLE
    assert found.close
    assert "equally hard" in found.reason


def test_a_true_wheel_runs_in_the_middle() -> None:
    found = infer_seat(slope=0.0, toe_in=0.0, carried=True)
    assert (found.seat, found.close) == (Seat.MIDDLE, False)
    assert found.reason == "its axle is level and it rolls straight"


@pytest.mark.parametrize(("slope", "toe_in"), [(MORE, 0.0), (-MORE, MORE), (0.0, 0.0)])
def test_a_raised_wheel_is_pushed_by_nothing(slope: float, toe_in: float) -> None:
    found = infer_seat(slope=slope, toe_in=toe_in, carried=False)
    assert found.seat is Seat.MIDDLE
    assert "raised" in found.reason
