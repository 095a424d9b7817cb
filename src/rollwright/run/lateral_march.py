"""The motion from side to side, step by step: plain functions of numbers, which `lateral_fast` compiles.

Two unknowns, how fast the centre of mass moves sideways and how fast the car yaws, are solved for at the end
of each step (backward Euler), because the grip of the treads is far stiffer than a step is short: near the
gate the car follows its wheels at once. The grip is a straight line with ends, so Newton's steps reach its
solution exactly. Where a wheel would pass into the rail an impulse keeps it out, found by turns for all
wheels that touch (J. J. Moreau's time stepping, as in V. Acary, B. Brogliato, Numerical Methods for
Nonsmooth Dynamical Systems (2008), chapter 10, from memory).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.lateral_wheels import (
    AHEAD,
    INERTIA,
    MASS,
    PLAY,
    QUIET,
    SEAT,
    SIDE,
    STEER,
    STIFFNESS,
    TOUCHING,
    TURN_STEP,
    bind,
    held_between,
    inside_by,
    look_up,
    slid,
)

__all__ = ["cannot_bounce", "freely", "kept_out", "march", "solve"]

Array = NDArray[Any]


_NEWTON = 12
_TURNS = 200
_SETTLED = 1e-13
_CLOSE = 1e-9


def freely(
    state: Array, h: float, v: float, sideways: float, wheels: Array, figures: Array, given: Array
) -> tuple[float, float, float, float, float, float]:
    """Return what a step leads to if the rail did nothing, and how the speeds give way to an impulse.

    Args:
        state: place, yaw, speed sideways and yaw rate at the step's beginning.
        h: step [s].
        v: speed down the track [m/s].
        sideways: acceleration that the lane's tilt gives [m/s2].
        wheels: the car's wheels.
        figures: of the car.
        given: for each tread whether its force follows its slip (1) or is fixed (0), its load or that force
            [N], (2, 4).

    Returns:
        Speed sideways, yaw rate, and the inverse of mass and grip, row by row. Treads follow the yaw at the
        step's end as well, so that it is not quite symmetric.
    """
    a11, a12, a21, a22, b1, b2 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    # Left and right are added before rear and front, so that mirrored cars round alike.
    for axle in range(2):
        p11, p12, p21, p22, q1, q2 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        for wheel in (2 * axle, 2 * axle + 1):
            x = wheels[AHEAD, wheel]
            pull = h * given[1, wheel]
            if given[0, wheel] > 0.0:
                per = pull * figures[STIFFNESS]
                pull = per * (wheels[STEER, wheel] + state[1])
                p11 += per / v
                p12 += per * (x / v - h)
                p21 += per / v * x
                p22 += per * x * (x / v - h)
            q1 += pull
            q2 += pull * x
        a11, a12, a21, a22 = a11 + p11, a12 + p12, a21 + p21, a22 + p22
        b1, b2 = b1 + q1, b2 + q2
    a11, a22 = a11 + figures[MASS], a22 + figures[INERTIA]
    b1, b2 = b1 + figures[MASS] * (state[2] + h * sideways), b2 + figures[INERTIA] * state[3]
    whole = a11 * a22 - a12 * a21
    c11, c12, c21, c22 = a22 / whole, -a12 / whole, -a21 / whole, a11 / whole
    return c11 * b1 + c12 * b2, c21 * b1 + c22 * b2, c11, c12, c21, c22


def kept_out(
    free: tuple[float, float, float, float, float, float],
    wheels: Array,
    bounds: Array,
    arms: Array,
    rail_speed: Array,
    impulse: Array,
) -> tuple[float, float]:
    """Return the speeds once the rail has kept all wheels out, wheel by wheel until nothing moves any more.

    Args:
        free: what `freely` returns.
        wheels: the car's wheels.
        bounds: see `solve`.
        arms: see `solve`.
        rail_speed: see `solve`.
        impulse: see `solve`; written.

    Returns:
        Speed sideways [m/s] and yaw rate [rad/s].
    """
    u, r, c11, c12, c21, c22 = free
    impulse[:, :] = 0.0
    for _ in range(_TURNS):
        moved = 0.0
        for wheel in range(4):
            side, arm = wheels[SIDE, wheel], arms[wheel]
            gives = c11 + side * (c12 + c21) * arm + c22 * arm * arm
            for hard in range(2):
                away = side * (u - rail_speed[wheel]) + arm * r
                wanted = max(0.0, impulse[hard, wheel] + (bounds[2 * hard, wheel] - away) / gives)
                if hard == 0:
                    wanted = min(bounds[1, wheel], wanted)
                change = wanted - impulse[hard, wheel]
                impulse[hard, wheel] = wanted
                u += change * (c11 * side + c12 * arm)
                r += change * (c21 * side + c22 * arm)
                moved = max(moved, abs(change) * gives)
        if moved < _SETTLED:
            break
    return u, r


def solve(
    state: Array,
    h: float,
    v: float,
    sideways: float,
    wheels: Array,
    figures: Array,
    loads: Array,
    limits: Array,
    bounds: Array,
    arms: Array,
    rail_speed: Array,
    impulse: Array,
    force: Array,
    fixed: Array,
) -> None:
    """Find the speeds at the end of a step, the treads' forces and the rail's impulses; written in place.

    Args:
        state: place, yaw, speed sideways and yaw rate; the two speeds are written.
        h: step [s].
        v: speed down the track [m/s].
        sideways: acceleration that the lane's tilt gives [m/s2].
        wheels: the car's wheels.
        figures: of the car.
        loads: on the wheels [N].
        limits: of what each passes on [N].
        bounds: for each wheel the least speed away from the rail: softly by at most an impulse, and hard,
            (3, 4).
        arms: how yaw moves each wheel's innermost point from the rail [m/rad].
        rail_speed: how fast the rail wanders sideways under each wheel [m/s].
        impulse: of the rail on each wheel [N s], softly and hard, (2, 4); written.
        force: of each tread [N], positive left; written.
        fixed: whether each tread's force is at its least (-1), between (0) or at its greatest (1): a first
            guess; written.
    """
    given = np.empty((2, 4))
    u, r = state[2], state[3]
    for _ in range(_NEWTON):
        for wheel in range(4):
            given[0, wheel], given[1, wheel] = 1.0, loads[wheel]
            if fixed[wheel] != 0:
                end = 0 if fixed[wheel] < 0 else 1
                given[0, wheel], given[1, wheel] = 0.0, wheels[SIDE, wheel] * limits[end, wheel]
        free = freely(state, h, v, sideways, wheels, figures, given)
        u, r = kept_out(free, wheels, bounds, arms, rail_speed, impulse)
        same = True
        for wheel in range(4):
            slip = wheels[STEER, wheel] + state[1] + h * r - (u + wheels[AHEAD, wheel] * r) / v
            out = wheels[SIDE, wheel] * figures[STIFFNESS] * loads[wheel] * slip
            now = 0
            if out <= limits[0, wheel]:
                now, out = -1, limits[0, wheel]
            elif out >= limits[1, wheel]:
                now, out = 1, limits[1, wheel]
            force[wheel] = wheels[SIDE, wheel] * out
            # From one end to the other it goes by way of the middle, or the search might go round for ever.
            if now == -fixed[wheel]:
                now = 0
            if now != fixed[wheel]:
                same = False
                fixed[wheel] = now
        if same:
            break
    state[2], state[3] = u, r


def cannot_bounce(
    state: Array,
    wheels: Array,
    arms: Array,
    rail_speed: Array,
    fast: Array,
    impulse: Array,
    bounds: Array,
) -> bool:
    """Return whether knocks would give energy, or throw a wheel into the other face of the rail.

    Args:
        state: at the step's end.
        wheels: the car's wheels.
        arms: see `solve`.
        rail_speed: see `solve`.
        fast: how fast each wheel went away from the rail at the step's beginning [m/s].
        impulse: see `solve`.
        bounds: see `solve`.

    Returns:
        Whether so: an impulse's energy is itself times the mean of the speeds before and after it.
    """
    work, inside = 0.0, 0.0
    for wheel in range(4):
        now = wheels[SIDE, wheel] * (state[2] - rail_speed[wheel]) + arms[wheel] * state[3]
        work += 0.5 * (impulse[0, wheel] + impulse[1, wheel]) * (fast[wheel] + now)
        inside = max(inside, bounds[2, wheel] - now)
    return bool(work > 0.0 or inside > _CLOSE)


def march(
    steps: Array,
    speeds: Array,
    loads: Array,
    rail: Array,
    sideways: Array,
    wheels: Array,
    figures: Array,
    insets: Array,
    start: Array,
    places: Array,
    outs: Array,
    gaps: Array,
    pressed: Array,
    treads: Array,
    lost: Array,
) -> None:
    """Follow a car down the lane; the last six arrays are written.

    Args:
        steps: how long each step lasts [s], (n,).
        speeds: down the track during each [m/s], (n,).
        loads: on each wheel [N], (4, n).
        rail: where the rail's middle is beside each wheel [m], positive left, (4, n + 1).
        sideways: acceleration by the lane's tilt [m/s2], (n,).
        wheels: rows `AHEAD` of the centre of mass [m], `SIDE`, `STEER` [rad], `SLOPE` (push outward over
            load), `PLAY` [m] and `SEAT`, how far out in its play the wheel is for `insets` [m]; (6, 4).
        figures: `MASS` [kg], `INERTIA` in yaw [kg m2], `STIFFNESS` [1/rad] and `GRIP` of the treads,
            `RESTITUTION` of knocks, `TURN_STEP` of the insets [rad].
        insets: see `look_up`; half the rail's width taken off.
        start: place, yaw, speed sideways, yaw rate.
        places: the same four from the start on, (4, n + 1).
        outs: how far out in its play each wheel is [m], (4, n + 1); the first column is the start.
        gaps: from each wheel to the rail [m], (4, n + 1).
        pressed: mean force of the rail on each wheel during each step [N], (4, n).
        treads: force of each tread sideways [N], positive left, (4, n).
        lost: energy of the motion sideways that each knock takes [J], (4, n).
    """
    state = start.copy()
    limits, bounds = np.zeros((2, 4)), np.zeros((3, 4))
    arms, rail_speed, force, pins, fast = np.zeros(4), np.zeros(4), np.zeros(4), np.zeros(4), np.zeros(4)
    impulse = np.zeros((2, 4))
    base, fixed = np.zeros(4), np.zeros(4, dtype=np.int64)
    for wheel in range(4):
        away, arms[wheel] = look_up(insets, wheel, state[1], figures[TURN_STEP])
        base[wheel] = wheels[SIDE, wheel] * (state[0] - rail[wheel, 0]) + away - wheels[SEAT, wheel]
        gaps[wheel, 0] = base[wheel] + outs[wheel, 0]
    places[:, 0] = state
    for k in range(len(steps)):
        h, v = steps[k], speeds[k]
        for wheel in range(4):
            side, arm, out = wheels[SIDE, wheel], arms[wheel], outs[wheel, k]
            rail_speed[wheel] = (rail[wheel, k + 1] - rail[wheel, k]) / h
            gap = base[wheel] + out
            slip = wheels[STEER, wheel] + state[1] - rail_speed[wheel] / v
            pins[wheel] = held_between(wheels, wheel, gap, out, figures, loads[wheel, k], slip, limits)
            fast[wheel] = side * (state[2] - rail_speed[wheel]) + arm * state[3]
        knocks = bind(base, outs[:, k], pins, fast, h, wheels, figures, bounds)
        before = state.copy()
        solve(
            state,
            h,
            v,
            sideways[k],
            wheels,
            figures,
            loads[:, k],
            limits,
            bounds,
            arms,
            rail_speed,
            impulse,
            force,
            fixed,
        )
        if knocks and cannot_bounce(state, wheels, arms, rail_speed, fast, impulse, bounds):
            # Several knocks at once ask for too much; they never do if none of them bounces.
            for wheel in range(4):
                bounds[2, wheel] = -max(base[wheel] + wheels[PLAY, wheel], 0.0) / h
            state[:] = before
            solve(
                state,
                h,
                v,
                sideways[k],
                wheels,
                figures,
                loads[:, k],
                limits,
                bounds,
                arms,
                rail_speed,
                impulse,
                force,
                fixed,
            )
        for wheel in range(4):
            together = impulse[0, wheel] + impulse[1, wheel]
            now = wheels[SIDE, wheel] * (state[2] - rail_speed[wheel]) + arms[wheel] * state[3]
            pressed[wheel, k] = together / h
            lost[wheel, k] = -0.5 * together * (fast[wheel] + now) if fast[wheel] < -QUIET else 0.0
            # A wheel between its stops leans on the rail itself, and passes on only its load's push.
            if pins[wheel] >= 0.0 and outs[wheel, k] > TOUCHING:
                pressed[wheel, k] += pins[wheel]
                force[wheel] -= wheels[SIDE, wheel] * pins[wheel]
            treads[wheel, k] = force[wheel]
        state[0] += h * state[2]
        state[1] += h * state[3]
        # What the curve of a rim leaves of a wheel inside the rail is taken out without any speed.
        state[0] += inside_by(insets, wheels, rail[:, k + 1], state[0], state[1], figures[TURN_STEP])
        for wheel in range(4):
            side = wheels[SIDE, wheel]
            away, arms[wheel] = look_up(insets, wheel, state[1], figures[TURN_STEP])
            base[wheel] = side * (state[0] - rail[wheel, k + 1]) + away - wheels[SEAT, wheel]
            out = outs[wheel, k]
            if pins[wheel] < 0.0 and loads[wheel, k] > 0.0:
                out += slid(wheels, wheel, figures, loads[wheel, k], force[wheel], h, v, state)
            # The rail holds a wheel back that would pass into it, and one that leans on it stays there.
            out = -base[wheel] if pins[wheel] >= 0.0 else max(out, -base[wheel])
            out = min(wheels[PLAY, wheel], max(0.0, out))
            outs[wheel, k + 1] = out
            gaps[wheel, k + 1] = base[wheel] + out
        places[:, k + 1] = state
