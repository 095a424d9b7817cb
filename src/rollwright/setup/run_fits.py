"""Fits that find what brakes a car: from spin-downs, coast-downs, timed runs, or all of them together."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollwright.errors import MissingReference, OutOfRange, echo
from rollwright.quantity import Quantity, Source
from rollwright.run.losses import COEFFICIENTS
from rollwright.setup.run_fits_blocks import (
    SPIN_POWER,
    coast_block,
    decay_rows,
    first_guess,
    spin_block,
)
from rollwright.setup.run_fits_data import CoastDown, SpinDown, TimedRun, with_scatter
from rollwright.setup.run_fits_result import Rates, RunFit
from rollwright.setup.run_fits_solve import Block, Solution, Unknown, solve
from rollwright.setup.run_fits_tell import told
from rollwright.setup.run_fits_timed import timed_block

__all__ = ["CLEAR", "fit_coast_down", "fit_losses", "fit_spin_down"]

Array = NDArray[np.float64]

CLEAR = 1.959963984540054
"""Standard uncertainties from zero beyond which a part of the braking is seen: 95 %, two-sided."""

_MAY_BE_NEGATIVE = frozenset({"drag_area_per_pitch", "drag_area_per_height"})
_TERMS = ("constant", "linear", "quadratic")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Alone:
    """A spin-down or a coast-down by itself: its unknowns are its start, its clock and its terms."""

    of: SpinDown | CoastDown
    names: tuple[str, ...]
    places: tuple[int, ...]

    def rows(self, values: Array) -> tuple[Array, Array]:
        full = np.zeros(5)
        full[list(self.places)] = values
        of = self.of
        distances = np.array(of.distances if isinstance(of, CoastDown) else ())
        residuals, slopes = decay_rows(
            times=np.array(of.times),
            speeds=np.array(of.speeds),
            distances=distances - distances[0] if len(distances) else distances,
            uncertainty=(of.time_uncertainty, of.speed_uncertainty),
            start=full[0],
            clock=full[1],
            terms=full[2:],
        )
        return residuals, slopes[:, list(self.places)]


def _alone(of: SpinDown | CoastDown, terms: tuple[str, ...], *, name: str) -> Rates:
    times, speeds = np.array(of.times), np.array(of.speeds)
    distances = np.array(of.distances if isinstance(of, CoastDown) else ())
    start, falls = first_guess(times, speeds, distances)
    timed = of.time_uncertainty is not None
    sizes = {"start": 0.01 * start, "clock": of.time_uncertainty or 1.0, "constant": 0.1 * falls}
    sizes |= {term: 0.1 * falls / start ** (1 + SPIN_POWER[term]) for term in SPIN_POWER}
    begins = {"start": start, "clock": float(times[0]), "constant": falls}
    order = ("start", "clock", *_TERMS)
    own = [*(("start",) if len(distances) or not timed else ()), *(("clock",) if timed else ())]
    unknowns = [Unknown(name=each, start=begins.get(each, 0.0), size=sizes[each]) for each in (*own, *terms)]
    block = _Alone(
        of=of,
        names=tuple(unknown.name for unknown in unknowns),
        places=tuple(order.index(unknown.name) for unknown in unknowns),
    )
    if len(times) < len(unknowns):
        raise OutOfRange(
            f"{len(times)} readings do not fix {len(unknowns)} unknowns",
            mend="take more readings",
            key=of.name,
        )
    solution = solve(unknowns, [block])
    quantities = {
        term: Quantity(
            value=solution.value(term),
            uncertainty=solution.uncertainty(term),
            source=Source.MEASURED,
            label=term,
        )
        for term in terms
    }
    seen = tuple(term for term, each in quantities.items() if abs(each.value) > CLEAR * each.uncertainty)
    return Rates(
        name=name,
        terms=quantities,
        seen=seen,
        tied=_tied(solution, tuple(term for term in terms if term not in seen)),
        correlation=tuple(tuple(solution.correlation(a, b) for b in terms) for a in terms),
        start=solution.value("start") if "start" in own else float(speeds[0]),
        misfit_probability=solution.misfit_probability,
    )


def _tied(solution: Solution, unseen: tuple[str, ...]) -> tuple[str, ...]:
    """Return two terms of which neither is seen alone, although both together are."""
    if len(unseen) != 2:
        return ()
    places = [solution.at(term) for term in unseen]
    values = solution.fit.values[places]
    inner = solution.fit.covariance[np.ix_(places, places)]
    # Twice the chance's logarithm: the 95 % point of chi-squared with two degrees of freedom.
    return unseen if float(values @ np.linalg.solve(inner, values)) > -2.0 * math.log(0.05) else ()


def fit_spin_down(spin: SpinDown) -> Rates:
    """Return how a wheel slows down on its pin, as its times alone tell it.

    Args:
        spin: the readings.

    Returns:
        `dw/dt = -(constant + linear w + quadratic w^2)` in rad/s2, 1/s and 1/rad. The constant part is
        `mu m g d / (2 I)` with d the shank's diameter.

    Raises:
        OutOfRange: the readings do not fix the terms.
    """
    terms = ("constant", *(term for term in _TERMS if term in spin.terms))
    return _alone(spin, terms, name=spin.name)


def fit_coast_down(coast: CoastDown) -> Rates:
    """Return how a car slows down on the flat, as its times alone tell it.

    Args:
        coast: the readings.

    Returns:
        `dv/dt = -(constant + quadratic v^2)` in m/s2 and 1/m. The constant part holds rolling resistance and
        bearing friction together, and the floor's fall; the quadratic part is the air's.

    Raises:
        OutOfRange: the readings do not fix both.
    """
    return _alone(coast, ("constant", "quadratic"), name=coast.name)


def _prior(name: str) -> tuple[float, float] | None:
    each = COEFFICIENTS[name]
    return (each.value, each.uncertainty) if each.uncertainty > 0.0 else None


def _unknown(name: str, prior: tuple[float, float] | None) -> Unknown:
    each = COEFFICIENTS[name]
    size = prior[1] if prior else (abs(each.value) or 1e-3)
    return Unknown(
        name=name,
        start=prior[0] if prior else each.value,
        size=size,
        prior=prior,
        lower=-math.inf if name in _MAY_BE_NEGATIVE else 0.0,
    )


def fit_losses(
    fitted: Sequence[str],
    *,
    spin_downs: Sequence[SpinDown] = (),
    coast_downs: Sequence[CoastDown] = (),
    timed_runs: Sequence[TimedRun] = (),
    priors: Mapping[str, tuple[float, float]] | None = None,
) -> RunFit:
    """Return the coefficients of the losses that fit all readings best.

    Args:
        fitted: coefficients to find, out of `COEFFICIENTS`; the others are those of the tracks, with their
            uncertainty.
        spin_downs: of wheels on their pins; they tell of `bearing_friction` alone.
        coast_downs: of cars on the flat.
        timed_runs: down tracks. Where no uncertainty is given their repeats tell it.
        priors: value and standard uncertainty of coefficients before the readings [SI]; for those left out,
            default and range of `COEFFICIENTS`.

    Returns:
        The fit. Car, track, lane, air and gravity are uncertain too: each is moved with its own standard
        uncertainty as a prior, the same for all readings that share it, so that what it leaves open is in
        the result. Their effects are taken as straight, at the start of the fit.

    Raises:
        MissingReference: a name is no coefficient.
        OutOfRange: there is nothing to fit or to fit it to, or the readings do not fix a coefficient that
            has no prior.
    """
    wanted = tuple(dict.fromkeys(fitted))
    for name in wanted:
        if name not in COEFFICIENTS:
            raise MissingReference(
                f"there is no loss coefficient {echo(name)}", mend=f"write one of {', '.join(COEFFICIENTS)}"
            )
    if not wanted or not (spin_downs or coast_downs or timed_runs):
        raise OutOfRange(
            "there is nothing to fit" if wanted else "no coefficient is to be found",
            mend="give coefficients, and a spin-down, a coast-down or a timed run",
        )
    known = {name: (priors or {}).get(name, _prior(name)) for name in wanted}
    unknowns = {name: _unknown(name, known[name]) for name in wanted}
    start = {name: unknown.start for name, unknown in unknowns.items()}
    blocks: list[Block] = []
    made: list[tuple[Block, list[Unknown]]] = []
    for number, spin in enumerate(spin_downs, start=1):
        # A spin-down without its coefficient among those to find is one that tells nothing.
        if "bearing_friction" not in wanted:
            raise OutOfRange(
                "a spin-down tells of bearing_friction, which is not to be found",
                mend="fit bearing_friction too, or leave the spin-down out",
                key=spin.name,
            )
        made.append(spin_block(spin, number=number))
    for number, coast in enumerate(coast_downs, start=1):
        made.append(coast_block(coast, fitted=wanted, start=start, number=number))
    if timed_runs:
        made.append(timed_block(with_scatter(timed_runs), fitted=wanted, start=start))
    for block, more in made:
        blocks.append(block)
        unknowns |= {each.name: each for each in more if each.name not in unknowns}
    heard = {name for block in blocks for name in block.names}
    deaf = [name for name in wanted if name not in heard and known[name] is None]
    if deaf:
        raise OutOfRange(f"no reading shows {deaf[0]}", mend="leave it out, or add readings that do")
    solution = solve(list(unknowns.values()), blocks)
    return told(
        solution,
        wanted,
        rates=_rates(spin_downs, coast_downs),
        has=tuple(
            name
            for name, given in (
                ("spin_down", spin_downs),
                ("coast_down", coast_downs),
            )
            if given
        ),
    )


def _rates(spin_downs: Sequence[SpinDown], coast_downs: Sequence[CoastDown]) -> tuple[Rates, ...]:
    found: list[Rates] = []
    for alone, each in (
        *((fit_spin_down, spin) for spin in spin_downs),
        *((fit_coast_down, coast) for coast in coast_downs),
    ):
        # What is too little alone may still be enough beside other readings.
        with contextlib.suppress(OutOfRange):
            found.append(alone(each))  # type: ignore[operator]  # each stands beside its own fit
    return tuple(found)
