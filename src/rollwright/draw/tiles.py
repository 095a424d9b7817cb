"""Drawings on pages: one page where that will do, else rows and columns of pages to be glued together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from rollwright.draw.drawing import Drawing, Line, Mark, Pen, Point, Text, moved
from rollwright.draw.extent import Box, bounds, covers
from rollwright.draw.paper import SCALE_SIZE, Page, Paper, is_scale_box, scale_box
from rollwright.draw.printer import Factors
from rollwright.errors import OutOfRange

__all__ = ["OVERLAP", "tiled"]

OVERLAP = 10.0
"""How far two neighbouring pages of one drawing show the same, at least [mm]."""

_FOOT = 9.0
_LONGEST_TITLE = 95
_ARM = 4.0
_SLACK = 1e-6
_STEP = 5.0
_GAP = 2.0
_LETTERS = 26


def tiled(
    drawing: Drawing,
    *,
    paper: Paper,
    overlap: float = OVERLAP,
    sideways: bool | None = None,
    factors: Factors | None = None,
) -> tuple[Page, ...]:
    """Return the pages that a drawing takes in true size.

    A drawing that fits inside the margins and brings its own scale box takes one page as it is. Others get a
    foot with title and page number where there is room, and a scale box on every page that has a free place
    for it, or else one on a page of its own at the end. A drawing larger than a page is cut into rows and
    columns whose neighbours show the same strip along their common edge; crosses with the same letter lie on
    each other.

    Args:
        drawing: what is drawn.
        paper: what it is printed on.
        overlap: how far neighbours show the same [mm].
        sideways: whether the paper lies on its long edge; None: whichever takes fewer pages, upright where
            both take as many.
        factors: told beside each scale box; None: not told.

    Returns:
        The pages, row by row from the top left.

    Raises:
        OutOfRange: the overlap is under 10 mm or over 50 mm.
    """
    if not OVERLAP <= overlap <= 5.0 * OVERLAP:
        raise OutOfRange(
            f"an overlap of {overlap:g} mm is not possible: it has to be {OVERLAP:g} to {5 * OVERLAP:g} mm",
            mend="give an overlap in this range",
        )
    blanks = [Page(paper=paper, marks=(), sideways=way) for way in (False, True) if sideways in {None, way}]
    return min((_laid_out(drawing, blank, overlap, factors) for blank in blanks), key=len)


def _laid_out(drawing: Drawing, blank: Page, overlap: float, factors: Factors | None) -> tuple[Page, ...]:
    room = replace(blank.room, bottom=blank.room.bottom + _FOOT)
    if not (drawing.width <= room.width and drawing.height <= room.height):
        whole = _alone(drawing, blank, factors)
        if whole is not None:
            return (whole,)
    elif any(map(is_scale_box, drawing.marks)):
        return (_placed(drawing, blank, _Tile(drawing=drawing, room=blank.room, middle=True)),)
    columns = _count(drawing.width, room.width, overlap)
    rows = _count(drawing.height, room.height, overlap)
    tiles = [
        _Tile(
            drawing=drawing,
            room=room,
            left=column * (room.width - overlap),
            down=row * (room.height - overlap),
            middle=columns * rows == 1,
        )
        for row in range(rows)
        for column in range(columns)
    ]
    crosses = _crosses(drawing, room, columns=columns, rows=rows, overlap=overlap)
    pages = [_placed(drawing, blank, tile, crosses) for tile in tiles]
    names = [
        f"row {row} of {rows}, column {column} of {columns}" if len(tiles) > 1 else ""
        for row in range(1, rows + 1)
        for column in range(1, columns + 1)
    ]
    boxes: list[tuple[Mark, ...]] = [()] * len(pages)
    shown = [number for number, page in enumerate(pages, 1) if _shows_scale(page)]
    if not shown:
        boxes = [_added_box(page, room, factors) for page in pages]
        if not any(boxes):
            pages.append(blank)
            names.append("the scale box")
            boxes.append(scale_box(at=(room.left, room.top - SCALE_SIZE[1]), factors=factors))
        shown = [number for number, box in enumerate(boxes, 1) if box]
    return tuple(
        replace(
            page,
            frame=(
                *page.frame,
                *box,
                *_foot(drawing, room, number, len(pages), name, "" if number in shown else str(shown[0])),
            ),
        )
        for number, (page, box, name) in enumerate(zip(pages, boxes, names, strict=True), 1)
    )


def _alone(drawing: Drawing, blank: Page, factors: Factors | None) -> Page | None:
    """Return one page without a foot where a drawing fills the room so far that none has a place."""
    room = blank.room
    if drawing.width > room.width or drawing.height > room.height:
        return None
    page = _placed(drawing, blank, _Tile(drawing=drawing, room=room, middle=True))
    if _shows_scale(page):
        return page
    box = _added_box(page, room, factors)
    return replace(page, frame=box) if box else None


def _added_box(page: Page, room: Box, factors: Factors | None) -> tuple[Mark, ...]:
    at = _free_place(page, room)
    return () if at is None else scale_box(at=at, factors=factors)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tile:
    """The part of a drawing that one page shows: `left` from its left and `down` from its top edge [mm]."""

    drawing: Drawing
    room: Box
    left: float = 0.0
    down: float = 0.0
    middle: bool = False

    @property
    def right_by(self) -> float:
        """How far the drawing is moved to the right [mm]."""
        spare = (self.room.width - self.drawing.width) / 2.0 if self.middle else 0.0
        return self.room.left - self.left + spare

    @property
    def up_by(self) -> float:
        """How far the drawing is moved up [mm]."""
        return self.room.top - self.drawing.height + self.down

    @property
    def window(self) -> Box:
        """Where the drawing shows on the page."""
        room, drawing = self.room, self.drawing
        return Box(
            left=max(room.left, self.right_by),
            bottom=max(room.bottom, self.up_by),
            right=min(room.right, self.right_by + drawing.width),
            top=min(room.top, self.up_by + drawing.height),
        )


def _count(length: float, room: float, overlap: float) -> int:
    # A drawing made to fill the room exactly is not cut up for the last digit of a sum.
    return 1 + max(0, math.ceil((length - room) / (room - overlap) - 1e-9))


def _placed(drawing: Drawing, blank: Page, tile: _Tile, crosses: Sequence[tuple[str, Point]] = ()) -> Page:
    window = tile.window
    here = [moved(mark, right=tile.right_by, up=tile.up_by) for mark in drawing.marks]
    # A cross shows only on pages that have room for its arms; on a narrow strip they may stick out.
    arm = min(_ARM, drawing.width / 2.0, drawing.height / 2.0) - _SLACK
    frame: list[Mark] = []
    for letter, (x, y) in crosses:
        place = (x + tile.right_by, y + tile.up_by)
        arms = Box(left=place[0] - arm, bottom=place[1] - arm, right=place[0] + arm, top=place[1] + arm)
        if window.encloses(arms):
            frame += _cross(place, letter)
    return replace(
        blank,
        marks=tuple(mark for mark in here if window.meets(bounds(mark))),
        window=window,
        frame=tuple(frame),
    )


def _crosses(
    drawing: Drawing, room: Box, *, columns: int, rows: int, overlap: float
) -> list[tuple[str, Point]]:
    """Return the letters and places, on the drawing, of the crosses in the middle of each common strip."""
    xs = [(n + 1) * (room.width - overlap) + overlap / 2.0 for n in range(columns - 1)]
    ys = [drawing.height - (n + 1) * (room.height - overlap) - overlap / 2.0 for n in range(rows - 1)]
    in_x, in_y = min(_STEP, drawing.width / 2.0), min(_STEP, drawing.height / 2.0)
    ends_x, ends_y = [in_x, drawing.width - in_x], [drawing.height - in_y, in_y]
    places = [(x, y) for x in xs for y in [ends_y[0], *ys, ends_y[1]]]
    places += [(x, y) for y in ys for x in ends_x]
    return [
        (chr(ord("A") + number % _LETTERS) + (str(number // _LETTERS) if number >= _LETTERS else ""), place)
        for number, place in enumerate(places)
    ]


def _cross(at: Point, letter: str) -> list[Mark]:
    x, y = at
    return [
        Line(start=(x - _ARM, y), end=(x + _ARM, y), pen=Pen.SCALE),
        Line(start=(x, y - _ARM), end=(x, y + _ARM), pen=Pen.SCALE),
        Text(at=(x + 0.8, y + 0.8), text=letter, height=2.8, pen=Pen.SCALE),
    ]


def _foot(drawing: Drawing, room: Box, number: int, count: int, name: str, scale_page: str) -> Iterator[Mark]:
    title = " ".join(drawing.title.split())
    if len(title) > _LONGEST_TITLE:
        title = f"{title[: _LONGEST_TITLE - 1]}…"
    parts = [f"Page {number} of {count}" + (f": {name}." if name else ".")]
    if name.startswith("row"):
        parts.append("Lay crosses with the same letter on each other.")
    if scale_page:
        parts.append(f"The scale box is on page {scale_page}.")
    yield Text(at=(room.left, room.bottom - 4.0), text=title, height=3.0, strong=True)
    yield Text(at=(room.left, room.bottom - 8.0), text=" ".join(parts), height=3.0)


def _shows_scale(page: Page) -> bool:
    """Return whether a page shows the drawing's own scale box whole."""
    window = page.window
    return window is not None and any(
        is_scale_box(mark) and window.encloses(bounds(mark)) for mark in page.marks
    )


def _free_place(page: Page, room: Box) -> Point | None:
    """Return a lower left corner where the scale box lies on nothing, or None where there is none."""
    taken = [box for mark in (*page.marks, *page.frame) for box in covers(mark)]
    wide, high = SCALE_SIZE
    for row in range(1 + math.floor((room.height - high) / _STEP)):
        for column in range(1 + math.floor((room.width - wide) / _STEP)):
            x, y = room.left + column * _STEP, room.bottom + row * _STEP
            place = Box(left=x - _GAP, bottom=y - _GAP, right=x + wide + _GAP, top=y + high + _GAP)
            if not any(place.meets(box) for box in taken):
                return (x, y)
    return None
