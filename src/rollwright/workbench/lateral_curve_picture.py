"""The steer curve as a drawing: how often the car holds the rail, and what that costs."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.workbench.lateral import SteerCurve

__all__ = ["curve_picture"]

_LEFT, _RIGHT = 116.0, 660.0
_TALL = 190.0


def _text(x: float, y: float, words: str, kind: str = "") -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(words)}</text>'


def curve_picture(curve: SteerCurve, top: float) -> tuple[list[str], float]:
    """Return a steer curve as parts of a drawing.

    Args:
        curve: the curve.
        top: where it begins.

    Returns:
        The parts, and where they end. Steer runs evenly in its logarithm, so that little steer has room.
    """
    points = curve.points
    low = math.log(0.9 * min(points[0].askew, max(curve.here.askew, 1e-3)))
    high = math.log(1.1 * max(points[-1].askew, curve.here.askew))
    begin, floor = top + 46.0, top + 46.0 + _TALL
    dear = 10.0 * math.ceil(1e2 * 1.02 * max(point.cost for point in points))

    def across(askew: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * (math.log(max(askew, 1e-5)) - low) / (high - low)

    def share_up(share: float) -> float:
        return floor - _TALL * share

    def cost_up(cost: float) -> float:
        return floor - _TALL * 1e3 * cost / dear

    parts = [_text(24, top + 8, _title(curve), "head")]
    if curve.best is not None:
        # A band of one steer reaches half way to its neighbours.
        first, last = points.index(curve.best.least), points.index(curve.best.most)
        edges = [
            math.sqrt(points[max(first - 1, 0)].askew * points[first].askew),
            math.sqrt(points[last].askew * points[min(last + 1, len(points) - 1)].askew),
        ]
        x = across(edges[0])
        parts.append(
            f'<rect x="{x:.1f}" y="{begin:.1f}" width="{across(edges[1]) - x:.1f}" '
            f'height="{_TALL:g}" class="band"/>'
        )
        parts.append(_text(0.5 * (x + across(edges[1])), begin - 6, "best", "soft middle"))
    usual = [across(askew) for askew in curve.trade_askew]
    parts.append(
        f'<rect x="{usual[0]:.1f}" y="{floor - 8:.1f}" width="{usual[1] - usual[0]:.1f}" '
        'height="8" class="bar"/>'
    )
    parts.append(_text(0.5 * sum(usual), floor - 13, "usual in the trade", "soft middle"))
    for share in (0.0, 0.5, 1.0):
        y = share_up(share)
        parts.append(f'<line x1="{_LEFT}" y1="{y:.1f}" x2="{_RIGHT}" y2="{y:.1f}" class="hair"/>')
        parts.append(_text(_LEFT - 8, y + 4, f"{100 * share:.0f} %", "soft end"))
        parts.append(_text(_RIGHT + 8, y + 4, f"{dear * share:.0f} ms", "soft"))
    held = " ".join(f"{across(point.askew):.1f},{share_up(point.share):.1f}" for point in points)
    costs = " ".join(f"{across(point.askew):.1f},{cost_up(point.cost):.1f}" for point in points)
    parts.append(f'<polyline points="{held}" class="bold"/>')
    parts += [
        f'<circle cx="{across(point.askew):.1f}" cy="{share_up(point.share):.1f}" r="4" class="dot"/>'
        for point in points
    ]
    parts.append(f'<polyline points="{costs}" class="mark"/>')
    here = across(curve.here.askew)
    parts.append(f'<line x1="{here:.1f}" y1="{begin}" x2="{here:.1f}" y2="{floor}" class="line"/>')
    parts.append(_text(here, begin - 6, "as it is", "soft middle"))
    last_x = -math.inf
    for point in points:
        x = across(point.askew)
        if x - last_x > 40.0:
            parts.append(_text(x, floor + 18, f"{round(math.degrees(point.askew), 2):g}°", "soft middle"))
            if point.drift is not None:
                parts.append(_text(x, floor + 35, f"{1e3 * abs(point.drift):.0f}", "soft middle"))
            last_x = x
    parts.append(_text(24, floor + 18, "steer", "soft"))
    parts.append(_text(24, floor + 35, "drift, mm", "soft"))
    legend = f"dots: share of {curve.here.of} lanes on which it holds; dashed: ms for rail and wheels askew"
    parts.append(_text(_LEFT, floor + 56, legend, "soft"))
    return parts, floor + 62.0


def _title(curve: SteerCurve) -> str:
    if curve.best is None:
        return "No steer holds this lane"
    least, most = (round(math.degrees(each.askew), 3) for each in (curve.best.least, curve.best.most))
    if least == most:
        return f"Best steer: about {least:g}°"
    return f"Best steer: {least:g} to {most:g}°"
