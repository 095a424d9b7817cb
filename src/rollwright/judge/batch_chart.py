"""Charts of a batch in the order of drilling, and whether the jig changed on the way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from typing import TYPE_CHECKING

from rollwright.errors import OutOfRange

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

__all__ = [
    "FEWEST_TO_CHART",
    "FEWEST_TO_WANDER",
    "Chart",
    "Rule",
    "Signal",
    "Wander",
    "WanderKind",
    "chart",
    "wander",
]

FEWEST_TO_CHART = 5
"""Bodies below which no chart is drawn: judgement."""
FEWEST_TO_WANDER = 8
"""Bodies below which no change is looked for: judgement."""

_D2, _D4 = 1.128, 3.267
"""Mean range of two normal values in standard deviations, and the range's upper limit in mean ranges."""
_EDGE = 3
"""Bodies that lie at least on either side of a change: judgement."""
_SHUFFLES = 1999
_NEARLY = 4.0
"""Lost twice log likelihood of places as good as the best: holds the true one 86 to 96 %, by simulation."""
_SEED = 1


class Rule(Enum):
    """A run rule of a chart of individuals; s is the mean moving range over 1.128.

    The first four are those of the Western Electric handbook, its eight on one side made nine (Western
    Electric, Statistical Quality Control Handbook (1956); L. S. Nelson, J. Quality Technology 16 (1984)
    237-239), the last is Nelson's third.
    """

    BEYOND = "one beyond 3 s"
    TWO_OF_THREE = "two of three beyond 2 s"
    FOUR_OF_FIVE = "four of five beyond 1 s"
    NINE = "nine on one side"
    SIX = "six up or down in a row"


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A rule that is broken at a place of the chart: index of the `first` and `last` value that break it."""

    rule: Rule
    first: int
    last: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Individuals and moving ranges.

    Attributes:
        values: in the order of drilling, gaps left out.
        mean: the mean of those that the limits rest on, the middle line.
        low: lower limit.
        high: upper limit.
        mean_range: mean moving range.
        range_high: upper limit of the moving range.
        deviation: standard deviation from one body to the next, the mean range over 1.128.
        signals: run rules that are broken, in order.
    """

    values: tuple[float, ...]
    mean: float
    low: float
    high: float
    mean_range: float
    range_high: float
    deviation: float
    signals: tuple[Signal, ...]


def chart(values: Sequence[float], *, baseline: int | None = None) -> Chart:
    """Return the chart of individuals and moving ranges.

    Args:
        values: in the order of drilling, two or more [any unit].
        baseline: how many of the first values the limits rest on, two or more; None: all.

    Returns:
        Limits at the mean +- 3 R / 1.128 (2.66 R), R the mean range of two in a row, and 3.267 R for ranges
        (ASTM E2587; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2), with the run rules that are
        broken.

    Raises:
        OutOfRange: there are fewer than two values, or for the limits.
    """
    if len(values) < 2 or not 2 <= (len(values) if baseline is None else baseline) <= len(values):
        raise OutOfRange(
            f"{len(values)} values, {baseline} for the limits, make no chart", mend="give two or more"
        )
    told = tuple(float(value) for value in values)
    base = told if baseline is None else told[:baseline]
    mean = math.fsum(base) / len(base)
    ranges = [abs(after - before) for before, after in pairwise(base)]
    mean_range = math.fsum(ranges) / len(ranges)
    deviation = mean_range / _D2
    return Chart(
        values=told,
        mean=mean,
        low=mean - 3.0 * deviation,
        high=mean + 3.0 * deviation,
        mean_range=mean_range,
        range_high=_D4 * mean_range,
        deviation=deviation,
        signals=_signals(told, mean, deviation),
    )


def _signals(values: Sequence[float], mean: float, deviation: float) -> tuple[Signal, ...]:
    found: list[Signal] = []
    zones = (
        (Rule.BEYOND, 1, 1, 3.0),
        (Rule.TWO_OF_THREE, 2, 3, 2.0),
        (Rule.FOUR_OF_FIVE, 4, 5, 1.0),
        (Rule.NINE, 9, 9, 0.0),
    )
    for end in range(len(values)):
        for rule, many, among, far in zones:
            window = range(end - among + 1, end + 1)
            if window[0] < 0:
                continue
            for side in (1.0, -1.0):
                out = [at for at in window if side * (values[at] - mean) > far * deviation]
                if len(out) >= many and out[-1] == end:
                    found.append(Signal(rule=rule, first=window[0], last=end))
        last = values[end - 5 : end + 1] if end >= 5 else ()
        steps = [after - before for before, after in pairwise(last)]
        if steps and (all(step > 0.0 for step in steps) or all(step < 0.0 for step in steps)):
            found.append(Signal(rule=Rule.SIX, first=end - 5, last=end))
    return _merged(found)


def _merged(found: Sequence[Signal]) -> tuple[Signal, ...]:
    """Return signals of one rule that run into each other as one."""
    merged: list[Signal] = []
    for rule in Rule:
        for signal in (each for each in found if each.rule is rule):
            before = merged[-1] if merged and merged[-1].rule is rule else None
            if before is not None and signal.first <= before.last + 1:
                merged[-1] = Signal(rule=rule, first=before.first, last=signal.last)
            else:
                merged.append(signal)
    return tuple(sorted(merged, key=lambda signal: (signal.first, signal.last)))


class WanderKind(Enum):
    """How a jig changed: it moved at once (`step`), it wanders (`ramp`), or it scatters more (`spread`)."""

    STEP = "step"
    RAMP = "ramp"
    SPREAD = "spread"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wander:
    """From where on a jig is not what it was.

    Attributes:
        kind: how it changed.
        first: index of the first body that the change reaches.
        earliest: earliest index that fits nearly as well.
        latest: latest index that does.
        change: by how much: of the mean for a step, in all up to the last body for a ramp; for a spread, of
            the mean distance from the middle [unit of the values].
        chance: chance of as clear a change where the order means nothing.
    """

    kind: WanderKind
    first: int
    earliest: int
    latest: int
    change: float
    chance: float


def wander(values: Sequence[float]) -> tuple[Wander, Wander] | None:
    """Return the clearest change of the mean and of the scatter along a batch, however unclear.

    Args:
        values: in the order of drilling [any unit].

    Returns:
        First the step or the ramp, then the change of the spread; None below eight values or where all are
        alike. A step is a mean that changes from one body on, a ramp a mean that runs away in a straight
        line from one body on; that kind and place is taken which leaves the least squares. The chance is
        the share of 1999 shuffled orders, from a fixed seed, that do as well (a permutation test, with the
        order itself counted as one; B. Phipson, G. Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) 39).
        Places nearly as good: where `n log` of the ratio of what is left is at most 4, of either shape; the
        chi-squared rule's 2.71 holds the true place too seldom, since a place is no smooth parameter.
    """
    import numpy as np  # noqa: PLC0415 - costs start-up time

    x = np.asarray(values, dtype=float)
    count = len(x)
    if count < FEWEST_TO_WANDER or not np.ptp(x) > 0.0:
        return None
    index = np.arange(count)
    places = range(_EDGE, count - _EDGE + 1)
    steps = [(WanderKind.STEP, at, (index >= at).astype(float)) for at in places]
    ramps = [(WanderKind.RAMP, at, np.maximum(0.0, index - at + 1.0)) for at in places]
    rng = np.random.default_rng(_SEED)
    orders = rng.permuted(np.tile(index, (_SHUFFLES, 1)), axis=1)
    moved, left = _clearest(x, [*steps, *ramps], orders)
    distance = np.abs(left - np.median(left))
    if not np.ptp(distance) > 0.0:
        return None
    spreads = [(WanderKind.SPREAD, at, line) for _, at, line in steps]
    spread, _ = _clearest(distance, spreads, orders)
    return moved, spread


def _clearest(
    x: Array, shapes: Sequence[tuple[WanderKind, int, Array]], orders: NDArray[np.int64]
) -> tuple[Wander, Array]:
    """Return the shape that takes up most of the sum of squares, and what it leaves."""
    import numpy as np  # noqa: PLC0415 - costs start-up time

    lines = np.stack([line - line.mean() for _, _, line in shapes])
    lines /= np.linalg.norm(lines, axis=1)[:, None]
    centred = x - x.mean()
    whole = float(centred @ centred)
    taken = (lines @ centred) ** 2 / whole
    best = int(np.argmax(taken))
    shuffled = ((centred[orders] @ lines.T) ** 2).max(axis=1) / whole
    chance = (1 + int(np.count_nonzero(shuffled >= taken[best] * (1.0 - 1e-12)))) / (len(orders) + 1)
    kind, first, line = shapes[best]
    slope = float(lines[best] @ centred) / float(np.linalg.norm(line - line.mean()))
    rest = np.maximum(1.0 - taken, 1e-12)
    near = [
        at
        for (_, at, _), unexplained in zip(shapes, rest, strict=True)
        if len(x) * math.log(unexplained / rest[best]) <= _NEARLY
    ]
    found = Wander(
        kind=kind,
        first=first,
        earliest=min(near),
        latest=max(near),
        change=slope * float(line[-1]),
        chance=chance,
    )
    return found, centred - slope * (line - line.mean())
