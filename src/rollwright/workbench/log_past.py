"""Use cases of what was entered before: shown, and taken back."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.bench import CarStarted, Recorded, Retired, Store, Withdrawn
from rollwright.bench.migrations import APPLICATION_ID
from rollwright.bench.opening import connect, look_at, settle
from rollwright.bench.place import shown_name
from rollwright.bench.reader import Reader
from rollwright.bench.refusals import EntryRefused, NotALog
from rollwright.bench.troubles import told
from rollwright.errors import InputError
from rollwright.workbench.log import (
    Entered,
    Stamp,
    append,
    entry_json,
    folded,
    known_car,
    open_log,
    proposed,
    rolled_in,
)

if TYPE_CHECKING:
    from rollwright.bench.fold import Folded

__all__ = ["History", "car_ids", "entry_hints", "history", "undo", "withdrawals"]

_GLANCE_SECONDS = 0.1
"""How long a look that nobody asked for waits for another program."""


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Entries of a log in their order, and for each withdrawn one the entry that withdrew it, by number."""

    entries: tuple[Recorded, ...]
    withdrawn: Mapping[int, int]

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "entries": [
                {**entry_json(entry), "withdrawn_by": self.withdrawn.get(entry.seq)} for entry in self.entries
            ]
        }


def undo(log: str | os.PathLike[str], car: str, number: int | None, *, reason: str, stamp: Stamp) -> Entered:
    """Withdraw an entry by a new one; both stay in the log.

    Args:
        log: path of the log.
        car: the car's id.
        number: which entry; None takes the car's last one that counts.
        reason: why.
        stamp: who and when.

    Returns:
        The withdrawal, the withdrawn entry, and how the gates stand without it.

    Raises:
        InputError: the entry cannot be withdrawn, or the log cannot be written; nothing was entered.
    """
    with open_log(log) as store:
        name = known_car(store, car)
        entries = list(store.events(name))
        about = _withdrawable(store, name, entries, number)
        event = Withdrawn(entry=about.id, reason=reason)
        trial = proposed(event, car=name, stamp=stamp, seq=store.head()[0] + 1)
        found: Folded | None = None
        try:
            found = folded(store, [*entries, trial])
        except InputError:
            # A log that does not add up must be mendable, one entry after the other.
            if _adds_up(store, entries):
                raise
        entry = append(store, event, car=name, stamp=stamp)
    rolled = "" if found is None else rolled_in(entries, found)
    return Entered(entry=entry, found=found, rolled=rolled, about=about)


def _adds_up(store: Store, entries: Sequence[Recorded]) -> bool:
    try:
        folded(store, entries)
    except InputError:
        return False
    return True


def _withdrawable(store: Store, car: str, entries: Sequence[Recorded], number: int | None) -> Recorded:
    gone = withdrawals(entries)
    if number is None:
        open_to_it = _open_to_undo(entries)
        if not open_to_it:
            raise EntryRefused(
                "nothing but its start counts", mend="there is nothing to undo", file=store.name, key=car
            )
        return open_to_it[-1]
    found = next((entry for entry in entries if entry.seq == number), None)
    problem, mend = "", f"see: rollwright log show {car}"
    if found is None:
        problem = "this is no entry of this car"
    elif isinstance(found.event, CarStarted):
        problem, mend = "the start of a car is never undone", "retire the car instead"
    elif isinstance(found.event, Withdrawn):
        problem, mend = "an undo cannot be undone", "enter what was withdrawn anew"
    elif number in gone:
        problem = f"it is withdrawn already, by entry {gone[number]}"
    if found is None or problem:
        raise EntryRefused(problem, mend=mend, file=store.name, key=f"{car} entry {number}")
    return found


def _open_to_undo(entries: Sequence[Recorded]) -> list[Recorded]:
    gone = withdrawals(entries)
    return [
        entry
        for entry in entries
        if entry.seq not in gone and not isinstance(entry.event, (CarStarted, Withdrawn))
    ]


def withdrawals(entries: Sequence[Recorded]) -> dict[int, int]:
    """Return the numbers of withdrawn entries, each with the number of the entry that withdrew it."""
    by_id = {entry.event.entry: entry.seq for entry in entries if isinstance(entry.event, Withdrawn)}
    return {entry.seq: by_id[entry.id] for entry in entries if entry.id in by_id}


def history(log: str | os.PathLike[str], car: str | None = None) -> History:
    """Return what is in a log.

    Args:
        log: path of the log.
        car: only this car's entries; None returns all.

    Returns:
        The entries, newest last.

    Raises:
        InputError: there is no such log or car, or the log is damaged.
    """
    with open_log(log) as store:
        entries = tuple(store.events(None if car is None else known_car(store, car)))
    return History(entries=entries, withdrawn=withdrawals(entries))


def retired_by(log: str | os.PathLike[str], car: str) -> Recorded | None:
    """Return the entry by which a car is retired, or None where it is not.

    Args:
        log: path of the log.
        car: the car's id.

    Returns:
        The last such entry that counts.

    Raises:
        InputError: there is no such log or car, or the log is damaged.
    """
    found = history(log, car)
    entries = (each for each in reversed(found.entries) if isinstance(each.event, Retired))
    return next((each for each in entries if each.seq not in found.withdrawn), None)


@contextmanager
def _glance(log: str | os.PathLike[str]) -> Iterator[Reader]:
    """Open a log to read only, without looking it over; whatever stops that is raised as `InputError`."""
    name = shown_name(log)
    look_at(Path(log), name=name)
    with told(name):
        connection = connect(Path(log), read_only=True)
        try:
            connection.execute(f"PRAGMA busy_timeout = {_GLANCE_SECONDS * 1e3:.0f}")
            settle(connection)
            if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
                raise NotALog("this file belongs to another program", mend="check the name", file=name)
            yield Reader(connection, path=Path(log))
        finally:
            connection.close()


def car_ids(log: str | os.PathLike[str]) -> tuple[str, ...]:
    """Return the ids of the cars in a log at a glance: the log is neither made, checked nor changed.

    Args:
        log: path of the log.

    Returns:
        The ids in the order in which the cars were started.

    Raises:
        InputError: there is no such log, or it cannot be read just now.
    """
    with _glance(log) as reader:
        return reader.cars()


def entry_hints(log: str | os.PathLike[str], car: str) -> tuple[Recorded, ...]:
    """Return the entries of a car that can be undone, at a glance like `car_ids`.

    Args:
        log: path of the log.
        car: the car's id, whatever its capitals.

    Returns:
        The entries, newest first; none where the log has no such car.

    Raises:
        InputError: there is no such log, or it cannot be read just now.
    """
    with _glance(log) as reader:
        known = next((each for each in reader.cars() if each.casefold() == car.casefold()), None)
        entries = [] if known is None else list(reader.events(known))
    return tuple(reversed(_open_to_undo(entries)))
