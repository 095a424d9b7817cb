"""The demo club's track day: sister bodies with the old and the new steer, made from a seed.

What the change, the lanes and the day do is invented; nothing is copied from anyone.
"""

from __future__ import annotations

import numpy as np

__all__ = ["CHANGE", "NOISE", "SEED", "TRIALS", "trials_text"]

TRIALS = "trials-tannery.csv"
SEED = 12
"""Of the file that is shipped."""

CHANGE = 3.0e-3
"""By how much the new steer is truly faster [s]."""
NOISE = 2.6e-3
"""Standard deviation of one run [s]."""

_LANES = {"left": 0.0, "middle": -1.2e-3, "right": 3.4e-3}
_CARS = {"old steer": 0.0, "new steer": -CHANGE}
_TIME = 2.6184
_HEATS = 20
_BETWEEN_HEATS, _SLOWER = 1.5e-3, 0.12e-3
_STARTED_EARLY, _OFF_THE_RAIL, _NO_LIGHT = 7, 12, 16


def trials_text(seed: int = SEED) -> str:
    """Return the text of the club's file of times.

    Args:
        seed: of the noise and of the lot by which lanes were drawn.

    Returns:
        The file; for `SEED` the one that is shipped.
    """
    noise = np.random.default_rng(seed)
    lanes = list(_LANES)
    lines = ["heat,lane,configuration,time (s),mark,note"]
    for heat in range(1, _HEATS + 1):
        start = noise.normal(0.0, _BETWEEN_HEATS) + heat * _SLOWER
        first = (heat - 1) % len(lanes)
        way = 1 if heat % 2 else -1
        for number, (car, faster) in enumerate(_CARS.items()):
            lane = lanes[(first + way * number) % len(lanes)]
            time = _TIME + start + faster + _LANES[lane] + noise.normal(0.0, NOISE)
            mark, note, shown = "", "", f"{time:.4f}"
            if heat == _STARTED_EARLY:
                mark, note = "heat: false start", "gate stuck"
            elif heat == _OFF_THE_RAIL and car == "old steer":
                mark, note, shown = "DNF", "stopped on a splinter", ""
            elif heat == _NO_LIGHT and car == "new steer":
                note, shown = "lamp of the gate flickered", "2.6?"
            lines.append(f"{heat},{lane},{car},{shown},{mark},{note}")
    return "\n".join(lines) + "\n"
