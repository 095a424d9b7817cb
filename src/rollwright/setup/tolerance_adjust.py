"""How many drilled bodies a bend, a turn and a trim can still bring into level, steer and centre."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.setup.tolerance_case import ToleranceCase, readings_of
from rollwright.setup.tolerance_draws import drawn_bodies, drill_ratios
from rollwright.setup.tolerance_shares import Counted, counted

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["MOST_BEND", "MOST_RELIEF", "Adjusted", "adjusted"]

MOST_BEND = math.radians(12.0)
"""Largest bend that is asked of a pin (judgement)."""

MOST_RELIEF = 0.25
"""Largest relief as a share of the body's width (judgement)."""

_BODIES = 2048
_ROUNDS = 14
_PROBE = 1e-6
_ON_TARGET = 1e-3
_LONGEST = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjusted:
    """What the bench can bring in.

    Attributes:
        brought: bodies that one bend, one turn and one trim bring to all three targets, of those drawn.
        passed: the same among those that pass the drill gate; None where none does.
        bend: range from 5 to 95 in 100 of the bends that it takes [rad].
        trim: likewise of the trims [m]; positive: washers; negative: wood.
    """

    brought: Counted
    passed: Counted | None
    bend: tuple[float, float]
    trim: tuple[float, float]


def adjusted(case: ToleranceCase, *, runs: int, seed: int) -> Adjusted | None:
    """Return how many bodies the bench can bring to target with the steering axle and the trim.

    Args:
        case: the car; its drill's scatter is drawn, all else is as the file has it.
        runs: how many bodies the analysis draws; the first 2048 of them are adjusted.
        seed: of the random numbers.

    Returns:
        The shares: bend, clock and trim of the dominant wheel are solved together on the exact geometry for
        each body, by Newton's method, to a thousandth of each tolerance. A body counts where the bend is at
        most 12 degrees and carries the outer end down, not up, and the relief at most a quarter of its
        width. None where axles may not be bent.
    """
    if not case.car.bent_axles:
        return None
    z = drawn_bodies(case, seed=seed, chunk=0, rows=min(runs, _BODIES))
    setting, reached = _solved(case, case.possible(case.values + z * case.drill))
    down, forward, trim = setting
    bend = np.hypot(down, forward)
    relief = _relief(case, trim)
    allowed = (down >= 0.0) & (bend <= MOST_BEND) & (relief <= MOST_RELIEF * case.car.body.width.value)
    good = reached & allowed
    passed = drill_ratios(case, z, pairs=False) <= 1.0
    at = (0.05, 0.95)
    bends = np.quantile(bend[good], at) if good.any() else np.full(2, np.nan)
    trims = np.quantile(trim[good], at) if good.any() else np.full(2, np.nan)
    return Adjusted(
        brought=counted(int(good.sum()), len(good)),
        passed=counted(int((good & passed).sum()), int(passed.sum())) if passed.any() else None,
        bend=(float(bends[0]), float(bends[1])),
        trim=(float(trims[0]), float(trims[1])),
    )


def _column(case: ToleranceCase, name: str) -> int:
    return dimension_names().index(f"{case.car.dominant.value}.{name}")


def _relief(case: ToleranceCase, trim: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the depth of the relief once washers are gone, for trims that are negative."""
    washer, relief = (float(case.values[_column(case, name)]) for name in ("washer", "relief"))
    return relief + np.maximum(0.0, -trim - washer)


def _moved(
    case: ToleranceCase, rows: NDArray[np.float64], setting: NDArray[np.float64]
) -> NDArray[np.float64]:
    down, forward, trim = setting
    found = rows.copy()
    found[:, _column(case, "bend")] = np.hypot(down, forward)
    found[:, _column(case, "clock")] = np.arctan2(forward, down)
    washer = _column(case, "washer")
    found[:, washer] = np.maximum(0.0, rows[:, washer] + trim)
    found[:, _column(case, "relief")] = _relief(case, trim)
    return found


def _solved(case: ToleranceCase, rows: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return bend down, bend forward and trim of each body, (3, n), and whether they reach the targets."""
    count = len(rows)
    bend, clock = (float(case.values[_column(case, name)]) for name in ("bend", "clock"))
    start = (bend * math.cos(clock), bend * math.sin(clock), 0.0)
    setting = np.repeat(np.array(start)[:, None], count, axis=1)
    targets, widths = case.targets[:, None], case.tolerances[:, None]

    def error_of(at: NDArray[np.float64]) -> NDArray[np.float64]:
        return (readings_of(case, _moved(case, rows, at)) - targets) / widths

    error = error_of(setting)
    for _ in range(_ROUNDS):
        live = np.all(np.isfinite(error), axis=0)
        if np.all(np.abs(error[:, live]) < _ON_TARGET):
            break
        probes = []
        for knob in range(3):
            there = setting.copy()
            there[knob] += _PROBE
            probes.append((error_of(there) - error) / _PROBE)
        slopes = np.stack(probes, axis=1)
        # A body that stands otherwise by now stays where it is: a unit matrix and no error move it nowhere.
        live &= np.all(np.isfinite(slopes), axis=(0, 1))
        slopes[:, :, ~live] = np.eye(3)[:, :, None]
        step = np.linalg.solve(slopes.transpose(2, 0, 1), -np.where(live, error, 0.0).T[..., None])[..., 0].T
        step /= np.maximum(1.0, np.abs(step).max(axis=0) / _LONGEST)
        setting += step
        error = error_of(setting)
    # What has no reading is not a number, and that is below nothing.
    reached = np.all(np.abs(error) < _ON_TARGET, axis=0)
    return setting, reached
