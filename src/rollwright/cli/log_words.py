"""What a builder says a hand did: an amount with its direction, to a signed number."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from rollwright.car.model import Station
from rollwright.errors import InputError, OutOfRange, UnreadableQuantity, WrongType, echo
from rollwright.units import Kind, parse

__all__ = ["MOVES", "amount_of", "direction_of", "size_of", "station_of"]

MOVES = ("bend", "turn", "sand", "washer", "shim")
"""The moves, in the order in which a builder makes them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """How one kind of move is said.

    Attributes:
        kind: of its amount.
        ways: its directions, each +1 or -1.
        needed: whether one of them must be said.
        example: an amount as it may be written.
        most: greatest amount that a hand ever makes [rad or m].
    """

    kind: Kind
    ways: Mapping[str, int]
    needed: bool
    example: str
    most: float


_COUNTER = ("counter-clockwise", "counterclockwise", "anticlockwise", "anti-clockwise", "counter clockwise")
_ADDED = {"added": 1, "removed": -1}
_WAYS = {
    "bend": _Way(
        kind=Kind.ANGLE,
        ways={"more": 1, "less": -1},
        needed=True,
        example="1.25 deg",
        most=math.radians(45.0),
    ),
    "turn": _Way(
        kind=Kind.ANGLE,
        ways={"clockwise": 1, **dict.fromkeys(_COUNTER, -1)},
        needed=True,
        example="14.5 deg",
        most=math.radians(360.0),
    ),
    "sand": _Way(kind=Kind.LENGTH, ways={"off": 1}, needed=False, example="0.46 mm", most=0.010),
    "washer": _Way(kind=Kind.LENGTH, ways=_ADDED, needed=True, example="0.25 mm", most=0.010),
    "shim": _Way(kind=Kind.LENGTH, ways=_ADDED, needed=False, example="0.3 mm", most=0.010),
}
_MOST = {Kind.ANGLE: "{:g} deg", Kind.LENGTH: "{:g} mm"}


def station_of(written: str) -> Station:
    """Return the station that a word means: `front_left`, also with a space or a hyphen.

    Args:
        written: the word.

    Returns:
        The station.

    Raises:
        WrongType: it is none.
    """
    word = re.sub(r"[\s_-]+", "_", written.strip()).casefold()
    for station in Station:
        if station.value == word:
            return station
    known = ", ".join(station.value for station in Station)
    raise WrongType(f"{echo(written)} is not a wheel", mend=f"write one of {known}", key="STATION")


def amount_of(move: str, written: str, *, station: Station) -> float | None:
    """Return by how much a hand changed something, as the log keeps it.

    Args:
        move: one of `MOVES`.
        written: the amount with its direction, such as `14.5 deg clockwise`, or `unknown`.
        station: where; clockwise, seen from outside the wheel, carries a bend from down to forward on the
            left side and from down to backward on the right side.

    Returns:
        The change [rad or m]: positive for a bend of more, a turn from down to forward, wood taken off,
        washers added and a shim that raises the body; negative for a bend of less, a turn from down to
        backward, washers removed and a shim taken out. None for `unknown`.

    Raises:
        InputError: the amount or its direction cannot be read.
    """
    way = _WAYS[move]
    text = " ".join(written.split())
    if text.casefold() == "unknown":
        return None
    words = "|".join(sorted(way.ways, key=len, reverse=True))
    found = re.fullmatch(rf"(.*?)\s*\b({words})", text, re.IGNORECASE)
    number, word = (found[1], found[2].casefold()) if found else (text, "")
    if way.needed and not word:
        raise UnreadableQuantity(
            f"{echo(text)} does not say which way",
            mend=f"write {_either(move)}",
            key=move,
        )
    if number[:1] in {"+", "-", "\N{MINUS SIGN}"}:
        mend = f"write {_either(move)}" if len(way.ways) > 1 else f'write it such as "{way.example}"'
        raise UnreadableQuantity(
            f"{echo(text.replace(chr(0x2212), '-'))} has a sign where none is wanted", mend=mend, key=move
        )
    value = _parsed(number, way.kind, key=move)
    if not value > 0.0:
        raise OutOfRange(f"{echo(text)} changes nothing", mend="leave the entry out", key=move)
    if value > way.most:
        most = math.degrees(way.most) if way.kind is Kind.ANGLE else way.most * 1e3
        raise OutOfRange(
            f"{echo(text)} is more than {_MOST[way.kind].format(most)}",
            mend="check the digits and the unit",
            key=move,
        )
    sign = way.ways.get(word, 1)
    return sign * value * (station.side if move == "turn" else 1)


def _either(move: str) -> str:
    way = _WAYS[move]
    first = next(word for word, sign in way.ways.items() if sign > 0)
    second = next(word for word, sign in way.ways.items() if sign < 0)
    outside = ", seen from outside the wheel" if move == "turn" else ""
    return f'"{way.example} {first}" or "{way.example} {second}"{outside}'


def size_of(move: str, written: str) -> float:
    """Return a standard uncertainty of a move's amount [rad or m]; raise `InputError` where it is none."""
    value = _parsed(written, _WAYS[move].kind, key="--uncertainty")
    if not value > 0.0:
        raise OutOfRange(
            f"{echo(written)} is not more than zero", mend="write a positive size", key="--uncertainty"
        )
    return value


def _parsed(written: str, kind: Kind, *, key: str) -> float:
    try:
        return parse(written, kind=kind)
    except InputError as error:
        raise error.at(key=key) from None


def direction_of(move: str, amount: float, *, station: Station) -> str:
    """Return the direction of a change in words, the reverse of `amount_of`.

    Args:
        move: one of `MOVES`.
        amount: the change [rad or m]; see `amount_of`.
        station: where.

    Returns:
        `more`, `less`, `clockwise`, `counter-clockwise`, `added` or `removed`; for sand, `off`.
    """
    sign = amount * (station.side if move == "turn" else 1)
    return next(word for word, way in _WAYS[move].ways.items() if (way > 0) == (sign > 0.0))
