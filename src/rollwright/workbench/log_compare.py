"""Use case: two cars of the log side by side, or one car at two times."""

from __future__ import annotations

import os
from dataclasses import dataclass

from rollwright.bench import Store
from rollwright.bench.compare import (
    COVERAGE,
    Compared,
    compare_cars,
    compare_times,
    touched_between,
    until,
    without_later_weights,
)
from rollwright.bench.fold import Folded
from rollwright.bench.refusals import EntryRefused
from rollwright.car.model import Station
from rollwright.setup.predict import GATE_QUANTITIES
from rollwright.workbench.log_enter import Recorded, folded, known_car, open_log
from rollwright.workbench.log_past import withdrawals

__all__ = ["COVERAGE", "Compared", "Comparison", "Side", "compare"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One side of a comparison.

    Attributes:
        car: id of the car.
        entry: number of the last entry that it rests on.
        whole: whether that is the car's last one.
        found: what the log adds up to there.
        entries: the entries up to there that count.
    """

    car: str
    entry: int
    whole: bool
    found: Folded
    entries: tuple[Recorded, ...]

    @property
    def name(self) -> str:
        """What the car is called."""
        return self.found.filed.name

    @property
    def dominant(self) -> Station:
        """The station that is steered into the rail."""
        return self.found.filed.dominant

    @property
    def label(self) -> str:
        """The car's id, with the entry where that is not the last one: `lark@9`."""
        return self.car if self.whole else f"{self.car}@{self.entry}"

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return {"car": self.car, "name": self.name, "entry": self.entry}


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two sides of one log: `first`, `second` and the `rows`, quantity by quantity."""

    first: Side
    second: Side
    rows: tuple[Compared, ...]

    @property
    def same_car(self) -> bool:
        """Whether it is one car at two times."""
        return self.first.car == self.second.car

    def named(self, row: Compared) -> bool:
        """Return whether a row is always worth a line: a gate quantity, or a clear difference."""
        return row.clear or row.name in GATE_QUANTITIES

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "first": self.first.as_json(),
            "second": self.second.as_json(),
            "same_car": self.same_car,
            "coverage": COVERAGE,
            "compared": [
                {
                    "name": row.name,
                    "first": {"value": row.first, "uncertainty": row.first_uncertainty},
                    "second": {"value": row.second, "uncertainty": row.second_uncertainty},
                    "difference": {"value": row.difference, "uncertainty": row.uncertainty},
                    "touched": row.touched,
                    "clear": row.clear,
                }
                for row in self.rows
            ],
        }


def compare(log: str | os.PathLike[str], first: str, second: str) -> Comparison:
    """Return two cars of a log side by side, or one car at two times.

    Args:
        log: path of the log.
        first: id of a car, or `ID@ENTRY` for the car as it was after that entry.
        second: the other, in the same form.

    Returns:
        Every quantity of both, with the difference, second less first, and its uncertainty.

    Raises:
        InputError: there is no such log, car or entry, or where a car is cannot be told.
    """
    with open_log(log) as store:
        one, two = _side(store, first), _side(store, second)
    if one.car != two.car:
        return Comparison(first=one, second=two, rows=compare_cars(one.found, two.found))
    earlier, later = sorted((one, two), key=lambda side: side.entry)
    between = [entry for entry in later.entries if entry.seq > earlier.entry]
    touched = touched_between(earlier.found, later.found, between)
    return Comparison(first=one, second=two, rows=compare_times(one.found, two.found, touched=touched))


def _side(store: Store, written: str) -> Side:
    named, at, number = written.partition("@")
    car = known_car(store, named)
    entries = list(store.events(car))
    entry = _entry(store, car, entries, number) if at else None
    counting = until(entries, entry)
    found = without_later_weights(_folded(store, counting, written), entries, entry)
    last = until(entries, None)[-1].seq
    return Side(
        car=car,
        entry=counting[-1].seq if entry is None else entry,
        whole=counting[-1].seq == last,
        found=found,
        entries=tuple(counting),
    )


def _folded(store: Store, counting: list[Recorded], written: str) -> Folded:
    found = folded(store, counting)
    if found.estimate is None:
        raise EntryRefused(
            f"where this car is cannot be told: {found.trouble or 'nothing is known of it'}",
            mend="name it as it was after an entry before that, as in ID@ENTRY",
            file=store.name,
            key=written,
        )
    return found


def _entry(store: Store, car: str, entries: list[Recorded], written: str) -> int:
    """Return the number of an entry of a car as it was written behind the car's id."""
    number = int(written) if written.isascii() and written.isdecimal() and len(written) < 10 else None
    gone = withdrawals(entries)
    problem, mend = "", f"see: rollwright log show {car}"
    if number is None or all(entry.seq != number for entry in entries):
        problem = "this is no entry of this car"
    elif number in gone:
        problem = f"this entry was withdrawn, by entry {gone[number]}"
        mend = "name one that counts"
    if number is None or problem:
        shown = "".join(c if c.isprintable() else "?" for c in written)[:20]
        raise EntryRefused(problem, mend=mend, file=store.name, key=f"{car}@{shown}")
    return number
