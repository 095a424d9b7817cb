"""A log as text, one JSON object to a line: for copies, other programs, and bringing two benches together.

The first line names the format, the last one says how many entries there must be and their last hash, so
that a file that was cut short is known for one. A photo's bytes stand in base64 before the entry that first
shows it.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, NoReturn

from rollwright.bench.codec import GENESIS, Entry, checked, placed, plain_of
from rollwright.bench.events import Event, Photo
from rollwright.bench.forms import canonical
from rollwright.bench.reader import Reader
from rollwright.bench.refusals import EntryRefused, EntryUnreadable, LogDamaged, NewerLog, NotALog
from rollwright.bench.store import LARGEST_PHOTO, Store
from rollwright.errors import InputError

__all__ = ["FORMAT", "Imported", "export_lines", "import_lines", "rescued_lines"]

FORMAT = 1
"""Version of the lines' format."""

_LONGEST_LINE = 12_000_000
_COPY = "export the log again, or take another copy of the file"
_KEYS = frozenset(
    ("author", "body", "car", "device", "hash", "id", "offset", "previous", "program", "seq", "time")
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Imported:
    """What an import did.

    Attributes:
        added: how many entries are new in the log.
        known: how many were there already.
        mixed: cars that both logs had gone on with, whose new entries now stand behind ours and not where
            they stood in the file: the order of their readings and moves needs a look.
    """

    added: int
    known: int
    mixed: tuple[str, ...] = ()


def export_lines(log: Reader) -> Iterator[str]:
    """Return a log as text.

    Args:
        log: the open log.

    Returns:
        The lines, without their ends, to be written as UTF-8; the same log always gives the same lines.

    Raises:
        LogDamaged: the log is damaged; what was returned up to there is sound and lacks its last line.
        LogBusy: another program kept the log locked.
    """
    yield from _lines(log, rescue=False)


def rescued_lines(log: Reader) -> Iterator[str]:
    """Return what a damaged log still tells, up to the first entry that is not sound.

    Args:
        log: opened with `rescue=True`.

    Returns:
        The lines of a sound, shorter log.
    """
    yield from _lines(log, rescue=True)


def import_lines(store: Store, lines: Iterable[str], *, file: str = "log.jsonl") -> Imported:
    """Add the entries of an exported log, all or none.

    Into an empty log they go as they are, number for number and hash for hash. An entry whose id is there
    already must say the same and is not added again; others follow at the end in their order, keep id, time,
    author and program, and get new numbers and hashes.

    Args:
        store: the log that they are added to.
        lines: what `export_lines` returned, with or without line ends.
        file: the file's name, for messages.

    Returns:
        How many were added and how many were there already.

    Raises:
        NotALog: the lines are no exported log.
        NewerLog: they are of a newer format.
        LogDamaged: they are cut short or were changed.
        EntryUnreadable: an entry is not one that this program could have written.
        EntryRefused: an entry contradicts the log.
        InputError: a field of an entry is not a possible value, or the log cannot be written.
    """
    read = _read(lines, file=file)
    added = known = 0
    with store.writing():
        ours = {entry.id: entry for entry, _ in store.entries()}
        for entry, event in read.entries:
            there = ours.get(entry.id)
            try:
                if there is None:
                    data = read.photos.get(event.sha256) if isinstance(event, Photo) else None
                    store.add(entry, event, photo=data)
                    added += 1
                elif replace(entry, seq=0, previous="", hash="") == replace(
                    there, seq=0, previous="", hash=""
                ):
                    known += 1
                else:
                    raise EntryRefused(
                        f"its id stands for entry {there.seq} of {store.name}, which says something else",
                        mend="import it into a new log instead",
                    )
            except InputError as error:
                raise placed(error, file=file, seq=entry.seq) from None
    return Imported(
        added=added, known=known, mixed=_mixed(ours.values(), [entry for entry, _ in read.entries])
    )


def _mixed(ours: Iterable[Entry], theirs: Iterable[Entry]) -> tuple[str, ...]:
    """Return the cars whose entries do not stand in the log as they stand in the file."""
    mine, yours = _by_car(ours), _by_car(theirs)
    return tuple(
        car
        for car, ids in mine.items()
        if set(yours.get(car, ())) - set(ids) and yours[car][: len(ids)] != ids
    )


def _by_car(entries: Iterable[Entry]) -> dict[str, list[str]]:
    cars: dict[str, list[str]] = {}
    for entry in entries:
        cars.setdefault(entry.car, []).append(entry.id)
    return cars


def _lines(log: Reader, *, rescue: bool) -> Iterator[str]:
    yield canonical({"format": "rollwright-log", "version": FORMAT})
    count, head = 0, GENESIS
    shown: set[str] = set()
    entries = log.entries()
    while True:
        try:
            entry = next(entries, (None, ""))[0]
            if entry is None:
                break
            photo = _photo_line(log, entry, shown)
            if (entry.seq, entry.previous) != (count + 1, head):
                raise LogDamaged(
                    "entries before it are missing", mend=_COPY, file=log.name, key=f"entry {entry.seq}"
                )
        except InputError:
            if rescue:
                break
            raise
        if photo:
            yield photo
        yield entry.line
        count, head = entry.seq, entry.hash
    yield canonical({"entries": count, "head": head})


def _photo_line(log: Reader, entry: Entry, shown: set[str]) -> str:
    """Return the line of a photo that an entry is the first to show, empty for any other entry."""
    plain = plain_of(entry.body)
    sha256 = plain.get("sha256") if plain.get("event") == Photo.kind else None
    if not isinstance(sha256, str) or sha256 in shown:
        return ""
    data = log.photo(sha256)
    shown.add(sha256)
    return canonical({"bytes": base64.b64encode(data).decode("ascii"), "photo": sha256})


@dataclass(slots=True)
class _Read:
    """What the lines up to the present one have said."""

    file: str
    number: int = 0
    head: str = GENESIS
    entries: list[tuple[Entry, Event]] = field(default_factory=list)
    photos: dict[str, bytes] = field(default_factory=dict)
    waiting: str = ""
    """A photo that the next entry must show."""
    ended: bool = False

    def damaged(self, what: str) -> NoReturn:
        raise LogDamaged(what, mend=_COPY, file=self.file, key=f"line {self.number}")


def _read(lines: Iterable[str], *, file: str) -> _Read:
    read = _Read(file=file)
    try:
        for line in lines:
            read.number += 1
            _take(line.rstrip("\r\n"), read)
    except UnicodeDecodeError:
        raise NotALog("this is not UTF-8 text", mend=_COPY, file=file) from None
    if not read.number:
        raise NotALog("the file is empty", mend=_COPY, file=file)
    if not read.ended:
        read.number += 1
        read.damaged("the last line is missing, so the file was cut short")
    return read


def _take(line: str, read: _Read) -> None:
    if read.number == 1:
        _take_first(line.removeprefix("\ufeff"), read)
        return
    if read.ended:
        read.damaged("something stands after the last line")
    if len(line) > _LONGEST_LINE:
        read.damaged(f"the line has {len(line)} characters, more than any entry")
    try:
        plain = plain_of(line) if '"hash":' not in line[-80:] else _plain_entry(line)
    except EntryUnreadable as error:
        read.damaged(error.problem)
    if set(plain) == {"bytes", "photo"}:
        _take_photo(plain, read)
    elif set(plain) == {"entries", "head"}:
        if read.waiting or (plain["entries"], plain["head"]) != (len(read.entries), read.head):
            read.damaged(f"this names {plain['entries']} entries and another end than the lines above")
        read.ended = True
    elif set(plain) == _KEYS:
        _take_entry(plain, line, read)
    else:
        read.damaged("this is neither an entry nor a photo")


def _take_first(line: str, read: _Read) -> None:
    try:
        plain = plain_of(line)
    except EntryUnreadable:
        plain = {}
    version = plain.get("version")
    if plain.get("format") != "rollwright-log" or type(version) is not int:
        raise NotALog("this is not an exported rollwright log", mend="check the name", file=read.file)
    if version > FORMAT:
        raise NewerLog(
            f"a newer rollwright wrote this (format {version}; this one reads up to {FORMAT})",
            mend="update rollwright",
            file=read.file,
        )
    if line != canonical({"format": "rollwright-log", "version": FORMAT}):
        read.damaged("the first line is not as rollwright writes it")


def _plain_entry(line: str) -> dict[str, Any]:
    """Return an entry's table; its line is canonical but for the hash, which stands last."""
    opened, _, tail = line.rpartition(',"hash":"')
    plain = plain_of(f"{opened}}}")
    plain["hash"] = tail.removesuffix('"}')
    return plain


def _take_photo(plain: dict[str, Any], read: _Read) -> None:
    try:
        data = base64.b64decode(plain["bytes"], validate=True)
    except (ValueError, TypeError):
        read.damaged("the photo's bytes are not in base64")
    if read.waiting or plain["photo"] in read.photos:
        read.damaged("the photo belongs to no entry of its own")
    if hashlib.sha256(data).hexdigest() != plain["photo"] or not 0 < len(data) <= LARGEST_PHOTO:
        read.damaged("the photo's bytes are not those that were entered")
    if base64.b64encode(data).decode("ascii") != plain["bytes"]:
        read.damaged("the photo's bytes are not as rollwright writes them")
    read.waiting = plain["photo"]
    read.photos[read.waiting] = data


def _take_entry(plain: dict[str, Any], line: str, read: _Read) -> None:
    texts = _KEYS - {"body", "offset", "seq"}
    if not all(type(plain[key]) is str for key in texts) or not all(
        type(plain[key]) is int for key in ("offset", "seq")
    ):
        read.damaged("a field is of the wrong type")
    entry = Entry(**{**plain, "body": canonical(plain["body"])})
    if entry.line != line or entry.true_hash != entry.hash:
        read.damaged("the entry is not as it was written: its hash differs")
    if (entry.seq, entry.previous) != (len(read.entries) + 1, read.head):
        read.damaged("the entry does not follow the one above: one of the two was changed or is missing")
    try:
        event = checked(entry)
    except InputError as error:
        raise placed(error, file=read.file, seq=entry.seq) from None
    sha256 = event.sha256 if isinstance(event, Photo) else ""
    if (read.waiting and sha256 != read.waiting) or (sha256 and sha256 not in read.photos):
        read.damaged("the photo and its entry do not belong together")
    read.waiting = ""
    read.entries.append((entry, event))
    read.head = entry.hash
