"""Where in its play a wheel runs, when its builder does not say."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.car.model import Seat

__all__ = ["InferredSeat", "infer_seat"]

_TRUE = 1e-6
_CLOSE = 3.0
_WORTH_SAYING = 0.05


@dataclass(frozen=True, slots=True)
class InferredSeat:
    """Where a wheel runs and why: `seat`, the `reason` in words, and whether it is a `close` call."""

    seat: Seat
    reason: str
    close: bool = False


def infer_seat(*, slope: float, toe_in: float, carried: bool) -> InferredSeat:
    """Return where in its play a wheel runs.

    A turning axle lets its wheel creep down whatever pushes along it, however lightly. Two things
    push: the car's weight on a sloping shank, and the ground on a wheel that is toed.

    Args:
        slope: shank out of level [rad], seen against the ground. Positive, outer end up: the wheel
            runs out to the head; negative, outer end down: in to the body.
        toe_in: heading of the wheel toward the centre line [rad]. Positive, toe-in: it is pushed in to
            the body; negative, toe-out: out to the head.
        carried: whether the wheel carries the car; a raised wheel is pushed by neither.

    Returns:
        The seat and its reason. Where the two disagree the larger angle decides, and the call is
        marked as close when neither is three times the other. Rule: common practice, no source.
    """
    if not carried:
        return InferredSeat(Seat.MIDDLE, "it is raised, so nothing pushes it either way")
    drive = slope - toe_in
    if abs(drive) < _TRUE:
        if abs(slope) < _TRUE:
            return InferredSeat(Seat.MIDDLE, "its axle is level and it rolls straight")
        return InferredSeat(Seat.MIDDLE, "its slope and its toe push it equally hard both ways", close=True)
    seat = Seat.HEAD if drive > 0.0 else Seat.BODY
    by_slope = "its outer end stands up" if slope > 0.0 else "its outer end hangs down"
    by_toe = "it toes in" if toe_in > 0.0 else "it toes out"
    opposed = slope * toe_in > 0.0
    small, large = sorted((abs(slope), abs(toe_in)))
    if not opposed and small > max(_TRUE, _WORTH_SAYING * large):
        return InferredSeat(seat, f"{by_slope} and {by_toe}")
    reason = by_slope if abs(slope) >= abs(toe_in) else by_toe
    if opposed and math.isfinite(large) and large < _CLOSE * small:
        return InferredSeat(
            seat, f"{reason}, though {by_toe if reason == by_slope else by_slope}", close=True
        )
    return InferredSeat(seat, reason)
