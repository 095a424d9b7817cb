"""The demo club's batch file: bodies drilled with a jig whose bushing begins to wander, made from a seed.

Biases, scatters and the body from which the bushing wanders are invented. Cants are read with a protractor,
the other angles with a straight-edge: no daylight, a feeler that goes and one that does not, or a gap.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

__all__ = ["BATCH", "SEED", "TRUTH", "WANDERS_FROM", "batch_text"]

BATCH = "batch-tannery.toml"
"""Name of the file."""

SEED = 11
"""Of the file that is shipped."""

WANDERS_FROM = 18
"""Body of the first bushing from which its rear right cant runs away."""

BODIES = {"first bushing": 27, "second bushing": 16}
"""Bodies of each set-up, in the order of drilling."""

TRUTH: Mapping[str, tuple[float, float, float]] = {
    "rear_left.cant": (0.28, 0.36, 0.15),
    "rear_left.sweep": (0.03, 0.02, 0.09),
    "rear_right.cant": (-0.04, 0.05, 0.13),
    "rear_right.sweep": (-0.02, 0.01, 0.09),
    "front_left.cant": (0.02, -0.03, 0.11),
    "front_left.sweep": (0.05, 0.0, 0.10),
}
"""Bias with the first and the second bushing, and scatter [deg]."""

_RUNS_AWAY = -0.075
_MEANT = 2.5
_DISTANCE = 40.0
_EYE = 0.07
_PROTRACTOR, _FELT = 0.04, 0.02
_FEELERS = (0.06, 0.1, 0.14, 0.17, 0.2, 0.25, 0.3, 0.4, 0.5)

_HEAD = """\
# Bodies drilled with the jig of the Tannery Lane Gravity Club (an invented club), in the order of drilling.
# Plain numbers are millimetres and degrees.
format = 1
name = "Tannery Lane jig"
car = "lark.toml"                    # says what the holes are meant to be

[drill]                              # what the club lets pass on its own bench
cant = 0.4
sweep = 0.25

[gauges]
distance = 40                        # side face to where a gap is read
sees = 0.07                          # least gap that shows daylight
look = 0.02                          # standard uncertainty of that, and of a feeler
gap = 0.02                           # of a measured gap
angle = 0.04                         # standard uncertainty of the protractor
"""


def batch_text(seed: int = SEED) -> str:
    """Return the text of the batch file.

    Args:
        seed: of the random numbers; the same, the same file.

    Returns:
        TOML as the batch reader takes it.
    """
    rng = np.random.default_rng(seed)
    lines = [_HEAD]
    number = 0
    for which, (set_up, count) in enumerate(BODIES.items()):
        for place in range(1, count + 1):
            number += 1
            lines += [f"[[body]]                             # {number}", f'set_up = "{set_up}"']
            off = {name: true[which] + true[2] * rng.standard_normal() for name, true in TRUTH.items()}
            if which == 0 and place >= WANDERS_FROM:
                off["rear_right.cant"] += _RUNS_AWAY * (place - WANDERS_FROM + 1)
            for station in ("rear_left", "rear_right", "front_left"):
                cant = off[f"{station}.cant"]
                said = (
                    _protractor(rng, cant) if station.startswith("rear") else _edge(rng, cant, "up", "down")
                )
                sweep = _edge(rng, off[f"{station}.sweep"], "forward", "backward")
                lines.append(f"{station} = {{ cant = {said}, sweep = {sweep} }}")
            lines.append("")
    return "\n".join(lines)


def _protractor(rng: np.random.Generator, off: float) -> str:
    read = _MEANT + off + _PROTRACTOR * rng.standard_normal()
    return f'"{0.05 * round(read / 0.05):.2f} deg up"'


def _edge(rng: np.random.Generator, off: float, plus: str, minus: str) -> str:
    """Return what a straight-edge at a hole that is meant to be level or square shows."""
    gap = _DISTANCE * math.tan(math.radians(off)) + _FELT * rng.standard_normal()
    size = abs(gap)
    if size < _EYE:
        return '"none"'
    way = rng.random()
    if way < 0.04:
        return '"seen"'
    if way < 0.4:
        return f'"{size:.2f} mm {plus if gap > 0.0 else minus}"'
    goes = max((feeler for feeler in _FEELERS if feeler <= size), default=0.0)
    stops = min(feeler for feeler in (*_FEELERS, 9.9) if feeler > size)
    sign = "" if gap > 0.0 else "-"
    return f"{{ goes = {sign}{goes:g}, stops = {sign}{stops:g} }}"
