"""Where marks lie: the upright rectangles they take on a sheet."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rollwright.draw.drawing import Anchor, Arc, Circle, Line, Mark, Point, Polyline, Text, points_of

__all__ = ["Box", "bounds", "covers"]

_STEP = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """An upright rectangle on a sheet.

    Attributes:
        left: its left edge [mm].
        bottom: its lower edge [mm].
        right: its right edge [mm].
        top: its upper edge [mm].
    """

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """How wide it is [mm]."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """How tall it is [mm]."""
        return self.top - self.bottom

    def holds(self, point: Point) -> bool:
        """Return whether a point lies inside it or on its edge.

        Args:
            point: the point [mm].

        Returns:
            True if it does.
        """
        return self.left <= point[0] <= self.right and self.bottom <= point[1] <= self.top

    def encloses(self, other: Box) -> bool:
        """Return whether another rectangle lies wholly inside it; edges may coincide.

        Args:
            other: the other rectangle.

        Returns:
            True if it does.
        """
        return self.holds((other.left, other.bottom)) and self.holds((other.right, other.top))

    def meets(self, other: Box) -> bool:
        """Return whether another rectangle has a point in common with it.

        Args:
            other: the other rectangle.

        Returns:
            True if it has, be it on the edge.
        """
        return (
            self.left <= other.right
            and other.left <= self.right
            and self.bottom <= other.top
            and other.bottom <= self.top
        )


def covers(mark: Mark) -> Iterator[Box]:
    """Return rectangles that together cover a mark: a closed shape whole, a line in short steps.

    Args:
        mark: what is drawn.

    Returns:
        The rectangles, one after the other.
    """
    match mark:
        case Line():
            points: tuple[Point, ...] = (mark.start, mark.end)
        case Arc():
            points = points_of(mark)
        case Polyline() if not mark.closed:
            points = mark.points
        case _:
            yield bounds(mark)
            return
    for a, b in itertools.pairwise(points):
        steps = max(1, math.ceil(math.dist(a, b) / _STEP))
        cuts = [
            (a[0] + (b[0] - a[0]) * n / steps, a[1] + (b[1] - a[1]) * n / steps) for n in range(steps + 1)
        ]
        for start, end in itertools.pairwise(cuts):
            yield _around((start, end))


def bounds(mark: Mark) -> Box:
    """Return the rectangle that holds a mark; that of a text is reckoned rather too long.

    Args:
        mark: what is drawn.

    Returns:
        Its extent, without the width of its line.
    """
    match mark:
        case Line():
            return _around((mark.start, mark.end))
        case Polyline():
            return _around(mark.points)
        case Circle():
            (x, y), r = mark.centre, mark.radius
            return _around(((x - r, y - r), (x + r, y + r)))
        case Arc():
            return _around(points_of(mark))
        case Text():
            # A wide letter is about 0.7 of the type's size; too long does no harm here.
            long = 0.7 * mark.height * len(mark.text)
            back = {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[mark.anchor] * long
            c, s = math.cos(mark.turn), math.sin(mark.turn)
            x, y = mark.at
            ends = [(u - back, v) for u in (0.0, long) for v in (-0.3 * mark.height, mark.height)]
            return _around([(x + u * c - v * s, y + u * s + v * c) for u, v in ends])


def _around(points: Sequence[Point]) -> Box:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return Box(left=min(xs), bottom=min(ys), right=max(xs), top=max(ys))
