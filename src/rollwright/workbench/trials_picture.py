"""A trial as a picture: a strip of dots for each car, its interval, and one scale in milliseconds; SVG."""

from __future__ import annotations

import math
import os
from html import escape
from typing import TYPE_CHECKING

from rollwright.workbench.pictures import save_picture

if TYPE_CHECKING:
    from rollwright.judge.trial_found import Found
    from rollwright.workbench.trials import Compared

__all__ = ["picture", "save"]

_WIDTH = 760
_LEFT, _RIGHT = 40, 720
_TOP, _ROW = 128, 74
_MOST_DOTS = 600
_TICKS = 8
_SPREAD = 18.0
_LONGEST = 34

_STYLE = """
  :root { --ground: #f6f1e4; --ink: #1d1b18; --soft: #6d675c; --hair: #d9d0bb; --dot: #8f8672;
          --next: #b3401c; }
  @media (prefers-color-scheme: dark) {
    :root { --ground: #23282b; --ink: #e9e6dc; --soft: #a3a69f; --hair: #3d4447; --dot: #7d8583;
            --next: #f08a5d; }
  }
  .ground { fill: var(--ground); }
  text { fill: var(--ink); font: 15px system-ui, "Segoe UI", "Helvetica Neue", Arial, sans-serif;
         font-variant-numeric: tabular-nums; }
  .title { font-size: 22px; font-weight: 600; }
  .soft { fill: var(--soft); font-size: 14px; }
  .hair { stroke: var(--hair); stroke-width: 1; }
  .line { stroke: var(--ink); stroke-width: 1.2; fill: none; }
  .dot { fill: var(--dot); }
  .far { fill: none; stroke: var(--ink); stroke-width: 1.4; }
  .bar { stroke: var(--next); stroke-width: 3; }
  .mean { fill: var(--next); }
  .end { text-anchor: end; }
  .middle { text-anchor: middle; }
"""


def save(path: str | os.PathLike[str], compared: Compared, *, overwrite: bool = False) -> None:
    """Write a trial's picture.

    Args:
        path: where; its ending says whether it becomes an SVG or a PNG.
        compared: the trial.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    save_picture(path, picture(compared), overwrite=overwrite)


def picture(compared: Compared) -> str:
    """Return a trial's picture as the text of an SVG file.

    Args:
        compared: the trial.

    Returns:
        A strip for each car: a dot for each run with lane, heat and drift taken out, and a bar for the
        interval of its mean against the mean of all; left is fast. Runs that lie far out are rings.
    """
    found = compared.found
    rows = len(found.standings)
    floor = _TOP + _ROW * rows
    height = floor + 62
    scale = _Scale(found)
    parts = [
        _text(_LEFT, 44, f"Trial in {compared.table.file}", "title"),
        _text(_LEFT, 72, _sentence(compared), ""),
        _text(
            _LEFT,
            94,
            "A dot is a run less lane and heat; the bar is "
            f"{100.0 * (1.0 - compared.risk):.3g} % sure of the mean",
            "soft",
        ),
    ]
    zero = scale.across(0.0)
    parts.append(_line(zero, _TOP - 12, zero, floor, "hair"))
    for number in range(rows):
        parts += _strip(found, number, scale)
    parts += _axis(scale, floor)
    size = f'width="{_WIDTH}" height="{height}"'
    title = escape(f"Trial in {compared.table.file}: {_sentence(compared)}")
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


def _sentence(compared: Compared) -> str:
    effect = compared.found.effects[0]
    quick, slow = (effect.b, effect.a) if effect.difference >= 0.0 else (effect.a, effect.b)
    size = f"{1e3 * abs(effect.difference):.1f} ms"
    sure = f"{100.0 * effect.confidence:.3g} %"
    if effect.verdict == "same":
        return f"{_short(quick)} and {_short(slow)} differ by nothing that matters ({sure} sure)"
    if effect.verdict == "unclear":
        return f"{_short(quick)} looks faster than {_short(slow)} by {size}, which may be chance"
    least = f"{1e3 * max(0.0, effect.sure_of):.1f} ms"
    return f"{_short(quick)} is faster than {_short(slow)} by {size}, {sure} sure by more than {least}"


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST else name[: _LONGEST - 1] + "…"


class _Scale:
    """From a time in relation to the mean of all to a place across the picture."""

    def __init__(self, found: Found) -> None:
        ends = [end for each in found.standings for end in (each.low, each.high) if math.isfinite(end)]
        low, high = min([*found.dots, *ends, 0.0]), max([*found.dots, *ends, 0.0])
        room = 0.04 * (high - low) or 1e-3
        self.low, self.high = low - room, high + room

    def across(self, time: float) -> float:
        """Return the place of a time [s]."""
        return _LEFT + (time - self.low) / (self.high - self.low) * (_RIGHT - _LEFT)


def _strip(found: Found, number: int, scale: _Scale) -> list[str]:
    standing = found.standings[number]
    top = _TOP + _ROW * number
    middle = top + 38.0
    parts = [
        _text(_LEFT, top + 8, _short(standing.name), ""),
        _text(_RIGHT, top + 8, f"{standing.runs} runs", "soft end"),
    ]
    ours = [dot for dot, code in zip(found.dots, found.codes, strict=True) if code == number]
    # A hundred thousand dots are a bar of ink: of so many every so-and-so-many-th in order of time is drawn.
    step = max(1, math.ceil(len(ours) / _MOST_DOTS))
    shown = sorted(ours)[::step]
    far = {round(each.residual, 9) for each in found.outliers if each.configuration == standing.name}
    for place, dot in enumerate(shown):
        # Neighbours in time stand at different heights, so that none hides another.
        y = middle + _SPREAD * ((place * 0.6180339887) % 1.0 - 0.5)
        ring = round(dot - standing.effect, 9) in far
        kind, size = ("far", 5.0) if ring else ("dot", 3.0)
        parts.append(f'<circle cx="{scale.across(dot):.1f}" cy="{y:.1f}" r="{size}" class="{kind}"/>')
    if math.isfinite(standing.effect):
        low, high = scale.across(standing.low), scale.across(standing.high)
        parts.append(_line(low, middle, high, middle, "bar"))
        parts += [_line(end, middle - 9, end, middle + 9, "bar") for end in (low, high)]
        parts.append(
            f'<circle cx="{scale.across(standing.effect):.1f}" cy="{middle:.1f}" r="5.5" class="mean"/>'
        )
    return parts


def _axis(scale: _Scale, floor: float) -> list[str]:
    low, high = 1e3 * scale.low, 1e3 * scale.high
    rough = (high - low) / _TICKS
    ten: float = 10.0 ** math.floor(math.log10(rough))
    step = next(ten * factor for factor in (1.0, 2.0, 5.0, 10.0) if ten * factor >= rough * 0.999)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    parts = [_line(_LEFT, floor, _RIGHT, floor, "line")]
    for number in range(math.ceil(low / step), math.floor(high / step) + 1):
        x = scale.across(1e-3 * number * step)
        parts.append(_line(x, floor, x, floor + 6, "line"))
        parts.append(_text(x, floor + 24, f"{number * step:.{digits}f}".replace("-", "−"), "middle"))
    parts.append(_text(_LEFT, floor + 46, "faster", "soft"))
    parts.append(_text(_RIGHT, floor + 46, "slower; ms from the mean of all", "soft end"))
    return parts


def _text(x: float, y: float, text: str, kind: str) -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'
