"""What the views of a car share: where its length lies on a sheet, and drift and rail offset in words."""

from __future__ import annotations

from dataclasses import dataclass

from rollwright.car.model import Car
from rollwright.draw.fit import Scale, Units, best_scale, length_text, system_of
from rollwright.draw.labels import text_width
from rollwright.geometry import Stance
from rollwright.units import Kind, show, show_sided

__all__ = ["Frame", "drift_words", "frame_of", "rail_words"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where the length of a car lies on a sheet: its `scale`, and the rear hole line at `origin` [mm]."""

    scale: Scale
    origin: float

    def x(self, ahead: float) -> float:
        """Return where a point so far ahead of the rear hole line [m] lies on the sheet [mm]."""
        return self.origin + self.scale.mm(ahead)


def frame_of(car: Car, found: Stance, *, width: float, size: float, units: Units) -> Frame:
    """Return the common frame of the views from above and from the side, so that one stands over the other.

    Args:
        car: the car.
        found: its stance.
        width: how wide the sheet is [mm].
        size: the height of the type [mm].
        units: the drawing's units.

    Returns:
        The frame: the largest scale that leaves room for the words beside the car.
    """
    body = car.body
    tail, nose = -body.rear_overhang.value, body.length.value - body.rear_overhang.value
    ends = [
        (at.centre[0], car.wheel_at(station).diameter.value / 2.0) for station, at in found.stations.items()
    ]
    back = min(tail, *(x - r for x, r in ends))
    wheel_front = max(x + r for x, r in ends)
    before = text_width(length_text(body.width.value, units=units), size) + 6.0
    beside = text_width(f"raise {length_text(0.00999, units=units)}", size) + 6.0

    def after(scale: Scale) -> float:
        return max(scale.mm(nose) + 8.0, scale.mm(wheel_front) + beside)

    scale = best_scale(lambda scale: before + scale.mm(-back) + after(scale) <= width)
    spare = width - before - scale.mm(-back) - after(scale)
    return Frame(scale=scale, origin=before + scale.mm(-back) + spare / 2.0)


def rail_words(offset: float, *, units: Units, uncertainty: float | None) -> str:
    """Return the rail offset in words.

    Args:
        offset: positive stands off the rail, negative reaches into it [m].
        units: the drawing's units.
        uncertainty: standard uncertainty [m]; None: not written.

    Returns:
        Such as `0.85 off the rail` or `0.30 into the rail`.
    """
    shown = length_text(abs(offset), units=units, uncertainty=uncertainty)
    return f"{shown} {'into' if offset < 0.0 else 'off'} the rail"


def drift_words(found: Stance, *, units: Units, uncertainty: float | None) -> str:
    """Return the drift in words.

    Args:
        found: the stance.
        units: the drawing's units.
        uncertainty: standard uncertainty [m]; None: not written.

    Returns:
        Such as `drifts 86.3 mm right over 1000 mm`.
    """
    drift, system = found.drift, system_of(units)
    over = show(drift.distance, kind=Kind.LENGTH, system=system)
    if drift.lateral is None:
        return f"turns back before it has run {over}"
    return f"drifts {show_sided(drift.lateral, system=system, uncertainty=uncertainty)} over {over}"
