"""The mass ledger: what a car weighs and where its mass is, with uncertainty, item by item."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rollwright.car.model import Car, Point, Seat, Station
from rollwright.geometry.mass import hole_centre
from rollwright.geometry.tripod import pose_at
from rollwright.quantity import Quantity

__all__ = ["Item", "Ledger", "ledger_of"]

_PLACED = 0.5e-3
"""Standard uncertainty of where a wheel's or an axle's mass is [m]: they are drawn, not weighed apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing that weighs something.

    Attributes:
        name: such as `body`, `rear left wheel` or `weight slug`.
        mass: [kg].
        position: of its centre of mass, body frame [m].
    """

    name: str
    mass: Quantity
    position: Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """All items of a car.

    Attributes:
        items: body, wheels, axles and weights.
    """

    items: tuple[Item, ...]

    @property
    def mass(self) -> Quantity:
        """Total mass [kg], its items taken as independent."""
        value = math.fsum(item.mass.value for item in self.items)
        spread = math.sqrt(math.fsum(item.mass.uncertainty**2 for item in self.items))
        return Quantity(value=value, uncertainty=spread, label="mass")

    @property
    def centre(self) -> Point:
        """Centre of mass, body frame [m]; x forward, y left, z up.

        First-order propagation of masses and places, `x = sum(m_i x_i) / M`: an item's mass moves the
        centre by its distance from it over the total, its place by its share of the total (JCGM 100:2008,
        5.1.2).
        """
        total = self.mass.value
        found = []
        for axis in range(3):
            at = math.fsum(item.mass.value * item.position[axis].value for item in self.items) / total
            variance = math.fsum(
                ((item.position[axis].value - at) / total * item.mass.uncertainty) ** 2
                + (item.mass.value / total * item.position[axis].uncertainty) ** 2
                for item in self.items
            )
            found.append(Quantity(value=at, uncertainty=math.sqrt(variance), label="centre of mass"))
        return (found[0], found[1], found[2])

    def covariance(self) -> tuple[tuple[float, ...], ...]:
        """Return the covariance of mass [kg] and its moments about the origin [kg m]: M, M x, M y, M z."""
        rows = [[0.0] * 4 for _ in range(4)]
        for item in self.items:
            arm = [1.0, *(part.value for part in item.position)]
            for i in range(4):
                for j in range(4):
                    rows[i][j] += arm[i] * arm[j] * item.mass.uncertainty**2
            for axis in range(3):
                rows[axis + 1][axis + 1] += (item.mass.value * item.position[axis].uncertainty) ** 2
        return tuple(tuple(row) for row in rows)


def ledger_of(car: Car, *, seat: Seat = Seat.MIDDLE) -> Ledger:
    """Return the mass ledger of a car.

    Args:
        car: the car.
        seat: where in their play the wheels are taken to be; it moves a few grams by tenths of a millimetre.

    Returns:
        Body, four wheels at their centres, four axles at their holes (about half of a pin is in the wood and
        half outside) and the weights.
    """
    items = [Item(name="body", mass=car.body.mass, position=car.body.centre_of_mass)]
    for station in Station:
        centre = pose_at(car, station, seat=seat).centre
        items.append(
            Item(name=f"{station.words} wheel", mass=car.wheel_at(station).mass, position=_point(centre))
        )
        items.append(
            Item(
                name=f"{station.words} axle",
                mass=car.axle_at(station).mass,
                position=_point(hole_centre(car, station)),
            )
        )
    items += [
        Item(name=f"weight {name}", mass=weight.mass, position=weight.position)
        for name, weight in car.weights.items()
    ]
    return Ledger(items=tuple(items))


def _point(at: tuple[float, float, float]) -> Point:
    x, y, z = (Quantity(value=value, uncertainty=_PLACED) for value in at)
    return (x, y, z)
