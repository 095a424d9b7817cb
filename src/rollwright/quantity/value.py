"""A quantity and where it came from: repeats, tolerances, readings of one set-up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from rollwright.errors import OutOfRange

__all__ = [
    "Distribution",
    "Matrix",
    "Quantity",
    "Source",
    "correlation_of_means",
    "coverage_factor",
    "finite",
    "from_half_width",
    "from_repeats",
    "not_negative",
    "scattered",
    "shared_setup",
]

Matrix = tuple[tuple[float, ...], ...]
"""A symmetric matrix, row by row."""


def finite(number: float, *, what: str, key: str = "") -> float:
    """Return a number as it is, or refuse one that is endless or not a number.

    Args:
        number: the number.
        what: what it is, for the message.
        key: its key, for the message.

    Returns:
        The number.

    Raises:
        OutOfRange: it is not finite.
    """
    if not math.isfinite(number):
        raise OutOfRange(
            f"{what} of {number:g} is not a number that can be used", mend="give a number", key=key
        )
    return number


def not_negative(number: float, *, what: str, key: str = "") -> float:
    """Return a number as it is, or refuse one that is negative or not finite.

    Args:
        number: the number.
        what: what it is, for the message.
        key: its key, for the message.

    Returns:
        The number.

    Raises:
        OutOfRange: it is negative or not finite.
    """
    if not 0.0 <= number < math.inf:
        raise OutOfRange(
            f"{what} of {number:g} is not 0 or more", mend="give 0 or a positive number", key=key
        )
    return number


def _enough(dof: float, *, key: str = "") -> None:
    if not dof >= 1.0:
        raise OutOfRange(
            f"{dof:g} degrees of freedom are less than 1", mend="take two readings or more", key=key
        )


def coverage_factor(*, coverage: float, dof: float) -> float:
    """Return the factor that turns a standard uncertainty into the half-width of a two-sided interval.

    Args:
        coverage: probability that the interval shall hold the true value [1], between 0 and 1.
        dof: degrees of freedom of the standard uncertainty [1], 1 or more, may be infinite and need not
            be whole.

    Returns:
        The quantile of Student's t, of the normal distribution when `dof` is infinite, at
        `(1 + coverage) / 2` [1]. Degrees of freedom that are not whole are used as they are, not cut down
        (JCGM 100:2008, G.3.2 and G.4.1).

    Raises:
        OutOfRange: `coverage` does not lie between 0 and 1, or `dof` is less than 1.
    """
    probability = 0.5 + 0.5 * coverage
    if not 0.5 < probability < 1.0:
        raise OutOfRange(
            f"a coverage of {coverage!r} is not between 0 and 1", mend="write 0.95 for 95 percent"
        )
    _enough(dof)
    if math.isinf(dof):
        from statistics import NormalDist  # noqa: PLC0415 - costs start-up time, seldom needed

        return NormalDist().inv_cdf(probability)
    from scipy.special import stdtrit  # noqa: PLC0415 - costs start-up time, seldom needed

    return float(stdtrit(dof, probability))


class Source(Enum):
    """Where a value came from."""

    MEASURED = "measured"
    NOMINAL = "nominal"
    ASSUMED = "assumed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A value with its standard uncertainty.

    Args:
        value: the best estimate [SI].
        uncertainty: standard uncertainty, 0 for an exact value [SI].
        dof: degrees of freedom of the uncertainty [1], infinite when it is taken as known.
        source: whether the value was measured, comes from a drawing, or is assumed.
        label: the name by which results and messages call it.
        repeats: the single readings that the value is the mean of, in the order they were taken [SI].

    Raises:
        OutOfRange: the value or a repeat is not finite, the uncertainty is negative or not finite, or there
            is less than one degree of freedom.
    """

    value: float
    uncertainty: float = 0.0
    dof: float = math.inf
    source: Source = Source.NOMINAL
    label: str = ""
    repeats: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse numbers that no measurement can have."""
        finite(self.value, what="a value", key=self.label)
        not_negative(self.uncertainty, what="a standard uncertainty", key=self.label)
        _enough(self.dof, key=self.label)
        for repeat in self.repeats:
            finite(repeat, what="a reading", key=self.label)

    def expanded(self, coverage: float = 0.95) -> float:
        """Return the half-width of the interval around the value that holds the true one.

        Args:
            coverage: probability that it does [1], between 0 and 1.

        Returns:
            The coverage factor times the standard uncertainty [SI] (JCGM 100:2008, G.3.2).

        Raises:
            OutOfRange: `coverage` does not lie between 0 and 1.
        """
        return coverage_factor(coverage=coverage, dof=self.dof) * self.uncertainty


class Distribution(Enum):
    """How the true value may lie inside a stated half-width."""

    NORMAL_95 = "normal_95"
    """Normal, the half-width being a 95 % limit, as on a calibration sheet."""
    UNIFORM = "uniform"
    """Anywhere inside alike: a resolution, a maker's limit of error."""
    TRIANGULAR = "triangular"
    """Most likely in the middle, never outside."""
    ARCSINE = "arcsine"
    """Swinging to and fro between the limits."""

    @property
    def divisor(self) -> float:
        """Half-width over standard uncertainty [1] (JCGM 100:2008, 4.3.4, 4.3.7, 4.3.9 and H.1.3.4)."""
        return _DIVISORS[self]


_DIVISORS = {
    Distribution.NORMAL_95: 1.959963984540054,
    Distribution.UNIFORM: math.sqrt(3.0),
    Distribution.TRIANGULAR: math.sqrt(6.0),
    Distribution.ARCSINE: math.sqrt(2.0),
}


def from_half_width(
    value: float,
    *,
    half_width: float,
    distribution: Distribution,
    dof: float = math.inf,
    source: Source = Source.NOMINAL,
    label: str = "",
) -> Quantity:
    """Return the quantity that is known to lie within a half-width of a value.

    Args:
        value: the middle of the interval [SI].
        half_width: from the middle to either limit [SI].
        distribution: how the true value may lie between the limits.
        dof: degrees of freedom [1]; how well the half-width itself is known (JCGM 100:2008, G.4.2).
        source: where it came from.
        label: its name.

    Returns:
        The value with `half_width / distribution.divisor` as its standard uncertainty.

    Raises:
        OutOfRange: the half-width is negative or not finite, or another number is not a possible one.
    """
    not_negative(half_width, what="a half-width", key=label)
    return Quantity(
        value=value, uncertainty=half_width / distribution.divisor, dof=dof, source=source, label=label
    )


def from_repeats(
    values: Sequence[float],
    *,
    instrument: float = 0.0,
    source: Source = Source.MEASURED,
    label: str = "",
) -> Quantity:
    """Return the mean of repeated readings, with the scatter's and the instrument's uncertainty combined.

    The instrument's error is the same in every repeat, so taking more of them does not shrink it. From two
    to four readings the scatter is itself hardly known; that is said by the degrees of freedom, through which
    `expanded` grows to 12.7, 4.3 or 3.2 standard uncertainties instead of 2. State the instrument, then.

    Args:
        values: the readings [SI], at least one.
        instrument: standard uncertainty of the instrument, common to all readings [SI].
        source: where they came from.
        label: what was read.

    Returns:
        The mean with `u = sqrt(s^2/n + instrument^2)`, s being the standard deviation of the n readings, and
        with `(n - 1) (u / (s/sqrt(n)))^4` degrees of freedom; the readings are kept. One reading alone
        has the instrument's uncertainty (JCGM 100:2008, 4.2.2, 4.2.3 and G.4.1, the Welch-Satterthwaite
        formula). Mean and deviation are formed in exact arithmetic, so large common digits do no harm.

    Raises:
        OutOfRange: there is no reading, a number is not a possible one, or nothing tells the uncertainty:
            a single reading, or readings that are all the same, without the instrument's.
    """
    from statistics import mean, stdev  # noqa: PLC0415 - costs start-up time, only readings need it

    readings = tuple(finite(float(value), what="a reading", key=label) for value in values)
    not_negative(instrument, what="an instrument's standard uncertainty", key=label)
    if not readings:
        raise OutOfRange("there is no reading", mend="give at least one", key=label)
    count = len(readings)
    scatter = stdev(readings) / math.sqrt(count) if count > 1 else 0.0
    combined = math.hypot(scatter, instrument)
    if combined == 0.0:
        what = "a single reading has" if count == 1 else f"{count} readings that are all the same have"
        raise OutOfRange(
            f"{what} no scatter to tell the uncertainty", mend="state the instrument's uncertainty", key=label
        )
    share = (scatter / combined) ** 2
    weight = share * share
    return Quantity(
        value=mean(readings),
        uncertainty=combined,
        dof=(count - 1) / weight if weight > 0.0 else math.inf,
        source=source,
        label=label,
        repeats=readings,
    )


_SCATTERED = 3.0
"""Times its gauge's uncertainty beyond which the scatter of repeats is no work of the gauge: judgement."""
_ENOUGH = 3
"""Repeats from which their scatter tells anything: judgement."""


def scattered(values: Sequence[float], *, gauge: float) -> float | None:
    """Return the spread of repeats that no gauge of the stated uncertainty shows.

    What differs then from one repeat to the next is the thing itself, or how it was held, and their mean is
    no better than one of them: their spread is the uncertainty, and not the spread over the root of n.

    Args:
        values: the repeats [SI].
        gauge: standard uncertainty that was stated of the gauge [same].

    Returns:
        The standard deviation of the repeats where there are three or more and it is more than three times
        the gauge's; else None.
    """
    if len(values) < _ENOUGH:
        return None
    from statistics import stdev  # noqa: PLC0415 - costs start-up time

    spread = stdev(values)
    return spread if spread > _SCATTERED * gauge else None


def shared_setup(quantities: Sequence[Quantity], *, common: float) -> Matrix:
    """Return the covariance matrix of quantities that were read in one set-up.

    One set-up, one gauge zero, one board: its error moves all readings together. The quantities' own
    uncertainties must not hold that error already.

    Args:
        quantities: what was read, each with its own uncertainty.
        common: standard uncertainty of the error that they share, in the same unit [SI].

    Returns:
        `uncertainty^2 + common^2` on the diagonal, `common^2` off it (JCGM 100:2008, F.1.2.3).

    Raises:
        OutOfRange: `common` is negative or not finite.
    """
    variance = not_negative(common, what="a common standard uncertainty") ** 2
    return tuple(
        tuple(variance + (row.uncertainty**2 if i == j else 0.0) for j in range(len(quantities)))
        for i, row in enumerate(quantities)
    )


def correlation_of_means(columns: Sequence[Sequence[float]]) -> Matrix:
    """Return the covariance matrix of the means of quantities that were read at the same time, repeatedly.

    Args:
        columns: for each quantity its repeats [SI], the k-th of each taken together; two or more, as many
            for each.

    Returns:
        `sum((x_k - x_mean) (y_k - y_mean)) / (n (n - 1))` for each pair (JCGM 100:2008, 5.2.3, equation 17).

    Raises:
        OutOfRange: the columns are not equally long, are shorter than two, or hold a number that is not
            finite.
    """
    from statistics import mean  # noqa: PLC0415 - costs start-up time, only readings need it

    lengths = sorted({len(column) for column in columns})
    if len(lengths) > 1:
        raise OutOfRange(
            f"the columns hold from {lengths[0]} to {lengths[-1]} readings",
            mend="give as many readings for each quantity, taken together",
        )
    if lengths and lengths[0] < 2:
        raise OutOfRange("fewer than two readings show no correlation", mend="take at least two of each")
    deviations = []
    for column in columns:
        readings = [finite(float(value), what="a reading") for value in column]
        middle = mean(readings)
        deviations.append([reading - middle for reading in readings])
    return tuple(tuple(_covariance_of_means(first, second) for second in deviations) for first in deviations)


def _covariance_of_means(first: Sequence[float], second: Sequence[float]) -> float:
    # The means are exact but for their last bit, so the deviations need no second correction.
    count = len(first)
    return math.fsum(a * b for a, b in zip(first, second, strict=True)) / (count * (count - 1))
