"""Bodies drawn with the drill's scatter: how many are good at the drill, off the drill, and once adjusted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import erf

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Station
from rollwright.errors import OutOfRange
from rollwright.setup.tolerance_case import GATES, PLANES, ToleranceCase
from rollwright.setup.tolerance_shares import Counted, counted, inside_all

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "NOTICED",
    "DrillShare",
    "GateShare",
    "GateShares",
    "check_runs",
    "drawn_bodies",
    "drill_ratios",
    "drill_share",
    "gate_shares",
    "holes_alone",
]

CHUNK = 16384
"""Bodies of one chunk, each with random numbers of its own."""

NOTICED = 0.02
"""How far a straight-line guess may be off a share and still be good enough."""

_LEAST_RUNS, _MOST_RUNS = 100, 10**6


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillShare:
    """How many bodies pass the drill gate, their holes being what they are.

    Attributes:
        drawn: cant, sweep and height of each of the three holes that carry within tolerance.
        normal: the same share by the normal distribution, exact for holes that scatter independently.
        angles: of these, counting cant and sweep alone, which is what the drill gate waits for.
        with_pairs: counting as well the heights left against right and front against rear.
        planes: share of bodies of which all three holes are within tolerance in one plane, by its name.
    """

    drawn: Counted
    normal: float
    angles: float
    with_pairs: Counted
    planes: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class GateShare:
    """How many bodies are inside one gate, or all three.

    Attributes:
        name: `level`, `steer`, `centre` or `all`.
        drawn: by the exact geometry.
        straight: of the same bodies, by straight lines.
        straight_error: standard error of the difference of the two.
        normal: by the normal distribution with the straight lines' spread; NaN for all three.
    """

    name: str
    drawn: Counted
    straight: float
    straight_error: float
    normal: float

    @property
    def straight_is_good(self) -> bool:
        """Whether the straight lines are within two bodies in a hundred."""
        return abs(self.straight - self.drawn.share) <= NOTICED


@dataclass(frozen=True, slots=True, kw_only=True)
class GateShares:
    """How many bodies are inside level, steer and centre without any adjusting.

    Attributes:
        gates: level, steer and centre.
        together: all three at once, standing on the wheels that they should.
        otherwise: share that stands on other wheels or has no such reading.
    """

    gates: tuple[GateShare, GateShare, GateShare]
    together: GateShare
    otherwise: float


def check_runs(*, runs: int, seed: int) -> None:
    """Refuse a number of runs or a seed that is not a possible one.

    Args:
        runs: how many bodies.
        seed: of the random numbers.

    Raises:
        OutOfRange: it is not.
    """
    if not _LEAST_RUNS <= runs <= _MOST_RUNS:
        raise OutOfRange(
            f"{runs} bodies tell nothing or take too long",
            mend=f"ask for {_LEAST_RUNS} to {_MOST_RUNS}",
            key="--runs",
        )
    if not 0 <= seed < 2**63:
        raise OutOfRange(f"{seed} is no seed", mend="give a whole number from 0 up", key="--seed")


def drawn_bodies(case: ToleranceCase, *, seed: int, chunk: int, rows: int) -> NDArray[np.float64]:
    """Return standard normal numbers of some bodies, a column for each dimension.

    Args:
        case: tells how many dimensions there are.
        seed: of the analysis.
        chunk: which child of the seed, as `numpy.random.SeedSequence.spawn` numbers them.
        rows: how many bodies; the first ones are the same however many.

    Returns:
        The numbers, (rows, p).
    """
    sequence = np.random.SeedSequence(seed, spawn_key=(0, chunk))
    return np.random.default_rng(sequence).standard_normal((rows, len(case.values)))


def drill_ratios(case: ToleranceCase, z: NDArray[np.float64], *, pairs: bool) -> NDArray[np.float64]:
    """Return how far the worst thing about each body's holes is off, in tolerances.

    Args:
        case: holes and tolerances.
        z: standard normal numbers, (n, p).
        pairs: whether heights left against right and front against rear count too, as at the drill gate.

    Returns:
        The ratio, (n,): at most 1 where the body passes. It grows in proportion to the scatter.
    """
    names = dimension_names()
    off: dict[str, NDArray[np.float64]] = {}
    worst = np.zeros(len(z))
    for hole in case.holes:
        off[hole.name] = hole.deviation * z[:, names.index(hole.name)]
        worst = np.maximum(worst, _ratio(off[hole.name], hole.tolerance))
    if pairs:
        left, right, front = (
            off[f"{station.value}.hole_height"]
            for station in (Station.REAR_LEFT, Station.REAR_RIGHT, case.car.dominant)
        )
        width = case.car.drill.hole_height.value
        worst = np.maximum(worst, _ratio(left - right, width))
        worst = np.maximum(worst, _ratio(front - 0.5 * (left + right), width))
    return worst


def _ratio(off: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    if width > 0.0:
        return np.abs(off) / width
    return np.where(off == 0.0, 0.0, np.inf)


def holes_alone(case: ToleranceCase, *planes: str) -> list[tuple[float, float]]:
    """Return tolerance and standard deviation of the holes in some planes [rad or m]."""
    return [(hole.tolerance, hole.deviation) for hole in case.holes if hole.plane in planes]


def drill_share(case: ToleranceCase, *, runs: int, seed: int) -> DrillShare:
    """Return how many bodies pass the drill gate.

    Args:
        case: holes, their scatter and tolerances.
        runs: how many bodies.
        seed: of the random numbers.

    Returns:
        The shares. The holes are taken as they are, not as a gauge reads them; against the gate's own rule,
        which asks for 95 % probability of a reading, this is the most that can pass.
    """
    good = paired = 0
    for chunk, rows in _chunks(runs):
        z = drawn_bodies(case, seed=seed, chunk=chunk, rows=rows)
        good += int(np.sum(drill_ratios(case, z, pairs=False) <= 1.0))
        paired += int(np.sum(drill_ratios(case, z, pairs=True) <= 1.0))
    return DrillShare(
        drawn=counted(good, runs),
        normal=inside_all(holes_alone(case, *PLANES)),
        angles=inside_all(holes_alone(case, "cant", "sweep")),
        with_pairs=counted(paired, runs),
        planes={plane: inside_all(holes_alone(case, plane)) for plane in PLANES},
    )


def _chunks(runs: int) -> list[tuple[int, int]]:
    return [(chunk, min(CHUNK, runs - start)) for chunk, start in enumerate(range(0, runs, CHUNK))]


def gate_shares(
    case: ToleranceCase,
    slopes: NDArray[np.float64],
    deviations: NDArray[np.float64],
    *,
    runs: int,
    seed: int,
) -> GateShares:
    """Return how many bodies are inside level, steer and centre without any adjusting.

    Args:
        case: the car and its gates.
        slopes: of the readings, (3, p), for the straight-line guess.
        deviations: standard deviation of each dimension, (p,): the drill's or everything's.
        runs: how many bodies.
        seed: of the random numbers; bodies are the same as those of `drill_share`.

    Returns:
        The shares.
    """
    used = np.flatnonzero(deviations > 0.0)
    exact, straight, changed = np.zeros((3, 4), dtype=np.int64)
    otherwise = 0
    for chunk, rows in _chunks(runs):
        z = drawn_bodies(case, seed=seed, chunk=chunk, rows=rows)
        off = case.off(case.possible(case.values + z * deviations))
        line = (case.nominal - case.middle)[:, None] + slopes[:, used] @ (z[:, used] * deviations[used]).T
        good = _with_all(np.abs(off) <= 1.0)
        guess = _with_all(np.abs(line) <= case.tolerances[:, None])
        exact = exact + good.sum(axis=1)
        straight = straight + guess.sum(axis=1)
        changed = changed + (good != guess).sum(axis=1)
        otherwise += int(np.isnan(off).any(axis=0).sum())
    spreads = np.sqrt(((slopes * deviations) ** 2).sum(axis=1))
    found = []
    for number, name in enumerate((*GATES, "all")):
        share = float(straight[number]) / runs
        differ, less = float(changed[number]) / runs, share - float(exact[number]) / runs
        found.append(
            GateShare(
                name=name,
                drawn=counted(int(exact[number]), runs),
                straight=share,
                straight_error=math.sqrt(max(0.0, differ - less * less) / runs),
                normal=_normal(case, number, float(spreads[number])) if number < len(GATES) else math.nan,
            )
        )
    return GateShares(gates=(found[0], found[1], found[2]), together=found[3], otherwise=otherwise / runs)


def _with_all(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.vstack((inside, np.all(inside, axis=0)))


def _normal(case: ToleranceCase, number: int, spread: float) -> float:
    off, width = float(case.nominal[number] - case.middle[number]), float(case.tolerances[number])
    if spread <= 0.0:
        return 1.0 if abs(off) <= width else 0.0
    ends = np.array([width - off, width + off]) / (math.sqrt(2.0) * spread)
    return float(0.5 * erf(ends).sum())
