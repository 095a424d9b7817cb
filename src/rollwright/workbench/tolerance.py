"""Tolerances: where care pays, how many drilled bodies are good, and how good a drill that takes."""

from __future__ import annotations

import math
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.car.assumed import assumed_for_stance, assumed_for_targets
from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Car
from rollwright.errors import InputError, OutOfRange, UnreadableQuantity, echo
from rollwright.workbench.pictures import save_picture
from rollwright.workbench.tolerance_json import tolerance_json
from rollwright.workbench.tolerance_picture import picture

if TYPE_CHECKING:
    from rollwright.setup.tolerance import Tolerance
    from rollwright.setup.tolerance_back import Back, Observed
    from rollwright.setup.tolerance_draws import GateShare
    from rollwright.setup.tolerance_limits import Dimension, Limit

__all__ = [
    "RUNS",
    "SHARE",
    "WANTED",
    "Back",
    "Dimension",
    "GateShare",
    "Limit",
    "Tolerance",
    "Tolerated",
    "draw",
    "share_of",
    "tolerate",
]

RUNS = 20_000
"""Bodies drawn where nobody says how many."""

SHARE = "0.25"
"""Share of good bodies where nobody says: one in four is common practice, no source."""

WANTED = "0.9"
"""Share of good bodies that is wanted where nobody says."""

_COUNTED = re.compile(r"(\d{1,9})\s*(?:of|/|in)\s*(\d{1,9})", re.IGNORECASE)
_MEND = 'write a share such as 0.25 or "25 %", or a count such as "5 of 20"'


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerated:
    """A tolerance analysis of a file's car.

    Attributes:
        car: the car.
        found: the analysis.
        assumed: keys that nobody gave and that it rests on.
    """

    car: Car
    found: Tolerance
    assumed: tuple[str, ...]

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {"name": self.car.name, **tolerance_json(self.found), "assumed": list(self.assumed)}


def share_of(written: str, *, key: str = "--share") -> Observed:
    """Return a share of good bodies as a builder writes it.

    Args:
        written: a share such as `0.25` or `25 %`, or a count such as `5 of 20`.
        key: the option, for the message.

    Returns:
        The share, with the counts where it was counted.

    Raises:
        UnreadableQuantity: it is neither.
        OutOfRange: it does not lie between 0 and 1, or more are good than there are.
    """
    from rollwright.setup.tolerance_back import Observed  # noqa: PLC0415 - brings numpy

    text = written.strip()
    count = _COUNTED.fullmatch(text)
    if count is not None:
        good, of = int(count[1]), int(count[2])
        if of == 0 or good > of:
            raise OutOfRange(f"{good} of {of} bodies cannot be good", mend=_MEND, key=key)
        return Observed(share=good / of, good=good, of=of)
    part, scale = (text[:-1], 0.01) if text.endswith("%") else (text, 1.0)
    try:
        share = scale * float(part)
    except ValueError:
        raise UnreadableQuantity(f"{echo(written)} is no share", mend=_MEND, key=key) from None
    if not 0.0 < share < 1.0 or not math.isfinite(share):
        raise OutOfRange(f"{echo(written)} is not between 0 and 1", mend=_MEND, key=key)
    return Observed(share=share)


def tolerate(
    car_file: str | os.PathLike[str],
    *,
    runs: int = RUNS,
    seed: int = 1,
    share: str = SHARE,
    wanted: str = WANTED,
) -> Tolerated:
    """Return the tolerance analysis of a file's car.

    Args:
        car_file: the car's file.
        runs: how many bodies to draw.
        seed: of the random numbers.
        share: share of good bodies that was seen, as `share_of` reads it.
        wanted: share that is wanted, likewise.

    Returns:
        The analysis.

    Raises:
        InputError: the file cannot be used, the car cannot stand, or what is asked is not possible.
    """
    from rollwright.setup.tolerance import tolerance  # noqa: PLC0415 - brings numpy

    name = Path(car_file).name
    car = parse_car(load_toml(car_file, what="car file"), file=name)
    seen, asked = share_of(share), share_of(wanted, key="--wanted")
    try:
        found = tolerance(car, runs=runs, seed=seed, observed=seen, wanted=asked.share)
    except InputError as error:
        raise (error if error.key.startswith("--") else error.at(file=name)) from None
    drill = tuple(key for key in car.assumed if key.startswith("drill."))
    return Tolerated(
        car=car, found=found, assumed=(*assumed_for_stance(car), *assumed_for_targets(car), *drill)
    )


def draw(found: Tolerated, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Write the picture of a tolerance analysis.

    Args:
        found: the analysis.
        path: where; its ending says whether it becomes an SVG or a PNG.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    save_picture(path, picture(found), overwrite=overwrite)
