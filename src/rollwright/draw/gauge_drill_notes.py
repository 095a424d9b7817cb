"""What is told beside a drill template."""

from __future__ import annotations

from collections.abc import Mapping

from rollwright.car.model import Car, Station
from rollwright.draw.gauge_drills import Bit
from rollwright.draw.gauge_words import angle_text, assumed_note, length_text
from rollwright.units import System

__all__ = ["template_notes"]


def template_notes(
    car: Car, *, holes: Mapping[Station, tuple[float, float]], bits: Mapping[Station, Bit], system: System
) -> tuple[str, ...]:
    """Return the notes of a drill template.

    Args:
        car: the car.
        holes: how far forward of the rear hole line and how far above the underside each cross lies [m].
        bits: with which drill each hole is made.
        system: which units to write.

    Returns:
        One sentence each.
    """
    cants = "; ".join(
        f"{station.words} {angle_text(car.corners[station].cant.value, signed=True)}" for station in Station
    )
    swept = [station for station in Station if car.corners[station].sweep.value]
    names_of_bits = ", ".join(dict.fromkeys(bit.name for bit in bits.values()))
    # A relief on a swept hole makes this other than the wheelbase.
    apart = "; ".join(
        f"{side} {length_text(holes[front][0] - holes[rear][0], system=system)}"
        for side, rear, front in (
            ("left", Station.REAR_LEFT, Station.FRONT_LEFT),
            ("right", Station.REAR_RIGHT, Station.FRONT_RIGHT),
        )
    )
    names = ["body.width", "body.wheelbase"]
    names += [
        f"{station.value}.{name}"
        for station in Station
        for name in ("hole_height", "cant", "sweep", "offset", "relief", "shank")
    ]
    return (
        (
            "Cut along the outline, fold both lines sharply with the print outside, and lay the middle "
            "on the underside with the short edge flush with the tail."
        ),
        ("Both folds must lie on the body's edges at once; if they do not, measure the body's width again."),
        f"Prick each cross through, then measure between the pricks, rear to front: {apart}.",
        f"Drill: {names_of_bits}. The circles are that size.",
        (
            "Paper cannot set the cant; tilt the table or use a guide block. Outer end up is positive: "
            f"{cants}."
        ),
        *(
            f"Sweep, outer end forward is positive: {station.words} "
            f"{angle_text(car.corners[station].sweep.value, signed=True)}."
            for station in swept
        ),
        *assumed_note(car, names, also=("body.length", "body.rear_overhang", "setup.dominant")),
    )
