"""The pockets file: where weights can go, and which ones are at hand."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rollwright.car.keys import Key
from rollwright.car.table import check_names, read_quantity, read_tables
from rollwright.car.toml_file import load_toml, parse_toml
from rollwright.errors import InputError, OutOfRange, WrongType, echo
from rollwright.quantity import Quantity
from rollwright.setup.ballast import Pocket, Size
from rollwright.units import Kind

__all__ = ["parse_pockets", "read_pockets"]

_MM, _G = 1e-3, 1e-3
_MOST = 999
_LONGEST_LIST = 20


def _place(name: str, text: str) -> Key:
    return Key(
        name=name,
        kind=Kind.LENGTH,
        low=-1.0,
        high=1.0,
        default=None,
        drawing=0.5 * _MM,
        guess=2.0 * _MM,
        help=text,
    )


def _room(text: str) -> Key:
    return Key(
        name="length",
        kind=Kind.LENGTH,
        low=0.1 * _MM,
        high=1.0,
        default=None,
        drawing=0.1 * _MM,
        guess=0.5 * _MM,
        help=text,
    )


_PLACE = (
    _place("x", "forward of the rear hole line"),
    _place("y", "left of the centre line"),
    _place("z", "above the underside"),
)
_POCKET_ROOM = _room("room for weights in a row")
_SIZE_ROOM = _room("room that one piece takes up in a row")
_MASS = Key(
    name="mass",
    kind=Kind.MASS,
    low=0.01 * _G,
    high=1.0,
    default=None,
    drawing=0.1 * _G,
    guess=0.5 * _G,
    help="mass of one piece",
)


def read_pockets(path: str | os.PathLike[str]) -> tuple[tuple[Pocket, ...], tuple[Size, ...]]:
    """Read a pockets file.

    Args:
        path: where the file is.

    Returns:
        The pockets and the sizes of weight at hand.

    Raises:
        InputError: the file cannot be used; the message names the file, the key and the mend.
    """
    return parse_pockets(load_toml(path, what="pockets file"), file=Path(path).name)


def parse_pockets(text: str, *, file: str = "pockets.toml") -> tuple[tuple[Pocket, ...], tuple[Size, ...]]:
    """Read pockets and weights from the text of their file.

    Args:
        text: TOML text, `format = 1`. Bare numbers are millimetres and grams.
        file: the file's name, for messages.

    Returns:
        The pockets and the sizes of weight at hand.

    Raises:
        InputError: the text cannot be used; the message names the file, the key and the mend.
    """
    try:
        return _pockets(parse_toml(text, file=file))
    except InputError as error:
        raise error.at(file=file) from None


def _pockets(top: Mapping[str, Any]) -> tuple[tuple[Pocket, ...], tuple[Size, ...]]:
    for key, what in (("body", "car file"), ("reading", "readings file")):
        if key in top:
            raise WrongType(
                f"this is a {what}, not a pockets file",
                mend="name the car file first, the pockets file after it",
            )
    check_names(top, ("format", "pockets", "weights"), at="")
    pockets = tuple(_pocket(name, table) for name, table in read_tables(top, "pockets").items())
    sizes = tuple(_size(name, table) for name, table in read_tables(top, "weights").items())
    for heading, found in (("pockets", pockets), ("weights", sizes)):
        if not found:
            raise WrongType(
                f"there are no {heading}", mend=f"write [{heading}.NAME] and its keys", key=heading
            )
        if len(found) > _LONGEST_LIST:
            raise OutOfRange(
                f"{len(found)} are more than {_LONGEST_LIST}", mend="leave some of them out", key=heading
            )
    for pocket in pockets:
        bare = next((size.name for size in sizes if size.length is None), None)
        if pocket.length is not None and bare is not None:
            raise WrongType(
                f"the length is missing, and the pocket {pocket.name} is measured by its length",
                mend="write how long one piece is",
                key=f"weights.{bare}.length",
            )
    return pockets, sizes


def _pocket(name: str, table: Mapping[str, Any]) -> Pocket:
    at = f"pockets.{name}"
    check_names(table, (*(key.name for key in _PLACE), "length", "most"), at=at)
    x, y, z = (_needed(table, key, at=at, example=f"{key.name} = 12") for key in _PLACE)
    length = read_quantity(table, _POCKET_ROOM, at=at, assumed=[])
    most = _pieces(table, "most", at=at) if "most" in table else None
    if length is None and most is None:
        raise WrongType(
            "nothing says how much goes in", mend="write most = 3 (pieces) or length = 40", key=at
        )
    return Pocket(name=name, position=(x, y, z), most=most, length=None if length is None else length.value)


def _size(name: str, table: Mapping[str, Any]) -> Size:
    at = f"weights.{name}"
    check_names(table, ("mass", "count", "length"), at=at)
    length = read_quantity(table, _SIZE_ROOM, at=at, assumed=[])
    return Size(
        name=name,
        mass=_needed(table, _MASS, at=at, example='mass = 5 (grams) or mass = "0.2 oz"'),
        count=_pieces(table, "count", at=at) if "count" in table else 1,
        length=None if length is None else length.value,
    )


def _needed(table: Mapping[str, Any], key: Key, *, at: str, example: str) -> Quantity:
    found = read_quantity(table, key, at=at, assumed=[])
    if found is None:
        raise WrongType(f"this is missing: {key.help}", mend=f"write {example}", key=f"{at}.{key.name}")
    return found


def _pieces(table: Mapping[str, Any], name: str, *, at: str) -> int:
    written = table[name]
    if isinstance(written, bool) or not isinstance(written, int) or not 0 <= written <= _MOST:
        raise WrongType(
            f"{echo(written)} is not a number of pieces",
            mend=f"write a whole number from 0 to {_MOST}",
            key=f"{at}.{name}",
        )
    return written
