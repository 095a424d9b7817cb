"""What comes out of a fit: coefficients, what ties them, and what the readings cannot tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rollwright.quantity import Quantity, Source

__all__ = ["Doubt", "Found", "Rates", "RunFit"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What a spin-down or a coast-down shows by itself: how its speed falls, whatever makes it fall.

    Attributes:
        name: of the readings.
        terms: parts of `ds/dt = -(constant + linear s + quadratic s^2)` in SI units, by name.
        seen: parts that are more than 1.96 standard uncertainties from zero.
        tied: parts of which something is seen but not of which; empty or two names.
        correlation: of the terms, in their order.
        start: speed at the first reading, fitted or as set [rad/s or m/s].
        misfit_probability: chance of readings that scatter as much or more about the curve [1].
    """

    name: str
    terms: Mapping[str, Quantity]
    seen: tuple[str, ...]
    tied: tuple[str, ...]
    correlation: tuple[tuple[float, ...], ...]
    start: float
    misfit_probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """One coefficient.

    Attributes:
        name: out of `COEFFICIENTS`.
        value: best value [SI].
        uncertainty: its standard uncertainty, priors and readings together [SI].
        prior: what was taken for it before, value and standard uncertainty [SI], or None for nothing.
        told: uncertainty before over that of the readings alone [1]; 0 where these say nothing.
        known: whether the readings alone tell it as well as it was known before.
        at_bound: whether it came out at nothing, below which it cannot be.
        largest_input: what else is uncertain and adds most to its uncertainty, or empty.
        largest_share: part of the variance that goes with that [1].
    """

    name: str
    value: float
    uncertainty: float
    prior: tuple[float, float] | None
    told: float
    known: bool
    at_bound: bool
    largest_input: str
    largest_share: float

    @property
    def quantity(self) -> Quantity:
        """The coefficient as a track's file holds it."""
        return Quantity(
            value=self.value, uncertainty=self.uncertainty, source=Source.MEASURED, label=self.name
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What the readings cannot tell.

    Attributes:
        names: one coefficient that they do not show, or several that they cannot tell apart.
        helps: what would: a `spin_down`, a `coast_down`, a `longer` one, runs with another `steer` or
            `cant`, or an `input` that is known better.
        input: name of that input, or empty.
    """

    names: tuple[str, ...]
    helps: str
    input: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFit:
    """What was found, and what could not be.

    Attributes:
        found: the coefficients, in the order in which they were asked for.
        covariance: of the coefficients [products of their SI units].
        correlation: of the coefficients [1].
        singular_values: of the readings' derivatives by the coefficients, each in units of its prior's
            uncertainty, all else allowed for; largest first. Below 1 the readings say less than was known.
        directions: the combination of coefficients that belongs to each, in the same units.
        chi_squared: sum of squared residuals of readings and priors.
        dof: readings less unknowns without a prior.
        misfit_probability: chance of as large a sum or larger, if all uncertainties are right [1].
        doubts: what the readings cannot tell.
        pulls: how far each other input had to move, in its standard uncertainties, by name.
        rates: what each spin-down and coast-down shows by itself, where it does.
        readings: how many.
    """

    found: tuple[Found, ...]
    covariance: tuple[tuple[float, ...], ...]
    correlation: tuple[tuple[float, ...], ...]
    singular_values: tuple[float, ...]
    directions: tuple[Mapping[str, float], ...]
    chi_squared: float
    dof: int
    misfit_probability: float
    doubts: tuple[Doubt, ...]
    pulls: Mapping[str, float]
    rates: tuple[Rates, ...]
    readings: int

    def of(self, name: str) -> Found:
        """Return one coefficient by its name."""
        return next(each for each in self.found if each.name == name)
