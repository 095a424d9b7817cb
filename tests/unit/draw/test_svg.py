"""What an SVG file holds: order of the work, words that cannot break it, and two grounds."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rollwright.draw.drawing import (
    Anchor,
    Arc,
    Circle,
    Drawing,
    Layer,
    Line,
    Mark,
    Pen,
    Polyline,
    Text,
    Tone,
)
from rollwright.draw.ink import FILLS, SHADES, STROKES, Colour, by_layer, one_line
from rollwright.draw.outline import effect, with_cut_width
from rollwright.draw.svg import screen_style, svg_text
from rollwright.errors import OutOfRange

SVG = "{http://www.w3.org/2000/svg}"
SQUARE = ((10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0))


def drawn(
    *marks: Mark, name: str = "try-square", title: str = "A try square", **more: tuple[str, ...]
) -> Drawing:
    return Drawing(name=name, title=title, width=60.0, height=50.0, marks=marks, **more)


def read(text: str) -> ET.Element:
    return ET.fromstring(text)  # noqa: S314 - what was just written here


def only(root: ET.Element, kind: str) -> ET.Element:
    (found,) = root.iter(SVG + kind)
    return found


def test_the_sheet_is_as_large_as_its_numbers_and_nothing_moves_it() -> None:
    root = read(svg_text(drawn()))
    assert root.get("width") == "60mm"
    assert root.get("height") == "50mm"
    assert root.get("viewBox") == "0 0 60 50"
    assert root.get("transform") is None
    assert root.get("role") == "img"


@pytest.mark.parametrize("screen", [False, True])
def test_it_says_what_it_is_to_those_who_cannot_see_it(screen: bool) -> None:  # noqa: FBT001
    text = svg_text(drawn(notes=("Lay it flat.",), cautions=("Wear goggles.",)), screen=screen)
    root = read(text)
    assert only(root, "title").text == "A try square"
    assert only(root, "desc").text == "Lay it flat. Wear goggles."
    names = [only(root, "title").get("id"), only(root, "desc").get("id")]
    assert (root.get("aria-labelledby") or "").split() == names


def test_inner_cuts_come_before_outer_and_each_layer_is_a_group() -> None:
    marks = (
        Polyline(points=SQUARE, closed=True, pen=Pen.CUT_OUTER),
        Circle(centre=(20.0, 20.0), radius=3.0, pen=Pen.CUT_INNER),
        Line(start=(10.0, 25.0), end=(40.0, 25.0), pen=Pen.SCORE),
        Line(start=(0.0, 0.0), end=(5.0, 0.0), pen=Pen.SCALE),
        Text(at=(1.0, 1.0), text="5 mm", layer=Layer.SCALE),
        Line(start=(10.0, 5.0), end=(40.0, 5.0), pen=Pen.DIMENSION),
        Text(at=(20.0, 6.0), text="30"),
    )
    root = read(svg_text(drawn(*marks)))
    groups = [child for child in root if child.tag == f"{SVG}g"]
    assert [group.get("id") for group in groups] == ["TEXT", "SCALE", "SCORE", "CUT-INNER", "CUT-OUTER"]
    kinds = [[child.tag.removeprefix(SVG) for child in group] for group in groups]
    assert kinds == [["line", "text"], ["line", "text"], ["line"], ["circle"], ["polygon"]]


def test_on_a_screen_later_marks_stay_above_earlier_ones() -> None:
    marks = (
        Line(start=(0.0, 0.0), end=(9.0, 9.0), pen=Pen.SCORE),
        Polyline(points=SQUARE, closed=True, tone=Tone.WOOD),
        Circle(centre=(20.0, 20.0), radius=3.0, tone=Tone.INK),
    )
    root = read(svg_text(drawn(*marks), screen=True))
    kinds = [child.tag.removeprefix(SVG) for child in root]
    assert kinds[-4:] == ["rect", "line", "polygon", "circle"]


def test_a_cut_layer_holds_lines_only_and_the_fill_stays_below() -> None:
    piece = Polyline(points=SQUARE, closed=True, pen=Pen.CUT_OUTER, tone=Tone.WOOD)
    layers = dict(by_layer((piece,)))
    (fill,) = layers[Layer.TEXT]
    (cut,) = layers[Layer.CUT_OUTER]
    assert isinstance(fill, Polyline)
    assert isinstance(cut, Polyline)
    assert (fill.pen, fill.tone) == (None, Tone.WOOD)
    assert (cut.pen, cut.tone) == (Pen.CUT_OUTER, None)


def test_black_print_is_black_and_brings_no_styles() -> None:
    marks = [Line(start=(0.0, 0.0), end=(9.0, 9.0), pen=pen) for pen in Pen]
    text = svg_text(drawn(*marks))
    assert set(re.findall(r'stroke="(.*?)"', text)) == {"#000000"}
    assert "<style" not in text
    assert "class=" not in text


def test_a_screen_gets_a_light_and_a_dark_ground() -> None:
    text = svg_text(drawn(Line(start=(0.0, 0.0), end=(9.0, 9.0), pen=Pen.NEXT)), screen=True)
    style = only(read(text), "style").text or ""
    assert style == screen_style()
    light, dark = style.split("@media (prefers-color-scheme:dark)")
    for colour, shade in SHADES.items():
        assert f"--rw-{colour.value}:{shade.light};" in light
        assert f"--rw-{colour.value}:{shade.dark};" in dark
    line = only(read(text), "line")
    # Without styles the light colour stays; with them the class decides.
    assert line.get("stroke") == SHADES[Colour.NEXT].light
    assert line.get("class") == "rw-s-next"
    assert ".rw .rw-s-next{stroke:var(--rw-next)}" in style


def _luminance(code: str) -> float:
    parts = [int(code[n : n + 2], 16) / 255.0 for n in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("ground", [Colour.GROUND, Colour.WOOD, Colour.WHEEL, Colour.RAIL])
@pytest.mark.parametrize("kind", ["light", "dark"])
def test_ink_reads_on_every_ground(ground: Colour, kind: str) -> None:
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text; relative luminance as defined there.
    for ink in (Colour.INK, Colour.SOFT, Colour.NEXT) if ground is Colour.GROUND else (Colour.INK,):
        pair = [_luminance(getattr(SHADES[colour], kind)) for colour in (ink, ground)]
        assert (max(pair) + 0.05) / (min(pair) + 0.05) >= 4.5, ink


def test_states_differ_without_any_colour() -> None:
    told = {Tone.BAND, Tone.DOUBT, Tone.NEXT, Tone.RAIL}
    hatches = [FILLS[tone].hatch for tone in told]
    assert None not in hatches
    assert len({(h.spacing, h.turn, h.width, h.crossed) for h in hatches if h is not None}) == len(told)
    states = (Pen.OUTLINE, Pen.HIDDEN, Pen.CENTRE, Pen.NEXT, Pen.HAIR)
    assert len({(STROKES[pen].width, STROKES[pen].dash) for pen in states}) == len(states)


def test_a_hatch_is_there_once_and_pointed_to() -> None:
    areas = [Polyline(points=SQUARE, closed=True, pen=None, tone=Tone.BAND)] * 2
    root = read(svg_text(drawn(*areas)))
    pattern = only(root, "pattern")
    assert pattern.get("id") == "try-square-band"
    assert {area.get("fill") for area in root.iter(f"{SVG}polygon")} == {"url(#try-square-band)"}
    # Minus 45 degrees, counter-clockwise, is plus 45 on a sheet whose y runs down.
    assert pattern.get("patternTransform") == "rotate(45)"
    crossed = read(svg_text(drawn(Circle(centre=(9.0, 9.0), radius=2.0, tone=Tone.DOUBT))))
    assert len(list(only(crossed, "pattern"))) == 2


def test_words_stand_turn_and_lean_as_they_should() -> None:
    text = Text(at=(5.0, 8.0), text="30 mm", height=4.2, anchor=Anchor.END, turn=math.pi / 2, strong=True)
    found = only(read(svg_text(drawn(text))), "text")
    assert (found.get("x"), found.get("y"), found.get("font-size")) == ("5", "42", "4.2")
    assert found.get("text-anchor") == "end"
    assert found.get("font-weight") == "700"
    # Counter-clockwise as seen is a negative angle where y runs down.
    assert found.get("transform") == "rotate(-90 5 42)"


def test_a_full_turn_is_a_circle() -> None:
    arc = Arc(centre=(20.0, 20.0), radius=5.0, start=0.3, end=0.3 + 2 * math.pi)
    assert only(read(svg_text(drawn(arc))), "circle").get("r") == "5"


def test_zero_has_no_sign_and_numbers_end_early() -> None:
    line = Line(start=(-1e-9, 50.0 + 1e-9), end=(1.0 / 3.0, 50.0))
    found = only(read(svg_text(drawn(line))), "line")
    assert [found.get(key) for key in ("x1", "y1", "x2", "y2")] == ["0", "0", "0.3333", "0"]


@given(st.text())
def test_any_words_can_be_drawn(words: str) -> None:
    drawing = drawn(Text(at=(1.0, 1.0), text=words), name=words, title=words, notes=(words,))
    for screen in (False, True):
        text = svg_text(drawing, screen=screen)
        text.encode()
        root = read(text)
        assert (only(root, "text").text or "") == one_line(words)
        assert (only(root, "title").text or "") == one_line(words)


def test_markup_in_a_name_stays_words() -> None:
    words = "<script>alert('x')</script> & \"so on\" \u202egnorw"
    root = read(svg_text(drawn(Text(at=(1.0, 1.0), text=words * 200), title=words)))
    assert not list(root.iter(f"{SVG}script"))
    assert only(root, "title").text == "<script>alert('x')</script> & \"so on\" gnorw"


def test_the_cut_takes_its_full_width_from_holes_and_adds_it_to_pieces() -> None:
    hole = Circle(centre=(20.0, 20.0), radius=1.5, pen=Pen.CUT_INNER)
    slot = Polyline(
        points=((10.0, 10.0), (10.0, 14.0), (30.0, 14.0), (30.0, 10.0)), closed=True, pen=Pen.CUT_INNER
    )
    disc = Circle(centre=(20.0, 20.0), radius=15.0, pen=Pen.CUT_OUTER)
    bar = Line(start=(0.0, 0.0), end=(25.0, 0.0), pen=Pen.SCALE)
    score = Circle(centre=(20.0, 20.0), radius=5.0, pen=Pen.SCORE)
    words = Text(at=(1.0, 1.0), text="x")
    found = with_cut_width(drawn(hole, slot, disc, bar, score, words), cut_width=0.2).marks
    assert isinstance(found[0], Circle)
    assert isinstance(found[1], Polyline)
    assert isinstance(found[2], Circle)
    assert found[0].radius == pytest.approx(1.4)
    assert found[2].radius == pytest.approx(15.1)
    xs, ys = [x for x, _ in found[1].points], [y for _, y in found[1].points]
    # This slot runs clockwise; its inside is found all the same.
    assert (min(xs), max(xs), min(ys), max(ys)) == pytest.approx((10.1, 29.9, 10.1, 13.9))
    assert found[3:] == (bar, score, words)


def test_an_outline_grows_along_its_mitres_in_and_out_of_corners() -> None:
    # An L: its inner corner at (20, 20) moves outward, which is up and to the right.
    ell = ((0.0, 0.0), (40.0, 0.0), (40.0, 20.0), (20.0, 20.0), (20.0, 40.0), (0.0, 40.0), (0.0, 0.0))
    for corners in (ell, ell[::-1]):
        piece = Polyline(points=corners, closed=True, pen=Pen.CUT_OUTER)
        (grown,) = with_cut_width(drawn(piece), cut_width=1.0).marks
        assert isinstance(grown, Polyline)
        rounded = {(round(x, 9), round(y, 9)) for x, y in grown.points}
        assert rounded == {(-0.5, -0.5), (40.5, -0.5), (40.5, 20.5), (20.5, 20.5), (20.5, 40.5), (-0.5, 40.5)}


@pytest.mark.parametrize(
    "mark",
    [
        Circle(centre=(9.0, 9.0), radius=0.5, pen=Pen.CUT_INNER),
        Polyline(points=((0.0, 0.0), (9.0, 0.0), (9.0, 0.9), (0.0, 0.9)), closed=True, pen=Pen.CUT_INNER),
        # A notch 0.9 mm wide in the upper edge of a piece.
        Polyline(
            points=((0, 0), (20, 0), (20, 9), (10.9, 9), (10.9, 4), (10, 4), (10, 9), (0, 9)),
            closed=True,
            pen=Pen.CUT_OUTER,
        ),
        # A waist 0.8 mm wide between two rooms of a hole: no edge turns round, but the sides cross.
        Polyline(
            points=((0, 0), (10, 4.6), (20, 0), (20, 10), (10, 5.4), (0, 10)), closed=True, pen=Pen.CUT_INNER
        ),
        Polyline(points=((0.0, 0.0), (9.0, 0.0), (0.0, 0.0)), closed=True, pen=Pen.CUT_OUTER),
    ],
)
def test_a_cut_wider_than_its_hole_or_notch_is_refused(mark: Mark) -> None:
    with pytest.raises(OutOfRange, match="too narrow for a cut 1 mm wide"):
        with_cut_width(drawn(mark), cut_width=1.0)


@pytest.mark.parametrize("width", [-0.1, 5.1, math.nan, math.inf])
def test_an_unlikely_cut_is_refused(width: float) -> None:
    with pytest.raises(OutOfRange, match="0 to 5 mm; cut one straight line through scrap"):
        svg_text(drawn(), cut_width=width)


def test_an_open_cut_has_no_outside() -> None:
    line = Line(start=(0.0, 0.0), end=(9.0, 0.0), pen=Pen.CUT_OUTER)
    assert "<line" in svg_text(drawn(line))
    with pytest.raises(OutOfRange, match="a cut line is open"):
        svg_text(drawn(line), cut_width=0.1)


def test_the_cut_is_told_by_what_it_does() -> None:
    assert effect(cut_width=0.15) == (
        "Full width of the cut 0.15 mm: a hole of 3.0 mm is drawn 2.85 mm, "
        "a piece of 60.0 mm is drawn 60.15 mm."
    )
    assert "nothing is allowed" in effect(cut_width=0.0)
