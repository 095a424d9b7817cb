"""A drawing as an SVG file: true millimetres, y turned down in the numbers, for a screen or for black print.

SVG 2 (W3C Candidate Recommendation, 4 October 2018): `width` and `height` in mm over a `viewBox` of the same
numbers make one user unit one millimetre.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from rollwright.draw.drawing import Anchor, Arc, Circle, Drawing, Line, Mark, Pen, Point, Polyline, Text, Tone
from rollwright.draw.ink import FILLS, SHADES, STROKES, Colour, by_layer, colour_of, one_line
from rollwright.draw.outline import with_cut_width

__all__ = ["screen_style", "svg_text"]

_FONT = "system-ui, -apple-system, 'Segoe UI', 'Liberation Sans', Arial, sans-serif"
_FULL_TURN = 2.0 * math.pi - 1e-9
_ANCHORS = {Anchor.START: "start", Anchor.MIDDLE: "middle", Anchor.END: "end"}


def _number(value: float) -> str:
    """Return a number to a ten-thousandth, so that the last digit of a sum never changes a file."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def screen_style() -> str:
    """Return the style rules of drawings on a screen: their colours on a light and on a dark ground.

    Every drawing for a screen brings them along; a page that shows many, or that forbids styles inside
    drawings, can carry them itself. Where they are not applied, a drawing is shown in its light colours.

    Returns:
        CSS whose classes and variables all begin with `rw`.
    """
    light = "".join(f"--rw-{colour.value}:{shade.light};" for colour, shade in SHADES.items())
    dark = "".join(f"--rw-{colour.value}:{shade.dark};" for colour, shade in SHADES.items())
    rules = "".join(
        f".rw .rw-s-{colour.value}{{stroke:var(--rw-{colour.value})}}"
        f".rw .rw-f-{colour.value}{{fill:var(--rw-{colour.value})}}"
        for colour in SHADES
    )
    return (
        f".rw{{color-scheme:light dark;{light}}}"
        f"@media (prefers-color-scheme:dark){{.rw{{{dark}}}}}"
        f"{rules}.rw text{{font-variant-numeric:tabular-nums}}"
    )


def svg_text(drawing: Drawing, *, screen: bool = False, cut_width: float = 0.0) -> str:
    """Return a drawing as the text of an SVG file.

    For a screen the marks keep their order. Otherwise each layer is a group named after it, and they follow
    each other as the work does: words, scale box, scored lines, inner cuts, outer cuts.

    Args:
        drawing: what is drawn.
        screen: whether it is to be looked at on a screen, in colours for a light and a dark ground; else it
            is black on nothing, for a printer or a machine.
        cut_width: full width of the cut that is allowed for [mm].

    Returns:
        The file's text, the same for the same drawing.

    Raises:
        OutOfRange: the cut's width cannot be allowed for.
    """
    drawn = with_cut_width(drawing, cut_width=cut_width)
    return "\n".join(_Writer(drawing=drawn, screen=screen).lines()) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Writer:
    drawing: Drawing
    screen: bool

    @property
    def name(self) -> str:
        return re.sub(r"[^a-z0-9]+", "-", self.drawing.name.lower()).strip("-") or "drawing"

    def lines(self) -> Iterator[str]:
        drawing = self.drawing
        width, height = _number(drawing.width), _number(drawing.height)
        told = " ".join(map(one_line, (*drawing.notes, *drawing.cautions)))
        labels = f"{self.name}-title {self.name}-desc" if told else f"{self.name}-title"
        look = ' class="rw"' if self.screen else ""
        yield (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}" role="img" aria-labelledby="{labels}"{look} fill="none" '
            f'stroke-linejoin="round" font-family="{_FONT}">'
        )
        yield f'<title id="{self.name}-title">{escape(one_line(drawing.title))}</title>'
        if told:
            yield f'<desc id="{self.name}-desc">{escape(told)}</desc>'
        if self.screen:
            yield f"<style>{screen_style()}</style>"
        yield from self.patterns()
        if self.screen:
            yield f'<rect width="{width}" height="{height}"{self.paint("fill", Colour.GROUND)}/>'
            for mark in drawing.marks:
                yield from self.mark(mark)
        else:
            for layer, marks in by_layer(drawing.marks):
                yield f'<g id="{layer.value}">'
                for mark in marks:
                    yield from self.mark(mark)
                yield "</g>"
        yield "</svg>"

    def paint(self, what: str, *colours: Colour) -> str:
        """Return the attributes that paint fill and stroke, or one of them, in colours."""
        shade = "light" if self.screen else "black"
        parts = list(zip(what.split(), colours, strict=True))
        text = "".join(f' {part}="{getattr(SHADES[colour], shade)}"' for part, colour in parts)
        if self.screen:
            text += f' class="{" ".join(f"rw-{part[0]}-{colour.value}" for part, colour in parts)}"'
        return text

    def patterns(self) -> Iterator[str]:
        used = {mark.tone for mark in self.drawing.marks if isinstance(mark, (Polyline, Circle))}
        hatched = [(tone, FILLS[tone].ground, FILLS[tone].hatch) for tone in Tone if tone in used]
        found = [(tone, ground, hatch) for tone, ground, hatch in hatched if hatch is not None]
        if not found:
            return
        yield "<defs>"
        for tone, behind, hatch in found:
            side, middle = _number(hatch.spacing), _number(hatch.spacing / 2.0)
            # A pattern's own turn goes clockwise, as y runs down.
            turn = _number(-math.degrees(hatch.turn))
            under = "" if behind is None else self.paint("fill", behind)
            ground = f'<rect width="{side}" height="{side}"{under}/>' if under else ""
            look = f'{self.paint("stroke", hatch.colour)} stroke-width="{_number(hatch.width)}"'
            across = f'<line x1="0" y1="{middle}" x2="{side}" y2="{middle}"{look}/>'
            up = f'<line x1="{middle}" y1="0" x2="{middle}" y2="{side}"{look}/>' if hatch.crossed else ""
            yield (
                f'<pattern id="{self.name}-{tone.value}" width="{side}" height="{side}" '
                f'patternUnits="userSpaceOnUse" patternTransform="rotate({turn})">'
                f"{ground}{across}{up}</pattern>"
            )
        yield "</defs>"

    def look(self, pen: Pen | None, tone: Tone | None = None) -> str:
        """Return the attributes that paint a line and an area."""
        fill = None if tone is None else FILLS[tone]
        ground = fill.ground if fill is not None and fill.hatch is None else None
        stroke = None if pen is None else STROKES[pen]
        parts = [("fill", ground), ("stroke", None if stroke is None else stroke.colour)]
        known = [(what, colour) for what, colour in parts if colour is not None]
        text = (
            self.paint(" ".join(what for what, _ in known), *(colour for _, colour in known)) if known else ""
        )
        if tone is not None and ground is None:
            text += f' fill="url(#{self.name}-{tone.value})"'
        if stroke is not None:
            text += f' stroke-width="{_number(stroke.width)}"'
            if stroke.dash:
                text += f' stroke-dasharray="{" ".join(map(_number, stroke.dash))}"'
        return text

    def at(self, point: Point) -> tuple[str, str]:
        return _number(point[0]), _number(self.drawing.height - point[1])

    def mark(self, mark: Mark) -> Iterator[str]:
        match mark:
            case Line():
                (x1, y1), (x2, y2) = self.at(mark.start), self.at(mark.end)
                yield f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"{self.look(mark.pen)}/>'
            case Polyline():
                kind = "polygon" if mark.closed else "polyline"
                points = " ".join(",".join(self.at(point)) for point in mark.points)
                yield f'<{kind} points="{points}"{self.look(mark.pen, mark.tone)}/>'
            case Circle():
                yield self.circle(mark.centre, mark.radius, self.look(mark.pen, mark.tone))
            case Arc() if mark.end - mark.start >= _FULL_TURN:
                # An arc that ends where it begins is left out by every reader.
                yield self.circle(mark.centre, mark.radius, self.look(mark.pen))
            case Arc():
                yield self.arc(mark)
            case Text():
                yield self.text(mark)

    def circle(self, centre: Point, radius: float, look: str) -> str:
        x, y = self.at(centre)
        return f'<circle cx="{x}" cy="{y}" r="{_number(radius)}"{look}/>'

    def arc(self, mark: Arc) -> str:
        start, end = (
            " ".join(
                self.at(
                    (
                        mark.centre[0] + mark.radius * math.cos(angle),
                        mark.centre[1] + mark.radius * math.sin(angle),
                    )
                )
            )
            for angle in (mark.start, mark.end)
        )
        large = int(mark.end - mark.start > math.pi)
        radius = _number(mark.radius)
        # With y down the sweep flag 0 is counter-clockwise as seen.
        return f'<path d="M{start}A{radius} {radius} 0 {large} 0 {end}"{self.look(mark.pen)}/>'

    def text(self, mark: Text) -> str:
        x, y = self.at(mark.at)
        turn = f' transform="rotate({_number(-math.degrees(mark.turn))} {x} {y})"' if mark.turn else ""
        anchor = "" if mark.anchor is Anchor.START else f" text-anchor={quoteattr(_ANCHORS[mark.anchor])}"
        bold = ' font-weight="700"' if mark.strong else ""
        return (
            f'<text x="{x}" y="{y}" font-size="{_number(mark.height)}"{anchor}{bold}{turn}'
            f"{self.paint('fill', colour_of(mark))}>{escape(one_line(mark.text))}</text>"
        )
