"""What a DXF file holds, read back by the library's own reader and by eye."""

from __future__ import annotations

import io
import math
import re

import pytest
from ezdxf.document import Drawing as Document
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.filemanagement import read
from hypothesis import given, settings
from hypothesis import strategies as st

from rollwright.draw.drawing import Anchor, Arc, Circle, Drawing, Layer, Line, Mark, Pen, Polyline, Text, Tone
from rollwright.draw.dxf import dxf_text
from rollwright.draw.ink import one_line

SQUARE = ((10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0))
ALL = (
    Polyline(points=SQUARE, closed=True, pen=Pen.CUT_OUTER, tone=Tone.WOOD),
    Circle(centre=(20.0, 20.0), radius=3.0, pen=Pen.CUT_INNER),
    Line(start=(10.0, 25.0), end=(40.0, 25.0), pen=Pen.SCORE),
    Line(start=(0.0, 0.0), end=(25.4, 0.0), pen=Pen.SCALE),
    Text(at=(1.0, 1.0), text="1 in", layer=Layer.SCALE),
    Arc(centre=(20.0, 20.0), radius=8.0, start=math.radians(-30.0), end=math.radians(45.0)),
    Line(start=(10.0, 5.0), end=(40.0, 5.0), pen=Pen.HIDDEN),
    Polyline(points=SQUARE[:3], pen=Pen.DIMENSION),
    Circle(centre=(20.0, 20.0), radius=9.0, pen=None, tone=Tone.DOUBT),
    Text(at=(20.0, 6.0), text="30", height=5.0, anchor=Anchor.MIDDLE, turn=math.pi / 2.0),
)


def drawn(*marks: Mark) -> Drawing:
    return Drawing(name="try-square", title="A try square", width=60.0, height=50.0, marks=marks)


def opened(text: str) -> Document:
    return read(io.StringIO(text))


def entities(text: str) -> list[DXFGraphic]:
    return list(opened(text).modelspace())


def test_it_is_metric_in_millimetres_and_sound() -> None:
    document = opened(dxf_text(drawn(*ALL)))
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    assert tuple(document.header["$EXTMAX"])[:2] == (60.0, 50.0)
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes


def test_each_mark_is_its_own_kind_on_its_own_layer_and_outer_cuts_come_last() -> None:
    found = [(entity.dxftype(), entity.dxf.layer) for entity in entities(dxf_text(drawn(*ALL)))]
    assert found == [
        ("ARC", "TEXT"),
        ("LINE", "TEXT"),
        ("LWPOLYLINE", "TEXT"),
        ("TEXT", "TEXT"),
        ("LINE", "SCALE"),
        ("TEXT", "SCALE"),
        ("LINE", "SCORE"),
        ("CIRCLE", "CUT-INNER"),
        ("LWPOLYLINE", "CUT-OUTER"),
    ]


def test_the_five_layers_are_there_even_when_empty() -> None:
    names = {layer.dxf.name for layer in opened(dxf_text(drawn())).layers}
    assert names == {"0", "Defpoints", "CUT-OUTER", "CUT-INNER", "SCORE", "TEXT", "SCALE"}


def test_words_stand_by_their_capitals_and_anchors() -> None:
    text = next(e for e in entities(dxf_text(drawn(*ALL))) if e.dxftype() == "TEXT")
    # Capitals are about 0.7 of the type's size, and DXF gives a text the height of its capitals.
    assert text.dxf.height == pytest.approx(3.5)
    assert text.dxf.rotation == pytest.approx(90.0)
    assert text.dxf.halign == 1
    assert tuple(text.dxf.align_point)[:2] == (20.0, 6.0)


def test_arcs_run_counter_clockwise_in_degrees() -> None:
    arc = next(e for e in entities(dxf_text(drawn(*ALL))) if e.dxftype() == "ARC")
    assert (arc.dxf.radius, arc.dxf.start_angle, arc.dxf.end_angle) == pytest.approx((8.0, -30.0, 45.0))


def test_a_full_turn_is_a_circle() -> None:
    arc = Arc(centre=(20.0, 20.0), radius=5.0, start=0.3, end=0.3 + 2 * math.pi)
    (found,) = entities(dxf_text(drawn(arc)))
    assert found.dxftype() == "CIRCLE"


def test_hidden_lines_are_dashed_in_millimetres() -> None:
    document = opened(dxf_text(drawn(*ALL)))
    line = next(e for e in document.modelspace() if e.dxf.layer == "TEXT" and e.dxftype() == "LINE")
    assert line.dxf.linetype == "HIDDEN"
    assert document.linetypes.get("HIDDEN").simplified_line_pattern() == pytest.approx((2.0, 1.0))


def test_the_full_width_of_the_cut_moves_cuts_only() -> None:
    found = entities(dxf_text(drawn(*ALL), cut_width=0.2))
    circle = next(e for e in found if e.dxftype() == "CIRCLE")
    assert circle.dxf.radius == pytest.approx(2.9)
    outer = next(e for e in found if e.dxf.layer == "CUT-OUTER")
    xs = [point[0] for point in outer.get_points()]  # type: ignore[attr-defined]
    assert (min(xs), max(xs)) == pytest.approx((9.9, 40.1))
    scale = next(e for e in found if e.dxf.layer == "SCALE" and e.dxftype() == "LINE")
    assert scale.dxf.end.x == pytest.approx(25.4)


def test_the_day_and_the_identity_do_not_change() -> None:
    text = dxf_text(drawn(*ALL))
    assert text == dxf_text(drawn(*ALL))
    # 2451544.5 is the Julian date of 1 January 2000, 0 h (US Naval Observatory's definition; from memory).
    assert re.findall(r"(\$TDU?(?:CREATE|UPDATE))\n 40\n(.*)", text) == [
        (name, "2451544.5") for name in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE")
    ]
    identity, other = (
        re.findall(r"\$VERSIONGUID\n  2\n(\{.*\})\n", t) for t in (text, dxf_text(drawn(*ALL[1:])))
    )
    assert identity != other
    assert re.fullmatch(r"\{[0-9A-F]{8}(-[0-9A-F]{4}){3}-[0-9A-F]{12}\}", identity[0])


@given(st.text())
@settings(deadline=None, max_examples=25)
def test_any_words_can_be_drawn(words: str) -> None:
    text = dxf_text(
        drawn(Text(at=(1.0, 1.0), text=words), Circle(centre=(9.0, 9.0), radius=1.0, pen=Pen.CUT_OUTER))
    )
    text.encode()
    assert [e.dxf.layer for e in entities(text)] == [*["TEXT"] * bool(one_line(words)), "CUT-OUTER"]


@pytest.mark.parametrize("words", ["90° ± 2", "100 %%d %%", "up^Jdown", "a %%%%u line", "→ left", "50 %"])
def test_words_are_not_taken_for_codes(words: str) -> None:
    (found,) = entities(dxf_text(drawn(Text(at=(1.0, 1.0), text=words))))
    assert found.plain_text() == one_line(words)  # type: ignore[attr-defined]


def test_a_line_end_in_a_name_starts_no_new_line_of_the_file() -> None:
    (found,) = entities(dxf_text(drawn(Text(at=(1.0, 1.0), text="Lark\n  0\nLINE\x00\r\n  8\nCUT-OUTER"))))
    assert found.dxf.text == "Lark 0 LINE 8 CUT-OUTER"
