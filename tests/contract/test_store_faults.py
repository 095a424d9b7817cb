"""What the log promises when a process dies, the disk fails, others write too, or the file is damaged.

Process death is tested here; the loss of power is not, for want of a rig that pulls the plug.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest

from rollwright.bench import opening
from rollwright.bench.codec import Recorded
from rollwright.bench.events import Note, Photo
from rollwright.bench.exchange import export_lines, import_lines, rescued_lines
from rollwright.bench.refusals import LogBusy
from rollwright.bench.store import Store
from rollwright.errors import FileUnreadable, FileUnwritable, InputError

from . import log_child
from .log_child import START, begin, put, said

KILLS = 200
KILLS_OF_ONE_LOG = 20
MUTATIONS = 600


def _id(number: int) -> str:
    return f"{number:032x}"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Path of a log of six entries, closed."""
    with Store.open(tmp_path / "bench.log", create=True) as store:
        put(store, _id(1), START)
        for number in range(2, 6):
            put(store, _id(number), Note(text=f"note {number} " * 50))
        picture = bytes(range(256)) * 40
        shown = hashlib.sha256(picture).hexdigest()
        put(store, _id(6), Photo(sha256=shown, media_type="image/png"), photo=picture)
    return tmp_path / "bench.log"


def _is_sound(path: Path, acknowledged: list[str], *, new: int) -> None:
    """The six checks after a death: opens, whole, nothing lost, no gap, chain, and a new write works."""
    with Store.open(path) as store:
        assert store.rows("PRAGMA integrity_check") == [("ok",)]
        found = list(store.events())
        assert set(acknowledged) <= {entry.id for entry in found}
        assert [entry.seq for entry in found] == list(range(1, len(found) + 1))
        assert [f for f in store.check() if f.level.value == "wrong"] == []
        put(store, _id(new), Note(text="life goes on") if store.cars() else START)


class TestDeath:
    @pytest.mark.skipif(os.name != "posix", reason="kills by signal")
    def test_no_acknowledged_entry_is_lost_by_two_hundred_kills(self, tmp_path: Path) -> None:
        chance = random.Random(1)  # noqa: S311 - when to kill is no secret
        acknowledged: dict[Path, list[str]] = {}
        for kill in range(KILLS):
            path = tmp_path / f"{kill // KILLS_OF_ONE_LOG}.log"
            known = acknowledged.setdefault(path, [])
            process, pipe = begin(log_child.write_until_killed, str(path), 1_000_000 * (kill + 1))
            known.append(pipe.recv_bytes().decode())
            time.sleep(chance.uniform(0.0, 0.015))
            process.kill()
            known += said(process, pipe)
            assert process.exitcode == -9
            _is_sound(path, known, new=kill)
            known.append(_id(kill))
        assert sum(map(len, acknowledged.values())) > 2 * KILLS

    @pytest.mark.skipif(os.name != "posix", reason="kills by signal")
    def test_a_death_at_any_step_of_making_writing_and_backing_up_leaves_sound_files(
        self, tmp_path: Path
    ) -> None:
        point, acknowledged = 0, [""]
        while acknowledged[-1:] != ["end"]:
            point += 1
            folder = tmp_path / str(point)
            folder.mkdir()
            acknowledged = said(*begin(log_child.work_until_point, str(folder), point))
            ids = [word for word in acknowledged if len(word) == 32]
            if ids or (folder / "bench.log").exists():
                _is_sound(folder / "bench.log", ids, new=99)
            if "backup" in acknowledged or (folder / "backup.log").exists():
                _is_sound(folder / "backup.log", [_id(1), _id(2)], new=99)
            # Whatever else lies there bears a name that no one takes for a log.
            others = {file.name for file in folder.iterdir()} - {"bench.log", "backup.log"}
            assert all(name.startswith(".") for name in others)
        assert acknowledged == [_id(1), _id(2), "backup", _id(3), "end"]
        assert point > 60


class TestNoRoom:
    def test_a_full_disk_is_said_and_nothing_is_half_recorded(self, path: Path) -> None:
        with Store.open(path) as store:
            before = list(store.events())
            (pages,) = store.rows("PRAGMA page_count")[0]
            store.rows(f"PRAGMA max_page_count = {pages}")
            trouble = ""
            for number in range(10, 40):
                try:
                    put(store, _id(number), Note(text="x" * 900))
                    before = list(store.events())
                except FileUnwritable as error:
                    trouble = str(error)
                    break
            assert "the disk is full; nothing was recorded; make room" in trouble
            assert list(store.events()) == before
            store.rows("PRAGMA max_page_count = 1000000")
            put(store, _id(99), Note(text="room again"))
            assert store.check() == ()

    @pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs a limit on the size of files")
    def test_a_write_that_the_system_refuses_loses_nothing(self, path: Path, tmp_path: Path) -> None:
        refused = recorded = backed_up = 0
        whole = path.read_bytes()
        for room in range(len(whole) - 4096, len(whole) + 40_000, 3_000):
            folder = tmp_path / str(room)
            folder.mkdir()
            (folder / "bench.log").write_bytes(whole)
            words = said(*begin(log_child.write_with_little_room, str(folder), room))
            assert len(words) == 31
            ids = [word for word in words if len(word) == 32]
            troubles = [word for word in words if word.startswith("refused")]
            assert all("nothing was recorded" in word for word in troubles)
            with Store.open(folder / "bench.log") as store:
                assert [entry.id for entry in store.events(after=6)] == ids
            _is_sound(folder / "bench.log", ids, new=99)
            assert (folder / "backup.log").exists() == (words[-1] == "backup")
            assert {file.name for file in folder.iterdir()} <= {"bench.log", "backup.log"}
            refused, recorded = refused + len(troubles), recorded + len(ids)
            backed_up += words[-1] == "backup"
        # The limits were chosen so that every outcome occurs.
        assert refused > 50
        assert recorded > 50
        assert backed_up > 3

    def test_a_disk_that_really_is_full(self, path: Path, tmp_path: Path) -> None:
        # A small disk of our own, seen by nobody else and gone with the process.
        script = f"""
set -e
mkdir {tmp_path}/disk
mount -t tmpfs -o size=160k tmpfs {tmp_path}/disk
cp {path} {tmp_path}/disk/bench.log
exec {sys.executable} - <<'END'
import sys
sys.path[:0] = {sys.path!r}
from pathlib import Path
from contract.log_child import put
from rollwright.bench.events import Note
from rollwright.bench.store import Store
from rollwright.errors import FileUnwritable
disk = Path("{tmp_path}/disk")
with Store.open(disk / "bench.log") as store:
    kept = []
    try:
        for number in range(10, 1000):
            kept.append(put(store, f"{{number:032x}}", Note(text="x" * 900)))
    except FileUnwritable as error:
        print(error)
    try:
        store.backup(disk / "backup.log")
    except FileUnwritable as error:
        print(error)
    assert [entry.id for entry in store.events(after=6)] == kept and len(kept) > 20
    assert store.check() == ()
    assert [file.name for file in disk.iterdir()] == ["bench.log"]
    print("sound")
END
"""
        done = subprocess.run(
            ["/usr/bin/env", "unshare", "--mount", "sh", "-c", script],
            capture_output=True,
            text=True,
            check=False,
        )
        if "unshare" in done.stderr or "mount" in done.stderr or done.returncode == 127:
            pytest.skip(f"no disk of our own can be had here: {done.stderr.strip()}")
        assert done.returncode == 0, done.stderr
        first, second, last = done.stdout.splitlines()
        assert "nothing was recorded" in first
        assert "nothing was recorded" in second
        assert last == "sound"


class TestNoRights:
    @pytest.fixture
    def folder(self, path: Path) -> Iterator[Path]:
        # Not under pytest's own folder, which nobody but its owner may enter.
        folder = Path(tempfile.mkdtemp())
        shutil.copy(path, folder / "bench.log")
        yield folder
        folder.chmod(0o755)
        shutil.rmtree(folder)

    @pytest.mark.skipif(os.name != "posix", reason="needs permissions")
    @pytest.mark.parametrize("mode", [0o444, 0o666])
    def test_a_log_that_may_only_be_read_is_read_and_the_rest_refused(self, folder: Path, mode: int) -> None:
        # As root the process takes on the rights of nobody, because root may write whatever the mode.
        (folder / "bench.log").chmod(mode)
        folder.chmod(0o555)
        read, written, backup, made = said(*begin(log_child.use_without_rights, str(folder)))
        assert read == "read 6 0"
        for line in (written, backup, made):
            assert "nothing was recorded; check" in line
            assert line.isprintable()
        assert [file.name for file in folder.iterdir()] == ["bench.log"]


class TestOthersWriting:
    @pytest.mark.parametrize("writers", [2, 3])
    def test_each_gets_all_its_entries_in_and_none_is_told_of_a_lock(
        self, tmp_path: Path, writers: int
    ) -> None:
        path = tmp_path / "bench.log"
        begun = [
            begin(log_child.write_many, str(path), f"CAR{writer}", 1_000 * (writer + 1), 200)
            for writer in range(writers)
        ]
        assert [said(*each) for each in begun] == [[]] * writers
        with Store.open(path) as store:
            assert store.head()[0] == 200 * writers
            for writer in range(writers):
                first = 1_000 * (writer + 1)
                assert [entry.id for entry in store.events(f"CAR{writer}")] == [
                    _id(number) for number in range(first, first + 200)
                ]
            assert [f for f in store.check() if f.level.value == "wrong"] == []

    @pytest.mark.parametrize("lock", ["IMMEDIATE", "EXCLUSIVE"])
    def test_a_lock_that_is_never_let_go_is_named(
        self, path: Path, lock: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(opening, "BUSY_SECONDS", 0.05)
        with Store.open(path) as store, closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute(f"BEGIN {lock}")
            with pytest.raises(LogBusy, match="another program has kept the log locked for 5 s; nothing was"):
                put(store, _id(9), Note(text="a"))
            if lock == "EXCLUSIVE":
                with pytest.raises(LogBusy, match="close the other program, or try again"):
                    list(store.events())
                with pytest.raises(LogBusy):
                    Store.open(path)
            else:
                assert len(list(store.events())) == 6
            other.execute("ROLLBACK")
            put(store, _id(9), Note(text="a"))
            assert store.head()[0] == 7

    def test_a_short_lock_is_waited_for(self, path: Path) -> None:
        from threading import Timer  # noqa: PLC0415

        other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        with Store.open(path) as store, closing(other):
            other.execute("BEGIN EXCLUSIVE")
            timer = Timer(0.2, other.execute, ["ROLLBACK"])
            timer.start()
            put(store, _id(9), Note(text="a"))
            timer.join()
        assert store.name


def _flip(data: bytearray, chance: random.Random) -> None:
    for _ in range(chance.choice([1, 1, 1, 2, 8, 50])):
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)


def _flip_early(data: bytearray, chance: random.Random) -> None:
    data[chance.randrange(200)] ^= 1 << chance.randrange(8)


def _cut(data: bytearray, chance: random.Random) -> None:
    del data[chance.randrange(len(data)) :]


def _cut_at_a_page(data: bytearray, chance: random.Random) -> None:
    del data[4096 * chance.randrange(len(data) // 4096) :]


def _blank(data: bytearray, chance: random.Random) -> None:
    start = chance.randrange(len(data))
    length = chance.choice([1, 16, 512, 4096, 20_000])
    data[start : start + length] = bytes(len(data[start : start + length]))


def _scramble(data: bytearray, chance: random.Random) -> None:
    start = chance.randrange(len(data))
    length = len(data[start : start + chance.choice([4, 100, 4096])])
    data[start : start + length] = chance.randbytes(length)


def _swap_pages(data: bytearray, chance: random.Random) -> None:
    a, b = (4096 * chance.randrange(len(data) // 4096) for _ in range(2))
    data[a : a + 4096], data[b : b + 4096] = data[b : b + 4096], data[a : a + 4096]


def _lengthen(data: bytearray, chance: random.Random) -> None:
    data += chance.randbytes(chance.choice([1, 512, 4096]))


DAMAGES: list[Callable[[bytearray, random.Random], None]] = [
    _flip,
    _flip_early,
    _cut,
    _cut_at_a_page,
    _blank,
    _scramble,
    _swap_pages,
    _lengthen,
]


class TestDamage:
    @pytest.mark.parametrize("damage", DAMAGES, ids=[damage.__name__ for damage in DAMAGES])
    def test_is_told_in_one_line_and_never_taken_for_the_truth(
        self, path: Path, tmp_path: Path, damage: Callable[[bytearray, random.Random], None]
    ) -> None:
        with Store.open(path) as store:
            truth = list(store.events())
            lines = list(export_lines(store))
        whole = path.read_bytes()
        chance = random.Random(damage.__name__)  # noqa: S311 - the same damage every time
        told = 0
        for number in range(MUTATIONS // len(DAMAGES)):
            data = bytearray(whole)
            damage(data, chance)
            hurt = tmp_path / f"{number}.log"
            hurt.write_bytes(data)
            troubles = [_trouble(act, hurt, truth, lines) for act in (_read_all, _export, _rescue, _append)]
            for line in filter(None, troubles):
                assert line.isprintable()
                assert len(line) < 400
                assert f"{number}.log: " in line
            told += any(troubles)
            assert {file.name for file in tmp_path.iterdir()} == {"bench.log", f"{number}.log"}
            hurt.unlink()
        # What stands behind a log's last page is no part of it.
        assert bool(told) == (damage is not _lengthen)

    def test_of_an_exported_log_adds_nothing(self, path: Path, tmp_path: Path) -> None:
        with Store.open(path) as store:
            text = "\n".join(export_lines(store)).encode()
        chance = random.Random(2)  # noqa: S311 - the same damage every time
        with Store.open(tmp_path / "new.log", create=True) as new:
            for _ in range(300):
                data = bytearray(text)
                chance.choice([_flip, _flip_early, _cut, _scramble])(data, chance)
                if data == text:
                    continue
                (tmp_path / "hurt.jsonl").write_bytes(data)
                with (
                    (tmp_path / "hurt.jsonl").open(encoding="utf-8", newline="") as file,
                    pytest.raises(InputError) as caught,
                ):
                    import_lines(new, file, file="hurt.jsonl")
                assert str(caught.value).isprintable()
                assert str(caught.value).startswith("hurt.jsonl: ")
                assert new.head()[0] == 0


def _trouble(act: Callable[..., None], path: Path, truth: list[Recorded], lines: list[str]) -> str:
    """Return what is complained of, empty if nothing; the file then stays as it is, byte for byte."""
    before = path.read_bytes()
    try:
        act(path, truth, lines)
    except InputError as error:
        assert path.read_bytes() == before
        return str(error)
    return ""


def _read_all(path: Path, truth: list[Recorded], lines: list[str]) -> None:
    del lines
    with Store.open(path, create=True) as store:
        found: list[Recorded] = []
        for entry in store.events():
            # What is handed out before the damage is reached is true.
            assert entry == truth[len(found)]
            found.append(entry)
        # A log that opens and reads to its end without a word has lost nothing.
        assert found == truth
        store.check()


def _export(path: Path, truth: list[Recorded], lines: list[str]) -> None:
    del truth
    with Store.open(path) as store:
        assert list(export_lines(store)) == lines


def _rescue(path: Path, truth: list[Recorded], lines: list[str]) -> None:
    del truth
    with Store.open(path, rescue=True) as store:
        saved = list(rescued_lines(store))
        assert saved[:-1] == lines[: len(saved) - 1]


def _append(path: Path, truth: list[Recorded], lines: list[str]) -> None:
    with Store.open(path, create=True) as store:
        put(store, _id(77), Note(text="after the damage"))
    # Where the damage does not stand in the way, an entry goes in behind it and the others stay as they are.
    with Store.open(path) as store, suppress(InputError):
        for number, entry in enumerate(store.events()):
            assert entry.id == _id(77) or entry == truth[number]
    with Store.open(path, rescue=True) as store:
        saved = list(rescued_lines(store))
        assert saved[: min(len(saved) - 1, len(lines) - 1)] == lines[: min(len(saved) - 1, len(lines) - 1)]


def test_a_log_that_is_not_there_is_never_made_by_reading(tmp_path: Path) -> None:
    with pytest.raises(FileUnreadable):
        Store.open(tmp_path / "bench.log")
    assert list(tmp_path.iterdir()) == []
