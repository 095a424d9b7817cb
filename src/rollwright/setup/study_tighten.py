"""Which drawing tolerance to tighten first: each one halved in turn, on the same random numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rollwright.errors import CarCannotRest
from rollwright.setup.study_case import Case, drawn, inside, normals
from rollwright.setup.study_times import Surface, outcomes_of

__all__ = [
    "Between",
    "Tightened",
    "Tightening",
    "between_bodies",
    "bodies_alone",
    "is_of_the_body",
    "tighten",
]

ROWS = 4096
_FEW = 512
_KEY = 4
_ELSEWHERE = (
    "losses.",
    "air.",
    "profile.",
    "rail.",
    "board.",
    "finish",
    "gravity",
    "pitch_inertia",
    "wheel_inertia",
)
_SURE = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Between:
    """How bodies made alike differ on one track: standard deviation of the time [s], and its error [s]."""

    deviation: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tightened:
    """What halving one standard deviation would do.

    Attributes:
        name: of the input.
        deviation: its standard deviation now [SI].
        spread: standard deviation of the finish time between bodies then [s].
        narrower: by how much that is less than now [s].
        narrower_error: standard error of that difference [s].
        inside: share inside all gates then, were the car as given on its targets.
        more: by how much that is more than now.
        more_error: standard error of that difference.
    """

    name: str
    deviation: float
    spread: float
    narrower: float
    narrower_error: float
    inside: float
    more: float
    more_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tightening:
    """Every drawing tolerance halved in turn.

    Attributes:
        spread: standard deviation of the finish time between bodies now [s].
        inside: share inside all gates now, were the car as given on its targets.
        bodies: how many were compared.
        by_gates: what is surely of use, most share gained first.
        by_time: what is surely of use, most spread lost first.
        every: all inputs, in their own order.
    """

    spread: float
    inside: float
    bodies: int
    by_gates: tuple[Tightened, ...]
    by_time: tuple[Tightened, ...]
    every: tuple[Tightened, ...]


def is_of_the_body(name: str) -> bool:
    """Return whether an input differs from body to body, not from track to track or by what nobody knows."""
    return not name.startswith(_ELSEWHERE)


def bodies_alone(case: Case) -> Case:
    """Return the case on one track whose sizes, air and coefficients are those of the files exactly."""
    own = np.array([is_of_the_body(name) for name in case.inputs.names])
    return case.with_inputs(values=case.inputs.values, deviations=np.where(own, case.inputs.deviations, 0.0))


def _rows(surface: Surface | None) -> int:
    return ROWS if surface is not None else _FEW


def between_bodies(case: Case, surface: Surface | None, *, seed: int) -> Between | None:
    """Return how bodies made alike from one file differ on one track.

    Args:
        case: the car and the track.
        surface: stands in for the motion, or None.
        seed: of the study.

    Returns:
        The standard deviation, with `s sqrt((kurtosis - 1)/(4 n))` for its error; None where nothing about
        the body is uncertain or hardly any finish.
    """
    alone = bodies_alone(case)
    if len(alone.free) == 0:
        return None
    rows = _rows(surface)
    time = outcomes_of(alone, drawn(alone, normals(alone, seed, _KEY, rows=rows)), surface).time
    time = time[np.isfinite(time)]
    if len(time) < rows // 10:
        return None
    squares = (time - time.mean()) ** 2
    deviation = math.sqrt(squares.mean())
    error = float(squares.std()) / (2.0 * deviation * math.sqrt(len(time))) if deviation > 0.0 else 0.0
    return Between(deviation=deviation, error=error)


def tighten(case: Case, surface: Surface | None, *, seed: int) -> Tightening:
    """Return what halving each standard deviation of the body would do.

    Args:
        case: the car and the track.
        surface: stands in for the motion, or None.
        seed: of the study; all inputs are halved on the same numbers, so that their differences are sharp.

    Returns:
        All inputs and two rankings. A difference is in a ranking if it is at least thrice its standard error.

    Raises:
        CarCannotRest: hardly any of the bodies finish.
    """
    alone = bodies_alone(case)
    rows = _rows(surface)
    z = normals(alone, seed, _KEY, rows=rows)
    time, good = _read(alone, z, surface)
    if np.isfinite(time).sum() < rows // 10:
        raise CarCannotRest(
            "hardly any body drawn from this file stands on the same wheels and reaches the finish",
            mend="give the uncertainties of hole heights and losses, or mend the design first",
        )
    every = []
    for index, name in zip(alone.free, alone.names, strict=True):
        deviations = alone.inputs.deviations.copy()
        deviations[index] *= 0.5
        halved = alone.with_inputs(values=alone.inputs.values, deviations=deviations)
        then, good_then = _read(halved, z, surface)
        every.append(
            _compared(name, float(alone.inputs.deviations[index]), time=(time, then), good=(good, good_then))
        )
    return Tightening(
        spread=float(np.nanstd(time)),
        inside=float(good.mean()),
        bodies=rows,
        by_gates=_ranked(every, "more"),
        by_time=_ranked(every, "narrower"),
        every=tuple(every),
    )


def _read(
    case: Case, z: NDArray[np.float64], surface: Surface | None
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    found = outcomes_of(case, drawn(case, z), surface)
    return found.time, np.all(inside(case, found.readings, centred=True), axis=0) & found.stands


def _compared(
    name: str,
    deviation: float,
    *,
    time: tuple[NDArray[np.float64], NDArray[np.float64]],
    good: tuple[NDArray[np.bool_], NDArray[np.bool_]],
) -> Tightened:
    both = np.isfinite(time[0]) & np.isfinite(time[1])
    now, then = time[0][both], time[1][both]
    spreads = float(now.std()), float(then.std())
    # What each body adds to the difference of the standard deviations, to first order.
    adds = [
        (part - part.mean()) ** 2 / (2.0 * spread) if spread > 0.0 else np.zeros_like(part)
        for part, spread in zip((now, then), spreads, strict=True)
    ]
    change = good[1].astype(np.float64) - good[0]
    return Tightened(
        name=name,
        deviation=deviation,
        spread=spreads[1],
        narrower=spreads[0] - spreads[1],
        narrower_error=float((adds[0] - adds[1]).std()) / math.sqrt(len(now)),
        inside=float(good[1].mean()),
        more=float(change.mean()),
        more_error=float(change.std()) / math.sqrt(len(change)),
    )


def _ranked(every: list[Tightened], by: str) -> tuple[Tightened, ...]:
    sure = [each for each in every if getattr(each, by) >= _SURE * getattr(each, f"{by}_error") > 0.0]
    return tuple(sorted(sure, key=lambda each: -float(getattr(each, by))))
