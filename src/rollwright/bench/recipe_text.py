"""Changes of a car file's text beyond single values: parts of a wheel's own, weights, places, remarks."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rollwright.errors import FileUnreadable

__all__ = ["renamed", "with_own_part", "with_point", "with_remarks", "with_table", "without_table"]

_EARLIER = re.compile(r"^(?:as built on|measured on) .*?(?:, entry \d+|, not here)(?:; |$)")
"""What an earlier recipe wrote in front of a remark."""


def with_own_part(text: str, *, kind: str, shared: str, own: str, station: str) -> str:
    """Return a car file's text in which a station has a wheel or an axle of its own.

    Args:
        text: the file's text.
        kind: `wheels` or `axles`.
        shared: name of the part that other stations use too.
        own: name of the station's own, which no part has yet.
        station: the station.

    Returns:
        The text with `[kind.own]`, which says the same as the shared one, and with the station using it. A
        part that bears its station's name is used there without being asked for.

    Raises:
        FileUnreadable: the file is laid out so that this cannot be done line by line.
    """
    wanted = tomllib.loads(text)
    keys = dict(wanted.get(kind, {}).get(shared, {}))
    wanted.setdefault(kind, {})[own] = keys
    word, heading = kind.removesuffix("s"), _heading("stations", station)
    mend = f"write a new {_heading(kind, own)} and set {word} = {_item(own)} under {heading}"
    new = _with_table(text, (kind, own), keys, behind=_heading(kind, shared))
    said = word in wanted.get("stations", {}).get(station, {})
    if said or own != station:
        wanted.setdefault("stations", {}).setdefault(station, {})[word] = own
    if said:
        new = _set(new, ["stations", station], word, own)
    elif own != station:
        new = _with_line(new, heading, f"{word} = {_item(own)}")
    return _checked(new, wanted, key=f"{kind}.{shared}", mend=mend)


def with_table(text: str, tables: Sequence[str], keys: Mapping[str, object], *, remark: str = "") -> str:
    """Return a text with a new table at its end; raise `FileUnreadable` where none can stand there.

    Args:
        text: the file's text.
        tables: its names from the outside in, such as `weights` and `slug`.
        keys: what stands in it.
        remark: what to say behind its heading.

    Returns:
        The new text.
    """
    wanted = tomllib.loads(text)
    place = wanted
    for name in tables:
        place = place.setdefault(name, {})
    place.update(keys)
    return _checked(_with_table(text, tables, keys, remark=remark), wanted, key=".".join(tables))


def without_table(text: str, tables: Sequence[str]) -> str:
    """Return a text without a table, such as `weights` and `slug`; remarks of what follows it stay.

    Args:
        text: the file's text.
        tables: its names from the outside in.

    Returns:
        The new text.

    Raises:
        FileUnreadable: the file is laid out so that this cannot be done line by line.
    """
    wanted = tomllib.loads(text)
    group = wanted[tables[0]]
    del group[tables[1]]
    lines = _lines(text)
    at = _find(lines, _heading(*tables))
    if at is not None:
        end = _end(lines, at)
        # One of the empty lines around it goes along.
        if end < len(lines) and not lines[end].strip():
            end += 1
        new = "".join(lines[:at] + lines[end:])
        # Without its last table there is no group either.
        without = wanted if group else {name: part for name, part in wanted.items() if name != tables[0]}
        if _says(new, without):
            return new

    def remove(document: Any) -> None:
        del document[tables[0]][tables[1]]

    return _checked(_edited(text, remove), wanted, key=".".join(tables))


def with_point(
    text: str, tables: Sequence[str], key: str, point: Mapping[str, object], *, remark: str
) -> str:
    """Return a text with a place written anew.

    Args:
        text: the file's text.
        tables: names of its table from the outside in.
        key: such as `position`.
        point: its value, uncertainty and source, as a file writes them.
        remark: what to say behind it.

    Returns:
        The new text.

    Raises:
        FileUnreadable: the file is laid out so that this cannot be done line by line.
    """
    wanted = tomllib.loads(text)
    place = wanted
    for name in tables:
        place = place.setdefault(name, {})
    there = key in place
    place[key] = dict(point)
    if there:
        new = _set(text, tables, key, dict(point))
    else:
        new = _with_line(text, _heading(*tables), f"{key} = {_item(dict(point))}")
    return with_remarks(_checked(new, wanted, key=".".join((*tables, key))), {(*tables, key): remark})


def renamed(text: str, name: str) -> str:
    """Return a car file's text with another name of the car; raise `FileUnreadable` where that cannot be."""
    wanted = tomllib.loads(text)
    named = "name" in wanted
    wanted["name"] = name
    new = _set(text, (), "name", name) if named else f"name = {_item(name)}\n{text}"
    return _checked(new, wanted, key="name")


def with_remarks(text: str, remarks: Mapping[tuple[str, ...], str]) -> str:
    """Return a text with remarks behind some values.

    Args:
        text: the file's text.
        remarks: what to say, by the names of the tables and the key.

    Returns:
        The text. A remark of the builder's own stays behind the new one; one that an earlier recipe wrote
        gives way. A value inside braces can have no remark of its own and goes without.
    """
    from tomlkit.items import InlineTable, Item  # noqa: PLC0415 - see _edited

    def remark_on(document: Any) -> None:
        for (*tables, key), remark in remarks.items():
            place = document
            for name in tables:
                place = place.get(name, {})
            item = place.get(key)
            if isinstance(place, InlineTable) or not isinstance(item, Item):
                continue
            said = _EARLIER.sub("", item.trivia.comment.lstrip("#").strip())
            item.comment(f"{remark}; {said}" if said else remark)
            item.trivia.comment_ws = "  "

    new = _edited(text, remark_on)
    # Remarks are worth having, and no reason to refuse.
    return new if _says(new, tomllib.loads(text)) else text


def _edited(text: str, edit: Callable[[Any], None]) -> str:
    """Return a text as its edited document writes it; empty where the library cannot hold its layout."""
    import tomlkit  # noqa: PLC0415 - only writing needs it, and it costs start-up time
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415

    try:
        document = tomlkit.parse(text)
        edit(document)
        return str(tomlkit.dumps(document))
    except (TOMLKitError, RecursionError):
        return ""


def _says(text: str, wanted: Mapping[str, object]) -> bool:
    return _sound(text) and tomllib.loads(text) == wanted


def _sound(text: str) -> bool:
    try:
        tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return False
    return True


def _checked(
    new: str,
    wanted: Mapping[str, object],
    *,
    key: str,
    mend: str = "write each table under one heading of its own",
) -> str:
    if not _says(new, wanted):
        raise FileUnreadable(
            "this file is laid out in a way that cannot be changed line by line", mend=mend, key=key
        )
    return new


def _item(value: object) -> str:
    """Return a value as TOML writes it, a table in braces."""
    import tomlkit  # noqa: PLC0415 - see _edited

    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        inline.update(value)
        return str(inline.as_string())
    return str(tomlkit.item(value).as_string())


def _written(keys: Mapping[str, object]) -> list[str]:
    return [f"{_quoted(key)} = {_item(value)}" for key, value in keys.items()]


def _quoted(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _item(name)


def _heading(*tables: str) -> str:
    return f"[{'.'.join(map(_quoted, tables))}]"


def _lines(text: str) -> list[str]:
    """Return the lines with their ends, split where TOML splits them and nowhere else."""
    return re.findall(r"[^\n]*\n|[^\n]+$", text)


def _find(lines: Sequence[str], heading: str) -> int | None:
    for index, line in enumerate(lines):
        if re.sub(r"\s", "", line.partition("#")[0]) == re.sub(r"\s", "", heading):
            return index
    return None


def _end(lines: Sequence[str], at: int) -> int:
    """Return where the lines under a heading end: at the first empty one, or at the next heading."""
    end = at + 1
    while end < len(lines) and lines[end].strip() and not lines[end].lstrip().startswith("["):
        end += 1
    return end


def _newline(text: str) -> str:
    return "\r\n" if "\r\n" in text else "\n"


def _inserted(text: str, new: Sequence[str], *, behind: str = "") -> str:
    """Return a text with new lines behind the table of a heading, or at its end."""
    newline = _newline(text)
    lines = _lines(text)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += newline
    at = _find(lines, behind) if behind else None
    end = len(lines) if at is None else _end(lines, at)
    lines[end:end] = [line + newline for line in ("", *new)]
    return "".join(lines)


def _with_table(
    text: str, tables: Sequence[str], keys: Mapping[str, object], *, behind: str = "", remark: str = ""
) -> str:
    heading = _heading(*tables) + (f"  # {remark}" if remark else "")
    new = _inserted(text, [heading, *_written(keys)], behind=behind)
    if _sound(new):
        return new
    import tomlkit  # noqa: PLC0415 - see _edited

    # A group that stands in braces takes no heading of its own.
    return _edited(text, lambda document: document[tables[0]].update({tables[1]: tomlkit.value(_item(keys))}))


def _with_line(text: str, heading: str, line: str) -> str:
    newline = _newline(text)
    lines = _lines(text)
    at = _find(lines, heading)
    if at is None:
        return _inserted(text, [heading, line])
    end = _end(lines, at)
    if not lines[end - 1].endswith("\n"):
        lines[end - 1] += newline
    lines[end:end] = [line + newline]
    return "".join(lines)


def _set(text: str, tables: Sequence[str], key: str, value: object) -> str:
    """Return a text with another value of a key that is there; the remark at the end of its line stays."""
    import tomlkit  # noqa: PLC0415 - see _edited

    def put(document: Any) -> None:
        place = document
        for name in tables:
            place = place[name]
        old = place[key]
        new: Any = tomlkit.value(_item(value))
        if hasattr(old, "trivia"):
            new.trivia.comment_ws = old.trivia.comment_ws
            new.trivia.comment = old.trivia.comment
        place[key] = new

    return _edited(text, put)
