"""What a fit tells and what it cannot: singular values, directions, doubts and the words for them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from rollwright.setup.run_fits_result import Doubt, Found, Rates, RunFit
from rollwright.setup.run_fits_solve import Solution

__all__ = ["KNOWN", "NAMES", "doubt_words", "input_words", "told"]

Array = NDArray[np.float64]

KNOWN = 1.0
"""How many times as well as its prior the readings alone must fix a coefficient to have found it."""

_TAKES_PART = 0.1
_NOTHING = 1e-9
_WORTH_NAMING = 0.25

NAMES: Mapping[str, str] = {
    "bearing_friction": "bearing friction",
    "hub_friction": "hub friction",
    "rail_friction": "rail friction",
    "tread_friction": "tread friction",
    "creep_stiffness": "creep stiffness",
    "rolling": "rolling resistance",
    "drag_area": "drag area",
    "drag_area_per_pitch": "drag area per pitch",
    "drag_area_per_height": "drag area per height",
}
"""The coefficients in words."""

_HELPS = {
    "spin_down": "a spin-down of a wheel on its pin would",
    "coast_down": "a coast-down on the flat would",
    "steer": "runs of the car with more and with less steer would",
    "cant": "runs with another cant of the rear wheels would",
    "input": "knowing that better would",
    "longer": "a coast-down that begins faster and ends slower would",
}


def _free(solution: Solution, wanted: Sequence[str]) -> Array:
    """Return the readings' derivatives by the coefficients, in units of their sizes, all else allowed for."""
    places = [solution.at(name) for name in wanted]
    others = [place for place in range(len(solution.unknowns)) if place not in places]
    sizes = np.array([solution.unknowns[place].size for place in places])
    readings = solution.readings
    jacobian = solution.fit.jacobian
    # The priors of everything else stay, those of the coefficients go.
    keep = [row for row in range(len(jacobian)) if row < readings or not np.any(jacobian[row, places] != 0.0)]
    rows = jacobian[keep]
    mine: Array = rows[:, places] * sizes
    rest = rows[:, others]
    if not others:
        return mine
    along, _ = np.linalg.qr(rest)
    left: Array = mine - along @ (along.T @ mine)
    return left


def told(
    solution: Solution, wanted: tuple[str, ...], *, rates: tuple[Rates, ...], has: tuple[str, ...]
) -> RunFit:
    """Return what a fit found, and what it could not.

    Args:
        solution: the fit.
        wanted: the coefficients that were to be found.
        rates: what spin-downs and coast-downs show by themselves.
        has: which kinds of readings there are, so that others are advised.

    Returns:
        The result. A coefficient counts as known where the readings alone, without its prior, fix it
        `KNOWN` times as well as the prior does. Several that each would be known if the others were, but
        are not, cannot be told apart.
    """
    free = _free(solution, wanted)
    _, singular, directions = np.linalg.svd(free, full_matrices=True)
    singular = np.concatenate((singular, np.zeros(len(wanted) - len(singular))))
    floor = _NOTHING * max(float(singular.max(initial=0.0)), 1.0)
    # One coefficient's own spread over all directions; one direction that is not seen leaves it open.
    spread = [
        math.sqrt(
            math.fsum(
                (directions[k, i] / singular[k]) ** 2 if singular[k] > floor else math.inf
                for k in range(len(wanted))
                if abs(directions[k, i]) > _NOTHING
            )
        )
        for i in range(len(wanted))
    ]
    alone = np.linalg.norm(free, axis=0)
    places = [solution.at(name) for name in wanted]
    covariance = solution.fit.covariance
    found = []
    for i, name in enumerate(wanted):
        unknown = solution.unknowns[places[i]]
        reached = 1.0 / spread[i] if spread[i] < math.inf else 0.0
        value = solution.value(name)
        largest, share = _largest_input(solution, places[i], wanted)
        found.append(
            Found(
                name=name,
                value=value,
                uncertainty=solution.uncertainty(name),
                prior=unknown.prior,
                told=reached,
                known=reached >= KNOWN if unknown.prior else reached > 0.0,
                at_bound=value - unknown.lower < 1e-3 * unknown.size,
                largest_input=largest,
                largest_share=share,
            )
        )
    inner = covariance[np.ix_(places, places)]
    deviations = np.sqrt(np.diag(inner))
    return RunFit(
        found=tuple(found),
        covariance=tuple(map(tuple, inner.tolist())),
        correlation=tuple(map(tuple, (inner / np.outer(deviations, deviations)).tolist())),
        singular_values=tuple(singular.tolist()),
        directions=tuple(dict(zip(wanted, row.tolist(), strict=True)) for row in directions),
        chi_squared=solution.fit.sum_of_squares,
        dof=solution.fit.dof,
        misfit_probability=solution.misfit_probability,
        doubts=_doubts(found, alone=alone, singular=singular, directions=directions, has=has),
        pulls={
            unknown.name: solution.value(unknown.name)
            for unknown in solution.unknowns
            if unknown.prior is not None and unknown.name not in wanted
        },
        rates=rates,
        readings=solution.readings,
    )


def _largest_input(solution: Solution, place: int, wanted: Sequence[str]) -> tuple[str, float]:
    """Return the input whose own uncertainty adds most to a coefficient's, and its part of the variance."""
    covariance = solution.fit.covariance
    best, most = "", 0.0
    for other, unknown in enumerate(solution.unknowns):
        if unknown.prior is None or unknown.name in wanted:
            continue
        share = covariance[place, other] ** 2 / (covariance[place, place] * covariance[other, other])
        if share > most:
            best, most = unknown.name, float(share)
    return (best, most) if most >= _WORTH_NAMING else ("", 0.0)


def _doubts(
    found: Sequence[Found], *, alone: Array, singular: Array, directions: Array, has: Sequence[str]
) -> tuple[Doubt, ...]:
    open_ones = {i for i, each in enumerate(found) if not each.known}
    # What is not seen even if all others were known stands alone; the rest hangs together.
    groups = [{i} for i in sorted(open_ones) if alone[i] < KNOWN]
    tied = {i for i in open_ones if alone[i] >= KNOWN}
    for k in range(len(found)):
        if singular[k] >= KNOWN:
            continue
        members = {i for i in tied if abs(directions[k, i]) > _TAKES_PART}
        touching = [group for group in groups if group & members]
        groups = [group for group in groups if group not in touching]
        if members:
            groups.append(members.union(*touching))
    named = set().union(*groups) if groups else set()
    groups += [{i} for i in sorted(open_ones - named)]
    doubts = []
    for group in groups:
        open_here = [found[i] for i in sorted(group)]
        worst = max(open_here, key=lambda each: each.largest_share)
        helps = _helps(tuple(each.name for each in open_here), has)
        if worst.largest_share > 0.5 and helps != "spin_down":
            helps = "input"
        doubts.append(
            Doubt(
                names=tuple(each.name for each in open_here),
                helps=helps,
                input=worst.largest_input if helps == "input" else "",
            )
        )
    return tuple(doubts)


def _helps(names: tuple[str, ...], has: Sequence[str]) -> str:
    if "bearing_friction" in names and "spin_down" not in has:
        return "spin_down"
    if {"rail_friction", "tread_friction", "creep_stiffness"} & set(names):
        return "steer"
    if "hub_friction" in names:
        return "cant"
    if "coast_down" not in has:
        return "coast_down"
    return "longer"


def doubt_words(doubt: Doubt) -> str:
    """Return what readings cannot tell, and what would, as one sentence.

    Args:
        doubt: what they cannot tell.

    Returns:
        Such as `These readings cannot tell bearing friction from rolling resistance; a spin-down of a
        wheel on its pin would.`
    """
    names = [NAMES[name] for name in doubt.names]
    if len(names) == 1:
        said = f"These readings hardly show {names[0]}"
    else:
        others = names[1] if len(names) == 2 else f"{', '.join(names[1:-1])} and {names[-1]}"
        said = f"These readings cannot tell {names[0]} from {others}"
    because = f", because {input_words(doubt.input)} is not known well" if doubt.input else ""
    return f"{said}{because}; {_HELPS[doubt.helps]}."


def input_words(name: str) -> str:
    """Return what an input is called in a sentence.

    Args:
        name: as in `RunFit.pulls`.

    Returns:
        Such as `the wheels' inertia`; the name itself where there is no better word.
    """
    if name == "wheel_inertia_factor":
        return "the wheels' inertia"
    if name.endswith(": fall"):
        return f"how the {name.removesuffix(': fall')} falls"
    return name
