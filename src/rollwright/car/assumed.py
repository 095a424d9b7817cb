"""Which assumed values a result rests on."""

from __future__ import annotations

from rollwright.car.dimensions import dimension_names, file_key, matters
from rollwright.car.model import Car

__all__ = ["assumed_for_stance", "assumed_for_targets", "grouped"]

_ALSO = ("setup.dominant", "body.centre_of_mass", "body.mass")


def assumed_for_stance(car: Car) -> tuple[str, ...]:
    """Return the keys of assumed values that have a say in where the car sits.

    Args:
        car: the car.

    Returns:
        Dotted keys in the order of the file: those of the dimensions that matter for this car, and of the
        mass and its place, which decide which three wheels carry. What has no say is left out.
    """
    used = {file_key(car, name) for name in dimension_names() if matters(car, name)}
    return tuple(key for key in car.assumed if key in used or key in _ALSO)


def assumed_for_targets(car: Car) -> tuple[str, ...]:
    """Return the keys of assumed targets and tolerances."""
    return tuple(key for key in car.assumed if key.startswith("targets."))


def grouped(keys: tuple[str, ...]) -> list[str]:
    """Return assumed keys as a person would list them: one line a dimension, the places behind it.

    Args:
        keys: dotted keys.

    Returns:
        Such as `play (4 stations)` and `wheels.standard.bore`.
    """
    by_last: dict[str, list[str]] = {}
    for key in keys:
        head, _, last = key.rpartition(".")
        by_last.setdefault(last if head.startswith("stations.") else key, []).append(head)
    lines = []
    for last, heads in by_last.items():
        if "." in last:
            lines.append(last)
        elif len(heads) == 4:
            lines.append(f"{last} at all four wheels")
        else:
            lines.append(f"{last} at {', '.join(head.removeprefix('stations.') for head in heads)}")
    return lines
