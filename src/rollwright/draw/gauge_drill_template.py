"""The drill template: a paper folded round the body's underside that carries the holes to both sides."""

from __future__ import annotations

import math

from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Anchor, Circle, Drawing, Line, Mark, Pen, Text
from rollwright.draw.gauge_drill_notes import template_notes
from rollwright.draw.gauge_drills import nearest_bit
from rollwright.draw.gauge_marks import box, cross, hole_at, nameplate, pointing, span
from rollwright.draw.gauge_words import (
    AT_THE_DRILL,
    MM,
    THE_MANUAL,
    length_text,
    system_of,
)
from rollwright.errors import OutOfRange
from rollwright.units import System

__all__ = ["drill_template"]

_MARGIN = 6.0
_ABOVE = 8.0
"""How far the paper reaches above the highest hole [mm]."""


def drill_template(car: Car, *, units: str = "mm", hole: float | None = None) -> Drawing:
    """Return the drill template of a car.

    It is drawn as the underside is seen from below, front to the right: the car's right side face is folded
    up at the top, its left side face at the bottom. Hole lines run across all three.

    Args:
        car: the car.
        units: what numbers are written in, `mm` or `in`.
        hole: diameter of the wanted hole [m]; None: the shank's.

    Returns:
        The drawing, at true scale. Crosses lie where the axes of the holes pass the side faces as they are
        before any relief is sanded.

    Raises:
        OutOfRange: the units are not known, no drill makes the hole, or a hole line lies off the body.
    """
    return _Template(car, system_of(units), hole).drawing()


class _Template:
    """Where things lie on the paper [mm]."""

    def __init__(self, car: Car, system: System, hole: float | None) -> None:
        self.car, self.system = car, system
        body = car.body
        self.holes = {
            station: hole_at(car, station, beyond=car.corners[station].relief.value) for station in Station
        }
        self.bits = {
            station: nearest_bit(car.axle_at(station).shank.value if hole is None else hole)
            for station in Station
        }
        nose = body.length.value - body.rear_overhang.value
        if max(along for along, _ in self.holes.values()) >= nose:
            raise OutOfRange(
                f"the front hole line lies {length_text(body.wheelbase.value, system=system)} ahead of the "
                f"rear one, past the nose at {length_text(nose, system=system)}",
                mend="check body.length, body.rear_overhang and body.wheelbase",
                key="body.length",
            )
        self.tail = _MARGIN
        self.nose = _MARGIN + body.length.value * MM
        self.flap = math.ceil(max(high for _, high in self.holes.values()) * MM + _ABOVE)
        self.left_fold = _MARGIN + self.flap
        self.right_fold = self.left_fold + body.width.value * MM
        self.middle = 0.5 * (self.left_fold + self.right_fold)
        self.top = self.right_fold + self.flap

    def along(self, x: float) -> float:
        return self.tail + (self.car.body.rear_overhang.value + x) * MM

    def drawing(self) -> Drawing:
        car = self.car
        return Drawing(
            name="drill-template",
            title=f"Drill template for {car.name}",
            width=self.nose + _MARGIN,
            height=self.top + _MARGIN,
            marks=(
                *self.paper(),
                *(mark for station in Station for mark in self.hole(station)),
                *self.words(),
            ),
            notes=template_notes(car, holes=self.holes, bits=self.bits, system=self.system),
            cautions=(AT_THE_DRILL, THE_MANUAL),
        )

    def paper(self) -> tuple[Mark, ...]:
        rear, front = self.along(0.0), self.along(self.car.body.wheelbase.value)
        across = (_MARGIN, self.top)
        return (
            box((self.tail, _MARGIN), (self.nose, self.top), pen=Pen.CUT_OUTER),
            *(
                Line(start=(self.tail, y), end=(self.nose, y), pen=Pen.SCORE)
                for y in (self.left_fold, self.right_fold)
            ),
            Line(start=(self.tail, self.middle), end=(self.nose, self.middle), pen=Pen.CENTRE),
            *(Line(start=(x, across[0]), end=(x, across[1]), pen=Pen.CENTRE) for x in (rear, front)),
        )

    def hole(self, station: Station) -> tuple[Mark, ...]:
        x, high = self.along(self.holes[station][0]), self.holes[station][1]
        upright = station.side < 0
        away = 1.0 if upright else -1.0
        fold = self.right_fold if upright else self.left_fold
        at = (x, fold + away * high * MM)
        toward = -1.0 if station.is_front else 1.0
        # Seen from outside, the folded left side face is upright with its front to the left.
        starts = station.is_front is not upright
        role = {self.car.dominant: ", dominant", self.car.raised: ", raised"}.get(station, "")
        lines = (f"{station.words}{role}", f"{length_text(high, system=self.system)} above the fold")
        return (
            Circle(centre=at, radius=0.5 * self.bits[station].diameter * MM, pen=Pen.SCORE),
            *cross(at, arm=4.0),
            *(
                Text(
                    at=(x + toward * 5.5, at[1] + away * up),
                    text=text,
                    height=2.8,
                    anchor=Anchor.START if starts else Anchor.END,
                    turn=0.0 if upright else math.pi,
                )
                for text, up in zip(lines, (1.2, -3.4), strict=True)
            ),
        )

    def words(self) -> tuple[Mark, ...]:
        body, system = self.car.body, self.system
        rear, front = self.along(0.0), self.along(body.wheelbase.value)
        half = 0.5 * (rear + front)
        low = self.middle - 15.0
        return (
            *nameplate(
                self.car,
                "drill template",
                "Fold round the underside, prick the holes through",
                at=(half, self.middle + 9.5),
                anchor=Anchor.MIDDLE,
            ),
            *pointing(
                (half - 22.0, self.middle - 5.5), (half + 14.0, self.middle - 5.5), head=4.0, pen=Pen.OUTLINE
            ),
            Text(at=(half + 17.0, self.middle - 7.0), text="FRONT", height=4.5, strong=True),
            *span(
                (rear, low), (front, low), length_text(body.wheelbase.value, system=system), beside=(0.0, 1.2)
            ),
            *span(
                (self.tail, low),
                (rear, low),
                length_text(body.rear_overhang.value, system=system),
                beside=(0.0, 1.2),
            ),
            Text(
                at=(self.tail + 4.0, self.middle + 2.0),
                text="tail",
                height=2.8,
            ),
            *(
                Text(at=(half, y), text="fold: edge of the underside", height=2.5, anchor=Anchor.MIDDLE)
                for y in (self.left_fold + 1.2, self.right_fold - 3.0)
            ),
        )
