"""The published shape of a readings file: a JSON Schema and the reference tables, made from the keys."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Seat, Station
from rollwright.car.schema import DRAFT, bare, written_schema
from rollwright.car.toml_file import FORMAT
from rollwright.setup.hand import Hand
from rollwright.setup.reading_keys import (
    DEFAULT_UNCERTAINTY,
    FARTHEST,
    HAND_KEYS,
    KIND_HELP,
    READING_KEYS,
    STEEPEST,
    Form,
    ReadingKey,
    ReadingKind,
    keys_of,
)
from rollwright.units import Kind

__all__ = ["readings_schema", "readings_table_markdown"]

_LONGEST_NAME = 80
_LONGEST_NOTE = 1000
_WRITTEN = {"$ref": "#/$defs/written"}
_ANY = {"anyOf": [{"type": "number"}, _WRITTEN]}
_SIZE = {"anyOf": [{"type": "number", "exclusiveMinimum": 0}, _WRITTEN]}
_WORDS = {
    "station": [place.value for place in Station],
    "seat": [seat.value for seat in Seat],
    "plane": ["cant", "sweep"],
    "dimension": list(dimension_names()),
}


def readings_schema() -> dict[str, Any]:
    """Return the JSON Schema of a readings file.

    Returns:
        A schema of draft 2020-12 as plain data. Bare numbers are in millimetres and degrees.
    """
    name = {"type": "string", "pattern": "\\S", "maxLength": _LONGEST_NAME}
    return {
        "$schema": DRAFT,
        "title": "rollwright readings file",
        "description": "Readings taken of one car at the bench, and what the builder's hand can do.",
        "type": "object",
        "properties": {
            "format": {"description": f"version of the file's layout; always {FORMAT}", "const": FORMAT},
            "car": {"description": "which car was read, for your own memory", **name},
            "reading": {
                "type": "array",
                "items": {
                    "type": "object",
                    "required": ["kind"],
                    "properties": {"kind": {"enum": [kind.value for kind in ReadingKind]}},
                    "oneOf": [_reading(kind) for kind in ReadingKind],
                },
            },
            "hand": {
                "type": "object",
                "description": "how far a move usually lands from what was asked, as a standard deviation",
                "properties": {
                    key: {"description": text, "default": _hand_default(key), **_SIZE}
                    for key, (_, text) in HAND_KEYS.items()
                },
                "additionalProperties": False,
            },
        },
        "additionalProperties": False,
        "required": ["format"],
        "$defs": {"written": written_schema()},
    }


def _hand_default(name: str) -> float:
    kind = Kind.ANGLE if HAND_KEYS[name][0] is Form.ANGLE else Kind.LENGTH
    return bare(getattr(Hand(), name), kind)


def _reading(kind: ReadingKind) -> dict[str, Any]:
    keys = keys_of(kind)
    given = [key.name for key in keys if key.name in {"value", "values", "trace"}]
    return {
        "description": KIND_HELP[kind],
        "properties": {
            key.name: {"const": kind.value} if key.name == "kind" else _value(key) for key in keys
        },
        "additionalProperties": False,
        "required": [key.name for key in keys if kind in key.needed],
        "oneOf": [{"required": [name]} for name in given],
    }


def _value(key: ReadingKey) -> dict[str, Any]:
    most = {Form.LENGTH: bare(FARTHEST, Kind.LENGTH), Form.ANGLE: bare(STEEPEST, Kind.ANGLE)}
    shape: dict[str, Any]
    if key.form is Form.WORD:
        shape = {"enum": _WORDS[key.name]}
    elif key.form is Form.TEXT and key.name == "note":
        shape = {"type": "string", "maxLength": _LONGEST_NOTE}
    elif key.form is Form.TEXT:
        shape = {"type": "string", "pattern": "\\S", "maxLength": _LONGEST_NAME}
    elif key.form is Form.READINGS:
        shape = {"type": "array", "items": _ANY, "minItems": 1}
    elif key.form is Form.POINTS:
        point = {"type": "array", "items": _ANY, "minItems": 2, "maxItems": 2}
        shape = {"type": "array", "items": point, "minItems": 3}
    elif key.form in most:
        limit = most[key.form]
        low = {"exclusiveMinimum": 0} if key.positive else {"minimum": -limit}
        shape = {"anyOf": [{"type": "number", **low, "maximum": limit}, _WRITTEN]}
    else:
        shape = _SIZE if key.positive else _ANY
    return {"description": key.help, **shape}


def readings_table_markdown() -> str:
    """Return the tables of kinds and keys for the reference page of the readings file.

    Returns:
        Markdown: the kinds of reading, then a table of keys, then those of the hand.
    """
    return "\n".join([*_kinds(), *_keys(), *_hand()])


def _kinds() -> Iterable[str]:
    yield from ("### Kinds of reading", "")
    yield "| kind | what was read | ± if not said, mm | keys of its own |"
    yield "| --- | --- | --- | --- |"
    for kind in ReadingKind:
        own = ", ".join(
            f"`{key.name}`{' (needed)' if kind in key.needed else ''}" for key in keys_of(kind) if key.kinds
        )
        spread = f"{bare(DEFAULT_UNCERTAINTY[kind], Kind.LENGTH):g}"
        yield f"| `{kind.value}` | {KIND_HELP[kind]} | {spread} | {own} |"
    yield ""


def _keys() -> Iterable[str]:
    yield from ("### `[[reading]]`", "")
    yield "| key | what it is | written as | left out |"
    yield "| --- | --- | --- | --- |"
    for key in READING_KEYS:
        form = ", ".join(f"`{word}`" for word in _WORDS[key.name]) if _is_short(key) else key.form.value
        yield f"| `{key.name}` | {key.help} | {form} | {key.default} |"
    yield ""


def _is_short(key: ReadingKey) -> bool:
    return key.form is Form.WORD and key.name in _WORDS and len(_WORDS[key.name]) < 6


def _hand() -> Iterable[str]:
    yield from ("### `[hand]`", "")
    yield "| key | standard deviation | bare unit | default |"
    yield "| --- | --- | --- | --- |"
    for name, (form, text) in HAND_KEYS.items():
        unit = "deg" if form is Form.ANGLE else "mm"
        yield f"| `{name}` | {text} | {unit} | `{_hand_default(name):g}` |"
    yield ""
