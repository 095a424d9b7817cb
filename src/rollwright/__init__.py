"""Bench partner for builders of gravity-raced wooden block cars.

    import rollwright as rw

    car = rw.read_car("lark.toml")
    rw.stance(car).height_difference          # metres; positive sits nose high
    advice = rw.advise(car, rw.read_readings("lark-readings.toml").readings)
    for told in advice.instructions:
        print(told.text)

Everything is in SI units and radians. Names are imported when they are first used, so that looking
at a car does not wait for the numerical libraries.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.car import Car as Car
    from rollwright.car import Seat as Seat
    from rollwright.car import Station as Station
    from rollwright.car import dimension_names as dimension_names
    from rollwright.car import dimension_of as dimension_of
    from rollwright.car import parse_car as parse_car
    from rollwright.car import read_car as read_car
    from rollwright.car import with_dimensions as with_dimensions
    from rollwright.errors import InputError as InputError
    from rollwright.errors import RollwrightError as RollwrightError
    from rollwright.geometry import Stance as Stance
    from rollwright.geometry import stance as stance
    from rollwright.geometry.many import dimension_values as dimension_values
    from rollwright.geometry.many import stances as stances
    from rollwright.quantity import Quantity as Quantity
    from rollwright.quantity import Source as Source
    from rollwright.quantity import combine as combine
    from rollwright.quantity import from_half_width as from_half_width
    from rollwright.quantity import from_repeats as from_repeats
    from rollwright.setup.advice import Advice as Advice
    from rollwright.setup.advice import advise as advise
    from rollwright.setup.estimate import Estimate as Estimate
    from rollwright.setup.estimate import estimate as estimate
    from rollwright.setup.hand import Hand as Hand
    from rollwright.setup.readings import Reading as Reading
    from rollwright.setup.readings import ReadingKind as ReadingKind
    from rollwright.setup.readings import parse_readings as parse_readings
    from rollwright.setup.readings import read_readings as read_readings
    from rollwright.units import Kind as Kind
    from rollwright.units import System as System
    from rollwright.units import parse as parse
    from rollwright.units import show as show

_HOMES = {
    "rollwright.car": (
        "Car",
        "Seat",
        "Station",
        "dimension_names",
        "dimension_of",
        "parse_car",
        "read_car",
        "with_dimensions",
    ),
    "rollwright.errors": ("InputError", "RollwrightError"),
    "rollwright.geometry": ("Stance", "stance"),
    "rollwright.geometry.many": ("dimension_values", "stances"),
    "rollwright.quantity": ("Quantity", "Source", "combine", "from_half_width", "from_repeats"),
    "rollwright.setup.advice": ("Advice", "advise"),
    "rollwright.setup.estimate": ("Estimate", "estimate"),
    "rollwright.setup.hand": ("Hand",),
    "rollwright.setup.readings": ("Reading", "ReadingKind", "parse_readings", "read_readings"),
    "rollwright.units": ("Kind", "System", "parse", "show"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_HOME_OF)  # noqa: PLE0605 - the table above is the list


def __getattr__(name: str) -> object:
    """Import a public name from its home when it is first asked for."""
    if name not in _HOME_OF:
        raise AttributeError(f"module 'rollwright' has no attribute {name!r}")
    found: object = getattr(importlib.import_module(_HOME_OF[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """List the public names, imported or not."""
    return __all__
