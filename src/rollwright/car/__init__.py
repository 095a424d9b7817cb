"""The model of a car, its dimensions by name, and its file."""

from rollwright.car.dimensions import dimension_names, dimension_of, with_dimensions
from rollwright.car.file import parse_car, read_car
from rollwright.car.model import (
    Axle,
    Board,
    Body,
    Car,
    Corner,
    Rail,
    Seat,
    Station,
    Target,
    Targets,
    Weight,
    Wheel,
)
from rollwright.car.write import save_text, updated_text

__all__ = [
    "Axle",
    "Board",
    "Body",
    "Car",
    "Corner",
    "Rail",
    "Seat",
    "Station",
    "Target",
    "Targets",
    "Weight",
    "Wheel",
    "dimension_names",
    "dimension_of",
    "parse_car",
    "read_car",
    "save_text",
    "updated_text",
    "with_dimensions",
]
