"""Logs for the tests of the fold."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from rollwright.bench.codec import Recorded
from rollwright.bench.events import CarStarted, Event, ReadingTaken, StartedFrom
from rollwright.bench.fold import Folded, Gate, Standing, fold
from rollwright.car.model import Station
from rollwright.scenario.club import file_text
from rollwright.setup.reading_keys import ReadingKind

MM = 1e-3
DEG = math.pi / 180.0
FRONT_LEFT, FRONT_RIGHT = Station.FRONT_LEFT, Station.FRONT_RIGHT
LARK = CarStarted(source=StartedFrom.FILE, car_file=file_text("lark.toml"))


def ident(number: int) -> str:
    return f"{number:032x}"


def log(*events: Event, start: Event = LARK) -> list[Recorded]:
    """Number the events as a log would, the start of Lark before them."""
    noon = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
    return [
        Recorded(
            seq=number,
            id=ident(number),
            car="LARK",
            time=noon + timedelta(minutes=number),
            author="Ada",
            device="",
            program="0.1.0",
            event=event,
            hash="",
        )
        for number, event in enumerate((start, *events), start=1)
    ]


def folded(*events: Event, start: Event = LARK) -> Folded:
    return fold(log(*events, start=start))


def read(kind: ReadingKind, value: float, uncertainty: float | None = None) -> ReadingTaken:
    return ReadingTaken(reading=kind, values=(value,), uncertainty=uncertainty)


def evening(level: float = 0.0, drift: float = -70.0, rail: float = 0.0) -> tuple[ReadingTaken, ...]:
    """Return one reading of each gate quantity [mm], by sharp gauges; left out, on Lark's targets."""
    return (
        read(ReadingKind.HEIGHT_DIFFERENCE, level * MM, 0.02 * MM),
        read(ReadingKind.DRIFT, drift * MM, 1.0 * MM),
        read(ReadingKind.RAIL_OFFSET, rail * MM, 0.02 * MM),
    )


MODELLED = (Gate.LEVEL, Gate.STEER, Gate.CENTRE, Gate.ROLL)
"""The gates that the geometry speaks of; the others are lists."""


def standings(found: Folded) -> dict[Gate, Standing]:
    return {gate: found.gates[gate].standing for gate in MODELLED}


def started(car_file: str) -> CarStarted:
    return replace(LARK, car_file=car_file)
