"""A drawing made ready for paper: title, identity, scale box, notes and cautions about it, page by page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rollwright.draw.drawing import Drawing, Line, Mark, Pen, Text, moved
from rollwright.draw.extent import Box
from rollwright.draw.extent import bounds as extent_of
from rollwright.draw.labels import box_of
from rollwright.draw.paper import MARGIN, SCALE_SIZE, Page, Paper, scale_box
from rollwright.draw.printer import Factors
from rollwright.draw.sheet_identity import Identity, content_hash, hash_words
from rollwright.draw.sheet_words import fitted, paragraphs
from rollwright.draw.tiles import tiled

__all__ = ["file_plate", "framed", "gauge_pages", "stamp", "view_page"]

HEAD = 15.0
"""How tall the title and the line below it are [mm]."""

_GAP = 5.0
_BESIDE = 7.0
_NOTE = 2.9
_NARROW = 190.0
_LEAST_BAND = 4.0
_LEAST_PART = 0.25


def stamp(drawing: Drawing, identity: Identity) -> str:
    """Return the line that marks every page, such as `LARK-2 · rev 3 · 2026-03-07 · drawing 3fa9c1d2e0`.

    Args:
        drawing: the drawing that is marked.
        identity: which car and revision.

    Returns:
        The line.
    """
    return " · ".join((*identity.parts, hash_words(content_hash(drawing))))


def gauge_pages(
    drawing: Drawing, *, paper: Paper, identity: Identity, factors: Factors | None = None
) -> tuple[Page, ...]:
    """Return the pages of a drawing in true size, ready to print, with scale box, notes and cautions.

    One page where all of it fits, upright rather than sideways; else one page for each of two parts between
    which nothing is drawn; else rows and columns of pages, and the notes on a page behind them.

    Args:
        drawing: what is drawn, in true size.
        paper: what it is printed on.
        identity: which car and revision.
        factors: those that put the printer right, to be told beside the scale box.

    Returns:
        The pages. Title, identity and hash stand on each.
    """
    marked = stamp(drawing, identity)
    notes = (*drawing.notes, *drawing.cautions)
    for parts in ([drawing], _in_two(drawing)):
        for sideways in (False, True):
            pages = [
                _page(
                    part,
                    marked,
                    notes,
                    Page(paper=paper, marks=(), sideways=sideways),
                    number,
                    len(parts),
                    factors,
                )
                for number, part in enumerate(parts, 1)
            ]
            whole = [page for page in pages if page is not None]
            if parts and len(whole) == len(parts):
                return tuple(whole)
    titled = replace(drawing, title=f"{drawing.title} · {marked}")
    pages_of_it = tiled(titled, paper=paper, factors=factors)
    return _with_notes(pages_of_it, drawing.title, marked, notes)


def view_page(drawing: Drawing, *, paper: Paper, identity: Identity) -> Page:
    """Return one page with a drawing that is not in true size: no scale box, else as a gauge's.

    Args:
        drawing: what is drawn, no wider than the room inside the margins.
        paper: what it is printed on.
        identity: which car and revision.

    Returns:
        The page.
    """
    blank = Page(paper=paper, marks=(), sideways=False)
    room = blank.room
    notes, tall = paragraphs(
        (*drawing.notes, *drawing.cautions), at=(0.0, 0.0), room=room.width, height=_NOTE
    )
    top = room.top - HEAD - _GAP
    shown = [
        moved(mark, right=room.left + (room.width - drawing.width) / 2.0, up=top - drawing.height)
        for mark in drawing.marks
    ]
    below = max(top - drawing.height - _GAP, room.bottom + tall)
    return replace(
        blank,
        marks=tuple(shown),
        frame=(
            *_head(drawing.title, stamp(drawing, identity), room),
            *(moved(mark, right=room.left, up=below) for mark in notes),
        ),
    )


def file_plate(drawing: Drawing, *, identity: Identity, factors: Factors | None = None) -> Drawing:
    """Return a drawing for one file of any size: with title, identity, scale box, notes and cautions.

    Args:
        drawing: what is drawn, in true size.
        identity: which car and revision.
        factors: told beside the scale box; None: not told.

    Returns:
        A larger drawing with the same name, its marks in the same order.
    """
    ink = _ink(drawing)
    width = max(_NARROW, ink.width)
    foot, tall = _foot((*drawing.notes, *drawing.cautions), width, factors)
    height = HEAD + _GAP + ink.height + _GAP + tall
    room = Box(left=0.0, bottom=0.0, right=width, top=height)
    plate = replace(
        drawing,
        width=width,
        height=height,
        marks=(
            *_placed(drawing, ink, room, tall),
            *_head(drawing.title, stamp(drawing, identity), room),
            *foot,
        ),
    )
    return framed(plate)


def framed(drawing: Drawing) -> Drawing:
    """Return a drawing with the margin of a printed page left free all round it."""
    return replace(
        drawing,
        width=drawing.width + 2.0 * MARGIN,
        height=drawing.height + 2.0 * MARGIN,
        marks=tuple(moved(mark, right=MARGIN, up=MARGIN) for mark in drawing.marks),
    )


def _page(
    drawing: Drawing,
    marked: str,
    notes: tuple[str, ...],
    blank: Page,
    number: int,
    count: int,
    factors: Factors | None,
) -> Page | None:
    room, ink = blank.room, _ink(drawing)
    foot, tall = _foot(notes, room.width, factors)
    if ink.width > room.width + 1e-6 or HEAD + _GAP + ink.height + _GAP + tall > room.height + 1e-6:
        return None
    counted = f"page {number} of {count} · {marked}" if count > 1 else marked
    return replace(
        blank,
        marks=tuple(_placed(drawing, ink, room, tall)),
        frame=(
            *_head(drawing.title, counted, room),
            *(moved(mark, right=room.left, up=room.bottom) for mark in foot),
        ),
    )


def _placed(drawing: Drawing, ink: Box, room: Box, tall: float) -> Iterator[Mark]:
    """Return the drawing in the middle of what head and foot leave, a little above it."""
    spare = room.height - HEAD - 2.0 * _GAP - tall - ink.height
    right = room.left + (room.width - ink.width) / 2.0 - ink.left
    up = room.bottom + tall + _GAP + 0.6 * spare - ink.bottom
    return (moved(mark, right=right, up=up) for mark in drawing.marks)


def _head(title: str, marked: str, room: Box) -> tuple[Mark, ...]:
    return (
        fitted(title, at=(room.left, room.top - 4.5), room=room.width, height=5.6, strong=True),
        fitted(marked, at=(room.left, room.top - 10.5), room=room.width, height=3.4),
        Line(start=(room.left, room.top - 13.0), end=(room.right, room.top - 13.0), pen=Pen.HAIR),
    )


def _foot(notes: tuple[str, ...], width: float, factors: Factors | None) -> tuple[tuple[Mark, ...], float]:
    """Return scale box and notes side by side over 0, 0, and how tall they are [mm]."""
    left = SCALE_SIZE[0] + _BESIDE
    words, tall = paragraphs(notes, at=(0.0, 0.0), room=width - left, height=_NOTE)
    tall = max(tall, SCALE_SIZE[1])
    return (
        *scale_box(at=(0.0, tall - SCALE_SIZE[1]), factors=factors),
        *(moved(mark, right=left, up=tall) for mark in words),
    ), tall


def _ink(drawing: Drawing) -> Box:
    """Return what a drawing really takes of its sheet."""
    boxes = [_extent(mark) for mark in drawing.marks]
    return Box(
        left=min(box.left for box in boxes) - 1.0,
        bottom=min(box.bottom for box in boxes) - 1.0,
        right=max(box.right for box in boxes) + 1.0,
        top=max(box.top for box in boxes) + 1.0,
    )


def _extent(mark: Mark) -> Box:
    if isinstance(mark, Text) and not mark.turn:
        box = box_of(mark)
        return Box(left=box.left, bottom=box.low, right=box.right, top=box.high)
    return extent_of(mark)


def _in_two(drawing: Drawing) -> list[Drawing]:
    """Return an upper and a lower drawing, parted where a band across it is empty; none without one."""
    spans = sorted((box.bottom, box.top) for box in map(_extent, drawing.marks))
    reached = spans[0][1]
    bands = []
    for low, high in spans[1:]:
        if low - reached >= _LEAST_BAND:
            bands.append((low - reached, (low + reached) / 2.0))
        reached = max(reached, high)
    inner = [
        band
        for band in bands
        if _LEAST_PART * drawing.height < band[1] < (1.0 - _LEAST_PART) * drawing.height
    ]
    if not inner:
        return []
    _, cut = max(inner)
    upper = tuple(mark for mark in drawing.marks if _extent(mark).bottom > cut)
    lower = tuple(mark for mark in drawing.marks if _extent(mark).bottom <= cut)
    return [replace(drawing, marks=upper), replace(drawing, marks=lower)]


def _with_notes(pages: tuple[Page, ...], title: str, marked: str, notes: tuple[str, ...]) -> tuple[Page, ...]:
    """Return pages with the notes on the one that is empty but for the scale box, or on one more."""
    last = pages[-1]
    empty = not last.marks
    page = last if empty else Page(paper=last.paper, marks=(), sideways=last.sideways)
    room = page.room
    top = room.top - (SCALE_SIZE[1] + 2.0 * _GAP if empty else HEAD + _GAP)
    words, _ = paragraphs(notes, at=(room.left, top), room=room.width, height=_NOTE + 0.3)
    head = () if empty else _head(title, f"notes · {marked}", room)
    noted = replace(page, frame=(*page.frame, *head, *words))
    return (*pages[:-1], noted) if empty else (*pages, noted)
