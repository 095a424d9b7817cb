"""Where cars stand, how they move along and what acts, compiled.

`surface`, `pose`, `motion.path_of` and `forces` say how.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.run.chassis import PARAMETERS
from rollwright.run.lanes import cosine_of, inlined, sine_over_angle

__all__ = ["MOST_TURN", "acts_on", "along", "chord", "lay"]

Numbers = NDArray[np.float64]

MOST_TURN = 1.6
"""Largest angle that a piece may turn by [rad]: the series for sine and cosine take half of it."""

_ROUNDS = 6
_NEWTON = 12
_NEARLY_STRAIGHT = 1e-4
_TIPPING, _HELD = 0.999, 1000.0

_AT = {name: place for place, name in enumerate(PARAMETERS)}
_RADIUS_R, _RADIUS_F, _AHEAD = (_AT[name] for name in ("rear_radius", "front_radius", "ahead"))
_NOSE_X, _NOSE_Z, _GRAVITY = (_AT[name] for name in ("nose_x", "nose_z", "gravity"))


@inlined
def along(
    distance: float, curvature: float, sine: float, cosine: float, x: float, z: float
) -> tuple[float, float, float, float]:
    """Return where an arc length is, as `surface.along` does."""
    half = 0.5 * curvature * distance
    over = sine_over_angle(half * half)
    cos_half, sin_half = cosine_of(half * half), half * over
    chord = distance * over
    mean_cos = cosine * cos_half + sine * sin_half
    mean_sin = sine * cos_half - cosine * sin_half
    return (
        x + chord * mean_cos,
        z - chord * mean_sin,
        mean_cos * cos_half + mean_sin * sin_half,
        mean_cos * sin_half - mean_sin * cos_half,
    )


@inlined
def _root(a: float, b: float, c: float) -> float:
    q = math.sqrt(b * b - a * c)
    over = -c if b > 0.0 else q - b
    under = b + q if b > 0.0 else a
    return over / under


@inlined
def chord(
    cx: float,
    cz: float,
    gx: float,
    gz: float,
    sine: float,
    cosine: float,
    bend: float,
    square: float,
    apart: float,
) -> tuple[float, float, float, float]:
    """Return the unit vector from the rear to the front centre, and that in which the front one moves.

    The rear centre is at (cx, cz); the front centre's path starts at (gx, gz). See `pose.pose`.
    """
    ex, ez = gx - cx, gz - cz
    b, n = ex * cosine - ez * sine, ex * sine + ez * cosine
    c = ex * ex + ez * ez - square
    w = _root(1.0 + bend * n + 0.25 * bend * bend * c, b, c)
    half = 0.5 * bend * w
    share, per = 1.0 / (1.0 + half * half), 1.0 / apart
    lengthwise, upward = w * share, half * w * share
    cos_turn, sin_turn = (1.0 - half * half) * share, 2.0 * half * share
    return (
        (ex + cosine * lengthwise + sine * upward) * per,
        (ez - sine * lengthwise + cosine * upward) * per,
        cosine * cos_turn + sine * sin_turn,
        cosine * sin_turn - sine * cos_turn,
    )


@inlined
def _rates(
    tx: float, tz: float, qx: float, qz: float, hx: float, hz: float, apart: float
) -> tuple[float, float, float, float, float, float]:
    """Return how far the front centre moves and how far the body turns per metre, and what leads there."""
    rear_along, front_along = tx * hx + tz * hz, qx * hx + qz * hz
    rear_aside, front_aside = tz * hx - tx * hz, qz * hx - qx * hz
    rate = rear_along / front_along
    return rate, (rate * front_aside - rear_aside) / apart, rear_along, front_along, rear_aside, front_aside


@inlined
def _breaks(car: Numbers, track: Numbers, breaks: Numbers) -> None:
    """Fill in where the rear wheels touch when the front ones pass to the next piece; `pose.front_breaks`."""
    pieces = track.shape[1]
    radius_r, radius_f, ahead = car[_RADIUS_R], car[_RADIUS_F], car[_AHEAD]
    square = ahead * ahead + (radius_f - radius_r) ** 2
    piece = 0
    for number in range(1, pieces):
        gx = track[4, number] + radius_f * track[2, number]
        gz = track[5, number] + radius_f * track[3, number]
        s = track[0, number] - ahead
        piece = _piece_at(track, s, piece)
        for _ in range(_ROUNDS):
            curvature, sine, cosine = track[1, piece], track[2, piece], track[3, piece]
            shrink = 1.0 - curvature * radius_r
            bend = curvature / shrink
            ex = track[4, piece] + radius_r * sine - gx
            ez = track[5, piece] + radius_r * cosine - gz
            b, n = ex * cosine - ez * sine, ex * sine + ez * cosine
            c = ex * ex + ez * ez - square
            w = -_root(1.0 + bend * n + 0.25 * bend * bend * c, -b, c)
            half = 0.5 * bend * w
            if abs(half) < _NEARLY_STRAIGHT:
                straightened = w * (1.0 - half * half / 3.0)
            else:
                straightened = 2.0 * math.atan(half) / bend
            s = track[0, piece] + straightened / shrink
            again = _piece_at(track, s, piece)
            if again == piece:
                break
            piece = again
        breaks[number - 1] = s


@inlined
def _piece_at(track: Numbers, s: float, near: int) -> int:
    """Return the piece on which an arc length lies, looked for from a piece near it."""
    found = near
    while found + 1 < track.shape[1] and track[0, found + 1] <= s:
        found += 1
    while found > 0 and track[0, found] > s:
        found -= 1
    return found


@inlined
def _count(breaks: Numbers, s: float) -> int:
    found = 0
    while found < len(breaks) and breaks[found] <= s:
        found += 1
    return found


@inlined
def _nose_at(car: Numbers, track: Numbers, breaks: Numbers, line: float) -> float:
    """Return where the rear wheels touch when the nose reaches a line; `pose.nose_at`."""
    under = _piece_at(track, line, 0)
    s: float = line - car[_NOSE_X]
    rear, front = _piece_at(track, s, under), _count(breaks, s)
    if under == rear == front and track[1, under] == 0.0:
        return s
    radius_r, radius_f, ahead = car[_RADIUS_R], car[_RADIUS_F], car[_AHEAD]
    apart = math.sqrt(ahead * ahead + (radius_f - radius_r) ** 2)
    rise, level = (radius_f - radius_r) / apart, ahead / apart
    x, z = car[_NOSE_X], car[_NOSE_Z] - radius_r
    along, across = x * level + z * rise, z * level - x * rise
    lx, lz, wx, wz = _place(track, under, line)
    for _ in range(_NEWTON):
        rear, front = _piece_at(track, s, rear), _count(breaks, s)
        px, pz, tx, tz = _place(track, rear, s)
        cx, cz = px - radius_r * tz, pz + radius_r * tx
        gx = track[4, front] + radius_f * track[2, front]
        gz = track[5, front] + radius_f * track[3, front]
        bend = track[1, front] / (1.0 - track[1, front] * radius_f)
        hx, hz, qx, qz = chord(cx, cz, gx, gz, track[2, front], track[3, front], bend, apart * apart, apart)
        turn = _rates(tx, tz, qx, qz, hx, hz, apart)[1]
        px, pz = along * hx - across * hz, along * hz + across * hx
        off = (cx + px - lx) * wx + (cz + pz - lz) * wz
        way = (tx - turn * pz) * wx + (tz + turn * px) * wz
        step = off / way * (1.0 / (1.0 - track[1, rear] * radius_r))
        s -= step
        if abs(step) < 1e-15 * max(1.0, abs(line)):
            break
    return s


@inlined
def _place(track: Numbers, piece: int, s: float) -> tuple[float, float, float, float]:
    return along(
        s - track[0, piece],
        track[1, piece],
        track[2, piece],
        track[3, piece],
        track[4, piece],
        track[5, piece],
    )


@inlined
def lay(car: Numbers, track: Numbers, line: float, push: float, store: Any, lane: int) -> None:
    """Cut a car's way into stretches and lay its nodes; `motion.path_of`."""
    breaks, ends, rears, fronts, shares = store
    pieces = track.shape[1]
    _breaks(car, track, breaks)
    begin = _nose_at(car, track, breaks, 0.0)
    end = _nose_at(car, track, breaks, line)
    last = 2 * pieces - 1
    ends[0, lane], ends[last, lane] = begin, end
    # Both lists ascend: they are merged, and what lies outside the run is put on its ends.
    first, second = 1, 0
    for place in range(1, last):
        if second >= pieces - 1 or (first < pieces and track[0, first] <= breaks[second]):
            s = track[0, first]
            first += 1
        else:
            s = breaks[second]
            second += 1
        ends[place, lane] = min(max(s, begin), end)
    rear, front = 0, 0
    gravity = car[_GRAVITY]
    speed = push
    piece = _piece_at(track, begin, 0)
    top = _place(track, piece, begin)[1]
    for place in range(last):
        middle = 0.5 * (ends[place, lane] + ends[place + 1, lane])
        rear = _piece_at(track, middle, rear)
        while front < pieces - 1 and breaks[front] <= middle:
            front += 1
        rears[place, lane], fronts[place, lane] = rear, front
        piece = _piece_at(track, ends[place + 1, lane], rear)
        z = _place(track, piece, ends[place + 1, lane])[1]
        after = math.sqrt(max(push * push + 2.0 * gravity * (top - z), 0.0))
        both = speed + after
        shares[place, lane] = speed / both if both > 0.0 else 0.5
        speed = after


@inlined
def acts_on(
    car: tuple[float, ...],
    shares: tuple[float, ...],
    place: tuple[float, ...],
    bends: tuple[float, float, float, float],
) -> tuple[float, float, float, float]:
    """Return the moving mass, the losses at rest and over u, and the pace.

    `forces.forces` with all losses acting; the shares of rubbing are summed by what they are measured by.
    """
    mass, inertia, spin_r, spin_f, radius_r, radius_f, gravity, air, apart, lengthwise, across = car
    tx, tz, qx, qz, hx, hz = place
    bend_r, bend_f, contact_r, contact_f = bends
    rate, turn, rear_along, front_along, rear_aside, front_aside = _rates(tx, tz, qx, qz, hx, hz, apart)
    front_bent = bend_f * rate * rate
    rate_2 = (-bend_r * rear_aside + front_bent * front_aside - apart * turn * turn) / front_along
    turn_2 = (rate_2 * front_aside + front_bent * front_along - bend_r * rear_along) / apart

    arm_x, arm_z = lengthwise * hx - across * hz, lengthwise * hz + across * hx
    way_x, way_z = tx - turn * arm_z, tz + turn * arm_x
    way_2x = -bend_r * tz - turn_2 * arm_z - turn * turn * arm_x
    way_2z = bend_r * tx + turn_2 * arm_x - turn * turn * arm_z
    pace_2 = way_x * way_x + way_z * way_z
    moving = mass * pace_2 + inertia * turn * turn + spin_r + spin_f * rate * rate
    changing = mass * (way_x * way_2x + way_z * way_2z) + inertia * turn * turn_2 + spin_f * rate * rate_2

    # The loads: normals are (-tz, tx) and (-qz, qx), up is (-hz, hx).
    rear_x, rear_z = -arm_x + radius_r * tz, -arm_z - radius_r * tx
    front_x, front_z = apart * hx - arm_x + radius_f * qz, apart * hz - arm_z - radius_f * qx
    turn_r, turn_f = rear_x * tx + rear_z * tz, front_x * qx + front_z * qz
    pull_r, pull_f = rear_x * tz - rear_z * tx, front_x * qz - front_z * qx
    per = 1.0 / (turn_r * front_along - turn_f * rear_along)
    spun_r, spun_f = spin_r * (pull_r - radius_r), spin_f * (pull_f - radius_f)
    weighs = mass * gravity
    per_mass = 1.0 / moving
    moment_per = inertia * turn + spun_r + spun_f * rate
    force_per = mass * (way_z * hx - way_x * hz) + spin_r * rear_aside + spin_f * front_aside * rate
    slope, bending = -weighs * way_z * per_mass, -changing * per_mass
    moment_0, force_0 = moment_per * slope, force_per * slope + weighs * hx
    moment_u = moment_per * bending + inertia * turn_2 + spun_f * rate_2
    force_u = force_per * bending + mass * (way_2z * hx - way_2x * hz) + spin_f * front_aside * rate_2
    moment_b = 0.5 * (pull_r + pull_f) - moment_per * per_mass
    force_b = 0.5 * (rear_aside + front_aside) - force_per * per_mass

    pin_rr, pin_rf, pin_fr, pin_ff, way_rr, way_rf, way_fr, way_ff, top_rr, top_rf, top_fr, top_ff = shares
    pin_r, pin_f = 1.0 + radius_r * turn, rate + radius_f * turn
    top_f = contact_f * rate
    by_rear = pin_r * pin_rr + way_rr + contact_r * top_rr + pin_f * pin_fr + rate * way_fr + top_f * top_fr
    by_front = pin_r * pin_rf + way_rf + contact_r * top_rf + pin_f * pin_ff + rate * way_ff + top_f * top_ff
    # What a moment and what a force come to as rubbing, through the loads on both axles.
    by_moment = (by_rear * front_along - by_front * rear_along) * per
    by_force = (by_front * turn_r - by_rear * turn_f) * per
    still = by_moment * moment_0 + by_force * force_0
    growing = by_moment * moment_u + by_force * force_u
    more = by_moment * moment_b + by_force * force_b
    held = 1.0 / (1.0 - more) if more < _TIPPING else _HELD
    pace = math.sqrt(pace_2)
    return moving, still * held, growing * held + air * pace_2 * pace, pace
