"""Rows of a table of times: each is counted, or set aside with its reason."""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rollwright.errors import echo
from rollwright.judge.trial import Times

__all__ = ["SECONDS", "UNITS", "Reading", "Row", "SetAside", "Table", "number_of"]

SECONDS: Mapping[str, float] = {"s": 1.0, "ms": 1e-3}
UNITS: Mapping[str, str] = {
    **dict.fromkeys(("s", "sec", "secs", "seconds", "sek"), "s"),
    **dict.fromkeys(("ms", "msec"), "ms"),
}
"""How units of time are written, and which they are."""

_CELL = re.compile(r"^([-+]?[\d.,]+)\s*(s|secs?|seconds|sek|ms|msec)\.?$")
_FINE = frozenset({"", "ok", "okay", "good", "valid", "fine", "-", "–", "no", "none", "0", "false", "n"})
_APART = 5.0
"""A time so many times longer or shorter than the middle one is no time of this track."""


_LONGEST = 60


def _shown(text: str) -> str:
    """Return a text as a terminal may show it: in one line, without control characters."""
    return "".join(letter if letter.isprintable() else "?" for letter in " ".join(text.split()))


class _Unfit(Exception):
    """Why a row is not counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A row that is not counted.

    Attributes:
        row: of the file; its head is row 1.
        reason: why not, with the value.
    """

    row: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Times that were read from a file.

    Attributes:
        file: its name.
        times: the runs that are counted.
        cars: car of each; empty if no column says.
        set_ups: set-up of each; empty if no column says.
        set_aside: rows that are not counted.
        columns: which column is what.
        unit: `s` or `ms`, of the times in the file.
        others: entries of each other column, a condition of the run.
        notes: what a reader should know of how the file was understood.
    """

    file: str
    times: Times
    cars: tuple[str, ...]
    set_ups: tuple[str, ...]
    set_aside: tuple[SetAside, ...]
    columns: Mapping[str, str]
    unit: str
    others: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...]


def number_of(cell: str) -> tuple[float | None, str]:
    """Return a number written with a point or a comma, and the unit behind it."""
    text, unit = cell, ""
    split = _CELL.match(cell.casefold())
    if split:
        text, unit = split[1], UNITS[split[2]]
    if "," in text:
        text = text.replace(",", ".") if text.count(",") == 1 and "." not in text else ""
    try:
        return (None if "_" in text else float(text)), unit
    except ValueError:
        return None, unit


@dataclass(slots=True)
class Row:
    """One run that is counted, as its row says it."""

    number: int
    time: float
    car: str
    set_up: str
    lane: str
    heat: str
    order: float
    day: str
    rest: tuple[str, ...]


class Reading:
    """The rows of a file while they are read."""

    def __init__(self, head: Sequence[str], places: Mapping[str, int], unit: str) -> None:
        self.head, self.places, self.unit = tuple(head), places, unit
        self.rest = [at for at in range(len(head)) if at not in places.values() and head[at].strip()]
        self.kept: list[Row] = []
        self.aside: list[SetAside] = []
        self.marked: dict[tuple[str, str], str] = {}
        self.spelt: dict[tuple[str, str], str] = {}
        self.names: dict[tuple[str, str], str] = {}
        self.seen: dict[tuple[object, ...], int] = {}

    def _cell(self, row: Sequence[str], what: str) -> str:
        at = self.places.get(what, -1)
        return row[at].strip() if 0 <= at < len(row) else ""

    def _named(self, row: Sequence[str], what: str) -> str:
        """Return a name as it was first spelt, whatever its capitals and spaces."""
        at = self.places.get(what, -1)
        if not 0 <= at < len(row):
            return ""
        found = self.names.get((what, row[at]))
        if found is None:
            text = _shown(row[at])
            if len(text) > _LONGEST:
                raise _Unfit(f"{echo(text)} is longer than {_LONGEST} characters, which no {what} is called")
            found = self.spelt.setdefault((what, text.casefold()), text)
            self.names[what, row[at]] = found
        return found

    def take(self, number: int, row: Sequence[str]) -> None:
        """Take a row, or set it aside."""
        try:
            self.kept.append(self._run(number, row))
        except _Unfit as unfit:
            self.aside.append(SetAside(row=number, reason=str(unfit)))

    def _run(self, number: int, row: Sequence[str]) -> Row:
        """Return what a row says, or raise why it cannot be counted."""
        if len(row) > len(self.head) and any(cell.strip() for cell in row[len(self.head) :]):
            raise _Unfit(
                f"{len(row)} cells under {len(self.head)} names, the last {echo(row[-1].strip())}; "
                "a decimal comma needs quotes, or semicolons between cells"
            )
        day, heat = self._named(row, "date"), self._named(row, "heat")
        mark = self._cell(row, "mark")
        if mark.casefold() not in _FINE:
            if mark.casefold().startswith("heat") and heat:
                self.marked[day, heat] = mark
            raise _Unfit(f"marked {echo(mark)}")
        time = self._time(self._cell(row, "time"))
        car, set_up = self._named(row, "car"), self._named(row, "configuration")
        if not car and not set_up:
            raise _Unfit("no car or configuration")
        lane, place = self._named(row, "lane"), self._cell(row, "order")
        for what, found in (("lane", lane), ("heat", heat), ("date", day), ("order", place)):
            if what in self.places and not found:
                raise _Unfit(f"no {what}")
        order = number_of(place)[0] if place else 0.0
        if order is None or not math.isfinite(order):
            raise _Unfit(f"{echo(place)} is no place in the order")
        if heat and lane:
            same = self.seen.setdefault((day, heat, lane, car, set_up, time), number)
            if same != number:
                raise _Unfit(f"the same run as row {same}")
        rest = tuple(_shown(row[at]) if at < len(row) else "" for at in self.rest)
        return Row(number, time, car, set_up, lane, heat, order, day, rest)

    def _time(self, written: str) -> float:
        """Return a finish time [s]."""
        if not written:
            raise _Unfit("no time")
        value, unit = number_of(written)
        if value is None or not math.isfinite(value):
            raise _Unfit(f"{echo(written)} is no time")
        time = value * SECONDS[unit or self.unit]
        if not time > 0.0:
            raise _Unfit(f"{echo(written)} is no finish time; it should be more than 0")
        return time

    def _aside(self, row: Row, reason: str) -> None:
        self.aside.append(SetAside(row=row.number, reason=reason))

    def drop_strays(self) -> None:
        """Set aside times that are many times longer or shorter than the middle one."""
        if not self.kept:
            return
        middle = statistics.median(row.time for row in self.kept)
        near = [row for row in self.kept if middle / _APART <= row.time <= middle * _APART]
        for row in self.kept:
            if not middle / _APART <= row.time <= middle * _APART:
                self._aside(row, f"{row.time:.5g} s where the others take about {middle:.4g} s")
        self.kept = near

    def drop_heats(self) -> None:
        """Set aside every other run of a heat that is marked as a whole."""
        if not self.marked:
            return
        for row in self.kept:
            mark = self.marked.get((row.day, row.heat))
            if mark is not None:
                self._aside(row, f"its heat is marked {echo(mark)}")
        self.kept = [row for row in self.kept if (row.day, row.heat) not in self.marked]

    def table(self, file: str) -> Table:
        """Return what was read."""
        kept, places = self.kept, self.places
        cars = {row.car for row in kept}
        both = "car" in places and "configuration" in places and len(cars) > 1
        labels = tuple(
            " ".join(part for part in (row.car, row.set_up) if part) if both else row.set_up or row.car
            for row in kept
        )
        day = "date" in places
        times = Times(
            configurations=labels,
            times=tuple(row.time for row in kept),
            lanes=tuple(row.lane for row in kept) if "lane" in places else (),
            # The same number on another day is another heat.
            heats=tuple(f"{row.day} {row.heat}" if day else row.heat for row in kept)
            if "heat" in places
            else (),
            order=tuple(row.order for row in kept) if "order" in places else (),
            days=tuple(row.day for row in kept) if day else (),
            rows=tuple(row.number for row in kept),
        )
        return Table(
            file=file,
            times=times,
            cars=tuple(row.car for row in kept) if "car" in places else (),
            set_ups=tuple(row.set_up for row in kept) if "configuration" in places else (),
            set_aside=tuple(sorted(self.aside, key=lambda each: each.row)),
            columns={what: self.head[at].strip() for what, at in places.items()},
            unit=self.unit,
            others={
                _shown(self.head[at])[:_LONGEST]: tuple(row.rest[number] for row in kept)
                for number, at in enumerate(self.rest)
            },
            notes=tuple(self._notes()),
        )

    def _notes(self) -> Iterator[str]:
        if "heat" in self.places and "lane" in self.places:
            seen: set[tuple[str, str, str]] = set()
            for row in self.kept:
                key = (row.day, row.heat, row.lane)
                if key in seen:
                    where = f"heat {row.heat}, lane {row.lane}"
                    yield f"row {row.number}: a second run in {where}; both are counted"
                    return
                seen.add(key)
