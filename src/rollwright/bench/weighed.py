"""What a scale says of a logged car: how heavy it is and where its mass lies."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from rollwright.bench.agreed import DOUBTFUL
from rollwright.bench.events import ScaleReading
from rollwright.bench.known import Known
from rollwright.car.dimensions import dimension_names, dimension_of, with_dimensions
from rollwright.car.model import Body, Car, Point
from rollwright.errors import InputError
from rollwright.geometry.ledger import Item, Ledger, ledger_of
from rollwright.geometry.stance import stance
from rollwright.quantity import Quantity, Source
from rollwright.setup.balance import Balance, Discord, Pan, balance_of, discord_of
from rollwright.setup.balance import ScaleReading as Shown

__all__ = ["SCALE", "OnScale", "as_weighed", "parts_of", "weighed"]

SCALE = 0.1e-3
"""Standard uncertainty of a scale that nobody speaks for [kg]: a pocket scale that shows tenths."""
_FINEST = 1e-7
"""No scale at a bench is finer [kg]; two that claimed to be exact could never agree."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OnScale:
    """What a scale showed: the `event`, and the `car` as it was known then, the same for all of one state."""

    event: ScaleReading
    car: Car

    @property
    def shown(self) -> Shown:
        """The reading in the form that the balance takes."""
        spread = self.event.uncertainty
        mass = Quantity(
            value=self.event.mass,
            uncertainty=SCALE if spread is None else max(spread, _FINEST),
            source=Source.MEASURED,
            label="scale",
        )
        return Shown(pan=Pan(self.event.where.value), mass=mass)


def weighed(known: Known, scales: Sequence[OnScale], *, body: Body) -> tuple[Known, float, Discord | None]:
    """Return what is known of a car after it was weighed.

    Args:
        known: what was known before the last of these readings.
        scales: all that a scale ever showed of it, in order; at least one.
        body: the bare body as its file describes it.

    Returns:
        The same with the bare body's mass and its centre so that the whole car weighs what ledger and scale
        together say, and has its centre of mass where they say. The body takes the whole correction: the
        parts were weighed or counted, and the wood is what nobody knows. Of one place on the scale the
        newest reading counts; an older one counts beside it if nothing was changed in between and the two
        agree. What was shown of one state of the car and contradicts the ledger, or itself, moves nothing.

        And the chance of a disagreement at least as large as that between ledger and scale since the last
        change, if every stated uncertainty is right; and which figures disagree, of the last state in which
        any do, that was not weighed anew and since which no part became another.

    Raises:
        InputError: the car cannot stand, or nothing can press on the scale where it is said to.
    """
    now, chance, discord = body, 1.0, None
    for _, state in groupby(_counting(scales), key=lambda one: id(one.car)):
        group = list(state)
        car = replace(group[0].car, body=now)
        shown = [one.shown for one in group]
        try:
            ledger, stands = ledger_of(car), stance(car)
            balance = balance_of(ledger, stands, shown)
            odd = discord_of(ledger, stands, shown, doubtful=DOUBTFUL)
        except InputError:
            if group[-1] is scales[-1]:
                raise
            # It stood otherwise when it was weighed, by a reading that has been replaced since.
            continue
        chance = balance.misfit_probability
        if odd is None:
            now = _corrected(now, ledger, balance)
        elif parts_of(car) == parts_of(scales[-1].car):
            discord = odd
    return replace(known, car=replace(known.car, body=now)), chance, discord


def _counting(scales: Sequence[OnScale]) -> list[OnScale]:
    """Return the readings that no newer one of the same place replaces."""
    newest = {one.event.where: one for one in scales}
    return [one for one in scales if _stands_beside(one, newest[one.event.where])]


def _stands_beside(one: OnScale, newest: OnScale) -> bool:
    """Return whether a reading still counts beside the newest one of the same place."""
    if one is newest or one.car is not newest.car:
        return one is newest
    here, there = one.shown.mass, newest.shown.mass
    deviation = math.hypot(here.uncertainty, there.uncertainty)
    return math.erfc(abs(here.value - there.value) / deviation / math.sqrt(2.0)) >= DOUBTFUL


def parts_of(car: Car) -> dict[str, Quantity]:
    """Return the masses of all that is on a car's bare body, by their names in the ledger."""
    return {item.name: item.mass for item in _others(ledger_of(car))}


def _others(ledger: Ledger) -> list[Item]:
    return [item for item in ledger.items if item.name != "body"]


def _corrected(body: Body, ledger: Ledger, balance: Balance) -> Body:
    """Return the bare body as ledger and scale together have it."""
    others = _others(ledger)
    mass = balance.mass.value - math.fsum(item.mass.value for item in others)
    if not mass > 0.0:
        # The parts alone weigh more than the scale shows; inspection judges the scale, not this ledger.
        return body
    rest = math.fsum(item.mass.uncertainty**2 for item in others)
    return replace(
        body,
        mass=Quantity(
            value=mass,
            uncertainty=math.sqrt(max(0.0, balance.mass.uncertainty**2 - rest)),
            source=Source.MEASURED,
            label="body",
        ),
        centre_of_mass=_centre(mass, balance.mass.value, balance.centre, others),
    )


def as_weighed(known: Known) -> Car:
    """Return a car with its dimensions as they are `known`, for where its wheels press on a scale."""
    base, mean = known.car, known.prior.mean
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
