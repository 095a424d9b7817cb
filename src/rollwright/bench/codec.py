"""The written form of the log: an event's body, an entry's line, and the chain of hashes that ties them.

One line is the whole truth about an entry: its hash is the SHA-256 of the line without the hash, and the
line holds the hash of the entry before it, so that anyone can check a log with nothing but SHA-256.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

from rollwright.bench.events import EVENTS, Event
from rollwright.bench.forms import IDENTITY, NAME, Text, canonical
from rollwright.bench.refusals import EntryUnreadable, NewerEntry
from rollwright.errors import InputError, OutOfRange, WrongType, echo

__all__ = [
    "CAR",
    "GENESIS",
    "LONGEST_BODY",
    "Entry",
    "Recorded",
    "body_of",
    "entry_of",
    "event_of",
    "recorded",
]

GENESIS = "0" * 64
"""What stands for the hash before the first entry."""

LONGEST_BODY = 2_000_000
"""Greatest length of a body [characters]: twice a car file's, since line breaks are written as two."""

CAR = Text(24, pattern="[A-Za-z0-9][A-Za-z0-9_-]*", example="a short name of letters, figures, - and _")
"""The form of a car's id, short enough for a label."""

_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")
_FIRST_YEAR, _LAST_YEAR = 1970, 2999
_DAY = 86_400


def body_of(event: Event) -> str:
    """Return the written form of an event.

    Args:
        event: of a kind in `EVENTS`.

    Returns:
        One line of canonical JSON: `event` names the kind, `version` its written form's version.

    Raises:
        EntryUnreadable: it is of no kind that can be written.
    """
    if EVENTS.get(event.kind) is not type(event):
        raise EntryUnreadable(
            f"{type(event).__name__} is no kind of event", mend=f"use one of {', '.join(EVENTS)}"
        )
    return canonical({"event": event.kind, "version": event.version, **event.as_plain()})


def event_of(body: str) -> Event:
    """Return the event that a body stands for.

    Args:
        body: what `body_of` returned.

    Returns:
        The checked event.

    Raises:
        NewerEntry: its kind or version is not known to this program.
        EntryUnreadable: it is not the written form of an event.
        InputError: one of its fields is not a possible value.
    """
    plain = plain_of(body)
    kind, version = plain.pop("event", None), plain.pop("version", None)
    if not isinstance(kind, str) or type(version) is not int:
        raise EntryUnreadable("it does not say its kind and version", mend="take it from a sound copy")
    if kind not in EVENTS or version > EVENTS[kind].version:
        told = f"version {version} of {kind}" if kind in EVENTS else f"an event of kind {echo(kind)}"
        raise NewerEntry(f"{told} is not known to this version", mend="update rollwright")
    if version != EVENTS[kind].version:
        raise EntryUnreadable(f"{kind} never had a version {version}", mend="take it from a sound copy")
    event: Event = EVENTS[kind].from_plain(plain)
    return event


def plain_of(text: str) -> dict[str, Any]:
    """Return the table that a JSON text holds.

    Args:
        text: JSON.

    Returns:
        The table.

    Raises:
        EntryUnreadable: it is not JSON, not a table, or not in its one canonical form.
    """
    try:
        plain = json.loads(text)
        sound = isinstance(plain, dict) and canonical(plain) == text
    except (ValueError, RecursionError):
        # Also figures of thousands of digits, numbers that are not finite and bottomless brackets.
        sound = False
    if not sound:
        raise EntryUnreadable(
            f"{echo(text)} is not as rollwright writes it", mend="take it from a sound copy"
        )
    found: dict[str, Any] = plain
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry as it is stored, its event still in written form.

    Attributes:
        seq: its number; the first is 1 and none is missing.
        id: 128 random bits made by whoever entered it, as 32 hexadecimal digits.
        car: the car's id.
        time: of entering, by the entering device's clock: UTC, ISO 8601 with microseconds and a Z.
        offset: that device's offset from UTC [s], east positive, west negative.
        author: who entered it.
        device: on which device, or empty.
        program: version of rollwright that entered it.
        body: the event as `body_of` writes it.
        previous: hash of the entry before it, `GENESIS` for the first.
        hash: SHA-256 of its line without the hash.
    """

    seq: int
    id: str
    car: str
    time: str
    offset: int
    author: str
    device: str
    program: str
    body: str
    previous: str
    hash: str

    @property
    def open_line(self) -> str:
        """Its line without the hash, as the hash is taken of it."""
        texts = {
            name: json.dumps(getattr(self, name), ensure_ascii=False)
            for name in ("author", "car", "device", "id", "previous", "program", "time")
        }
        return (
            f'{{"author":{texts["author"]},"body":{self.body},"car":{texts["car"]},'
            f'"device":{texts["device"]},"id":{texts["id"]},"offset":{self.offset},'
            f'"previous":{texts["previous"]},"program":{texts["program"]},"seq":{self.seq},'
            f'"time":{texts["time"]}}}'
        )

    @property
    def line(self) -> str:
        """Its line in an export, without the line's end."""
        return f'{self.open_line[:-1]},"hash":"{self.hash}"}}'

    @property
    def true_hash(self) -> str:
        """The hash that it should have."""
        return hashlib.sha256(self.open_line.encode("utf-8", "surrogatepass")).hexdigest()

    def sealed(self, *, seq: int, previous: str) -> Entry:
        """Return the same entry with its place in a log.

        Args:
            seq: its number there.
            previous: hash of the entry before it there.

        Returns:
            The entry with that number, and its hash.
        """
        placed = replace(self, seq=seq, previous=previous)
        return replace(placed, hash=placed.true_hash)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """One entry as it is read back.

    Attributes:
        seq: its number; entries are in this order, whatever their clocks said.
        id: its own id.
        car: the car's id.
        time: of entering, with the entering device's offset from UTC.
        author: who entered it.
        device: on which device, or empty.
        program: version of rollwright that entered it.
        event: what happened.
        hash: its hash, which also vouches for every entry before it.
        clock_back: whether its clock stood earlier than that of the entry before it.
    """

    seq: int
    id: str
    car: str
    time: datetime
    author: str
    device: str
    program: str
    event: Event
    hash: str
    clock_back: bool = False


def entry_of(
    event: Event, *, event_id: str, car: str, time: datetime, author: str, device: str, program: str
) -> Entry:
    """Return a new entry that has no place in a log yet.

    Args:
        event: what happened.
        event_id: 128 random bits as 32 hexadecimal digits, made by the caller.
        car: the car's id.
        time: now, with its offset from UTC.
        author: who enters it.
        device: on which device, or empty.
        program: version of this program.

    Returns:
        The entry, with number 0 and no hash.

    Raises:
        InputError: one of these is not a possible value.
    """
    utc, offset = _written_time(time)
    entry = Entry(
        seq=0,
        id=IDENTITY.check(event_id, "id"),
        car=CAR.check(car, "car"),
        time=utc,
        offset=offset,
        author=NAME.check(author, "author"),
        device=NAME.check(device, "device") if device else "",
        program=NAME.check(program, "program"),
        body=body_of(event),
        previous=GENESIS,
        hash="",
    )
    if len(entry.body) > LONGEST_BODY:
        raise OutOfRange(f"the entry has {len(entry.body)} characters", mend=f"keep it to {LONGEST_BODY}")
    return entry


def recorded(entry: Entry, *, before: str) -> Recorded:
    """Return an entry as it is read.

    Args:
        entry: the entry.
        before: time of the entry before it, empty for the first.

    Returns:
        The entry with its event.

    Raises:
        InputError: its event or its time cannot be read.
    """
    return Recorded(
        seq=entry.seq,
        id=entry.id,
        car=entry.car,
        time=_read_time(entry.time, entry.offset),
        author=entry.author,
        device=entry.device,
        program=entry.program,
        event=event_of(entry.body),
        hash=entry.hash,
        clock_back=entry.time < before,
    )


def checked(entry: Entry) -> Event:
    """Return the event of an entry of unknown origin, if this program could have written it so.

    Args:
        entry: from a file.

    Returns:
        Its event; hash and place are not looked at.

    Raises:
        InputError: it could not.
    """
    event = event_of(entry.body)
    again = entry_of(
        event,
        event_id=entry.id,
        car=entry.car,
        time=_read_time(entry.time, entry.offset),
        author=entry.author,
        device=entry.device,
        program=entry.program,
    )
    if replace(again, seq=entry.seq, previous=entry.previous, hash=entry.hash) != entry:
        raise EntryUnreadable("it is not as rollwright writes it", mend="take it from a sound copy")
    return event


def _written_time(time: datetime) -> tuple[str, int]:
    offset = time.utcoffset()
    if offset is None:
        raise WrongType(f"{echo(time)} does not say its offset from UTC", mend="give it one", key="time")
    seconds = offset.total_seconds()
    if seconds != int(seconds):
        raise OutOfRange("the offset from UTC is no whole second", mend="round it", key="time")
    try:
        utc = time.astimezone(UTC)
    except OverflowError:
        utc = None
    if utc is None or not _FIRST_YEAR <= utc.year <= _LAST_YEAR:
        raise OutOfRange(
            f"{echo(time)} is not between {_FIRST_YEAR} and {_LAST_YEAR}", mend="set the clock", key="time"
        )
    return utc.strftime("%Y-%m-%dT%H:%M:%S.%fZ"), int(seconds)


def _read_time(text: str, offset: int) -> datetime:
    try:
        utc = datetime.fromisoformat(text) if _TIME.fullmatch(text) else None
        zone = timezone(timedelta(seconds=offset)) if -_DAY < offset < _DAY else None
        if utc and zone:
            return utc.astimezone(zone)
    except (ValueError, OverflowError):
        pass
    raise EntryUnreadable(
        f"{echo(text)} with offset {offset} is not a time", mend="take it from a sound copy", key="time"
    )


def placed(error: InputError, *, file: str, seq: int) -> InputError:
    """Return an error that also says in which entry of which file it arose.

    Args:
        error: the error.
        file: the file's name.
        seq: the entry's number.

    Returns:
        The same error, knowing its place.
    """
    where = f"entry {seq}" + (f", {error.key}" if error.key else "")
    return type(error)(error.problem, mend=error.mend, file=file, key=where)
