"""Which files of a folder are those of cars, so that one can be chosen instead of typed."""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path

__all__ = ["CarFile", "cars_in"]

_MOST = 200
_LARGEST = 256_000
"""Size beyond which no file is looked into [bytes]; a car's has a few thousand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CarFile:
    """A file that describes a car: the file's `name`, and the `car` that it describes."""

    name: str
    car: str


def cars_in(folder: str | os.PathLike[str]) -> tuple[CarFile, ...]:
    """Return the car files of a folder; those in folders below it and those that are none are left out.

    Args:
        folder: where to look; it may be missing.

    Returns:
        The files by their names. Whether a car can be used is only said when it is started.
    """
    try:
        names = sorted(each for each in os.listdir(folder) if each.endswith(".toml"))[:_MOST]  # noqa: PTH208
    except OSError:
        return ()
    found = []
    for name in names:
        path = Path(folder) / name
        try:
            if path.stat().st_size > _LARGEST:
                continue
            told = tomllib.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
        if isinstance(told.get("stations"), dict) and isinstance(told.get("name"), str):
            found.append(CarFile(name=name, car=told["name"]))
    return tuple(found)
