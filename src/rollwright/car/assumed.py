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
    used |= {f"wheels.{corner.wheel}.mass" for corner in car.corners.values()}
    used |= {f"axles.{corner.axle}.mass" for corner in car.corners.values()}
    return tuple(key for key in car.assumed if key in used or key in _ALSO)


def assumed_for_targets(car: Car) -> tuple[str, ...]:
    """Return the keys of assumed targets and tolerances."""
    return tuple(key for key in car.assumed if key.startswith("targets."))


def grouped(keys: tuple[str, ...]) -> list[str]:
    """Return assumed keys as a person would list them: what belongs together in one line.

    Args:
        keys: dotted keys.

    Returns:
        Such as `washer, play at all four wheels` and `wheels.club: bore`.
    """
    stations: dict[tuple[str, ...], list[str]] = {}
    places: dict[str, list[str]] = {}
    at: dict[str, list[str]] = {}
    for key in keys:
        head, _, last = key.rpartition(".")
        if head.startswith("stations."):
            at.setdefault(last, []).append(head.removeprefix("stations.").replace("_", " "))
        elif head.startswith("targets."):
            places.setdefault("targets", []).append(f"{head.removeprefix('targets.')} {last}")
        else:
            places.setdefault(head, []).append(last)
    for last, where in at.items():
        stations.setdefault(tuple(where), []).append(last)
    lines = [
        f"{', '.join(lasts)} at {'all four wheels' if len(where) == 4 else ', '.join(where)}"
        for where, lasts in stations.items()
    ]
    lines += [f"{head}: {', '.join(lasts)}" if head else ", ".join(lasts) for head, lasts in places.items()]
    return lines
