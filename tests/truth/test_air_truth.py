"""Air density and the Standard Atmosphere against published tables and another equation of state."""

from __future__ import annotations

import math

import pytest
from uncertainties import umath

from rollwright.quantity import Quantity, Source, combine
from rollwright.run.air import air_density, air_density_quantity, standard_atmosphere


def density(celsius: float, pascal: float, humidity: float) -> float:
    return air_density(temperature=273.15 + celsius, pressure=pascal, humidity=humidity)


@pytest.mark.parametrize(
    ("celsius", "pascal", "humidity", "expected"),
    [
        (20.0, 101_325.0, 0.5, 1.1993138954744933),
        (20.0, 101_325.0, 0.0, 1.2045573416280522),
        (22.0, 99_000.0, 0.45, 1.1636097587060354),
        (25.0, 100_000.0, 0.6, 1.1604299746684592),
        (27.0, 95_000.0, 0.2, 1.0998064213951695),
    ],
)
def test_density_is_that_of_the_equation_worked_apart(
    celsius: float, pascal: float, humidity: float, expected: float
) -> None:
    # Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149, equation 1 and appendix A: coefficients read in
    # a copy, values worked out by another program; the paper was not found to print a worked value.
    assert density(celsius, pascal, humidity) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(
    ("celsius", "pascal", "humidity", "expected"),
    [
        (20.0, 101_325.0, 0.5, 1.199359),
        (27.0, 95_000.0, 0.2, 1.099847),
        (5.0, 60_000.0, 1.0, 0.747612),
        (5.0, 101_325.0, 0.5, 1.267710),
        (10.0, 110_000.0, 0.0, 1.354118),
        (35.0, 80_000.0, 0.5, 0.892616),
        (40.0, 101_325.0, 0.5, 1.111989),
        (45.0, 60_000.0, 1.0, 0.617606),
    ],
)
def test_density_is_that_of_a_virial_equation_of_moist_air(
    celsius: float, pascal: float, humidity: float, expected: float
) -> None:
    # Herrmann, Kretzschmar, Gatley, HVAC&R Research 15 (2009) 961, as carried out by CoolProp 8.0.0 (1 + W
    # over the volume of a kilogram of dry air); also at the edges, where CIPM-2007 was not made for.
    assert density(celsius, pascal, humidity) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(("celsius", "pascal", "humidity"), [(20.0, 101_325.0, 0.5), (18.0, 96_000.0, 0.7)])
def test_density_is_that_of_the_short_formula_for_weighing(
    celsius: float, pascal: float, humidity: float
) -> None:
    # OIML R 111-1:2004, equation E.3-1, stated to 2e-4; from memory.
    short = (0.34848 * pascal / 100.0 - 0.9 * humidity * math.exp(0.061 * celsius)) / (273.15 + celsius)
    assert density(celsius, pascal, humidity) == pytest.approx(short, rel=2e-4)


def test_damp_air_is_lighter() -> None:
    # Water vapour weighs 18 g/mol, dry air 29 (any table of molar masses).
    assert density(20.0, 101_325.0, 1.0) < density(20.0, 101_325.0, 0.0)


@pytest.mark.parametrize(
    ("altitude", "temperature", "pressure", "dense"),
    [
        (0.0, 288.15, 101_325.0, 1.2250),
        (1000.0, 281.65, 89_876.3, 1.1117),
        (2000.0, 275.15, 79_501.4, 1.0066),
    ],
)
def test_the_standard_atmosphere_is_as_printed(
    altitude: float, temperature: float, pressure: float, dense: float
) -> None:
    # U.S. Standard Atmosphere 1976, table I, by geometric altitude; the same as ISO 2533:1975 here.
    air = standard_atmosphere(altitude=altitude)
    assert air.temperature == pytest.approx(temperature, abs=0.01)
    assert air.pressure == pytest.approx(pressure, abs=1.0)
    assert air.density == pytest.approx(dense, abs=5e-5)


def test_the_pressure_falls_with_the_weight_of_the_air() -> None:
    # Hydrostatics: dp/dz = -rho g, gravity falling as the square of the distance from the earth's centre.
    for altitude in (0.0, 800.0, 5000.0):
        above, below = (standard_atmosphere(altitude=altitude + step) for step in (0.5, -0.5))
        gravity = 9.80665 * (6_356_766.0 / (6_356_766.0 + altitude)) ** 2
        weight = standard_atmosphere(altitude=altitude).density * gravity
        assert below.pressure - above.pressure == pytest.approx(weight, rel=1e-7)


def test_uncertainty_is_that_of_the_ideal_gas() -> None:
    # JCGM 100:2008, 5.1.6: for p/T the relative uncertainties add as squares. Dry air is ideal to about
    # a part in a thousand in its derivatives.
    found = air_density_quantity(
        Quantity(value=293.15, uncertainty=2.0),
        Quantity(value=1e5, uncertainty=500.0),
        Quantity(value=0.0),
    )
    assert found.uncertainty / found.value == pytest.approx(math.hypot(2.0 / 293.15, 0.005), rel=2e-3)


def test_uncertainty_is_that_of_automatic_differentiation() -> None:
    # The short formula of OIML R 111-1 (from memory), differentiated by the package uncertainties; the two
    # formulas' derivatives are within a part in a hundred of each other.
    inputs = {
        "t": Quantity(value=20.0, uncertainty=0.6, source=Source.MEASURED),
        "p": Quantity(value=1000.0, uncertainty=1.2, source=Source.MEASURED),
        "h": Quantity(value=50.0, uncertainty=6.0, source=Source.MEASURED),
    }
    expected = combine(
        lambda x: (0.34848 * x["p"] - 0.009 * x["h"] * umath.exp(0.061 * x["t"])) / (273.15 + x["t"]), inputs
    )
    found = air_density_quantity(
        Quantity(value=293.15, uncertainty=0.6, source=Source.MEASURED),
        Quantity(value=1e5, uncertainty=120.0, source=Source.MEASURED),
        Quantity(value=0.5, uncertainty=0.06, source=Source.MEASURED),
    )
    assert found.uncertainty == pytest.approx(expected.uncertainty, rel=1e-2)
    assert found.value == pytest.approx(expected.value, rel=2e-4)
