"""Trials as plain data in SI units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rollwright.judge.trial_found import Effect
    from rollwright.judge.trial_season import SetUp
    from rollwright.workbench.trials import Compared, Planned
    from rollwright.workbench.trials_rows import SetAside
    from rollwright.workbench.trials_season import Seasons

__all__ = ["compared_json", "planned_json", "seasons_json"]


def _aside(rows: Sequence[SetAside]) -> list[dict[str, object]]:
    return [{"row": each.row, "reason": each.reason} for each in rows]


def _effect(effect: Effect, *, several: bool) -> dict[str, object]:
    difference = effect.difference
    return {
        "a": effect.a,
        "b": effect.b,
        "difference_s": difference,
        "error_s": effect.error,
        "freedom": effect.freedom,
        "interval": [effect.low, effect.high],
        "interval_all_pairs": [difference - effect.family, difference + effect.family] if several else None,
        "interval_always": [difference - effect.always, difference + effect.always],
        "confidence": effect.confidence,
        "probability_faster": effect.probability_faster,
        "sure_of_s": effect.sure_of,
        "p_value": effect.chance,
        "single_run_faster": effect.single_run,
        "runs_a": effect.runs[0],
        "runs_b": effect.runs[1],
        "verdict": effect.verdict,
        "runs_more": effect.more,
        "ranks": None
        if effect.ranks is None
        else {
            "method": effect.ranks.method,
            "difference_s": effect.ranks.difference,
            "p_value": effect.ranks.probability,
            "count": effect.ranks.count,
        },
        "without_outliers_s": effect.without_outliers,
    }


def compared_json(compared: Compared) -> dict[str, object]:
    """Return a trial as plain data in SI units."""
    found, forecast = compared.found, compared.forecast
    several = len(found.effects) > 1
    return {
        "file": compared.table.file,
        "columns": dict(compared.table.columns),
        "unit": compared.table.unit,
        "runs": found.runs,
        "heats": found.heats,
        "method": found.method,
        "risk": compared.risk,
        "matters_s": compared.matters,
        "peek": compared.peek,
        "effects": [_effect(effect, several=several) for effect in found.effects],
        "configurations": [
            {
                "name": each.name,
                "runs": each.runs,
                "mean_s": each.mean,
                "noise_s": each.noise,
                "effect_s": each.effect,
                "interval": [each.low, each.high],
            }
            for each in found.standings
        ],
        "lanes": [
            {"lane": each.name, "runs": each.runs, "effect_s": each.effect, "interval": [each.low, each.high]}
            for each in found.lanes
        ],
        "drift": None
        if found.drift is None
        else {"over_s": found.drift.over, "interval": [found.drift.low, found.drift.high]},
        "noise_s": found.noise,
        "heat_noise_s": found.heat_noise,
        "runs_needed": found.runs_needed,
        "terms": [
            {
                "name": term.name,
                "squares_s2": term.squares,
                "freedom": term.freedom,
                "f": term.ratio,
                "p_value": term.probability,
            }
            for term in found.terms
        ],
        "friedman": None
        if found.friedman is None
        else {"chi_squared": found.friedman[0], "p_value": found.friedman[1]},
        "outliers": [
            {"row": each.row, "configuration": each.configuration, "residual_s": each.residual}
            for each in found.outliers
        ],
        "set_aside": _aside(compared.table.set_aside),
        "cautions": [*found.cautions, *compared.table.notes],
        "forecast": None
        if forecast is None
        else {
            "track": forecast.track,
            "difference_s": forecast.difference,
            "uncertainty_s": forecast.uncertainty,
            "apart": forecast.apart,
        },
    }


def planned_json(planned: Planned) -> dict[str, object]:
    """Return a plan as plain data in SI units."""
    return {
        "configurations": list(planned.plan.configurations),
        "lanes": list(planned.plan.lanes),
        "runs": planned.plan.runs,
        "alone": planned.plan.alone,
        "seed": planned.seed,
        "heats": [
            {
                "heat": heat.number,
                "cars": [
                    {"lane": lane, "configuration": car}
                    for lane, car in zip(planned.plan.lanes, heat.cars, strict=True)
                    if car
                ],
            }
            for heat in planned.plan.heats
        ],
        "matters_s": planned.matters,
        "risk": planned.risk,
        "noise_s": planned.noise,
        "noise_source": planned.source,
        "runs_needed": planned.needed,
    }


def _set_up(each: SetUp, conditions: Mapping[str, Mapping[str, str]]) -> dict[str, object]:
    return {
        "name": each.name,
        "days": list(each.days),
        "runs": each.runs,
        "mean_s": each.mean,
        "conditions": [
            {"name": name, "value": value} for name, value in conditions.get(each.label, {}).items()
        ],
    }


def seasons_json(seasons: Seasons) -> dict[str, object]:
    """Return some cars' seasons as plain data in SI units."""
    return {
        "files": list(seasons.files),
        "risk": seasons.risk,
        "matters_s": seasons.matters,
        "cars": [
            {
                "car": each.car,
                "set_ups": [_set_up(one, seasons.conditions) for one in each.set_ups],
                "steps": [
                    {
                        "before": step.before.name,
                        "after": step.after.name,
                        "paid": step.paid,
                        "method": step.method,
                        "effect": None if step.effect is None else _effect(step.effect, several=False),
                        "cautions": list(step.cautions),
                    }
                    for step in each.steps
                ],
                "trend": None if each.trend is None else _effect(each.trend, several=False),
                "last_good": each.last_good.name,
            }
            for each in seasons.seasons
        ],
        "set_aside": [
            {"file": file, **row} for file, rows in seasons.set_aside.items() for row in _aside(rows)
        ],
    }
