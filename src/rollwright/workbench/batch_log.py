"""A batch from the bench log: the bodies that were drilled, and what was read of their holes."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from rollwright.bench import CarStarted, DaylightCheck, HoleDrilled, ReadingTaken, Recorded, Seen, Withdrawn
from rollwright.car.dimensions import dimension_of
from rollwright.car.file import parse_car
from rollwright.car.model import Car, Station, is_assumed
from rollwright.errors import InputError, WrongType
from rollwright.judge.batch_data import Body, Direction, Hole, Off
from rollwright.judge.verdict import State
from rollwright.setup.reading_keys import DEFAULT_DISTANCE, DEFAULT_UNCERTAINTY, ReadingKind
from rollwright.workbench.batch_file import LOOK, Drilled, SetAside, gap_off
from rollwright.workbench.log_enter import open_log

__all__ = ["drilled_in"]

_NOT_SAID = "a jig that is not named"


@dataclass(slots=True)
class _Seen:
    """What was read of one direction of a hole since it was drilled."""

    meant: float
    numbers: list[Off] = field(default_factory=list)
    look: Off | None = None

    def off(self) -> Off | None:
        """Return the weighted mean of the numbers, or else the last look."""
        if not self.numbers:
            return self.look
        weights = [max(off.uncertainty, 1e-9) ** -2 for off in self.numbers]
        total = math.fsum(weights)
        mean = math.fsum(weight * off.low for weight, off in zip(weights, self.numbers, strict=True)) / total
        return Off(low=mean, high=mean, uncertainty=total**-0.5)


def drilled_in(log: str | os.PathLike[str], *, car: Car | None) -> Drilled:
    """Return the bodies of a bench log in the order in which they were drilled.

    Args:
        log: path of the log.
        car: says how far a hole may be off; None: each car's own file does, and the strictest counts.

    Returns:
        The bodies. A set-up is what a drilling says of its jig. Whether a body is accepted is what the
        drill gate says of it, at the car's own tolerances; an open gate leaves it to the readings.

    Raises:
        InputError: the log cannot be read, or nothing was drilled in it.
    """
    from rollwright.bench.fold import withdrawn_in  # noqa: PLC0415 - brings numpy

    with open_log(log) as store:
        every = list(store.events())
    gone = withdrawn_in(every)
    by_car: dict[str, list[Recorded]] = {}
    for entry in every:
        if entry.id not in gone and not isinstance(entry.event, Withdrawn):
            by_car.setdefault(entry.car, []).append(entry)
    found: list[tuple[int, str, list[Recorded], Car]] = []
    aside: list[SetAside] = []
    for name, entries in by_car.items():
        start = next((entry.event for entry in entries if isinstance(entry.event, CarStarted)), None)
        drillings = [entry.seq for entry in entries if isinstance(entry.event, HoleDrilled)]
        if start is None or not drillings:
            aside.append(SetAside(name=name, why="the log has no hole drilled"))
            continue
        try:
            found.append((drillings[0], name, entries, parse_car(start.car_file, file=name)))
        except InputError as error:
            raise error.at(file=Path(log).name) from None
    if not found:
        raise WrongType(
            "no hole is drilled in this log",
            mend="enter one with: rollwright log drill, or name a batch file",
            file=Path(log).name,
        )
    bodies: list[Body] = []
    for _, name, entries, described in sorted(found, key=lambda each: each[0]):
        body = _body(len(bodies) + 1, name, entries, described)
        if body.offs or body.accepted is not None:
            bodies.append(body)
        else:
            aside.append(SetAside(name=name, why="nothing was read of its holes"))
    cars = [each for *_, each in found] if car is None else [car]
    tolerances, assumed = _strictest(cars)
    raised = {each.raised for each in cars}
    return Drilled(
        name=Path(log).name,
        bodies=tuple(bodies),
        tolerances=tolerances,
        assumed=assumed,
        idle=raised.pop() if len(raised) == 1 else None,
        set_aside=tuple(aside),
    )


def _strictest(cars: Sequence[Car]) -> tuple[dict[Direction, float], tuple[str, ...]]:
    tolerances, assumed = {}, []
    for way in Direction:
        given = [getattr(car.drill, way.value) for car in cars]
        # Where any car says it, the defaults of the others do not count.
        said = [each for each in given if not is_assumed(each) and each.value > 0.0]
        if not said:
            assumed.append(f"drill.{way.value}")
        tolerances[way] = min(each.value for each in (said or given))
    return tolerances, tuple(assumed)


def _body(number: int, name: str, entries: Sequence[Recorded], car: Car) -> Body:
    from rollwright.bench.drilled import drill_items  # noqa: PLC0415 - brings numpy

    items = drill_items(entries, car)
    needed = [item.state for item in items if item.needed]
    accepted: bool | None = None
    if any(item.state is State.FAIL for item in items):
        accepted = False
    elif needed and all(state is State.PASS for state in needed):
        accepted = True
    drillings = [entry.event for entry in entries if isinstance(entry.event, HoleDrilled)]
    seen = _seen(entries, car)
    return Body(
        number=number,
        name=name,
        set_up=next((event.instrument for event in drillings if event.instrument), _NOT_SAID),
        offs={hole: off for hole, each in seen.items() if (off := each.off()) is not None},
        accepted=accepted,
    )


def _seen(entries: Sequence[Recorded], car: Car) -> Mapping[Hole, _Seen]:
    holes = [Hole(station=station, direction=way) for station in Station for way in Direction]
    found = {hole: _Seen(meant=dimension_of(car, hole.name).value) for hole in holes}
    for entry in entries:
        event = entry.event
        if isinstance(event, HoleDrilled):
            for hole in (hole for hole in holes if hole.station is event.station):
                aimed = getattr(event, hole.direction.value)
                found[hole] = _Seen(meant=dimension_of(car, hole.name).value if aimed is None else aimed)
        elif isinstance(event, DaylightCheck) and event.seen in {Seen.NONE, Seen.SEEN}:
            at = found[Hole(station=event.station, direction=Direction(event.plane.value))]
            size = math.sqrt(3.0) * (
                DEFAULT_UNCERTAINTY[ReadingKind.DAYLIGHT] if event.uncertainty is None else event.uncertainty
            )
            distance = DEFAULT_DISTANCE if event.distance is None else event.distance
            off = gap_off(
                -size, size, distance=distance, against=event.against or 0.0, meant=at.meant, uncertainty=LOOK
            )
            at.look = replace(off, outside=event.seen is Seen.SEEN)
        elif isinstance(event, DaylightCheck | ReadingTaken):
            _number(found, event, entry.seq)
    return found


def _number(found: Mapping[Hole, _Seen], event: DaylightCheck | ReadingTaken, seq: int) -> None:
    """Keep what was measured of a hole."""
    from rollwright.bench.as_readings import reading_of  # noqa: PLC0415 - brings numpy

    reading = reading_of(event, number=seq)
    if reading is None:
        return
    value, size = reading.quantity.value, reading.quantity.uncertainty
    if reading.kind is ReadingKind.SIZE:
        head, _, way = reading.dimension.partition(".")
        if way in {each.value for each in Direction}:
            at = found[Hole(station=Station(head), direction=Direction(way))]
            at.numbers.append(Off(low=value - at.meant, high=value - at.meant, uncertainty=size))
    elif reading.kind is ReadingKind.DAYLIGHT and reading.station is not None and reading.distance:
        at = found[Hole(station=reading.station, direction=Direction(reading.plane))]
        at.numbers.append(
            gap_off(
                value,
                value,
                distance=reading.distance,
                against=reading.against,
                meant=at.meant,
                uncertainty=size,
            )
        )
