"""The car from in front and from behind: camber, cant, hubs and play, and the rail between the wheels."""

from __future__ import annotations

import math
from collections.abc import Mapping

from rollwright.car.model import Car, Station
from rollwright.draw.dimension import angle_between, arrow, leader
from rollwright.draw.drawing import Anchor, Drawing, Line, Pen, Point, Polyline, Tone
from rollwright.draw.fit import (
    Scale,
    Units,
    angle_text,
    best_scale,
    checked_width,
    length_text,
    system_of,
    times,
    type_height,
)
from rollwright.draw.frame import rail_words
from rollwright.draw.labels import Sheet, box_of, text_width
from rollwright.draw.wheels import (
    HEAD,
    Factors,
    WheelDrawn,
    angle_factor,
    body_thickness,
    drawn_rail,
    drawn_wheel,
    gap_factor,
    in_track_frame,
    strip,
)
from rollwright.geometry import Stance
from rollwright.geometry import stance as stance_of
from rollwright.geometry.vector import Vector

__all__ = ["front_view", "rear_view"]

_MOST_LEAN = math.radians(14.0)
_SIDE_ROOM = 8.0
_INSET = 4.0
_PIN_INSIDE = 0.11
_WIDEST_GAP = 0.055
_SMALLEST = 5e-6


def front_view(
    car: Car,
    *,
    stance: Stance | None = None,
    width: float = 180.0,
    exaggeration: float | None = None,
    units: Units = "mm",
    uncertainties: Mapping[str, float] | None = None,
) -> Drawing:
    """Return a car's front pair seen from in front: the car's left side is on the viewer's right.

    Camber and cant are drawn larger than life by one factor and small gaps (washers, play, relief, the
    dominant wheel's gap to the rail) by another, both said below it; the rail's width takes up what the gaps
    gain. Everything else is to scale.

    Args:
        car: the car.
        stance: its stance, where it has been found already.
        width: how wide the drawing is [mm].
        exaggeration: how much larger than life angles are drawn; 1 draws all as it is, None chooses.
        units: what numbers are written in.
        uncertainties: standard uncertainty of `rail_offset` [m], if it is known.

    Returns:
        The drawing.

    Raises:
        OutOfRange: the width, exaggeration or units are no usable ones.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    found = stance_of(car) if stance is None else stance
    pair = (Station.FRONT_LEFT, Station.FRONT_RIGHT)
    return _EndView(car, found, pair, checked_width(width), exaggeration, units, uncertainties or {}).drawn()


def rear_view(
    car: Car,
    *,
    stance: Stance | None = None,
    width: float = 180.0,
    exaggeration: float | None = None,
    units: Units = "mm",
    uncertainties: Mapping[str, float] | None = None,
) -> Drawing:
    """Return a car's rear pair seen from behind: the car's left side is on the viewer's left.

    Drawn as `front_view` is, the rail at its true width.

    Args:
        car: the car.
        stance: its stance, where it has been found already.
        width: how wide the drawing is [mm].
        exaggeration: how much larger than life angles are drawn; 1 draws all as it is, None chooses.
        units: what numbers are written in.
        uncertainties: taken as by the other views; nothing here has one.

    Returns:
        The drawing.

    Raises:
        OutOfRange: the width, exaggeration or units are no usable ones.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    found = stance_of(car) if stance is None else stance
    pair = (Station.REAR_LEFT, Station.REAR_RIGHT)
    return _EndView(car, found, pair, checked_width(width), exaggeration, units, uncertainties or {}).drawn()


class _EndView:
    """The view of one pair in the making; the ground is at height 0 until the sheet is cut."""

    def __init__(
        self,
        car: Car,
        found: Stance,
        pair: tuple[Station, Station],
        width: float,
        exaggeration: float | None,
        units: Units,
        uncertainties: Mapping[str, float],
    ) -> None:
        system_of(units)
        self.car, self.found, self.units, self.uncertainties = car, found, units, uncertainties
        self.pair, self.front = pair, pair[0].is_front
        self.size = type_height(width)
        self.sheet = Sheet(width=width, size=self.size)
        cants = [car.corners[station].cant.value for station in pair]
        largest = max((*cants, *(found.stations[station].camber for station in pair)), key=abs)
        camber = angle_factor(exaggeration, largest, most=_MOST_LEAN)

        def wheels(gaps: float) -> dict[Station, WheelDrawn]:
            factors = Factors(camber=camber, gaps=gaps)
            return {station: drawn_wheel(car, found, station, factors) for station in pair}

        def reach(gaps: float) -> float:
            return max(
                *(
                    max(abs(point[1]) for point in (*wheel.rim(-wheel.half), *wheel.rim(wheel.half)))
                    for wheel in wheels(gaps).values()
                ),
                *(abs(wheel.on_pin(wheel.half + wheel.outer + HEAD)[1]) for wheel in wheels(gaps).values()),
            )

        def scaled(gaps: float) -> Scale:
            return best_scale(lambda scale: scale.mm(reach(gaps)) <= width / 2.0 - _SIDE_ROOM)

        gaps = gap_factor(
            car,
            found,
            asked=exaggeration,
            factors=Factors(camber=camber),
            stations=pair,
            most=_WIDEST_GAP * width / scaled(1.0).mm(1.0),
        )
        self.factors = Factors(camber=camber, gaps=gaps)
        self.wheels = wheels(gaps)
        self.scale = scaled(gaps)
        true = car.rail.width.value / 2.0
        self.rail = drawn_rail(car, found, self.wheels[car.dominant], gaps) if self.front else true

    def at(self, point: Vector) -> Point:
        """Return where a point of the track frame lies on the sheet."""
        across = point[1] if self.front else -point[1]
        return (self.sheet.width / 2.0 + self.scale.mm(across), self.scale.mm(point[2]))

    def outward(self, station: Station) -> int:
        """Return which way on the sheet is outward at a station: 1 right, -1 left."""
        return station.side if self.front else -station.side

    def number(self, length: float) -> str:
        return length_text(length, units=self.units)

    def drawn(self) -> Drawing:
        where = "front" if self.front else "rear"
        self.ground()
        self.body()
        for station in self.pair:
            self.wheel(station)
        top = self.sheet.highest()
        for station in self.pair:
            self.camber(station, top)
            self.drilled(station)
            self.play(station)
            self.below(station)
        label = self.scale.label
        self.sheet.caption(
            "from in front: its left is on your right"
            if self.front
            else "from behind: its left is on your left",
            f"{label}, sizes in {'mm' if self.units == 'mm' else 'inches'}",
            f"{times('camber and cant', self.factors.camber)}, {times('gaps', self.factors.gaps)}",
        )
        return self.sheet.drawing(
            name=f"{where}-view",
            title=f"{self.car.name} from {'in front' if self.front else 'behind'}",
            notes=(
                f"Scale {label}.",
                f"Camber and cant are drawn {self.factors.camber:g} times as large as they are.",
                f"Washers, play, relief and the gap to the rail are drawn {self.factors.gaps:g} times.",
                *(
                    ("The rail is drawn narrower or wider by what the gap to it gains or loses.",)
                    if self.front
                    else ()
                ),
                "The body's thickness and how large hubs and axle heads are is not in the car's file.",
            ),
        )

    def ground(self) -> None:
        half, high = self.rail, self.car.rail.height.value
        corners = tuple(
            self.at((0.0, y, z)) for y, z in ((-half, 0.0), (half, 0.0), (half, high), (-half, high))
        )
        self.sheet.add(
            Polyline(points=corners, closed=True, tone=Tone.RAIL),
            Line(start=(1.0, 0.0), end=(self.sheet.width - 1.0, 0.0)),
        )
        rail = self.car.rail
        words = f"rail {self.number(rail.width.value)} × {self.number(rail.height.value)}"
        middle = self.sheet.width / 2.0
        high_enough = self.scale.mm(high) >= 1.25 * self.size
        y = self.scale.mm(high) / 2.0 if high_enough else -1.7 * self.size
        if high_enough:
            # The words stand on a clear patch, for the rail is hatched.
            patch = strip(
                (middle - 0.5 * text_width(words, self.size) - 1.0, y),
                (middle + 0.5 * text_width(words, self.size) + 1.0, y),
                thick=1.1 * self.size,
            )
            self.sheet.add(Polyline(points=patch, closed=True, pen=None, tone=Tone.PAPER))
        self.sheet.write(words, (middle, y))

    def body(self) -> None:
        body, thick = self.car.body, body_thickness(self.car)
        ahead = body.wheelbase.value if self.front else 0.0
        corners = [
            (
                station.side
                * (body.width.value / 2.0 - self.factors.gaps * self.car.corners[station].relief.value),
                up,
            )
            for station, up in (
                (self.pair[0], thick),
                (self.pair[0], 0.0),
                (self.pair[1], 0.0),
                (self.pair[1], thick),
            )
        ]
        points = tuple(self.at(in_track_frame(self.found, (ahead, y, up))) for y, up in corners)
        self.sheet.add(
            Polyline(points=points, closed=True, pen=None, tone=Tone.WOOD),
            Polyline(points=points),
            Line(start=points[3], end=points[0], pen=Pen.HIDDEN),
        )
        self.low_top, self.high_top = sorted((points[0][1], points[3][1]))

    def wheel(self, station: Station) -> None:
        wheel = self.wheels[station]
        head = wheel.half + wheel.outer
        ratio = self.scale.mm(1.0)

        def piece(low: float, high: float, thick: float) -> tuple[Point, ...]:
            return strip(self.at(wheel.on_pin(low)), self.at(wheel.on_pin(high)), thick=thick * ratio)

        bend, end = (self.at(point) for point in wheel.inside(_PIN_INSIDE * self.car.body.width.value))
        drilled = strip(bend, end, thick=wheel.shank * ratio)
        self.sheet.add(
            Polyline(points=drilled, closed=True, pen=Pen.HIDDEN),
            Polyline(
                points=piece(wheel.face + wheel.bend_at, head, wheel.shank), closed=True, tone=Tone.PAPER
            ),
        )
        if wheel.washer > _SMALLEST:
            self.sheet.add(
                Polyline(
                    points=piece(wheel.face, wheel.face + wheel.washer, 0.42 * wheel.radius),
                    closed=True,
                    tone=Tone.PAPER,
                )
            )
        outline = wheel.outline(self.at)
        self.sheet.add(
            Polyline(
                points=piece(-wheel.half - wheel.hub, -wheel.half, 0.35 * wheel.radius),
                closed=True,
                tone=Tone.WHEEL,
            ),
            Polyline(points=outline, closed=True, tone=Tone.WHEEL),
            Polyline(points=piece(-wheel.half, wheel.half, wheel.shank), closed=True, pen=Pen.HIDDEN),
            Polyline(points=piece(head, head + HEAD, 2.2 * wheel.shank), closed=True, tone=Tone.PAPER),
        )

    def camber(self, station: Station, top: float) -> None:
        """Draw a wheel's lean against upright, and write its true size above the wheel."""
        wheel, camber = self.wheels[station], self.found.stations[station].camber
        corner = self.at(wheel.centre)
        reach = self.scale.mm(wheel.radius) + 5.0
        upright = math.pi / 2.0
        lean = upright - self.outward(station) * self.factors.camber * camber
        if abs(lean - upright) * reach > 0.3:
            end = (corner[0] + reach * math.cos(lean), corner[1] + reach * math.sin(lean))
            self.sheet.add(
                Line(start=corner, end=(corner[0], corner[1] + reach), pen=Pen.CENTRE),
                Line(start=corner, end=end, pen=Pen.DIMENSION),
                *angle_between(corner, radius=reach - 1.5, start=upright, end=lean),
            )
        shown = angle_text(camber)
        where = "" if not shown.strip("0.°") else " out" if camber > 0.0 else " in"
        y = max(top, corner[1] + reach) + 1.0 * self.size
        self.sheet.write(
            f"camber {shown}{where}", (corner[0], y), strong=station is self.car.dominant, step=1.0
        )

    def drilled(self, station: Station) -> None:
        """Write cant and bend over the body, above the hole."""
        corner, wheel = self.car.corners[station], self.wheels[station]
        face = self.at(wheel.on_pin(wheel.face))
        out = self.outward(station)
        x, anchor = face[0] - out * _INSET, Anchor.END if out > 0 else Anchor.START
        shown = angle_text(corner.cant.value)
        where = "" if not shown.strip("0.°") else " up" if corner.cant.value > 0.0 else " down"
        self.sheet.write(
            f"cant {shown}{where}", (x, self.high_top + 1.0 * self.size), anchor=anchor, step=1.0
        )
        bend = self.car.axle_at(station).bend.value
        if angle_text(bend).strip("0.°"):
            y = self.high_top + 2.3 * self.size
            self.sheet.write(f"bend {angle_text(bend)}", (x, y), anchor=anchor, step=1.0)

    def play(self, station: Station) -> None:
        """Write a wheel's play and washers with leaders to where they are."""
        corner, wheel = self.car.corners[station], self.wheels[station]
        out, size = self.outward(station), self.size
        anchor = Anchor.END if out > 0 else Anchor.START
        face = self.at(wheel.on_pin(wheel.face))
        inner = wheel.inner >= wheel.outer
        places = [(f"washer {self.number(corner.washer.value)}", wheel.face + wheel.washer / 2.0)]
        if corner.washer.value <= _SMALLEST:
            places = []
        words = f"play {self.number(corner.play.value)}"
        if inner:
            places.append((words, -(wheel.half + wheel.hub + wheel.inner / 2.0)))
        pin = max(face[1], self.at(wheel.inside(_PIN_INSIDE * self.car.body.width.value)[1])[1])
        pin += 0.5 * self.scale.mm(wheel.shank)
        y = min(self.low_top - 0.9 * size, pin + (1.3 * len(places) - 0.5) * size)
        for text, along in places:
            tip = self.at(wheel.on_pin(along))
            mark = self.sheet.write(text, (face[0] - out * _INSET, y), anchor=anchor)
            self.sheet.add(*leader(tip, (face[0] - out * (_INSET - 0.6), mark.at[1] + 0.35 * size)))
        if not inner:
            tip = self.at(wheel.on_pin(wheel.half + wheel.outer / 2.0))
            edge = self.sheet.width - 2.0 if out > 0 else 2.0
            mark = self.sheet.write(words, (edge, -1.7 * size), anchor=anchor)
            box = box_of(mark)
            foot = min(max(tip[0] + out * 1.0, box.left + 1.0), box.right - 1.0)
            self.sheet.add(*leader(tip, (foot, box.high + 0.3)))

    def below(self, station: Station) -> None:
        """Write below the ground the raise of a raised wheel, and how far another stands off the rail."""
        at, wheel, size = self.found.stations[station], self.wheels[station], self.size
        out, y = self.outward(station), -1.7 * self.size
        if station not in self.found.carrying:
            outline = wheel.outline(self.at)
            low = min(point[1] for point in outline)
            lowest = [point[0] for point in outline if point[1] < low + 1e-3]
            x = sum(lowest) / len(lowest)
            self.sheet.add(
                arrow((x, 0.0), heading=math.pi / 2.0),
                Line(start=(x, low), end=(x, -0.9 * size), pen=Pen.DIMENSION),
            )
            self.sheet.write(f"raise {self.number(at.hanging_clearance)}", (x, y))
            return
        near = wheel.nearest(self.car.rail.height.value)
        if near is None or at.rail_gap is None:
            return
        dominant = station is self.car.dominant
        spread = self.uncertainties.get("rail_offset") if dominant else None
        words = rail_words(at.rail_gap, units=self.units, uncertainty=spread)
        tip = self.at((0.0, station.side * (self.rail + near.inset) / 2.0, near.height))
        tip = (tip[0], max(tip[1], 0.3))
        anchor = Anchor.MIDDLE if not self.front else Anchor.END if out > 0 else Anchor.START
        mark = self.sheet.write(words, (tip[0] - out * 1.0, y), anchor=anchor, strong=dominant)
        box = box_of(mark)
        foot = min(max(tip[0] - out * 3.0, box.left + 1.0), box.right - 1.0)
        self.sheet.add(*leader(tip, (foot, box.high + 0.3)))
