"""Gauges against answers from elsewhere: a drill table, and triangles worked by hand."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from rollwright.car.model import Car, Station
from rollwright.draw.drawing import Circle, Drawing, Line, Pen, Polyline, Text
from rollwright.draw.gauge_drills import NUMBER_DRILLS, metric_bit, nearest_bit, number_bit
from rollwright.draw.gauge_washer_plan import washer_plan
from rollwright.draw.gauges import bend_gauge, board_scale, drill_template, guide_block, height_comparator
from rollwright.errors import OutOfRange
from rollwright.units import System
from tests.unit.cars import DEG, MM, changed, flat_car, lark

# ANSI/ASME B94.11M-1993 (R2014), Twist Drills, number sizes: number, inches, millimetres. Read in a published
# copy of the table; the standard itself was not seen.
NUMBER_TABLE = (
    (40, 0.0980, 2.4892),
    (41, 0.0960, 2.4384),
    (42, 0.0935, 2.3749),
    (43, 0.0890, 2.2606),
    (44, 0.0860, 2.1844),
    (45, 0.0820, 2.0828),
    (46, 0.0810, 2.0574),
    (47, 0.0785, 1.9939),
    (48, 0.0760, 1.9304),
    (49, 0.0730, 1.8542),
    (50, 0.0700, 1.7780),
    (51, 0.0670, 1.7018),
    (52, 0.0635, 1.6129),
    (53, 0.0595, 1.5113),
    (54, 0.0550, 1.3970),
    (55, 0.0520, 1.3208),
    (56, 0.0465, 1.1811),
)


@pytest.mark.parametrize(("number", "inches", "millimetres"), NUMBER_TABLE)
def test_each_number_drill_is_the_table_s(number: int, inches: float, millimetres: float) -> None:
    found = number_bit(millimetres * MM)
    assert found is not None
    assert found.name == f"No. {number}"
    assert found.diameter == pytest.approx(millimetres * MM, rel=1e-12)
    assert found.size(System.INCH) == f"{inches:.4f} in"


def test_the_table_holds_no_other_number() -> None:
    assert list(NUMBER_DRILLS) == [number for number, _, _ in NUMBER_TABLE]


@pytest.mark.parametrize(
    ("hole", "name"),
    [
        # By hand: 2.38 lies 0.0051 from No. 42 and 0.02 from 2.4 mm; 2.42 lies 0.0184 from No. 41.
        (2.38, "No. 42"),
        (2.42, "No. 41"),
        (2.41, "2.4 mm"),
        (2.30, "2.3 mm"),
        (2.25, "No. 43"),
        # Past the last number of the table only metric drills are left.
        (2.6, "2.6 mm"),
        (3.17, "3.2 mm"),
        (1.0, "1.0 mm"),
    ],
)
def test_the_nearest_drill_is_chosen(hole: float, name: str) -> None:
    assert nearest_bit(hole * MM).name == name


@pytest.mark.parametrize("hole", [2.6, 1.1])
def test_outside_the_table_there_is_no_number(hole: float) -> None:
    assert number_bit(hole * MM) is None


def test_metric_drills_go_in_tenths() -> None:
    # Common practice, no source.
    assert metric_bit(2.34 * MM).diameter == pytest.approx(2.3 * MM)
    with pytest.raises(OutOfRange, match="hole: a hole of 9 mm is not one for an axle pin"):
        metric_bit(9.0 * MM)


def canted(car: Car, degrees: float) -> Car:
    return changed(car, {f"{station.value}.cant": degrees * DEG for station in Station})


def dimensions(drawing: Drawing) -> list[str]:
    return [mark.text for mark in drawing.marks if isinstance(mark, Text)]


def test_a_three_degree_hole_rises_by_hand_over_a_twenty_millimetre_block() -> None:
    # tan 3 degrees = 0.0524078 (any table of tangents): 20 mm further out the axis is 1.0482 mm higher.
    drawing = guide_block(canted(flat_car(), 3.0))
    assert dimensions(drawing).count("9.00 mm") == 3
    assert dimensions(drawing).count("10.05 mm") == 3
    assert dimensions(drawing).count("12.00 mm") == 1
    assert dimensions(drawing).count("13.05 mm") == 1


def test_a_swept_sleeve_runs_forward_by_hand() -> None:
    # tan 1 degree = 0.0174551: over 20 mm 0.3491 mm, so 120 mm between the holes become 120.35 mm.
    drawing = guide_block(changed(flat_car(), {"front_left.sweep": 1.0 * DEG}))
    assert "120.35 mm" in dimensions(drawing)
    assert "120.00 mm" in dimensions(drawing)


def test_a_bend_of_three_degrees_rises_by_hand() -> None:
    # tan 3 degrees = 0.0524078: 1.572 mm in 30 mm.
    car = changed(lark(), {"front_left.bend": 3.0 * DEG, "front_left.clock": 0.0})
    drawing = bend_gauge(car, working=0.030)
    assert "rise 1.57 mm" in dimensions(drawing)
    assert "Slope 3.00°: even daylight under the pin" in dimensions(drawing)


@pytest.mark.parametrize(("clock", "slope"), [(0.0, 3.0), (90.0, 0.0), (180.0, -3.0), (60.0, 1.5010)])
def test_a_turned_pin_shows_less_slope_from_the_front(clock: float, slope: float) -> None:
    # A level square hole: the end is down by sin 3 cos clock and out by cos 3. At 60 degrees of clock that is
    # atan(tan 3 / 2) = atan 0.0262039 = 1.5010 degrees, seen along the car.
    car = changed(lark(), {"front_left.bend": 3.0 * DEG, "front_left.clock": clock * DEG})
    plates = [m for m in bend_gauge(car).marks if isinstance(m, Polyline) and m.pen is Pen.CUT_OUTER]
    first, last = min(plates, key=lambda one: one.points[0][1]).points[2:4]
    found = math.degrees(math.atan2(first[1] - last[1], last[0] - first[0]))
    assert found == pytest.approx(slope, abs=1e-4)


def test_a_right_triangle_of_height_difference_is_twenty_times_as_long() -> None:
    # A wedge of 1 in 20: a quarter of a millimetre more height is 5 mm along its foot.
    drawing = height_comparator(lark())
    scored = [m for m in drawing.marks if isinstance(m, Line) and m.pen is Pen.SCORE]
    long = sorted(line.end for line in scored if line.end[1] - line.start[1] == pytest.approx(3.0))
    for before, after in pairwise(long):
        if after[0] - before[0] > 1.0:
            assert (after[0] - before[0]) / (after[1] - before[1]) == pytest.approx(20.0)


def test_the_wheelbase_of_a_flat_car_is_between_its_crosses() -> None:
    # Straight level square holes: everything is as the file has it.
    holes = sorted(m.centre for m in drill_template(flat_car()).marks if isinstance(m, Circle))
    assert holes[2][0] - holes[0][0] == pytest.approx(120.0)
    # Left 9 mm below the lower fold, right 9 mm and 12 mm above the upper one, 50 mm apart.
    assert holes[1][1] - holes[0][1] == pytest.approx(50.0 + 9.0 + 9.0)
    assert holes[3][1] - holes[2][1] == pytest.approx(50.0 + 9.0 + 12.0)


def test_a_small_steer_drifts_as_a_circle_by_hand() -> None:
    """The front point on a board of length d: about tan(steer) (d + d^2 / (2 L)) for slight turns.

    The rear point follows a circle of curvature tan(steer) / L (R. Rajamani, Vehicle Dynamics and Control,
    ch. 2): it goes aside by k d^2 / 2 and the body turns by k d, which carries the front by L k d more.
    """
    drawing = board_scale(flat_car())
    scored = [m for m in drawing.marks if isinstance(m, Line) and m.pen is Pen.SCORE]
    low = min(line.start[1] for line in scored)
    steers = sorted(line.start[0] - 0.5 * drawing.width for line in scored if line.start[1] == low)
    first = min(x for x in steers if x > 1e-6)
    k = math.tan(0.1 * DEG) / 0.120
    by_hand = k * (0.5 * 1.0**2 + 0.120 * 1.0) / MM
    # The steered wheel stands 31 mm beside the centre line, which is tan(steer) 31 / 120, under a thousandth.
    assert first == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize(
    ("total", "units", "count", "sheet"),
    [
        # By hand, with sheet of 0.1, 0.2, 0.25, 0.5 and 1 mm, and of 5, 10, 15, 20 and 30 thou.
        (0.3, "mm", 3, 0.1),
        (0.5, "mm", 1, 0.5),
        (0.75, "mm", 3, 0.25),
        (0.8, "mm", 4, 0.2),
        (2.0, "mm", 2, 1.0),
        (0.254, "in", 1, 0.254),
        (25 * 0.0254, "in", 5, 5 * 0.0254),
        (45 * 0.0254, "in", 3, 15 * 0.0254),
    ],
)
def test_washers_are_made_up_of_the_fewest_layers_that_fit(
    total: float, units: str, count: int, sheet: float
) -> None:
    plan = washer_plan(total * MM, units=units)
    assert plan.count == count
    assert plan.sheet == pytest.approx(sheet * MM)
    assert plan.left_over == pytest.approx(0.0, abs=1e-9)
