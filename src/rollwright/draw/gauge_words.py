"""What gauges say: how lengths and angles are written, what was assumed, and cautions."""

from __future__ import annotations

from collections.abc import Iterable

from rollwright.car.assumed import grouped
from rollwright.car.dimensions import file_key
from rollwright.car.model import Car
from rollwright.errors import OutOfRange, echo
from rollwright.units import Kind, System, show

__all__ = [
    "AT_THE_CUTTER",
    "AT_THE_DRILL",
    "AT_THE_SANDER",
    "AT_THE_VICE",
    "MM",
    "THE_MANUAL",
    "angle_text",
    "assumed_keys_note",
    "assumed_note",
    "length_text",
    "system_of",
]

MM = 1e3
"""Millimetres in a metre: lengths of a car come in metres, drawings are in millimetres."""

AT_THE_DRILL = (
    "At the drill: eye protection on; clamp the body, never hold it by hand; no gloves or loose sleeves at "
    "the spindle; an adult runs the machine."
)
AT_THE_SANDER = (
    "Sand with a dust mask on and the dust drawn off; at a machine clamp the body, keep sleeves away and "
    "let an adult run it."
)
AT_THE_CUTTER = (
    "Never leave a laser alone while it cuts, and draw its fumes off; at a saw clamp the work and wear eye "
    "protection; with a knife keep the other hand behind the blade."
)
AT_THE_VICE = "Bend the pin out of the body, in a vice, with eye protection on."
THE_MANUAL = "The machine's manual, the club's rules and the law of the place come before this sheet."

_FINE_UNDER = 0.3
"""Lengths from here on are written to a tenth of a millimetre [m]."""


def system_of(units: str) -> System:
    """Return the system of units that a gauge is written in.

    Args:
        units: `mm` or `in`.

    Returns:
        The system.

    Raises:
        OutOfRange: it is neither.
    """
    known = {"mm": System.METRIC, "in": System.INCH}
    if units not in known:
        raise OutOfRange(
            f"units of {echo(units)} are not known to a gauge", mend='write "mm" or "in"', key="units"
        )
    return known[units]


def length_text(length: float, *, system: System) -> str:
    """Return a length as it is written on a gauge: hundredths of a millimetre, or thousandths of an inch.

    From 300 mm on tenths must do.

    Args:
        length: [m].
        system: which units to write.

    Returns:
        Such as `124.20 mm` or `10.5 thou`.
    """
    if system is System.INCH:
        return str(show(length, kind=Kind.LENGTH, system=system))
    places = 2 if abs(length) < _FINE_UNDER else 1
    return f"{round(length * MM, places) + 0.0:.{places}f} mm".replace("-", "−")


def angle_text(angle: float, *, signed: bool = False) -> str:
    """Return an angle [rad] in degrees as it is written on a gauge, such as `2.50°`."""
    return str(show(angle, kind=Kind.ANGLE, signed=signed))


def assumed_note(car: Car, names: Iterable[str], *, also: Iterable[str] = ()) -> tuple[str, ...]:
    """Return the note that says which of the values a gauge is drawn from are assumed; none where none is.

    Args:
        car: the car.
        names: dimensions that the gauge is drawn from, such as `body.width` and `front_left.cant`.
        also: dotted keys of the car's file that it is drawn from as well.

    Returns:
        No sentence or one.
    """
    used = {file_key(car, name) for name in names} | set(also)
    return assumed_keys_note(tuple(key for key in car.assumed if key in used))


def assumed_keys_note(keys: tuple[str, ...]) -> tuple[str, ...]:
    """Return the same note for dotted keys that are already known to be assumed."""
    return (f"Assumed, because the car's file does not give it: {'; '.join(grouped(keys))}.",) if keys else ()
