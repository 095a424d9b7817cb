"""What is known of a car at one moment of its log, and how that is revised."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names, dimension_of
from rollwright.car.keys import AXLE_KEYS, STATION_KEYS, WHEEL_KEYS, Key
from rollwright.car.model import Car, Station
from rollwright.car.table import in_range
from rollwright.geometry.seat import footing_of
from rollwright.setup.estimate import Prior, prior_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["KEYS", "Known", "Revision", "carrying_of", "check_possible", "compressed", "opened"]

INDEX = {name: index for index, name in enumerate(dimension_names())}
KEYS: Mapping[str, Key] = {key.name: key for key in (*WHEEL_KEYS, *AXLE_KEYS, *STATION_KEYS)}
"""The keys of a car file that belong to a wheel, an axle or a station."""
# A clock goes round.
_RANGES = {
    index: key
    for name, index in INDEX.items()
    if (key := KEYS.get(name.rpartition(".")[2])) is not None and key.name != "clock"
}
_CHECKED = np.array(list(_RANGES))
# What cannot be less than nothing may be a little less as an estimate.
_LOW = np.array([-math.inf if key.low == 0.0 else key.low for key in _RANGES.values()])
_HIGH = np.array([key.high for key in _RANGES.values()])
_NOTHING = 1e-13
"""Standard uncertainty below which a change is exact [m or rad]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What is known of a car at one moment.

    Attributes:
        car: its description; its masses are those of now, its dimensions those of its file.
        prior: its dimensions with their uncertainty.
        places: name of the weight or shield that was last fitted in each place.
        doubt: why the last change cannot be told, or empty where it can.
    """

    car: Car
    prior: Prior
    places: Mapping[str, str] = field(default_factory=dict)
    doubt: str = ""


class Revision:
    """A prior that is being changed: some dimensions shifted, some forgotten, some new errors added."""

    def __init__(self, prior: Prior, source: str) -> None:
        self.mean = prior.mean.copy()
        self.root = prior.root.copy()
        self.sources = list(prior.sources)
        self.source = source

    def value(self, name: str) -> float:
        """Return the mean of one dimension."""
        return float(self.mean[INDEX[name]])

    def exact(self, name: str) -> bool:
        """Return whether nothing of one dimension is open."""
        return not self.root[INDEX[name]].any()

    def add_error(self, name: str, size: float) -> None:
        """Add an independent error of one dimension; one that no gauge could ever see is none."""
        if size > _NOTHING:
            column = np.zeros((len(self.mean), 1))
            column[INDEX[name]] = size
            self.root = np.concatenate((self.root, column), axis=1)
            # A budget has one line for each name, so that no two errors may share one.
            source = f"{self.source}, {name.rpartition('.')[2].replace('_', ' ')}"
            times = sum(known.startswith(source) for known in self.sources)
            self.sources.append(f"{source} ({times + 1})" if times else source)

    def shift(self, name: str, by: float, size: float) -> None:
        """Move one dimension by an amount that is known to a standard uncertainty."""
        self.mean[INDEX[name]] += by
        self.add_error(name, size)

    def replace(self, name: str, value: float, size: float) -> None:
        """Forget a dimension and start it anew."""
        self.mean[INDEX[name]] = value
        self.root[INDEX[name]] = 0.0
        self.add_error(name, size)

    def done(self) -> Prior:
        """Return the prior as it is now, every bend written as positive."""
        for station in Station:
            bend, clock = INDEX[f"{station.value}.bend"], INDEX[f"{station.value}.clock"]
            if self.mean[bend] < 0.0:
                # Bent past straight: the same bend, turned by half.
                self.mean[bend] = -self.mean[bend]
                self.root[bend] = -self.root[bend]
                self.mean[clock] += math.pi if self.mean[clock] <= 0.0 else -math.pi
        return Prior(mean=self.mean, root=self.root, sources=tuple(self.sources))


def compressed(prior: Prior) -> tuple[Prior, NDArray[np.float64]]:
    """Return the same knowledge with as few independent errors as can carry it.

    Args:
        prior: what is known, root of shape (p, q).

    Returns:
        A prior with the same covariance, whose root has one column for each dimension that is not exact, at
        most p: with `root' = Q R` of the inexact rows it is `R'`. The names of the errors are lost thereby.
        And `Q`, (q, columns), by which whatever is given along the old columns is given along the new.
    """
    open_rows = np.any(prior.root != 0.0, axis=1)
    turn, triangle = np.linalg.qr(prior.root[open_rows].T)
    root = np.zeros((len(prior.mean), turn.shape[1]))
    root[open_rows] = triangle.T
    sources = tuple(f"earlier estimate {number}" for number in range(1, root.shape[1] + 1))
    return Prior(mean=prior.mean, root=root, sources=sources), turn


def opened(known: Known, bends: Collection[str], *, as_filed: bool) -> Known:
    """Return what is known with the bends of pins that were held for straight in question.

    Args:
        known: what is known.
        bends: names of bends that readings speak of themselves.
        as_filed: whether nothing but the car file stands behind it.

    Returns:
        The same, but that each of these bends may be other than nothing, to what the file says.
    """
    closed = [name for name in sorted(bends) if not known.prior.root[INDEX[name]].any()]
    if not closed:
        return known
    if as_filed:
        return replace(known, prior=prior_of(known.car, read=bends))
    change = Revision(known.prior, "pin")
    for name in closed:
        change.add_error(name, dimension_of(known.car, name).uncertainty)
    return replace(known, prior=change.done())


def check_possible(known: Known) -> None:
    """Refuse a car whose sizes have come to be such as no car file may hold.

    Args:
        known: what is known of it.

    Raises:
        OutOfRange: a size of a wheel, an axle or a station lies outside its range.
    """
    values = known.prior.mean[_CHECKED]
    for index in _CHECKED[~((values >= _LOW) & (values <= _HIGH))].tolist():
        key, value = _RANGES[index], float(known.prior.mean[index])
        value = max(value, 0.0) if key.low == 0.0 else value
        in_range(value, key=key, at=dimension_names()[index], bare=False)


def carrying_of(car: Car, values: NDArray[np.float64]) -> int:
    """Return which wheels carry a car.

    Args:
        car: gives masses and the dominant wheel.
        values: its dimensions, (p,).

    Returns:
        The index into `geometry.stance.tripods`.

    Raises:
        CarCannotRest: no three wheels hold the centre of mass between them.
    """
    return footing_of(car, values.tolist()).carrying
