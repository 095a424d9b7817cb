"""A reading as a builder says it, turned into an entry of the bench log."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rollwright.bench import Plane, ReadingTaken
from rollwright.car.dimensions import dimension_kind, dimension_names
from rollwright.car.model import Seat, Station
from rollwright.car.table import nearest
from rollwright.errors import InputError, OutOfRange, ReadingUnusable, echo
from rollwright.setup.reading_keys import READING_KEYS, Form, ReadingKind, keys_of
from rollwright.units import Kind, parse, parse_sided
from rollwright.workbench.log import Entered, Stamp, enter

if TYPE_CHECKING:
    from rollwright.setup.readings import Reading

__all__ = ["read", "reading_event", "unit_of"]

_KINDS = [kind.value for kind in ReadingKind]
_BY_GATE = {"level": "height_difference", "steer": "drift", "centre": "rail_offset", "rail": "rail_offset"}
"""What is read for a gate, by the gate's name and by what a page calls its number."""
_KEYS = {key.name: key for key in READING_KEYS}
_SIZES = ("uncertainty", "common", "distance", "thickness", "width", "against")
_SIDE = re.compile(r"\b(left|right)\b", re.IGNORECASE)
_LONGEST = 1000
_POINT = '"600 mm 12.5 mm right"'


def read(
    log: str | os.PathLike[str],
    car: str,
    kind: str,
    values: Sequence[str],
    keys: Mapping[str, str],
    *,
    trace: Sequence[str] = (),
    stamp: Stamp,
) -> Entered:
    """Enter a reading.

    Args:
        log: path of the log.
        car: the car's id.
        kind: what was read, as a readings file names it.
        values: the reading or its repeats, as the builder wrote them.
        keys: further keys of a readings file, as written.
        trace: points of a drift's path in place of values, as written; see `reading_event`.
        stamp: who and when.

    Returns:
        The entry, and how the gates stand after it.

    Raises:
        InputError: the words cannot be read, the reading is impossible on this car, or the log cannot be
            written; nothing was entered.
    """
    return enter(log, car, reading_event(kind, values, keys, trace=trace), stamp=stamp)


def reading_event(
    kind: str, values: Sequence[str], keys: Mapping[str, str], *, trace: Sequence[str] = ()
) -> ReadingTaken:
    """Return a reading in the form of the log.

    Args:
        kind: what was read, as a readings file names it, or the gate that it speaks for; capitals, spaces and
            hyphens do not matter.
        values: the reading or its repeats, as the builder wrote them.
        keys: further keys of a readings file, as written.
        trace: points of a drift's path in place of values, each down the board and sideways with its side,
            such as `600 mm 12.5 mm right`.

    Returns:
        The reading in SI units; what was not said stays unsaid.

    Raises:
        InputError: the words cannot be read; the message names the option and the mend.
    """
    word = _BY_GATE.get(_word(kind), _word(kind))
    if word not in _KINDS:
        raise ReadingUnusable(
            f"{echo(kind)} is not a kind of reading", mend=nearest(word, _KINDS), key="kind"
        )
    what = ReadingKind(word)
    _check_one_form(what, values, trace)
    for value in values:
        if not re.search(r"\d|[½¼¾⅛⅜⅝⅞⅓⅔]", value):
            raise ReadingUnusable(
                f"{echo(value)} is no reading by itself",
                mend='put each reading in quotes, as in "97 mm right"',
                key=what.words,
            )
    said = {name: _word(text) if _is_word(name) else text for name, text in keys.items()}
    _check_options(what, said)
    found = _checked_by_file_reader(what, values, said, trace=[_point(text) for text in trace])
    unit = unit_of(said.get("dimension", ""))
    sizes = {name: parse(said[name], kind=_unit(name, unit)) for name in _SIZES if name in said}
    return ReadingTaken(
        reading=what,
        values=() if trace else found.quantity.repeats,
        trace=found.trace,
        uncertainty=sizes.get("uncertainty"),
        common=sizes.get("common"),
        set_up=said.get("set_up", ""),
        station=Station(said["station"]) if "station" in said else None,
        instrument=said.get("instrument", ""),
        distance=sizes.get("distance"),
        thickness=sizes.get("thickness"),
        width=sizes.get("width"),
        seat=Seat(said["seat"]) if "seat" in said else None,
        plane=Plane(said["plane"]) if "plane" in said else None,
        against=sizes.get("against"),
        dimension=said.get("dimension", ""),
        written="; ".join(trace).replace("\N{MINUS SIGN}", "-")[:_LONGEST]
        if trace
        else ", ".join(values).replace("\N{MINUS SIGN}", "-"),
        note=said.get("note", ""),
    )


def unit_of(dimension: str) -> Kind:
    """Return the kind of a reading's number: that of the dimension it was read of, else a length."""
    return dimension_kind(dimension) if dimension else Kind.LENGTH


def _unit(name: str, unit: Kind) -> Kind:
    """Return the kind of a key's number; how well a reading is known has the unit of the reading."""
    if name in {"uncertainty", "common"}:
        return unit
    return Kind.ANGLE if name == "against" else Kind.LENGTH


def _word(text: str) -> str:
    return re.sub(r"[\s_-]+", "_", text.strip()).casefold()


def _is_word(name: str) -> bool:
    return _KEYS[name].form is Form.WORD and name != "dimension"


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _check_options(what: ReadingKind, said: Mapping[str, str]) -> None:
    allowed = {key.name for key in keys_of(what)}
    for name in said:
        if name not in allowed:
            raise ReadingUnusable(
                f"a reading of {what.words} has no {_option(name)}", mend="leave it out", key=_option(name)
            )
    for key in READING_KEYS:
        if what in key.needed and key.name != "kind" and key.name not in said:
            stations = ", ".join(station.value for station in Station)
            example = f"one of {stations}" if key.name == "station" else "such as body.width"
            raise ReadingUnusable(
                f"a reading of {what.words} needs its {key.name}",
                mend=f"say {_option(key.name)}, {example}",
                key=what.words,
            )
    if "common" in said and "set_up" not in said:
        raise ReadingUnusable(
            "an error that readings share belongs to a set-up",
            mend="name the set-up with --set-up",
            key="--common",
        )
    if what is ReadingKind.SIZE and said["dimension"] not in dimension_names():
        raise OutOfRange(
            f"{echo(said['dimension'])} is not a dimension of a car",
            mend=nearest(said["dimension"], dimension_names()),
            key="--dimension",
        )


def _check_one_form(what: ReadingKind, values: Sequence[str], trace: Sequence[str]) -> None:
    """Refuse a reading without its number, and one that gives it twice."""
    traced = what is ReadingKind.DRIFT
    if trace and not traced:
        raise ReadingUnusable(f"a reading of {what.words} has no --trace", mend="leave it out", key="--trace")
    if values and trace:
        raise ReadingUnusable(
            "a drift is read as values or as the points of a trace", mend="leave one out", key="--trace"
        )
    if not values and not trace:
        points = f", or the points of its path, each as in --trace {_POINT}" if traced else ""
        raise ReadingUnusable(
            f"a reading of {what.words} has no value", mend=f"give VALUE{points}", key=what.words
        )


def _point(written: str) -> tuple[str, str]:
    """Return the two parts of a point, down the board and sideways, wherever the space between them is."""
    words = written.replace(", ", " ").split()
    ways = [(" ".join(words[:at]), " ".join(words[at:])) for at in range(1, len(words))]
    found = [(x, y) for x, y in ways if _is_length(x, sided=False) and _is_length(y, sided=True)]
    if len(found) != 1:
        raise ReadingUnusable(
            f"{echo(written)} is not one length down the board and one sideways",
            mend=f"write it such as {_POINT}",
            key="--trace",
        )
    ((down, sideways),) = found
    if parse_sided(sideways) != 0.0 and not _SIDE.search(sideways) and sideways[0] not in "+-\N{MINUS SIGN}":
        raise ReadingUnusable(
            f"{echo(written)} does not say to which side", mend=f"write it such as {_POINT}", key="--trace"
        )
    return down, sideways


def _is_length(written: str, *, sided: bool) -> bool:
    try:
        parse_sided(written) if sided else parse(written, kind=Kind.LENGTH)
    except InputError:
        return False
    return True


def _checked_by_file_reader(
    what: ReadingKind, values: Sequence[str], said: Mapping[str, str], *, trace: Sequence[tuple[str, str]]
) -> Reading:
    """Return the reading [SI]: a readings file with the same words decides what can be read."""
    from rollwright.setup.readings import parse_readings  # noqa: PLC0415 - only this needs it

    lines = [f"{name} = {_toml(text)}" for name, text in {"kind": what.value, **said}.items()]
    if trace:
        lines.append(f"trace = [{', '.join(f'[{_toml(x)}, {_toml(y)}]' for x, y in trace)}]")
    else:
        lines.append(f"values = [{', '.join(map(_toml, values))}]")
    text = "format = 1\n[[reading]]\n" + "\n".join(lines) + "\n"
    try:
        (found,) = parse_readings(text).readings
    except InputError as error:
        raise type(error)(error.problem, mend=error.mend, key=_place(error.key, what, len(values))) from None
    return found


def _toml(text: str) -> str:
    # What cannot stand in a file cannot stand in a reading either; it is refused as what it is then.
    shown = "".join(c if c.isprintable() else "?" for c in text)
    return json.dumps(shown, ensure_ascii=False)


def _place(key: str, what: ReadingKind, count: int) -> str:
    """Return where on the command line a readings file's key stands."""
    last = key.rpartition(").")[2] if ")." in key else ""
    found = re.fullmatch(r"values(?:\[(\d+)\])?", last)
    if found:
        return what.words if count == 1 or not found[1] else f"{what.words}, value {int(found[1]) + 1}"
    point = re.fullmatch(r"trace\[(\d+)\]", last)
    if point:
        return f"--trace, point {int(point[1]) + 1}"
    return _option(last) if last else what.words
