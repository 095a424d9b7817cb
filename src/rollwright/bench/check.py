"""Looking a log over from end to end: every page, every guard, every hash and every entry."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum

from rollwright.bench.codec import GENESIS, Entry, checked
from rollwright.bench.events import CarStarted, Event, Photo, Withdrawn
from rollwright.bench.migrations import APPLICATION_ID, MIGRATIONS, expected_schema
from rollwright.bench.reader import COLUMNS, Reader, entry_from
from rollwright.bench.troubles import RESTORE
from rollwright.errors import InputError

__all__ = ["Finding", "Level", "check_log"]

_AT_ONCE = 500


class Level(Enum):
    """Whether something is wrong, or only worth knowing."""

    WRONG = "wrong"
    NOTE = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that a check found.

    Attributes:
        level: whether it is wrong or only worth knowing.
        problem: what was found, on one line.
        mend: what to do about it.
        seq: number of the entry that it is about, or None.
    """

    level: Level
    problem: str
    mend: str
    seq: int | None = None


@dataclass(slots=True)
class _Seen:
    """What the entries before the present one have said."""

    last: Entry | None = None
    cars: dict[str, set[str]] = field(default_factory=dict)
    """Ids of the starts that stand, by car."""
    withdrawable: dict[str, str] = field(default_factory=dict)
    """Car of every entry that is no withdrawal, by id."""
    back: list[int] = field(default_factory=list)
    """Numbers of entries whose clock stood earlier than the one before."""


def check_log(log: Reader) -> tuple[Finding, ...]:
    """Look a log over.

    Args:
        log: the open log.

    Returns:
        What is wrong and what is worth knowing, nothing if all is well: the pages (`integrity_check`), the
        references, the tables and guards, the photos, and of each entry its number, its chain, its hash, its
        form, its columns and whether it fits what came before.
    """
    return tuple(_findings(log))


def _wrong(problem: str, seq: int | None = None, *, mend: str = RESTORE) -> Finding:
    return Finding(level=Level.WRONG, problem=problem, mend=mend, seq=seq)


def _findings(log: Reader) -> Iterator[Finding]:
    try:
        for (said,) in log.rows("PRAGMA integrity_check(100)"):
            if said != "ok":
                yield _wrong(f"the file is damaged: {said}")
        for table, row, parent, _ in log.rows("PRAGMA foreign_key_check"):
            yield _wrong(f"row {row} of {table} refers to no {parent}")
        yield from _schema(log)
        yield from _photos(log)
        seen = _Seen()
        for row in _rows(log):
            yield from _entry(row, seen)
    except InputError as error:
        yield _wrong(error.problem, mend=error.mend)
        return
    if seen.back:
        yield Finding(
            level=Level.NOTE,
            problem=f"the clock stood back at {len(seen.back)} entries, first at this one",
            mend="nothing is lost, the order is that of the numbers; check the clocks of the devices",
            seq=seen.back[0],
        )


def _schema(log: Reader) -> Iterator[Finding]:
    ((application,),) = log.rows("PRAGMA application_id")
    ((number,),) = log.rows("PRAGMA user_version")
    if application != APPLICATION_ID or number != MIGRATIONS[-1].number:
        yield _wrong(f"the file says it is of schema {number} of program {application:#x}")
    found = set(log.rows("SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL"))
    for kind, name, _ in sorted(found ^ expected_schema(MIGRATIONS[-1].number)):
        yield _wrong(f"the {kind} {name} is not as rollwright makes it")
    steps = log.rows("SELECT number, name FROM step ORDER BY number")
    if steps != [(step.number, step.name) for step in MIGRATIONS]:
        yield _wrong("the record of the schema's steps is not as rollwright makes it")


def _photos(log: Reader) -> Iterator[Finding]:
    # One at a time: together they may not fit into memory.
    for (sha256,) in log.rows("SELECT sha256 FROM photo ORDER BY rowid"):
        for (data,) in log.rows("SELECT bytes FROM photo WHERE sha256 = ?", sha256):
            if hashlib.sha256(data).hexdigest() != sha256:
                yield _wrong(f"the photo {sha256[:12]} is not as it was entered")
    for (sha256,) in log.rows(
        "SELECT sha256 FROM photo WHERE sha256 NOT IN (SELECT photo FROM entry WHERE photo IS NOT NULL)"
    ):
        yield _wrong(f"the photo {sha256[:12]} belongs to no entry")


def _rows(log: Reader) -> Iterator[tuple[object, ...]]:
    query = (
        f"SELECT {COLUMNS}, kind, withdraws, photo FROM entry"  # noqa: S608 - a constant
        f" WHERE seq > ? ORDER BY seq LIMIT {_AT_ONCE}"
    )
    after = 0
    while rows := log.rows(query, after):
        yield from rows
        after = rows[-1][0]


def _entry(row: tuple[object, ...], seen: _Seen) -> Iterator[Finding]:
    entry = entry_from(row[:-3])
    if entry is None:
        yield _wrong("an entry cannot be read")
        return
    yield from _chain(entry, seen.last)
    if seen.last and entry.time < seen.last.time:
        seen.back.append(entry.seq)
    seen.last = entry
    try:
        event = checked(entry)
    except InputError as error:
        yield _wrong(f"it cannot be read: {error.problem}", entry.seq, mend=error.mend)
        # What it meant is unknown, so nothing later is held against it.
        seen.cars.setdefault(entry.car, set())
        seen.withdrawable[entry.id] = entry.car
        return
    withdraws = event.entry if isinstance(event, Withdrawn) else None
    if row[-3:] != (event.kind, withdraws, event.sha256 if isinstance(event, Photo) else None):
        yield _wrong("its columns do not say what its text says", entry.seq)
    yield from _fits(entry, event, seen)


def _chain(entry: Entry, last: Entry | None) -> Iterator[Finding]:
    if entry.seq != (last.seq if last else 0) + 1:
        yield _wrong(f"entries are missing between {last.seq if last else 0} and this one", entry.seq)
    elif entry.previous != (last.hash if last else GENESIS):
        yield _wrong("it does not follow the entry before it: one of the two was changed", entry.seq)
    if entry.true_hash != entry.hash:
        yield _wrong("it is not as it was written: its hash differs", entry.seq)


def _fits(entry: Entry, event: Event, seen: _Seen) -> Iterator[Finding]:
    if isinstance(event, CarStarted):
        if seen.cars.setdefault(entry.car, set()):
            yield _wrong(f"car {entry.car} is started twice", entry.seq)
        seen.cars[entry.car].add(entry.id)
    elif entry.car not in seen.cars:
        yield _wrong(f"car {entry.car} was never started", entry.seq)
    if not isinstance(event, Withdrawn):
        seen.withdrawable[entry.id] = entry.car
    elif seen.withdrawable.get(event.entry) != entry.car:
        yield _wrong("it withdraws what is no earlier entry of its car, or is a withdrawal", entry.seq)
    else:
        seen.cars.get(entry.car, set()).discard(event.entry)
