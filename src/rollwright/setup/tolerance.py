"""Tolerances: how far dimensions may be off, how many bodies are good, and what scatter that takes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rollwright.car.model import Car
from rollwright.errors import OutOfRange
from rollwright.setup.tolerance_adjust import Adjusted, adjusted
from rollwright.setup.tolerance_back import Back, Curve, Observed, back, curve, greatest, rays_of
from rollwright.setup.tolerance_case import ToleranceCase, tolerance_case
from rollwright.setup.tolerance_draws import (
    DrillShare,
    GateShares,
    check_runs,
    drill_share,
    gate_shares,
)
from rollwright.setup.tolerance_limits import Dimension, dimensions_of, slopes_of, worth_care

__all__ = ["COMMON_SHARE", "RUNS", "WANTED", "Observed", "Tolerance", "tolerance"]

RUNS = 20_000
"""Bodies drawn where nobody says how many."""

COMMON_SHARE = 0.25
"""About one drilled body in four is good enough: common practice, no source."""

WANTED = 0.9
"""Share of good bodies that is asked for where nobody says."""

_REACH = 1.25
_LEAST_REACH, _MOST_REACH = 2.0, 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """A tolerance analysis.

    Attributes:
        case: what was looked at.
        runs: bodies drawn.
        seed: of the random numbers.
        dimensions: what each does that the stance depends on.
        care: the two or three that matter most.
        scatter: standard deviation of cant, sweep [rad] and hole height [m], the greatest of the three holes.
        drill: how many bodies pass the drill gate.
        off_drill: how many are inside level, steer and centre straight off the drill, all else being as in
            the file.
        all_scatter: the same, with the scatter of everything else about the body as well.
        as_file: the first of these with the gates as the file has them, nothing being set at the bench.
        adjusted: how many the bench can bring in; None where axles may not be bent.
        observed: the scatter that the observed share speaks of.
        wanted: the scatter that the wanted share asks for.
        seen: the observed share.
        curve: share of good bodies against scatter.
    """

    case: ToleranceCase
    runs: int
    seed: int
    dimensions: tuple[Dimension, ...]
    care: tuple[Dimension, ...]
    scatter: dict[str, float]
    drill: DrillShare
    off_drill: GateShares
    all_scatter: GateShares
    as_file: GateShares
    adjusted: Adjusted | None
    observed: Back
    wanted: Back
    seen: Observed
    curve: Curve


def tolerance(
    car: Car,
    *,
    runs: int = RUNS,
    seed: int = 1,
    observed: Observed | None = None,
    wanted: float = WANTED,
) -> Tolerance:
    """Return a tolerance analysis of a car.

    Args:
        car: the car.
        runs: how many bodies to draw.
        seed: of the random numbers.
        observed: share of good bodies that was seen; left out, one in four.
        wanted: share of good bodies that is wanted.

    Returns:
        The analysis. Every share and limit is by the exact geometry, and straight-line guesses stand beside.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
        OutOfRange: there is nothing to miss or nothing that scatters, or what is asked is not possible.
    """
    check_runs(runs=runs, seed=seed)
    if not 0.0 < wanted < 1.0:
        raise OutOfRange(
            f"a wanted share of {wanted:g} is not between 0 and 1",
            mend="write 0.9 for nine in ten",
            key="--wanted",
        )
    seen = Observed(share=COMMON_SHARE) if observed is None else observed
    case = tolerance_case(car)
    slopes = slopes_of(case)
    dimensions = dimensions_of(case, slopes)
    rays = rays_of(case, slopes, runs=runs, seed=seed)
    off_drill = gate_shares(case, slopes, case.drill, runs=runs, seed=seed)
    as_file = off_drill
    if not case.as_given:
        as_file = gate_shares(replace(case, middle=case.targets), slopes, case.drill, runs=runs, seed=seed)
    implied, asked = back(case, rays, seen), back(case, rays, Observed(share=wanted))
    factors = [each.factor for each in (implied, asked) if each.factor is not None]
    reach = min(_MOST_REACH, max(_LEAST_REACH, *(_REACH * factor for factor in factors), 0.0))
    return Tolerance(
        case=case,
        runs=runs,
        seed=seed,
        dimensions=dimensions,
        care=worth_care(dimensions),
        scatter=greatest(case),
        drill=drill_share(case, runs=runs, seed=seed),
        off_drill=off_drill,
        all_scatter=gate_shares(case, slopes, case.deviations, runs=runs, seed=seed),
        as_file=as_file,
        adjusted=adjusted(case, runs=runs, seed=seed),
        observed=implied,
        wanted=asked,
        seen=seen,
        curve=curve(case, rays, reach=reach),
    )
