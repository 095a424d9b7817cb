"""A batch as a picture: for each hole the bodies in the order of drilling, with limits; SVG."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from html import escape
from typing import TYPE_CHECKING

from rollwright.judge.batch import Cause, JudgedHole
from rollwright.judge.batch_chart import WanderKind
from rollwright.units import Kind, show
from rollwright.workbench.pictures import save_picture

if TYPE_CHECKING:
    from rollwright.workbench.batch import Found

__all__ = ["picture", "save"]

_WIDTH = 760
_LEFT, _RIGHT = 84, 640
_TALL, _STEP = 130, 214
_FIRST = 172
_DOT, _LINE = 4.0, 16.0
_KEY = (
    "dots: bodies in order, hollow where a look or feelers leave a range;",
    "band: tolerance; dashed: limits of the chart; line across: where the jig changed",
)

_STYLE = """
  :root { --ground: #f6f1e4; --ink: #1d1b18; --soft: #6d675c; --hair: #d9d0bb; --band: #ebe4d2;
          --next: #b3401c; }
  @media (prefers-color-scheme: dark) {
    :root { --ground: #23282b; --ink: #e9e6dc; --soft: #a3a69f; --hair: #3d4447; --band: #2c3337;
            --next: #f08a5d; }
  }
  .ground { fill: var(--ground); }
  .band { fill: var(--band); }
  text { fill: var(--ink); font: 15px system-ui, "Segoe UI", "Helvetica Neue", Arial, sans-serif;
         font-variant-numeric: tabular-nums; }
  .title { font-size: 22px; font-weight: 600; }
  .head { font-size: 17px; font-weight: 600; }
  .soft { fill: var(--soft); font-size: 14px; }
  .line { stroke: var(--ink); stroke-width: 1.2; fill: none; }
  .hair { stroke: var(--hair); stroke-width: 1; }
  .mark { stroke: var(--ink); stroke-width: 1.2; stroke-dasharray: 4 3; }
  .dot { fill: var(--ink); stroke: var(--ink); stroke-width: 1.2; }
  .range { fill: var(--ground); stroke: var(--ink); stroke-width: 1.2; }
  .turn { stroke: var(--next); stroke-width: 2; }
  .end { text-anchor: end; }
  .middle { text-anchor: middle; }
"""


def save(path: str | os.PathLike[str], found: Found, *, overwrite: bool = False) -> None:
    """Write a batch's picture.

    Args:
        path: where; its ending says whether it becomes an SVG or a PNG.
        found: the batch.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    save_picture(path, picture(found), overwrite=overwrite)


def picture(found: Found) -> str:
    """Return a batch's picture as the text of an SVG file.

    Args:
        found: the batch.

    Returns:
        A chart for each hole that was read: a dot for each body, hollow where a range stands for a number;
        the band of the tolerance, the middle line and the dashed limits of the chart where it has them, and a
        line where the jig changed. Each has a sentence above it; colour says nothing that words do not.
    """
    batch = found.batch
    share = batch.share
    said = (
        f"{share.good} of {share.drilled} bodies pass: between {100.0 * share.low:.0f} and "
        f"{100.0 * share.high:.0f} % of all that this jig drills, 90 % sure."
    )
    parts = [
        _text(40, 44, f"{found.drilled.name}: {batch.set_up}", "title"),
        _text(40, 70, said, ""),
        *(_text(40, 92 + 19 * row, text, "soft") for row, text in enumerate(_KEY)),
    ]
    top = _FIRST
    for hole in batch.holes:
        if hole.points:
            parts += _panel(hole, found.drilled.tolerances[hole.hole.direction], top)
            top += _STEP
    height = top - 16
    size = f'width="{_WIDTH}" height="{height}"'
    title = escape(f"{found.drilled.name}: {batch.set_up}. {said}")
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" {size} role="img">',
            f"<title>{title}</title>",
            f"<style>{_STYLE}</style>",
            f'<rect class="ground" width="{_WIDTH}" height="{height}"/>',
            *parts,
            "</svg>",
            "",
        ]
    )


def _text(x: float, y: float, text: str, kind: str) -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'


def _panel(hole: JudgedHole, tolerance: float, top: float) -> list[str]:
    """Return the chart of one hole: sentence, band, lines, dots and the numbers of the bodies."""
    values = [point.value for point in hole.points]
    limits = [hole.chart.low, hole.chart.high] if hole.chart is not None else []
    least, most = (of((*values, *limits, -tolerance, tolerance)) for of in (min, max))
    room = 0.06 * (most - least)
    first, last = hole.points[0].number, hole.points[-1].number
    floor = top + _TALL

    def up(value: float) -> float:
        return floor - (value - least + room) / (most - least + 2.0 * room) * _TALL

    def across(number: float) -> float:
        return _LEFT + 12 + (number - first) / max(1, last - first) * (_RIGHT - _LEFT - 24)

    turns = [
        across(hole.number_at(change.first) - 0.5)
        for change in (hole.wander, hole.spread)
        if change is not None
    ]
    step = max(1, math.ceil((last - first + 1) / 10))
    return [
        _text(40, top - 12, _sentence(hole), "head"),
        _band(up(tolerance), up(-tolerance)),
        _line(_LEFT, up(0.0), _RIGHT, up(0.0), "hair"),
        *(
            _text(_LEFT - 8, up(value) + 5, _shown(hole, value), "soft end")
            for value in (tolerance, 0.0, -tolerance)
        ),
        *_limits(hole, up),
        *(_line(x, top, x, floor, "turn") for x in turns),
        *(_dot(across(point.number), up(point.value), filled=point.measured) for point in hole.points),
        _line(_LEFT, floor, _RIGHT, floor, "line"),
        *(
            _text(across(number), floor + 20, str(number), "soft middle")
            for number in range(first, last + 1, step)
        ),
        _text(_RIGHT + 8, floor + 20, "body", "soft"),
    ]


def _limits(hole: JudgedHole, up: Callable[[float], float]) -> list[str]:
    """Return the middle line and the limits of a chart with their values, if it has them."""
    if hole.chart is None:
        return []
    lines = (
        (hole.chart.high, "limit", "mark"),
        (hole.chart.mean, "mean", "line"),
        (hole.chart.low, "limit", "mark"),
    )
    found = [_line(_LEFT, up(value), _RIGHT, up(value), kind) for value, _, kind in lines]
    # The labels keep a line's height apart, whatever their lines do.
    middle = up(hole.chart.mean)
    high, low = min(up(hole.chart.high), middle - _LINE), max(up(hole.chart.low), middle + _LINE)
    return found + [
        _text(_RIGHT + 8, y + 5, f"{word} {_shown(hole, value)}", "soft")
        for y, (value, word, _) in zip((high, middle, low), lines, strict=True)
    ]


def _shown(hole: JudgedHole, value: float) -> str:
    kind = Kind.ANGLE if hole.hole.direction.is_angle else Kind.LENGTH
    return str(show(value, kind=kind, signed=True))


def _band(top: float, floor: float) -> str:
    size = f'width="{_RIGHT - _LEFT}" height="{floor - top:.1f}"'
    return f'<rect x="{_LEFT}" y="{top:.1f}" {size} class="band"/>'


def _dot(x: float, y: float, *, filled: bool) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_DOT}" class="{"dot" if filled else "range"}"/>'


def _sentence(hole: JudgedHole) -> str:
    """Return in one line what the chart shows."""
    name = hole.hole.words
    name = name[:1].upper() + name[1:]
    if hole.wander is not None:
        how = {WanderKind.STEP: "jumps", WanderKind.RAMP: "wanders"}[hole.wander.kind]
        return f"{name} {how} from body {hole.number_at(hole.wander.first)} on"
    if hole.spread is not None:
        more = "more" if hole.spread.change > 0.0 else "less"
        return f"{name} scatters {more} from body {hole.number_at(hole.spread.first)} on"
    fit = hole.fit
    if fit is None or hole.capability is None:
        return f"{name}: too few readings to tell"
    kind = Kind.ANGLE if hole.hole.direction.is_angle else Kind.LENGTH
    bias, scatter = show(fit.bias, kind=kind, signed=True), show(fit.scatter, kind=kind)
    said = {
        Cause.BIAS: f"is biased by {bias}: move the jig",
        Cause.BOTH: f"is biased by {bias} and scatters too much, {scatter}",
        Cause.SCATTER: f"scatters too much, {scatter}: no shim mends that",
    }.get(hole.cause, f"is good: bias {bias}, scatter {scatter}")
    return f"{name} {said}"
