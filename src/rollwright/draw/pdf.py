"""Pages as a PDF file in true size, to be printed on any printer.

A point is 1/72 in (ISO 32000-1:2008, 8.3.2.3) and an inch 25.4 mm (international agreement of 1959). The
viewer is asked not to scale (`PrintScaling`, table 150 there); as not every viewer listens, each sheet proves
its scale by a box.
"""

from __future__ import annotations

import hashlib
import io
import math
import re
import unicodedata
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from rollwright.draw.drawing import Anchor, Arc, Circle, Line, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.extent import Box
from rollwright.draw.ink import FILLS, SHADES, STROKES, Colour, Hatch, colour_of, one_line
from rollwright.draw.paper import INCH, Page
from rollwright.draw.printer import Factors
from rollwright.errors import InputError, echo

__all__ = ["POINT", "pdf_bytes", "printable"]

POINT = INCH / 72.0
"""One point [mm]."""

_FONT, _STRONG = "Helvetica", "Helvetica-Bold"
# A twelfth of a turn by one cubic curve is off by less than 4e-7 of the radius.
_CURVE = math.pi / 6.0
_SPELLED = str.maketrans(
    {
        # What the printer's own types lack, as nearly as they can.
        "\u00a0": " ",
        "\u2007": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u2010": "-",
        "\u2011": "-",
        "⌀": "Ø",
        "ł": "l",
        "Ł": "L",
        "đ": "d",
        "Đ": "D",
        "ı": "i",
    }
)


def pdf_bytes(
    pages: Sequence[Page], *, title: str, factors: Factors | None = None, created: date | None = None
) -> bytes:
    """Return pages as the bytes of a PDF file.

    Args:
        pages: what is printed, at least one page.
        title: what the file is called in a viewer.
        factors: those that put the printer right; each page is stretched by them about its middle. None:
            the printer prints true.
        created: the day written into the file; None writes 1 January 2000.

    Returns:
        The file, the same for the same pages.

    Raises:
        InputError: there is no page, or a text holds a character that the printer's types do not have.
    """
    from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415 - takes a tenth of a second to load

    if not pages:
        raise InputError("there is no page to print", mend="draw at least one page")
    stretch = factors or Factors()
    stream = io.BytesIO()
    # Not compressed, as another library version may compress to other bytes.
    canvas = Canvas(
        stream,
        pagesize=(pages[0].width / POINT, pages[0].height / POINT),
        invariant=1,
        pageCompression=0,
        pdfVersion=(1, 6),
        initialFontName=_FONT,
        lang="en",
    )
    canvas.setTitle(one_line(title))
    canvas.setCreator("rollwright")
    canvas.setAuthor("")
    canvas.setSubject("")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for page in pages:
        canvas.setPageSize((page.width / POINT, page.height / POINT))
        # About the middle of the page: as much margin is lost on one side as on the other.
        canvas.transform(
            stretch.x / POINT,
            0.0,
            0.0,
            stretch.y / POINT,
            (1.0 - stretch.x) * page.width / 2.0 / POINT,
            (1.0 - stretch.y) * page.height / 2.0 / POINT,
        )
        canvas.saveState()
        _clip(canvas, page.window or page.room)
        for mark in page.marks:
            _draw(canvas, mark)
        canvas.restoreState()
        for mark in page.frame:
            _draw(canvas, mark)
        canvas.showPage()
    canvas.save()
    return _frozen(stream.getvalue(), created or date(2000, 1, 1))


def printable(text: str) -> str:
    """Return words in characters that the types in every printer have: Helvetica, and Symbol for arrows.

    A letter with an accent they lack loses the accent; a fraction in one character is spelled out.

    Args:
        text: the words.

    Returns:
        The same words on one line.

    Raises:
        InputError: a character cannot be printed.
    """
    return "".join(_printable(character, text) for character in one_line(text.translate(_SPELLED)))


def _printable(character: str, text: str) -> str:
    from reportlab.pdfbase import pdfmetrics  # noqa: PLC0415

    helvetica = pdfmetrics.getFont(_FONT)
    codes = [font.encName for font in (helvetica, *helvetica.substitutionFonts)]
    bare = "".join(c for c in unicodedata.normalize("NFKD", character) if not unicodedata.combining(c))
    for spelled in (character, bare):
        if spelled and all(any(_has(code, c) for code in codes) for c in spelled):
            return spelled
    raise InputError(
        f"the printer's type has no {echo(character)}, which is in {echo(text)}",
        mend="write it in Latin letters, or make the SVG file instead",
    )


def _has(code: str, character: str) -> bool:
    try:
        character.encode(code)
    except UnicodeEncodeError:
        return False
    return True


def _clip(canvas: Any, box: Box) -> None:
    path = canvas.beginPath()
    path.rect(box.left, box.bottom, box.width, box.height)
    canvas.clipPath(path, stroke=0, fill=0)


def _draw(canvas: Any, mark: Mark) -> None:
    match mark:
        case Text():
            _write(canvas, mark)
        case Line():
            _paint(canvas, _straight(canvas, (mark.start, mark.end)), mark.pen)
        case Polyline():
            path = _straight(canvas, mark.points)
            if mark.closed:
                path.close()
            _paint(canvas, path, mark.pen, mark.tone, mark.points)
        case Circle():
            path = _curved(canvas, mark.centre, mark.radius, 0.0, 2.0 * math.pi)
            path.close()
            (x, y), r = mark.centre, mark.radius
            _paint(canvas, path, mark.pen, mark.tone, ((x - r, y - r), (x + r, y + r)))
        case Arc():
            _paint(canvas, _curved(canvas, mark.centre, mark.radius, mark.start, mark.end), mark.pen)


def _straight(canvas: Any, points: Sequence[Point]) -> Any:
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    return path


def _curved(canvas: Any, centre: Point, radius: float, start: float, end: float) -> Any:
    """Return an arc as cubic curves: handles of 4/3 tan(a/4) of the radius for a step of a."""
    count = max(1, math.ceil((end - start) / _CURVE - 1e-9))
    step = (end - start) / count
    handle = 4.0 / 3.0 * math.tan(step / 4.0)

    def at(angle: float, along: float) -> Point:
        c, s = math.cos(angle), math.sin(angle)
        return (centre[0] + radius * (c - along * s), centre[1] + radius * (s + along * c))

    path = canvas.beginPath()
    path.moveTo(*at(start, 0.0))
    for number in range(count):
        before, after = start + number * step, start + (number + 1) * step
        path.curveTo(*at(before, handle), *at(after, -handle), *at(after, 0.0))
    return path


def _colour(colour: Colour) -> tuple[float, float, float]:
    code = SHADES[colour].black
    red, green, blue = (int(code[n : n + 2], 16) / 255.0 for n in (1, 3, 5))
    return red, green, blue


def _paint(
    canvas: Any, path: Any, pen: Pen | None, tone: Tone | None = None, extent: Sequence[Point] = ()
) -> None:
    fill = None if tone is None else FILLS[tone]
    if fill is not None and fill.ground is not None:
        canvas.setFillColorRGB(*_colour(fill.ground))
        canvas.drawPath(path, stroke=0, fill=1)
    if fill is not None and fill.hatch is not None:
        canvas.saveState()
        canvas.clipPath(path, stroke=0, fill=0)
        canvas.setStrokeColorRGB(*_colour(fill.hatch.colour))
        canvas.setLineWidth(fill.hatch.width)
        canvas.setDash([])
        for start, end in _hatch_lines(fill.hatch, extent):
            canvas.line(*start, *end)
        canvas.restoreState()
    if pen is not None:
        stroke = STROKES[pen]
        canvas.setStrokeColorRGB(*_colour(stroke.colour))
        canvas.setLineWidth(stroke.width)
        canvas.setDash(list(stroke.dash))
        canvas.setLineJoin(1)
        canvas.drawPath(path, stroke=1, fill=0)


def _hatch_lines(hatch: Hatch, extent: Sequence[Point]) -> Iterator[tuple[Point, Point]]:
    """Return parallel lines that cover a shape's extent; they lie alike in all shapes of a page."""
    for turn in (hatch.turn, hatch.turn + math.pi / 2.0) if hatch.crossed else (hatch.turn,):
        c, s = math.cos(turn), math.sin(turn)
        xs, ys = [x for x, _ in extent], [y for _, y in extent]
        corners = [(x, y) for x in (min(xs), max(xs)) for y in (min(ys), max(ys))]
        along = [x * c + y * s for x, y in corners]
        over = [y * c - x * s for x, y in corners]
        first, last = math.ceil(min(over) / hatch.spacing), math.floor(max(over) / hatch.spacing)
        for number in range(first, last + 1):
            v = number * hatch.spacing
            start, end = ((u * c - v * s, u * s + v * c) for u in (min(along), max(along)))
            yield start, end


def _write(canvas: Any, mark: Text) -> None:
    words = printable(mark.text)
    if not words:
        return
    canvas.saveState()
    canvas.setFillColorRGB(*_colour(colour_of(mark)))
    canvas.setFont(_STRONG if mark.strong else _FONT, mark.height)
    canvas.translate(*mark.at)
    canvas.rotate(math.degrees(mark.turn))
    write = {
        Anchor.START: canvas.drawString,
        Anchor.MIDDLE: canvas.drawCentredString,
        Anchor.END: canvas.drawRightString,
    }[mark.anchor]
    write(0.0, 0.0, words)
    canvas.restoreState()


def _frozen(data: bytes, created: date) -> bytes:
    """Return a file with its day and its identity made from what it holds, whatever the clock or environment.

    The day takes as many bytes as before, so that no object moves; the identity stands behind all objects.
    """
    day = created.strftime("%Y%m%d").encode()
    dated = re.sub(rb"(Date \(D:)\d{14}[+-]\d\d'\d\d'", rb"\g<1>" + day + rb"000000+00'00'", data)
    place = rb"\[<[0-9a-f]{32}><[0-9a-f]{32}>\]"
    digest = hashlib.sha256(re.sub(place, b"", dated)).hexdigest()[:32].encode()
    return re.sub(place, b"[<" + digest + b"><" + digest + b">]", dated)
