"""What the compiled loops share: lanes, and series for the functions of an angle and for e^t.

A lane is one of several cars that the processor works on at a time. Loops over lanes are plain, without calls
of the C library, and all that they read and write lies in one array at places known beforehand: only then
does the compiler turn them into instructions for several numbers. Only `run.compiled` imports these files,
since they need numba.
"""

from __future__ import annotations

import inspect
import math
import sys
import zlib
from collections.abc import Callable
from typing import Any, TypeVar

import numba

__all__ = [
    "LANES",
    "compiled",
    "cosine_of",
    "growth",
    "inlined",
    "mark_of",
    "rows",
    "sine_and_cosine",
    "sine_over_angle",
]

Called = TypeVar("Called", bound=Callable[..., Any])

LANES = 16
"""Cars side by side: a few times what fits an instruction, so that none waits for the last."""

# A product may be added without being rounded first; nothing else is reordered.
_HOW: dict[str, Any] = {"nogil": True, "error_model": "numpy", "fastmath": {"contract"}}
_QUARTER = 0.5 * math.pi
# What pi/2 is short of in a double (M. Abramowitz, I. A. Stegun, table 1.1, has 25 figures of pi).
_QUARTER_MORE = 6.123233995736766e-17


def inlined(function: Called) -> Called:
    """Compile a function into those that call it.

    Args:
        function: to be compiled.

    Returns:
        The compiled function.
    """
    found: Called = numba.njit(forceinline=True, **_HOW)(function)
    return found


def compiled(function: Called) -> Called:
    """Compile a function that Python calls.

    Args:
        function: to be compiled; it does not hold other threads up.

    Returns:
        The compiled function; the machine keeps it for the next start.
    """
    found: Called = numba.njit(cache=True, **_HOW)(function)
    return found


def mark_of(*names: str) -> int:
    """Return a number that changes when the source of some modules does.

    Args:
        names: of the modules.

    Returns:
        A check sum, to keep compiled code by.
    """
    return zlib.crc32("".join(inspect.getsource(sys.modules[name]) for name in names).encode())


def threads() -> int:
    """Return how many threads this machine runs at a time, as far as this program may use them."""
    return int(numba.get_num_threads())


def rows(first: int, count: int) -> range:
    """Return where rows of lanes begin in a flat array.

    Args:
        first: number of the first row.
        count: how many rows.

    Returns:
        Their places.
    """
    return range(first * LANES, (first + count) * LANES, LANES)


@inlined
def sine_over_angle(square: float) -> float:
    """Return sin(t)/t for t squared up to 1, to rounding (Taylor's series)."""
    found = 1.0 / 355687428096000.0 - square / 121645100408832000.0
    found = -1.0 / 1307674368000.0 + square * found
    found = 1.0 / 6227020800.0 + square * found
    found = -1.0 / 39916800.0 + square * found
    found = 1.0 / 362880.0 + square * found
    found = -1.0 / 5040.0 + square * found
    found = 1.0 / 120.0 + square * found
    found = -1.0 / 6.0 + square * found
    return 1.0 + square * found


@inlined
def cosine_of(square: float) -> float:
    """Return cos(t) for t squared up to 1, to rounding (Taylor's series)."""
    found = 1.0 / 20922789888000.0 - square / 6402373705728000.0
    found = -1.0 / 87178291200.0 + square * found
    found = 1.0 / 479001600.0 + square * found
    found = -1.0 / 3628800.0 + square * found
    found = 1.0 / 40320.0 + square * found
    found = -1.0 / 720.0 + square * found
    found = 1.0 / 24.0 + square * found
    found = -0.5 + square * found
    return 1.0 + square * found


@inlined
def growth(exponent: float) -> float:
    """Return e^t for t between -6 and 6, to a few roundings: the series of t/16, squared four times."""
    t = 0.0625 * exponent
    found = 1.0 / 39916800.0 + t / 479001600.0
    found = 1.0 / 3628800.0 + t * found
    found = 1.0 / 362880.0 + t * found
    found = 1.0 / 40320.0 + t * found
    found = 1.0 / 5040.0 + t * found
    found = 1.0 / 720.0 + t * found
    found = 1.0 / 120.0 + t * found
    found = 1.0 / 24.0 + t * found
    found = 1.0 / 6.0 + t * found
    found = 0.5 + t * found
    found = 1.0 + t * found
    found = 1.0 + t * found
    found *= found
    found *= found
    found *= found
    return found * found


@inlined
def sine_and_cosine(angle: float) -> tuple[float, float]:
    """Return sine and cosine of an angle of a few turns at most, to rounding.

    Args:
        angle: [rad].

    Returns:
        Both, from the angle less whole quarter turns.
    """
    quarters = math.floor(angle / _QUARTER + 0.5)
    rest = (angle - quarters * _QUARTER) - quarters * _QUARTER_MORE
    sine, cosine = rest * sine_over_angle(rest * rest), cosine_of(rest * rest)
    odd = quarters - 2.0 * math.floor(0.5 * quarters)
    half = quarters - 4.0 * math.floor(0.25 * quarters)
    sign_s = -1.0 if half > 1.5 else 1.0
    sign_c = -1.0 if 0.5 < half < 2.5 else 1.0
    return sign_s * (cosine if odd > 0.5 else sine), sign_c * (sine if odd > 0.5 else cosine)
