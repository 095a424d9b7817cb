"""A plan as data: what is wished for, what is drilled and bent for it, and what stands in the way."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from rollwright.car.model import Car, Station
from rollwright.errors import OutOfRange
from rollwright.judge.class_rules import Rule
from rollwright.units import Kind, show

__all__ = [
    "Adjustment",
    "Blocked",
    "Bushing",
    "Figures",
    "Plan",
    "PlannedSize",
    "Preference",
    "TradePoint",
    "Wish",
]

_DEG = math.pi / 180.0
_MM = 1e-3
_STEEPEST = 30.0 * _DEG


class Preference(Enum):
    """What decides where the targets leave a choice: how far the axle is bent, or its hole drilled askew."""

    LEAST_BEND = "least_bend"
    LEAST_RELIEF = "least_relief"
    MOST_ADJUSTMENT = "most_adjustment"

    @property
    def words(self) -> str:
        """The preference as it is said: `least bend`."""
        return self.value.replace("_", " ")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a builder wants of a car that is not drilled yet.

    Args:
        height_difference: front less rear underside height [m], positive nose high, negative nose low;
            None: the car's target.
        drift: on the tuning board [m], positive left, negative right; None: the car's target.
        rail_offset: of the dominant wheel [m], positive off the rail, negative too far in; None: the car's
            target.
        ride_height: of the underside above the ground at the rear hole line [m]; None: the rear holes stay
            where the car has them.
        ride_at_front: whether the ride height is meant at the front hole line instead.
        raise_height: clearance under the raised front wheel as it hangs [m]; None: what the car has.
        ground_clearance: least height of the underside above the ground [m]; None: what the class asks.
        rail_clearance: least height of the underside above the top of the rail [m].
        rear_cant: cant of both rear holes [rad], positive outer end up, negative down; None: the car's.
        front_cant: cant of the dominant hole [rad], likewise; None: the car's. A class without bent axles
            leaves no choice of it.
        most_bend: the most that the axle may be bent [rad], or its hole drilled askew where no axle may be
            bent (default: judgement, what a pin takes without showing it).
        most_relief: the most wood that may go beside the dominant wheel [m]; None: a quarter of the body's
            width (judgement: the pin needs the rest to hold).
        most_washer: the most that washers may add there [m] (judgement: beyond it the pin grows short).
        bent_axles: whether bent axles are wanted; None: as the car and the class allow.
        block: thickness of the guide block that holds the drill's bushing [m].
        preference: what decides where the targets leave a choice.

    Raises:
        OutOfRange: a wish is not a number, or no possible one.
    """

    height_difference: float | None = None
    drift: float | None = None
    rail_offset: float | None = None
    ride_height: float | None = None
    ride_at_front: bool = False
    raise_height: float | None = None
    ground_clearance: float | None = None
    rail_clearance: float = 0.0
    rear_cant: float | None = None
    front_cant: float | None = None
    most_bend: float = 5.0 * _DEG
    most_relief: float | None = None
    most_washer: float = 2.0 * _MM
    bent_axles: bool | None = None
    block: float = 20.0 * _MM
    preference: Preference = Preference.MOST_ADJUSTMENT

    def __post_init__(self) -> None:
        """Refuse wishes that no car could have."""
        lengths = ("height_difference", "drift", "rail_offset", "ride_height", "raise_height")
        for name in lengths:
            self._within(name, -10.0, 10.0, "a length")
        for name in ("ground_clearance", "rail_clearance", "most_relief", "most_washer", "block"):
            self._within(name, 0.0, 10.0, "a length, 0 or more")
        for name in ("rear_cant", "front_cant"):
            self._within(name, -_STEEPEST, _STEEPEST, "an angle of at most 30 degrees either way")
        self._within("most_bend", 0.0, _STEEPEST, "an angle from 0 to 30 degrees")

    def _within(self, name: str, low: float, high: float, allowed: str) -> None:
        value = getattr(self, name)
        if value is not None and not low <= value <= high:
            kind = Kind.ANGLE if "angle" in allowed else Kind.LENGTH
            raise OutOfRange(
                f"a {name.replace('_', ' ')} of {show(value, kind=kind)} is no possible one",
                mend=f"wish for {allowed}",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSize:
    """One size that the plan sets.

    Attributes:
        name: of the dimension, as in `car.dimensions`.
        value: planned [m or rad].
        was: what the car had before [m or rad].
        why: what it is for, in a few words.
    """

    name: str
    value: float
    was: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocked:
    """A wish that cannot be had, or a rule that the plan breaks.

    Attributes:
        what: name of the wish as in `Wish`; else of the rule, or `balance`, `bore`, `hole_height` or `seat`.
        why: which rule or part stands in the way.
        by: how far the wish is missed or the limit passed, in the unit of `kind` [m or rad], never negative.
        kind: whether `by` is a length or an angle.
        mend: what would have to change.
        rule: the rule of the class that stands in the way; None where it is none.
    """

    what: str
    why: str
    by: float
    mend: str
    kind: Kind = Kind.LENGTH
    rule: Rule | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bushing:
    """The drill bushing that gives one hole, in a guide block held against the side face.

    Heights are above the underside; forward is ahead of the hole line, negative behind it [m].

    Attributes:
        station: which hole.
        cant: out of level [rad], positive outer end up, negative outer end down.
        sweep: out of square to the centre line [rad], positive outer end forward, negative backward.
        askew: the two together: the angle out of square to the side face [rad].
        forward_at_face: of its centre at the side face before any relief is cut.
        height_at_face: likewise.
        forward_at_block: of its centre at the block's outer face.
        height_at_block: likewise.
        block: thickness of the guide block [m].
    """

    station: Station
    cant: float
    sweep: float
    askew: float
    forward_at_face: float
    height_at_face: float
    forward_at_block: float
    height_at_block: float
    block: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """How the planned car stands [m]; signs as in `geometry.Stance`.

    Attributes:
        height_difference: positive nose high, negative nose low.
        drift: positive left, negative right; None where the car turns too sharply for the board.
        rail_offset: positive off the rail, negative too far in; None where the wheel is above the rail.
        ride_height: of the underside on the centre line at the rear hole line.
        front_height: the same at the front hole line.
        ground_clearance: of the underside's lowest corner above the ground.
        rail_clearance: of that corner above the top of the rail; negative below it.
        raise_height: under the raised front wheel as it hangs.
        wheel_width: over the wheels of the wider pair, pushed out.
    """

    height_difference: float
    drift: float | None
    rail_offset: float | None
    ride_height: float
    front_height: float
    ground_clearance: float
    rail_clearance: float
    raise_height: float
    wheel_width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustment:
    """How far the drilled car can still be moved by bending, turning and trim [m], never negative.

    Of height difference and drift each is moved while the other and the rail offset are held; a straight
    axle moves neither.

    Attributes:
        drift_left: more drift to the left.
        drift_right: more drift to the right.
        height_up: nose higher.
        height_down: nose lower.
        inward: of the dominant wheel, by washers taken off and wood removed.
        outward: of it, by washers added.
    """

    drift_left: float
    drift_right: float
    height_up: float
    height_down: float
    inward: float
    outward: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TradePoint:
    """One plan of the family among which the preference chooses.

    Attributes:
        askew: the free variable: bend of the axle, or its hole's angle out of square in a class without
            bent axles [rad].
        bend: of the dominant axle [rad].
        clock: of it [rad], 0 down, positive forward, negative backward.
        cant: of the dominant hole [rad], positive outer end up, negative down.
        sweep: of it [rad], positive outer end forward, negative backward.
        hole_height: of it [m].
        relief: beside the dominant wheel [m].
        washer: there [m].
        adjustment: what could still be moved.
        turn_drift: change of the drift for each angle that the axle is turned [m/rad], positive to the left.
        turn_height: change of the height difference likewise [m/rad], positive nose up.
        allowed: whether relief and washers keep within their limits.
    """

    askew: float
    bend: float
    clock: float
    cant: float
    sweep: float
    hole_height: float
    relief: float
    washer: float
    adjustment: Adjustment
    turn_drift: float
    turn_height: float
    allowed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to drill and bend, and what comes of it.

    Attributes:
        car: the car as planned; its planned sizes are `nominal`.
        wish: what was wished for.
        bent: whether the steer comes from a bent axle; False: from the hole.
        sizes: what the plan sets.
        figures: how the planned car stands; where `balance` blocks it, how it would if its mass were well.
        adjustment: what could still be moved.
        turn_drift: change of the drift for each angle that the axle is turned [m/rad], positive to the left.
        turn_height: change of the height difference likewise [m/rad], positive nose up.
        bushings: for the four holes, in the order of `Station`.
        blocked: wishes that cannot be had, with what stands in the way; empty: everything is met.
    """

    car: Car
    wish: Wish
    bent: bool
    sizes: tuple[PlannedSize, ...]
    figures: Figures
    adjustment: Adjustment
    turn_drift: float
    turn_height: float
    bushings: tuple[Bushing, ...]
    blocked: tuple[Blocked, ...]
