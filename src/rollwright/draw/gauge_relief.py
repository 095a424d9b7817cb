"""The relief gauge: bars whose tongues stand out by steps, up to the relief that the dominant wheel needs."""

from __future__ import annotations

import math

from rollwright.car.model import Car
from rollwright.draw.drawing import Anchor, Drawing, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.gauge_marks import nameplate
from rollwright.draw.gauge_relief_steps import LEAST, relief_steps
from rollwright.draw.gauge_words import (
    AT_THE_CUTTER,
    AT_THE_SANDER,
    MM,
    THE_MANUAL,
    assumed_note,
    length_text,
    system_of,
)
from rollwright.errors import OutOfRange
from rollwright.units import System

__all__ = ["relief_gauge"]

_MARGIN = 6.0
_LONG, _DEEP = 110.0, 16.0
_TONGUE, _NOTCH, _NOTCH_DEEP = 20.0, 4.0, 3.0
_BETWEEN = 5.0


def relief_gauge(car: Car, *, units: str = "mm") -> Drawing:
    """Return the relief gauge of a car's dominant wheel.

    Each bar serves two depths: its lower edge for one and, turned half round, its upper edge for the next.
    The long straight edge lies on the side face where no wood is taken, the tongue reaches into the relief.

    Args:
        car: the car; the relief planned at its dominant wheel is the target.
        units: what numbers are written in, `mm` or `in`.

    Returns:
        The drawing, at true scale; the target's tongue is hatched.

    Raises:
        OutOfRange: the units are not known, or no relief that can be gauged is planned.
    """
    system = system_of(units)
    depth, key = car.corners[car.dominant].relief.value, f"stations.{car.dominant.value}.relief"
    if depth < LEAST:
        raise OutOfRange(
            f"no relief is planned at the {car.dominant.words} wheel of {car.name}",
            mend="plan one first; where the wheel has to come out, use washers",
            key=key,
        )
    try:
        depths = relief_steps(depth, units=units)
    except OutOfRange as error:
        raise type(error)(error.problem, mend=error.mend, key=key) from None
    pairs = [depths[number : number + 2] for number in range(0, len(depths), 2)]
    pitch = _DEEP + 2.0 * max(depths) * MM + _BETWEEN
    bars: list[Mark] = []
    for row, pair in enumerate(reversed(pairs)):
        low = _MARGIN + row * pitch + max(depths) * MM
        bars += _bar(car, pair, target=depth, last=depths[-1], at=(_MARGIN, low), system=system)
    top = _MARGIN + len(pairs) * pitch
    return Drawing(
        name="relief-gauge",
        title=f"Relief gauge for {car.name}, {car.dominant.words}",
        width=_LONG + 2.0 * _MARGIN,
        height=top + 14.0,
        marks=(
            *nameplate(
                car,
                f"relief gauge, {car.dominant.words}",
                "Edge on unsanded wood, tongue in the relief; stop at the hatched one",
                at=(_MARGIN, top + 8.0),
                room=_LONG,
            ),
            *bars,
        ),
        notes=_notes(car, depths, system),
        cautions=(AT_THE_SANDER, AT_THE_CUTTER, THE_MANUAL),
    )


def _edge(step: float) -> tuple[Point, ...]:
    """Return a bar's lower edge from the left: straight, a notch for the ridge, the tongue [mm]."""
    root = _LONG - _TONGUE - _NOTCH
    return (
        (0.0, 0.0),
        (root, 0.0),
        (root, _NOTCH_DEEP),
        (_LONG - _TONGUE, _NOTCH_DEEP),
        (_LONG - _TONGUE, -step),
        (_LONG, -step),
    )


def _bar(
    car: Car, pair: tuple[float, ...], *, target: float, last: float, at: Point, system: System
) -> tuple[Mark, ...]:
    """Return a bar for one or two depths; `at` is the left end of its lower straight edge."""
    left, low = at

    def turned(point: Point) -> Point:
        return (_LONG - point[0], _DEEP - point[1])

    lower = _edge(pair[0] * MM)
    # The lower edge's last point and the upper edge's first are the bar's right end, and the other way about.
    upper = tuple(map(turned, _edge(pair[1] * MM))) if len(pair) == 2 else ((_LONG, _DEEP), (0.0, _DEEP))
    marks: list[Mark] = []
    for number, depth in enumerate(pair):
        tongue = (
            (_LONG - _TONGUE, -depth * MM),
            (_LONG, -depth * MM),
            (_LONG, _DEEP - 4.0),
            (_LONG - _TONGUE, _DEEP - 4.0),
        )
        if depth == target and depth != last:
            shape = tuple(turned(point) for point in tongue) if number else tongue
            marks.append(
                Polyline(
                    points=tuple((left + x, low + y) for x, y in shape), closed=True, pen=None, tone=Tone.BAND
                )
            )
    marks.append(
        Polyline(
            points=tuple((left + x, low + y) for x, y in (*lower, *upper)), closed=True, pen=Pen.CUT_OUTER
        )
    )
    for number, depth in enumerate(pair):
        word = "stop here" if depth == target else "too deep" if depth == last else ""
        place = (_LONG - _TONGUE - 6.0, 3.0)
        x, y = turned(place) if number else place
        marks.append(
            Text(
                at=(left + x, low + y),
                text=f"{word} {length_text(depth, system=system)}".strip(),
                height=3.5,
                anchor=Anchor.END,
                turn=math.pi if number else 0.0,
                strong=depth == target,
            )
        )
    name = car.name if len(car.name) <= 10 else car.name[:9].rstrip() + "…"
    text = f"{name}, {car.dominant.words}"
    marks.append(Text(at=(left + 0.5 * _LONG, low + 7.0), text=text, height=2.4, anchor=Anchor.MIDDLE))
    return tuple(marks)


def _notes(car: Car, depths: tuple[float, ...], system: System) -> tuple[str, ...]:
    return (
        (
            "Sand, lay a bar's straight edge on the side face where no wood is taken, and slide its tongue "
            "into the relief: while the edge rocks the depth is not reached, and as soon as it lies flat it "
            "is."
        ),
        (
            f"Begin with the smallest and stop at {length_text(depths[-2], system=system)}; wood does not "
            "come back."
        ),
        "Where the wheel is centred by reading it on the rail, stop a step early and read.",
        (
            "Steps so fine are lost in the width of a cut: measure each tongue against its straight edge "
            "with a caliper, file it, and write what it is on the bar."
        ),
        *assumed_note(car, (f"{car.dominant.value}.relief",), also=("setup.dominant",)),
    )
