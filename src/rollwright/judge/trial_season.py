"""A season of track days: what was changed on a car, and which changes paid."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from rollwright.errors import OutOfRange
from rollwright.judge.trial import Times, labels
from rollwright.judge.trial_effects import analyse
from rollwright.judge.trial_found import Effect

__all__ = ["Season", "SetUp", "Step", "season"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """One set-up of one car.

    Attributes:
        label: what names car and set-up in the times.
        name: of the set-up.
        days: on which it ran.
        runs: of it.
        mean: plain mean of its times [s].
    """

    label: str
    name: str
    days: tuple[str, ...]
    runs: int
    mean: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A change from one set-up to the next.

    Attributes:
        before: the set-up before.
        after: the set-up after.
        effect: how much faster the one after is; None if the times cannot say.
        method: by which model, as in `trial_found.Found`; empty without an effect.
        paid: `yes`, `no` or `unclear`.
        cautions: what goes along with the change.
    """

    before: SetUp
    after: SetUp
    effect: Effect | None
    method: str
    paid: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """One car's season.

    Attributes:
        car: its name.
        set_ups: in the order in which they were first run.
        steps: from each to the next.
        trend: the last set-up against the first; None with only one, or if the times cannot say.
        last_good: the last set-up that no later change has surely bettered and that is not surely slower than
            the one before.
    """

    car: str
    set_ups: tuple[SetUp, ...]
    steps: tuple[Step, ...]
    trend: Effect | None
    last_good: SetUp


_PAID = {"faster": "yes", "slower": "no", "same": "no", "unclear": "unclear"}


def season(
    times: Times, *, cars: Sequence[str], set_ups: Sequence[str], risk: float = 0.1, matters: float = 1e-3
) -> tuple[Season, ...]:
    """Return each car's season.

    Set-ups come in the order of their days where these are written 2031-04-18 or 18.4.2031, else as they
    first come. Cars that run in the same heats tie the days together: what the track does to all of them is
    not put down to the change.

    Args:
        times: of all cars and days; `configurations` names a car in a set-up.
        cars: car of each run.
        set_ups: set-up of each run.
        risk: probability that an interval misses the true difference.
        matters: the smallest difference that matters [s].

    Returns:
        One season for each car, as they first come.

    Raises:
        OutOfRange: the risk or the difference is none.
    """
    found = []
    for car in labels(tuple(cars)):
        ours = [at for at, name in enumerate(cars) if name == car]
        names = {times.configurations[at]: set_ups[at] for at in ours}
        made = [_set_up(times, label, name, ours) for label, name in names.items()]
        if times.days and all(_when(times.days[at]) for at in ours):
            made.sort(key=lambda each: min(_when(day) for day in each.days))
        steps = tuple(_step(times, before, after, risk, matters) for before, after in pairwise(made))
        trend = _compared(times, made[0], made[-1], risk, matters)[0] if len(made) > 1 else None
        good = made[0]
        for step in steps:
            # A change that surely made it slower is taken back; the next one is judged by itself.
            slower = step.effect is not None and step.effect.verdict == "slower"
            good = good if slower else step.after
        found.append(Season(car=car, set_ups=tuple(made), steps=steps, trend=trend, last_good=good))
    return tuple(found)


def _when(day: str) -> str:
    """Return a day in the form that sorts; empty if it is written otherwise."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d.*", day):
        return day
    parts = re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", day)
    return f"{parts[3]}-{int(parts[2]):02d}-{int(parts[1]):02d}" if parts else ""


def _set_up(times: Times, label: str, name: str, ours: Sequence[int]) -> SetUp:
    rows = [at for at in ours if times.configurations[at] == label]
    days = sorted({times.days[at] for at in rows}) if times.days else []
    return SetUp(
        label=label,
        name=name,
        days=tuple(days),
        runs=len(rows),
        mean=sum(times.times[at] for at in rows) / len(rows),
    )


def _compared(
    times: Times, before: SetUp, after: SetUp, risk: float, matters: float
) -> tuple[Effect | None, str, tuple[str, ...]]:
    pair = (before.label, after.label)
    try:
        found = analyse(times, pairs=[pair], risk=risk, matters=matters)
    except OutOfRange as error:
        if error.key in {"risk", "matters"}:
            raise
        return None, "", (error.problem,)
    return found.effects[0], found.method, found.cautions


def _step(times: Times, before: SetUp, after: SetUp, risk: float, matters: float) -> Step:
    effect, method, cautions = _compared(times, before, after, risk, matters)
    return Step(
        before=before,
        after=after,
        effect=effect,
        method=method,
        paid="unclear" if effect is None else _PAID[effect.verdict],
        cautions=cautions,
    )
