"""A measured quantity: value, standard uncertainty, degrees of freedom, where it came from, and its budget.

Terms and formulas are those of the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008).
An uncertainty is always a standard uncertainty; a half-width is turned into one by `from_half_width`.
Heavy libraries are imported inside the functions that need them, because every command reads quantities.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

from rollwright.errors import MissingReference, OutOfRange, echo

__all__ = [
    "Combined",
    "Contribution",
    "Distribution",
    "Quantity",
    "Source",
    "budget_from_sensitivities",
    "combine",
    "correlation_of_means",
    "coverage_factor",
    "from_half_width",
    "from_repeats",
    "shared_setup",
]

Matrix = tuple[tuple[float, ...], ...]
"""A symmetric matrix, row by row."""

# Below this part of the largest contribution's variance, what is left after cancelling is rounding.
_ROUNDING = 1e-14


def _finite(number: float, *, what: str, key: str = "") -> float:
    if not math.isfinite(number):
        raise OutOfRange(
            f"{what} of {number:g} is not a number that can be used", mend="give a number", key=key
        )
    return number


def _not_negative(number: float, *, what: str, key: str = "") -> float:
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
        _finite(self.value, what="a value", key=self.label)
        _not_negative(self.uncertainty, what="a standard uncertainty", key=self.label)
        _enough(self.dof, key=self.label)
        for repeat in self.repeats:
            _finite(repeat, what="a reading", key=self.label)

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
    _not_negative(half_width, what="a half-width", key=label)
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

    readings = tuple(_finite(float(value), what="a reading", key=label) for value in values)
    _not_negative(instrument, what="an instrument's standard uncertainty", key=label)
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
    variance = _not_negative(common, what="a common standard uncertainty") ** 2
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
        readings = [_finite(float(value), what="a reading") for value in column]
        middle = mean(readings)
        deviations.append([reading - middle for reading in readings])
    return tuple(tuple(_covariance_of_means(first, second) for second in deviations) for first in deviations)


def _covariance_of_means(first: Sequence[float], second: Sequence[float]) -> float:
    # The means are exact but for their last bit, so the deviations need no second correction.
    count = len(first)
    return math.fsum(a * b for a, b in zip(first, second, strict=True)) / (count * (count - 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """What one input adds to a result's uncertainty.

    Args:
        name: the input.
        sensitivity: partial derivative of the result with respect to the input [result's unit / input's].
        uncertainty: standard uncertainty of the input [SI].
        contribution: size of sensitivity times uncertainty [result's unit].
        share: part of the result's variance that the input answers for [1]; negative where a correlation
            makes it take away more than it adds.
    """

    name: str
    sensitivity: float
    uncertainty: float
    contribution: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """The result of a model of several quantities.

    Args:
        value: the model at the inputs' values [SI].
        uncertainty: combined standard uncertainty [SI].
        dof: effective degrees of freedom [1].
        budget: what each input adds, largest share first.
    """

    value: float
    uncertainty: float
    dof: float
    budget: tuple[Contribution, ...]

    def expanded(self, coverage: float = 0.95) -> float:
        """Return the half-width of the interval around the value that holds the true one.

        Args:
            coverage: probability that it does [1], between 0 and 1.

        Returns:
            The coverage factor times the combined standard uncertainty [SI] (JCGM 100:2008, G.4.1).

        Raises:
            OutOfRange: `coverage` does not lie between 0 and 1.
        """
        return coverage_factor(coverage=coverage, dof=self.dof) * self.uncertainty


def _shares(
    signed: Sequence[float], correlations: Sequence[Sequence[float]] | None
) -> tuple[float, list[float]]:
    """Return the combined uncertainty of signed contributions and each one's part of the variance."""
    largest = max((abs(part) for part in signed), default=0.0)
    if largest == 0.0:
        return 0.0, [0.0] * len(signed)
    scaled = [part / largest for part in signed]
    if correlations is None:
        parts = [part * part for part in scaled]
    else:
        parts = [
            part * math.fsum(r * other for r, other in zip(row, scaled, strict=True))
            for part, row in zip(scaled, correlations, strict=True)
        ]
    total = math.fsum(parts)
    if total <= _ROUNDING * len(signed):
        return 0.0, [0.0] * len(signed)
    return largest * math.sqrt(total), [part / total for part in parts]


def _budget(
    names: Sequence[str],
    sensitivities: Sequence[float],
    uncertainties: Sequence[float],
    shares: Sequence[float],
) -> tuple[Contribution, ...]:
    lines = [
        Contribution(name=name, sensitivity=c, uncertainty=u, contribution=abs(c * u), share=share)
        for name, c, u, share in zip(names, sensitivities, uncertainties, shares, strict=True)
    ]
    return tuple(sorted(lines, key=lambda line: line.share, reverse=True))


def budget_from_sensitivities(
    names: Sequence[str], *, sensitivities: Sequence[float], uncertainties: Sequence[float]
) -> tuple[Contribution, ...]:
    """Return the budget of a result whose inputs are independent and whose derivatives are known.

    Args:
        names: the inputs.
        sensitivities: partial derivative of the result with respect to each [result's unit / input's].
        uncertainties: standard uncertainty of each [SI].

    Returns:
        One line for each input, largest first, with `share = (c u)^2 / sum((c u)^2)` (JCGM 100:2008, 5.1.3);
        the shares sum to 1, or are all 0 when no input contributes.

    Raises:
        OutOfRange: the three are not equally long, a sensitivity is not finite, or an uncertainty is
            negative or not finite.
    """
    if not len(names) == len(sensitivities) == len(uncertainties):
        raise OutOfRange(
            f"{len(names)} names, {len(sensitivities)} sensitivities and {len(uncertainties)} uncertainties",
            mend="give one of each for every input",
        )
    for name, c, u in zip(names, sensitivities, uncertainties, strict=True):
        _finite(c, what="a sensitivity", key=name)
        _not_negative(u, what="a standard uncertainty", key=name)
    signed = [c * u for c, u in zip(sensitivities, uncertainties, strict=True)]
    return _budget(names, sensitivities, uncertainties, _shares(signed, None)[1])


def combine(
    model: Callable[[Mapping[str, Any]], Any],
    inputs: Mapping[str, Quantity],
    *,
    covariance: Mapping[tuple[str, str], float] | None = None,
) -> Combined:
    """Return the result of a model with its uncertainty and budget, by first-order propagation.

    Good where the model is nearly straight over a few standard uncertainties; a bent model or one dominating
    input that is not normal wants a Monte Carlo run instead (JCGM 101:2008, 5.7 and 5.8).

    Args:
        model: takes the inputs by name and returns the result; arithmetic, and functions out of
            `uncertainties.umath` in place of `math`, because it is differentiated as it runs.
        inputs: the quantities by name.
        covariance: of pairs of inputs, each pair in either order [product of their units]; pairs left out
            are independent. A pair of an input with itself replaces the variance of its own uncertainty, so
            a matrix from `shared_setup` or `correlation_of_means` can be handed over whole.

    Returns:
        The value, `u^2 = sum_i sum_j c_i c_j u_ij` (JCGM 100:2008, equations 10 and 13) and the budget.
        An input's share is its own term and half of each cross term, `c_i sum_j c_j u_ij / u^2`: shares sum
        to 1, or are all 0 when nothing contributes. Degrees of freedom follow Welch and Satterthwaite (G.2b),
        which wants independent terms: inputs tied by covariance are taken as one term with the fewest degrees
        of freedom among them. That is exact for repeats taken together and the safe side for one set-up,
        but only a guess otherwise. Infinite when no uncertain input has finitely many.

    Raises:
        MissingReference: a covariance names an unknown input.
        OutOfRange: a covariance is impossible, or the model has no finite value or derivative here.
    """
    from uncertainties import ufloat  # noqa: PLC0415 - brings numpy with it, only budgets need it

    names = tuple(inputs)
    spreads, correlations = _correlations(inputs, covariance or {})
    # Only derivatives are read off; a deviation of 1 keeps inputs that are exact from dropping out.
    variables = {name: ufloat(inputs[name].value, 1.0) for name in names}
    try:
        result = model(variables)
        derivatives: Mapping[Any, float] = getattr(result, "derivatives", {})
    except (ArithmeticError, ValueError) as error:
        raise OutOfRange(
            f"the model cannot be worked out at these values: {echo(str(error))}", mend="check the inputs"
        ) from error
    value = _finite(float(getattr(result, "nominal_value", result)), what="a result")
    sensitivities = [
        _finite(float(derivatives.get(variables[name], 0.0)), what="a sensitivity", key=name)
        for name in names
    ]
    signed = [
        _finite(c * u, what="a contribution", key=name)
        for name, c, u in zip(names, sensitivities, spreads, strict=True)
    ]
    uncertainty, shares = _shares(signed, correlations)
    return Combined(
        value=value,
        uncertainty=uncertainty,
        dof=_effective_dof(shares, signed, [inputs[name].dof for name in names], correlations),
        budget=_budget(names, sensitivities, spreads, shares),
    )


def _correlations(
    inputs: Mapping[str, Quantity], covariance: Mapping[tuple[str, str], float]
) -> tuple[list[float], list[list[float]] | None]:
    """Return the inputs' standard uncertainties and correlation matrix, None when they are independent."""
    place = {name: i for i, name in enumerate(inputs)}
    spreads = [quantity.uncertainty for quantity in inputs.values()]
    for first, second in covariance:
        for name in (first, second):
            if name not in place:
                raise MissingReference(
                    f"a covariance names {echo(name)}, which is no input", mend="use the inputs' names"
                )
        if first == second:
            variance = _not_negative(covariance[first, first], what="a variance", key=first)
            spreads[place[first]] = math.sqrt(variance)
    matrix = [[float(i == j) for j in range(len(spreads))] for i in range(len(spreads))]
    for (first, second), value in covariance.items():
        if first != second and value != 0.0:
            i, j = place[first], place[second]
            matrix[i][j] = _coefficient(value, spreads[i], spreads[j], key=f"{first}, {second}")
            if not math.isclose(covariance.get((second, first), value), value):
                raise OutOfRange(
                    "the covariance differs between the two orders", mend="give one", key=f"{first}, {second}"
                )
            matrix[j][i] = matrix[i][j]
    if all(matrix[i][j] == 0.0 for i in range(len(spreads)) for j in range(i)):
        return spreads, None
    from numpy.linalg import eigvalsh  # noqa: PLC0415 - brought in by the propagation anyway

    if eigvalsh(matrix)[0] < -1e-9 * len(spreads):
        raise OutOfRange(
            "the covariances contradict each other", mend="take them all from the same readings, unrounded"
        )
    return spreads, matrix


def _coefficient(covariance: float, first: float, second: float, *, key: str) -> float:
    coefficient = covariance / first / second if first and second else math.inf
    if not abs(coefficient) <= 1.0 + 1e-9:
        raise OutOfRange(
            f"a covariance of {covariance:g} is more than the uncertainties' product, {first * second:g}",
            mend="a covariance is the correlation, from -1 to 1, times both uncertainties",
            key=key,
        )
    return coefficient


def _effective_dof(
    shares: Sequence[float],
    signed: Sequence[float],
    dofs: Sequence[float],
    correlations: Sequence[Sequence[float]] | None,
) -> float:
    """Return the Welch-Satterthwaite degrees of freedom, tied inputs being one term."""
    group = list(range(len(shares)))
    for i, row in enumerate(correlations or ()):
        for j in range(i):
            if row[j] != 0.0:
                group = [group[i] if g == group[j] else g for g in group]
    weight = 0.0
    for g in set(group):
        members = [i for i in range(len(group)) if group[i] == g and signed[i] != 0.0]
        fewest = min((dofs[i] for i in members), default=math.inf)
        weight += math.fsum(shares[i] for i in members) ** 2 / fewest
    return max(1.0, 1.0 / weight) if weight > 0.0 else math.inf
