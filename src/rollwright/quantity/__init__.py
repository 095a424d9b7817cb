"""A measured quantity: value, standard uncertainty, degrees of freedom, where it came from, and its budget.

Terms and formulas are those of the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008).
An uncertainty is always a standard uncertainty; a half-width is turned into one by `from_half_width`.
Heavy libraries are imported inside the functions that need them, because every command reads quantities.
"""

from rollwright.quantity.budget import Combined, Contribution, budget_from_sensitivities, combine
from rollwright.quantity.value import (
    Distribution,
    Quantity,
    Source,
    correlation_of_means,
    coverage_factor,
    from_half_width,
    from_repeats,
    scattered,
    shared_setup,
)

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
    "scattered",
    "shared_setup",
]
