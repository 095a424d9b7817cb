"""The log's tables, and the ordered steps that bring an older file up to them.

A step that has been released is never changed; a new schema is a new step. Each step and its record commit
together, so that a file is always at exactly one step.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["APPLICATION_ID", "MIGRATIONS", "Migration", "expected_schema", "migrate", "schema_of"]

APPLICATION_ID = 0x526F_6C77
"""Marks a SQLite file as one of ours (bytes 68 to 71 of the file): the letters Rolw."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Migration:
    """One step: the schema's `number` after it, its `name`, and its SQL `statements`."""

    number: int
    name: str
    statements: tuple[str, ...]


_HEX = "NOT GLOB '*[^0-9a-f]*'"

_FIRST = (
    """CREATE TABLE step (
  number INTEGER PRIMARY KEY CHECK (number > 0),
  name TEXT NOT NULL,
  program TEXT NOT NULL
) STRICT""",
    f"""CREATE TABLE photo (
  sha256 TEXT NOT NULL PRIMARY KEY CHECK (length(sha256) = 64 AND sha256 {_HEX}),
  bytes BLOB NOT NULL CHECK (length(bytes) BETWEEN 1 AND 8000000)
) STRICT""",
    # kind, withdraws and photo repeat what the body says, so that SQLite itself can hold them to it.
    f"""CREATE TABLE entry (
  seq INTEGER PRIMARY KEY CHECK (seq > 0),
  id TEXT NOT NULL UNIQUE CHECK (length(id) = 32 AND id {_HEX}),
  car TEXT NOT NULL CHECK (length(car) BETWEEN 1 AND 24 AND car NOT GLOB '*[^A-Za-z0-9_-]*'),
  time TEXT NOT NULL CHECK (length(time) = 27 AND time GLOB '[12][0-9][0-9][0-9]-*T*Z'),
  utc_offset INTEGER NOT NULL CHECK (utc_offset BETWEEN -86399 AND 86399),
  author TEXT NOT NULL CHECK (length(author) BETWEEN 1 AND 80),
  device TEXT NOT NULL CHECK (length(device) <= 80),
  program TEXT NOT NULL CHECK (length(program) BETWEEN 1 AND 80),
  kind TEXT NOT NULL CHECK (length(kind) BETWEEN 1 AND 40),
  withdraws TEXT REFERENCES entry (id) CHECK ((withdraws IS NULL) = (kind <> 'withdrawn')),
  photo TEXT REFERENCES photo (sha256) CHECK ((photo IS NULL) = (kind <> 'photo')),
  body TEXT NOT NULL CHECK (length(body) BETWEEN 2 AND 2000000),
  previous TEXT NOT NULL CHECK (length(previous) = 64 AND previous {_HEX}),
  hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64 AND hash {_HEX})
) STRICT""",
    "CREATE INDEX entry_by_car ON entry (car, seq)",
    # The checks come before a REPLACE could take the old row away, so they hold whatever the caller set.
    """CREATE TRIGGER entry_follows BEFORE INSERT ON entry BEGIN
  SELECT RAISE(ABORT, 'the log is append-only: an entry must follow the last one')
  WHERE NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry)
    OR NEW.previous IS NOT coalesce((SELECT hash FROM entry ORDER BY seq DESC LIMIT 1), printf('%064d', 0))
    OR EXISTS (SELECT 1 FROM entry WHERE id = NEW.id OR hash = NEW.hash);
  SELECT RAISE(ABORT, 'a car must be started before anything else is entered for it, and only once')
  WHERE (NEW.kind <> 'car_started' AND NOT EXISTS (SELECT 1 FROM entry WHERE car = NEW.car))
    OR (NEW.kind = 'car_started' AND EXISTS (
      SELECT 1 FROM entry WHERE car = NEW.car AND kind = 'car_started'
        AND NOT EXISTS (
          SELECT 1 FROM entry AS later WHERE later.car = NEW.car AND later.withdraws = entry.id)));
  SELECT RAISE(ABORT, 'a withdrawal must name an earlier entry of the same car that is no withdrawal')
  WHERE NEW.withdraws IS NOT NULL AND NOT EXISTS (
    SELECT 1 FROM entry WHERE id = NEW.withdraws AND car = NEW.car AND withdraws IS NULL);
END""",
    """CREATE TRIGGER photo_stays BEFORE INSERT ON photo BEGIN
  SELECT RAISE(ABORT, 'the log is append-only: this photo is there already')
  WHERE EXISTS (SELECT 1 FROM photo WHERE sha256 = NEW.sha256);
END""",
    """CREATE TRIGGER step_follows BEFORE INSERT ON step BEGIN
  SELECT RAISE(ABORT, 'the log is append-only: a step must follow the last one')
  WHERE NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM step);
END""",
    *(
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN"
        " SELECT RAISE(ABORT, 'the log is append-only: withdraw an entry by a new one'); END"
        for table in ("entry", "photo", "step")
        for verb in ("UPDATE", "DELETE")
    ),
)

MIGRATIONS: tuple[Migration, ...] = (Migration(number=1, name="entries and photos", statements=_FIRST),)
"""All steps in order; the last one's number is the schema that this program writes."""


def migrate(
    connection: sqlite3.Connection, *, program: str, migrations: Sequence[Migration] = MIGRATIONS
) -> tuple[Migration, ...]:
    """Bring a file up to the last step.

    Args:
        connection: to the file, outside a transaction.
        program: version of this program, kept with each step.
        migrations: all steps in order, numbered from 1.

    Returns:
        The steps that were taken, empty when there was nothing to do.

    Raises:
        sqlite3.Error: a step failed; the file is as it was before that step.
    """
    taken = []
    for migration in migrations:
        connection.execute("BEGIN IMMEDIATE")
        try:
            # Asked inside the transaction: another program may have taken the step while we waited.
            if connection.execute("PRAGMA user_version").fetchone()[0] < migration.number:
                for statement in migration.statements:
                    connection.execute(statement)
                connection.execute(
                    "INSERT INTO step (number, name, program) VALUES (?, ?, ?)",
                    (migration.number, migration.name, program),
                )
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {migration.number}")
                taken.append(migration)
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    return tuple(taken)


def schema_of(connection: sqlite3.Connection) -> frozenset[tuple[str, str, str]]:
    """Return everything that a file defines: type, name and SQL, SQLite's own helpers left out."""
    rows = connection.execute(
        "SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
    )
    return frozenset((str(kind), str(name), str(sql)) for kind, name, sql in rows)


def expected_schema(
    number: int, *, migrations: Sequence[Migration] = MIGRATIONS
) -> frozenset[tuple[str, str, str]]:
    """Return everything that a file at a step defines.

    Args:
        number: of the step.
        migrations: all steps in order.

    Returns:
        What `schema_of` returns for such a file.
    """
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        migrate(connection, program="none", migrations=migrations[:number])
        return schema_of(connection)
    finally:
        connection.close()
