"""A season of track days: each car's set-ups with their conditions, and which changes paid."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.judge.trial import Times
from rollwright.workbench.trials import RISK
from rollwright.workbench.trials_csv import read_times
from rollwright.workbench.trials_rows import SetAside, Table, number_of

if TYPE_CHECKING:
    from rollwright.judge.trial_season import Season, SetUp, Step

__all__ = ["Season", "Seasons", "SetUp", "Step", "season"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seasons:
    """The seasons of some cars.

    Attributes:
        files: names of the files.
        seasons: one for each car.
        conditions: by label of a set-up and name of a column, the middle or the different entries of it.
        set_aside: rows that are not counted, by file.
        risk: the risk that was taken.
        matters: the difference that matters [s].
    """

    files: tuple[str, ...]
    seasons: tuple[Season, ...]
    conditions: Mapping[str, Mapping[str, str]]
    set_aside: Mapping[str, tuple[SetAside, ...]]
    risk: float
    matters: float

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        from rollwright.workbench.trials_json import seasons_json  # noqa: PLC0415 - rarely asked

        return seasons_json(self)


def season(
    paths: Sequence[str | os.PathLike[str]],
    *,
    columns: Mapping[str, str] | None = None,
    unit: str | None = None,
    matters: float = 1e-3,
    risk: float = RISK,
) -> Seasons:
    """Return how the seasons of some cars went.

    Args:
        paths: files of times, with a column for the set-up, best with others for car and date.
        columns: which column is what; others are guessed by their names.
        unit: `s` or `ms`; None takes it from the column's name, else seconds.
        matters: the smallest difference that matters [s].
        risk: probability that an interval misses the true difference.

    Returns:
        One season for each car.

    Raises:
        InputError: a file cannot be used.
    """
    from rollwright.judge.trial_season import season as judged  # noqa: PLC0415 - brings numpy

    tables = [read_times(path, columns=columns, unit=unit) for path in paths]
    cars: list[str] = []
    set_ups: list[str] = []
    for table in tables:
        runs = len(table.times.times)
        cars += table.cars or ("the car",) * runs
        set_ups += table.set_ups or ("as it is",) * runs
    labels = tuple(" ".join(part for part in both if part) for both in zip(cars, set_ups, strict=True))
    times = _joined(tables, labels)
    found = judged(times, cars=cars, set_ups=set_ups, risk=risk, matters=matters)
    return Seasons(
        files=tuple(table.file for table in tables),
        seasons=found,
        conditions=_conditions(tables, labels),
        set_aside={table.file: table.set_aside for table in tables},
        risk=risk,
        matters=matters,
    )


def _joined(tables: Sequence[Table], labels: tuple[str, ...]) -> Times:
    """Return the times of several files as one; what one of them does not tell, none does."""

    def column(name: str, *, mark: bool = False) -> tuple[str, ...]:
        if not all(getattr(table.times, name) for table in tables):
            return ()
        return tuple(
            f"{number}: {entry}" if mark else entry
            for number, table in enumerate(tables)
            for entry in getattr(table.times, name)
        )

    return Times(
        configurations=labels,
        times=tuple(time for table in tables for time in table.times.times),
        lanes=column("lanes"),
        # The first heat of one file is not that of another.
        heats=column("heats", mark=len(tables) > 1),
        days=column("days"),
    )


def _conditions(tables: Sequence[Table], labels: tuple[str, ...]) -> Mapping[str, Mapping[str, str]]:
    """Return what other columns say of each set-up: the mean of numbers, else the different entries."""
    entries: dict[str, dict[str, list[str]]] = {label: {} for label in labels}
    start = 0
    for table in tables:
        for name, column in table.others.items():
            for at, entry in enumerate(column):
                if entry:
                    entries[labels[start + at]].setdefault(name, []).append(entry)
        start += len(table.times.times)
    return {
        label: {name: _summed_up(found) for name, found in columns.items()}
        for label, columns in entries.items()
    }


def _summed_up(entries: Sequence[str]) -> str:
    numbers = [number_of(entry)[0] for entry in entries]
    known = [number for number in numbers if number is not None and math.isfinite(number)]
    if len(known) == len(entries):
        return f"{sum(known) / len(known):.4g}"
    return ", ".join(dict.fromkeys(entries))[:60]
