"""Least squares against certified data sets and the worked example of the guide on uncertainty."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import scipy.stats

from rollwright.errors import OutOfRange
from rollwright.setup.fit import Fit, least_squares_fit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

# NIST Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd/. The certified values are good
# to eleven digits; what is asked of us is that all given digits of parameters and deviations that could
# matter are right.
CERTIFIED = 1e-6


def _fit(
    model: Callable[[Array], Array], slopes: Callable[[Array], Array], y: Array, start: list[float]
) -> Fit:
    return least_squares_fit(lambda b: model(b) - y, slopes, start=np.array(start))


def _line(x: Array, y: Array, start: list[float]) -> Fit:
    columns = np.column_stack((np.ones_like(x), x))
    return _fit(lambda b: columns @ b, lambda _: columns, y, start)


def _deviations(fit: Fit) -> Array:
    found: Array = np.sqrt(np.diag(fit.scaled_covariance()))
    return found


# The file ships with scipy's own tests, which some distributions leave out.
NORRIS = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_linregress" / "Norris.dat"


@pytest.mark.skipif(not NORRIS.exists(), reason="scipy was installed without its test data")
@pytest.mark.parametrize("start", [[0.0, 0.0], [100.0, -3.0]])
def test_norris_straight_line(start: list[float]) -> None:
    # NIST StRD, Norris (ozone monitors), lower difficulty: certified values in the file's header.
    rows = NORRIS.read_text(encoding="ascii").splitlines()[60:96]
    y, x = np.array([[float(part) for part in row.split()] for row in rows]).T
    assert len(x) == 36
    fit = _line(x, y, start)
    assert fit.values == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    assert _deviations(fit) == pytest.approx([0.232818234301152, 0.429796848199937e-03], rel=1e-10)
    assert fit.residual_deviation == pytest.approx(0.884796396144373, rel=1e-10)
    assert fit.sum_of_squares == pytest.approx(26.6173985294224, rel=1e-10)
    assert fit.dof == 34


# Misra, D., NIST (1978), monomolecular adsorption: pressure and volume.
MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]


@pytest.mark.parametrize("start", [[500.0, 0.0001], [250.0, 0.0005]])
def test_misra1a_saturating_curve(start: list[float]) -> None:
    # NIST StRD, Misra1a, lower difficulty, y = b1 (1 - exp(-b2 x)), from both of its starting points.
    x, y = np.array(MISRA_X), np.array(MISRA_Y)

    def model(b: Array) -> Array:
        return np.asarray(-b[0] * np.expm1(-b[1] * x))

    def slopes(b: Array) -> Array:
        return np.column_stack((-np.expm1(-b[1] * x), b[0] * x * np.exp(-b[1] * x)))

    fit = _fit(model, slopes, y, start)
    assert fit.values == pytest.approx([2.3894212918e02, 5.5015643181e-04], rel=CERTIFIED)
    assert _deviations(fit) == pytest.approx([2.7070075241e00, 7.2668688436e-06], rel=CERTIFIED)
    assert fit.sum_of_squares == pytest.approx(1.2455138894e-01, rel=CERTIFIED)
    assert fit.residual_deviation == pytest.approx(1.0187876330e-01, rel=CERTIFIED)


# Thurber, R., NIST, semiconductor electron mobility: log of the density and mobility.
THURBER_X = [
    -3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322, -1.501,
    -1.460, -1.274, -1.212, -1.100, -1.046, -0.915, -0.714, -0.566, -0.545, -0.400, -0.309, -0.109, -0.103,
    0.010, 0.119, 0.377, 0.790, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.200,
]  # fmt: skip
THURBER_Y = [
    80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.060, 401.672,
    390.724, 567.534, 635.316, 733.054, 759.087, 894.206, 990.785, 1090.109, 1080.914, 1122.643, 1178.351,
    1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384, 1442.962, 1464.350,
    1468.705, 1447.894, 1457.628,
]  # fmt: skip


@pytest.mark.parametrize(
    "start",
    [[1000.0, 1000.0, 400.0, 40.0, 0.7, 0.3, 0.03], [1300.0, 1500.0, 500.0, 75.0, 1.0, 0.4, 0.05]],
)
def test_thurber_quotient_of_cubics(start: list[float]) -> None:
    # NIST StRD, Thurber, higher difficulty, seven unknowns, from both of its starting points.
    x, y = np.array(THURBER_X), np.array(THURBER_Y)
    powers = np.vander(x, 4, increasing=True)

    def parts(b: Array) -> tuple[Array, Array]:
        return powers @ b[:4], 1.0 + powers[:, 1:] @ b[4:]

    def model(b: Array) -> Array:
        above, below = parts(b)
        return np.asarray(above / below)

    def slopes(b: Array) -> Array:
        above, below = parts(b)
        return np.column_stack((powers / below[:, None], -powers[:, 1:] * (above / below**2)[:, None]))

    fit = _fit(model, slopes, y, start)
    assert fit.values == pytest.approx(
        [
            1.2881396800e03,
            1.4910792535e03,
            5.8323836877e02,
            7.5416644291e01,
            9.6629502864e-01,
            3.9797285797e-01,
            4.9727297349e-02,
        ],
        rel=CERTIFIED,
    )
    assert _deviations(fit) == pytest.approx(
        [
            4.6647963344e00,
            3.9571156086e01,
            2.8698696102e01,
            5.5675370270e00,
            3.1333340687e-02,
            1.4984928198e-02,
            6.5842344623e-03,
        ],
        rel=CERTIFIED,
    )
    assert fit.sum_of_squares == pytest.approx(5.6427082397e03, rel=CERTIFIED)
    assert fit.residual_deviation == pytest.approx(1.3714600784e01, rel=CERTIFIED)
    assert fit.dof == 30


def test_calibration_line_of_a_thermometer() -> None:
    # JCGM 100:2008 (GUM), H.3, Table H.6 and equations H.13 to H.15; data and digits from memory, worked
    # again in full.
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    fit = _line(np.array(t) - 20.0, np.array(b), [0.0, 0.0])
    y1, y2 = fit.values
    s1, s2 = _deviations(fit)
    correlation = fit.scaled_covariance()[0, 1] / (s1 * s2)
    assert (y1, y2) == pytest.approx((-0.1712, 0.00218), abs=5e-5)
    assert (s1, s2) == pytest.approx((0.0029, 0.00067), abs=5e-5)
    assert correlation == pytest.approx(-0.930, abs=5e-4)
    assert fit.residual_deviation == pytest.approx(0.0035, abs=5e-5)
    # The correction at 30 degrees and its uncertainty, which needs the correlation.
    at = np.array([1.0, 10.0])
    assert at @ fit.values == pytest.approx(-0.1494, abs=5e-5)
    assert np.sqrt(at @ fit.scaled_covariance() @ at) == pytest.approx(0.0041, abs=5e-5)
    # In full, where the printed figures round.
    assert fit.values == pytest.approx([-0.17120379, 0.0021827], abs=5e-8)
    assert (s1, s2) == pytest.approx((0.0028776, 0.00066794), abs=5e-8)


def test_covariance_of_readings_with_known_uncertainty_needs_no_scatter() -> None:
    # Two readings of one length, 10.0 +- 0.3 and 10.4 +- 0.4: weights 16 to 9 (JCGM 100:2008, weighted mean
    # by least squares, worked by hand).
    def residuals(b: Array) -> Array:
        return np.array([(b[0] - 10.0) / 0.3, (b[0] - 10.4) / 0.4])

    fit = least_squares_fit(residuals, lambda _: np.array([[1 / 0.3], [1 / 0.4]]), start=np.array([0.0]))
    assert fit.values[0] == pytest.approx((16 * 10.0 + 9 * 10.4) / 25, rel=1e-12)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(0.3 * 0.4 / 0.5, rel=1e-12)


def test_unknowns_of_which_only_the_sum_is_read_are_refused() -> None:
    columns = np.array([[1.0, 1.0], [1.0, 1.0], [2.0, 2.0]])
    with pytest.raises(OutOfRange, match="cannot tell all unknowns apart"):
        _fit(lambda b: columns @ b, lambda _: columns, np.array([1.0, 1.1, 2.0]), [0.0, 0.0])


def test_an_unknown_that_no_reading_sees_is_refused() -> None:
    columns = np.array([[1.0, 0.0], [2.0, 0.0]])
    with pytest.raises(OutOfRange, match="do not fix every unknown"):
        _fit(lambda b: columns @ b, lambda _: columns, np.array([1.0, 2.0]), [0.0, 0.0])
