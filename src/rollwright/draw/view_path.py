"""The tuning board from above, travelling up: the path, the band that is wanted, and what was read."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from rollwright.car.model import Car, Target
from rollwright.draw.dimension import arrow
from rollwright.draw.drawing import Anchor, Circle, Drawing, Line, Pen, Point, Polyline, Tone
from rollwright.draw.fit import (
    FACTORS,
    Scale,
    Units,
    best_scale,
    checked_exaggeration,
    checked_width,
    system_of,
    times,
    type_height,
)
from rollwright.draw.labels import Sheet, text_width
from rollwright.draw.ring import OUTER, RingState, ring, ring_state
from rollwright.errors import OutOfRange
from rollwright.geometry import Stance
from rollwright.geometry import stance as stance_of
from rollwright.geometry.drift import lateral_at
from rollwright.judge.verdict import Verdict, judge
from rollwright.quantity import Quantity
from rollwright.units import Kind, show, show_sided

__all__ = ["board_view"]

_STEPS = 48
_TALL = 0.95
_WIDEST = 0.40
_MOST_ACROSS = 0.42
_TICKS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
_INCH_TICKS = (0.0254 / 8, 0.0254 / 4, 0.0127, 0.0254, 0.0508, 0.127, 0.254, 0.508)
_SLIGHT = 1e-3
_RING = 2.4


def board_view(
    car: Car,
    *,
    stance: Stance | None = None,
    width: float = 180.0,
    exaggeration: float | None = None,
    units: Units = "mm",
    reading: Quantity | None = None,
    target: Target | None = None,
    uncertainty: float | None = None,
    tall: float = _TALL,
) -> Drawing:
    """Return the tuning board seen from above, the car travelling up: left is left.

    The line is the path of the centre-line point at the front hole line by the model, the band where it is
    wanted, and the bar at the board's end what was read with its standard uncertainty. Sideways lengths are
    drawn larger than those along the board by a factor that is said below.

    Args:
        car: the car.
        stance: its stance, where it has been found already.
        width: how wide the drawing is [mm].
        exaggeration: how much larger sideways lengths are drawn than those along the board; 1 draws both
            alike, None chooses.
        units: what numbers are written in.
        reading: the drift that was read, positive left [m]; None draws none.
        target: what is wanted; None takes the car's own.
        uncertainty: standard uncertainty of the modelled drift [m]; None draws no band about it.
        tall: how tall the board may be drawn, over the drawing's width [1].

    Returns:
        The drawing. With a reading, its verdict stands beside a ring; without one, a dot says that the drift
        was never read, with the model's probability about it where the model's uncertainty is known.

    Raises:
        OutOfRange: the width, exaggeration, units or uncertainty are no usable ones.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    found = stance_of(car) if stance is None else stance
    if uncertainty is not None and not 0.0 <= uncertainty < math.inf:
        raise OutOfRange(
            f"an uncertainty of {uncertainty:g} m cannot be drawn", mend="give one that is not negative"
        )
    return _BoardView(
        car=car,
        found=found,
        width=checked_width(width),
        exaggeration=exaggeration,
        units=units,
        reading=reading,
        target=car.targets.drift if target is None else target,
        uncertainty=uncertainty or 0.0,
        tall=tall,
    ).drawn()


class _BoardView:
    """The view in the making; the board's start is at height 0 until the sheet is cut."""

    def __init__(
        self,
        *,
        car: Car,
        found: Stance,
        width: float,
        exaggeration: float | None,
        units: Units,
        reading: Quantity | None,
        target: Target,
        uncertainty: float,
        tall: float,
    ) -> None:
        self.system = system_of(units)
        self.car, self.found, self.units = car, found, units
        self.reading, self.target, self.uncertainty = reading, target, uncertainty
        self.size = type_height(width)
        self.sheet = Sheet(width=width, size=self.size)
        self.length = found.drift.distance
        self.scale: Scale = best_scale(lambda scale: scale.mm(self.length) <= tall * width)
        self.room = _MOST_ACROSS * width
        ends = [target.low, target.high]
        if found.drift.lateral is not None:
            ends.append(found.drift.lateral)
        if reading is not None:
            ends += [reading.value - reading.uncertainty, reading.value + reading.uncertainty]
        self.farthest = max(map(abs, ends))
        self.factor = self._factor(exaggeration, _WIDEST * width)

    def _factor(self, asked: float | None, most: float) -> float:
        if asked is not None:
            return checked_exaggeration(asked)
        return float(
            max((factor for factor in FACTORS if self.scale.mm(factor * self.farthest) <= most), default=1)
        )

    def at(self, along: float, left: float) -> Point:
        """Return where a place on the board lies on the sheet: so far along it and to the left [m]."""
        return (self.sheet.width / 2.0 - self.scale.mm(self.factor * left), self.scale.mm(along))

    def held(self, point: Point) -> Point:
        """Return the nearest point that is still on the drawn board."""
        middle = self.sheet.width / 2.0
        return (min(max(point[0], middle - self.room), middle + self.room), point[1])

    def shape(self, *, curvature: float, rear_steer: float) -> list[tuple[float, float]]:
        """Return a path as places along and to the left [m], up to the board's end or where it turns back."""
        watched = self.car.body.wheelbase.value
        points: list[tuple[float, float]] = []
        for number in range(4 * _STEPS):
            run = self.length * number / _STEPS
            along, left = lateral_at(curvature=curvature, rear_steer=rear_steer, wheelbase=watched, run=run)
            if points and along <= points[-1][0]:
                break
            if along >= self.length:
                before, was = points[-1]
                part = (self.length - before) / (along - before)
                points.append((self.length, was + part * (left - was)))
                break
            points.append((along, left))
        return points

    def scaled_to(self, end: float) -> list[tuple[float, float]]:
        """Return the path of an even bend that ends so far to the left [m]."""
        path = self.shape(curvature=_SLIGHT / self.length, rear_steer=0.0)
        return [(along, left * end / path[-1][1]) for along, left in path]

    def drawn(self) -> Drawing:
        self.board()
        # The wider of the two bands lies below, so that neither hides the other.
        if self.uncertainty > self.target.tolerance:
            self.doubt()
            self.wanted()
        else:
            self.wanted()
            self.doubt()
        self.path()
        self.end_line()
        self.words()
        label = self.scale.label
        along = show(self.length, kind=Kind.LENGTH, system=self.system)
        self.sheet.caption(
            "from above, travelling up",
            f"board {along} long, {label}",
            times("sideways", self.factor),
        )
        return self.sheet.drawing(
            name="board-view",
            title=f"{self.car.name} on the tuning board",
            notes=(
                f"Lengths along the board are drawn {label}, those across it {self.factor:g} times as large.",
                "The band ends where the drift is wanted; the line is the path by the car's dimensions.",
                "Grey about a line or a mark is one standard uncertainty either way.",
            ),
        )

    def board(self) -> None:
        low, high = self.held((0.0, 0.0)), self.held((self.sheet.width, self.scale.mm(self.length)))
        self.sheet.add(
            Polyline(points=(low, (high[0], low[1]), high, (low[0], high[1])), closed=True, tone=Tone.WOOD)
        )
        ticks = _TICKS if self.units == "mm" else _INCH_TICKS
        room = self.room / self.scale.mm(self.factor)
        step = next((tick for tick in ticks if room / tick <= 4.0), ticks[-1])
        y = -1.0 * self.size
        self.sheet.add(Line(start=self.at(0.0, 0.0), end=self.at(self.length, 0.0), pen=Pen.CENTRE))
        self.sheet.write("0", (self.sheet.width / 2.0, y))
        for number in range(1, int(room / step) + 1):
            for side in (1, -1):
                left = side * number * step
                self.sheet.add(Line(start=self.at(0.0, left), end=self.at(self.length, left), pen=Pen.HAIR))
                # Every second line has its number where all of them would be crowded.
                shown = show(abs(left), kind=Kind.LENGTH, system=self.system).number
                shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
                if self.scale.mm(self.factor * step) > text_width(shown, self.size) + 1.0 or number % 2 == 0:
                    self.sheet.write(shown, (self.at(0.0, left)[0], y))
        unit = "mm" if self.units == "mm" else "in"
        y -= 1.3 * self.size
        self.sheet.write(f"{unit} left", self.held((0.0, y)), step=-1.0)
        self.sheet.write(f"{unit} right", self.held((self.sheet.width, y)), step=-1.0)

    def band(self, one: list[tuple[float, float]], other: list[tuple[float, float]], tone: Tone) -> None:
        points = tuple(self.held(self.at(*place)) for place in (*one, *reversed(other)))
        self.sheet.add(Polyline(points=points, closed=True, pen=None, tone=tone))

    def wanted(self) -> None:
        low, high = self.scaled_to(self.target.low), self.scaled_to(self.target.high)
        self.band(low, high, Tone.BAND)
        for edge in (low, high):
            points = tuple(self.held(self.at(*place)) for place in edge)
            self.sheet.add(Polyline(points=points, pen=Pen.HAIR))

    def modelled(self) -> list[tuple[float, float]]:
        """Return the car's own path, as places along and to the left [m]."""
        drift = self.found.drift
        return self.shape(curvature=drift.curvature, rear_steer=drift.rear_steer)

    def doubt(self) -> None:
        """Draw how far the modelled path is not known, growing with the way as an even bend does."""
        if not self.uncertainty or self.found.drift.lateral is None:
            return
        grow, path = self.scaled_to(self.uncertainty), self.modelled()
        self.band(
            [(along, left + _at(grow, along)) for along, left in path],
            [(along, left - _at(grow, along)) for along, left in path],
            Tone.DOUBT,
        )

    def path(self) -> None:
        path = self.modelled()
        points: list[Point] = []
        for place in path:
            point = self.at(*place)
            if self.held(point) != point:
                break
            points.append(point)
        if len(points) > 1:
            (ax, ay), (bx, by) = points[-2:]
            self.sheet.add(
                Polyline(points=tuple(points)), arrow(points[-1], heading=math.atan2(by - ay, bx - ax))
            )

    def end_line(self) -> None:
        """Draw the board's edge over the bands, at its end the wanted span, and what was read."""
        top = self.scale.mm(self.length)
        left, right = (self.held((x, 0.0))[0] for x in (0.0, self.sheet.width))
        self.sheet.add(Polyline(points=((left, 0.0), (right, 0.0), (right, top), (left, top)), closed=True))
        low, high = (self.held(self.at(self.length, end)) for end in (self.target.low, self.target.high))
        self.sheet.add(
            Polyline(
                points=(low, high, (high[0], top + 1.2), (low[0], top + 1.2)), closed=True, tone=Tone.BAND
            )
        )
        if self.reading is None:
            return
        value, spread = self.reading.value, self.reading.uncertainty
        one, other = (self.held(self.at(self.length, end)) for end in (value + spread, value - spread))
        y = top + 2.6
        if spread > 0.0:
            self.sheet.add(
                Polyline(
                    points=((one[0], y - 0.8), (other[0], y - 0.8), (other[0], y + 0.8), (one[0], y + 0.8)),
                    closed=True,
                    pen=Pen.HAIR,
                    tone=Tone.DOUBT,
                )
            )
        middle = self.held(self.at(self.length, value))[0]
        self.sheet.add(Circle(centre=(middle, y), radius=0.7, pen=None, tone=Tone.INK))

    def words(self) -> None:
        """Write above the board's end what was read, what the model says and what is wanted."""
        lateral, reading = self.found.drift.lateral, self.reading
        rows: list[tuple[str, float | None, bool]] = []
        if reading is not None:
            said = show_sided(reading.value, system=self.system, uncertainty=reading.uncertainty)
            rows.append((f"read {said}", reading.value, True))
        if lateral is None:
            rows.append(("by the model it turns back before the end", None, False))
        else:
            said = show_sided(lateral, system=self.system, uncertainty=self.uncertainty)
            rows.append((f"by the model {said}", lateral, False))
        wanted, tolerance = self.target.value, self.target.tolerance
        within = str(show(tolerance, kind=Kind.LENGTH, system=self.system, like=wanted))
        rows.append((f"wanted {show_sided(wanted, system=self.system)}, within {within}", wanted, False))
        y = self.scale.mm(self.length) + 4.0 + self.size
        for words, left, strong in rows:
            x = self.sheet.width / 2.0 if left is None else self.held(self.at(self.length, left))[0]
            text = self.sheet.write(words, (x, y), strong=strong, step=1.0)
            y = text.at[1] + 1.75 * self.size
        self.verdict(y)

    def verdict(self, y: float) -> None:
        """Draw the ring of what was read, or the dot of what never was, and say it in words."""
        reading, lateral = self.reading, self.found.drift.lateral
        state, probability = RingState.NEVER_READ, None
        words = state.value
        if reading is not None:
            found = self.judged(reading.value, reading.uncertainty)
            state, probability = ring_state(found.state), found.probability
            words = f"{state.value}: {_percent(probability)} likely as wanted"
        elif lateral is not None and self.uncertainty > 0.0:
            probability = self.judged(lateral, self.uncertainty).probability
            words = f"{state.value}: {_percent(probability)} likely as wanted, by the model"
        wide = text_width(words, self.size) + 2.0 * OUTER * _RING + 1.5
        left = (self.sheet.width - wide) / 2.0
        at = (left + OUTER * _RING, y + 0.35 * self.size + 0.4)
        self.sheet.add(*ring(at, radius=_RING, state=state, probability=probability))
        self.sheet.write(words, (at[0] + OUTER * _RING + 1.5, at[1]), anchor=Anchor.START, step=1.0)

    def judged(self, value: float, uncertainty: float) -> Verdict:
        return judge(value=value, uncertainty=uncertainty, low=self.target.low, high=self.target.high)


def _percent(probability: float) -> str:
    """Return a probability in whole percent that never claims to be certain."""
    if 0.0 < probability < 0.01:
        return "under 1 %"
    if 0.99 < probability < 1.0:
        return "over 99 %"
    return f"{100.0 * probability:.0f} %"


def _at(path: Sequence[tuple[float, float]], along: float) -> float:
    """Return how far left a path is at a place along the board, straight between its points."""
    for (a, one), (b, other) in pairwise(path):
        if along <= b:
            return one + (other - one) * (along - a) / (b - a)
    return path[-1][1]
