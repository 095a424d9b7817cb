"""The set-up sheet and printed gauges: nothing overlaps, nothing is lost, and the print proves itself."""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import combinations

import numpy as np
import pypdfium2 as pdfium
import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from rollwright.car.model import Car, Station, Target
from rollwright.draw.drawing import Anchor, Drawing, Layer, Line, Mark, Pen, Polyline, Text, Tone, moved
from rollwright.draw.extent import Box, bounds
from rollwright.draw.fit import Units
from rollwright.draw.gauges import GAUGES, board_scale, gauge, guide_block, relief_gauge
from rollwright.draw.ink import layer_of
from rollwright.draw.paper import MARGIN, Page, Paper, is_scale_box
from rollwright.draw.pdf import pdf_bytes
from rollwright.draw.printer import Factors
from rollwright.draw.sheet import setup_sheet, sheet_page
from rollwright.draw.sheet_identity import Identity, code_text, content_hash, qr_marks
from rollwright.draw.sheet_plate import file_plate, gauge_pages, view_page
from rollwright.draw.sheet_words import fitted, paragraphs, rows_of, wide
from rollwright.draw.views import VIEWS, view_named
from rollwright.errors import CarCannotRest, InputError, OutOfRange
from rollwright.geometry import stance
from rollwright.geometry.spread import spread_of
from tests.unit.cars import DEG, MM, changed, club_car, heron, lark, mirrored

MARKED = Identity(id="LARK-2", revision="3", day=date(2026, 3, 7))
LONG = replace(lark(), name="The long and winding name of a car whose builder could not make up his mind")
CROOKED = changed(
    lark(),
    {
        **{f"{station.value}.sweep": -1.25 * DEG for station in Station},
        **{f"{station.value}.washer": 0.75 * MM for station in Station},
        **{f"{station.value}.relief": 0.85 * MM for station in Station},
        "front_left.clock": -142.0 * DEG,
    },
)
OTHER_TARGETS = replace(
    lark(),
    targets=replace(
        lark().targets,
        height_difference=Target(value=-0.00125, tolerance=0.00015),
        rail_offset=Target(value=0.00035, tolerance=0.0002),
    ),
)
CARS: dict[str, tuple[Car, Units]] = {
    "lark": (lark(), "mm"),
    "heron": (heron(), "mm"),
    "bittern": (club_car("bittern"), "in"),
    "mirrored": (mirrored(lark()), "mm"),
    "long name": (LONG, "in"),
    "crooked": (CROOKED, "mm"),
    "other targets": (OTHER_TARGETS, "in"),
}


@cache
def sheet(name: str = "lark", paper: Paper = Paper.A4, *, rear: bool = False, plain: bool = False) -> Drawing:
    car, units = CARS[name]
    found = stance(car)
    known = {key: part.uncertainty for key, part in spread_of(car, found).items()}
    return setup_sheet(
        car,
        paper=paper,
        identity=Identity() if plain else MARKED,
        units=units,
        uncertainties=known,
        rear=rear,
    )


def texts(marks: tuple[Mark, ...]) -> list[Text]:
    return [mark for mark in marks if isinstance(mark, Text)]


def words(drawing: Drawing) -> list[str]:
    return [mark.text for mark in texts(drawing.marks)]


def place(mark: Text) -> Box:
    """Return where the letters of a level or upright line stand, from the baseline to the capitals."""
    long = wide(mark.text, mark.height, strong=mark.strong)
    back = {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[mark.anchor] * long
    x, y = mark.at
    if mark.turn:
        return Box(left=x - 0.7 * mark.height, bottom=y - back, right=x, top=y - back + long)
    return Box(left=x - back, bottom=y, right=x - back + long, top=y + 0.7 * mark.height)


def crowded(marks: tuple[Mark, ...]) -> list[tuple[str, str]]:
    """Return the lines of words that run into each other."""
    places = [(mark.text, place(mark)) for mark in texts(marks)]
    return [
        (one, other)
        for (one, a), (other, b) in combinations(places, 2)
        if a.left < b.right and b.left < a.right and a.bottom < b.top and b.bottom < a.top
    ]


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("rear", [False, True])
@pytest.mark.parametrize("name", CARS)
def test_the_sheet_fills_one_page_and_no_words_run_into_others(name: str, rear: bool, paper: Paper) -> None:  # noqa: FBT001
    drawing = sheet(name, paper, rear=rear)
    page = sheet_page(drawing, paper=paper)
    assert (drawing.width, drawing.height) == (paper.width - 2 * MARGIN, paper.height - 2 * MARGIN)
    assert crowded(page.marks) == []
    inside = replace(page.room, left=page.room.left - 1e-6, right=page.room.right + 1e-6)
    for mark in page.marks:
        where = place(mark) if isinstance(mark, Text) else bounds(mark)
        assert inside.encloses(where), mark
    foot = next(mark.at[1] for mark in texts(drawing.marks) if mark.text == "Take care")
    caption = [mark for mark in texts(drawing.marks) if mark.text.startswith(("from above, tr", "from in f"))]
    assert caption
    assert all(mark.at[1] > foot + 5.0 for mark in caption)


def test_words_that_run_into_each_other_are_seen() -> None:
    assert crowded((Text(at=(0, 0), text="drift"), Text(at=(3, 1), text="rail"))) == [("drift", "rail")]
    assert crowded((Text(at=(0, 0), text="drift"), Text(at=(30, 1), text="rail"))) == []


def test_the_sheet_tells_what_is_wanted_and_what_to_set() -> None:
    said = words(sheet())
    # Lark's file: level 0 within 0.15, drift 70 right within 10, rail 0 within 0.2, holes 9, 9, 9.4 and 11.
    assert {"0 ± 0.15 mm", "70 ± 10 mm right", "0 ± 0.2 mm"} <= set(said)
    assert said.count("9.00") == 2
    assert {"9.40", "11.0", "2.60°", "22.0° fwd", "steers", "raised"} <= set(said)
    assert said.count("2.50° up") == 2
    assert {"level", "drift", "rail", "raise", "mass", "balance"} <= set(said)
    # 93.4 + 4 * 2.7 + 4 * 0.6 + 31 g, by hand.
    assert any(line.startswith("by the file 137.6 ±") and line.endswith("g") for line in said)
    inches = words(sheet("bittern"))
    assert {"2.750 ± 0.375 in left", "0 ± 6 thou", "20.0° fwd"} <= set(inches)
    # 23/64, 3/8 and 7/16 in.
    assert {"0.359", "0.375", "0.438", "hole height, in"} <= set(inches)


def test_a_side_and_a_way_are_said_of_other_targets() -> None:
    said = words(sheet("other targets"))
    assert "nose low" in said
    # 0.35 and 0.2 mm are 13.8 and 7.9 thou.
    assert "13.8 ± 7.9 thou off" in said
    crooked = words(sheet("crooked"))
    assert "142.0° back" in crooked
    assert crooked.count("(1.25° back)") == 4


def test_what_nobody_gave_stands_in_brackets() -> None:
    # Lark's file gives no sweep at all, and washers only at the front left.
    said = words(sheet())
    row = said[said.index("sweep") + 1 : said.index("sweep") + 5]
    assert row == ["(0°)"] * 4
    row = said[said.index("washers, mm") + 1 : said.index("washers, mm") + 5]
    assert row == ["(0.00)", "(0.00)", "0.00", "(0.00)"]


def test_a_class_without_bent_axles_is_not_told_to_bend_pins() -> None:
    assert any("in a vice" in line for line in words(sheet()))
    assert not any("in a vice" in line for line in words(sheet("heron")))
    assert not any("in a vice" in line for line in sheet("heron").cautions)


def test_what_is_not_given_is_left_to_be_written() -> None:
    def blanks(drawing: Drawing) -> int:
        top = drawing.height - 26.0
        lines = [mark for mark in drawing.marks if isinstance(mark, Line) and mark.pen is Pen.HAIR]
        return sum(line.start[1] > top and math.dist(line.start, line.end) < 40.0 for line in lines)

    assert blanks(sheet()) == 1
    assert blanks(sheet(plain=True)) == 4
    assert {"LARK-2", "3", "2026-03-07"} <= set(words(sheet()))


def test_the_hash_on_the_sheet_is_that_of_the_sheet() -> None:
    told = [found[1] for line in words(sheet()) if (found := re.search(r"drawing ([0-9a-f]{10})$", line))]
    assert told == [content_hash(sheet())]
    other = setup_sheet(changed(lark(), {"front_left.hole_height": 9.41 * MM}), identity=MARKED)
    assert content_hash(other) != content_hash(setup_sheet(lark(), identity=MARKED))
    assert content_hash(setup_sheet(lark(), identity=MARKED)) == content_hash(
        setup_sheet(lark(), identity=MARKED)
    )


def test_the_hash_sees_every_mark_and_nothing_finer_than_a_printer() -> None:
    plain = Drawing(name="x", title="x", width=50.0, height=50.0, marks=(Line(start=(0, 0), end=(9.0, 0.0)),))

    def of(*marks: Mark) -> str:
        return content_hash(replace(plain, marks=marks))

    line = Line(start=(0.0, 0.0), end=(9.0, 0.0))
    assert of(line) == of(Line(start=(-0.0, 0.0), end=(9.0 + 1e-9, 0.0)))
    assert re.fullmatch("[0-9a-f]{10}", of(line))
    others = [
        of(),
        of(line, line),
        of(replace(line, pen=Pen.CUT_OUTER)),
        of(replace(line, end=(9.001, 0.0))),
        of(Text(at=(0, 0), text="a")),
        of(Text(at=(0, 0), text="b")),
    ]
    assert len({of(line), *others}) == len(others) + 1


@cache
def shades(data: bytes, dpi: int, number: int = 0) -> NDArray[np.float64]:
    """Return a page's ink, 0 for white and 1 for black, the first row at the top."""
    page = pdfium.PdfDocument(data)[number]
    grey: NDArray[np.float64] = np.asarray(page.render(scale=dpi / 72.0, grayscale=True).to_numpy())
    return 1.0 - grey.reshape(grey.shape[0], -1) / 255.0


def line_at(ink: NDArray[np.float64], dpi: int, expected: float, *, low: float, high: float) -> float:
    """Return where a line across an axis lies [mm] along the second axis, its rows given along the first."""
    per = dpi / 25.4
    strip = ink[round(low * per) : round(high * per), :].mean(axis=0)
    first = round((expected - 0.8) * per)
    near = strip[first : round((expected + 0.8) * per)]
    near = np.where(near > 0.5 * near.max(), near, 0.0)
    assert near.max() > 0.3
    return float((np.arange(near.size) + 0.5) @ near / near.sum() + first) / per


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("factors", [None, Factors(x=100.0 / 99.2, y=50.0 / 49.7)])
def test_the_frame_of_the_readings_is_the_scale_box_in_print(paper: Paper, factors: Factors | None) -> None:
    drawing = setup_sheet(lark(), paper=paper, identity=MARKED, factors=factors)
    (frame,) = filter(is_scale_box, drawing.marks)
    box = bounds(frame)
    assert (box.width, box.height) == pytest.approx((100.0, 50.0), abs=1e-9)
    page = sheet_page(drawing, paper=paper)
    ink = shades(pdf_bytes([page], title="x", factors=factors), 600)
    scale = factors or Factors()

    def printed(x: float, y: float) -> tuple[float, float]:
        """Return where a place on the page comes out, down from the top."""
        middle = (page.width / 2.0, page.height / 2.0)
        return middle[0] + scale.x * (x - middle[0]), middle[1] - scale.y * (y - middle[1])

    left, top = printed(box.left + MARGIN, box.top + MARGIN)
    right, bottom = printed(box.right + MARGIN, box.bottom + MARGIN)
    edges = [line_at(ink, 600, x, low=top + 1.0, high=bottom - 1.0) for x in (left, right)]
    assert edges[1] - edges[0] == pytest.approx(100.0 * scale.x, abs=0.05)
    edges = [line_at(ink.T, 600, y, low=left + 60.0, high=right - 10.0) for y in (top, bottom)]
    assert edges[1] - edges[0] == pytest.approx(50.0 * scale.y, abs=0.05)
    bar = [mark for mark in drawing.marks if isinstance(mark, Line) and layer_of(mark) is Layer.SCALE]
    assert max(math.dist(line.start, line.end) for line in bar) == pytest.approx(101.6)
    told = any("1.0081 across, 1.0060 up" in line for line in words(drawing))
    assert told == (factors is not None)


def dark_modules(
    ink: NDArray[np.float64], dpi: int, corner: tuple[float, float], size: float, count: int
) -> list[list[bool]]:
    per, module = dpi / 25.4, size / (count + 8)
    return [
        [
            bool(
                ink[
                    int((corner[1] + (row + 4.5) * module) * per),
                    int((corner[0] + (column + 4.5) * module) * per),
                ]
                > 0.5
            )
            for column in range(count)
        ]
        for row in range(count)
    ]


def test_the_code_that_is_printed_is_that_of_the_cars_id() -> None:
    expected = segno.make("rollwright car LARK-2 rev 3", error="m", micro=False, boost_error=False).matrix
    wanted = [[bool(module) for module in row] for row in expected]
    assert code_text("Lark", MARKED) == "rollwright car LARK-2 rev 3"
    assert code_text("Lark", Identity()) == "rollwright car Lark"
    page = sheet_page(sheet(), paper=Paper.A4)
    ink = shades(pdf_bytes([page], title="x"), 300)
    found = dark_modules(ink, 300, (210.0 - MARGIN - 24.0, MARGIN), 24.0, len(wanted))
    assert found == wanted
    # Each module is wide enough for a cheap printer, and its quiet zone of four modules stays white.
    module = 24.0 / (len(wanted) + 8)
    assert module > 0.5
    per = 300 / 25.4
    zone = ink[
        round(MARGIN * per) : round((MARGIN + 24.0) * per),
        round(176.0 * per) : round((176.0 + 3.8 * module) * per),
    ]
    assert zone.max() < 0.1


@pytest.mark.parametrize(
    "text", ["a", "rollwright car WREN", "rollwright car " + "X" * 24 + " rev " + "9" * 24]
)
def test_the_runs_of_a_code_cover_just_its_dark_modules(text: str) -> None:
    matrix = segno.make(text, error="m", micro=False, boost_error=False).matrix
    count = len(matrix)
    size = float(count + 8)
    marks = qr_marks(text, left=0.0, low=0.0, size=size)
    found = [[False] * count for _ in range(count)]
    for mark in marks:
        assert isinstance(mark, Polyline)
        assert (mark.pen, mark.tone) == (None, Tone.INK)
        box = bounds(mark)
        row = round(size - box.top) - 4
        for column in range(round(box.left) - 4, round(box.right) - 4):
            assert not found[row][column]
            found[row][column] = True
    assert found == [[bool(module) for module in row] for row in matrix]


def test_the_same_sheet_is_the_same_file() -> None:
    def made() -> bytes:
        drawing = setup_sheet(lark(), identity=MARKED)
        return pdf_bytes([sheet_page(drawing, paper=Paper.A4)], title=drawing.title, created=MARKED.day)

    assert made() == made()


def test_a_car_that_cannot_stand_has_no_sheet() -> None:
    behind = replace(lark().body.centre_of_mass[0], value=-0.3)
    body = replace(lark().body, centre_of_mass=(behind, *lark().body.centre_of_mass[1:]))
    with pytest.raises(CarCannotRest):
        setup_sheet(replace(lark(), body=body))


@pytest.mark.parametrize("wrong", [{"id": "X" * 25}, {"id": " A"}, {"revision": "a\nb"}, {"id": "\u202e"}])
def test_an_id_that_fits_no_label_is_refused(wrong: dict[str, str]) -> None:
    with pytest.raises(OutOfRange, match="such as LARK-2"):
        Identity(**wrong)  # type: ignore[arg-type] # the same keywords with texts


# Gauges on pages


def gauges_of(name: str) -> list[Drawing]:
    car, units = CARS[name]
    found = []
    for what in GAUGES:
        try:
            found.append(gauge(what, car, units=units))
        except InputError:
            continue
    assert len(found) >= 5
    return found


def shown(page: Page) -> tuple[Mark, ...]:
    return (*page.marks, *page.frame)


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("name", ["lark", "heron", "bittern", "crooked"])
def test_every_page_of_a_gauge_is_marked_and_proves_itself(name: str, paper: Paper) -> None:
    for drawing in gauges_of(name):
        pages = gauge_pages(drawing, paper=paper, identity=MARKED)
        assert len(pages) == (2 if drawing.name == "guide-block" else 1), drawing.name
        for page in pages:
            said = [mark.text for mark in texts(page.frame)]
            assert drawing.title in said
            assert any(
                line.endswith(f"LARK-2 · rev 3 · 2026-03-07 · drawing {content_hash(drawing)}")
                for line in said
            )
            assert sum(map(is_scale_box, shown(page))) == 1
            # Every note and caution stands on the page, broken into lines.
            told = " ".join(said)
            for note in (*drawing.notes, *drawing.cautions):
                assert note in told
            assert crowded(page.frame) == []
            inside = page.room
            for mark in shown(page):
                box = place(mark) if isinstance(mark, Text) and not mark.turn else bounds(mark)
                if isinstance(mark, Text) and mark.turn:
                    continue
                assert inside.left - 0.5 <= box.left, mark
                assert box.right <= inside.right + 0.5, mark
                assert inside.bottom - 0.5 <= box.bottom, mark
                assert box.top <= inside.top + 0.5, mark
            # What is said about the drawing lies clear of it.
            lowest = min(bounds(mark).bottom for mark in page.marks if not isinstance(mark, Text))
            (frame,) = filter(is_scale_box, page.frame)
            assert lowest > bounds(frame).top


def test_the_two_guide_blocks_come_whole_on_a_page_each() -> None:
    drawing = guide_block(lark())
    upper, lower = gauge_pages(drawing, paper=Paper.A4, identity=MARKED)
    assert len(upper.marks) + len(lower.marks) == len(drawing.marks)
    for page, side in ((upper, "left"), (lower, "right")):
        said = [mark.text for mark in texts(page.marks)]
        assert f"Lark · guide block, {side} side" in said
        assert not any(f"{other} side" in line for other in {"left", "right"} - {side} for line in said)
    wanted = Counter(map(_where, drawing.marks))
    for page in (upper, lower):
        # One move for all of a page: sizes cannot change.
        first = next(mark for mark in page.marks if isinstance(mark, Text) and mark.strong)
        original = next(mark for mark in texts(drawing.marks) if mark.text == first.text)
        right, up = original.at[0] - first.at[0], original.at[1] - first.at[1]
        wanted -= Counter(_where(moved(mark, right=right, up=up)) for mark in page.marks)
    assert not wanted


def _where(mark: Mark) -> tuple[object, ...]:
    box = bounds(mark)
    return (type(mark), *(round(edge, 6) + 0.0 for edge in (box.left, box.bottom, box.right, box.top)))


def test_what_is_too_large_for_a_page_is_tiled_with_its_notes_behind() -> None:
    target = Target(value=-0.3, tolerance=0.05)
    car = replace(lark(), targets=replace(lark().targets, drift=target))
    drawing = board_scale(car)
    pages = gauge_pages(drawing, paper=Paper.A4, identity=MARKED)
    assert len(pages) > 2
    for page in pages:
        assert any(content_hash(drawing) in mark.text for mark in texts(page.frame))
    assert any(any(map(is_scale_box, page.frame)) for page in pages)
    last = " ".join(mark.text for mark in texts(pages[-1].frame))
    assert all(note in last for note in drawing.notes)


def test_a_file_of_a_gauge_has_its_scale_box_and_all_marks_in_their_order() -> None:
    drawing = relief_gauge(CROOKED)
    plate = file_plate(drawing, identity=MARKED)
    assert plate.name == drawing.name
    (frame,) = filter(is_scale_box, plate.marks)
    assert (bounds(frame).width, bounds(frame).height) == pytest.approx((100.0, 50.0))
    kept = plate.marks[: len(drawing.marks)]
    assert [type(mark) for mark in kept] == [type(mark) for mark in drawing.marks]
    inside = Box(left=0.0, bottom=0.0, right=plate.width, top=plate.height)
    assert all(inside.encloses(bounds(mark)) for mark in plate.marks if not isinstance(mark, Text))


@pytest.mark.parametrize("name", VIEWS)
@pytest.mark.parametrize("paper", Paper)
def test_a_view_on_paper_fits_and_claims_no_scale(name: str, paper: Paper) -> None:
    drawing = view_named(name, lark())
    page = view_page(drawing, paper=paper, identity=MARKED)
    assert not any(map(is_scale_box, shown(page)))
    for mark in shown(page):
        box = place(mark) if isinstance(mark, Text) else bounds(mark)
        assert page.room.left - 1e-6 <= box.left, mark
        assert box.right <= page.room.right + 1e-6, mark
        assert page.room.bottom - 1e-6 <= box.bottom, mark
    assert crowded(page.frame) == []


# Words


@given(st.text(max_size=200), st.floats(min_value=10.0, max_value=120.0))
def test_lines_hold_all_words_and_stay_in_their_room(text: str, room: float) -> None:
    rows = rows_of(text, 3.0, room=room)
    assert "".join("".join(rows).split()) == "".join(text.split())
    assert all(wide(row, 3.0) <= room for row in rows)


@given(st.text(alphabet="abcdefgh XYZ", max_size=80), st.floats(min_value=8.0, max_value=60.0))
def test_a_cell_is_never_overrun(text: str, room: float) -> None:
    made = fitted(text, at=(0.0, 0.0), room=room, height=3.0)
    assert wide(made.text, made.height) <= room + 1e-6
    assert made.height >= 2.0 - 1e-9
    if wide(text, 2.0) <= room:
        assert made.text == text


def test_paragraphs_run_down_as_far_as_they_say() -> None:
    marks, tall = paragraphs(("One short line.", "And another."), at=(5.0, 100.0), room=60.0, height=3.0)
    lowest = min(mark.at[1] for mark in texts(marks))
    assert 100.0 - tall <= lowest < 100.0 - tall + 3.0
    assert all(mark.at[1] + 0.8 * mark.height <= 100.0 + 1e-9 for mark in texts(marks))
