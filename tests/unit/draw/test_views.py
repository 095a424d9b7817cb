"""The views of a car, measured in their marks: scale, exaggeration, gaps, and what is said in words."""

from __future__ import annotations

import math
import re

import pytest

from rollwright.car import Station
from rollwright.car.model import Target
from rollwright.draw.drawing import Circle, Drawing, Line, Pen, Point, Polyline, Text, Tone
from rollwright.draw.views import (
    VIEWS,
    board_view,
    front_view,
    rear_view,
    side_view,
    top_view,
    view_named,
)
from rollwright.draw.wheels import Factors, drawn_wheel, in_track_frame
from rollwright.errors import OutOfRange
from rollwright.geometry import stance
from rollwright.geometry.axle import hole_axis
from rollwright.quantity import Quantity, Source
from tests.unit.cars import DEG, MM, changed, club_car, flat_car, heron, lark

_CLUB = ("lark", "heron", "bittern")


def _words(drawing: Drawing) -> list[str]:
    return [mark.text for mark in drawing.marks if isinstance(mark, Text)]


def _ratio(drawing: Drawing) -> float:
    """Return drawn over true as the caption says it."""
    found = re.search(r"([\d.]+) : ([\d.]+)", " ".join(_words(drawing)))
    assert found is not None
    return float(found[1]) / float(found[2])


def _factor(drawing: Drawing, what: str) -> float:
    """Return an exaggeration as the caption says it."""
    found = re.search(rf"{what} (?:× ([\d.]+)|true)", " ".join(_words(drawing)))
    assert found is not None
    return float(found[1] or 1.0)


def _filled(drawing: Drawing, tone: Tone) -> list[tuple[Point, ...]]:
    return [mark.points for mark in drawing.marks if isinstance(mark, Polyline) and mark.tone is tone]


def _tyres(drawing: Drawing) -> list[tuple[Point, ...]]:
    """Return the outlines of the wheels; hubs are filled alike but narrow both ways."""
    found = _filled(drawing, Tone.WHEEL)
    return [points for points in found if max(_spans(points)) > 0.6 * max(max(_spans(one)) for one in found)]


def _spans(points: tuple[Point, ...]) -> tuple[float, float]:
    xs, ys = zip(*points, strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


def _longest_edge(points: tuple[Point, ...]) -> tuple[Point, Point]:
    return max(zip(points, (*points[1:], points[0]), strict=True), key=lambda ends: math.dist(*ends))


def _turn(points: tuple[Point, ...]) -> float:
    """Return how far an outline is turned, by its longest edge, be that along its tread or across it."""
    (ax, ay), (bx, by) = _longest_edge(points)
    turn = math.atan2(abs(by - ay), abs(bx - ax))
    return min(turn, math.pi / 2.0 - turn)


def _thin_lines(drawing: Drawing) -> list[tuple[Point, Point]]:
    return [
        (mark.start, mark.end)
        for mark in drawing.marks
        if isinstance(mark, Line) and mark.pen is Pen.DIMENSION
    ]


def _circles(drawing: Drawing, radius: float) -> list[Circle]:
    return [mark for mark in drawing.marks if isinstance(mark, Circle) and abs(mark.radius - radius) < 0.01]


def _ground(drawing: Drawing) -> float:
    """Return the height of the ground: the line across the whole sheet."""
    (line,) = (
        mark
        for mark in drawing.marks
        if isinstance(mark, Line)
        and mark.pen is Pen.OUTLINE
        and mark.end[0] - mark.start[0] > drawing.width - 3.0
    )
    return line.start[1]


@pytest.mark.parametrize("width", [120.0, 180.0])
@pytest.mark.parametrize("name", _CLUB)
def test_wheels_from_the_side_are_circles_to_scale_where_the_stance_says(name: str, width: float) -> None:
    car = club_car(name)
    found, drawing = stance(car), side_view(car, width=width)
    ratio, ground = _ratio(drawing) * 1e3, _ground(drawing)
    wheels = _circles(drawing, car.wheel_at(Station.REAR_LEFT).diameter.value / 2.0 * ratio)
    assert len(wheels) == 4
    near = [wheel for wheel in wheels if wheel.pen is Pen.OUTLINE]
    rear, front = (found.stations[station] for station in (Station.REAR_RIGHT, Station.FRONT_RIGHT))
    assert near[1].centre[0] - near[0].centre[0] == pytest.approx(
        ratio * (front.centre[0] - rear.centre[0]), abs=0.01
    )
    assert near[0].centre[1] - ground == pytest.approx(ratio * rear.centre[2], abs=0.01)


def test_the_raised_wheel_hangs_its_clearance_above_the_ground() -> None:
    car = lark()
    drawing = side_view(car)
    ratio, ground = _ratio(drawing) * 1e3, _ground(drawing)
    radius = ratio * car.wheel_at(Station.FRONT_RIGHT).diameter.value / 2.0
    lowest = [mark.centre[1] - mark.radius - ground for mark in _circles(drawing, radius)]
    raise_ = stance(car).stations[Station.FRONT_RIGHT].hanging_clearance
    assert max(lowest) == pytest.approx(ratio * raise_, abs=0.01)
    assert f"raise {1e3 * raise_:.2f}" in _words(drawing)


@pytest.mark.parametrize("asked", [None, 1.0, 7.0])
@pytest.mark.parametrize("front", [8.3, 9.4, 9.9])
def test_the_height_difference_is_drawn_times_its_factor(asked: float | None, front: float) -> None:
    car = changed(lark(), {"front_left.hole_height": front * MM})
    found, drawing = stance(car), side_view(car, exaggeration=asked)
    ratio, factor = _ratio(drawing) * 1e3, _factor(drawing, "height difference")
    assert asked is None or factor == asked
    wheelbase = ratio * car.body.wheelbase.value
    (line,) = (
        mark
        for mark in drawing.marks
        if isinstance(mark, Line)
        and mark.pen is Pen.OUTLINE
        and math.dist(mark.start, mark.end) == pytest.approx(wheelbase, abs=1e-6)
    )
    assert line.end[1] - line.start[1] == pytest.approx(ratio * factor * found.height_difference, abs=1e-6)
    assert line.start[1] - _ground(drawing) == pytest.approx(ratio * found.rear, abs=1e-6)


def test_a_chosen_factor_keeps_the_nose_above_the_ground() -> None:
    car = changed(lark(), {"front_left.hole_height": 11.0 * MM})
    drawing = side_view(car)
    assert stance(car).height_difference < 0.0
    (wood,) = _filled(drawing, Tone.WOOD)
    assert min(y for _, y in wood) > _ground(drawing)
    assert any(words.endswith("nose low") for words in _words(drawing))


def test_what_is_not_known_of_the_height_difference_is_drawn_as_a_wedge() -> None:
    drawing = side_view(lark(), uncertainties={"height_difference": 0.24 * MM})
    ratio, factor = _ratio(drawing), _factor(drawing, "height difference")
    (wedge,) = _filled(drawing, Tone.DOUBT)
    assert _spans(wedge)[1] == pytest.approx(2.0 * 0.24 * ratio * factor, abs=0.05)
    assert "0.04 ± 0.24 nose high" in _words(drawing)


@pytest.mark.parametrize("asked", [None, 1.0])
def test_a_plain_wheel_from_above_stands_off_the_rail_by_its_gap(asked: float | None) -> None:
    # Half the width and the hub make 25 + 2 mm from the centre line, half the rail 22 mm: 5 mm of gap.
    drawing = top_view(flat_car(), exaggeration=asked)
    ratio, gaps = _ratio(drawing), _factor(drawing, "gaps")
    (rail, *_) = _filled(drawing, Tone.RAIL)
    middle = sum(y for _, y in rail) / len(rail)
    left = min(min(y for _, y in points) for points in _tyres(drawing) if min(y for _, y in points) > middle)
    assert left - max(y for _, y in rail) == pytest.approx(5.0 * ratio * gaps, abs=1e-6)
    assert "5.00 off the rail" in _words(drawing)


def test_a_true_top_view_projects_the_wheels_as_they_stand() -> None:
    car = lark()
    found, drawing = stance(car), top_view(car, exaggeration=1.0)
    ratio = _ratio(drawing) * 1e3
    (rail, *_) = _filled(drawing, Tone.RAIL)
    middle = sum(y for _, y in rail) / len(rail)
    assert _spans(rail)[1] == pytest.approx(46.0 * _ratio(drawing), abs=0.01)
    # A wheel of radius 16.05 mm and width 8.6 mm that leans 2.5 degrees and runs straight.
    at = found.stations[Station.REAR_LEFT]
    broad = 8.6 * math.cos(at.camber) + 32.1 * abs(math.sin(at.camber))
    rear = next(
        points
        for points in _tyres(drawing)
        if _spans(points)[1] == pytest.approx(broad * ratio / 1e3, abs=0.02)
    )
    assert _spans(rear)[0] == pytest.approx(32.1 * ratio / 1e3, abs=0.01)
    ys = [y for _, y in rear]
    assert (max(ys) + min(ys)) / 2.0 - middle == pytest.approx(at.centre[1] * ratio, abs=0.01)


def test_steer_is_drawn_times_its_factor_and_said_true() -> None:
    car = changed(flat_car(), {"front_left.sweep": 1.0 * DEG})
    drawing = top_view(car)
    factor = _factor(drawing, "steer")
    assert factor > 1.0
    turns = [_turn(points) for points in _tyres(drawing)]
    assert max(turns) == pytest.approx(factor * 1.0 * DEG, abs=1e-3)
    assert sorted(turns)[:3] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert "steer 1.00° right" in _words(drawing)
    # Heading right of straight ahead is downward on the sheet.
    assert any(
        math.atan2(end[1] - start[1], end[0] - start[0]) == pytest.approx(-factor * DEG)
        for start, end in _thin_lines(drawing)
    )


def test_camber_is_drawn_times_its_factor_and_said_true() -> None:
    car = changed(flat_car(), {"front_left.cant": -2.0 * DEG})
    camber = stance(car).stations[Station.FRONT_LEFT].camber
    drawing = front_view(car)
    factor = _factor(drawing, "camber and cant")
    assert factor > 1.0
    turns = [_turn(points) for points in _tyres(drawing)]
    assert max(turns) == pytest.approx(factor * camber, abs=1e-3)
    assert f"camber {math.degrees(camber):.2f}° out" in _words(drawing)
    assert "cant 2.00° down" in _words(drawing)
    # The top leans outward, which is to the right for the left wheel seen from in front.
    assert any(
        math.atan2(end[0] - start[0], end[1] - start[1]) == pytest.approx(factor * camber)
        for start, end in _thin_lines(drawing)
    )


def test_a_wheel_whose_top_leans_outward_leans_outward_on_the_sheet() -> None:
    car = changed(flat_car(), {"front_left.cant": -2.0 * DEG, "rear_left.cant": -2.0 * DEG})
    for drawing, side in ((front_view(car), 1.0), (rear_view(car), -1.0)):
        leaning = max(_tyres(drawing), key=_turn)
        top, low = (
            sum(x for x, y in leaning if abs(y - height) < 3.0)
            / sum(abs(y - height) < 3.0 for _, y in leaning)
            for height in (max(y for _, y in leaning), min(y for _, y in leaning))
        )
        assert side * (low - drawing.width / 2.0) > 0.0
        assert side * (top - low) > 1.0


@pytest.mark.parametrize("asked", [None, 1.0])
def test_from_in_front_the_dominant_wheel_stands_off_the_rail_by_its_gap(asked: float | None) -> None:
    car = heron()
    found, drawing = stance(car), front_view(car, exaggeration=asked)
    ratio, gaps = _ratio(drawing), _factor(drawing, "gaps")
    assert found.rail_offset is not None
    (rail,) = _filled(drawing, Tone.RAIL)
    # The heron's camber is small but rules: the innermost point is the wheel's lowest inner corner.
    dominant = max(_tyres(drawing), key=lambda points: max(x for x, _ in points))
    gap = min(x for x, _ in dominant) - max(x for x, _ in rail)
    assert gap == pytest.approx(1e3 * found.rail_offset * ratio * gaps, abs=0.03)
    assert _spans(rail)[1] == pytest.approx(5.5 * ratio, abs=1e-6)
    if asked == 1.0:
        assert _spans(rail)[0] == pytest.approx(46.0 * ratio, abs=1e-6)


@pytest.mark.parametrize("name", _CLUB)
@pytest.mark.parametrize("station", list(Station))
def test_a_true_pin_comes_out_of_its_hole(name: str, station: Station) -> None:
    car = club_car(name)
    found, corner = stance(car), car.corners[station]
    ahead = car.body.wheelbase.value if station.is_front else 0.0
    hole = (
        ahead + corner.offset.value,
        station.side * (car.body.width.value / 2.0 - corner.relief.value),
        corner.hole_height.value,
    )
    wheel = drawn_wheel(car, found, station, Factors())
    # A drawn wheel bears on its pin straight above the ground, a real one straight above its body: half the
    # slack times the body's slope of some thousandths.
    assert wheel.on_pin(wheel.face) == pytest.approx(in_track_frame(found, hole), abs=5e-7)
    assert wheel.axis == pytest.approx(found.stations[station].axis, abs=1e-12)
    origin = in_track_frame(found, (0.0, 0.0, 0.0))
    drilled = in_track_frame(
        found, hole_axis(side=station.side, cant=corner.cant.value, sweep=corner.sweep.value)
    )
    assert wheel.hole == pytest.approx([a - b for a, b in zip(drilled, origin, strict=True)], abs=1e-12)


def test_play_and_washers_are_drawn_where_the_wheel_runs() -> None:
    car = changed(lark(), {"rear_left.washer": 0.5 * MM})
    found = stance(car)
    for factor in (1.0, 5.0):
        head = drawn_wheel(car, found, Station.REAR_LEFT, Factors(gaps=factor))
        assert (head.washer, head.inner, head.outer) == pytest.approx((0.5e-3 * factor, 0.6e-3 * factor, 0.0))
        body = drawn_wheel(car, found, Station.FRONT_LEFT, Factors(gaps=factor))
        assert (body.washer, body.inner, body.outer) == pytest.approx((0.0, 0.0, 0.6e-3 * factor))
    assert {"washer 0.50", "play 0.60"} <= set(_words(top_view(car)))


def test_with_larger_gaps_the_pin_still_comes_out_of_the_drawn_side_face() -> None:
    car = changed(flat_car(), {"front_left.washer": 0.3 * MM, "front_left.relief": 0.2 * MM})
    for factor in (1.0, 2.0, 5.0):
        wheel = drawn_wheel(car, stance(car), Station.FRONT_LEFT, Factors(gaps=factor))
        assert wheel.on_pin(wheel.face)[1] == pytest.approx((25.0 - 0.2 * factor) * MM, abs=1e-9)


def test_relief_is_cut_out_of_the_body_at_its_station() -> None:
    car = changed(lark(), {"front_left.relief": 0.4 * MM})
    drawing = top_view(car)
    ratio, gaps = _ratio(drawing), _factor(drawing, "gaps")
    (wood,) = _filled(drawing, Tone.WOOD)
    heights = sorted({round(y, 6) for _, y in wood})
    assert len(heights) == 3
    assert heights[2] - heights[1] == pytest.approx(0.4 * ratio * gaps, abs=1e-5)
    assert heights[2] - heights[0] == pytest.approx(48.06 * ratio, abs=1e-3)
    assert "relief 0.40" in _words(drawing)


def _path(drawing: Drawing) -> tuple[Point, ...]:
    """Return the path by the model: the line with the most points that is no band's edge."""
    return max(
        (
            m.points
            for m in drawing.marks
            if isinstance(m, Polyline) and m.pen is Pen.OUTLINE and not m.closed
        ),
        key=len,
    )


@pytest.mark.parametrize("name", _CLUB)
@pytest.mark.parametrize("asked", [None, 1.0, 3.0])
def test_the_path_ends_at_the_drift_times_its_factor(name: str, asked: float | None) -> None:
    car = club_car(name)
    found, drawing = stance(car), board_view(car, exaggeration=asked)
    ratio, factor = _ratio(drawing) * 1e3, _factor(drawing, "sideways")
    path = _path(drawing)
    assert found.drift.lateral is not None
    assert path[0][0] == pytest.approx(drawing.width / 2.0)
    # Left is left: a car that drifts to the left has a positive drift.
    assert path[0][0] - path[-1][0] == pytest.approx(ratio * factor * found.drift.lateral, abs=0.02)
    assert path[-1][1] - path[0][1] == pytest.approx(ratio * car.board.length.value, abs=1e-6)


def test_the_wanted_band_and_the_reading_end_where_they_should() -> None:
    reading = Quantity(value=-66.0 * MM, uncertainty=4.0 * MM, source=Source.MEASURED)
    target = Target(value=-70.0 * MM, tolerance=10.0 * MM)
    drawing = board_view(lark(), reading=reading, target=target)
    scale = _ratio(drawing) * _factor(drawing, "sideways")
    middle = drawing.width / 2.0
    wedge, bar = _filled(drawing, Tone.BAND)
    ends = [x for x, y in wedge if y > max(y for _, y in wedge) - 1e-6]
    assert (min(ends) - middle, max(ends) - middle) == pytest.approx((60.0 * scale, 80.0 * scale), abs=1e-3)
    assert _spans(bar)[0] == pytest.approx(20.0 * scale, abs=1e-6)
    (read,) = _filled(drawing, Tone.DOUBT)
    xs = [x - middle for x, _ in read]
    assert (min(xs), max(xs)) == pytest.approx((62.0 * scale, 70.0 * scale), abs=1e-6)
    assert "read 66 ± 4 mm right" in _words(drawing)


def test_the_verdict_on_a_reading_is_said_in_words() -> None:
    target = Target(value=-70.0 * MM, tolerance=10.0 * MM)
    for value, said in ((-70.0, "pass"), (-90.0, "fail"), (-80.0, "cannot tell")):
        reading = Quantity(value=value * MM, uncertainty=2.0 * MM, source=Source.MEASURED)
        words = _words(board_view(lark(), reading=reading, target=target))
        assert [one for one in words if one.startswith(f"{said}: ")]
    assert "never read" in _words(board_view(lark()))


def test_the_modelled_drift_has_a_band_as_wide_as_its_uncertainty() -> None:
    drawing = board_view(lark(), uncertainty=5.0 * MM, exaggeration=2.0)
    (band,) = _filled(drawing, Tone.DOUBT)
    ends = [x for x, y in band if y > max(y for _, y in band) - 1e-6]
    assert max(ends) - min(ends) == pytest.approx(10.0 * 2.0 * _ratio(drawing), abs=0.01)


def test_a_car_that_turns_back_is_drawn_as_far_as_it_comes() -> None:
    car = changed(flat_car(), {"front_left.sweep": 40.0 * DEG})
    assert stance(car).drift.lateral is None
    drawing = board_view(car)
    assert "by the model it turns back before the end" in _words(drawing)
    assert any(words.startswith("turns back before") for words in _words(top_view(car)))


def test_numbers_are_written_in_the_units_that_are_asked_for() -> None:
    car = club_car("bittern")
    assert {"1.875", "washer 10 thou"} <= set(_words(top_view(car, units="in")))
    assert {"47.6", "washer 0.25"} <= set(_words(top_view(car, units="mm")))
    assert "7.312" in _words(side_view(car, units="in"))


def test_what_a_file_does_not_know_is_said_to_be_assumed() -> None:
    assert any("top of the body assumed" in words for words in _words(side_view(lark())))


@pytest.mark.parametrize("view", VIEWS)
def test_type_is_large_enough_and_a_true_drawing_says_that_it_is(view: str) -> None:
    for width in (120.0, 180.0):
        drawing = view_named(view, lark(), width=width, exaggeration=1.0)
        assert drawing.width == width
        assert min(mark.height for mark in drawing.marks if isinstance(mark, Text)) >= 3.2
        assert any(words.endswith("true") or " true " in words for words in _words(drawing)[-3:])


@pytest.mark.parametrize("view", VIEWS)
def test_a_view_uses_the_stance_that_it_is_given(view: str) -> None:
    car = lark()
    drawing = view_named(view, car, stance=stance(car))
    assert drawing == view_named(view, car)
    other = stance(
        changed(
            car,
            {
                "front_left.clock": 90.0 * DEG,
                "front_left.hole_height": 9.9 * MM,
                "rear_left.hole_height": 9.2 * MM,
                "rear_left.cant": 1.0 * DEG,
            },
        )
    )
    assert drawing != view_named(view, car, stance=other)


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({"width": 20.0}, "20 mm wide"),
        ({"width": math.nan}, "nan mm wide"),
        ({"exaggeration": 0.5}, "0.5 times"),
        ({"exaggeration": math.nan}, "nan times"),
        ({"units": "ell"}, "'ell'"),
    ],
)
def test_what_cannot_be_drawn_is_refused(view: str, asked: dict[str, float], problem: str) -> None:
    with pytest.raises(OutOfRange, match=problem):
        view_named(view, lark(), **asked)  # type: ignore[arg-type]


def test_angles_are_not_drawn_past_sixty_degrees() -> None:
    car = changed(flat_car(), {"front_left.sweep": 4.0 * DEG, "front_left.cant": -4.0 * DEG})
    for view in (top_view, front_view):
        with pytest.raises(OutOfRange, match=r"give a factor of at most 1[45]"):
            view(car, exaggeration=20.0)
        view(car, exaggeration=14.0)
    high = changed(lark(), {"front_left.hole_height": 6.0 * MM})
    with pytest.raises(OutOfRange, match="height difference"):
        side_view(high, exaggeration=50.0)


def test_an_uncertainty_that_is_none_is_refused() -> None:
    with pytest.raises(OutOfRange, match="uncertainty"):
        board_view(lark(), uncertainty=-1.0)
