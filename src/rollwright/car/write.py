"""Writing a car file back: only what changed, comments and layout kept, never half a file."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from rollwright.car.file import parse_car
from rollwright.errors import FileUnreadable, FileUnwritable
from rollwright.quantity import Quantity
from rollwright.units import FACTORS, Kind

__all__ = ["save_bytes", "save_text", "updated_text"]

_DECIMALS = 5
_DECIMALS_OF_LARGE_UNITS = 8
_LARGE_UNIT = 30.0
_NUMBER_MARKS = "0123456789.,/+-−⁄ \u00a0\u202f½¼¾⅛⅜⅝⅞⅓⅔"
_INCH_MARKS = str.maketrans({"″": '"', "”": '"'})


def updated_text(
    text: str,
    changes: Mapping[str, Quantity],
    *,
    kinds: Mapping[str, Kind],
    remarks: Mapping[str, str] = MappingProxyType({}),
    file: str = "car.toml",
) -> str:
    """Return a car file's text with some quantities changed and everything else left as it stands.

    A value that the builder wrote with a unit is written in that unit again; a bare number stays bare.

    Args:
        text: the file's present text.
        changes: new quantities by dotted key, such as `stations.front_left.relief`.
        kinds: kind of each of those quantities, by the same keys.
        remarks: what to say behind a new value, by the same keys; a remark that is there already stays.
        file: the file's name, for messages.

    Returns:
        The new text; it has been read back and checked.

    Raises:
        InputError: the present text, or the text with its changes, is not a usable car file.
    """
    import tomlkit  # noqa: PLC0415 - only writing needs it, and it costs start-up time
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415

    parse_car(text, file=file)
    wanted = tomllib.loads(text)
    added: dict[str, list[str]] = {}
    try:
        document = tomlkit.parse(text)
        for key, quantity in changes.items():
            *tables, last = _parts(key)
            place, missing = _walk(document, tables)
            old = None if missing else place.get(last)
            like = old.get("value") if isinstance(old, Mapping) else old
            if old is None and kinds[key] is Kind.LENGTH:
                like = _habit(wanted)
            remark = remarks.get(key, "")
            written = _written(quantity, kinds[key], like=like)
            _merge(wanted, tables, last, written)
            heading = f"[{'.'.join(map(_quoted, tables))}]"
            if _is_inline(place):
                _set_inline(place, missing, last, written)
            elif not missing and (old is not None or _find(_lines(text), heading) is None):
                _set(place, last, written, remark=remark)
            else:
                behind = f"  # {remark}" if remark else ""
                added.setdefault(heading, []).append(f"{last} = {_inline(written).as_string()}{behind}")
        new = _with_lines(tomlkit.dumps(document), added)
        # The library that keeps comments moves some keys of unusual layouts into another table.
        sound = tomllib.loads(new) == wanted
    except (TOMLKitError, RecursionError, tomllib.TOMLDecodeError):
        sound = False
    if not sound:
        raise FileUnreadable(
            "this file is laid out in a way that cannot be changed line by line",
            mend="write each table under one heading of its own",
            file=file,
        )
    parse_car(new, file=file)
    return new


def _walk(document: Any, tables: list[str]) -> tuple[Any, list[str]]:
    """Return the innermost table that is there, and the names of those that are missing below it."""
    place: Any = document
    for depth, table in enumerate(tables):
        if table not in place:
            return place, tables[depth:]
        place = place[table]
    return place, []


def _merge(wanted: dict[str, Any], tables: list[str], last: str, written: Mapping[str, object]) -> None:
    """Put the change into plain data, to compare with what the new text says."""
    place = wanted
    for table in tables:
        place = place.setdefault(table, {})
    old = place.get(last)
    place[last] = {**old, **written} if isinstance(old, dict) else dict(written)


def _habit(wanted: Mapping[str, Any]) -> object:
    """Return how the builder writes a length: as the body's width is written, if it is."""
    body = wanted.get("body", {})
    width = body.get("width") if isinstance(body, Mapping) else None
    return width.get("value") if isinstance(width, Mapping) else width


def _set(place: Any, last: str, written: Mapping[str, object], *, remark: str = "") -> None:
    old: Any = place.get(last)
    if isinstance(old, Mapping):
        place[last].update(written)
        return
    inline = _inline(written)
    if remark and not (old is not None and hasattr(old, "trivia") and old.trivia.comment):
        inline.comment(remark)
        inline.trivia.comment_ws = "  "
        place[last] = inline
        return
    if old is not None and hasattr(old, "trivia"):
        # The remark at the end of the line belongs to the key, so it stays with the new value.
        inline.trivia.comment_ws = old.trivia.comment_ws
        inline.trivia.comment = old.trivia.comment
    place[last] = inline


def _set_inline(place: Any, missing: list[str], last: str, written: Mapping[str, object]) -> None:
    import tomlkit  # noqa: PLC0415 - see updated_text

    if not missing:
        _set(place, last, written)
        return
    place[missing[0]] = tomlkit.inline_table()
    _set_inline(place[missing[0]], missing[1:], last, written)


def _inline(written: Mapping[str, object]) -> Any:
    import tomlkit  # noqa: PLC0415 - see updated_text

    inline = tomlkit.inline_table()
    inline.update(written)
    return inline


def _is_inline(place: object) -> bool:
    from tomlkit.items import InlineTable  # noqa: PLC0415 - see updated_text

    return isinstance(place, InlineTable)


def _quoted(name: str) -> str:
    if re.fullmatch(r"[A-Za-z0-9_-]+", name):
        return name
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _lines(text: str) -> list[str]:
    """Return the lines with their ends, split where TOML splits them and nowhere else."""
    return re.findall(r"[^\n]*\n|[^\n]+$", text)


def _find(lines: list[str], heading: str) -> int | None:
    for index, line in enumerate(lines):
        if re.sub(r"\s", "", line.partition("#")[0]) == heading.replace(" ", ""):
            return index
    return None


def _with_lines(text: str, added: Mapping[str, list[str]]) -> str:
    """Return the text with new lines under their headings.

    They go before the first blank line, so that a remark above the next heading stays with it; a heading
    that is missing goes to the end, where its keys cannot land in another table.
    """
    newline = "\r\n" if "\r\n" in text else "\n"
    lines = _lines(text)
    if added and lines and not lines[-1].endswith("\n"):
        lines[-1] += newline
    for heading, new in added.items():
        at = _find(lines, heading)
        if at is None:
            lines += [line + newline for line in ("", heading, *new)]
            continue
        end = at + 1
        while end < len(lines) and lines[end].strip() and not lines[end].lstrip().startswith("["):
            end += 1
        lines[end:end] = [line + newline for line in new]
    return "".join(lines)


def _parts(key: str) -> list[str]:
    """Split a dotted key; the name of a wheel or axle may itself hold dots."""
    head, _, rest = key.partition(".")
    if head in {"wheels", "axles", "weights"}:
        name, _, last = rest.rpartition(".")
        return [head, name, last]
    return key.split(".")


def _written(quantity: Quantity, kind: Kind, *, like: object) -> dict[str, float | str]:
    unit, factor = _unit_of(like, kind)
    bare = float(FACTORS[kind.bare][1])
    decimals = _DECIMALS if factor < _LARGE_UNIT * bare else _DECIMALS_OF_LARGE_UNITS
    value = round(quantity.value / factor, decimals)
    # Three figures of an uncertainty are more than anyone knows; a tiny one must not round to nothing.
    uncertainty = float(f"{quantity.uncertainty / factor:.3g}")
    source = quantity.source.value
    if not unit:
        return {"value": value, "uncertainty": uncertainty, "from": source}
    return {
        "value": f"{value:.{decimals}f}".rstrip("0").rstrip(".") + f" {unit}",
        "uncertainty": f"{uncertainty:g} {unit}",
        "from": source,
    }


def _unit_of(like: object, kind: Kind) -> tuple[str, float]:
    """Return the unit that an old value was written in and its factor; no unit where it was bare."""
    unit = like.translate(_INCH_MARKS).strip(_NUMBER_MARKS) if isinstance(like, str) else ""
    unit = {"''": '"'}.get(unit, unit)
    found = FACTORS.get(unit.casefold())
    if found is None or found[0] is not kind:
        return "", float(FACTORS[kind.bare][1])
    return ("in" if unit == '"' else unit), float(found[1])


def save_text(path: str | os.PathLike[str], text: str, *, overwrite: bool = False) -> None:
    """Write a text file whole or not at all; see `save_bytes`.

    Args:
        path: where to write.
        text: what to write, as UTF-8.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: a file is there already, or it cannot be written.
    """
    try:
        data = text.encode("utf-8")
    except ValueError:
        raise FileUnwritable(
            "it holds letters that no file can hold",
            mend="write its names in ordinary letters",
            file=Path(path).name,
        ) from None
    save_bytes(path, data, overwrite=overwrite)


def save_bytes(path: str | os.PathLike[str], data: bytes, *, overwrite: bool = False) -> None:
    """Write a file whole or not at all.

    What is written goes to a new file beside the old one, is forced to the disk, and then takes its name, so
    that a crash or a full disk leaves the old file as it was. A link stays a link: the file that it points
    to is the one that is written.

    Args:
        path: where to write.
        data: what to write.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: a file is there already, or it cannot be written.
    """
    name = Path(path).name
    temporary: Path | None = None
    try:
        target = Path(os.path.realpath(path))
        if target.exists() and not overwrite:
            raise FileUnwritable(
                "this file is there already and stays as it is",
                mend="choose another name, or move it away first",
                file=name,
            )
        new = target.with_name(f".{target.name}.{secrets.token_hex(4)}.tmp")
        # Opened so, it gets the permissions that any new file of the builder's gets.
        handle = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        temporary = new
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            new.chmod(target.stat().st_mode)
        new.replace(target)
        temporary = None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it cannot be written"
        raise FileUnwritable(
            str(reason).lower(),
            mend="check that the folder is there, has room and may be written",
            file=name,
        ) from None
    finally:
        if temporary:
            with contextlib.suppress(OSError):
                temporary.unlink()
