"""Drawings of a car into files: its set-up sheet, its views, and gauges and guides in true size."""

from __future__ import annotations

import contextlib
import os
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rollwright.car.file import read_car
from rollwright.car.model import Car
from rollwright.car.write import save_bytes
from rollwright.draw.gauges import GAUGES, gauge
from rollwright.draw.views import VIEWS, view_named
from rollwright.errors import FileUnwritable, InputError, MissingReference, echo
from rollwright.workbench.drawings_json import drawable_json, drawn_json
from rollwright.workbench.drawings_make import FORMS, PAPERS, SHEET, DrawnFile, Making, Wishes

__all__ = [
    "FORMS",
    "GROUPS",
    "NAMES",
    "PAPERS",
    "Choice",
    "Drawable",
    "Drawn",
    "DrawnFile",
    "Wishes",
    "draw_files",
    "drawable",
]

_PURPOSES = {
    SHEET: "one page for the wall: views, targets, room for readings, numbers to set",
    "top": "the car from above: steer, washers, play, rail",
    "side": "from its right side: hole heights, level, raise",
    "front": "the front pair from in front: camber, cant, gap to the rail",
    "rear": "the rear pair from behind",
    "board": "the tuning board from above: path and target band",
    "drill-template": "paper that carries the hole centres to both sides of the body",
    "guide-block": "holds a sleeve for the drill at each hole's height and slope",
    "bend-gauge": "the slope of the bent pin, in the hand and in the car",
    "centring-block": "shows how far the dominant wheel stands off, the car lying on it",
    "relief-gauge": "how deep the wood is already taken",
    "height-comparator": "how high the underside stands, front against rear",
    "board-scale": "drift and steer, read off the end of the tuning board",
    "washer-shims": "rings and slotted shims to cut from sheet",
}

NAMES = tuple(_PURPOSES)
"""All that can be asked for by name: the sheet, the views, the gauges and guides."""

GROUPS: Mapping[str, tuple[str, ...]] = {"all": NAMES, "views": VIEWS, "gauges": tuple(GAUGES)}
"""Words that stand for several names; what makes no sense for a car is left out of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One thing that may be drawn: its `name`, its `purpose`, and `why_not`, empty where it can be drawn."""

    name: str
    purpose: str
    why_not: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawable:
    """What can be drawn of a `car`: all `choices`, in the order of the work."""

    car: Car
    choices: tuple[Choice, ...]

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return drawable_json(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What was drawn of a `car`: `files`, and of a group what was `left_out` with the reason."""

    car: Car
    paper: str
    files: tuple[DrawnFile, ...]
    left_out: tuple[Choice, ...]

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return drawn_json(self)


def drawable(path: str | os.PathLike[str]) -> Drawable:
    """Return what can be drawn of the car of a file.

    Args:
        path: the car file.

    Returns:
        Every choice; what makes no sense for this car says why not.

    Raises:
        InputError: the file cannot be used.
    """
    car = read_car(path)
    return Drawable(car=car, choices=tuple(_choice(car, name) for name in NAMES))


def draw_files(
    path: str | os.PathLike[str],
    what: Sequence[str],
    wishes: Wishes,
    *,
    folder: str | os.PathLike[str] = ".",
    overwrite: bool = False,
) -> Drawn:
    """Draw things of a file's car and write each into a file of its own.

    Everything is drawn and every name is checked before the first file is written.

    Args:
        path: the car file.
        what: names and groups of names.
        wishes: how.
        folder: where the files go; it is made if it is not there.
        overwrite: whether files that are there already may be replaced.

    Returns:
        What was written.

    Raises:
        InputError: the car file cannot be used, or something that was named makes no sense for this car.
        FileUnwritable: a file is there already, or cannot be written; then none is.
    """
    car, file = read_car(path), Path(path).name
    names, left_out = _asked(car, what, wishes.form)
    try:
        made = Making(car=car, wishes=wishes)
        made.check(names)
        drawn = [made.file(name) for name in names]
    except InputError as error:
        raise (error if error.key.startswith("--") else error.at(file=file)) from None
    target = Path(folder)
    stem = _slug(car.name)
    files = [(replace(each, path=target / f"{stem}-{each.path.name}"), data) for each, data in drawn]
    _write(target, files, overwrite=overwrite)
    return Drawn(
        car=car, paper=wishes.paper, files=tuple(each for each, _ in files), left_out=tuple(left_out)
    )


def _choice(car: Car, name: str) -> Choice:
    why_not = ""
    try:
        if name in GAUGES:
            gauge(name, car)
        else:
            view_named("board" if name == SHEET else name, car)
    except InputError as error:
        why_not = f"{error.problem}; {error.mend}"
    return Choice(name=name, purpose=_PURPOSES[name], why_not=why_not)


def _asked(car: Car, what: Sequence[str], form: str | None) -> tuple[list[str], list[Choice]]:
    """Return the names that are asked for, each once, and what a group names in vain."""
    names: dict[str, None] = {}
    left_out: dict[str, Choice] = {}
    for word in what:
        if word in NAMES:
            names[word] = None
        elif word in GROUPS:
            for name in GROUPS[word]:
                choice = _choice(car, name)
                if form == "dxf" and name == SHEET:
                    choice = replace(choice, why_not="it is for reading, not for cutting; write it as a PDF")
                if choice.why_not:
                    left_out[name] = choice
                else:
                    names[name] = None
        else:
            raise MissingReference(
                f"there is no drawing called {echo(word)}",
                mend=f"choose from {', '.join((*NAMES, *GROUPS))}",
            )
    return list(names), [choice for name, choice in left_out.items() if name not in names]


def _slug(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:40].strip("-") or "car"


def _write(folder: Path, files: Sequence[tuple[DrawnFile, bytes]], *, overwrite: bool) -> None:
    """Write all files or, if one cannot be written, none that was not there before."""
    there = [each.path for each, _ in files if os.path.lexists(each.path)]
    if there and not overwrite:
        more = f", and {len(there) - 1} more of them" if len(there) > 1 else ""
        raise FileUnwritable(
            f"this file is there already and stays as it is{more}; nothing was written",
            mend="choose another folder with --to, or add --force to replace it",
            file=there[0].name,
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileUnwritable(
            str(error.strerror or "it cannot be made").lower(),
            mend="check that the folder can be made and written",
            file=folder.name or str(folder),
        ) from None
    new: list[Path] = []
    try:
        for each, data in files:
            fresh = not os.path.lexists(each.path)
            save_bytes(each.path, data, overwrite=overwrite)
            if fresh:
                new.append(each.path)
    except FileUnwritable:
        for path in new:
            with contextlib.suppress(OSError):
                path.unlink()
        raise
