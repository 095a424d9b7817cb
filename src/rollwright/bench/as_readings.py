"""Logged readings in the form that the estimate takes."""

from __future__ import annotations

from collections.abc import Iterable

from rollwright.bench.events import DaylightCheck, ReadingTaken, Seen
from rollwright.car.dimensions import dimension_kind, dimension_names
from rollwright.car.model import Car
from rollwright.car.table import nearest
from rollwright.errors import MissingReference
from rollwright.quantity import Quantity, Source, from_repeats
from rollwright.setup.reading_keys import (
    DEFAULT_DISTANCE,
    DEFAULT_THICKNESS,
    DEFAULT_UNCERTAINTY,
    DEFAULT_UNCERTAINTY_OF_ANGLE,
    LEAST,
)
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import Kind

__all__ = ["bends_read", "reading_of"]

_NAMES = frozenset(dimension_names())
_NO_DAYLIGHT = 0.05e-3
"""Standard uncertainty of the judgement that no daylight shows [m]: common practice, no source."""
_LONGEST_HINT = 80


def reading_of(event: ReadingTaken | DaylightCheck, *, number: int) -> Reading | None:
    """Return a logged reading in the form that the estimate takes.

    Args:
        event: the reading, or a look at daylight.
        number: its number in the log, for messages.

    Returns:
        The reading; None for daylight that was seen and not measured, which says no more than that the hole
        is off.

    Raises:
        MissingReference: it is the size of something that is no dimension of a car.
    """
    where = f"entry {number} ({event.reading.words if isinstance(event, ReadingTaken) else 'daylight'})"
    if isinstance(event, DaylightCheck):
        return _daylight(event, where)
    usual = DEFAULT_UNCERTAINTY[event.reading]
    if event.reading is ReadingKind.SIZE:
        if event.dimension not in _NAMES:
            hint = nearest(event.dimension, dimension_names())
            raise MissingReference(
                f"there is no dimension named {event.dimension!r}",
                mend=hint if len(hint) < _LONGEST_HINT else "write one such as front_left.hole_height",
                key=where,
            )
        if dimension_kind(event.dimension) is Kind.ANGLE:
            usual = DEFAULT_UNCERTAINTY_OF_ANGLE
    # No gauge is finer than what a readings file may say of one.
    uncertainty = usual if event.uncertainty is None else max(event.uncertainty, LEAST)
    if event.trace:
        quantity = Quantity(
            value=event.trace[-1][1], uncertainty=uncertainty, source=Source.MEASURED, label=where
        )
    else:
        quantity = from_repeats(event.values, instrument=uncertainty, source=Source.MEASURED, label=where)
    needs_distance = event.reading in {ReadingKind.TIP_SWEEP, ReadingKind.DAYLIGHT}
    return Reading(
        kind=event.reading,
        quantity=quantity,
        where=where,
        station=event.station,
        trace=event.trace,
        distance=DEFAULT_DISTANCE if event.distance is None and needs_distance else event.distance,
        thickness=DEFAULT_THICKNESS if event.thickness is None else event.thickness,
        width=event.width,
        seat=event.seat,
        plane="cant" if event.plane is None else event.plane.value,
        against=event.against or 0.0,
        dimension=event.dimension,
        set_up=event.set_up,
        common=event.common or 0.0,
    )


def _daylight(event: DaylightCheck, where: str) -> Reading | None:
    if event.seen is Seen.SEEN:
        return None
    angle = event.seen is Seen.ANGLE
    if angle:
        usual = DEFAULT_UNCERTAINTY_OF_ANGLE
    elif event.seen is Seen.FEELER:
        usual = DEFAULT_UNCERTAINTY[ReadingKind.DAYLIGHT]
    else:
        usual = _NO_DAYLIGHT
    quantity = Quantity(
        value=event.size or 0.0,
        uncertainty=usual if event.uncertainty is None else max(event.uncertainty, LEAST),
        source=Source.MEASURED,
        label=where,
    )
    if angle:
        dimension = f"{event.station.value}.{event.plane.value}"
        return Reading(kind=ReadingKind.SIZE, quantity=quantity, where=where, dimension=dimension)
    return Reading(
        kind=ReadingKind.DAYLIGHT,
        quantity=quantity,
        where=where,
        station=event.station,
        distance=DEFAULT_DISTANCE if event.distance is None else event.distance,
        plane=event.plane.value,
    )


def bends_read(car: Car, readings: Iterable[Reading]) -> frozenset[str]:
    """Return the names of the bends that readings speak of themselves: a tip's swing, or a size.

    Args:
        car: says which wheel is dominant, where a tip was swept that does not say at which.
        readings: the readings.

    Returns:
        Such as `front_left.bend`.
    """
    return frozenset(
        reading.dimension or f"{(reading.station or car.dominant).value}.bend"
        for reading in readings
        if reading.kind is ReadingKind.TIP_SWEEP or reading.dimension.endswith(".bend")
    )
