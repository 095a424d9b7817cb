"""What each reading would show: against figures worked out by hand and against the plain stance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from rollwright.car import Car, Seat, Station
from rollwright.car.dimensions import dimension_names
from rollwright.errors import ReadingUnusable
from rollwright.geometry.axle import hole_axis, shank_axis
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import Stance, stance
from rollwright.setup.estimate import seats_at
from rollwright.setup.predict import ReadingModel, derivatives, gate_values
from rollwright.setup.readings import Reading, ReadingKind

from .cars import DEG, MM, aimed, changed, flat_car, lark, mirrored, reading

RL, RR, FL, FR = Station
NANOMETRE = 1e-9
EVERY_CAR = [lark(), mirrored(lark())]
BOTH = pytest.mark.parametrize("car", EVERY_CAR, ids=["dominant left", "dominant right"])


def bench_of(car: Car, *readings: Reading) -> tuple[ReadingModel, NDArray[np.float64]]:
    values = dimension_values(car)
    return ReadingModel(car, seats_at(car, values), readings), values


def shown(car: Car, *readings: Reading) -> Sequence[float]:
    bench, values = bench_of(car, *readings)
    found: list[float] = bench.predict(values[None, :])[0].tolist()
    return found


def gap(found: Stance, station: Station) -> float:
    value = found.stations[station].rail_gap
    assert value is not None
    return value


@BOTH
def test_the_three_gates_are_those_of_the_stance(car: Car) -> None:
    found = stance(car)
    read = [ReadingKind.HEIGHT_DIFFERENCE, ReadingKind.DRIFT, ReadingKind.RAIL_OFFSET]
    expected = (found.height_difference, found.drift.lateral, found.rail_offset)
    assert shown(car, *map(reading, read)) == pytest.approx(expected, abs=NANOMETRE)


def test_the_height_difference_of_a_flat_car_is_the_drop_of_its_rear_holes() -> None:
    # All wheels alike and square: the underside sits as high as radius and half the slack less the hole.
    car = changed(flat_car(), {"rear_left.hole_height": 8.7 * MM, "rear_right.hole_height": 8.7 * MM})
    # The car pitches about its contacts, so that the difference grows by the cosine's share only.
    assert shown(car, reading(ReadingKind.HEIGHT_DIFFERENCE))[0] == pytest.approx(-0.3 * MM, rel=1e-4)


def test_the_rail_offset_of_a_flat_car_is_a_sum_of_sizes() -> None:
    # Half the width, plus the hub's projection, less half the rail.
    assert shown(flat_car(), reading(ReadingKind.RAIL_OFFSET))[0] == pytest.approx(
        (25.0 + 2.0 - 22.0) * MM, abs=NANOMETRE
    )


@BOTH
@pytest.mark.parametrize("station", list(Station))
def test_with_the_dominant_wheel_moved_to_the_rail_the_others_gain_or_lose_as_much(
    car: Car, station: Station
) -> None:
    found = stance(car)
    moved = gap(found, car.dominant)
    same_side = station.side == car.dominant.side
    expected = gap(found, station) + (-moved if same_side else moved)
    (clearance,) = shown(car, reading(ReadingKind.RAIL_CLEARANCE, station=station))
    assert clearance == pytest.approx(expected, abs=NANOMETRE)
    if station is car.dominant:
        assert clearance == pytest.approx(0.0, abs=NANOMETRE)


def block_offset_by_hand(*, cant: float, seat: Seat, block: float) -> float:
    """Inner edge of a hanging wheel at the height of the underside, a pin without bend or sweep.

    Toward the top the wheel leans in (outer end up), so on a block the nearest point is at its top, the
    underside itself; leaning out it is at the wheel's lowest point.
    """
    width, hole_height, projection, slack, play, radius = (
        size * MM for size in (50.0, 9.0, 2.0, 0.1, 0.6, 15.0)
    )
    along = {"body": 0.0, "middle": 0.5, "head": 1.0}[seat.value] * play + projection
    # Hanging: the shank bears on the top of the bore, square to the shank.
    y = width / 2.0 + along * math.cos(cant) + 0.5 * slack * math.sin(cant)
    z = hole_height + along * math.sin(cant) - 0.5 * slack * math.cos(cant)
    inner = y + z * math.tan(cant) if cant >= 0.0 else y + radius * math.sin(cant)
    return inner - block / 2.0


@pytest.mark.parametrize("seat", list(Seat))
@pytest.mark.parametrize("cant", [0.0, 2.0 * DEG, -1.5 * DEG])
def test_the_block_offset_by_hand(cant: float, seat: Seat) -> None:
    car = changed(flat_car(), {"front_left.cant": cant, "front_left.play": 0.6 * MM})
    rail, block = (
        shown(car, reading(ReadingKind.BLOCK_OFFSET, seat=seat, width=width, thickness=12.0 * MM))[0]
        for width in (None, 40.0 * MM)
    )
    assert rail == pytest.approx(block_offset_by_hand(cant=cant, seat=seat, block=44.0 * MM), abs=NANOMETRE)
    assert block == pytest.approx(block_offset_by_hand(cant=cant, seat=seat, block=40.0 * MM), abs=NANOMETRE)


def test_a_thin_block_is_met_above_the_lowest_point_of_a_wheel_that_leans_out() -> None:
    # Two degrees out at the top: on a block 3 mm thick the nearest point is at its lower edge.
    cant, thickness = -2.0 * DEG, 3.0 * MM
    car = changed(flat_car(), {"front_left.cant": cant})
    (offset,) = shown(car, reading(ReadingKind.BLOCK_OFFSET, thickness=thickness))
    y = 25.0 * MM + 2.0 * MM * math.cos(cant) + 0.05 * MM * math.sin(cant)
    z = 9.0 * MM + 2.0 * MM * math.sin(cant) - 0.05 * MM * math.cos(cant)
    assert offset == pytest.approx(y + (z + thickness) * math.tan(cant) - 22.0 * MM, abs=NANOMETRE)


@BOTH
def test_the_blocks_correction_turns_its_reading_into_the_rail_offset(car: Car) -> None:
    block = reading(ReadingKind.BLOCK_OFFSET, seat=Seat.HEAD)
    bench, values = bench_of(car, block)
    on_block, on_rail = bench.predict(values[None, :])[0, 0], stance(car).rail_offset
    assert on_rail is not None
    # Only the play is not known: held at the head on the block and at the body on the rail, all of it counts.
    root = np.zeros((len(values), 1))
    root[dimension_names().index(f"{car.dominant.value}.play"), 0] = 0.1 * MM
    correction, spread = bench.block_correction(values, root, block)
    assert on_block + correction == pytest.approx(on_rail, abs=NANOMETRE)
    assert spread == pytest.approx(0.1 * MM, rel=0.01)
    # The hand pulls the wheel out to the head while the car runs with it at the body.
    assert bench.seats[car.dominant] is Seat.BODY
    assert correction < -0.3 * MM


def test_the_block_meets_the_dominant_wheel_however_the_body_stands() -> None:
    # On its back the car's attitude on the track plays no part.
    high = changed(lark(), {"rear_left.hole_height": 6.0 * MM, "rear_right.hole_height": 6.0 * MM})
    block = reading(ReadingKind.BLOCK_OFFSET, seat=Seat.BODY)
    assert shown(high, block) == pytest.approx(shown(lark(), block), abs=NANOMETRE)


@pytest.mark.parametrize("bend", [0.5 * DEG, 2.6 * DEG, 9.0 * DEG])
def test_the_tip_sweep_is_how_far_the_tip_goes_up_and_down_in_one_turn(bend: float) -> None:
    distance = 31.0 * MM
    turns = np.linspace(0.0, 2.0 * math.pi, 721)
    heights = [shank_axis(side=1, cant=0.0, sweep=0.0, bend=bend, clock=float(t))[2] for t in turns]
    swing = distance * (max(heights) - min(heights))
    car = changed(lark(), {"front_left.bend": bend})
    (found,) = shown(car, reading(ReadingKind.TIP_SWEEP, distance=distance))
    assert found == pytest.approx(swing, abs=NANOMETRE)
    assert found == pytest.approx(2.0 * distance * math.sin(bend), abs=NANOMETRE)


def test_the_tip_sweep_is_read_of_the_axle_that_is_named() -> None:
    car = changed(lark(), {"rear_right.bend": 1.0 * DEG})
    (found,) = shown(car, reading(ReadingKind.TIP_SWEEP, station=RR, distance=30.0 * MM))
    assert found == pytest.approx(60.0 * MM * math.sin(1.0 * DEG), abs=NANOMETRE)


@pytest.mark.parametrize("station", [RL, FR])
@pytest.mark.parametrize("plane", ["cant", "sweep"])
@pytest.mark.parametrize("against", [0.0, 3.0 * DEG])
def test_daylight_is_the_gap_between_the_hole_and_a_straight_edge(
    station: Station, plane: str, against: float
) -> None:
    distance, cant, sweep = 28.0 * MM, 2.5 * DEG, -1.25 * DEG
    car = changed(lark(), {f"{station.value}.cant": cant, f"{station.value}.sweep": sweep})
    axis = hole_axis(side=station.side, cant=cant, sweep=sweep)
    along = math.hypot(axis[0], axis[1]) if plane == "cant" else abs(axis[1])
    rise, edge = axis[2 if plane == "cant" else 0] / along, math.tan(against)
    (found,) = shown(
        car, reading(ReadingKind.DAYLIGHT, station=station, distance=distance, plane=plane, against=against)
    )
    assert found == pytest.approx(distance * (rise - edge), abs=NANOMETRE)


def test_no_daylight_shows_where_the_hole_is_as_intended() -> None:
    intended = 2.5 * DEG
    (found,) = shown(lark(), reading(ReadingKind.DAYLIGHT, station=RL, distance=30.0 * MM, against=intended))
    assert found == pytest.approx(0.0, abs=NANOMETRE)


@pytest.mark.parametrize(
    ("name", "value"), [("body.width", 48.06 * MM), ("front_left.bend", 2.6 * DEG), ("rail.width", 46.0 * MM)]
)
def test_a_size_is_the_dimension_itself(name: str, value: float) -> None:
    assert shown(lark(), reading(ReadingKind.SIZE, dimension=name)) == pytest.approx([value], rel=1e-12)


@pytest.mark.parametrize("distance", [300.0 * MM, 850.0 * MM, 1400.0 * MM])
def test_drift_over_another_distance_is_that_of_a_board_so_long(distance: float) -> None:
    board = stance(changed(lark(), {"board.length": distance})).drift.lateral
    (found,) = shown(lark(), reading(ReadingKind.DRIFT, distance=distance))
    assert board is not None
    assert found == pytest.approx(board, abs=NANOMETRE)


def path_of(car: Car, along: Sequence[float]) -> list[tuple[float, float]]:
    drifts = [shown(car, reading(ReadingKind.DRIFT, distance=x))[0] for x in along]
    return list(zip(along, drifts, strict=True))


ALONG = [0.05, 0.25, 0.5, 0.75, 1.0]


@pytest.mark.parametrize(("start", "heading"), [(0.0, 0.0), (4.0 * MM, 0.0), (-7.0 * MM, 0.021)])
def test_a_trace_of_the_cars_own_path_leaves_nothing_over_wherever_it_starts_and_heads(
    start: float, heading: float
) -> None:
    trace = tuple((x, y + start + heading * x) for x, y in path_of(lark(), ALONG))
    bench, values = bench_of(lark(), reading(ReadingKind.DRIFT, trace[-1][1], 1.0 * MM, trace=trace))
    observed = bench.observed()
    assert len(observed) == len(ALONG) - 2
    assert bench.predict(values[None, :])[0] == pytest.approx(observed, abs=NANOMETRE)


def test_a_trace_tells_a_car_that_turns_more() -> None:
    sharper = changed(lark(), {"front_left.clock": 40.0 * DEG})
    trace = tuple(path_of(sharper, ALONG))
    bench, values = bench_of(lark(), reading(ReadingKind.DRIFT, trace[-1][1], 1.0 * MM, trace=trace))
    left = bench.predict(values[None, :])[0] - bench.observed()
    assert float(np.abs(left).max()) > 5.0 * MM


def test_the_channels_of_a_trace_have_independent_errors_as_large_as_a_points() -> None:
    # Contrasts of unit length at right angles: the covariance of independent points is kept.
    rng = np.random.default_rng(3)
    noise = rng.normal(0.0, 1.0 * MM, size=(4000, len(ALONG)))
    channels = np.array(
        [
            bench_of(lark(), reading(ReadingKind.DRIFT, trace=tuple(zip(ALONG, row, strict=True))))[
                0
            ].observed()
            for row in noise[:400].tolist()
        ]
    )
    covariance = np.cov(channels.T) / MM**2
    # 400 draws: standard deviation of a variance is sqrt(2 / 400); four of them.
    assert covariance == pytest.approx(np.eye(len(ALONG) - 2), abs=4.0 * math.sqrt(2.0 / 400.0))


def test_readings_of_one_set_up_share_its_error_and_no_others_do() -> None:
    readings = (
        reading(ReadingKind.HEIGHT_DIFFERENCE, uncertainty=3.0, set_up="plate", common=4.0),
        reading(ReadingKind.HEIGHT_DIFFERENCE, uncertainty=1.0, set_up="plate", common=4.0),
        reading(ReadingKind.RAIL_OFFSET, uncertainty=2.0, set_up="rail", common=5.0),
        reading(ReadingKind.RAIL_OFFSET, uncertainty=6.0),
        reading(ReadingKind.DRIFT, uncertainty=7.0),
    )
    bench, _ = bench_of(lark(), *readings)
    expected = np.diag([9.0 + 16.0, 1.0 + 16.0, 4.0 + 25.0, 36.0, 49.0])
    expected[0, 1] = expected[1, 0] = 16.0
    assert bench.noise() == pytest.approx(expected)


def test_each_channel_knows_its_reading() -> None:
    trace = reading(ReadingKind.DRIFT, trace=((0.1, 0.0), (0.4, 0.0), (0.7, 0.0), (1.0, 0.0)))
    size = reading(ReadingKind.SIZE, dimension="body.width")
    bench, values = bench_of(lark(), trace, size)
    assert bench.owners() == (trace, trace, size)
    assert bench.predict(values[None, :]).shape == (1, 3)


def test_a_wheel_above_the_rail_shows_no_rail_offset_and_the_reading_is_named() -> None:
    high = changed(lark(), {"rail.height": 0.5 * MM, "front_right.hole_height": 11.0 * MM})
    raised = reading(ReadingKind.RAIL_CLEARANCE, station=FR, where="reading 3 (rail clearance)")
    bench, values = bench_of(high, raised)
    assert stance(high).stations[FR].rail_gap is None
    with pytest.raises(ReadingUnusable, match=r"reading 3 \(rail clearance\)"):
        bench.check(values)


def test_a_block_too_thin_to_reach_the_wheel_is_refused() -> None:
    small = changed(lark(), {"front_left.diameter": 17.0 * MM})
    bench, values = bench_of(small, reading(ReadingKind.BLOCK_OFFSET, thickness=2.0 * MM))
    with pytest.raises(ReadingUnusable, match="the wheel stands above the rail or the block"):
        bench.check(values)


def test_a_car_that_tips_over_shows_no_gate_at_all() -> None:
    car = lark()
    values = np.stack([dimension_values(car), dimension_values(car)])
    # A rear hole line far ahead of the mass leaves nothing behind to hold it up.
    for name in ("rear_left.offset", "rear_right.offset"):
        values[1, dimension_names().index(name)] = 70.0 * MM
    found = gate_values(stances(car, values, seats=seats_at(car, values[0])))
    assert np.all(np.isfinite(found[0]))
    assert np.all(np.isnan(found[1]))


def test_derivatives_of_a_straight_line_are_its_slopes_along_each_direction() -> None:
    matrix = np.array([[1.0, -2.0, 0.5], [0.0, 3.0, 4.0]])
    directions = np.array([[1.0, 0.0, 0.0], [0.0, 1e-3, 2e-3], [0.0, 0.0, 0.0]])
    here, slopes = derivatives(lambda rows: rows @ matrix.T, np.array([0.1, 0.2, 0.3]), directions)
    assert here == pytest.approx([-0.15, 1.8])
    assert slopes == pytest.approx(matrix @ directions.T, rel=1e-8, abs=1e-12)


def test_on_the_edge_of_what_a_car_can_show_the_slope_is_taken_to_the_side_that_it_can() -> None:
    def cliff(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(rows > 0.0, np.nan, 5.0 * rows)

    def pit(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.where(rows != 0.0, np.nan, rows)

    one = np.ones((1, 1))
    for sign in (1.0, -1.0):
        _, slopes = derivatives(cliff, np.zeros(1), sign * one)
        assert slopes == pytest.approx(sign * 5.0 * one)
    assert np.isnan(derivatives(pit, np.zeros(1), one)[1]).all()


def test_derivatives_agree_with_a_wider_difference_of_the_plain_stance() -> None:
    # Independent of the step: a difference of a tenth of a millimetre on the reference geometry.
    car, name, step = lark(), "front_left.hole_height", 0.1 * MM
    bench, values = bench_of(
        car, *map(reading, (ReadingKind.HEIGHT_DIFFERENCE, ReadingKind.DRIFT, ReadingKind.RAIL_OFFSET))
    )
    direction = np.zeros((1, len(values)))
    direction[0, dimension_names().index(name)] = 1.0
    _, slopes = derivatives(bench.predict, values, direction)
    ends = [stance(changed(car, {name: 9.4 * MM + sign * step})) for sign in (1.0, -1.0)]
    wide = [
        (up - down) / (2.0 * step)
        for up, down in zip(
            *((each.height_difference, each.drift.lateral or 0.0, each.rail_offset or 0.0) for each in ends),
            strict=True,
        )
    ]
    assert slopes[:, 0] == pytest.approx(wide, rel=1e-3, abs=1e-4)


def test_targets_play_no_part_in_what_is_read() -> None:
    kinds = [reading(kind) for kind in (ReadingKind.DRIFT, ReadingKind.RAIL_OFFSET)]
    assert shown(aimed(lark(), drift=0.5, rail=0.01), *kinds) == shown(lark(), *kinds)
