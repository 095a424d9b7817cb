"""The published shape of a car file: a JSON Schema and the reference tables, both made from the keys.

The schema (JSON Schema, draft 2020-12) serves editors that complete and check TOML. It knows names, types
and the range of bare numbers; what a text such as `"1 3/4 in"` comes to is known to the reader alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rollwright.car.keys import (
    AXLE_KEYS,
    BOARD_KEYS,
    BODY_KEYS,
    DRILL_KEYS,
    RAIL_KEYS,
    STATION_KEYS,
    TARGETS,
    WEIGHT_KEYS,
    WHEEL_KEYS,
    Key,
    TargetKey,
)
from rollwright.car.model import Seat, Station
from rollwright.car.toml_file import FORMAT
from rollwright.quantity import Source
from rollwright.units import FACTORS, Kind

__all__ = ["OTHER_KEYS", "SECTIONS", "bare", "car_schema", "json_text", "key_table_markdown", "signs"]

SECTIONS = (
    ("body", "the bare wooden body", BODY_KEYS),
    ("wheels.NAME", "a wheel, or a make of wheel", WHEEL_KEYS),
    ("axles.NAME", "an axle pin, or a kind of pin", AXLE_KEYS),
    ("stations.STATION", "what is drilled and fitted at one wheel", STATION_KEYS),
    ("weights.NAME", "a weight in the body", WEIGHT_KEYS),
    ("rail", "the guide rail of the lane", RAIL_KEYS),
    ("board", "the tuning board", BOARD_KEYS),
    ("drill", "how far a drilled hole may be off, either way", DRILL_KEYS),
)
"""The headings of a car file, what each holds in a builder's words, and its quantities."""

OTHER_KEYS = {
    "format": f"version of the file's layout; always {FORMAT}",
    "name": "what the car is called",
    "seat": "where in its play the wheel runs: body, middle or head; left out, it is inferred",
    "wheel": "which wheel is fitted here: the NAME of a [wheels.NAME]",
    "axle": "which axle is fitted here: the NAME of an [axles.NAME]",
    "dominant": "the front wheel that is steered into the rail: front_left or front_right",
    "bent_axles": "whether the class allows bent axles: true or false",
}
"""The keys that hold no quantity."""

DRAFT = "https://json-schema.org/draft/2020-12/schema"
_LONGEST_TEXT = 100
_LONGEST_NAME = 80
_WRITTEN = {"$ref": "#/$defs/written"}


def json_text(schema: dict[str, Any]) -> str:
    """Return a schema as the text of its committed file."""
    import json  # noqa: PLC0415 - only publishing needs it

    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def bare(value: float, kind: Kind) -> float:
    """Return a value as a bare number of the file.

    Args:
        value: the value [SI].
        kind: what sort of quantity it is.

    Returns:
        The number [mm, deg, g, mm2*g or 1], without the noise of its last binary digits.
    """
    number = round(value / float(FACTORS[kind.bare][1]), 9)
    return int(number) if number.is_integer() else number


def signs(key: Key | TargetKey) -> str:
    """Return what either sign of a key's value means, or nothing where only one makes sense."""
    return f"positive: {key.plus}; negative: {key.minus}" if key.plus else ""


def _default(key: Key) -> str:
    if key.default_point is not None:
        return "[" + ", ".join(f"{bare(part, key.kind):g}" for part in key.default_point) + "]"
    return "" if key.default is None else f"{bare(key.default, key.kind):g}"


def _described(key: Key) -> str:
    signed = signs(key)
    default = _default(key)
    return (
        f"{key.help}{f' ({signed})' if signed else ''}. "
        f"Unit of a bare number: {key.kind.bare}. "
        f"Allowed: {bare(key.low, key.kind):g} to {bare(key.high, key.kind):g}. "
        + (f"Default: {default}." if default else "No default.")
    )


def _object(properties: dict[str, Any], *, required: Iterable[str] = (), text: str = "") -> dict[str, Any]:
    found: dict[str, Any] = {"type": "object"}
    if text:
        found["description"] = text
    found |= {"properties": properties, "additionalProperties": False}
    needed = list(required)
    return found | {"required": needed} if needed else found


def _sourced(value: dict[str, Any]) -> dict[str, Any]:
    return _object(
        {
            "value": value,
            "uncertainty": {"anyOf": [{"type": "number", "minimum": 0}, _WRITTEN]},
            "from": {"enum": [source.value for source in Source]},
        },
        required=("value",),
    )


def _quantity(key: Key) -> dict[str, Any]:
    number = {"type": "number", "minimum": bare(key.low, key.kind), "maximum": bare(key.high, key.kind)}
    plain = [number, _WRITTEN]
    shape: dict[str, Any] = {"anyOf": [*plain, _sourced({"anyOf": plain})]}
    if key.point:
        three = {"type": "array", "items": shape, "minItems": 3, "maxItems": 3}
        shape = {"anyOf": [three, _sourced(three)]}
        default: Any = None if key.default_point is None else [bare(x, key.kind) for x in key.default_point]
    else:
        default = None if key.default is None else bare(key.default, key.kind)
    return {"description": _described(key)} | ({} if default is None else {"default": default}) | shape


def _quantities(keys: Iterable[Key]) -> dict[str, Any]:
    return {key.name: _quantity(key) for key in keys}


def _named(part: dict[str, Any], text: str) -> dict[str, Any]:
    return {
        "type": "object",
        "description": text,
        "propertyNames": {"minLength": 1, "maxLength": _LONGEST_NAME},
        "additionalProperties": part,
    }


def _target(target: TargetKey) -> dict[str, Any]:
    number = {"type": "number", "minimum": -10_000, "maximum": 10_000}
    plain = [number, _WRITTEN]
    tolerance = {"anyOf": [{"type": "number", "exclusiveMinimum": 0, "maximum": 10_000}, _WRITTEN]}
    return {
        "description": f"{target.help} ({signs(target)}). Unit of a bare number: mm. Default: "
        f"{bare(target.value, Kind.LENGTH):g} within {bare(target.tolerance, Kind.LENGTH):g}.",
        "anyOf": [*plain, _object({"value": {"anyOf": plain}, "tolerance": tolerance})],
    }


def _word(name: str, *words: str) -> dict[str, Any]:
    return {"description": OTHER_KEYS[name], "enum": list(words)}


def _text(name: str) -> dict[str, Any]:
    return {
        "description": OTHER_KEYS[name],
        "type": "string",
        "pattern": "\\S",
        "maxLength": _LONGEST_NAME,
    }


def car_schema() -> dict[str, Any]:
    """Return the JSON Schema of a car file.

    Returns:
        A schema of draft 2020-12 as plain data. Bare numbers are in millimetres, degrees, grams and mm2*g.
    """
    station = _quantities(STATION_KEYS) | {
        "seat": _word("seat", *(seat.value for seat in Seat)),
        "wheel": _text("wheel"),
        "axle": _text("axle"),
    }
    fronts = [place.value for place in Station if place.is_front]
    return {
        "$schema": DRAFT,
        "title": "rollwright car file",
        "description": "A gravity-raced block car. What is left out is assumed from the shipped defaults.",
        **_object(
            {
                "format": {"description": OTHER_KEYS["format"], "const": FORMAT},
                "name": _text("name"),
                "body": _object(_quantities(BODY_KEYS), text="the bare wooden body"),
                "wheels": _named(_object(_quantities(WHEEL_KEYS)), "wheels by name"),
                "axles": _named(_object(_quantities(AXLE_KEYS)), "axle pins by name"),
                "stations": _object(
                    {place.value: {"$ref": "#/$defs/station"} for place in Station},
                    text="what is drilled and fitted at each wheel",
                ),
                "weights": _named(
                    _object(_quantities(WEIGHT_KEYS), required=[key.name for key in WEIGHT_KEYS]),
                    "weights by name",
                ),
                "setup": _object(
                    {
                        "dominant": _word("dominant", *fronts),
                        "bent_axles": {"description": OTHER_KEYS["bent_axles"], "type": "boolean"},
                    }
                ),
                "rail": _object(_quantities(RAIL_KEYS), text="the guide rail of the lane"),
                "board": _object(_quantities(BOARD_KEYS), text="the tuning board"),
                "drill": _object(_quantities(DRILL_KEYS), text="how far a drilled hole may be off"),
                "targets": _object({target.name: _target(target) for target in TARGETS}),
            },
            required=("format",),
        ),
        "$defs": {"written": written_schema(), "station": _object(station)},
    }


def written_schema() -> dict[str, Any]:
    """Return the schema of a quantity written as a text."""
    return {
        "description": 'a number with its unit, as in "1 3/4 in", "12 thou", "2.5 deg" or "0.2 oz"',
        "type": "string",
        "pattern": "[0-9½¼¾⅛⅜⅝⅞⅓⅔]",
        "maxLength": _LONGEST_TEXT,
    }


def key_table_markdown() -> str:
    """Return the tables of keys for the reference page of the car file.

    Returns:
        Markdown: for each heading of the file a table of its quantities with what it is, the unit of a bare
        number, the default and the allowed range, and last the targets.
    """
    return "\n".join(
        [*(line for heading, text, keys in SECTIONS for line in _section(heading, text, keys)), *_targets()]
    )


def _section(heading: str, text: str, keys: Iterable[Key]) -> Iterable[str]:
    yield from (f"### `[{heading}]`: {text}", "")
    yield "| key | what it is | bare unit | default | allowed | ± if given bare | ± if assumed |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for key in keys:
        signed = signs(key)
        cells = (
            f"`{key.name}`",
            key.help + (f"; {signed}" if signed else ""),
            key.kind.bare.replace("*", "\\*"),
            f"`{_default(key)}`" if _default(key) else "none",
            f"{bare(key.low, key.kind):g} to {bare(key.high, key.kind):g}",
            f"{bare(key.drawing, key.kind):g}",
            f"{bare(key.guess, key.kind):g}" if _default(key) else "",
        )
        yield f"| {' | '.join(cells)} |"
    yield ""


def _targets() -> Iterable[str]:
    yield from ("### `[targets]`: what is wanted of the car", "")
    yield "| key | what it is | bare unit | default value | default tolerance |"
    yield "| --- | --- | --- | --- | --- |"
    for target in TARGETS:
        value, tolerance = bare(target.value, Kind.LENGTH), bare(target.tolerance, Kind.LENGTH)
        yield f"| `{target.name}` | {target.help}; {signs(target)} | mm | `{value:g}` | `{tolerance:g}` |"
    yield ""
