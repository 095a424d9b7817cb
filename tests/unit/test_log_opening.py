"""Opening, upgrading and backing up a log: no file is ever made up, taken over or overwritten."""

from __future__ import annotations

import os
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from rollwright.bench import opening
from rollwright.bench.events import (
    Note,
)
from rollwright.bench.migrations import MIGRATIONS, Migration, migrate, schema_of
from rollwright.bench.refusals import LogDamaged, NewerEntry, NewerLog, NotALog
from rollwright.bench.store import Store
from rollwright.errors import FileUnreadable, FileUnwritable

from .log_bench import PICTURE, SHOWN, START, log_id, path, put, raw, store

__all__ = ["path", "store"]


class TestOpening:
    def test_a_log_that_is_not_there_is_not_made(self, path: Path) -> None:
        with pytest.raises(FileUnreadable, match="there is no such log; name a log that is there, or make"):
            Store.open(path)
        assert list(path.parent.iterdir()) == []

    @pytest.mark.usefixtures("store")
    def test_a_log_that_is_there_is_opened_and_not_made_again(self, path: Path) -> None:
        with Store.open(path, create=True) as again:
            assert again.cars() == ("LARK",)

    @pytest.mark.parametrize("create", [False, True])
    @pytest.mark.parametrize(
        ("content", "problem"),
        [
            (b"", "the file is empty, as no log ever is"),
            (b"format = 1\n", "this is not a rollwright log"),
            (b"SQLite format 3\0" + bytes(84), "not a rollwright log|damaged"),
            (os.urandom(5000), "this is not a rollwright log"),
        ],
    )
    def test_another_file_stays_as_it_is(
        self,
        path: Path,
        content: bytes,
        problem: str,
        create: bool,  # noqa: FBT001 - a parameter of the test
    ) -> None:
        path.write_bytes(content)
        with pytest.raises(FileUnreadable, match=problem) as caught:
            Store.open(path, create=create)
        assert str(caught.value).isprintable()
        assert path.read_bytes() == content
        assert [file.name for file in path.parent.iterdir()] == [path.name]

    def test_another_programs_database_stays_as_it_is(self, path: Path) -> None:
        with raw(path) as other:
            other.execute("CREATE TABLE stamps (value)")
        before = path.read_bytes()
        with pytest.raises(NotALog, match="this file belongs to another program; it stays as it is"):
            Store.open(path, create=True)
        assert path.read_bytes() == before

    def test_a_newer_log_stays_as_it_is(self, store: Store, path: Path) -> None:
        store.close()
        with raw(path) as other:
            other.execute("PRAGMA user_version = 7")
        before = path.read_bytes()
        with pytest.raises(NewerLog, match=r"a newer rollwright wrote this log \(schema 7; .* 1\)") as caught:
            Store.open(path, create=True)
        assert caught.value.mend.startswith("update rollwright")
        assert path.read_bytes() == before

    def test_a_folder_a_pipe_and_an_impossible_name_are_no_logs(self, tmp_path: Path) -> None:
        os.mkfifo(tmp_path / "pipe")
        for name, problem in (
            ("", "this is a folder"),
            ("pipe", "no ordinary file"),
            ("a\0b", "no file's name"),
        ):
            for create in (False, True):
                with pytest.raises(FileUnreadable, match=problem):
                    Store.open(f"{tmp_path}/{name}", create=create)

    def test_a_missing_folder_is_not_made(self, tmp_path: Path) -> None:
        with pytest.raises(FileUnwritable, match="check that the folder is there"):
            Store.open(tmp_path / "no" / "bench.log", create=True)
        assert list(tmp_path.iterdir()) == []

    def test_a_name_with_odd_signs_is_taken_as_it_is(self, tmp_path: Path) -> None:
        for name in ("a?mode=memory", "100%25.log", "a#b.log", "Ærfugl ;.log"):
            Store.open(tmp_path / name, create=True).close()
            assert (tmp_path / name).stat().st_size > 0
        assert len(list(tmp_path.iterdir())) == 4

    def test_a_link_is_followed(self, tmp_path: Path) -> None:
        (tmp_path / "link").symlink_to(tmp_path / "real.log")
        with Store.open(tmp_path / "link", create=True) as store:
            put(store, 1, START)
        assert (tmp_path / "link").is_symlink()
        with Store.open(tmp_path / "real.log") as store:
            assert store.cars() == ("LARK",)

    def test_two_programs_that_make_the_same_log_at_once_share_it(self, path: Path) -> None:
        def start(number: int) -> None:
            with Store.open(path, create=True) as store:
                put(store, number, START, f"CAR{number}")

        with ThreadPoolExecutor(8) as pool:
            list(pool.map(start, range(8)))
        with Store.open(path) as store:
            assert sorted(store.cars()) == [f"CAR{number}" for number in range(8)]
        assert [file.name for file in path.parent.iterdir()] == [path.name]

    @pytest.mark.parametrize(
        "statement",
        [
            "DROP TRIGGER entry_no_update",
            "CREATE TRIGGER sly AFTER INSERT ON entry BEGIN SELECT 1; END",
            "CREATE VIEW sly AS SELECT * FROM entry",
            "CREATE TABLE sly (a)",
            "DROP INDEX entry_by_car",
        ],
    )
    def test_a_file_whose_guards_were_changed_is_refused(
        self, store: Store, path: Path, statement: str
    ) -> None:
        store.close()
        with raw(path) as other:
            other.execute(statement)
        before = path.read_bytes()
        with pytest.raises(LogDamaged, match="its guards against changes are not as rollwright makes them"):
            Store.open(path)
        assert path.read_bytes() == before

    def test_a_newer_programs_entry_is_named(self, store: Store, path: Path) -> None:
        number, head = store.head()
        entry = store.entry(log_id(1))
        assert entry
        newer = replace(entry, id=log_id(9), body='{"event":"laser_scan","version":1}').sealed(
            seq=number + 1, previous=head
        )
        with raw(path) as other:
            other.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?, ?, ?, ?, ?, 'laser_scan', NULL, NULL, ?, ?, ?)",
                (
                    *(newer.seq, newer.id, newer.car, newer.time, newer.offset, newer.author, newer.device),
                    *(newer.program, newer.body, newer.previous, newer.hash),
                ),
            )
        with pytest.raises(NewerEntry, match="entry 2: an event of kind 'laser_scan' is not known"):
            list(store.events())
        (finding,) = store.check()
        assert (finding.seq, finding.mend) == (2, "update rollwright")


class TestMigrations:
    SECOND = Migration(number=2, name="labels", statements=("CREATE TABLE label (text TEXT) STRICT",))
    BROKEN = Migration(
        number=2,
        name="broken",
        statements=("CREATE TABLE label (text TEXT) STRICT", "CREATE TABLE entry (a)"),
    )

    def test_are_numbered_without_a_gap(self) -> None:
        assert [step.number for step in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))

    def test_a_step_and_its_record_come_together(self, path: Path) -> None:
        Store.open(path, create=True, program="0.1.0").close()
        with raw(path) as connection:
            taken = migrate(connection, program="0.2.0", migrations=(*MIGRATIONS, self.SECOND))
            again = migrate(connection, program="0.3.0", migrations=(*MIGRATIONS, self.SECOND))
            steps = connection.execute("SELECT * FROM step").fetchall()
        assert taken == (self.SECOND,)
        assert again == ()
        assert steps == [(1, "entries and photos", "0.1.0"), (2, "labels", "0.2.0")]

    @pytest.mark.usefixtures("store")
    def test_a_step_that_fails_leaves_the_file_as_it_was(self, path: Path) -> None:
        with raw(path) as connection:
            before = schema_of(connection)
            with pytest.raises(sqlite3.Error):
                migrate(connection, program="0.2.0", migrations=(*MIGRATIONS, self.BROKEN))
            assert schema_of(connection) == before
            assert connection.execute("PRAGMA user_version").fetchone() == (1,)
        with Store.open(path) as again:
            assert again.check() == ()

    def test_an_older_log_is_brought_up_and_keeps_its_entries(
        self, store: Store, path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        lines = list(store.events())
        store.close()
        monkeypatch.setattr(opening, "MIGRATIONS", (*MIGRATIONS, self.SECOND))
        with Store.open(path) as newer:
            assert newer.rows("PRAGMA user_version") == [(2,)]
            assert list(newer.events()) == lines
        monkeypatch.undo()
        with pytest.raises(NewerLog):
            Store.open(path)


class TestBackup:
    def test_a_backup_put_in_the_logs_place_holdseverything(self, store: Store, tmp_path: Path) -> None:
        put(store, 2, SHOWN, photo=PICTURE)
        kept = list(store.events())
        where = store.backup(tmp_path / "backup.log")
        put(store, 3, Note(text="after the backup"))
        with Store.open(where) as restored:
            assert list(restored.events()) == kept
            assert restored.photo(SHOWN.sha256) == PICTURE
            assert restored.check() == ()
            put(restored, 3, Note(text="life goes on"))
        assert sorted(file.name for file in tmp_path.iterdir()) == ["backup.log", "bench.log"]

    def test_what_is_there_stays(self, store: Store, tmp_path: Path) -> None:
        (tmp_path / "there").write_text("mine")
        (tmp_path / "link").symlink_to(tmp_path / "there")
        for name in ("there", "link", "bench.log", "."):
            with pytest.raises(FileUnwritable, match="is there already and stays as it is"):
                store.backup(tmp_path / name)
        assert (tmp_path / "there").read_text() == "mine"
        assert len(list(tmp_path.iterdir())) == 3

    def test_a_missing_folder_is_said(self, store: Store, tmp_path: Path) -> None:
        with pytest.raises(FileUnwritable, match="check that the folder is there"):
            store.backup(tmp_path / "no" / "backup.log")

    def test_where_there_are_no_links_the_copy_still_gets_its_name(
        self, store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def no_links(*_: object) -> None:
            raise PermissionError(1, "Operation not permitted")

        monkeypatch.setattr(os, "link", no_links)
        with Store.open(store.backup(tmp_path / "card.log")) as copy:
            assert copy.head() == store.head()
        with pytest.raises(FileUnwritable, match="is there already"):
            store.backup(tmp_path / "card.log")
        assert sorted(file.name for file in tmp_path.iterdir()) == ["bench.log", "card.log"]
