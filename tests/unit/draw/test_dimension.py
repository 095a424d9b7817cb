"""Dimensions: where lines, arrows and numbers lie, measured in the marks."""

from __future__ import annotations

import math

import pytest

from rollwright.draw.dimension import ARROW, angle_between, arrow, leader, level, upright
from rollwright.draw.drawing import Anchor, Arc, Line, Mark, Point, Polyline, Text
from rollwright.draw.labels import Sheet, box_of, text_width

SIZE = 3.5


def _text(marks: tuple[Mark, ...]) -> Text:
    (found,) = (mark for mark in marks if isinstance(mark, Text))
    return found


def _tips(marks: tuple[Mark, ...]) -> list[Point]:
    return [mark.points[0] for mark in marks if isinstance(mark, Polyline) and mark.closed]


def _level_line(marks: tuple[Mark, ...], y: float) -> Line:
    (found,) = (mark for mark in marks if isinstance(mark, Line) and mark.start[1] == mark.end[1] == y)
    return found


def test_a_wide_dimension_has_its_arrows_at_the_points_and_its_number_above_the_line() -> None:
    marks = level((10.0, 0.0), (50.0, 4.0), y=-8.0, text="40.0", size=SIZE)
    assert _tips(marks) == [(10.0, -8.0), (50.0, -8.0)]
    line = _level_line(marks, -8.0)
    assert (line.start[0], line.end[0]) == (10.0, 50.0)
    text = _text(marks)
    assert text.anchor is Anchor.MIDDLE
    assert text.at[0] == pytest.approx(30.0)
    assert box_of(text).low > -8.0


def test_arrows_of_a_wide_dimension_lie_inside_and_of_a_narrow_one_outside() -> None:
    wide = [
        mark
        for mark in level((0.0, 0.0), (20.0, 0.0), y=5.0, text="20", size=SIZE)
        if isinstance(mark, Polyline)
    ]
    assert all(0.0 <= x <= 20.0 for mark in wide for x, _ in mark.points)
    narrow = [
        mark
        for mark in level((0.0, 0.0), (2.0, 0.0), y=5.0, text="2", size=SIZE)
        if isinstance(mark, Polyline)
    ]
    assert all(x <= 1e-12 or x >= 2.0 - 1e-12 for mark in narrow for x, _ in mark.points)


@pytest.mark.parametrize(("outward", "anchor"), [(1, Anchor.START), (-1, Anchor.END)])
def test_a_number_without_room_stands_beside_the_line(outward: int, anchor: Anchor) -> None:
    marks = level((0.0, 0.0), (2.0, 0.0), y=5.0, text="2.00", size=SIZE, outward=1 if outward > 0 else -1)
    text, line = _text(marks), _level_line(marks, 5.0)
    assert text.anchor is anchor
    box = box_of(text)
    if outward > 0:
        assert box.left > line.end[0]
    else:
        assert box.right < line.start[0]


def test_witness_lines_start_off_the_part_and_run_past_the_dimension_line() -> None:
    marks = level((10.0, 0.0), (50.0, 0.0), y=-8.0, text="40.0", size=SIZE)
    witness = [mark for mark in marks if isinstance(mark, Line) and mark.start[0] == mark.end[0]]
    assert [mark.start[0] for mark in witness] == [10.0, 50.0]
    assert all(mark.start[1] < 0.0 and mark.end[1] < -8.0 for mark in witness)


@pytest.mark.parametrize("beside", [1, -1])
def test_an_upright_dimension_keeps_its_number_level_and_clear_of_its_line(beside: int) -> None:
    marks = upright((0.0, 3.0), (0.0, 23.0), x=-6.0, text="20.0", size=SIZE, beside=1 if beside > 0 else -1)
    assert _tips(marks) == [(-6.0, 3.0), (-6.0, 23.0)]
    text = _text(marks)
    assert text.turn == 0.0
    box = box_of(text)
    assert box.left > -6.0 if beside > 0 else box.right < -6.0
    assert box.low < 13.0 < box.high


@pytest.mark.parametrize("end", [0.4, -0.4])
def test_an_angle_has_its_arrow_at_the_line_that_is_measured(end: float) -> None:
    arc, head = angle_between((1.0, 2.0), radius=10.0, start=0.0, end=end)
    assert isinstance(arc, Arc)
    assert (arc.start, arc.end) == (min(0.0, end), max(0.0, end))
    assert isinstance(head, Polyline)
    assert head.points[0] == pytest.approx((1.0 + 10.0 * math.cos(end), 2.0 + 10.0 * math.sin(end)))
    back = ((head.points[1][0] + head.points[2][0]) / 2.0, (head.points[1][1] + head.points[2][1]) / 2.0)
    assert math.dist(back, (1.0, 2.0)) == pytest.approx(10.0, abs=0.02)
    assert abs(math.atan2(back[1] - 2.0, back[0] - 1.0)) < 0.4


def test_no_angle_is_drawn_where_there_is_none() -> None:
    assert angle_between((0.0, 0.0), radius=10.0, start=1.0, end=1.0) == ()


def test_a_leader_points_at_what_it_is_about() -> None:
    line, head = leader((5.0, 5.0), (8.0, 9.0), (20.0, 9.0))
    assert isinstance(line, Polyline)
    assert line.points == ((5.0, 5.0), (8.0, 9.0), (20.0, 9.0))
    assert isinstance(head, Polyline)
    assert head.points[0] == (5.0, 5.0)
    middle = ((head.points[1][0] + head.points[2][0]) / 2.0, (head.points[1][1] + head.points[2][1]) / 2.0)
    assert middle == pytest.approx((5.0 + 0.6 * ARROW, 5.0 + 0.8 * ARROW))


def test_an_arrow_is_slim() -> None:
    _, one, other = arrow((0.0, 0.0), heading=0.0).points
    assert one[0] == other[0] == -ARROW
    assert 0.3 < abs(one[1] - other[1]) < 0.6 * ARROW


def test_words_go_to_the_next_free_row_and_stay_on_the_sheet() -> None:
    sheet = Sheet(width=60.0, size=SIZE)
    first = sheet.write("one two", (59.0, 0.0), anchor=Anchor.START)
    second = sheet.write("three four", (45.0, 0.0))
    third = sheet.write("five", (3.0, 0.0), anchor=Anchor.START)
    assert box_of(first).right == pytest.approx(58.0)
    assert second.at[1] < first.at[1]
    assert third.at[1] == first.at[1]
    assert not box_of(first).meets(box_of(second))


def test_words_stay_out_of_what_is_kept_clear() -> None:
    sheet = Sheet(width=60.0, size=SIZE)
    taken = box_of(Sheet(width=60.0, size=SIZE).write("here", (30.0, 0.0)))
    sheet.keep_clear(taken)
    assert not box_of(sheet.write("here", (30.0, 0.0), step=1.0)).meets(taken)


def test_a_caption_keeps_its_phrases_whole_and_its_rows_on_the_sheet() -> None:
    sheet = Sheet(width=60.0, size=SIZE)
    sheet.write("above", (30.0, 0.0))
    sheet.caption("from above", "1 : 2, sizes in mm", "steer × 10")
    drawing = sheet.drawing(name="a", title="a")
    rows = [mark.text for mark in drawing.marks if isinstance(mark, Text)][1:]
    assert rows == ["from above", "1 : 2, sizes in mm", "steer × 10"]
    assert all(text_width(row, SIZE) <= 56.0 for row in rows)
    assert all(box_of(mark).low >= 0.0 for mark in drawing.marks if isinstance(mark, Text))
