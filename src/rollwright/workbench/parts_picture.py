"""What each wheel of a box costs, as a picture: a strip for each, with its interval; SVG."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

from rollwright.units import Kind, show

if TYPE_CHECKING:
    from rollwright.setup.parts_set import MatchedSet
    from rollwright.workbench.parts import Matched

__all__ = ["picture"]

_WIDTH = 760
_LEFT, _RIGHT = 40, 720
_BEGIN, _END = _LEFT + 90, _RIGHT - 130
_ROW = 28

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
  .chosen { font-weight: 600; }
  .soft { fill: var(--soft); font-size: 14px; }
  .hair { stroke: var(--hair); stroke-width: 1; }
  .line { stroke: var(--ink); stroke-width: 1.2; }
  .mark { stroke: var(--ink); stroke-width: 1.2; stroke-dasharray: 2 3; }
  .open { stroke: var(--bar); stroke-width: 6; }
  .taken { stroke: var(--next); stroke-width: 6; }
  .dot { fill: var(--ground); stroke: var(--ink); stroke-width: 1.8; }
  .now { fill: var(--ink); stroke: var(--ink); stroke-width: 1.8; }
  .end { text-anchor: end; }
  .middle { text-anchor: middle; }
"""


def picture(found: Matched) -> str:
    """Return what each wheel costs as the text of an SVG file.

    Args:
        found: a box with a set.

    Returns:
        One strip for each wheel that may go on the car, the cheapest above: a dot for its cost in
        milliseconds against the average wheel, a band of one standard uncertainty either way, and where it
        goes in words as well as in the strong colour. What the set is worth stands above, what was left out
        below.
    """
    result = found.found
    name = "" if found.car is None else found.car.name
    if result is None:
        return ""
    lines = _wrapped(_sentence(result))
    parts = [
        _text(_LEFT, 44, f"{name}: which wheels of the box belong on it", "title"),
        *(_text(_LEFT, 72 + 20 * row, line, "") for row, line in enumerate(lines)),
    ]
    strips, y = _strips(result, 72 + 20 * len(lines) + 4)
    parts += strips
    for line in _notes(result):
        parts.append(_text(_LEFT, y, line, "soft"))
        y += 20
    size = f'width="{_WIDTH}" height="{y:.0f}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {y:.0f}" {size} role="img">',
            f"<title>{escape(f'{name}: {_sentence(result)}')}</title>",
            f"<style>{_STYLE}</style>",
            f'<rect class="ground" width="{_WIDTH}" height="{y:.0f}"/>',
            *parts,
            "</svg>",
            "",
        ]
    )


def _ms(value: float, uncertainty: float) -> str:
    return f"{show(1e3 * value, kind=Kind.RATIO, uncertainty=1e3 * uncertainty)} ms"


def _sentence(result: MatchedSet) -> str:
    worth = _ms(result.worth, result.uncertainty)
    if result.told_apart:
        return f"The chosen set is worth {worth} against the average set."
    return f"These wheels cannot be told apart: the best set is worth {worth} against the average set."


def _wrapped(text: str) -> list[str]:
    lines = [""]
    for word in text.split(" "):
        if len(lines[-1]) + len(word) > 92:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def _text(x: float, y: float, text: str, kind: str) -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'


def _step(reach: float) -> float:
    """Return a round distance between marks, four or so to a side [ms]."""
    rough = max(reach, 1e-3) / 4.0
    power = 10.0 ** math.floor(math.log10(rough))
    return next(part * power for part in (1.0, 2.0, 5.0, 10.0) if part * power >= rough)


def _strips(result: MatchedSet, top: float) -> tuple[list[str], float]:
    """Return the strips and where they end."""
    ranked = sorted(result.wheel_costs.items(), key=lambda each: each[1].cost)
    ends = [end for _, cost in ranked for end in (cost.cost - cost.uncertainty, cost.cost + cost.uncertainty)]
    reach = 1e3 * max(1e-6, *(abs(end) for end in ends))
    step = _step(reach)
    reach = step * math.ceil(reach / step)
    head, floor = top + 14, top + 14 + _ROW * len(ranked)

    def at(milliseconds: float) -> float:
        return 0.5 * (_BEGIN + _END) + 0.5 * (_END - _BEGIN) * milliseconds / reach

    parts = [
        _text(_BEGIN, top, "faster", "soft"),
        _text(0.5 * (_BEGIN + _END), top, "the average wheel", "soft middle"),
        _text(_END, top, "slower", "soft end"),
    ]
    count = round(reach / step)
    for number in range(-count, count + 1):
        x = at(step * number)
        parts.append(_line(x, head, x, floor, "mark" if number == 0 else "hair"))
        label = f"{step * number:+g}".replace("-", "−") if number else "0"
        parts.append(_text(x, floor + 20, label, "soft middle"))
    parts.append(_line(_BEGIN, floor, _END, floor, "line"))
    where = {wheel: station.words for station, (wheel, _) in result.fitted.items()}
    for row, (name, cost) in enumerate(ranked):
        y = head + _ROW * (row + 0.5)
        taken = name in where
        x1, x2 = (at(1e3 * (cost.cost + way * cost.uncertainty)) for way in (-1, 1))
        shown = name if len(name) <= 10 else f"{name[:9]}…"
        parts.append(_text(_BEGIN - 12, y + 5, shown, "end chosen" if taken else "end"))
        parts.append(_line(x1, y, x2, y, "taken" if taken else "open"))
        dot = "now" if taken else "dot"
        parts.append(f'<circle cx="{at(1e3 * cost.cost):.1f}" cy="{y:.1f}" r="5" class="{dot}"/>')
        if taken:
            parts.append(_text(_END + 14, y + 5, where[name], "chosen"))
    parts.append(_text(_END, floor + 42, "milliseconds, as a wheel that carries the car", "soft end"))
    return parts, floor + 70


def _notes(result: MatchedSet) -> list[str]:
    notes = ["Each band is one standard uncertainty either way; a filled dot and its place: chosen."]
    if any(result.before.carrying.count(station) == 0 for station in result.fitted):
        spare = next(station for station in result.fitted if station not in result.before.carrying)
        notes.append(f"The {spare.words} wheel is off the ground: there it costs next to nothing.")
    if result.axle_costs:
        costs = [cost.cost for cost in result.axle_costs.values()]
        notes.append(f"The axles differ by {1e3 * (max(costs) - min(costs)):.2f} ms at most.")
    out = [part.partition(".")[2] for part in result.left_out if part.startswith("wheels.")]
    if out:
        notes += _wrapped(f"Left out: {', '.join(out)}.")
    return notes
