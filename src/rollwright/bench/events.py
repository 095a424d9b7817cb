"""What can be entered in the bench log: one frozen class for each kind of event, all in SI units.

An event says what a person did or saw, never what was worked out from it, so that an old log can be
read again with a better model. Its written form has a version of its own for each kind.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, ClassVar

from rollwright.bench.forms import HASH, IDENTITY, LINES, Event, Text
from rollwright.bench.observed import (
    Clearance,
    DaylightCheck,
    Inspected,
    Plane,
    ReadingTaken,
    ScaleReading,
    Seen,
    SlowRoll,
    SlowRollSeen,
    Weighed,
)
from rollwright.bench.work import (
    Adjustment,
    Bend,
    CarStarted,
    ClassChosen,
    Fitted,
    HoleDrilled,
    PartFitted,
    PartLeftOff,
    Sand,
    Shim,
    Size,
    StartedFrom,
    Turn,
    Washer,
)

__all__ = [
    "EVENTS",
    "Adjustment",
    "Bend",
    "CarStarted",
    "ClassChosen",
    "Clearance",
    "DaylightCheck",
    "Event",
    "Fitted",
    "HoleDrilled",
    "Inspected",
    "Note",
    "PartFitted",
    "PartLeftOff",
    "Photo",
    "Plane",
    "ReadingTaken",
    "Retired",
    "Sand",
    "ScaleReading",
    "Seen",
    "Shim",
    "Size",
    "SlowRoll",
    "SlowRollSeen",
    "StartedFrom",
    "Turn",
    "Washer",
    "Weighed",
    "Withdrawn",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Retired(Event):
    """The car is no longer worked on, with the `reason`."""

    kind: ClassVar[str] = "retired"
    reason: Annotated[str, LINES]


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawn(Event):
    """An earlier entry was a mistake and no longer counts: the `entry`'s id and the `reason`."""

    kind: ClassVar[str] = "withdrawn"
    entry: Annotated[str, IDENTITY]
    reason: Annotated[str, LINES]


@dataclass(frozen=True, slots=True, kw_only=True)
class Note(Event):
    """A remark: its `text`."""

    kind: ClassVar[str] = "note"
    text: Annotated[str, LINES]


@dataclass(frozen=True, slots=True, kw_only=True)
class Photo(Event):
    """A picture was taken.

    Attributes:
        sha256: SHA-256 of its bytes, which the store keeps beside the log.
        media_type: such as `image/jpeg`.
        caption: what it shows.
    """

    kind: ClassVar[str] = "photo"
    sha256: Annotated[str, HASH]
    media_type: Annotated[str, Text(60, pattern="image/[a-z0-9.+-]+", example="image/jpeg or another")]
    caption: Annotated[str, LINES] = ""


_KINDS: tuple[type[Event], ...] = (
    *(CarStarted, ClassChosen, HoleDrilled, DaylightCheck, PartFitted, PartLeftOff),
    *(Bend, Turn, Sand, Washer, Shim),
    *(ReadingTaken, ScaleReading, SlowRoll, Inspected, Retired, Withdrawn, Note, Photo),
)

EVENTS: Mapping[str, type[Event]] = MappingProxyType({event.kind: event for event in _KINDS})
"""Every kind of event that this version knows, by the name that is written."""
