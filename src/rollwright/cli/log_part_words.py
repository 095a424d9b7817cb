"""What a builder says of holes, parts, gaps and masses, to numbers in SI units."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import TypeVar

from rollwright.car.model import Station
from rollwright.cli.log_words import station_of
from rollwright.errors import InputError, OutOfRange, UnreadableQuantity, WrongType, echo
from rollwright.units import Kind, parse

__all__ = [
    "PART_SIZES",
    "WAYS",
    "Daylight",
    "aim_of",
    "choice_of",
    "daylight_of",
    "gap_of",
    "part_size_of",
    "place_of",
    "positive_of",
    "reach_of",
    "standard_of",
]

_Choice = TypeVar("_Choice", bound=Enum)

PART_SIZES: Mapping[str, Kind] = {
    **dict.fromkeys(("diameter", "tread_width", "hub_projection", "bore", "shank"), Kind.LENGTH),
    "bend": Kind.ANGLE,
    **dict.fromkeys(("bend_at", "thickness"), Kind.LENGTH),
    "mass": Kind.MASS,
    "inertia": Kind.INERTIA,
    **dict.fromkeys("xyz", Kind.LENGTH),
}
"""What can be measured of a part, and its kind of quantity."""

WAYS: Mapping[str, Mapping[str, int]] = {
    "cant": {"up": 1, "down": -1},
    "sweep": {"forward": 1, "forwards": 1, "backward": -1, "backwards": -1},
}
"""Which way a hole's outer end can be off, by plane: +1 or -1."""

_MAY_BE_NOTHING = {"hub_projection", "bend", "bend_at", "x", "y", "z"}
_SIGNS = ("+", "-", "\N{MINUS SIGN}")
_MOST = {Kind.LENGTH: 0.020, Kind.ANGLE: math.radians(30.0)}
"""Most that a pin can be off a straight-edge [m or rad]: beyond it the unit or a digit is wrong."""
_WIDEST_GAP = 0.1
_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_UNIT = re.compile(r"[^\d\s.,/+−-].*$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Daylight:
    """What showed between a pin and a straight-edge.

    Attributes:
        seen: `none`, `seen`, `feeler` or `angle`.
        size: gap [m] or angle [rad], outer end up or forward positive, down or backward negative; None where
            it was not measured.
        kind: of its uncertainty.
    """

    seen: str
    size: float | None
    kind: Kind


def choice_of(written: str, choices: Iterable[_Choice], *, key: str, what: str) -> _Choice:
    """Return the one of some words that was written, whatever its capitals, spaces and hyphens.

    Args:
        written: the word.
        choices: what it may mean.
        key: where it stands, for the message.
        what: what it should be, for the message, as in `a kind of part`.

    Returns:
        The choice.

    Raises:
        WrongType: it is none of them.
    """
    word = re.sub(r"[\s_-]+", "_", written.strip()).casefold()
    known = list(choices)
    for choice in known:
        if choice.value == word:
            return choice
    names = ", ".join(str(choice.value) for choice in known)
    raise WrongType(f"{echo(written)} is not {what}", mend=f"write one of {names}", key=key)


def place_of(part: str, written: str | None) -> Station | str | None:
    """Return where a part is: at a station, or in a pocket.

    Args:
        part: `wheel`, `axle`, `washer`, `weight` or `shield`.
        written: the place, or None where it was not said.

    Returns:
        A station for a wheel, an axle or a washer; the name of a pocket for a weight; either for a shield.

    Raises:
        WrongType: a wheel, an axle or a washer is said to be at no station.
    """
    if written is None:
        return None
    if part == "weight":
        return written
    try:
        return station_of(written)
    except WrongType as error:
        if part == "shield":
            return written
        raise WrongType(error.problem, mend=error.mend, key="WHERE") from None


def _parsed(written: str, kind: Kind, *, key: str) -> float:
    try:
        return parse(written, kind=kind)
    except InputError as error:
        raise error.at(key=key) from None


def positive_of(written: str, kind: Kind, *, key: str) -> float:
    """Return a size that is more than nothing.

    Args:
        written: the size.
        kind: which sort of quantity it is.
        key: where it stands, for messages.

    Returns:
        The size [SI].

    Raises:
        InputError: it cannot be read, or is not more than zero.
    """
    value = _parsed(written, kind, key=key)
    if not value > 0.0:
        shown = echo(written.replace("\N{MINUS SIGN}", "-"))
        raise OutOfRange(f"{shown} is not more than zero", mend="write a positive size", key=key)
    return value


def standard_of(written: str | None, kind: Kind) -> float | None:
    """Return a standard uncertainty [SI], None where none was said; raise `InputError` where it is none."""
    return None if written is None else positive_of(written, kind, key="--uncertainty")


def _after_way(written: str, plane: str, *, key: str) -> tuple[str, int]:
    """Return a text without the word for its way, and that way; 0 where there is none."""
    ways = WAYS[plane]
    words = "|".join(sorted(ways, key=len, reverse=True))
    found = re.fullmatch(rf"(.*?)\s*\b({words})", written, re.IGNORECASE)
    if found is None:
        return written, 0
    if found[1][:1] in _SIGNS and found[1]:
        raise UnreadableQuantity(
            f"{echo(written.replace(chr(0x2212), '-'))} has a sign where a word says the way",
            mend="leave out the one or the other",
            key=key,
        )
    return found[1], ways[found[2].casefold()]


def aim_of(name: str, written: str, *, key: str = "") -> float:
    """Return what was aimed at when a hole was drilled.

    Args:
        name: `hole_height`, `cant` or `sweep`.
        written: the height above the underside; or the angle with its way in words, `2.5 deg up`, or with its
            sign as in a car file: outer end up or forward is positive.
        key: where it stands, for messages; left out, the option of that name.

    Returns:
        The aim [m or rad].

    Raises:
        InputError: it cannot be read.
    """
    if name == "hole_height":
        return _parsed(written, Kind.LENGTH, key=key or "--height")
    text, way = _after_way(" ".join(written.split()), name, key=key or f"--{name}")
    return _parsed(text, Kind.ANGLE, key=key or f"--{name}") * (way or 1)


def daylight_of(plane: str, written: str) -> Daylight:
    """Return what a pin in its hole showed against a straight-edge.

    Args:
        plane: `cant` or `sweep`.
        written: `none`; `seen`; or a feeler's gap or an angle with its way, `0.15 mm up`, `0.4 deg forward`.

    Returns:
        What showed.

    Raises:
        InputError: it cannot be read, does not say which way, or could be a gap and an angle.
    """
    text = " ".join(written.split())
    if text.casefold() in {"none", "seen"}:
        return Daylight(seen=text.casefold(), size=None, kind=Kind.LENGTH)
    up, down = next(iter(WAYS[plane])), list(WAYS[plane])[-1].removesuffix("s")
    either = f'"0.15 mm {up}" or "0.4 deg {down}"'
    number, way = _after_way(text, plane, key="SEEN")
    if not way:
        raise UnreadableQuantity(
            f"{echo(text.replace(chr(0x2212), '-'))} does not say which way the outer end is off",
            mend=f"write none, seen, or a size with its way, such as {either}",
            key="SEEN",
        )
    kinds = [kind for kind in (Kind.LENGTH, Kind.ANGLE) if _reads(number, kind)]
    if len(kinds) == 2:
        raise UnreadableQuantity(
            f"{echo(text)} could be a gap or an angle", mend=f"write its unit, as in {either}", key="SEEN"
        )
    kind = kinds[0] if kinds else Kind.LENGTH
    value = _parsed(number, kind, key="SEEN")
    if not value > 0.0:
        raise OutOfRange(f"{echo(text)} is no daylight", mend="write none", key="SEEN")
    if value > _MOST[kind]:
        most = "20 mm" if kind is Kind.LENGTH else "30 deg"
        raise OutOfRange(
            f"{echo(text)} is more than {most}", mend="check the digits and the unit", key="SEEN"
        )
    return Daylight(seen="feeler" if kind is Kind.LENGTH else "angle", size=way * value, kind=kind)


def _reads(written: str, kind: Kind) -> bool:
    try:
        parse(written, kind=kind)
    except InputError:
        return False
    return True


def part_size_of(name: str, written: str) -> tuple[float, float | None]:
    """Return a measured size of a part and how well it is known.

    Args:
        name: one of `PART_SIZES`.
        written: the size, or the size and its standard uncertainty, such as `32.1 ± 0.02 mm`; a unit that
            only one of the two has is that of both.

    Returns:
        Both [SI]; the uncertainty is None where it is not said.

    Raises:
        InputError: it cannot be read, or is not more than zero where it must be.
    """
    key, kind = f"--{name.replace('_', '-')}", PART_SIZES[name]
    parts = _PLUS_MINUS.split(written.strip())
    if len(parts) > 2:
        raise UnreadableQuantity(
            f"{echo(written)} says the uncertainty twice", mend='write it such as "32.1 ± 0.02 mm"', key=key
        )
    units = [found[0] if (found := _UNIT.search(part)) else "" for part in parts]
    if len(parts) == 2 and bool(units[0]) != bool(units[1]):
        parts = [
            part if unit else f"{part} {units[0] or units[1]}"
            for part, unit in zip(parts, units, strict=True)
        ]
    value = (
        _parsed(parts[0], kind, key=key) if name in _MAY_BE_NOTHING else positive_of(parts[0], kind, key=key)
    )
    return value, positive_of(parts[1], kind, key=key) if len(parts) == 2 else None


def gap_of(written: str) -> tuple[Station, float]:
    """Return a feeler's gap at a wheel on a slow roll.

    Args:
        written: the station and the gap, such as `rear_left 0.4 mm`.

    Returns:
        The station, and the gap to the rail [m]; 0 where the wheel touches.

    Raises:
        InputError: it cannot be read, or is no gap.
    """
    key = "--gap"
    found = re.fullmatch(r"\s*((?:rear|front)[\s_-]*(?:left|right))\b\s*(.*)", written, re.IGNORECASE)
    if found is None or not found[2]:
        raise WrongType(
            f"{echo(written)} is not a wheel and a gap", mend='write it such as "rear_left 0.4 mm"', key=key
        )
    value = _parsed(found[2], Kind.LENGTH, key=key)
    if value < 0.0:
        raise OutOfRange(f"{echo(written)} is negative", mend="write 0 where the wheel touches", key=key)
    if value > _WIDEST_GAP:
        raise OutOfRange(
            f"{echo(written)} is more than 100 mm", mend="check the digits and the unit", key=key
        )
    return station_of(found[1]), value


def reach_of(written: str, *, key: str) -> float:
    """Return how far a weight reaches past a line.

    Args:
        written: the length; `short` behind it says that the weight ends before the line, and so does a minus.
        key: where it stands, for messages.

    Returns:
        The reach [m], positive past the line, negative short of it.

    Raises:
        InputError: it cannot be read, or has both a sign and a word.
    """
    found = re.fullmatch(
        r"(.*?)\s*\b(past|short)(?:\s+(?:the|of\s+the)\s+line)?", written.strip(), re.IGNORECASE
    )
    if found is None:
        return _parsed(written, Kind.LENGTH, key=key)
    if found[1][:1] in _SIGNS and found[1]:
        raise UnreadableQuantity(
            f"{echo(written.replace(chr(0x2212), '-'))} has a sign and a word for it",
            mend="write the one or the other",
            key=key,
        )
    value = _parsed(found[1], Kind.LENGTH, key=key)
    return value if found[2].casefold() == "past" else 0.0 - value
