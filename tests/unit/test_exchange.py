"""A log as text: out and in again without a difference, all or nothing, and never a bad line taken in."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from rollwright.bench.events import Bend, Note, Withdrawn
from rollwright.bench.exchange import Imported, export_lines, import_lines, rescued_lines
from rollwright.bench.refusals import EntryRefused, LogDamaged, NewerLog, NotALog
from rollwright.bench.store import Store
from rollwright.car.model import Station
from rollwright.errors import FileUnreadable, InputError

from .log_bench import PICTURE, SHOWN, START, log_id, path, put, store

__all__ = ["path", "store"]


@pytest.fixture
def lines(store: Store) -> list[str]:
    put(store, 2, SHOWN, photo=PICTURE)
    put(store, 3, Note(text="Ærlig\nto linjer"))
    put(store, 4, Bend(station=Station.FRONT_LEFT, asked=0.01), device="tablet")
    put(store, 5, Withdrawn(entry=log_id(4), reason="the other car"))
    put(store, 6, SHOWN)
    return list(export_lines(store))


@pytest.fixture
def other(tmp_path: Path) -> Store:
    return Store.open(tmp_path / "other.log", create=True, program="0.9.9")


class TestExport:
    def test_names_its_format_first_and_its_end_last(self, lines: list[str], store: Store) -> None:
        number, head = store.head()
        assert lines[0] == '{"format":"rollwright-log","version":1}'
        assert lines[-1] == f'{{"entries":{number},"head":"{head}"}}'
        assert len(lines) == 1 + 6 + 1 + 1

    def test_an_empty_log_has_two_lines(self, other: Store) -> None:
        assert list(export_lines(other)) == [
            '{"format":"rollwright-log","version":1}',
            f'{{"entries":0,"head":"{"0" * 64}"}}',
        ]

    def test_a_photo_stands_once_before_its_first_entry(self, lines: list[str]) -> None:
        photos = [number for number, line in enumerate(lines) if "bytes" in json.loads(line)]
        assert photos == [2]
        assert base64.b64decode(json.loads(lines[2])["bytes"]) == PICTURE
        assert json.loads(lines[3])["body"]["event"] == "photo"

    def test_the_chain_can_be_checked_with_nothing_but_sha256(self, lines: list[str]) -> None:
        previous = "0" * 64
        for line in lines[1:-1]:
            if line.startswith('{"bytes"'):
                continue
            # The recipe of the page on the log's format.
            opened, hash_ = line[: -len(',"hash":""}') - 64] + "}", line[-66:-2]
            assert hashlib.sha256(opened.encode()).hexdigest() == hash_
            assert json.loads(opened)["previous"] == previous
            previous = hash_
        assert json.loads(lines[-1])["head"] == previous


class TestImport:
    def test_into_an_empty_log_nothing_differs(self, lines: list[str], store: Store, other: Store) -> None:
        assert import_lines(other, lines) == Imported(added=6, known=0)
        assert list(export_lines(other)) == lines
        assert list(other.events()) == list(store.events())
        assert other.photo(SHOWN.sha256) == PICTURE
        assert other.check() == ()

    def test_ten_times_adds_nothing(self, lines: list[str], store: Store, other: Store) -> None:
        import_lines(other, lines)
        for _ in range(10):
            assert import_lines(other, lines) == Imported(added=0, known=6)
            assert import_lines(store, lines) == Imported(added=0, known=6)
        assert list(export_lines(other)) == list(export_lines(store)) == lines

    def test_line_ends_and_a_mark_at_the_beginning_do_not_matter(
        self, lines: list[str], other: Store
    ) -> None:
        import_lines(other, ["\ufeff" + lines[0] + "\r\n", *(line + "\r\n" for line in lines[1:])])
        assert list(export_lines(other)) == lines

    def test_what_was_entered_since_is_added(self, lines: list[str], store: Store, other: Store) -> None:
        import_lines(other, lines)
        put(store, 7, Note(text="since"))
        assert import_lines(other, export_lines(store)) == Imported(added=1, known=6)
        assert list(export_lines(other)) == list(export_lines(store))

    def test_a_log_that_went_on_takes_in_the_others_entries_behind_its_own(
        self, lines: list[str], store: Store, other: Store
    ) -> None:
        import_lines(other, lines)
        put(other, 7, Note(text="at the track"), device="telephone")
        put(other, 8, START, "HERON", device="telephone")
        put(store, 9, Note(text="at the bench"))
        done = import_lines(store, export_lines(other))
        assert done == Imported(added=2, known=6, mixed=("LARK",))
        assert [entry.id for entry in store.events()] == [log_id(n) for n in (1, 2, 3, 4, 5, 6, 9, 7, 8)]
        assert [entry.program for entry in store.events(after=7)] == ["0.9.9", "0.9.9"]
        assert store.check()[0].seq == 8  # the telephone's entries are older than the bench's last one
        assert import_lines(other, export_lines(store)) == Imported(added=1, known=8, mixed=("LARK",))
        assert {entry.id for entry in other.events()} == {entry.id for entry in store.events()}

    def test_the_same_id_with_something_else_is_refused(self, lines: list[str], other: Store) -> None:
        put(other, 71, START, "HERON")
        put(other, 2, Note(text="mine"), "HERON")
        before = list(export_lines(other))
        with pytest.raises(EntryRefused, match=r"entry 2: its id stands for entry 2 of .*other.log"):
            import_lines(other, lines)
        assert list(export_lines(other)) == before

    def test_two_cars_of_one_id_are_refused_whole(self, lines: list[str], other: Store) -> None:
        put(other, 71, START, "HERON")
        put(other, 72, START)
        before = list(export_lines(other))
        with pytest.raises(EntryRefused, match="entry 1, car: car LARK is in this log already"):
            import_lines(other, lines)
        assert list(export_lines(other)) == before
        assert other.rows("SELECT count(*) FROM photo") == [(0,)]

    def test_a_failure_at_the_last_entry_leaves_nothing_behind(
        self, lines: list[str], other: Store, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real, calls = other.add, []

        def fails_at_the_end(*args: object, **more: object) -> object:
            calls.append(args)
            if len(calls) == 6:
                raise KeyboardInterrupt
            return real(*args, **more)  # type: ignore[arg-type]

        monkeypatch.setattr(other, "add", fails_at_the_end)
        with pytest.raises(KeyboardInterrupt):
            import_lines(other, lines)
        assert len(calls) == 6
        assert list(other.events()) == []
        assert other.rows("SELECT count(*) FROM photo") == [(0,)]


def _without(number: int) -> Callable[[list[str]], list[str]]:
    return lambda lines: lines[:number] + lines[number + 1 :]


def _changed(number: int, old: str, new: str) -> Callable[[list[str]], list[str]]:
    def change(lines: list[str]) -> list[str]:
        assert old in lines[number]
        return [*lines[:number], lines[number].replace(old, new), *lines[number + 1 :]]

    return change


def _swapped(lines: list[str]) -> list[str]:
    return [*lines[:4], lines[5], lines[4], *lines[6:]]


def _twice(lines: list[str]) -> list[str]:
    return [*lines[:5], lines[4], *lines[5:]]


BAD: list[tuple[str, Callable[[list[str]], list[str]], type[InputError], str]] = [
    ("empty", lambda _: [], NotALog, "log.jsonl: the file is empty"),
    ("blank", lambda _: [""], NotALog, "this is not an exported rollwright log"),
    ("a car file", lambda _: ["format = 1", 'name = "Lark"'], NotALog, "not an exported rollwright log"),
    ("other JSON", lambda _: ['{"format":"other","version":1}'], NotALog, "not an exported rollwright log"),
    ("no version", lambda _: ['{"format":"rollwright-log"}'], NotALog, "not an exported rollwright log"),
    ("newer", _changed(0, '"version":1', '"version":2'), NewerLog, "format 2; this one reads up to 1"),
    ("version zero", _changed(0, '"version":1', '"version":0'), LogDamaged, "line 1: the first line"),
    ("no first line", _without(0), NotALog, "not an exported rollwright log"),
    ("no last line", _without(8), LogDamaged, "line 9: the last line is missing"),
    ("cut in a line", lambda lines: [*lines[:5], lines[5][:50]], LogDamaged, "line 6: "),
    ("no first entry", _without(1), LogDamaged, "line 3: the entry does not follow"),
    ("no middle entry", _without(4), LogDamaged, "line 5: the entry does not follow"),
    ("no last entry", _without(7), LogDamaged, "line 8: this names 6 entries"),
    ("no photo", _without(2), LogDamaged, "line 3: the photo and its entry do not belong together"),
    ("swapped", _swapped, LogDamaged, "line 5: the entry does not follow"),
    ("twice", _twice, LogDamaged, "line 6: the entry does not follow"),
    ("photo of others", lambda lines: [*lines[:3], lines[2], *lines[3:]], LogDamaged, "line 4: the photo"),
    ("photo at the end", lambda lines: [*lines[:2], *lines[3:-1], lines[2], lines[-1]], LogDamaged, "line 3"),
    ("author", _changed(4, '"author":"Ada"', '"author":"Eve"'), LogDamaged, "line 5: the entry is not as it"),
    ("text", _changed(4, "linjer", "linier"), LogDamaged, "line 5: the entry is not as it was written"),
    ("amount", _changed(5, "0.01", "0.02"), LogDamaged, "line 6: the entry is not as it was written"),
    ("number's form", _changed(5, "0.01", "1e-2"), LogDamaged, "line 6: "),
    ("spaces", _changed(5, '"car":', '"car": '), LogDamaged, "line 6: "),
    ("seq of yes", _changed(1, '"seq":1', '"seq":true'), LogDamaged, "line 2: a field is of the wrong type"),
    ("author of none", _changed(1, '"author":"Ada"', '"author":null'), LogDamaged, "line 2: a field is of"),
    ("key too many", _changed(1, '"author":', '"aa":1,"author":'), LogDamaged, "line 2: this is neither"),
    ("blank line", lambda lines: [*lines[:3], "", *lines[3:]], LogDamaged, "line 4: '' is not as"),
    ("a list", lambda lines: [*lines[:3], "[1]", *lines[3:]], LogDamaged, "line 4: '[1]' is not as"),
    ("base64", _changed(2, '{"bytes":"', '{"bytes":"!'), LogDamaged, "line 3: the photo's bytes are not in"),
    ("other bytes", _changed(2, '{"bytes":"', '{"bytes":"AAAA'), LogDamaged, "line 3: the photo's bytes"),
    ("bytes of none", _changed(2, '"photo":"', '"photo":"x'), LogDamaged, "line 3: the photo's bytes"),
    ("more behind", lambda lines: [*lines, lines[1]], LogDamaged, "line 10: something stands after"),
    ("head", _changed(-1, '"entries":6', '"entries":7'), LogDamaged, "line 9: this names 7 entries"),
    ("endless line", lambda lines: [lines[0], "x" * 12_000_001], LogDamaged, "line 2: the line has"),
]


class TestBadLines:
    @pytest.mark.parametrize(("spoil", "reason", "expected"), [b[1:] for b in BAD], ids=[b[0] for b in BAD])
    def test_one_line_says_where_and_nothing_is_added(
        self,
        lines: list[str],
        other: Store,
        spoil: Callable[[list[str]], list[str]],
        reason: type[InputError],
        expected: str,
    ) -> None:
        with pytest.raises(reason) as caught:
            import_lines(other, spoil(lines))
        line = str(caught.value)
        assert line.startswith("log.jsonl: ")
        assert expected in line
        assert line.isprintable()
        assert other.head()[0] == 0
        assert other.rows("SELECT count(*) FROM photo") == [(0,)]

    def test_bytes_that_are_no_text_are_no_log(self, tmp_path: Path, other: Store) -> None:
        (tmp_path / "log.jsonl").write_bytes(b"\xff\xfe\x00\x80")
        with (tmp_path / "log.jsonl").open(encoding="utf-8") as file, pytest.raises(NotALog, match="UTF-8"):
            import_lines(other, file)

    def test_an_entry_that_could_not_have_been_written_is_named(
        self, lines: list[str], store: Store, other: Store
    ) -> None:
        # Sound hashes around nonsense: someone forged a whole line.
        first = store.entry(log_id(1))
        assert first
        for body, expected in (
            ('{"event":"laser_scan","version":1}', "entry 1: an event of kind 'laser_scan' is not known"),
            ('{"event":"note","text":"","version":1}', "entry 1, note.text: the text is empty"),
            ('{"event":"note","note":1,"text":"a","version":1}', "entry 1, note: 'note' is not a field"),
        ):
            forged = replace(first, body=body).sealed(seq=1, previous="0" * 64)
            end = f'{{"entries":1,"head":"{forged.hash}"}}'
            with pytest.raises(InputError) as caught:
                import_lines(other, [lines[0], forged.line, end])
            assert expected in str(caught.value)
        assert other.head()[0] == 0


class TestRescue:
    def test_a_sound_log_is_rescued_whole(self, lines: list[str], path: Path) -> None:
        with Store.open(path, rescue=True) as damaged:
            assert list(rescued_lines(damaged)) == lines

    def test_what_stands_before_the_damage_makes_a_sound_log(
        self, lines: list[str], store: Store, path: Path, other: Store
    ) -> None:
        store.close()
        whole = path.read_bytes()
        # One byte of the third entry's text.
        place = whole.index("Ærlig".encode()) + 3
        path.write_bytes(whole[:place] + b"X" + whole[place + 1 :])
        with Store.open(path, rescue=True) as damaged:
            saved = list(rescued_lines(damaged))
            with pytest.raises(InputError):
                list(export_lines(damaged))
        assert saved[:-1] == lines[:4]
        assert import_lines(other, saved).added == 2

    def test_a_log_opened_to_be_rescued_cannot_be_written(self, store: Store, path: Path) -> None:
        with Store.open(path, rescue=True) as damaged, pytest.raises(InputError, match="may only be read"):
            put(damaged, 2, Note(text="a"))
        assert store.head()[0] == 1

    def test_another_file_is_not_rescued(self, tmp_path: Path) -> None:
        (tmp_path / "notes.txt").write_text("Lark stands high at the front.\n" * 100)
        with pytest.raises(FileUnreadable):
            Store.open(tmp_path / "notes.txt", rescue=True)
