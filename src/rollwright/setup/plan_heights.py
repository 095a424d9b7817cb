"""How high a planned car rides, and how high its raised wheel hangs: the wish, and what stands in its way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rollwright.car.model import Car, Station
from rollwright.errors import CarCannotRest
from rollwright.geometry.stance import stance
from rollwright.setup.plan_blocked import Clearance, Say
from rollwright.setup.plan_family import Task
from rollwright.setup.plan_parts import Blocked
from rollwright.setup.plan_solve import FRONT, REAR, RIDE

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Height", "Raise", "height_of", "lowest_corner", "raise_of"]

_MM = 1e-3
_LEAST_WOOD = 1.0 * _MM
"""Wood below a hole's edge (judgement: less splits when the pin is pressed in)."""

_LEAST_RAISE, _USUAL_RAISE = 0.3 * _MM, 1.5 * _MM
"""Clearance of a raised wheel (judgement: with less it touches at every joint of a track)."""

_LEAST_OVERLAP = 1.0 * _MM
"""How far a raised wheel reaches below the rail's top (judgement: else it may climb on the rail)."""

_SAME = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Height:
    """The ride height that a plan takes, the one it had before, why, and what is in its way."""

    now: float
    ride: float
    why: str
    blocked: tuple[Blocked, ...] = ()


def height_of(task: Task, x: NDArray[np.float64], clearance: Clearance, say: Say) -> Height:
    """Return how high the car rides: as wished, but clear of what is below it, with wood below its holes."""
    car, wish = task.blank.car, task.wish
    now = float(task.blank.figures_of(x[None])[0, RIDE])
    lowest = _corner(task, x)
    need = now + (clearance.least - lowest)
    shanks = {
        REAR: max(car.axle_at(each).shank.value for each in (Station.REAR_LEFT, Station.REAR_RIGHT)),
        FRONT: car.axle_at(car.dominant).shank.value,
    }
    most = now + min(float(x[column]) - shank / 2.0 for column, shank in shanks.items()) - _LEAST_WOOD
    ride = min(max(now, need), most)
    why = "gives the ride height" if wish.ride_height is not None else "kept"
    if ride > now:
        why = f"lifts the body clear of {clearance.words}"
    blocked = []
    wood = f"{say.length(_LEAST_WOOD)} of wood below a hole"
    at = "at the front" if wish.ride_at_front else "at the rear holes"
    shift = 0.0 if wish.ride_height is None else wish.ride_height - now
    if need > most + _SAME:
        blocked.append(
            Blocked(
                what=clearance.what,
                why=f"the wheels are too small: {clearance.words} asks for an underside "
                f"{say.length(clearance.least)} high, and with {wood} it comes no higher than "
                f"{say.length(max(0.0, clearance.least - (need - most)))}",
                by=need - most,
                mend=f"use wheels {say.length(2.0 * (need - most))} larger across, or ask for less clearance",
                rule=clearance.rule,
            )
        )
    if wish.ride_height is not None and need > now + _SAME:
        blocked.append(
            Blocked(
                what="ride_height",
                why=f"{clearance.words} asks for an underside {say.length(clearance.least)} high at its "
                f"lowest, and a ride height of {say.length(wish.ride_height)} {at} leaves it at "
                f"{say.length(lowest)}",
                by=abs(ride - now),
                mend=f"ask for a ride height of at least {say.length(need + shift)}",
                rule=clearance.rule,
            )
        )
    elif most < now - _SAME:
        blocked.append(
            Blocked(
                what="hole_height" if wish.ride_height is None else "ride_height",
                why=f"the wheels are too small: an underside {say.length(now)} above the ground does not "
                f"leave {wood}",
                by=now - most,
                mend=f"ask for a ride height of at most {say.length(most + shift)}, or use wheels "
                f"{say.length(2.0 * (now - most))} larger across",
            )
        )
        why = f"leaves {wood}"
    return Height(now=now, ride=ride, why=why, blocked=tuple(blocked))


def _corner(task: Task, x: NDArray[np.float64]) -> float:
    seats = task.blank.stand(x[None])[0][0]
    if seats is None:
        raise CarCannotRest(
            "no three wheels hold the planned car",
            mend="check body.wheelbase and the stations' offsets",
            key="body.wheelbase",
        )
    found = task.blank.stances(x[None], dict(zip(Station, seats, strict=True)))
    return lowest_corner(task.blank.car, float(found.rear[0]), float(found.up[0, 0]), float(found.up[1, 0]))


def lowest_corner(car: Car, rear: float, up_x: float, up_y: float) -> float:
    """Return the height of the lowest corner of the underside [m]."""
    tail = -car.body.rear_overhang.value
    ends = (tail, tail + car.body.length.value)
    return rear + min(up_x * end for end in ends) - abs(up_y) * car.body.width.value / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Raise:
    """The clearance under the raised wheel that a plan takes [m], and what is in the way of another."""

    height: float
    blocked: tuple[Blocked, ...] = ()


def raise_of(task: Task, car: Car, say: Say) -> Raise:
    """Return the clearance under the raised wheel: as wished or as it was, between touching and the rail."""
    most = max(_LEAST_RAISE, car.rail.height.value - _LEAST_OVERLAP)
    wished = task.wish.raise_height
    if wished is None:
        try:
            had = stance(car)
        except CarCannotRest:
            return Raise(height=min(_USUAL_RAISE, most))
        now = had.stations[car.raised].hanging_clearance
        return Raise(height=now if _LEAST_RAISE <= now <= most else min(_USUAL_RAISE, most))
    if wished < _LEAST_RAISE:
        one = Blocked(
            what="raise_height",
            why=f"a wheel raised by less than {say.length(_LEAST_RAISE)} touches the track and carries",
            by=_LEAST_RAISE - wished,
            mend=f"ask for a raise of at least {say.length(_LEAST_RAISE)}",
        )
        return Raise(height=_LEAST_RAISE, blocked=(one,))
    if wished > most:
        one = Blocked(
            what="raise_height",
            why=f"the rail is {say.length(car.rail.height.value)} high, and a wheel raised by "
            f"{say.length(wished)} may climb on it",
            by=wished - most,
            mend=f"ask for a raise of at most {say.length(most)}",
        )
        return Raise(height=most, blocked=(one,))
    return Raise(height=wished)
