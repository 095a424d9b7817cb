"""The Tannery Lane Gravity Club: an invented club, its cars, its bench readings and its classes.

The readings were made by `simulate.draw_car` and `SimulatedCar.read` from fixed seeds; a test makes
them again and compares. No figure is taken from any real club or maker.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files

__all__ = [
    "CAR",
    "CLASS_FILES",
    "FITS",
    "POCKETS",
    "READINGS",
    "SEASON",
    "SEEDS",
    "TRACKS",
    "club_files",
    "file_text",
]

CAR = "lark.toml"
READINGS = "lark-readings.toml"
POCKETS = "lark-pockets.toml"
SEASON = "season.jsonl"
TRACKS = ("track-tannery.toml", "track-surveyed.toml")
FITS = ("coast-tannery.toml", "runs-tannery.toml")
CLASS_FILES = ("class-open.toml", "class-straight.toml", "class-plain.toml")

SEEDS: Mapping[str, int] = {"lark": 21, "heron": 57, "bittern": 148}
"""Seed of the true car and of its readings, by the file's name."""

_FILES = (
    "lark.toml",
    "lark-readings.toml",
    "heron.toml",
    "heron-readings.toml",
    "bittern.toml",
    "bittern-readings.toml",
    *CLASS_FILES,
    POCKETS,
    "batch-tannery.toml",
    *TRACKS,
    *FITS,
    "parts-tannery.toml",
    "trials-tannery.csv",
    SEASON,
)


def file_text(name: str) -> str:
    """Return the text of one of the club's files."""
    return (files("rollwright.scenario") / "files" / name).read_text(encoding="utf-8")


def club_files() -> Mapping[str, str]:
    """Return the club's files, name to text."""
    return {name: file_text(name) for name in _FILES}
