"""The motion from side to side, compiled where numba is there; the very functions of `lateral_march`."""

from __future__ import annotations

import types
from collections.abc import Callable
from functools import cache
from typing import Any

from rollwright.run import lateral_march, lateral_wheels

__all__ = ["marcher"]

_PARTS = (
    *((lateral_wheels, name) for name in ("look_up", "held_between", "bind", "inside_by", "slid")),
    *((lateral_march, name) for name in ("freely", "kept_out", "solve", "cannot_bounce")),
)


@cache
def marcher() -> Callable[..., None]:
    """Return `lateral_march.march`, compiled if it can be.

    Returns:
        A function with the same arguments and the same sums in the same order. The first call on a machine
        compiles for some seconds; the outcome is kept. Without numba it is the plain function itself.
    """
    try:
        # Loading the compiler takes half a second: only those who ask for a run pay for it.
        import numba  # noqa: PLC0415

        how: dict[str, Any] = {"nogil": True, "error_model": "numpy"}
        from rollwright.run.lanes import mark_of  # noqa: PLC0415 - needs the compiler

        made: dict[str, Any] = {}
        # Each part is to call the compiled ones before it.
        for module, name in _PARTS:
            code = getattr(module, name).__code__
            made[name] = numba.njit(**how)(types.FunctionType(code, {**vars(module), **made}, name))
        whole = types.FunctionType(lateral_march.march.__code__, {**vars(lateral_march), **made}, "march")
        # What is kept is looked up by this name, and the compiler itself would look at one file only.
        whole.__qualname__ = f"march_{mark_of(lateral_march.__name__, lateral_wheels.__name__):x}"
        found: Callable[..., None] = numba.njit(cache=True, **how)(whole)
    except (ImportError, RuntimeError):  # no numba, or no folder where it may keep what it compiled
        return lateral_march.march
    return found
