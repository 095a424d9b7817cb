"""What SQLite complains of, said in one line that a builder can act on."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from rollwright.bench.refusals import EntryRefused, LogBusy, LogDamaged, NotALog
from rollwright.errors import FileUnreadable, FileUnwritable, InputError, echo

__all__ = ["BUSY_SECONDS", "RESTORE", "told"]

BUSY_SECONDS = 5.0
"""How long we wait for another program to finish writing."""

RESTORE = "leave the file as it is, restore the newest backup, or save what can be read by an export"

# Primary result code to: what it is when reading, when writing, what happened, and the mend.
_TROUBLES: dict[int, tuple[type[InputError], type[InputError], str, str]] = {
    **dict.fromkeys(
        (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED),
        (
            LogBusy,
            LogBusy,
            f"another program has kept the log locked for {BUSY_SECONDS:g} s",
            "close the other program, or try again",
        ),
    ),
    sqlite3.SQLITE_FULL: (FileUnwritable, FileUnwritable, "the disk is full", "make room and try again"),
    **dict.fromkeys(
        (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM),
        (FileUnwritable, FileUnwritable, "the log may only be read here", "check its permissions"),
    ),
    sqlite3.SQLITE_CANTOPEN: (
        FileUnreadable,
        FileUnwritable,
        "the log or a file beside it cannot be opened",
        "check that the folder is there and may be written",
    ),
    sqlite3.SQLITE_NOTADB: (
        NotALog,
        NotALog,
        "this is not a rollwright log, or its beginning is damaged; it stays as it is",
        "check the name, or restore the newest backup",
    ),
    sqlite3.SQLITE_IOERR: (
        FileUnreadable,
        FileUnwritable,
        "the disk reported an error or has no room",
        "check the disk, then try again",
    ),
}
_REFUSED = {sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_TOOBIG}


@contextmanager
def told(file: str, *, writing: bool = False) -> Iterator[None]:
    """Turn SQLite's errors into ours.

    Args:
        file: the log's name, for messages.
        writing: whether something was to be written, so that the message can say that it was not.

    Returns:
        A context whose body's database errors come out as ours.

    Raises:
        LogBusy: another program kept the file locked.
        NotALog: the file is no database.
        FileUnwritable: the disk is full, the file or its folder may only be read, or the disk failed.
        FileUnreadable: the file cannot be opened.
        EntryRefused: the file's own rules refuse the entry.
        LogDamaged: anything else, which a sound file never says.
    """
    try:
        yield
    except (sqlite3.ProgrammingError, sqlite3.InterfaceError):
        # A mistake in a program, such as a store used after it was closed, and no trouble of the builder's.
        raise
    except UnicodeDecodeError:
        # SQLite quotes the damaged bytes in its message, and Python cannot read them as text.
        raise LogDamaged("the log is damaged", mend=RESTORE, file=file) from None
    except sqlite3.Error as error:
        raise _trouble(error, writing=writing).at(file=file) from None


def _trouble(error: sqlite3.Error, *, writing: bool) -> InputError:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT)
    primary = code & 0xFF
    nothing = "; nothing was recorded" if writing else ""
    said = echo(str(error))[1:-1]
    if primary in _TROUBLES:
        reading_kind, writing_kind, problem, mend = _TROUBLES[primary]
        return (writing_kind if writing else reading_kind)(f"{problem}{nothing}", mend=mend)
    if primary in _REFUSED:
        return EntryRefused(f"the log refuses this: {said}{nothing}", mend="check the entry")
    return LogDamaged(f"the log is damaged or cut short ({said}){nothing}", mend=RESTORE)
