"""A drawing as a DXF file for a cutter or a drafting program: real circles, arcs and lines, in millimetres.

DXF R2010 (AC1024). `$INSUNITS` 4 is millimetres and `$MEASUREMENT` 1 is metric (AutoCAD DXF Reference, HEADER
section). What is only drawn lies on the layer TEXT: it annotates, and no machine shall scratch it.
"""

from __future__ import annotations

import hashlib
import io
import math
import re
from typing import TYPE_CHECKING

from rollwright.draw.drawing import Anchor, Arc, Circle, Drawing, Layer, Line, Mark, Pen, Polyline, Text
from rollwright.draw.ink import STROKES, by_layer, one_line
from rollwright.draw.outline import with_cut_width

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document
    from ezdxf.layouts.layout import Modelspace

__all__ = ["CAPITALS", "dxf_text"]

CAPITALS = 0.7
"""How tall a capital letter is in a type's size; DXF measures a text by its capitals [1]."""

_COLOURS = {
    # Numbers of the AutoCAD Colour Index: red, blue, green, black or white, grey.
    Layer.CUT_OUTER: 1,
    Layer.CUT_INNER: 5,
    Layer.SCORE: 3,
    Layer.TEXT: 7,
    Layer.SCALE: 8,
}
_DASHED = {Pen.HIDDEN: "HIDDEN", Pen.CENTRE: "CENTRE"}
_ALIGNED = {Anchor.START: "LEFT", Anchor.MIDDLE: "CENTER", Anchor.END: "RIGHT"}
_FULL_TURN = 2.0 * math.pi - 1e-9
_DECIMALS = 6
_JULIAN_DAY = "2451544.5"
"""Midnight before 1 January 2000, in every file."""


def dxf_text(drawing: Drawing, *, cut_width: float = 0.0) -> str:
    """Return a drawing as the text of a DXF file.

    Layers: `CUT-OUTER`, `CUT-INNER`, `SCORE`, `TEXT`, `SCALE`; inner cuts come before outer ones. Areas are
    left out, their outlines stay.

    Args:
        drawing: what is drawn.
        cut_width: full width of the cut that is allowed for [mm].

    Returns:
        The file's text, to be saved as UTF-8; the same for the same drawing.

    Raises:
        OutOfRange: the cut's width cannot be allowed for.
    """
    from ezdxf import units  # noqa: PLC0415 - takes most of a second to load
    from ezdxf.filemanagement import new  # noqa: PLC0415

    drawn = with_cut_width(drawing, cut_width=cut_width)
    document = new("R2010", units=units.MM)
    document.header["$MEASUREMENT"] = 1
    for layer in Layer:
        document.layers.add(layer.value, color=_COLOURS[layer])
    for pen, name in _DASHED.items():
        dash = STROKES[pen].dash
        steps = [-length if number % 2 else length for number, length in enumerate(dash)]
        document.linetypes.add(name, pattern=[sum(dash), *steps])
    space = document.modelspace()
    for layer, marks in by_layer(drawn.marks):
        for mark in marks:
            _add(space, mark, layer)
    corners = ((0.0, 0.0, 0.0), (_rounded(drawn.width), _rounded(drawn.height), 0.0))
    space.reset_extents(*corners)
    # A corner at the origin is taken for one that is not given, and the header would keep its empty extent.
    document.header["$EXTMIN"], document.header["$EXTMAX"] = corners
    return _frozen(document)


def _rounded(value: float) -> float:
    # The sum turns a negative zero into zero.
    return round(value, _DECIMALS) + 0.0


def _at(point: tuple[float, float]) -> tuple[float, float]:
    return _rounded(point[0]), _rounded(point[1])


def _add(space: Modelspace, mark: Mark, layer: Layer) -> None:
    from ezdxf.enums import TextEntityAlignment  # noqa: PLC0415

    look: dict[str, object] = {"layer": layer.value}
    if isinstance(mark, Text):
        if not (spelled := _spelled(mark.text)):
            return
        words = space.add_text(
            spelled,
            height=_rounded(CAPITALS * mark.height),
            rotation=_rounded(math.degrees(mark.turn)),
            dxfattribs=look,
        )
        words.set_placement(_at(mark.at), align=TextEntityAlignment[_ALIGNED[mark.anchor]])
        return
    if mark.pen is None:
        return
    if mark.pen in _DASHED:
        look["linetype"] = _DASHED[mark.pen]
    match mark:
        case Line():
            space.add_line(_at(mark.start), _at(mark.end), dxfattribs=look)
        case Polyline():
            space.add_lwpolyline([_at(point) for point in mark.points], close=mark.closed, dxfattribs=look)
        case Circle():
            space.add_circle(_at(mark.centre), _rounded(mark.radius), dxfattribs=look)
        case Arc() if mark.end - mark.start >= _FULL_TURN:
            space.add_circle(_at(mark.centre), _rounded(mark.radius), dxfattribs=look)
        case Arc():
            space.add_arc(
                _at(mark.centre),
                _rounded(mark.radius),
                _rounded(math.degrees(mark.start)),
                _rounded(math.degrees(mark.end)),
                dxfattribs=look,
            )


def _spelled(text: str) -> str:
    r"""Return words so that a DXF reader takes none of their characters for a code.

    `%%d` stands for a degree sign, `^J` for a line end and `\U+00B0` for a character by its number.
    """
    plain = re.sub(r"%{2,}", lambda run: "%%%" * len(run[0]), one_line(text))
    return re.sub(r"\\(?=[UMum]\+)", r"\\ ", plain.replace("^", "^ "))


def _frozen(document: Document) -> str:
    """Return a document's text without the moment and the random identities that are written into it.

    Identities are made from what the file holds, so that two drawings still differ in them.
    """
    stream = io.StringIO()
    document.write(stream)
    text = stream.getvalue()
    for pattern, instead in (
        (r"(\$TDU?(?:CREATE|UPDATE)\n *40\n).*", _JULIAN_DAY),
        (r"(\$(?:VERSION|FINGERPRINT)GUID\n *2\n).*", "{}"),
        (r"(\n100\nDictionaryVariables\n280\n0\n  1\n).* @ .*", "rollwright"),
    ):
        text = re.sub(pattern, rf"\g<1>{instead}", text)
    digest = hashlib.sha256(text.encode()).hexdigest().upper()
    identity = "-".join((digest[:8], digest[8:12], digest[12:16], digest[16:20], digest[20:32]))
    return re.sub(r"(\$(?:VERSION|FINGERPRINT)GUID\n *2\n)\{\}", rf"\g<1>{{{identity}}}", text)
