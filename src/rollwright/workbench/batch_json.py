"""A judged batch as plain data."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.judge.batch import Batch, JudgedHole
    from rollwright.judge.batch_capability import Ranged
    from rollwright.judge.batch_chart import Wander
    from rollwright.judge.batch_compare import Changed
    from rollwright.judge.batch_counts import Share
    from rollwright.judge.batch_data import Hole
    from rollwright.workbench.batch import Found

__all__ = ["batch_json"]


def batch_json(found: Found) -> dict[str, object]:
    """Return a judged batch as plain data in SI units; what nothing bounds is null."""
    batch, versus = found.batch, found.versus
    return {
        "name": found.drilled.name,
        "set_up": batch.set_up,
        "versus": None if versus is None else versus.set_up,
        "set_ups": [{"name": name, "bodies": count} for name, count in found.set_ups.items()],
        "tolerances": {way.value: value for way, value in found.drilled.tolerances.items()},
        "assumed": list(found.drilled.assumed),
        "share": _share(batch.share),
        "unclear": batch.unclear,
        "more_needed": {
            "good": batch.more.good,
            "missing": batch.more.missing,
            "more": batch.more.more,
            "as_counted": batch.more.as_counted,
            "at_best": batch.more.at_best,
            "at_worst": batch.more.at_worst,
        },
        "as_drilled": None if batch.as_drilled is None else _ranged(batch.as_drilled),
        "scatter_alone": None if batch.scatter_alone is None else _ranged(batch.scatter_alone),
        "bodies": [
            {"number": body.number, "name": body.name, "state": state.value}
            for body, state in zip(batch.bodies, batch.states, strict=True)
        ],
        "holes": [_hole(batch, hole) for hole in batch.holes],
        "capability": [
            {
                "name": hole.hole.name,
                "tolerance": hole.capability.tolerance,
                "cp": _ranged(hole.capability.cp),
                "cpk": _ranged(hole.capability.cpk),
                "inside": _ranged(hole.capability.inside),
                "centred": _ranged(hole.capability.centred),
            }
            for hole in batch.holes
            if hole.capability is not None
        ],
        "chart": [_chart(hole) for hole in batch.holes if hole.chart is not None],
        "share_change": None if found.share_change is None else _ranged(found.share_change),
        "changes": [_change(hole, each) for hole, each in found.changes.items()],
        "set_aside": [{"name": each.name, "why": each.why} for each in found.set_aside],
    }


def _end(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _ranged(found: Ranged) -> dict[str, object]:
    return {"value": _end(found.value), "interval": [_end(found.low), _end(found.high)]}


def _share(found: Share) -> dict[str, object]:
    return {
        "good": found.good,
        "drilled": found.drilled,
        "value": found.value,
        "interval": [found.low, found.high],
    }


def _hole(batch: Batch, found: JudgedHole) -> dict[str, object]:
    fit = found.fit
    return {
        "name": found.hole.name,
        "cause": found.cause.value,
        "read": len(found.offs),
        "measured": sum(off.measured for off in found.offs),
        "fitted": None if fit is None else fit.count,
        "bias": None if fit is None else _end(fit.bias),
        "bias_interval": None if fit is None else [_end(fit.bias_low), _end(fit.bias_high)],
        "scatter": None if fit is None else _end(fit.scatter),
        "scatter_interval": None if fit is None else [_end(fit.scatter_low), _end(fit.scatter_high)],
        "move": None if fit is None or not fit.biased else _end(-fit.bias),
        "share_if_shimmed": batch.shimmed.get(found.hole.name),
        "changed_from": found.before,
        "wander": None if found.wander is None else _wander(found, found.wander),
        "spread": None if found.spread is None else _wander(found, found.spread),
    }


def _wander(hole: JudgedHole, found: Wander) -> dict[str, object]:
    return {
        "kind": found.kind.value,
        "from_body": hole.number_at(found.first),
        "earliest": hole.number_at(found.earliest),
        "latest": hole.number_at(found.latest),
        "change": found.change,
        "chance": found.chance,
    }


def _chart(found: JudgedHole) -> dict[str, object]:
    chart = found.chart
    if chart is None:
        return {}
    return {
        "name": found.hole.name,
        "points": [
            {"number": point.number, "value": point.value, "measured": point.measured}
            for point in found.points
        ],
        "mean": chart.mean,
        "limits": [chart.low, chart.high],
        "mean_moving_range": chart.mean_range,
        "moving_range_limit": chart.range_high,
        "signals": [
            {
                "rule": signal.rule.value,
                "from_body": found.number_at(signal.first),
                "to_body": found.number_at(signal.last),
            }
            for signal in chart.signals
        ],
    }


def _change(hole: Hole, found: Changed) -> dict[str, object]:
    return {
        "name": hole.name,
        "bias": _ranged(found.bias),
        "bias_changed": found.bias_changed,
        "scatter_ratio": _ranged(found.scatter),
        "scatter_changed": found.scatter_changed,
        "levene_chance": found.levene,
    }
