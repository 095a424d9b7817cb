"""Times from a table with any column names, with a line for every way in which it can be no such table."""

from __future__ import annotations

import csv
import os
import re
import statistics
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from rollwright.errors import FileUnreadable, MissingReference, OutOfRange, WrongType, echo
from rollwright.workbench.trials_rows import SECONDS, UNITS, Reading, Table

__all__ = ["COLUMNS", "read_times", "table_of"]

COLUMNS: Mapping[str, tuple[str, ...]] = {
    "time": ("time", "times", "zeit", "temps", "tiempo", "tempo", "finish", "finishtime", "result", "et"),
    "configuration": (
        "configuration",
        "config",
        "setup",
        "variant",
        "variante",
        "version",
        "change",
        "aufbau",
    ),
    "car": ("car", "auto", "wagen", "voiture", "block", "vehicle", "entry"),
    "lane": ("lane", "bahn", "spur", "piste", "voie", "couloir", "baan"),
    "heat": ("heat", "durchgang", "manche", "serie", "série", "round"),
    "order": ("order", "run", "runno", "runnumber", "lauf", "ordre", "nr", "no", "number"),
    "date": ("date", "day", "datum", "tag", "jour", "fecha"),
    "mark": ("mark", "marks", "flag", "flags", "status", "marke"),
    "split": ("split", "split1", "splittime", "zwischenzeit"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments", "bemerkung"),
}
"""What each column may be called, in small letters without spaces; anything else needs `--map`."""

_LARGEST = 50_000_000
_MOST_ROWS = 1_000_000
_MOST_COLUMNS = 200
_HEAD = re.compile(
    r"^(.*?)(?:^|[\s_,;/]|(?=[\[(]))[\[(]?\s*(?:in\s+)?(s|secs?|seconds|sek|msec|ms)\s*[\])]?$"
)
_SLOWEST = 60.0


def read_times(
    path: str | os.PathLike[str], *, columns: Mapping[str, str] | None = None, unit: str | None = None
) -> Table:
    """Return the times of a file.

    Args:
        path: a text file of rows with commas, semicolons or tabs between its cells; its first row names them.
        columns: which column is what, as in `{"time": "Zeit"}`; others are guessed by their names.
        unit: `s` or `ms`; None takes it from the column's name, else seconds.

    Returns:
        The times, and every row that is not counted with its reason.

    Raises:
        FileUnreadable: it is missing, too large, no text, or no such table.
        MissingReference: a column is not there, or no column says what is needed.
        OutOfRange: no row can be used, or the times cannot be in that unit.
        WrongType: there is no such unit or no such kind of column.
    """
    file = Path(path)
    name = echo(file.name).strip("'\"")
    try:
        if file.is_dir():
            raise FileUnreadable("this is a folder", mend="name the file of times in it", file=name)
        with file.open("rb") as stream:
            raw = stream.read(_LARGEST + 1)
    except FileNotFoundError:
        raise FileUnreadable("there is no such file", mend="check the name", file=name) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it cannot be opened"
        raise FileUnreadable(
            str(reason).lower(), mend="check the name and its permissions", file=name
        ) from None
    if len(raw) > _LARGEST:
        raise FileUnreadable("more than 50 MB is no table of times", mend="check the name", file=name)
    return table_of(_text(raw, name), columns=columns, unit=unit, file=name)


def _text(raw: bytes, file: str) -> str:
    """Return a file's text: UTF-8, UTF-16 as spreadsheets write it, or the older Western letters."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return raw.decode("utf-16")
        except UnicodeDecodeError:
            raise FileUnreadable(
                "this is no whole UTF-16 text", mend="save it as CSV again", file=file
            ) from None
    if b"\0" in raw:
        line = raw[: raw.index(b"\0")].count(b"\n") + 1
        raise FileUnreadable(
            "this is not plain text", mend="save the table as CSV", file=file, key=f"line {line}"
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", "replace")


def _rows(text: str, file: str) -> Iterator[tuple[int, list[str]]]:
    """Return each row that holds anything, with its number in the file."""
    start = text.lstrip("\r\n \t").split("\n", 1)[0]
    # A tab may lead a row of empty cells, so the marks are counted in the whole first line.
    mark = max("\t;,", key=start.count)
    if start.count(mark) > _MOST_COLUMNS:
        raise FileUnreadable(
            f"a row of more than {_MOST_COLUMNS} columns is no table of times",
            mend="check the file",
            file=file,
        )
    reader = csv.reader(text.splitlines(keepends=True), delimiter=mark, strict=True, skipinitialspace=True)
    try:
        for number, row in enumerate(reader, start=1):
            if number > _MOST_ROWS:
                raise FileUnreadable(
                    "more than a million rows are too many at once", mend="split the file", file=file
                )
            if any(cell.strip() for cell in row):
                yield number, row
    except csv.Error as error:
        quote = "quot" in str(error) or "expected after" in str(error) or "unexpected end" in str(error)
        raise FileUnreadable(
            "a quotation mark is opened and not closed, or stands inside a cell"
            if quote
            else f"this row cannot be read: {echo(str(error)).strip(chr(39))}",
            mend="take the quotation marks out of that cell" if quote else "check that row",
            file=file,
            key=f"line {reader.line_num}",
        ) from None


def _plain(head: str) -> str:
    return re.sub(r"[\W_]+", "", head.casefold())


def _given(head: Sequence[str], given: Mapping[str, str], shown: str, file: str) -> dict[str, int]:
    """Return the places of the columns that the builder named."""
    places: dict[str, int] = {}
    for what, wanted in given.items():
        if what not in COLUMNS:
            raise WrongType(
                f"{echo(what)} is no kind of column", mend=f"choose from {', '.join(COLUMNS)}", key="--map"
            )
        found = [at for at, cell in enumerate(head) if cell.strip().casefold() == wanted.strip().casefold()]
        if not found:
            raise MissingReference(
                f"there is no column {echo(wanted)}", mend=f"choose from {shown}", file=file, key="--map"
            )
        places[what] = found[0]
    return places


def _columns(
    head: Sequence[str], given: Mapping[str, str], file: str
) -> tuple[dict[str, int], dict[int, str]]:
    """Return the place of each column and the units that their names say."""
    shown = echo(", ".join(cell.strip() for cell in head[:8])).strip("'\"")
    places = _given(head, given, shown, file)
    units: dict[int, str] = {}
    for at, cell in enumerate(head):
        split = _HEAD.match(cell.strip().casefold())
        # A column called just "ms" holds the times.
        name = (_plain(split[1]) or "time") if split else _plain(cell)
        if split:
            units[at] = UNITS[split[2]]
        what = next((what for what, names in COLUMNS.items() if name in names), "")
        if what and what not in places and at not in places.values():
            places[what] = at
    for said, any_of, need in (
        ("time", ("time",), "time=Result"),
        ("car or configuration", ("car", "configuration"), "configuration=Build"),
    ):
        if not any(what in places for what in any_of):
            raise MissingReference(
                f"no column is called {said}",
                mend=f"say which it is, as in --map {need}; there are {shown}",
                file=file,
                key="line 1",
            )
    return places, units


def table_of(
    text: str,
    *,
    columns: Mapping[str, str] | None = None,
    unit: str | None = None,
    file: str = "",
) -> Table:
    """Return the times of a text.

    Args:
        text: rows with commas, semicolons or tabs between their cells; the first row names them.
        columns: which column is what; others are guessed by their names.
        unit: `s` or `ms`; None takes it from the column's name, else seconds.
        file: its name, for messages.

    Returns:
        The times, and every row that is not counted with its reason.

    Raises:
        FileUnreadable: it is no such table.
        MissingReference: a column is not there, or no column says what is needed.
        OutOfRange: no row can be used, or the times cannot be in that unit.
        WrongType: there is no such unit or no such kind of column.
    """
    if unit is not None and unit not in SECONDS:
        raise WrongType(f"{echo(unit)} is no unit of these times", mend="choose s or ms", key="--unit")
    rows = _rows(text, file)
    _, head = next(rows, (0, []))
    if not head:
        raise FileUnreadable("the file is empty", mend="give it a row of names and rows of times", file=file)
    places, units = _columns(head, columns or {}, file)
    said = unit or units.get(places["time"]) or "s"
    reading = Reading(head, places, said)
    for number, row in rows:
        reading.take(number, row)
    reading.drop_strays()
    reading.drop_heats()
    kept = reading.kept
    if not kept:
        first = reading.aside[0] if reading.aside else None
        why = f"the first, row {first.row}: {first.reason}" if first else "there is only the row of names"
        raise OutOfRange("no row can be used", mend=f"mend the file ({why})", file=file)
    middle = statistics.median(row.time for row in kept)
    if middle > _SLOWEST and unit is None:
        raise OutOfRange(
            f"times of about {middle:.5g} s are too long for a track",
            mend="add --unit ms if these are milliseconds, or --unit s if not",
            file=file,
            key=head[places["time"]].strip(),
        )
    return reading.table(file)
