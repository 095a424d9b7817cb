"""Gauges and guides: what is measured on the drawing is what the car's numbers ask for."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import pairwise

import pytest

from rollwright.car.model import Car, Station, Target
from rollwright.draw.drawing import (
    Anchor,
    Arc,
    Circle,
    Drawing,
    Line,
    Mark,
    Pen,
    Point,
    Polyline,
    Text,
    Tone,
    points_of,
)
from rollwright.draw.gauges import (
    GAUGES,
    bend_gauge,
    board_scale,
    centring_block,
    drill_template,
    gauge,
    guide_block,
    height_comparator,
    relief_gauge,
    washer_shims,
)
from rollwright.errors import CarCannotRest, InputError, MissingReference, OutOfRange
from rollwright.geometry import stance, steer_of
from rollwright.geometry.axle import hole_axis, shank_axis
from rollwright.geometry.drift import curvature, drift_over
from tests.unit.cars import DEG, MM, changed, club_car, flat_car, heron, lark, mirrored

FRONT_LEFT, FRONT_RIGHT = Station.FRONT_LEFT, Station.FRONT_RIGHT
REAR_LEFT, REAR_RIGHT = Station.REAR_LEFT, Station.REAR_RIGHT


def planned(car: Car, values: Mapping[str, float] | None = None) -> Car:
    """Return a car with both a relief and washers planned, so that every aid has something to show."""
    place = car.dominant.value
    return changed(
        car,
        {
            f"{place}.relief": 0.85 * MM,
            f"{place}.washer": 0.3 * MM,
            "rear_left.washer": 0.5 * MM,
            **(values or {}),
        },
    )


LARK, BITTERN = planned(lark()), planned(club_car("bittern"))
HERON = planned(heron(), {"front_left.sweep": 0.9 * DEG})
LONG_NAME = replace(
    LARK, name="The long and winding name of a car that its builder could not make up his mind on"
)
CARS = {
    "bent": LARK,
    "mirrored": mirrored(LARK),
    "inches": BITTERN,
    "long name": LONG_NAME,
    "swept everywhere": changed(
        LARK,
        {
            f"{station.value}.sweep": sign * 1.5 * DEG
            for station, sign in zip(Station, (1, -1, -1, 1), strict=True)
        },
    ),
    "rear wheels that steer": changed(LARK, {"rear_left.sweep": 0.4 * DEG, "rear_right.sweep": -0.4 * DEG}),
    "steeply bent": changed(LARK, {"front_left.bend": 4.5 * DEG, "front_left.bend_at": 2 * MM}),
}
BOTH_UNITS = pytest.mark.parametrize("units", ["mm", "in"])
EVERY_CAR = pytest.mark.parametrize("car", CARS.values(), ids=list(CARS))
EVERY_GAUGE = pytest.mark.parametrize("name", list(GAUGES))


def texts(drawing: Drawing) -> list[str]:
    return [mark.text for mark in drawing.marks if isinstance(mark, Text)]


def lines(drawing: Drawing, pen: Pen) -> list[Line]:
    return [mark for mark in drawing.marks if isinstance(mark, Line) and mark.pen is pen]


def areas(drawing: Drawing, pen: Pen | None = None, tone: Tone | None = None) -> list[Polyline]:
    return [
        mark
        for mark in drawing.marks
        if isinstance(mark, Polyline)
        and mark.closed
        and (pen is mark.pen if tone is None else tone is mark.tone)
    ]


def circles(drawing: Drawing) -> list[Circle]:
    return [mark for mark in drawing.marks if isinstance(mark, Circle)]


def points(mark: Mark) -> Iterator[Point]:
    """Return the outermost points of a mark; a text's are those of a box that a wide type would fill."""
    match mark:
        case Line():
            yield from (mark.start, mark.end)
        case Polyline():
            yield from mark.points
        case Circle():
            yield (mark.centre[0] - mark.radius, mark.centre[1] - mark.radius)
            yield (mark.centre[0] + mark.radius, mark.centre[1] + mark.radius)
        case Arc():
            yield from points_of(mark)
        case Text():
            wide = len(mark.text) * mark.height * (0.64 if mark.strong else 0.57)
            start = {Anchor.START: 0.0, Anchor.MIDDLE: -0.5 * wide, Anchor.END: -wide}[mark.anchor]
            cos, sin = math.cos(mark.turn), math.sin(mark.turn)
            for x in (start, start + wide):
                for y in (-0.1 * mark.height, 0.7 * mark.height):
                    yield (mark.at[0] + x * cos - y * sin, mark.at[1] + x * sin + y * cos)


def reach(mark: Mark) -> tuple[float, float, float, float]:
    """Return the left, right, lower and upper end of a mark."""
    xs, ys = zip(*points(mark), strict=True)
    return min(xs), max(xs), min(ys), max(ys)


# Of all of them


@EVERY_GAUGE
@EVERY_CAR
@BOTH_UNITS
def test_everything_lies_on_the_sheet(name: str, car: Car, units: str) -> None:
    drawing = gauge(name, car, units=units)
    for mark in drawing.marks:
        left, right, low, high = reach(mark)
        assert left >= 0.0, mark
        assert low >= 0.0, mark
        assert right <= drawing.width, mark
        assert high <= drawing.height, mark


@EVERY_GAUGE
@EVERY_CAR
@BOTH_UNITS
def test_no_words_lie_over_others(name: str, car: Car, units: str) -> None:
    words = [mark for mark in gauge(name, car, units=units).marks if isinstance(mark, Text)]
    for number, one in enumerate(words):
        a = reach(one)
        for other in words[number + 1 :]:
            b = reach(other)
            apart = a[1] <= b[0] or b[1] <= a[0] or a[3] <= b[2] or b[3] <= a[2]
            assert apart, (one.text, other.text)


@EVERY_GAUGE
def test_each_says_its_car_its_purpose_its_use_and_what_can_hurt(name: str) -> None:
    drawing = gauge(name, LARK)
    assert drawing.name == name
    assert "Lark" in drawing.title
    assert any("Lark" in text for text in texts(drawing))
    assert len(drawing.notes) >= 3
    assert drawing.cautions
    for sentence in (*drawing.notes, *drawing.cautions):
        assert sentence.endswith(".")
        assert "\n" not in sentence


@EVERY_GAUGE
def test_each_names_the_assumed_values_that_it_rests_on(name: str) -> None:
    all_assumed = replace(
        LARK,
        assumed=(
            "body.width",
            "body.wheelbase",
            "rail.width",
            "axles.steering.bend",
            "axles.steering.shank",
            "stations.front_left.relief",
            "stations.rear_left.hole_height",
            "targets.drift.value",
        ),
    )
    assert any(note.startswith("Assumed, because") for note in gauge(name, all_assumed).notes)
    nothing_assumed = replace(LARK, assumed=())
    assert not any(note.startswith("Assumed, because") for note in gauge(name, nothing_assumed).notes)


@EVERY_GAUGE
def test_inches_change_the_words_and_not_the_sizes_of_what_carries_no_graduation(name: str) -> None:
    metric, inch = gauge(name, LARK), gauge(name, LARK, units="in")
    assert not any(" mm" in text for text in texts(inch))
    if name in {"drill-template", "guide-block", "bend-gauge", "centring-block"}:
        bare = [
            replace(d, notes=(), marks=tuple(m for m in d.marks if not isinstance(m, Text)))
            for d in (metric, inch)
        ]
        assert bare[0] == bare[1]
    else:
        assert metric != inch


@EVERY_GAUGE
def test_unknown_units_are_refused(name: str) -> None:
    with pytest.raises(OutOfRange, match=r'units of \'cubit\' are not known to a gauge; write "mm" or "in"'):
        gauge(name, LARK, units="cubit")


def test_an_unknown_gauge_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(
        MissingReference, match=r"no gauge called 'spoon'; choose one of drill-template, guide-block"
    ):
        gauge("spoon", LARK)


# Drill template


def crosses(drawing: Drawing) -> list[Circle]:
    """Return the holes of a drill template from the tail on, of each hole line the left side's first."""
    return sorted(circles(drawing), key=lambda one: (round(one.centre[0]), one.centre[1]))


def test_the_crosses_stand_at_wheelbase_overhang_and_heights() -> None:
    drawing = drill_template(changed(lark(), {"front_left.sweep": 0.0}))
    rear_left, rear_right, front_left, front_right = crosses(drawing)
    (outline,) = areas(drawing, Pen.CUT_OUTER)
    left, right, low, high = reach(outline)
    assert right - left == pytest.approx(186.0)
    assert rear_left.centre[0] - left == pytest.approx(22.0)
    assert front_left.centre[0] - rear_left.centre[0] == pytest.approx(124.2)
    assert front_right.centre[0] - rear_right.centre[0] == pytest.approx(124.2)
    folds = sorted(
        {line.start[1] for line in lines(drawing, Pen.SCORE) if line.end[0] - line.start[0] > 100.0}
    )
    assert folds[1] - folds[0] == pytest.approx(48.06)
    assert folds[0] - low == pytest.approx(high - folds[1])
    assert folds[0] - rear_left.centre[1] == pytest.approx(9.0)
    assert folds[0] - front_left.centre[1] == pytest.approx(9.4)
    assert rear_right.centre[1] - folds[1] == pytest.approx(9.0)
    assert front_right.centre[1] - folds[1] == pytest.approx(11.0)


def test_each_hole_has_a_cross_in_its_middle_and_its_role_beside_it() -> None:
    drawing = drill_template(lark())
    for hole in circles(drawing):
        arms = [
            line
            for line in lines(drawing, Pen.SCORE)
            if math.dist(line.start, line.end) == pytest.approx(8.0)
        ]
        middles = [(0.5 * (a.start[0] + a.end[0]), 0.5 * (a.start[1] + a.end[1])) for a in arms]
        assert sum(math.dist(middle, hole.centre) < 1e-9 for middle in middles) == 2
    assert {"front left, dominant", "front right, raised", "rear left", "rear right", "FRONT"} <= set(
        texts(drawing)
    )


def test_a_mirrored_car_has_its_crosses_mirrored() -> None:
    one, other = drill_template(lark()), drill_template(mirrored(lark()))
    found = sorted((hole.centre[0], one.height - hole.centre[1]) for hole in circles(one))
    assert sorted(hole.centre for hole in circles(other)) == [pytest.approx(place) for place in found]


def test_a_relief_moves_the_cross_along_the_slope_of_its_hole() -> None:
    # The paper lies on the wood before it is sanded: 2 mm out along 3 degrees up and 2 degrees forward.
    plain = changed(lark(), {"front_left.cant": 3.0 * DEG, "front_left.sweep": 2.0 * DEG})
    sanded = changed(plain, {"front_left.relief": 2.0 * MM})
    before, after = (crosses(drill_template(car))[2].centre for car in (plain, sanded))
    a = hole_axis(side=1, cant=3.0 * DEG, sweep=2.0 * DEG)
    along = 2.0 / a[1]
    assert after[0] - before[0] == pytest.approx(along * a[0])
    # The left side face is folded up from below, so that higher on the body is lower on the paper; the flap
    # may have grown by whole millimetres.
    grown = drill_template(sanded).height - drill_template(plain).height
    assert before[1] - after[1] + 0.5 * grown == pytest.approx(along * a[2])


def test_a_hole_line_past_the_nose_is_refused() -> None:
    short = replace(lark(), body=replace(lark().body, length=replace(lark().body.length, value=0.14)))
    with pytest.raises(
        OutOfRange, match=r"body.length: the front hole line lies 124.20 mm ahead .* nose at 118.00 mm"
    ):
        drill_template(short)


# Guide block


def sleeves(drawing: Drawing) -> dict[str, list[Point]]:
    """Return the sleeves' centres on the outer faces, rear and front, of the left and of the right block."""
    centres = sorted({one.centre for one in circles(drawing)}, key=lambda at: (-at[1], at[0]))
    upper, lower = sorted(centres[:2]), sorted(centres[2:])
    # Seen from outside, the left block has its front at the left.
    return {"left": upper[::-1], "right": lower}


def test_the_sleeves_stand_a_wheelbase_apart() -> None:
    found = sleeves(guide_block(lark()))
    for rear, front in found.values():
        assert abs(front[0] - rear[0]) == pytest.approx(124.2)
    assert found["left"][1][0] < found["left"][0][0]
    assert found["right"][1][0] > found["right"][0][0]


@pytest.mark.parametrize("thickness", [0.012, 0.020, 0.035])
@pytest.mark.parametrize("car", [lark(), mirrored(lark()), HERON], ids=["left", "right", "straight class"])
def test_the_outer_face_is_marked_where_the_hole_s_own_line_comes_out(car: Car, thickness: float) -> None:
    drawing = guide_block(car, thickness=thickness)
    ledges = sorted(
        (line.start[1] for line in lines(drawing, Pen.HIDDEN) if abs(line.end[0] - line.start[0]) > 100.0),
        reverse=True,
    )
    for ledge, (side, (rear, front)) in zip(ledges, sleeves(drawing).items(), strict=True):
        stations = (REAR_LEFT, FRONT_LEFT) if side == "left" else (REAR_RIGHT, FRONT_RIGHT)
        forward = -1.0 if side == "left" else 1.0
        ahead = []
        for station, centre in zip(stations, (rear, front), strict=True):
            corner = car.corners[station]
            a = hole_axis(side=station.side, cant=corner.cant.value, sweep=corner.sweep.value)
            t = (thickness + corner.relief.value) / (station.side * a[1])
            assert centre[1] - ledge == pytest.approx((corner.hole_height.value + t * a[2]) / MM)
            ahead.append((corner.offset.value + t * a[0]) / MM)
        assert forward * (front[0] - rear[0]) == pytest.approx(
            car.body.wheelbase.value / MM + ahead[1] - ahead[0]
        )


def test_the_sections_show_the_cant_and_the_walls_of_the_sleeve() -> None:
    drawing = guide_block(lark())
    slopes = sorted(
        abs(math.degrees(math.atan2(line.end[1] - line.start[1], abs(line.end[0] - line.start[0]))))
        for line in lines(drawing, Pen.CENTRE)
        if abs(line.end[0] - line.start[0]) > 1.0
    )
    assert slopes == [pytest.approx(angle, abs=1e-9) for angle in (0.0, 0.0, 2.5, 2.5)]


def test_a_swept_hole_slopes_in_the_plan() -> None:
    drawing = guide_block(HERON)
    aside = sorted(
        math.degrees(math.atan(abs(line.end[0] - line.start[0]) / abs(line.end[1] - line.start[1])))
        for line in lines(drawing, Pen.CENTRE)
        if abs(line.end[1] - line.start[1]) > 15.0
    )
    assert aside == [pytest.approx(angle, abs=1e-9) for angle in (0.0, 0.0, 0.0, 0.9)]
    assert "sweep +0.90°" in texts(drawing)


def test_the_bore_is_the_drill_s_and_the_sleeve_as_told() -> None:
    drawing = guide_block(lark(), hole=2.39 * MM, sleeve=7.0 * MM)
    assert sorted({round(2.0 * one.radius, 6) for one in circles(drawing)}) == [2.4, 7.0]
    drawing = guide_block(lark())
    assert sorted({round(2.0 * one.radius, 4) for one in circles(drawing)}) == [2.3749, 5.5]


@pytest.mark.parametrize(
    ("wish", "key"),
    [
        ({"hole": 0.009}, "hole"),
        ({"hole": math.nan}, "hole"),
        ({"sleeve": 0.0025}, "sleeve"),
        ({"thickness": 0.2}, "thickness"),
    ],
)
def test_blocks_that_cannot_be_made_are_refused(wish: dict[str, float], key: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        guide_block(lark(), **wish)  # type: ignore[arg-type] # the same keyword with a wrong value
    assert caught.value.key == key


# Bend gauge


def slopes_of(drawing: Drawing) -> list[float]:
    """Return the slopes of the plates' edges, the bench's first [rad]; positive runs down outward."""
    found = []
    for plate in sorted(areas(drawing, Pen.CUT_OUTER), key=lambda one: -one.points[0][1]):
        corners = list(plate.points)
        found += [
            math.atan2(a[1] - b[1], b[0] - a[0])
            for a, b in pairwise(corners)
            if b[0] > a[0] and abs(a[1] - b[1]) > 1e-9
        ]
    return found


@pytest.mark.parametrize(
    "car",
    [
        LARK,
        mirrored(LARK),
        BITTERN,
        CARS["steeply bent"],
        CARS["swept everywhere"],
        changed(LARK, {"front_left.clock": 100.0 * DEG}),
    ],
)
def test_the_plates_have_the_bend_and_the_slope_that_the_pin_shows(car: Car) -> None:
    corner, side = car.corners[car.dominant], car.dominant.side
    bend = car.axle_at(car.dominant).bend.value
    u = shank_axis(
        side=side, cant=corner.cant.value, sweep=corner.sweep.value, bend=bend, clock=corner.clock.value
    )
    bench, in_the_car = slopes_of(bend_gauge(car))
    assert bench == pytest.approx(bend, abs=1e-12)
    assert in_the_car == pytest.approx(math.atan2(-u[2], side * u[1]), abs=1e-12)


def test_the_plate_for_the_car_lies_a_millimetre_under_the_pin_with_its_edge_on_the_underside() -> None:
    car = changed(lark(), {"front_left.clock": 0.0})
    plate = min(areas(bend_gauge(car), Pen.CUT_OUTER), key=lambda one: one.points[0][1])
    (left, under), (_, also_under), first, _, *_ = plate.points
    assert under == also_under
    side_face = left + 60.0
    axis = under + 9.4 - (first[0] - side_face) * math.tan(2.6 * DEG)
    assert axis - first[1] == pytest.approx(0.5 * 2.38 / math.cos(2.6 * DEG) + 1.0)


def test_the_rise_is_told_at_the_working_distance() -> None:
    assert "rise 1.36 mm" in texts(bend_gauge(lark()))
    assert f"rise {20.0 * math.tan(2.6 * DEG):.2f} mm" in texts(bend_gauge(lark(), working=0.020))


def test_there_is_nothing_to_gauge_without_a_bend() -> None:
    with pytest.raises(OutOfRange, match=r"setup.bent_axles: Heron is built for a class without bent axles"):
        bend_gauge(heron())
    with pytest.raises(OutOfRange, match=r"axles\..+\.bend: the front left axle is straight"):
        bend_gauge(changed(lark(), {"front_left.bend": 0.0}))
    with pytest.raises(OutOfRange, match=r"axles\..+\.bend: a bend of 25.00° is more than the 20 degrees"):
        bend_gauge(changed(lark(), {"front_left.bend": 25.0 * DEG}))
    with pytest.raises(
        OutOfRange, match=r"working: a working distance of 500 mm is not between 15 and 60 mm"
    ):
        bend_gauge(lark(), working=0.5)


# Centring block


def test_the_block_is_as_wide_as_the_body_behind_and_as_the_rail_in_front() -> None:
    drawing = centring_block(lark())
    (outline,) = areas(drawing, Pen.CUT_OUTER)
    xs = sorted({round(x, 9) for x, _ in outline.points})
    tail, step, front = xs
    behind = [y for x, y in outline.points if x == pytest.approx(tail)]
    ahead = [y for x, y in outline.points if x == pytest.approx(front)]
    assert max(behind) - min(behind) == pytest.approx(48.06)
    assert max(ahead) - min(ahead) == pytest.approx(46.0)
    assert max(behind) + min(behind) == pytest.approx(max(ahead) + min(ahead))
    assert tail < step < front
    across = [line for line in lines(drawing, Pen.SCORE) if line.start[0] == line.end[0]]
    rear_line, front_line = sorted(line.start[0] for line in across)
    assert rear_line - tail == pytest.approx(22.0)
    assert front_line - rear_line == pytest.approx(124.2)
    assert front - front_line > 0.5 * 32.1
    (middle,) = [line for line in lines(drawing, Pen.SCORE) if line.start[1] == line.end[1]]
    assert 2.0 * middle.start[1] == pytest.approx(max(behind) + min(behind))


def test_the_block_is_thick_enough_for_the_wheels_to_hang_clear() -> None:
    def thick(car: Car) -> float:
        (side,) = [one for one in areas(centring_block(car), Pen.OUTLINE) if len(one.points) == 4]
        return side.points[2][1] - side.points[0][1]

    assert thick(lark()) == 12.0
    # A wheel of 60 mm on a hole 9 mm up, hanging by half of 0.1 mm, reaches 21.05 mm below the underside.
    assert thick(changed(flat_car(), {"rear_left.diameter": 60.0 * MM})) == 25.0


def test_the_dominant_wheel_is_named_on_its_own_side() -> None:
    for car, side in ((lark(), "left"), (mirrored(lark()), "right")):
        drawing = centring_block(car)
        (label,) = [one for one in drawing.marks if isinstance(one, Text) and one.text == f"front {side}"]
        (outline,) = areas(drawing, Pen.CUT_OUTER)
        _, _, low, high = reach(outline)
        assert (label.at[1] > high) if side == "left" else (label.at[1] < low)


# Relief gauge


def tongues(drawing: Drawing) -> list[float]:
    """Return how far the tongues stand out from their straight edges [mm]."""
    found = []
    for bar in areas(drawing, Pen.CUT_OUTER):
        ys = [y for _, y in bar.points]
        low, high = bar.points[0][1], bar.points[0][1] + 16.0
        found += [low - min(ys), max(ys) - high]
    return sorted(step for step in found if step > 1e-9)


def test_the_tongues_go_by_tenths_to_the_target_and_one_past_it() -> None:
    steps = tongues(relief_gauge(changed(lark(), {"front_left.relief": 0.45 * MM})))
    assert steps == [pytest.approx(step) for step in (0.1, 0.2, 0.3, 0.4, 0.45, 0.5)]


def test_in_inches_they_go_by_five_thousandths() -> None:
    steps = tongues(relief_gauge(changed(lark(), {"front_left.relief": 12 * 25.4e-6}), units="in"))
    assert steps == [pytest.approx(thou * 0.0254) for thou in (5, 10, 12, 15)]


def test_a_target_on_a_step_is_that_step_and_a_deep_one_takes_coarser_steps() -> None:
    steps = tongues(relief_gauge(changed(lark(), {"front_left.relief": 0.3 * MM})))
    assert steps == [pytest.approx(step) for step in (0.1, 0.2, 0.3, 0.4)]
    steps = tongues(relief_gauge(changed(lark(), {"front_left.relief": 2.1 * MM})))
    assert steps == [pytest.approx(step) for step in (*(0.2 * n for n in range(1, 11)), 2.1, 2.2)]


def test_one_tongue_is_hatched_and_it_is_the_target_s() -> None:
    for depth in (0.25, 0.35):
        drawing = relief_gauge(changed(lark(), {"front_left.relief": depth * MM}))
        (hatched,) = areas(drawing, tone=Tone.BAND)
        ends = {round(y, 9) for bar in areas(drawing, Pen.CUT_OUTER) for _, y in bar.points}
        assert any(round(y, 9) in ends for _, y in hatched.points)
        assert f"stop here {depth:.2f} mm" in texts(drawing)


def test_without_a_relief_there_is_no_relief_gauge() -> None:
    with pytest.raises(
        OutOfRange, match=r"stations.front_left.relief: no relief is planned at the front left wheel"
    ):
        relief_gauge(lark())
    with pytest.raises(OutOfRange, match=r"stations.front_left.relief: a relief of 30 mm is not one"):
        relief_gauge(changed(lark(), {"front_left.relief": 30.0 * MM}))


# Height comparator


@BOTH_UNITS
def test_lines_stand_twenty_times_their_height_from_the_thin_end(units: str) -> None:
    drawing = height_comparator(lark(), units=units)
    (outline,) = areas(drawing, Pen.CUT_OUTER)
    left, low = min(outline.points)
    base = min(y for x, y in outline.points if x == left and y != low) - low
    numbers = {
        text.at[0]: text.text for text in drawing.marks if isinstance(text, Text) and text.height == 2.2
    }
    assert len(numbers) >= 5
    for x, text in numbers.items():
        height = float(text) * (1.0 if units == "mm" else 0.0254)
        assert x - left == pytest.approx(20.0 * (height - base), abs=1e-9)
        (line,) = [one for one in lines(drawing, Pen.SCORE) if one.end[0] == x]
        assert line.end[1] - low == pytest.approx(height)


def test_the_target_band_and_the_rear_line_stand_where_the_car_sits() -> None:
    car = replace(
        lark(), targets=replace(lark().targets, height_difference=Target(value=0.0004, tolerance=0.0001))
    )
    drawing = height_comparator(car)
    (outline,) = areas(drawing, Pen.CUT_OUTER)
    left, low = min(outline.points)
    base = outline.points[-1][1] - low
    rear = stance(car).rear / MM
    (band,) = areas(drawing, tone=Tone.BAND)
    ends = sorted({x for x, _ in band.points})
    assert [x - left for x in ends] == [pytest.approx(20.0 * (rear + off - base)) for off in (0.3, 0.5)]
    longest = max(lines(drawing, Pen.SCORE), key=lambda one: one.end[1] - one.start[1])
    assert longest.end[0] - left == pytest.approx(20.0 * (rear - base))


def test_a_car_too_low_or_without_a_stand_has_no_comparator() -> None:
    with pytest.raises(OutOfRange, match=r"too low for a wedge; 4 mm is the least"):
        height_comparator(changed(lark(), {f"{station.value}.hole_height": 14.0 * MM for station in Station}))
    behind = replace(lark().body.centre_of_mass[0], value=-0.3)
    tail_heavy = replace(
        lark(), body=replace(lark().body, centre_of_mass=(behind, *lark().body.centre_of_mass[1:]))
    )
    with pytest.raises(CarCannotRest):
        height_comparator(tail_heavy)


# Board scale


def ticks(drawing: Drawing) -> tuple[list[float], list[float]]:
    """Return where the drift's and the steer's lines stand, to the right of the middle [mm]."""
    middle = 0.5 * drawing.width
    (outline,) = areas(drawing, Pen.CUT_OUTER)
    _, _, low, high = reach(outline)
    scored = lines(drawing, Pen.SCORE)
    return (
        sorted(line.end[0] - middle for line in scored if line.end[1] == high),
        sorted(line.start[0] - middle for line in scored if line.start[1] == low),
    )


def test_the_upper_edge_is_a_rule() -> None:
    drifts, _ = ticks(board_scale(lark()))
    assert drifts == [pytest.approx(number) for number in range(-110, 111)]
    drifts, _ = ticks(board_scale(lark(), units="in"))
    assert drifts == [pytest.approx(number * 25.4 / 8.0) for number in range(-32, 33)]


@pytest.mark.parametrize("car", [LARK, mirrored(LARK), CARS["rear wheels that steer"]])
def test_the_lower_edge_has_the_drift_of_each_tenth_of_a_degree(car: Car) -> None:
    found = stance(car)
    contact = found.stations[car.dominant].contact
    rear_x = 0.5 * (found.stations[REAR_LEFT].contact[0] + found.stations[REAR_RIGHT].contact[0])
    expected = []
    for number in range(-25, 26):
        k = curvature(
            dominant_steer=number * 0.1 * DEG,
            rear_steer=found.drift.rear_steer,
            length=found.drift.length,
            contact_y=contact[1],
        )
        watched = math.cos(found.pitch) * car.body.wheelbase.value - rear_x
        drift = drift_over(curvature=k, rear_steer=found.drift.rear_steer, wheelbase=watched, board=1.0)
        if abs(drift) <= 0.110:
            expected.append(-drift / MM)
    _, steers = ticks(board_scale(car))
    assert steers == [pytest.approx(x, abs=1e-7) for x in sorted(expected)]
    assert len(expected) >= 20


def test_what_the_car_does_now_stands_on_the_scale_where_its_stance_says() -> None:
    car = lark()
    found = stance(car)
    axis = found.stations[car.dominant].axis
    steer = steer_of(axis, side=1)
    _, steers = ticks(board_scale(car))
    assert found.drift.lateral is not None
    # Between the lines for 0.9 and 1.0 degrees to the right lies the present steer of 0.975.
    assert 0.9 < -steer / DEG < 1.0
    to_the_right = [x for x in steers if x > 1e-6]
    assert to_the_right[8] < -found.drift.lateral / MM < to_the_right[9]


@pytest.mark.parametrize(("value", "ends"), [(-0.07, (60.0, 80.0)), (0.07, (-80.0, -60.0))])
def test_the_target_band_lies_on_its_own_side(value: float, ends: tuple[float, float]) -> None:
    car = replace(lark(), targets=replace(lark().targets, drift=Target(value=value, tolerance=0.01)))
    drawing = board_scale(car)
    (band,) = areas(drawing, tone=Tone.BAND)
    left, right, _, _ = reach(band)
    assert (left - 0.5 * drawing.width, right - 0.5 * drawing.width) == pytest.approx(ends)


def test_left_is_written_at_the_left() -> None:
    drawing = board_scale(lark())
    places = {mark.text: mark.at[0] for mark in drawing.marks if isinstance(mark, Text) and mark.strong}
    assert places["left"] < 0.5 * drawing.width < places["right"]


def test_a_target_off_the_board_is_refused() -> None:
    car = replace(lark(), targets=replace(lark().targets, drift=Target(value=0.5, tolerance=0.01)))
    with pytest.raises(OutOfRange, match=r"targets.drift: a drift target that ends 510.0 mm from the middle"):
        board_scale(car)


# Washers


def test_rings_and_slotted_ones_have_the_pin_s_hole_and_one_to_spare() -> None:
    drawing = washer_shims(changed(lark(), {"front_left.washer": 0.3 * MM}), sheet=0.1 * MM, outside=5.0 * MM)
    cut = [one for one in circles(drawing) if one.pen in {Pen.CUT_OUTER, Pen.CUT_INNER}]
    assert sorted(2.0 * one.radius for one in cut) == [pytest.approx(d) for d in [2.53] * 4 + [5.0] * 4]
    assert len({one.centre for one in cut}) == 4
    slotted = areas(drawing, Pen.CUT_OUTER)
    assert len(slotted) == 4
    for shim in slotted:
        left, right, low, high = reach(shim)
        centre = (0.5 * (left + right), low + 2.5)
        sizes = [math.dist(point, centre) for point in shim.points]
        assert max(sizes) == pytest.approx(2.5, abs=2e-3)
        assert min(sizes) == pytest.approx(1.265, abs=1e-9)
        tips = [x for x, y in shim.points if y > high - 1e-6]
        assert max(tips) - min(tips) == pytest.approx(2.53)
    assert "front left: 3 × 0.10 mm = 0.30 mm; one spare of each kind" in texts(drawing)


def test_each_wheel_with_a_washer_has_its_row_and_the_rest_have_none() -> None:
    drawing = washer_shims(changed(lark(), {"front_right.washer": 0.25 * MM, "rear_left.washer": 0.7 * MM}))
    rows = [text for text in texts(drawing) if "spare" in text]
    assert rows == [
        "front right: 1 × 0.25 mm = 0.25 mm; one spare of each kind",
        "rear left: 3 × 0.25 mm = 0.75 mm; one spare of each kind",
    ]


def test_what_a_stack_misses_is_told() -> None:
    notes = washer_shims(changed(lark(), {"front_left.washer": 0.33 * MM}), sheet=0.2 * MM).notes
    assert "Front left: 2 of 0.20 mm for 0.33 mm, 0.07 mm more than wanted." in notes


@pytest.mark.parametrize(
    ("wish", "key"),
    [
        ({"sheet": 0.001 * MM}, "sheet"),
        ({"sheet": -1.0}, "sheet"),
        ({"outside": 0.0026}, "outside"),
        ({"outside": 0.05}, "outside"),
    ],
)
def test_washers_that_cannot_be_cut_are_refused(wish: dict[str, float], key: str) -> None:
    with pytest.raises(InputError) as caught:
        washer_shims(changed(lark(), {"front_left.washer": 0.3 * MM}), **wish)  # type: ignore[arg-type] # as above
    assert caught.value.key == key


def test_without_washers_there_is_nothing_to_cut() -> None:
    with pytest.raises(OutOfRange, match=r"stations.front_left.washer: no wheel of Lark has a washer"):
        washer_shims(lark())
