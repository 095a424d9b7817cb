"""A tolerance analysis as plain data in SI units."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.setup.tolerance import Tolerance
    from rollwright.setup.tolerance_adjust import Adjusted
    from rollwright.setup.tolerance_back import Back
    from rollwright.setup.tolerance_draws import GateShare, GateShares
    from rollwright.setup.tolerance_limits import Dimension, Limit
    from rollwright.setup.tolerance_shares import Counted, Interval

__all__ = ["tolerance_json"]

_GATES = ("level", "steer", "centre")


def tolerance_json(found: Tolerance) -> dict[str, object]:
    """Return a tolerance analysis as plain data in SI units.

    Args:
        found: the analysis.

    Returns:
        Mappings, lists, texts and numbers; infinite and missing numbers as None.
    """
    case, drill = found.case, found.drill
    return {
        "runs": found.runs,
        "seed": found.seed,
        "gates": {
            name: {"as_drawn": nominal, "middle": middle, "tolerance": width}
            for name, nominal, middle, width in zip(
                _GATES, case.nominal.tolist(), case.middle.tolist(), case.tolerances.tolist(), strict=True
            )
        },
        "middle": "targets" if case.as_given else "as_drawn",
        "spend_care_on": [each.name for each in found.care],
        "dimensions": [_dimension(each) for each in found.dimensions],
        "drill": {
            "holes": [
                {"name": hole.name, "scatter": hole.deviation, "tolerance": hole.tolerance}
                for hole in case.holes
            ],
            "scatter_from": "half_of_tolerance" if case.drill_from_tolerance else "file",
            "pass": _counted(drill.drawn),
            "pass_normal": drill.normal,
            "pass_cant_and_sweep": drill.angles,
            "pass_with_pairs": _counted(drill.with_pairs),
            "pass_by_plane": dict(drill.planes),
        },
        "off_the_drill": _gates(found.off_drill),
        "all_scatter": _gates(found.all_scatter),
        "as_in_file": _gates(found.as_file),
        "adjusted": None if found.adjusted is None else _adjusted(found.adjusted),
        "observed": {
            **_back(found.observed),
            "interval": _interval(found.seen.interval),
            "factor_interval": _interval(found.observed.factors),
        },
        "wanted": _back(found.wanted),
        "curve": {
            "factors": list(found.curve.factors),
            "drill": list(found.curve.drill),
            "off_the_drill": list(found.curve.gates),
        },
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else value


def _interval(found: Interval | None) -> list[float | None] | None:
    return None if found is None else [_finite(found.low), _finite(found.high)]


def _counted(found: Counted) -> dict[str, object]:
    return {
        "share": found.share,
        "good": found.good,
        "of": found.of,
        "interval": _interval(found.interval),
    }


def _dimension(each: Dimension) -> dict[str, object]:
    return {
        "name": each.name,
        "kind": each.kind.name.lower(),
        "value": each.value,
        "scatter": each.deviation,
        "per_unit": dict(zip(_GATES, each.slopes, strict=True)),
        "less": _limit(each.less),
        "more": _limit(each.more),
        "variance_share": dict(zip(_GATES, each.shares, strict=True)),
        "weight": each.weight,
    }


def _limit(limit: Limit) -> dict[str, object]:
    return {
        "off": limit.off,
        "gate": limit.gate or None,
        "looked": limit.looked,
        "straight": _finite(limit.straight),
        "straight_over_exact": limit.ratio,
        "straight_is_good": limit.straight_is_good,
    }


def _gates(found: GateShares) -> dict[str, object]:
    return {
        "gates": [_gate(each) for each in (*found.gates, found.together)],
        "stands_otherwise": found.otherwise,
    }


def _gate(each: GateShare) -> dict[str, object]:
    return {
        "gate": each.name,
        **_counted(each.drawn),
        "straight": each.straight,
        "straight_error": each.straight_error,
        "normal": _finite(each.normal),
        "straight_is_good": each.straight_is_good,
    }


def _adjusted(found: Adjusted) -> dict[str, object]:
    return {
        "brought": _counted(found.brought),
        "of_those_that_pass_the_drill": None if found.passed is None else _counted(found.passed),
        "bend": [_finite(end) for end in found.bend],
        "trim": [_finite(end) for end in found.trim],
    }


def _back(found: Back) -> dict[str, object]:
    return {
        "share": found.share,
        "factor": found.factor,
        "scatter": dict(found.deviations) or None,
        "drawn": _drawn(found.drawn),
        "with_pairs": _drawn(found.pairs),
        "one_plane_alone": dict(found.alone),
        "off_the_drill": _drawn(found.gates),
    }


def _drawn(found: tuple[float, Interval] | None) -> dict[str, object] | None:
    return None if found is None else {"factor": found[0], "interval": _interval(found[1])}
