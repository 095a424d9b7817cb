"""What comes out of a run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rollwright.quantity import Contribution
from rollwright.run.track import Place

__all__ = ["Run", "Runs", "Stall", "Trace"]

_LISTED = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Stall:
    """Where a car comes to rest before the finish.

    Attributes:
        distance: arc length of its nose from the gate [m].
        place: the running surface there.
    """

    distance: float
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A run point by point, from the gate to the finish or to where the car stalls.

    Attributes:
        distance: arc length of the rear contact from where it started [m].
        time: since the start [s].
        speed: of the centre of mass [m/s].
        rear_load: on the rear axle [N].
        front_load: on the front axle [N].
    """

    distance: NDArray[np.float64]
    time: NDArray[np.float64]
    speed: NDArray[np.float64]
    rear_load: NDArray[np.float64]
    front_load: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run of one car.

    Attributes:
        car: its name.
        track: name of the track.
        lane: name of the lane, empty for the track as it is.
        finish_time: from the gate to the finish [s]; None where the car stalls.
        finish_speed: of the centre of mass at the finish [m/s]; None likewise.
        loss_free_time: of the same car without any loss [s]; None where even that would stall.
        splits: time by timing point on the way [s].
        budget: time that each loss costs [s]; sums to finish time less loss-free time. Empty after a stall.
        prices: derivative of the finish time with respect to each input [s per SI unit], by name.
        energy: what became of it [J]: `potential` lost, `push` given at the start, `kinetic` left, and the
            work of each loss.
        trace: the run point by point.
        stalled_at: where the car comes to rest, or None.
        lifts_at: arc length of the rear contact where an axle would need to be held down [m]; what lies
            beyond cannot be trusted. None where the car stays on the track.
        assumed: keys and rules that nobody gave and that the result rests on.
        uncertainty: standard uncertainty of the finish time from those of the inputs [s]; None where prices
            were not asked for.
        contributors: what each uncertain input adds to it, largest first.
        notes: what is odd about the run, in words.
    """

    car: str
    track: str
    lane: str
    finish_time: float | None
    finish_speed: float | None
    loss_free_time: float | None
    splits: Mapping[str, float]
    budget: Mapping[str, float]
    prices: Mapping[str, float]
    energy: Mapping[str, float]
    trace: Trace
    stalled_at: Stall | None
    lifts_at: float | None
    assumed: tuple[str, ...]
    uncertainty: float | None = None
    contributors: tuple[Contribution, ...] = ()
    notes: tuple[str, ...] = field(default=())

    def as_json(self) -> dict[str, object]:
        """Return the run as plain data in SI units; the trace is left out."""
        stall = self.stalled_at
        return {
            "car": self.car,
            "track": self.track,
            "lane": self.lane,
            "time_s": self.finish_time,
            "finish_speed": self.finish_speed,
            "loss_free_time_s": self.loss_free_time,
            "splits_s": dict(self.splits),
            "budget_s": dict(self.budget),
            "prices": dict(self.prices),
            "energy_J": dict(self.energy),
            "stalled_at": None
            if stall is None
            else {"distance": stall.distance, "x": stall.place.x, "z": stall.place.z},
            "lifts_at": self.lifts_at,
            "uncertainty_s": self.uncertainty,
            "contributors": [
                {
                    "name": line.name,
                    "sensitivity": line.sensitivity,
                    "uncertainty": line.uncertainty,
                    "contribution_s": line.contribution,
                    "share": line.share,
                }
                for line in self.contributors[:_LISTED]
            ],
            "assumed": list(self.assumed),
            "notes": list(self.notes),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """Runs of many variations of one car.

    Attributes:
        finish_time: of each [s]; NaN where it stalls.
        finish_speed: of the centre of mass [m/s]; NaN likewise.
        stands: whether it stands on the same three wheels as the car as given; where not, the time means
            nothing.
    """

    finish_time: NDArray[np.float64]
    finish_speed: NDArray[np.float64]
    stands: NDArray[np.bool_]
