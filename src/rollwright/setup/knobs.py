"""The things a hand can change on a car, as numbers: bend and clock, washers and relief, shims."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car, Seat, Station
from rollwright.geometry.many import stances
from rollwright.setup.predict import gate_values

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["AdjustableCar", "Setting"]

_INDEX = {name: index for index, name in enumerate(dimension_names())}
_STEPS = 12
_SETTLED = 1e-8
_PROBE = 1e-6
_TIPPED, _DOMINANT_UP = -1, 1
"""Values of `Stances.carrying` where the dominant wheel carries nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What is set at the dominant wheel, and what shims lie under the axles.

    Attributes:
        down: part of the bend that carries the outer end down [rad]; negative would carry it up.
        forward: part of the bend that carries it forward [rad]; negative backward.
        clock: where the bend points while its size is zero [rad]; ignored otherwise.
        trim: how far the wheel is moved outward from where it is [m]; negative inward. Outward means
            more washers; inward means fewer washers, then wood.
        kept: thickness of washers that stay where they are although wood is removed [m].
        rear_shim: how much both rear axles' shims raise the body [m]; negative: instead raise the dominant
            front corner by that much.
        sweep: change of the dominant hole's sweep [rad]; only asked of a drill, never of a hand.
    """

    down: float
    forward: float
    clock: float = 0.0
    trim: float = 0.0
    kept: float = 0.0
    rear_shim: float = 0.0
    sweep: float = 0.0

    @property
    def bend(self) -> float:
        """Angle of the bend [rad]."""
        return math.hypot(self.down, self.forward)

    @property
    def angle(self) -> float:
        """Where the bend points [rad]: 0 down, positive forward."""
        return math.atan2(self.forward, self.down) if self.bend > 0.0 else self.clock

    def turned_to(self, clock: float) -> Setting:
        """Return the same bend turned to another clock [rad]."""
        size = self.bend
        return replace(self, down=size * math.cos(clock), forward=size * math.sin(clock), clock=clock)

    def bent_to(self, bend: float) -> Setting:
        """Return the same clock with another bend [rad]."""
        angle = self.angle
        return replace(self, down=bend * math.cos(angle), forward=bend * math.sin(angle), clock=angle)


@dataclass(frozen=True, slots=True, kw_only=True)
class AdjustableCar:
    """A car whose three gate quantities follow its setting.

    Attributes:
        car: gives masses, dominant wheel and targets.
        seats: where in its play each wheel runs.
        values: dimensions before anything is moved, (p,).
    """

    car: Car
    seats: Mapping[Station, Seat]
    values: NDArray[np.float64]

    def column(self, name: str) -> int:
        """Return the column of one of the dominant station's dimensions."""
        return _INDEX[f"{self.car.dominant.value}.{name}"]

    def present(self) -> Setting:
        """Return the setting before anything is moved."""
        bend, clock = self.values[self.column("bend")], self.values[self.column("clock")]
        return Setting(
            down=float(bend * np.cos(clock)), forward=float(bend * np.sin(clock)), clock=float(clock)
        )

    def trim_parts(self, trim: float, *, kept: float = 0.0) -> tuple[float, float]:
        """Return by how much washers and relief change for a trim: washers first, wood last.

        Args:
            trim: how far the wheel is moved outward [m]; negative inward.
            kept: thickness of washers that stay where they are [m].

        Returns:
            Change of the washers and depth of the wood removed [m].
        """
        if trim >= 0.0:
            return trim, 0.0
        removed = min(-trim, max(0.0, float(self.values[self.column("washer")]) - kept))
        return -removed, -trim - removed

    def moved(self, setting: Setting) -> NDArray[np.float64]:
        """Return the dimensions with a setting in place, (p,)."""
        out = self.values.copy()
        out[self.column("bend")] = setting.bend
        out[self.column("clock")] = setting.angle
        washer, relief = self.trim_parts(setting.trim, kept=setting.kept)
        out[self.column("washer")] += washer
        out[self.column("relief")] += relief
        out[self.column("sweep")] += setting.sweep
        if setting.rear_shim >= 0.0:
            for station in (Station.REAR_LEFT, Station.REAR_RIGHT):
                out[_INDEX[f"{station.value}.hole_height"]] -= setting.rear_shim
        else:
            out[self.column("hole_height")] += setting.rear_shim
        return out

    def gates(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return height difference, drift and rail offset [m] of rows of dimensions, (n, 3)."""
        return gate_values(stances(self.car, rows, seats=self.seats))

    def carries(self, setting: Setting) -> bool:
        """Return whether the dominant wheel stands on the ground in a setting."""
        found = stances(self.car, self.moved(setting)[None, :], seats=self.seats)
        return int(found.carrying[0]) not in {_TIPPED, _DOMINANT_UP}

    def drive(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return what pushes the dominant wheel along its shank, (n, 1): slope less toe-in [rad].

        Positive pushes it out to the head, negative in to the body; see `geometry.seat`.
        """
        found = stances(self.car, rows, seats=self.seats)
        index = list(Station).index(self.car.dominant)
        drive: NDArray[np.float64] = -found.camber[index] + self.car.dominant.side * found.steer[index]
        return drive[:, None]

    def solve(self, start: Setting, *, knobs: Sequence[str], targets: Mapping[int, float]) -> Setting | None:
        """Return the setting at which chosen gate quantities meet their targets.

        Args:
            start: where to begin; what is not a knob stays as it is there.
            knobs: as many names as targets: `down`, `forward`, `trim`, `rear_shim`, `sweep`, or `angle` for a
                turn of the bend as it is.
            targets: wanted values [m] by the index of the gate quantity.

        Returns:
            The setting, or None where Newton's method finds none.
        """
        wanted = np.array(list(targets.values()))
        columns = list(targets)
        setting = start
        for _ in range(_STEPS):
            probes = [self._nudged(setting, knob, _PROBE) for knob in knobs]
            found = self.gates(np.stack([self.moved(each) for each in (setting, *probes)]))[:, columns]
            if not np.all(np.isfinite(found)):
                return None
            error = wanted - found[0]
            if np.abs(error).max() < _SETTLED:
                return setting
            slope = ((found[1:] - found[0]) / _PROBE).T
            try:
                step = np.linalg.solve(slope, error)
            except np.linalg.LinAlgError:
                return None
            # A step of more than about ten degrees or twenty millimetres is a sign of a flat slope.
            size = max(1.0, float(np.abs(step).max()) / 0.2)
            for knob, part in zip(knobs, step / size, strict=True):
                setting = self._nudged(setting, knob, float(part))
        return None

    @staticmethod
    def _nudged(setting: Setting, knob: str, by: float) -> Setting:
        if knob == "angle":
            return setting.turned_to(setting.angle + by)
        changed: dict[str, float] = {knob: getattr(setting, knob) + by}
        return replace(setting, **changed)
