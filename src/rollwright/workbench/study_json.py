"""The longer parts of a study as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.setup.study_optimum import Candidate, Optimum
    from rollwright.setup.study_sobol import Shares
    from rollwright.setup.study_tighten import Tightening

__all__ = ["optimum_json", "shares_json", "tightening_json"]


def tightening_json(found: Tightening) -> dict[str, object]:
    """Return what halving each tolerance does as plain data in SI units."""
    return {
        "bodies": found.bodies,
        "deviation_s": found.spread,
        "inside_if_centred": found.inside,
        "first_for_gates": [each.name for each in found.by_gates],
        "first_for_time": [each.name for each in found.by_time],
        "halved": [
            {
                "name": each.name,
                "deviation_now": each.deviation,
                "time_deviation_s": each.spread,
                "time_deviation_less_s": each.narrower,
                "time_deviation_less_error_s": each.narrower_error,
                "inside_if_centred": each.inside,
                "inside_more": each.more,
                "inside_more_error": each.more_error,
            }
            for each in found.every
        ],
    }


def shares_json(found: Shares) -> dict[str, object]:
    """Return variance shares as plain data in SI units."""
    return {
        "rows": found.rows,
        "dropped": found.dropped,
        "deviation_s": found.deviation,
        "others": found.others,
        "shares": [
            {
                "name": each.name,
                "first": each.first,
                "first_error": each.first_error,
                "total": each.total,
                "total_error": each.total_error,
            }
            for each in found.shares
        ],
    }


def _candidate(found: Candidate) -> dict[str, object]:
    return {
        "drift": found.drift,
        "shift": found.shift,
        "added": found.added,
        "mass": found.mass,
        "balance": found.balance,
        "mean_s": found.mean,
        "deviation_s": found.deviation,
        "into_rail": found.into_rail,
        "stands": found.stands,
        "inside": found.inside,
        "allowed": found.allowed,
    }


def optimum_json(found: Optimum) -> dict[str, object]:
    """Return the best design and those around it as plain data in SI units."""
    return {
        "limit": found.limit,
        "rms_off_s": None if found.checked is None else found.checked.rms,
        "present": _candidate(found.present),
        "best": None if found.best is None else _candidate(found.best),
        "steer": [_candidate(each) for each in found.steer],
        "balance": [_candidate(each) for each in found.balance],
        "weight": [_candidate(each) for each in found.weight],
        "less_steer_is_faster": found.less_steer_is_faster,
        "back_is_faster": found.back_is_faster,
        "notes": list(found.notes),
    }
