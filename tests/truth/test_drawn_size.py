"""Every writer's output, read back by others' readers and measured in millimetres.

1 in is 25.4 mm exactly (international yard and pound agreement of 1959, 24 FR 5348), a PDF point 1/72 in
(ISO 32000-1:2008, 8.3.2.3), and an SVG user unit is one millimetre where `width` in mm and `viewBox` agree
(SVG 2, 8.2). Nothing here knows how the writers reckon.
"""

from __future__ import annotations

import io
import math
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pypdfium2 as pdfium
import pytest
from ezdxf.filemanagement import read
from numpy.typing import NDArray
from pypdf import PdfReader
from pypdf.generic import ContentStream

from rollwright.draw.drawing import Arc, Circle, Drawing, Line, Mark, Pen, Polyline, Text, Tone
from rollwright.draw.dxf import dxf_text
from rollwright.draw.paper import Page, Paper, scale_box
from rollwright.draw.pdf import pdf_bytes
from rollwright.draw.printer import Factors, factors
from rollwright.draw.svg import svg_text
from rollwright.draw.tiles import tiled

MM = 72.0 / 25.4
CLOSE = 0.01
SVG = "{http://www.w3.org/2000/svg}"

LINE = Line(start=(10.123, 20.0), end=(110.123, 70.0), pen=Pen.SCORE)
OUTLINE = Polyline(points=((10.0, 10.0), (110.0, 10.0), (110.0, 60.0)), closed=True, pen=Pen.CUT_OUTER)
HOLE = Circle(centre=(57.3, 35.7), radius=2.45, pen=Pen.CUT_INNER)
WIDE = Circle(centre=(95.0, 138.5), radius=94.0)
ARCS = (
    Arc(centre=(60.0, 60.0), radius=40.0, start=0.3, end=1.9),
    Arc(centre=(60.0, 60.0), radius=40.0, start=-2.0, end=2.5),
    Arc(centre=(80.0, -900.0), radius=1000.0, start=math.radians(88.0), end=math.radians(92.0)),
)


def drawn(*marks: Mark) -> Drawing:
    return Drawing(name="try-square", title="A try square", width=190.0, height=277.0, marks=marks)


def elements(*marks: Mark) -> list[ET.Element]:
    root = ET.fromstring(svg_text(drawn(*marks)))  # noqa: S314 - what was just written here
    assert (root.get("width"), root.get("height")) == ("190mm", "277mm")
    assert root.get("viewBox") == "0 0 190 277"
    assert not any(node.get("transform") for node in root.iter())
    return [node for group in root.iter(f"{SVG}g") for node in group]


def svg_arc_centre(path: str) -> tuple[float, float, float]:
    """Return centre and turn of an SVG arc, from end points and flags (SVG 2, appendix B.2.4)."""
    x1, y1, rx, _, _, large, sweep, x2, y2 = map(float, re.findall(r"-?[\d.]+", path))
    x, y = (x1 - x2) / 2.0, (y1 - y2) / 2.0
    root = math.sqrt(max(0.0, rx**2 - x**2 - y**2) / (x**2 + y**2))
    root = -root if large == sweep else root
    cx, cy = root * y + (x1 + x2) / 2.0, -root * x + (y1 + y2) / 2.0
    turn = math.atan2(y2 - cy, x2 - cx) - math.atan2(y1 - cy, x1 - cx)
    turn = turn % (2.0 * math.pi) if sweep else turn % (2.0 * math.pi) - 2.0 * math.pi
    return cx, cy, turn


def test_svg_lengths_are_true() -> None:
    line, outline, hole = elements(LINE, OUTLINE, HOLE)[0], *reversed(elements(LINE, OUTLINE, HOLE)[1:])
    x1, y1, x2, y2 = (float(line.get(key, "nan")) for key in ("x1", "y1", "x2", "y2"))
    assert (x1, 277.0 - y1, x2, 277.0 - y2) == pytest.approx((10.123, 20.0, 110.123, 70.0), abs=CLOSE)
    corners = [tuple(map(float, corner.split(","))) for corner in outline.get("points", "").split()]
    assert [(x, 277.0 - y) for x, y in corners] == [pytest.approx(p, abs=CLOSE) for p in OUTLINE.points]
    found = [float(hole.get(key, "nan")) for key in ("cx", "cy", "r")]
    assert found == pytest.approx([57.3, 277.0 - 35.7, 2.45], abs=CLOSE)


@pytest.mark.parametrize("arc", ARCS)
def test_svg_arcs_bulge_to_the_right_side(arc: Arc) -> None:
    (path,) = elements(arc)
    cx, cy, turn = svg_arc_centre(path.get("d", ""))
    # Counter-clockwise is a negative turn where y runs down.
    assert turn == pytest.approx(arc.start - arc.end, abs=1e-4)
    x1, y1 = map(float, re.findall(r"-?[\d.]+", path.get("d", ""))[:2])
    half = math.atan2(y1 - cy, x1 - cx) + turn / 2.0
    middle = (arc.start + arc.end) / 2.0
    assert (cx + arc.radius * math.cos(half), 277.0 - cy - arc.radius * math.sin(half)) == pytest.approx(
        (arc.centre[0] + arc.radius * math.cos(middle), arc.centre[1] + arc.radius * math.sin(middle)),
        abs=CLOSE,
    )


def test_dxf_lengths_are_true() -> None:
    document = read(io.StringIO(dxf_text(drawn(LINE, OUTLINE, HOLE, *ARCS))))
    found: dict[str, list[Any]] = {}
    for entity in document.modelspace():
        found.setdefault(entity.dxftype(), []).append(entity)
    (line,), (outline,), (hole,) = found["LINE"], found["LWPOLYLINE"], found["CIRCLE"]
    assert (*line.dxf.start, *line.dxf.end) == pytest.approx(
        (10.123, 20.0, 0.0, 110.123, 70.0, 0.0), abs=CLOSE
    )
    assert [(p[0], p[1]) for p in outline.get_points()] == [
        pytest.approx(p, abs=CLOSE) for p in OUTLINE.points
    ]
    assert outline.closed
    assert (*hole.dxf.center, hole.dxf.radius) == pytest.approx((57.3, 35.7, 0.0, 2.45), abs=CLOSE)
    for arc, entity in zip(ARCS, found["ARC"], strict=True):
        for angle, point in ((arc.start, entity.start_point), (arc.end, entity.end_point)):
            place = (
                arc.centre[0] + arc.radius * math.cos(angle),
                arc.centre[1] + arc.radius * math.sin(angle),
            )
            assert (point.x, point.y) == pytest.approx(place, abs=CLOSE)


def curve(start: NDArray[np.float64], *handles: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Return 20 points along a cubic curve, without its start (ISO 32000-1:2008, 8.5.2.2)."""
    one, two, end = handles
    for t in np.linspace(0.05, 1.0, 20):
        s = 1.0 - t
        yield s**3 * start + 3 * s * s * t * one + 3 * s * t * t * two + t**3 * end


def paths(data: bytes, number: int = 0) -> Iterator[list[tuple[float, float]]]:
    """Return the painted paths of a PDF page as points in millimetres, curves in 20 steps."""
    reader = PdfReader(io.BytesIO(data))
    content = ContentStream(reader.pages[number].get_contents(), reader)
    matrix, kept = np.eye(3), []
    points: list[NDArray[np.float64]] = []

    def at(x: float, y: float) -> NDArray[np.float64]:
        return np.asarray([float(x), float(y), 1.0])

    for operands, operator in content.operations:
        match operator:
            case b"cm":
                a, b, c, d, e, f = map(float, operands)
                matrix = np.array([[a, b, 0.0], [c, d, 0.0], [e, f, 1.0]]) @ matrix
            case b"q":
                kept.append(matrix)
            case b"Q":
                matrix = kept.pop()
            case b"m" | b"l":
                points.append(at(*operands) @ matrix)
            case b"c":
                points.extend(curve(points[-1], *(at(*operands[n : n + 2]) @ matrix for n in (0, 2, 4))))
            case b"S" | b"f" | b"f*" | b"B" | b"n":
                if points:
                    yield [(float(p[0]) / MM, float(p[1]) / MM) for p in points]
                points = []


def test_pdf_lengths_are_true() -> None:
    data = pdf_bytes([Page(paper=Paper.A4, marks=(LINE, OUTLINE))], title="x")
    line, outline = paths(data)
    assert line == [pytest.approx(p, abs=CLOSE) for p in (LINE.start, LINE.end)]
    assert outline == [pytest.approx(p, abs=CLOSE) for p in OUTLINE.points]


@pytest.mark.parametrize("mark", [HOLE, WIDE, *ARCS])
def test_pdf_curves_keep_their_radius(mark: Circle | Arc) -> None:
    (bent,) = paths(pdf_bytes([Page(paper=Paper.A4, marks=(mark,))], title="x"))
    assert len(bent) > 20
    for x, y in bent:
        assert math.hypot(x - mark.centre[0], y - mark.centre[1]) == pytest.approx(mark.radius, abs=CLOSE)
    if isinstance(mark, Arc):
        middle = (mark.start + mark.end) / 2.0
        place = (
            mark.centre[0] + mark.radius * math.cos(middle),
            mark.centre[1] + mark.radius * math.sin(middle),
        )
        assert min(math.dist(place, point) for point in bent) < mark.radius * (mark.end - mark.start) / 20.0


def test_a_tile_shows_the_drawing_in_its_own_size() -> None:
    rule = Drawing(
        name="rule",
        title="A rule",
        width=300.0,
        height=100.0,
        marks=tuple(Line(start=(x, 30.0), end=(x, 40.0), pen=Pen.SCORE) for x in (20.0, 120.0, 185.0, 280.0)),
    )
    pages = tiled(rule, paper=Paper.A4)
    data = pdf_bytes(pages, title="x")
    upright = [
        {
            round(path[0][0], 3)
            for path in paths(data, number)
            if abs(path[0][1] - path[-1][1]) == pytest.approx(10)
        }
        for number in range(len(pages))
    ]
    # 185 mm lies in the strip from 180 to 190 mm that both pages show.
    assert [len(places) for places in upright] == [3, 2]
    first, second = map(sorted, upright)
    assert np.diff(first) == pytest.approx([100.0, 65.0], abs=CLOSE)
    assert np.diff(second) == pytest.approx([95.0], abs=CLOSE)


DOTS = 600


def rendered(data: bytes) -> NDArray[np.float64]:
    """Return how dark each dot of the first page is, from the bottom up, 0 to 1."""
    page = pdfium.PdfDocument(data)[0]
    picture = page.render(scale=DOTS / 72.0, grayscale=True).to_numpy()
    return 1.0 - np.asarray(picture, dtype=np.float64).reshape(picture.shape[:2])[::-1] / 255.0


def line_at(profile: NDArray[np.float64], dots_per_mm: float, near: float) -> float:
    """Return where the middle of the one dark line within 1 mm of a place lies [mm]."""
    first, last = round((near - 1.0) * dots_per_mm), round((near + 1.0) * dots_per_mm)
    dark = profile[first:last]
    assert dark.max() > 0.3
    return float(np.average(np.arange(first, last) + 0.5, weights=dark)) / dots_per_mm


def measured(
    data: bytes, paper: Paper, at: tuple[float, float], stretch: Factors
) -> tuple[float, float, float]:
    """Return width and height of the scale box and length of its bar, measured on a rendered page [mm]."""
    dark = rendered(data)
    up, across = dark.shape[0] / paper.height, dark.shape[1] / paper.width

    def place(x: float, y: float) -> tuple[float, float]:
        return (
            paper.width / 2.0 + (at[0] + x - paper.width / 2.0) * stretch.x,
            paper.height / 2.0 + (at[1] + y - paper.height / 2.0) * stretch.y,
        )

    def strip(low: float, high: float, dots_per_mm: float) -> slice:
        return slice(round(low * dots_per_mm), round(high * dots_per_mm))

    # The box stands 11 mm above the bar's foot; strips beside its words, between words and edges.
    rows = strip(place(0, 14.0)[1], place(0, 18.0)[1], up)
    columns = strip(place(2.0, 0)[0], place(8.0, 0)[0], across)
    bar = strip(place(0, 2.5)[1], place(0, 3.5)[1], up)
    left, right = (line_at(dark[rows].mean(axis=0), across, place(x, 0)[0]) for x in (0.0, 100.0))
    floor, top = (line_at(dark[:, columns].mean(axis=1), up, place(0, y)[1]) for y in (11.0, 61.0))
    start, end = (line_at(dark[bar].mean(axis=0), across, place(x, 0)[0]) for x in (0.0, 101.6))
    return right - left, top - floor, end - start


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("stretch", [Factors(), Factors(x=1.021, y=0.987)])
def test_a_rendered_page_proves_its_scale(paper: Paper, stretch: Factors) -> None:
    at = (30.0, 40.0)
    data = pdf_bytes([Page(paper=paper, marks=(), frame=scale_box(at=at))], title="x", factors=stretch)
    wide, high, bar = measured(data, paper, at, stretch)
    assert wide == pytest.approx(100.0 * stretch.x, abs=0.05)
    assert high == pytest.approx(50.0 * stretch.y, abs=0.05)
    assert bar == pytest.approx(4.0 * 25.4 * stretch.x, abs=0.05)


def test_a_printer_that_shrinks_prints_true_once_it_is_put_right() -> None:
    # A made-up printer that prints 1.5 % too narrow and 0.8 % too tall.
    across, up = 0.985, 1.008
    stretch = factors(across=0.100 * across, up=0.050 * up)
    at = (30.0, 40.0)
    data = pdf_bytes([Page(paper=Paper.A4, marks=(), frame=scale_box(at=at))], title="x", factors=stretch)
    wide, high, _ = measured(data, Paper.A4, at, stretch)
    assert (wide * across, high * up) == pytest.approx((100.0, 50.0), abs=0.05)


CHILD = """
import hashlib, sys
from rollwright.draw.drawing import *
from rollwright.draw.dxf import dxf_text
from rollwright.draw.paper import Paper
from rollwright.draw.tiles import tiled
from rollwright.draw.pdf import pdf_bytes
from rollwright.draw.svg import svg_text
marks = [Line(start=(n, 0.0), end=(n + 0.1, 90.0 / 7), pen=pen) for n, pen in enumerate(Pen)]
marks += [Circle(centre=(50.0, 50.0), radius=n + 1.0, tone=tone) for n, tone in enumerate(Tone)]
marks += [Text(at=(9.0, 9.0), text="12.3 ± 0.4° → ½"), Arc(centre=(9.0, 9.0), radius=3.0, start=0.1, end=2.0)]
drawing = Drawing(name="x", title="A → b", width=250.0, height=100.0, marks=tuple(marks), notes=("One.",))
for data in (
    svg_text(drawing).encode(),
    svg_text(drawing, screen=True).encode(),
    dxf_text(drawing).encode(),
    pdf_bytes(tiled(drawing, paper=Paper.A4), title="A → b"),
):
    print(hashlib.sha256(data).hexdigest())
"""


def test_the_same_drawing_gives_the_same_bytes_in_another_process(tmp_path: Path) -> None:
    def hashes(seed: str, zone: str) -> list[str]:
        done = subprocess.run(
            [sys.executable, "-c", CHILD],
            capture_output=True,
            check=True,
            cwd=tmp_path,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone},
            encoding="utf-8",
        )
        return done.stdout.split()

    first = hashes("1", "UTC")
    assert len(set(first)) == 4
    assert hashes("4711", "Asia/Tokyo") == first


def test_nothing_drawn_is_lost_in_any_file() -> None:
    marks: tuple[Mark, ...] = (
        *(Line(start=(5.0, 5.0 + n), end=(15.0, 5.0 + n), pen=pen) for n, pen in enumerate(Pen)),
        *(Circle(centre=(50.0, 50.0), radius=5.0 + n, tone=tone) for n, tone in enumerate(Tone)),
        Text(at=(9.0, 9.0), text="words"),
    )
    assert len(elements(*marks)) == len(marks)
    assert len(list(read(io.StringIO(dxf_text(drawn(*marks)))).modelspace())) == len(marks)
    strokes = [p for p in paths(pdf_bytes([Page(paper=Paper.A4, marks=marks)], title="x")) if len(p) == 2]
    level = [
        p for p in strokes if p[1][0] - p[0][0] == pytest.approx(10.0) and p[0][1] == pytest.approx(p[1][1])
    ]
    assert len(level) >= len(Pen)
