"""Use cases: what a person asks of the bench. The command line calls only this module.

Heavy parts are imported inside the functions that need them, so that a command that only looks at a
car starts without numpy.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.car.assumed import assumed_for_stance, grouped
from rollwright.car.dimensions import dimension_kind, dimension_names, file_key
from rollwright.car.file import load_toml, parse_car, read_car
from rollwright.car.model import Car, Station
from rollwright.car.write import save_text, updated_text
from rollwright.errors import FileUnwritable, InputError, MissingReference, OutOfRange, ReadingUnusable, echo
from rollwright.geometry.spread import Spread, spread_of
from rollwright.geometry.stance import Stance, stance
from rollwright.quantity import Contribution
from rollwright.units import System

if TYPE_CHECKING:
    from rollwright.setup.advice import Advice
    from rollwright.setup.hand import Hand

__all__ = [
    "Advised",
    "Demo",
    "Stood",
    "demo",
    "grouped",
    "new_car",
    "next_moves",
    "save_after",
    "stand",
]


_FITTED = "fitted so that the car sits as it was read"
"""Remark behind what no caliper has measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stood:
    """Where a car sits: the `car`, its `stance`, its `spread` and the `assumed` keys that it rests on."""

    car: Car
    stance: Stance
    spread: Mapping[str, Spread]
    assumed: tuple[str, ...]

    @property
    def weights(self) -> Mapping[str, float]:
        """Largest share of each file key in what level, drift and rail leave open."""
        return _weights(self.car, [spread.budget for spread in self.spread.values()])

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "name": self.car.name,
            **self.stance.as_json(),
            "uncertainty": {name: spread.uncertainty for name, spread in self.spread.items()},
            "assumed": list(self.assumed),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Advised:
    """What to do next with a car: the `car`, its file's `text`, the `hand` that works and the `advice`."""

    car: Car
    text: str
    hand: Hand
    advice: Advice

    @property
    def weights(self) -> Mapping[str, float]:
        """Largest share of each file key in what level, drift and rail leave open."""
        return _weights(self.car, list(self.advice.estimate.budgets.values()))

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {"name": self.car.name, **self.advice.as_json()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Demo:
    """The demo club: its `folder`, the files `written` now, those `kept` as they were, and one car's case."""

    folder: Path
    written: tuple[Path, ...]
    kept: tuple[Path, ...]
    stood: Stood
    advised: Advised
    car_file: Path
    readings_file: Path


def _weights(car: Car, budgets: Sequence[tuple[Contribution, ...]]) -> Mapping[str, float]:
    names = frozenset(dimension_names())
    found: dict[str, float] = {}
    for part in (part for budget in budgets for part in budget if part.name in names):
        key = file_key(car, part.name)
        found[key] = max(found.get(key, 0.0), part.share)
    return found


def stand(path: str | os.PathLike[str]) -> Stood:
    """Return where the car of a file sits.

    Args:
        path: the car file.

    Returns:
        The stance with its uncertainty.

    Raises:
        InputError: the file cannot be used, or the car cannot stand.
    """
    car = read_car(path)
    try:
        found = stance(car)
    except InputError as error:
        raise error.at(file=Path(path).name) from None
    return Stood(car=car, stance=found, spread=spread_of(car, found), assumed=assumed_for_stance(car))


def _check_readable(car: Car) -> None:
    """Refuse a car whose drift or place on the rail cannot be read at all, and say which and why."""
    found = stance(car)
    if found.rail_offset is None:
        raise OutOfRange(
            f"the dominant {car.dominant.words} wheel stands above the rail of "
            f"{car.rail.height.value * 1e3:g} mm",
            mend="check rail.height and the hole heights",
            key="rail.height",
        )
    if found.drift.lateral is None:
        raise OutOfRange(
            f"the car turns too sharply to run the {car.board.length.value * 1e3:g} mm board to its end",
            mend="check the sweep, bend and clock of the front axle",
            key=f"stations.{car.dominant.value}",
        )


def next_moves(
    path: str | os.PathLike[str],
    readings: Sequence[str | os.PathLike[str]] = (),
    *,
    system: System = System.METRIC,
) -> Advised:
    """Return the next moves for the car of a file.

    Args:
        path: the car file.
        readings: files of readings, all taken of the car as the car file describes it; none asks what the
            car file alone tells.
        system: units of the words.

    Returns:
        The advice.

    Raises:
        InputError: a file cannot be used, or a reading is impossible on this car.
    """
    from rollwright.setup.advice import advise  # noqa: PLC0415 - brings numpy
    from rollwright.setup.hand import Hand  # noqa: PLC0415
    from rollwright.setup.readings import read_readings  # noqa: PLC0415

    text = load_toml(path, what="car file")
    car = parse_car(text, file=Path(path).name)
    taken = [(file, read_readings(file)) for file in readings]
    hand = taken[-1][1].hand if taken else Hand()
    # Readings of several files keep apart by their file's name.
    prefix = {file: f"{Path(file).stem} " if len(taken) > 1 else "" for file, _ in taken}
    all_readings = [
        replace(reading, where=f"{prefix[file]}{reading.where}")
        for file, found in taken
        for reading in found.readings
    ]
    blame = Path(taken[-1][0]).name if len(taken) == 1 else Path(path).name
    for file, found in taken:
        if found.car and found.car.casefold() != car.name.casefold():
            raise ReadingUnusable(
                f"these readings are of {echo(found.car)}, and the car file describes {echo(car.name)}",
                mend="name the files that belong together, or mend the name",
                file=Path(file).name,
                key="car",
            )
    try:
        _check_readable(car)
    except InputError as error:
        raise error.at(file=Path(path).name) from None
    try:
        advice = advise(car, all_readings, hand=hand, system=system)
    except InputError as error:
        # What names no reading is said of the car.
        raise error.at(file=blame if "reading" in error.key else Path(path).name) from None
    return Advised(car=car, text=text, hand=hand, advice=advice)


def save_after(advised: Advised, path: str | os.PathLike[str]) -> None:
    """Write the car file as it will be once the advised moves are made.

    Args:
        advised: the advice.
        path: where to write; a file that is there already is left alone.

    Raises:
        MissingReference: a move bends an axle that the file shares between wheels.
        FileUnwritable: the file is there already, or cannot be written.
    """
    from rollwright.setup.written import written_dimensions  # noqa: PLC0415 - brings numpy

    car = advised.car
    written = written_dimensions(car, advised.advice.estimate, advised.advice.plan, hand=advised.hand)
    for name in written.moved:
        station, _, last = name.partition(".")
        shared = [other for other in Station if car.corners[other].axle == car.corners[Station(station)].axle]
        if last == "bend" and len(shared) > 1:
            raise MissingReference(
                "this axle's description is shared by several wheels, and only one of them is bent",
                mend=f'write a new [axles.NAME] and set axle = "NAME" under [stations.{station}]',
                key=file_key(car, name),
            )
    every = {**written.moved, **written.fitted}
    text = updated_text(
        advised.text,
        {file_key(car, name): quantity for name, quantity in every.items()},
        kinds={file_key(car, name): dimension_kind(name) for name in every},
        remarks={file_key(car, name): _FITTED for name in written.fitted},
    )
    save_text(path, text)


def new_car(path: str | os.PathLike[str], *, name: str) -> None:
    """Write a commented starter file.

    Args:
        path: where; a file that is there already is left alone.
        name: what the car is called.

    Raises:
        FileUnwritable: the file is there already, or cannot be written.
    """
    from rollwright.car.starter import starter_text  # noqa: PLC0415 - only this command needs it

    save_text(path, starter_text(name=name))


def demo(folder: str | os.PathLike[str], *, system: System = System.METRIC) -> Demo:
    """Write the invented club's files and run the main job on one of its cars.

    Args:
        folder: where; it is made if it is not there, and files in it are never overwritten.
        system: units of the words.

    Returns:
        What was written and what the main job says of the demo car.

    Raises:
        FileUnwritable: the folder or a file cannot be written.
        InputError: a demo file was changed into something unusable.
    """
    from rollwright.scenario.club import CAR, READINGS, club_files  # noqa: PLC0415

    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileUnwritable(
            (error.strerror or "the folder cannot be made").lower(),
            mend="name another folder",
            file=place.name,
        ) from None
    written, kept = [], []
    for file_name, text in club_files().items():
        target = place / file_name
        if target.exists():
            kept.append(target)
        else:
            save_text(target, text)
            written.append(target)
    car_file, readings_file = place / CAR, place / READINGS
    return Demo(
        folder=place,
        written=tuple(written),
        kept=tuple(kept),
        stood=stand(car_file),
        advised=next_moves(car_file, [readings_file], system=system),
        car_file=car_file,
        readings_file=readings_file,
    )
