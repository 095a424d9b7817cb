"""A logged car as a drawing for a page: its views, with what its log knows of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.draw.svg import screen_style, svg_text
from rollwright.draw.views import VIEWS, view_named
from rollwright.units import System

if TYPE_CHECKING:
    from rollwright.bench.fold import Folded

__all__ = ["VIEWS", "Picture", "car_picture", "picture_style"]

_SIZE = re.compile(r' width="[0-9.]+mm" height="[0-9.]+mm"')
_STYLE = re.compile(r"<style>.*?</style>\n?", re.DOTALL)
_GATES = {"height_difference": "level", "drift": "steer", "rail_offset": "centre"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing on a page: the `svg`, what it is called, and its `width` and `height` [mm]."""

    svg: str
    title: str
    width: float
    height: float


def car_picture(found: Folded, view: str, *, width: float, system: System = System.METRIC) -> Picture:
    """Return a view of a car as its log knows it.

    Args:
        found: what its log adds up to.
        view: one of `VIEWS`.
        width: of the drawing [mm].
        system: units of its numbers.

    Returns:
        The drawing. It fills whatever holds it, and its colours come from `picture_style`, so that a page
        that forbids styles inside itself can show it.

    Raises:
        InputError: the car cannot stand, or does not turn as it should.
    """
    car = found.known.car if found.estimate is None else found.estimate.car
    now = {
        name: state.now.uncertainty
        for name, gate in _GATES.items()
        for kind, state in found.gates.items()
        if kind.value == gate and state.now is not None
    }
    drawing = view_named(
        view, car, width=width, units="mm" if system is System.METRIC else "in", uncertainties=now
    )
    svg = _STYLE.sub("", _SIZE.sub("", svg_text(drawing, screen=True), count=1), count=1)
    return Picture(svg=svg, title=drawing.title, width=drawing.width, height=drawing.height)


def picture_style() -> str:
    """Return the style rules that the drawings need, for a style sheet of the page's own."""
    return screen_style()
