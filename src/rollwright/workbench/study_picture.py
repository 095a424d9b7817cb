"""A study as a picture: how long the bodies take, and what to tighten first; SVG, no library needed."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING

from rollwright.workbench.pictures import save_picture

if TYPE_CHECKING:
    from rollwright.setup.study import Found
    from rollwright.setup.study_tighten import Tightened, Tightening
    from rollwright.workbench.study import Studied

__all__ = ["picture", "save"]

_WIDTH = 760
_LEFT, _RIGHT = 40, 720
_TOP, _FLOOR = 150, 360
_ROW = 30
_BARS = 6
_TICKS = 6
_PLACES = {"x": "forward", "y": "left", "z": "up"}

_STYLE = """
  :root { --ground: #f6f1e4; --ink: #1d1b18; --soft: #6d675c; --hair: #d9d0bb; --bar: #b9b09c;
          --next: #b3401c; }
  @media (prefers-color-scheme: dark) {
    :root { --ground: #23282b; --ink: #e9e6dc; --soft: #a3a69f; --hair: #3d4447; --bar: #6c7472;
            --next: #f08a5d; }
  }
  .ground { fill: var(--ground); }
  text { fill: var(--ink); font: 15px system-ui, "Segoe UI", "Helvetica Neue", Arial, sans-serif;
         font-variant-numeric: tabular-nums; }
  .title { font-size: 22px; font-weight: 600; }
  .head { font-size: 17px; font-weight: 600; }
  .soft { fill: var(--soft); font-size: 14px; }
  .hair { stroke: var(--hair); stroke-width: 1; }
  .line { stroke: var(--ink); stroke-width: 1.2; fill: none; }
  .mark { stroke: var(--ink); stroke-width: 1.2; stroke-dasharray: 4 3; }
  .bar { fill: var(--bar); }
  .first { fill: var(--next); }
  .end { text-anchor: end; }
  .middle { text-anchor: middle; }
"""


def save(path: str | os.PathLike[str], found: Studied, *, overwrite: bool = False) -> None:
    """Write a study's picture.

    Args:
        path: where; its ending says whether it becomes an SVG or a PNG.
        found: the study.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    save_picture(path, picture(found), overwrite=overwrite)


def picture(found: Studied) -> str:
    """Return a study's picture as the text of an SVG file.

    Args:
        found: the study; with its tightening, the second chart is drawn too.

    Returns:
        The histogram of the finish times with marks at the quantiles of the answer, and bars for what halving
        a scatter does to the share inside the gates and to the spread of the time. Each chart has a
        sentence above it, and colour says nothing that words do not.
    """
    result = found.found
    parts = [
        _text(_LEFT, 44, f"{found.car.name} on {found.track.name}", "title"),
        _text(_LEFT, 70, _sentence(found), ""),
        _text(
            _LEFT, 92, f"{_spaced(result.runs)} bodies drawn from the files, seed {found.asked.seed}", "soft"
        ),
        *_histogram(result),
    ]
    height: float = _FLOOR + 62
    if found.tightening is not None:
        bars, height = _tightening(found.tightening, height + 26)
        parts += bars
    size = f'width="{_WIDTH}" height="{height}"'
    title = escape(f"{found.car.name} on {found.track.name}: {_sentence(found)}")
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


def _sentence(found: Studied) -> str:
    result = found.found
    if not result.ranks:
        return "No body reaches the finish."
    by_share = {rank.share: rank.time for rank in result.ranks}
    return (
        f"Half of the bodies finish within {by_share[0.5]:.3f} s, nine in ten between {by_share[0.05]:.3f} "
        f"and {by_share[0.95]:.3f} s."
    )


def _text(x: float, y: float, text: str, kind: str) -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'


def _box(x: float, y: float, width: float, height: float, kind: str) -> str:
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" class="{kind}"/>'


def _spaced(number: int) -> str:
    return f"{number:,}".replace(",", " ")


def _round_step(span: float, count: int) -> float:
    """Return a step of one, two or five tens that gives about so many of them."""
    rough = span / count
    ten: float = 10.0 ** math.floor(math.log10(rough))
    return next(ten * factor for factor in (1.0, 2.0, 5.0, 10.0) if ten * factor >= rough * 0.999)


def _histogram(result: Found) -> list[str]:
    edges, counts = result.histogram
    if not counts or max(counts) == 0:
        return []
    low, high = edges[0], edges[-1]
    tallest = max(counts)

    def across(time: float) -> float:
        return _LEFT + (time - low) / (high - low) * (_RIGHT - _LEFT)

    found = []
    for start, end, count in zip(edges, edges[1:], counts, strict=False):
        tall = (_FLOOR - _TOP) * count / tallest
        found.append(
            _box(across(start) + 0.5, _FLOOR - tall, max(0.5, across(end) - across(start) - 1.0), tall, "bar")
        )
    found.append(_line(_LEFT, _FLOOR, _RIGHT, _FLOOR, "line"))
    step = _round_step(high - low, _TICKS)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    for number in range(math.ceil(low / step), math.floor(high / step) + 1):
        x = across(number * step)
        found.append(_line(x, _FLOOR, x, _FLOOR + 6, "line"))
        if _LEFT + 20 < x < _RIGHT - 24:
            found.append(_text(x, _FLOOR + 24, f"{number * step:.{digits}f}", "middle"))
    found.append(_text(_RIGHT, _FLOOR + 46, "finish time, s", "soft end"))
    last = -math.inf
    for rank in result.ranks:
        x = across(rank.time)
        found.append(_line(x, _TOP - 8, x, _FLOOR, "mark"))
        # Labels that would run into each other go one line up.
        row = _TOP - 16 if x - last > 44 else _TOP - 33
        last = x if row == _TOP - 16 else last
        found.append(_text(x, row, f"{100 * rank.share:.0f} %", "middle"))
    return found


def _tightening(found: Tightening, top: float) -> tuple[list[str], float]:
    parts = [_line(_LEFT, top - 22, _RIGHT, top - 22, "hair")]
    y = top + 10
    now = 100.0 * found.inside
    if found.by_gates:
        first = found.by_gates[0]
        parts.append(_text(_LEFT, y, f"Tighten first: halve the scatter of the {_named(first.name)}", "head"))
        parts.append(
            _text(
                _LEFT,
                y + 22,
                f"share of bodies inside all gates, centred; {now:.0f} % now, and then:",
                "soft",
            )
        )
        most = max(each.inside for each in found.by_gates[:_BARS])
        rows = [(each, each.inside / most, f"{100.0 * each.inside:.0f} %") for each in found.by_gates[:_BARS]]
        parts += _bars(rows, y + 36, at=found.inside / most, first=True)
        y += 36 + _ROW * len(rows) + 46
    if found.by_time:
        first = found.by_time[0]
        parts.append(_text(_LEFT, y, f"For the time: that of the {_named(first.name)}", "head"))
        parts.append(
            _text(
                _LEFT,
                y + 22,
                f"how many milliseconds less bodies would differ by, of {1e3 * found.spread:.1f} ms now",
                "soft",
            )
        )
        widest = max(each.narrower for each in found.by_time[:_BARS])
        rows = [(each, each.narrower / widest, _ms(each)) for each in found.by_time[:_BARS]]
        parts += _bars(rows, y + 36, at=None, first=not found.by_gates)
        y += 36 + _ROW * len(rows) + 34
    if not found.by_gates and not found.by_time:
        parts.append(_text(_LEFT, y, "No single scatter, halved, surely changes anything.", "head"))
        y += 34
    return parts, y - 4


def _ms(each: Tightened) -> str:
    digits = 2 if each.narrower < 1e-3 else 1
    return f"{1e3 * each.narrower:.{digits}f} ms"


def _bars(
    rows: Sequence[tuple[Tightened, float, str]], top: float, *, at: float | None, first: bool
) -> list[str]:
    begin, end = _LEFT + 220, _RIGHT - 70
    parts = []
    for number, (each, part, said) in enumerate(rows):
        y = top + _ROW * number
        kind = "first" if first and number == 0 else "bar"
        parts.append(_text(begin - 12, y + 17, _named(each.name), "end"))
        parts.append(_box(begin, y + 4, (end - begin) * part, 18, kind))
        parts.append(_text(begin + (end - begin) * part + 8, y + 18, said, ""))
    if at is not None:
        x = begin + (end - begin) * at
        parts.append(_line(x, top, x, top + _ROW * len(rows) - 2, "mark"))
        parts.append(_text(x, top + _ROW * len(rows) + 13, "now", "soft middle"))
    return parts


def _named(name: str) -> str:
    head, _, last = name.partition(".")
    parts = [_PLACES.get(part, part) for part in (head, *last.split("."))]
    return " ".join(part.replace("_", " ") for part in parts if part)
