"""Every key of a readings file in one table: the kinds of reading, what each may say, and the hand's.

The reader, the JSON Schema and the reference page are made from it, so they cannot disagree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

__all__ = [
    "DEFAULT_DISTANCE",
    "DEFAULT_THICKNESS",
    "DEFAULT_UNCERTAINTY",
    "DEFAULT_UNCERTAINTY_OF_ANGLE",
    "FARTHEST",
    "HAND_KEYS",
    "KIND_HELP",
    "LARGEST_GAP",
    "LEAST",
    "READING_KEYS",
    "STEEPEST",
    "VARYING",
    "Form",
    "ReadingKey",
    "ReadingKind",
    "keys_of",
]

_MM = 1e-3
_DEG = math.pi / 180.0


class ReadingKind(Enum):
    """What was read; each kind has its own model in `setup.predict`."""

    HEIGHT_DIFFERENCE = "height_difference"
    DRIFT = "drift"
    RAIL_OFFSET = "rail_offset"
    BLOCK_OFFSET = "block_offset"
    RAIL_CLEARANCE = "rail_clearance"
    ROLL_CLEARANCE = "roll_clearance"
    TAIL_OFFSET = "tail_offset"
    TIP_SWEEP = "tip_sweep"
    DAYLIGHT = "daylight"
    SIZE = "size"

    @property
    def words(self) -> str:
        """The kind as it is said: `height difference`."""
        return self.value.replace("_", " ")


VARYING = frozenset({ReadingKind.DRIFT, ReadingKind.TAIL_OFFSET})
"""What differs from one run to the next by itself, so that a mean of repeats is better than one of them."""

KIND_HELP = {
    ReadingKind.HEIGHT_DIFFERENCE: "front underside height minus rear underside height; "
    "positive: front high; negative: front low",
    ReadingKind.DRIFT: "sideways travel on the tuning board; positive: left; negative: right",
    ReadingKind.RAIL_OFFSET: "gap from the rail, or a gauge of its size, to the dominant wheel, the car "
    "standing centred on its wheels; positive: stands off; negative: holds the centre lines apart",
    ReadingKind.BLOCK_OFFSET: "the same with the body lying on a centring block and the wheel hanging",
    ReadingKind.RAIL_CLEARANCE: "gap from the rail to a wheel while the dominant wheel touches the rail, "
    "the car moved over by hand and square to it",
    ReadingKind.ROLL_CLEARANCE: "gap from the rail to a wheel, the car stopped on the lane just as it "
    "rolled, its dominant wheel on the rail",
    ReadingKind.TAIL_OFFSET: "how far the body's centre line at the rear holes stands from the rail's while "
    "it rolls; positive: tail to the left; negative: to the right",
    ReadingKind.TIP_SWEEP: "how far the tip of a bent pin swings in all while its straight part is rolled",
    ReadingKind.DAYLIGHT: "gap between a pin in its hole and a straight-edge; "
    "positive: outer end up or forward; negative: outer end down or backward",
    ReadingKind.SIZE: "one dimension of the car, read with a caliper or a protractor",
}
"""What each kind is, in a builder's words, with the meaning of its sign."""

DEFAULT_UNCERTAINTY = {
    ReadingKind.HEIGHT_DIFFERENCE: 0.05 * _MM,
    ReadingKind.DRIFT: 3.0 * _MM,
    ReadingKind.RAIL_OFFSET: 0.05 * _MM,
    ReadingKind.BLOCK_OFFSET: 0.05 * _MM,
    ReadingKind.RAIL_CLEARANCE: 0.05 * _MM,
    ReadingKind.ROLL_CLEARANCE: 0.1 * _MM,
    ReadingKind.TAIL_OFFSET: 0.3 * _MM,
    ReadingKind.TIP_SWEEP: 0.05 * _MM,
    ReadingKind.DAYLIGHT: 0.05 * _MM,
    ReadingKind.SIZE: 0.02 * _MM,
}
"""Standard uncertainty of a reading that does not say its own [m]; used values are named as assumed."""

DEFAULT_UNCERTAINTY_OF_ANGLE = 0.2 * _DEG
"""The same for a size that is an angle [rad]."""

DEFAULT_THICKNESS = 12.0 * _MM
"""Thickness of a centring block that does not say its own [m]."""

DEFAULT_DISTANCE = 30.0 * _MM
"""Distance of a tip sweep or a daylight reading that does not say its own [m]."""

LARGEST_GAP = 100.0 * _MM
"""Greatest reading of a gap or a height [m]: more than any block car has to show."""

FARTHEST = 20.0
"""Greatest length in a readings file [m]: that of the longest board."""

LEAST = 1e-9
"""Least size in a readings file [m or rad]: far below what any gauge can tell."""

STEEPEST = 45.0 * _DEG
"""Greatest angle at which a straight-edge may stand [rad]."""


class Form(Enum):
    """How a key is written."""

    TEXT = "text"
    WORD = "word"
    LENGTH = "length"
    ANGLE = "angle"
    READING = "number"
    READINGS = "list of numbers"
    POINTS = "list of points"


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingKey:
    """One key of a reading.

    Attributes:
        name: the key.
        form: how it is written.
        help: what it is, in a builder's words.
        kinds: the kinds of reading that may say it; none: all of them.
        needed: those of them that must.
        default: what stands for it where it is left out, for the reference page.
        positive: whether it is a size, more than zero.
    """

    name: str
    form: Form
    help: str
    kinds: tuple[ReadingKind, ...] = ()
    needed: tuple[ReadingKind, ...] = ()
    default: str = ""
    positive: bool = False


READING_KEYS = (
    ReadingKey(name="kind", form=Form.WORD, help="what was read", needed=tuple(ReadingKind)),
    ReadingKey(
        name="value",
        form=Form.READING,
        help='the reading; a drift or a tail offset may say its side, as in "70 mm right"',
    ),
    ReadingKey(name="values", form=Form.READINGS, help="the same read several times, in place of value"),
    ReadingKey(
        name="trace",
        form=Form.POINTS,
        help="points of the path in place of value: [down the board, sideways]; at least three, and the "
        "start and the heading need not be known",
        kinds=(ReadingKind.DRIFT,),
    ),
    ReadingKey(
        name="uncertainty",
        form=Form.READING,
        help="standard uncertainty of the gauge",
        default="by kind",
        positive=True,
    ),
    ReadingKey(
        name="set_up", form=Form.TEXT, help="name of the set-up; readings that share one share its error"
    ),
    ReadingKey(
        name="common",
        form=Form.READING,
        help="standard uncertainty of the error that the set-up's readings share",
        positive=True,
    ),
    ReadingKey(name="instrument", form=Form.TEXT, help="what it was read with, for your own memory"),
    ReadingKey(name="note", form=Form.TEXT, help="a remark, for your own memory"),
    ReadingKey(
        name="station",
        form=Form.WORD,
        help="at which wheel",
        kinds=(
            ReadingKind.RAIL_CLEARANCE,
            ReadingKind.ROLL_CLEARANCE,
            ReadingKind.TIP_SWEEP,
            ReadingKind.DAYLIGHT,
        ),
        needed=(ReadingKind.RAIL_CLEARANCE, ReadingKind.ROLL_CLEARANCE, ReadingKind.DAYLIGHT),
        default="the dominant wheel, for a tip sweep",
    ),
    ReadingKey(
        name="distance",
        form=Form.LENGTH,
        help="drift: how far the car ran; tip sweep: bend to the tip that was watched; daylight: side face "
        "to where the gap was read",
        kinds=(ReadingKind.DRIFT, ReadingKind.TIP_SWEEP, ReadingKind.DAYLIGHT),
        default="drift: the board's length; others: 30",
        positive=True,
    ),
    ReadingKey(
        name="thickness",
        form=Form.LENGTH,
        help="thickness of the centring block",
        kinds=(ReadingKind.BLOCK_OFFSET,),
        default="12",
        positive=True,
    ),
    ReadingKey(
        name="width",
        form=Form.LENGTH,
        help="width of the centring block",
        kinds=(ReadingKind.BLOCK_OFFSET,),
        default="the rail's",
        positive=True,
    ),
    ReadingKey(
        name="seat",
        form=Form.WORD,
        help="where in its play the hand held the wheel on the block",
        kinds=(ReadingKind.BLOCK_OFFSET,),
        default="where it runs",
    ),
    ReadingKey(
        name="plane",
        form=Form.WORD,
        help="which way the daylight was read",
        kinds=(ReadingKind.DAYLIGHT,),
        default="cant",
    ),
    ReadingKey(
        name="against",
        form=Form.ANGLE,
        help="angle at which the straight-edge stood",
        kinds=(ReadingKind.DAYLIGHT,),
        default="0",
    ),
    ReadingKey(
        name="dimension",
        form=Form.WORD,
        help="which dimension was read, such as body.width or front_left.hub_projection",
        kinds=(ReadingKind.SIZE,),
        needed=(ReadingKind.SIZE,),
    ),
)
"""Keys under a `[[reading]]`."""

HAND_KEYS = {
    "bend": (Form.ANGLE, "of the angle put into an axle"),
    "turn": (Form.ANGLE, "of the angle an axle is turned by"),
    "relief": (Form.LENGTH, "of the depth of wood removed"),
    "washer": (Form.LENGTH, "of a washer's thickness"),
    "shim": (Form.LENGTH, "of a shim's thickness"),
}
"""Keys under `[hand]`: how far a move usually lands from what was asked, as a standard deviation."""


def keys_of(kind: ReadingKind) -> tuple[ReadingKey, ...]:
    """Return the keys that a kind of reading may say, in the order of the table."""
    return tuple(key for key in READING_KEYS if not key.kinds or kind in key.kinds)
