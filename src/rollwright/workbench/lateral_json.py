"""The motion from side to side as plain data in SI units."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rollwright.car.model import Station

if TYPE_CHECKING:
    from rollwright.workbench.lateral import Holding, SteerCurve, Steered, Touch

__all__ = ["holding_json"]

_POINTS = 400


def holding_json(found: Holding) -> dict[str, object]:
    """Return a motion as plain data.

    Args:
        found: the motion.

    Returns:
        Its keys are those of `docs/json-output.md`; the path has about 400 points of those worked out.
    """
    held, cost = found.held, found.held.cost
    stride = max(1, len(held.distance) // _POINTS)
    picked = slice(None, None, stride)
    off = held.longest
    return {
        "name": found.car.name,
        "track": found.track.name,
        "lane": found.lane,
        "seed": held.roughness.seed,
        "roughness": held.roughness.waves,
        "tilt": held.roughness.tilt,
        "restitution": held.restitution,
        "start_offset": held.start_offset,
        "start_heading": held.start_heading,
        "holds": held.holds,
        "first_touch_s": held.first,
        "on_rail": held.on_rail,
        "longest_off": None
        if off is None
        else {"time_s": off.time, "distance": off.distance, "lasts_s": off.lasts, "widest": off.widest},
        "strays": [_touch(touch) for touch in held.strays],
        "touches": [_touch(touch) for touch in held.touches],
        "steady": {
            "yaw": held.steady_yaw,
            "rail_force": held.steady_force,
            "straight_run_rail_force": held.straight_force,
        },
        "cost_s": {
            "rail": cost.rail,
            "scrub": cost.scrub,
            "knocks": cost.knocks,
            "straight_rail": cost.straight_rail,
            "straight_scrub": cost.straight_scrub,
            "budget_rail": cost.budget_rail,
            "budget_scrub": cost.budget_scrub,
            "more_than_straight_run": cost.more,
        },
        "path": {
            "distance": held.distance[picked].tolist(),
            "time_s": held.time[picked].tolist(),
            "lateral": held.places[0, picked].tolist(),
            "yaw": held.places[1, picked].tolist(),
            "gaps": {
                station.value: held.gaps[number, picked].tolist() for number, station in enumerate(Station)
            },
        },
        "steer_curve": None if found.curve is None else _curve(found.curve),
        "assumed": list(found.assumed),
    }


def _touch(touch: Touch) -> dict[str, object]:
    return {
        "station": touch.station.value,
        "time_s": touch.time,
        "distance": touch.distance,
        "approach": touch.approach,
        "lasts_s": touch.lasts,
        "impulse_Ns": touch.impulse,
        "lost_J": touch.lost,
    }


def _point(point: Steered) -> dict[str, object]:
    return {
        "askew": point.askew,
        "drift": point.drift,
        "held": point.good,
        "of": point.of,
        "strayed": point.strayed,
        "rear_touched": point.rear,
        "longest_off_s": point.longest,
        "on_rail": point.on_rail,
        "cost_s": point.cost,
    }


def _curve(curve: SteerCurve) -> dict[str, object]:
    return {
        "points": [_point(point) for point in curve.points],
        "here": _point(curve.here),
        "best": None
        if curve.best is None
        else {
            "least_askew": curve.best.least.askew,
            "most_askew": curve.best.most.askew,
            "least_drift": curve.best.least.drift,
            "most_drift": curve.best.most.drift,
        },
        "trade": {"askew": list(curve.trade_askew), "drift": list(curve.trade)},
    }
