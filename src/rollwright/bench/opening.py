"""Opening a log: never make one where one was expected, never touch a file that is not sound and ours."""

from __future__ import annotations

import os
import sqlite3
import stat
from contextlib import suppress
from functools import cache
from pathlib import Path

from rollwright.bench.migrations import APPLICATION_ID, MIGRATIONS, expected_schema, migrate, schema_of
from rollwright.bench.place import publish, temporary_beside
from rollwright.bench.refusals import LogDamaged, NewerLog, NotALog
from rollwright.bench.troubles import BUSY_SECONDS, RESTORE, told
from rollwright.errors import FileUnreadable, FileUnwritable

__all__ = ["connect", "create_log", "look_at", "open_log", "settle"]

_OLDEST_SQLITE = (3, 37, 0)
# Greatest size of a file that is checked page by page whenever it is opened [bytes]: about 0.1 s.
_SOON_CHECKED = 8_000_000
_MAKE = "name a log that is there, or make a new one"


def open_log(path: Path, *, name: str, program: str, rescue: bool = False) -> sqlite3.Connection:
    """Open a log that is there, and bring it up to this program's schema.

    Args:
        path: where it is.
        name: its name for messages.
        program: version of this program.
        rescue: whether to open a damaged log, to read only.

    Returns:
        The connection, settled as `settle` does.

    Raises:
        FileUnreadable: there is no such file, or it cannot be opened.
        NotALog: it is something else; it stays as it is.
        NewerLog: a newer program wrote it; it stays as it is.
        LogDamaged: it is damaged; it stays as it is.
        LogBusy: another program kept it locked.
        FileUnwritable: it is of an older schema and cannot be written.
    """
    look_at(path, name=name)
    with told(name):
        connection = connect(path, read_only=False)
        try:
            settle(connection)
            number = _check_ours(connection, name=name)
            if rescue:
                connection.execute("PRAGMA query_only = ON")
                return connection
            _check_sound(connection, number, name=name)
            if number < MIGRATIONS[-1].number:
                with told(name, writing=True):
                    migrate(connection, program=program, migrations=MIGRATIONS)
        except BaseException:
            connection.close()
            raise
        return connection


def create_log(path: Path, *, name: str, program: str) -> None:
    """Make a new empty log, whole or not at all.

    Args:
        path: where; if something is there already, it stays as it is.
        name: its name for messages.
        program: version of this program.

    Raises:
        FileUnwritable: it cannot be made.
    """
    target = Path(os.path.realpath(path))
    temporary = temporary_beside(target)
    try:
        with told(name, writing=True):
            connection = connect(temporary, read_only=False, create=True)
            try:
                settle(connection)
                migrate(connection, program=program, migrations=MIGRATIONS)
            finally:
                connection.close()
        with suppress(FileExistsError):
            publish(temporary, target)
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


def look_at(path: Path, *, name: str) -> None:
    """Refuse what cannot be a log before SQLite is asked.

    The file is not read here: closing it again would drop the locks that another connection of this
    program holds on it.

    Args:
        path: where it is.
        name: its name for messages.

    Raises:
        FileUnreadable: there is no such file, or this SQLite is too old.
        NotALog: it is empty, a folder or no file at all.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise FileUnreadable(
            f"this Python brings SQLite {sqlite3.sqlite_version}, and the log needs 3.37",
            mend="install a newer Python",
            file=name,
        )
    try:
        found = path.stat()
    except FileNotFoundError:
        raise FileUnreadable("there is no such log", mend=_MAKE, file=name) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it cannot be opened"
        raise FileUnreadable(str(reason).lower(), mend="check the name", file=name) from None
    if stat.S_ISDIR(found.st_mode):
        raise NotALog("this is a folder", mend="name the log in it", file=name)
    if not stat.S_ISREG(found.st_mode):
        raise NotALog("this is no ordinary file", mend=_MAKE, file=name)
    if found.st_size == 0:
        raise NotALog(
            "the file is empty, as no log ever is",
            mend="restore the newest backup, or move the file away and make a new log",
            file=name,
        )


def connect(path: Path, *, read_only: bool, create: bool = False) -> sqlite3.Connection:
    """Return a connection that waits for others and leaves transactions to us.

    Args:
        path: where the file is.
        read_only: whether nothing may be written.
        create: whether to make the file if it is not there.

    Returns:
        The connection; nothing was read or written yet.

    Raises:
        sqlite3.Error: it cannot be opened.
    """
    mode = "ro" if read_only else "rwc" if create else "rw"
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}", uri=True, timeout=BUSY_SECONDS, isolation_level=None
    )


def settle(connection: sqlite3.Connection) -> None:
    """Set everything that a connection to a log wants.

    Args:
        connection: fresh from `connect`.

    Raises:
        sqlite3.Error: the file cannot be read.
    """
    # Newer Pythons can also forbid writes past the SQL layer, which a tampered file could ask for.
    if hasattr(connection, "setconfig"):
        connection.setconfig(sqlite3.SQLITE_DBCONFIG_DEFENSIVE, True)  # type: ignore[attr-defined] # noqa: FBT003
    for pragma in (
        "trusted_schema = OFF",
        "cell_size_check = ON",
        "recursive_triggers = ON",
        "foreign_keys = ON",
        "synchronous = EXTRA",
        # A plain fsync on macOS leaves the bytes in the drive's own cache.
        "fullfsync = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _check_ours(connection: sqlite3.Connection, *, name: str) -> int:
    """Return the schema's number of a file that says it is ours."""
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    number: int = connection.execute("PRAGMA user_version").fetchone()[0]
    if application != APPLICATION_ID:
        raise NotALog(
            "this file belongs to another program; it stays as it is", mend="check the name", file=name
        )
    if number > MIGRATIONS[-1].number:
        raise NewerLog(
            f"a newer rollwright wrote this log (schema {number}; this one knows up to "
            f"{MIGRATIONS[-1].number}); it stays as it is",
            mend="update rollwright, or restore a backup made before that",
            file=name,
        )
    return number


def _check_sound(connection: sqlite3.Connection, number: int, *, name: str) -> None:
    """Refuse a file whose pages, tables or triggers are not as we left them, before anything is written."""
    if number < 1 or schema_of(connection) != _expected(number):
        raise LogDamaged(
            "the log's tables or its guards against changes are not as rollwright makes them; "
            "it stays as it is",
            mend=RESTORE,
            file=name,
        )
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    size = pages * connection.execute("PRAGMA page_size").fetchone()[0]
    if number < MIGRATIONS[-1].number or size <= _SOON_CHECKED:
        said = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
        if said != "ok":
            raise LogDamaged(f"the log is damaged ({said}); it stays as it is", mend=RESTORE, file=name)
    if connection.execute("PRAGMA journal_mode").fetchone()[0] != "delete":
        # Another program switched it; a log under a write-ahead log is no longer one file to copy.
        connection.execute("PRAGMA journal_mode = DELETE")


@cache
def _expected(number: int) -> frozenset[tuple[str, str, str]]:
    return expected_schema(number, migrations=MIGRATIONS)
