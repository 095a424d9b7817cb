"""The drill gate: is a drilled body good enough, from what pin, straight-edge and caliper say of its holes.

It rests on direct readings alone. What the bench infers of a hole from drift or height is no check of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from rollwright.bench.as_readings import reading_of
from rollwright.bench.codec import Recorded
from rollwright.bench.events import DaylightCheck, HoleDrilled, ReadingTaken, Seen
from rollwright.bench.gates import Item, Standing
from rollwright.car.dimensions import dimension_of
from rollwright.car.model import Car, Station
from rollwright.judge.verdict import State, judge
from rollwright.quantity import Quantity
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import Kind

__all__ = ["drill_items", "meant_of"]

_ANGLES = ("cant", "sweep")
_PLANES = (*_ANGLES, "hole_height")
_WORDS = {"cant": "cant", "sweep": "sweep", "hole_height": "hole height"}


@dataclass(frozen=True, slots=True)
class _Found:
    """How far something is off what was meant [rad or m], and its standard uncertainty."""

    off: float
    uncertainty: float
    read_at: int


@dataclass(frozen=True, slots=True)
class _Told:
    """What one reading says [rad or m], and of its uncertainty what it shares with its set-up's others."""

    read_at: int
    value: float
    uncertainty: float
    common: float
    set_up: str


@dataclass(slots=True)
class _Hole:
    """One hole: what was aimed at, what was read of it since, and daylight that nobody measured."""

    aimed: dict[str, float] = field(default_factory=dict)
    read: dict[str, list[_Told]] = field(default_factory=dict)
    seen: dict[str, int] = field(default_factory=dict)

    def found(self, plane: str, meant: float) -> _Found | None:
        """Return the weighted mean of the readings less what was meant."""
        readings = self.read.get(plane)
        if not readings:
            return None
        set_ups: dict[str, list[_Told]] = {}
        for one in readings:
            set_ups.setdefault(one.set_up or f"entry {one.read_at}", []).append(one)
        means = []
        for together in set_ups.values():
            value, size = _mean([(one.value, one.uncertainty) for one in together])
            means.append((value, math.hypot(size, max(one.common for one in together))))
        value, size = _mean(means)
        return _Found(value - meant, size, readings[-1].read_at)


def _mean(parts: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return the mean of independent values, weighted by their uncertainties, and its uncertainty."""
    weights = [size**-2 for _, size in parts]
    total = math.fsum(weights)
    mean = math.fsum(weight * value for weight, (value, _) in zip(weights, parts, strict=True))
    return mean / total, total**-0.5


def drill_items(counting: Sequence[Recorded], car: Car) -> tuple[Item, ...]:
    """Return the lines of the drill gate.

    Args:
        counting: the car's entries that count, in order.
        car: as its file describes it; the file says what was meant where no drilling says what was aimed at.

    Returns:
        For each hole its cant and sweep off what was meant, and its height where that was read; then the
        rear pair's heading, left against right and front against rear, where both sides were read. An angle
        comes from a gap g that was read at a distance L: `atan(tan(against) + g / L)`. Readings of one
        thing are independent but for what those of one set-up share. The three holes whose wheels carry are
        needed.
    """
    holes = {station: _Hole() for station in Station}
    for entry in counting:
        _take(holes, entry)
    found: dict[tuple[Station, str], _Found] = {}
    items: list[Item] = []
    for station in Station:
        hole = holes[station]
        for plane in _PLANES:
            meant = hole.aimed.get(plane, dimension_of(car, f"{station.value}.{plane}").value)
            off = hole.found(plane, meant)
            needed = plane in _ANGLES and station is not car.raised
            name = f"{station.words} {_WORDS[plane]}"
            if off is not None:
                found[station, plane] = off
                items.append(_judged(name, off, getattr(car.drill, plane), needed=needed))
            elif plane in hole.seen:
                items.append(_unmeasured(name, hole.seen[plane], needed=needed))
            elif needed:
                items.append(Item(name=name, standing=Standing.NEVER_READ))
    items += [_judged(name, off, tolerance, needed=False) for name, off, tolerance in _pairs(found, car)]
    return tuple(items)


def _judged(name: str, off: _Found, tolerance: Quantity, *, needed: bool) -> Item:
    verdict = judge(value=off.off, uncertainty=off.uncertainty, low=-tolerance.value, high=tolerance.value)
    return Item(
        name=name,
        standing=Standing.HOLDS,
        state=verdict.state,
        kind=Kind.LENGTH if "height" in name else Kind.ANGLE,
        verdict=verdict,
        read_at=off.read_at,
        needed=needed,
    )


def _unmeasured(name: str, read_at: int, *, needed: bool) -> Item:
    return Item(
        name=name,
        standing=Standing.HOLDS,
        state=State.UNCLEAR,
        words="daylight shows and was not measured",
        read_at=read_at,
        needed=needed,
    )


def _take(holes: Mapping[Station, _Hole], entry: Recorded) -> None:
    """Note what an entry says of a hole; a hole that is drilled anew forgets what was read of it."""
    event = entry.event
    if isinstance(event, HoleDrilled):
        hole = holes[event.station]
        hole.read, hole.seen = {}, {}
        aimed = {"cant": event.cant, "sweep": event.sweep, "hole_height": event.hole_height}
        hole.aimed = {plane: value for plane, value in aimed.items() if value is not None}
    elif isinstance(event, DaylightCheck) and event.seen is Seen.SEEN:
        holes[event.station].seen[event.plane.value] = entry.seq
    elif isinstance(event, DaylightCheck | ReadingTaken):
        reading = reading_of(event, number=entry.seq)
        told = None if reading is None else _direct(reading)
        if reading is not None and told is not None:
            station, plane, value, scale = told
            one = _Told(
                read_at=entry.seq,
                value=value,
                uncertainty=scale * reading.quantity.uncertainty,
                common=scale * reading.common,
                set_up=reading.set_up,
            )
            holes[station].read.setdefault(plane, []).append(one)


def _direct(reading: Reading) -> tuple[Station, str, float, float] | None:
    """Return of a reading its hole, its plane, the value [rad or m], and its slope along what was read."""
    quantity = reading.quantity
    if reading.kind is ReadingKind.SIZE:
        head, _, plane = reading.dimension.partition(".")
        if plane not in _PLANES:
            return None
        return Station(head), plane, quantity.value, 1.0
    if reading.kind is ReadingKind.DAYLIGHT and reading.station is not None and reading.distance:
        slope = math.tan(reading.against) + quantity.value / reading.distance
        return (
            reading.station,
            reading.plane,
            math.atan(slope),
            1.0 / reading.distance / (1.0 + slope * slope),
        )
    return None


def meant_of(counting: Sequence[Recorded], car: Car, station: Station, plane: str) -> float:
    """Return what a hole was meant to be.

    Args:
        counting: the car's entries that count, in order.
        car: as its file describes it.
        station: which hole.
        plane: `cant`, `sweep` or `hole_height`.

    Returns:
        What the last drilling aimed at, or else what the car file says [rad or m].
    """
    holes = {at: _Hole() for at in Station}
    for entry in counting:
        if isinstance(entry.event, HoleDrilled):
            _take(holes, entry)
    return holes[station].aimed.get(plane, dimension_of(car, f"{station.value}.{plane}").value)


def _pairs(found: Mapping[tuple[Station, str], _Found], car: Car) -> Iterator[tuple[str, _Found, Quantity]]:
    """Yield what two or three holes are off together: name, how far, and the tolerance."""
    left, right = Station.REAR_LEFT, Station.REAR_RIGHT

    def together(weights: Mapping[tuple[Station, str], float]) -> _Found | None:
        parts = [(weight, found.get(key)) for key, weight in weights.items()]
        told = [(weight, part) for weight, part in parts if part is not None]
        if len(told) < len(parts):
            return None
        return _Found(
            math.fsum(weight * part.off for weight, part in told),
            math.hypot(*(weight * part.uncertainty for weight, part in told)),
            max(part.read_at for _, part in told),
        )

    # An outer end that is swept forward turns a left wheel to the right and a right wheel to the left.
    sets = (
        ("rear pair's heading", {(left, "sweep"): -0.5, (right, "sweep"): 0.5}, car.drill.sweep),
        ("rear left against right height", _two(left, right), car.drill.hole_height),
        (
            "front against rear height",
            {
                (car.dominant, "hole_height"): 1.0,
                (left, "hole_height"): -0.5,
                (right, "hole_height"): -0.5,
            },
            car.drill.hole_height,
        ),
    )
    for name, weights, tolerance in sets:
        off = together(weights)
        if off is not None:
            yield name, off, tolerance


def _two(first: Station, second: Station) -> dict[tuple[Station, str], float]:
    return {(first, "hole_height"): 1.0, (second, "hole_height"): -1.0}
