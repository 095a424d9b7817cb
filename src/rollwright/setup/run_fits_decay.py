"""How what nobody drives slows down: a wheel on its pin, a car on the flat, in closed form.

Both obey `ds/dt = -(a + b s + c s^2)` with s the speed, turning or straight: a constant part a of friction, a
part b s that grows with the speed and a part c s^2 that grows with its square.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Slowing", "braking", "coast_time", "speed_after", "time_between"]

Array = NDArray[np.float64]

_SMALL = 1e-3
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
# The way is laid so that the nodes crowd where the car may come to rest.
_REST = 0.5 * (1.0 - _NODES)
_SHARE, _LAID = 1.0 - _REST**2, _WEIGHTS * _REST


@dataclass(frozen=True, slots=True)
class Slowing:
    """Times or speeds, and how they change with what slows down.

    Attributes:
        values: times [s] or speeds, (m,).
        by_start: derivative with respect to the speed at the start, (m,).
        by_terms: derivatives with respect to the constant, the linear and the quadratic part, (m, 3).
    """

    values: Array
    by_start: Array
    by_terms: Array


def _arc(q: Array) -> tuple[Array, Array]:
    """Return `atan(sqrt q) / sqrt q`, `atanh(sqrt -q) / sqrt -q` below zero, and its derivative."""
    small = np.abs(q) < _SMALL
    safe = np.where(small, 1.0, q)
    root = np.sqrt(np.abs(safe))
    value = np.where(safe > 0.0, np.arctan(root), np.arctanh(np.minimum(root, 1.0 - 1e-16))) / root
    slope = (1.0 / (1.0 + safe) - value) / (2.0 * safe)
    series = 1.0 + q * (-1.0 / 3.0 + q * (0.2 + q * (-1.0 / 7.0 + q * (1.0 / 9.0 - q / 11.0))))
    series_slope = -1.0 / 3.0 + q * (0.4 + q * (-3.0 / 7.0 + q * (4.0 / 9.0 - q * 5.0 / 11.0)))
    return np.where(small, series, value), np.where(small, series_slope, slope)


def _tangent(q: Array) -> Array:
    """Return `tan(sqrt q) / sqrt q`, `tanh(sqrt -q) / sqrt -q` below zero, endless from the first pole on."""
    small = np.abs(q) < _SMALL
    safe = np.where(small, 1.0, q)
    root = np.sqrt(np.abs(safe))
    inside = np.minimum(root, 0.5 * np.pi)
    value = np.where(safe > 0.0, np.tan(inside), np.tanh(root)) / root
    series = 1.0 + q * (1.0 / 3.0 + q * (2.0 / 15.0 + q * 17.0 / 315.0))
    beyond = (safe > 0.0) & (root >= 0.5 * np.pi)
    return np.where(small, series, np.where(beyond, np.inf, value))


def braking(speed: float | Array, terms: Array) -> Array:
    """Return `a + b s + c s^2`, how fast a speed falls."""
    found: Array = terms[0] + speed * (terms[1] + speed * terms[2])
    return found


def time_between(*, start: float, speeds: Array, terms: Array) -> Slowing:
    """Return how long it takes to slow down from one speed to others.

    Args:
        start: speed at the start [rad/s or m/s].
        speeds: speeds to reach, in the same unit, (m,).
        terms: constant, linear and quadratic part, (3,); together they must brake at every speed between.

    Returns:
        Times [s]. With `D = 4 a c - b^2` and `h = (s_0 - s) / (2 a + b (s_0 + s) + 2 c s_0 s)` the time is
        `2 h atan(sqrt(D) h) / (sqrt(D) h)`, with atanh where D is negative: all cases of the integral of
        `1 / (a + b s + c s^2)` in one (NIST Digital Library of Mathematical Functions, 4.40 and 19.2.18).
    """
    a, b, c = terms
    below = 2.0 * a + b * (start + speeds) + 2.0 * c * start * speeds
    h = (start - speeds) / below
    bend = 4.0 * a * c - b * b
    value, slope = _arc(bend * h * h)
    by_h, by_bend = 2.0 * value + 4.0 * bend * h * h * slope, 2.0 * h**3 * slope
    drops = -h / below
    return Slowing(
        values=2.0 * h * value,
        by_start=np.full_like(speeds, 1.0 / braking(start, terms)),
        by_terms=np.stack(
            (
                by_h * drops * 2.0 + by_bend * 4.0 * c,
                by_h * drops * (start + speeds) - by_bend * 2.0 * b,
                by_h * drops * 2.0 * start * speeds + by_bend * 4.0 * a,
            ),
            axis=1,
        ),
    )


def speed_after(*, start: float, times: Array, terms: Array) -> Slowing:
    """Return the speed after times.

    Args:
        start: speed at the start [rad/s or m/s].
        times: since then [s], 0 or more, (m,).
        terms: constant, linear and quadratic part, (3,).

    Returns:
        Speeds in the same unit, 0 from where it has come to rest: the inverse of `time_between`.
    """
    a, b, c = terms
    half = 0.5 * times
    h = half * _tangent((4.0 * a * c - b * b) * half * half)
    with np.errstate(invalid="ignore"):
        speeds = (start - h * (2.0 * a + b * start)) / (1.0 + h * (b + 2.0 * c * start))
    rolls = np.isfinite(h) & (speeds > 0.0)
    speeds = np.where(rolls, speeds, 0.0)
    back = time_between(start=start, speeds=speeds, terms=terms)
    falls = np.where(rolls, braking(speeds, terms), 0.0)
    return Slowing(
        values=speeds,
        by_start=falls * back.by_start,
        by_terms=falls[:, None] * back.by_terms,
    )


def coast_time(*, start: float, distances: Array, terms: Array) -> Slowing:
    """Return when a coasting car passes lines.

    Args:
        start: speed at the first line [m/s].
        distances: of the lines from the first one [m], (m,).
        terms: constant, linear and quadratic part, (3,); the linear part must be 0. A constant part below
            zero drives the car, as a floor that falls does.

    Returns:
        Times [s], endless for lines beyond where the car comes to rest. The speed at a distance x is the
        root of `s_0^2 exp(-2 c x) - a (1 - exp(-2 c x)) / c`; the time is the integral of `dx / s`, by
        Gauss-Legendre nodes, which holds for a = 0 and c = 0 too.
    """
    a, _, c = terms
    x = distances[:, None] * _SHARE
    fade = np.exp(-2.0 * c * x)
    y = 2.0 * c * x
    small = np.abs(y) < _SMALL
    safe = np.where(small, 1.0, y)
    # (1 - exp(-y)) / y and its derivative.
    part = np.where(small, 1.0 - y * (0.5 - y * (1.0 / 6.0 - y / 24.0)), -np.expm1(-safe) / safe)
    turn = np.where(
        small,
        -0.5 + y * (1.0 / 3.0 - y * (0.125 - y / 30.0)),
        ((1.0 + safe) * np.exp(-safe) - 1.0) / safe**2,
    )
    square = start * start * fade - 2.0 * a * x * part
    rolls = np.all(square > 0.0, axis=1)
    speed = np.sqrt(np.where(rolls[:, None], square, 1.0))
    laid = distances[:, None] * _LAID
    cubed = laid / (speed * speed * speed)
    by_c = (cubed * x * (start * start * fade + 2.0 * a * x * turn)).sum(axis=1)
    still = np.where(rolls, 1.0, 0.0)
    return Slowing(
        values=np.where(rolls, (laid / speed).sum(axis=1), np.inf),
        by_start=still * -(cubed * start * fade).sum(axis=1),
        by_terms=still[:, None]
        * np.stack(((cubed * x * part).sum(axis=1), np.zeros(len(distances)), by_c), axis=1),
    )
