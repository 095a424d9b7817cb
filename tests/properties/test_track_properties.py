"""What must hold of any track and of any air: scale, cutting a piece in two, no gap, no kink, order."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rollwright.quantity import Quantity
from rollwright.run.air import HUMIDITIES, PRESSURES, TEMPERATURES, air_density
from rollwright.run.surveyed import surveyed
from rollwright.run.track import Track, joined, places, ramp_arc_flat

AIR = Quantity(value=1.2)
ANGLES = st.floats(-0.6, 0.9)
STRETCHES = st.lists(st.tuples(st.floats(0.01, 2.0), st.floats(-0.8, 0.8)), min_size=1, max_size=6).filter(
    lambda found: sum(length * abs(bend) for length, bend in found) < 0.6
)
SHARES = st.floats(-0.2, 1.2)


def track(angle: float, stretches: list[tuple[float, float]]) -> Track:
    pieces = joined(angle=angle, stretches=stretches)
    return Track(name="any", pieces=pieces, finish=pieces[-1].end, air=AIR)


@given(angle=ANGLES, stretches=STRETCHES, share=SHARES, scale=st.floats(0.1, 10.0))
def test_a_track_twice_as_large_has_every_place_twice_as_far(
    angle: float, stretches: list[tuple[float, float]], share: float, scale: float
) -> None:
    small = track(angle, stretches)
    large = track(angle, [(length * scale, bend / scale) for length, bend in stretches])
    s = share * small.end
    here, there = small.at(s), large.at(s * scale)
    assert there.x == pytest.approx(here.x * scale, rel=1e-12, abs=1e-12)
    assert there.z == pytest.approx(here.z * scale, rel=1e-9, abs=1e-11)
    assert there.angle == pytest.approx(here.angle, rel=1e-12, abs=1e-13)


@given(angle=ANGLES, stretches=STRETCHES, cut=st.floats(0.01, 0.99), share=SHARES, which=st.integers(0, 5))
def test_a_piece_cut_in_two_changes_nothing(
    angle: float, stretches: list[tuple[float, float]], cut: float, share: float, which: int
) -> None:
    whole = track(angle, stretches)
    number = which % len(stretches)
    length, bend = stretches[number]
    halves = [(length * cut, bend), (length * (1.0 - cut), bend)]
    parts = track(angle, [*stretches[:number], *halves, *stretches[number + 1 :]])
    s = share * whole.end
    here, there = whole.at(s), parts.at(s)
    assert (there.x, there.z, there.angle) == pytest.approx((here.x, here.z, here.angle), abs=1e-12)
    assert parts.end == pytest.approx(whole.end, rel=1e-14)


@given(angle=ANGLES, stretches=STRETCHES)
def test_there_is_no_gap_and_no_kink(angle: float, stretches: list[tuple[float, float]]) -> None:
    found = track(angle, stretches)
    step = 1e-7
    for s in (0.0, *(piece.end for piece in found.pieces)):
        before, after = found.at(s - step), found.at(s + step)
        assert math.hypot(after.x - before.x, after.z - before.z) == pytest.approx(2.0 * step, rel=1e-6)
        # No bend is sharper than 0.8 per metre.
        assert abs(after.angle - before.angle) <= 0.8 * 2.0 * step * 1.001


@given(angle=ANGLES, stretches=STRETCHES, shares=st.lists(SHARES, min_size=1, max_size=8))
def test_many_places_are_the_single_ones_and_lead_back(
    angle: float, stretches: list[tuple[float, float]], shares: list[float]
) -> None:
    found = track(angle, stretches)
    s = np.array(shares) * found.end
    many = places(found, s)
    for index, length in enumerate(s.tolist()):
        one = found.at(length)
        assert (many.x[index], many.z[index]) == pytest.approx((one.x, one.z), abs=1e-12)
        assert (many.angle[index], many.curvature[index]) == pytest.approx(
            (one.angle, one.curvature), abs=1e-12
        )
        assert found.length_to_x(one.x) == pytest.approx(length, abs=1e-11)


@settings(max_examples=20)
@given(
    ramp=st.floats(0.2, 0.6),
    radius=st.floats(0.8, 3.0),
    scale=st.floats(0.3, 3.0),
    far=st.floats(-20.0, 20.0),
    high=st.floats(-5.0, 5.0),
)
def test_a_survey_may_count_from_anywhere_and_be_of_any_size(
    ramp: float, radius: float, scale: float, far: float, high: float
) -> None:
    laid = ramp_arc_flat(ramp_angle=ramp, ramp_length=1.5, arc_radius=radius, flat_length=2.0)
    original = Track(name="laid", pieces=laid, finish=laid[-1].end, air=AIR)
    points = [
        (float(x), original.at(original.length_to_x(float(x))).z)
        for x in np.linspace(0.0, original.at(original.end).x, 40)
    ]
    plain = surveyed(points, uncertainty=0.2e-3)
    moved = surveyed(
        [(far + scale * x, high + scale * z) for x, z in points],
        uncertainty=0.2e-3 * scale,
        least_radius=0.3 * scale,
    )
    first = Track(name="plain", pieces=plain.pieces, finish=plain.pieces[-1].end, air=AIR)
    second = Track(name="moved", pieces=moved.pieces, finish=moved.pieces[-1].end, air=AIR)
    # Both are cut into arcs for a tenth of a millimetre and a hundredth of a degree.
    for share in (0.0, 0.3, 0.5, 0.8, 1.0):
        here, there = first.at(share * first.end), second.at(share * first.end * scale)
        assert abs(there.x - here.x * scale) < 0.2e-3 * max(1.0, scale)
        assert abs(there.z - here.z * scale) < 0.2e-3 * max(1.0, scale)
        assert abs(there.angle - here.angle) < math.radians(0.02)


@given(
    temperature=st.floats(*TEMPERATURES),
    pressure=st.floats(*PRESSURES),
    humidity=st.floats(*HUMIDITIES),
    share=st.floats(0.05, 0.95),
)
def test_air_is_denser_when_colder_drier_or_pressed(
    temperature: float, pressure: float, humidity: float, share: float
) -> None:
    here = air_density(temperature=temperature, pressure=pressure, humidity=humidity)
    colder = temperature + (TEMPERATURES[0] - temperature) * share
    drier = humidity * share
    pressed = pressure + (PRESSURES[1] - pressure) * share
    assert air_density(temperature=colder, pressure=pressure, humidity=humidity) >= here
    assert air_density(temperature=temperature, pressure=pressure, humidity=drier) >= here
    assert air_density(temperature=temperature, pressure=pressed, humidity=humidity) >= here
