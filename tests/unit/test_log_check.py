"""What holds the log together: guards in the file, the check, and a safe place."""

from __future__ import annotations

import hashlib
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from rollwright.bench.codec import GENESIS
from rollwright.bench.events import (
    Note,
    Withdrawn,
)
from rollwright.bench.place import synced_folder
from rollwright.bench.refusals import LogDamaged
from rollwright.bench.store import Store

from .log_bench import PICTURE, SHOWN, everything, log_id, path, put, raw, store

__all__ = ["path", "store"]


_ENTRY = (
    "INSERT{} INTO entry VALUES ({}, '{}', 'LARK', '2026-05-04T12:00:00.000000Z', 0, 'Eve', '', '0', 'note',"
    " NULL, NULL, '{{}}', '{}', '{}')"
)


class TestGuards:
    @pytest.mark.parametrize(
        "statement",
        [
            "UPDATE entry SET author = 'Eve'",
            "UPDATE entry SET seq = 7 WHERE seq = 1",
            "UPDATE OR REPLACE entry SET author = 'Eve'",
            "DELETE FROM entry",
            "DELETE FROM entry WHERE seq = 2",
            "REPLACE INTO entry SELECT * FROM entry WHERE seq = 1",
            "INSERT OR IGNORE INTO entry SELECT * FROM entry WHERE seq = 1",
            (
                "INSERT INTO entry SELECT * FROM entry WHERE seq = 1"
                " ON CONFLICT (seq) DO UPDATE SET author = 'Eve'"
            ),
            _ENTRY.format(" OR REPLACE", 1, log_id(9), GENESIS, "ab" * 32),
            _ENTRY.format(" OR REPLACE", "{next}", log_id(1), "{head}", "ab" * 32),
            _ENTRY.format(" OR REPLACE", "{next}", log_id(9), "{head}", "{head}"),
            _ENTRY.format("", 99, log_id(9), "{head}", "ab" * 32),
            _ENTRY.format("", "NULL", log_id(9), "{head}", "ab" * 32),
            _ENTRY.format("", "{next}", log_id(9), GENESIS, "ab" * 32),
            _ENTRY.format("", "{next}", "not an id", "{head}", "ab" * 32),
            "UPDATE photo SET bytes = x'00'",
            "DELETE FROM photo",
            "REPLACE INTO photo SELECT sha256, x'00' FROM photo",
            "UPDATE step SET name = 'x'",
            "DELETE FROM step",
            "REPLACE INTO step SELECT number, 'x', program FROM step",
            "INSERT INTO step VALUES (7, 'x', 'y')",
        ],
    )
    @pytest.mark.parametrize("recursive", ["ON", "OFF"])
    def test_sql_changes_nothing_whatever_the_other_program_set(
        self, store: Store, path: Path, statement: str, recursive: str
    ) -> None:
        put(store, 2, SHOWN, photo=PICTURE)
        number, head = store.head()
        before = everything(store)
        with raw(path) as other:
            other.execute(f"PRAGMA recursive_triggers = {recursive}")
            with pytest.raises(sqlite3.IntegrityError):
                other.execute(statement.replace("{next}", str(number + 1)).replace("{head}", head))
        assert everything(store) == before

    def test_a_following_entry_is_the_only_one_let_in(self, store: Store, path: Path) -> None:
        # The counterpart of the refusals above: the same statement with the right place goes in.
        number, head = store.head()
        with raw(path) as other:
            other.execute(_ENTRY.format("", number + 1, log_id(9), head, "ab" * 32))
        assert store.rows("SELECT count(*) FROM entry") == [(2,)]

    @pytest.mark.parametrize(
        "change",
        ["car = 'HERON'", "withdraws = NULL", f"withdraws = '{log_id(2)}'", f"withdraws = '{log_id(77)}'"],
    )
    def test_sql_cannot_enter_a_withdrawal_that_fits_nothing(
        self, store: Store, path: Path, change: str
    ) -> None:
        put(store, 2, Withdrawn(entry=log_id(1), reason="x"))
        column, _, value = change.partition(" = ")
        number, head = store.head()
        values = {
            "seq": str(number + 1),
            "id": f"'{log_id(9)}'",
            "car": "'LARK'",
            "time": "'2026-05-04T12:00:00.000000Z'",
            "utc_offset": "0",
            "author": "'Eve'",
            "device": "''",
            "program": "'0'",
            "kind": "'withdrawn'",
            "withdraws": f"'{log_id(1)}'",
            "photo": "NULL",
            "body": "'{}'",
            "previous": f"'{head}'",
            "hash": f"'{'ab' * 32}'",
        } | {column: value}
        with raw(path) as other, pytest.raises(sqlite3.IntegrityError):
            other.execute(f"INSERT INTO entry ({', '.join(values)}) VALUES ({', '.join(values.values())})")  # noqa: S608


class _Tampered:
    """A log whose guards were taken off, changed, and put back, as someone who knows SQLite could."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def run(self, *statements: str) -> tuple[tuple[int | None, str], ...]:
        with raw(self.path) as other:
            triggers = other.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
            for name, _ in triggers:
                other.execute(f"DROP TRIGGER {name}")
            for statement in statements:
                other.execute(statement)
            for _, sql in triggers:
                other.execute(sql)
        with Store.open(self.path) as store:
            return tuple((finding.seq, finding.problem) for finding in store.check())


@pytest.fixture
def tampered(store: Store, path: Path) -> _Tampered:
    put(store, 2, SHOWN, photo=PICTURE)
    put(store, 3, Note(text="the third"))
    put(store, 4, Withdrawn(entry=log_id(3), reason="x"))
    put(store, 5, Note(text="the fifth"))
    store.close()
    return _Tampered(path)


class TestChecking:
    def test_nothing_is_found_where_nothing_is_wrong(self, tampered: _Tampered) -> None:
        assert tampered.run() == ()

    @pytest.mark.parametrize(
        ("column", "value"),
        [
            ("body", "replace(body, 'third', 'fourth')"),
            ("author", "'Eve'"),
            ("time", "'2026-05-04T12:00:02.000000Z'"),
            ("utc_offset", "3600"),
            ("device", "'phone'"),
            ("program", "'9'"),
            ("car", "'HERON'"),
            ("id", f"'{log_id(33)}'"),
        ],
    )
    def test_a_changed_entry_is_found(self, tampered: _Tampered, column: str, value: str) -> None:
        found = tampered.run(f"UPDATE entry SET {column} = {value} WHERE seq = 3")  # noqa: S608
        assert (3, "it is not as it was written: its hash differs") in found

    def test_a_changed_entry_is_not_handed_out(self, tampered: _Tampered) -> None:
        tampered.run("UPDATE entry SET author = 'Eve' WHERE seq = 3")
        with (
            Store.open(tampered.path) as store,
            pytest.raises(LogDamaged, match="entry 3: it is not as it was written"),
        ):
            list(store.events())

    def test_a_missing_entry_is_found(self, tampered: _Tampered) -> None:
        found = tampered.run("DELETE FROM entry WHERE seq = 2")
        assert (3, "entries are missing between 1 and this one") in found
        with (
            Store.open(tampered.path) as store,
            pytest.raises(LogDamaged, match="entry 3: it does not follow"),
        ):
            list(store.events())

    def test_a_rewritten_entry_breaks_the_chain(self, tampered: _Tampered) -> None:
        with Store.open(tampered.path) as store:
            entry = store.entry(log_id(2))
        assert entry
        forged = replace(entry, author="Eve").sealed(seq=2, previous=entry.previous)
        found = tampered.run(f"UPDATE entry SET author = 'Eve', hash = '{forged.hash}' WHERE seq = 2")  # noqa: S608
        assert found == ((3, "it does not follow the entry before it: one of the two was changed"),)

    def test_a_lost_end_shows_against_a_head_that_was_written_down(self, tampered: _Tampered) -> None:
        # From within, a log that lost its last entries looks like one that never had them.
        with Store.open(tampered.path) as store:
            head = store.head()
        assert tampered.run("DELETE FROM entry WHERE seq = 5") == ()
        with Store.open(tampered.path) as store:
            assert store.head() != head

    def test_columns_that_contradict_the_text_are_found(self, tampered: _Tampered) -> None:
        found = tampered.run("UPDATE entry SET kind = 'retired' WHERE seq = 3")
        assert found == ((3, "its columns do not say what its text says"),)

    def test_a_changed_photo_is_found(self, tampered: _Tampered) -> None:
        found = tampered.run("UPDATE photo SET bytes = x'00'")
        assert found == ((None, f"the photo {SHOWN.sha256[:12]} is not as it was entered"),)
        with Store.open(tampered.path) as store, pytest.raises(LogDamaged, match="a photo is not as"):
            store.photo(SHOWN.sha256)

    def test_a_missing_photo_is_found(self, tampered: _Tampered) -> None:
        found = tampered.run("PRAGMA foreign_keys = OFF", "DELETE FROM photo")
        assert (None, "row 2 of entry refers to no photo") in found

    def test_a_photo_of_no_entry_is_found(self, tampered: _Tampered) -> None:
        data = b"stray"
        found = tampered.run(
            f"INSERT INTO photo VALUES ('{hashlib.sha256(data).hexdigest()}', x'{data.hex()}')"  # noqa: S608
        )
        assert [problem.split(" ", 3)[3] for _, problem in found] == ["belongs to no entry"]


class TestPlaces:
    @pytest.mark.parametrize(
        "folder",
        [
            "Dropbox",
            "Dropbox (Club)",
            "OneDrive - Tannery Lane",
            "OneDrive",
            "Nextcloud",
            "iCloud Drive",
            "Library/Mobile Documents/com~apple~CloudDocs",
            "Google Drive/My Drive",
            "Sync",
        ],
    )
    def test_a_folder_that_looks_synced_is_named(self, tmp_path: Path, folder: str) -> None:
        found = synced_folder(tmp_path / folder / "cars" / "bench.log")
        assert found is not None
        assert found.is_relative_to(tmp_path)

    def test_a_marker_file_gives_a_folder_away(self, tmp_path: Path) -> None:
        (tmp_path / "shared" / ".stfolder").mkdir(parents=True)
        assert synced_folder(tmp_path / "shared" / "bench.log") == tmp_path / "shared"

    def test_a_link_into_a_synced_folder_is_seen_through(self, tmp_path: Path) -> None:
        (tmp_path / "Dropbox").mkdir()
        (tmp_path / "bench").symlink_to(tmp_path / "Dropbox")
        assert synced_folder(tmp_path / "bench" / "bench.log") == tmp_path / "Dropbox"

    def test_a_share_on_the_network_is_named(self) -> None:
        assert synced_folder("\\\\garage\\logs\\bench.log") is not None
        assert synced_folder("//garage/logs/bench.log") is not None

    @pytest.mark.parametrize("folder", ["garage", "boxes", "dropboxes", "syncopation", "my-onedrive-notes"])
    def test_any_other_folder_is_fine(self, tmp_path: Path, folder: str) -> None:
        assert synced_folder(tmp_path / folder / "bench.log") is None
