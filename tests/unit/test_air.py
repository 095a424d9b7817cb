"""The air: where a density is refused, and what its uncertainty and source are."""

from __future__ import annotations

import math

import pytest

from rollwright.errors import OutOfRange
from rollwright.quantity import Quantity, Source
from rollwright.run.air import (
    HUMIDITIES,
    PRESSURES,
    TEMPERATURES,
    air_density,
    air_density_quantity,
    standard_atmosphere,
)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"temperature": 20.0}, "temperature: 20 K is outside 273.15 to 318.15 K"),
        ({"pressure": 1013.25}, "pressure: 1013.25 Pa is outside 60000 to 110000 Pa"),
        ({"humidity": 50.0}, "humidity: 50 is outside 0 to 1"),
        ({"humidity": -0.1}, "humidity: -0.1"),
        ({"humidity": math.nan}, "humidity: nan"),
        ({"carbon_dioxide": 400.0}, "carbon_dioxide: 400 is outside 0 to 0.01"),
    ],
)
def test_a_number_in_another_unit_is_refused(wrong: dict[str, float], said: str) -> None:
    right = {"temperature": 293.15, "pressure": 1e5, "humidity": 0.5}
    with pytest.raises(OutOfRange) as refused:
        air_density(**{**right, **wrong})
    assert str(refused.value).startswith(said)


def test_the_limits_themselves_are_taken() -> None:
    found = [
        air_density(temperature=t, pressure=p, humidity=h)
        for t in TEMPERATURES
        for p in PRESSURES
        for h in HUMIDITIES
    ]
    assert 0.6 < min(found) < max(found) < 1.5


def test_more_carbon_dioxide_is_heavier_by_its_molar_mass() -> None:
    still, crowded = (
        air_density(temperature=293.15, pressure=1e5, humidity=0.0, carbon_dioxide=x)
        for x in (0.0004, 0.0014)
    )
    # Carbon dioxide takes the place of oxygen, so that carbon's 12.011 g/mol comes in addition.
    assert crowded / still - 1.0 == pytest.approx(0.001 * 12.011 / 28.96546, rel=1e-9)


@pytest.mark.parametrize("altitude", [-1001.0, 11_001.0, math.inf, math.nan])
def test_a_height_outside_the_lowest_layer_is_refused(altitude: float) -> None:
    with pytest.raises(OutOfRange, match="altitude"):
        standard_atmosphere(altitude=altitude)


def air(*, source: Source = Source.MEASURED, dof: float = math.inf, celsius: float = 20.0) -> Quantity:
    return air_density_quantity(
        Quantity(value=273.15 + celsius, uncertainty=1.0, source=source, dof=dof),
        Quantity(value=1e5, uncertainty=0.0, source=Source.MEASURED),
        Quantity(value=0.5, uncertainty=0.0, source=Source.MEASURED),
    )


def test_one_assumed_reading_makes_the_density_assumed() -> None:
    assert air().source is Source.MEASURED
    assert air(source=Source.NOMINAL).source is Source.NOMINAL
    assert air(source=Source.ASSUMED).source is Source.ASSUMED


def test_the_only_uncertain_reading_hands_on_its_degrees_of_freedom() -> None:
    assert air().dof == math.inf
    assert air(dof=4.0).dof == pytest.approx(4.0, rel=1e-3)


def test_the_equation_has_an_uncertainty_of_its_own() -> None:
    exact = [Quantity(value=value) for value in (293.15, 1e5, 0.5)]
    inside = air_density_quantity(*exact)
    # Picard et al. (2008) state 22e-6 for the equation itself.
    assert inside.uncertainty / inside.value == pytest.approx(22e-6, rel=1e-3)
    cold = air_density_quantity(Quantity(value=275.0), *exact[1:])
    assert cold.uncertainty / cold.value > inside.uncertainty / inside.value
