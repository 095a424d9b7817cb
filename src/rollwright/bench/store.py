"""The bench log in one SQLite file: entries are added, never changed, and none that was acknowledged is lost.

Every write is one transaction under a rollback journal with `synchronous=EXTRA`: when `append` returns, the
entry and the journal's removal have been handed to the disk.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from rollwright.bench.codec import GENESIS, Entry, Recorded, entry_of
from rollwright.bench.events import CarStarted, Event, Photo, Withdrawn
from rollwright.bench.opening import connect, create_log, open_log, settle
from rollwright.bench.place import publish, shown_name, temporary_beside
from rollwright.bench.reader import COLUMNS, Reader
from rollwright.bench.refusals import EntryRefused, LogDamaged
from rollwright.bench.troubles import RESTORE, told
from rollwright.car.table import nearest
from rollwright.errors import FileUnreadable, FileUnwritable, OutOfRange

if TYPE_CHECKING:
    from rollwright.bench.check import Finding

__all__ = ["LARGEST_PHOTO", "Store"]

_LONGEST_HINT = 120

LARGEST_PHOTO = 8_000_000
"""Greatest size of a photo [bytes]."""


class Store(Reader):
    """A bench log that is open; use one in one thread, and close it before the program forks.

    Make one with `Store.open`, best in a `with` statement.
    """

    def __init__(self, connection: sqlite3.Connection, *, path: Path, program: str) -> None:
        super().__init__(connection, path=path)
        self._program = program

    @classmethod
    def open(
        cls,
        path: str | os.PathLike[str],
        *,
        create: bool = False,
        program: str | None = None,
        rescue: bool = False,
    ) -> Self:
        """Open a log.

        Args:
            path: where it is.
            create: whether to make an empty one if there is nothing of that name; a file that is there is
                never replaced, however unusable.
            program: version of this program, kept with every entry; None for the installed one.
            rescue: whether to open a damaged log, to read only.

        Returns:
            The open log.

        Raises:
            FileUnreadable: it is missing, foreign, newer, damaged or cannot be opened; it stays as it is.
            FileUnwritable: a new one cannot be made, or an older one cannot be brought up to date.
            LogBusy: another program kept it locked for five seconds.
        """
        file = Path(path)
        name = shown_name(path)
        version = program or _installed_version()
        if "\0" in str(file):
            raise FileUnreadable("this is no file's name", mend="check the name", file=name)
        if create and not os.path.lexists(os.path.realpath(file)):
            create_log(file, name=name, program=version)
        return cls(
            open_log(file, name=name, program=version, rescue=rescue),
            path=file,
            program=version,
        )

    def __enter__(self) -> Self:
        """Return the open log."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self.close()

    def close(self) -> None:
        """Close the log; what was acknowledged is on the disk already."""
        self._connection.close()

    def append(
        self,
        event: Event,
        *,
        event_id: str,
        car: str,
        time: datetime,
        author: str,
        device: str = "",
        photo: bytes | None = None,
    ) -> Recorded:
        """Enter an event at the end of the log.

        Args:
            event: what happened.
            event_id: 128 random bits as 32 hexadecimal digits, made once for this event: entering the same
                event for the same car again under the same id changes nothing and returns the first entry.
            car: the car's id.
            time: now, with its offset from UTC; a clock that stands back is noted and not refused.
            author: who enters it.
            device: on which device.
            photo: a photo's bytes, which are kept beside the log.

        Returns:
            The entry; it is on the disk.

        Raises:
            EntryRefused: the id is used for something else, the car is not known or is started twice, a
                withdrawal names no earlier entry of the same car, or a photo has no bytes.
            InputError: an argument is not a possible value.
            FileUnwritable: the disk is full or the log may only be read; nothing was recorded.
            LogBusy: another program kept the log locked; nothing was recorded.
            LogDamaged: the log is damaged; nothing was recorded.
        """
        entry = entry_of(
            event,
            event_id=event_id,
            car=car,
            time=time,
            author=author,
            device=device,
            program=self._program,
        )
        _check_photo(event, photo)
        with self.writing():
            kept = self.entry(event_id)
            if kept is None:
                kept = self.add(entry, event, photo=photo)
            elif (kept.car, kept.body) != (entry.car, entry.body):
                raise EntryRefused(
                    f"the id {event_id} already stands for entry {kept.seq}, which says something else",
                    mend="make a new id for each entry",
                    file=self.name,
                    key="id",
                )
            # Looked up before the commit: once the entry is on the disk nothing may go wrong any more.
            before = self.time_before(kept.seq)
        return self.recorded(kept, before=before)

    def backup(self, path: str | os.PathLike[str]) -> Path:
        """Copy the log as it is at one moment, while it may be in use.

        The copy gets its name only when it is whole, checked and on the disk.

        Args:
            path: where; what is there already is left alone.

        Returns:
            Where it is.

        Raises:
            FileUnwritable: there is a file of that name, or the copy cannot be written.
            LogDamaged: the log or the copy is damaged; there is no copy then.
            LogBusy: another program kept the log locked.
        """
        name = shown_name(path)
        target = Path(os.path.realpath(path))
        there = FileUnwritable(
            "this file is there already and stays as it is",
            mend="choose another name, or move it away first",
            file=name,
        )
        if os.path.lexists(target):
            raise there
        temporary = temporary_beside(target)
        try:
            self._copy_to(temporary, name=name)
            publish(temporary, target)
        except FileExistsError:
            raise there from None
        except OSError as error:
            raise FileUnwritable(
                (error.strerror or "it cannot be written").lower(),
                mend="check that the folder is there, has room and may be written",
                file=name,
            ) from None
        finally:
            for leftover in (temporary, temporary.with_name(f"{temporary.name}-journal")):
                with suppress(OSError):
                    leftover.unlink()
        return target

    def check(self) -> tuple[Finding, ...]:
        """Return what is wrong with the log and what is worth knowing, nothing if all is well.

        Returns:
            The findings, those of the file as a whole first and then in the order of the entries.
        """
        from rollwright.bench.check import check_log  # noqa: PLC0415 - only this needs it

        return check_log(self)

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Keep everything that is written inside, or nothing of it.

        Raises:
            FileUnwritable: the disk is full or the log may only be read; nothing was recorded.
            LogBusy: another program kept the log locked; nothing was recorded.
            LogDamaged: the log is damaged; nothing was recorded.
        """
        with told(self.name, writing=True):
            # The lock is taken at once: a lock that is only upgraded later can lose to another writer.
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def add(self, entry: Entry, event: Event, *, photo: bytes | None = None) -> Entry:
        """Add an entry at the end, inside `writing`.

        Args:
            entry: without its place.
            event: its event.
            photo: bytes of the photo that it shows, if they are not there yet.

        Returns:
            The entry in its place.

        Raises:
            EntryRefused: it does not fit the log.
            sqlite3.Error: it cannot be written; `writing` says why.
        """
        last = self.last()
        self._check_fits(event, entry.car, after=last.seq if last else 0)
        if isinstance(event, Photo):
            there = self.rows("SELECT 1 FROM photo WHERE sha256 = ?", event.sha256)
            if photo is None and not there:
                raise EntryRefused(
                    "the photo's bytes are missing", mend="give them with the entry", file=self.name
                )
            if photo is not None and not there:
                self._connection.execute("INSERT INTO photo VALUES (?, ?)", (event.sha256, photo))
        sealed = entry.sealed(seq=last.seq + 1 if last else 1, previous=last.hash if last else GENESIS)
        self._connection.execute(
            f"INSERT INTO entry ({COLUMNS}, kind, withdraws, photo)"  # noqa: S608 - a constant
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                *(sealed.seq, sealed.id, sealed.car, sealed.time, sealed.offset, sealed.author),
                *(sealed.device, sealed.program, sealed.body, sealed.previous, sealed.hash),
                event.kind,
                event.entry if isinstance(event, Withdrawn) else None,
                event.sha256 if isinstance(event, Photo) else None,
            ),
        )
        return sealed

    def _check_fits(self, event: Event, car: str, *, after: int) -> None:
        """Say in a builder's words what the file's own guards would refuse in theirs."""
        if isinstance(event, CarStarted):
            self._check_new_car(car)
        elif not after or not self.rows("SELECT 1 FROM entry WHERE car = ? LIMIT 1", car):
            cars = self.cars()
            hint = nearest(car, cars) if cars else "start the car first"
            raise EntryRefused(
                f"no car {car} is in this log",
                mend=hint if len(hint) < _LONGEST_HINT else "check the id, or start the car first",
                file=self.name,
                key="car",
            )
        if isinstance(event, Withdrawn):
            found = self.rows("SELECT car, kind FROM entry WHERE id = ?", event.entry)
            if not found or found[0][0] != car or found[0][1] == Withdrawn.kind:
                problem = (
                    "there is no entry of this id"
                    if not found
                    else f"this entry belongs to car {found[0][0]}"
                    if found[0][0] != car
                    else "a withdrawal cannot be withdrawn"
                )
                mend = "enter what was withdrawn anew" if found and found[0][0] == car else "check the id"
                raise EntryRefused(problem, mend=mend, file=self.name, key="withdrawn.entry")

    def _check_new_car(self, car: str) -> None:
        standing = self.rows(
            "SELECT car FROM entry WHERE kind = ? AND lower(car) = lower(?) AND NOT EXISTS"
            " (SELECT 1 FROM entry AS later WHERE later.car = entry.car AND later.withdraws = entry.id)",
            CarStarted.kind,
            car,
        )
        if standing:
            raise EntryRefused(
                f"car {standing[0][0]} is in this log already",
                mend="choose another id",
                file=self.name,
                key="car",
            )

    def _copy_to(self, temporary: Path, *, name: str) -> None:
        with told(name, writing=True):
            copy = connect(temporary, read_only=False, create=True)
            try:
                self._connection.backup(copy)
                settle(copy)
                said = copy.execute("PRAGMA integrity_check(1)").fetchone()[0]
            finally:
                copy.close()
        if said != "ok":
            raise LogDamaged(f"the copy is damaged ({said}) and was thrown away", mend=RESTORE, file=name)


def _check_photo(event: Event, photo: bytes | None) -> None:
    if photo is None:
        return
    if not isinstance(event, Photo):
        raise EntryRefused("bytes stand beside an entry that is no photo", mend="leave them out", key="photo")
    if not 0 < len(photo) <= LARGEST_PHOTO:
        raise OutOfRange(
            f"the photo has {len(photo)} bytes", mend=f"give 1 to {LARGEST_PHOTO} bytes", key="photo"
        )
    if hashlib.sha256(photo).hexdigest() != event.sha256:
        raise EntryRefused(
            "the bytes are not those of this hash", mend="take the hash of the bytes", key="photo"
        )


def _installed_version() -> str:
    from importlib.metadata import PackageNotFoundError, version  # noqa: PLC0415 - slow to import

    try:
        return version("rollwright")
    except PackageNotFoundError:
        return "unknown"
