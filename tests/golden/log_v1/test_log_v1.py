"""Regression: a log written by the first version is read, continued and exported by today's code."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from rollwright.bench.check import Level
from rollwright.bench.codec import body_of
from rollwright.bench.events import EVENTS, Note, Photo, ReadingTaken
from rollwright.bench.exchange import Imported, export_lines, import_lines
from rollwright.bench.store import Store
from rollwright.setup.reading_keys import ReadingKind

from .make_log import EVENTS_OF_PLOVER, HERE, PICTURE, make, time_of

FROZEN = {
    "bench.log": "17eb1d7b739486748e9d4e8bbdfeecc4617eed789a01f93fd4f825345c2ea703",
    "bench.jsonl": "179967e79cea8a351aa5408a19fdc59dda0e532db3d7aa2a1ce3fb11e503f961",
}
COUNT = len(EVENTS_OF_PLOVER)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    # A copy, because opening may bring a log up to a newer schema.
    return Path(shutil.copy(HERE / "bench.log", tmp_path / "bench.log"))


def _lines() -> list[str]:
    return (HERE / "bench.jsonl").read_text(encoding="utf-8").split("\n")[:-1]


@pytest.mark.parametrize("name", FROZEN)
def test_the_files_are_those_of_the_first_version(name: str) -> None:
    assert hashlib.sha256((HERE / name).read_bytes()).hexdigest() == FROZEN[name]


def test_the_log_starts_at_the_first_schema(path: Path) -> None:
    # Otherwise the tests below would show nothing about older logs.
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("PRAGMA user_version").fetchone() == (1,)
        assert raw.execute("SELECT number, name FROM step").fetchall() == [(1, "entries and photos")]


def test_every_kind_of_event_and_reading_is_in_it() -> None:
    first = {event.kind for event in EVENTS_OF_PLOVER}
    assert first <= set(EVENTS)
    assert {event.reading for event in EVENTS_OF_PLOVER if isinstance(event, ReadingTaken)} <= set(
        ReadingKind
    )
    assert len(first) == 17


def test_every_entry_means_what_it_meant(path: Path) -> None:
    with Store.open(path) as store:
        found = list(store.events("PLOVER-1"))
        assert [entry.event for entry in found] == list(EVENTS_OF_PLOVER)
        assert [entry.time for entry in found] == [time_of(number) for number in range(1, COUNT + 1)]
        assert {entry.time.utcoffset() for entry in found} == {time_of(1).utcoffset()}
        assert [entry.seq for entry in found if entry.clock_back] == [10]
        assert {(entry.author, entry.program) for entry in found} == {("Åse", "0.1.0")}
        (photo,) = [entry.event for entry in found if isinstance(entry.event, Photo)]
        assert store.photo(photo.sha256) == PICTURE


def test_it_is_sound_and_can_be_continued(path: Path) -> None:
    with Store.open(path) as store:
        (finding,) = store.check()
        assert (finding.level, finding.seq) == (Level.NOTE, 10)
        answer = store.append(
            Note(text="years later"), event_id="f" * 32, car="PLOVER-1", time=time_of(900), author="Åse"
        )
        assert answer.seq == COUNT + 1
        assert len(store.check()) == 1


def test_the_export_is_the_same_line_for_line(path: Path) -> None:
    with Store.open(path) as store:
        assert list(export_lines(store)) == _lines()


def test_the_exported_lines_are_read_and_written_again_unchanged(path: Path, tmp_path: Path) -> None:
    with Store.open(tmp_path / "new.log", create=True) as new, Store.open(path) as old:
        assert import_lines(new, _lines()) == Imported(added=COUNT, known=0)
        assert list(export_lines(new)) == _lines()
        assert list(new.events()) == list(old.events())
        assert import_lines(old, _lines()) == Imported(added=0, known=COUNT)


def test_the_chain_holds_by_the_written_recipe_alone() -> None:
    previous = "0" * 64
    for line in _lines()[1:-1]:
        opened, _, tail = line.rpartition(',"hash":"')
        if not opened:
            continue
        assert json.loads(line)["previous"] == previous
        previous = hashlib.sha256(f"{opened}}}".encode()).hexdigest()
        assert tail == previous + '"}'
    assert json.loads(_lines()[-1]) == {"entries": COUNT, "head": previous}


def test_todays_program_still_writes_version_one_as_it_was(tmp_path: Path) -> None:
    # While every kind is at its first version, the same events give the same lines.
    if {kind.version for kind in EVENTS.values()} != {1}:
        written = [json.loads(line)["body"] for line in _lines() if '"body"' in line]
        still = [body for body in written if EVENTS[body["event"]].version == 1]
        today = [json.loads(body_of(event)) for event in EVENTS_OF_PLOVER if event.version == 1]
        assert today == still
        return
    make(tmp_path)
    assert (tmp_path / "bench.jsonl").read_bytes() == (HERE / "bench.jsonl").read_bytes()
