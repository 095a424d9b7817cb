"""Use cases of the parts box: what is fit to race, and which wheels and axles belong on a car."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Car, Station
from rollwright.car.write import save_text, updated_text
from rollwright.errors import FileUnreadable, InputError, MissingReference, echo
from rollwright.judge.class_file import parse_class
from rollwright.judge.parts import ALIKE, LIMITS, MEASURES, Check, Grade, Pair, doubts_of
from rollwright.quantity import Quantity, Source
from rollwright.setup.parts import Graded, PartsBox, graded
from rollwright.units import Kind
from rollwright.workbench.parts_file import read_parts
from rollwright.workbench.parts_json import box_json, set_json

if TYPE_CHECKING:
    from rollwright.setup.parts_set import MatchedSet
    from rollwright.setup.parts_worth import CostAt, Rival

__all__ = [
    "ALIKE",
    "LIMITS",
    "MEASURES",
    "Check",
    "CostAt",
    "Grade",
    "Graded",
    "Matched",
    "MatchedSet",
    "Pair",
    "PartsBox",
    "Rival",
    "doubts_of",
    "draw",
    "look_through",
    "match",
    "save",
]

_WHEEL_KINDS = {
    "diameter": Kind.LENGTH,
    "tread_width": Kind.LENGTH,
    "hub_projection": Kind.LENGTH,
    "bore": Kind.LENGTH,
    "mass": Kind.MASS,
    "inertia": Kind.INERTIA,
}
_AXLE_KINDS = {"shank": Kind.LENGTH, "bend": Kind.ANGLE, "bend_at": Kind.LENGTH, "mass": Kind.MASS}


@dataclass(frozen=True, slots=True, kw_only=True)
class Matched:
    """A box, and the set of it for a car where one was asked for.

    Attributes:
        graded: the box with its grades.
        car: the car as its file has it, or None.
        track: name of the track, empty without one.
        lane: name of the lane, empty: the track as it is.
        found: the set, or None.
    """

    graded: Graded
    car: Car | None = None
    track: str = ""
    lane: str = ""
    found: MatchedSet | None = None

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        box = box_json(self.graded, self.found)
        name = None if self.car is None else self.car.name
        return {**box, "car": name, "track": self.track or None, "lane": self.lane, **set_json(self.found)}


def look_through(parts_file: str | os.PathLike[str], *, lubricant: str | None = None) -> Matched:
    """Return the parts of a file with their grades.

    Args:
        parts_file: the parts file.
        lubricant: of the spin-downs that are to count; None takes the one that most wheels were spun with.

    Returns:
        The box, graded.

    Raises:
        InputError: the file cannot be used, or no wheel was spun down with that lubricant.
    """
    box = read_parts(parts_file)
    if lubricant is not None:
        known = sorted(
            {
                each.lubricant
                for wheel in box.wheels.values()
                for each in wheel.history
                if each.friction is not None
            }
        )
        if lubricant not in known:
            raise MissingReference(
                f"no wheel was spun down with {echo(lubricant)}",
                mend=f"write one of {', '.join(known)}" if known else "leave it out",
                file=Path(parts_file).name,
                key="--lubricant",
            )
    return Matched(graded=graded(box, lubricant=lubricant))


def match(
    parts_file: str | os.PathLike[str],
    *,
    car_file: str | os.PathLike[str],
    track_file: str | os.PathLike[str],
    lane: str = "",
    class_file: str | os.PathLike[str] | None = None,
    lubricant: str | None = None,
) -> Matched:
    """Return which parts of a box go on a car, and where.

    Args:
        parts_file: the parts file.
        car_file: the car's file.
        track_file: the track's file.
        lane: name of a lane; empty takes the track as it is.
        class_file: file of the class's rules, for the diameter of its wheels; None asks nothing.
        lubricant: of the spin-downs that are to count; None takes the one that most wheels were spun with.

    Returns:
        The box and the set.

    Raises:
        InputError: a file cannot be used, too few parts are fit, or no set keeps the car level.
    """
    from rollwright.run.track_file import parse_track  # noqa: PLC0415 - brings numpy
    from rollwright.setup.parts_set import matched_set  # noqa: PLC0415 - brings numpy and scipy

    looked = look_through(parts_file, lubricant=lubricant)
    car = parse_car(load_toml(car_file, what="car file"), file=Path(car_file).name)
    track = parse_track(load_toml(track_file, what="track file"), file=Path(track_file).name)
    rules = None
    if class_file is not None:
        rules = parse_class(load_toml(class_file, what="class file"), file=Path(class_file).name)
    try:
        found = matched_set(car, track, looked.graded, rules=rules, lane=lane)
    except InputError as error:
        blame = track_file if "lane" in error.key else parts_file
        raise error.at(file=Path(blame).name) from None
    return Matched(graded=looked.graded, car=car, track=track.name, lane=lane, found=found)


def draw(found: Matched, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Draw what each wheel costs into a file.

    Args:
        found: the set.
        path: where; its ending says whether it becomes an SVG or a PNG.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    from rollwright.workbench.parts_picture import picture  # noqa: PLC0415 - rarely asked
    from rollwright.workbench.pictures import save_picture  # noqa: PLC0415 - rarely asked

    save_picture(path, picture(found), overwrite=overwrite)


def save(
    found: Matched,
    car_file: str | os.PathLike[str],
    path: str | os.PathLike[str],
    *,
    overwrite: bool = False,
) -> None:
    """Write the car with its new parts to a file, the builder's comments and layout kept.

    Args:
        found: the set.
        car_file: the car's present file.
        path: where the new one goes.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        InputError: the present file is laid out so that it cannot be changed line by line, or the new one
            cannot be written.
    """
    name = Path(car_file).name
    text = load_toml(car_file, what="car file")
    save_text(path, with_parts(text, found, file=name), overwrite=overwrite)


def with_parts(text: str, found: Matched, *, file: str = "car.toml") -> str:
    """Return a car file's text with the set of a box fitted.

    Args:
        text: the file's present text.
        found: the set.
        file: the file's name, for messages.

    Returns:
        The new text; wheels and axles that nothing uses any more stay in it.

    Raises:
        FileUnreadable: the file is laid out so that it cannot be changed line by line.
        MissingReference: no set was asked for.
    """
    if found.found is None or found.car is None:
        raise MissingReference("there is no set to write", mend="name a car and a track")
    old_car, new_car = found.car, found.found.car
    named = {f"wheels.{name}" for name in old_car.wheels} | {f"axles.{name}" for name in old_car.axles}
    new = _refitted(text, found.found.fitted, file=file)
    changes: dict[str, Quantity] = {}
    kinds: dict[str, Kind] = {}
    for station in found.found.fitted:
        corner = new_car.corners[station]
        old = old_car.corners[station]
        for group, part, before, table in (
            (f"wheels.{corner.wheel}", new_car.wheel_at(station), old_car.wheels[old.wheel], _WHEEL_KINDS),
            (f"axles.{corner.axle}", new_car.axle_at(station), old_car.axles[old.axle], _AXLE_KINDS),
        ):
            for key, kind in table.items():
                quantity: Quantity | None = getattr(part, key)
                # What nobody gave of either part is assumed of the new one too, without a line in the file.
                told = quantity is not None and quantity.source is not Source.ASSUMED
                own = quantity is not getattr(before, key) and key != "bend"
                if quantity is not None and (told or own or group in named):
                    changes[f"{group}.{key}"], kinds[f"{group}.{key}"] = quantity, kind
    return updated_text(new, changes, kinds=kinds, file=file)


def _refitted(text: str, fitted: Mapping[Station, tuple[str, str]], *, file: str) -> str:
    """Return the text with every station naming its new parts, and a heading for each of these."""
    import tomlkit  # noqa: PLC0415 - only writing needs it, and it costs start-up time
    from tomlkit.exceptions import TOMLKitError  # noqa: PLC0415

    wanted: dict[str, Any] = tomllib.loads(text)
    try:
        document = tomlkit.parse(text)
        stations: Any = document.setdefault("stations", tomlkit.table(is_super_table=True))
        lines: list[str] = []
        for station, names in fitted.items():
            place: Any = stations.setdefault(station.value, tomlkit.table())
            for kind, name in zip(("wheel", "axle"), names, strict=True):
                _renamed(place, kind, name)
                wanted.setdefault("stations", {}).setdefault(station.value, {})[kind] = name
                if name not in wanted.setdefault(f"{kind}s", {}):
                    wanted[f"{kind}s"][name] = {}
                    lines.append(f"\n[{kind}s.{tomlkit.key(name).as_string()}]\n")
        new = tomlkit.dumps(document)
        new += ("" if new.endswith("\n") else "\n") + "".join(
            sorted(lines, key=lambda line: (line.startswith("\n[axles"), line))
        )
        sound = tomllib.loads(new) == wanted
    except (TOMLKitError, RecursionError, tomllib.TOMLDecodeError):
        sound = False
    if not sound:
        raise FileUnreadable(
            "this file is laid out in a way that cannot be changed line by line",
            mend="write each table under one heading of its own",
            file=file,
        )
    return new


def _renamed(place: Any, key: str, name: str) -> None:
    import tomlkit  # noqa: PLC0415 - see above

    old = place.get(key)
    item = tomlkit.string(name)
    if old is not None and hasattr(old, "trivia"):
        # The remark at the end of the line belongs to the key, so it stays with the new name.
        item.trivia.comment_ws = old.trivia.comment_ws
        item.trivia.comment = old.trivia.comment
    place[key] = item
