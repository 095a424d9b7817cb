"""The set-up sheet: one page with all that a builder needs beside the car, to be pinned to the wall."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from rollwright.car.model import Car
from rollwright.draw.drawing import Circle, Drawing, Line, Mark, Pen, Text, moved
from rollwright.draw.fit import Units, system_of
from rollwright.draw.gauge_marks import cross
from rollwright.draw.gauge_words import AT_THE_DRILL, AT_THE_SANDER, AT_THE_VICE, THE_MANUAL
from rollwright.draw.paper import MARGIN, SCALE_BAR, Page, Paper
from rollwright.draw.printer import Factors
from rollwright.draw.sheet_identity import (
    HASH_LENGTH,
    Identity,
    code_text,
    content_hash,
    hash_words,
    qr_marks,
)
from rollwright.draw.sheet_numbers import NUMBERS_TALL, numbers_table
from rollwright.draw.sheet_readings import READINGS_TALL, readings_rows, readings_table
from rollwright.draw.sheet_words import fitted, paragraphs, wide
from rollwright.draw.view_front import front_view, rear_view
from rollwright.draw.view_path import board_view
from rollwright.draw.view_side import side_view
from rollwright.draw.view_top import top_view
from rollwright.geometry import Stance
from rollwright.geometry import stance as stance_of

__all__ = ["setup_sheet", "sheet_page"]

_HEAD = 26.0
_CODE = 24.0
_APART = 3.6
_LINE = 8.0
_TALL = (0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.35, 0.3, 0.25, 0.2)
"""How tall the board may be drawn over its width, the tallest that fits first [1]."""
_BOARD = 99.0
_NO_HASH = "0" * HASH_LENGTH


def setup_sheet(
    car: Car,
    *,
    paper: Paper = Paper.A4,
    identity: Identity | None = None,
    units: Units = "mm",
    stance: Stance | None = None,
    exaggeration: float | None = None,
    uncertainties: Mapping[str, float] | None = None,
    factors: Factors | None = None,
    rear: bool = False,
) -> Drawing:
    """Return a car's set-up sheet: views, targets, room for readings, numbers to set, cautions and a code.

    The frame of the table of readings is the scale box, so that the sheet proves its own print.

    Args:
        car: the car.
        paper: what it is printed on; the sheet fills it inside its margins.
        identity: id, revision and day; what is not given is left blank.
        units: what numbers are written in.
        stance: the car's stance, where it has been found already.
        exaggeration: how much larger than life angles are drawn in the views; None chooses.
        uncertainties: standard uncertainties of `height_difference`, `drift` and `rail_offset` [m].
        factors: those that put the printer right, to be told; None: not told.
        rear: whether the rear pair is shown from behind in place of the front pair from in front.

    Returns:
        The drawing. The hash that it tells is its own `content_hash`.

    Raises:
        OutOfRange: the exaggeration or the units are no usable ones.
        CarCannotRest: no three wheels hold the centre of mass between them.
        DriftUndefined: the steered wheel touches beside the rear pair, so that no turn is defined.
    """
    found = stance_of(car) if stance is None else stance
    marked = Identity() if identity is None else identity
    room = Page(paper=paper, marks=()).room
    known = uncertainties or {}

    def made(digest: str) -> Drawing:
        return Drawing(
            name="set-up-sheet",
            title=f"Set-up sheet for {car.name}",
            width=room.width,
            height=room.height,
            marks=(
                *_head(car, marked, digest, room.width, room.height),
                *_left(car, found, units, known, exaggeration, factors, room.height),
                *_right(car, found, units, known, exaggeration, room.width, room.height, rear=rear),
                *_foot(car, room.width, _foot_top(room.height)),
                *_fold(room.height),
            ),
            notes=(
                "Before you trust the sheet measure the frame of its first table: 100 mm across, 50 mm up.",
                "In brackets: nobody gave it, it is assumed.",
            ),
            cautions=_cautions(car),
        )

    return made(content_hash(made(_NO_HASH)))


def sheet_page(sheet: Drawing, *, paper: Paper) -> Page:
    """Return a set-up sheet on its paper.

    Args:
        sheet: as `setup_sheet` draws it for that paper.
        paper: the paper.

    Returns:
        The page, the sheet inside its margins.
    """
    return Page(paper=paper, marks=tuple(moved(mark, right=MARGIN, up=MARGIN) for mark in sheet.marks))


def _head(car: Car, identity: Identity, digest: str, width: float, top: float) -> Iterator[Mark]:
    nail = (width / 2.0, top - 2.2)
    yield Circle(centre=nail, radius=1.6)
    yield from cross(nail, arm=2.2)
    left = width - _CODE - 3.0
    # A long name is set smaller and runs through below the nail.
    half = width / 2.0 - 6.0
    room, size = (half, 10.0) if wide(car.name, 10.0, strong=True) <= half else (left, 6.6)
    yield fitted(car.name, at=(0.0, top - 9.5), room=room, height=size, strong=True)
    x, base = 0.0, top - 16.5
    day = "" if identity.day is None else identity.day.isoformat()
    for label, value, blank in (
        ("id", identity.id, 26.0),
        ("revision", identity.revision, 16.0),
        ("date", day, 24.0),
        ("by", "", 24.0),
    ):
        yield Text(at=(x, base), text=label, height=3.0)
        x += wide(label, 3.0) + 1.5
        if value:
            yield Text(at=(x, base), text=value, height=4.2, strong=True)
            x += wide(value, 4.2, strong=True) + 5.0
        elif x + blank <= left:
            yield Line(start=(x, base - 0.8), end=(x + blank, base - 0.8), pen=Pen.HAIR)
            x += blank + 5.0
    bent = "bent axles allowed" if car.bent_axles else "no bent axles"
    words = f"Set-up sheet · {car.dominant.words} wheel steers · {bent} · {hash_words(digest)}"
    yield fitted(words, at=(0.0, top - 22.5), room=left, height=3.2)
    yield Line(start=(0.0, top - _HEAD + 1.5), end=(left, top - _HEAD + 1.5), pen=Pen.HAIR)
    yield from qr_marks(code_text(car.name, identity), left=width - _CODE, low=top - _CODE, size=_CODE)


def _left(
    car: Car,
    found: Stance,
    units: Units,
    known: Mapping[str, float],
    exaggeration: float | None,
    factors: Factors | None,
    height: float,
) -> Iterator[Mark]:
    system, top = system_of(units), height - _HEAD
    rows = readings_rows(car, found, system=system, drift_spread=known.get("drift"))
    yield from readings_table(rows, left=0.0, top=top, factors=factors)
    top -= READINGS_TALL + _APART
    yield from numbers_table(car, left=0.0, top=top, width=SCALE_BAR, system=system)
    top -= NUMBERS_TALL + _APART
    room = top - _foot_top(height)
    for tall in _TALL:
        board = board_view(
            car,
            stance=found,
            width=_BOARD,
            exaggeration=exaggeration,
            units=units,
            uncertainty=known.get("drift"),
            tall=tall,
        )
        if board.height <= room:
            break
    yield from (moved(mark, up=top - board.height) for mark in board.marks)


def _right(
    car: Car,
    found: Stance,
    units: Units,
    known: Mapping[str, float],
    exaggeration: float | None,
    width: float,
    height: float,
    *,
    rear: bool,
) -> Iterator[Mark]:
    left = SCALE_BAR + _APART
    views = [
        draw(
            car,
            stance=found,
            width=width - left,
            exaggeration=exaggeration,
            units=units,
            uncertainties=known,
        )
        for draw in (top_view, side_view, rear_view if rear else front_view)
    ]
    top = height - _HEAD
    spare = (top - _foot_top(height) - sum(view.height for view in views)) / len(views)
    for view in views:
        yield from (moved(mark, right=left, up=top - view.height) for mark in view.marks)
        top -= view.height + spare


def _cautions(car: Car) -> tuple[str, ...]:
    return (AT_THE_DRILL, AT_THE_SANDER, *((AT_THE_VICE,) if car.bent_axles else ()), THE_MANUAL)


def _foot_top(height: float) -> float:
    """Return how high the foot reaches: higher on a longer paper [mm]."""
    return 34.0 + 0.3 * max(0.0, height - 260.0)


def _foot(car: Car, width: float, top: float) -> Iterator[Mark]:
    """Return cautions at the left, and lines to write on at the right."""
    yield Line(start=(0.0, top), end=(width, top), pen=Pen.HAIR)
    yield Text(at=(0.0, top - 4.5), text="Take care", height=3.4, strong=True)
    words, _ = paragraphs(
        _cautions(car),
        at=(0.0, top - 6.5),
        room=SCALE_BAR - 2.0,
        height=2.6,
    )
    yield from words
    left = SCALE_BAR + _APART + 2.0
    yield Text(at=(left, top - 4.5), text="Noted by hand", height=3.4, strong=True)
    y = top - 6.0 - _LINE
    while y >= -1e-9:
        yield Line(start=(left, y), end=(width, y), pen=Pen.HAIR)
        y -= _LINE


def _fold(height: float) -> Iterator[Mark]:
    """Return the line along which the sheet is folded lengthwise: tables in front, views behind."""
    x = SCALE_BAR + _APART / 2.0
    yield Line(start=(x, 0.0), end=(x, height - _HEAD), pen=Pen.HIDDEN)
    yield Text(at=(x + 1.9, 1.0), text="fold", height=2.0, turn=math.pi / 2.0)
