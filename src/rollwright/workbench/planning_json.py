"""A plan as plain data in SI units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from rollwright.car.dimensions import dimension_kind

if TYPE_CHECKING:
    from rollwright.setup.plan import Adjustment, Blocked, Bushing, Figures, TradePoint
    from rollwright.workbench.planning import Planned

__all__ = ["planned_json"]

_GATES = ("height_difference", "drift", "rail_offset")


def planned_json(found: Planned) -> dict[str, object]:
    """Return a plan as plain data in SI units.

    Args:
        found: the plan.

    Returns:
        Mappings, lists, texts and numbers; what cannot be read as None.
    """
    plan, fine = found.plan, found.rounded
    return {
        "name": found.car.name,
        "class": None if found.rules is None else found.rules.name,
        "dominant": found.car.dominant.value,
        "bent": plan.bent,
        "preference": plan.wish.preference.value,
        "targets": {
            name: {"value": found.wanted(name), "tolerance": getattr(found.car.targets, name).tolerance}
            for name in _GATES
        },
        "sizes": [
            {
                "name": size.name,
                "kind": dimension_kind(size.name).name.lower(),
                "value": fine.value(size.name),
                "exact": size.value,
                "was": size.was,
                "why": size.why,
                "per_unit": dict(zip(_GATES, fine.slopes[size.name], strict=True)),
            }
            for size in plan.sizes
        ],
        "figures": _figures(fine.figures),
        "exact_figures": _figures(plan.figures),
        "rounding": {
            "moves": dict(zip(_GATES, fine.costs, strict=True)),
            "share_of_tolerance": dict(zip(_GATES, fine.shares, strict=True)),
        },
        "adjustment": _adjustment(plan.adjustment),
        "turn": {"drift": plan.turn_drift, "height_difference": plan.turn_height},
        "bushings": [_bushing(found, each) for each in fine.bushings],
        "blocked": [_blocked(each) for each in plan.blocked],
        "trade_off": [_point(each) for each in found.trade],
        "assumed": list(found.assumed),
    }


def _figures(found: Figures) -> Mapping[str, float | None]:
    return {
        "height_difference": found.height_difference,
        "drift": found.drift,
        "rail_offset": found.rail_offset,
        "ride_height": found.ride_height,
        "front_height": found.front_height,
        "ground_clearance": found.ground_clearance,
        "rail_clearance": found.rail_clearance,
        "raise_height": found.raise_height,
        "wheel_width": found.wheel_width,
    }


def _adjustment(found: Adjustment) -> Mapping[str, float]:
    return {
        "drift_left": found.drift_left,
        "drift_right": found.drift_right,
        "height_up": found.height_up,
        "height_down": found.height_down,
        "inward": found.inward,
        "outward": found.outward,
    }


def _bushing(found: Planned, each: Bushing) -> Mapping[str, object]:
    bit = found.bits[each.station]
    return {
        "station": each.station.value,
        "cant": each.cant,
        "sweep": each.sweep,
        "out_of_square": each.askew,
        "height_at_face": each.height_at_face,
        "forward_at_face": each.forward_at_face,
        "height_at_block": each.height_at_block,
        "forward_at_block": each.forward_at_block,
        "block": each.block,
        "drill": None if bit is None else {"name": bit.name, "diameter": bit.diameter},
    }


def _blocked(each: Blocked) -> Mapping[str, object]:
    return {
        "what": each.what,
        "rule": None if each.rule is None else each.rule.value,
        "kind": each.kind.name.lower(),
        "by": each.by,
        "why": each.why,
        "mend": each.mend,
    }


def _point(each: TradePoint) -> Mapping[str, object]:
    return {
        "out_of_square": each.askew,
        "bend": each.bend,
        "clock": each.clock,
        "cant": each.cant,
        "sweep": each.sweep,
        "hole_height": each.hole_height,
        "relief": each.relief,
        "washer": each.washer,
        "adjustment": _adjustment(each.adjustment),
        "turn": {"drift": each.turn_drift, "height_difference": each.turn_height},
        "allowed": each.allowed,
    }
