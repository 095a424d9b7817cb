"""Readings that look like a slip: the other sign, inches for millimetres, a decimal point one place off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rollwright.setup.estimate import Prior
from rollwright.setup.predict import Bench, derivatives
from rollwright.setup.readings import Reading

__all__ = ["suspected_slips"]

_FAR = 4.0
_NEAR = 2.0
_SLIPS = (
    (-1.0, "its sign turned round"),
    (25.4, "its number taken as inches"),
    (1.0 / 25.4, "its number taken as millimetres, not inches"),
    (10.0, "its decimal point one place to the right"),
    (0.1, "its decimal point one place to the left"),
)


def suspected_slips(bench: Bench, prior: Prior) -> Sequence[str]:
    """Return readings that are far from what the car's file lets expect, but near it after a common slip.

    Args:
        bench: the car with its readings.
        prior: what is known of the car without them.

    Returns:
        One sentence for each such reading. Far is more than four standard deviations of what is expected
        (file and gauge together), near is less than two; a reading that is merely far is left to the
        test of misfit.
    """
    owners = bench.owners()
    if not owners:
        return ()
    expected, slopes = derivatives(bench.predict, prior.mean, prior.root.T)
    spread = np.sqrt(np.sum(slopes**2, axis=1) + np.diag(bench.noise()))
    return [
        sentence
        for reading, mean, deviation in zip(owners, expected, spread, strict=True)
        if not reading.trace
        for sentence in _sentences(reading, float(mean), float(deviation))
    ]


def _sentences(reading: Reading, mean: float, deviation: float) -> list[str]:
    value = reading.quantity.value
    if abs(value - mean) <= _FAR * deviation:
        return []
    off = {words: abs(value * factor - mean) / deviation for factor, words in _SLIPS}
    words = min(off, key=lambda each: off[each])
    if off[words] >= _NEAR:
        return []
    return [
        f"{reading.where[:1].upper()}{reading.where[1:]} is far from what the car file lets expect, and would "
        f"fit with {words}. Check it before you move anything."
    ]
