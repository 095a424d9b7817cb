"""The height comparator: a long wedge that is slid under the body and shows how high its underside is."""

from __future__ import annotations

import math

from rollwright.car.assumed import assumed_for_stance, assumed_for_targets
from rollwright.car.model import Car
from rollwright.draw.drawing import Drawing, Line, Pen, Text
from rollwright.draw.gauge_height_wedge import HANDLE_HIGH, HANDLE_LONG, MARGIN, NUMBERS, STEPS, Wedge
from rollwright.draw.gauge_marks import nameplate
from rollwright.draw.gauge_words import (
    AT_THE_CUTTER,
    THE_MANUAL,
    assumed_keys_note,
    length_text,
    system_of,
)
from rollwright.errors import OutOfRange
from rollwright.geometry import stance
from rollwright.units import System

__all__ = ["height_comparator"]

_LOWEST = 0.004
"""Least underside height that a wedge can be made for [m]."""
_THINNEST = 0.0032
"""Height of the thinnest end that still has room for lines and numbers [m]."""


def height_comparator(car: Car, *, units: str = "mm") -> Drawing:
    """Return the height comparator of a car.

    A vertical scale so fine cannot be drawn at true scale, so the wedge rises by 1 in 20 and its lines stand
    twenty times as far apart as the heights that they mean.

    Args:
        car: the car; where it sits and its target height difference are marked.
        units: what numbers are written in, `mm` or `in`.

    Returns:
        The drawing, at true scale. The line for a height stands `20 (height - base)` from the thin end, with
        the base the wedge's height there; hatched is the front's target band, `rear + value ± tolerance`.

    Raises:
        OutOfRange: the units are not known, or the underside is lower than 4 mm above the ground.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair.
    """
    system = system_of(units)
    steps = STEPS[system]
    rear = stance(car).rear
    goal = car.targets.height_difference
    low, high = rear + min(0.0, goal.low), rear + max(0.0, goal.high)
    if low < _LOWEST:
        raise OutOfRange(
            f"an underside {length_text(low, system=system)} above the ground is too low for a wedge; "
            "4 mm is the least",
            mend="check the wheels' diameter and the hole heights",
            key="stations",
        )
    each = steps.line * steps.long
    base = max(math.ceil(_THINNEST / each), math.floor((low - steps.reach) / each)) * each
    top = math.ceil((high + steps.reach) / each) * each
    wedge = Wedge(base=base, top=top, system=system)
    return Drawing(
        name="height-comparator",
        title=f"Height comparator for {car.name}",
        width=wedge.end + HANDLE_LONG + 2.0 * MARGIN,
        height=HANDLE_HIGH + 2.0 * MARGIN,
        marks=(
            *wedge.band(rear + goal.low, rear + goal.high),
            wedge.outline(),
            *wedge.lines(steps),
            Line(start=(wedge.at(rear), NUMBERS), end=wedge.edge(rear), pen=Pen.SCORE),
            *nameplate(
                car,
                "height comparator",
                f"Slide under the body; a line is {length_text(steps.line, system=system)}",
                at=(MARGIN + wedge.end + 4.0, MARGIN + 17.0),
                height=3.2,
                room=HANDLE_LONG - 7.0,
            ),
            Text(
                at=(MARGIN + wedge.end + 4.0, MARGIN + 8.0),
                text=f"longest line: rear, planned {length_text(rear, system=system)}",
                height=2.6,
            ),
            Text(
                at=(MARGIN + wedge.end + 4.0, MARGIN + 3.5),
                text=f"hatched: front, {length_text(rear + goal.value, system=system)} "
                f"± {length_text(goal.tolerance, system=system)}",
                height=2.6,
            ),
        ),
        notes=_notes(car, system),
        cautions=(AT_THE_CUTTER, THE_MANUAL),
    )


def _notes(car: Car, system: System) -> tuple[str, ...]:
    unit = "millimetres" if system is System.METRIC else "thousandths of an inch"
    apart = length_text(car.body.wheelbase.value, system=system)
    keys = (*assumed_for_stance(car), *assumed_for_targets(car))
    return (
        (
            "Stand the car on a flat plate. Slide the wedge under the body from the side, square to it and "
            "thin end first, until it touches the lower edge: the side face points at the height."
        ),
        (
            f"Numbers are {unit}. Read at front and rear, left and right, and take the mean of left and "
            "right at each end."
        ),
        (
            f"Where the wheels keep you from the hole lines, the two places are not {apart} apart: divide "
            f"the difference by their distance and multiply by {apart}."
        ),
        (
            "Front against rear is what counts; that the rear reads other than planned only says that "
            "wheels or holes are not as in the file."
        ),
        "Cut it from sheet that stands on edge without bending, and check two lines with a caliper.",
        *assumed_keys_note(keys),
    )
