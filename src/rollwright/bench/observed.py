"""Events of the eyes: daylight, readings, weights and slow rolls, kept raw."""

from __future__ import annotations

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
    Record,
    Word,
)
from rollwright.car.model import Seat, Station
from rollwright.errors import OutOfRange, ReadingUnusable
from rollwright.judge.class_rules import LOOKS, NONE, Rule
from rollwright.setup.reading_keys import READING_KEYS, ReadingKind, keys_of

__all__ = [
    "Clearance",
    "DaylightCheck",
    "Inspected",
    "Plane",
    "ReadingTaken",
    "ScaleReading",
    "Seen",
    "SlowRoll",
    "SlowRollSeen",
    "Weighed",
]

_STATION = Word(Station)


class Plane(Enum):
    """Which way a hole was looked at: out of level (`cant`) or out of square (`sweep`)."""

    CANT = "cant"
    SWEEP = "sweep"


class Seen(Enum):
    """What a daylight check showed: none, some that was not measured, a feeler's size, or an angle."""

    NONE = "none"
    SEEN = "seen"
    FEELER = "feeler"
    ANGLE = "angle"


class Weighed(Enum):
    """What stood on the scale; for an end or a wheel the others stood level beside it."""

    WHOLE = "whole"
    FRONT = "front"
    REAR = "rear"
    REAR_LEFT = "rear_left"
    REAR_RIGHT = "rear_right"
    FRONT_LEFT = "front_left"
    FRONT_RIGHT = "front_right"


class SlowRollSeen(Enum):
    """What the car did, rolled slowly down a lane."""

    HOLDS = "holds"
    LEAVES = "leaves"
    TAIL_LEFT = "tail_left"
    TAIL_RIGHT = "tail_right"


@dataclass(frozen=True, slots=True, kw_only=True)
class DaylightCheck(Event):
    """A pin in its hole was held against a straight-edge and looked at.

    Attributes:
        station: where.
        plane: which way.
        seen: what showed.
        size: the gap [m] for a feeler, the angle [rad] for an angle, None for the others; positive: outer
            end up or forward, negative: outer end down or backward.
        distance: side face to where the gap was read [m], or None.
        against: angle at which the straight-edge of a gap stood [rad], signed like the size; None for level
            or square.
        uncertainty: standard uncertainty of the size [m or rad]; where no daylight shows, of the judgement
            that there is none [m]; or None.
        instrument: what it was read with.
        written: the size as the builder wrote it.
        note: a remark.
    """

    kind: ClassVar[str] = "daylight_check"
    station: Annotated[Station, _STATION]
    plane: Annotated[Plane, Word(Plane)]
    seen: Annotated[Seen, Word(Seen)]
    size: Annotated[float | None, NUMBER] = None
    distance: Annotated[float | None, SIZE] = None
    against: Annotated[float | None, ANGLE] = None
    uncertainty: Annotated[float | None, GAUGE] = None
    instrument: Annotated[str, NAME] = ""
    written: Annotated[str, LINES] = ""
    note: Annotated[str, LINES] = ""

    def check_whole(self) -> None:
        """Refuse a size without a measurement, and a measurement without its size."""
        measured = self.seen in {Seen.FEELER, Seen.ANGLE}
        if measured and self.size is None:
            raise ReadingUnusable(
                f"daylight was measured by {self.seen.value} and its size is not said",
                mend="give the size, or say seen",
                key=self.key("size"),
            )
        if self.against is not None and self.seen is Seen.ANGLE:
            raise ReadingUnusable(
                "an angle is read by itself and against no straight-edge",
                mend="leave it out",
                key=self.key("against"),
            )
        if not measured and self.size is not None:
            raise ReadingUnusable(
                f"a size stands beside {self.seen.value}", mend="say feeler or angle", key=self.key("size")
            )
        if self.size is not None:
            (LENGTH if self.seen is Seen.FEELER else ANGLE).check(self.size, self.key("size"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingTaken(Event):
    """A reading was taken, kept raw; the fields mean what the keys of a readings file mean.

    Attributes:
        reading: what was read.
        values: the reading, or its repeats in order [SI]; drift is positive to the left.
        trace: points of a drift path in place of values: down the board and sideways, positive left [m].
        uncertainty: standard uncertainty of the gauge [SI], or None where the builder did not say.
        common: standard uncertainty of the error that the set-up's readings share [SI], or None.
        set_up: name of that set-up.
        station: the wheel or hole it belongs to, where the kind needs one.
        instrument: what it was read with.
        distance: drift: how far the car ran; tip sweep: bend to the tip; daylight: side face to the gap [m].
        thickness: of the centring block [m].
        width: of the centring block [m].
        seat: where the hand held the wheel on the block.
        plane: which way daylight was read.
        against: angle at which the straight-edge stood [rad].
        dimension: name of the dimension that a size was read of.
        written: the reading as the builder wrote it.
        note: a remark.
    """

    kind: ClassVar[str] = "reading"
    reading: Annotated[ReadingKind, Word(ReadingKind)]
    values: Annotated[tuple[float, ...], Many(NUMBER)] = ()
    trace: Annotated[tuple[tuple[float, float], ...], Many(Many(LENGTH, exactly=2), most=10_000)] = ()
    uncertainty: Annotated[float | None, GAUGE] = None
    common: Annotated[float | None, GAUGE] = None
    set_up: Annotated[str, NAME] = ""
    station: Annotated[Station | None, _STATION] = None
    instrument: Annotated[str, NAME] = ""
    distance: Annotated[float | None, SIZE] = None
    thickness: Annotated[float | None, SIZE] = None
    width: Annotated[float | None, SIZE] = None
    seat: Annotated[Seat | None, Word(Seat)] = None
    plane: Annotated[Plane | None, Word(Plane)] = None
    against: Annotated[float | None, ANGLE] = None
    dimension: Annotated[str, NAME] = ""
    written: Annotated[str, LINES] = ""
    note: Annotated[str, LINES] = ""

    def check_whole(self) -> None:
        """Refuse a reading without its number, its wheel or its dimension, and fields of another kind."""
        if bool(self.values) == bool(self.trace):
            raise ReadingUnusable(
                "a reading has either values or a trace", mend="give exactly one of them", key=self.kind
            )
        allowed = {key.name for key in keys_of(self.reading)}
        needed = {key.name for key in READING_KEYS if self.reading in key.needed}
        for name in ("trace", "station", "distance", "thickness", "width", "seat", "plane", "against"):
            given = getattr(self, name) not in (None, ())
            if given and name not in allowed:
                raise ReadingUnusable(
                    f"a reading of {self.reading.words} has no {name}",
                    mend="leave it out",
                    key=self.key(name),
                )
        for name in sorted(needed - {"kind"}):
            if not getattr(self, name):
                raise ReadingUnusable(
                    f"a reading of {self.reading.words} needs its {name}", mend="say it", key=self.key(name)
                )
        if self.dimension and "dimension" not in allowed:
            raise ReadingUnusable(
                "only a size has a dimension", mend="leave it out", key=self.key("dimension")
            )
        if self.common is not None and not self.set_up:
            raise ReadingUnusable(
                "a common uncertainty belongs to a set-up", mend="name the set-up", key=self.key("common")
            )
        if self.trace and len({x for x, _ in self.trace}) < 3:
            raise ReadingUnusable(
                "these points do not show how a path curves",
                mend="give at least three at different distances",
                key=self.key("trace"),
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleReading(Event):
    """The car or a part of it was weighed.

    Attributes:
        where: what stood on the scale.
        mass: what the scale showed [kg].
        uncertainty: standard uncertainty of the scale [kg], or None where the builder did not say.
        instrument: which scale.
        written: the mass as the builder wrote it.
        note: a remark.
    """

    kind: ClassVar[str] = "scale_reading"
    where: Annotated[Weighed, Word(Weighed)]
    mass: Annotated[float, MASS]
    uncertainty: Annotated[float | None, GAUGE] = None
    instrument: Annotated[str, NAME] = ""
    written: Annotated[str, LINES] = ""
    note: Annotated[str, LINES] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clearance(Checked):
    """A feeler's word on one wheel: the `gap` between its inner edge and the rail at a `station` [m]."""

    kind: ClassVar[str] = "clearance"
    station: Annotated[Station, _STATION]
    gap: Annotated[float, LENGTH]


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowRoll(Event):
    """The car was rolled slowly down a lane.

    Attributes:
        seen: what it did.
        clearances: feeler gaps by station, each at most once.
        lane: which lane or track.
        instrument: with what the gaps were felt.
        note: a remark.
    """

    kind: ClassVar[str] = "slow_roll"
    seen: Annotated[SlowRollSeen, Word(SlowRollSeen)]
    clearances: Annotated[tuple[Clearance, ...], Many(Record(Clearance), most=4)] = ()
    lane: Annotated[str, NAME] = ""
    instrument: Annotated[str, NAME] = ""
    note: Annotated[str, LINES] = ""

    def check_whole(self) -> None:
        """Refuse two gaps at one station."""
        stations = [clearance.station for clearance in self.clearances]
        if len(set(stations)) < len(stations):
            raise OutOfRange(
                "a station has two clearances", mend="give each once", key=self.key("clearances")
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspected(Event):
    """Something that a class may have a rule about was measured, or looked at.

    The mass is no such thing: a `ScaleReading` of the whole car tells it.

    Attributes:
        rule: what the rule would be about.
        value: what a gauge showed [m], for a size; None for what is looked at.
        found: what was seen, for what is looked at: of bent axles `straight` or `bent`, of aerodynamic parts
            `none` or `fitted`, of the lubricant its kind or `none`; of a weight's reach `none`, in place of
            the size, where the car has no weight.
        station: which wheel, for a wheel's diameter.
        uncertainty: standard uncertainty of the gauge [m], or None where the builder did not say.
        instrument: what it was read with.
        written: the size as the builder wrote it.
        note: a remark.
    """

    kind: ClassVar[str] = "inspected"
    rule: Annotated[Rule, Word(Rule)]
    value: Annotated[float | None, LENGTH] = None
    found: Annotated[str, NAME] = ""
    station: Annotated[Station | None, _STATION] = None
    uncertainty: Annotated[float | None, GAUGE] = None
    instrument: Annotated[str, NAME] = ""
    written: Annotated[str, LINES] = ""
    note: Annotated[str, LINES] = ""

    def check_whole(self) -> None:
        """Refuse a size without its number, a look without its word, and what belongs to another rule."""
        what = self.rule.words
        if self.rule is Rule.MASS:
            raise ReadingUnusable("a mass is read by a scale", mend="weigh the car", key=self.key("rule"))
        weightless = self.rule.is_reach and self.value is None and self.found == NONE
        if self.rule.is_size and (self.value is None or self.found) and not weightless:
            raise ReadingUnusable(
                f"the {what} is a size and needs its number", mend="measure it", key=self.key("value")
            )
        if not self.rule.is_size and (self.value is not None or not self.found):
            raise ReadingUnusable(
                f"{what}: this is looked at and needs what was seen", mend="say it", key=self.key("found")
            )
        words = LOOKS.get(self.rule)
        if words and self.found not in words:
            raise OutOfRange(
                f"{self.found!r} is not what can be seen of {what}",
                mend=f"write {' or '.join(words)}",
                key=self.key("found"),
            )
        if (self.station is not None) != (self.rule is Rule.WHEEL_DIAMETER):
            raise ReadingUnusable(
                "a wheel's diameter needs its wheel, and nothing else has one",
                mend="name the wheel, or leave it out",
                key=self.key("station"),
            )
        if self.uncertainty is not None and self.value is None:
            raise ReadingUnusable(
                "an uncertainty stands beside no number", mend="leave it out", key=self.key("uncertainty")
            )
