"""Timed runs and splits as residuals of what brakes the car, through the run and its derivatives."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rollwright.car.model import Car
from rollwright.errors import OutOfRange
from rollwright.quantity import Quantity
from rollwright.run.once import run
from rollwright.run.result import Run
from rollwright.run.track import Track
from rollwright.setup.run_fits_blocks import called, input_unknown
from rollwright.setup.run_fits_data import TimedRun
from rollwright.setup.run_fits_solve import IMPOSSIBLE, Unknown

__all__ = ["TimedBlock", "timed_block"]

Array = NDArray[np.float64]

# What moves a time by less than this part of its own uncertainty has no say.
_NO_SAY = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """The mean time of one car on one lane at one line; `until` is where it lies, None for the finish [m]."""

    car: Car
    track: Track
    lane: str
    until: float | None
    time: float
    uncertainty: float
    timer: float
    label: str

    def reckoned(self, coefficients: Mapping[str, float]) -> Run:
        """Return the run as far as the line."""
        changed = {name: Quantity(value=value) for name, value in coefficients.items()}
        track = replace(self.track, losses={**self.track.losses, **changed})
        track = track.on_lane(self.lane) if self.lane else track
        return run(
            self.car, replace(track, splits=(), finish=track.finish if self.until is None else self.until)
        )

    def factor(self, name: str) -> float:
        """Return by what the lane multiplies a coefficient."""
        if not self.lane or name not in self.track.lanes[self.lane].factors:
            return 1.0
        return self.track.lanes[self.lane].factors[name].value

    def effects(self, found: Run, *, fitted: Sequence[str]) -> dict[str, float]:
        """Return what a standard deviation of everything uncertain adds to the time [s]."""
        mine = {f"losses.{name}" for name in fitted}
        effects = {
            # Of a coefficient that is fitted, only the lane's factor is left to be uncertain.
            f"{self.track.name}: lane {self.lane}: {line.name}"
            if line.name in mine
            else called(line.name, car=self.car, track=self.track): line.sensitivity * line.uncertainty
            for line in found.contributors
        }
        if self.lane and self.until is None and found.finish_speed:
            finish = self.track.lanes[self.lane].finish.uncertainty
            effects[f"{self.track.name}: lane {self.lane}: finish"] = finish / found.finish_speed
        effects[f"{self.track.name}: timer"] = self.timer
        return {name: size for name, size in effects.items() if abs(size) > _NO_SAY * self.uncertainty}


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedBlock:
    """Timed runs as residuals; `effects` are those of a standard deviation of their inputs [s]."""

    lines: tuple[_Line, ...]
    names: tuple[str, ...]
    fitted: tuple[str, ...]
    effects: Array

    def rows(self, values: Array) -> tuple[Array, Array]:
        """Return residuals and derivatives."""
        count = len(self.fitted)
        given = dict(zip(self.fitted, values[:count].tolist(), strict=True))
        residuals, slopes = np.empty(len(self.lines)), np.zeros((len(self.lines), len(values)))
        for row, line in enumerate(self.lines):
            found = line.reckoned(given)
            if found.finish_time is None:
                residuals[row] = IMPOSSIBLE
                continue
            more = float(self.effects[row] @ values[count:])
            residuals[row] = (found.finish_time + more - line.time) / line.uncertainty
            slopes[row, :count] = [found.prices[f"losses.{name}"] * line.factor(name) for name in self.fitted]
            slopes[row, count:] = self.effects[row]
            slopes[row] /= line.uncertainty
        return residuals, slopes


def timed_block(
    runs: Sequence[TimedRun], *, fitted: Sequence[str], start: Mapping[str, float]
) -> tuple[TimedBlock, list[Unknown]]:
    """Return timed runs as residuals of the coefficients that are fitted, and the unknowns they bring along.

    Args:
        runs: the runs, each with its uncertainty.
        fitted: the coefficients.
        start: their values at the start of the fit, at which the effects of all else are taken.

    Returns:
        The block and its unknowns.

    Raises:
        OutOfRange: a car stalls before the line at the start of the fit.
    """
    lines = []
    for each in runs:
        points = dict(each.track.splits)
        for name, times in each.lines:
            single = each.uncertainty
            assert single is not None  # noqa: S101 - `with_scatter` has put one where none was
            lines.append(
                _Line(
                    car=each.car,
                    track=each.track,
                    lane=each.lane,
                    until=points[name] if name else None,
                    time=math.fsum(times) / len(times),
                    uncertainty=single / math.sqrt(len(times)),
                    timer=each.timer,
                    label=f"{each.name}: {name or 'finish'}",
                )
            )
    effects = []
    for line in lines:
        found = line.reckoned(start)
        if found.finish_time is None:
            raise OutOfRange(
                "with the losses that the fit begins with the car comes to rest before this line",
                mend="check the car, the track and the lane",
                key=line.label,
            )
        effects.append(line.effects(found, fitted=fitted))
    names = list(dict.fromkeys(name for each in effects for name in each))
    table = [[each.get(name, 0.0) for name in names] for each in effects]
    block = TimedBlock(
        lines=tuple(lines),
        names=(*fitted, *names),
        fitted=tuple(fitted),
        effects=np.array(table, dtype=np.float64).reshape(len(lines), len(names)),
    )
    return block, [*map(input_unknown, names)]
