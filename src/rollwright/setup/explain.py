"""Why an estimate is as it is: whose errors it carries, what strains it, what the readings cannot tell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.quantity import Contribution
from rollwright.setup.mode import Mode, Prior
from rollwright.setup.predict import GATE_QUANTITIES

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Strain", "budget_of", "misfit_of", "notes_of", "strains_of"]

_ALIKE = 0.9
_UNSEEN = 0.98


@dataclass(frozen=True, slots=True, kw_only=True)
class Strain:
    """How far the fit had to pull something from what was said of it.

    Attributes:
        name: of the reading, or of the dimension as the file gives it.
        ratio: pull over its own standard deviation; 1 is ordinary, 3 is odd.
    """

    name: str
    ratio: float


def misfit_of(mode: Mode) -> float:
    """Return the chance of a larger sum of squares if every stated uncertainty is right; 1 without readings.

    Each channel adds one degree of freedom, each prior brings as much as it costs.
    """
    if len(mode.residuals) == 0:
        return 1.0
    from scipy.special import chdtrc  # noqa: PLC0415 - costs start-up time

    return float(chdtrc(len(mode.residuals), mode.sum_of_squares))


def strains_of(prior: Prior, mode: Mode, covariance: NDArray[np.float64]) -> tuple[Strain, ...]:
    """Return the readings and dimensions that were pulled the most, largest first.

    Args:
        prior: what was known without the readings.
        mode: the mode.
        covariance: of the unit unknowns, (q, q).

    Returns:
        Up to five. A pull is compared with the size that it has by chance: `1 - C` for a prior, and for a
        channel that of `N^-1 r`, which singles out the culprit among channels with shared errors as well
        (W. Baarda, A Testing Procedure for Use in Geodetic Networks, 1968: the w-test; from memory).
    """
    expected = np.sqrt(np.maximum(1.0 - np.diag(covariance), 1e-12))
    pulls = [
        Strain(name=name, ratio=float(abs(pull) / spread))
        for name, pull, spread in zip(prior.sources, mode.unknowns, expected, strict=True)
        if spread > 0.05
    ]
    gains, most = mode.whitening.transposed(mode.slopes), mode.whitening.weights()
    spreads = most - np.sum((gains @ covariance) * gains, axis=1)
    pulls += [
        Strain(name=owner.where, ratio=float(abs(pull) / np.sqrt(spread)))
        for owner, pull, spread, whole in zip(
            mode.bench.owners(), mode.whitening.transposed(mode.residuals), spreads, most, strict=True
        )
        if spread > 0.0025 * whole
    ]
    return tuple(sorted(pulls, key=lambda strain: -strain.ratio)[:5])


def budget_of(
    prior: Prior, mode: Mode, *, gate: NDArray[np.float64], covariance: NDArray[np.float64]
) -> tuple[Contribution, ...]:
    """Split a gate quantity's variance over the independent inputs: each prior, reading and set-up.

    Args:
        prior: what was known without the readings.
        mode: the mode.
        gate: derivatives of the gate quantity by the unit unknowns, (q,).
        covariance: of the unit unknowns, (q, q).

    Returns:
        One line for each, largest first; the error that a set-up's readings share is a line of its own. The
        mode is linear in the inputs with gains `C` and `C H' W`, so that the squares of gain times
        uncertainty add up to the posterior variance exactly.
    """
    by_prior = gate @ covariance
    by_channel = mode.whitening.transposed(mode.slopes @ by_prior)
    scales = dict(zip(prior.sources, np.sqrt(np.sum(prior.root**2, axis=0)).tolist(), strict=True))
    parts = dict(zip(prior.sources, (by_prior**2).tolist(), strict=True))
    shared: dict[str, float] = {}
    for owner, gain in zip(mode.bench.owners(), by_channel.tolist(), strict=True):
        own = owner.quantity.uncertainty
        parts[owner.where] = parts.get(owner.where, 0.0) + (gain * own) ** 2
        scales[owner.where] = own
        if owner.set_up and owner.common > 0.0 and not owner.trace:
            name = f"set-up {owner.set_up}"
            shared[name] = shared.get(name, 0.0) + gain * owner.common
            scales[name] = owner.common
    parts |= {name: gain**2 for name, gain in shared.items()}
    total = sum(parts.values()) or 1.0
    found = [
        Contribution(
            name=name,
            sensitivity=part**0.5 / scales[name] if scales[name] else 0.0,
            uncertainty=scales[name],
            contribution=part**0.5,
            share=part / total,
        )
        for name, part in parts.items()
    ]
    return tuple(sorted(found, key=lambda part: -part.share))


def notes_of(
    prior: Prior, mode: Mode, *, gates: NDArray[np.float64], covariance: NDArray[np.float64]
) -> tuple[str, ...]:
    """Say what the readings do not tell: nothing read, an input nobody saw, two that only show as a sum.

    Args:
        prior: what was known without the readings.
        mode: the mode.
        gates: derivatives of the gate quantities by the unit unknowns, (3, q).
        covariance: of the unit unknowns, (q, q).

    Returns:
        Sentences, none where all is told.
    """
    if len(mode.residuals) == 0:
        return ("Nothing has been read yet: all of this is the car file alone.",)
    notes = []
    for gate, name in zip(gates, GATE_QUANTITIES, strict=True):
        before, after = float(gate @ gate), float(gate @ covariance @ gate)
        if before > 0.0 and after > _UNSEEN**2 * before:
            notes.append(f"No reading tells the {name.replace('_', ' ')}: it is what the car file says.")
    if not prior.sources or prior.sources[0].startswith("earlier"):
        return tuple(notes)
    return (*notes, *_alike(prior, gates, covariance))


def _alike(prior: Prior, gates: NDArray[np.float64], covariance: NDArray[np.float64]) -> list[str]:
    """Name pairs of dimensions of which the readings see only the sum or the difference."""
    spread = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(spread, spread)
    # Only dimensions that move a gate noticeably are worth a builder's attention.
    weight = np.max(np.abs(gates), axis=0)
    pairs = [
        (abs(correlation[i, j]), i, j)
        for i in range(len(spread))
        for j in range(i + 1, len(spread))
        if abs(correlation[i, j]) > _ALIKE and min(weight[i], weight[j]) > 0.05 * weight.max()
    ]
    return [
        f"The readings cannot tell {_plain(prior.sources[i])} from {_plain(prior.sources[j])}: "
        "they see only the two together."
        for _, i, j in sorted(pairs, reverse=True)[:2]
    ]


def _plain(name: str) -> str:
    place, _, last = name.partition(".")
    return f"the {place.replace('_', ' ')} {last.replace('_', ' ')}"
