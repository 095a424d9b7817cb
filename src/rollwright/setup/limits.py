"""What bench moves can and cannot do: limits, what stands in the way, and what would have to change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from rollwright.setup.knobs import AdjustableCar, Setting
from rollwright.units import Kind, show

__all__ = ["MOST_RELIEF", "Bending", "Cannot", "bending", "within_limits"]

_DEG = math.pi / 180.0
_MOST_BEND = 12.0 * _DEG
"""Largest bend that is asked of a pin (judgement: beyond it a pin kinks or cracks rather than bends)."""

_START_STEP = 2.0 * _DEG
_STARTS = 6

_GOOD_ENOUGH = 0.3
"""Part of the level's tolerance that may be left at the end of what bending can do without being named."""

MOST_RELIEF = 0.25
"""Largest relief as a share of the body's width (judgement: the pin needs the rest of the wood to hold)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cannot:
    """A target that no allowed move reaches.

    Attributes:
        gate: `level`, `steer` or `centre`.
        reason: what stands in the way.
        change: what would have to change.
    """

    gate: str
    reason: str
    change: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bending:
    """A setting of bend, clock and shims, with what bending could not do."""

    setting: Setting
    cannot: tuple[Cannot, ...] = ()
    notes: tuple[str, ...] = ()


def _length(value: float) -> str:
    return str(show(abs(value), kind=Kind.LENGTH))


def _angle(value: float) -> str:
    return str(show(value, kind=Kind.ANGLE))


def bending(bench: AdjustableCar, present: Setting, targets: Mapping[int, float]) -> Bending:
    """Return the bend, clock and shims that meet all three targets, within what is allowed.

    Args:
        bench: the car.
        present: its setting now.
        targets: wanted height difference, drift and rail offset [m] by their indices 0, 1 and 2.

    Returns:
        The exact setting. Where the axle may not be bent, would have to be bent the other way, or further
        than a pin takes, shims level the car instead and `cannot` says what would have to change.
    """
    if not bench.car.bent_axles:
        return _unbent(bench, present, targets)
    exact = _exact(bench, present, targets)
    if exact is None:
        return Bending(setting=present, cannot=(_no_bend(bench, present, targets),))
    if exact.down >= 0.0 and exact.bend <= _MOST_BEND:
        return Bending(setting=exact)
    down = 0.0 if exact.down < 0.0 else math.sqrt(max(0.0, _MOST_BEND**2 - exact.forward**2))
    nearest = bench.solve(
        replace(exact, down=down), knobs=("forward", "trim"), targets={1: targets[1], 2: targets[2]}
    )
    if nearest is not None:
        left = abs(float(bench.gates(bench.moved(nearest)[None, :])[0, 0]) - targets[0])
        if left <= _GOOD_ENOUGH * bench.car.targets.height_difference.tolerance:
            return Bending(setting=nearest)
    shimmed = bench.solve(replace(exact, down=down), knobs=("forward", "rear_shim", "trim"), targets=targets)
    if exact.down < 0.0:
        reason = (
            f"level would need the axle bent the other way, by {_angle(-exact.down)} upward: the front sits "
            "too high even with no bend down"
        )
        change = "drill the front holes {} higher in the next body, or shim the rear axles by as much"
    else:
        reason = (
            f"level would need a bend of {_angle(exact.bend)}, more than the {_angle(_MOST_BEND)} a pin takes"
        )
        change = "drill the front holes {} lower in the next body, or shim the front axle by as much"
    if shimmed is None:
        cannot = Cannot(gate="level", reason=reason, change=change.format("some way"))
        return Bending(setting=replace(present, rear_shim=0.0), cannot=(cannot,))
    cannot = Cannot(gate="level", reason=reason, change=change.format(_length(shimmed.rear_shim)))
    return Bending(setting=shimmed, cannot=(cannot,))


def _exact(bench: AdjustableCar, present: Setting, targets: Mapping[int, float]) -> Setting | None:
    """Return the setting that meets all three targets, whatever it asks of the pin."""
    start = present if present.bend > 0.0 else replace(present, down=1.0 * _DEG)
    for _ in range(_STARTS):
        # While the dominant wheel hangs in the air no bend of its axle changes anything.
        if bench.carries(start):
            return bench.solve(start, knobs=("down", "forward", "trim"), targets=targets)
        start = replace(start, down=start.down + _START_STEP)
    return None


def _no_bend(bench: AdjustableCar, present: Setting, targets: Mapping[int, float]) -> Cannot:
    if not bench.carries(present):
        raised = bench.car.raised.words
        return Cannot(
            gate="level",
            reason=f"the {raised} wheel carries the car in place of the {bench.car.dominant.words} wheel, "
            "and no bend that a pin takes brings that one down",
            change=f"drill the {raised} hole higher in the next body",
        )
    now = bench.gates(bench.moved(present)[None, :])[0]
    wanted = bench.car.targets
    off = abs(float(now[0]) - targets[0]) / wanted.height_difference.tolerance
    return Cannot(
        gate="level" if off >= abs(float(now[1]) - targets[1]) / wanted.drift.tolerance else "steer",
        reason="no bend and turn of the front axle brings level and steer to their targets together",
        change="check the hole heights and the targets; they ask for more than an axle can do",
    )


def _unbent(bench: AdjustableCar, present: Setting, targets: Mapping[int, float]) -> Bending:
    """Level by shims and centre by trim; the steer of a straight axle is drilled, not set."""
    shimmed = bench.solve(present, knobs=("rear_shim", "trim"), targets={0: targets[0], 2: targets[2]})
    drilled = bench.solve(present, knobs=("sweep", "rear_shim", "trim"), targets=targets)
    cannot: tuple[Cannot, ...] = ()
    drift = float(bench.gates(bench.moved(present)[None, :])[0, 1])
    if abs(drift - targets[1]) > bench.car.targets.drift.tolerance:
        now = float(bench.values[bench.column("sweep")])
        where = bench.car.dominant.words
        change = (
            f"drill the {where} hole with a sweep of {_angle(now + drilled.sweep)} instead of {_angle(now)}"
            if drilled is not None
            else f"drill the {where} hole with another sweep"
        )
        reason = "the class allows no bent axle, and a straight one steers only as its hole was drilled"
        cannot = (Cannot(gate="steer", reason=reason, change=change),)
    return Bending(setting=present if shimmed is None else shimmed, cannot=cannot)


def within_limits(bench: AdjustableCar, setting: Setting) -> Cannot | None:
    """Return what forbids a trim, or None.

    Args:
        bench: the car.
        setting: the setting with its trim.

    Returns:
        None where the relief leaves enough wood.
    """
    _, relief = bench.trim_parts(setting.trim, kept=setting.kept)
    total = float(bench.values[bench.column("relief")]) + relief
    width = bench.car.body.width.value
    if relief <= 0.0 or total <= MOST_RELIEF * width:
        return None
    return Cannot(
        gate="centre",
        reason=(
            f"the relief would have to be {_length(total)}, and more than {_length(MOST_RELIEF * width)} "
            f"leaves too little of a {_length(width)} body to hold the axle"
        ),
        change=f"use a body about {_length(2.0 * (total - MOST_RELIEF * width))} narrower, or a hub that "
        "stands out less",
    )
