"""The guide block: one for each side, which holds a sleeve for the drill at each hole's place and slope."""

from __future__ import annotations

import math

from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Anchor, Drawing, Mark, Text
from rollwright.draw.gauge_drills import Bit, metric_bit, nearest_bit, number_bit
from rollwright.draw.gauge_guide_shape import LEDGE_DEEP, LEDGE_THICK, GuideShape
from rollwright.draw.gauge_guide_views import from_above, from_outside, section
from rollwright.draw.gauge_marks import nameplate
from rollwright.draw.gauge_words import AT_THE_DRILL, MM, THE_MANUAL, assumed_note, length_text, system_of
from rollwright.errors import OutOfRange
from rollwright.units import System

__all__ = ["guide_block"]

_MARGIN = 6.0
_STEP, _WALL = 0.5, 1.5
"""Steps in which sleeves' outside diameters go, and the wall that a sleeve has at least [mm]."""
_BETWEEN = 10.0


def guide_block(
    car: Car,
    *,
    units: str = "mm",
    hole: float | None = None,
    sleeve: float | None = None,
    thickness: float = 0.020,
) -> Drawing:
    """Return the drilling guide blocks of a car, one for each side: from above, from outside, and cut.

    The block stands against the side face before any relief is sanded; its ledge goes under the body and its
    stop behind the tail. Seen from outside, the left block has its front at the left, the right block at the
    right.

    Args:
        car: the car.
        units: what numbers are written in, `mm` or `in`.
        hole: diameter of the wanted hole [m]; None: the shank's of the dominant wheel's axle.
        sleeve: outside diameter of the sleeves that guide the drill [m]; None: 3 mm more than the drill,
            rounded up to half a millimetre.
        thickness: of the block, from the side face to its outer face [m].

    Returns:
        The drawing, at true scale. A sleeve's centre at the outer face is off the one at the body by the
        thickness times `tan(cant) / cos(sweep)` upward and by the thickness times `tan(sweep)` forward.

    Raises:
        OutOfRange: the units are not known, no drill makes the hole, the sleeve leaves no wall round the
            drill, or the block is not between 5 and 60 mm thick.
    """
    system = system_of(units)
    wanted = car.axle_at(car.dominant).shank.value if hole is None else hole
    bit = nearest_bit(wanted)
    if not 0.005 <= thickness <= 0.060:
        raise OutOfRange(
            f"a block {thickness * MM:g} mm thick is not between 5 and 60 mm",
            mend="give its thickness in metres, such as 0.02",
            key="thickness",
        )
    outside = _outside_of(bit, sleeve)
    shapes = [
        GuideShape(car=car, side=side, bore=bit.diameter * MM, sleeve=outside, thick=thickness * MM)
        for side in (-1, 1)
    ]
    marks: list[Mark] = []
    low = _MARGIN
    for shape in shapes:
        side, low = _side(shape, low=low, system=system)
        marks += side
    return Drawing(
        name="guide-block",
        title=f"Drilling guide blocks for {car.name}",
        width=max(190.0, *(shape.length + 2.0 * _MARGIN for shape in shapes)),
        height=low - _BETWEEN + _MARGIN,
        marks=tuple(marks),
        notes=_notes(car, wanted, bit, outside, sleeve, system),
        cautions=(AT_THE_DRILL, THE_MANUAL),
    )


def _outside_of(bit: Bit, sleeve: float | None) -> float:
    """Return the outside diameter of the sleeves [mm]."""
    if sleeve is None:
        return math.ceil((bit.diameter * MM + 2.0 * _WALL) / _STEP) * _STEP
    if not bit.diameter + 0.0005 <= sleeve <= 0.020:
        raise OutOfRange(
            f"a sleeve of {sleeve * MM:g} mm outside does not go round a drill of {bit.diameter * MM:.2f} mm",
            mend="measure the sleeve and give its outside diameter in metres, 20 mm at most",
            key="sleeve",
        )
    return sleeve * MM


def _side(shape: GuideShape, *, low: float, system: System) -> tuple[tuple[Mark, ...], float]:
    """Return the drawings of one side, from the bottom up, and where the next side begins [mm]."""
    sections = low + LEDGE_THICK + 6.0
    outside = sections + shape.top + 13.0 + LEDGE_THICK
    above = outside + shape.top + 8.0
    name = above + shape.thick + LEDGE_DEEP + 8.0
    rear, front = shape.stations
    side = "left" if shape.side > 0 else "right"
    # The front stands at the same end as in the views above.
    first, last = (front, rear) if shape.side > 0 else (rear, front)
    return (
        *nameplate(
            shape.car,
            f"guide block, {side} side",
            "Guides the drill at each hole's height and slope; ledge under the body, stop behind the tail",
            at=(_MARGIN, name),
        ),
        *from_above(shape, left=_MARGIN, low=above),
        *from_outside(shape, left=_MARGIN, ground=outside, system=system),
        Text(
            at=(95.0, sections + shape.top + 2.5),
            text="cut through the sleeves, seen from behind the car",
            height=2.5,
            anchor=Anchor.MIDDLE,
        ),
        *section(shape, first, middle=50.0, ground=sections, system=system),
        *section(shape, last, middle=140.0, ground=sections, system=system),
    ), name + 3.5 + _BETWEEN


def _notes(
    car: Car, wanted: float, bit: Bit, outside: float, sleeve: float | None, system: System
) -> tuple[str, ...]:
    others = [one for one in (number_bit(wanted), metric_bit(wanted)) if one is not None]
    sizes = " and ".join(f"{one.name} is {one.size(system)}" for one in others)
    names = [
        "body.wheelbase",
        *(
            f"{station.value}.{name}"
            for station in Station
            for name in ("hole_height", "cant", "sweep", "offset", "relief")
        ),
        f"{car.dominant.value}.shank",
    ]
    return (
        (
            "Mark the centres out on both faces of the block and drill from one to the other; then measure "
            "both before you trust it."
        ),
        (
            "The heights in the sections are from the ledge to the sleeve's centre, at the body and at the "
            "outer face."
        ),
        "Seat the body on the ledge and against the stop, clamp both, and drill through the sleeve.",
        f"Sleeves: {bit.size(system)} inside for drill {bit.name}, "
        f"{length_text(outside / MM, system=system)} outside"
        + (" (assumed; measure yours)." if sleeve is None else "."),
        (
            f"Nearest drills for a hole of {length_text(wanted, system=system)}: {sizes}. Try it in scrap of "
            "the same wood."
        ),
        *assumed_note(car, names, also=("body.rear_overhang", "setup.dominant")),
    )
