"""Running surfaces against geometry that is known without this program: circles, a cycloid, quadrature."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad

from rollwright.quantity import Quantity
from rollwright.run.surveyed import surveyed
from rollwright.run.track import Piece, Track, joined, ramp_arc_flat

AIR = Quantity(value=1.2)
ANGLE, RAMP, RADIUS, FLAT = math.radians(27.3), 1.9, 1.15, 3.4


def track(pieces: tuple[Piece, ...]) -> Track:
    return Track(name="test", pieces=pieces, finish=pieces[-1].end, air=AIR)


@pytest.fixture
def laid() -> Track:
    return track(ramp_arc_flat(ramp_angle=ANGLE, ramp_length=RAMP, arc_radius=RADIUS, flat_length=FLAT))


def test_ramp_arc_and_flat_have_the_lengths_and_the_drop_of_their_drawing(laid: Track) -> None:
    # Plane trigonometry: arc length R a, drop of an arc R (1 - cos a), its level length R sin a.
    assert laid.finish == pytest.approx(RAMP + RADIUS * ANGLE + FLAT, rel=1e-15)
    assert laid.drop(0.0, laid.finish) == pytest.approx(
        RAMP * math.sin(ANGLE) + RADIUS * (1.0 - math.cos(ANGLE)), rel=1e-14
    )
    assert laid.at(laid.finish).x == pytest.approx(
        RAMP * math.cos(ANGLE) + RADIUS * math.sin(ANGLE) + FLAT, rel=1e-14
    )


def test_an_arc_of_fifteen_degrees_with_a_radius_of_1200_mm() -> None:
    # Arc length R a = 1.2 x pi / 12 = 0.314159265358979 m.
    pieces = ramp_arc_flat(ramp_angle=math.pi / 12.0, ramp_length=1.0, arc_radius=1.2, flat_length=1.0)
    assert pieces[1].length == pytest.approx(0.314159265358979, rel=1e-15)


def test_every_point_of_the_arc_lies_on_its_circle(laid: Track) -> None:
    # The flat touches the circle at its lowest point, so that the centre stands one radius above that.
    foot = laid.at(RAMP + RADIUS * ANGLE)
    assert foot.z == pytest.approx(0.0, abs=1e-15)
    for s in np.linspace(RAMP, RAMP + RADIUS * ANGLE, 9)[:-1]:
        place = laid.at(float(s))
        assert math.hypot(place.x - foot.x, place.z - RADIUS) == pytest.approx(RADIUS, rel=1e-14)
        # The tangent of a circle is square to its radius.
        assert math.tan(place.angle) == pytest.approx((foot.x - place.x) / (RADIUS - place.z), rel=1e-12)
        assert place.curvature == pytest.approx(1.0 / RADIUS, rel=1e-15)


def test_two_points_of_an_arc_are_a_chord_apart(laid: Track) -> None:
    # Chord 2 R sin(a/2) (Euclid III; any table of circle formulas).
    a, b = laid.at(RAMP + 0.1), laid.at(RAMP + 0.4)
    assert math.hypot(b.x - a.x, b.z - a.z) == pytest.approx(
        2.0 * RADIUS * math.sin(0.3 / RADIUS / 2.0), rel=1e-14
    )


def test_places_are_the_integrals_of_their_angles() -> None:
    # dx/ds = cos(angle), dz/ds = -sin(angle), by adaptive quadrature (QUADPACK) over a track with a crest.
    stretches = [(0.7, 0.0), (0.5, -0.4), (0.9, 0.9), (0.3, -1e-7), (1.1, 0.0)]
    found = track(joined(angle=0.5, stretches=stretches))
    ends: list[float] = np.cumsum([0.0, *(length for length, _ in stretches)]).tolist()

    def angle(s: float) -> float:
        turned = sum(
            k * min(max(s - a, 0.0), length) for (length, k), a in zip(stretches, ends[:-1], strict=True)
        )
        return 0.5 - turned

    for s in (0.4, 1.0, 1.9, 2.3, 3.5):
        breaks = [end for end in ends if 0.0 < end < s]
        x, _ = quad(lambda t: math.cos(angle(t)), 0.0, s, points=breaks or None, epsabs=1e-13)
        fall, _ = quad(lambda t: math.sin(angle(t)), 0.0, s, points=breaks or None, epsabs=1e-13)
        assert found.at(s).x == pytest.approx(x, abs=1e-12)
        assert found.drop(0.0, s) == pytest.approx(fall, abs=1e-12)
        assert found.at(s).angle == pytest.approx(angle(s), abs=1e-14)


def samples(laid: Track, pitch: float) -> list[tuple[float, float]]:
    """Return points of ramp, arc and flat at equal level distances, by the circle's own equation."""
    top = RAMP * math.cos(ANGLE)
    foot = top + RADIUS * math.sin(ANGLE)
    drop = RAMP * math.sin(ANGLE) + RADIUS * (1.0 - math.cos(ANGLE))
    end = foot + FLAT
    points = []
    for x in np.linspace(0.0, end, round(end / pitch) + 1):
        z = drop - x * math.tan(ANGLE)
        if x > top:
            z = RADIUS - math.sqrt(RADIUS**2 - (foot - min(x, foot)) ** 2)
        points.append((float(x), float(z)))
    assert laid.drop(0.0, laid.finish) == pytest.approx(drop)
    return points


def test_a_ramp_arc_and_flat_come_back_from_exact_points(laid: Track) -> None:
    found = track(surveyed(samples(laid, 0.05), uncertainty=0.02e-3).pieces)
    # Points that are right to 0.02 mm: the drop must be too, and the length within a few of them.
    assert found.drop(0.0, found.finish) == pytest.approx(laid.drop(0.0, laid.finish), abs=0.04e-3)
    assert found.finish == pytest.approx(laid.finish, abs=0.1e-3)
    # A jump of curvature that falls between two points is spread over their pitch, which turns the surface by
    # up to an eighth of the pitch along the surface over the radius.
    spread = 0.05 / math.cos(ANGLE) / RADIUS / 8.0
    for s in np.linspace(0.0, laid.finish, 200):
        here, there = laid.at(float(s)), found.at(float(s))
        assert abs(there.angle - here.angle) < spread
        assert math.hypot(there.x - here.x, there.z - here.z) < 0.2e-3
    # Away from the jumps 0.02 mm over a pitch of 50 mm is 0.02 degrees.
    for s in (0.0, 0.5 * RAMP, RAMP + 0.5 * RADIUS * ANGLE, laid.finish):
        assert abs(found.at(s).angle - laid.at(s).angle) < math.radians(0.02)
    assert found.at(RAMP + 0.5 * RADIUS * ANGLE).curvature == pytest.approx(1.0 / RADIUS, rel=0.02)


def test_a_noisy_survey_is_smoothed_to_within_its_uncertainty(laid: Track) -> None:
    # The smoothing's own rule (Reinsch 1967): the mean square of the misses, in uncertainties, is 1.
    noise = 0.6e-3
    random = np.random.default_rng(7)
    points = [(x, z + float(random.normal(0.0, noise))) for x, z in samples(laid, 0.08)]
    survey = surveyed(points, uncertainty=noise)
    assert np.sqrt(np.mean(np.square(survey.residuals))) == pytest.approx(noise, rel=0.01)
    found = track(survey.pieces)
    # Each end is one point, known to 0.6 mm: three of that for their difference in height.
    assert found.drop(0.0, found.finish) == pytest.approx(
        laid.drop(0.0, laid.finish), abs=3.0 * math.sqrt(2.0) * noise
    )
    s = np.linspace(0.0, laid.finish, 100)
    heights = [found.drop(float(at), found.finish) - laid.drop(float(at), laid.finish) for at in s]
    shift = float(np.mean(heights))
    assert max(abs(height - shift) for height in heights) < 3.0 * noise


def test_a_cycloid_has_the_length_that_is_known_of_it() -> None:
    # C. Wren, 1658: an arch of a cycloid is 8 radii long; from the angle p to the lowest point 4 a cos(p/2).
    # There its slope is (pi - p)/2 and its curvature 1/(4 a sin(p/2)).
    a, first = 0.8, math.radians(95.0)
    turned = np.linspace(first, math.pi, 61)
    x, z = a * (turned - np.sin(turned)), a * (1.0 + np.cos(turned))
    found = track(surveyed(list(zip(x.tolist(), z.tolist(), strict=True)), uncertainty=1e-6).pieces)
    assert found.drop(0.0, found.finish) == pytest.approx(z[0] - z[-1], abs=0.01e-3)
    # A natural spline is straight at its ends, which a cycloid is not: lengths count from a place inside.
    start = found.length_to_x(a * (1.8 - math.sin(1.8)) - float(x[0]))
    for p in (2.0, 2.2, 2.6, 2.9):
        s = found.length_to_x(a * (p - math.sin(p)) - float(x[0]))
        assert s - start == pytest.approx(4.0 * a * (math.cos(0.9) - math.cos(p / 2.0)), abs=0.01e-3)
        assert found.at(s).angle == pytest.approx((math.pi - p) / 2.0, abs=math.radians(0.02))
        assert found.at(s).curvature == pytest.approx(1.0 / (4.0 * a * math.sin(p / 2.0)), rel=0.02)


def test_neighbouring_places_are_no_further_apart_than_their_arc(laid: Track) -> None:
    # The straight line is the shortest (Archimedes, On the Sphere and Cylinder I).
    s = np.linspace(-0.5, laid.finish + 0.5, 300)
    for a, b in pairwise(s.tolist()):
        here, there = laid.at(a), laid.at(b)
        assert math.hypot(there.x - here.x, there.z - here.z) <= (b - a) * (1.0 + 1e-12)
