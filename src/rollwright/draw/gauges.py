"""Gauges and guides worked out from one car, by name, as drawings at true scale."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Protocol

from rollwright.car.model import Car
from rollwright.draw.drawing import Drawing
from rollwright.draw.gauge_bend import bend_gauge
from rollwright.draw.gauge_board import board_scale
from rollwright.draw.gauge_centring_block import centring_block
from rollwright.draw.gauge_drill_template import drill_template
from rollwright.draw.gauge_guide_block import guide_block
from rollwright.draw.gauge_height import height_comparator
from rollwright.draw.gauge_relief import relief_gauge
from rollwright.draw.gauge_washers import washer_shims
from rollwright.errors import MissingReference, echo

__all__ = [
    "GAUGES",
    "Gauge",
    "bend_gauge",
    "board_scale",
    "centring_block",
    "drill_template",
    "gauge",
    "guide_block",
    "height_comparator",
    "relief_gauge",
    "washer_shims",
]


class Gauge(Protocol):
    """A function that draws one aid for a car."""

    def __call__(self, car: Car, /, *, units: str = "mm") -> Drawing:
        """Return the drawing, its numbers written in `units`: `mm` or `in`."""


GAUGES: Mapping[str, Gauge] = MappingProxyType(
    {
        "drill-template": drill_template,
        "guide-block": guide_block,
        "bend-gauge": bend_gauge,
        "centring-block": centring_block,
        "relief-gauge": relief_gauge,
        "height-comparator": height_comparator,
        "board-scale": board_scale,
        "washer-shims": washer_shims,
    }
)
"""The aids in the order of the work. A drawing has the name of its aid."""


def gauge(name: str, car: Car, *, units: str = "mm") -> Drawing:
    """Return one of the aids for a car.

    Args:
        name: which, a key of `GAUGES`.
        car: the car.
        units: what numbers are written in, `mm` or `in`.

    Returns:
        The drawing, at true scale.

    Raises:
        MissingReference: there is no such aid.
        InputError: the aid makes no sense for this car, or the car lacks what it is drawn from; each aid says
            which.
    """
    if name not in GAUGES:
        raise MissingReference(
            f"there is no gauge called {echo(name)}", mend=f"choose one of {', '.join(GAUGES)}"
        )
    return GAUGES[name](car, units=units)
