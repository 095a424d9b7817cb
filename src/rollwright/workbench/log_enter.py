"""How an entry gets into the bench log: checked against everything before it, and only then written."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.bench import Event, Recorded, Retired, SlowRoll, Store
from rollwright.bench.codec import entry_of, recorded
from rollwright.bench.refusals import EntryRefused
from rollwright.car.table import nearest
from rollwright.errors import FileUnreadable, InputError

if TYPE_CHECKING:
    from rollwright.bench.fold import Folded

__all__ = [
    "Entered",
    "EnteredAll",
    "Recorded",
    "Stamp",
    "append",
    "append_all",
    "enter",
    "enter_all",
    "entry_json",
    "folded",
    "gates_json",
    "known_car",
    "open_log",
    "proposed",
    "rolled_in",
    "stamps",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """Who enters something and when: the `time` with its offset, the `author`, and a new `event_id`."""

    time: datetime
    author: str
    event_id: str


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


@dataclass(frozen=True, slots=True, kw_only=True)
class EnteredAll:
    """Several things were entered at once.

    Attributes:
        entries: the new entries; none where there was nothing to enter.
        found: what the log adds up to now.
        rolled: what the slow roll that still counts showed, or empty.
    """

    entries: tuple[Recorded, ...]
    found: Folded
    rolled: str = ""

    @property
    def last(self) -> Entered:
        """The last of them, with what the log adds up to."""
        return Entered(entry=self.entries[-1], found=self.found, rolled=self.rolled)

    def as_json(self) -> dict[str, object]:
        """Return them as plain data in SI units."""
        return {"entries": [entry_json(entry) for entry in self.entries], "gates": gates_json(self.found)}


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


_LONGEST_HINT = 120


def known_car(store: Store, car: str) -> str:
    """Return a car's id as the log writes it, whatever its capitals; raise `EntryRefused` for no car."""
    cars = store.cars()
    for known in cars:
        if known.casefold() == car.casefold():
            return known
    if not cars:
        mend = "begin with: rollwright log start CAR.toml"
    else:
        hint = nearest(car, cars)
        # Many cars make a long list.
        said = f"{hint} " if hint.endswith("?") else f"{hint}; " if len(hint) < _LONGEST_HINT else ""
        mend = f"{said}list all with: rollwright log show, or start it with: rollwright log start CAR.toml"
    raise EntryRefused("no such car is in this log", mend=mend, file=store.name, key=_shown(car))


def folded(store: Store, entries: Sequence[Recorded]) -> Folded:
    """Return what a car's entries add up to; an error names the log."""
    from rollwright.bench.fold import fold  # noqa: PLC0415 - brings numpy
    from rollwright.workbench.log_habits import habits_from  # noqa: PLC0415 - likewise

    try:
        return fold(entries, habits=habits_from(store, entries) if entries else ())
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


def append(store: Store, event: Event, *, car: str, stamp: Stamp, photo: bytes | None = None) -> Recorded:
    """Enter an event and return its entry; `photo` is the bytes of a photo."""
    return store.append(
        event, event_id=stamp.event_id, car=car, time=stamp.time, author=stamp.author, photo=photo
    )


def stamps(stamp: Stamp, count: int) -> list[Stamp]:
    """Return as many stamps as there are entries of one command: the first is the given one."""
    # Made from the first id, so that the same command entered again under it is still known.
    more = (hashlib.sha256(f"{stamp.event_id} {number}".encode()).hexdigest() for number in range(1, count))
    return [stamp, *(replace(stamp, event_id=identity[:32]) for identity in more)][:count]


def append_all(store: Store, events: Sequence[Event], *, car: str, stamp: Stamp) -> list[Recorded]:
    """Enter events one behind the other, all or none, and return their entries."""
    if len(events) == 1:
        return [append(store, events[0], car=car, stamp=stamp)]
    program = _installed_version()
    kept = []
    with store.writing():
        for event, each in zip(events, stamps(stamp, len(events)), strict=True):
            entry = entry_of(
                event,
                event_id=each.event_id,
                car=car,
                time=each.time,
                author=each.author,
                device="",
                program=program,
            )
            added = store.add(entry, event)
            kept.append(store.recorded(added, before=store.time_before(added.seq)))
    return kept


def _installed_version() -> str:
    from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415 - slow to import

    try:
        return version("rollwright")
    except PackageNotFoundError:
        return "unknown"


def enter(
    log: str | os.PathLike[str],
    car: str,
    event: Event | Callable[[Folded], Event],
    *,
    stamp: Stamp,
    retired: bool = False,
    photo: bytes | None = None,
) -> Entered:
    """Enter an event, if the car with it still adds up.

    Args:
        log: path of the log.
        car: the car's id.
        event: what happened, or how it is made from what the log adds up to so far.
        stamp: who and when.
        retired: whether a retired car takes it too.
        photo: bytes of a photo.

    Returns:
        The entry, and what the log adds up to with it.

    Raises:
        InputError: the event is impossible on this car, or the log cannot be written; nothing was entered.
    """

    def made(entries: Sequence[Recorded], before: Folded) -> list[Event]:
        del entries
        return [event if isinstance(event, Event) else event(before)]

    return enter_all(log, car, made, stamp=stamp, retired=retired, photo=photo).last


def enter_all(
    log: str | os.PathLike[str],
    car: str,
    make: Callable[[Sequence[Recorded], Folded], Sequence[Event]],
    *,
    stamp: Stamp,
    retired: bool = False,
    photo: bytes | None = None,
) -> EnteredAll:
    """Enter several events at once, all or none, if the car with them still adds up.

    Args:
        log: path of the log.
        car: the car's id.
        make: returns what happened, from the car's entries and from what they add up to so far.
        stamp: who and when, of all of them; those behind the first get ids made from its own.
        retired: whether a retired car takes them too.
        photo: bytes of a photo, where the one event is a photo.

    Returns:
        The entries, and what the log adds up to with them.

    Raises:
        InputError: an event is impossible on this car, or the log cannot be written; nothing was entered.
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
        events = list(make(entries, before))
        if not events:
            return EnteredAll(entries=(), found=before, rolled=rolled_in(entries, before))
        head = store.head()[0]
        trials = [
            proposed(event, car=name, stamp=each, seq=head + number)
            for number, (event, each) in enumerate(
                zip(events, stamps(stamp, len(events)), strict=True), start=1
            )
        ]
        found = folded(store, [*entries, *trials])
        new = (
            [append(store, events[0], car=name, stamp=stamp, photo=photo)]
            if len(events) == 1
            else append_all(store, events, car=name, stamp=stamp)
        )
        entries += trials
        if new[0].seq != trials[0].seq:
            # Someone else entered something meanwhile.
            entries = list(store.events(name))
            found = folded(store, entries)
    return EnteredAll(entries=tuple(new), found=found, rolled=rolled_in(entries, found))
