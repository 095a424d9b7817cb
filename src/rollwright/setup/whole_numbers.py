"""The best whole numbers under linear demands, some of which keep a guard band that grows with the choice.

A guard band is a length of a vector that is linear in the numbers, so it is convex: every plane that
touches it from below is a true demand. The search asks for whole numbers under linear demands alone, adds
such a plane wherever the answer breaks a guard band, and asks again. The first answer that breaks none is
the best one there is (R. E. Gomory's cutting planes in the form of J. E. Kelley, Jr., "The Cutting-Plane
Method for Solving Convex Programs", J. SIAM 8 (1960) 703-712; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from rollwright.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Vector = NDArray[np.float64]

__all__ = ["Guarded", "Row", "Search"]

_BROKEN = 1e-9
_STEP_BACK = 4e-6
_ROUNDS = 400
_PATIENCE = 20.0
_DONE, _IMPOSSIBLE = 0, 2


@dataclass(frozen=True, slots=True)
class Row:
    """One linear demand: `low <= slope @ numbers <= high`."""

    slope: Vector
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Guarded:
    """One demand with a guard band: `slope @ numbers + start + guard * spread <= 0`.

    Attributes:
        slope: what each number adds.
        start: what is there before any number is chosen.
        root: the spread's part that depends on the numbers is the length of `root @ numbers`.
        rest: the spread's part that does not; both parts add as squares.
        guard: how many spreads are kept back.
    """

    slope: Vector
    start: float
    root: Vector
    rest: float
    guard: float

    def excess(self, numbers: Vector) -> float:
        """Return by how much the demand is broken, negative where there is room."""
        spread = math.hypot(self.rest, float(np.linalg.norm(self.root @ numbers)))
        return float(self.slope @ numbers) + self.start + self.guard * spread

    def touching(self, numbers: Vector) -> Row:
        """Return the plane that touches the guard band at some numbers and is nowhere above it."""
        along = self.root @ numbers
        spread = math.hypot(self.rest, float(np.linalg.norm(along)))
        rise = self.slope + (self.guard / spread * (self.root.T @ along) if spread > 0.0 else 0.0)
        return Row(rise, high=float(rise @ numbers) - self.excess(numbers))


@dataclass(slots=True)
class Search:
    """Searches over the same numbers, one after another; what an earlier one learned is kept.

    Attributes:
        upper: the most that each number may be; the least is 0.
        cuts: planes learned so far, each list beside the demand that its planes touch.
    """

    upper: Vector
    cuts: list[tuple[Guarded, list[Row]]] = field(default_factory=list)

    def best(self, cost: Vector, *, rows: Sequence[Row], guarded: Sequence[Guarded] = ()) -> Vector | None:
        """Return the numbers of least cost.

        Args:
            cost: what each number costs.
            rows: linear demands.
            guarded: demands with a guard band.

        Returns:
            The numbers; None if no choice meets every demand.

        Raises:
            OutOfRange: there are more choices than can be looked through.
        """
        known = [self._known(demand) for demand in guarded]
        seen: set[bytes] = set()
        for _ in range(_ROUNDS):
            found = self._linear(cost, [*rows, *(cut for cuts in known for cut in cuts)])
            if found is None:
                return None
            # A plane holds to within the solver's own tolerance; where that is not enough, step back by it.
            back = _STEP_BACK if found.tobytes() in seen else 0.0
            seen.add(found.tobytes())
            broken = False
            for demand, cuts in zip(guarded, known, strict=True):
                if demand.excess(found) > _BROKEN:
                    broken = True
                    plane = demand.touching(found)
                    cuts.append(Row(plane.slope, high=plane.high - back))
            if not broken:
                return found
        raise _too_many()

    def _known(self, demand: Guarded) -> list[Row]:
        for old, planes in self.cuts:
            if old is demand:
                return planes
        planes = [demand.touching(np.zeros(len(self.upper)))]
        self.cuts.append((demand, planes))
        return planes

    def _linear(self, cost: Vector, rows: Sequence[Row]) -> Vector | None:
        from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415 - costs start-up time

        demands = LinearConstraint(
            np.array([row.slope for row in rows]),
            np.array([row.low for row in rows]),
            np.array([row.high for row in rows]),
        )
        # The solver gives up now and then over the rounding in its own simplified problem, not in ours.
        for simplified in (True, False):
            answer = milp(
                cost,
                integrality=np.ones(len(self.upper), dtype=np.int64),
                bounds=Bounds(np.zeros(len(self.upper)), self.upper),
                constraints=demands,
                options={"mip_rel_gap": 0.0, "time_limit": _PATIENCE, "presolve": simplified},
            )
            if answer.status == _DONE and answer.x is not None:
                return np.rint(answer.x)
            if answer.status == _IMPOSSIBLE:
                return None
        raise _too_many()


def _too_many() -> OutOfRange:
    return OutOfRange(
        "there are more ways to fill the pockets than can be looked through",
        mend="name fewer sizes or pockets, or fewer pieces of each",
        key="weights",
    )
