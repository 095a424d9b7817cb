"""Drift: how far a car rolls sideways while it runs down a tuning board, without slip."""

from __future__ import annotations

import math

from rollwright.errors import DriftUndefined

__all__ = ["curvature", "drift_over", "lateral_at"]

_STEPS = 50


def curvature(*, dominant_steer: float, rear_steer: float, length: float, contact_y: float) -> float:
    """Return the curvature of the path of a car that rolls without slip.

    Positive turns left, negative turns right.

    Args:
        dominant_steer: heading of the steered front wheel [rad], positive left.
        rear_steer: mean heading of the rear pair [rad], positive left.
        length: distance from the rear to the steered wheel's contact, along the car [m].
        contact_y: how far left of the centre line the steered wheel touches [m].

    Returns:
        Yaw angle gained for each metre that the rear point moves along the car [1/m]:
        `(tan df - tan dr) / (L + y_f tan df)`. Exact for planar rolling; with an unsteered rear pair and a
        steered wheel on the centre line it is the bicycle model's `tan(df) / L` (R. Rajamani, Vehicle
        Dynamics and Control, ch. 2). Where the two rear wheels do not head the same way one of them must
        slip, and the mean stands for a compromise: the car follows the more heavily loaded one, so
        that the drift of a car whose rear wheels differ by 0.2 degrees may be several per cent off.

    Raises:
        DriftUndefined: the steered wheel's own axle line passes through the rear point, so that the car
            cannot roll on at all.
    """
    steer = math.tan(dominant_steer)
    lever = length + contact_y * steer
    if lever == 0.0:
        raise DriftUndefined(
            "the steered wheel's axle points at the middle of the rear axle, so the car cannot roll",
            mend="check body.wheelbase and the front station's offset, sweep and bend",
            key="body.wheelbase",
        )
    return (steer - math.tan(rear_steer)) / lever


def _progress(theta: float, run: float) -> tuple[float, float]:
    """Return sin(theta)/k and (1 - cos(theta))/k for theta = k run, good for k = 0 as well."""
    if abs(theta) < 1e-4:
        square = theta * theta
        return run * (1.0 - square / 6.0), run * theta * (0.5 - square / 24.0)
    return run * math.sin(theta) / theta, run * (1.0 - math.cos(theta)) / theta


def lateral_at(*, curvature: float, rear_steer: float, wheelbase: float, run: float) -> tuple[float, float]:
    """Return where the centre-line point at the front hole line is after the rear point has rolled.

    The rear point starts along the rear pair's heading with the body square to the board.

    Args:
        curvature: yaw angle gained per metre [1/m], positive turns left, negative right.
        rear_steer: mean heading of the rear pair [rad], positive left.
        wheelbase: distance from the rear point to the point that is watched [m].
        run: how far the rear point has moved along the car's own axis [m].

    Returns:
        Travel down the board and sideways (positive left) of the watched point since the start [m].
    """
    theta = curvature * run
    sine_part, cosine_part = _progress(theta, run)
    crab = math.tan(rear_steer)
    half = math.sin(0.5 * theta)
    forward = sine_part - crab * cosine_part - 2.0 * wheelbase * half * half
    sideways = cosine_part + crab * sine_part + wheelbase * math.sin(theta)
    return forward, sideways


def drift_over(*, curvature: float, rear_steer: float, wheelbase: float, board: float) -> float:
    """Return the drift: sideways travel when the watched point has moved the board's length down the board.

    Positive is to the left, negative to the right.

    Args:
        curvature: yaw angle gained per metre [1/m].
        rear_steer: mean heading of the rear pair [rad], positive left.
        wheelbase: distance from the rear point to the point that is watched, the centre line at the front
            hole line [m].
        board: length of the board [m].

    Returns:
        The drift [m].

    Raises:
        DriftUndefined: the car turns back before it has run the board's length.
    """
    run = board
    for _ in range(_STEPS):
        forward, sideways = lateral_at(
            curvature=curvature, rear_steer=rear_steer, wheelbase=wheelbase, run=run
        )
        theta = curvature * run
        rate = (
            math.cos(theta) - math.tan(rear_steer) * math.sin(theta) - wheelbase * curvature * math.sin(theta)
        )
        if rate <= 0.05 or abs(theta) > 1.6:
            break
        step = (board - forward) / rate
        run += step
        if abs(step) < 1e-15 * board:
            return sideways
    else:
        return sideways
    raise DriftUndefined(
        f"the car turns so sharply (radius {abs(1.0 / curvature):.2f} m) that it never runs the "
        f"{board:.2f} m board to its end",
        mend="check the bend, clock and sweep of the front axle, or use a shorter board",
        key="board.length",
    )
