"""Which model a trial's times can bear: heats as blocks, at random or not at all, and what is kept apart."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollwright.errors import OutOfRange
from rollwright.judge.trial import Times
from rollwright.judge.trial_mixed import Mixed, mixed_model
from rollwright.judge.trial_model import Codes, Contrast, Fitted, codes_of, dummies, least_squares

__all__ = ["Chosen", "choose", "noise_between"]

Array = NDArray[np.float64]

_LEAST_LEFT = 2
_LEAST_LEFT_FOR_DRIFT = 4
_MOST_DAYS = 60
_CAUTIONS = {
    "lane": "which lane each ran in goes along with which it was, so a slow lane counts as a slow car: "
    "let each run in every lane",
    "drift": "the order goes along with which it was, so a track that gets slower counts as a slower car: "
    "take turns",
    "day": "they ran on different days, so all else that changed between those days counts as well: "
    "run both on one day",
}
_FEW = "too few runs to keep {} apart as well; more runs would"


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """A model that was chosen and fitted.

    Attributes:
        method: `blocks` (each heat its own mean), `mixed` (heats at random) or `plain` (no heats).
        times: finish times [s].
        configurations: what ran, as they first come.
        codes: number of each run's configuration.
        lanes: names of the lanes that are kept apart; empty if none are.
        heats: number of each run's heat; None if no heats are told.
        terms: columns of the design by term; `configuration` first.
        fitted: the fit, by least squares or as a mixed model.
        cautions: what cannot be told from a change of the car, as sentences without a full stop.
    """

    method: str
    times: Array
    configurations: tuple[str, ...]
    codes: Codes
    lanes: tuple[str, ...]
    heats: Codes | None
    terms: Mapping[str, Array]
    fitted: Fitted | Mixed
    cautions: tuple[str, ...]

    @property
    def blocks(self) -> Codes | None:
        """The heats, where each is a block of its own."""
        return self.heats if self.method == "blocks" else None

    def weights(self, term: str, levels: Array) -> Array:
        """Return the weights of a combination of one term's coefficients, for `contrast`."""
        parts = [
            levels if name == term else np.zeros(columns.shape[1]) for name, columns in self.terms.items()
        ]
        whole = np.concatenate(parts)
        return np.concatenate([[0.0], whole]) if self.method == "mixed" else whole

    def contrast(self, term: str, levels: Array) -> Contrast | None:
        """Return a combination of one term's coefficients with its error; None if nothing is known of it."""
        return self.fitted.contrast(self.weights(term, levels))

    def aligned(self, beta: Array | None = None) -> Array:
        """Return the times less what lanes, drift and days do to them [s].

        Args:
            beta: coefficients of the columns; None takes those of the fit.

        Returns:
            One time for each run; what is left is the car, the heat and the noise.
        """
        if beta is None:
            beta = self.fitted.beta[1:] if self.method == "mixed" else self.fitted.beta
        at = self.terms["configuration"].shape[1]
        rest = [columns for name, columns in self.terms.items() if name != "configuration"]
        return self.times - np.hstack(rest) @ beta[at:] if rest else self.times


def _order(times: Times, heats: Codes | None) -> Array | None:
    """Return each run's place in the order of running, if it is told."""
    if times.order:
        return np.array(times.order)
    return None if heats is None else heats.astype(np.float64)


def _day_terms(times: Times, heats: Codes | None) -> dict[str, Array]:
    """Return the columns of what days and the order do, where heats do not hold them."""
    found: dict[str, Array] = {}
    days = codes_of(times.days) if times.days else None
    if days is not None and 1 < len(days[1]) <= _MOST_DAYS:
        found["day"] = dummies(days[0], len(days[1]))
    order = _order(times, heats)
    if order is not None and np.ptp(order) > 0.0:
        found["drift"] = ((order - np.mean(order)) / np.std(order))[:, None]
    return found


def _pair(configurations: Sequence[str], first: str, second: str) -> Array:
    return np.array([float(name == first) - float(name == second) for name in configurations])


def _grown(
    finish: Array,
    base: Mapping[str, Array],
    offered: Mapping[str, Array],
    wanted: Sequence[Array],
    blocks: Codes | None,
) -> tuple[dict[str, Array], list[str]]:
    """Return the terms that the times can bear, and what is said of the others."""
    terms, said = dict(base), []
    for name, columns in offered.items():
        fit = least_squares(finish, {**terms, name: columns}, blocks=blocks)
        at = fit.beta.size
        knows = all(fit.knows(np.concatenate([pair, np.zeros(at - pair.size)])) for pair in wanted)
        least = _LEAST_LEFT if name == "lane" else _LEAST_LEFT_FOR_DRIFT
        if knows and fit.freedom >= least:
            terms[name] = columns
        else:
            said.append(
                _FEW.format(name if name == "drift" else f"the {name}s") if knows else _CAUTIONS[name]
            )
    return terms, said


def choose(times: Times, pairs: Sequence[tuple[str, str]]) -> Chosen:
    """Return the model by which pairs of cars are compared.

    Heats are blocks where at least half of the runs of the cars in question were run beside another car, and
    every pair can be compared so. Otherwise heats of several runs differ at random. Lanes, and outside blocks
    drift along the order and days, are kept apart as far as the times can tell them from the cars.

    Args:
        times: the times.
        pairs: the two cars of each comparison.

    Returns:
        The chosen model.

    Raises:
        OutOfRange: nothing is left to judge the scatter by.
    """
    codes, configurations = codes_of(times.configurations)
    finish = np.array(times.times)
    heats = codes_of(times.heats)[0] if times.heats else None
    wanted = [_pair(configurations, *pair) for pair in pairs]
    base = {"configuration": dummies(codes, len(configurations))}
    lanes = codes_of(times.lanes) if times.lanes else None
    offered: dict[str, Array] = {}
    if lanes is not None and len(lanes[1]) > 1:
        offered["lane"] = dummies(lanes[0], len(lanes[1]))

    if heats is not None and _beside(heats, codes, [configurations.index(n) for pair in pairs for n in pair]):
        fit = least_squares(finish, base, blocks=heats)
        if fit.freedom >= 1 and all(fit.knows(pair) for pair in wanted):
            terms, said = _grown(finish, base, offered, wanted, heats)
            return Chosen(
                method="blocks",
                times=finish,
                configurations=configurations,
                codes=codes,
                lanes=lanes[1] if lanes is not None and "lane" in terms else (),
                heats=heats,
                terms=terms,
                fitted=least_squares(finish, terms, blocks=heats),
                cautions=tuple(said),
            )
    offered |= _day_terms(times, heats)
    terms, said = _grown(finish, base, offered, wanted, None)
    count = 0 if heats is None else int(heats.max()) + 1
    mixed = heats is not None and len(configurations) + _LEAST_LEFT <= count < len(finish)
    fitted: Fitted | Mixed = least_squares(finish, terms)
    if fitted.freedom < 1:
        raise OutOfRange(
            f"{len(finish)} runs of {len(configurations)} say nothing about the scatter",
            mend="time each at least twice",
            key="runs",
        )
    if mixed and heats is not None and isinstance(fitted, Fitted) and fitted.squares > 0.0:
        design = np.hstack([np.ones((len(finish), 1)), *terms.values()])
        fitted = mixed_model(finish, design, heats)
    return Chosen(
        method="mixed" if isinstance(fitted, Mixed) else "plain",
        times=finish,
        configurations=configurations,
        codes=codes,
        lanes=lanes[1] if lanes is not None and "lane" in terms else (),
        heats=heats,
        terms=terms,
        fitted=fitted,
        cautions=tuple(said),
    )


def _beside(heats: Codes, codes: Codes, wanted: Sequence[int]) -> bool:
    """Return whether at least half of the wanted cars' runs had another car beside them."""
    low, high = np.full(int(heats.max()) + 1, np.iinfo(np.intp).max), np.full(int(heats.max()) + 1, -1)
    np.minimum.at(low, heats, codes)
    np.maximum.at(high, heats, codes)
    ours = np.isin(codes, wanted)
    return bool(np.mean((low != high)[heats][ours]) >= 0.5)


def noise_between(chosen: Chosen) -> float | None:
    """Return the standard deviation between heats [s], beyond that of single runs; None if not told."""
    fitted = chosen.fitted
    if isinstance(fitted, Mixed):
        return math.sqrt(float(fitted.random[0, 0]))
    if chosen.blocks is None:
        return None
    without = least_squares(chosen.times, chosen.terms)
    freedom = without.freedom - fitted.freedom
    if freedom < 1 or fitted.freedom < 1:
        return None
    mean_square = (without.squares - fitted.squares) / freedom
    # Expected mean square of blocks that differ at random, near enough where heats are of one size.
    size = len(chosen.times) / (int(chosen.blocks.max()) + 1)
    return math.sqrt(max(0.0, (mean_square - fitted.noise**2) / size))
