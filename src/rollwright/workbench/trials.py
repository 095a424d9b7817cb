"""Use cases of track trials: did a change help, and what to run next time."""

from __future__ import annotations

import csv
import io
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from rollwright.errors import OutOfRange, UnreadableQuantity, echo
from rollwright.judge.trial import Times, check_risk, labels
from rollwright.workbench.trials_csv import read_times
from rollwright.workbench.trials_rows import SetAside, Table, number_of

if TYPE_CHECKING:
    from rollwright.judge.trial_found import Effect, Found
    from rollwright.judge.trial_plan import TrialPlan

__all__ = [
    "MATTERS",
    "RISK",
    "Compared",
    "Effect",
    "Forecast",
    "Found",
    "Planned",
    "SetAside",
    "compare",
    "draw",
    "plan",
    "save_sheet",
    "time_of",
]

MATTERS = "1 ms"
"""Difference that matters where nobody says which."""
RISK = 0.1
"""Risk that is taken where nobody says how much: nine in ten answers are right."""

_ROUNDS = 4
_SHEET = ("order", "heat", "lane", "configuration", "time (s)", "mark", "note")
_MILLISECOND = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """The run model's word on the same change.

    Attributes:
        difference: by how much it makes the second car faster [s]; None where one of them stalls.
        uncertainty: standard uncertainty of that [s].
        track: name of the track.
        apart: by how many of their joint standard uncertainties it and the stopwatch differ; None without
            both.
    """

    difference: float | None
    uncertainty: float | None
    track: str
    apart: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """A trial with its answer.

    Attributes:
        table: the times as they were read.
        found: what they say.
        matters: the difference that matters [s].
        risk: the risk that was taken.
        peek: whether the verdicts hold although one looks after every heat.
        forecast: the run model's word, or None.
    """

    table: Table
    found: Found
    matters: float
    risk: float
    peek: bool
    forecast: Forecast | None = None

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        from rollwright.workbench.trials_json import compared_json  # noqa: PLC0415 - rarely asked

        return compared_json(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A plan of heats, and what it can show.

    Attributes:
        plan: the heats.
        seed: of the lot.
        matters: the difference that matters [s].
        risk: the risk that was taken.
        noise: standard deviation of one run [s]; None if nobody says.
        needed: runs of each that show such a difference; None without a noise.
        source: where the noise is from; empty without one.
    """

    plan: TrialPlan
    seed: int
    matters: float
    risk: float
    noise: float | None
    needed: int | None
    source: str

    def as_json(self) -> dict[str, object]:
        """Return it as plain data in SI units."""
        from rollwright.workbench.trials_json import planned_json  # noqa: PLC0415 - rarely asked

        return planned_json(self)


def time_of(written: str, *, key: str) -> float:
    """Return a short time as a builder writes it [s]: `1 ms`, `0,8 ms`, `0.001 s`.

    Args:
        written: a number with its unit; without one, milliseconds.
        key: name of the option, for messages.

    Returns:
        The time [s].

    Raises:
        UnreadableQuantity: it is no positive time.
    """
    value, unit = number_of(written.strip())
    if value is None or not 0.0 < value < math.inf:
        raise UnreadableQuantity(f"{echo(written)} is no time", mend='write it as in "1 ms"', key=key)
    return value if unit == "s" else value * _MILLISECOND


def _chosen(found: Sequence[str], named: str | None, key: str) -> str | None:
    """Return the car that a builder means, by its whole name or by an end of it that no other has."""
    if named is None:
        return None
    wanted = " ".join(named.split()).casefold()
    exact = [name for name in found if name.casefold() == wanted]
    near = exact or [name for name in found if name.casefold().endswith(wanted)]
    if len(near) != 1:
        shown = ", ".join(echo(name) for name in found[:8])
        problem = "is not among them" if not near else "fits more than one"
        raise OutOfRange(f"{echo(named)} {problem}", mend=f"choose from {shown}", key=key)
    return near[0]


def _pairs(times: Times, a: str | None, b: str | None) -> tuple[tuple[str, str], ...]:
    """Return which to compare: all pairs, all with one of them, or just two."""
    names = labels(times.configurations)
    first, second = _chosen(names, a, "--a"), _chosen(names, b, "--b")
    if first is not None and first == second:
        raise OutOfRange(f"{echo(first)} cannot be compared with itself", mend="name another", key="--b")
    if first is not None and second is not None:
        return ((first, second),)
    if first is not None:
        return tuple((first, name) for name in names if name != first)
    if second is not None:
        return tuple((name, second) for name in names if name != second)
    return ()


def compare(
    path: str | os.PathLike[str],
    *,
    columns: Mapping[str, str] | None = None,
    unit: str | None = None,
    a: str | None = None,
    b: str | None = None,
    matters: float = 1e-3,
    risk: float = RISK,
    peek: bool = False,
    forecast: Sequence[str | os.PathLike[str]] = (),
    track: str | os.PathLike[str] | None = None,
) -> Compared:
    """Return whether a change helped.

    Args:
        path: file of times.
        columns: which column is what; others are guessed by their names.
        unit: `s` or `ms`; None takes it from the column's name, else seconds.
        a: name of the one before; None compares all with `b`, or all pairs.
        b: name of the one after; None compares all with `a`, or all pairs.
        matters: the smallest difference that matters [s].
        risk: probability that an interval misses the true difference.
        peek: whether the verdicts are to hold although one looks after every heat.
        forecast: files of the two cars, for the run model's word; or none.
        track: file of the track, for that.

    Returns:
        The times and what they say.

    Raises:
        InputError: a file cannot be used, or these times cannot be compared.
    """
    from rollwright.judge.trial_effects import analyse  # noqa: PLC0415 - brings numpy

    table = read_times(path, columns=columns, unit=unit)
    try:
        found = analyse(
            table.times,
            pairs=_pairs(table.times, a, b),
            risk=risk,
            matters=matters,
            peek=peek,
        )
    except OutOfRange as error:
        raise error.at(file=table.file) from None
    compared = Compared(table=table, found=found, matters=matters, risk=risk, peek=peek)
    if not forecast or track is None:
        return compared
    return replace(compared, forecast=_forecast(found.effects[0], forecast, track))


def _forecast(
    effect: Effect, cars: Sequence[str | os.PathLike[str]], track: str | os.PathLike[str]
) -> Forecast:
    from rollwright.workbench.timing import time_it  # noqa: PLC0415 - rarely asked

    first, second = cars
    timed = time_it(second, track, other_file=first)
    value, spread = timed.faster_by, timed.faster_uncertainty
    apart = None
    if value is not None and spread is not None and (spread > 0.0 or effect.error > 0.0):
        apart = (effect.difference - value) / math.hypot(spread, effect.error)
    return Forecast(difference=value, uncertainty=spread, track=timed.track.name, apart=apart)


def plan(
    configurations: Sequence[str],
    *,
    lanes: str = "4",
    runs: int | None = None,
    seed: int = 1,
    alone: bool = False,
    noise: str | None = None,
    matters: float = 1e-3,
    risk: float = RISK,
) -> Planned:
    """Return a plan of heats.

    Args:
        configurations: names of the cars or set-ups.
        lanes: how many, or their names with commas between them.
        runs: of each; None takes what the noise asks for, else four in every lane.
        seed: of the lot.
        alone: whether only one car runs at a time.
        noise: standard deviation of one run as in `2 ms`, or a file of earlier times; None if not known.
        matters: the smallest difference that matters [s].
        risk: of a false alarm, and as large a one of missing such a difference.

    Returns:
        The plan.

    Raises:
        InputError: the noise's file cannot be used, or there are too few or too many of something.
    """
    from rollwright.judge.trial_plan import plan_trial  # noqa: PLC0415 - rarely asked
    from rollwright.judge.trial_size import runs_needed  # noqa: PLC0415

    check_risk(risk)
    names = _lanes(lanes)
    size, source = _noise(noise, alone=alone) if noise is not None else (None, "")
    needed = None if size is None else runs_needed(difference=matters, noise=size, risk=risk)
    wanted = runs if runs is not None else (needed if needed is not None else _ROUNDS * len(names))
    if runs is None and needed is not None and needed > 10_000:
        raise OutOfRange(
            f"a difference of {1e3 * matters:g} ms would take {needed} runs of each",
            mend="look for a larger one with --matters, or say --runs",
            key="--matters",
        )
    found = plan_trial(tuple(configurations), lanes=names, runs=wanted, seed=seed, alone=alone)
    return Planned(
        plan=found, seed=seed, matters=matters, risk=risk, noise=size, needed=needed, source=source
    )


def _lanes(written: str) -> tuple[str, ...]:
    if written.strip().isdigit():
        count = int(written[:6])
        return tuple(str(number) for number in range(1, min(count, 1000) + 1))
    return tuple(part.strip() for part in written.split(","))


def _noise(written: str, *, alone: bool) -> tuple[float, str]:
    """Return the noise of one run [s] and where it is from."""
    if number_of(written.strip())[0] is not None and not Path(written).exists():
        return time_of(written, key="--noise"), "as you say"
    from rollwright.judge.trial_effects import analyse  # noqa: PLC0415 - brings numpy

    table = read_times(written)
    try:
        found = analyse(table.times)
    except OutOfRange as error:
        raise error.at(file=table.file) from None
    # Side by side a heat is the same for both; alone, every run takes its own heat's share as well.
    between = (found.heat_noise or 0.0) if alone else 0.0
    return math.hypot(found.noise, between), f"from {table.file}"


def draw(compared: Compared, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Draw a trial into a file.

    Args:
        compared: the trial.
        path: where; its ending says whether it becomes an SVG or a PNG.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: the ending is another, a file is there already, or it cannot be written.
    """
    from rollwright.workbench.trials_picture import save  # noqa: PLC0415 - rarely asked

    save(path, compared, overwrite=overwrite)


def save_sheet(planned: Planned, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Write a plan as a table to fill in with times, in the form that `compare` reads.

    Args:
        planned: the plan.
        path: where.
        overwrite: whether a file that is there already may be replaced.

    Raises:
        FileUnwritable: a file is there already, or it cannot be written.
    """
    from rollwright.car.write import save_bytes  # noqa: PLC0415 - rarely asked

    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(_SHEET)
    for heat in planned.plan.heats:
        for lane, car in zip(planned.plan.lanes, heat.cars, strict=True):
            if car:
                rows.writerow((heat.number, heat.number, lane, car, "", "", ""))
    save_bytes(path, text.getvalue().encode("utf-8"), overwrite=overwrite)
