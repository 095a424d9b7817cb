"""Drawings of how a car stands and runs: camber, steer, heights, roll, drift and rail."""

from __future__ import annotations

import math
from collections.abc import Callable

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
    RADIUS,
    RIGHT,
    THICK,
    TREAD,
    UP,
    WHEELBASE,
    WIDE,
    WIDTH,
    WOOD,
    Fitted,
    Place,
    Sheet,
    across,
    along,
    block,
    drum,
    from_above,
    from_behind,
    from_the_front,
    from_the_right,
    name_of,
    outline,
    steps,
    strip,
    swing,
)
from rollwright.car import Station, parse_car
from rollwright.geometry import Stance, camber_of, stance, steer_of
from rollwright.geometry.drift import curvature, drift_over, lateral_at
from rollwright.geometry.rail import innermost
from rollwright.geometry.vector import Vector

__all__ = ["camber", "drift", "height", "rail", "roll", "steer"]


def camber() -> Sheet:
    """Draw camber from behind."""
    factor, angle = 5.0, 3.0
    sheet = Sheet("Camber", "From behind: with positive camber the tops of the wheels lean outward.", 396)
    for top, tilt in ((20.0, -angle), (199.0, angle)):
        place = from_behind((OVER, top + 124), 2.8)
        block(sheet, place, across())
        sign = 0.0
        for side in (LEFT, RIGHT):
            fitted = Fitted(side=side, cant=tilt * factor * DEG, washer=1.0)
            sign = camber_of(fitted.shank)
            fitted.draw(sheet, place)
            plane = (0.0, side * math.sin(sign), math.cos(sign))
            for end in (UP, plane):
                sheet.faint(place(fitted.centre), place(along(fitted.centre, end, 30.0)))
            ends = [(0.0, side * math.sin(t), math.cos(t)) for t in steps(0.0, sign)]
            sheet.arrow(swing(place, fitted.centre, ends, 28.0), positive=sign > 0.0)
        sheet.caption(top, name_of(sign), f"the tops lean {'outward' if sign > 0.0 else 'inward'}")
    sheet.foot(f"from behind; a camber of {angle:g}° drawn × {factor:g}")
    return sheet


def steer() -> Sheet:
    """Draw steer and toe from above."""
    factor, angle = 5.0, 3.0
    sheet = Sheet(
        "Steer and toe", "From above: steer is positive to the left; toe-in closes the fronts.", 504
    )
    rows = (
        (20.0, {LEFT: -1.0, RIGHT: 1.0}, "positive:", "the wheels head to the left"),
        (174.0, {LEFT: 1.0, RIGHT: -1.0}, "negative:", "the wheels head to the right"),
        (328.0, {LEFT: 1.0, RIGHT: 1.0}, "toe-in:", "the fronts close: left −, right +"),
    )
    for top, turns, name, words in rows:
        place = from_above((OVER, top + 84), 2.4)
        strip(sheet, place, 18.0)
        for side, turn in turns.items():
            fitted = Fitted(side=side, sweep=turn * angle * factor * DEG, washer=1.0)
            heading = steer_of(fitted.shank, side=side)
            fitted.draw(sheet, place)
            for end in ((1.0, 0.0, 0.0), (math.cos(heading), math.sin(heading), 0.0)):
                sheet.faint(place(fitted.centre), place(along(fitted.centre, end, 30.0)))
            ends = [(math.cos(t), math.sin(t), 0.0) for t in steps(0.0, heading)]
            sheet.arrow(swing(place, fitted.centre, ends, 27.0), positive=heading > 0.0)
            mark = "+" if heading > 0.0 else "−"
            sheet.text(place(along(fitted.centre, (0.0, side, 0.0), 15.0)), mark, bold=True)
        sheet.caption(top, name, words)
    sheet.foot(f"from above; a steer of {angle:g}° drawn × {factor:g}")
    return sheet


def standing(**holes: float) -> Stance:
    """Return where the made-up car sits with some hole heights changed [mm]."""
    stations = "".join(
        f'[stations.{station.value}]\nseat = "body"\nhole_height = {holes.get(station.value, HOLE)!r}\n'
        for station in Station
    )
    return stance(
        parse_car(
            f"format = 1\n[body]\nlength = {LENGTH}\nwidth = {WIDTH}\nwheelbase = {WHEELBASE}\n"
            f"rear_overhang = {OVERHANG}\n[wheels.disc]\ndiameter = {2 * RADIUS}\ntread_width = {TREAD}\n"
            f"hub_projection = {HUB}\nbore = 2.38\n{stations}"
        )
    )


def to_track(found: Stance) -> Callable[[Vector], Vector]:
    """Return the roll, pitch and lift of a stance, lengths in millimetres."""
    sp, cp, sr, cr = (f(a) for a in (found.pitch, found.roll) for f in (math.sin, math.cos))

    def moved(p: Vector) -> Vector:
        x, y, z = p[0], cr * p[1] - sr * p[2], sr * p[1] + cr * p[2]
        return (cp * x - sp * z, y, sp * x + cp * z + 1e3 * found.rear)

    return moved


def in_mm(point: Vector) -> Vector:
    """Return a point in millimetres."""
    return (1e3 * point[0], 1e3 * point[1], 1e3 * point[2])


def height() -> Sheet:
    """Draw height difference and pitch from the side."""
    factor, true = 7.0, 0.5
    sheet = Sheet(
        "Height difference", "From the side: positive when the front sits higher than the rear.", 330
    )
    tail, nose = -OVERHANG, LENGTH - OVERHANG
    side = [(tail, 0.0), (nose, 0.0), (nose, 9.0), (nose - 46.0, THICK), (tail, THICK)]
    for top, lower in ((20.0, true), (170.0, -true)):
        found = standing(front_left=HOLE - lower * factor, front_right=HOLE + 12.0)
        place = from_the_right((OVER - 86, top + 94), 1.25)
        moved = to_track(found)
        block(sheet, place, [moved((x, 0.0, z)) for x, z in side])
        for station in (Station.REAR_RIGHT, Station.FRONT_LEFT):
            centre = in_mm(found.stations[station].centre)
            ring = [place(p) for p in drum(centre, (0.0, 1.0, 0.0), RADIUS, 0.1)]
            sheet.path(outline(ring), close=True, stroke_width=1.1, stroke_dasharray="2 2.5")
            sheet.dot(place(centre))
        ground = place((0.0, 0.0, 0.0))[1]
        sheet.path([(14, ground), (WIDE - 14, ground)], stroke_width=1.6)
        for x, words, aside in ((0.0, "rear", -40.0), (WHEELBASE, "front", 57.0)):
            low = place(moved((x, 0.0, 0.0)))
            edge = low[0] + aside
            sheet.path([low, (edge + math.copysign(4.0, aside), low[1])], stroke_width=0.7)
            sheet.measure((edge, ground), (edge, low[1]))
            sheet.text((edge, ground + 13), words)
        sign = found.height_difference
        sheet.caption(
            top, name_of(sign), f"the front sits {'higher: nose up' if sign > 0.0 else 'lower: nose down'}"
        )
        tip, lift = place(moved((WHEELBASE + 30.0, 0.0, 27.0))), math.copysign(11.0, sign)
        sheet.arrow([(tip[0], tip[1] + lift), (tip[0], tip[1] - lift)], positive=sign > 0.0)
    sheet.foot(f"from the right; {true:g} mm of difference drawn × {factor:g}")
    return sheet


def roll() -> Sheet:
    """Draw roll from behind."""
    factor, true = 8.0, 0.5
    sheet = Sheet("Roll", "From behind: positive when the left side is up.", 330)
    for top, lower in ((20.0, true), (168.0, -true)):
        low, high = HOLE - lower * factor / 2, HOLE + lower * factor / 2
        found = standing(rear_left=low, rear_right=high, front_left=low, front_right=high + 6.0)
        place = from_behind((OVER, top + 112), 2.7)
        moved = to_track(found)
        block(sheet, place, [moved(p) for p in across()])
        for station, up in ((Station.REAR_LEFT, low), (Station.REAR_RIGHT, high)):
            at = found.stations[station]
            rims = [place(p) for p in drum(in_mm(at.centre), at.axis, RADIUS, TREAD / 2)]
            sheet.path(outline(rims), close=True, fill=PAPER, stroke_width=1.3)
            hole = moved((0.0, station.side * HALF, up))
            sheet.path([place(along(hole, at.axis, by)) for by in (0.0, HUB + TREAD)], stroke_width=2.6)
        ground = place((0.0, 0.0, 0.0))[1]
        sheet.path([(30, ground), (WIDE - 30, ground)], stroke_width=1.6)
        ends = [(0.0, math.cos(t), math.sin(t)) for t in steps(-4.0 * found.roll, 4.0 * found.roll)]
        sheet.arrow(swing(place, (0.0, 0.0, 1e3 * found.rear + HOLE), ends, 46.0), positive=found.roll > 0.0)
        for x, words in ((34.0, "left"), (WIDE - 34.0, "right")):
            sheet.text((x, ground - 11), words)
        sheet.caption(top, name_of(found.roll), f"the {'left' if found.roll > 0.0 else 'right'} side is up")
    sheet.foot(f"from behind; {true:g} mm from side to side drawn × {factor:g}")
    return sheet


def drift() -> Sheet:
    """Draw drift on the board from above."""
    factor, board, steered = 4.0, 1000.0, 0.6
    sheet = Sheet("Drift", "The tuning board from above: drift is positive when the car ends up left.", 444)
    place = from_above((OVER, 346), 0.27)
    plank = [(-215.0, 430.0), (board, 430.0), (board, -430.0), (-215.0, -430.0)]
    sheet.path([place((x, y, 0.0)) for x, y in plank], close=True, fill=WOOD)
    sheet.path([place((0.0, 430.0, 0.0)), place((0.0, -430.0, 0.0))], stroke_width=1.2)
    sheet.faint(place((0.0, 0.0, 0.0)), place((board + 34.0, 0.0, 0.0)))
    for angle in (steered, -steered):
        turn = curvature(
            dominant_steer=angle * factor * DEG, rear_steer=0.0, length=WHEELBASE, contact_y=32.0
        )
        off = drift_over(curvature=turn, rear_steer=0.0, wheelbase=WHEELBASE, board=board)
        run = [
            lateral_at(curvature=turn, rear_steer=0.0, wheelbase=WHEELBASE, run=far)
            for far in steps(0.0, 1.5 * board, 60)
        ]
        end = place((board, off, 0.0))
        path = [place((x, y, 0.0)) for x, y in run if 50.0 < x < board - 5.0]
        sheet.arrow([*path, end], positive=off > 0.0)
        straight = place((board, 0.0, 0.0))
        sheet.measure((straight[0], straight[1] - 10), (end[0], straight[1] - 10))
        aside, anchor = (-7.0, "end") if off > 0.0 else (7.0, "start")
        at = (straight[0] + aside, straight[1] - 26)
        sheet.text(at, "positive" if off > 0.0 else "negative", anchor=anchor, bold=True)
        sheet.text((at[0], at[1] - 17), "left" if off > 0.0 else "right", anchor=anchor)
    block(sheet, place, [(x - WHEELBASE, y, 0.0) for x, y in BODY])
    for x, side in ((0.0, LEFT), (0.0, RIGHT), (-WHEELBASE, LEFT), (-WHEELBASE, RIGHT)):
        tyre = drum((x, side * 33.0, 0.0), (0.0, 1.0, 0.0), RADIUS, TREAD / 2)
        sheet.path(outline([place(p) for p in tyre]), close=True, fill=PAPER)
    sheet.dot(place((0.0, 0.0, 0.0)))
    sheet.text(place((-60.0, 415.0, 0.0)), "start, at the", anchor="start", on=WOOD)
    sheet.text(place((-125.0, 415.0, 0.0)), "front hole line", anchor="start", on=WOOD)
    sheet.measure(place((0.0, -380.0, 0.0)), place((board, -380.0, 0.0)))
    sheet.text(place((board / 4, -350.0, 0.0)), "board.length", anchor="end", on=WOOD)
    sheet.foot(f"from above, to scale; a steer of {steered:g}° drawn × {factor:g}")
    return sheet


def rail() -> Sheet:
    """Draw rail offset and rail gap from the front."""
    factor, half_rail, high, lift = 10.0, 21.0, 5.0, RADIUS - HOLE
    sheet = Sheet("Rail offset", "From the front: positive when the dominant wheel stands off the rail.", 388)
    for top, relief in ((20.0, 0.0), (196.0, 7.0)):
        place = from_the_front((OVER, top + 118), 2.7)
        ground = place((0.0, 0.0, 0.0))[1]

        def raised(p: Vector, place: Place = place) -> tuple[float, float]:
            return place((p[0], p[1], p[2] + lift))

        sheet.centre_line(place((0.0, 0.0, -4.0)), place((0.0, 0.0, 33.0)))
        block(sheet, raised, across(relief))
        if relief:
            sheet.faint(*(raised((0.0, y, z)) for y, z in ((HALF - relief, 0.0), (HALF, 0.0), (HALF, THICK))))
        post = [(s * half_rail, z) for s, z in ((-1, 0.0), (-1, high), (1, high), (1, 0.0))]
        sheet.path([place((0.0, y, z)) for y, z in post], close=True, fill=PAPER, stroke_width=1.2)
        for y in steps(-17.0, 19.0, 6):
            sheet.path([place((0.0, y - 3.0, 0.0)), place((0.0, y + 1.0, high))], stroke_width=0.6)
        sheet.text(place((0.0, 0.0, high / 2)), "rail")
        dominant = Fitted(side=LEFT, bend=8 * DEG, relief=relief).set_down(-lift)
        other = Fitted(side=RIGHT).set_down(3.0 - lift)
        for fitted, words in ((dominant, "rail offset"), (other, "rail gap")):
            fitted.draw(sheet, raised)
            c = fitted.centre
            near = innermost(
                centre=(c[0], c[1], c[2] + lift),
                axis=fitted.shank,
                radius=RADIUS,
                half=TREAD / 2,
                side=fitted.side,
                low=0.0,
                high=high,
            )
            if near is None:
                continue
            touch = place((0.0, fitted.side * near.inset, near.height))
            edge = place((0.0, fitted.side * half_rail, 0.0))
            for x, y in ((touch[0], touch[1]), (edge[0], ground)):
                sheet.path([(x, y), (x, ground + 20)], stroke_width=0.7)
            sheet.measure((touch[0], ground + 14), (edge[0], ground + 14))
            sheet.dot(touch)
            outer = max(touch[0], edge[0]) if fitted.side == LEFT else min(touch[0], edge[0])
            anchor = "start" if fitted.side == LEFT else "end"
            sheet.text((outer + 8 * fitted.side, ground + 15), words, anchor=anchor)
            if fitted is dominant:
                sign = near.inset - half_rail
                sheet.arrow(
                    [(edge[0], ground + 30), (edge[0] + math.copysign(26.0, sign), ground + 30)],
                    positive=sign > 0.0,
                )
        sheet.path([(20, ground), (WIDE - 20, ground)], stroke_width=1.6)
        words = "stands off the rail: wood must go" if sign > 0.0 else "stands in its way: add washers"
        sheet.caption(top, name_of(sign), words)
    sheet.foot(f"from the front, car centred; gaps drawn × {factor:g}")
    return sheet
