"""Writing a car file back: only what changed, comments and layout kept, never half a file."""

from __future__ import annotations

import contextlib
import math
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollwright.car.file import parse_car
from rollwright.errors import FileUnwritable, WrongType
from rollwright.quantity import Quantity
from rollwright.units import Kind

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

__all__ = ["save_text", "updated_text"]

_BARE = {Kind.LENGTH: 1e3, Kind.ANGLE: 180.0 / math.pi, Kind.MASS: 1e3, Kind.INERTIA: 1e9}
_INCH_MARKS = ("in", '"', "″", "thou", "mil", "ft")


def updated_text(text: str, changes: Mapping[str, Quantity], *, kinds: Mapping[str, Kind]) -> str:
    """Return a car file's text with some quantities changed and everything else left as it stands.

    A value that the builder wrote in inches is written in inches again; a bare number stays bare.

    Args:
        text: the file's present text.
        changes: new quantities by dotted key, such as `stations.front_left.relief`.
        kinds: kind of each of those quantities, by the same keys.

    Returns:
        The new text; it has been read back and checked.

    Raises:
        InputError: the present text, or the text with its changes, is not a usable car file.
    """
    import tomlkit  # noqa: PLC0415 - only writing needs it, and it costs start-up time

    parse_car(text)
    document = tomlkit.parse(text)
    for key, quantity in changes.items():
        _set(document, key, quantity, kinds[key])
    new = tomlkit.dumps(document)
    parse_car(new)
    return new


def _set(document: TOMLDocument, key: str, quantity: Quantity, kind: Kind) -> None:
    import tomlkit  # noqa: PLC0415 - see updated_text

    *tables, last = _parts(key)
    place: Any = document
    for table in tables:
        if table not in place:
            place[table] = tomlkit.table()
        place = place[table]
        if not isinstance(place, Mapping):
            raise WrongType("this is not a table", mend="check the file", key=key)
    old: Any = place.get(last)
    inside = isinstance(old, Mapping)
    value = _written(quantity.value, kind, like=old["value"] if inside else old)
    uncertainty = round(quantity.uncertainty * _BARE[kind], 5)
    if inside:
        old["value"] = value
        old["uncertainty"] = uncertainty
        old["from"] = quantity.source.value
        return
    inline = tomlkit.inline_table()
    inline.update({"value": value, "uncertainty": uncertainty, "from": quantity.source.value})
    if old is not None and hasattr(old, "trivia"):
        # The remark at the end of the line belongs to the key, so it stays with the new value.
        inline.trivia.comment_ws = old.trivia.comment_ws
        inline.trivia.comment = old.trivia.comment
    place[last] = inline


def _parts(key: str) -> list[str]:
    """Split a dotted key; the name of a wheel or axle may itself hold dots."""
    head, _, rest = key.partition(".")
    if head in {"wheels", "axles", "weights"}:
        name, _, last = rest.rpartition(".")
        return [head, name, last]
    return key.split(".")


def _written(value: float, kind: Kind, *, like: object) -> float | str:
    if kind is Kind.LENGTH and isinstance(like, str) and any(mark in like.lower() for mark in _INCH_MARKS):
        return f"{value / 0.0254:.5f}".rstrip("0").rstrip(".") + " in"
    return round(value * _BARE[kind], 5)


def save_text(path: str | os.PathLike[str], text: str, *, overwrite: bool = False) -> None:
    """Write a text file whole or not at all.

    The text goes to a new file beside the old one, is forced to the disk, and then takes its name, so
    that a crash or a full disk leaves the old file as it was.

    Args:
        path: where to write.
        text: what to write.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: a file is there already, or it cannot be written.
    """
    target = Path(path)
    if target.exists() and not overwrite:
        raise FileUnwritable(
            "this file is there already and stays as it is",
            mend="choose another name, or move it away first",
            file=target.name,
        )
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes a private file; a car file is as readable as any other the builder writes.
        umask = os.umask(0)
        os.umask(umask)
        Path(temporary).chmod(0o666 & ~umask)
        Path(temporary).replace(target)
    except (OSError, ValueError) as error:
        if temporary:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
        reason = getattr(error, "strerror", None) or "it cannot be written"
        raise FileUnwritable(
            str(reason).lower(),
            mend="check that the folder is there, has room and may be written",
            file=target.name,
        ) from None
