"""Writing a recipe: a car file's text with everything in it as it was built."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.bench.recipe_text import (
    with_own_part,
    with_point,
    with_remarks,
    with_table,
    without_table,
)
from rollwright.car.dimensions import dimension_names, dimension_of, file_key
from rollwright.car.file import parse_car
from rollwright.car.keys import (
    AXLE_KEYS,
    BOARD_KEYS,
    BODY_KEYS,
    RAIL_KEYS,
    STATION_KEYS,
    WEIGHT_KEYS,
    WHEEL_KEYS,
    Key,
)
from rollwright.car.model import Car, Point, Station
from rollwright.car.write import updated_text
from rollwright.geometry.many import dimension_values
from rollwright.quantity import Quantity, Source
from rollwright.units import Kind

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["FILE", "STEP", "Built", "Writing"]

FILE = "recipe"
"""What messages call the new text."""
_MM = 1e-3
STEP: Mapping[Kind, float] = {Kind.LENGTH: 0.01 * _MM, Kind.ANGLE: math.radians(0.01), Kind.MASS: 1e-4}
"""What a builder can make a size to [m, rad or kg]."""
_PLACE = 0.1 * _MM
_WOOD_AND_WIRE = frozenset(
    {"hole_height", "cant", "sweep", "offset", "relief", "washer", "play", "bend", "clock"}
)
_OF_AN_AXLE = ("bend", "shank", "bend_at", "mass")
_OF_A_WHEEL = ("diameter", "tread_width", "hub_projection", "bore", "mass")
_OF_THE_BODY = ("length", "width", "wheelbase", "rear_overhang", "mass")
_KEYS: Mapping[str, tuple[Key, ...]] = {
    "body": BODY_KEYS,
    "wheels": WHEEL_KEYS,
    "axles": AXLE_KEYS,
    "stations": STATION_KEYS,
    "weights": WEIGHT_KEYS,
    "rail": RAIL_KEYS,
    "board": BOARD_KEYS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """One value of the recipe that is another than in the car's file.

    Attributes:
        key: of the car file, such as `stations.front_left.relief`.
        kind: of quantity.
        planned: as the file had it [SI].
        built: as the recipe has it [SI].
    """

    key: str
    kind: Kind
    planned: float
    built: float


class Writing:
    """A car file's text on its way to the recipe."""

    def __init__(self, text: str, filed: Car, remark: str) -> None:
        self.text = text
        self.filed = filed
        self.remark = remark
        self.built: dict[str, Built] = {}
        self.own: list[str] = []
        self.added: list[str] = []
        self.left_off: list[str] = []
        self.unplaced: list[str] = []
        self.anew: list[str] = []

    def write_parts(self, now: Car, values: NDArray[np.float64]) -> None:
        """Write the dimensions, and the masses of wheels and axles that are others now."""
        planned = dimension_values(self.filed)
        changed = {
            name: float(values[index])
            for index, name in enumerate(dimension_names())
            if values[index] != planned[index]
        }
        for station in Station:
            for part, meant, fitted in (
                ("wheel", self.filed.wheel_at(station).mass, now.wheel_at(station).mass),
                ("axle", self.filed.axle_at(station).mass, now.axle_at(station).mass),
            ):
                if abs(fitted.value - meant.value) > 0.5 * STEP[Kind.MASS]:
                    changed[f"{station.value}.{part} mass"] = _gram(fitted.value)
        self._own_parts(changed)
        car = parse_car(self.text, file=FILE)
        quantities: dict[str, Quantity] = {}
        for name, value in changed.items():
            key, old = self._place(car, name)
            quantities[key] = _nominal(value, _key_of(key).drawing)
            self.built[key] = Built(key=key, kind=_key_of(key).kind, planned=old, built=value)
        self._put(quantities, self.remark)

    def _own_parts(self, changed: Mapping[str, float]) -> None:
        """Give a station a wheel or an axle of its own where others share it and are not changed alike."""
        for kind, lasts in (("wheels", _OF_A_WHEEL), ("axles", _OF_AN_AXLE)):
            part = kind.removesuffix("s")
            names = {station: str(getattr(self.filed.corners[station], part)) for station in Station}
            mine = {
                station: {
                    last: changed[name]
                    for last in lasts
                    if (name := f"{station.value}.{f'{part} mass' if last == 'mass' else last}") in changed
                }
                for station in Station
            }
            taken = set(self.filed.wheels if part == "wheel" else self.filed.axles)
            for station, shared in names.items():
                users = [other for other in Station if names[other] == shared]
                if not mine[station] or all(mine[other] == mine[station] for other in users):
                    continue
                own = station.value
                while own in taken:
                    own += " own"
                taken.add(own)
                self.text = with_own_part(self.text, kind=kind, shared=shared, own=own, station=station.value)
                self.own.append(f"{kind}.{own}")

    def _place(self, car: Car, name: str) -> tuple[str, float]:
        """Return the key and the planned value of a dimension or of a part's mass."""
        head, _, last = name.rpartition(".")
        if not last.endswith(" mass"):
            return file_key(car, name), dimension_of(self.filed, name).value
        station, part = Station(head), last.removesuffix(" mass")
        at = self.filed.wheel_at(station) if part == "wheel" else self.filed.axle_at(station)
        return f"{part}s.{getattr(car.corners[station], part)}.mass", at.mass.value

    def _put(self, quantities: Mapping[str, Quantity], remark: str) -> None:
        kinds = {key: _key_of(key).kind for key in quantities}
        self.text = updated_text(self.text, quantities, kinds=kinds, file=FILE)
        self.text = with_remarks(self.text, {_tables(key): remark for key in quantities})

    def write_weights(self, now: Car) -> None:
        """Write the weights as they are fitted now, and the body as the scale found it."""
        for name in self.filed.weights:
            if name not in now.weights:
                self.text = without_table(self.text, ("weights", name))
                self.left_off.append(name)
        for name, weight in now.weights.items():
            old = self.filed.weights.get(name)
            if any(part.source is Source.ASSUMED for part in weight.position):
                self.unplaced.append(name)
            if old is None:
                self._add_weight(name, weight.mass.value, weight.position)
                continue
            self._mass(f"weights.{name}.mass", old.mass.value, weight.mass.value)
            self._point(("weights", name), "position", old.position, weight.position)
        self._mass("body.mass", self.filed.body.mass.value, now.body.mass.value)
        self._point(("body",), "centre_of_mass", self.filed.body.centre_of_mass, now.body.centre_of_mass)

    def _add_weight(self, name: str, mass: float, position: Point) -> None:
        keys = {"mass": round(1e3 * _gram(mass), 1), "position": self._point_of(position)}
        self.text = with_table(self.text, ("weights", name), keys, remark=self.remark)
        self.added.append(name)

    def _mass(self, key: str, old: float, new: float) -> None:
        if abs(new - old) <= 0.5 * STEP[Kind.MASS]:
            return
        value = _gram(new)
        self._put({key: _nominal(value, _key_of(key).drawing)}, self.remark)
        self.built[key] = Built(key=key, kind=Kind.MASS, planned=old, built=value)

    def _point(self, tables: tuple[str, ...], key: str, old: Point, new: Point) -> None:
        if all(abs(a.value - b.value) <= 0.5 * _PLACE for a, b in zip(old, new, strict=True)):
            return
        self.text = with_point(self.text, tables, key, self._point_of(new), remark=self.remark)
        for axis, a, b in zip("xyz", old, new, strict=True):
            at = f"{'.'.join((*tables, key))}.{axis}"
            built = round(b.value / _PLACE) * _PLACE
            if abs(built - a.value) > 0.5 * _PLACE:
                self.built[at] = Built(key=at, kind=Kind.LENGTH, planned=a.value, built=built)

    def _point_of(self, point: Point) -> dict[str, object]:
        """Return a place as a file writes it, in the builder's units."""
        assumed = any(part.source is Source.ASSUMED for part in point)
        unit, size, decimals = ("in", 25.4 * _MM, 3) if self._inches() else ("", _MM, 1)
        numbers = [round(round(part.value / _PLACE) * _PLACE / size, decimals) for part in point]
        return {
            "value": [f"{number:g} {unit}" for number in numbers] if unit else numbers,
            "from": Source.ASSUMED.value if assumed else Source.NOMINAL.value,
        }

    def _inches(self) -> bool:
        """Return whether the builder writes lengths in inches: as the body's width is written, if it is."""
        written = tomllib.loads(self.text).get("body", {}).get("width")
        value = written.get("value") if isinstance(written, Mapping) else written
        return isinstance(value, str) and "mm" not in value

    def write_anew(self) -> None:
        """Write as nominal what the file calls measured and was measured on this body."""
        car = parse_car(self.text, file=FILE)
        places = {f"body.{last}": getattr(car.body, last) for last in _OF_THE_BODY}
        places |= {
            file_key(car, name): dimension_of(car, name)
            for name in dimension_names()
            if name.rpartition(".")[2] in _WOOD_AND_WIRE
        }
        quantities = {
            key: _nominal(quantity.value, _key_of(key).drawing)
            for key, quantity in places.items()
            if quantity.source is Source.MEASURED
        }
        self.anew += quantities
        self._put(quantities, f"measured on {self.filed.name}, not here")


def _gram(value: float) -> float:
    return round(value / STEP[Kind.MASS]) * STEP[Kind.MASS]


def _nominal(value: float, uncertainty: float) -> Quantity:
    return Quantity(value=value, uncertainty=uncertainty, source=Source.NOMINAL)


def _key_of(key: str) -> Key:
    """Return what the car file's table of keys says of one."""
    tables = _tables(key)
    return next(each for each in _KEYS[tables[0]] if each.name == tables[-1])


def _tables(key: str) -> tuple[str, ...]:
    """Split a dotted key; the name of a wheel, an axle or a weight may itself hold dots."""
    head, _, rest = key.partition(".")
    if head not in {"wheels", "axles", "weights"}:
        return tuple(key.split("."))
    name, _, last = rest.rpartition(".")
    return head, name, last
