"""The log's store: what goes in comes out, in order, and nothing else gets in."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from rollwright.bench import reader
from rollwright.bench.check import Level
from rollwright.bench.codec import GENESIS, Recorded
from rollwright.bench.events import (
    Bend,
    Event,
    Note,
    Withdrawn,
)
from rollwright.bench.migrations import APPLICATION_ID, MIGRATIONS
from rollwright.bench.refusals import EntryRefused
from rollwright.bench.store import Store
from rollwright.car.model import Station
from rollwright.errors import InputError, OutOfRange

from .log_bench import NOON, PICTURE, SHOWN, START, log_id, path, put, raw, store

__all__ = ["path", "store"]


class TestEntering:
    def test_what_was_entered_is_read_back_in_order(self, store: Store, path: Path) -> None:
        events = [Note(text=f"note {number}") for number in range(2, 7)]
        for number, event in enumerate(events, start=2):
            put(store, number, event, device="tablet")
        with Store.open(path) as again:
            found = list(again.events())
        assert [entry.seq for entry in found] == [1, 2, 3, 4, 5, 6]
        assert [entry.event for entry in found] == [START, *events]
        assert found[1].id == log_id(2)
        assert found[1].time == NOON + timedelta(seconds=2)
        assert (found[1].author, found[1].device, found[1].program) == ("Ada", "tablet", "0.1.0")

    def test_the_answer_is_what_is_read_later(self, store: Store) -> None:
        answer = put(store, 2, Note(text="a"))
        assert list(store.events(after=1)) == [answer]

    def test_each_car_has_its_own_entries(self, store: Store) -> None:
        put(store, 2, START, "HERON")
        put(store, 3, Note(text="heron's"), "HERON")
        put(store, 4, Note(text="lark's"))
        assert store.cars() == ("LARK", "HERON")
        assert [entry.seq for entry in store.events("HERON")] == [2, 3]
        assert [entry.seq for entry in store.events("LARK", after=1)] == [4]
        assert list(store.events("BITTERN")) == []

    def test_more_entries_than_are_fetched_at_once(
        self, store: Store, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        for number in range(2, 40):
            put(store, number, Note(text=str(number)))
        monkeypatch.setattr(reader, "_AT_ONCE", 7)
        assert [entry.seq for entry in store.events()] == list(range(1, 40))

    def test_a_reader_that_dawdles_keeps_no_writer_waiting(self, store: Store, path: Path) -> None:
        reading = store.events()
        next(reading)
        with Store.open(path) as other:
            other._connection.execute("PRAGMA busy_timeout = 0")
            put(other, 2, Note(text="meanwhile"))

    def test_the_head_names_the_last_entry(self, store: Store, tmp_path: Path) -> None:
        answer = put(store, 2, Note(text="a"))
        assert store.head() == (2, answer.hash)
        with Store.open(tmp_path / "new.log", create=True) as empty:
            assert empty.head() == (0, GENESIS)


class TestTheSameIdAgain:
    def test_the_first_entry_is_returned(self, store: Store) -> None:
        first = put(store, 2, Note(text="a"))
        again = put(store, 2, Note(text="a"), time=NOON + timedelta(days=1), author="Ben")
        assert again == first
        assert store.head()[0] == 2

    @pytest.mark.parametrize(("event", "car"), [(Note(text="b"), "LARK"), (Note(text="a"), "HERON")])
    def test_with_something_else_it_is_refused(self, store: Store, event: Event, car: str) -> None:
        put(store, 2, START, "HERON")
        put(store, 3, Note(text="a"))
        with pytest.raises(EntryRefused, match="already stands for entry 3, which says something else"):
            put(store, 3, event, car)
        assert store.head()[0] == 3

    def test_twenty_at_once_make_one_entry(self, store: Store, path: Path) -> None:
        def replay(_: int) -> Recorded:
            with Store.open(path) as other:
                return put(other, 2, Note(text="sent again and again"))

        with ThreadPoolExecutor(20) as pool:
            answers = list(pool.map(replay, range(20)))
        assert len({answer.hash for answer in answers}) == 1
        assert store.head()[0] == 2


class TestCars:
    def test_a_slip_of_the_id_starts_no_new_car(self, store: Store) -> None:
        with pytest.raises(EntryRefused, match=r'car: no car LARC is in this log; did you mean "LARK"\?'):
            put(store, 2, Note(text="a"), "LARC")
        assert store.cars() == ("LARK",)

    def test_nothing_comes_before_the_first_car(self, tmp_path: Path) -> None:
        with (
            Store.open(tmp_path / "new.log", create=True) as empty,
            pytest.raises(EntryRefused, match="no car LARK is in this log; start the car first"),
        ):
            put(empty, 1, Note(text="a"))

    @pytest.mark.parametrize("car", ["LARK", "lark"])
    def test_a_car_is_started_once(self, store: Store, car: str) -> None:
        with pytest.raises(EntryRefused, match="car LARK is in this log already; choose another id"):
            put(store, 2, START, car)

    def test_a_withdrawn_start_makes_room_for_another(self, store: Store) -> None:
        put(store, 2, Withdrawn(entry=log_id(1), reason="wrong file"))
        put(store, 3, START)
        assert [entry.event.kind for entry in store.events()] == ["car_started", "withdrawn", "car_started"]
        assert store.check() == ()


class TestWithdrawals:
    def test_an_earlier_entry_of_the_car_stays_and_is_named(self, store: Store) -> None:
        put(store, 2, Bend(station=Station.FRONT_LEFT, asked=0.01))
        put(store, 3, Withdrawn(entry=log_id(2), reason="was the other car"))
        assert [entry.seq for entry in store.events()] == [1, 2, 3]
        assert store.check() == ()

    @pytest.mark.parametrize(
        ("entry", "problem"),
        [
            (99, "there is no entry of this id"),
            (5, "there is no entry of this id"),
            (3, "this entry belongs to car HERON"),
            (4, "a withdrawal cannot be withdrawn"),
        ],
    )
    def test_anything_else_is_refused(self, store: Store, entry: int, problem: str) -> None:
        put(store, 2, START, "HERON")
        put(store, 3, Note(text="a"), "HERON")
        put(store, 4, Withdrawn(entry=log_id(1), reason="wrong"))
        with pytest.raises(EntryRefused, match=f"withdrawn.entry: {problem}"):
            put(store, 5, Withdrawn(entry=log_id(entry), reason="x"))
        assert store.head()[0] == 4


class TestPhotos:
    def test_the_bytes_are_kept_once(self, store: Store) -> None:
        put(store, 2, SHOWN, photo=PICTURE)
        put(store, 3, SHOWN, photo=PICTURE)
        put(store, 4, SHOWN)
        assert store.photo(SHOWN.sha256) == PICTURE
        assert store.rows("SELECT count(*) FROM photo") == [(1,)]
        assert store.check() == ()

    def test_without_bytes_it_is_refused(self, store: Store) -> None:
        with pytest.raises(EntryRefused, match="the photo's bytes are missing"):
            put(store, 2, SHOWN)

    @pytest.mark.parametrize(
        ("event", "data", "problem"),
        [
            (SHOWN, b"others", "the bytes are not those of this hash"),
            (SHOWN, b"", "the photo has 0 bytes"),
            (SHOWN, bytes(8_000_001), "the photo has 8000001 bytes"),
            (Note(text="a"), b"x", "bytes stand beside an entry that is no photo"),
        ],
    )
    def test_wrong_bytes_are_refused(self, store: Store, event: Event, data: bytes, problem: str) -> None:
        with pytest.raises(InputError, match=problem):
            put(store, 2, event, photo=data)
        assert store.rows("SELECT count(*) FROM photo") == [(0,)]

    def test_a_photo_that_is_not_there_is_not_made_up(self, store: Store) -> None:
        with pytest.raises(OutOfRange, match="there is no photo of this hash"):
            store.photo("ab" * 32)


class TestTime:
    def test_a_clock_that_jumps_back_is_noted_and_the_order_stays(self, store: Store) -> None:
        put(store, 2, Note(text="a"), time=NOON - timedelta(hours=1))
        put(store, 3, Note(text="b"), time=NOON + timedelta(hours=1))
        answer = put(store, 4, Note(text="c"), time=NOON)
        assert answer.clock_back
        assert [entry.clock_back for entry in store.events()] == [False, True, False, True]
        assert [entry.clock_back for entry in store.events("LARK", after=1)] == [True, False, True]
        (finding,) = store.check()
        assert finding.level is Level.NOTE
        assert finding.seq == 2
        assert "stood back at 2 entries" in finding.problem

    def test_another_zone_is_no_jump(self, store: Store) -> None:
        east = (NOON + timedelta(minutes=1)).astimezone(datetime.strptime("+1100", "%z").tzinfo)
        west = (NOON + timedelta(minutes=2)).astimezone(datetime.strptime("-0930", "%z").tzinfo)
        put(store, 2, Note(text="a"), time=east)
        assert not put(store, 3, Note(text="b"), time=west).clock_back
        assert store.check() == ()


class TestSettings:
    def test_every_connection_is_set_for_safety(self, store: Store) -> None:
        for pragma, value in {
            "journal_mode": "delete",
            "synchronous": 3,
            "foreign_keys": 1,
            "recursive_triggers": 1,
            "trusted_schema": 0,
            "busy_timeout": 5000,
            "fullfsync": 1,
            "cell_size_check": 1,
            "application_id": APPLICATION_ID,
            "user_version": MIGRATIONS[-1].number,
        }.items():
            assert store.rows(f"PRAGMA {pragma}") == [(value,)], pragma

    def test_every_table_is_strict(self, store: Store) -> None:
        tables = store.rows("SELECT name, strict FROM pragma_table_list WHERE type = 'table'")
        assert {name: strict for name, strict in tables if not name.startswith("sqlite_")} == {
            "entry": 1,
            "photo": 1,
            "step": 1,
        }

    def test_one_file_and_nothing_beside_it(self, store: Store, path: Path) -> None:
        store.close()
        assert [file.name for file in path.parent.iterdir()] == [path.name]

    def test_a_log_that_was_switched_to_a_write_ahead_log_is_switched_back(self, path: Path) -> None:
        Store.open(path, create=True).close()
        with raw(path) as other:
            other.execute("PRAGMA journal_mode = WAL")
        with Store.open(path) as store:
            assert store.rows("PRAGMA journal_mode") == [("delete",)]
