"""What a scale says of a logged car: how heavy it is and where its mass lies."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from rollwright.bench.events import ScaleReading
from rollwright.bench.known import Known
from rollwright.car.dimensions import dimension_names, dimension_of, with_dimensions
from rollwright.car.model import Car, Point
from rollwright.geometry.ledger import Item, ledger_of
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity, Source
from rollwright.setup.balance import Pan, balance_of
from rollwright.setup.balance import ScaleReading as Shown

__all__ = ["SCALE", "weighed"]

SCALE = 0.1e-3
"""Standard uncertainty of a scale that nobody speaks for [kg]: a pocket scale that shows tenths."""
_FINEST = 1e-7
"""No scale at a bench is finer [kg]; two that claimed to be exact could never agree."""


def weighed(known: Known, scales: Sequence[ScaleReading], *, base: Car) -> tuple[Known, float]:
    """Return what is known of a car after it was weighed.

    Args:
        known: what was known before.
        scales: all that a scale showed of it since its last change.
        base: the car as it was known before the first of these.

    Returns:
        The same with the bare body's mass and its centre so that the whole car weighs what ledger and scale
        together say, and has its centre of mass where they say. The body takes the whole correction: the
        parts were weighed or counted, and the wood is what nobody knows. And the chance of a disagreement at
        least this large between ledger and scale if every stated uncertainty is right.

    Raises:
        InputError: the car cannot stand, or nothing can press on the scale where it is said to.
    """
    car = _as_known(base, known)
    ledger = ledger_of(car)
    shown = [
        Shown(
            pan=Pan(event.where.value),
            mass=Quantity(
                value=event.mass,
                uncertainty=SCALE if event.uncertainty is None else max(event.uncertainty, _FINEST),
                source=Source.MEASURED,
                label="scale",
            ),
        )
        for event in scales
    ]
    balance = balance_of(ledger, stance(car), shown)
    others = [item for item in ledger.items if item.name != "body"]
    mass = balance.mass.value - math.fsum(item.mass.value for item in others)
    if not mass > 0.0:
        # The parts alone weigh more than the scale shows; inspection judges the scale, not this ledger.
        return known, balance.misfit_probability
    rest = math.fsum(item.mass.uncertainty**2 for item in others)
    body = replace(
        known.car.body,
        mass=Quantity(
            value=mass,
            uncertainty=math.sqrt(max(0.0, balance.mass.uncertainty**2 - rest)),
            source=Source.MEASURED,
            label="body",
        ),
        centre_of_mass=_centre(mass, balance.mass.value, balance.centre, others),
    )
    return replace(known, car=replace(known.car, body=body)), balance.misfit_probability


def _as_known(base: Car, known: Known) -> Car:
    """Return a car with its dimensions as they are known, for where its wheels press."""
    mean = known.prior.mean
    changes = {
        name: replace(dimension_of(base, name), value=float(mean[index]))
        for index, name in enumerate(dimension_names())
        if float(mean[index]) != dimension_of(base, name).value
    }
    return with_dimensions(base, changes)


def _centre(mass: float, total: float, centre: Point, others: Sequence[Item]) -> Point:
    """Return where the body's own centre must be for the car's to be where it was found."""
    found = []
    for axis in range(3):
        moment = total * centre[axis].value - math.fsum(
            item.mass.value * item.position[axis].value for item in others
        )
        found.append(
            Quantity(
                value=moment / mass,
                uncertainty=centre[axis].uncertainty * total / mass,
                source=Source.MEASURED,
                label="body",
            )
        )
    return found[0], found[1], found[2]
