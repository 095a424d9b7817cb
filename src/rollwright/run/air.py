"""The density of the air over the track, from what a thermometer, a barometer and a hygrometer read."""

from __future__ import annotations

import math
from typing import NamedTuple

from rollwright.errors import OutOfRange
from rollwright.quantity import Quantity, Source

__all__ = [
    "CARBON_DIOXIDE",
    "HUMIDITIES",
    "PRESSURES",
    "TEMPERATURES",
    "Atmosphere",
    "air_density",
    "air_density_quantity",
    "standard_atmosphere",
]

TEMPERATURES = (273.15, 318.15)
"""Least and greatest temperature [K] that a density is given for."""
PRESSURES = (60_000.0, 110_000.0)
"""Least and greatest pressure [Pa] that a density is given for."""
HUMIDITIES = (0.0, 1.0)
"""Least and greatest relative humidity [1] that a density is given for."""
CARBON_DIOXIDE = 400e-6
"""Molar fraction of carbon dioxide that the equation takes for air indoors [1]."""

_ZERO_CELSIUS = 273.15
# Where the equation was made for, and its own relative uncertainty there and in the wider range.
_STATED = (288.15, 300.15)
_EQUATION = 22e-6
_EQUATION_BEYOND = 1e-4

# CIPM-2007, appendix A: saturation pressure, enhancement and compressibility of moist air.
_SATURATION = (1.2378847e-5, -1.9121316e-2, 33.93711047, -6.3431645e3)
_ENHANCEMENT = (1.00062, 3.14e-8, 5.6e-7)
_A0, _A1, _A2 = 1.58123e-6, -2.9331e-8, 1.1043e-10
_B0, _B1 = 5.707e-6, -2.051e-8
_C0, _C1 = 1.9898e-4, -2.376e-6
_D, _E = 1.83e-11, -0.765e-8
_GAS_CONSTANT = 8.314472
_WATER = 18.01528e-3
_DRY_AIR = 28.96546e-3
_CARBON = 12.011e-3

# The Standard Atmosphere's own constants, which are not those of today's tables.
_EARTH_RADIUS = 6_356_766.0
_GRAVITY = 9.80665
_LAPSE = 0.0065
_SEA_TEMPERATURE = 288.15
_SEA_PRESSURE = 101_325.0
_STANDARD_AIR = 28.9644e-3
_STANDARD_GAS_CONSTANT = 8.31432
_LOWEST, _HIGHEST = -1000.0, 11_000.0


class Atmosphere(NamedTuple):
    """Still air at one height.

    Attributes:
        temperature: [K].
        pressure: [Pa].
        density: [kg/m3].
    """

    temperature: float
    pressure: float
    density: float


def air_density(
    *, temperature: float, pressure: float, humidity: float, carbon_dioxide: float = CARBON_DIOXIDE
) -> float:
    """Return the density of moist air.

    Args:
        temperature: of the air [K].
        pressure: of the air where it is, not reduced to sea level [Pa].
        humidity: relative humidity [1].
        carbon_dioxide: molar fraction of carbon dioxide [1]; a crowded hall may have 0.001, which adds a part
            in four thousand.

    Returns:
        The density [kg/m3] by the equation CIPM-2007, `p M (1 - x (1 - M_v/M)) / (Z R T)`. It was made for
        600 to 1100 hPa and 15 to 27 degrees Celsius, where its own relative uncertainty is 22e-6; it is used
        here from 0 to 45, where it stays within 1e-4 of a virial equation of moist air (S. Herrmann,
        H.-J. Kretzschmar, D. P. Gatley, HVAC&R Research 15 (2009) 961). (A. Picard, R. S. Davis, M. Glaeser,
        K. Fujii, Revised formula for the density of moist air (CIPM-2007), Metrologia 45 (2008) 149,
        equation 1 and appendix A.)

    Raises:
        OutOfRange: a number lies outside `TEMPERATURES`, `PRESSURES` or `HUMIDITIES`, or the molar fraction
            outside 0 to 0.01.
    """
    for number, what, unit, (low, high) in (
        (temperature, "temperature", " K", TEMPERATURES),
        (pressure, "pressure", " Pa", PRESSURES),
        (humidity, "humidity", "", HUMIDITIES),
        (carbon_dioxide, "carbon_dioxide", "", (0.0, 0.01)),
    ):
        _inside(number, low, high, key=what, unit=unit)
    return _density(temperature, pressure, humidity, carbon_dioxide)


def _inside(number: float, low: float, high: float, *, key: str, unit: str) -> None:
    if not low <= number <= high:
        raise OutOfRange(
            f"{number:g}{unit} is outside {low:g} to {high:g}{unit}", mend="check the number", key=key
        )


def _density(temperature: float, pressure: float, humidity: float, carbon_dioxide: float) -> float:
    celsius = temperature - _ZERO_CELSIUS
    a, b, c, d = _SATURATION
    saturation = math.exp(a * temperature**2 + b * temperature + c + d / temperature)
    alpha, beta, gamma = _ENHANCEMENT
    enhancement = alpha + beta * pressure + gamma * celsius**2
    vapour = humidity * enhancement * saturation / pressure
    virial = (
        (_A0 + _A1 * celsius + _A2 * celsius**2)
        + (_B0 + _B1 * celsius) * vapour
        + (_C0 + _C1 * celsius) * vapour**2
    )
    ratio = pressure / temperature
    compressibility = 1.0 - ratio * virial + ratio**2 * (_D + _E * vapour**2)
    dry = _DRY_AIR + _CARBON * (carbon_dioxide - CARBON_DIOXIDE)
    return ratio * dry / (compressibility * _GAS_CONSTANT) * (1.0 - vapour * (1.0 - _WATER / dry))


def air_density_quantity(temperature: Quantity, pressure: Quantity, humidity: Quantity) -> Quantity:
    """Return the density of moist air with its uncertainty.

    Args:
        temperature: of the air [K].
        pressure: of the air where it is [Pa].
        humidity: relative humidity [1].

    Returns:
        The density [kg/m3] by `air_density`. Its uncertainty combines those of the three readings, taken as
        independent, and the equation's own (JCGM 100:2008, 5.1.2; degrees of freedom by G.2b). It is assumed
        where one of the three is, measured where all are.

    Raises:
        OutOfRange: a value lies outside what `air_density` takes.
    """
    readings = (temperature, pressure, humidity)
    value = air_density(temperature=temperature.value, pressure=pressure.value, humidity=humidity.value)
    terms = []
    for place, reading in enumerate(readings):
        # A step of a millionth of the temperature, pressure or full humidity leaves nine figures.
        step = 1e-6 * max(1.0, reading.value)
        moved = []
        for way in (step, -step):
            warmth, weight, damp = (
                each.value + way * (other == place) for other, each in enumerate(readings)
            )
            moved.append(_density(warmth, weight, damp, CARBON_DIOXIDE))
        slope = (moved[0] - moved[1]) / (2.0 * step)
        terms.append((slope * reading.uncertainty, reading.dof))
    own = _EQUATION if _STATED[0] <= temperature.value <= _STATED[1] else _EQUATION_BEYOND
    uncertainty = math.hypot(own * value, *(term for term, _ in terms))
    spread = sum((term / uncertainty) ** 4 / dof for term, dof in terms)
    sources = {reading.source for reading in readings}
    return Quantity(
        value=value,
        uncertainty=uncertainty,
        dof=max(1.0, 1.0 / spread) if spread else math.inf,
        source=sources.pop() if len(sources) == 1 else _mixed(sources),
        label="air density",
    )


def _mixed(sources: set[Source]) -> Source:
    return Source.ASSUMED if Source.ASSUMED in sources else Source.NOMINAL


def standard_atmosphere(*, altitude: float) -> Atmosphere:
    """Return the air of the Standard Atmosphere at a height above the sea.

    It is a mean over places and seasons: on a given day the pressure is off by a hundredth, and the air of a
    heated hall is warmer, so that its density is a few hundredths less.

    Args:
        altitude: geometric height above mean sea level [m], from -1000 to 11000.

    Returns:
        Temperature, pressure and density of dry air. The geopotential height is `h = r z / (r + z)`, the
        temperature `288.15 - 0.0065 h`, the pressure `101325 (T/288.15)^(g M / (R 0.0065))`. (U.S. Standard
        Atmosphere, 1976, equations 18, 23, 33a and 42; below 32 km the same as ISO 2533:1975.)

    Raises:
        OutOfRange: the height lies outside the lowest layer.
    """
    _inside(altitude, _LOWEST, _HIGHEST, key="altitude", unit=" m")
    height = _EARTH_RADIUS * altitude / (_EARTH_RADIUS + altitude)
    temperature = _SEA_TEMPERATURE - _LAPSE * height
    exponent = _GRAVITY * _STANDARD_AIR / (_STANDARD_GAS_CONSTANT * _LAPSE)
    pressure = _SEA_PRESSURE * (temperature / _SEA_TEMPERATURE) ** exponent
    return Atmosphere(
        temperature=temperature,
        pressure=pressure,
        density=pressure * _STANDARD_AIR / (_STANDARD_GAS_CONSTANT * temperature),
    )
