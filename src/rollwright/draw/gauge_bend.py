"""The bend gauge: two plates with the slope of a bent pin, one for the bench and one for the car."""

from __future__ import annotations

import math

from rollwright.car.model import Car
from rollwright.draw.drawing import Drawing
from rollwright.draw.gauge_bend_plates import DAYLIGHT, DEEP, PAST, STRAIGHT_PART, for_the_bench, for_the_car
from rollwright.draw.gauge_words import (
    AT_THE_CUTTER,
    AT_THE_VICE,
    MM,
    THE_MANUAL,
    angle_text,
    assumed_note,
    length_text,
    system_of,
)
from rollwright.errors import OutOfRange
from rollwright.geometry.axle import shank_axis
from rollwright.units import System

__all__ = ["bend_gauge"]

_MARGIN = 6.0
_STRAIGHT = math.radians(0.01)
_STEEPEST = math.radians(20.0)


def bend_gauge(car: Car, *, units: str = "mm", working: float = 0.030) -> Drawing:
    """Return the bend gauge of a car's dominant wheel.

    One plate is for the pin out of the body: the pin lies on its edge, which has the pin's bend. The other is
    for the pin in the body: its straight edge lies on the underside, and its sloping edge has the slope that
    the pin past its bend shows when it is looked at from the front, at its clock. A positive slope runs down
    on the way outward, a negative one up.

    Args:
        car: the car.
        units: what numbers are written in, `mm` or `in`.
        working: distance past the bend at which the rise is told, square to the straight edge [m].

    Returns:
        The drawing, at true scale. The slope in the car is `atan(-u_z / (s u_y))`, with `u` the direction of
        the pin past its bend; the rise is the working distance times the tangent. Exact.

    Raises:
        OutOfRange: the units are not known, the class allows no bent axles, the pin is straight or bent
            beyond 20 degrees, or the working distance is not between 15 and 60 mm.
    """
    system = system_of(units)
    axle, corner, side = car.axle_at(car.dominant), car.corners[car.dominant], car.dominant.side
    bend = axle.bend.value
    _check(car, bend, working)
    u = shank_axis(
        side=side, cant=corner.cant.value, sweep=corner.sweep.value, bend=bend, clock=corner.clock.value
    )
    slope = math.atan2(-u[2], side * u[1])
    reach = working * MM
    level = _MARGIN + DEEP + max(0.0, reach + PAST) * abs(math.tan(slope))
    bench = level + corner.hole_height.value * MM + 12.0
    marks = (
        *for_the_bench(car, bend, reach, at=(_MARGIN + STRAIGHT_PART, bench + DEEP), system=system),
        *for_the_car(car, slope, reach, at=(_MARGIN + STRAIGHT_PART, level), system=system),
    )
    return Drawing(
        name="bend-gauge",
        title=f"Bend gauge for {car.name}, {car.dominant.words}",
        width=2.0 * _MARGIN + STRAIGHT_PART + reach + PAST + 10.0,
        height=bench + DEEP + 12.0 + _MARGIN,
        marks=marks,
        notes=_notes(car, bend, slope, working, system),
        cautions=(AT_THE_VICE, AT_THE_CUTTER, THE_MANUAL),
    )


def _check(car: Car, bend: float, working: float) -> None:
    if not car.bent_axles:
        raise OutOfRange(
            f"{car.name} is built for a class without bent axles, so there is no bend to gauge",
            mend="use the guide block, which holds the sweep of the drill",
            key="setup.bent_axles",
        )
    key = f"axles.{car.corners[car.dominant].axle}.bend"
    if bend < _STRAIGHT:
        raise OutOfRange(
            f"the {car.dominant.words} axle is straight, so there is no bend to gauge",
            mend="plan the bend first, or give the dominant wheel an axle of its own with its bend",
            key=key,
        )
    if bend > _STEEPEST:
        raise OutOfRange(
            f"a bend of {angle_text(bend)} is more than the 20 degrees that this gauge is drawn for",
            mend="check the bend's unit",
            key=key,
        )
    if not 0.015 <= working <= 0.060:
        raise OutOfRange(
            f"a working distance of {working * MM:g} mm is not between 15 and 60 mm",
            mend="give it in metres, such as 0.03",
            key="working",
        )


def _notes(car: Car, bend: float, slope: float, working: float, system: System) -> tuple[str, ...]:
    corner, place = car.corners[car.dominant], car.dominant.value
    names = (
        f"{place}.{name}" for name in ("bend", "clock", "bend_at", "hole_height", "cant", "sweep", "shank")
    )
    one = math.atan(math.tan(bend) + 0.0001 / working) - bend
    return (
        (
            "Pin in the hand: lay its straight part on the straight edge, the bend at the mark, and roll it "
            "until its end is lowest; then it has to lie on the slope."
        ),
        (
            f"At {length_text(working, system=system)} past the bend the pin is "
            f"{length_text(working * math.tan(bend), system=system)} below its straight part; "
            f"{length_text(0.0001, system=system)} there is {angle_text(one)}."
        ),
        (
            f"Pin in the car: turn it to its clock of {angle_text(corner.clock.value, signed=True)} first, "
            "take the wheel off, and hold the plate square to the body."
        ),
        f"Turned so, the pin shows {angle_text(slope)} of its {angle_text(bend)}: the rest is steer.",
        (
            f"The sloping edge lies {length_text(DAYLIGHT / MM, system=system)} below the pin, so look for "
            "daylight that is even from end to end; how wide it is depends on the hole's height."
        ),
        (
            "The plate in the hand comes out right only if it is cut with the print's scale checked: measure "
            "the rise."
        ),
        *assumed_note(car, names, also=("setup.dominant",)),
    )
