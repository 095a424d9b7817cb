"""Events of the hands: a car is started, drilled, fitted with parts and adjusted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import Annotated, ClassVar

from rollwright.bench.forms import (
    ANGLE,
    GAUGE,
    LENGTH,
    LINES,
    MASS,
    NAME,
    NUMBER,
    SIZE,
    Checked,
    Event,
    Many,
    Number,
    Record,
    Text,
    Word,
)
from rollwright.car.model import Station
from rollwright.errors import OutOfRange, ReadingUnusable
from rollwright.units import Kind

__all__ = [
    "Adjustment",
    "Bend",
    "CarStarted",
    "ClassChosen",
    "Fitted",
    "HoleDrilled",
    "PartFitted",
    "PartLeftOff",
    "Sand",
    "Shim",
    "Size",
    "StartedFrom",
    "Turn",
    "Washer",
]

_CAR_FILE = Text(1_000_000, lines=True)
_STATION = Word(Station)


class StartedFrom(Enum):
    """Where a car's first description came from."""

    FILE = "file"
    PLAN = "plan"
    RECIPE = "recipe"


class Fitted(Enum):
    """A kind of part."""

    WHEEL = "wheel"
    AXLE = "axle"
    WASHER = "washer"
    WEIGHT = "weight"
    SHIELD = "shield"


@dataclass(frozen=True, slots=True, kw_only=True)
class CarStarted(Event):
    """A car enters the log.

    Attributes:
        source: where its description came from.
        car_file: the whole text of its car file.
        class_name: the class it is built for, where one is chosen.
        source_car: id of the car whose set-up it was copied from, or the recipe's name.
    """

    kind: ClassVar[str] = "car_started"
    source: Annotated[StartedFrom, Word(StartedFrom)]
    car_file: Annotated[str, _CAR_FILE]
    class_name: Annotated[str, NAME] = ""
    source_car: Annotated[str, NAME] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassChosen(Event):
    """The class that a car is built for was chosen, in place of any chosen before.

    Attributes:
        class_file: the whole text of the class's rules.
    """

    kind: ClassVar[str] = "class_chosen"
    class_file: Annotated[str, _CAR_FILE]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleDrilled(Event):
    """A hole was drilled.

    Attributes:
        station: where.
        hole_height: what was aimed at: hole's centre above the underside [m], or None.
        cant: what was aimed at [rad], outer end up positive, down negative; or None.
        sweep: what was aimed at [rad], outer end forward positive, backward negative; or None.
        instrument: jig, bit and machine.
        note: a remark.
    """

    kind: ClassVar[str] = "hole_drilled"
    station: Annotated[Station, _STATION]
    hole_height: Annotated[float | None, LENGTH] = None
    cant: Annotated[float | None, ANGLE] = None
    sweep: Annotated[float | None, ANGLE] = None
    instrument: Annotated[str, NAME] = ""
    note: Annotated[str, LINES] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Size(Checked):
    """One measured size of a part: its `name` in the car file, `value` and `uncertainty` [SI], or None."""

    kind: ClassVar[str] = "size"
    name: Annotated[str, NAME]
    value: Annotated[float, NUMBER]
    uncertainty: Annotated[float | None, GAUGE] = None


_POSITION = {"x": LENGTH, "y": LENGTH, "z": LENGTH}
_INERTIA = Number(Kind.INERTIA, 0.0, 1.0, above=True)
_SIZES = {
    Fitted.WHEEL: {"diameter": SIZE, "tread_width": SIZE, "hub_projection": LENGTH, "bore": SIZE}
    | {"mass": MASS, "inertia": _INERTIA},
    Fitted.AXLE: {"shank": SIZE, "bend": ANGLE, "bend_at": LENGTH, "mass": MASS},
    Fitted.WASHER: {"thickness": SIZE},
    Fitted.WEIGHT: {"mass": MASS} | _POSITION,
    Fitted.SHIELD: {"mass": MASS} | _POSITION,
}
_AT_A_STATION = {Fitted.WHEEL, Fitted.AXLE, Fitted.WASHER}


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFitted(Event):
    """A part was fitted, in place of whatever was there.

    Attributes:
        part: what kind of part.
        name: what the builder calls it, such as the wheel's or the weight's name in the car file.
        station: where, for a wheel, an axle or a washer; a shield may have one.
        pocket: which pocket, for a weight; a shield may have one.
        sizes: what was measured of it [SI]: of a wheel diameter, tread_width, hub_projection, bore, mass,
            inertia; of an axle shank, bend, bend_at, mass; of a washer thickness; of a weight or a shield
            mass and x, y, z of its centre in the body frame.
        instrument: what they were measured with.
        note: a remark.
    """

    kind: ClassVar[str] = "part_fitted"
    part: Annotated[Fitted, Word(Fitted)]
    name: Annotated[str, NAME]
    station: Annotated[Station | None, _STATION] = None
    pocket: Annotated[str, NAME] = ""
    sizes: Annotated[tuple[Size, ...], Many(Record(Size), most=6)] = ()
    instrument: Annotated[str, NAME] = ""
    note: Annotated[str, LINES] = ""

    def check_whole(self) -> None:
        """Refuse a part in an impossible place, and sizes that it does not have."""
        needs = "a station" if self.part in _AT_A_STATION else "a pocket"
        given = [self.station is not None, bool(self.pocket)]
        allowed = {"a station": [True, False], "a pocket": [False, True]}[needs]
        if given != allowed and not (self.part is Fitted.SHIELD and sum(given) == 1):
            raise OutOfRange(
                f"a {self.part.value} needs {needs} and nothing else to say where it is",
                mend="say where it was fitted",
                key=self.key("station" if needs == "a station" else "pocket"),
            )
        known = _SIZES[self.part]
        for index, size in enumerate(self.sizes):
            if size.name not in known:
                raise OutOfRange(
                    f"a {self.part.value} has no {size.name!r}",
                    mend=f"known here: {', '.join(known)}",
                    key=self.key("sizes"),
                )
            if size.name in [earlier.name for earlier in self.sizes[:index]]:
                raise OutOfRange(f"{size.name} stands twice", mend="give it once", key=self.key("sizes"))
            known[size.name].check(size.value, self.key(f"sizes.{size.name}"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLeftOff(Event):
    """A part was left off on purpose, so that nothing waits for it.

    Attributes:
        part: what kind of part.
        reason: why.
        station: where it would have been, or None for all of its kind.
        pocket: which pocket stays empty.
        name: what the car file calls it, such as a weight's name; or empty for all of its kind there.
    """

    kind: ClassVar[str] = "part_left_off"
    part: Annotated[Fitted, Word(Fitted)]
    reason: Annotated[str, LINES]
    station: Annotated[Station | None, _STATION] = None
    pocket: Annotated[str, NAME] = ""
    name: Annotated[str, NAME] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustment(Event):
    """A hand changed something by an amount: the base of `Bend`, `Turn`, `Sand`, `Washer` and `Shim`.

    With neither amount it says that the thing was changed and nobody knows by how much.

    Attributes:
        station: where.
        asked: the change that was wanted [rad or m], or None; each kind says which way is positive.
        done: the change that was measured afterwards, or None where it was not.
        uncertainty: standard uncertainty of `done`, or None.
        instrument: with what it was done or measured.
        note: a remark.
    """

    change: ClassVar[Number] = NUMBER
    station: Annotated[Station, _STATION]
    asked: Annotated[float | None, NUMBER] = None
    done: Annotated[float | None, NUMBER] = None
    uncertainty: Annotated[float | None, GAUGE] = None
    instrument: Annotated[str, NAME] = ""
    note: Annotated[str, LINES] = ""

    def check_whole(self) -> None:
        """Refuse a change that no hand makes, and an uncertainty of nothing."""
        for name in ("asked", "done"):
            amount = getattr(self, name)
            if amount is not None:
                self.change.check(amount, self.key(name))
        if self.uncertainty is not None and self.done is None:
            raise ReadingUnusable(
                "an uncertainty stands beside no measured change",
                mend="give done, or leave the uncertainty out",
                key=self.key("uncertainty"),
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend(Adjustment):
    """An axle was bent: change of the bend [rad]; more is positive, straighter is negative."""

    kind: ClassVar[str] = "bend"
    change: ClassVar[Number] = ANGLE


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn(Adjustment):
    """A bent axle was turned in its hole: change of clock [rad].

    Positive carries the bend from down to forward, negative from down to backward.
    """

    kind: ClassVar[str] = "turn"
    change: ClassVar[Number] = Number(Kind.ANGLE, -4.0 * math.pi, 4.0 * math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sand(Adjustment):
    """Wood was taken off the side face: its depth [m]; it does not come back, so none is negative."""

    kind: ClassVar[str] = "sand"
    change: ClassVar[Number] = Number(Kind.LENGTH, 0.0, 0.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Washer(Adjustment):
    """Washers were changed: change of their total thickness [m]; added is positive, taken is negative."""

    kind: ClassVar[str] = "washer"
    change: ClassVar[Number] = Number(Kind.LENGTH, -0.1, 0.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shim(Adjustment):
    """A shim was put in or taken out: change of the axle's place in its hole [m].

    Positive holds the axle lower in its hole, so that the body stands higher; negative lets the body down.
    """

    kind: ClassVar[str] = "shim"
    change: ClassVar[Number] = Number(Kind.LENGTH, -0.1, 0.1)
