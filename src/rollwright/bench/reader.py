"""Reading an open log: no lock outlives a call, and no entry is handed out that is not as it was written."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rollwright.bench.codec import GENESIS, Entry, Recorded, placed, recorded
from rollwright.bench.place import shown_name
from rollwright.bench.refusals import LogDamaged
from rollwright.bench.troubles import RESTORE, told
from rollwright.errors import InputError, OutOfRange

__all__ = ["COLUMNS", "Reader", "entry_from"]

COLUMNS = "seq, id, car, time, utc_offset, author, device, program, body, previous, hash"
"""Columns of an entry in the order of the fields of `Entry`."""

_AT_ONCE = 500
_TYPES = (int, str, str, str, int, str, str, str, str, str, str)


def entry_from(row: tuple[Any, ...]) -> Entry | None:
    """Return the entry that a row of `COLUMNS` stands for, unchecked; None if it cannot be one."""
    if not all(type(value) is kind for value, kind in zip(row, _TYPES, strict=True)):
        return None
    seq, identity, car, time, offset, author, device, program, body, previous, digest = row
    return Entry(
        seq=seq,
        id=identity,
        car=car,
        time=time,
        offset=offset,
        author=author,
        device=device,
        program=program,
        body=body,
        previous=previous,
        hash=digest,
    )


class Reader:
    """The reading half of `Store`.

    Attributes:
        name: the log's name for messages.
        path: where it is.
    """

    def __init__(self, connection: sqlite3.Connection, *, path: Path) -> None:
        self._connection = connection
        self.path = path
        self.name = shown_name(path)

    def events(self, car: str | None = None, after: int = 0) -> Iterator[Recorded]:
        """Return the entries in the order of their numbers.

        No lock is held between them, so a slow reader never holds up a writer.

        Args:
            car: only this car's, or None for all.
            after: only those with greater numbers.

        Returns:
            The entries, those that are withdrawn and their withdrawals included; what is entered meanwhile
            may be among them.

        Raises:
            NewerEntry: a newer program entered one of them.
            LogDamaged: one of them is not as it was written, or cannot be read.
            LogBusy: another program kept the log locked.
        """
        for entry, before in self.entries(car=car, after=after):
            yield self.recorded(entry, before=before)

    def cars(self) -> tuple[str, ...]:
        """Return the ids of the cars in the order in which they were started.

        Raises:
            LogDamaged: the log cannot be read.
            LogBusy: another program kept the log locked.
        """
        rows = self.rows("SELECT car FROM entry GROUP BY car ORDER BY min(seq)")
        return tuple(str(car) for (car,) in rows)

    def head(self) -> tuple[int, str]:
        """Return the last entry's number and hash, (0, 64 zeros) for an empty log.

        Written down elsewhere, it shows later whether the log still holds everything up to there: an older
        copy put in its place is otherwise as sound as any log.

        Raises:
            LogDamaged: the log cannot be read.
            LogBusy: another program kept the log locked.
        """
        last = self.last()
        return (last.seq, last.hash) if last else (0, GENESIS)

    def photo(self, sha256: str) -> bytes:
        """Return a photo's bytes.

        Args:
            sha256: SHA-256 of the bytes, from the photo's entry.

        Returns:
            The bytes; they are what was entered.

        Raises:
            OutOfRange: there is no such photo.
            LogDamaged: the bytes are not as they were entered.
            LogBusy: another program kept the log locked.
        """
        found = self.rows("SELECT bytes FROM photo WHERE sha256 = ?", sha256)
        if not found:
            raise OutOfRange(
                "there is no photo of this hash", mend="take the hash from its entry", file=self.name
            )
        data = found[0][0]
        if not isinstance(data, bytes) or hashlib.sha256(data).hexdigest() != sha256:
            raise LogDamaged("a photo is not as it was entered", mend=RESTORE, file=self.name)
        return data

    def rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        """Return what a query finds, all at once so that no lock is kept; the log's own modules use this."""
        with told(self.name):
            found: list[tuple[Any, ...]] = self._connection.execute(query, values).fetchall()
        return found

    def entries(self, *, car: str | None = None, after: int = 0) -> Iterator[tuple[Entry, str]]:
        """Return the entries in written form, each with the time of the one before it in the log.

        Args:
            car: only this car's, or None for all.
            after: only those with greater numbers.

        Returns:
            The entries, their own hashes and, where all cars are asked for, the chain from the first one
            asked for checked.

        Raises:
            LogDamaged: one is not as it was written.
            LogBusy: another program kept the log locked.
        """
        condition = "entry.seq > ?" + ("" if car is None else " AND entry.car = ?")
        columns = ", ".join(f"entry.{column}" for column in COLUMNS.split(", "))
        query = (
            f"SELECT {columns}, before.time FROM entry LEFT JOIN entry AS before"  # noqa: S608 - no one's text
            f" ON before.seq = entry.seq - 1 WHERE {condition} ORDER BY entry.seq LIMIT {_AT_ONCE}"
        )
        last: Entry | None = None
        while rows := self.rows(query, after, *(() if car is None else (car,))):
            for row in rows:
                entry = self._entry(row[:-1])
                if car is None and last and (entry.seq, entry.previous) != (last.seq + 1, last.hash):
                    raise self._damaged(
                        entry.seq,
                        f"it does not follow entry {last.seq}: one between them is gone or was changed",
                    )
                last = entry
                yield entry, str(row[-1] or "")
            after = int(rows[-1][0])

    def entry(self, event_id: str) -> Entry | None:
        """Return the entry of an id in written form, or None.

        Raises:
            LogDamaged: it is not as it was written.
            LogBusy: another program kept the log locked.
        """
        rows = self.rows(f"SELECT {COLUMNS} FROM entry WHERE id = ?", event_id)  # noqa: S608 - a constant
        return self._entry(rows[0]) if rows else None

    def last(self) -> Entry | None:
        """Return the last entry in written form, None for an empty log."""
        rows = self.rows(f"SELECT {COLUMNS} FROM entry ORDER BY seq DESC LIMIT 1")  # noqa: S608 - a constant
        return self._entry(rows[0]) if rows else None

    def time_before(self, seq: int) -> str:
        """Return the time of the entry before a number, empty for the first."""
        rows = self.rows("SELECT time FROM entry WHERE seq = ?", seq - 1)
        return str(rows[0][0]) if rows else ""

    def _entry(self, row: tuple[Any, ...]) -> Entry:
        entry = entry_from(row)
        if entry is None:
            raise LogDamaged("an entry cannot be read", mend=RESTORE, file=self.name)
        if entry.true_hash != entry.hash:
            raise self._damaged(entry.seq, "it is not as it was written")
        return entry

    def recorded(self, entry: Entry, *, before: str) -> Recorded:
        """Return an entry with its event; raise `InputError` with its place where it cannot be read."""
        try:
            return recorded(entry, before=before)
        except InputError as error:
            raise placed(error, file=self.name, seq=entry.seq) from None

    def _damaged(self, seq: int, what: str) -> LogDamaged:
        return LogDamaged(what, mend=RESTORE, file=self.name, key=f"entry {seq}")
