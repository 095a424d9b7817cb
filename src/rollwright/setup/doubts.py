"""What gives cause for doubt: slips of the pen, readings that disagree, the wrong wheel on the ground."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rollwright.car.dimensions import dimension_kind
from rollwright.car.model import Station
from rollwright.geometry.stance import stance
from rollwright.setup.estimate import Estimate, Prior
from rollwright.setup.predict import ReadingModel, derivatives
from rollwright.setup.readings import Reading, ReadingKind
from rollwright.units import Kind, System, show

__all__ = ["doubts_about", "suspected_slips"]

_ODD = 0.01
_ODD_ONE = 3.0
_FAR = 4.0
_NEAR = 2.0
_CLEARLY = 0.005
"""A drift of more than this is clearly to one side [m]."""
_SLIPS = (
    (-1.0, "its sign turned round"),
    (0.0254, "its number taken as thou"),
    (25.4, "its number taken as inches"),
    (1.0 / 25.4, "its number taken as millimetres, not inches"),
    (10.0, "its decimal point one place to the right"),
    (0.1, "its decimal point one place to the left"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Surprise:
    """A reading with what the car's file alone lets expect of it, and the spread of that with the gauge's."""

    reading: Reading
    expected: float
    spread: float

    @property
    def far(self) -> float:
        """How many standard deviations it is from what was expected."""
        return abs(self.reading.quantity.value - self.expected) / self.spread


def _surprises(bench: ReadingModel, prior: Prior) -> list[_Surprise]:
    owners = bench.owners()
    if not owners:
        return []
    expected, slopes = derivatives(bench.predict, prior.mean, prior.root.T)
    spread = np.sqrt(np.sum(slopes**2, axis=1) + np.diag(bench.noise()))
    return [
        _Surprise(reading=reading, expected=float(mean), spread=float(deviation))
        for reading, mean, deviation in zip(owners, expected, spread, strict=True)
        if not reading.trace
    ]


def suspected_slips(
    bench: ReadingModel, prior: Prior, *, system: System = System.METRIC
) -> tuple[tuple[str, str], ...]:
    """Return readings that are far from what the car's file lets expect, but near it after a common slip.

    Args:
        bench: the car with its readings.
        prior: what is known of the car without them.
        system: units of the words.

    Returns:
        For each such reading its name and one sentence. Far is more than four standard deviations of what
        is expected (file and gauge together), near is less than two; a reading that is merely far is left
        to the test of misfit.
    """
    found = []
    for surprise in _surprises(bench, prior):
        slip = _slip(surprise)
        if slip:
            said = f"{_apart(surprise, system)}. It would fit with {slip}; check it first."
            found.append((surprise.reading.where, f"{said[:1].upper()}{said[1:]}"))
    return tuple(found)


def _slip(surprise: _Surprise) -> str:
    """Return the slip that explains a surprise, empty where none does or none is needed."""
    # At the edge where a car rocks nothing can be expected of it: then nothing is said.
    if not surprise.far > _FAR:
        return ""
    value = surprise.reading.quantity.value
    off = {words: abs(value * factor - surprise.expected) / surprise.spread for factor, words in _SLIPS}
    words = min(off, key=lambda each: off[each])
    return words if off[words] < _NEAR else ""


def _apart(surprise: _Surprise, system: System) -> str:
    """Return a reading and what was expected of it, side by side."""
    reading = surprise.reading
    kind = dimension_kind(reading.dimension) if reading.dimension else Kind.LENGTH
    expected = show(surprise.expected, kind=kind, system=system, uncertainty=surprise.spread)
    value = show(reading.quantity.value, kind=kind, system=system)
    return f"{reading.where} says {value} where the car file lets expect {expected}"


def _on_both_sides(readings: tuple[Reading, ...]) -> list[str]:
    return [
        f"{reading.where[:1].upper()}{reading.where[1:]} has repeats on both sides; check left and right."
        for reading in readings
        if reading.kind is ReadingKind.DRIFT
        and len(reading.quantity.repeats) > 1
        and min(reading.quantity.repeats) < -_CLEARLY < _CLEARLY < max(reading.quantity.repeats)
    ]


def doubts_about(
    found: Estimate,
    *,
    bench: ReadingModel,
    prior: Prior,
    slips: tuple[str, ...],
    system: System = System.METRIC,
) -> tuple[str, ...]:
    """Return what a builder should look at before trusting an estimate, in plain words.

    Args:
        found: the estimate.
        bench: the car as its file describes it, with the readings.
        prior: what was known without the readings.
        slips: sentences on suspected slips.
        system: units of the words.

    Returns:
        Sentences: the slips; else file and readings that disagree more than their uncertainties allow,
        with what lies furthest; repeats on both sides; wheels that carry where they should not; a body
        that drags on the rail; wheels of which it is not clear where they run in their play.
    """
    doubts = list(slips)
    if not doubts and found.misfit_probability < _ODD:
        doubts.append(_disagreement(found, _surprises(bench, prior), system))
    doubts += _on_both_sides(tuple(bench.readings))
    car = found.car
    now = stance(car, seats=found.seats)
    if car.dominant not in now.carrying:
        doubts.append(
            f"The {car.raised.words} wheel carries the car and the dominant {car.dominant.words} wheel does "
            "not: drift and rail mean little until that is mended."
        )
    elif now.carrying != (Station.REAR_LEFT, Station.REAR_RIGHT, car.dominant):
        doubts.append("A rear wheel is off the ground: check the hole heights and the mass's place.")
    lowest = min(now.front, now.rear)
    if lowest <= car.rail.height.value:
        stands = show(lowest, kind=Kind.LENGTH, system=system)
        high = show(car.rail.height.value, kind=Kind.LENGTH, system=system)
        doubts.append(
            f"The body stands {stands} above the lane and the rail is {high} high, so that it drags on "
            "the rail: check the rail's height and the holes'."
        )
    close = [
        station.words
        for station, at in stance(car).stations.items()
        if at.seat.close and car.corners[station].seat is None
    ]
    if close:
        doubts.append(_unsettled(close))
    return tuple(doubts)


def _unsettled(wheels: list[str]) -> str:
    """Return that nothing settles where some wheels run in their play."""
    if len(wheels) == 1:
        return (
            f"It is not clear where in its play the {wheels[0]} wheel runs; watch it roll and give its seat "
            "in the file."
        )
    if set(wheels) == {Station.FRONT_LEFT.words, Station.FRONT_RIGHT.words}:
        which = "both front wheels run"
    elif set(wheels) == {Station.REAR_LEFT.words, Station.REAR_RIGHT.words}:
        which = "both rear wheels run"
    elif len(wheels) == len(Station):
        which = "all four wheels run"
    else:
        which = f"the {', '.join(wheels[:-1])} and {wheels[-1]} wheels run"
    return f"It is not clear where in their play {which}; watch them roll and give their seats in the file."


def _disagreement(found: Estimate, surprises: list[_Surprise], system: System) -> str:
    # A reading and the sizes that it reads are pulled alike; the reading is what can be taken again.
    finite = [surprise for surprise in surprises if math.isfinite(surprise.far)]
    worst = max(finite, key=lambda each: each.far, default=None)
    if worst is not None and worst.far > _ODD_ONE:
        what = _apart(worst, system)
    else:
        what = f"look first at {_strained(found.strains[0].name)}"
    return (
        f"File and readings disagree more than their uncertainties allow: {what}. Check its sign, unit and "
        "zero, what the file says of it, and that both are of the same car in the same state."
    )


def _strained(name: str) -> str:
    """Return in plain words what was pulled the most."""
    if name.startswith("earlier estimate"):
        # One direction among all that was known, a mixture of sizes that has no name of its own.
        return "what was known before these readings: one of those before them may be wrong"
    place, _, last = name.partition(".")
    return f"the {place} {last}".replace("_", " ") if last else place
