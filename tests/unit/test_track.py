"""The track: places on and off its pieces, lanes, what is refused, and surveyed surfaces."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from rollwright.errors import InputError, MissingReference, OutOfRange
from rollwright.quantity import Quantity, Source
from rollwright.run.surveyed import as_pieces, smooth_curve, surveyed
from rollwright.run.track import LaneChange, Piece, Track, joined, places, ramp_arc_flat

AIR = Quantity(value=1.2)
PIECES = ramp_arc_flat(ramp_angle=0.4, ramp_length=2.0, arc_radius=1.5, flat_length=4.0)
TRACK = Track(name="test", pieces=PIECES, finish=6.6, air=AIR)


def test_the_surface_begins_at_x_nought_and_ends_at_height_nought() -> None:
    assert TRACK.at(0.0).x == 0.0
    assert TRACK.at(0.0).z > 0.0
    assert TRACK.at(TRACK.end).z == pytest.approx(0.0, abs=1e-15)


def test_angle_is_positive_downhill_and_curvature_where_the_surface_turns_upward() -> None:
    assert TRACK.at(1.0).angle == pytest.approx(0.4)
    assert TRACK.at(1.0).z < TRACK.at(0.0).z
    assert TRACK.at(2.3).curvature == pytest.approx(1.0 / 1.5)
    crest = Track(name="crest", pieces=joined(angle=0.1, stretches=[(1.0, -0.2)]), finish=1.0, air=AIR)
    assert crest.at(0.9).angle > crest.at(0.0).angle
    assert crest.at(0.9).curvature == -0.2


def test_behind_the_gate_and_beyond_the_end_the_surface_runs_on_straight() -> None:
    behind, beyond = TRACK.at(-0.3), TRACK.at(TRACK.end + 0.3)
    assert behind.x == pytest.approx(-0.3 * math.cos(0.4))
    assert behind.z - TRACK.at(0.0).z == pytest.approx(0.3 * math.sin(0.4))
    assert (behind.angle, behind.curvature) == (0.4, 0.0)
    assert beyond.x - TRACK.at(TRACK.end).x == pytest.approx(0.3)
    assert (beyond.z, beyond.angle, beyond.curvature) == pytest.approx((0.0, 0.0, 0.0), abs=1e-15)


def test_a_surface_that_begins_with_an_arc_is_straight_behind_the_gate() -> None:
    bent = Track(name="bent", pieces=joined(angle=0.3, stretches=[(0.4, 0.5)]), finish=0.4, air=AIR)
    assert bent.at(-0.2).angle == pytest.approx(0.3)
    assert bent.at(-0.2).curvature == 0.0
    assert bent.at(0.6).angle == pytest.approx(0.1)
    assert bent.at(0.6).curvature == 0.0


def test_where_two_pieces_meet_the_one_that_begins_there_counts() -> None:
    assert TRACK.at(2.0).curvature == pytest.approx(1.0 / 1.5)
    assert TRACK.at(2.6).curvature == 0.0
    assert TRACK.at(2.0 - 1e-12).curvature == 0.0


def test_many_places_at_once_are_the_single_ones() -> None:
    s = np.array([[-1.0, 0.0, 1.0], [2.0, 2.3, 2.6], [4.0, TRACK.end, TRACK.end + 1.0]])
    found = places(TRACK, s)
    assert found.x.shape == s.shape
    for index, at in np.ndenumerate(s):
        one = TRACK.at(float(at))
        many = (found.x[index], found.z[index], found.angle[index], found.curvature[index])
        assert many == pytest.approx((one.x, one.z, one.angle, one.curvature), abs=1e-14)


@pytest.mark.parametrize("x", [-0.5, 0.0, 0.7, 1.8421, 2.1, 2.5, 4.0, 9.0])
def test_the_length_to_a_level_distance_leads_there(x: float) -> None:
    assert TRACK.at(TRACK.length_to_x(x)).x == pytest.approx(x, abs=1e-14)


def test_a_nearly_straight_piece_keeps_its_figures() -> None:
    bent = Track(name="bent", pieces=joined(angle=0.3, stretches=[(2.0, 1e-13)]), finish=2.0, air=AIR)
    assert bent.length_to_x(1.0) == pytest.approx(1.0 / math.cos(0.3), rel=1e-12)


def test_the_drop_is_positive_downhill() -> None:
    assert TRACK.drop(0.0, 2.0) == pytest.approx(2.0 * math.sin(0.4))
    assert TRACK.drop(2.0, 0.0) == -TRACK.drop(0.0, 2.0)


def test_a_lane_moves_the_finish_and_multiplies_losses() -> None:
    lane = LaneChange(finish=Quantity(value=0.003), factors={"rolling": Quantity(value=1.5, uncertainty=0.1)})
    whole = replace(
        TRACK,
        losses={"rolling": Quantity(value=0.002, uncertainty=0.0004), "drag_area": Quantity(value=1e-3)},
        lanes={"left": lane},
    )
    left = whole.on_lane("left")
    assert left.finish == pytest.approx(6.603)
    assert left.losses["rolling"].value == pytest.approx(0.003)
    # Relative uncertainties 0.2 and 1/15 add as squares.
    assert left.losses["rolling"].uncertainty == pytest.approx(0.003 * math.hypot(0.2, 1.0 / 15.0))
    assert left.losses["drag_area"] == whole.losses["drag_area"]
    assert left.lanes == {}
    with pytest.raises(MissingReference, match="no lane 'right'; write one of left"):
        whole.on_lane("right")
    with pytest.raises(MissingReference, match="this track has none"):
        TRACK.on_lane("left")
    with pytest.raises(MissingReference, match="rolling under"):
        replace(whole, losses={}).on_lane("left")


def piece(**changes: float) -> Piece:
    return replace(PIECES[1], **changes)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"pieces": ()}, "at least one piece"),
        ({"finish": 0.0}, "finish 0 m from the gate"),
        ({"finish": math.nan}, "finish nan m"),
        ({"pieces": (PIECES[0], PIECES[2])}, "piece 2 of the running surface does not begin where"),
        ({"pieces": PIECES[1:]}, "piece 1 of the running surface does not begin where"),
        ({"pieces": (PIECES[0], piece(angle=0.41))}, "piece 2"),
        ({"pieces": (PIECES[0], piece(z0=0.0))}, "piece 2"),
        ({"pieces": (replace(PIECES[0], length=0.0),)}, "piece 1 of the running surface is 0 m long"),
        ({"pieces": (replace(PIECES[0], curvature=math.nan),)}, "curvature of nan"),
        ({"pieces": joined(angle=1.0, stretches=[(1.0, -0.6)])}, "stands at 92 degrees"),
        ({"splits": (("late", 7.0),)}, "splits.late: a split 7 m"),
        ({"splits": (("gate", 0.0),)}, "splits.gate"),
        ({"splits": (("b", 2.0), ("a", 1.0))}, "splits.a: a split 1 m"),
    ],
)
def test_a_surface_that_no_car_could_run_on_is_refused(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        replace(TRACK, **changes)
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("ramp_angle", 0.0),
        ("ramp_angle", 1.58),
        ("ramp_length", -1.0),
        ("arc_radius", 0.0),
        ("arc_radius", math.inf),
        ("flat_length", math.nan),
    ],
)
def test_a_size_that_cannot_be_is_named(name: str, value: float) -> None:
    sizes = {"ramp_angle": 0.4, "ramp_length": 2.0, "arc_radius": 1.5, "flat_length": 4.0, name: value}
    with pytest.raises(OutOfRange) as refused:
        ramp_arc_flat(**sizes)
    assert refused.value.key == name


def test_stretches_without_length_are_left_out() -> None:
    assert len(ramp_arc_flat(ramp_angle=0.4, ramp_length=0.0, arc_radius=1.5, flat_length=0.0)) == 1


def survey_points(*, pitch: float = 0.1, noise: float = 0.0, seed: int = 1) -> list[tuple[float, float]]:
    end = TRACK.at(TRACK.end).x
    random = np.random.default_rng(seed)
    return [
        (float(x), TRACK.at(TRACK.length_to_x(float(x))).z + float(random.normal(0.0, noise)))
        for x in np.linspace(0.0, end, round(end / pitch) + 1)
    ]


@pytest.mark.parametrize(("pitch", "noise"), [(0.1, 0.5e-3), (0.25, 1e-3), (0.05, 0.1e-3), (0.02, 0.02e-3)])
def test_the_arcs_keep_to_the_smooth_curve(pitch: float, noise: float) -> None:
    survey = surveyed(survey_points(pitch=pitch, noise=noise), uncertainty=noise)
    found = Track(name="s", pieces=survey.pieces, finish=survey.pieces[-1].end, air=AIR)
    knots = survey.curve.knots
    here = places(found, np.linspace(0.0, found.end, 4001))
    x = np.clip(knots[0] + here.x, knots[0], knots[-1])
    assert np.abs(here.x[-1] + knots[0] - knots[-1]) < 0.1e-3
    height = survey.curve.height(x) - survey.curve.height(knots[-1:])
    assert np.abs(here.z - height).max() < 0.1e-3
    assert np.abs(here.angle - survey.curve.angle(x)).max() < math.radians(0.01)
    assert len(survey.pieces) < 1000


def test_points_in_a_line_give_one_straight_piece() -> None:
    points = [(0.5 * n, 2.0 - 0.2 * n) for n in range(6)]
    survey = surveyed(points, uncertainty=0.5e-3)
    (only,) = survey.pieces
    assert survey.curve.smoothing == 0.0
    assert only.length == pytest.approx(math.hypot(2.5, 1.0), rel=1e-12)
    assert only.angle == pytest.approx(math.atan(0.4), rel=1e-12)
    assert only.curvature == pytest.approx(0.0, abs=1e-12)
    assert max(map(abs, survey.residuals)) < 1e-12


def test_the_wider_the_uncertainty_the_smoother_the_curve() -> None:
    points = survey_points(noise=0.3e-3)
    x = np.linspace(0.0, points[-1][0], 400)
    bends = [
        float(np.mean(smooth_curve(points, uncertainty=each).curvature(x) ** 2))
        for each in (0.1e-3, 0.3e-3, 1e-3, 3e-3)
    ]
    assert bends == sorted(bends, reverse=True)
    assert bends[-1] < bends[0]


def test_the_pieces_are_made_from_the_curve_alone() -> None:
    points = survey_points(noise=0.2e-3)
    assert as_pieces(smooth_curve(points, uncertainty=0.2e-3)) == surveyed(points, uncertainty=0.2e-3).pieces


def moved(number: int, dx: float = 0.0, dz: float = 0.0) -> list[tuple[float, float]]:
    points = survey_points()
    x, z = points[number - 1]
    points[number - 1] = (x + dx, z + dz)
    return points


@pytest.mark.parametrize(
    ("points", "said"),
    [
        (survey_points()[:4], "4 points are not 5 to 2000"),
        ([(0.001 * n, -0.001 * n) for n in range(2001)], "2001 points are not 5 to 2000"),
        ([(0.0, math.nan), *survey_points()[1:]], "not finite"),
        (survey_points()[::-1], "the points run backward; list them from the gate to the finish"),
        (moved(9, dx=-0.15), "mm along, is not further down the track than point 8, "),
        ([*survey_points(), survey_points()[-1]], "is not further down the track than point 65, "),
        ([(x, -z) for x, z in survey_points()], "the last point lies 897.2 mm above the first"),
        (
            [(0.1 * n, 1.0 - 0.4 * n) for n in range(6)],
            "from point 1 to point 2 the track is steeper than 75",
        ),
        (moved(30, dz=0.02), "mm along, lies 20.0 mm above the line between its neighbours"),
        (moved(40, dz=-0.008), "lies 8.0 mm below the line"),
        (survey_points(noise=3e-3), "larger uncertainty than 0.5 mm"),
        ([(0.1 * n, abs(2.0 - 0.1 * n)) for n in range(30)], "near point 21, 2000.0 mm along"),
        ([(0.1 * n, 0.001 * n * (n - 12)) for n in range(14)], "the last point lies 13.0 mm above the first"),
        ([(0.1 * n, 1.0 + 0.002 * n * (10 - n)) for n in range(14)], "does not lead downhill at the gate"),
        (
            [(0.1 * n, 1.0 - 0.2 * math.sin(0.15 * n) * math.exp(-0.02 * n)) for n in range(45)],
            "above the gate, so that no car would pass",
        ),
    ],
    ids=[
        "few",
        "many",
        "not finite",
        "backward",
        "out of order",
        "twice",
        "uphill",
        "steep",
        "one high",
        "one low",
        "scatter",
        "kink",
        "ends high",
        "starts uphill",
        "hump",
    ],
)
def test_points_that_show_no_track_are_refused(points: list[tuple[float, float]], said: str) -> None:
    with pytest.raises(OutOfRange) as refused:
        surveyed(points, uncertainty=0.5e-3)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("uncertainty", [0.0, -1e-3, math.inf, math.nan])
def test_a_survey_needs_an_uncertainty(uncertainty: float) -> None:
    with pytest.raises(OutOfRange, match="uncertainty"):
        surveyed(survey_points(), uncertainty=uncertainty)


def test_a_wheelbase_that_passes_sharper_bends_may_be_given() -> None:
    points = survey_points(noise=0.1e-3)
    surveyed(points, uncertainty=0.1e-3, least_radius=0.5)
    with pytest.raises(InputError, match="a radius of at least 2000"):
        surveyed(points, uncertainty=0.1e-3, least_radius=2.0)


def test_sources_of_a_lane_stay_those_of_the_losses() -> None:
    lane = LaneChange(finish=Quantity(value=0.0), factors={"rolling": Quantity(value=2.0)})
    whole = replace(
        TRACK, losses={"rolling": Quantity(value=1e-3, source=Source.MEASURED)}, lanes={"a": lane}
    )
    assert whole.on_lane("a").losses["rolling"].source is Source.MEASURED
