"""Papers, the scale box, and drawings cut up into pages."""

from __future__ import annotations

import math
import re
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reportlab.pdfbase.pdfmetrics import stringWidth

from rollwright.draw.drawing import (
    Anchor,
    Circle,
    Drawing,
    Layer,
    Line,
    Mark,
    Pen,
    Point,
    Polyline,
    Text,
    Tone,
)
from rollwright.draw.extent import Box, bounds
from rollwright.draw.ink import layer_of
from rollwright.draw.paper import MARGIN, SCALE_SIZE, Page, Paper, scale_box
from rollwright.draw.printer import Factors
from rollwright.draw.tiles import tiled
from rollwright.errors import OutOfRange


def sheet(width: float, height: float, *marks: Mark, title: str = "A long rule") -> Drawing:
    return Drawing(name="long-rule", title=title, width=width, height=height, marks=marks)


def crammed(width: float, height: float) -> Drawing:
    """Return a sheet without a free place: a line every 20 mm."""
    lines = (Line(start=(0.0, y), end=(width, y)) for y in (n * 20.0 for n in range(int(height / 20.0) + 1)))
    return sheet(width, height, *lines)


def texts(page: Page) -> list[str]:
    return [mark.text for mark in (*page.marks, *page.frame) if isinstance(mark, Text)]


def box_of(page: Page) -> list[Polyline]:
    return [
        mark
        for mark in (*page.marks, *page.frame)
        if isinstance(mark, Polyline) and mark.closed and layer_of(mark) is Layer.SCALE
    ]


def crosses(page: Page) -> dict[str, Point]:
    """Return each cross's letter and middle on the paper; crosses are the upright lines of 8 mm."""
    upright = [
        mark
        for mark in page.frame
        if isinstance(mark, Line)
        and mark.start[0] == mark.end[0]
        and math.isclose(mark.end[1] - mark.start[1], 8.0)
    ]
    letters = [mark for mark in page.frame if isinstance(mark, Text) and re.fullmatch(r"[A-Z]\d*", mark.text)]
    assert len(upright) == len(letters)
    return {
        text.text: (line.start[0], (line.start[1] + line.end[1]) / 2.0)
        for line, text in zip(upright, letters, strict=True)
    }


def test_papers_have_the_sizes_of_their_standards() -> None:
    # ISO 216: A4 is 210 mm by 297 mm. Letter is 8.5 in by 11 in (ANSI/ASME Y14.1, size A; from memory).
    assert (Paper.A4.width, Paper.A4.height) == (210.0, 297.0)
    assert (Paper.LETTER.width, Paper.LETTER.height) == pytest.approx((215.9, 279.4), abs=1e-9)
    page = Page(paper=Paper.A4, marks=(), sideways=True)
    assert (page.width, page.height) == (297.0, 210.0)


def test_the_scale_box_is_100_by_50_mm_with_a_bar_of_4_inches_all_on_its_layer() -> None:
    marks = scale_box(at=(20.0, 30.0))
    assert {layer_of(mark) for mark in marks} == {Layer.SCALE}
    (box,) = (bounds(mark) for mark in marks if isinstance(mark, Polyline))
    assert (box.width, box.height) == (100.0, 50.0)
    bar = max((mark for mark in marks if isinstance(mark, Line)), key=lambda m: m.end[0] - m.start[0])
    # 4 in of 25.4 mm each (international yard and pound agreement of 1959).
    assert bar.end[0] - bar.start[0] == pytest.approx(101.6, abs=1e-9)
    room = Box(left=20.0, bottom=30.0, right=20.0 + SCALE_SIZE[0] + 1e-9, top=30.0 + SCALE_SIZE[1])
    assert all(room.encloses(bounds(mark)) for mark in marks if not isinstance(mark, Text))


def test_the_scale_box_says_what_to_measure_and_what_to_do() -> None:
    said = " ".join(mark.text for mark in scale_box(at=(0.0, 0.0)) if isinstance(mark, Text))
    for words in (
        "Measure this box",
        "100 mm across",
        "50 mm up",
        "4 in",
        "print again at 100 %",
        "fit to page",
    ):
        assert words in said
    assert "factors" not in said
    told = [m.text for m in scale_box(at=(0.0, 0.0), factors=Factors(x=1.01, y=0.998)) if isinstance(m, Text)]
    assert "Printed with the factors 1.0100 across, 0.9980 up." in told


def test_the_words_of_the_scale_box_lie_inside_it() -> None:
    floor = SCALE_SIZE[1] - 50.0
    for mark in scale_box(at=(0.0, 0.0), factors=Factors(x=1.01, y=0.998)):
        if isinstance(mark, Text) and mark.anchor is Anchor.START and mark.at[1] > floor:
            wide = stringWidth(mark.text, "Helvetica-Bold" if mark.strong else "Helvetica", mark.height)
            assert mark.at[0] + wide < 99.0, mark.text
            assert floor + 6.0 < mark.at[1] < SCALE_SIZE[1] - mark.height


def test_a_sheet_that_fits_and_proves_itself_is_one_page_as_it_is() -> None:
    drawing = sheet(190.0, 277.0, *scale_box(at=(5.0, 5.0)))
    (page,) = tiled(drawing, paper=Paper.A4)
    assert page.frame == ()
    (box,) = box_of(page)
    assert bounds(box).left == MARGIN + 5.0
    assert bounds(box).bottom == MARGIN + 5.0 + SCALE_SIZE[1] - 50.0


def test_a_small_drawing_gets_a_scale_box_beside_it() -> None:
    small = sheet(60.0, 40.0, Circle(centre=(30.0, 20.0), radius=20.0))
    (page,) = tiled(small, paper=Paper.LETTER)
    (box,) = box_of(page)
    (disc,) = (mark for mark in page.marks if isinstance(mark, Circle))
    assert not bounds(box).meets(bounds(disc))
    assert page.room.encloses(bounds(box))
    assert "Page 1 of 1." in texts(page)


def test_a_full_sheet_gets_a_page_for_its_scale_box_and_says_so() -> None:
    pages = tiled(crammed(190.0, 260.0), paper=Paper.A4)
    assert [len(box_of(page)) for page in pages] == [0, 1]
    assert "Page 1 of 2. The scale box is on page 2." in texts(pages[0])
    assert "Page 2 of 2: the scale box." in texts(pages[1])


def test_a_drawing_that_leaves_no_room_for_a_foot_still_takes_one_page() -> None:
    dot = Circle(centre=(20.0, 270.0), radius=5.0)
    (page,) = tiled(sheet(190.0, 277.0, dot), paper=Paper.A4)
    (box,) = box_of(page)
    assert page.room.encloses(bounds(box))
    assert page.marks == (Circle(centre=(30.0, 280.0), radius=5.0),)
    # Without a free place there is nothing for it but to cut it up; the second row has one below it.
    pages = tiled(crammed(190.0, 277.0), paper=Paper.A4, sideways=False)
    assert [len(box_of(page)) for page in pages] == [0, 1]


def test_paper_is_laid_sideways_where_that_saves_a_page() -> None:
    wide = crammed(270.0, 90.0)
    assert [page.sideways for page in tiled(wide, paper=Paper.A4)] == [True]
    assert len(tiled(wide, paper=Paper.A4, sideways=False)) == 2
    assert not any(page.sideways for page in tiled(sheet(100.0, 90.0), paper=Paper.A4))


def test_pages_are_numbered_by_row_and_column_from_the_top_left() -> None:
    pages = tiled(crammed(500.0, 400.0), paper=Paper.A4)
    named = [re.findall(r"row \d of \d, column \d of \d", " ".join(texts(page))) for page in pages]
    assert [name for (name,) in named[:6]] == [
        f"row {row} of 2, column {column} of 3" for row in (1, 2) for column in (1, 2, 3)
    ]
    assert any("The scale box is on page" in text for text in texts(pages[0]))


def test_a_page_whose_scale_box_is_the_drawings_own_is_the_one_named() -> None:
    pages = tiled(sheet(400.0, 200.0, *scale_box(at=(250.0, 20.0))), paper=Paper.A4)
    # 250 to 351.6 mm: the second page shows 180 to 370 mm, the first up to 190 mm, the third from 360 mm.
    assert len(pages) == 3
    assert "The scale box is on page 2." in " ".join(texts(pages[0]))
    assert "The scale box is on page" not in " ".join(texts(pages[1]))


def test_a_scale_box_cut_in_two_proves_nothing_and_another_is_added() -> None:
    # 150 to 251.6 mm lies across the strip from 180 to 190 mm that both pages show.
    pages = tiled(sheet(350.0, 100.0, *scale_box(at=(150.0, 20.0))), paper=Paper.A4)
    assert [len(box_of(page)) for page in pages] == [2, 2]
    for page in pages:
        added = [mark for mark in page.frame if isinstance(mark, Polyline)]
        assert page.room.encloses(bounds(added[0]))


def _drawn_at(page: Page, drawing: Drawing) -> Point:
    """Return where the drawing's lower left corner lies on the page's paper, from a mark that is there."""
    (corner,) = (mark for mark in page.marks if isinstance(mark, Polyline))
    assert corner.points[0] == pytest.approx((bounds(corner).left, bounds(corner).bottom))
    assert bounds(corner).width == pytest.approx(drawing.width)
    return corner.points[0]


@given(
    width=st.floats(5.0, 900.0),
    height=st.floats(5.0, 900.0),
    paper=st.sampled_from(Paper),
    sideways=st.booleans(),
    overlap=st.floats(10.0, 50.0),
)
@settings(max_examples=100, deadline=None)
def test_pages_cover_the_drawing_overlap_by_10_mm_and_carry_the_same_crosses(
    width: float,
    height: float,
    paper: Paper,
    sideways: bool,  # noqa: FBT001
    overlap: float,
) -> None:
    frame = Polyline(points=((0.0, 0.0), (width, 0.0), (width, height), (0.0, height)), closed=True)
    drawing = sheet(width, height, frame)
    pages = tiled(drawing, paper=paper, sideways=sideways, overlap=overlap)
    shown = [page for page in pages if page.marks]
    windows: list[Box] = []
    letters: dict[str, list[Point]] = {}
    for page in shown:
        x, y = _drawn_at(page, drawing)
        window = page.window
        assert window is not None
        assert page.room.encloses(window)
        windows.append(
            Box(left=window.left - x, bottom=window.bottom - y, right=window.right - x, top=window.top - y)
        )
        for letter, (cross_x, cross_y) in crosses(page).items():
            letters.setdefault(letter, []).append((cross_x - x, cross_y - y))
            # Arms of 4 mm lie in the common strip, so that they can be laid on each other.
            arm = 3.999 if min(width, height) >= 10.0 else -1e-6
            assert window.holds((cross_x - arm, cross_y - arm))
            assert window.holds((cross_x + arm, cross_y + arm))
    for low, high, size in (("left", "right", width), ("bottom", "top", height)):
        spans = sorted({(round(getattr(w, low), 6), round(getattr(w, high), 6)) for w in windows})
        assert spans[0][0] == pytest.approx(0.0, abs=1e-6)
        assert spans[-1][1] == pytest.approx(size, abs=1e-5)
        for (_, end), (start, _) in pairwise(spans):
            assert end - start >= overlap - 1e-5
    for places in letters.values():
        # The same place of the drawing on each page that shows it, and never on one page alone.
        assert len(places) >= 2
        for place in places:
            assert place == pytest.approx(places[0], abs=1e-6)
    if len(shown) > 1:
        assert all(len(crosses(page)) >= 2 for page in shown)
    for page in pages:
        for text in texts(page):
            assert stringWidth(text, "Helvetica-Bold", 3.0) < page.room.width


def test_where_four_pages_meet_they_all_carry_the_cross() -> None:
    pages = tiled(crammed(300.0, 400.0), paper=Paper.A4)
    shared = set.intersection(*(set(crosses(page)) for page in pages if page.marks))
    assert len(shared) == 1


def test_a_page_holds_only_what_shows_on_it() -> None:
    marks = [Circle(centre=(x, 50.0), radius=2.0, tone=Tone.INK) for x in (20.0, 300.0)]
    pages = [page for page in tiled(sheet(320.0, 100.0, *marks), paper=Paper.A4) if page.marks]
    assert [len(page.marks) for page in pages] == [1, 1]


@pytest.mark.parametrize("overlap", [9.9, 50.1, math.nan])
def test_an_overlap_too_small_to_glue_is_refused(overlap: float) -> None:
    with pytest.raises(OutOfRange, match="10 to 50 mm"):
        tiled(sheet(50.0, 50.0), paper=Paper.A4, overlap=overlap)


def test_a_long_title_is_cut_short() -> None:
    (page,) = tiled(sheet(50.0, 50.0, title="word " * 100), paper=Paper.A4)
    assert max(map(len, texts(page))) <= 95
    assert any(text.endswith("…") for text in texts(page))


def test_lines_carry_their_pens_on_every_page() -> None:
    pages = tiled(
        sheet(300.0, 100.0, Line(start=(0.0, 50.0), end=(300.0, 50.0), pen=Pen.SCORE)), paper=Paper.A4
    )
    assert [layer_of(mark) for page in pages for mark in page.marks] == [Layer.SCORE] * 2
