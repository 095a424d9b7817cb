"""Use cases of the run: how long a car takes down a track, where the time goes, and what errors cost."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.car.dimensions import dimension_kind, dimension_names, dimension_of, with_dimensions
from rollwright.car.file import load_toml, parse_car
from rollwright.car.model import Car
from rollwright.errors import InputError, OutOfRange
from rollwright.run.track_file import parse_track
from rollwright.units import Kind

if TYPE_CHECKING:
    from rollwright.run.result import Run
    from rollwright.run.track import Track

__all__ = ["Price", "Saved", "Timed", "draw", "saving", "step_of", "time_it", "worth_json"]

_STEPS = {Kind.LENGTH: 0.1e-3, Kind.ANGLE: math.radians(0.1), Kind.MASS: 1e-3}
_PART = 0.1
"""A coefficient's step: a tenth of itself."""
_TRACK = ("profile.", "finish")
_SHARED = ("losses.", "air.", "gravity", *_TRACK, "wheel_inertia_factor", "pitch_inertia_factor")
_MASSES = (".mass", "_mass")
_PLACES = (".x", ".y", ".z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What one error costs.

    Attributes:
        name: of the dimension, mass or coefficient.
        kind: what sort of quantity it is; a plain number for a coefficient.
        step: the error that is priced [SI].
        cost: how much later the car finishes for it [s]; negative, earlier.
    """

    name: str
    kind: Kind
    step: float
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """A car timed on a track, and another beside it where one was asked for.

    Attributes:
        car: the car.
        track: the track.
        run: its run.
        prices: what errors of the car cost, the dearest first.
        other: the other car, or None.
        other_run: its run, or None.
        faster_by: by how much the first car is faster [s], negative if it is slower; None without another,
            or where one of them stalls.
        faster_uncertainty: standard uncertainty of that [s]: coefficients, air and track are the same for
            both, so that what is not known of them mostly cancels.
    """

    car: Car
    track: Track
    run: Run
    prices: tuple[Price, ...]
    other: Car | None = None
    other_run: Run | None = None
    faster_by: float | None = None
    faster_uncertainty: float | None = None

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        other = self.other_run
        return {
            **self.run.as_json(),
            "vs": None
            if other is None
            else {
                **other.as_json(),
                "faster_by_s": self.faster_by,
                "faster_by_uncertainty_s": self.faster_uncertainty,
            },
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Saved:
    """What moves are worth on a track.

    Attributes:
        track: its name.
        before: finish time as the car is [s].
        after: finish time once the moves are made [s].
        uncertainty: standard uncertainty of the difference [s].
    """

    track: str
    before: float
    after: float
    uncertainty: float

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        return {
            "track": self.track,
            "time_s": self.before,
            "time_after_s": self.after,
            "saved_uncertainty_s": self.uncertainty,
        }


def time_it(
    car_file: str | os.PathLike[str],
    track_file: str | os.PathLike[str],
    *,
    lane: str = "",
    other_file: str | os.PathLike[str] | None = None,
) -> Timed:
    """Return a car's run down a track.

    Args:
        car_file: the car's file.
        track_file: the track's file.
        lane: name of a lane; empty takes the track as it is.
        other_file: file of another car to compare with, or None.

    Returns:
        The run with its budget and prices.

    Raises:
        InputError: a file cannot be used, the car cannot stand, or there is no such lane.
    """
    from rollwright.run.once import run  # noqa: PLC0415 - brings numpy

    track = parse_track(load_toml(track_file, what="track file"), file=Path(track_file).name)
    cars = []
    for path in (car_file, other_file):
        if path is None:
            continue
        car = parse_car(load_toml(path, what="car file"), file=Path(path).name)
        try:
            cars.append((car, run(car, track, lane=lane)))
        except InputError as error:
            blame = track_file if "lane" in error.key else path
            raise error.at(file=Path(blame).name) from None
    (car, first), *rest = cars
    timed = Timed(car=car, track=track, run=first, prices=_prices(first.prices))
    if not rest:
        return timed
    other, second = rest[0]
    faster, spread = _apart(first, second)
    return Timed(
        car=car,
        track=track,
        run=first,
        prices=timed.prices,
        other=other,
        other_run=second,
        faster_by=faster,
        faster_uncertainty=spread,
    )


def draw(found: Timed, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Draw a run into a file.

    Args:
        found: the run.
        path: where; its ending says whether it becomes an SVG or a PNG.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    from rollwright.workbench.pictures import save_picture  # noqa: PLC0415 - rarely asked
    from rollwright.workbench.time_picture import run_picture  # noqa: PLC0415 - rarely asked

    save_picture(path, run_picture(found), overwrite=overwrite)


def kind_of(name: str) -> Kind:
    """Return what sort of quantity an input of the run is."""
    if name in dimension_names():
        return dimension_kind(name)
    if name.endswith(_MASSES):
        return Kind.MASS
    if name.endswith(_PLACES) or name.startswith(("body.length", "body.rear_overhang")):
        return Kind.LENGTH
    return Kind.RATIO


def step_of(name: str) -> float | None:
    """Return the error that is priced of an input of the car [SI]; None for what is no size or mass of it."""
    return _STEPS.get(kind_of(name)) if not name.startswith(_SHARED) else None


def _prices(slopes: Mapping[str, float]) -> tuple[Price, ...]:
    found = []
    for name, slope in slopes.items():
        step = step_of(name)
        if step is not None and slope:
            found.append(Price(name=name, kind=kind_of(name), step=step, cost=slope * step))
    return tuple(sorted(found, key=lambda price: -abs(price.cost)))


def _apart(first: Run, second: Run) -> tuple[float | None, float | None]:
    """Return by how much the first run is faster and how well that is known."""
    if first.finish_time is None or second.finish_time is None:
        return None, None
    spread = 0.0
    lines = {line.name: line for line in first.contributors}
    others = {line.name: line for line in second.contributors}
    for name in lines.keys() | others.keys():
        parts = [part.get(name) for part in (lines, others)]
        if name.startswith(_SHARED):
            # One coefficient for both: only what it does differently to them is left.
            slopes = [0.0 if part is None else part.sensitivity for part in parts]
            size = max(part.uncertainty for part in parts if part is not None)
            spread += ((slopes[0] - slopes[1]) * size) ** 2
        else:
            spread += math.fsum(part.contribution**2 for part in parts if part is not None)
    return second.finish_time - first.finish_time, math.sqrt(spread)


def saving(advised: object, track_file: str | os.PathLike[str], *, lane: str = "") -> Saved | None:
    """Return what advised moves are worth on a track.

    Args:
        advised: a `workbench.Advised`.
        track_file: the track's file.
        lane: name of a lane; empty takes the track as it is.

    Returns:
        The times before and after; None where the car stalls either way.

    Raises:
        InputError: the track file cannot be used, or there is no such lane.
        OutOfRange: this is no advice.
    """
    from rollwright.run.once import run  # noqa: PLC0415 - brings numpy
    from rollwright.workbench import Advised  # noqa: PLC0415 - the package's own door

    if not isinstance(advised, Advised):
        raise OutOfRange("these are no advised moves", mend="ask for the next moves first")
    track = parse_track(load_toml(track_file, what="track file"), file=Path(track_file).name)
    estimate, plan = advised.advice.estimate, advised.advice.plan
    before = run(_car_at(estimate.car, estimate.values.tolist()), track, lane=lane)
    after = run(_car_at(estimate.car, plan.values.tolist()), track, lane=lane)
    gained, _ = _apart(after, before)
    if gained is None or before.finish_time is None or after.finish_time is None:
        return None
    return Saved(
        track=track.name,
        before=before.finish_time,
        after=after.finish_time,
        uncertainty=_moved(before, after),
    )


def _car_at(car: Car, values: Sequence[float]) -> Car:
    """Return a car with other dimensions, as well known as before."""
    changes = {}
    for name, value in zip(dimension_names(), values, strict=True):
        old = dimension_of(car, name)
        if float(value) != old.value:
            # A bend of a little less than nothing is none.
            low = 0.0 if name.endswith((".bend", ".washer", ".play", ".relief")) else -math.inf
            changes[name] = replace(old, value=max(low, float(value)))
    return with_dimensions(car, changes)


def worth_json(worth: Saved | None) -> dict[str, object]:
    """Return what moves are worth as plain data in SI units; None where the car stalls."""
    return {"worth": None if worth is None else worth.as_json()}


def _moved(before: Run, after: Run) -> float:
    """Return the uncertainty of a difference of one car with itself: what is not known is the same twice."""
    lines = {line.name: line for line in before.contributors}
    others = {line.name: line for line in after.contributors}
    spread = 0.0
    for name in lines.keys() | others.keys():
        parts = [part.get(name) for part in (lines, others)]
        slopes = [0.0 if part is None else part.sensitivity for part in parts]
        size = max(part.uncertainty for part in parts if part is not None)
        spread += ((slopes[0] - slopes[1]) * size) ** 2
    return math.sqrt(spread)
