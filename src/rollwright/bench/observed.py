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
from rollwright.setup.reading_keys import READING_KEYS, ReadingKind, keys_of

__all__ = [
    "Clearance",
    "DaylightCheck",
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
    """A feeler's word on one wheel: the `gap` between it and the rail or the track at a `station` [m]."""

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
