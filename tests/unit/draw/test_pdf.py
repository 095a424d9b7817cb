"""What a PDF file holds besides its lengths: what it is called, how it asks to be printed, and its words."""

from __future__ import annotations

import io
import re
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from rollwright.draw.drawing import Anchor, Circle, Line, Mark, Pen, Polyline, Text, Tone
from rollwright.draw.extent import Box
from rollwright.draw.paper import Page, Paper
from rollwright.draw.pdf import pdf_bytes, printable
from rollwright.draw.printer import Factors
from rollwright.errors import InputError


def page(*marks: Mark, paper: Paper = Paper.A4) -> Page:
    return Page(paper=paper, marks=marks)


def opened(data: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(data), strict=True)


def said(data: bytes) -> str:
    return " ".join(leaf.extract_text() for leaf in opened(data).pages)


def test_it_asks_not_to_be_scaled_and_tells_its_title() -> None:
    reader = opened(pdf_bytes([page()], title="Bend gauge · Lark, 2.5°"))
    wishes = reader.root_object["/ViewerPreferences"]
    assert isinstance(wishes, dict)
    assert wishes["/PrintScaling"] == "/None"
    assert wishes["/DisplayDocTitle"]
    assert str(reader.root_object["/Lang"]) == "en"
    assert reader.metadata is not None
    assert reader.metadata.title == "Bend gauge · Lark, 2.5°"
    # PrintScaling came with PDF 1.6 (ISO 32000-1, table 150).
    assert reader.pdf_header == "%PDF-1.6"


def test_each_page_has_its_own_paper() -> None:
    pages = [page(), page(paper=Paper.LETTER), Page(paper=Paper.A4, marks=(), sideways=True)]
    boxes = [leaf.mediabox for leaf in opened(pdf_bytes(pages, title="x")).pages]
    sizes = [(float(box.width) / 72.0 * 25.4, float(box.height) / 72.0 * 25.4) for box in boxes]
    for found, expected in zip(sizes, [(210, 297), (215.9, 279.4), (297, 210)], strict=True):
        assert found == pytest.approx(expected, abs=1e-3)


def test_the_day_is_the_one_that_is_given() -> None:
    for created, expected in ((date(2026, 3, 7), date(2026, 3, 7)), (None, date(2000, 1, 1))):
        metadata = opened(pdf_bytes([page()], title="x", created=created)).metadata
        assert metadata is not None
        assert metadata.creation_date is not None
        assert metadata.creation_date.date() == expected
        assert metadata.modification_date is not None
        assert metadata.modification_date.date() == expected


def test_neither_clock_nor_environment_changes_a_byte(monkeypatch: pytest.MonkeyPatch) -> None:
    before = pdf_bytes([page(Line(start=(10.0, 10.0), end=(50.0, 50.0)))], title="x")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    assert pdf_bytes([page(Line(start=(10.0, 10.0), end=(50.0, 50.0)))], title="x") == before


def test_another_drawing_has_another_identity() -> None:
    one, other = (
        opened(pdf_bytes([page(Line(start=(10.0, 10.0), end=(50.0, y)))], title="x")).trailer["/ID"]
        for y in (50.0, 50.01)
    )
    assert one != other


def test_no_pages_are_refused() -> None:
    with pytest.raises(InputError, match="no page to print; draw at least one"):
        pdf_bytes([], title="x")


def test_words_come_back_as_they_were_written() -> None:
    words = "12.3 ± 0.4° · 2 × 3 – ½ µm"
    assert words in said(pdf_bytes([page(Text(at=(20.0, 20.0), text=words))], title="x"))
    arrows = "a → b ← c − d ≥ e ≤ f ≈ g"
    assert printable(arrows) == arrows


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("Jiří Łoś", "Jirí Los"),
        ("3⅜ in", "33⁄8 in"),
        ("⌀ 2.4\u202fmm", "Ø 2.4 mm"),
        ("non\u2011breaking", "non-breaking"),
        ("two\nlines\x00", "two lines"),
    ],
)
def test_what_the_type_lacks_is_spelled_as_nearly_as_can_be(words: str, expected: str) -> None:
    assert printable(words) == expected


@pytest.mark.parametrize("words", ["Жар", "日本", "a ☐ b", "🚗"])
def test_what_the_type_cannot_spell_is_refused_by_name(words: str) -> None:
    with pytest.raises(InputError, match=r"the printer's type has no .*write it in Latin letters") as caught:
        pdf_bytes([page(Text(at=(20.0, 20.0), text=words))], title="x")
    assert words in str(caught.value)


@given(st.text())
@settings(max_examples=50, deadline=None)
def test_any_words_are_printed_or_refused(words: str) -> None:
    marks = (Text(at=(20.0, 20.0), text=words), Line(start=(10.0, 10.0), end=(20.0, 10.0)))
    try:
        data = pdf_bytes([page(*marks)], title=words)
    except InputError:
        return
    assert len(opened(data).pages) == 1


def test_anchors_move_the_words_by_their_width() -> None:
    # Adobe's Helvetica metrics: `l` is 222 and `i` 222 thousandths of the type's size wide (from memory).
    wide = 4 * 0.222 * 10.0 / 25.4 * 72.0
    starts = {}
    for anchor in Anchor:
        data = pdf_bytes([page(Text(at=(100.0, 100.0), text="lili", height=10.0, anchor=anchor))], title="x")
        places = re.findall(rb"1 0 0 1 (-?[\d.]+) 0 Tm \(lili\)", data)
        assert len(places) == 1
        starts[anchor] = float(places[0]) / 25.4 * 72.0
    assert starts[Anchor.START] == pytest.approx(0.0)
    assert starts[Anchor.MIDDLE] == pytest.approx(-wide / 2.0, abs=1e-3)
    assert starts[Anchor.END] == pytest.approx(-wide, abs=1e-3)


def test_print_is_black_white_or_grey() -> None:
    lines = [Line(start=(10.0, 10.0), end=(50.0, 50.0), pen=pen) for pen in Pen]
    areas = [Circle(centre=(50.0, 50.0), radius=9.0, tone=tone) for tone in Tone]
    words = [Text(at=(20.0, 20.0), text="x", pen=pen) for pen in Pen]
    data = pdf_bytes([page(*lines, *areas, *words)], title="x")
    colours = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\n", data)
    assert len(colours) > 20
    assert all(red == green == blue for red, green, blue in colours)


def test_a_drawing_is_cut_off_at_its_window_and_the_frame_is_not() -> None:
    line = Line(start=(10.0, 100.0), end=(200.0, 100.0))
    window = Box(left=20.0, bottom=90.0, right=60.0, top=110.0)
    data = pdf_bytes([Page(paper=Paper.A4, marks=(line,), frame=(line,), window=window)], title="x")
    path = rb"n 10 100 m 200 100 l S|n 10 100 m 200 100 l\nS"
    clip, first, end, second = (
        [found.start() for found in re.finditer(pattern, data)]
        for pattern in (rb"20 90 40 20 re", path, rb"\nQ", path)
    )
    assert clip[0] < first[0] < end[0] < second[1]


def test_the_middle_of_a_stretched_page_stays() -> None:
    data = pdf_bytes([page()], title="x", factors=Factors(x=1.02, y=0.98))
    (found,) = re.findall(
        rb"([\d.]+) 0 0 ([\d.]+) (-?[\d.]+) (-?[\d.]+) cm", data.replace(b"1 0 0 1 0 0 cm", b"")
    )
    a, d, e, f = map(float, found)
    assert (a * 105.0 + e, d * 148.5 + f) == pytest.approx(
        (105.0 / 25.4 * 72.0, 148.5 / 25.4 * 72.0), abs=1e-3
    )
    assert a == pytest.approx(1.02 / 25.4 * 72.0, rel=1e-6)
    assert d == pytest.approx(0.98 / 25.4 * 72.0, rel=1e-6)


def test_a_crossed_hatch_has_lines_both_ways_inside_its_shape() -> None:
    square = Polyline(points=((30, 30), (60, 30), (60, 60), (30, 60)), closed=True, pen=None, tone=Tone.DOUBT)
    data = pdf_bytes([page(square)], title="x")
    lines = [
        list(map(float, found))
        for found in re.findall(rb"n ([\d.-]+) ([\d.-]+) m ([\d.-]+) ([\d.-]+) l S", data)
    ]
    slopes = {round((y2 - y1) / (x2 - x1)) for x1, y1, x2, y2 in lines}
    assert slopes == {1, -1}
    # A square of 30 mm is 42.4 mm across its corners: 35 lines 1.2 mm apart, each way.
    assert abs(len(lines) - 2 * 35) <= 2
