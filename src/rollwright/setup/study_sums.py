"""Running sums of a study: all that is kept of its runs, however many there are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rollwright.errors import OutOfRange
from rollwright.setup.study_case import GATES, Case, Outcomes, inside

__all__ = ["BINS", "Scale", "Sums", "at_rank", "nothing", "sums_of"]

BINS = 8192
"""Bins of the histogram of times between the edges of its scale; one more at each end holds the rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What the sums are counted from, so that no figures are lost to cancelling.

    Attributes:
        centre: about the mean of time [s], height difference, drift and rail offset [m].
        low: lower edge of the histogram of times [s].
        high: upper edge [s].
    """

    centre: tuple[float, float, float, float]
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """All that is kept of a study's runs.

    Attributes:
        scale: what they are counted from.
        runs: how many.
        stands: how many stand on the same three wheels as the car as given.
        timed: how many of these reach the finish.
        full: how many times were worked out in full.
        counts: times in each bin, the two outer ones being those beyond the edges.
        least: shortest time [s].
        most: longest time [s].
        powers: sums of (time - centre) to the powers 1 to 4.
        passed: how many are inside each gate, and inside all three and standing.
        centred: the same, were the car as given on its targets, so that only scatter counts.
        time_passed: sums of (time - centre) over the timed ones of those inside each gate, and how many.
        read: how many have a time and all readings.
        first: sums over these of time and readings, less centre.
        second: sums of their products, row by row.
    """

    scale: Scale
    runs: int
    stands: int
    timed: int
    full: int
    counts: tuple[int, ...]
    least: float
    most: float
    powers: tuple[float, ...]
    passed: tuple[int, ...]
    centred: tuple[int, ...]
    time_passed: tuple[float, ...]
    read: int
    first: tuple[float, ...]
    second: tuple[float, ...]

    def __add__(self, other: Sums) -> Sums:
        """Return the sums over the runs of both.

        Raises:
            OutOfRange: they are counted from different scales.
        """
        if other.scale != self.scale:
            raise OutOfRange("the sums are counted from different scales", mend="add sums of one study")
        merged: dict[str, Any] = {"scale": self.scale}
        for field in fields(self)[1:]:
            mine, others = getattr(self, field.name), getattr(other, field.name)
            if field.name == "least":
                merged[field.name] = min(mine, others)
            elif field.name == "most":
                merged[field.name] = max(mine, others)
            elif isinstance(mine, tuple):
                merged[field.name] = tuple(a + b for a, b in zip(mine, others, strict=True))
            else:
                merged[field.name] = mine + others
        return Sums(**merged)

    def as_json(self) -> dict[str, Any]:
        """Return them as plain data from which `from_json` makes the very same sums."""
        found: dict[str, Any] = {
            "scale": {"centre": list(self.scale.centre), "low": self.scale.low, "high": self.scale.high}
        }
        for field in fields(self)[1:]:
            value = getattr(self, field.name)
            found[field.name] = list(value) if isinstance(value, tuple) else value
        # JSON has no infinity; before the first time there is neither a shortest nor a longest.
        for name in ("least", "most"):
            found[name] = found[name] if math.isfinite(found[name]) else None
        return found

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Sums:
        """Return the sums that `as_json` wrote.

        Raises:
            OutOfRange: they are not sums of a study.
        """
        try:
            scale = data["scale"]
            made: dict[str, Any] = {
                "scale": Scale(
                    centre=tuple(float(part) for part in scale["centre"]),  # type: ignore[arg-type]  # told below
                    low=float(scale["low"]),
                    high=float(scale["high"]),
                )
            }
            whole = {"runs", "stands", "timed", "full", "read"}
            for field in fields(cls)[1:]:
                value = data[field.name]
                if field.name in {"least", "most"}:
                    missing = math.inf if field.name == "least" else -math.inf
                    made[field.name] = missing if value is None else float(value)
                elif field.name in whole:
                    made[field.name] = int(value)
                else:
                    number = int if field.name in {"counts", "passed", "centred"} else float
                    made[field.name] = tuple(number(part) for part in value)
            found = cls(**made)
            lengths = [len(scale["centre"]), *(len(getattr(found, name)) for name in _LENGTHS)]
            good = lengths == [4, *_LENGTHS.values()] and 0 <= found.timed <= found.stands <= found.runs
        except (KeyError, TypeError, ValueError, AttributeError):
            good = False
        if not good:
            raise OutOfRange("these are not the sums of a study", mend="start the study anew")
        return found


_LENGTHS = {
    "counts": BINS + 2,
    "powers": 4,
    "passed": len(GATES) + 1,
    "centred": len(GATES) + 1,
    "time_passed": 2 * len(GATES),
    "first": 4,
    "second": 16,
}


def nothing(scale: Scale) -> Sums:
    """Return the sums over no runs at all."""
    return Sums(
        scale=scale,
        runs=0,
        stands=0,
        timed=0,
        full=0,
        counts=(0,) * (BINS + 2),
        least=math.inf,
        most=-math.inf,
        powers=(0.0,) * 4,
        passed=(0,) * (len(GATES) + 1),
        centred=(0,) * (len(GATES) + 1),
        time_passed=(0.0,) * (2 * len(GATES)),
        read=0,
        first=(0.0,) * 4,
        second=(0.0,) * 16,
    )


def sums_of(case: Case, outcomes: Outcomes, *, scale: Scale) -> Sums:
    """Return the sums over some runs.

    Args:
        case: gives the gates.
        outcomes: the runs.
        scale: what the sums are counted from.

    Returns:
        The sums.
    """
    timed = np.isfinite(outcomes.time)
    time = outcomes.time[timed]
    off = time - scale.centre[0]
    passed = inside(case, outcomes.readings)
    centred = inside(case, outcomes.readings, centred=True)
    both = passed & timed
    width = (scale.high - scale.low) / BINS
    bins = np.clip(np.floor((time - scale.low) / width), -1, BINS).astype(np.int64) + 1
    known = timed & np.all(np.isfinite(outcomes.readings), axis=0)
    four = np.vstack((outcomes.time[known], outcomes.readings[:, known])) - np.array(scale.centre)[:, None]
    products = [float((four[i] * four[j]).sum()) for i in range(4) for j in range(4)]
    from_centre = np.where(timed, outcomes.time, scale.centre[0]) - scale.centre[0]
    sums = [float(from_centre[gate].sum()) for gate in both]
    return Sums(
        scale=scale,
        runs=len(timed),
        stands=int(outcomes.stands.sum()),
        timed=len(time),
        full=outcomes.full,
        counts=tuple(np.bincount(bins, minlength=BINS + 2).tolist()),
        least=float(time.min()) if len(time) else math.inf,
        most=float(time.max()) if len(time) else -math.inf,
        powers=tuple(float((off**power).sum()) for power in (1, 2, 3, 4)),
        passed=_counted(passed, outcomes.stands),
        centred=_counted(centred, outcomes.stands),
        time_passed=(*sums, *(float(gate.sum()) for gate in both)),
        read=int(known.sum()),
        first=tuple(float(row.sum()) for row in four),
        second=tuple(products),
    )


def _counted(passed: NDArray[np.bool_], stands: NDArray[np.bool_]) -> tuple[int, ...]:
    every = np.all(passed, axis=0) & stands
    return (*(int(gate.sum()) for gate in passed), int(every.sum()))


def at_rank(sums: Sums, share: float) -> float:
    """Return the time below which a share of the times lies [s].

    Args:
        sums: with at least one time.
        share: between 0 and 1.

    Returns:
        The time, by a straight line across its bin; off by less than a bin's width.
    """
    counts: NDArray[np.int64] = np.array(sums.counts)
    scale = sums.scale
    width = (scale.high - scale.low) / BINS
    edges = np.concatenate(([-math.inf], scale.low + width * np.arange(BINS + 1), [math.inf]))
    edges = np.clip(edges, sums.least, sums.most)
    wanted = min(max(share, 0.0), 1.0) * sums.timed
    below = np.cumsum(counts)
    place = int(np.searchsorted(below, wanted, side="left"))
    before = int(below[place] - counts[place])
    part = (wanted - before) / int(counts[place]) if counts[place] else 0.0
    return float(edges[place] + part * (edges[place + 1] - edges[place]))
