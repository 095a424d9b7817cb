"""The demo club's parts box, made from a seed: a moulded wheel, turned pins, and a few that went wrong.

All figures are invented. Every true part is drawn first and then measured with the gauge's own scatter, so
that a wheel that reads well may only have been lucky.
"""

from __future__ import annotations

import numpy as np

__all__ = ["BOX", "SEED", "box_text"]

BOX = "parts-tannery.toml"
"""Name of the file."""

SEED = 29
"""Of the file that is shipped."""

_HEAD = """\
# The parts box of the Tannery Lane Gravity Club (an invented club).
# Plain numbers are millimetres, degrees and grams; uncertainties are standard uncertainties.
format = 1
name = "Tannery Lane parts box"
"""
_STOCK = """
[washers.thin]
thickness = 0.1
count = 16

[washers.card]                       # cut from card
thickness = { value = 0.26, uncertainty = 0.03, from = "measured" }
count = 9

[weights.disc]
mass = { value = 5.02, uncertainty = 0.05, from = "measured" }
count = 6

[weights.pellet]
mass = 1.1
count = 18
"""
_WHEELS = 14
_AXLES = 10
_BENT = (8, 9)
_NOT_SPUN = (3, 10)
_WORKED_ON_SINCE = 6
_OTHER_LUBRICANT = 11
_RUNS_OUT = 8
_TIGHT = 12
_BOWED = 4


def _measured(name: str, value: float, uncertainty: float, places: int) -> str:
    return f'{name} = {{ value = {value:.{places}f}, uncertainty = {uncertainty:g}, from = "measured" }}'


def _entry(part: str, date: str, what: str, *lines: str) -> str:
    return "\n".join([f"[[{part}.history]]", f"date = {date}", f'what = "{what}"', *lines, ""])


def _wheel(number: int, rng: np.random.Generator) -> str:
    name = f"w{number + 1:02d}"
    part = f"wheels.{name}"
    diameter = rng.normal(32.08, 0.05)
    mass = rng.normal(2.68, 0.05)
    factor = rng.normal(0.61, 0.012)
    inertia = factor * mass * (diameter / 2.0) ** 2
    bore = 2.395 if number == _TIGHT else rng.normal(2.505, 0.01)
    run_out = 0.16 if number == _RUNS_OUT else abs(rng.normal(0.035, 0.015))
    friction = rng.normal(0.118, 0.012)
    lines = [
        f"[{part}]",
        _measured("diameter", rng.normal(diameter, 0.015), 0.015, 2),
        "tread_width = 8.6",
        _measured("hub_projection", rng.normal(0.55, 0.02), 0.02, 2),
        _measured("bore", rng.normal(bore, 0.005), 0.005, 3),
        _measured("mass", rng.normal(mass, 0.02), 0.02, 2),
        _measured("inertia", rng.normal(inertia, 6.0), 6.0, 0),
        _measured("run_out", abs(rng.normal(run_out, 0.008)), 0.008, 3),
        "hub_length = 7.8",
        "",
        _entry(part, "2026-02-07", "trued", 'note = "treads turned on the club\'s mandrel"'),
        _entry(part, "2026-02-14", "polished"),
        _entry(part, "2026-02-15", "lubricated", 'lubricant = "dry powder"'),
    ]
    reading = rng.normal(friction, 0.006)
    lubricant = "light oil" if number == _OTHER_LUBRICANT else "dry powder"
    pin = f"a{int(rng.integers(1, 4))}"
    if number not in _NOT_SPUN:
        lines.append(
            _entry(
                part,
                "2026-02-21",
                "spin_down",
                f"friction = {{ value = {reading:.3f}, uncertainty = 0.006 }}",
                f'lubricant = "{lubricant}"',
                f'axle = "{pin}"',
            )
        )
    if number == _WORKED_ON_SINCE:
        lines.append(_entry(part, "2026-03-01", "polished", 'note = "once more"'))
    return "\n".join(lines)


def _axle(number: int, rng: np.random.Generator) -> str:
    name = f"a{number + 1}"
    part = f"axles.{name}"
    straightness = 0.07 if number == _BOWED else abs(rng.normal(0.010, 0.005))
    lines = [
        f"[{part}]",
        _measured("shank", rng.normal(rng.normal(2.38, 0.006), 0.002), 0.002, 3),
        _measured("mass", rng.normal(0.61, 0.012), 0.01, 2),
        _measured("straightness", abs(rng.normal(straightness, 0.003)), 0.003, 3),
    ]
    if number in _BENT:
        lines.append(_measured("bend", rng.normal(2.6, 0.25), 0.2, 1))
    lines.append("")
    if number in _BENT:
        lines.append(_entry(part, "2026-02-12", "bent", 'note = "in the club\'s bending block"'))
    lines.append(_entry(part, "2026-02-14", "polished"))
    return "\n".join(lines)


def box_text(*, seed: int = SEED) -> str:
    """Return the text of the parts file.

    Args:
        seed: of the random numbers.

    Returns:
        Fourteen wheels and ten pins with their histories, and washers and weights in stock.
    """
    rng = np.random.default_rng(seed)
    wheels = [_wheel(number, rng) for number in range(_WHEELS)]
    axles = [_axle(number, rng) for number in range(_AXLES)]
    return "\n".join([_HEAD, *wheels, *axles]) + _STOCK
