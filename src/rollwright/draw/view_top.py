"""The car from above, travelling to the right: steer, washers, play, relief, and the rail below."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise

from rollwright.car.model import Car, Station
from rollwright.draw.dimension import angle_between, arrow, leader, level, upright
from rollwright.draw.drawing import Anchor, Drawing, Line, Pen, Point, Polyline, Tone
from rollwright.draw.fit import (
    Units,
    angle_text,
    checked_width,
    length_text,
    system_of,
    times,
    type_height,
)
from rollwright.draw.frame import drift_words, frame_of, rail_words
from rollwright.draw.labels import Box, Sheet, box_of
from rollwright.draw.wheels import (
    HEAD,
    Factors,
    WheelDrawn,
    angle_factor,
    drawn_rail,
    drawn_wheel,
    gap_factor,
    in_track_frame,
    strip,
)
from rollwright.geometry import Stance
from rollwright.geometry import stance as stance_of
from rollwright.geometry.drift import lateral_at
from rollwright.geometry.vector import Vector

__all__ = ["top_view"]

_MOST_TURN = math.radians(12.0)
_STEPS = 24
_TURN_SHOWN = 0.3
_WIDEST_GAP = 0.055
_PIN_INSIDE = 0.11
_SMALLEST = 5e-6


def top_view(
    car: Car,
    *,
    stance: Stance | None = None,
    width: float = 180.0,
    exaggeration: float | None = None,
    units: Units = "mm",
    uncertainties: Mapping[str, float] | None = None,
) -> Drawing:
    """Return a car seen from above, its front to the right and its left side up.

    Steer is drawn larger than life by one factor and small gaps (washers, play, relief, the dominant wheel's
    gap to the rail) by another, both said below it; the rail's width takes up what the gaps gain. Everything
    else is to scale.

    Args:
        car: the car.
        stance: its stance, where it has been found already.
        width: how wide the drawing is [mm].
        exaggeration: how much larger than life angles are drawn; 1 draws all as it is, None chooses.
        units: what numbers are written in.
        uncertainties: standard uncertainties of `drift` and `rail_offset` [m], as far as they are known.

    Returns:
        The drawing.

    Raises:
        OutOfRange: the width, exaggeration or units are no usable ones.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    found = stance_of(car) if stance is None else stance
    return _TopView(car, found, checked_width(width), exaggeration, units, uncertainties or {}).drawn()


class _TopView:
    """The view in the making; the centre line is at height 0 until the sheet is cut."""

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
        scale = self.frame.scale
        largest = max((at.steer for at in found.stations.values()), key=abs)
        steer = angle_factor(exaggeration, largest, most=_MOST_TURN)
        gaps = gap_factor(
            car,
            found,
            asked=exaggeration,
            factors=Factors(steer=steer),
            stations=tuple(Station),
            most=_WIDEST_GAP * width / scale.mm(1.0),
        )
        self.factors = Factors(steer=steer, gaps=gaps)
        self.wheels = {station: drawn_wheel(car, found, station, self.factors) for station in Station}
        self.rail_text = Box(0.0, 0.0, 0.0, 0.0)
        self.rail = drawn_rail(car, found, self.wheels[car.dominant], gaps)

    def at(self, point: Vector) -> Point:
        """Return where a point of the track frame lies on the sheet."""
        return (self.frame.x(point[0]), self.frame.scale.mm(point[1]))

    def number(self, length: float) -> str:
        return length_text(length, units=self.units)

    def drawn(self) -> Drawing:
        car = self.car
        self.body()
        self.rail_below()
        for station in Station:
            self.wheel(station)
        outlines = {station: self.wheels[station].outline(self.at) for station in Station}
        for outline in outlines.values():
            xs, ys = zip(*outline, strict=True)
            self.sheet.keep_clear(Box(min(xs), min(ys), max(xs), max(ys)))
        top = max(y for outline in outlines.values() for _, y in outline)
        low = min(y for outline in outlines.values() for _, y in outline)
        self.rail_gap()
        self.drift()
        for station in Station:
            beyond = self.gaps(station, outlines[station])
            self.steer(station, max(beyond, top if station.side > 0 else -low))
        self.sizes()
        scale = self.frame.scale.label
        self.sheet.caption(
            "from above, front to the right",
            f"{scale}, sizes in {'mm' if self.units == 'mm' else 'inches'}",
            f"{times('steer', self.factors.steer)}, {times('gaps', self.factors.gaps)}",
        )
        return self.sheet.drawing(
            name="top-view",
            title=f"{car.name} from above",
            notes=(
                f"Scale {scale}; steer is drawn {self.factors.steer:g} times as large as it is.",
                f"Washers, play, relief and the gap to the rail are drawn {self.factors.gaps:g} times.",
                "The rail is drawn narrower or wider by what the gap to it gains or loses.",
                "How long the relief is and how large hubs and axle heads are is not in the car's file.",
            ),
        )

    def edge(self, side: int) -> list[Point]:
        """Return one long side of the body, tail to nose, with its relief cut in."""
        body = self.car.body
        tail, nose = -body.rear_overhang.value, body.length.value - body.rear_overhang.value
        half = body.width.value / 2.0
        middle = body.wheelbase.value / 2.0
        points: list[tuple[float, float]] = [(tail, half)]
        for station in (Station.REAR_LEFT, Station.FRONT_LEFT):
            here = station if side > 0 else station.opposite
            corner = self.car.corners[here]
            depth = corner.relief.value
            if depth < _SMALLEST:
                continue
            x = corner.offset.value + (body.wheelbase.value if station.is_front else 0.0)
            reach = 0.58 * self.car.wheel_at(here).diameter.value
            low, high = (max(middle, x - reach), min(nose, x + reach))
            if not station.is_front:
                low, high = (max(tail, x - reach), min(middle, x + reach))
            inner = half - self.factors.gaps * depth
            points += [(low, half), (low, inner), (high, inner), (high, half)]
        points.append((nose, half))
        return [self.at(in_track_frame(self.found, (x, side * y, 0.0))) for x, y in points]

    def body(self) -> None:
        left, right = self.edge(1), self.edge(-1)
        self.sheet.add(Polyline(points=(*right, *reversed(left)), closed=True, tone=Tone.WOOD))

    def rail_below(self) -> None:
        """Draw the rail as far as the sheet goes: solid ahead of the body, dashed beneath it."""
        half = self.frame.scale.mm(self.rail)
        corners = [self.edge(side) for side in (1, -1)]
        tail = min(points[0][0] for points in corners)
        nose = max(points[-1][0] for points in corners)
        ends = (tail - 1.5, self.sheet.width - 1.0)
        for low, high in ((ends[0], tail), (nose, ends[1])):
            if high > low:
                self.sheet.add(
                    Polyline(
                        points=((low, -half), (high, -half), (high, half), (low, half)),
                        closed=True,
                        pen=None,
                        tone=Tone.RAIL,
                    )
                )
        for y in (-half, half):
            for (low, high), pen in zip(
                pairwise((ends[0], tail, nose, ends[1])), (Pen.HAIR, Pen.HIDDEN, Pen.HAIR), strict=True
            ):
                if high > low:
                    self.sheet.add(Line(start=(low, y), end=(high, y), pen=pen))
        self.sheet.add(Line(start=(ends[0], 0.0), end=(ends[1], 0.0), pen=Pen.CENTRE))

    def piece(self, wheel: WheelDrawn, low: float, high: float, thick: float) -> tuple[Point, ...]:
        """Return a bar so thick along a wheel's pin, from one place on it to another."""
        start, end = (self.at(wheel.on_pin(place)) for place in (low, high))
        return strip(start, end, thick=self.frame.scale.mm(thick))

    def wheel(self, station: Station) -> None:
        wheel = self.wheels[station]
        head = wheel.half + wheel.outer
        pin = self.piece(wheel, wheel.face, head, wheel.shank)
        bend, end = (self.at(point) for point in wheel.inside(_PIN_INSIDE * self.car.body.width.value))
        hub = self.piece(wheel, -wheel.half - wheel.hub, -wheel.half, 0.35 * wheel.radius)
        self.sheet.add(
            Line(start=bend, end=end, pen=Pen.HIDDEN),
            Polyline(points=pin, closed=True, tone=Tone.PAPER),
        )
        if wheel.washer > _SMALLEST:
            washer = self.piece(wheel, wheel.face, wheel.face + wheel.washer, 0.42 * wheel.radius)
            self.sheet.add(Polyline(points=washer, closed=True, tone=Tone.PAPER))
        self.sheet.add(
            Polyline(points=hub, closed=True, tone=Tone.WHEEL),
            Polyline(points=wheel.outline(self.at), closed=True, tone=Tone.WHEEL),
            Polyline(
                points=self.piece(wheel, head, head + HEAD, 2.2 * wheel.shank), closed=True, tone=Tone.PAPER
            ),
        )

    def steer(self, station: Station, edge: float) -> None:
        """Draw a wheel's heading against straight ahead, and write its true size so far out beyond it."""
        wheel, at = self.wheels[station], self.found.stations[station]
        turn = self.factors.steer * at.steer
        corner = self.at(wheel.centre)
        reach = self.reach(wheel)
        end = (corner[0] + reach * math.cos(turn), corner[1] + reach * math.sin(turn))
        if abs(turn) * reach > _TURN_SHOWN:
            self.sheet.add(
                Line(start=corner, end=(corner[0] + reach, corner[1]), pen=Pen.CENTRE),
                Line(start=corner, end=end, pen=Pen.DIMENSION),
                *angle_between(corner, radius=reach - 1.0, start=0.0, end=turn),
            )
        shown = angle_text(at.steer)
        where = "" if not shown.strip("0.°") else " left" if at.steer > 0.0 else " right"
        y = station.side * (edge + 1.1 * self.size)
        self.sheet.write(
            f"steer {shown}{where}",
            (corner[0], y),
            strong=station is self.car.dominant,
            step=float(station.side),
        )

    def gaps(self, station: Station, outline: tuple[Point, ...]) -> float:
        """Write relief, washers and play beside where they are, in the room between the wheels.

        Returns:
            How far out the words and their leaders reach [mm].
        """
        wheel, corner, size = self.wheels[station], self.car.corners[station], self.size
        side, inward = float(station.side), -1.0 if station.is_front else 1.0
        anchor = Anchor.END if station.is_front else Anchor.START
        edge = inward * max(inward * point[0] for point in outline)
        middle, turned = self.at(wheel.centre)[0], self.factors.steer * self.found.stations[station].steer
        if inward > 0.0 and abs(turned) * self.reach(wheel) > _TURN_SHOWN:
            edge = max(edge, middle + self.reach(wheel) - 1.5)
        x = edge + inward * 2.5
        inner = wheel.inner >= wheel.outer
        gap = -(wheel.half + wheel.hub + wheel.inner / 2.0) if inner else wheel.half + wheel.outer / 2.0
        face, washer, play = (
            self.at(wheel.on_pin(along)) for along in (wheel.face, wheel.face + wheel.washer / 2.0, gap)
        )
        step = middle + inward * 0.5 * self.frame.scale.mm(self.car.wheel_at(station).diameter.value)
        places = [
            ("relief", corner.relief.value, (step, face[1])),
            ("washer", corner.washer.value, (washer[0] + inward * 0.8, washer[1])),
            ("play", corner.play.value, (play[0] + inward * 0.8, play[1])),
        ]
        beyond, body = 0.0, self.frame.scale.mm(self.car.body.width.value / 2.0)
        for words, length, tip in places:
            if length <= _SMALLEST and words != "play":
                continue
            text = self.sheet.write(
                f"{words} {self.number(length)}",
                (x, side * (max(side * tip[1], body) + 0.55 * size)),
                anchor=anchor,
                step=side,
            )
            y = text.at[1] + 0.35 * size
            beyond = max(beyond, side * y)
            self.sheet.add(Line(start=tip, end=(x - inward * 0.6, y), pen=Pen.DIMENSION))
        return beyond

    def reach(self, wheel: WheelDrawn) -> float:
        """Return how far ahead of its centre a wheel's heading is drawn [mm]."""
        return self.frame.scale.mm(wheel.radius) + 4.0

    def rail_gap(self) -> None:
        """Write how far the dominant wheel stands off the rail, with a leader to where that is."""
        dominant = self.wheels[self.car.dominant]
        near = dominant.nearest(self.car.rail.height.value)
        offset = self.found.rail_offset
        if near is None or offset is None:
            self.sheet.write("wheel above the rail", (self.frame.x(self.car.body.wheelbase.value / 2.0), 0.0))
            return
        side, scale = dominant.side, self.frame.scale
        x = self.frame.x(dominant.centre[0] + near.ahead)
        tip = (x, side * scale.mm((self.rail + near.inset) / 2.0))
        words = rail_words(offset, units=self.units, uncertainty=self.uncertainties.get("rail_offset"))
        nose = self.frame.x(self.car.body.length.value - self.car.body.rear_overhang.value)
        y = side * min(1.35 * self.size, scale.mm(self.rail) - 0.6 * self.size)
        text = self.sheet.write(words, (nose - 1.5, y), anchor=Anchor.END, strong=True, step=-float(side))
        box = box_of(text)
        self.rail_text = Box(box.left - 1.0, box.low - 1.0, box.right + 1.0, box.high + 1.0)
        below = box.high + 0.3 if side > 0 else box.low - 0.1
        self.sheet.add(*leader(tip, (min(max(x - 2.0, box.left), box.right), below)))

    def drift(self) -> None:
        """Draw which way the car heads off as an arrow from its middle past its nose."""
        drift = self.found.drift
        factor, scale = self.factors.steer, self.frame.scale
        reach = (self.sheet.width - 3.0 - self.frame.origin) / scale.mm(1.0)
        most = 0.8 * scale.mm(self.rail)
        points: list[Point] = []
        for number in range(_STEPS + 1):
            run = reach * number / _STEPS
            forward, sideways = lateral_at(
                curvature=factor * drift.curvature,
                rear_steer=factor * drift.rear_steer,
                wheelbase=0.0,
                run=run,
            )
            x, y = self.frame.x(forward), scale.mm(sideways)
            words = self.rail_text.meets(Box(x, y, x + _SMALLEST, y + _SMALLEST))
            if words or abs(y) > most or x > self.sheet.width - 2.0:
                break
            points.append((x, y))
        if len(points) > 2:
            (ax, ay), (bx, by) = points[-2:]
            self.sheet.add(
                Polyline(points=tuple(points), pen=Pen.DIMENSION),
                arrow(points[-1], heading=math.atan2(by - ay, bx - ax)),
            )

    def sizes(self) -> None:
        car, size = self.car, self.size
        body = car.body
        left, right = self.edge(1)[0], self.edge(-1)[0]
        self.sheet.add(
            *upright(right, left, x=left[0] - 3.0, text=self.number(body.width.value), size=size, beside=-1)
        )
        middle = self.frame.x(body.wheelbase.value / 2.0)
        y = self.sheet.lowest() - 2.4 * size
        start, end = (self.frame.x(x) for x in (0.0, body.wheelbase.value))
        self.sheet.add(
            *level((start, y + 2.0), (end, y + 2.0), y=y, text=self.number(body.wheelbase.value), size=size)
        )
        words = drift_words(self.found, units=self.units, uncertainty=self.uncertainties.get("drift"))
        self.sheet.write(words, (middle, y - 1.4 * size))
