"""How large a washer is, and the outline of one that is slotted."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Arc, Point, points_of
from rollwright.draw.gauge_words import MM
from rollwright.errors import OutOfRange

__all__ = ["FREE", "Ring"]

FREE = 0.15
"""How much wider than the pin the holes are [mm]."""
_WALL = 1.25
"""How wide a ring is at least, where nobody gave its outside [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """Radii of a ring [mm]."""

    inner: float
    outer: float

    @classmethod
    def of(cls, car: Car, station: Station, outside: float | None) -> Ring:
        """Return the ring for a wheel's pin; `outside` is its outside diameter [m], or None to choose one.

        Raises:
            OutOfRange: it leaves no ring round the pin.
        """
        inner = car.axle_at(station).shank.value * MM + FREE
        outer = math.ceil(2.0 * (inner + 2.0 * _WALL)) / 2.0 if outside is None else outside * MM
        if not inner + 0.8 <= outer <= 20.0:
            raise OutOfRange(
                f"washers of {outer:g} mm outside leave no ring round a hole of {inner:.2f} mm",
                mend="measure the hub, and give a little less than its diameter in metres, 20 mm at most",
                key="outside",
            )
        return cls(inner=0.5 * inner, outer=0.5 * outer)

    def slotted(self, centre: Point, *, times: float = 1.0) -> tuple[Point, ...]:
        """Return the outline of a ring with a slot as wide as its hole, open at the top."""
        inner, outer = self.inner * times, self.outer * times
        tip = math.acos(inner / outer)
        rim = points_of(Arc(centre=centre, radius=outer, start=math.pi - tip, end=2.0 * math.pi + tip))
        hole = points_of(Arc(centre=centre, radius=inner, start=math.pi, end=2.0 * math.pi))
        return (*rim, *reversed(hole))
