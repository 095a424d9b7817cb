"""What a builder writes, to SI and back: lengths, angles, masses, moments of inertia and plain numbers.

Reading is exact (fractions) up to one rounding to a float; printing never shows more digits than the
uncertainty earns. Inch and pound: international agreement of 1959, 1 in = 25.4 mm, 1 lb = 0.45359237 kg.
"""

from rollwright.units.kinds import FACTORS, Kind, System
from rollwright.units.reading import parse, parse_sided
from rollwright.units.showing import Shown, as_inch_fraction, show, show_entered, show_sided

__all__ = [
    "FACTORS",
    "Kind",
    "Shown",
    "System",
    "as_inch_fraction",
    "parse",
    "parse_sided",
    "show",
    "show_entered",
    "show_sided",
]
