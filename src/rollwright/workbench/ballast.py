"""Use case: which weights go in which pockets."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rollwright.car.file import read_car
from rollwright.car.model import Car, Point, Target, Weight
from rollwright.car.table import nearest
from rollwright.errors import InputError, MissingReference, OutOfRange, echo
from rollwright.geometry.ledger import ledger_of
from rollwright.geometry.stance import Stance, stance
from rollwright.judge.verdict import Verdict
from rollwright.quantity import Quantity, Source
from rollwright.setup.ballast import Choice, Demand, Obstacle, Plan, Pocket, Size, Wanted
from rollwright.setup.pockets_file import read_pockets
from rollwright.workbench.weigh import SCALE

__all__ = ["SCALE", "WITHIN", "Demand", "Filled", "Obstacle", "Plan", "fill"]

WITHIN = 1e-3
"""How far from the wanted centre of mass is still good, if nobody says [m]."""

_FARTHEST = 1.0
_LOADED = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Filled:
    """Which weights go in which pockets of a car.

    Attributes:
        car: the car, without the weights that were taken out.
        pockets: the places.
        sizes: the weights at hand.
        limit: the most it may weigh [kg].
        centre: where its centre of mass is wanted, ahead of the rear hole line, or None.
        weighed: whether a scale showed what it weighs.
        choice: the plan, or what stands in its way.
    """

    car: Car
    pockets: Sequence[Pocket]
    sizes: Sequence[Size]
    limit: float
    centre: Target | None
    weighed: bool
    choice: Choice

    @property
    def met(self) -> bool:
        """Whether everything that was asked can be had."""
        return self.choice.plan is not None

    @property
    def left_over(self) -> Mapping[str, int]:
        """How many of each size stay on the bench."""
        put = {size.name: 0 for size in self.sizes}
        if self.choice.plan is not None:
            for pieces in self.choice.plan.counts.values():
                for name, count in pieces.items():
                    put[name] += count
        return {size.name: size.count - put[size.name] for size in self.sizes}

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        choice = self.choice
        return {
            "name": self.car.name,
            "limit": self.limit,
            "centre": None
            if self.centre is None
            else {"value": self.centre.value, "tolerance": self.centre.tolerance},
            "before": {"mass": _plain(choice.empty.mass), "centre_of_mass": _points(choice.empty.centre)},
            "misfit_probability": choice.misfit_probability,
            "plan": None if choice.plan is None else _plan(choice.plan),
            "left_over": [{"size": name, "count": count} for name, count in self.left_over.items()],
            "held_back": choice.held_back,
            "obstacle": None if choice.obstacle is None else _obstacle(choice.obstacle),
        }


def _plain(quantity: Quantity) -> dict[str, float]:
    return {"value": quantity.value, "uncertainty": quantity.uncertainty}


def _points(centre: Point) -> list[dict[str, float]]:
    return [_plain(part) for part in centre]


def _verdict(verdict: Verdict | None) -> dict[str, object] | None:
    return None if verdict is None else {"state": verdict.state.value, "probability": verdict.probability}


def _plan(plan: Plan) -> dict[str, object]:
    return {
        "pockets": _pieces(plan),
        "pieces": plan.pieces,
        "mass": _plain(plan.mass),
        "centre_of_mass": _points(plan.centre),
        "loads": {station.value: _plain(load) for station, load in plan.loads.items()},
        "over_probability": plan.over,
        "kept_back": plan.kept_back,
        "room": plan.room,
        "verdict": _verdict(plan.limit_verdict),
        "centre_verdict": _verdict(plan.centre_verdict),
        "stands_probability": plan.stands,
    }


def _pieces(plan: Plan) -> list[dict[str, object]]:
    return [
        {"pocket": pocket, "size": size, "count": count}
        for pocket, sizes in plan.counts.items()
        for size, count in sizes.items()
    ]


def _obstacle(obstacle: Obstacle) -> dict[str, object]:
    return {
        "demand": obstacle.demand.value,
        "reached": list(obstacle.reached),
        "shortfall": obstacle.shortfall,
        "station": None if obstacle.station is None else obstacle.station.value,
        "nearest": None if obstacle.plan is None else _pieces(obstacle.plan),
    }


def fill(
    path: str | os.PathLike[str],
    pockets_path: str | os.PathLike[str],
    *,
    limit: float,
    centre: float | None = None,
    within: float = WITHIN,
    whole: float | None = None,
    scale: float = SCALE,
    without: Sequence[str] = (),
) -> Filled:
    """Return which weights go in which pockets of the car of a file.

    Args:
        path: the car file. Its weights are in the car already.
        pockets_path: the pockets file.
        limit: the most the car may weigh [kg].
        centre: where the centre of mass is wanted, ahead of the rear hole line [m]; None: anywhere.
        within: how far from there is still good [m].
        whole: what a scale showed of the car before anything is added [kg].
        scale: standard uncertainty of the scale [kg].
        without: names of weights in the car file that are taken out first.

    Returns:
        The best plan, or what stands in its way.

    Raises:
        InputError: a file cannot be used, the car cannot stand, or what is wanted makes no sense.
    """
    from rollwright.setup.pockets import choose  # noqa: PLC0415 - brings numpy

    for key, mass in {"limit": limit, "whole": 1.0 if whole is None else whole, "scale": scale}.items():
        if not mass > 0.0:
            raise OutOfRange("a mass must be more than zero", mend="write a positive one", key=f"--{key}")
    if not within > 0.0:
        raise OutOfRange(
            "a tolerance must be more than zero", mend="write how far off is good", key="--within"
        )
    if max(abs(centre or 0.0), within) > _FARTHEST:
        raise OutOfRange("more than 1 m is too far", mend="check the unit", key="--centre")
    car = _taken_out(read_car(path), without, file=Path(path).name)
    pockets, sizes = read_pockets(pockets_path)
    target = None if centre is None else Target(value=centre, tolerance=within)
    try:
        stands = _loaded(car)
    except InputError as error:
        raise error.at(file=Path(path).name) from None
    return Filled(
        car=car,
        pockets=pockets,
        sizes=sizes,
        limit=limit,
        centre=target,
        weighed=whole is not None,
        choice=choose(
            ledger_of(car),
            stands,
            pockets,
            sizes,
            Wanted(limit=limit, centre=target),
            whole=None
            if whole is None
            else Quantity(value=whole, uncertainty=scale, source=Source.MEASURED, label="scale whole"),
        ),
    )


def _taken_out(car: Car, without: Sequence[str], *, file: str) -> Car:
    for name in without:
        if name not in car.weights:
            known = nearest(name, car.weights) if car.weights else "the file has no weights"
            raise MissingReference(
                f"there is no [weights.{echo(name)[1:-1]}] to take out",
                mend=known,
                file=file,
                key="--without",
            )
    return replace(car, weights={name: of for name, of in car.weights.items() if name not in without})


def _loaded(car: Car) -> Stance:
    """Return how a car stands once weight between its three wheels holds it down, whatever it does empty."""
    width, length = car.body.width.value, car.body.wheelbase.value
    middle = (length / 3.0, car.dominant.side * width / 6.0, 0.0)
    x, y, z = (Quantity(value=part) for part in middle)
    slug = Weight(mass=Quantity(value=_LOADED), position=(x, y, z))
    return stance(replace(car, weights={"": slug}))
