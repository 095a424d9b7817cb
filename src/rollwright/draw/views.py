"""The front door to a car's views: each a pure function from car and stance to a drawing."""

from __future__ import annotations

from collections.abc import Mapping

from rollwright.car.model import Car
from rollwright.draw.drawing import Drawing
from rollwright.draw.fit import Units
from rollwright.draw.ring import RingState, ring, ring_state
from rollwright.draw.view_front import front_view, rear_view
from rollwright.draw.view_path import board_view
from rollwright.draw.view_side import side_view
from rollwright.draw.view_top import top_view
from rollwright.geometry import Stance
from rollwright.geometry import stance as stance_of

__all__ = [
    "VIEWS",
    "RingState",
    "board_view",
    "front_view",
    "rear_view",
    "ring",
    "ring_state",
    "side_view",
    "top_view",
    "view_named",
]

VIEWS = ("top", "side", "front", "rear", "board")
"""The names of the views, in the order in which they are shown."""


def view_named(
    name: str,
    car: Car,
    *,
    stance: Stance | None = None,
    width: float = 180.0,
    exaggeration: float | None = None,
    units: Units = "mm",
    uncertainties: Mapping[str, float] | None = None,
) -> Drawing:
    """Return one of a car's views by its name.

    Args:
        name: one of `VIEWS`.
        car: the car.
        stance: its stance, where it has been found already.
        width: how wide the drawing is [mm].
        exaggeration: how much larger than life angles, or lengths across the board, are drawn; 1 draws all as
            it is, None chooses.
        units: what numbers are written in.
        uncertainties: standard uncertainties of `height_difference`, `drift` and `rail_offset` [m], as far as
            they are known.

    Returns:
        The drawing.

    Raises:
        KeyError: there is no view of this name.
        OutOfRange: the width, exaggeration or units are no usable ones.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    found = stance_of(car) if stance is None else stance
    known = uncertainties or {}
    if name == "board":
        return board_view(
            car,
            stance=found,
            width=width,
            exaggeration=exaggeration,
            units=units,
            uncertainty=known.get("drift"),
        )
    draw = {"top": top_view, "side": side_view, "front": front_view, "rear": rear_view}[name]
    return draw(car, stance=found, width=width, exaggeration=exaggeration, units=units, uncertainties=known)
