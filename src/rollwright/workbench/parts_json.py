"""A parts box and a matched set as plain data in SI units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from rollwright.judge.parts import MEASURES, Grade
from rollwright.quantity import Quantity

if TYPE_CHECKING:
    from rollwright.car.model import Station
    from rollwright.geometry.stance import Stance
    from rollwright.setup.parts import Entry, Graded
    from rollwright.setup.parts_set import MatchedSet
    from rollwright.setup.parts_worth import CostAt

__all__ = ["box_json", "set_json"]

_WHEEL = ("diameter", "tread_width", "hub_projection", "bore", "mass", "inertia", "run_out", "hub_length")
_AXLE = ("shank", "bend", "mass", "straightness")


def box_json(graded: Graded, found: MatchedSet | None) -> dict[str, object]:
    """Return a box with its grades, and what each part costs where a set was asked for.

    Args:
        graded: the box.
        found: the set, or None.

    Returns:
        Mappings, lists, texts and numbers.
    """
    box = graded.box
    wheels = [
        {
            "name": name,
            **{key: _plain(getattr(wheel, key)) for key in _WHEEL},
            "friction": _plain(graded.frictions.get(name)),
            **_judged(graded, "wheels", name, graded.wheels[name], found),
            "history": [
                {**_entry(each), "friction": _plain(each.friction), "axle": each.axle or None}
                for each in wheel.history
            ],
        }
        for name, wheel in box.wheels.items()
    ]
    axles = [
        {
            "name": name,
            **{key: _plain(getattr(axle, key)) for key in _AXLE},
            **_judged(graded, "axles", name, graded.axles[name], found),
            "history": [_entry(each) for each in axle.history],
        }
        for name, axle in box.axles.items()
    ]
    return {
        "name": box.name,
        "lubricant": graded.lubricant or None,
        "wheels": wheels,
        "axles": axles,
        "washers": [
            {"name": each.name, "thickness": _plain(each.size), "count": each.count} for each in box.washers
        ],
        "weights": [
            {"name": each.name, "mass": _plain(each.size), "count": each.count} for each in box.weights
        ],
        "pairs": [
            {
                "wheels": [pair.first, pair.second],
                "difference": {"value": pair.difference, "uncertainty": pair.uncertainty},
                "state": pair.state.value,
            }
            for pair in graded.pairs
        ],
        "doubtful": [
            {
                "kind": group.removesuffix("s"),
                "name": name,
                "check": grade.check.value,
                "state": None if grade.state is None else grade.state.value,
                "stale": grade.stale,
                "measure": MEASURES[grade.check],
            }
            for group, name, grade in graded.doubtful
        ],
    }


def _plain(quantity: Quantity | None) -> dict[str, object] | None:
    if quantity is None:
        return None
    return {
        "value": quantity.value,
        "uncertainty": quantity.uncertainty,
        "from": quantity.source.value,
    }


def _entry(entry: Entry) -> dict[str, object]:
    return {
        "date": entry.date,
        "what": entry.what,
        "note": entry.note or None,
        "lubricant": entry.lubricant or None,
    }


def _judged(
    graded: Graded, group: str, name: str, grades: tuple[Grade, ...], found: MatchedSet | None
) -> dict[str, object]:
    costs: Mapping[str, CostAt] = {}
    at = None
    if found is not None:
        costs = found.wheel_costs if group == "wheels" else found.axle_costs
        place = 0 if group == "wheels" else 1
        at = next((station for station, names in found.fitted.items() if names[place] == name), None)
    cost = costs.get(name)
    return {
        "fit": f"{group}.{name}" in graded.fit,
        "checks": [
            {
                "check": grade.check.value,
                "state": None if grade.state is None else grade.state.value,
                "value": grade.value,
                "uncertainty": grade.uncertainty,
                "probability": grade.probability,
                "stale": grade.stale,
            }
            for grade in grades
        ],
        "cost_s": None if cost is None else {"value": cost.cost, "uncertainty": cost.uncertainty},
        "cost_at_s": None if cost is None else {station.value: each for station, each in cost.at.items()},
        "chosen_at": None if at is None else at.value,
        "left_out": None if found is None else found.left_out.get(f"{group}.{name}"),
    }


def _fitted(fitted: Mapping[Station, tuple[str, str]]) -> dict[str, object]:
    return {station.value: {"wheel": wheel, "axle": axle} for station, (wheel, axle) in fitted.items()}


def _stance(found: Stance) -> dict[str, object]:
    return {
        "height_difference": found.height_difference,
        "roll": found.roll,
        "drift": found.drift.lateral,
        "rail_offset": found.rail_offset,
    }


def set_json(found: MatchedSet | None) -> dict[str, object]:
    """Return a matched set as plain data.

    Args:
        found: the set; None where none was asked for.

    Returns:
        Its keys; `set` is None without one, and the others are left out.
    """
    if found is None:
        return {"set": None}
    return {
        "set": _fitted(found.fitted),
        "worth_s": found.worth,
        "uncertainty_s": found.uncertainty,
        "told_apart": found.told_apart,
        "worth_by_prices_s": found.by_prices,
        "worst_behind_s": found.worst_behind,
        "average_time_s": found.time,
        "proven": found.exact,
        "bound_s": found.bound,
        "by_assignment": found.by_assignment,
        "to_be_bent": [station.value for station in found.to_be_bent],
        "rivals": [
            {
                "without": rival.wheel,
                "station": rival.station.value,
                "set": _fitted(rival.fitted),
                "behind_s": rival.behind,
                "uncertainty_s": rival.uncertainty,
                "told_apart": rival.told_apart,
            }
            for rival in found.rivals
        ],
        "left_open": [
            {"part": each.part or None, "what": each.what, "share": each.share} for each in found.left
        ],
        "before": _stance(found.before),
        "after": _stance(found.after),
    }
