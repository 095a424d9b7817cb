"""Words on a drawing that do not run into each other: their boxes, and a sheet that keeps count of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rollwright.draw.drawing import (
    Anchor,
    Arc,
    Circle,
    Drawing,
    Line,
    Mark,
    Pen,
    Point,
    Polyline,
    Text,
    moved,
    points_of,
)

__all__ = ["Box", "Sheet", "box_of", "text_width"]

_WIDTH = 0.55
_CAPITAL = 0.7
_ABOVE, _BELOW = 0.8, 0.2
_ROW = 1.3
_EDGE = 2.0
_TRIES = 9


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the sheet, from its `left` and `low` to its `right` and `high` edge [mm]."""

    left: float
    low: float
    right: float
    high: float

    def meets(self, other: Box) -> bool:
        """Return whether two rectangles share more than an edge."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.low < other.high
            and other.low < self.high
        )


def text_width(text: str, height: float) -> float:
    """Return how wide a text is about to be set [mm]: 0.55 of its height for each character."""
    return _WIDTH * height * len(text)


def box_of(text: Text) -> Box:
    """Return the rectangle that a level text takes up, from below its tails to above its capitals.

    Args:
        text: the text; its turn is not looked at.

    Returns:
        Its rectangle [mm], by a common breadth of letters, since no font is known here.
    """
    wide = text_width(text.text, text.height)
    left = text.at[0] - wide * {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[text.anchor]
    low = text.at[1] - _BELOW * text.height
    return Box(left, low, left + wide, text.at[1] + _ABOVE * text.height)


def _corners(mark: Mark) -> Iterable[Point]:
    match mark:
        case Line():
            return (mark.start, mark.end)
        case Polyline():
            return mark.points
        case Arc():
            return points_of(mark)
        case Circle():
            (x, y), r = mark.centre, mark.radius
            return ((x - r, y - r), (x + r, y + r))
        case Text():
            box = box_of(mark)
            return ((box.left, box.low), (box.right, box.high))


class Sheet:
    """A drawing in the making.

    Marks are added at any height; the finished sheet is cut above the highest and below the lowest.
    """

    def __init__(self, *, width: float, size: float) -> None:
        """Begin an empty sheet.

        Args:
            width: how wide it is [mm].
            size: the height of its type [mm].
        """
        self.width = width
        self.size = size
        self._marks: list[Mark] = []
        self._taken: list[Box] = []

    def add(self, *marks: Mark) -> None:
        """Add marks above those that are there; the place of a text is taken from then on."""
        self._marks += marks
        self._taken += [box_of(mark) for mark in marks if isinstance(mark, Text)]

    def keep_clear(self, *boxes: Box) -> None:
        """Let no text be written into these rectangles."""
        self._taken += boxes

    def write(
        self,
        text: str,
        at: Point,
        *,
        anchor: Anchor = Anchor.MIDDLE,
        pen: Pen = Pen.OUTLINE,
        strong: bool = False,
        step: float = -1.0,
    ) -> Text:
        """Write a text where it is wanted, or in the next row that is free.

        Args:
            text: the words.
            at: the end of the text that the anchor names, at half the height of its capitals [mm].
            anchor: which end lies there.
            pen: its colour.
            strong: whether it is bold.
            step: how many rows up it goes where its place is taken; down if negative.

        Returns:
            The text as it was written: pushed sideways so that it stays on the sheet, and row by row away
            from other words.
        """
        size = self.size
        wide = text_width(text, size)
        before = wide * {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[anchor]
        x = max(min(at[0], self.width - _EDGE - wide + before), _EDGE + before)
        for row in range(_TRIES):
            mark = Text(
                at=(x, at[1] - 0.5 * _CAPITAL * size + row * step * _ROW * size),
                text=text,
                height=size,
                anchor=anchor,
                strong=strong,
                pen=pen,
            )
            if not any(box_of(mark).meets(box) for box in self._taken):
                break
        self.add(mark)
        return mark

    def lowest(self) -> float:
        """Return the height of the lowest mark [mm]."""
        return min((point[1] for mark in self._marks for point in _corners(mark)), default=0.0)

    def highest(self) -> float:
        """Return the height of the highest mark [mm]."""
        return max((point[1] for mark in self._marks for point in _corners(mark)), default=0.0)

    def caption(self, *parts: str) -> None:
        """Write softly below everything what holds for the whole drawing, in as many rows as it takes.

        Args:
            *parts: short phrases; they are kept whole, with a dot between them.
        """
        room = self.width - 2.0 * _EDGE
        rows: list[str] = []
        for part in filter(None, parts):
            longer = f"{rows[-1]} · {part}" if rows else part
            if rows and text_width(longer, self.size) <= room:
                rows[-1] = longer
            else:
                rows.append(part)
        y = self.lowest() - 1.2 * self.size
        for row in rows:
            self.write(row, (_EDGE, y), anchor=Anchor.START, pen=Pen.HAIR)
            y -= _ROW * self.size

    def drawing(
        self, *, name: str, title: str, notes: tuple[str, ...] = (), cautions: tuple[str, ...] = ()
    ) -> Drawing:
        """Return the finished drawing.

        Args:
            name: its short name.
            title: one line that says what it is and of which car.
            notes: what the reader has to know.
            cautions: the usual cautions.

        Returns:
            All marks, moved up so that the lowest is just above the lower edge.
        """
        low, high = self.lowest() - _EDGE, self.highest() + _EDGE
        return Drawing(
            name=name,
            title=title,
            width=self.width,
            height=high - low,
            marks=tuple(moved(mark, up=-low) for mark in self._marks),
            notes=notes,
            cautions=cautions,
        )
