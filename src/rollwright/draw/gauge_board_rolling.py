"""How a car's drift on its board follows from the steer of its dominant wheel."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.car.model import Car
from rollwright.errors import DriftUndefined
from rollwright.geometry import stance
from rollwright.geometry.drift import curvature, drift_over

__all__ = ["Rolling"]

_WIDEST = math.radians(15.0)
_BISECTIONS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Rolling:
    """How a car's drift follows from the steer of its dominant wheel; angles [rad], lengths [m]."""

    rear_steer: float
    length: float
    contact_y: float
    watched: float
    board: float

    @classmethod
    def of(cls, car: Car) -> Rolling:
        """Return it for a car with the contacts and the rear pair's heading that it has in its stance."""
        found = stance(car)
        contact = found.stations[car.dominant].contact
        return cls(
            rear_steer=found.drift.rear_steer,
            length=found.drift.length,
            contact_y=contact[1],
            # The rear point lies as far behind the steered contact as the car is long.
            watched=math.cos(found.pitch) * car.body.wheelbase.value - (contact[0] - found.drift.length),
            board=found.drift.distance,
        )

    def drift(self, steer: float) -> float:
        """Return the drift for a steer; endless where the car turns back before the board ends."""
        k = curvature(
            dominant_steer=steer, rear_steer=self.rear_steer, length=self.length, contact_y=self.contact_y
        )
        try:
            return drift_over(
                curvature=k, rear_steer=self.rear_steer, wheelbase=self.watched, board=self.board
            )
        except DriftUndefined:
            return math.copysign(math.inf, k)

    def steer(self, drift: float) -> float:
        """Return the steer that gives a drift, by halving."""
        low, high = -_WIDEST, _WIDEST
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            if self.drift(middle) < drift:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)
