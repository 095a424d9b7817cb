"""Tolerances against published intervals, closed forms and another route to the same number."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from statistics import NormalDist

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Car, Station
from rollwright.quantity import Quantity, Source
from rollwright.setup.tolerance_back import Observed, back, rays_of
from rollwright.setup.tolerance_case import PLANES, tolerance_case
from rollwright.setup.tolerance_draws import drill_share, gate_shares
from rollwright.setup.tolerance_limits import Dimension, dimensions_of, slopes_of
from rollwright.setup.tolerance_shares import clopper_pearson, factor_for, inside_all, inside_share, wilson
from tests.unit.cars import DEG, MM, flat_car, known_but_for, lark

_NEWCOMBE = 5.1e-5
"""Half of the last printed digit, and a little."""

DRAWN = {"cant": 0.25 * DEG, "sweep": 0.15 * DEG, "hole_height": 0.15 * MM}
"""Scatter of a drill that does what the shipped drawing tolerances say."""


def _drilled(scatter: dict[str, float], *stations: Station, car: Car | None = None) -> Car:
    """Return a car of which nothing scatters but these planes of these holes; of all if none is named."""
    found = flat_car() if car is None else car
    return known_but_for(
        found,
        {
            f"{station.value}.{plane}": size
            for station in stations or Station
            for plane, size in scatter.items()
        },
    )


def _allowed(car: Car, *, cant: float, sweep: float, hole_height: float) -> Car:
    def exact(value: float) -> Quantity:
        return Quantity(value=value, uncertainty=0.0, source=Source.NOMINAL)

    drill = replace(car.drill, cant=exact(cant), sweep=exact(sweep), hole_height=exact(hole_height))
    return replace(car, drill=drill)


@pytest.mark.parametrize(
    ("good", "of", "score", "exact"),
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.1611), (0.0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_intervals_are_the_published_ones(
    good: int, of: int, score: tuple[float, float], exact: tuple[float, float]
) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I (printed digits from memory)."""
    ours, other = wilson(good, of), clopper_pearson(good, of)
    assert (ours.low, ours.high) == pytest.approx(score, abs=_NEWCOMBE)
    assert (other.low, other.high) == pytest.approx(exact, abs=_NEWCOMBE)


def test_no_failure_in_thirty_leaves_the_closed_form() -> None:
    """One-sided 95 %: 1 - 0.05^(1/n), which the rule of three calls 3/n (exact, no table needed)."""
    assert clopper_pearson(0, 30, confidence=0.9).high == pytest.approx(0.09503385285530419, rel=1e-10)
    assert clopper_pearson(30, 30, confidence=0.9).low == pytest.approx(1.0 - 0.09503385285530419, rel=1e-10)


@pytest.mark.parametrize(
    ("deviations", "share"), [(1.0, 0.6827), (2.0, 0.9545), (3.0, 0.9973), (1.959964, 0.95), (0.67449, 0.5)]
)
def test_shares_within_so_many_deviations_are_the_printed_ones(deviations: float, share: float) -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1, both tails off (from memory)."""
    assert inside_share(tolerance=deviations, deviation=1.0) == pytest.approx(share, abs=5.1e-5)


@pytest.mark.parametrize("plane", PLANES)
@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_one_hole_alone_passes_by_the_error_function(plane: str, ratio: float) -> None:
    """Closed form of the normal distribution: share = erf(t / (sqrt(2) s))."""
    size = DRAWN[plane]
    limits = {"cant": 1.0, "sweep": 1.0, "hole_height": 1.0, plane: ratio * size}
    case = tolerance_case(_allowed(_drilled({plane: size}, Station.REAR_LEFT), **limits))
    found = drill_share(case, runs=20_000, seed=5)
    closed = math.erf(ratio / math.sqrt(2.0))
    assert found.normal == pytest.approx(closed, rel=1e-12)
    assert found.drawn.share == pytest.approx(closed, abs=4.0 * math.sqrt(closed * (1.0 - closed) / 20_000))


def test_three_holes_pass_by_the_third_power_and_nine_planes_by_the_ninth() -> None:
    """Independent holes: the product of their shares, closed form."""
    one = math.erf(1.3 / math.sqrt(2.0))
    limits = {plane: 1.3 * size for plane, size in DRAWN.items()}
    for planes, power in ((("sweep",), 3), (("cant", "sweep"), 6), (PLANES, 9)):
        scatter = {plane: DRAWN[plane] for plane in planes}
        found = drill_share(tolerance_case(_allowed(_drilled(scatter), **limits)), runs=30_000, seed=2)
        closed = one**power
        assert found.normal == pytest.approx(closed, rel=1e-12)
        assert found.drawn.share == pytest.approx(
            closed, abs=4.0 * math.sqrt(closed * (1.0 - closed) / 30_000)
        )


def test_heights_against_each_other_pass_by_a_double_integral() -> None:
    """Two rear heights, all else exact: |a|, |b| and |a - b| within t, integrated along one of them."""
    t, s = 0.2, 0.15
    case = tolerance_case(_drilled({"hole_height": s * MM}, Station.REAR_LEFT, Station.REAR_RIGHT))
    found = drill_share(case, runs=40_000, seed=3)
    # The front against the mean of the rear ones asks for no more: that mean is within t if they are.
    a = np.linspace(-t, t, 4001)
    inner = [
        NormalDist(0.0, s).cdf(min(t, x + t)) - NormalDist(0.0, s).cdf(max(-t, x - t)) for x in a.tolist()
    ]
    density = [NormalDist(0.0, s).pdf(x) for x in a.tolist()]
    closed = float(np.trapezoid(np.array(inner) * np.array(density), a))
    error = math.sqrt(closed * (1.0 - closed) / 40_000)
    assert found.with_pairs.share == pytest.approx(closed, abs=4.0 * error)
    assert closed < found.normal - 10.0 * error


def test_a_share_speaks_of_the_scatter_that_the_normal_quantile_says() -> None:
    """Backwards in closed form: s = t / z((1 + q) / 2), q the root of the share for so many planes."""
    case = tolerance_case(_allowed(_drilled(DRAWN), **DRAWN))
    rays = rays_of(case, slopes_of(case), runs=4096, seed=7)
    for share in (0.05, 0.25, 0.9, 0.99):
        found = back(case, rays, Observed(share=share))
        closed = 1.0 / NormalDist().inv_cdf(0.5 + 0.5 * share ** (1.0 / 9.0))
        assert found.factor == pytest.approx(closed, rel=1e-9)
        for plane, size in DRAWN.items():
            assert found.deviations[plane] == pytest.approx(closed * size, rel=1e-9)


def test_a_counted_factor_covers_the_closed_one_about_as_often_as_it_says() -> None:
    case = tolerance_case(_drilled(DRAWN))
    slopes = slopes_of(case)
    held = 0
    for seed in range(40):
        found = back(case, rays_of(case, slopes, runs=400, seed=seed), Observed(share=0.5))
        assert found.drawn is not None
        assert found.factor is not None
        held += found.drawn[1].low <= found.factor <= found.drawn[1].high
    # 38 of 40 on average; under 33 would come up in one case of two hundred.
    assert held >= 33


def test_a_plane_alone_by_its_own_quantile() -> None:
    """With the others exact enough, one plane of three holes: q = (share / rest)^(1/3), closed form."""
    pairs, fixed = [(1.0, 1.0)] * 3, [(1.0, 0.4)] * 6
    rest = math.erf(2.5 / math.sqrt(2.0)) ** 6
    closed = 1.0 / NormalDist().inv_cdf(0.5 + 0.5 * (0.8 / rest) ** (1.0 / 3.0))
    assert factor_for(0.8, pairs, fixed=fixed) == pytest.approx(closed, rel=1e-9)
    assert factor_for(0.95, pairs, fixed=fixed) is None
    assert inside_all(fixed) == pytest.approx(rest, rel=1e-12)


@cache
def _flat_limits() -> dict[str, Dimension]:
    case = tolerance_case(flat_car())
    return {each.name: each for each in dimensions_of(case, slopes_of(case))}


def test_the_hole_height_limit_of_a_flat_car_is_a_right_triangle() -> None:
    """Level square axles: a front hole off by d pitches the car by atan(d / L), its nose by L sin of it."""
    found, length, width = _flat_limits()["front_left.hole_height"], 120.0 * MM, 0.15 * MM
    closed = width / math.sqrt(1.0 - (width / length) ** 2)
    for limit in (found.less, found.more):
        assert limit.gate == "level"
        assert limit.off == pytest.approx(closed, rel=1e-9)
        assert limit.straight == pytest.approx(width, rel=1e-8)
    assert found.slopes[0] == pytest.approx(-1.0, rel=1e-8)


def test_the_wood_limits_of_a_flat_car_are_the_gate_itself() -> None:
    """A wheel with a level square axle stands off as far as its side face does, and each face by half."""
    relief, width = _flat_limits()["front_left.relief"], _flat_limits()["body.width"]
    for limit, times in ((relief.less, 1.0), (relief.more, 1.0), (width.less, 2.0), (width.more, 2.0)):
        assert limit.gate == "centre"
        assert limit.off == pytest.approx(times * 0.15 * MM, rel=1e-9)
    assert (relief.slopes[2], width.slopes[2]) == pytest.approx((-1.0, 0.5), rel=1e-8)


def test_the_sweep_limit_of_a_flat_car_is_a_circle() -> None:
    """A left wheel swept by -a heads left by a and runs on a circle; the front centre point drifts 10 mm.

    Rolling without slip: curvature k = tan(a) / (L' + y' tan(a)) with the contact at L', y' from the rear
    pair's middle; the point a wheelbase ahead of that middle is then D down the board.
    """
    found = _flat_limits()["front_left.sweep"]
    half, out = 25.0 * MM, (2.0 + 8.0 / 2.0) * MM
    for limit, sign in ((found.less, 1.0), (found.more, -1.0)):
        assert limit.gate == "steer"
        assert limit.off is not None
        a = sign * limit.off
        # All wheels stand level, so that a rim touches all along its width; its middle or either edge change
        # the circle by less than the check's width.
        x = 120.0 * MM - out * math.sin(a)
        y = half + out * math.cos(a)
        k = math.tan(a) / (x + y * math.tan(a))
        lever, board = 120.0 * MM, 1000.0 * MM
        turned = 0.0
        for _ in range(60):
            # How far down the board the watched point is: sin(t)/k + lever cos(t) - lever = D.
            turned = math.asin(k * (board + lever - lever * math.cos(turned)))
        drift = (1.0 - math.cos(turned)) / k + lever * math.sin(turned)
        assert drift == pytest.approx(sign * 10.0 * MM, rel=2e-3)


def test_the_share_by_straight_lines_is_the_normal_integral_over_the_gates() -> None:
    """Three gates at once: a box under the trivariate normal distribution, by scipy's integration."""
    case = tolerance_case(lark())
    slopes = slopes_of(case)
    found = gate_shares(case, slopes, case.drill, runs=40_000, seed=4)
    scaled = slopes * case.drill
    covariance = scaled @ scaled.T / np.outer(case.tolerances, case.tolerances)
    box = multivariate_normal(mean=np.zeros(3), cov=covariance)
    closed = float(box.cdf(np.ones(3), lower_limit=-np.ones(3), rng=1))
    error = math.sqrt(closed * (1.0 - closed) / 40_000)
    assert found.together.straight == pytest.approx(closed, abs=4.0 * error + 1e-4)
    for number, gate in enumerate(found.gates):
        spread = math.sqrt(float(covariance[number, number]))
        alone = 2.0 * NormalDist().cdf(1.0 / spread) - 1.0
        assert gate.normal == pytest.approx(alone, rel=1e-9)
        assert gate.straight == pytest.approx(alone, abs=4.0 * math.sqrt(alone * (1.0 - alone) / 40_000))


def test_shares_of_the_variance_are_those_of_independent_inputs() -> None:
    """(c u)^2 over their sum (JCGM 100:2008, 5.1.2); the flat car's level is two heights and nothing else."""
    car = known_but_for(flat_car(), {"front_left.hole_height": 0.2 * MM, "rear_left.hole_height": 0.1 * MM})
    case = tolerance_case(car)
    found = {each.name: each for each in dimensions_of(case, slopes_of(case))}
    front, rear = found["front_left.hole_height"], found["rear_left.hole_height"]
    # A plane through three contacts: the nose goes up or down by as much as one corner, over this triangle.
    assert (front.slopes[0], rear.slopes[0]) == pytest.approx((-1.0, 1.0), rel=1e-6)
    assert (front.shares[0], rear.shares[0]) == pytest.approx((0.8, 0.2), rel=1e-6)
    assert sum(each.shares[0] for each in found.values()) == pytest.approx(1.0)


def test_a_drill_that_does_what_the_drawing_says_makes_about_one_good_body_in_four() -> None:
    """About one drilled body in four is good enough: common practice, no source."""
    found = drill_share(tolerance_case(_drilled(DRAWN)), runs=20_000, seed=1)
    assert 0.15 < found.with_pairs.share < 0.4


def test_every_dimension_of_the_drill_is_found_in_its_place() -> None:
    names = dimension_names()
    case = tolerance_case(_drilled(DRAWN))
    for place, name in enumerate(names):
        assert case.drill[place] == DRAWN.get(name.rpartition(".")[2], 0.0), name
