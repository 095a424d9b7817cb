"""What a pen and a tone become: widths, dashes, colours for a light or dark screen, and plain black on paper.

Whatever a colour tells, a width, a dash or a hatch tells as well. Line widths are steps of ISO 128-2:2020.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import Enum

from rollwright.draw.drawing import Circle, Layer, Mark, Pen, Polyline, Text, Tone

__all__ = [
    "FILLS",
    "LAYER_ORDER",
    "SHADES",
    "STROKES",
    "Colour",
    "Fill",
    "Hatch",
    "Shade",
    "Stroke",
    "by_layer",
    "colour_of",
    "layer_of",
    "one_line",
]


class Colour(Enum):
    """The few colours there are, named by what they are for."""

    GROUND = "ground"
    INK = "ink"
    SOFT = "soft"
    NEXT = "next"
    WOOD = "wood"
    WHEEL = "wheel"
    RAIL = "rail"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shade:
    """One colour on each ground, as six hexadecimal digits behind a `#`.

    Attributes:
        light: on a screen's warm drafting paper.
        dark: on a screen's slate.
        black: on a black printer.
    """

    light: str
    dark: str
    black: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """How a line looks.

    Attributes:
        width: its width [mm].
        dash: drawn and left out in turn [mm]; empty: an unbroken line.
        colour: its colour.
    """

    width: float
    dash: tuple[float, ...] = ()
    colour: Colour = Colour.INK


@dataclass(frozen=True, slots=True, kw_only=True)
class Hatch:
    """Even parallel lines that fill an area.

    Attributes:
        spacing: from line to line [mm].
        turn: the lines' direction, counter-clockwise from x [rad].
        width: width of a line [mm].
        crossed: whether a second set crosses the first at a right angle.
        colour: their colour.
    """

    spacing: float
    turn: float
    width: float = 0.13
    crossed: bool = False
    colour: Colour = Colour.INK


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """How an area looks.

    Attributes:
        ground: the colour that covers what lies below it; None lets it show.
        hatch: the lines over the ground; None: no lines.
    """

    ground: Colour | None = None
    hatch: Hatch | None = None


SHADES: Mapping[Colour, Shade] = {
    Colour.GROUND: Shade(light="#f6f1e4", dark="#22272e", black="#ffffff"),
    Colour.INK: Shade(light="#1d1b18", dark="#ece7da", black="#000000"),
    Colour.SOFT: Shade(light="#655e54", dark="#a9adb3", black="#000000"),
    Colour.NEXT: Shade(light="#b3390f", dark="#ff9a66", black="#000000"),
    Colour.WOOD: Shade(light="#e8dcc0", dark="#3b372f", black="#ffffff"),
    Colour.WHEEL: Shade(light="#d6d0c3", dark="#444a52", black="#e6e6e6"),
    Colour.RAIL: Shade(light="#c9c2b0", dark="#30363e", black="#ffffff"),
}

STROKES: Mapping[Pen, Stroke] = {
    Pen.CUT_OUTER: Stroke(width=0.25),
    Pen.CUT_INNER: Stroke(width=0.25),
    Pen.SCORE: Stroke(width=0.13),
    Pen.SCALE: Stroke(width=0.13),
    Pen.OUTLINE: Stroke(width=0.35),
    Pen.HAIR: Stroke(width=0.13, colour=Colour.SOFT),
    Pen.HIDDEN: Stroke(width=0.18, dash=(2.0, 1.0)),
    Pen.CENTRE: Stroke(width=0.13, dash=(6.0, 1.0, 0.8, 1.0)),
    Pen.DIMENSION: Stroke(width=0.13),
    Pen.NEXT: Stroke(width=0.7, colour=Colour.NEXT),
}

_EIGHTH = math.pi / 4.0
FILLS: Mapping[Tone, Fill] = {
    Tone.PAPER: Fill(ground=Colour.GROUND),
    Tone.WOOD: Fill(ground=Colour.WOOD),
    Tone.WHEEL: Fill(ground=Colour.WHEEL),
    Tone.RAIL: Fill(ground=Colour.RAIL, hatch=Hatch(spacing=1.4, turn=_EIGHTH)),
    Tone.BAND: Fill(hatch=Hatch(spacing=3.0, turn=-_EIGHTH, colour=Colour.SOFT)),
    Tone.DOUBT: Fill(hatch=Hatch(spacing=1.2, turn=_EIGHTH, crossed=True, colour=Colour.SOFT)),
    Tone.INK: Fill(ground=Colour.INK),
    Tone.NEXT: Fill(hatch=Hatch(spacing=0.9, turn=0.0, width=0.35, colour=Colour.NEXT)),
}

LAYER_ORDER = (Layer.TEXT, Layer.SCALE, Layer.SCORE, Layer.CUT_INNER, Layer.CUT_OUTER)
"""In which order a machine works: holes and scratches while the piece is held, and it is cut free last."""

_LAYER_OF_PEN: Mapping[Pen, Layer] = {
    Pen.CUT_OUTER: Layer.CUT_OUTER,
    Pen.CUT_INNER: Layer.CUT_INNER,
    Pen.SCORE: Layer.SCORE,
    Pen.SCALE: Layer.SCALE,
}
_CUTS = frozenset({Layer.CUT_OUTER, Layer.CUT_INNER})


def layer_of(mark: Mark) -> Layer:
    """Return the layer of a mark; what is only drawn counts as annotation and lies with the text.

    Args:
        mark: what is drawn.

    Returns:
        Its layer.
    """
    if isinstance(mark, Text):
        return mark.layer
    return Layer.TEXT if mark.pen is None else _LAYER_OF_PEN.get(mark.pen, Layer.TEXT)


def by_layer(marks: Iterable[Mark]) -> tuple[tuple[Layer, tuple[Mark, ...]], ...]:
    """Return marks sorted by layer in the order of the work; inside a layer they keep their order.

    An area bounded by a cut is taken apart: its fill stays with what is only drawn, so that a cut layer holds
    nothing but lines.

    Args:
        marks: what is drawn, the first below the later ones.

    Returns:
        Each layer that holds something, and what it holds.
    """
    sorted_out: dict[Layer, list[Mark]] = {layer: [] for layer in LAYER_ORDER}
    for mark in marks:
        layer = layer_of(mark)
        if isinstance(mark, (Polyline, Circle)) and layer in _CUTS and mark.tone is not None:
            sorted_out[Layer.TEXT].append(replace(mark, pen=None))
            sorted_out[layer].append(replace(mark, tone=None))
        else:
            sorted_out[layer].append(mark)
    return tuple((layer, tuple(found)) for layer, found in sorted_out.items() if found)


def colour_of(text: Text) -> Colour:
    """Return the colour of a line of words.

    Args:
        text: the words.

    Returns:
        The colour of its pen.
    """
    return STROKES[text.pen].colour


def one_line(text: str) -> str:
    """Return words as they may enter a file: on one line, without anything that no reader would see.

    Names come from people and may hold line ends, control characters or marks that turn the reading
    direction round; a DXF file is read line by line and XML forbids most of them.

    Args:
        text: the words, from wherever they come.

    Returns:
        The same with white space as single spaces, without control, format, surrogate or unassigned
        characters.
    """
    spaced = " ".join(text.split())
    return "".join(c for c in spaced if unicodedata.category(c) not in {"Cc", "Cf", "Cs", "Cn"})
