"""Propagation of uncertainty, and the budget: which input contributes how much."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rollwright.errors import MissingReference, OutOfRange, echo
from rollwright.quantity.value import Quantity, coverage_factor, finite, not_negative

__all__ = ["Combined", "Contribution", "budget_from_sensitivities", "combine"]

# Below this part of the largest contribution's variance, what is left after cancelling is rounding.
_ROUNDING = 1e-14


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
        finite(c, what="a sensitivity", key=name)
        not_negative(u, what="a standard uncertainty", key=name)
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
    value = finite(float(getattr(result, "nominal_value", result)), what="a result")
    sensitivities = [
        finite(float(derivatives.get(variables[name], 0.0)), what="a sensitivity", key=name) for name in names
    ]
    signed = [
        finite(c * u, what="a contribution", key=name)
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
            variance = not_negative(covariance[first, first], what="a variance", key=first)
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
