"""Use cases of weight and balance."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.car.file import read_car
from rollwright.car.model import Car
from rollwright.errors import InputError, OutOfRange
from rollwright.geometry.ledger import Ledger, ledger_of
from rollwright.geometry.stance import stance
from rollwright.judge.verdict import CONFIDENCE, Verdict, acceptance_limits, judge
from rollwright.quantity import Quantity, Source

if TYPE_CHECKING:
    from rollwright.setup.balance import Balance

__all__ = ["SCALE", "Weighed", "weigh"]

SCALE = 0.1e-3
"""Standard uncertainty of a scale that nobody speaks for [kg]: a pocket scale that shows tenths."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """What a car weighs and where.

    Attributes:
        car: the car.
        ledger: its items, as the file describes them.
        balance: ledger and scale together.
        limit: the most it may weigh [kg], or None.
        verdict: on the mass against that limit, or None.
        room: what may still be added and be under the limit with 95 % [kg], negative if too much is in
            already; None without a limit.
    """

    car: Car
    ledger: Ledger
    balance: Balance
    limit: float | None
    verdict: Verdict | None
    room: float | None

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        balance = self.balance
        return {
            "name": self.car.name,
            "mass": _plain(balance.mass),
            "centre_of_mass": [_plain(part) for part in balance.centre],
            "loads": {station.value: _plain(load) for station, load in balance.loads.items()},
            "misfit_probability": balance.misfit_probability,
            "ledger": [
                {
                    "name": item.name,
                    "mass": _plain(item.mass),
                    "position": [part.value for part in item.position],
                }
                for item in self.ledger.items
            ],
            "limit": self.limit,
            "room": self.room,
            "verdict": None
            if self.verdict is None
            else {"state": self.verdict.state.value, "probability": self.verdict.probability},
        }


def _plain(quantity: Quantity) -> dict[str, float]:
    return {"value": quantity.value, "uncertainty": quantity.uncertainty}


def weigh(
    path: str | os.PathLike[str],
    shown: Mapping[str, float],
    *,
    scale: float = SCALE,
    limit: float | None = None,
) -> Weighed:
    """Return what the car of a file weighs and where its mass is.

    Args:
        path: the car file.
        shown: what the scale showed [kg], by what stood on it: `whole`, `front`, `rear` or a station.
        scale: standard uncertainty of the scale [kg].
        limit: the most the car may weigh [kg].

    Returns:
        Ledger and scale reconciled, and the verdict on the limit.

    Raises:
        InputError: the file cannot be used, the car cannot stand, or a reading is impossible on it.
    """
    from rollwright.setup.balance import Pan, ScaleReading, balance_of  # noqa: PLC0415 - brings numpy

    car = read_car(path)
    for key, mass in {**shown, "scale": scale, "limit": 1.0 if limit is None else limit}.items():
        if not mass > 0.0:
            raise OutOfRange("a mass must be more than zero", mend="write what the scale showed", key=key)
    readings = [
        ScaleReading(
            pan=Pan(pan), mass=Quantity(value=mass, uncertainty=scale, source=Source.MEASURED, label=pan)
        )
        for pan, mass in shown.items()
    ]
    ledger = ledger_of(car)
    try:
        balance = balance_of(ledger, stance(car), readings)
    except InputError as error:
        raise error.at(file=Path(path).name) from None
    verdict, room = None, None
    if limit is not None:
        verdict = judge(value=balance.mass.value, uncertainty=balance.mass.uncertainty, high=limit)
        _, most = acceptance_limits(uncertainty=balance.mass.uncertainty, high=limit, confidence=CONFIDENCE)
        room = most - balance.mass.value
    return Weighed(car=car, ledger=ledger, balance=balance, limit=limit, verdict=verdict, room=room)
