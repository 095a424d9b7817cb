"""Reading one TOML table by its keys: types, units, ranges, sources, and messages that help."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from typing import Any

from rollwright.car.keys import MEASURED, Key
from rollwright.errors import InputError, OutOfRange, UnknownKey, UnreadableQuantity, WrongType, echo
from rollwright.quantity import Quantity, Source
from rollwright.units import Kind, parse, parse_sided, show

__all__ = [
    "check_names",
    "example",
    "in_range",
    "located",
    "nearest",
    "read_flag",
    "read_point",
    "read_quantity",
    "read_tables",
    "read_target",
    "read_text",
    "table_at",
]

_INCH = 25.4
_OUNCE = 28.349523125
_FARTHEST = 10.0
_EXAMPLE = {
    Kind.LENGTH: '12.5, "1/2 in" or "12 thou"',
    Kind.ANGLE: '2.5 or "2.5 deg"',
    Kind.MASS: '5.2 or "0.2 oz"',
    Kind.INERTIA: '320 or "320 mm2*g"',
}
_PART_NAME = {"weights": "nose"}
_SOURCES = {source.value: source for source in Source}


def nearest(name: str, known: Iterable[str]) -> str:
    """Return a hint that names the nearest known word, or all of them if none is near.

    Args:
        name: what was written.
        known: what may be written.

    Returns:
        Such as `did you mean "cant"?`.
    """
    names = list(known)
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    return f'did you mean "{close[0]}"?' if close else f"known here: {', '.join(names)}"


def check_names(table: Mapping[str, Any], known: Iterable[str], *, at: str) -> None:
    """Refuse keys that are not known.

    Args:
        table: the table as TOML gave it.
        known: the names it may hold.
        at: dotted name of the table, empty for the file's top level.

    Raises:
        UnknownKey: a key is not known; the message suggests the nearest one.
    """
    names = list(known)
    for name in table:
        if name not in names:
            key = f"{at}.{name}" if at else name
            raise UnknownKey("this key is not known", mend=nearest(name, names), key=key)


def table_at(table: Mapping[str, Any], name: str, *, at: str = "") -> Mapping[str, Any]:
    """Return a sub-table, empty if it is left out.

    Args:
        table: the table that holds it.
        name: its name.
        at: dotted name of `table`.

    Returns:
        The sub-table.

    Raises:
        WrongType: the key holds something that is not a table.
    """
    found = table.get(name, {})
    key = f"{at}.{name}" if at else name
    if not isinstance(found, Mapping):
        raise WrongType(
            f"{echo(found)} stands where a table is wanted", mend=f"write [{key}] and its keys", key=key
        )
    return found


def read_tables(table: Mapping[str, Any], name: str) -> dict[str, Mapping[str, Any]]:
    """Return the named tables under a heading such as `[wheels.ID]`.

    Args:
        table: the file's top level.
        name: the heading.

    Returns:
        The tables by their names.

    Raises:
        WrongType: the heading or one of its members is not a table.
    """
    heading = f"a heading with a name, as in [{name}.{_PART_NAME.get(name, 'standard')}]"
    group = table.get(name, {})
    if isinstance(group, list):
        raise WrongType("a list stands where named tables are wanted", mend=f"write {heading}", key=name)
    group = table_at(table, name)
    for member, part in group.items():
        if not isinstance(part, Mapping):
            raise WrongType(
                f"this stands under [{name}], which holds only named tables",
                mend=f"write {heading} above it",
                key=f"{name}.{member}",
            )
    return dict(group)


def read_text(table: Mapping[str, Any], name: str, *, at: str, default: str) -> str:
    """Return a text, refusing empty, overlong or unprintable ones.

    Args:
        table: the table.
        name: the key.
        at: dotted name of the table.
        default: what to return when it is left out.

    Returns:
        The text.

    Raises:
        WrongType: it is not a text, or not one that can be shown on a line.
    """
    written = table.get(name, default)
    key = f"{at}.{name}" if at else name
    if not isinstance(written, str):
        raise WrongType(f"{echo(written)} is not a text", mend='write it in quotes, as in "Lark"', key=key)
    if not written.strip() or len(written) > 80 or not written.isprintable():
        raise WrongType(
            f"{echo(written)} is empty, longer than 80 characters or holds characters that cannot be shown",
            mend="write a short name",
            key=key,
        )
    return written


def read_flag(table: Mapping[str, Any], name: str, *, at: str, default: bool) -> bool:
    """Return a yes or no.

    Args:
        table: the table.
        name: the key.
        at: dotted name of the table.
        default: what to return when it is left out.

    Returns:
        The value.

    Raises:
        WrongType: it is neither `true` nor `false`.
    """
    written = table.get(name, default)
    if not isinstance(written, bool):
        raise WrongType(
            f"{echo(written)} is neither true nor false", mend="write true or false", key=f"{at}.{name}"
        )
    return written


def _number(written: Any, *, kind: Kind, key: str, sided: bool = False) -> float:
    try:
        return parse_sided(written, kind=kind) if sided else parse(written, kind=kind)
    except UnreadableQuantity as error:
        raise error.at(key=key) from None


def in_range(value: float, *, key: Key, at: str, bare: bool = True) -> float:
    """Return a value that lies in its key's range.

    Args:
        value: the value [SI].
        key: its entry in the table of keys.
        at: dotted name, for messages.
        bare: whether it was written without a unit, so that another unit may have been meant.

    Returns:
        The same value.

    Raises:
        OutOfRange: it lies outside; where inches would lie inside, the message says so.
    """
    if key.low <= value <= key.high:
        return value
    low = show(key.low, kind=key.kind)
    high = show(key.high, kind=key.kind)
    problem = f"{show(value, kind=key.kind)} is outside {low} to {high}"
    if bare and key.kind is Kind.LENGTH and value > 0.0 and key.low <= value * _INCH <= key.high:
        raise OutOfRange(problem, mend=f'if it is in inches write "{value * 1e3:g} in"', key=at)
    if bare and key.kind is Kind.MASS and key.low <= value * _OUNCE <= key.high:
        raise OutOfRange(problem, mend=f'if it is in ounces write "{value * 1e3:g} oz"', key=at)
    raise OutOfRange(problem, mend="check the digits and the unit", key=at)


def _has_unit(written: Any) -> bool:
    value = written.get("value") if isinstance(written, Mapping) else written
    return isinstance(value, str) and any(letter.isalpha() or letter in "\"″'′" for letter in value)


def read_quantity(table: Mapping[str, Any], key: Key, *, at: str, assumed: list[str]) -> Quantity | None:
    """Return one quantity: a bare value or `{ value, uncertainty, from }`.

    Args:
        table: the table that may hold it.
        key: its entry in the table of keys.
        at: dotted name of the table.
        assumed: dotted names of assumed values; this one is added if it is one.

    Returns:
        The quantity, or None when it is left out and has no default.

    Raises:
        UnreadableQuantity: a number or unit cannot be read.
        OutOfRange: the number is not a possible one.
        WrongType: an unknown word stands after `from`, or `value` is missing.
        UnknownKey: the inline table holds another key.
    """
    full = f"{at}.{key.name}"
    if key.name not in table:
        if key.default is None:
            return None
        assumed.append(full)
        return Quantity(value=key.default, uncertainty=key.guess, source=Source.ASSUMED, label=full)
    value, uncertainty, source = _parts(table[key.name], key=key, at=full)
    if source is Source.ASSUMED:
        assumed.append(full)
    return Quantity(
        value=in_range(value, key=key, at=full, bare=not _has_unit(table[key.name])),
        uncertainty=uncertainty,
        source=source,
        label=full,
    )


def _parts(written: Any, *, key: Key, at: str) -> tuple[float, float, Source]:
    if not isinstance(written, Mapping):
        return _number(written, kind=key.kind, key=at), key.drawing, Source.NOMINAL
    check_names(written, ("value", "uncertainty", "from"), at=at)
    if "value" not in written:
        raise WrongType(
            "the value is missing", mend="write { value = ..., uncertainty = ..., from = ... }", key=at
        )
    value = _number(written["value"], kind=key.kind, key=f"{at}.value")
    word = written.get("from", "measured" if "uncertainty" in written else "nominal")
    if not isinstance(word, str) or word not in _SOURCES:
        raise WrongType(
            f"{echo(word)} is not a source", mend="write measured, nominal or assumed", key=f"{at}.from"
        )
    source = _SOURCES[word]
    if "uncertainty" in written:
        uncertainty = _number(written["uncertainty"], kind=key.kind, key=f"{at}.uncertainty")
        if uncertainty < 0.0:
            raise OutOfRange(
                "an uncertainty cannot be negative",
                mend="write it as a positive number",
                key=f"{at}.uncertainty",
            )
        if uncertainty > key.high - key.low:
            raise OutOfRange(
                f"an uncertainty of {show(uncertainty, kind=key.kind)} is wider than all that is possible",
                mend="check the digits and the unit",
                key=f"{at}.uncertainty",
            )
    elif source is Source.MEASURED:
        uncertainty = min(MEASURED[key.kind], key.drawing)
    else:
        uncertainty = key.guess if source is Source.ASSUMED else key.drawing
    return value, uncertainty, source


def read_point(
    table: Mapping[str, Any], key: Key, *, at: str, assumed: list[str]
) -> tuple[Quantity, Quantity, Quantity] | None:
    """Return a position: three coordinates, each a bare value or `{ value, uncertainty, from }`.

    Args:
        table: the table that may hold it.
        key: its entry in the table of keys.
        at: dotted name of the table.
        assumed: dotted names of assumed values; this one is added if it is one.

    Returns:
        Three quantities [m], or None when it is left out and has no default.

    Raises:
        WrongType: it is not a list of three.
        InputError: one of the three cannot be read; see `read_quantity`.
    """
    full = f"{at}.{key.name}"
    if key.name not in table:
        if key.default_point is None:
            return None
        assumed.append(full)
        x, y, z = (
            Quantity(value=value, uncertainty=key.guess, source=Source.ASSUMED, label=full)
            for value in key.default_point
        )
        return x, y, z
    written = table[key.name]
    inner: Mapping[str, Any] = {}
    if isinstance(written, Mapping) and "value" in written:
        inner = {name: part for name, part in written.items() if name != "value"}
        written = written["value"]
    if not isinstance(written, list) or len(written) != 3:
        raise WrongType(
            f"{echo(written)} is not three coordinates", mend="write [forward, left, up]", key=full
        )
    found: list[Quantity] = []
    for index, part in enumerate(written):
        part_table: Any = {"value": part, **inner} if inner else part
        value, uncertainty, source = _parts(part_table, key=key, at=f"{full}[{index}]")
        found.append(
            Quantity(
                value=in_range(value, key=key, at=f"{full}[{index}]"),
                uncertainty=uncertainty,
                source=source,
                label=full,
            )
        )
    if any(part.source is Source.ASSUMED for part in found):
        assumed.append(full)
    return found[0], found[1], found[2]


def example(kind: Kind) -> str:
    """Return how a quantity of a kind may be written, for help and messages.

    Args:
        kind: the kind.

    Returns:
        Two or three examples.
    """
    return _EXAMPLE.get(kind, "a number")


def read_target(written: Any, *, at: str) -> tuple[float | None, float | None]:
    """Return value and tolerance of a target, each None where it is left out.

    Args:
        written: what the file holds: a table `{ value, tolerance }` or a bare value.
        at: dotted name of the target.

    Returns:
        Value and tolerance [m].

    Raises:
        UnreadableQuantity: a length cannot be read.
        OutOfRange: the tolerance is not positive, or a length is more than 10 m.
        UnknownKey: the table holds another key.
    """
    sided = at.endswith("drift")
    parts = written if isinstance(written, Mapping) else {"value": written}
    check_names(parts, ("value", "tolerance"), at=at)
    value_at = f"{at}.value" if parts is written else at
    value = _number(parts["value"], kind=Kind.LENGTH, key=value_at, sided=sided) if "value" in parts else None
    tolerance = (
        _number(parts["tolerance"], kind=Kind.LENGTH, key=f"{at}.tolerance") if "tolerance" in parts else None
    )
    if tolerance is not None and tolerance <= 0.0:
        raise OutOfRange(
            "a tolerance must be more than zero",
            mend="write how far off is still good, as in 0.2",
            key=f"{at}.tolerance",
        )
    for number, key in ((value, value_at), (tolerance, f"{at}.tolerance")):
        if number is not None and abs(number) > _FARTHEST:
            raise OutOfRange(f"{show(number, kind=Kind.LENGTH)} is too far", mend="check the unit", key=key)
    return value, tolerance


def located(error: InputError, *, file: str) -> InputError:
    """Return an error with the file's name filled in.

    Args:
        error: the error.
        file: the file's name.

    Returns:
        The same error, knowing its file.
    """
    return error.at(file=file)
