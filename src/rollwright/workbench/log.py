"""Use cases of the bench log: a car is entered, read and moved, and the log says how its gates stand."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.bench import (
    Adjustment,
    Bend,
    CarStarted,
    Event,
    Note,
    Recorded,
    Retired,
    Sand,
    Shim,
    SlowRoll,
    SlowRollSeen,
    StartedFrom,
    Store,
    Turn,
    Washer,
    synced_folder,
)
from rollwright.bench.codec import entry_of, recorded
from rollwright.bench.refusals import EntryRefused
from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Station
from rollwright.car.table import nearest
from rollwright.errors import FileUnreadable, InputError, OutOfRange

if TYPE_CHECKING:
    from rollwright.bench.fold import Folded as Folded  # noqa: PLC0414 - shown to the command line by name

__all__ = [
    "MOVES",
    "Entered",
    "Recorded",
    "Stamp",
    "Started",
    "did",
    "note",
    "retire",
    "roll",
    "start",
]

_LONGEST_ID = 24
_ANY_ID = "0" * 32

MOVES: Mapping[str, type[Adjustment]] = {kind.kind: kind for kind in (Bend, Turn, Sand, Washer, Shim)}
"""The moves of a hand that the log takes, by the word for each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """Who enters something and when: the `time` with its offset, the `author`, and a new `event_id`."""

    time: datetime
    author: str
    event_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A car is in the log.

    Attributes:
        entry: its first entry.
        name: what its file calls it.
        log: path of the log.
        made: whether the log is new.
        synced: folder that a service seems to copy, if the new log lies in one.
    """

    entry: Recorded
    name: str
    log: str
    made: bool
    synced: Path | None

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "log": self.log,
            "made": self.made,
            "synced_folder": None if self.synced is None else str(self.synced),
            "name": self.name,
            **entry_json(self.entry),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """Something was entered.

    Attributes:
        entry: the new entry.
        found: what the log adds up to now, or None where an undo does not yet make it add up.
        rolled: what the slow roll that still counts showed, or empty.
        about: the entry that was withdrawn, for an undo.
    """

    entry: Recorded
    found: Folded | None
    rolled: str = ""
    about: Recorded | None = None

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            **entry_json(self.entry),
            "gates": None if self.found is None else gates_json(self.found),
            **({} if self.about is None else {"withdrawn": self.about.seq}),
        }


def entry_json(entry: Recorded) -> dict[str, object]:
    """Return an entry as plain data in SI units."""
    return {
        "entry": entry.seq,
        "id": entry.id,
        "car": entry.car,
        "time": entry.time.isoformat(),
        "author": entry.author,
        "event": entry.event.kind,
        "fields": entry.event.as_plain(),
    }


def gates_json(found: Folded) -> dict[str, object]:
    """Return how the gates of a car stand as plain data in SI units."""
    from rollwright.workbench.log_gates import gate_json  # noqa: PLC0415 - brings numpy

    return {gate.value: gate_json(state) for gate, state in found.gates.items()}


def rolled_in(entries: Sequence[Recorded], found: Folded) -> str:
    """Return what the slow roll that still counts showed, or empty."""
    at = max(state.read_at for gate, state in found.gates.items() if gate.value == "roll")
    rolls = {entry.seq: entry.event for entry in entries if isinstance(entry.event, SlowRoll)}
    return rolls[at].seen.value if at in rolls else ""


def open_log(log: str | os.PathLike[str], *, rescue: bool = False) -> Store:
    """Return a log that is there; where there is none, the error says how to begin one."""
    if not os.path.lexists(log):
        raise FileUnreadable(
            "there is no such log",
            mend="check --log, or begin one with: rollwright log start CAR.toml",
            file=Path(log).name,
        )
    return Store.open(log, rescue=rescue)


def known_car(store: Store, car: str) -> str:
    """Return a car's id as the log writes it, whatever its capitals; raise `EntryRefused` for no car."""
    cars = store.cars()
    for known in cars:
        if known.casefold() == car.casefold():
            return known
    hint = nearest(car, cars) if cars else ""
    # Many cars make a long list.
    mend = hint if 0 < len(hint) < 120 else "see: rollwright log show"
    raise EntryRefused("no such car is in this log", mend=mend, file=store.name, key=_shown(car))


def folded(store: Store, entries: Sequence[Recorded]) -> Folded:
    """Return what a car's entries add up to; an error names the log."""
    from rollwright.bench.fold import fold  # noqa: PLC0415 - brings numpy

    try:
        return fold(entries)
    except InputError as error:
        raise error.at(file=store.name) from None


def _shown(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)[:40]


def proposed(event: Event, *, car: str, stamp: Stamp, seq: int) -> Recorded:
    """Return an entry as it would be, its author, id and time checked, before anything is written."""
    entry = entry_of(
        event,
        event_id=stamp.event_id,
        car=car,
        time=stamp.time,
        author=stamp.author,
        device="",
        program="?",
    )
    return recorded(replace(entry, seq=seq), before="")


def append(store: Store, event: Event, *, car: str, stamp: Stamp) -> Recorded:
    """Enter an event and return its entry."""
    return store.append(event, event_id=stamp.event_id, car=car, time=stamp.time, author=stamp.author)


def id_from(name: str) -> str:
    """Return an id made from a car's name: lower case, with safe characters only; empty if none are left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9_]+", "-", plain).strip("-_")[:_LONGEST_ID].strip("-_")


def start(
    log: str | os.PathLike[str], car_file: str | os.PathLike[str], *, car: str | None, stamp: Stamp
) -> Started:
    """Enter a car in the log; the log is made if there is none.

    Args:
        log: path of the log.
        car_file: the car's file, whose whole text is kept.
        car: id for the car; None makes one from its name.
        stamp: who and when.

    Returns:
        The first entry of the car.

    Raises:
        InputError: the car file or the id cannot be used, or the log cannot be written; nothing was made.
    """
    text = load_toml(car_file, what="car file")
    file = Path(car_file).name
    described = parse_car(text, file=file)
    given = id_from(described.name) if car is None else car
    if not given:
        raise OutOfRange(
            "no id can be made from the car's name", mend="say one with --as", file=file, key="name"
        )
    event = CarStarted(source=StartedFrom.FILE, car_file=text)
    trial = proposed(event, car=given, stamp=stamp, seq=1)
    from rollwright.bench.fold import fold  # noqa: PLC0415 - brings numpy

    try:
        fold([trial])
    except InputError as error:
        raise error.at(file=file) from None
    made = not os.path.lexists(log)
    with Store.open(log, create=made) as store:
        entry = append(store, event, car=given, stamp=stamp)
    return Started(
        entry=entry,
        name=described.name,
        log=str(log),
        made=made,
        synced=synced_folder(log) if made else None,
    )


def enter(
    log: str | os.PathLike[str],
    car: str,
    event: Event | Callable[[Folded], Event],
    *,
    stamp: Stamp,
    retired: bool = False,
) -> Entered:
    """Enter an event, if the car with it still adds up.

    Args:
        log: path of the log.
        car: the car's id.
        event: what happened, or how it is made from what the log adds up to so far.
        stamp: who and when.
        retired: whether a retired car takes it too.

    Returns:
        The entry, and what the log adds up to with it.

    Raises:
        InputError: the event is impossible on this car, or the log cannot be written; nothing was entered.
    """
    with open_log(log) as store:
        name = known_car(store, car)
        entries = list(store.events(name))
        before = folded(store, entries)
        if before.retired and not retired:
            number = next(e.seq for e in reversed(entries) if isinstance(e.event, Retired))
            raise EntryRefused(
                "it is retired",
                mend=f"to work on it again: rollwright log undo {name} {number} --because TEXT",
                file=store.name,
                key=name,
            )
        made = event if isinstance(event, Event) else event(before)
        trial = proposed(made, car=name, stamp=stamp, seq=store.head()[0] + 1)
        found = folded(store, [*entries, trial])
        entry = append(store, made, car=name, stamp=stamp)
        entries.append(trial)
        if entry.seq != trial.seq:
            # Someone else entered something meanwhile.
            entries = list(store.events(name))
            found = folded(store, entries)
    return Entered(entry=entry, found=found, rolled=rolled_in(entries, found))


def did(
    log: str | os.PathLike[str],
    car: str,
    move: str,
    station: Station,
    *,
    amount: float | None,
    measured: bool = False,
    uncertainty: float | None = None,
    remark: str = "",
    stamp: Stamp,
) -> Entered:
    """Enter what a hand did.

    Args:
        log: path of the log.
        car: the car's id.
        move: one of `MOVES`.
        station: where.
        amount: the change [rad or m], signed as the events of the log are; None if nobody knows.
        measured: whether it was measured afterwards; otherwise it is what was asked for.
        uncertainty: standard uncertainty of a measured amount.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the move is impossible on this car, or the log cannot be written; nothing was entered.
    """
    event = MOVES[move](
        station=station,
        asked=None if measured else amount,
        done=amount if measured else None,
        uncertainty=uncertainty,
        note=remark,
    )
    return enter(log, car, event, stamp=stamp)


def roll(log: str | os.PathLike[str], car: str, seen: str, *, remark: str = "", stamp: Stamp) -> Entered:
    """Enter what a car did on a slow roll: `seen` is holds, leaves, tail_left or tail_right.

    Args:
        log: path of the log.
        car: the car's id.
        seen: what it did.
        remark: a remark.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the log cannot be written; nothing was entered.
    """
    return enter(log, car, SlowRoll(seen=SlowRollSeen(seen), note=remark), stamp=stamp)


def note(log: str | os.PathLike[str], car: str, text: str, *, stamp: Stamp) -> Entered:
    """Enter a remark; see `enter`."""
    return enter(log, car, Note(text=text), stamp=stamp, retired=True)


def retire(log: str | os.PathLike[str], car: str, reason: str, *, stamp: Stamp) -> Entered:
    """Enter that a car is no longer worked on, and why; see `enter`."""
    return enter(log, car, Retired(reason=reason), stamp=stamp)
