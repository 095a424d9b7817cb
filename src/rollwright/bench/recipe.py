"""A recipe: the car file of a car as it was built, to start the next one from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rollwright.bench.codec import Recorded
from rollwright.bench.events import CarStarted, Fitted, PartFitted, ReadingTaken, Sand, Washer, Withdrawn
from rollwright.bench.fold import Folded, withdrawn_in
from rollwright.bench.known import INDEX, KEYS
from rollwright.bench.recipe_text import renamed
from rollwright.bench.recipe_write import FILE, STEP, Built, Writing
from rollwright.car.dimensions import dimension_kind
from rollwright.car.file import parse_car
from rollwright.car.model import Car, Station
from rollwright.errors import ReadingUnusable
from rollwright.geometry.many import dimension_values, stances
from rollwright.geometry.stance import stance
from rollwright.setup.estimate import Estimate
from rollwright.setup.predict import gate_values

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Built", "Recipe", "recipe_of"]

_DEG = math.pi / 180.0
_STEPS: Mapping[str, float] = {"bend": 0.05 * _DEG, "clock": 0.5 * _DEG}
"""What a builder can make a size to [rad]; for all others it is `STEP`."""
_HOLE = ("hole_height", "cant", "sweep")
_ALWAYS = (*_HOLE, "offset", "bend")
_TOUCHED = {Sand: "relief", Washer: "washer"}
_ROUNDS = 12
_SETTLED = 1e-9
_PROBE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """A car as it was built.

    Attributes:
        text: the recipe, a car file.
        car: the car that it describes.
        entry: number of the last entry that it rests on.
        built: values that are others than in the car's file.
        own: tables of parts that a wheel now has for itself, such as `axles.rear_left`.
        added: weights that the car's file does not have.
        left_off: weights of the file that the car was built without.
        unplaced: weights whose place nobody said.
        anew: keys of what was measured on this body, and must be measured on the next.
        wanted: height difference, drift and rail offset of the car as it is known [m], (3,).
        gates: the same of the recipe [m], (3,); NaN where it shows no such thing.
    """

    text: str
    car: Car
    entry: int
    built: tuple[Built, ...]
    own: tuple[str, ...]
    added: tuple[str, ...]
    left_off: tuple[str, ...]
    unplaced: tuple[str, ...]
    anew: tuple[str, ...]
    wanted: NDArray[np.float64]
    gates: NDArray[np.float64]


def recipe_of(entries: Sequence[Recorded], found: Folded, *, name: str = "") -> Recipe:
    """Return the recipe of a car of the log.

    Holes and bends are written as they are by all that was read and done, rounded to what a builder can
    make; reliefs and washers where a hand changed them; play and the sizes of body, wheels and pins only
    where they were read themselves. What the readings taught of the rest is taken up by the dominant hole's
    height, cant and sweep, so that the recipe sits as the car does.

    Args:
        entries: all entries of the car, in their order.
        found: what they add up to.
        name: what the next car is called; empty keeps the name.

    Returns:
        The recipe. Its values are nominal, with the uncertainty of a drawing: the next body is a new one.

    Raises:
        ReadingUnusable: where the car is cannot be told.
        FileUnreadable: the car's file is laid out so that it cannot be changed line by line.
        InputError: a car with these sizes is no possible one.
    """
    estimate = found.estimate
    if estimate is None:
        raise ReadingUnusable(
            found.trouble or "where this car is cannot be told", mend="undo or mend what makes it so"
        )
    gone = withdrawn_in(entries)
    counting = [each for each in entries if each.id not in gone and not isinstance(each.event, Withdrawn)]
    start = counting[0].event
    if not isinstance(start, CarStarted):
        raise ReadingUnusable("the log does not begin with the start of a car", mend="start the car first")
    remark = f"as built on {found.filed.name}, entry {counting[-1].seq}"
    values = _as_built(found.filed, estimate, _said(counting))
    work = Writing(start.car_file, found.filed, remark)
    work.write_parts(found.known.car, values)
    work.write_weights(found.known.car)
    work.write_anew()
    text = renamed(work.text, name) if name else work.text
    car = parse_car(text, file=FILE)
    return Recipe(
        text=text,
        car=car,
        entry=counting[-1].seq,
        built=tuple(work.built.values()),
        own=tuple(work.own),
        added=tuple(work.added),
        left_off=tuple(work.left_off),
        unplaced=tuple(work.unplaced),
        anew=tuple(work.anew),
        wanted=estimate.gates,
        gates=_gates(car),
    )


def _gates(car: Car) -> NDArray[np.float64]:
    found = stance(car)
    shown = (found.height_difference, found.drift.lateral, found.rail_offset)
    return np.array([math.nan if each is None else each for each in shown])


def _said(counting: Sequence[Recorded]) -> frozenset[str]:
    """Return the dimensions that were read themselves, said of a part that was fitted, sanded or padded."""
    found = set()
    for entry in counting:
        event = entry.event
        if isinstance(event, ReadingTaken) and event.dimension:
            found.add(event.dimension)
        elif isinstance(event, Sand | Washer):
            found.add(f"{event.station.value}.{_TOUCHED[type(event)]}")
        elif isinstance(event, PartFitted) and event.station is not None:
            found |= {f"{event.station.value}.{size.name}" for size in event.sizes}
            if event.part is Fitted.WASHER:
                found.add(f"{event.station.value}.washer")
    return frozenset(name for name in found if name in INDEX)


def _rounded(name: str, value: float) -> float:
    last = name.rpartition(".")[2]
    step = _STEPS.get(last, STEP[dimension_kind(name)])
    number = round(value / step) * step
    # What cannot be less than nothing may be a little less as an estimate.
    return max(0.0, number) if last in KEYS and KEYS[last].low == 0.0 else number


def _same(name: str, value: float, planned: float) -> bool:
    """Return whether a builder could not make a size other than it was planned."""
    last = name.rpartition(".")[2]
    return abs(value - planned) <= 0.5 * _STEPS.get(last, STEP[dimension_kind(name)])


def _as_built(filed: Car, estimate: Estimate, said: frozenset[str]) -> NDArray[np.float64]:
    """Return the dimensions that the recipe shall have, (p,): those of the file where nothing is another."""
    planned = dimension_values(filed)
    values = planned.copy()
    wanted = {f"{station.value}.{last}" for station in Station for last in _ALWAYS} | said
    for station in Station:
        if _rounded(f"{station.value}.bend", estimate.dimension(f"{station.value}.bend").value) > 0.0:
            wanted.add(f"{station.value}.clock")
        else:
            wanted.discard(f"{station.value}.clock")
    for name in wanted:
        index = INDEX[name]
        value = float(estimate.values[index])
        if name.endswith(".clock"):
            value = math.remainder(value, 2.0 * math.pi)
        if not _same(name, value, float(planned[index])):
            values[index] = _rounded(name, value)
    return _fitted(filed, estimate, values)


def _fitted(filed: Car, estimate: Estimate, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the dimensions with the dominant hole so that the car sits as it does; unchanged if none can."""
    names = [f"{filed.dominant.value}.{last}" for last in _HOLE]
    columns = [INDEX[name] for name in names]
    out = values.copy()
    out[columns] = estimate.values[columns]
    probes = np.zeros((len(columns), len(values)))
    probes[np.arange(len(columns)), columns] = _PROBE
    for _ in range(_ROUNDS):
        rows = np.concatenate((out[None, :], out + probes))
        found = gate_values(stances(estimate.car, rows, seats=estimate.seats))
        if not np.all(np.isfinite(found)):
            return values
        error = estimate.gates - found[0]
        if np.abs(error).max() < _SETTLED:
            break
        try:
            out[columns] += np.linalg.solve(((found[1:] - found[0]) / _PROBE).T, error)
        except np.linalg.LinAlgError:
            return values
    else:
        return values
    planned = dimension_values(filed)
    for name, index in zip(names, columns, strict=True):
        value = float(out[index])
        same = _same(name, value, float(planned[index]))
        out[index] = planned[index] if same else _rounded(name, value)
    return out
