"""What must hold for a drawing of any car: words apart, marks on the sheet, left and right alike."""

from __future__ import annotations

import math
from itertools import combinations, pairwise

import pytest
from hypothesis import HealthCheck, assume, given, reject, settings
from hypothesis import strategies as st

from rollwright.car import Car, Target
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
    points_of,
)
from rollwright.draw.fit import Units
from rollwright.draw.views import VIEWS, board_view, front_view, top_view, view_named
from rollwright.errors import DriftUndefined
from rollwright.geometry import stance
from rollwright.quantity import Quantity, Source
from tests.properties.test_geometry_properties import cars
from tests.unit.cars import club_car, mirrored

_LETTER = 0.55
_RANDOM = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)
_UNITS: tuple[Units, ...] = ("mm", "in")


def _box(text: Text) -> tuple[float, float, float, float]:
    """Return left, low, right and high of a text's letters, by a common breadth of 0.55 of their height."""
    wide = _LETTER * text.height * len(text.text)
    left = text.at[0] - wide * {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[text.anchor]
    return left, text.at[1] - 0.15 * text.height, left + wide, text.at[1] + 0.75 * text.height


def _corners(mark: Mark) -> tuple[Point, ...]:
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
            left, low, right, high = _box(mark)
            return ((left, low), (right, high))


def _crowded(drawing: Drawing) -> list[tuple[str, str]]:
    """Return the pairs of texts that run into each other."""
    texts = [mark for mark in drawing.marks if isinstance(mark, Text)]
    found = []
    for one, other in combinations(texts, 2):
        a, b = _box(one), _box(other)
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]:
            found.append((one.text, other.text))
    return found


def _off_the_sheet(drawing: Drawing) -> list[Mark]:
    return [
        mark
        for mark in drawing.marks
        if not all(
            -1e-9 <= x <= drawing.width + 1e-9 and -1e-9 <= y <= drawing.height + 1e-9
            for x, y in _corners(mark)
        )
    ]


def _strokes(mark: Mark) -> list[tuple[Point, Point]]:
    """Return a mark's visible straight pieces."""
    match mark:
        case Line():
            return [(mark.start, mark.end)]
        case Polyline() if mark.pen is not None:
            return list(pairwise((*mark.points, mark.points[0]) if mark.closed else mark.points))
        case Arc():
            return list(pairwise(points_of(mark)))
    return []


def _crosses(box: tuple[float, float, float, float], ends: tuple[Point, Point]) -> bool:
    """Return whether a stroke passes through a box (Y.-D. Liang and B. A. Barsky's clipping, 1984)."""
    left, low, right, high = box
    (ax, ay), (bx, by) = ends
    start, end = 0.0, 1.0
    for run, room in ((ax - bx, ax - left), (bx - ax, right - ax), (ay - by, ay - low), (by - ay, high - ay)):
        if run == 0.0:
            if room < 0.0:
                return False
        elif run < 0.0:
            start = max(start, room / run)
        else:
            end = min(end, room / run)
    return start < end


def _struck_through(drawing: Drawing) -> list[tuple[str, Mark]]:
    """Return the texts that a line passes through."""
    return [
        (text.text, mark)
        for text in drawing.marks
        if isinstance(text, Text)
        for mark in drawing.marks
        if any(_crosses(_box(text), ends) for ends in _strokes(mark))
    ]


def _assert_sound(drawing: Drawing) -> None:
    assert _crowded(drawing) == []
    assert _off_the_sheet(drawing) == []
    assert all(math.isfinite(value) for mark in drawing.marks for point in _corners(mark) for value in point)


@pytest.mark.parametrize("width", [120.0, 180.0])
@pytest.mark.parametrize("units", _UNITS)
@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("name", ["lark", "heron", "bittern"])
def test_a_club_car_is_drawn_with_words_apart_and_clear_of_lines(
    name: str, view: str, units: Units, width: float
) -> None:
    known = {"height_difference": 0.2e-3, "drift": 0.03, "rail_offset": 0.15e-3}
    for uncertainties in ({}, known):
        drawing = view_named(view, club_car(name), width=width, units=units, uncertainties=uncertainties)
        _assert_sound(drawing)
        assert _struck_through(drawing) == []


@given(cars(), st.sampled_from(_UNITS), st.sampled_from([120.0, 180.0]))
@_RANDOM
def test_any_car_is_drawn_with_words_apart(car: Car, units: Units, width: float) -> None:
    try:
        found = stance(car)
    except DriftUndefined:
        reject()
    for view in VIEWS:
        _assert_sound(view_named(view, car, stance=found, width=width, units=units))


def _drawn_points(drawing: Drawing) -> list[Point]:
    """Return the corners of what is filled: body, wheels, hubs, pins, rail; no arrows, no words."""
    return [
        point
        for mark in drawing.marks
        if isinstance(mark, Polyline) and mark.closed and mark.pen is Pen.OUTLINE
        for point in mark.points
    ]


def _farthest(one: list[Point], other: list[Point]) -> float:
    """Return how far the most lonely point of one drawing is from the nearest of the other."""
    return max(min(math.dist(a, b) for b in other) for a in one)


def _centred(points: list[Point], *, low: bool) -> list[Point]:
    ys = [y for _, y in points]
    middle = min(ys) if low else (min(ys) + max(ys)) / 2.0
    return [(x, y - middle) for x, y in points]


@given(cars())
@settings(max_examples=15, deadline=None)
def test_a_mirrored_car_is_drawn_mirrored(car: Car) -> None:
    other = mirrored(car)
    one_seats, other_seats = (
        {station: at.seat.seat for station, at in stance(one).stations.items()} for one in (car, other)
    )
    assume(all(other_seats[station.opposite] is seat for station, seat in one_seats.items()))
    above, below = (_centred(_drawn_points(top_view(one)), low=False) for one in (car, other))
    assert _farthest([(x, -y) for x, y in above], below) < 1e-6
    left, right = (_centred(_drawn_points(front_view(one)), low=True) for one in (car, other))
    assert _farthest([(180.0 - x, y) for x, y in left], right) < 1e-6


@given(
    st.floats(-0.4, 0.4),
    st.floats(0.0, 0.1),
    st.floats(-0.3, 0.3),
    st.floats(0.001, 0.1),
    st.floats(0.0, 0.2),
)
@settings(max_examples=60, deadline=None)
def test_any_reading_is_drawn_on_the_sheet(
    value: float, spread: float, wanted: float, tolerance: float, doubt: float
) -> None:
    reading = Quantity(value=value, uncertainty=spread, source=Source.MEASURED)
    for units in _UNITS:
        _assert_sound(
            board_view(
                club_car("lark"),
                width=120.0,
                units=units,
                reading=reading,
                target=Target(value=wanted, tolerance=tolerance),
                uncertainty=doubt,
            )
        )
