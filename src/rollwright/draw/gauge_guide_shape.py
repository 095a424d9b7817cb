"""Sizes of a drilling guide block, in millimetres, and where its sleeves lie."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.car.model import Car, Station
from rollwright.draw.gauge_marks import hole_at
from rollwright.draw.gauge_words import MM

__all__ = ["LEDGE_DEEP", "LEDGE_THICK", "GuideShape"]

LEDGE_DEEP = 12.0
"""How far the ledge reaches under the body, and the stop behind the tail [mm]."""
LEDGE_THICK = 8.0
"""How thick ledge and stop are [mm]."""
_ROUND_SLEEVE = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideShape:
    """The block of one side.

    Attributes:
        car: the car.
        side: +1 for the left side, -1 for the right.
        bore: inside diameter of the sleeves, the drill's [mm].
        sleeve: outside diameter of the sleeves [mm].
        thick: from the side face to the outer face [mm].
    """

    car: Car
    side: int
    bore: float
    sleeve: float
    thick: float

    @property
    def stations(self) -> tuple[Station, Station]:
        """The rear and the front station of this side."""
        return (
            (Station.REAR_LEFT, Station.FRONT_LEFT)
            if self.side > 0
            else (Station.REAR_RIGHT, Station.FRONT_RIGHT)
        )

    def inner(self, station: Station) -> tuple[float, float]:
        """Where a sleeve's axis meets the body: forward of the rear hole line, above the ledge [mm]."""
        x, high = hole_at(self.car, station, beyond=self.car.corners[station].relief.value)
        return x * MM, high * MM

    def outer(self, station: Station) -> tuple[float, float]:
        """Where it meets the block's outer face, likewise [mm]."""
        beyond = self.car.corners[station].relief.value + self.thick / MM
        x, high = hole_at(self.car, station, beyond=beyond)
        return x * MM, high * MM

    @property
    def tail(self) -> float:
        """Where the body's tail stands, forward of the rear hole line [mm]."""
        return -self.car.body.rear_overhang.value * MM

    @property
    def ends(self) -> tuple[float, float]:
        """Where the block begins and ends, forward of the rear hole line [mm]."""
        front = self.stations[1]
        farthest = max(self.inner(front)[0], self.outer(front)[0])
        return self.tail - LEDGE_THICK, math.ceil(farthest + 0.5 * self.sleeve + _ROUND_SLEEVE)

    @property
    def length(self) -> float:
        """How long the block is [mm]."""
        return self.ends[1] - self.ends[0]

    @property
    def top(self) -> float:
        """How far the block rises above its ledge [mm]."""
        highest = max(
            max(self.inner(station)[1], self.outer(station)[1])
            for station in Station  # of both sides, so that the two blocks are of one height
        )
        return math.ceil(highest + 0.5 * self.sleeve + _ROUND_SLEEVE)

    def across(self, x: float) -> float:
        """Return how far right of the block's left end a place lies, the block seen from outside [mm]."""
        return x - self.ends[0] if self.side < 0 else self.ends[1] - x
