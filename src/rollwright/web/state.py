"""What the bench keeps beside the log and never in it: paired devices, and the answers to what was posted.

It lies in the user's own folder with mode 0600, so that copying a bench's folder copies no key to it.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from pathlib import Path
from typing import Any

from rollwright.errors import FileUnwritable

__all__ = ["State"]

_SCHEMA = """
CREATE TABLE IF NOT EXISTS device (
  id TEXT PRIMARY KEY, name TEXT NOT NULL, key_hash TEXT NOT NULL UNIQUE, units TEXT NOT NULL,
  made REAL NOT NULL, seen REAL NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS posted (
  id TEXT PRIMARY KEY, digest TEXT NOT NULL, answer TEXT, at REAL NOT NULL) STRICT;
"""


class State:
    """One small SQLite file, used by one thread at a time.

    Args:
        folder: where; it is made if it is not there.
        bench: id of the bench.
    """

    def __init__(self, folder: Path, *, bench: str) -> None:
        self.path = folder / f"bench-{bench}.sqlite3"
        self._lock = threading.Lock()
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            # Made before SQLite makes it, so that there is no moment at which others may read it.
            os.close(os.open(self.path, os.O_CREAT | os.O_RDWR, 0o600))
            self.path.chmod(0o600)
            self._connection = sqlite3.connect(self.path, check_same_thread=False, isolation_level=None)
            self._connection.execute("PRAGMA synchronous = EXTRA")
            self._connection.executescript(_SCHEMA)
        except (OSError, sqlite3.Error) as error:
            raise FileUnwritable(
                f"the list of paired devices cannot be kept ({error})",
                mend="check that this folder may be written, or move the file away",
                file=str(self.path),
            ) from None

    def rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        """Return what a query finds; one that changes something is on the disk when this returns."""
        with self._lock:
            found: list[tuple[Any, ...]] = self._connection.execute(query, values).fetchall()
        return found

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._connection.close()
