"""Why a car left the rail, or ran with its tail to one side: the likely causes, and what to look at next."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from rollwright.car.dimensions import dimension_names
from rollwright.car.model import Station
from rollwright.errors import ReadingUnusable, echo
from rollwright.geometry.many import Stances, stances
from rollwright.judge.verdict import CONFIDENCE
from rollwright.setup.estimate import Estimate
from rollwright.setup.predict import derivatives, rolled
from rollwright.units import Kind, System, show, show_sided

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["SEEN", "Cause", "causes_of"]

SEEN = ("holds", "leaves", "tail_left", "tail_right")
"""What may be seen of a slow roll."""

_NAMED = 0.05
"""Probability under which a cause is not named."""
_CANNOT_BE = 0.01
"""Probability of the seen side under which file and readings speak against what was seen."""
_DRAWS = 4096
_NORMAL = NormalDist()
_INDEX = {name: index for index, name in enumerate(dimension_names())}
_STATIONS = tuple(Station)
_REAR = (Station.REAR_LEFT, Station.REAR_RIGHT)
_HEADING = ("sweep", "cant", "bend")
"""Dimensions of a rear wheel that can turn its heading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One likely cause of what was seen.

    Attributes:
        kind: `steer_too_little`, `steers_away`, `stands_off`, `raised_wheel_low`, `rear_heading`,
            `place_on_rail`, `other_side` or `not_in_the_model`.
        station: the wheel, or None where it is no single one.
        dimension: the dimension to blame, such as `rear_left.sweep`; or empty.
        probability: chance that it is so; for a tail the chance that it is the largest push to that side, and
            those add up to one over all causes.
        words: the cause in one plain sentence.
        step: what to read or do next, in one plain sentence.
    """

    kind: str
    station: Station | None
    dimension: str
    probability: float
    words: str
    step: str

    def as_json(self) -> dict[str, object]:
        """Return it as plain data."""
        return {
            "kind": self.kind,
            "station": None if self.station is None else self.station.value,
            "dimension": self.dimension or None,
            "probability": self.probability,
            "text": self.words,
            "next": self.step,
        }


def causes_of(seen: str, found: Estimate, *, system: System = System.METRIC) -> tuple[Cause, ...]:
    """Return the likely causes of what a slow roll showed, the likeliest first.

    Args:
        seen: `holds`, `leaves`, `tail_left` or `tail_right`.
        found: where the car is, with or without the roll's own readings.
        system: units of the words.

    Returns:
        None for a car that holds. For one that leaves the rail: each thing that would let it leave, with the
        chance that it is so, not excluding each other. For a tail: each rear wheel's heading and the
        dominant wheel's place on the rail, with the chance that it pushes the tail further to that side than
        the others do, given that the tail is on that side. The chances are those of the estimate's normal
        distribution, for tails from a fixed set of 4,096 draws (within about 0.01). Causes under 5 % are left
        out, and where none is left one that says so stands alone. Valid as far as `setup.predict.rolled` is.

    Raises:
        ReadingUnusable: nothing of the kind can be seen of a slow roll.
    """
    if seen not in SEEN:
        raise ReadingUnusable(
            f"{echo(seen)} is not what a slow roll shows", mend=f"say one of {', '.join(SEEN)}", key="seen"
        )
    if seen == "holds":
        return ()
    causes = _leaving(found, system) if seen == "leaves" else _tail(found, seen == "tail_left", system)
    named = [cause for cause in causes if cause.probability >= _NAMED]
    return tuple(sorted(named, key=lambda cause: -cause.probability)) or (_unknown(),)


def _unknown() -> Cause:
    return Cause(
        kind="not_in_the_model",
        station=None,
        dimension="",
        probability=1.0,
        words="Nothing that is known of the car explains it.",
        step="Look for a wheel that wobbles, a loose pin, dirt on the treads or a step in the rail.",
    )


def _side(left: bool) -> str:  # noqa: FBT001 - a side is one of two
    return "left" if left else "right"


def _length(value: float, spread: float, system: System) -> str:
    return str(show(value, kind=Kind.LENGTH, system=system, uncertainty=spread))


# Leaving the rail.


def _leaving(found: Estimate, system: System) -> list[Cause]:
    car = found.car
    side, wheel = car.dominant.side, car.dominant.words
    drift, spread = float(found.gates[1]), float(np.linalg.norm(found.gate_root[1]))
    # Into the rail is to the right for a wheel on the left.
    toward = -side * drift
    wanted = car.targets.drift
    least = max(0.0, min(-side * wanted.low, -side * wanted.high))
    away, little = _below(0.0, toward, spread), _below(least, toward, spread)
    into = _side(side < 0)
    shown = show_sided(drift, system=system, uncertainty=spread)
    turn = f"Steer it more to the {into}: ask for the next move, and read the drift after it."
    read = "Read the drift on the tuning board: it is not known well enough to turn anything."
    causes = [
        Cause(
            kind="steers_away",
            station=car.dominant,
            dimension="",
            probability=away,
            words=f"The {wheel} wheel steers away from the rail: the drift is {shown}.",
            step=turn if away >= CONFIDENCE else read,
        ),
        Cause(
            kind="steer_too_little",
            station=car.dominant,
            dimension="",
            probability=little - away,
            words=f"The {wheel} wheel steers too little into the rail: the drift is {shown}, where at least "
            f"{show_sided(-side * least, system=system)} is wanted.",
            step=turn if little >= CONFIDENCE else read,
        ),
    ]
    return [*causes, _standing_off(found, system), _raised_low(found, system)]


def _below(limit: float, mean: float, spread: float) -> float:
    """Return the chance that a normal quantity lies below a limit."""
    return _NORMAL.cdf((limit - mean) / spread) if spread > 0.0 else float(mean < limit)


def _standing_off(found: Estimate, system: System) -> Cause:
    offset, spread = float(found.gates[2]), float(np.linalg.norm(found.gate_root[2]))
    most = found.car.targets.rail_offset.high
    chance = 1.0 - _below(most, offset, spread)
    return Cause(
        kind="stands_off",
        station=found.car.dominant,
        dimension="",
        probability=chance,
        words=f"The {found.car.dominant.words} wheel stands {_place(offset, spread, system)}, where at most "
        f"{show(most, kind=Kind.LENGTH, system=system)} is wanted.",
        step="Bring it in: ask for the next move." if chance >= CONFIDENCE else "Read the rail offset.",
    )


def _place(offset: float, spread: float, system: System) -> str:
    return f"{_length(abs(offset), spread, system)} {'off the rail' if offset >= 0.0 else 'too far in'}"


def _raised_low(found: Estimate, system: System) -> Cause:
    car = found.car
    raised, dominant = (_STATIONS.index(each) for each in (car.raised, car.dominant))
    bore, shank = (_INDEX[f"{car.raised.value}.{name}"] for name in ("bore", "shank"))

    def raise_of(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        each = stances(car, rows, seats=found.seats)
        # A raised wheel hangs on its pin. One that stands on the ground lifts the dominant one instead.
        slack = (rows[:, bore] - rows[:, shank]) * np.cos(each.camber[raised])
        height: NDArray[np.float64] = each.clearance[raised] - slack - each.clearance[dominant]
        return height[:, None]

    here, slopes = derivatives(raise_of, found.values, found.root.T)
    height, spread = float(here[0]), float(np.sqrt(np.sum(np.nan_to_num(slopes) ** 2)))
    stands = "above the track" if height >= 0.0 else "too low to clear it"
    return Cause(
        kind="raised_wheel_low",
        station=car.raised,
        dimension=f"{car.raised.value}.hole_height",
        probability=_below(0.0, height, spread),
        words=f"The raised {car.raised.words} wheel touches the track: it hangs "
        f"{_length(abs(height), spread, system)} {stands}.",
        step=f"Slip a feeler under the {car.raised.words} wheel.",
    )


# A tail to one side.


def _tail(found: Estimate, left: bool, system: System) -> list[Cause]:  # noqa: FBT001 - a side is one of two
    car = found.car

    def parts(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        each = stances(car, rows, seats=found.seats)
        return np.concatenate((_pushes(found, rows, each), each.steer[:2].T), axis=1)

    here, slopes = derivatives(parts, found.values, found.root.T)
    sign = 1.0 if left else -1.0
    push, slope = here[:3], np.nan_to_num(slopes[:3])
    total, spread = float(push.sum()), float(np.linalg.norm(slope.sum(axis=0)))
    there = 1.0 - _below(0.0, sign * total, spread)
    if not there > _CANNOT_BE:
        return [_other_side(total, spread, left, system)]
    drawn = _drawn(sign * push, slope @ slope.T, there)
    shares = np.bincount(np.argmax(drawn, axis=1), minlength=3) / len(drawn)
    spreads = np.sqrt(np.sum(np.nan_to_num(slopes) ** 2, axis=1))
    told = [(float(mean), float(deviation)) for mean, deviation in zip(here, spreads, strict=True)]
    rear = [
        _heading(found, station, float(shares[at]), push=told[at], steer=told[3 + at], system=system)
        for at, station in enumerate(_REAR)
    ]
    return [*rear, _beside(found, float(shares[2]), told[2], system)]


def _pushes(found: Estimate, rows: NDArray[np.float64], each: Stances) -> NDArray[np.float64]:
    """Return how far left each rear wheel's heading and the place on the rail push the tail, (n, 3)."""
    tail = rolled(found.car, rows, seats=found.seats, found=each).tail
    arm = each.contact_x[_STATIONS.index(found.car.dominant)]
    by_heading = 0.5 * arm * np.sin(each.steer[:2])
    pushes: NDArray[np.float64] = np.concatenate((by_heading, (tail - by_heading.sum(axis=0))[None, :])).T
    return pushes


@cache
def _draws() -> NDArray[np.float64]:
    """Return fixed normal draws, mirrored so that their mean is exactly zero, beside even shares, (n, 4)."""
    rng = np.random.default_rng(20_260)
    half = rng.standard_normal((_DRAWS // 2, 3))
    even = rng.permutation((np.arange(_DRAWS) + 0.5) / _DRAWS)
    return np.column_stack((np.concatenate((half, -half)), even))


def _drawn(push: NDArray[np.float64], covariance: NDArray[np.float64], there: float) -> NDArray[np.float64]:
    """Return draws of the pushes, given that their sum is above nothing, which has the chance `there`.

    The sum is drawn from its normal distribution cut off at nothing, and the parts from what it leaves open,
    so that a side which is hardly likely is drawn as finely as one that is.
    """
    from scipy.special import ndtri  # noqa: PLC0415 - costs start-up time

    normal, even = _draws()[:, :3], _draws()[:, 3]
    beside = covariance.sum(axis=1)
    variance = float(beside.sum())
    along = beside / variance if variance > 0.0 else 0.0 * beside
    above = -np.sqrt(variance) * ndtri(there * even)
    sizes, axes = np.linalg.eigh(covariance - np.outer(along, beside))
    root = axes * np.sqrt(np.maximum(sizes, 0.0))
    drawn: NDArray[np.float64] = push + np.outer(above, along) + normal @ root.T
    return drawn


def _heading(
    found: Estimate,
    station: Station,
    share: float,
    *,
    push: tuple[float, float],
    steer: tuple[float, float],
    system: System,
) -> Cause:
    name = _most_to_blame(found, station)
    takes = show_sided(push[0], system=system, uncertainty=push[1])
    angle = show(abs(steer[0]), kind=Kind.ANGLE, system=system, uncertainty=steer[1])
    heads = f"{angle} {_side(steer[0] >= 0.0)}" if angle.number.strip("0.") else f"{angle}"
    part = "its pin's bend" if name == "bend" else f"its hole's {name}"
    wheel = station.words
    step = {
        "sweep": f"Hold a pin and a straight-edge in the {wheel} hole and read its sweep.",
        "cant": f"Hold a pin and a straight-edge in the {wheel} hole and read its cant.",
        "bend": f"Roll the {wheel} axle on a plate: the tip of a straight one does not swing.",
    }[name]
    return Cause(
        kind="rear_heading",
        station=station,
        dimension=f"{station.value}.{name}",
        probability=share,
        words=f"The {wheel} wheel heads {heads}, mostly by {part}: it takes the tail {takes}.",
        step=step,
    )


def _most_to_blame(found: Estimate, station: Station) -> str:
    """Return the dimension that turns a rear wheel's heading most, what is not known of it included."""
    at = _STATIONS.index(station)
    columns = [_INDEX[f"{station.value}.{name}"] for name in _HEADING]

    def steer(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        heading: NDArray[np.float64] = stances(found.car, rows, seats=found.seats).steer[at]
        return heading[:, None]

    without = np.repeat(found.values[None, :], len(columns), axis=0)
    without[range(len(columns)), columns] = 0.0
    here, slopes = derivatives(steer, found.values, np.eye(len(found.values))[columns])
    by_mean = here[0] - steer(without)[:, 0]
    by_spread = np.nan_to_num(slopes[0]) * found.deviations[columns]
    return _HEADING[int(np.argmax(np.nan_to_num(np.hypot(by_mean, by_spread))))]


def _beside(found: Estimate, share: float, push: tuple[float, float], system: System) -> Cause:
    wheel = found.car.dominant.words
    offset, spread = float(found.gates[2]), float(np.linalg.norm(found.gate_root[2]))
    target = found.car.targets.rail_offset
    inside = target.low <= offset <= target.high
    return Cause(
        kind="place_on_rail",
        station=found.car.dominant,
        dimension="",
        probability=share,
        words=f"The {wheel} wheel stands {_place(offset, spread, system)}, which takes the whole body, tail "
        f"and all, {show_sided(push[0], system=system, uncertainty=push[1])}.",
        step="Read the rail offset." if inside else "Read the rail offset, then ask for the next move.",
    )


def _other_side(total: float, spread: float, left: bool, system: System) -> Cause:  # noqa: FBT001 - as above
    expected = show_sided(total, system=system, uncertainty=spread)
    return Cause(
        kind="other_side",
        station=None,
        dimension="",
        probability=1.0 - _below(0.0, (-1.0 if left else 1.0) * total, spread),
        words=f"File and readings let expect the tail {expected}, not to the {_side(left)}.",
        step="Roll it again and look from behind to which side it runs, and whether a rear wheel rubs.",
    )
