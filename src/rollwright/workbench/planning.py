"""A plan: what to drill and bend before any wood is cut, from a car's file and a builder's wishes."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from rollwright.car.assumed import assumed_for_stance, assumed_for_targets
from rollwright.car.dimensions import dimension_names, file_key
from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Car, Station
from rollwright.car.write import save_text
from rollwright.draw.gauge_drills import Bit, nearest_bit
from rollwright.errors import CarCannotRest, FileUnreadable, InputError, OutOfRange, UnreadableQuantity
from rollwright.units import Kind, System, parse, parse_sided
from rollwright.workbench.pictures import save_picture
from rollwright.workbench.planning_json import planned_json
from rollwright.workbench.planning_picture import picture
from rollwright.workbench.planning_written import planned_text

if TYPE_CHECKING:
    from rollwright.judge.class_rules import ClassRules
    from rollwright.setup.plan import Blocked, Bushing, Figures, Plan, TradePoint, Wish
    from rollwright.setup.plan_rounding import Rounded

__all__ = [
    "PREFERENCES",
    "WISHES",
    "Bit",
    "Blocked",
    "Bushing",
    "Figures",
    "Plan",
    "Planned",
    "Rounded",
    "TradePoint",
    "draw",
    "make",
    "save",
]

_Reader = Callable[[str], float]


def _length(written: str) -> float:
    return parse(written, kind=Kind.LENGTH)


def _angle(written: str) -> float:
    return parse(written, kind=Kind.ANGLE)


WISHES: Mapping[str, tuple[str, _Reader]] = MappingProxyType(
    {
        "height_difference": ("height_difference", _length),
        "drift": ("drift", parse_sided),
        "rail_offset": ("rail_offset", _length),
        "ride_height": ("ride_height", _length),
        "raise": ("raise_height", _length),
        "ground_clearance": ("ground_clearance", _length),
        "rail_clearance": ("rail_clearance", _length),
        "rear_cant": ("rear_cant", _angle),
        "front_cant": ("front_cant", _angle),
        "most_bend": ("most_bend", _angle),
        "most_relief": ("most_relief", _length),
        "most_washer": ("most_washer", _length),
        "block": ("block", _length),
    }
)
"""What may be wished for by a number: the option, its name in `setup.plan.Wish`, and how it is read."""

PREFERENCES = ("most-adjustment", "least-bend", "least-relief")
"""What may decide where the targets leave a choice, the usual one first."""

_COUNT = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A plan of a file's car.

    Attributes:
        car: the car as its file describes it.
        text: the file's text.
        file: the file's name, for messages.
        rules: of the class it is planned for, or None.
        plan: the exact plan.
        rounded: the same in figures that can be set.
        bits: the drill that comes nearest to each hole's pin; None where the pin is not one for a drill.
        trade: the plans that it was chosen among.
        assumed: keys that nobody gave and that it rests on.
        weights: largest share of each key in what the planned car's level, drift and rail leave open.
        targets: targets that were wished for instead of the file's own [m], by name.
    """

    car: Car
    text: str
    file: str
    rules: ClassRules | None
    plan: Plan
    rounded: Rounded
    bits: Mapping[Station, Bit | None]
    trade: tuple[TradePoint, ...]
    assumed: tuple[str, ...]
    weights: Mapping[str, float]
    targets: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def wanted(self, name: str) -> float:
        """Return what is aimed at [m]: `height_difference`, `drift` or `rail_offset`."""
        value: float = getattr(self.car.targets, name).value
        return self.targets.get(name, value)

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return planned_json(self)


def _wish(asked: Mapping[str, str | None], **more: Any) -> Wish:
    """Return a wish from what a builder wrote, each refusal naming its option."""
    from rollwright.setup.plan import Wish  # noqa: PLC0415 - brings numpy

    found: dict[str, Any] = dict(more)
    for option, written in asked.items():
        if written is None:
            continue
        name, read = WISHES[option]
        try:
            found[name] = read(written)
            Wish(**{name: found[name]})
        except (OutOfRange, UnreadableQuantity) as error:
            raise error.at(key=f"--{option.replace('_', '-')}") from None
    return Wish(**found)


def make(
    car_file: str | os.PathLike[str],
    *,
    class_file: str | os.PathLike[str] | None = None,
    asked: Mapping[str, str | None] = MappingProxyType({}),
    ride_at_front: bool = False,
    bent: bool | None = None,
    prefer: str = PREFERENCES[0],
    system: System = System.METRIC,
) -> Planned:
    """Return a plan of a file's car.

    Args:
        car_file: the car's file: its parts, its body and its targets.
        class_file: file of the rules of the class that it is built for; None: no rules are asked.
        asked: wishes as a builder writes them, by the options of `WISHES`.
        ride_at_front: whether a ride height is meant at the front holes.
        bent: whether bent axles are wanted; None: as the car and the class allow.
        prefer: one of `PREFERENCES`.
        system: units of the words, and of the steps that figures are rounded to.

    Returns:
        The plan.

    Raises:
        InputError: a file or a wish cannot be used, or the car cannot stand.
    """
    from rollwright.judge.class_file import parse_class  # noqa: PLC0415 - rarely needed
    from rollwright.setup.plan import Preference, plan, trade_off  # noqa: PLC0415 - brings numpy
    from rollwright.setup.plan_rounding import rounded  # noqa: PLC0415

    name = Path(car_file).name
    text = load_toml(car_file, what="car file")
    car = parse_car(text, file=name)
    rules = None
    if class_file is not None:
        rules = parse_class(load_toml(class_file, what="class file"), file=Path(class_file).name)
    wish = _wish(
        asked,
        ride_at_front=ride_at_front,
        bent_axles=bent,
        preference=Preference(prefer.replace("-", "_")),
    )
    try:
        found = plan(car, wish=wish, rules=rules, system=system)
        fine = rounded(found, rules=rules, system=system)
        trade = trade_off(car, wish=wish, rules=rules, count=_COUNT)
    except InputError as error:
        raise error.at(file=name) from None
    wished = {
        key: value
        for key in ("height_difference", "drift", "rail_offset")
        if (value := getattr(wish, key)) is not None
    }
    return Planned(
        car=car,
        text=text,
        file=name,
        rules=rules,
        plan=found,
        rounded=fine,
        bits=_bits(car),
        trade=trade,
        assumed=_assumed(car, found, wished),
        weights=_weights(car, fine.car),
        targets=wished,
    )


def _bits(car: Car) -> dict[Station, Bit | None]:
    found: dict[Station, Bit | None] = {}
    for station in Station:
        try:
            found[station] = nearest_bit(car.axle_at(station).shank.value)
        except OutOfRange:
            found[station] = None
    return found


def _assumed(car: Car, found: Plan, wished: Mapping[str, float]) -> tuple[str, ...]:
    """Return the keys that nobody gave and that the plan does not set itself."""
    place = file_key(car, f"{car.dominant.value}.bend_at")
    used = {*assumed_for_stance(car), *assumed_for_targets(car)} - {place}
    used |= {place} if found.bent else set()
    used -= {f"targets.{name}.value" for name in wished}
    return tuple(key for key in found.car.assumed if key in used)


def _weights(car: Car, planned: Car) -> dict[str, float]:
    """Return the largest share of each key of the file in what the planned car's stance leaves open."""
    from rollwright.geometry.spread import spread_of  # noqa: PLC0415 - rarely needed
    from rollwright.geometry.stance import stance  # noqa: PLC0415

    names = frozenset(dimension_names())
    found: dict[str, float] = {}
    try:
        budgets = [each.budget for each in spread_of(planned, stance(planned)).values()]
    except CarCannotRest:
        # The plan says already what is wrong with its balance.
        return found
    for part in (part for budget in budgets for part in budget if part.name in names):
        key = file_key(car, part.name)
        found[key] = max(found.get(key, 0.0), part.share)
    return found


def save(found: Planned, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Write the car file as it is planned.

    Args:
        found: the plan.
        path: where; the builder's remarks and parts stay as they are.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnreadable: the file's layout cannot be changed line by line.
        FileUnwritable: a file is there already, or it cannot be written.
    """
    try:
        text = planned_text(found)
    except FileUnreadable as error:
        raise error.at(file=found.file) from None
    save_text(path, text, overwrite=overwrite)


def draw(found: Planned, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Write the picture of what was traded off.

    Args:
        found: the plan.
        path: where; its ending says whether it becomes an SVG or a PNG.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    save_picture(path, picture(found), overwrite=overwrite)
