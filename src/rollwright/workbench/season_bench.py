"""An invented builder at the bench: gauges with noise, hands that miss, and a diary of what was done.

Every number that the builder writes down is that of a hidden true car, by the forward model of the bench,
with the noise of the gauge on it, rounded as it is read.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta, timezone
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench import (
    Adjustment,
    Bend,
    CarStarted,
    Event,
    HoleDrilled,
    Recorded,
    Retired,
    Sand,
    Shim,
    StartedFrom,
    Turn,
    Washer,
)
from rollwright.bench.codec import entry_of, recorded
from rollwright.bench.fold import Folded, fold
from rollwright.car.dimensions import dimension_names, dimension_of, with_dimensions
from rollwright.car.file import parse_car
from rollwright.car.keys import STATION_KEYS
from rollwright.car.model import Car, Station
from rollwright.geometry.many import Stances, stances
from rollwright.quantity import Quantity, Source
from rollwright.scenario.simulate import SimulatedCar, draw_car
from rollwright.setup.hand import Hand
from rollwright.setup.outcome import MoveKind
from rollwright.units import Kind, System, parse

if TYPE_CHECKING:
    from rollwright.setup.learnt import Achieved
    from rollwright.setup.plan_moves import Move

__all__ = ["PROGRAM", "Bench", "Body", "Builder", "Evening", "Log", "amount"]

PROGRAM = "demo"
"""What stands for the version of the program in the season's entries, so that no release changes them."""

_DRILLED = ("hole_height", "cant", "sweep", "offset", "play")
_KEYS = {key.name: key for key in STATION_KEYS}
_SUMMER = date(2026, 3, 29)
"""From here on the clocks of the club stand an hour later."""
_FROM = time(19, 0)
_UNTIL = time(20, 15)
_EVENTS: dict[MoveKind, type[Adjustment]] = {
    MoveKind.BEND: Bend,
    MoveKind.TURN: Turn,
    MoveKind.RELIEF: Sand,
    MoveKind.WASHER: Washer,
    MoveKind.SHIM: Shim,
}
_PROTRACTOR = 0.08
"""Error of the protractor on a small bend [deg]."""
_HABITS_FROM = 3
"""So many earlier cars of a builder tell of the hand, as far as something was moved on them."""


def amount(value: float, unit: str, *, kind: Kind = Kind.LENGTH, digits: int = 2) -> tuple[str, float]:
    """Return an amount as a builder writes it, and that as a number in SI units.

    Args:
        value: in that unit.
        unit: such as `mm`.
        kind: which sort of quantity it is.
        digits: decimals that are written.

    Returns:
        The text without a sign for a value of nothing, and what it stands for [SI].
    """
    text = f"{value:.{digits}f} {unit}"
    text = text.removeprefix("-") if float(text.split(maxsplit=1)[0]) == 0.0 else text
    return text, parse(text, kind=kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Builder:
    """An invented builder of the club.

    Attributes:
        name: who enters.
        first: the first evening.
        every: days from one evening to the next.
        bends: by how much the bends land past what was asked, as a factor.
        hand: how closely the hand hits otherwise.
        stream: which of the seed's streams of chance is the builder's.
        system: units in which readings are written down.
    """

    name: str
    first: date
    stream: int
    every: int = 7
    bends: float = 1.0
    hand: Hand = field(default_factory=Hand)
    system: System = System.METRIC


@dataclass(slots=True, kw_only=True)
class Body:
    """A body on the bench.

    Attributes:
        id: in the log.
        car: as its file describes it.
        truth: as it truly is.
        heavier: by how much the whole car is heavier than its file says [kg].
        moved: how many moves were made on it.
    """

    id: str
    car: Car
    truth: SimulatedCar
    heavier: float
    moved: int = 0

    def stands(self) -> Stances:
        """Return how it truly stands."""
        return stances(self.truth.car, self.truth.values[None, :], seats=self.truth.seats())


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """Where a car truly was when an evening with it ended.

    Attributes:
        car: its id.
        seq: number of its last entry by then.
        gates: its true height difference, drift and rail offset [m].
        habits: what the builder's earlier cars told of the hand by then.
    """

    car: str
    seq: int
    gates: tuple[float, float, float]
    habits: tuple[Achieved, ...]


@dataclass(slots=True)
class Log:
    """The season's log while it grows.

    Attributes:
        seed: what its ids are made from.
        entries: in their order.
        photos: bytes of each photo by its hash.
        evenings: where cars truly were.
    """

    seed: int
    entries: list[Recorded] = field(default_factory=list)
    photos: dict[str, bytes] = field(default_factory=dict)
    evenings: list[Evening] = field(default_factory=list)

    def add(self, event: Event, *, car: str, author: str, at: datetime) -> Recorded:
        """Add an entry, checked and read back as the store would."""
        seq = len(self.entries) + 1
        identity = hashlib.sha256(f"rollwright demo season {self.seed} {seq}".encode()).hexdigest()[:32]
        entry = entry_of(
            event, event_id=identity, car=car, time=at, author=author, device="", program=PROGRAM
        )
        self.entries.append(recorded(replace(entry, seq=seq), before=""))
        return self.entries[-1]

    def of(self, car: str) -> list[Recorded]:
        """Return the entries of one car."""
        return [entry for entry in self.entries if entry.car == car]


class Bench:
    """One builder's bench through the season."""

    def __init__(self, builder: Builder, log: Log, *, rng: np.random.Generator) -> None:
        self.builder = builder
        self.log = log
        self.rng = rng
        self.day = builder.first
        self.now = self._begin()
        self.achieved: dict[str, tuple[Achieved, ...]] = {}
        self.touched: dict[str, Body] = {}

    def _begin(self) -> datetime:
        zone = timezone(timedelta(hours=1 if self.day < _SUMMER else 2))
        late = timedelta(minutes=int(self.rng.integers(0, 25)), seconds=int(self.rng.integers(0, 60)))
        return datetime.combine(self.day, _FROM, zone) + late

    def noise(self, size: float) -> float:
        """Return an error of a gauge or a hand of that standard deviation."""
        return float(self.rng.normal(0.0, size))

    def enter(self, body: Body | str, event: Event, *, minutes: int = 4) -> Recorded:
        """Add an entry to the log, some minutes after the last.

        Args:
            body: the body, or the id of one that is only now started.
            event: what happened.
            minutes: about how long it took.

        Returns:
            The entry.
        """
        car = body if isinstance(body, str) else body.id
        self.now += timedelta(seconds=int(self.rng.integers(40 * minutes, 80 * minutes + 1)))
        if isinstance(body, Body):
            self.touched[car] = body
        return self.log.add(event, car=car, author=self.builder.name, at=self.now)

    def go_home(self, *, weeks: int = 1) -> Iterator[None]:
        """End the evening; the next one is so many of the builder's evenings later."""
        for car, body in self.touched.items():
            entries = self.log.of(car)
            if not any(isinstance(entry.event, Retired) for entry in entries):
                level, drift, rail = (float(value) for value in body.truth.gates())
                self.log.evenings.append(
                    Evening(
                        car=car, seq=entries[-1].seq, gates=(level, drift, rail), habits=self.habits(body)
                    )
                )
        self.touched = {}
        self.day += timedelta(days=weeks * self.builder.every)
        self.now = self._begin()
        yield

    def pause(self) -> Iterator[None]:
        """End the evening if it is late."""
        if self.now.time() > _UNTIL:
            yield from self.go_home()

    def habits(self, body: Body) -> tuple[Achieved, ...]:
        """Return what the builder's earlier cars tell of the hand."""
        others = [moves for car, moves in self.achieved.items() if car != body.id and moves]
        return tuple(move for moves in others[-_HABITS_FROM:] for move in moves)

    def found(self, body: Body) -> Folded:
        """Return what a body's entries add up to so far."""
        found = fold(self.log.of(body.id), habits=self.habits(body))
        self.achieved[body.id] = found.achieved
        return found

    def start(self, car_id: str, text: str, *, source: str = "") -> Body:
        """Start a car from the text of its file, and drawn from it the true one.

        Args:
            car_id: its id.
            text: its file.
            source: the car whose recipe the file is, or empty.

        Returns:
            The body.
        """
        car = parse_car(text)
        body = Body(
            id=car_id,
            car=car,
            truth=replace(draw_car(_as_drilled(car), self.rng), car=car),
            heavier=self.noise(0.3e-3),
        )
        event = CarStarted(
            source=StartedFrom.RECIPE if source else StartedFrom.FILE, car_file=text, source_car=source
        )
        self.enter(car_id, event, minutes=2)
        return body

    def drill(self, body: Body, stations: Sequence[Station], *, instrument: str) -> None:
        """Drill some holes as the car's file asks."""
        for station in stations:
            self.enter(body, HoleDrilled(station=station, instrument=instrument), minutes=3)

    def asked(self, move: Move) -> float:
        """Return what is asked of the hand, as the command for it is typed [rad or m]."""
        if move.kind in {MoveKind.BEND, MoveKind.TURN}:
            return amount(math.degrees(move.ask), "deg", kind=Kind.ANGLE)[1]
        if self.builder.system is System.INCH:
            return amount(move.ask / 25.4e-6, "thou", digits=1)[1]
        return amount(move.ask * 1e3, "mm")[1]

    def event_of(self, move: Move, *, asked: float) -> Adjustment:
        """Return the entry of a move of which so much was asked [rad or m]."""
        instrument = "bending block" if move.kind is MoveKind.BEND else ""
        return _EVENTS[move.kind](station=move.station, asked=asked, instrument=instrument)

    def made(self, body: Body, move: Move, *, measured: bool = False) -> Adjustment:
        """Make a move on the true car as closely as the hand can.

        Args:
            body: the body.
            move: the move as it was advised.
            measured: whether a protractor is put on a bend afterwards.

        Returns:
            The entry.
        """
        asked = self.asked(move)
        bends = move.kind is MoveKind.BEND
        done = replace(move, by=asked * (self.builder.bends if bends else 1.0))
        column = dimension_names().index(f"{move.station.value}.bend")
        before = float(body.truth.values[column])
        body.truth = body.truth.after([done], self.rng, hand=self.builder.hand)
        body.moved += 1
        event = self.event_of(move, asked=asked)
        if not (bends and measured):
            return event
        by = math.degrees(float(body.truth.values[column]) - before) + self.noise(_PROTRACTOR)
        return replace(
            event,
            done=amount(by, "deg", kind=Kind.ANGLE)[1],
            uncertainty=amount(_PROTRACTOR, "deg", kind=Kind.ANGLE)[1],
            instrument=f"{event.instrument} and protractor",
        )


def _as_drilled(car: Car) -> Car:
    """Return a car of which is known of its holes what a drilling leaves open, whatever its file says."""
    changes = {}
    for station in Station:
        for name in _DRILLED:
            at = f"{station.value}.{name}"
            changes[at] = Quantity(
                value=dimension_of(car, at).value, uncertainty=_KEYS[name].drawing, source=Source.NOMINAL
            )
    return with_dimensions(car, changes)
