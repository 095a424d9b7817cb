"""Bias and scatter of a hole from measured numbers and from ranges, by the likelihood of both.

A hole is off by `x ~ N(bias, scatter^2)` from body to body, and read as `x + e` with `e ~ N(0, u^2)`. A
number adds its density to the likelihood, a range the chance of lying in it (e.g. W. Q. Meeker, L. A.
Escobar, Statistical Methods for Reliability Data (1998), 2.4 and 8). All of it is worked out on one grid,
which cannot fail to converge and finds the ends of what the readings leave open.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from rollwright.errors import OutOfRange
from rollwright.judge.batch_counts import CONFIDENCE
from rollwright.judge.batch_data import Off

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

__all__ = ["FEWEST", "Fit", "fit", "range_over"]

FEWEST = 3
"""Readings below which nothing is said of bias and scatter: judgement."""

_COARSE, _MU, _SIGMA = 61, 161, 141
_FAR = 30.0
"""Twice a log likelihood below the best beyond which nothing is left [1]."""
_SMALLEST, _LARGEST = 1e-3, 40.0
_WIDENINGS = 6
_LEVEL = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Bias and scatter, each with its interval.

    Attributes:
        count: readings.
        measured: how many of them are numbers.
        bias: mean of how far holes are off [rad or m], signed as the readings are; NaN where the readings
            leave a side open.
        bias_low: lower end of its interval; minus infinity where the readings leave it open.
        bias_high: upper end; infinity likewise.
        scatter: standard deviation from body to body, gauge taken off [rad or m]; 0 where none shows.
        scatter_low: lower end of its interval.
        scatter_high: upper end; infinity where the readings leave it open.
        confidence: of both intervals.
        grid: its biases, its scatters, and twice how far the log likelihood lies below its greatest.
    """

    count: int
    measured: int
    bias: float
    bias_low: float
    bias_high: float
    scatter: float
    scatter_low: float
    scatter_high: float
    confidence: float
    grid: tuple[Array, Array, Array] = field(repr=False, compare=False)

    @property
    def biased(self) -> bool:
        """Whether its interval leaves out zero."""
        return self.bias_low > 0.0 or self.bias_high < 0.0


def fit(offs: Sequence[Off], *, confidence: float = CONFIDENCE) -> Fit:
    """Return bias and scatter from what was read of one hole of many bodies.

    Two plain cases: outer ends that stand 0.4 degrees too far up on average are a bias of +0.4 degrees; too
    far down, of -0.4.

    Args:
        offs: one reading for each body, three or more.
        confidence: of the intervals, between 0 and 1.

    Returns:
        The bias where the likelihood is greatest; its interval where twice the log likelihood, the best
        scatter taken for each bias, lies less than `n log(1 + t^2 / (n - 1))` below its greatest, t of
        Student's distribution: for numbers from one gauge that is exactly Student's interval. The scatter
        where the likelihood integrated over the bias is greatest, `sqrt(sum (x - mean)^2 / (n - 1))` for
        numbers without error (H. D. Patterson, R. Thompson, Biometrika 58 (1971) 545-554); its interval
        from the same, with the chi-squared limit raised by `1 + 1 / (3 (n - 1))` (Bartlett's correction).

    Raises:
        OutOfRange: there are fewer than three readings, or the confidence is not between 0 and 1.
    """
    if len(offs) < FEWEST or not 0.0 < confidence < 1.0:
        raise OutOfRange(
            f"{len(offs)} readings at confidence {confidence:g} tell no scatter",
            mend=f"give {FEWEST} or more, and a confidence between 0 and 1",
        )
    import numpy as np  # noqa: PLC0415 - costs start-up time
    from scipy.special import chdtri, stdtrit  # noqa: PLC0415 - costs start-up time

    count = len(offs)
    of = _likelihood(offs)
    mu, sigma, log, open_low, open_high = _grids(of, offs)
    student = float(stdtrit(count - 1, 0.5 + 0.5 * confidence))
    for_bias = count * math.log1p(student**2 / (count - 1))
    profile = log.max(axis=1)
    below = 2.0 * (profile.max() - profile)
    best = int(np.argmax(profile))
    # Where all that is seen is a range, many biases are as likely: the middle of them stands for all.
    level = np.flatnonzero(below < _LEVEL)
    bias = _peak(mu, profile, best) if len(level) < 2 else float(mu[level].mean())
    bias_low, bias_high = _ends(mu, below, for_bias)

    # Each scatter's own best is taken out first: far from the best of all, every chance would come out nil.
    top = log.max(axis=0)
    together = top + np.log(np.exp(log - top).sum(axis=0))
    lows = 2.0 * (together.max() - together)
    at = int(np.argmax(together))
    scale = np.log(sigma)
    limit = float(chdtri(1, 1.0 - confidence)) * (1.0 + 1.0 / (3.0 * (count - 1)))
    least, most = _ends(scale, lows, limit)
    # The smallest scatter of the grid stands for none at all.
    scatter = 0.0 if at == 0 or lows[0] < _LEVEL else math.exp(_peak(scale, together, at))
    support = log + (together - top)[None, :]
    return Fit(
        count=count,
        measured=sum(off.measured for off in offs),
        bias=math.nan if open_low or open_high else bias,
        bias_low=-math.inf if open_low else bias_low,
        bias_high=math.inf if open_high else bias_high,
        scatter=scatter,
        scatter_low=0.0 if not math.isfinite(least) else math.exp(least),
        scatter_high=math.exp(most) if math.isfinite(most) else math.inf,
        confidence=confidence,
        grid=(mu, sigma, 2.0 * (support.max() - support)),
    )


def range_over(found: Fit, of: Callable[[Array, Array], Array]) -> tuple[float, float]:
    """Return the interval of anything that follows from bias and scatter.

    Args:
        found: the fit.
        of: function of biases and scatters, arrays of one shape, to what is asked of them.

    Returns:
        Its least and greatest value where the likelihood is not too far below its greatest: the profile
        likelihood's interval (e.g. Meeker and Escobar, 8.3), with Bartlett's correction as in `fit`.
    """
    import numpy as np  # noqa: PLC0415 - costs start-up time
    from scipy.special import chdtri  # noqa: PLC0415 - costs start-up time

    mu, sigma, below = found.grid
    limit = float(chdtri(1, 1.0 - found.confidence)) * (1.0 + 1.0 / (3.0 * (found.count - 1)))
    values: list[float] = []
    for column, scatter in enumerate(sigma):
        line = below[:, column]
        best = int(np.argmin(line))
        if line[best] > limit:
            continue
        low, high = _ends(mu, line, limit)
        inside = mu[line <= limit]
        biases = np.array([end for end in (low, high, *inside) if math.isfinite(end)])
        told = of(biases, np.full_like(biases, scatter))
        values += [float(told.min()), float(told.max())]
    return min(values), max(values)


def _likelihood(offs: Sequence[Off]) -> Callable[[Array, Array], Array]:
    """Return the log likelihood as a function of bias and scatter; alike readings are counted."""
    import numpy as np  # noqa: PLC0415 - costs start-up time
    from scipy.special import ndtr  # noqa: PLC0415 - costs start-up time

    numbers: dict[float, list[float]] = {}
    ranges: Counter[Off] = Counter()
    for off in offs:
        if off.measured:
            numbers.setdefault(off.uncertainty, []).append(off.low)
        else:
            ranges[off] += 1
    sums = [
        (size, len(values), math.fsum(values) / len(values), float(np.var(values)) * len(values))
        for size, values in numbers.items()
    ]

    def of(mu: Array, sigma: Array) -> Array:
        bias, variance = mu[:, None], sigma[None, :] ** 2
        total = np.zeros((len(mu), len(sigma)))
        for size, many, mean, squares in sums:
            spread = variance + size**2
            total -= 0.5 * (many * np.log(spread) + (squares + many * (mean - bias) ** 2) / spread)
        for off, many in ranges.items():
            width = np.sqrt(variance + off.uncertainty**2)
            low, high = (off.low - bias) / width, (off.high - bias) / width
            if off.outside:
                chance = ndtr(low) + ndtr(-high)
            else:
                # From the tail that both ends lie in, so that small chances do not drown in 1 - 1.
                chance = np.where(low > 0.0, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
            total += many * np.log(np.maximum(chance, 1e-300))
        return np.asarray(total)

    return of


def _grids(
    of: Callable[[Array, Array], Array], offs: Sequence[Off]
) -> tuple[Array, Array, Array, bool, bool]:
    """Return biases, scatters and the log likelihood where it is not nil, and on which sides it is open."""
    import numpy as np  # noqa: PLC0415 - costs start-up time

    points = np.array([_near(off) for off in offs])
    widths = [off.high - off.low for off in offs if math.isfinite(off.high - off.low)]
    size = max((off.uncertainty for off in offs), default=0.0)
    scale = max(float(points.std()), size, max(widths, default=0.0), 1e-9)
    middle, reach = float(points.mean()), 8.0 * scale
    low, high = middle - reach, middle + reach
    lightest, heaviest = _SMALLEST * scale, _LARGEST * scale
    ends = (False, False)
    for _ in range(_WIDENINGS):
        mu, sigma = np.linspace(low, high, _COARSE), np.geomspace(lightest, heaviest, _COARSE)
        log = of(mu, sigma)
        near = 2.0 * (log.max() - log) < _FAR
        across = np.flatnonzero(near.any(axis=1))
        ends = (across[0] == 0, across[-1] == _COARSE - 1)
        if not any(ends) and len(across) > 8:
            break
        if any(ends):
            low, high = low - (high - low) * ends[0], high + (high - low) * ends[1]
        else:
            low, high = mu[max(0, across[0] - 1)], mu[min(_COARSE - 1, across[-1] + 1)]
    step = mu[1] - mu[0]
    up = np.flatnonzero(near.any(axis=0))
    mu = np.linspace(mu[across[0]] - step, mu[across[-1]] + step, _MU)
    first, last = max(0, up[0] - 1), min(_COARSE - 1, up[-1] + 1)
    sigma = np.geomspace(sigma[first], sigma[last], _SIGMA)
    return mu, sigma, of(mu, sigma), bool(ends[0]), bool(ends[1])


def _near(off: Off) -> float:
    """Return a place near what was read, to begin the search at."""
    if off.point is not None:
        return off.point
    if off.outside:
        return 0.5 * (off.low + off.high)
    return off.low if math.isfinite(off.low) else off.high


def _peak(x: Array, y: Array, at: int) -> float:
    """Return the top of the parabola through a greatest value and its neighbours."""
    if at in {0, len(x) - 1}:
        return float(x[at])
    before, here, after = y[at - 1], y[at], y[at + 1]
    bend = before - 2.0 * here + after
    shift = 0.0 if bend >= 0.0 else 0.5 * (before - after) / bend
    return float(x[at] + shift * (x[at + 1] - x[at]))


def _ends(x: Array, below: Array, limit: float) -> tuple[float, float]:
    """Return where a line of twice the lost log likelihood crosses a limit first and last; infinite: never.

    Its root is nearly straight, so that straight lines between the grid's points are enough.
    """
    import numpy as np  # noqa: PLC0415 - costs start-up time

    inside = np.flatnonzero(below <= limit)
    first, last = int(inside[0]), int(inside[-1])
    root, wanted = np.sqrt(np.maximum(below, 0.0)), math.sqrt(limit)

    def crossing(out: int, within: int) -> float:
        part = (root[out] - wanted) / (root[out] - root[within])
        return float(x[out] + part * (x[within] - x[out]))

    low = -math.inf if first == 0 else crossing(first - 1, first)
    high = math.inf if last == len(x) - 1 else crossing(last + 1, last)
    return low, high
