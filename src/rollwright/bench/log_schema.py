"""The JSON Schema of a line of an exported log, made from the same forms that read and write it."""

from __future__ import annotations

import dataclasses
from typing import Any

from rollwright.bench.codec import CAR
from rollwright.bench.events import EVENTS
from rollwright.bench.exchange import FORMAT
from rollwright.bench.forms import (
    HASH,
    IDENTITY,
    NAME,
    Checked,
    Form,
    Many,
    Number,
    Record,
    Text,
    Word,
    forms_of,
)

__all__ = ["log_schema"]

_DRAFT = "https://json-schema.org/draft/2020-12/schema"
_TIME = r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z$"
_LINES = ("header_line", "entry_line", "photo_line", "last_line")
_DAY = 86_400
_BASE64 = "^[A-Za-z0-9+/]+={0,2}$"


def log_schema() -> dict[str, Any]:
    """Return the schema of one line of an exported log.

    Returns:
        A schema (draft 2020-12) that a header, an entry, a photo and a last line each fulfil. What ties the
        lines together, numbers without gaps, hashes and the order of events, is not in it.
    """
    return {
        "$schema": _DRAFT,
        "title": "A line of a rollwright log, exported",
        "oneOf": [{"$ref": f"#/$defs/{name}"} for name in _LINES],
        "$defs": {
            "header_line": _object(
                {"format": {"const": "rollwright-log"}, "version": {"const": FORMAT}},
                text="the first line",
            ),
            "entry_line": _object(
                {
                    "author": _form(NAME),
                    "body": {"oneOf": [{"$ref": f"#/$defs/{kind}"} for kind in EVENTS]},
                    "car": _form(CAR),
                    "device": {"type": "string"},
                    "hash": _form(HASH),
                    "id": _form(IDENTITY),
                    "offset": {"type": "integer", "minimum": -_DAY, "maximum": _DAY},
                    "previous": _form(HASH),
                    "program": {"type": "string"},
                    "seq": {"type": "integer", "minimum": 1},
                    "time": {"type": "string", "pattern": _TIME},
                },
                text="something that was entered",
            ),
            "photo_line": _object(
                {"bytes": {"type": "string", "pattern": _BASE64}, "photo": _form(HASH)},
                text="the bytes of a photo, before the first entry that shows it",
            ),
            "last_line": _object(
                {"entries": {"type": "integer", "minimum": 0}, "head": _form(HASH)},
                text="the last line: how many entries there are, and the last one's hash",
            ),
            **{kind: _event(event) for kind, event in EVENTS.items()},
        },
    }


def _object(properties: dict[str, Any], *, text: str, optional: tuple[str, ...] = ()) -> dict[str, Any]:
    return {
        "description": text,
        "type": "object",
        "properties": properties,
        "required": [name for name in properties if name not in optional],
        "additionalProperties": False,
    }


def _event(event: type[Checked]) -> dict[str, Any]:
    first_line = (event.__doc__ or "").strip().splitlines()[0]
    version: int = getattr(event, "version")  # noqa: B009 - only events have one, records do not
    fields, optional = _fields(event)
    return _object(
        {"event": {"const": event.kind}, "version": {"const": version}, **fields},
        text=first_line,
        optional=optional,
    )


def _fields(record: type[Checked]) -> tuple[dict[str, Any], tuple[str, ...]]:
    fields = {name: _form(form) for name, form, _ in forms_of(record)}
    optional = tuple(name for name, _, default in forms_of(record) if default is not dataclasses.MISSING)
    return fields, optional


def _form(form: Form) -> dict[str, Any]:
    if isinstance(form, Number):
        least = "exclusiveMinimum" if form.above else "minimum"
        unit = {"description": form.kind.si} if form.kind.si else {}
        return {**unit, "type": "number", least: form.low, "maximum": form.high}
    if isinstance(form, Text):
        pattern = {"pattern": f"^(?:{form.pattern})$"} if form.pattern else {}
        return {"type": "string", "minLength": 1, "maxLength": form.longest, **pattern}
    if isinstance(form, Word):
        return {"enum": [choice.value for choice in form.choices]}
    if isinstance(form, Many):
        count = {"minItems": form.exactly, "maxItems": form.exactly} if form.exactly else {}
        return {"type": "array", "items": _form(form.item), **({"maxItems": form.most} | count)}
    if isinstance(form, Record):
        fields, optional = _fields(form.record)
        return _object(fields, text=(form.record.__doc__ or "").strip().splitlines()[0], optional=optional)
    raise TypeError(f"no schema is known for {type(form).__name__}")
