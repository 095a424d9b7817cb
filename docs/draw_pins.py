"""Drawings of what is drilled, bent and fitted: axes, holes, pins, seats, relief and washers."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from docs.drawing_paper import (
    BODY,
    DEG,
    HALF,
    HOLE,
    HUB,
    LEFT,
    LENGTH,
    OVER,
    OVERHANG,
    PAPER,
    POSITIVE,
    RIGHT,
    THICK,
    TREAD,
    UP,
    WHEELBASE,
    WIDE,
    WOOD,
    Fitted,
    Place,
    Sheet,
    across,
    along,
    block,
    from_above,
    from_behind,
    looking,
    name_of,
    steps,
    strip,
    swing,
)
from rollwright.car import Station
from rollwright.geometry.axle import shank_axis
from rollwright.geometry.vector import Vector

__all__ = ["axes", "bend", "cant", "clock", "seat", "sweep", "trim"]


def axes() -> Sheet:
    """Draw axes and stations from above."""
    sheet = Sheet(
        "Axes and stations", "The car from above: x forward, y left, z up, and the four stations.", 372
    )
    place = from_above((OVER, 276), 1.4)
    block(sheet, place, [(x, y, 0.0) for x, y in BODY])
    for station in Station:
        x = WHEELBASE if station.is_front else 0.0
        Fitted(side=station.side, x=x, washer=0.8).draw(sheet, place)
        anchor = "end" if station.side == LEFT else "start"
        sheet.text(place((x, station.side * 43.0, 0.0)), station.value, anchor=anchor)
    for x, words in ((0.0, "rear hole line"), (WHEELBASE, "front hole line")):
        sheet.centre_line(place((x, 24.0, 0.0)), place((x, -24.0, 0.0)))
        sheet.text(place((x - 13.0, -43.0, 0.0)), words, anchor="start")
    sheet.centre_line(place((-OVERHANG - 6, 0.0, 0.0)), place((LENGTH - OVERHANG + 10, 0.0, 0.0)))
    origin = place((0.0, 0.0, 0.0))
    sheet.arrow([origin, place((56.0, 0.0, 0.0))])
    sheet.arrow([origin, place((0.0, 21.0, 0.0))])
    sheet.marks.append(
        f'<circle cx="{origin[0]:.1f}" cy="{origin[1]:.1f}" r="6.5" fill="{PAPER}" stroke="{POSITIVE}" '
        'stroke-width="2.2"/>'
    )
    sheet.dot(origin)
    sheet.text(place((50.0, -3.0, 0.0)), "x", anchor="start", on=WOOD, bold=True)
    sheet.text(place((7.5, 15.0, 0.0)), "y", on=WOOD, bold=True)
    sheet.text(place((7.5, -10.0, 0.0)), "z", on=WOOD, bold=True)
    sheet.text((14, 20), "left: side +1", anchor="start")
    sheet.text((WIDE - 14, 20), "right: side −1", anchor="end")
    for k, words in enumerate(("x: forward", "y: left", "z: up, out of", "the paper")):
        sheet.text((14, 132 + 18 * k), words, anchor="start")
    sheet.foot("from above; nothing exaggerated")
    return sheet


def _hole_pair(sheet: Sheet, place: Place, tilt: float, tilted: Callable[[int, float], Fitted]) -> None:
    """Draw both holes of a line, and the arcs from the true direction to the drilled one."""
    for side in (LEFT, RIGHT):
        fitted = tilted(side, tilt)
        fitted.draw(sheet, place)
        for end in ((0.0, float(side), 0.0), fitted.out):
            sheet.faint(place(along(fitted.hole, end, 17.0)), place(along(fitted.hole, end, 32.0)))
        ends = [tilted(side, t).out for t in steps(0.0, tilt)]
        sheet.arrow(swing(place, fitted.hole, ends, 29.0), positive=tilt > 0.0)


def cant() -> Sheet:
    """Draw cant and hole height from behind."""
    factor, angle = 6.0, 3.0
    sheet = Sheet("Cant", "From behind: a positive cant lifts the outer ends of the holes.", 342)
    for top, sign in ((20.0, 1.0), (172.0, -1.0)):
        place = from_behind((OVER, top + 92), 2.8)
        block(sheet, place, across())
        _hole_pair(
            sheet,
            place,
            sign * angle * factor * DEG,
            lambda side, tilt: Fitted(side=side, cant=tilt, washer=1.0),
        )
        if sign > 0.0:
            sheet.centre_line(place((0.0, 24.0, HOLE)), place((0.0, -24.0, HOLE)))
            sheet.measure(place((0.0, 8.0, 0.0)), place((0.0, 8.0, HOLE)))
            sheet.text(place((0.0, 5.5, HOLE / 2)), "hole height", anchor="start", on=WOOD)
        sheet.caption(top, name_of(sign), f"the outer ends {'stand up' if sign > 0.0 else 'hang down'}")
    sheet.foot(f"from behind; a cant of {angle:g}° drawn × {factor:g}")
    return sheet


def sweep() -> Sheet:
    """Draw sweep from above."""
    factor, angle = 6.0, 3.0
    sheet = Sheet("Sweep", "From above: a positive sweep carries the outer ends of the holes forward.", 362)
    for top, sign in ((20.0, 1.0), (182.0, -1.0)):
        place = from_above((OVER, top + 76), 2.6)
        strip(sheet, place, 20.0)
        _hole_pair(
            sheet,
            place,
            sign * angle * factor * DEG,
            lambda side, tilt: Fitted(side=side, sweep=tilt, washer=1.0),
        )
        way = "forward" if sign > 0.0 else "backward"
        sheet.caption(top, name_of(sign), f"the outer ends lie {way}")
    sheet.foot(f"from above; a sweep of {angle:g}° drawn × {factor:g}")
    return sheet


def bend() -> Sheet:
    """Draw the bend and where it lies, from behind."""
    factor, angle, far = 8.0, 2.5, 3.0
    sheet = Sheet("Bend", "From behind: the pin bent down past its hole, and how far out the bend lies.", 210)
    place = from_behind((492, 178), 9.0)
    block(sheet, place, [(0.0, y, z) for y, z in ((16.2, 3.0), (16.2, 14.0), (HALF, 14.0), (HALF, 3.0))])
    fitted = Fitted(bend=angle * factor * DEG, bend_at=far)
    knee = along(fitted.hole, fitted.out, far)
    sheet.faint(place(knee), place(along(fitted.hole, fitted.out, 22.0)))
    fitted.draw(sheet, place, wheel=False, inside=7.8)
    ends = [shank_axis(side=LEFT, cant=0.0, sweep=0.0, bend=t, clock=0.0) for t in steps(0.0, fitted.bend)]
    arc = swing(place, knee, ends, 14.0)
    sheet.arrow(arc)
    sheet.text((arc[12][0] - 9, arc[12][1]), "bend", anchor="end")
    sheet.dot(place(knee), size=4.0)
    a, b = place((0.0, HALF, 12.4)), place((0.0, HALF + far, 12.4))
    sheet.path([(b[0], b[1] - 4), place(knee)], stroke_width=0.7)
    sheet.measure(a, b)
    sheet.text((b[0] - 8, b[1]), "bend_at", anchor="end")
    sheet.text(place((0.0, 20.0, 5.0)), "body", on=WOOD)
    sheet.caption(20, "size only:", "never negative; clock tells the way")
    sheet.foot(f"left side from behind, clock 0; {angle:g}° drawn × {factor:g}")
    return sheet


def clock() -> Sheet:
    """Draw the clock from outside each side."""
    sheet = Sheet(
        "Clock",
        "Seen from outside: the bend points down at 0; a positive clock carries it forward, which is "
        "clockwise on the left side and counter-clockwise on the right.",
        300,
    )
    hub = (0.0, 0.0, 0.0)
    for side, x in ((LEFT, 92.0), (RIGHT, WIDE - 92.0)):
        # A bend of 30 degrees, seen along the hole: its outer end lies half a pin's length off.
        place = looking((-float(side), 0.0, 0.0), UP, at=(x, 148), scale=104.0)

        def tip(turn: float, side: int = side) -> Vector:
            return shank_axis(side=side, cant=0.0, sweep=0.0, bend=30 * DEG, clock=turn * DEG)

        def arc(
            start: float, end: float, place: Place = place, side: int = side
        ) -> list[tuple[float, float]]:
            return [place(along(hub, tip(turn, side), 0.7)) for turn in steps(start, end)]

        sheet.path([place(tip(turn)) for turn in steps(0.0, 360.0, 72)], close=True, stroke_width=0.8)
        for turn, words in ((0.0, "0"), (90.0, "+90"), (180.0, "180"), (-90.0, "−90")):
            sheet.path([place(along(hub, tip(turn), 0.94)), place(along(hub, tip(turn), 1.06))])
            sheet.text(place(along(hub, tip(turn), 1.36 if turn % 180.0 else 1.24)), words)
        for turn in (62.0, -62.0):
            sheet.faint(place(hub), place(tip(turn)))
        sheet.path([place(hub), place(tip(0.0))], stroke_width=2.8)
        sheet.dot(place(tip(0.0)), size=5.0)
        sheet.dot(place(hub), size=2.8)
        sheet.arrow(arc(7.0, 60.0))
        sheet.arrow(arc(-7.0, -58.0), positive=False)
        # Which way round the positive turn goes is read off the drawn arc itself.
        (ax, ay), (bx, by), (cx, cy) = arc(7.0, 60.0)[0], arc(7.0, 60.0)[-1], place(hub)
        clockwise = (ax - cx) * (by - cy) - (ay - cy) * (bx - cx) > 0.0
        sheet.text((x, 20), "left side" if side == LEFT else "right side", bold=True)
        ahead = place((0.42, 0.0, 0.0))[0]
        sheet.arrow([(2 * x - ahead, 46), (ahead, 46)], positive=False)
        sheet.text((x, 46), "forward")
        sheet.text((x, 234), "positive:", bold=True)
        sheet.text((x, 252), "clockwise" if clockwise else "counter-clockwise")
    sheet.foot("from outside each wheel; dot: the bent outer end")
    return sheet


def _three(sheet: Sheet, fits: Sequence[Fitted], words: Sequence[tuple[str, str]]) -> list[Place]:
    """Draw three left wheels side by side, from behind, with two lines of words under each."""
    views = []
    for k, (fitted, lines) in enumerate(zip(fits, words, strict=True)):
        x = 66.0 + 114.0 * k
        place = from_behind((x + 3.0 * (HALF + 5.0), 122.0), 3.0)
        cut, back = HALF - fitted.relief, HALF - 8.0
        block(sheet, place, [(0.0, y, z) for y, z in ((back, 0.0), (back, THICK), (cut, THICK), (cut, 0.0))])
        if fitted.relief:
            face = ((cut, 0.0), (HALF, 0.0), (HALF, THICK), (cut, THICK))
            sheet.faint(*(place((0.0, y, z)) for y, z in face))
        fitted.draw(sheet, place, inside=6.0)
        for row, line in enumerate(lines):
            sheet.text((x, 168.0 + 18.0 * row), line, bold=row == 0)
        views.append(place)
    return views


def seat() -> Sheet:
    """Draw where in its play a wheel runs."""
    factor, play = 5.0, 0.8
    sheet = Sheet(
        "Seat", "From behind, left side: the hub against the body, midway, or against the head.", 238
    )
    fits = [Fitted(play=factor * play, share=share) for share in (0.0, 0.5, 1.0)]
    words = (("body", "outer end down"), ("middle", "level, or raised"), ("head", "outer end up"))
    views = _three(sheet, fits, words)
    out = HALF + HUB + TREAD
    for k, (start, end) in ((0, (out, out + factor * play)), (2, (HALF, HALF + factor * play))):
        place = views[k]
        a, b = place((0.0, start, 28.0)), place((0.0, end, 28.0))
        for at, y in ((a, start), (b, end)):
            sheet.path([at, place((0.0, y, HOLE + 3.0))], stroke_width=0.7)
        sheet.measure(a, b)
        sheet.text(((a[0] + b[0]) / 2, a[1] - 13), "play")
    sheet.foot(f"left side, from behind; play {play:g} mm, drawn × {factor:g}")
    return sheet


def trim() -> Sheet:
    """Draw relief and washers."""
    factor, thick = 8.0, 0.5
    sheet = Sheet(
        "Relief and washers", "From behind, left side: relief brings the wheel in, a washer out.", 238
    )
    by = factor * thick
    fits = [Fitted(relief=by), Fitted(), Fitted(washer=by)]
    words = (("relief", "wheel comes in"), ("neither", "hub at the wood"), ("washer", "wheel goes out"))
    views = _three(sheet, fits, words)
    edge = HALF + HUB
    for place, moved in zip(views, (-by, 0.0, by), strict=True):
        a, b = place((0.0, edge, 29.0)), place((0.0, edge + moved, 29.0))
        sheet.faint(place((0.0, edge, -10.0)), place((0.0, edge, 33.0)))
        if moved:
            sheet.arrow([a, (b[0] - math.copysign(6.0, moved), b[1])])
    sheet.foot(f"left side, from behind; {thick:g} mm drawn × {factor:g}")
    return sheet
