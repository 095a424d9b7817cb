"""Logged readings in the form that the estimate takes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from rollwright.bench.events import Clearance, DaylightCheck, ReadingTaken, Seen, SlowRoll, SlowRollSeen
from rollwright.car.dimensions import dimension_kind, dimension_names
from rollwright.car.model import Car, Station
from rollwright.car.table import nearest
from rollwright.errors import InputError, MissingReference, OutOfRange, ReadingUnusable
from rollwright.geometry.many import stances
from rollwright.quantity import Quantity, Source, from_repeats, scattered
from rollwright.setup.estimate import seats_at
from rollwright.setup.reading_keys import (
    DEFAULT_DISTANCE,
    DEFAULT_THICKNESS,
    DEFAULT_UNCERTAINTY,
    DEFAULT_UNCERTAINTY_OF_ANGLE,
    LEAST,
    VARYING,
)
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import Kind, show

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["bends_read", "reading_of", "readings_of_roll"]

_NAMES = frozenset(dimension_names())
_NO_DAYLIGHT = 0.05e-3
"""Standard uncertainty of the judgement that no daylight shows [m]: common practice, no source."""
_LONGEST_HINT = 80
_SEEN_FROM = 0.5e-3
"""Least tail that an eye calls one [m]: common practice, no source."""
_NOT_MISSED = 1.0e-3
"""Tail that no eye misses, so that a car that holds has less [m]: common practice, no source."""
_SAME_EYE = 0.9
"""Share of the variance of what an eye says that is the same in every roll: judgement."""
_AGAINST_THE_RAIL = 0.3e-3
"""Largest gap at the dominant wheel of a car that stands as it rolled [m]: three feeler uncertainties."""
_BY_EYE = "slow rolls seen by eye"


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
        spread = None if event.reading in VARYING else scattered(event.values, gauge=uncertainty)
        if spread is not None:
            quantity = replace(quantity, uncertainty=math.hypot(spread, uncertainty))
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
        against=event.against or 0.0,
    )


def readings_of_roll(
    event: SlowRoll, *, number: int, car: Car, values: NDArray[np.float64]
) -> tuple[Reading, ...]:
    """Return what a slow roll tells, in the form that the estimate takes.

    Two plain cases: a tail that runs to the left is a positive tail offset, at most until the right rear
    wheel touches the rail; one that runs to the right is a negative one, until the left rear wheel does.

    Args:
        event: the slow roll.
        number: its number in the log, for messages.
        car: the car that rolled, as it is described.
        values: its dimensions as they are known so far [m, rad], (p,), in the order of `dimension_names`.

    Returns:
        One roll clearance for each wheel that was felt, the dominant one excepted, which touches. Where none
        was felt, what was seen as a tail offset: evenly spread between what an eye calls a tail and where
        a rear wheel meets the rail, or, for a car that holds, over all that an eye could miss; the standard
        uncertainty is the half width over the root of three (JCGM 100:2008, 4.3.7). Most of its variance is
        shared by all rolls, so that ten looks do not pass for a gauge. None for a car that left the rail: how
        it stood then is not known. None by eye where the car leaves no room for a tail, or cannot stand.

    Raises:
        OutOfRange: a gap is negative.
        ReadingUnusable: the dominant wheel stands off the rail, so that the car was not as it rolled.
    """
    where = f"entry {number} (slow roll)"
    if event.seen is SlowRollSeen.LEAVES:
        return ()
    for clearance in event.clearances:
        _check_felt(clearance, car, where)
    felt = [clearance for clearance in event.clearances if clearance.station is not car.dominant]
    if felt:
        return tuple(_felt(clearance, f"{where[:-1]}, {clearance.station.words})") for clearance in felt)
    low, high = -_NOT_MISSED, _NOT_MISSED
    if event.seen is not SlowRollSeen.HOLDS:
        left = event.seen is SlowRollSeen.TAIL_LEFT
        room = _room(car, values, Station.REAR_RIGHT if left else Station.REAR_LEFT)
        if not room > 0.0:
            return ()
        least = _SEEN_FROM if room > _SEEN_FROM else 0.0
        low, high = (least, room) if left else (-room, -least)
    spread = 0.5 * (high - low) / math.sqrt(3.0)
    quantity = Quantity(
        value=0.5 * (low + high),
        uncertainty=max(spread * math.sqrt(1.0 - _SAME_EYE), LEAST),
        source=Source.MEASURED,
        label=where,
    )
    return (
        Reading(
            kind=ReadingKind.TAIL_OFFSET,
            quantity=quantity,
            where=where,
            set_up=_BY_EYE,
            common=spread * math.sqrt(_SAME_EYE),
        ),
    )


def _check_felt(clearance: Clearance, car: Car, where: str) -> None:
    """Refuse a gap that a car on the rail cannot have."""
    at = f"{where[:-1]}, {clearance.station.words})"
    if clearance.gap < 0.0:
        raise OutOfRange(
            "a gap that was felt is never negative", mend="write 0 where the wheel touches the rail", key=at
        )
    if clearance.station is car.dominant and clearance.gap > _AGAINST_THE_RAIL:
        off = show(clearance.gap, kind=Kind.LENGTH)
        raise ReadingUnusable(
            f"the dominant wheel stands {off} off the rail, so the other gaps are not those of the roll",
            mend="push the car on until it touches and feel them again, or say leaves",
            key=at,
        )


def _felt(clearance: Clearance, where: str) -> Reading:
    quantity = Quantity(
        value=clearance.gap,
        uncertainty=DEFAULT_UNCERTAINTY[ReadingKind.ROLL_CLEARANCE],
        source=Source.MEASURED,
        label=where,
    )
    return Reading(kind=ReadingKind.ROLL_CLEARANCE, quantity=quantity, where=where, station=clearance.station)


def _room(car: Car, values: NDArray[np.float64], station: Station) -> float:
    """Return how far the tail can run before a rear wheel meets the rail [m]; NaN where that is not known."""
    try:
        seats = seats_at(car, values)
    except InputError:
        return math.nan
    gaps = stances(car, values[None, :], seats=seats).rail_gap
    return float(gaps[tuple(Station).index(station), 0])


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
