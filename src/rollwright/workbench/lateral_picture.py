"""The motion from side to side as a strip chart: wheels along both faces of the rail, force, heading."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape
from typing import TYPE_CHECKING

from rollwright.workbench.lateral_curve_picture import curve_picture

if TYPE_CHECKING:
    from rollwright.workbench.lateral import Holding

__all__ = ["picture"]

_WIDTH = 760.0
_LEFT, _RIGHT = 116.0, 728.0
_TOP = 118.0
_MOST_POINTS = 1200
_ROOM = 118.0
_RAIL = 34.0
_FORCE, _YAW = 74.0, 74.0
_SHOWN = 0.004
_STATIONS = ("rear_left", "rear_right", "front_left", "front_right")

_STYLE = """
  :root { --ground: #f6f1e4; --ink: #1d1b18; --soft: #6d675c; --hair: #d9d0bb; --wood: #d9c9a3;
          --bar: #b9b09c; --next: #b3401c; }
  @media (prefers-color-scheme: dark) {
    :root { --ground: #23282b; --ink: #e9e6dc; --soft: #a3a69f; --hair: #3d4447; --wood: #564c37;
            --bar: #6c7472; --next: #f08a5d; }
  }
  .ground { fill: var(--ground); }
  .wood { fill: var(--wood); }
  text { fill: var(--ink); font: 14px system-ui, "Segoe UI", "Helvetica Neue", Arial, sans-serif;
         font-variant-numeric: tabular-nums; }
  .title { font-size: 21px; font-weight: 600; }
  .head { font-size: 15px; font-weight: 600; }
  .soft { fill: var(--soft); font-size: 13px; }
  .hair { stroke: var(--hair); stroke-width: 1; }
  .line { stroke: var(--ink); stroke-width: 1.1; fill: none; }
  .bold { stroke: var(--ink); stroke-width: 2; fill: none; stroke-linejoin: round; }
  .thin { stroke: var(--soft); stroke-width: 1.2; fill: none; stroke-dasharray: 5 3; }
  .mark { stroke: var(--ink); stroke-width: 1.2; stroke-dasharray: 4 3; fill: none; }
  .dot { fill: var(--ink); }
  .stray { fill: none; stroke: var(--ink); stroke-width: 2; }
  .bar { fill: var(--bar); }
  .ink { fill: var(--ink); }
  .band { fill: var(--hair); }
  .end { text-anchor: end; }
  .middle { text-anchor: middle; }
"""


def text(x: float, y: float, words: str, kind: str = "") -> str:
    """Return a text."""
    named = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}"{named}>{escape(words)}</text>'


def line(points: Sequence[tuple[float, float]], kind: str) -> str:
    """Return a line through points."""
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return (
        f'<polyline points="{path}" class="{kind}"/>'
        if kind != "hair"
        else (
            f'<line x1="{points[0][0]:.1f}" y1="{points[0][1]:.1f}" x2="{points[-1][0]:.1f}" '
            f'y2="{points[-1][1]:.1f}" class="hair"/>'
        )
    )


def box(x: float, y: float, width: float, height: float, kind: str) -> str:
    """Return a filled box."""
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" class="{kind}"/>'


def picture(found: Holding) -> str:
    """Return a motion as an SVG drawing.

    Args:
        found: the motion, with or without its steer curve.

    Returns:
        The drawing's text, whole in itself. Sideways it is far larger than lengthwise: a bar of a millimetre
        and the factor say by how much. The rail's own width is left out between its faces.
    """
    end = found.end

    def across(distance: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * distance / end

    parts = [
        text(24, 38, _title(found), "title"),
        text(24, 62, _second(found), "soft"),
        *_strip(found, across),
    ]
    y = _TOP + 2.0 * _ROOM + _RAIL + 52.0
    parts += _force(found, across, y)
    y += _FORCE + 34.0
    parts += _heading(found, across, y)
    y += _YAW + 28.0
    parts += _ruler(found, across, y)
    y += 66.0
    more, y = _costs(found, y)
    parts += more
    if found.curve is not None:
        more, y = curve_picture(found.curve, y + 20.0)
        parts += more
    tall = y + 22.0
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {tall:.0f}" width="{_WIDTH:g}" '
        f'height="{tall:.0f}" role="img">\n<title>{escape(_title(found))}</title>\n<style>{_STYLE}</style>\n'
        f'<rect width="{_WIDTH:g}" height="{tall:.0f}" class="ground"/>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def _title(found: Holding) -> str:
    verb = "holds the rail" if found.held.holds else "does not hold the rail"
    return f"{found.car.name} {verb}"


def _second(found: Holding) -> str:
    held = found.held
    lane = f", lane {found.lane}" if found.lane else ""
    waves = f"rail rough by {1e3 * held.roughness.waves:g} mm, seed {held.roughness.seed}"
    rough = f"{found.track.name}{lane}, {waves}"
    if held.first is None:
        return f"{rough}: its dominant wheel never reaches it."
    off = "never off it" if held.longest is None else f"longest off it {held.longest.lasts:.2f} s"
    return f"{rough}: {off}."


def _thinned(count: int) -> list[int]:
    stride = max(1, count // _MOST_POINTS)
    return [*range(0, count, stride), count - 1]


def _strip(found: Holding, across: Callable[[float], float]) -> list[str]:
    held = found.held
    most = min(_SHOWN, max(float(held.gaps[held.gaps < 0.1].max()) * 1.05, 1.5e-3))
    scale = (_ROOM - 12.0) / most
    left_face, right_face = _TOP + _ROOM, _TOP + _ROOM + _RAIL
    wide = 1e3 * found.car.rail.width.value
    parts = [
        box(_LEFT, left_face, _RIGHT - _LEFT, _RAIL, "wood"),
        text(_LEFT + 10, left_face + 22, f"the rail, {wide:g} mm wide, drawn narrow", "soft"),
        text(24, _TOP - 14, "wheels beside the rail, from above", "head"),
        text(24, _TOP + 20, "left", "soft"),
        text(24, right_face + _ROOM - 12, "right", "soft"),
    ]
    for number in range(1, int(1e3 * most) + 1):
        for y in (left_face - number * 1e-3 * scale, right_face + number * 1e-3 * scale):
            parts.append(line([(_LEFT, y), (_RIGHT, y)], "hair"))
            parts.append(text(_LEFT - 8, y + 4, f"{number} mm", "soft end"))
    where = _thinned(len(held.distance))
    dominant = held.sideways.dominant
    order = sorted(range(4), key=lambda wheel: wheel == dominant)
    for wheel in order:
        if float(held.gaps[wheel].min()) > 0.1:
            continue
        face, way = (left_face, -1.0) if _STATIONS[wheel].endswith("left") else (right_face, 1.0)
        points = [
            (across(held.distance[k]), face + way * scale * min(most, float(held.gaps[wheel, k])))
            for k in where
        ]
        parts.append(line(points, "bold" if wheel == dominant else "line" if wheel > 1 else "thin"))
    for touch in held.touches:
        wheel = _STATIONS.index(touch.station.value)
        y = left_face + 5 if touch.station.side > 0 else right_face - 5
        if wheel == dominant:
            if touch.lost > 0.0:
                size = min(6.0, 1.2 + 40.0 * touch.approach)
                parts.append(
                    f'<circle cx="{across(touch.distance):.1f}" cy="{y:.1f}" r="{size:.1f}" class="dot"/>'
                )
        elif touch in held.strays or touch.lost > 0.0:
            parts.append(f'<circle cx="{across(touch.distance):.1f}" cy="{y:.1f}" r="7" class="stray"/>')
    x = _RIGHT - 6.0
    parts.append(line([(x, _TOP - 26), (x, _TOP - 26 + 1e-3 * scale)], "bold"))
    factor = scale / ((_RIGHT - _LEFT) / found.end)
    parts.append(
        text(x - 8, _TOP - 14, f"1 mm; {round(factor, -1):.0f} times as large sideways as along", "soft end")
    )
    names = "thick: dominant wheel; thin: raised; dashed: rear. Dots: knocks. Rings: another wheel on it."
    parts.append(text(24, right_face + _ROOM + 18, names, "soft"))
    return parts


def _force(found: Holding, across: Callable[[float], float], top: float) -> list[str]:
    held = found.held
    dominant = held.sideways.dominant
    press = held.pressed[dominant]
    count = len(press)
    block = max(1, count // 300)
    means = [
        (float(held.distance[k]), float(press[k : k + block].mean()))
        for k in range(0, count - block + 1, block)
    ]
    straight = held.straight_force
    most = max(2.2 * straight, 0.05, 1.2 * sorted(value for _, value in means)[int(0.97 * len(means))])
    floor = top + _FORCE

    def up(value: float) -> float:
        return floor - _FORCE * min(1.0, value / most)

    parts = [
        text(24, top + 8, "force", "head"),
        line([(_LEFT, floor), (_RIGHT, floor)], "hair"),
        text(_LEFT - 8, floor + 4, "0", "soft end"),
        line([(_LEFT, up(straight)), (_RIGHT, up(straight))], "mark"),
        text(_LEFT - 8, up(straight) + 4, f"{1e3 * straight:.0f} mN", "soft end"),
        text(_RIGHT, top - 3, "of the dominant wheel on the rail; dashed: in the straight run", "soft end"),
    ]
    parts.append(line([(across(distance), up(value)) for distance, value in means], "line"))
    return parts


def _heading(found: Holding, across: Callable[[float], float], top: float) -> list[str]:
    held = found.held
    where = _thinned(len(held.distance))
    yaws = [math.degrees(float(held.places[1, k])) for k in where]
    most = max(0.2, *(abs(yaw) for yaw in yaws))
    middle = top + 0.5 * _YAW
    parts = [
        text(24, middle - 4, "heading", "head"),
        line([(_LEFT, middle), (_RIGHT, middle)], "hair"),
        text(_LEFT - 8, top + 8, f"{most:.1f}° left", "soft end"),
        text(_LEFT - 8, top + _YAW, f"{most:.1f}° right", "soft end"),
    ]
    points = [
        (across(held.distance[k]), middle - 0.5 * _YAW * yaw / most)
        for k, yaw in zip(where, yaws, strict=True)
    ]
    parts.append(line(points, "line"))
    return parts


def _ruler(found: Holding, across: Callable[[float], float], y: float) -> list[str]:
    parts = [line([(_LEFT, y), (_RIGHT, y)], "line")]
    step = 1.0 if found.end > 3.0 else 0.2
    for number in range(int(found.end / step) + 1):
        x = across(number * step)
        parts.append(line([(x, y), (x, y + 6)], "line"))
        if x < _RIGHT - 110:
            parts.append(text(x, y + 22, f"{number * step:g}", "soft middle"))
    parts.append(text(_RIGHT, y + 22, "m down the track", "soft end"))
    return parts


def _costs(found: Holding, y: float) -> tuple[list[str], float]:
    cost = found.held.cost
    rows = (
        ("rail", cost.straight_rail, cost.rail),
        ("wheels askew", cost.straight_scrub, cost.scrub),
        ("knocks", 0.0, cost.knocks),
    )
    most = max(1e-6, *(max(straight, here) for _, straight, here in rows))
    room = _RIGHT - _LEFT - 90.0
    parts = [text(24, y, "milliseconds: dark as it runs here, light as in the straight run", "head")]
    y += 12.0
    for name, straight, here in rows:
        parts.append(text(_LEFT - 8, y + 16, name, "end"))
        parts.append(box(_LEFT, y + 2, max(0.5, room * here / most), 9, "ink"))
        parts.append(box(_LEFT, y + 12, max(0.5, room * straight / most), 9, "bar"))
        long = room * max(here, straight) / most
        parts.append(text(_LEFT + long + 8, y + 16, f"{1e3 * here:.1f}, {1e3 * straight:.1f} ms"))
        y += 28.0
    return parts, y
