"""Views of a drilling guide block: from above, from outside, and cut through a sleeve."""

from __future__ import annotations

from rollwright.car.model import Station
from rollwright.draw.drawing import Anchor, Circle, Line, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.gauge_guide_shape import LEDGE_DEEP, LEDGE_THICK, GuideShape
from rollwright.draw.gauge_marks import box, cross, pointing, span, tube
from rollwright.draw.gauge_words import MM, angle_text, length_text
from rollwright.units import System

__all__ = ["from_above", "from_outside", "section"]

_BODY = 26.0
"""How much of the body a section shows [mm]."""


def from_above(shape: GuideShape, *, left: float, low: float) -> tuple[Mark, ...]:
    """Return the block from above, its outer face at the bottom of the sheet.

    Args:
        shape: the block.
        left: the sheet's place of its left end [mm].
        low: the sheet's place of its outer face [mm].

    Returns:
        The marks.
    """
    high = low + shape.thick
    stop = sorted(left + shape.across(x) for x in (shape.ends[0], shape.tail))
    marks: list[Mark] = [
        box((left, low), (left + shape.length, high)),
        box((stop[0], high), (stop[1], high + LEDGE_DEEP)),
        Text(
            at=(left + 0.5 * shape.length, high + 2.0),
            text="from above: the body lies along this edge, its tail against the stop",
            height=2.5,
            anchor=Anchor.MIDDLE,
        ),
    ]
    for station in shape.stations:
        inner = (left + shape.across(shape.inner(station)[0]), high)
        outer = (left + shape.across(shape.outer(station)[0]), low)
        marks += tube(inner, outer, diameters=(shape.sleeve, shape.bore), pen=Pen.HIDDEN)
        sweep = shape.car.corners[station].sweep.value
        if sweep:
            inward = -1.0 if outer[0] > left + 0.5 * shape.length else 1.0
            marks.append(
                Text(
                    at=(outer[0] + inward * (0.5 * shape.sleeve + 3.0), low + 0.45 * shape.thick),
                    text=f"sweep {angle_text(sweep, signed=True)}",
                    height=2.8,
                    anchor=Anchor.END if inward < 0.0 else Anchor.START,
                )
            )
    return tuple(marks)


def from_outside(shape: GuideShape, *, left: float, ground: float, system: System) -> tuple[Mark, ...]:
    """Return the block seen from outside: what is marked out on its outer face.

    Args:
        shape: the block.
        left: the sheet's place of its left end [mm].
        ground: the sheet's place of the ledge's upper side [mm].
        system: which units to write.

    Returns:
        The marks.
    """
    rear, front = (shape.outer(station) for station in shape.stations)
    below = ground - LEDGE_THICK
    tail = left + shape.across(shape.tail)
    places = [(left + shape.across(x), ground + high) for x, high in (rear, front)]
    middle, out = 0.5 * (places[0][0] + places[1][0]), -float(shape.side)
    marks: list[Mark] = [
        box((left, below), (left + shape.length, ground + shape.top)),
        Line(start=(left, ground), end=(left + shape.length, ground), pen=Pen.HIDDEN),
        Line(start=(tail, below), end=(tail, ground + shape.top), pen=Pen.HIDDEN),
        Text(
            at=(middle, ground + 0.5 * shape.top + 2.0), text="outer face", height=3.5, anchor=Anchor.MIDDLE
        ),
        Text(at=(middle, ground + 0.5 * shape.top - 5.0), text="front", height=3.5, anchor=Anchor.MIDDLE),
        *pointing(
            (middle + out * 7.0, ground + 0.5 * shape.top - 4.0),
            (middle + out * 22.0, ground + 0.5 * shape.top - 4.0),
            head=3.0,
        ),
    ]
    for place in places:
        marks += (
            Circle(centre=place, radius=0.5 * shape.sleeve),
            Circle(centre=place, radius=0.5 * shape.bore),
            *cross(place, arm=0.5 * shape.sleeve + 2.0),
        )
    line = below - 5.0
    stations = (tail, places[0][0], places[1][0])
    reaches = ((rear[0] - shape.tail) / MM, (front[0] - rear[0]) / MM)
    for start, end, reach in zip(stations, stations[1:], reaches, strict=False):
        text = length_text(reach, system=system)
        marks += span((start, line), (end, line), text, beside=(0.0, 1.0))
    marks += [
        Line(start=(x, line - 1.0), end=(x, y), pen=Pen.DIMENSION)
        for x, y in zip(stations, (below, places[0][1], places[1][1]), strict=True)
    ]
    return tuple(marks)


def section(
    shape: GuideShape, station: Station, *, middle: float, ground: float, system: System
) -> tuple[Mark, ...]:
    """Return the block cut through a sleeve, seen from behind the car.

    Args:
        shape: the block.
        station: whose sleeve.
        middle: the sheet's place of the body's side face [mm].
        ground: the sheet's place of the ledge's upper side [mm].
        system: which units to write.

    Returns:
        The marks. Where the hole is swept the sleeve is seen aslant, and the slope is that which the eye
        sees.
    """
    out = -1.0 if shape.side > 0 else 1.0

    def at(outward: float, high: float) -> Point:
        return (middle + out * outward, ground + high)

    inner, outer = shape.inner(station)[1], shape.outer(station)[1]
    corners = [(0.0, 0.0), (-_BODY, 0.0), (-_BODY, shape.top), (0.0, shape.top)]
    block = [
        (0.0, 0.0),
        (-LEDGE_DEEP, 0.0),
        (-LEDGE_DEEP, -LEDGE_THICK),
        (shape.thick, -LEDGE_THICK),
        (shape.thick, shape.top),
        (0.0, shape.top),
    ]
    beside = shape.thick + 5.0
    inward = Anchor.END if out > 0.0 else Anchor.START
    outward = Anchor.START if out > 0.0 else Anchor.END
    role = {shape.car.dominant: ", dominant", shape.car.raised: ", raised"}.get(station, "")
    cant = angle_text(shape.car.corners[station].cant.value, signed=True)
    return (
        Polyline(points=tuple(at(*corner) for corner in corners), closed=True, pen=Pen.HAIR, tone=Tone.WOOD),
        Polyline(points=tuple(at(*corner) for corner in block), closed=True),
        *tube(at(0.0, inner), at(shape.thick, outer), diameters=(shape.sleeve, shape.bore), pen=Pen.OUTLINE),
        *span(
            at(-6.0, 0.0),
            at(-6.0, inner),
            length_text(inner / MM, system=system),
            beside=(-out * 1.5, -1.0),
            anchor=inward,
        ),
        Line(start=at(0.0, inner), end=at(-7.5, inner), pen=Pen.DIMENSION),
        *span(
            at(beside, 0.0),
            at(beside, outer),
            length_text(outer / MM, system=system),
            beside=(out * 1.5, -1.0),
            anchor=outward,
        ),
        Line(start=at(shape.thick, 0.0), end=at(beside + 1.5, 0.0), pen=Pen.DIMENSION),
        Line(start=at(shape.thick, outer), end=at(beside + 1.5, outer), pen=Pen.DIMENSION),
        Text(at=at(-_BODY + 1.5, shape.top - 4.0), text="body", height=2.5, anchor=outward),
        Text(
            at=at(0.0, -LEDGE_THICK - 4.5),
            text=f"{station.words}{role}: cant {cant}",
            height=3.0,
            anchor=Anchor.MIDDLE,
            strong=True,
        ),
    )
