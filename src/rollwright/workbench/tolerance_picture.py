"""A tolerance analysis as a picture: where to spend care, and how many bodies are good; SVG."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.workbench.tolerance import Tolerated

__all__ = ["picture"]

_WIDTH = 760
_LEFT, _RIGHT = 40, 720
_ROW = 30
_BARS = 8
_BEGIN, _END = _LEFT + 220, _RIGHT - 130
_TALL = 230
_GATES = ("level", "steer", "centre")
_APART = 17.0

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
  .curve { stroke: var(--ink); stroke-width: 2.2; fill: none; }
  .other { stroke: var(--ink); stroke-width: 1.6; stroke-dasharray: 7 4; fill: none; }
  .mark { stroke: var(--ink); stroke-width: 1.2; stroke-dasharray: 2 3; }
  .dot { fill: var(--ground); stroke: var(--ink); stroke-width: 1.8; }
  .now { fill: var(--ink); }
  .bar { fill: var(--bar); }
  .first { fill: var(--next); }
  .tag { paint-order: stroke; stroke: var(--ground); stroke-width: 5px; stroke-linejoin: round; }
  .end { text-anchor: end; }
  .middle { text-anchor: middle; }
"""


def picture(found: Tolerated) -> str:
    """Return a tolerance analysis as the text of an SVG file.

    Args:
        found: the analysis.

    Returns:
        Bars for what one standard deviation of each dimension uses up of the gate it harms most, on one
        scale, those worth care in the strong colour and named above; below them the share of good bodies
        against the drill's scatter, with marks at today's, at the share that was seen and at the one that is
        wanted. Each chart has a sentence above it, and colour says nothing that words do not.
    """
    care = [_named(each.name) for each in found.found.care]
    sentence = f"Spend care on the {_listed(care)}."
    parts = [
        _text(_LEFT, 44, f"{found.car.name}: where care pays", "title"),
        *(_text(_LEFT, 70 + 20 * row, line, "") for row, line in enumerate(_wrapped(sentence))),
    ]
    y = 70.0 + 20 * len(_wrapped(sentence))
    bars, y = _bars(found, y + 2)
    curve, y = _curve(found, y + 34)
    size = f'width="{_WIDTH}" height="{y:.0f}"'
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {y:.0f}" {size} role="img">',
            f"<title>{escape(f'{found.car.name}: {sentence}')}</title>",
            f"<style>{_STYLE}</style>",
            f'<rect class="ground" width="{_WIDTH}" height="{y:.0f}"/>',
            *parts,
            *bars,
            *curve,
            "</svg>",
            "",
        ]
    )


def _named(name: str) -> str:
    return name.replace(".", " ").replace("_", " ")


def _listed(words: Sequence[str]) -> str:
    return "".join(words) if len(words) < 2 else f"{', '.join(words[:-1])} and {words[-1]}"


def _wrapped(text: str) -> list[str]:
    lines = [""]
    for word in text.split():
        if len(lines[-1]) + len(word) > 92:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def _text(x: float, y: float, text: str, kind: str) -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'


def _box(x: float, y: float, width: float, height: float, kind: str) -> str:
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" class="{kind}"/>'


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %" if share >= 0.01 or share == 0.0 else "under 1 %"


def _bars(found: Tolerated, top: float) -> tuple[list[str], float]:
    """Return the bars and where they end."""
    result = found.found
    ranked = sorted(result.dimensions, key=lambda each: -each.weight)
    used = [(each, each.uses(result.case.tolerances)) for each in ranked[:_BARS] if each.weight > 0.0]
    widest = max(max(uses) for _, uses in used)
    parts = [_text(_LEFT, top, "how much of its tightest gate one ordinary error of each uses up", "soft")]
    care = {each.name for each in result.care}
    floor = top + 14 + _ROW * len(used)
    if widest > 1.0:
        x = _BEGIN + (_END - _BEGIN) / widest
        parts.append(_line(x, top + 14, x, floor, "mark"))
        parts.append(_text(x, floor + 15, "the whole gate", "soft middle"))
    for row, (each, uses) in enumerate(used):
        y = top + 14 + _ROW * row
        worst = max(uses)
        long = (_END - _BEGIN) * worst / widest
        parts.append(_text(_BEGIN - 12, y + 17, _named(each.name), "end"))
        parts.append(_box(_BEGIN, y + 4, long, 18, "first" if each.name in care else "bar"))
        parts.append(_text(_BEGIN + long + 8, y + 18, _used(worst, uses), "tag"))
    return parts, floor + (20 if widest > 1.0 else 0)


def _used(worst: float, uses: Sequence[float]) -> str:
    return f"{_percent(worst)} of {_GATES[list(uses).index(worst)]}"


def _curve(found: Tolerated, top: float) -> tuple[list[str], float]:
    """Return share of good bodies against scatter, and where it ends."""
    result = found.found
    reach = result.curve.factors[-1]
    head = top + 8
    ceiling = head + 66
    floor = ceiling + _TALL

    def at(factor: float, share: float) -> tuple[float, float]:
        return _LEFT + 50 + factor / reach * (_RIGHT - _LEFT - 60), floor - share * _TALL

    today = result.drill.normal
    parts = [
        _line(_LEFT, top - 20, _RIGHT, top - 20, "hair"),
        _text(_LEFT, head, f"{_percent(today)} of the bodies pass the drill as it is", "head"),
        _text(_LEFT, head + 22, _wants(found), "soft"),
    ]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        x, y = at(0.0, share)
        parts.append(_line(x, y, at(reach, 0.0)[0], y, "hair"))
        parts.append(_text(x - 8, y + 5, f"{100 * share:.0f} %", "soft end"))
    parts.append(_line(*at(0.0, 0.0), *at(reach, 0.0), "line"))
    step = 0.5 if reach <= 3.0 else 1.0
    for number in range(math.floor(reach / step + 1e-9) + 1):
        x, y = at(number * step, 0.0)
        parts.append(_line(x, y, x, y + 6, "line"))
        parts.append(_text(x, y + 22, f"{number * step:g}", "middle"))
    parts.append(_text(_RIGHT, floor + 42, "scatter of the drill: 1 is today's, 0.5 half of it", "soft end"))
    for name, values in (("other", result.curve.gates), ("curve", result.curve.drill)):
        points = " ".join(
            "{:.1f},{:.1f}".format(*at(factor, share))
            for factor, share in zip(result.curve.factors, values, strict=True)
        )
        parts.append(f'<polyline class="{name}" points="{points}"/>')
    parts += _legend(ceiling - 18)
    marks = [(1.0, today, "today")]
    marks += [
        (back.factor, back.share, words)
        for back, words in ((result.observed, _seen(found)), (result.wanted, "wanted"))
        if back.factor is not None and back.factor <= reach
    ]
    last = -math.inf
    for factor, share, words in sorted(marks):
        x, y = at(factor, share)
        parts.append(_line(x, y, x, floor, "mark"))
        kind = "now" if words == "today" else "dot"
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5.5" class="{kind}"/>')
        # The curve falls to the right, so a label that would run into the last one goes below it.
        last = max(y - 6, last + _APART)
        parts.append(_text(x + 11, last, f"{words}: {_percent(share)} at {factor:.2f}", "tag"))
    return parts, floor + 62


def _seen(found: Tolerated) -> str:
    seen = found.found.seen
    if seen.of is not None:
        return f"seen, {seen.good} of {seen.of}"
    return "one in four" if seen.share == 0.25 else "seen"


def _legend(y: float) -> list[str]:
    rows = ((0, "curve", "pass the drill"), (190, "other", "inside level, steer and centre unadjusted"))
    parts = []
    for right, kind, words in rows:
        x = _LEFT + 50 + right
        parts.append(_line(x, y - 5, x + 38, y - 5, kind))
        parts.append(_text(x + 46, y, words, "soft"))
    return parts


def _wants(found: Tolerated) -> str:
    wanted = found.found.wanted
    if wanted.factor is None:
        return f"no scatter of the drill brings {_percent(wanted.share)}"
    word = "tighter" if wanted.factor < 1.0 else "looser"
    by = 1.0 / wanted.factor if wanted.factor < 1.0 else wanted.factor
    return f"for {_percent(wanted.share)} its scatter would have to be {by:.1f} times {word}"
