"""The washers: rings and slotted shims of a sheet's thickness, as many as the wheels need."""

from __future__ import annotations

from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Circle, Drawing, Mark, Pen, Polyline, Text
from rollwright.draw.gauge_marks import nameplate
from rollwright.draw.gauge_washer_plan import LEAST, WasherPlan, washer_plan
from rollwright.draw.gauge_washer_ring import FREE, Ring
from rollwright.draw.gauge_words import AT_THE_CUTTER, MM, THE_MANUAL, assumed_note, length_text, system_of
from rollwright.errors import OutOfRange
from rollwright.units import System

__all__ = ["washer_shims"]

_MARGIN = 6.0
_LARGER = 4.0
"""How many times larger the sketch with its dimensions is [1]."""


def washer_shims(
    car: Car, *, units: str = "mm", sheet: float | None = None, outside: float | None = None
) -> Drawing:
    """Return the washers and slotted shims that a car's wheels need, to be cut from sheet.

    Args:
        car: the car; wheels whose washer is nothing are left out.
        units: what numbers are written in, `mm` or `in`.
        sheet: thickness of the sheet at hand [m]; None: one is chosen for each wheel.
        outside: outside diameter [m], less than the hub's; None: the hole and 1.25 mm all round, rounded up
            to half a millimetre, which is an assumption, as the hub's size is not in a car's file.

    Returns:
        The drawing, at true scale, with a spare of each kind for each wheel, and a sketch four times larger.

    Raises:
        OutOfRange: the units are not known, no wheel has a washer, the washers cannot be made of a few layers
            of the sheet, or the outside leaves no ring round the pin.
    """
    system = system_of(units)
    plans = {
        station: washer_plan(corner.washer.value, units=units, sheet=sheet)
        for station in Station
        if (corner := car.corners[station]).washer.value >= LEAST
    }
    if not plans:
        raise OutOfRange(
            f"no wheel of {car.name} has a washer",
            mend="plan one first; where the wheel has to come in, sand a relief",
            key=f"stations.{car.dominant.value}.washer",
        )
    sizes = {station: Ring.of(car, station, outside) for station in plans}
    marks: list[Mark] = []
    y = _MARGIN
    wide = 100.0
    for station, plan in reversed(plans.items()):
        row, right = _row(station, plan, sizes[station], low=y, system=system)
        marks += row
        wide = max(wide, right)
        y += 2.0 * sizes[station].outer + 9.0
    first = sizes[next(iter(plans))]
    marks += _sketch(first, low=y + 8.0, system=system)
    top = y + 8.0 + 2.0 * _LARGER * first.outer + 14.0
    marks += nameplate(
        car, "washers", "Between body and hub: cut, then measure each", at=(_MARGIN, top), room=wide - _MARGIN
    )
    return Drawing(
        name="washer-shims",
        title=f"Washers for {car.name}",
        width=wide + _MARGIN,
        height=top + 3.5 + _MARGIN,
        marks=tuple(marks),
        notes=_notes(car, plans, sizes, outside, system),
        cautions=(AT_THE_CUTTER, THE_MANUAL),
    )


def _row(
    station: Station, plan: WasherPlan, size: Ring, *, low: float, system: System
) -> tuple[tuple[Mark, ...], float]:
    """Return a wheel's rings and slotted shims with their label above, and how far right they go [mm]."""
    pitch = 2.0 * size.outer + 4.0
    y = low + size.outer
    marks: list[Mark] = []
    x = _MARGIN + size.outer
    for _ in range(plan.count + 1):
        marks.append(Circle(centre=(x, y), radius=size.outer, pen=Pen.CUT_OUTER))
        marks.append(Circle(centre=(x, y), radius=size.inner, pen=Pen.CUT_INNER))
        x += pitch
    x += 6.0
    for _ in range(plan.count + 1):
        marks.append(Polyline(points=size.slotted((x, y)), closed=True, pen=Pen.CUT_OUTER))
        x += pitch
    total = length_text(plan.count * plan.sheet, system=system)
    sheet = length_text(plan.sheet, system=system)
    marks.append(
        Text(
            at=(_MARGIN, y + size.outer + 2.0),
            text=f"{station.words}: {plan.count} × {sheet} = {total}; one spare of each kind",
            height=2.8,
        )
    )
    return tuple(marks), x - pitch + size.outer


def _sketch(size: Ring, *, low: float, system: System) -> tuple[Mark, ...]:
    """Return a ring and a slotted shim four times larger, with their dimensions."""
    inner, outer = _LARGER * size.inner, _LARGER * size.outer
    y = low + outer
    ring, slotted = (_MARGIN + outer, y), (_MARGIN + 3.0 * outer + 8.0, y)
    right = slotted[0] + outer + 6.0
    hole = length_text(2.0 * size.inner / MM, system=system)
    across = length_text(2.0 * size.outer / MM, system=system)
    lines = ("4 times larger, not to cut", f"outside {across}", f"hole and slot {hole}")
    return (
        Circle(centre=ring, radius=outer),
        Circle(centre=ring, radius=inner),
        Polyline(points=size.slotted(slotted, times=_LARGER), closed=True),
        *(
            Text(at=(right, y + 5.0 - 5.0 * number), text=text, height=2.8)
            for number, text in enumerate(lines)
        ),
    )


def _notes(
    car: Car,
    plans: dict[Station, WasherPlan],
    sizes: dict[Station, Ring],
    outside: float | None,
    system: System,
) -> tuple[str, ...]:
    def told(station: Station, plan: WasherPlan) -> str:
        left = plan.left_over
        rest = (
            ""
            if abs(left) < LEAST
            else f", {length_text(abs(left), system=system)} {'less' if left > 0.0 else 'more'} than wanted"
        )
        return (
            f"{station.words.capitalize()}: {plan.count} of {length_text(plan.sheet, system=system)} for "
            f"{length_text(plan.total, system=system)}{rest}."
        )

    names = [f"{station.value}.{name}" for station in plans for name in ("washer", "shank")]
    widest = length_text(max(size.outer for size in sizes.values()) * 2.0 / MM, system=system)
    return (
        *(told(station, plan) for station, plan in plans.items()),
        "Rings go on before the wheel; slotted ones slip over the pin with the wheel in place, slot upward.",
        (
            f"The hole is {length_text(FREE / MM, system=system)} wider than the pin (assumed), so that the "
            "ring turns freely."
        ),
        *(
            (
                (
                    f"The outside of {widest} is assumed: it must be less than the hub's, which you have to "
                    "measure."
                ),
            )
            if outside is None
            else ()
        ),
        "Take off the burr, measure the stack with a caliper, and enter what it is, not what it should be.",
        *assumed_note(car, names),
    )
