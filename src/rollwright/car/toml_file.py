"""From a path to TOML tables, with a helpful line for every way in which a file can be no such thing."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rollwright.errors import FileUnreadable, OutOfRange, echo

__all__ = ["FORMAT", "load_toml", "parse_toml"]

FORMAT = 1
_LARGEST = 1_000_000
_LARGEST_WHOLE = 10**400
_LONGEST_NAME = 80
_LONGEST_PATH = 58
_DEEPEST = 12
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")
_QUOTES = 'a text or a value with its unit needs quotes, as in width = "1 3/4 in"'
# What the parser says, what it means to a builder, and the mend; the first that begins alike is used.
_REASONS = (
    ("Cannot overwrite", "this key or heading stands in the file twice", "keep one of the two"),
    ("Cannot declare", "this heading stands in the file twice", "put all its keys under one heading"),
    ("Cannot mutate", "this table was already written whole", "put all its keys in one place"),
    ("Expected newline", "something stands after the value", f"{_QUOTES}, and a remark begins with #"),
    ("Invalid value", "the value cannot be read", f"{_QUOTES}, and a decimal a figure before its point"),
    ("Invalid initial character", "the key has no name that can be read", "write it as key = value"),
    ("Expected '='", "there is no = after the key", "write it as key = value; a remark begins with #"),
    ("Expected ']", "the heading is not closed", "write it in brackets, as in [body]"),
    ("Invalid statement", "this is no heading, key or remark", "write [heading], key = value or # remark"),
    ("Unclosed array", "a list is not closed", "write its closing bracket ]"),
    ("Unclosed inline", "a table in braces is not closed", "write its closing brace }"),
    ("Unterminated string", "a text is not closed", "write its closing quotes"),
    ("Illegal character '\\n'", "a text is not closed", "write its closing quotes on the same line"),
)


def load_toml(path: str | os.PathLike[str], *, what: str) -> str:
    """Return the text of a file that should hold TOML.

    Args:
        path: where it is.
        what: what it should be, for messages, as in `car file`.

    Returns:
        The text.

    Raises:
        FileUnreadable: it is missing, a folder, too large, not readable or not UTF-8 text.
    """
    file = Path(path)
    # A path too long for a line would lose its end, which is the part that says which file it is.
    shown = str(path) if len(str(path)) < _LONGEST_PATH else f"…/{file.name}"
    name = echo(shown).strip("'\"")
    try:
        if file.is_dir():
            raise FileUnreadable("this is a folder", mend=f"name the {what} in it", file=name)
        with file.open("rb") as stream:
            raw = stream.read(_LARGEST + 1)
    except FileNotFoundError:
        new = ", or write a new one with: rollwright new CAR.toml" if what == "car file" else ""
        raise FileUnreadable("there is no such file", mend=f"check the name{new}", file=name) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it cannot be opened"
        raise FileUnreadable(
            str(reason).lower(), mend="check the name and its permissions", file=name
        ) from None
    if len(raw) > _LARGEST:
        raise FileUnreadable(f"more than 1 MB is not a {what}", mend="check the name", file=name)
    return _decoded(raw, what=what, file=name)


def _decoded(raw: bytes, *, what: str, file: str) -> str:
    if raw.startswith(_UTF_16):
        raise FileUnreadable(
            "this is UTF-16 text", mend="save the file as UTF-8 and try again", file=file, key="line 1"
        )
    if b"\0" in raw:
        line = raw[: raw.index(b"\0")].count(b"\n") + 1
        raise FileUnreadable(
            "this is not plain text",
            mend=f"check that it is the {what}, and save it as UTF-8 text",
            file=file,
            key=f"line {line}",
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise FileUnreadable(
            "this is not UTF-8 text",
            mend="save the file as UTF-8 and try again",
            file=file,
            key=f"line {line}",
        ) from None


def parse_toml(text: str, *, file: str) -> dict[str, Any]:
    """Return the TOML tables of a text whose `format` this version reads.

    Args:
        text: the file's text.
        file: its name, for messages.

    Returns:
        The tables; every name in them can be shown on a line, and every whole number printed.

    Raises:
        FileUnreadable: the text is not TOML, is of another format, is nested deeper than any car needs, or
            names a key with more than a short line of characters that can be shown.
        OutOfRange: a whole number has hundreds of digits.
    """
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _not_toml(str(error), text, file) from None
    except RecursionError:
        raise FileUnreadable("brackets are nested too deeply", mend="check the file", file=file) from None
    except ValueError:
        # The interpreter itself refuses decimal whole numbers of thousands of digits.
        raise FileUnreadable(
            "a whole number has thousands of digits", mend="check the numbers in the file", file=file
        ) from None
    _check_sound(found, file=file)
    if "format" not in found:
        raise FileUnreadable(
            "the format is not said", mend="write format = 1 as the first line", file=file, key="format"
        )
    number = found["format"]
    if isinstance(number, bool) or not isinstance(number, int) or number != FORMAT:
        newer = isinstance(number, int) and number > FORMAT
        raise FileUnreadable(
            f"format {echo(number)} is not known; this version reads format {FORMAT}",
            mend="update rollwright" if newer else f"write format = {FORMAT}",
            file=file,
            key="format",
        )
    return found


def _not_toml(said: str, text: str, file: str) -> FileUnreadable:
    reason, _, place = said.rpartition(" (at ")
    line = re.match(r"line \d+", place)
    last = text.rstrip().count("\n") + 1
    problem, mend = next(
        (words for start, *words in _REASONS if reason.startswith(start)),
        (f"this is not TOML: {echo(reason).strip(chr(34))}", f"check this line; {_QUOTES}"),
    )
    return FileUnreadable(problem, mend=mend, file=file, key=line[0] if line else f"line {last}")


def _check_sound(found: Mapping[str, Any], *, file: str) -> None:
    """Refuse what no message could quote on one line: odd names, endless numbers, bottomless tables."""
    waiting: list[tuple[str, Any, int]] = [("", found, 0)]
    while waiting:
        key, value, depth = waiting.pop()
        if depth > _DEEPEST:
            raise FileUnreadable(
                "tables or lists are nested too deeply", mend="check the file", file=file, key=key[:60]
            )
        if isinstance(value, Mapping):
            for name, part in value.items():
                if not name.strip() or not name.isprintable() or len(name) > _LONGEST_NAME:
                    raise FileUnreadable(
                        f"{echo(name)} cannot be a name",
                        mend="use a short name of letters, figures and _",
                        file=file,
                        key=key,
                    )
                waiting.append((f"{key}.{name}" if key else name, part, depth + 1))
        elif isinstance(value, list):
            waiting.extend((key, part, depth + 1) for part in value)
        elif isinstance(value, int) and abs(value) >= _LARGEST_WHOLE:
            raise OutOfRange(
                "a whole number of more than 400 digits is no size", mend="check it", file=file, key=key
            )
