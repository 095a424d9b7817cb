"""Two cars of the log side by side, or one car at two times: what differs, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.codec import Recorded
from rollwright.bench.effects import known_after
from rollwright.bench.events import Bend, Fitted, PartFitted, PartLeftOff, Turn, Withdrawn
from rollwright.bench.fold import Folded, withdrawn_in
from rollwright.car.dimensions import dimension_kind, dimension_names, matters
from rollwright.errors import ReadingUnusable
from rollwright.geometry.ledger import ledger_of
from rollwright.setup.estimate import Estimate, Prior
from rollwright.setup.predict import GATE_QUANTITIES
from rollwright.units import Kind

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "COVERAGE",
    "FACTOR",
    "MASS",
    "Compared",
    "compare_cars",
    "compare_times",
    "touched_between",
    "until",
    "without_later_weights",
]

COVERAGE = 0.95
"""Probability of the two-sided interval outside which a difference is clear."""
FACTOR = 1.96
"""Its half-width in standard uncertainties, as GUM's table of coverage factors has it for 95 %."""
MASS = "mass"
"""Name of the whole car's mass in a comparison."""
_NOTHING = 1e-12
"""What is moved by less is not moved [m, rad or kg]: far below any gauge, above rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One quantity of two cars.

    Attributes:
        name: `height_difference`, `drift`, `rail_offset`, `mass` or a dimension.
        kind: of quantity.
        first: of the first car [SI].
        second: of the second car [SI].
        first_uncertainty: standard uncertainty of the first [SI].
        second_uncertainty: of the second [SI].
        difference: second less first [SI]: positive, the second is the larger; negative, the smaller. Nothing
            for one car's quantity that was not touched between two times.
        uncertainty: standard uncertainty of the difference [SI]; for one car at two times an upper bound.
        touched: whether a change between the two times moved it; None for two cars.
    """

    name: str
    kind: Kind
    first: float
    second: float
    first_uncertainty: float
    second_uncertainty: float
    difference: float
    uncertainty: float
    touched: bool | None = None

    @property
    def clear(self) -> bool:
        """Whether the difference lies outside its 95 % interval about nothing."""
        return abs(self.difference) > max(FACTOR * self.uncertainty, _NOTHING)


def compare_cars(first: Folded, second: Folded) -> tuple[Compared, ...]:
    """Return two cars of the log, quantity by quantity.

    Args:
        first: what the one's log adds up to.
        second: what the other's does.

    Returns:
        The three gate quantities, the mass, and every dimension that both cars depend on, in the order of
        `dimension_names`. The two are taken as independent, `u = sqrt(u1^2 + u2^2)` (JCGM 100:2008, 5.1.2);
        an error that one gauge put into both only makes it smaller.

    Raises:
        ReadingUnusable: where one of the cars is cannot be told.
    """
    return _compared(first, second, touched=None)


def compare_times(first: Folded, second: Folded, *, touched: Iterable[str]) -> tuple[Compared, ...]:
    """Return one car at two times, quantity by quantity.

    Args:
        first: what its log adds up to at one time.
        second: what it adds up to at the other, earlier or later.
        touched: names of what was changed between the two; see `touched_between`.

    Returns:
        The same quantities as of two cars. What was not touched is the same wood or wire: its difference is
        nothing, and only better known. Of what was touched the uncertainty is `sqrt(u1^2 + u2^2)` as an upper
        bound: errors that stand in both only make it smaller.

    Raises:
        ReadingUnusable: where the car is cannot be told at one of the times.
    """
    return _compared(first, second, touched=frozenset(touched))


def _told(found: Folded) -> Estimate:
    if found.estimate is None:
        raise ReadingUnusable(
            f"where it is cannot be told: {found.trouble or 'nothing is known of it'}",
            mend="name an entry before that, as in lark@3",
        )
    return found.estimate


def _compared(first: Folded, second: Folded, *, touched: frozenset[str] | None) -> tuple[Compared, ...]:
    one, two = _told(first), _told(second)
    gates = zip(GATE_QUANTITIES, *_gates(one), *_gates(two), strict=True)
    rows = [_row(name, Kind.LENGTH, numbers, touched) for name, *numbers in gates]
    masses = [ledger_of(found.known.car).mass for found in (first, second)]
    rows.append(
        _row(MASS, Kind.MASS, [part for mass in masses for part in (mass.value, mass.uncertainty)], touched)
    )
    for index, name in enumerate(dimension_names()):
        if matters(one.car, name) and matters(two.car, name):
            numbers = [one.values[index], one.deviations[index], two.values[index], two.deviations[index]]
            rows.append(_row(name, dimension_kind(name), numbers, touched))
    return tuple(rows)


def _gates(found: Estimate) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return found.gates, np.sqrt(np.diag(found.gate_covariance))


def _row(name: str, kind: Kind, numbers: Sequence[float], touched: frozenset[str] | None) -> Compared:
    first, first_uncertainty, second, second_uncertainty = map(float, numbers)
    same = touched is not None and name not in touched
    difference = second - first
    if name.endswith(".clock"):
        # A turn of nearly a whole round is a small one the other way.
        difference = math.remainder(difference, 2.0 * math.pi)
    return Compared(
        name=name,
        kind=kind,
        first=first,
        second=second,
        first_uncertainty=first_uncertainty,
        second_uncertainty=second_uncertainty,
        difference=0.0 if same else difference,
        uncertainty=0.0 if same else math.hypot(first_uncertainty, second_uncertainty),
        touched=None if touched is None else not same,
    )


def touched_between(earlier: Folded, later: Folded, between: Sequence[Recorded]) -> frozenset[str]:
    """Return what the changes between two times of a car can have moved.

    Args:
        earlier: what its log added up to before them.
        later: what it adds up to with them.
        between: the entries between the two that count, in their order.

    Returns:
        Names as in a comparison. A dimension was touched if a change shifted it, forgot it or added to what
        is open of it; a gate quantity if the log's fold says that a change can have moved it; the mass by
        every change but of a bend.
    """
    changes = {change.seq: change for change in later.changes}
    known = earlier.known
    if earlier.estimate is not None:
        known = replace(known, prior=earlier.estimate.as_prior())
    found: set[str] = set()
    for entry in between:
        change = changes.get(entry.seq)
        if change is None:
            continue
        found |= {name for row, name in enumerate(GATE_QUANTITIES) if change.moves(row)}
        if not isinstance(entry.event, Bend | Turn):
            found.add(MASS)
        before, known = known.prior, known_after(known, entry.event, hand=later.hand)
        found |= {
            name for name, moved in zip(dimension_names(), _moved(before, known.prior), strict=True) if moved
        }
    return frozenset(found)


def _moved(before: Prior, after: Prior) -> NDArray[np.bool_]:
    """Return which dimensions a change moved or opened, (p,)."""
    by = after.root.copy()
    by[:, : before.root.shape[1]] -= before.root
    moved: NDArray[np.bool_] = np.any(np.abs(by) > _NOTHING, axis=1) | (
        np.abs(after.mean - before.mean) > _NOTHING
    )
    return moved


def until(entries: Sequence[Recorded], number: int | None) -> list[Recorded]:
    """Return the entries that make a car as it was after one of them.

    Args:
        entries: all entries of the car, in their order.
        number: of that entry; None stands for the last.

    Returns:
        The entries up to it that count. What was taken back later never happened, so that it is left out.
    """
    gone = withdrawn_in(entries)
    counting = [each for each in entries if each.id not in gone and not isinstance(each.event, Withdrawn)]
    return [each for each in counting if number is None or each.seq <= number]


def without_later_weights(found: Folded, entries: Sequence[Recorded], number: int | None) -> Folded:
    """Return a car as it was after one entry, without the weights that were entered later.

    Args:
        found: what the entries up to there add up to.
        entries: all entries of the car, in their order.
        number: of that entry; None stands for the last.

    Returns:
        The same, but that a weight of its file of which only later entries speak is not yet in it.
    """
    before = {each.seq for each in until(entries, number)}
    speak = [
        (each.seq, each.event.name)
        for each in until(entries, None)
        if isinstance(each.event, PartFitted | PartLeftOff) and each.event.part is Fitted.WEIGHT
    ]
    early = {name for seq, name in speak if seq in before}
    later = {name for seq, name in speak if seq not in before} - early
    weights = {name: weight for name, weight in found.known.car.weights.items() if name not in later}
    return replace(found, known=replace(found.known, car=replace(found.known.car, weights=weights)))
