"""How a lane's rail and surface stray from straight and level: waves and joints, drawn from a seed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.errors import OutOfRange
from rollwright.quantity.value import not_negative

__all__ = ["ROUGHNESS", "Roughness", "wander"]

Array = NDArray[Any]

ROUGHNESS = 0.2e-3
"""How far a rail strays from straight where nobody measured it, one standard deviation [m] (judgement)."""

_SHORTEST, _LONGEST = 0.1, 2.0
_WAVES = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class Roughness:
    """How rough a lane is.

    Attributes:
        waves: standard deviation of the rail's waves [m].
        joints: standard deviation of the rail's step sideways at a joint [m]; None is half the waves.
        every: from joint to joint [m].
        over: length over which a joint's step is met, because the rim that meets it is round [m].
        tilt: of the lane about the way down [rad]; positive, left side up, and the car is drawn to the
            right; negative, right side up, and to the left.
        seed: of the random numbers; the same seed, the same lane.

    Raises:
        OutOfRange: one of them cannot be.
    """

    waves: float = ROUGHNESS
    joints: float | None = None
    every: float = 1.2
    over: float = 0.01
    tilt: float = 0.0
    seed: int = 1

    def __post_init__(self) -> None:
        """Refuse what no lane can be."""
        not_negative(self.waves, what="a roughness", key="roughness")
        if self.joints is not None:
            not_negative(self.joints, what="a joint's step", key="joints")
        for name, value in (("every", self.every), ("over", self.over)):
            if not 0.0 < value < math.inf:
                raise OutOfRange(f"a length of {value:g} m is none", mend="give more than 0", key=name)
        if not abs(self.tilt) < math.radians(20.0):
            raise OutOfRange(
                f"a lane tilted by {math.degrees(self.tilt):g} deg is none", mend="give under 20", key="tilt"
            )
        if self.seed < 0:
            raise OutOfRange(f"a seed of {self.seed} is negative", mend="give 0 or more", key="seed")


def wander(lane: Roughness, at: Array, *, length: float) -> Array:
    """Return how far the rail's middle lies to the left of straight.

    Args:
        lane: how rough it is.
        at: arc lengths from the gate [m].
        length: of the lane [m]; there are joints as far as this.

    Returns:
        [m], positive left, in the shape of `at`: the sum of waves between 0.1 m and 2 m long whose power
        falls with the square of their number per metre, as ISO 8608 has it of roads; and at each joint a step
        sideways, independent of the others, met over the length of a rim.
    """
    random = np.random.default_rng(lane.seed)
    edges = np.geomspace(1.0 / _LONGEST, 1.0 / _SHORTEST, _WAVES + 1)
    power = 1.0 / edges[:-1] - 1.0 / edges[1:]
    size = lane.waves * np.sqrt(2.0 * power / power.sum())
    number = np.sqrt(edges[:-1] * edges[1:])
    phase = random.uniform(0.0, 2.0 * math.pi, _WAVES)
    joints = 0.5 * lane.waves if lane.joints is None else lane.joints
    count = math.ceil(length / lane.every)
    first = random.uniform(0.2, 1.0) * lane.every
    steps = random.normal(0.0, 1.0, count) * joints
    flat = at.ravel()
    found = np.zeros_like(flat)
    if lane.waves > 0.0:
        # A coarse table does: the shortest wave is a hundred of its steps.
        table = np.arange(flat.min() - 0.002, flat.max() + 0.003, 0.001)
        waves = np.sin(2.0 * math.pi * table[:, None] * number + phase) @ size
        found += np.interp(flat, table, waves)
    if joints > 0.0:
        # Each piece of rail lies where it lies; a joint passes from one to the next.
        offsets = np.concatenate(([0.0], steps))
        places = first + lane.every * np.arange(count)
        knots = np.stack((places - 0.5 * lane.over, places + 0.5 * lane.over), axis=1).ravel()
        values = np.stack((offsets[:-1], offsets[1:]), axis=1).ravel()
        found += np.interp(flat, knots, values)
    return found.reshape(at.shape)
