"""Paper, pencil and views for the drawings of the documents: a few marks, and a wheel on its pin.

The look is that of a shop drawing: dark ink and thin lines on warm paper that the drawing brings along, so
that it reads on a dark page too, and one colour for one thing only, the positive direction.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from xml.sax.saxutils import escape

from rollwright.geometry.axle import hole_axis, shank_axis, wheel_pose
from rollwright.geometry.vector import Vector, cross, dot, unit

__all__ = [
    "BODY",
    "DEG",
    "HALF",
    "HOLE",
    "HUB",
    "INK",
    "LEFT",
    "LENGTH",
    "OVER",
    "OVERHANG",
    "PAPER",
    "POSITIVE",
    "RADIUS",
    "RIGHT",
    "THICK",
    "TREAD",
    "UP",
    "WHEELBASE",
    "WIDE",
    "WIDTH",
    "WOOD",
    "Fitted",
    "Place",
    "Point",
    "Sheet",
    "across",
    "along",
    "block",
    "drum",
    "from_above",
    "from_behind",
    "from_the_front",
    "from_the_right",
    "looking",
    "name_of",
    "outline",
    "steps",
    "strip",
    "swing",
]

WIDE = 360.0
PAPER, INK, WOOD, POSITIVE = "#f6f1e4", "#1d1b18", "#e8dcc0", "#b3390f"
DEG = math.pi / 180.0
LEFT, RIGHT = 1, -1

# A made-up car, in millimetres.
WIDTH, THICK = 48.0, 20.0
HALF = WIDTH / 2.0
WHEELBASE, LENGTH, OVERHANG = 124.0, 186.0, 24.0
BODY = [(-OVERHANG, -HALF), (LENGTH - OVERHANG, -HALF), (LENGTH - OVERHANG, HALF), (-OVERHANG, HALF)]
UP = (0.0, 0.0, 1.0)
OVER = WIDE / 2.0
RADIUS, TREAD, HUB, HOLE = 16.0, 8.6, 3.0, 9.0

Point = tuple[float, float]
Place = Callable[[Vector], Point]


@dataclass
class Sheet:
    """One drawing: marks in pixels, x to the right and y down, on its own piece of paper.

    Attributes:
        title: its name, for those who cannot see it.
        tell: what it shows, likewise.
        high: height of the paper [px].
        marks: what has been drawn so far, as SVG elements.
    """

    title: str
    tell: str
    high: float
    marks: list[str] = field(default_factory=list)

    def path(
        self, points: Sequence[Point], *, close: bool = False, fill: str = "none", **style: object
    ) -> None:
        """Draw a line through points; `style` holds SVG attributes in Python's spelling."""
        where = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
        look = {"stroke": INK, "stroke_width": 1.0, **style}
        attributes = "".join(f' {name.replace("_", "-")}="{value}"' for name, value in look.items())
        self.marks.append(f'<path d="M{where}{"Z" if close else ""}" fill="{fill}"{attributes}/>')

    def faint(self, *points: Point) -> None:
        """Draw a thin broken line: where the thing would lie if it were true."""
        self.path(points, stroke_width=0.8, stroke_dasharray="5 3")

    def centre_line(self, *points: Point) -> None:
        """Draw a centre line: long, short, long."""
        self.path(points, stroke_width=0.7, stroke_dasharray="12 3 2 3")

    def text(
        self, at: Point, words: str, *, anchor: str = "middle", bold: bool = False, on: str = PAPER
    ) -> None:
        """Write words about a point; a rim of the ground's colour holds lines off them."""
        weight = ' font-weight="600"' if bold else ""
        self.marks.append(
            f'<text x="{at[0]:.1f}" y="{at[1] + 4.5:.1f}" text-anchor="{anchor}"{weight} '
            f'paint-order="stroke" stroke="{on}" stroke-width="4">{escape(words)}</text>'
        )

    def caption(self, y: float, name: str, words: str) -> None:
        """Write a panel's caption: its sign, then plain words."""
        self.text((14, y), name, anchor="start", bold=True)
        self.text((90, y), words, anchor="start")

    def foot(self, words: str) -> None:
        """Write where the drawing is seen from and how far it exaggerates."""
        self.path([(14, self.high - 30), (WIDE - 14, self.high - 30)], stroke_width=0.5)
        self.text((WIDE / 2, self.high - 15), words)

    def arrow(self, points: Sequence[Point], *, positive: bool = True) -> None:
        """Draw an arrow along points; the positive way in colour, any other in ink."""
        colour, wide = (POSITIVE, 2.4) if positive else (INK, 1.2)
        long, half = (10.0, 4.6) if positive else (8.0, 3.2)
        x, y = points[-1]
        # The head is straight, so its direction is taken over its own length of the line.
        back = next((p for p in reversed(points[:-1]) if math.dist(p, (x, y)) >= long), points[0])
        size = math.dist(back, (x, y))
        dx, dy = (x - back[0]) / size, (y - back[1]) / size
        neck = (x - long * dx, y - long * dy)
        body = [p for p in points[:-1] if math.dist(p, (x, y)) > long]
        self.path([*body, neck], stroke=colour, stroke_width=wide)
        head = [
            (x, y),
            (neck[0] - half * dy, neck[1] + half * dx),
            (neck[0] + half * dy, neck[1] - half * dx),
        ]
        self.path(head, close=True, fill=colour, stroke="none", stroke_width=0)

    def measure(self, a: Point, b: Point) -> None:
        """Draw a dimension line with a slash at each end."""
        self.path([a, b], stroke_width=0.8)
        for x, y in (a, b):
            self.path([(x - 3, y + 3), (x + 3, y - 3)], stroke_width=1.4)

    def dot(self, at: Point, *, size: float = 2.4) -> None:
        """Draw a point."""
        self.marks.append(f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{size}" fill="{INK}"/>')

    def svg(self) -> str:
        """Return the drawing as the text of its file."""
        size = f'width="{WIDE:.0f}" height="{self.high:.0f}"'
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:.0f} {self.high:.0f}" {size} '
            'role="img" aria-labelledby="t d" font-size="13" font-family="system-ui, -apple-system, '
            f"'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif\" fill=\"{INK}\" "
            'stroke-linecap="round" stroke-linejoin="round">'
        )
        lines = [
            head,
            f'<title id="t">{escape(self.title)}</title>',
            f'<desc id="d">{escape(self.tell)}</desc>',
            f'<rect {size} rx="6" fill="{PAPER}"/>',
            *self.marks,
            "</svg>",
            "",
        ]
        return "\n".join(lines)


def block(sheet: Sheet, place: Place, corners: Sequence[Vector]) -> None:
    """Draw a piece of the wooden body."""
    sheet.path([place(p) for p in corners], close=True, fill=WOOD, stroke_width=1.2)


def across(relief: float = 0.0) -> list[Vector]:
    """Return the body cut through at a hole line, with relief on the left."""
    cut = HALF - relief
    return [(0.0, y, z) for y, z in ((-HALF, 0.0), (-HALF, THICK), (cut, THICK), (cut, 0.0))]


def strip(sheet: Sheet, place: Place, half: float) -> None:
    """Draw a piece of the body about a hole line, seen from above, with the way forward."""
    block(sheet, place, [(x * half, y * HALF, 0.0) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    sheet.arrow([place((1.0, 0.0, 0.0)), place((half - 4.0, 0.0, 0.0))], positive=False)
    sheet.text(place((-5.0, 0.0, 0.0)), "forward", on=WOOD)


def name_of(sign: float) -> str:
    """Return the sign in words."""
    return "positive:" if sign > 0.0 else "negative:"


def looking(right: Vector, up: Vector, *, at: Point, scale: float) -> Place:
    """Return the view in which two directions of the car's frame lie right and up on the paper.

    Args:
        right: direction that lies to the right.
        up: direction that lies up.
        at: where the frame's origin is on the paper [px].
        scale: pixels for each millimetre.

    Returns:
        A function from points [mm] to places on the paper [px].
    """
    return lambda p: (at[0] + scale * dot(right, p), at[1] - scale * dot(up, p))


def from_behind(at: Point, scale: float) -> Place:
    """Return the view from behind: left is left."""
    return looking((0.0, -1.0, 0.0), (0.0, 0.0, 1.0), at=at, scale=scale)


def from_the_front(at: Point, scale: float) -> Place:
    """Return the view from the front: the car's left is on the right."""
    return looking((0.0, 1.0, 0.0), (0.0, 0.0, 1.0), at=at, scale=scale)


def from_above(at: Point, scale: float) -> Place:
    """Return the view from above, forward up the paper."""
    return looking((0.0, -1.0, 0.0), (1.0, 0.0, 0.0), at=at, scale=scale)


def from_the_right(at: Point, scale: float) -> Place:
    """Return the view at the car's right side: forward is to the right."""
    return looking((1.0, 0.0, 0.0), (0.0, 0.0, 1.0), at=at, scale=scale)


def outline(points: Sequence[Point]) -> list[Point]:
    """Return the convex outline of points (Andrew's monotone chain)."""

    def chain(run: Sequence[Point]) -> list[Point]:
        found: list[Point] = []
        for p in run:
            while len(found) > 1 and (
                (found[-1][0] - found[-2][0]) * (p[1] - found[-2][1])
                <= (found[-1][1] - found[-2][1]) * (p[0] - found[-2][0])
            ):
                found.pop()
            found.append(p)
        return found[:-1]

    run = sorted(points)
    return chain(run) + chain(run[::-1])


def along(a: Vector, b: Vector, by: float) -> Vector:
    """Return the point `by` beyond `a` along `b`."""
    return (a[0] + by * b[0], a[1] + by * b[1], a[2] + by * b[2])


def drum(centre: Vector, axis: Vector, radius: float, half: float) -> list[Vector]:
    """Return points on both rims of a cylinder."""
    first = unit(cross(axis, (1.0, 0.0, 0.0)))
    second = cross(axis, first)
    return [
        along(along(along(centre, axis, end), first, radius * math.cos(t)), second, radius * math.sin(t))
        for end in (-half, half)
        for t in steps(0.0, 2.0 * math.pi, 72)
    ]


def steps(start: float, end: float, count: int = 24) -> list[float]:
    """Return evenly spaced values from start to end."""
    return [start + (end - start) * k / count for k in range(count + 1)]


def swing(place: Place, pivot: Vector, ends: Sequence[Vector], radius: float) -> list[Point]:
    """Return an arc through directions, at a radius [mm] about a pivot."""
    return [place(along(pivot, end, radius)) for end in ends]


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """A wheel on its pin: angles [rad] and lengths [mm] in the terms of the geometry."""

    side: int = LEFT
    x: float = 0.0
    height: float = HOLE
    cant: float = 0.0
    sweep: float = 0.0
    bend: float = 0.0
    clock: float = 0.0
    bend_at: float = 0.0
    washer: float = 0.0
    play: float = 0.0
    share: float = 0.0
    relief: float = 0.0

    @property
    def hole(self) -> Vector:
        """Centre of the hole at the side face."""
        return (self.x, self.side * (WIDTH / 2.0 - self.relief), self.height)

    @property
    def out(self) -> Vector:
        """Direction of the hole."""
        return hole_axis(side=self.side, cant=self.cant, sweep=self.sweep)

    @property
    def shank(self) -> Vector:
        """Direction of the pin past its bend."""
        return shank_axis(side=self.side, cant=self.cant, sweep=self.sweep, bend=self.bend, clock=self.clock)

    @property
    def centre(self) -> Vector:
        """Centre of the tread."""
        return wheel_pose(
            side=self.side,
            hole=self.hole,
            cant=self.cant,
            sweep=self.sweep,
            bend=self.bend,
            clock=self.clock,
            bend_at=self.bend_at,
            hub=self.washer + self.share * self.play,
            reach=HUB + TREAD / 2.0,
            slack=0.0,
        ).centre

    def set_down(self, ground: float) -> Fitted:
        """Return the same with its hole drilled where the wheel just reaches the ground [mm]."""
        lowest = min(p[2] for p in drum(self.centre, self.shank, RADIUS, TREAD / 2.0))
        return replace(self, height=self.height + ground - lowest)

    def draw(self, sheet: Sheet, place: Place, *, wheel: bool = True, inside: float = 13.0) -> None:
        """Draw wheel, hub, washers and the pin with its head; the part in the wood is drawn as hidden."""
        knee = along(self.hole, self.out, self.bend_at)
        head = along(knee, self.shank, self.washer + self.play + HUB + TREAD - self.bend_at)
        if wheel:
            shapes = (
                (self.centre, RADIUS, TREAD / 2.0, PAPER),
                (along(self.centre, self.shank, -(TREAD + HUB) / 2.0), 3.6, HUB / 2.0, PAPER),
                (along(self.hole, self.shank, self.washer / 2.0), 3.0, self.washer / 2.0, INK),
            )
            for at, radius, half, fill in shapes:
                if half > 0.0:
                    rims = [place(p) for p in drum(at, self.shank, radius, half)]
                    sheet.path(outline(rims), close=True, fill=fill, stroke_width=1.3)
        sheet.path(
            [place(along(self.hole, self.out, -inside)), place(self.hole)],
            stroke_width=1.2,
            stroke_dasharray="3 3",
        )
        sheet.path([place(p) for p in (self.hole, knee, head)], stroke_width=2.6)
        cap = [place(p) for p in drum(along(head, self.shank, 0.7), self.shank, 2.6, 0.7)]
        sheet.path(outline(cap), close=True, fill=INK, stroke_width=0.6)
