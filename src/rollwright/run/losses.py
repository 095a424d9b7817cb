"""What brakes the car: the coefficients of the losses, with ranges and where they come from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace

from rollwright.errors import MissingReference, OutOfRange, UnknownKey, echo
from rollwright.quantity import Quantity, Source

__all__ = ["COEFFICIENTS", "LOSS_NAMES", "Coefficient", "Losses", "losses_of", "without"]

LOSS_NAMES = ("bearing", "hub", "rail", "scrub", "rolling", "air")
"""The losses by the names that the time budget uses."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coefficient:
    """One coefficient of the losses: what it is taken to be where nobody measured it.

    Attributes:
        value: the shipped default [SI].
        low: least value that is likely [SI].
        high: greatest value that is likely [SI].
        unit: SI unit, empty for a pure number.
        meaning: in plain words.
        source: where default and range come from.
    """

    value: float
    low: float
    high: float
    unit: str
    meaning: str
    source: str

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of the default: anywhere in the range alike (JCGM 100:2008, 4.3.7)."""
        return (self.high - self.low) / math.sqrt(12.0)


_POLYMERS = (
    "J. F. Shackelford, W. Alexander, CRC Materials Science and Engineering Handbook, 3rd ed. (2001), "
    "table 399: acetal on steel 0.1 to 0.3, with PTFE in it 0.05 to 0.15"
)

COEFFICIENTS: Mapping[str, Coefficient] = {
    "bearing_friction": Coefficient(
        value=0.10,
        low=0.05,
        high=0.20,
        unit="",
        meaning="friction between bore and pin, on the radius of the shank",
        source=_POLYMERS,
    ),
    "hub_friction": Coefficient(
        value=0.15,
        low=0.05,
        high=0.30,
        unit="",
        meaning="friction of the hub's end on the pin's head or on the body, on the radius of the bore",
        source=_POLYMERS,
    ),
    "rail_friction": Coefficient(
        value=0.20,
        low=0.10,
        high=0.30,
        unit="",
        meaning="friction of the steered wheel's rim on the rail",
        source="common practice, no source",
    ),
    "tread_friction": Coefficient(
        value=0.30,
        low=0.15,
        high=0.50,
        unit="",
        meaning="greatest sideways force of a tread on the track, over its load",
        source="common practice, no source",
    ),
    "creep_stiffness": Coefficient(
        value=100.0,
        low=10.0,
        high=1000.0,
        unit="1/rad",
        meaning="sideways force over load for each radian that a wheel rolls askew",
        source=(
            "judgement between a pneumatic tyre, about 10, and bodies that touch as hard ones do, above 1000 "
            "(K. L. Johnson, Contact Mechanics (1985), chapter 8, from memory)"
        ),
    ),
    "rolling": Coefficient(
        value=0.002,
        low=0.0005,
        high=0.004,
        unit="",
        meaning="rolling resistance over load",
        source=(
            "no figure for a small plastic wheel on a wooden or metal track was found; steel on rail has "
            "0.002 to 0.003 (Marks' Standard Handbook for Mechanical Engineers)"
        ),
    ),
    "drag_area": Coefficient(
        value=8e-4,
        low=3e-4,
        high=1.5e-3,
        unit="m2",
        meaning="drag coefficient times frontal area",
        source=(
            "a front of about 50 mm by 30 mm with a coefficient of 0.2 to 1.0; blunt bodies in free air have "
            "0.8 to 1.2 (F. M. White, Fluid Mechanics, table 7.3, from memory), near a track none is known"
        ),
    ),
    "drag_area_per_pitch": Coefficient(
        value=0.0,
        low=0.0,
        high=0.0,
        unit="m2/rad",
        meaning="how the drag area grows as the body stands nose up",
        source="none: 0 until you have measured it",
    ),
    "drag_area_per_height": Coefficient(
        value=0.0,
        low=0.0,
        high=0.0,
        unit="m2/m",
        meaning=(
            "how the drag area grows with the height of the underside; `drag_area` is then that of a body "
            "lying on the track"
        ),
        source="none: 0 until you have measured it",
    ),
}
"""The coefficients by the names that a track's file gives them."""

_MAY_BE_NEGATIVE = frozenset({"drag_area_per_pitch", "drag_area_per_height"})
_SWITCHES = {
    "bearing": ("bearing_friction",),
    "hub": ("hub_friction",),
    "rail": ("rail_friction",),
    "rolling": ("rolling",),
    "air": ("drag_area", "drag_area_per_pitch", "drag_area_per_height"),
}


def _default(name: str) -> Quantity:
    found = COEFFICIENTS[name]
    return Quantity(value=found.value, uncertainty=found.uncertainty, source=Source.ASSUMED, label=name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Losses:
    """The coefficients that a run is reckoned with.

    Attributes:
        bearing_friction: between bore and pin [1].
        hub_friction: of the hub's end on head or body [1].
        rail_friction: of the steered wheel on the rail [1].
        tread_friction: greatest sideways force over load [1].
        creep_stiffness: sideways force over load and radian [1/rad].
        rolling: resistance over load [1].
        drag_area: coefficient times frontal area [m2].
        drag_area_per_pitch: its growth with pitch, nose up positive [m2/rad].
        drag_area_per_height: its growth with the underside's mean height [m2/m].
        off: names out of `LOSS_NAMES` of losses that do not act.

    Raises:
        OutOfRange: a coefficient is negative that cannot be.
        MissingReference: a name in `off` is no loss.
    """

    bearing_friction: Quantity
    hub_friction: Quantity
    rail_friction: Quantity
    tread_friction: Quantity
    creep_stiffness: Quantity
    rolling: Quantity
    drag_area: Quantity
    drag_area_per_pitch: Quantity
    drag_area_per_height: Quantity
    off: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        """Refuse coefficients that would drive the car."""
        for name in COEFFICIENTS:
            value = self.coefficient(name).value
            if value < 0.0 and name not in _MAY_BE_NEGATIVE:
                raise OutOfRange(
                    f"a loss of {value:g} would push the car", mend="give 0 or more", key=f"losses.{name}"
                )
        for name in self.off:
            _known_loss(name)

    def coefficient(self, name: str) -> Quantity:
        """Return a coefficient by its name out of `COEFFICIENTS`."""
        found: Quantity = getattr(self, name)
        return found

    @property
    def assumed(self) -> tuple[str, ...]:
        """Names of the coefficients that nobody measured and that act."""
        return tuple(
            f"losses.{field.name}"
            for field in fields(self)
            if field.name in COEFFICIENTS
            and self.coefficient(field.name).source is Source.ASSUMED
            and (field.name not in _MAY_BE_NEGATIVE or self.coefficient(field.name).value != 0.0)
            and not any(field.name in names for loss, names in _SWITCHES.items() if loss in self.off)
        )


def _known_loss(name: str) -> None:
    if name not in LOSS_NAMES:
        raise MissingReference(
            f"there is no loss named {echo(name)}", mend=f"write one of {', '.join(LOSS_NAMES)}", key="losses"
        )


def losses_of(given: Mapping[str, Quantity]) -> Losses:
    """Return the coefficients of a run: those given, and the shipped defaults for the others.

    Args:
        given: coefficients by name [SI], as a track's file holds them.

    Returns:
        All of them. A default is marked as assumed and has the uncertainty of its range.

    Raises:
        UnknownKey: a name is no coefficient.
        OutOfRange: a coefficient is negative that cannot be.
    """
    for name in given:
        if name not in COEFFICIENTS:
            raise UnknownKey(
                f"there is no loss coefficient {echo(name)}",
                mend=f"write one of {', '.join(COEFFICIENTS)}",
                key="losses",
            )
    found = {name: given.get(name) or _default(name) for name in COEFFICIENTS}
    return Losses(**found)  # type: ignore[arg-type]  # the table holds no name but those of quantities


def without(losses: Losses, names: Iterable[str]) -> Losses:
    """Return the same coefficients with some losses switched off.

    Args:
        losses: the coefficients.
        names: losses out of `LOSS_NAMES`. Without `scrub` the sideways forces stay, and with them the
            force on the rail; a `tread_friction` of 0 takes both away.

    Returns:
        The coefficients; those losses do not act in a run.

    Raises:
        MissingReference: a name is no loss.
    """
    return replace(losses, off=losses.off | frozenset(names))
