"""A run as a drawing: the speed down the track, and the milliseconds that each loss costs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from rollwright.workbench.timing import Timed

__all__ = ["LOSS_WORDS", "run_picture"]

LOSS_WORDS = {
    "bearing": "bearings",
    "hub": "hubs and heads",
    "rail": "rail",
    "scrub": "wheels askew",
    "rolling": "rolling",
    "air": "air",
}
"""The losses as they are said."""

_PAPER, _INK, _FAINT, _WOOD = "#f6f1e4", "#1d1b18", "#8d8574", "#d9c9a3"
_WIDE, _LEFT, _RIGHT = 760.0, 150.0, 60.0
_SPEED_TOP, _SPEED_TALL = 84.0, 150.0
_TRACK_TALL = 70.0
_ROW = 26.0
_MOST_POINTS = 300
_STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


def run_picture(found: Timed) -> str:
    """Return a run as an SVG drawing.

    Args:
        found: the run.

    Returns:
        The drawing's text, whole in itself: the speed over the way, the track below it to one scale in both
        directions as far as it fits, and each loss as a bar on one scale of milliseconds. A car that stalls
        is drawn as far as it comes, without bars.
    """
    run = found.run
    bars = sorted(run.budget.items(), key=lambda item: -item[1])
    top = _SPEED_TOP + _SPEED_TALL + _TRACK_TALL + 90.0
    tall = top + (_ROW * len(bars) + 46.0 if bars else 0.0)
    lines = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE:g} {tall:g}" '
            f'width="{_WIDE:g}" height="{tall:g}" font-family="system-ui, sans-serif" role="img">'
        ),
        f"<title>{escape(_sentence(found))}</title>",
        f'<rect width="{_WIDE:g}" height="{tall:g}" fill="{_PAPER}"/>',
        _text(24.0, 36.0, _sentence(found), size=19.0, weight=600),
        _text(24.0, 60.0, _second(found), size=14.0, fill=_FAINT),
        *_speed(found),
        *_track(found),
        *_bars(bars, top),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _sentence(found: Timed) -> str:
    run = found.run
    lane = f", lane {run.lane}" if run.lane else ""
    if run.finish_time is None:
        return f"{run.car} stalls on {run.track}{lane}"
    return f"{run.car} on {run.track}{lane}: {run.finish_time:.4f} s"


def _second(found: Timed) -> str:
    run = found.run
    if run.finish_time is None or run.loss_free_time is None:
        return "Speed over the way, as far as it comes."
    lost = 1e3 * (run.finish_time - run.loss_free_time)
    spread = "" if run.uncertainty is None else f"; the time is known to ± {1e3 * run.uncertainty:.0f} ms"
    return f"{lost:.0f} ms of it are losses{spread}."


def _text(
    x: float,
    y: float,
    text: str,
    *,
    size: float = 13.0,
    fill: str = _INK,
    anchor: str = "start",
    weight: int = 400,
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" fill="{fill}" text-anchor="{anchor}" '
        f'font-weight="{weight}" style="font-variant-numeric: tabular-nums">{escape(text)}</text>'
    )


def _line(points: Sequence[tuple[float, float]], *, width: float, stroke: str = _INK) -> str:
    path = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
    return (
        f'<polyline points="{path}" fill="none" stroke="{stroke}" stroke-width="{width:g}" '
        'stroke-linejoin="round" stroke-linecap="round"/>'
    )


def _filled(distances: Sequence[float], speeds: Sequence[float]) -> Iterator[tuple[float, float]]:
    """Yield a trace with points between its own: the square of the speed goes evenly with the way."""
    between = max(1, _MOST_POINTS // max(1, len(distances)))
    for (start, slow), (end, fast) in pairwise(zip(distances, speeds, strict=True)):
        for number in range(between):
            part = number / between
            yield start + part * (end - start), math.sqrt(slow * slow + part * (fast * fast - slow * slow))
    yield distances[-1], speeds[-1]


def _across(found: Timed, distance: float) -> float:
    """Return where a distance from the gate lies across the drawing."""
    return _LEFT + (_WIDE - _LEFT - _RIGHT) * distance / found.track.finish


def _round_step(most: float, wanted: int) -> float:
    return next((step for step in _STEPS if most / step <= wanted), most)


def _speed(found: Timed) -> Iterator[str]:
    trace = found.run.trace
    most = max(float(trace.speed.max()), 0.1)
    floor = _SPEED_TOP + _SPEED_TALL
    step = _round_step(most, 5)
    for number in range(int(most / step) + 1):
        y = floor - _SPEED_TALL * number * step / (1.08 * most)
        yield _line([(_LEFT, y), (_WIDE - _RIGHT, y)], width=0.6, stroke=_WOOD)
        unit = " m/s" if number == int(most / step) else ""
        yield _text(_LEFT - 10.0, y + 4.0, f"{number * step:g}{unit}", fill=_FAINT, anchor="end")
    points = [
        (_across(found, distance), floor - _SPEED_TALL * speed / (1.08 * most))
        for distance, speed in _filled(trace.distance.tolist(), trace.speed.tolist())
    ]
    yield _line(points, width=2.4)
    yield _text(24.0, _SPEED_TOP + 12.0, "speed", weight=600)


def _track(found: Timed) -> Iterator[str]:
    """The running surface, its height to the same scale as its length where there is room for it."""
    track = found.track
    floor = _SPEED_TOP + _SPEED_TALL + 22.0 + _TRACK_TALL
    places = [track.at(track.finish * number / 120.0) for number in range(121)]
    drop = places[0].z - places[-1].z
    true = (_WIDE - _LEFT - _RIGHT) / track.finish
    tall = min(true, _TRACK_TALL / max(drop, 1e-9))
    points = [
        (_across(found, track.finish * number / 120.0), floor - tall * (place.z - places[-1].z))
        for number, place in enumerate(places)
    ]
    body = [*points, (points[-1][0], floor + 7.0), (points[0][0], floor + 7.0)]
    yield f'<polygon points="{" ".join(f"{x:.2f},{y:.2f}" for x, y in body)}" fill="{_WOOD}"/>'
    yield _line(points, width=1.6)
    yield _text(24.0, floor - _TRACK_TALL + 12.0, "track", weight=600)
    if tall < 0.98 * true:
        yield _text(24.0, floor - _TRACK_TALL + 30.0, f"height × {tall / true:.2f}", fill=_FAINT)
    marks = [("gate", 0.0), *track.splits, ("finish", track.finish)]
    for number, (name, distance) in enumerate(marks):
        x = _across(found, distance)
        anchor = "start" if number == 0 else "end" if number == len(marks) - 1 else "middle"
        yield _line([(x, floor + 7.0), (x, floor + 14.0)], width=1.0)
        yield _text(x, floor + 28.0, f"{name} {distance:.2f} m", size=12.0, fill=_FAINT, anchor=anchor)


def _bars(bars: Sequence[tuple[str, float]], top: float) -> Iterator[str]:
    if not bars:
        return
    most = max(part for _, part in bars)
    room = _WIDE - _LEFT - _RIGHT - 70.0
    yield _text(24.0, top - 6.0, "where the milliseconds go", weight=600)
    for number, (name, part) in enumerate(bars):
        y = top + 10.0 + _ROW * number
        long = max(1.0, room * max(0.0, part) / max(most, 1e-12))
        yield _text(_LEFT - 10.0, y + 14.0, LOSS_WORDS.get(name, name), anchor="end")
        yield f'<rect x="{_LEFT:g}" y="{y:g}" width="{long:.1f}" height="18" fill="{_INK}"/>'
        yield _text(_LEFT + long + 8.0, y + 14.0, f"{1e3 * part:.1f} ms")
