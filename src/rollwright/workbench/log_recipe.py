"""Use cases that repeat a car: its recipe as a file, and the next car started from it."""

from __future__ import annotations

import os
from collections.abc import Collection, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.bench import CarStarted, ClassChosen, Recorded, StartedFrom, Store, Withdrawn
from rollwright.car.file import parse_car
from rollwright.car.write import save_text
from rollwright.errors import FileUnreadable, InputError
from rollwright.workbench.log import Started, begin, class_chosen, id_from
from rollwright.workbench.log_enter import Stamp, folded, known_car, open_log

if TYPE_CHECKING:
    from rollwright.bench.fold import Folded
    from rollwright.bench.recipe import Recipe

__all__ = ["Cooked", "next_name", "recipe", "start_from"]

_QUANTITIES = ("height_difference", "drift", "rail_offset")
_LONGEST_NAME = 80
_DOUBTFUL = 0.01
"""Chance of a disagreement as large as that seen, below which it is told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooked:
    """The recipe of a car of the log.

    Attributes:
        car: the car's id.
        name: what it is called.
        recipe: its recipe.
        open_gates: names of its gates that no reading passes.
        doubts: which of its readings contradict each other, in words; empty where none do.
        written: the file that was written, as it was given.
    """

    car: str
    name: str
    recipe: Recipe
    open_gates: tuple[str, ...]
    doubts: tuple[str, ...]
    written: str

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        recipe = self.recipe
        return {
            "written": self.written,
            "car": self.car,
            "name": recipe.car.name,
            "entry": recipe.entry,
            "built": [
                {"key": each.key, "planned": each.planned, "built": each.built} for each in recipe.built
            ],
            "own_parts": list(recipe.own),
            "weights_added": list(recipe.added),
            "weights_left_off": list(recipe.left_off),
            "weights_unplaced": list(recipe.unplaced),
            "measure_anew": list(recipe.anew),
            "open_gates": list(self.open_gates),
            "doubts": list(self.doubts),
            "gates": {
                name: {"car": float(wanted), "recipe": float(found)}
                for name, wanted, found in zip(_QUANTITIES, recipe.wanted, recipe.gates, strict=True)
            },
        }


def recipe(
    log: str | os.PathLike[str], car: str, path: str | os.PathLike[str], *, name: str | None = None
) -> Cooked:
    """Write the recipe of a car of the log: a car file with everything as it was built.

    Args:
        log: path of the log.
        car: the car's id.
        path: where to write; a file that is there already is left alone.
        name: what the next car is called; None keeps the name.

    Returns:
        The recipe.

    Raises:
        InputError: there is no such log or car, where the car is cannot be told, or the file cannot be
            written; nothing was written.
    """
    with open_log(log) as store:
        known = known_car(store, car)
        entries = list(store.events(known))
        found = folded(store, entries)
        made = _recipe(store, entries, found, name=name or "")
    save_text(path, made.text)
    return Cooked(
        car=known,
        name=found.filed.name,
        recipe=made,
        open_gates=tuple(gate.value for gate, state in found.gates.items() if not state.passed),
        doubts=_doubts(found),
        written=str(path),
    )


def _doubts(found: Folded) -> tuple[str, ...]:
    """Return which readings of a car contradict each other, or what was known, in words."""
    doubts = [
        f"{state.doubt.words} on {gate.value}"
        for gate, state in found.gates.items()
        if state.doubt is not None
    ]
    estimate = found.estimate
    if not doubts and estimate is not None and estimate.misfit_probability < _DOUBTFUL:
        doubts.append("its readings disagree with its car file or with each other")
    if found.discord is not None:
        doubts.append("the scale and the masses of its parts disagree")
    return tuple(doubts)


def start_from(
    log: str | os.PathLike[str],
    source: str,
    *,
    car: str | None,
    name: str | None = None,
    class_file: str | os.PathLike[str] | None = None,
    stamp: Stamp,
) -> Started:
    """Start the next car from the recipe of one in the log.

    Args:
        log: path of the log.
        source: id of the car that was built.
        car: id for the next one; None makes one from its name.
        name: what the next one is called; None counts on from the name of the first.
        class_file: file of the rules of its class; None takes the first car's class along, if it has one.
        stamp: who and when.

    Returns:
        The first entry of the next car, and that of its class.

    Raises:
        InputError: there is no such log or car, where the car is cannot be told, or the log cannot be
            written; nothing was entered.
    """
    with open_log(log) as store:
        known = known_car(store, source)
        entries = list(store.events(known))
        found = folded(store, entries)
        called = name or next_name(found.filed.name, _names(store), store.cars())
        made = _recipe(store, entries, found, name=called)
    chosen, class_name = _class_of(entries), "" if found.rules is None else found.rules.name
    if class_file is not None:
        chosen, class_name = class_chosen(class_file)
    event = CarStarted(source=StartedFrom.RECIPE, car_file=made.text, class_name=class_name, source_car=known)
    return begin(log, event, chosen, name=made.car.name, car=car, file=f"recipe of {known}", stamp=stamp)


def next_name(name: str, names: Collection[str], ids: Collection[str]) -> str:
    """Return a name for the next car that none has yet: `Lark 2` after `Lark`, `Lark 3` after `Lark 2`.

    Args:
        name: what the first car is called.
        names: names that are taken.
        ids: ids that are taken; the next car's id is made from its name.

    Returns:
        The name.
    """
    stem, _, number = name.rpartition(" ")
    if not stem or not number.isdecimal() or len(number) > 4:
        stem, number = name, "1"
    taken = {each.casefold() for each in (*names, *ids)}
    count = int(number) + 1
    while True:
        found = f"{stem[: _LONGEST_NAME - 6]} {count}"
        if found.casefold() not in taken and id_from(found) not in taken:
            return found
        count += 1


def _names(store: Store) -> list[str]:
    found = []
    for car in store.cars():
        start = next((e.event for e in store.events(car) if isinstance(e.event, CarStarted)), None)
        if start is not None:
            # A start whose file cannot be used names no car.
            with suppress(InputError):
                found.append(parse_car(start.car_file).name)
    return found


def _class_of(entries: Sequence[Recorded]) -> ClassChosen | None:
    gone = {entry.event.entry for entry in entries if isinstance(entry.event, Withdrawn)}
    chosen = [e.event for e in entries if isinstance(e.event, ClassChosen) and e.id not in gone]
    return chosen[-1] if chosen else None


def _recipe(store: Store, entries: Sequence[Recorded], found: Folded, *, name: str) -> Recipe:
    from rollwright.bench.recipe import recipe_of  # noqa: PLC0415 - brings numpy

    car = entries[0].car
    try:
        return recipe_of(entries, found, name=name)
    except FileUnreadable as error:
        raise FileUnreadable(
            "the text that this car was started with cannot be changed line by line "
            f"({error.key or error.problem})",
            mend="start the next car from its file, each table under one heading of its own",
            file=store.name,
            key=car,
        ) from None
    except InputError as error:
        raise error.at(file=store.name, key=car) from None
