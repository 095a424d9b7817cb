"""A bench log of many simulated cars: what an active club's builders would have entered after years."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rollwright.bench.codec import Recorded
from rollwright.bench.events import (
    Adjustment,
    Bend,
    CarStarted,
    Event,
    ReadingTaken,
    Sand,
    StartedFrom,
    Turn,
    Washer,
)
from rollwright.bench.store import Store
from rollwright.car import parse_car
from rollwright.car.dimensions import dimension_names
from rollwright.scenario.club import file_text
from rollwright.scenario.simulate import GAUGES, SimulatedCar, draw_car
from rollwright.setup.hand import Hand
from rollwright.setup.reading_keys import ReadingKind

CARS = 20
ENTRIES = 500

_FIRST = datetime(2024, 1, 6, 18, 0, tzinfo=UTC)
_HAND = Hand()


class _Bench:
    """A simulated car, and what is entered of it."""

    def __init__(self, car: SimulatedCar, rng: np.random.Generator) -> None:
        self.car = car
        self.rng = rng

    def read(self, *kinds: ReadingKind) -> Iterator[Event]:
        for reading in self.car.read(self.rng, kinds=kinds):
            value, spread = reading.quantity.value, GAUGES[reading.kind]
            yield ReadingTaken(reading=reading.kind, values=(value,), uncertainty=spread)

    def move(self, kind: type[Adjustment], name: str, by: float, miss: float) -> Event:
        station = self.car.car.dominant
        values = self.car.values.copy()
        values[dimension_names().index(f"{station.value}.{name}")] += by + self.rng.normal(0.0, miss)
        self.car = replace(self.car, values=values)
        return kind(station=station, asked=by)

    def evening(self) -> Iterator[Event]:
        """Read all, bend a little, turn for the drift, read all, trim and read the rail offset again."""
        yield from self.read(*GAUGES)
        yield self.move(Bend, "bend", float(self.rng.normal(0.0, _HAND.bend)), _HAND.bend)
        off = float(self.car.gates()[1]) - self.car.car.targets.drift.value
        yield self.move(Turn, "clock", float(np.clip(4.0 * off, -0.02, 0.02)), _HAND.turn)
        yield from self.read(*GAUGES)
        stands = float(self.car.gates()[2])
        if stands > _HAND.relief:
            yield self.move(Sand, "relief", stands, _HAND.relief)
        else:
            yield self.move(Washer, "washer", _HAND.washer - stands, _HAND.washer)
        yield from self.read(ReadingKind.RAIL_OFFSET)


def events_of(number: int, *, entries: int = ENTRIES) -> list[Event]:
    """Return the log of one simulated car of the demo club.

    Args:
        number: fixes the car and its gauges' errors.
        entries: how many, the start of the car among them.

    Returns:
        The events.
    """
    text = file_text("lark.toml")
    rng = np.random.default_rng((7, number))
    bench = _Bench(draw_car(parse_car(text), rng), rng)
    found: list[Event] = [CarStarted(source=StartedFrom.FILE, car_file=text)]
    while len(found) < entries:
        found += bench.evening()
    return found[:entries]


def fill(path: Path, *, cars: int = CARS, entries: int = ENTRIES) -> NDArray[np.float64]:
    """Write a log of many cars, whose builders enter in turn.

    Args:
        path: where the log is made.
        cars: how many.
        entries: of each.

    Returns:
        How long each entry took to be on the disk [s], (cars * entries,).
    """
    logs = [events_of(number, entries=entries) for number in range(cars)]
    taken: list[float] = []
    with Store.open(path, create=True, program="bench") as store:
        for turn in range(entries):
            for number, log in enumerate(logs):
                count = len(taken)
                start = time.perf_counter()
                store.append(
                    log[turn],
                    event_id=f"{count:032x}",
                    car=car_id(number),
                    time=_FIRST + timedelta(minutes=count),
                    author="Ada",
                )
                taken.append(time.perf_counter() - start)
    return np.array(taken)


def recorded(events: Sequence[Event]) -> list[Recorded]:
    """Return events as the entries of one car, without a store."""
    return [
        Recorded(
            seq=number,
            id=f"{number:032x}",
            car=car_id(0),
            time=_FIRST + timedelta(minutes=number),
            author="Ada",
            device="",
            program="bench",
            event=event,
            hash="",
        )
        for number, event in enumerate(events, start=1)
    ]


def car_id(number: int) -> str:
    """Return the id of a car in the log."""
    return f"LARK-{number + 1}"
