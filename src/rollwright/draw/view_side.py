"""The car from its right side, travelling to the right: heights, holes, raise, and the rail behind."""

from __future__ import annotations

import math
from collections.abc import Mapping

from rollwright.car.model import Car, Station
from rollwright.draw.dimension import ARROW, arrow, level, written
from rollwright.draw.drawing import Anchor, Circle, Drawing, Line, Pen, Point, Polyline, Tone
from rollwright.draw.fit import (
    FACTORS,
    Units,
    checked_exaggeration,
    checked_width,
    length_text,
    system_of,
    times,
    type_height,
)
from rollwright.draw.frame import frame_of
from rollwright.draw.labels import Box, Sheet, text_width
from rollwright.draw.wheels import body_thickness
from rollwright.errors import OutOfRange
from rollwright.geometry import Stance
from rollwright.geometry import stance as stance_of

__all__ = ["side_view"]

_MOST_RISE = 4.0
_STEEPEST = 0.5
_SAME_PLACE = 0.3
_TO_SEE = 1e-7


def side_view(
    car: Car,
    *,
    stance: Stance | None = None,
    width: float = 180.0,
    exaggeration: float | None = None,
    units: Units = "mm",
    uncertainties: Mapping[str, float] | None = None,
) -> Drawing:
    """Return a car seen from its right side, its front to the right.

    The body is turned about the rear hole line's underside until the front underside is higher than the rear
    one by the height difference times a factor, which is said below the drawing; everything else is to
    scale. Wheels are drawn as circles, without their lean.

    Args:
        car: the car.
        stance: its stance, where it has been found already.
        width: how wide the drawing is [mm].
        exaggeration: how much larger than life the height difference is drawn; 1 draws all as it is, None
            chooses.
        units: what numbers are written in.
        uncertainties: standard uncertainty of `height_difference` [m], if it is known.

    Returns:
        The drawing.

    Raises:
        OutOfRange: the width, exaggeration or units are no usable ones.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    found = stance_of(car) if stance is None else stance
    return _SideView(car, found, checked_width(width), exaggeration, units, uncertainties or {}).drawn()


class _SideView:
    """The view in the making; the ground is at height 0 until the sheet is cut."""

    def __init__(
        self,
        car: Car,
        found: Stance,
        width: float,
        exaggeration: float | None,
        units: Units,
        uncertainties: Mapping[str, float],
    ) -> None:
        system_of(units)
        self.car, self.found, self.units, self.uncertainties = car, found, units, uncertainties
        self.size = type_height(width)
        self.sheet = Sheet(width=width, size=self.size)
        self.frame = frame_of(car, found, width=width, size=self.size, units=units)
        self.mm = self.frame.scale.mm
        self.doubt = self.uncertainties.get("height_difference", 0.0)
        self.factor = self._factor(exaggeration)
        self.sine = self.factor * found.height_difference / car.body.wheelbase.value
        self.thick = body_thickness(car)
        tops = [
            self.mm(found.stations[station].centre[2] + car.wheel_at(station).diameter.value / 2.0)
            for station in Station
        ]
        tail, nose = -car.body.rear_overhang.value, car.body.length.value - car.body.rear_overhang.value
        self.top_of_all = 2.0 + max(*tops, *(self.body(x, self.thick)[1] for x in (tail, nose)))

    def _factor(self, asked: float | None) -> float:
        rise, base = self.found.height_difference, self.car.body.wheelbase.value
        if asked is None:
            span = abs(rise) + self.doubt
            # A tenth of a micrometre is nothing to look at, and the nose is to stay above the ground.
            if span < _TO_SEE:
                return 1.0
            most = _MOST_RISE / self.mm(1.0)
            if rise < self.doubt:
                most = min(most, 0.8 * self.found.rear)
            return float(max((factor for factor in FACTORS if factor * span <= most), default=1))
        factor = checked_exaggeration(asked)
        if factor > 1.0 and factor * abs(rise) > _STEEPEST * base:
            raise OutOfRange(
                f"{factor:g} times its true size, a height difference of {1e3 * rise:.3g} mm cannot be drawn",
                mend=f"give a factor of at most {max(1.0, _STEEPEST * base / abs(rise)):.3g}",
            )
        return factor

    def body(self, ahead: float, up: float) -> Point:
        """Return where a point of the body lies on the sheet, the body turned as far as it is drawn."""
        cosine = math.sqrt(1.0 - self.sine * self.sine)
        return (
            self.frame.x(ahead * cosine - up * self.sine),
            self.mm(self.found.rear + ahead * self.sine + up * cosine),
        )

    def number(self, length: float) -> str:
        return length_text(length, units=self.units)

    def drawn(self) -> Drawing:
        self.block()
        for station in (Station.REAR_LEFT, Station.FRONT_LEFT, Station.REAR_RIGHT, Station.FRONT_RIGHT):
            self.wheel(station)
        self.underside()
        self.holes(front=False)
        self.holes(front=True)
        self.heights()
        self.raised()
        self.lengths()
        scale = self.frame.scale.label
        self.sheet.caption(
            "from the right side",
            f"{scale}, sizes in {'mm' if self.units == 'mm' else 'inches'}",
            times("height difference", self.factor),
            "top of the body assumed",
        )
        return self.sheet.drawing(
            name="side-view",
            title=f"{self.car.name} from the right side",
            notes=(
                f"Scale {scale}; the height difference is drawn {self.factor:g} times as large as it is.",
                "The body's shape is not in the car's file: a plain block stands for it, its top dashed.",
                "The band behind the wheels is the rail. What is dashed lies on the left side.",
            ),
        )

    def block(self) -> None:
        """Draw rail, ground and body, what lies behind first."""
        body, width = self.car.body, self.sheet.width
        tail, nose = -body.rear_overhang.value, body.length.value - body.rear_overhang.value
        corners = [
            self.body(x, up) for x, up in ((tail, 0.0), (nose, 0.0), (nose, self.thick), (tail, self.thick))
        ]
        rail = self.mm(self.car.rail.height.value)
        self.sheet.add(
            Polyline(
                points=((1.0, 0.0), (width - 1.0, 0.0), (width - 1.0, rail), (1.0, rail)),
                closed=True,
                pen=None,
                tone=Tone.RAIL,
            ),
            Polyline(points=tuple(corners), closed=True, pen=None, tone=Tone.WOOD),
            Polyline(points=(corners[3], corners[0], corners[1], corners[2])),
            Line(start=corners[3], end=corners[2], pen=Pen.HIDDEN),
            Line(start=(1.0, rail), end=(width - 1.0, rail), pen=Pen.HIDDEN),
            Line(start=(1.0, 0.0), end=(width - 1.0, 0.0), pen=Pen.OUTLINE),
        )

    def wheel(self, station: Station) -> None:
        at, wheel = self.found.stations[station], self.car.wheel_at(station)
        hangs = at.hanging_clearance - at.clearance
        centre = (self.frame.x(at.centre[0]), self.mm(at.centre[2] + hangs))
        radius = self.mm(wheel.diameter.value / 2.0)
        if station.side > 0:
            self.sheet.add(Circle(centre=centre, radius=radius, pen=Pen.HIDDEN))
            return
        self.sheet.add(
            Circle(centre=centre, radius=radius, tone=Tone.WHEEL),
            Circle(centre=centre, radius=self.mm(wheel.bore.value / 2.0), tone=Tone.PAPER),
        )

    def underside(self) -> None:
        """Draw the underside from hole line to hole line, and the level that it is compared with."""
        rear, front = self.body(0.0, 0.0), self.body(self.car.body.wheelbase.value, 0.0)
        doubt = self.mm(self.factor * self.doubt)
        if doubt > 0.05:
            ends = ((front[0], front[1] + doubt), (front[0], front[1] - doubt))
            self.sheet.add(Polyline(points=(rear, *ends), closed=True, pen=None, tone=Tone.DOUBT))
        self.sheet.add(Line(start=rear, end=front))
        if abs(front[1] - rear[1]) > 0.1:
            self.sheet.add(Line(start=rear, end=(front[0], rear[1]), pen=Pen.CENTRE))
        rise = self.found.height_difference
        shown = length_text(abs(rise), units=self.units, uncertainty=self.doubt)
        even = not shown.partition("±")[0].strip("0. thou")
        words = f"{shown} {'level' if even else 'nose high' if rise > 0.0 else 'nose low'}"
        middle = (rear[0] + front[0]) / 2.0
        y = max(rear[1], front[1]) + 1.0 * self.size
        # Bold letters are broader than the common breadth; the words have to stay between the wheels.
        radii = max(self.car.wheel_at(station).diameter.value for station in Station)
        room = front[0] - rear[0] - self.mm(radii) - 2.0
        strong = 1.15 * text_width(words, self.size) <= room
        if text_width(words, self.size) > room:
            y = self.top_of_all + 0.7 * self.size
        self.sheet.write(words, (middle, y), strong=strong, step=1.0)

    def holes(self, *, front: bool) -> None:
        """Mark a pair's holes, and write their heights above the body on the line that goes up from them."""
        pair = (Station.FRONT_RIGHT, Station.FRONT_LEFT) if front else (Station.REAR_RIGHT, Station.REAR_LEFT)
        ahead = self.car.body.wheelbase.value if front else 0.0
        places = []
        for station in pair:
            corner = self.car.corners[station]
            place = self.body(ahead + corner.offset.value, corner.hole_height.value)
            places.append(place)
            self.sheet.add(
                Circle(
                    centre=place,
                    radius=self.mm(self.car.axle_at(station).shank.value / 2.0),
                    pen=Pen.OUTLINE if station.side < 0 else Pen.HIDDEN,
                )
            )
        heights = [self.number(self.car.corners[station].hole_height.value) for station in pair]
        same = heights[0] == heights[1] and math.dist(*places) < _SAME_PLACE
        rows = (
            [f"holes {heights[0]} up"]
            if same
            else [
                f"{station.value.split('_')[1]} hole {height} up"
                for station, height in zip(pair, heights, strict=True)
            ]
        )
        x, _ = self.body(ahead, 0.0)
        top = self.top_of_all
        self.sheet.add(Line(start=(x, self.mm(self.found.rear)), end=(x, top), pen=Pen.CENTRE))
        for row, words in enumerate(rows):
            self.sheet.write(words, (x, top + (0.7 + 1.3 * row) * self.size), step=1.0)

    def heights(self) -> None:
        """Draw how high the underside is over the ground at both hole lines, the number below the ground."""
        y = -1.7 * self.size
        for ahead, height, words, outward in (
            (0.0, self.found.rear, "rear", 1),
            (self.car.body.wheelbase.value, self.found.front, "front", -1),
        ):
            x, up = self.body(ahead, 0.0)
            self.sheet.add(
                Line(start=(x, y - 0.5 * self.size), end=(x, min(0.0, up)), pen=Pen.DIMENSION),
                Line(start=(x, up), end=(x, up + 2.0 * ARROW), pen=Pen.DIMENSION),
                Line(start=(x, 0.0), end=(x, up), pen=Pen.DIMENSION),
                arrow((x, 0.0), heading=math.pi / 2.0),
                arrow((x, up), heading=-math.pi / 2.0),
                written(
                    f"{words} {self.number(height)}",
                    (x + outward * 1.2, y),
                    size=self.size,
                    anchor=Anchor.START if outward > 0 else Anchor.END,
                ),
            )

    def raised(self) -> None:
        """Draw the gap under the wheel that does not carry, outside of it."""
        for station in Station:
            if station in self.found.carrying:
                continue
            at, out = self.found.stations[station], 1 if station.is_front else -1
            centre, gap = self.frame.x(at.centre[0]), self.mm(at.hanging_clearance)
            x = centre + out * (self.mm(self.car.wheel_at(station).diameter.value / 2.0) + 2.0)
            y = -1.7 * self.size
            self.sheet.add(
                Line(start=(centre, gap), end=(x + out * 1.0, gap), pen=Pen.DIMENSION),
                Line(start=(x, gap + 2.0 * ARROW), end=(x, y - 0.5 * self.size), pen=Pen.DIMENSION),
                arrow((x, 0.0), heading=math.pi / 2.0),
                arrow((x, gap), heading=-math.pi / 2.0),
            )
            words = f"raise {self.number(at.hanging_clearance)}"
            room = x - 3.2 if out < 0 else self.sheet.width - x - 3.2
            if text_width(words, self.size) <= room:
                anchor = Anchor.START if out > 0 else Anchor.END
                self.sheet.write(words, (x + out * 1.2, y), anchor=anchor)
            else:
                self.sheet.write(words, (x, y - 1.3 * self.size))

    def lengths(self) -> None:
        car, size = self.car, self.size
        body = car.body
        rear, front = (self.body(x, 0.0) for x in (0.0, body.wheelbase.value))
        tail, nose = (
            self.body(x, 0.0)
            for x in (-body.rear_overhang.value, body.length.value - body.rear_overhang.value)
        )
        middle = (rear[0] + front[0]) / 2.0
        words = f"rail {self.number(car.rail.height.value)} high"
        self.sheet.keep_clear(
            Box(rear[0] - 0.5, -3.0 * size, rear[0] + 0.5, 0.0),
            Box(front[0] - 0.5, -3.0 * size, front[0] + 0.5, 0.0),
        )
        text = self.sheet.write(words, (middle, -1.7 * size))
        below = text.at[1] + 0.8 * size
        self.sheet.add(
            Line(
                start=(middle, below), end=(middle, self.mm(car.rail.height.value) / 2.0), pen=Pen.DIMENSION
            ),
            Circle(
                centre=(middle, self.mm(car.rail.height.value) / 2.0), radius=0.35, pen=None, tone=Tone.INK
            ),
        )
        y = self.sheet.lowest() - 1.9 * size
        base = y + 1.5 * size
        self.sheet.add(
            *level((rear[0], base), (front[0], base), y=y, text=self.number(body.wheelbase.value), size=size),
            *level(
                (tail[0], base),
                (rear[0], base),
                y=y,
                text=self.number(body.rear_overhang.value),
                size=size,
                outward=-1,
            ),
        )
        y -= 2.0 * size
        self.sheet.add(
            *level(
                (tail[0], y + 1.6 * size),
                (nose[0], y + 1.6 * size),
                y=y,
                text=self.number(body.length.value),
                size=size,
            )
        )
